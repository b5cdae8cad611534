"""What the trade KNOWS, as TOML data with a source beside each fact: processes, metals, ingredients, hazards, rub protocols.

A studio's own files beside or in place of them are checked here, strictly. It imports `tilestudy.errors`,
`tilestudy.study`, `tilestudy.colour` (the names of targets) and nothing above.
"""
