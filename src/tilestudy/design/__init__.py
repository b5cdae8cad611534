"""WHICH tiles: pure arithmetic on the study's factors and limits. Sees no file, clock or screen; `rng` comes in."""
