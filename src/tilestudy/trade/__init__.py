"""What the trade KNOWS, as TOML data with a source beside each fact: processes, metals, gauges, hazards, rub protocols.

The checks on that data live here too. It imports `tilestudy.errors`, `tilestudy.study` and nothing above.
"""
