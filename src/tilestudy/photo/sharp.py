"""How blurred a photo is, told by the outer edges of its markers."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from tilestudy.photo.needs import opencv

Floats = npt.NDArray[np.float64]

TAIL = 0.05
"""Share of an edge's rise at its foot and head that is left out: grain of the paper would look like blur."""
_UNIT = 0.4534
"""What `blur_px` sums for an edge blurred by a standard deviation of 1."""


def blur_px(decode: Floats, grey: npt.NDArray[np.uint8], corners: Floats) -> tuple[float, float]:
    """Return the standard deviation of the blur, px, across the two pairs of opposite edges of a marker.

    An edge blurred by a normal spread rises as its distribution function F, and the integral of F (1 - F) grows with the
    spread (without tails it would be s / sqrt(pi)).

    Parameters
    ----------
    decode : (256,) array
        Light of the levels.
    grey : (h, w) uint8 array
    corners : (4, 2) array
        Of the marker, px.
    """
    cv2 = opencv()
    reach = np.sqrt(area(corners)) / 7 * 0.9
    steps = np.linspace(-reach, reach, 41)
    widths = []
    for n in range(4):
        a, b = corners[n], corners[(n + 1) % 4]
        along = (b - a) / np.hypot(*(b - a))
        across = np.array([along[1], -along[0]])
        points = a + np.linspace(0.15, 0.85, 25)[:, None] * (b - a)
        at = (points[:, None, :] + steps[None, :, None] * across).astype(np.float32)
        profile = cv2.remap(grey, at, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        light = decode[profile]
        light = light if light[:, -8:].mean() > light[:, :8].mean() else light[:, ::-1]
        low, high = light[:, :8].mean(axis=1, keepdims=True), light[:, -8:].mean(axis=1, keepdims=True)
        rise = np.clip(((light - low) / np.maximum(high - low, 1e-3) - TAIL) / (1 - 2 * TAIL), 0, 1)
        widths.append(float(np.median((rise * (1 - rise)).sum(axis=1)) * (steps[1] - steps[0]) / _UNIT))
    return (widths[0] + widths[2]) / 2, (widths[1] + widths[3]) / 2


def area(corners: Floats) -> float:
    """Return the area of a polygon (n, 2).

    >>> area(np.array([[0.0, 0], [2, 0], [2, 3], [0, 3]]))
    6.0
    """
    x, y = corners.T
    return float(abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))) / 2)
