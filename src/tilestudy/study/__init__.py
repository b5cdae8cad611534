"""What a study IS: frozen records, units, the TOML study file and the CSV forms.

Pure: nothing in this room opens a file, reads the clock or prints. It imports only `tilestudy.errors`.
"""
