"""The full factorial, mixed levels, and the same with forbidden settings left out.

Yates (1937), The Design and Analysis of Factorial Experiments; standard order, the first factor changing fastest.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from math import prod

import numpy as np

from tilestudy.design.families.aliasing import lost_effects
from tilestudy.design.families.family import Family
from tilestudy.design.families.settings import settings_of
from tilestudy.errors import PlanError
from tilestudy.study.records import Factor, Setting

Forbidden = Callable[[Mapping[str, Setting]], bool]
"""True for the settings of a tile that may not be made: ``lambda tile: tile["dip"] >= 60 and tile["strength"] > 5``."""

SOURCE = "Yates (1937), The Design and Analysis of Factorial Experiments"


def full_factorial(levels: Sequence[int]) -> Family:
    """Return the full factorial, coded in level numbers.

    Parameters
    ----------
    levels : sequence of int
        Number of levels of each factor, two or more.

    Raises
    ------
    PlanError
        When a factor has fewer than two levels.

    >>> full_factorial([2, 3]).matrix.T.astype(int).tolist()
    [[0, 1, 0, 1, 0, 1], [0, 0, 1, 1, 2, 2]]
    """
    if not levels or min(levels) < 2:
        raise PlanError(f"A grid needs factors of two levels or more, and these have {list(levels)}. Give each two.")
    matrix = np.indices(tuple(levels[::-1])).reshape(len(levels), -1)[::-1].T
    name = f"full factorial, {' x '.join(map(str, levels))} = {prod(levels)} tiles"
    return Family(name, matrix.astype(float), SOURCE, "levels")


def two_level_factorial(columns: int) -> Family:
    """Return the full two-level factorial coded -1 and 1.

    >>> two_level_factorial(2).matrix.astype(int).tolist()
    [[-1, -1], [1, -1], [-1, 1], [1, 1]]
    """
    grid = full_factorial([2] * columns)
    return Family(f"full two-level factorial, 2^{columns} = {grid.tiles} tiles", 2 * grid.matrix - 1, SOURCE)


def constrained_grid(factors: Sequence[Factor], forbidden: Forbidden) -> Family:
    """Return the full grid of the factors' levels without the forbidden settings.

    `lost` names the effects that the missing combinations leave judged in part or not at all.

    Raises
    ------
    PlanError
        When nothing is left, or a factor is left with one level.

    >>> dip, strength = Factor("dip", (10.0, 60.0), "s"), Factor("strength", (1.0, 3.0, 9.0), "g/L")
    >>> grid = constrained_grid([strength, dip], lambda tile: tile["dip"] >= 60 and tile["strength"] > 5)
    >>> grid.tiles, grid.lost
    (5, ((0, 1),))
    """
    grid = full_factorial([len(factor.levels) for factor in factors])
    kept = [row for row, tile in enumerate(settings_of(grid, factors)) if not forbidden(tile)]
    if not kept:
        raise PlanError(
            f"All {grid.tiles} combinations of the levels are forbidden, so there is no tile to make. "
            "Take back a forbidden rule, or add a level that the rules allow."
        )
    matrix = grid.matrix[kept]
    for column, factor in enumerate(factors):
        left = sorted({int(level) for level in matrix[:, column]})
        if len(left) < 2:
            raise PlanError(
                f"The forbidden rules leave {factor.label} only the level {factor.levels[left[0]]}, so nothing can be "
                "learned about it. Take back a rule, add a level that is allowed, or leave the factor out."
            )
    name = f"full factorial less {grid.tiles - len(kept)} forbidden = {len(kept)} tiles"
    return Family(name, matrix, SOURCE, "levels", lost=lost_effects(matrix))
