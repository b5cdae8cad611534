"""What else the colour readings tell of a tile or a batch: chroma, mottle, and drift of a batch as responses.

Chroma is that of the tile's mean colour; hue is never averaged. Mottle is the mean colour difference from the mean (MCDM)
of the spots of a tile, the spread measure of ASTM E2214 (from memory), or of the 0.67 mm blocks of a photo. Drift takes one row a batch, from its reference
tiles, so that what is set per batch can be asked whether it makes a batch drift.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from typing import Literal

import numpy as np
import pandas as pd

from tilestudy.analysis.findings import ResponseSpec
from tilestudy.colour.difference import ciede2000
from tilestudy.errors import NotEnoughError
from tilestudy.study.language import count, listed, plural
from tilestudy.study.records import Factor, Reading

CHROMA_EXPLAINED = "Chroma tells how far a colour is from grey: 0 is grey, 60 is vivid."
MOTTLE_EXPLAINED = (
    "Mottle is how far the spots of one tile lie off its mean colour, on average: below 1 CIEDE2000 it looks even."
)
MOTTLE_BY_PHOTO = (
    "Mottle is how far patches of 0.67 mm on one tile lie off its mean colour, on average, as the photo shows them: below 1 "
    "CIEDE2000 it looks even. It is not to be compared with mottle from spots."
)

_DRIFTS: tuple[Literal["lightness", "colour"], ...] = ("lightness", "colour")

LEAST_BATCHES = 4
"""Batches with reference tiles below which nothing is asked of their drift."""


def chroma_spec(stage: str = "") -> ResponseSpec:
    """Describe the chroma of a tile's mean colour. A change of 2 is the smallest that matters (common practice, no source)."""
    return ResponseSpec("chroma", "chroma", "C*", "number", stage, 2.0, of_colour=True)


def chroma_frame(colours: pd.DataFrame) -> pd.DataFrame:
    """Give each tile its chroma C* = hypot(a*, b*) in column ``y``; `colours` has a row a tile with `a` and `b`."""
    return colours.assign(y=np.hypot(colours["a"].to_numpy(dtype=float), colours["b"].to_numpy(dtype=float)))


def mottle_spec(stage: str = "") -> ResponseSpec:
    """Describe mottle. Half a CIEDE2000 is the smallest that matters (common practice, no source)."""
    return ResponseSpec("mottle", "mottle", "CIEDE2000", "number", stage, 0.5, None, "lower", of_colour=True)


def mottle_frame(tiles: pd.DataFrame, readings: Iterable[Reading], stage: str) -> pd.DataFrame:
    """Return one row for each tile with its mottle at a stage, in ``y``.

    Where a photo told it, mottle is that number; tiles measured otherwise then have none, since the two do not compare.
    Elsewhere it is the mean CIEDE2000 of a tile's spots (two or more) from their mean colour.

    Few spots lie nearer to their own mean than many do. Where tiles differ in the number of spots, each value is
    brought to the usual number: times the root of (k / (k - 1)) over the same for the usual k.

    Raises
    ------
    NotEnoughError
        When no tile has two spots, nor a photo.
    """
    readings = [one for one in readings if one.stage == stage]
    told = [(one.tile, one.mottle) for one in readings if one.mottle is not None]
    if told:
        by_photo = pd.DataFrame(told, columns=["tile", "y"]).groupby("tile", as_index=False).mean()
        return tiles.merge(by_photo, on="tile", how="inner", sort=False)
    spots: dict[str, list[tuple[float, float, float]]] = {}
    for one in readings:
        spots.setdefault(one.tile, []).append((one.L, one.a, one.b))
    here = {tile: np.array(labs) for tile, labs in spots.items() if len(labs) > 1 and tile in set(tiles["tile"])}
    if not here:
        raise NotEnoughError(
            f"No tile was measured {stage} at two spots or more, so whether its colour is even is not known. Measure two "
            "more spots on each tile and enter them as spots 2 and 3."
        )
    counts = [len(labs) for labs in here.values()]
    usual = max(sorted(set(counts)), key=counts.count)
    rows = [
        (
            tile,
            float(ciede2000(labs, labs.mean(axis=0)).mean())
            * float(np.sqrt((len(labs) / (len(labs) - 1)) / (usual / (usual - 1)))),
        )
        for tile, labs in here.items()
    ]
    return tiles.merge(pd.DataFrame(rows, columns=["tile", "y"]), on="tile", how="inner", sort=False)


def drift_spec(of: Literal["lightness", "colour"], word: str = "batch", stage: str = "") -> ResponseSpec:
    """Describe the drift of a batch from its first to its last reference tile, in L* or in CIEDE2000.

    The smallest that matters is that of the unit: 2 L* or 1 CIEDE2000 (common practice, no source).
    """
    if of == "lightness":
        called = f"the drift of a {word} (last reference tile less first)"
        return ResponseSpec("drift_L", "drift in L*", "L*", "number", stage, 2.0, None, "", called, of_colour=True)
    called = f"the drift of a {word} (last reference tile against first)"
    return ResponseSpec(
        "drift", "drift in colour", "CIEDE2000", "number", stage, 1.0, None, "lower", called, of_colour=True
    )


def drift_frame(
    colours: pd.DataFrame, factors: Sequence[Factor], of: Literal["lightness", "colour"], word: str = "batch"
) -> tuple[pd.DataFrame, tuple[Factor, ...]]:
    """Return one row for each batch with its drift in ``y``, and the factors it can be asked of.

    Parameters
    ----------
    colours : frame
        One row a tile: `batch`, `session`, `reference`, `order`, the factors, and `L`, `a`, `b`.
    factors : sequence of Factor
    of : "lightness" or "colour"
        Last less first L*, or CIEDE2000 between the two.
    word : str
        What a batch is called.

    Returns
    -------
    frame, tuple of Factor
        `tile` and `batch` are the batch's code, so that every row counts for itself; the factors are those that do not
        change within a batch.

    Raises
    ------
    NotEnoughError
        Fewer than `LEAST_BATCHES` batches have a first and a last reference tile, or no factor is set per batch.
    """
    kept = [
        f for f in factors if colours.groupby("batch")[f.name].nunique().max() == 1 and colours[f.name].nunique() > 1
    ]
    rows = []
    for batch, some in colours[colours["reference"].eq(True)].groupby("batch", sort=False):
        tiles = some.sort_values("order")
        if len(tiles) < 2:
            continue
        first, last = (tiles[["L", "a", "b"]].to_numpy(dtype=float)[i] for i in (0, -1))
        y = float(last[0] - first[0]) if of == "lightness" else float(ciede2000(first, last))
        settings = {factor.name: tiles[factor.name].iloc[0] for factor in kept}
        rows.append({"tile": batch, "batch": batch, "session": tiles["session"].iloc[0], **settings, "y": y})
    if len(rows) < LEAST_BATCHES:
        raise NotEnoughError(
            f"{count(len(rows), word)} had a reference tile first and last with a colour reading, and to tell what makes a "
            f"{word} drift takes {LEAST_BATCHES} {plural(word)} at least. Plan reference tiles in each {word}."
        )
    if not kept:
        names = listed([factor.label for factor in factors])
        raise NotEnoughError(
            f"No factor is set per {word} ({names}: all set per tile), so nothing here can make one {word} drift more than "
            "another."
        )
    return pd.DataFrame(rows), tuple(kept)


def further_responses(
    tiles: pd.DataFrame,
    colours: pd.DataFrame,
    readings: Iterable[Reading],
    factors: Sequence[Factor],
    stage: str,
    word: str = "batch",
) -> list[tuple[pd.DataFrame, ResponseSpec, tuple[Factor, ...]]]:
    """List what can be asked beside L*, a* and b*: chroma, mottle where tiles have several spots, drift where batches tell.

    Returns
    -------
    list of (frame, ResponseSpec, tuple of Factor)
        Ready for `drivers.analyse`; what these readings cannot tell is left out.
    """
    found = [(chroma_frame(colours), chroma_spec(stage), tuple(factors))]
    with suppress(NotEnoughError):  # one spot a tile is an ordinary way to measure
        found.append((mottle_frame(tiles, readings, stage), mottle_spec(stage), tuple(factors)))
    if "reference" in colours and colours["reference"].eq(True).any():
        with suppress(NotEnoughError):  # that batches drift at all is told with L* (`drift.drift_within`)
            for of in _DRIFTS:
                frame, kept = drift_frame(colours, factors, of, word)
                found.append((frame, drift_spec(of, word, stage), kept))
    return found
