"""Colour differences: CIE 1976 and CIEDE2000.

Source: CIE 142:2001 in the form of Sharma, Wu & Dalal (2005), Color Research & Application 30(1):21-30, with their
symbols.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from tilestudy.study.records import Lab

Floats = npt.NDArray[np.float64]


def lab_of(values: npt.ArrayLike) -> Lab:
    """Return three numbers as one colour.

    >>> lab_of([40, 8, 9])
    (40.0, 8.0, 9.0)
    """
    L, a, b = np.asarray(values, dtype=float)
    return float(L), float(a), float(b)


def ciede2000(lab1: npt.ArrayLike, lab2: npt.ArrayLike) -> Floats:
    """Return the CIEDE2000 difference of two colours.

    Where two hues lie exactly 180 degrees apart the formula jumps; that is the formula, not a bug.

    Parameters
    ----------
    lab1, lab2 : (..., 3) array_like
        CIE L*, a*, b* under the same illuminant and observer; they broadcast.

    Returns
    -------
    (...) ndarray
        Delta E 00, no unit; kL = kC = kH = 1.

    Examples
    --------
    >>> round(float(ciede2000([50, 2.6772, -79.7751], [50, 0, -82.7485])), 4)
    2.0425
    """
    L1, a1, b1 = np.moveaxis(np.asarray(lab1, dtype=float), -1, 0)
    L2, a2, b2 = np.moveaxis(np.asarray(lab2, dtype=float), -1, 0)
    C_bar = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    G = 0.5 * (1 - np.sqrt(C_bar**7 / (C_bar**7 + 25.0**7)))
    a1p, a2p = (1 + G) * a1, (1 + G) * a2
    C1p, C2p = np.hypot(a1p, b1), np.hypot(a2p, b2)
    h1p, h2p = np.degrees(np.arctan2(b1, a1p)) % 360, np.degrees(np.arctan2(b2, a2p)) % 360
    grey = C1p * C2p == 0
    turn = h2p - h1p
    dhp = np.where(grey, 0.0, np.where(turn > 180, turn - 360, np.where(turn < -180, turn + 360, turn)))
    dLp, dCp = L2 - L1, C2p - C1p
    dHp = 2 * np.sqrt(C1p * C2p) * np.sin(np.radians(dhp / 2))
    L_bar, Cp_bar = (L1 + L2) / 2, (C1p + C2p) / 2
    total = h1p + h2p
    apart = np.abs(h1p - h2p) > 180
    hp_bar = np.where(
        grey, total, np.where(~apart, total / 2, np.where(total < 360, (total + 360) / 2, (total - 360) / 2))
    )
    T = (
        1
        - 0.17 * np.cos(np.radians(hp_bar - 30))
        + 0.24 * np.cos(np.radians(2 * hp_bar))
        + 0.32 * np.cos(np.radians(3 * hp_bar + 6))
        - 0.20 * np.cos(np.radians(4 * hp_bar - 63))
    )
    d_theta = 30 * np.exp(-(((hp_bar - 275) / 25) ** 2))
    R_C = 2 * np.sqrt(Cp_bar**7 / (Cp_bar**7 + 25.0**7))
    S_L = 1 + 0.015 * (L_bar - 50) ** 2 / np.sqrt(20 + (L_bar - 50) ** 2)
    S_C, S_H = 1 + 0.045 * Cp_bar, 1 + 0.015 * Cp_bar * T
    R_T = -np.sin(np.radians(2 * d_theta)) * R_C
    l, c, h = dLp / S_L, dCp / S_C, dHp / S_H  # noqa: E741
    return np.asarray(np.sqrt(np.maximum(l * l + c * c + h * h + R_T * c * h, 0.0)))


def cie1976(lab1: npt.ArrayLike, lab2: npt.ArrayLike) -> Floats:
    """Return the CIE 1976 difference (straight-line distance in L*a*b*) of two colours, (..., 3) each.

    >>> float(cie1976([50, 0, 0], [50, 3, 4]))
    5.0
    """
    return np.asarray(np.linalg.norm(np.asarray(lab1, dtype=float) - np.asarray(lab2, dtype=float), axis=-1))
