"""Two-level screening plans of 8 to 32 tiles: up to tiles - 1 factors, main effects only.

12, 20 and 24 tiles: Plackett & Burman (1946), Biometrika 33:305, the first row shifted round and a last row of lows.
8, 16 and 32 tiles are fractions of minimum aberration (`fraction`), which do at least as well and can be unravelled.
"""

from __future__ import annotations

import numpy as np

from tilestudy.design.families.aliasing import blurred, effects_up_to, strength
from tilestudy.design.families.family import Family
from tilestudy.design.families.fraction import GENERATORS, fraction
from tilestudy.errors import PlanError

FIRST_ROWS = {12: "++-+++---+-", 20: "++--++++-+-+----++-", 24: "+++++-+-++--++--+-+----"}
SOURCE = "Plackett & Burman (1946), Biometrika 33:305"


def plackett_burman(tiles: int, columns: int | None = None) -> Family:
    """Return the Plackett-Burman plan of 12, 20 or 24 tiles, its first `columns` columns (all, if not said).

    Raises
    ------
    PlanError
        For another number of tiles, or more columns than tiles - 1.

    >>> plan = plackett_burman(12)
    >>> bool((plan.matrix.T @ plan.matrix == 12 * np.eye(11)).all())
    True
    """
    if tiles not in FIRST_ROWS:
        raise PlanError(
            f"There is no Plackett-Burman plan of {tiles} tiles here. Choose 12, 20 or 24; 8, 16 and 32 are fractions."
        )
    columns = tiles - 1 if columns is None else columns
    if not 1 <= columns < tiles:
        raise PlanError(
            f"A plan of {tiles} tiles screens 1 to {tiles - 1} factors, not {columns}. {_smallest(columns)}"
        )
    first = np.array([1.0 if sign == "+" else -1.0 for sign in FIRST_ROWS[tiles]])
    rows = [np.roll(first, shift) for shift in range(tiles - 1)]
    matrix = np.vstack([*rows, -np.ones(tiles - 1)])[:, :columns]
    pairs = effects_up_to(columns, 2)[columns:]
    reach = strength(matrix, min(3, columns))
    return Family(
        f"Plackett-Burman, {tiles} tiles",
        matrix,
        SOURCE,
        resolution=reach + 1 if reach < columns else None,
        aliases=blurred(matrix, effects_up_to(columns, 1), pairs) if pairs else (),
    )


def screening(columns: int, tiles: int | None = None) -> Family:
    """Return a two-level screening plan for so many factors; the smallest there is if the tiles are not said.

    Raises
    ------
    PlanError
        When there is none; the smallest that does it is named.

    >>> screening(6).name, screening(9).name
    ('2^(6-3) fraction, resolution III, 8 tiles', 'Plackett-Burman, 12 tiles')
    """
    sizes = screening_tile_counts(columns)
    if not sizes or (tiles is not None and tiles not in sizes):
        asked = "No screening plan" if tiles is None else f"No screening plan of {tiles} tiles"
        raise PlanError(f"{asked} here takes {columns} factors. {_smallest(columns)}")
    tiles = sizes[0] if tiles is None else tiles
    return plackett_burman(tiles, columns) if tiles in FIRST_ROWS else fraction(columns, tiles)


def screening_tile_counts(columns: int) -> list[int]:
    """Return the tile counts of the screening plans for so many factors, rising, up to 32.

    >>> screening_tile_counts(9)
    [12, 16, 20, 24, 32]
    """
    fractions = [tiles for factors, tiles in GENERATORS if factors == columns and tiles in (8, 16, 32)]
    return sorted(fractions + [tiles for tiles in FIRST_ROWS if 3 <= columns < tiles])


def _smallest(columns: int) -> str:
    if sizes := screening_tile_counts(columns):
        return f"Ask for {', '.join(map(str, sizes))} tiles."
    return "Screening plans here take 3 to 23 factors: fewer need only the full factorial; of more, leave some out."
