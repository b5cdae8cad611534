"""Two or three photos of the same tray, averaged tile by tile."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from tilestudy.colour.difference import ciede2000, lab_of
from tilestudy.errors import PhotoError
from tilestudy.photo.measure import TileMeasured, TrayReading
from tilestudy.study.language import listed

Floats = npt.NDArray[np.float64]


MOST_SPREAD = 3.0
"""CIEDE2000 of photos of one tile from their mean that is no matter of light any more: another tile, or another stage."""


def combine(readings: Sequence[TrayReading]) -> TrayReading:
    """Average photos of the same tray, tile by tile, weighted by what of each tile is free of glare.

    Raises
    ------
    PhotoError
        When the photos show different trays or were calibrated in different ways.
    """
    first = readings[0]
    if len(readings) == 1:
        return first
    for other in readings[1:]:
        if other.sheet != first.sheet:
            raise PhotoError(
                other.photos[0],
                f"This is tray {other.sheet.number}, and {first.photos[0]} is tray {first.sheet.number}. "
                "Give photos of one tray at a time.",
            )
        if other.calibrated.kind != first.calibrated.kind:
            raise PhotoError(
                other.photos[0],
                f"This photo was calibrated by {other.calibrated.kind}, and {first.photos[0]} by {first.calibrated.kind}. "
                "Give them one at a time.",
            )
    tiles = tuple(_averaged([reading.tiles[n] for reading in readings]) for n in range(len(first.tiles)))
    spread = float(np.mean([tile.spread for tile in tiles if tile.spread is not None])) if tiles else None
    notes = tuple(dict.fromkeys(note for reading in readings for note in reading.notes))
    photos = tuple(name for reading in readings for name in reading.photos)
    error = float(np.mean([reading.error for reading in readings]))
    apart = [tile.code for tile in tiles if tile.spread is not None and tile.spread > max(MOST_SPREAD, 2 * error)]
    if apart:
        many = len(apart) > 1
        raise PhotoError(
            ", ".join(photos),
            f"Tile{'s' * many} {listed(apart)} {'have' if many else 'has'} another colour in each of these photos of tray "
            f"{first.sheet.number}, by more than the photos are off. Are the same tiles in the same places, and is it the same "
            "stage? Look at the photos, and give those that belong together.",
        )
    error = max(error, spread or 0.0)  # photos that differ cannot be surer than their difference
    return replace(first, tiles=tiles, photos=photos, notes=notes, error=error, spread=spread)


def _averaged(tiles: Sequence[TileMeasured]) -> TileMeasured:
    weight = np.array([tile.pixels / max(1e-9, 1 - tile.glare) * (1 - tile.glare) ** 2 for tile in tiles])
    weight = weight / weight.sum()

    def mean(values: Sequence[Any]) -> Floats:
        return np.asarray(np.tensordot(weight, np.asarray(values, dtype=float), axes=1))

    lab = mean([tile.lab for tile in tiles])
    best = tiles[int(np.argmax(weight))]
    return replace(
        best,
        lab=lab_of(lab),
        median=lab_of(mean([tile.median for tile in tiles])),
        mottle=float(mean([tile.mottle for tile in tiles])),
        glare=float(mean([tile.glare for tile in tiles])),
        pixels=sum(tile.pixels for tile in tiles),
        spread=float(ciede2000([tile.lab for tile in tiles], lab).mean()),
    )
