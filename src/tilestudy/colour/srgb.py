"""sRGB and CIE L*a*b* (D65).

Sources: IEC 61966-2-1:1999 (transfer curve, primaries) and CIE 15 (L*a*b*). The matrix is derived from the primaries
and the white x, y = 0.3127, 0.3290, so that white comes out as exactly L* = 100.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

WHITE_D65 = np.array([0.3127 / 0.3290, 1.0, (1 - 0.3127 - 0.3290) / 0.3290])
"""XYZ of D65, Y = 1."""

_XYZ_OF_PRIMARY = np.array([[0.64, 0.30, 0.15], [0.33, 0.60, 0.06], [0.03, 0.10, 0.79]])
RGB_TO_XYZ: Floats = _XYZ_OF_PRIMARY * np.linalg.solve(_XYZ_OF_PRIMARY, WHITE_D65)
_EPSILON, _KAPPA = 216 / 24389, 24389 / 27


def srgb_to_lab(rgb: npt.ArrayLike) -> Floats:
    """Turn sRGB (..., 3), 0 to 1, into L*a*b* under D65.

    >>> srgb_to_lab([1, 1, 1]).round(6).tolist()
    [100.0, 0.0, 0.0]
    """
    encoded = np.asarray(rgb, dtype=float)
    linear = np.where(encoded <= 0.04045, encoded / 12.92, ((np.maximum(encoded, 0) + 0.055) / 1.055) ** 2.4)
    ratio = linear @ RGB_TO_XYZ.T / WHITE_D65
    f = np.where(ratio > _EPSILON, np.cbrt(ratio), (_KAPPA * ratio + 16) / 116)
    fx, fy, fz = np.moveaxis(f, -1, 0)
    return np.stack([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)], axis=-1) + 0.0


def lab_to_srgb(lab: npt.ArrayLike) -> Floats:
    """Turn L*a*b* (D65), (..., 3), into sRGB 0 to 1, clipped to what a screen can show.

    >>> lab_to_srgb([100, 0, 0]).round(6).tolist()
    [1.0, 1.0, 1.0]
    """
    L, a, b = np.moveaxis(np.asarray(lab, dtype=float), -1, 0)
    fy = (L + 16) / 116
    f = np.stack([fy + a / 500, fy, fy - b / 200], axis=-1)
    ratio = np.where(f**3 > _EPSILON, f**3, (116 * f - 16) / _KAPPA)
    linear = np.clip((ratio * WHITE_D65) @ np.linalg.inv(RGB_TO_XYZ).T, 0, 1)
    return np.asarray(np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055))


def lab_to_hex(lab: npt.ArrayLike) -> str:
    """Return the sRGB colour of one L*a*b* (D65) as ``#rrggbb``, clipped to what a screen can show.

    >>> lab_to_hex([0, 0, 0])
    '#000000'
    """
    red, green, blue = np.rint(lab_to_srgb(lab) * 255).astype(int)
    return f"#{red:02x}{green:02x}{blue:02x}"
