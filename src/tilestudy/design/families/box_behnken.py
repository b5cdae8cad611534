"""Box-Behnken plans: three levels, two or three factors varied at a time, the rest at the centre; for the full quadratic.

Box & Behnken (1960), Technometrics 2:455: 3 to 7 factors. Blocks: 4 and 5 factors by sets, 6 and 7 by the sign of the
product of the three factors varied; there are none for 3 (checked orthogonal in the tests).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tilestudy.design.families.family import Family
from tilestudy.design.families.full import two_level_factorial
from tilestudy.errors import PlanError

SOURCE = "Box & Behnken (1960), Technometrics 2:455"

# sets of factors varied together, by block
_SETS: dict[int, Sequence[Sequence[str]]] = {
    3: (("12", "13", "23"),),
    4: (("12", "34"), ("13", "24"), ("14", "23")),
    5: (("12", "23", "34", "45", "15"), ("13", "35", "25", "24", "14")),
    6: (("124", "235", "346", "145", "256", "136"),),
    7: (("456", "167", "257", "124", "347", "135", "236"),),
}
_CENTRE = {3: 3, 4: 3, 5: 6, 6: 6, 7: 6}


def box_behnken(columns: int, centre: int | None = None) -> Family:
    """Return the Box-Behnken plan of 3 to 7 factors, with as many centre tiles as its authors give if not said.

    Raises
    ------
    PlanError
        For another number of factors, or centre tiles that cannot be shared by the blocks.

    >>> box_behnken(3).tiles, box_behnken(4).blocks.count(1)
    (15, 9)
    """
    if columns not in _SETS:
        raise PlanError(
            f"Box-Behnken plans here take 3 to 7 factors, and {columns} were asked for. "
            + (
                "Make the full grid of three levels instead."
                if columns < 3
                else "Screen first and keep the strongest few."
            )
        )
    centre = _CENTRE[columns] if centre is None else centre
    parts = []
    for sets in _SETS[columns]:
        rows = np.zeros((0, columns))
        for chosen in sets:
            grid = two_level_factorial(len(chosen)).matrix
            varied = np.zeros((len(grid), columns))
            varied[:, [int(digit) - 1 for digit in chosen]] = grid
            rows = np.vstack([rows, varied])
        if columns >= 6:
            positive = np.prod(np.where(rows == 0, 1, rows), axis=1) > 0
            parts += [rows[positive], rows[~positive]]
        else:
            parts.append(rows)
    if centre < 1 or centre % len(parts):
        raise PlanError(
            f"{centre} centre tiles cannot be shared equally by {len(parts)} block{'s' if len(parts) > 1 else ''}. "
            f"Ask for {max(1, -(-centre // len(parts))) * len(parts)}."
        )
    parts = [np.vstack([part, np.zeros((centre // len(parts), columns))]) for part in parts]
    blocks = [number for number, part in enumerate(parts, 1) for _ in part] if len(parts) > 1 else []
    matrix = np.vstack(parts)
    return Family(f"Box-Behnken, {len(matrix)} tiles", matrix, SOURCE, blocks=tuple(blocks))
