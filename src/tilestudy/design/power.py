"""Power of F and t tests, and the smallest effect a test sees: non-central F throughout (Cohen 1988, chapters 2 and 8).

The two-sided t test on df degrees of freedom is the F test on 1 and df, so one distribution serves both.

Where batches lie in sessions, REML pools: a variance between sessions cannot be below nought, so when sessions happen to
differ less than batches do, both serve as noise together (Patterson & Thompson 1971, Biometrika 58:545). `pooled_power` is
the power of such a test, by numerical integration over both mean squares.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from scipy import optimize, special

POWER, ALPHA = 0.80, 0.05


def f_power(noncentrality: float, df: int, ddf: float, alpha: float = ALPHA) -> float:
    """Return the power of an F test on df and ddf degrees of freedom.

    `noncentrality` is the squared true effect over its squared standard error, summed over independent comparisons.

    >>> round(f_power(4.0, 1, 28), 3)
    0.489
    """
    critical = special.fdtri(df, ddf, 1 - alpha)
    return 1 - float(special.ncfdtr(df, ddf, noncentrality, critical))


def t_power(shift: float, df: float, alpha: float = ALPHA) -> float:
    """Return the power of a two-sided t test whose true effect is `shift` standard errors, on `df` degrees of freedom.

    >>> round(t_power(2.0, 28), 3)
    0.489
    """
    return f_power(shift**2, 1, df, alpha)


def pooled_power(noncentrality: float, df: int, ddf: float, wider_df: int, ratio: float, alpha: float = ALPHA) -> float:
    """Return the power of an F test whose noise is pooled with that of a wider stratum when that comes out smaller.

    Parameters
    ----------
    noncentrality, df, ddf : float, int, float
        As in `f_power`.
    wider_df : int
        Degrees of freedom of the wider stratum's mean square.
    ratio : float
        Expected mean square of the wider stratum over that of the test's own, at least 1.

    Examples
    --------
    >>> round(pooled_power(20.0, 1, 2, 1, 1e9), 3) == round(f_power(20.0, 1, 2), 3)
    True
    """
    points, weights = np.polynomial.legendre.leggauss(48)
    quantiles = (points + 1) / 2
    own = special.chdtri(ddf, quantiles)[:, None] / ddf
    wider = ratio * special.chdtri(wider_df, quantiles)[None, :] / wider_df
    noise = np.where(wider < own, (ddf * own + wider_df * wider) / (ddf + wider_df), own)
    critical = df * special.fdtri(df, ddf, 1 - alpha)
    seen = 1 - special.chndtr(critical * noise, df, noncentrality)
    return float(weights @ seen @ weights) / 4


@cache
def needed_noncentrality(
    df: int, ddf: float, wider_df: int = 0, ratio: float = 1.0, power: float = POWER, alpha: float = ALPHA
) -> float:
    """Return the noncentrality at which an F test on df and ddf degrees of freedom has the power.

    With `wider_df` the test pools (`pooled_power`).

    >>> round(needed_noncentrality(3, 140), 1)
    11.2
    """

    def short(shift: float) -> float:
        if wider_df:
            return pooled_power(shift**2, df, ddf, wider_df, ratio, alpha) - power
        return f_power(shift**2, df, ddf, alpha) - power

    high = 1.0
    while short(high) < 0:
        high *= 2
    return float(optimize.brentq(short, 0.0, high, xtol=1e-6)) ** 2


def smallest_effect(se: float, df: float, power: float = POWER, alpha: float = ALPHA) -> float:
    """Return the smallest true effect that a two-sided t test finds with the given power.

    Parameters
    ----------
    se : float
        Standard error of the estimated effect.
    df : float
        Residual degrees of freedom, at least 1.

    Examples
    --------
    >>> round(smallest_effect(1.0, 20), 2)
    2.95
    """
    return float(needed_noncentrality(1, df, power=power, alpha=alpha) ** 0.5) * se
