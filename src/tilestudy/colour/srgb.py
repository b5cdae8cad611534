"""sRGB and CIE L*a*b* (D65).

Source: IEC 61966-2-1:1999 (transfer curve, primaries, white). The matrix is derived from the primaries and the white, so
that white comes out as exactly L* = 100.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from tilestudy.colour.xyz import Floats, lab_to_xyz, white, xyz_to_lab

WHITE_D65: Floats = white("D65", "2")
"""XYZ of D65, Y = 1."""

_XYZ_OF_PRIMARY = np.array([[0.64, 0.30, 0.15], [0.33, 0.60, 0.06], [0.03, 0.10, 0.79]])
RGB_TO_XYZ: Floats = _XYZ_OF_PRIMARY * np.linalg.solve(_XYZ_OF_PRIMARY, WHITE_D65)


def to_linear(encoded: npt.ArrayLike) -> Floats:
    """Turn encoded sRGB, any shape, 0 to 1, into linear light.

    >>> to_linear([0.0, 1.0]).tolist()
    [0.0, 1.0]
    """
    stored = np.asarray(encoded, dtype=float)
    return np.where(stored <= 0.04045, stored / 12.92, ((np.maximum(stored, 0) + 0.055) / 1.055) ** 2.4)


def to_encoded(linear: npt.ArrayLike) -> Floats:
    """Turn linear light, any shape, into encoded sRGB; the inverse of `to_linear`.

    >>> to_encoded(to_linear([0.01, 0.5])).round(12).tolist()
    [0.01, 0.5]
    """
    light = np.asarray(linear, dtype=float)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)


def srgb_to_lab(rgb: npt.ArrayLike) -> Floats:
    """Turn sRGB (..., 3), 0 to 1, into L*a*b* under D65.

    >>> srgb_to_lab([1, 1, 1]).round(6).tolist()
    [100.0, 0.0, 0.0]
    """
    return xyz_to_lab(to_linear(rgb) @ RGB_TO_XYZ.T, WHITE_D65)


def lab_to_srgb(lab: npt.ArrayLike) -> Floats:
    """Turn L*a*b* (D65), (..., 3), into sRGB 0 to 1, clipped to what a screen can show.

    >>> lab_to_srgb([100, 0, 0]).round(6).tolist()
    [1.0, 1.0, 1.0]
    """
    linear = np.clip(lab_to_xyz(lab, WHITE_D65) @ np.linalg.inv(RGB_TO_XYZ).T, 0, 1)
    return to_encoded(linear)


def lab_to_hex(lab: npt.ArrayLike) -> str:
    """Return the sRGB colour of one L*a*b* (D65) as ``#rrggbb``, clipped to what a screen can show.

    >>> lab_to_hex([0, 0, 0])
    '#000000'
    """
    red, green, blue = np.rint(lab_to_srgb(lab) * 255).astype(int)
    return f"#{red:02x}{green:02x}{blue:02x}"
