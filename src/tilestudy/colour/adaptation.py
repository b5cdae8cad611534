"""L*a*b* measured under one light, as it would look under another: the Bradford transform.

Colours under D50 and D65 are never compared or named as they stand; they are adapted first. An adaptation knows nothing of
a colour's spectrum. For 600 invented smooth reflectances like those of patinas (tests/colour/test_light.py) D50 to D65 is
right to a median 0.6 and a 95th percentile of 1.2 CIEDE2000; A to D65 to 2.0 and 4.9; fluorescent lamps are no better
adapted than not. What the 2 and 10 degree observers see cannot be turned into each other: it differs by a median 1.4 and a
95th percentile of 3.7, so the observer stays as it was.

Source: Lam (1985), the Bradford cone matrix, in the linear form of ICC.1:2010, annex E.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from tilestudy.colour.xyz import Floats, lab_to_xyz, white, xyz_to_lab

CONES: Floats = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
"""Bradford's sharpened cone responses of XYZ."""


def bradford(white_from: npt.ArrayLike, white_to: npt.ArrayLike) -> Floats:
    """Return the (3, 3) matrix that turns XYZ under one white, (3,), into XYZ under another.

    >>> (bradford(white("D65", "2"), white("D50", "2")) @ white("D65", "2")).round(4).tolist()
    [0.9643, 1.0, 0.8251]
    """
    gains = (CONES @ np.asarray(white_to, dtype=float)) / (CONES @ np.asarray(white_from, dtype=float))
    return np.asarray(np.linalg.solve(CONES, gains[:, None] * CONES))


def adapt(lab: npt.ArrayLike, illuminant: str, observer: str, to: str = "D65") -> Floats:
    """Return L*a*b* (..., 3) measured under one CIE illuminant as it would look under another, same observer.

    Raises WrongRequestError when an illuminant or the observer is not known.

    >>> adapt([50, 20, 20], "D50", "2").round(2).tolist()
    [49.69, 18.72, 19.53]
    >>> adapt([50, 20, 20], "D65", "10").tolist()
    [50.0, 20.0, 20.0]
    """
    if illuminant == to:
        return np.asarray(lab, dtype=float)
    here, there = white(illuminant, observer), white(to, observer)
    return xyz_to_lab(lab_to_xyz(lab, here) @ bradford(here, there).T, there)
