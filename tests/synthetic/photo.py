"""A synthetic photo with its truth, and how it is written: JPEG or PNG, profile, orientation."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image, ImageCms

from tests.synthetic.cameras import P3_TO_XYZ, adaptation
from tests.synthetic.scene import Scene
from tests.synthetic.spectra import Floats
from tests.synthetic.view import View
from tilestudy.colour.srgb import WHITE_D65
from tilestudy.tray.references import References

Lab = tuple[float, float, float]


@dataclass(frozen=True)
class TileTruth:
    """What a tile is: L*a*b* of the mean light of its face without glare, mottle, share of glare, outline (4, 2) mm.

    The face ends 1 mm inside the edge. Mottle is the mean CIEDE2000 of blocks of 0.67 mm from `lab`.
    """

    code: str
    kind: str
    lab: Lab
    mottle: float
    glare: float
    outline: Floats


@dataclass(frozen=True)
class ClothTruth:
    """L*a*b* of the middle 12 mm of a swatch and of the clean ones together, and its grade (ISO 105-A04)."""

    code: str
    stain: Lab
    clean: Lab
    grade: float


@dataclass(frozen=True)
class Photo:
    """A picture and what it shows.

    Attributes
    ----------
    encoded : (h, w, 3) uint8 or uint16
        RGB as a camera stores it, upright, before JPEG.
    tiles : code to TileTruth
    cloths : code to ClothTruth
    references : References or None
        What the reference file says.
    view : View
        `view.to_px(mm)`: pixels of places on the page; the middle of the first pixel is (0, 0).
    scene : Scene
    """

    encoded: npt.NDArray[np.uint8] | npt.NDArray[np.uint16]
    tiles: dict[str, TileTruth]
    cloths: dict[str, ClothTruth]
    references: References | None
    view: View
    scene: Scene

    def to_px(self, mm: npt.ArrayLike) -> Floats:
        """Turn mm on the page (n, 2) into pixels (n, 2)."""
        return self.view.to_px(mm)

    def write(self, path: str | Path, quality: int = 90) -> Path:
        """Write .jpg (8 bits) or .png with the scene's profile and orientation tag; return the path."""
        path = Path(path)
        stored = np.ascontiguousarray(_stored_as(self.encoded, self.scene.orientation))
        if stored.dtype == np.uint16:
            if path.suffix != ".png":
                raise ValueError("16 bits go into a .png")
            data = cv2.imencode(".png", stored[..., ::-1], [cv2.IMWRITE_PNG_COMPRESSION, 1])[1].tobytes()
            path.write_bytes(_with_profile(data, profile_bytes(self.scene.profile)))
            return path
        picture = Image.fromarray(stored)
        extra: dict[str, Any] = {}
        if self.scene.orientation != 1:
            exif = Image.Exif()
            exif[0x0112] = self.scene.orientation
            extra["exif"] = exif
        if self.scene.profile:
            extra["icc_profile"] = profile_bytes(self.scene.profile)
        if path.suffix == ".png":
            picture.save(path, compress_level=1, **extra)
        else:
            picture.save(path, quality=quality, **extra)
        return path

    def through_jpeg(self, quality: int = 90) -> npt.NDArray[np.uint8]:
        """Return the picture as it comes back from JPEG."""
        data = cv2.imencode(".jpg", self.encoded[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
        return np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), np.uint8)[..., ::-1]


def _stored_as(upright: npt.NDArray[np.generic], orientation: int) -> npt.NDArray[np.generic]:
    """Return pixels so that a reader that follows the tag sees them upright (EXIF 2.32, table 6, tag 0x0112)."""
    turned = {
        1: upright,
        2: upright[:, ::-1],
        3: upright[::-1, ::-1],
        4: upright[::-1],
        5: upright.transpose(1, 0, 2),
        6: np.rot90(upright, 1),
        7: upright[::-1, ::-1].transpose(1, 0, 2),
        8: np.rot90(upright, -1),
    }
    return turned[orientation]


def profile_bytes(profile: str) -> bytes:
    """Return an ICC profile: "sRGB", or "p3" with the primaries of Display P3 and the curve of sRGB; empty for ""."""
    if profile == "":
        return b""
    if profile == "sRGB":
        return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    return _p3()


def _fixed(value: float) -> bytes:
    return struct.pack(">i", round(value * 65536))


def _p3() -> bytes:
    """A version 4 matrix profile by hand (ISO 15076-1:2010, 7.2, 8.3, 10.13, 10.15, 10.18, 10.31)."""
    d50 = np.array([0.9642, 1.0, 0.8249])
    columns = (adaptation(WHITE_D65, d50) @ P3_TO_XYZ).T

    def text(words: str) -> bytes:
        data = words.encode("utf-16-be")
        return b"mluc\0\0\0\0" + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(data), 28) + data

    def xyz(values: Floats) -> bytes:
        return b"XYZ \0\0\0\0" + b"".join(_fixed(float(v)) for v in values)

    curve = b"para\0\0\0\0" + struct.pack(">HH", 3, 0)
    curve += b"".join(_fixed(v) for v in (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045))
    chad = b"sf32\0\0\0\0" + b"".join(_fixed(float(v)) for v in adaptation(WHITE_D65, d50).ravel())
    tags = {
        b"desc": text("wide RGB"), b"cprt": text("public domain"), b"wtpt": xyz(d50), b"rXYZ": xyz(columns[0]),
        b"gXYZ": xyz(columns[1]), b"bXYZ": xyz(columns[2]), b"rTRC": curve, b"gTRC": curve, b"bTRC": curve, b"chad": chad,
    }  # fmt: skip
    index, body, at = struct.pack(">I", len(tags)), b"", 128 + 4 + 12 * len(tags)
    for name, data in tags.items():
        index += name + struct.pack(">II", at + len(body), len(data))
        body += data + b"\0" * (-len(data) % 4)
    size = 128 + len(index) + len(body)
    header = struct.pack(">I4sI4s4s4s", size, b"\0\0\0\0", 0x04000000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H4s", 2026, 1, 1, 0, 0, 0, b"acsp") + b"\0" * 28
    header += b"".join(_fixed(float(v)) for v in d50)
    return header + b"\0" * (128 - len(header)) + index + body


def _with_profile(png: bytes, profile: bytes) -> bytes:
    """Put a profile into a PNG, after its first chunk (PNG specification, iCCP)."""
    if not profile:
        return png
    data = b"profile\0\0" + zlib.compress(profile)
    chunk = struct.pack(">I", len(data)) + b"iCCP" + data + struct.pack(">I", zlib.crc32(b"iCCP" + data))
    return png[:33] + chunk + png[33:]
