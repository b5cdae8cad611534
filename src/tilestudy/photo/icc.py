"""Colour profiles inside pictures (ICC): which red, green and blue the numbers mean, and what light each level stands for.

Only the matrix and curve kind is read, which is what phones and cameras write.
Source: ISO 15076-1:2010 (tags rXYZ, gXYZ, bXYZ, rTRC; types curveType 10.6, parametricCurveType 10.18, XYZType 10.31).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tilestudy.colour.srgb import RGB_TO_XYZ, to_linear

Floats = npt.NDArray[np.float64]

LEVELS: Floats = np.arange(256) / 255
"""The encoded levels at which a curve is kept."""

D50_TO_D65: Floats = np.array(
    [
        [0.9555766, -0.0230393, 0.0631636],
        [-0.0282895, 1.0099416, 0.0210077],
        [0.0122982, -0.0204830, 1.3299098],
    ]
)
"""Bradford adaptation. Source: Lindbloom, chromatic adaptation matrices (2017), 7 decimals."""


@dataclass(frozen=True)
class Space:
    """What the numbers of a picture mean.

    Attributes
    ----------
    name : str
    to_xyz : (3, 3) float array
        Linear RGB to CIE XYZ under D65; white (1, 1, 1) has Y = 1.
    decode : (256,) float array
        Linear light of the encoded levels 0, 1/255 ... 1.
    """

    name: str
    to_xyz: Floats
    decode: Floats


SRGB = Space("sRGB", RGB_TO_XYZ, to_linear(LEVELS))


def read_profile(data: bytes) -> Space | None:
    """Read an embedded profile.

    Parameters
    ----------
    data : bytes
        The profile as it lies in the picture.

    Returns
    -------
    Space or None
        None when it is not an RGB profile of the matrix and curve kind, or is damaged.

    Examples
    --------
    >>> read_profile(b"not a profile") is None
    True
    """
    try:
        if data[16:20] != b"RGB " or data[36:40] != b"acsp":
            return None
        count = min(struct.unpack(">I", data[128:132])[0], 200)
        tags = {}
        for n in range(count):
            signature, offset, size = struct.unpack(">4sII", data[132 + 12 * n : 144 + 12 * n])
            tags[signature] = data[offset : offset + size]
        colorants = np.array([_xyz(tags[name]) for name in (b"rXYZ", b"gXYZ", b"bXYZ")]).T
        decode = _curve(tags[b"rTRC"])
        name = _text(tags.get(b"desc", b"")) or "its own"
    except (struct.error, KeyError, ValueError, OverflowError, ZeroDivisionError):
        return None
    to_xyz = D50_TO_D65 @ colorants
    white = to_xyz.sum(axis=1)
    sound = np.isfinite(to_xyz).all() and np.isfinite(decode).all() and 0.5 < white[1] < 1.5
    if (
        not sound
        or (np.diff(decode) < -1e-6).any()
        or decode[-1] - decode[0] < 0.5
        or abs(np.linalg.det(to_xyz)) < 1e-3
    ):
        return None
    return Space(name, to_xyz / white[1], decode)


def _xyz(tag: bytes) -> tuple[float, ...]:
    if tag[:4] != b"XYZ ":
        raise ValueError
    return tuple(value / 65536 for value in struct.unpack(">3i", tag[8:20]))


def _curve(tag: bytes) -> Floats:
    """Return the light of the 256 levels of a curve tag."""
    if tag[:4] == b"curv":
        count = struct.unpack(">I", tag[8:12])[0]
        if count == 0:
            return LEVELS.copy()
        if count == 1:
            return np.asarray(LEVELS ** (struct.unpack(">H", tag[12:14])[0] / 256))
        table = np.frombuffer(tag[12 : 12 + 2 * count], ">u2").astype(float) / 65535
        if len(table) != count:
            raise ValueError
        return np.asarray(np.interp(LEVELS, np.linspace(0, 1, count), table))
    if tag[:4] == b"para":
        kind = struct.unpack(">H", tag[8:10])[0]
        g, a, b, c, d, e, f = 1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0
        values = [value / 65536 for value in struct.unpack(f">{(1, 3, 4, 5, 7)[kind]}i", tag[12:])] if kind < 5 else []
        if not values:
            raise ValueError
        if kind == 0:
            (g,) = values
        elif kind == 1:
            g, a, b = values
            d = -b / a
        elif kind == 2:
            g, a, b, e = values
            d, f = -b / a, e
        elif kind == 3:
            g, a, b, c, d = values
        else:
            g, a, b, c, d, e, f = values
        power = np.maximum(a * LEVELS + b, 0.0) ** g + e
        return np.clip(np.where(d <= LEVELS, power, c * LEVELS + f), 0.0, 1.0)
    raise ValueError


def _text(tag: bytes) -> str:
    """Return the name of a profile (mluc in version 4, desc in version 2)."""
    if tag[:4] == b"mluc" and len(tag) >= 28:
        size, offset = struct.unpack(">II", tag[20:28])
        text = tag[offset : offset + size].decode("utf-16-be", "ignore")
    else:
        text = tag[12:].split(b"\0")[0].decode("ascii", "ignore") if tag[:4] == b"desc" else ""
    return "".join(letter for letter in text if letter.isprintable()).strip()[:40]
