"""What the tiles SAY: pure arithmetic on frames.

Modules: `mixed` (REML and Kenward-Roger), `model` (settings to model columns), `findings` (the records that come
out), `wording` (plain sentences) and `drivers` (from a frame to findings). Nothing here reads a file, a clock or
random numbers. It imports `tilestudy.errors`, `tilestudy.study` and, for colours, `tilestudy.colour`.
"""
