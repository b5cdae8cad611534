"""What the error of a photo does to colours: how wide one colour is known, and how much of it a difference keeps.

A photo states the median CIEDE2000 by which it is off (`Reading.error`). It is taken as normal and, in units of CIEDE2000, alike in
every direction: of three such numbers the length has the median 1.538 standard deviations. The local metric of CIEDE2000 at
a colour turns that into L*, a*, b*.

Tiles of one process in one photo share the error, and like colours share it most: the map from the camera to colour is
smooth. The errors of two colours D CIEDE2000 apart have the correlation exp(-(D / 12)^2 / 2), so their difference keeps about
D / 12 of one colour's error, and sqrt(2) of it once they are far apart. A test between tiles is hardly touched, and a
difference of nought stays nought.

Sources: the median of a chi distribution of 3 degrees of freedom; Sharma, Wu & Dalal (2005) for CIEDE2000; the 12 was
simulated (tests/benchmarks/shared_error.py).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from tilestudy.analysis.mixed import Array
from tilestudy.colour.difference import ciede2000

MEDIAN_LENGTH = 1.5382
"""Median length of three standard normal numbers: root of the median of chi-square with 3 degrees of freedom."""

SHARED_OVER = 12.0
"""CIEDE2000 over which colours of one process share a photo's error."""

MOST_OF_SHARE = 0.95
"""Largest share of a difference that its error is taken to be, so that an error never turns a difference round."""

_STEP = 0.5
_PAIRS = ((0, 1), (0, 2), (1, 2))


def sd_of(error: float) -> float:
    """Return the standard deviation in one direction, CIEDE2000, of a median error in CIEDE2000.

    >>> round(sd_of(1.5382), 3)
    1.0
    """
    return error / MEDIAN_LENGTH


def covariance(lab: ArrayLike, error: float) -> Array:
    """Return the covariance (3, 3) of a colour's error in L*, a*, b*.

    Parameters
    ----------
    lab : (3,) float
        CIE L*a*b*.
    error : float
        Median error, CIEDE2000.

    Examples
    --------
    >>> np.sqrt(np.diag(covariance((50.0, 0.0, 40.0), 1.5382))).round(1).tolist()  # chroma is told less finely than L*
    [1.0, 1.4, 2.8]
    """
    middle = np.asarray(lab, dtype=float)
    ways = np.vstack([np.eye(3), *(np.eye(3)[[i]] + np.eye(3)[[j]] for i, j in _PAIRS)]) * _STEP / 2
    squared = (ciede2000(middle - ways, middle + ways) / _STEP) ** 2
    metric = np.diag(squared[:3])
    for (i, j), both in zip(_PAIRS, squared[3:], strict=True):
        metric[i, j] = metric[j, i] = (both - squared[i] - squared[j]) / 2
    return np.asarray(np.linalg.inv(metric) * sd_of(error) ** 2)


def kept(apart: float) -> float:
    """Return the share of one colour's standard deviation that the difference of two colours has, `apart` in CIEDE2000.

    >>> kept(0.0), round(kept(6.0), 2), round(kept(80.0), 2)
    (0.0, 0.48, 1.41)
    """
    return math.sqrt(-2.0 * math.expm1(-0.5 * (apart / SHARED_OVER) ** 2))


def share_of_change(sd: float, level: float = 0.95) -> float:
    """Return how far, as a share of it, a change may be off: the half-width of the range at a colour's sd `sd`.

    >>> round(share_of_change(1.0), 3)
    0.163
    """
    return min(float(ndtri(0.5 + level / 2)) * sd / SHARED_OVER, MOST_OF_SHARE)


def widened(value: float, low: float, high: float, share: float) -> tuple[float, float]:
    """Widen a range of a change by an error that is a share of the change; an end never crosses nought by it.

    >>> tuple(round(end, 2) for end in widened(10.0, 8.0, 12.0, 0.1)), widened(1.0, 0.0, 2.0, 0.0)
    ((7.85, 12.33), (0.0, 2.0))
    """
    return value - math.hypot(value - low, share * low), value + math.hypot(high - value, share * high)
