"""Grades of the grey scales from measured colours: staining (ISO 105-A04) and change in colour (ISO 105-A05).

Grades run from 5 (no stain, no change) to 1. Both formulas come with a number between the half grades, for arithmetic,
and the half grade that is reported. Sources: ISO 105-A04:1989 and ISO 105-A05:1996; where a limit between half grades
itself belongs, and the number between them for A05, are from public code that follows them, not from their own text.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from tilestudy.colour.xyz import Floats

STAINING_STEPS: Mapping[float, float] = MappingProxyType(
    {5.0: 0.0, 4.5: 2.2, 4.0: 4.3, 3.5: 6.0, 3.0: 8.5, 2.5: 12.0, 2.0: 16.9, 1.5: 24.0, 1.0: 34.1}
)
"""CIELAB difference of the two patches of each step of the grey scale for staining, best grade first: ISO 105-A03:1993."""

_STAIN_LIMITS = np.array([1.25, 1.75, 2.25, 2.75, 3.25, 3.75, 4.25, 4.75])
_CHANGE_LIMITS = np.array([0.40, 1.25, 2.10, 2.95, 4.10, 5.80, 8.20, 11.60])


def staining_difference(clean: npt.ArrayLike, stained: npt.ArrayLike) -> Floats:
    """Return dE_GS of ISO 105-A04, no unit: the CIELAB difference with only 60 % of its part in chroma and hue.

    Parameters
    ----------
    clean, stained : (..., 3) array_like
        L*a*b* of the clean and of the stained cloth under the same light (the standard: D65, 10 degree); they broadcast.

    Examples
    --------
    >>> round(float(staining_difference([95, 0, 2], [92, 1, 6])), 4)
    3.4498
    """
    d = np.asarray(stained, dtype=float) - np.asarray(clean, dtype=float)
    dE = np.linalg.norm(d, axis=-1)
    return np.asarray(dE - 0.4 * np.hypot(d[..., 1], d[..., 2]))


def staining_grade(dE_GS: npt.ArrayLike) -> Floats:
    """Return the staining grade SSR of ISO 105-A04, 1 to 5, between the half grades too.

    At grade 4 (dE_GS 4.256) the two branches of the formula meet with a step of 0.02; that is the formula. Below
    grade 1, where it goes on falling, this stays at 1.

    >>> staining_grade([0, 2.2, 8.5, 60]).round(2).tolist()
    [5.0, 4.49, 3.0, 1.0]
    """
    d = np.asarray(dE_GS, dtype=float)
    heavy = 6.1 - 1.45 * np.log(np.maximum(d, 1e-9))
    return np.asarray(np.maximum(np.where(heavy > 4, 5 - 0.23 * d, heavy), 1.0))


def staining_half_grade(grade: npt.ArrayLike) -> Floats:
    """Return the half grade that is reported for a staining grade (4.5 is written 4-5).

    >>> staining_half_grade([4.75, 4.74, 1.2]).tolist()
    [5.0, 4.5, 1.0]
    """
    # the standard rounds to two decimals before it looks up the class
    rounded = np.floor(np.asarray(grade, dtype=float) * 100 + 0.5 + 1e-9) / 100
    return np.asarray(1 + np.searchsorted(_STAIN_LIMITS, rounded + 1e-9) / 2)


def change_difference(original: npt.ArrayLike, tested: npt.ArrayLike) -> Floats:
    """Return dE_F of ISO 105-A05, no unit: a CIELAB difference that counts chroma and hue less where colours are vivid.

    Parameters
    ----------
    original, tested : (..., 3) array_like
        L*a*b* before and after, under the same light (the standard: D65, 10 degree); they broadcast.

    Examples
    --------
    >>> round(float(change_difference([40, 20, 25], [38, 16, 21])), 4)
    4.6826
    """
    lab0, labT = (np.asarray(one, dtype=float) for one in (original, tested))
    C0, CT = (np.hypot(lab[..., 1], lab[..., 2]) for lab in (lab0, labT))
    h0, hT = (np.degrees(np.arctan2(lab[..., 2], lab[..., 1])) % 360 for lab in (lab0, labT))
    turn = (hT - h0 + 180) % 360 - 180  # the shorter way round, -180 to below 180
    turn = np.where((np.abs(hT - h0) == 180), hT - h0, turn)
    dL, dC = labT[..., 0] - lab0[..., 0], CT - C0
    dH = 2 * np.sqrt(C0 * CT) * np.sin(np.radians(turn / 2))
    CM = (C0 + CT) / 2
    hM = np.where(C0 * CT == 0, h0 + hT, h0 + turn / 2) % 360
    far = np.abs(hM - 280)
    X = (np.minimum(far, 360 - far) / 30) ** 2
    D = dC * CM * np.exp(-X) / 100
    dCF = (dC - D) / (1 + (20 * CM / 1000) ** 2)
    dHF = (dH - D) / (1 + (10 * CM / 1000) ** 2)
    return np.asarray(np.sqrt(dL**2 + dCF**2 + dHF**2))


def change_grade(dE_F: npt.ArrayLike) -> Floats:
    """Return the grade of change in colour of ISO 105-A05, 1 to 5, between the half grades too.

    >>> change_grade([0, 1.7, 3.4, 6.8, 40]).tolist()
    [5.0, 4.0, 3.0, 2.0, 1.0]
    """
    d = np.asarray(dE_F, dtype=float)
    large = 5 - np.log2(np.maximum(d, 1e-9) / 0.85)
    return np.asarray(np.maximum(np.where(d <= 3.4, 5 - d / 1.7, large), 1.0))


def change_half_grade(dE_F: npt.ArrayLike) -> Floats:
    """Return the half grade of change in colour that is reported, from dE_F (4.5 is written 4-5).

    >>> change_half_grade([0.39, 0.40, 12]).tolist()
    [5.0, 4.5, 1.0]
    """
    return np.asarray(5 - np.searchsorted(_CHANGE_LIMITS, np.asarray(dE_F, dtype=float), side="right") / 2)


def written(half_grade: float) -> str:
    """Return a half grade as the standards write it.

    >>> written(4.5), written(3)
    ('4-5', '3')
    """
    below = int(half_grade)
    return f"{below}" if half_grade == below else f"{below}-{below + 1}"
