"""A smooth curve through points at places from 0 to 1: B-splines at equal knots with a penalty on roughness.

Sources: Eilers & Marx (1996), Statist. Sci. 11:89; the penalty by generalised cross-validation, Craven & Wahba (1979),
Numer. Math. 31:377.
"""

from __future__ import annotations

import numpy as np
from scipy.interpolate import BSpline

from tilestudy.analysis.mixed import Array

KNOTS = 14
_ENDS = (-0.1, 1.1)
_PENALTIES = 10.0 ** np.arange(-4.0, 3.1, 1.0)
ROUGH: Array = np.diff(np.eye(KNOTS), 2, axis=0)
"""Second differences of the coefficients, which the penalty keeps small."""


def basis(place: Array) -> Array:
    """Return cubic B-splines at equal knots at places (n,): (n, KNOTS). Places beyond -0.1 and 1.1 count as these.

    >>> basis(np.array([0.0, 1.0])).shape
    (2, 14)
    """
    low, high = _ENDS
    inner = np.linspace(low, high, KNOTS - 2)
    step = inner[1] - inner[0]
    knots = np.concatenate([low - step * np.arange(3, 0, -1), inner, high + step * np.arange(1, 4)])
    return np.asarray(BSpline.design_matrix(np.clip(place, low, high), knots, 3).toarray())


def smooth(place: Array, lab: Array) -> tuple[Array, float, float]:
    """Lay a smooth curve through points (n, q) at places (n,).

    Returns
    -------
    (KNOTS, q) float, float, float
        Coefficients of `basis`; degrees of freedom; sum of squares left. The penalty is that of the least generalised
        cross-validation, each degree of freedom counted 1.2 times, which keeps small sets from wiggling.
    """
    B = basis(place)
    inner, outer = B.T @ B, B.T @ lab
    n, best = len(lab), np.inf
    found = np.zeros_like(outer), 1.0, float((lab**2).sum())
    inverses = np.linalg.inv(inner + _PENALTIES[:, None, None] * (ROUGH.T @ ROUGH) + 1e-9 * np.eye(KNOTS))
    for inverse in inverses:
        df = float(np.einsum("ij,ji->", inverse, inner))
        if 1.2 * df >= 0.85 * n:
            continue
        coefficients = inverse @ outer
        rest = float(((lab - B @ coefficients) ** 2).sum())
        score = rest / (1.0 - 1.2 * df / n) ** 2
        if score < best:
            best, found = score, (coefficients, df, rest)
    return found
