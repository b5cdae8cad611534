"""CIE XYZ, L*a*b* and L*C*h under any white, and the whites of the CIE illuminants.

Source: ISO/CIE 11664-4:2019 (L*a*b*); CIE 15 (chromaticities of the illuminants; D50 and D65, 2 degree, to the four
digits of IEC 61966-2-1 and ISO 13655).
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from tilestudy.errors import WrongRequestError

Floats = npt.NDArray[np.float64]

ILLUMINANTS = ("A", "C", "D50", "D55", "D65", "D75", "F2", "F11")
OBSERVERS = ("2", "10")
CHROMATICITY: Mapping[tuple[str, str], tuple[float, float]] = MappingProxyType(
    {
        ("A", "2"): (0.44758, 0.40745),
        ("C", "2"): (0.31006, 0.31616),
        ("D50", "2"): (0.3457, 0.3585),
        ("D55", "2"): (0.33243, 0.34744),
        ("D65", "2"): (0.3127, 0.3290),
        ("D75", "2"): (0.29903, 0.31488),
        ("F2", "2"): (0.3721, 0.3751),
        ("F11", "2"): (0.3805, 0.3769),
        ("A", "10"): (0.45117, 0.40594),
        ("C", "10"): (0.31039, 0.31905),
        ("D50", "10"): (0.34773, 0.35952),
        ("D55", "10"): (0.33412, 0.34877),
        ("D65", "10"): (0.31382, 0.3310),
        ("D75", "10"): (0.29968, 0.3174),
        ("F2", "10"): (0.37925, 0.36733),
        ("F11", "10"): (0.38541, 0.37123),
    }
)
"""x, y of each illuminant by observer (degrees)."""

_EPSILON, _KAPPA = 216 / 24389, 24389 / 27


def white(illuminant: str, observer: str) -> Floats:
    """Return XYZ of a CIE illuminant, (3,), Y = 1.

    Raises WrongRequestError when the illuminant or the observer is not one of those known.

    >>> white("D50", "2").round(4).tolist()
    [0.9643, 1.0, 0.8251]
    """
    if (illuminant, observer) not in CHROMATICITY:
        raise WrongRequestError(
            f'Light "{illuminant}" seen by the {observer} degree observer is not known. Known illuminants: '
            f"{', '.join(ILLUMINANTS)}; observers: {' and '.join(OBSERVERS)} degrees."
        )
    x, y = CHROMATICITY[illuminant, observer]
    return np.array([x / y, 1.0, (1 - x - y) / y])


def xyz_to_lab(xyz: npt.ArrayLike, white_xyz: npt.ArrayLike) -> Floats:
    """Turn XYZ (..., 3) into L*a*b* (..., 3) relative to a white (3,) on the same scale.

    >>> xyz_to_lab(white("D65", "10") / 2, white("D65", "10")).round(3).tolist()
    [76.069, 0.0, 0.0]
    """
    ratio = np.asarray(xyz, dtype=float) / np.asarray(white_xyz, dtype=float)
    f = np.where(ratio > _EPSILON, np.cbrt(ratio), (_KAPPA * ratio + 16) / 116)
    fx, fy, fz = np.moveaxis(f, -1, 0)
    return np.stack([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)], axis=-1) + 0.0


def lab_to_xyz(lab: npt.ArrayLike, white_xyz: npt.ArrayLike) -> Floats:
    """Turn L*a*b* (..., 3) into XYZ (..., 3) on the scale of the white (3,); the inverse of `xyz_to_lab`.

    >>> lab_to_xyz([100, 0, 0], white("D50", "2")).round(4).tolist()
    [0.9643, 1.0, 0.8251]
    """
    L, a, b = np.moveaxis(np.asarray(lab, dtype=float), -1, 0)
    fy = (L + 16) / 116
    f = np.stack([fy + a / 500, fy, fy - b / 200], axis=-1)
    ratio = np.where(f**3 > _EPSILON, f**3, (116 * f - 16) / _KAPPA)
    return np.asarray(ratio * np.asarray(white_xyz, dtype=float))


def lch_to_lab(lch: npt.ArrayLike) -> Floats:
    """Turn L*, C*, h (degrees), (..., 3), into L*a*b*.

    >>> lch_to_lab([50, 10, 90]).round(6).tolist()
    [50.0, 0.0, 10.0]
    """
    L, C, h = np.moveaxis(np.asarray(lch, dtype=float), -1, 0)
    return np.stack([L, C * np.cos(np.radians(h)), C * np.sin(np.radians(h))], axis=-1)
