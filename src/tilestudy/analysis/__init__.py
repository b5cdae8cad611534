"""What the tiles SAY: pure arithmetic on frames.

From the ground up: `mixed` (REML and Kenward-Roger), `naming` (small words), `model` (settings to model columns),
`findings` (the records that come out), `wording` (single sentences), `work` (one response's tests and the rule for
verdicts), `telling` (all that is said of a response), `drivers` (from a frame to findings). Nothing here reads a file,
a clock or random numbers.
"""
