"""Orthogonal arrays of three levels in 9, 18 and 27 tiles: main effects of factors taken level by level.

9 and 27 tiles: the linear arrays of Bose (1947), Sankhya 8:107. 18 tiles, with one factor of two levels if wanted: from a
difference scheme of order 6, Bose & Bush (1952), Ann. Math. Statist. 23:508. Any two columns hold every pair of levels
equally often (checked in the tests). Columns are chosen for minimum (generalised) aberration, Xu & Wu (2001), Ann. Statist.
29:1066, by trying all subsets.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np

from tilestudy.design.families.aliasing import blurred_levels, lost_effects
from tilestudy.design.families.family import Family
from tilestudy.errors import PlanError

SOURCE = "Bose (1947), Sankhya 8:107; Bose & Bush (1952), Ann. Math. Statist. 23:508"
_ROOM = {9: (0, 4), 18: (1, 7), 27: (0, 13)}  # tiles: most factors of two levels, of three levels
_SCHEME = np.array(
    [
        [0, 0, 0, 0, 0, 0],
        [0, 0, 1, 1, 2, 2],
        [0, 1, 0, 2, 1, 2],
        [0, 1, 2, 0, 2, 1],
        [0, 2, 1, 2, 0, 1],
        [0, 2, 2, 1, 1, 0],
    ]
).T
# which columns of three levels an array of 18 takes beside a factor of two levels, the least aliased of all choices
_BESIDE_TWO = {2: (0, 1), 3: (0, 2, 3), 4: (0, 1, 4, 5), 5: (0, 1, 2, 4, 5), 6: (1, 2, 3, 4, 5, 6), 7: tuple(range(7))}
# what each column of a linear array adds up, of A, B (and C); the first so many are always of minimum aberration
_LINEAR = {
    2: ((1, 0), (0, 1), (1, 1), (1, 2)),
    3: (
        *((1, 0, 0), (0, 1, 0), (0, 0, 1), (1, 1, 1), (1, 1, 2), (1, 2, 0), (1, 2, 1)),
        *((1, 0, 2), (0, 1, 1), (1, 2, 2), (1, 1, 0), (1, 0, 1), (0, 1, 2)),
    ),
}


def array_tile_counts(levels: Sequence[int]) -> list[int]:
    """Return in how many tiles an array for these numbers of levels exists, rising.

    >>> array_tile_counts([3, 3, 2]), array_tile_counts([3, 3, 3])
    ([18], [9, 18, 27])
    """
    two, three = levels.count(2), levels.count(3)
    if two + three != len(levels) or three < 2:
        return []
    return [tiles for tiles, (most_two, most_three) in _ROOM.items() if two <= most_two and three <= most_three]


def orthogonal_array(levels: Sequence[int], tiles: int) -> Family:
    """Return an orthogonal array coded in level numbers: columns of three levels, and in 18 tiles at most one of two.

    Raises
    ------
    PlanError
        When there is none for these levels.

    >>> orthogonal_array([3, 2, 3], 18).levels
    (3, 2, 3)
    """
    counts = array_tile_counts(levels)
    if tiles not in counts:
        offer = f"Ask for {' or '.join(map(str, counts))} tiles." if counts else "Make the full grid, or drop levels."
        raise PlanError(
            f"There is no array of {tiles} tiles for factors of {' x '.join(map(str, levels))} levels. {offer}"
        )
    if tiles == 18:
        two = np.repeat(np.arange(6) // 3, 3)
        three = [np.repeat(np.arange(6) % 3, 3)]
        three += [(np.repeat(_SCHEME[:, n], 3) + np.tile(np.arange(3), 6)) % 3 for n in range(6)]
        three = [three[n] for n in _BESIDE_TWO[levels.count(3)]] if 2 in levels else three[1:] + three[:1]
    else:
        two = np.zeros(tiles, dtype=int)
        points = np.array(list(product(range(3), repeat=2 if tiles == 9 else 3)))
        three = [points @ np.array(sums) % 3 for sums in _LINEAR[points.shape[1]]]
    rest = iter(three)
    matrix = np.column_stack([two if level == 2 else next(rest) for level in levels]).astype(float)
    aliases = blurred_levels(matrix)
    lost = () if aliases else lost_effects(matrix)
    return Family(f"orthogonal array, {tiles} tiles", matrix, SOURCE, "levels", aliases=aliases, lost=lost)
