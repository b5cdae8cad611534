"""What the tiles SAY: pure arithmetic on frames.

From the ground up: `mixed` (REML and Kenward-Roger), `naming` and `numbers` (small words, digits), `model` (settings to
model columns), `findings` (the records that come out), `wording` and `noise_wording` (single sentences), `usable` (the rows
that count), `drift` (reference tiles), `work` (one response's tests and the rule for verdicts), `telling` (all that is said
of a response), `drivers` (from a frame to findings), `study_findings` (all responses of a study). Nothing here reads a
file, a clock or random numbers.
"""
