"""Definitive screening: three levels, about two tiles for each factor, main effects clear of all bends and interactions.

Jones & Nachtsheim (2011), J. Quality Technology 43:1; built from conference matrices as in Xiao, Lin & Bai (2012),
J. Quality Technology 44:2. The matrices: Paley (1933), J. Math. Phys. 12:311, from the squares of a field of m - 1
elements; order 16 by doubling order 8 (Goethals & Seidel 1967). For factors along a scale only.
"""

from __future__ import annotations

from itertools import product

import numpy as np

from tilestudy.design.families.aliasing import blurred, effects_up_to
from tilestudy.design.families.family import Family, Floats
from tilestudy.errors import PlanError

SOURCE = "Jones & Nachtsheim (2011), J. Quality Technology 43:1; Xiao, Lin & Bai (2012)"
ORDERS = (4, 6, 8, 10, 12, 14, 16, 18)


def conference_matrix(order: int) -> Floats:
    """Return a conference matrix C of order 4, 6 ... 18: nothing on the diagonal, 1 or -1 elsewhere, C'C = (order - 1) I.

    >>> C = conference_matrix(6)
    >>> bool((C.T @ C == 5 * np.eye(6)).all())
    True
    """
    if order not in ORDERS:
        raise PlanError(f"There is no conference matrix of order {order} here. Choose an even order from 4 to 18.")
    if order == 16:
        half, one = conference_matrix(8), np.eye(8)
        return np.block([[half, half + one], [half - one, -half]])
    # a field of q elements: whole numbers modulo q, or for 9 the numbers a + b i modulo 3
    q = order - 1
    elements = list(product(range(3), repeat=2)) if q == 9 else [(a, 0) for a in range(q)]
    modulus = 3 if q == 9 else q
    squares = {((a * a - b * b) % modulus, 2 * a * b % modulus) for a, b in elements} - {(0, 0)}

    def character(a: int, b: int) -> float:
        difference = (a % modulus, b % modulus)
        return 0.0 if difference == (0, 0) else 1.0 if difference in squares else -1.0

    core = np.array([[character(a - c, b - d) for c, d in elements] for a, b in elements])
    edge = np.ones((1, q))
    return np.block([[np.zeros((1, 1)), edge], [edge.T if q % 4 == 1 else -edge.T, core]])


def definitive_screening(columns: int, centre: int = 1) -> Family:
    """Return the definitive screening plan: a conference matrix, its mirror image, and centre tiles.

    Parameters
    ----------
    columns : int
        Factors, 3 to 18; for an odd number one column of the next order is left out.
    centre : int
        Centre tiles, one or more.

    Raises
    ------
    PlanError
        For another number of factors, or no centre tile.

    >>> definitive_screening(6).tiles, definitive_screening(5).tiles
    (13, 13)
    """
    if not 3 <= columns <= ORDERS[-1]:
        raise PlanError(
            f"Definitive screening takes 3 to {ORDERS[-1]} factors, and {columns} were asked for. "
            + ("Make the full grid instead." if columns < 3 else "Leave some factors out.")
        )
    if centre < 1:
        raise PlanError(
            "Definitive screening needs a centre tile, or the bends cannot be judged. Ask for at least one."
        )
    half = conference_matrix(columns + columns % 2)[:, :columns]
    matrix = np.vstack([half, -half, np.zeros((centre, columns))])
    second = effects_up_to(columns, 2, bends=True)[columns:]
    return Family(f"definitive screening, {len(matrix)} tiles", matrix, SOURCE, aliases=blurred(matrix, second, second))
