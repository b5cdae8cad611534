"""The noise that finished studies have measured, pooled, for planning the next one.

Variances are pooled by weight: those between batches by the batches beyond the first, those between tiles by the tiles
beyond the first. A study that could not tell a variance adds nothing to it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

from tilestudy.analysis.findings import ResponseFindings

LEAST_BATCHES = 4
"""Batches that the studies must have had together; with fewer, a variance between batches is a rumour."""


@dataclass(frozen=True)
class MeasuredNoise:
    """Standard deviations between batches and between tiles of one batch, in the response's unit, and the studies' names."""

    batch: float
    tile: float
    studies: tuple[str, ...]


def measured_noise(found: Mapping[str, ResponseFindings]) -> MeasuredNoise | None:
    """Pool the noise of one response over studies, by name of the study; None when they cannot tell."""
    batch, tile, names = 0.0, 0.0, []
    batches = tiles = 0
    for name, one in found.items():
        between, within = one.variance.get("batch"), one.variance.get("tile")
        if between is None or within is None or one.n_batches < 2:
            continue
        repeats = (one.variance.get("repeats") or 0.0) * one.n_tiles / one.n_rows
        batch += (one.n_batches - 1) * between
        tile += (one.n_tiles - 1) * (within + repeats)
        batches += one.n_batches - 1
        tiles += one.n_tiles - 1
        names.append(name)
    if batches < LEAST_BATCHES - 1 or tile <= 0:
        return None
    return MeasuredNoise(sqrt(batch / batches), sqrt(tile / tiles), tuple(names))
