"""Invented phone cameras: sensitivities, the matrix to the picture's colour space, tone curves."""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from tests.synthetic.spectra import NM, Floats, lab_of_xyz, table, weights
from tilestudy.colour.srgb import RGB_TO_XYZ, WHITE_D65

# peak, width to the short side, width to the long side (nm) of red, green, blue; share leaking from the neighbour
_CAMERAS: dict[
    str, tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float], float]
] = {
    "north": ((600, 28, 34), (532, 36, 38), (458, 24, 28), 0.04),
    "east": ((608, 24, 40), (538, 34, 32), (466, 30, 24), 0.07),
    "south": ((592, 34, 30), (526, 30, 44), (450, 26, 34), 0.05),
    "west": ((604, 38, 28), (544, 42, 30), (462, 22, 30), 0.09),
    "middle": ((598, 30, 38), (534, 32, 34), (456, 28, 22), 0.02),
}
CAMERAS = tuple(_CAMERAS)

P3_TO_XYZ: Floats = np.array(
    [[0.48657095, 0.26566769, 0.19821729], [0.22897456, 0.69173852, 0.07928691], [0.0, 0.04511338, 1.04394437]]
)
"""Linear Display P3 to XYZ (D65), from its primaries (SMPTE EG 432-1) and the white of sRGB."""

_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def adaptation(white_from: npt.ArrayLike, white_to: npt.ArrayLike) -> Floats:
    """Return the (3, 3) Bradford matrix between two whites (CIE 15:2018 names it linear Bradford)."""
    gains = (_BRADFORD @ np.asarray(white_to)) / (_BRADFORD @ np.asarray(white_from))
    return np.asarray(np.linalg.inv(_BRADFORD) @ (gains[:, None] * _BRADFORD))


@cache
def sensitivities(camera: str) -> Floats:
    """Return a camera's (31, 3) sensitivities; "ideal" is the CIE 1931 observer, "exact sRGB" when developed."""
    if camera == "ideal":
        return np.stack([table()[f"{axis}2"] for axis in "xyz"], axis=1)
    *peaks, leak = _CAMERAS[camera]
    curves = np.stack(
        [np.exp(-0.5 * ((NM - peak) / np.where(peak > NM, short, long)) ** 2) for peak, short, long in peaks], axis=1
    )
    leaking = curves @ (np.array([[0.3, 1, 0.2], [0.8, 0.4, 0.8], [0.1, 1, 0.3]]) * leak).T
    infrared_cut = 1 / (1 + np.exp((NM - 662) / 9))
    return np.asarray((curves + leaking) * infrared_cut[:, None])


def to_space(profile: str) -> Floats:
    """Return linear RGB to XYZ (D65) of a picture's colour space: Display P3 for "p3", sRGB otherwise."""
    return P3_TO_XYZ if profile == "p3" else np.asarray(RGB_TO_XYZ)


def develop_matrix(camera: str, light: Floats, training: Floats, profile: str, saturation: float) -> Floats:
    """Return the (3, 3) matrix from white-balanced camera RGB to the linear picture.

    Least squares over the training reflectances (n, 31), with white kept white; what the picture should hold is the
    reflectance under D65.
    """
    from_xyz = np.linalg.inv(to_space(profile))
    response = light[:, None] * sensitivities(camera)
    white = response.sum(axis=0)
    if camera == "ideal":
        return np.asarray(from_xyz @ adaptation(white / white[1], WHITE_D65) @ np.diag(white / white[1]))
    balanced = training @ response / white
    d65 = weights("D65")
    wanted = training @ d65 @ adaptation(d65.sum(axis=0), WHITE_D65).T @ from_xyz.T
    heavy = np.vstack([balanced, 300 * np.ones((1, 3))]), np.vstack([wanted, 300 * np.ones((1, 3))])
    matrix = np.linalg.lstsq(*heavy, rcond=None)[0].T
    grey = np.ones((3, 1)) * to_space(profile)[1]
    return np.asarray((saturation * np.eye(3) + (1 - saturation) * grey) @ matrix)


def srgb_encode(linear: npt.ArrayLike) -> Floats:
    """Return the sRGB encoding (IEC 61966-2-1) of light 0 to 1."""
    light = np.asarray(linear, dtype=float)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)


# contrast, lift of the shadows, shoulder
_TONES: dict[str, tuple[float, float, float]] = {
    "srgb": (0.0, 0.0, 0.0),
    "gentle": (0.15, 0.0, 0.1),
    "phone": (0.25, 0.2, 0.25),
    "lifted": (0.1, 0.5, 0.15),
    "contrast": (0.4, 0.0, 0.1),
    "bright": (0.15, 0.15, 0.45),
    "vivid": (0.45, 0.1, 0.6),
}
TONES = tuple(_TONES)


def tone(name: str, linear: npt.ArrayLike, skew: float = 0.0, strength: float = 1.0) -> Floats:
    """Return encoded values 0 to 1 of linear light 0 to 1; rising throughout.

    `skew` makes a channel a little unlike the others; `strength` (0 to 1.5) is how far the curve is from that of sRGB.

    "linear" does nothing, as a raw-like file.
    """
    if name == "linear":
        return np.asarray(linear, dtype=float)
    contrast, lift, shoulder = (strength * part for part in _TONES[name])
    y = srgb_encode(linear)
    y = 1 - (1 - y) ** (1 + shoulder + skew)
    y = y + lift * y * (1 - y) ** 4
    contrast = contrast + skew
    return np.asarray(y - contrast * np.sin(2 * np.pi * y) / (2 * np.pi))


def top_light(name: str, strength: float = 1.0) -> float:
    """Return the least light that 8 bits store as 255: 1, or less where a curve's shoulder is flat."""
    light = np.linspace(0, 1, 2001)
    return float(light[np.searchsorted(tone(name, light, 0.0, strength), 254.5 / 255)])


def decoded_lab(linear: npt.ArrayLike, profile: str = "sRGB") -> Floats:
    """Turn linear picture RGB (..., 3) into L*a*b* (D50/2), adapted by Bradford from D65."""
    d50 = weights("D50").sum(axis=0)
    return lab_of_xyz(np.asarray(linear) @ to_space(profile).T @ adaptation(WHITE_D65, d50).T)
