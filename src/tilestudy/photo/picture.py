"""Opening a photo safely: what it is, how it was meant to be seen, and which colours its numbers mean."""

from __future__ import annotations

import importlib
import io
import warnings
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from tilestudy.errors import PhotoError
from tilestudy.photo.icc import SRGB, Floats, Space, read_profile
from tilestudy.photo.needs import opencv

MOST_PIXELS = 120_000_000
"""More are refused before anything is decoded: a small file can claim a picture that fills the memory."""
SHORTEST_SIDE = 300
"""Pixels; a smaller picture cannot show a tray."""
SAVE_AS_JPEG = "Save it as JPEG and give that file."


@dataclass(frozen=True)
class Picture:
    """A photo as stored, upright.

    Attributes
    ----------
    name : str
        Name of the file.
    pixels : (h, w, 3) uint8 or uint16 array
        Red, green and blue as stored.
    space : Space
        Which colours the numbers mean, by the embedded profile; sRGB when there is none.
    camera : str
        As the file states it; "" when it does not.
    taken : date or None
        Day the photo was taken, as the file states it.
    notes : tuple of str
        What the person should know: a sentence each.
    """

    name: str
    pixels: npt.NDArray[Any]
    space: Space = SRGB
    camera: str = ""
    taken: date | None = None
    notes: tuple[str, ...] = field(default=())

    @property
    def encoded(self) -> npt.NDArray[np.float32]:
        """The picture as stored, 0 to 1: (h, w, 3)."""
        return (self.pixels / np.float32(255 if self.bits == 8 else 65535)).astype(np.float32, copy=False)

    @property
    def bits(self) -> int:
        """Bits of each channel: 8 or 16."""
        return 8 if self.pixels.dtype == np.uint8 else 16

    @property
    def to_xyz(self) -> Floats:
        """Linear RGB to CIE XYZ (D65), (3, 3)."""
        return self.space.to_xyz

    @property
    def decode(self) -> Floats:
        """Linear light of the encoded levels 0 to 255, (256,)."""
        return self.space.decode


def open_picture(path: Path | str) -> Picture:
    """Open a photo: JPEG, PNG, TIFF, and HEIC where its plugin is installed.

    Raises
    ------
    PhotoError
        When it is missing, not a picture, cut off, too large or small, without colour, or of a kind that is not read.
    """
    path = Path(path)
    name = path.name
    try:
        data = path.read_bytes()
    except OSError as reason:
        raise PhotoError(name, f"The file cannot be read ({reason.strerror or reason}). Check its name.") from None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return _opened(name, data)


def _opened(name: str, data: bytes) -> Picture:
    from PIL import Image, ImageFile, ImageOps

    heic = data[4:8] == b"ftyp" and data[8:12] in (b"heic", b"heix", b"mif1", b"heim", b"heis", b"hevc", b"msf1")
    if heic and not _heif_plugin():
        raise PhotoError(
            name,
            f'This is a HEIC file, which needs the plugin pillow-heif. Type "pip install pillow-heif", or: {SAVE_AS_JPEG}',
        )
    if not data:
        raise PhotoError(name, "The file is empty. Copy the photo from the phone or camera again.")
    keep = ImageFile.LOAD_TRUNCATED_IMAGES
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        try:
            image = Image.open(io.BytesIO(data))
            kind, mode, size = image.format or "", image.mode, image.size
            animated = kind == "PNG" and bool(getattr(image, "is_animated", False))
        except Image.DecompressionBombError:
            raise PhotoError(name, _too_large()) from None
        except Exception:  # decoders meet damaged files with any exception there is
            raise PhotoError(
                name, f"This is not a picture that can be read, or its beginning is damaged. {SAVE_AS_JPEG}"
            ) from None
        _check(name, kind, mode, size, animated, image)
        sixteen = _sixteen_bits(kind, data, image)
        notes = []
        try:
            if kind == "PNG":
                Image.open(io.BytesIO(data)).verify()
            profile = image.info.get("icc_profile")
            camera, taken = _camera(image), _taken(image)
            orientation = int(image.getexif().get(0x0112, 1) or 1)
            image.load()
            if sixteen:
                pixels = _upright(_decoded_16(data), orientation)
            else:
                pixels = np.asarray(ImageOps.exif_transpose(image).convert("RGB"))
        except Exception:
            raise PhotoError(
                name,
                "The file is cut off or damaged: the picture cannot be read to its end. "
                "Copy the photo from the phone or camera again.",
            ) from None
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = keep
    if mode in ("RGBA", "RGBX", "RGBa"):
        notes.append("The picture has a transparency layer, which was left out.")
    frames = int(getattr(image, "n_frames", 1))
    if kind == "TIFF" and frames > 1:
        notes.append(f"The file holds {frames} pictures; the first was measured.")
    space = SRGB
    if profile:
        read = read_profile(profile)
        if read is None:
            notes.append("The colour profile in the file cannot be used; the colours were read as sRGB.")
        space = read or SRGB
    _check_colour(name, pixels)
    return Picture(name, pixels, space, camera, taken, tuple(notes))


def _heif_plugin() -> bool:
    try:
        importlib.import_module("pillow_heif").register_heif_opener()
    except ImportError:
        return False
    return True


def _too_large(size: tuple[int, int] | None = None) -> str:
    shown = f"{size[0]} x {size[1]} pixels" if size else "far more than a photo"
    return (
        f"The picture is too large ({shown}; {MOST_PIXELS // 1_000_000} megapixels are the most). "
        "Take the photo at the phone's usual size, 12 megapixels or so."
    )


def _check(name: str, kind: str, mode: str, size: tuple[int, int], animated: bool, image: Any) -> None:
    """Refuse by the header alone."""
    fault = ""
    if size[0] * size[1] > MOST_PIXELS:
        fault = _too_large(size)
    elif kind not in ("JPEG", "MPO", "PNG", "TIFF", "HEIF"):
        fault = f"Pictures of the kind {kind or 'unknown'} are not read; JPEG, PNG and TIFF are. {SAVE_AS_JPEG}"
    elif kind == "TIFF" and 50706 in getattr(image, "tag_v2", {}):
        fault = f"This is a raw file straight from the sensor. {SAVE_AS_JPEG}"
    elif animated:
        fault = "The file holds a moving picture. Take a still photo."
    elif mode in ("L", "LA", "La", "1", "F", "I") or mode.startswith("I;"):
        fault = "The picture is black and white. Take the photo in colour."
    elif mode == "CMYK":
        fault = f"The picture was prepared for printing (CMYK). {SAVE_AS_JPEG}"
    elif mode not in ("RGB", "RGBA", "RGBX", "RGBa", "YCbCr"):
        fault = f"The picture keeps its colours in a way that is not read ({mode}). {SAVE_AS_JPEG}"
    elif min(size) < SHORTEST_SIDE:
        fault = (
            f"The picture is too small ({size[0]} x {size[1]} pixels; {SHORTEST_SIDE} are the least for the shorter side). "
            "Give the photo as the phone took it, not a preview."
        )
    if fault:
        raise PhotoError(name, fault)


def _check_colour(name: str, pixels: npt.NDArray[Any]) -> None:
    step = max(1, min(pixels.shape[:2]) // 200)
    few = pixels[::step, ::step].astype(np.int32)
    if np.ptp(few, axis=2).max() <= (2 if pixels.dtype == np.uint8 else 514):
        raise PhotoError(name, "The picture is black and white. Take the photo in colour.")


def _sixteen_bits(kind: str, data: bytes, image: Any) -> bool:
    if kind == "PNG":
        return len(data) > 24 and data[24] == 16
    if kind == "TIFF":
        return 16 in tuple(image.tag_v2.get(258, (8,)))
    return False


def _decoded_16(data: bytes) -> npt.NDArray[np.uint16]:
    cv2 = opencv()
    shown = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if shown is None or shown.dtype != np.uint16 or shown.ndim != 3 or shown.shape[2] < 3:
        raise ValueError("not a 16-bit colour picture")
    return np.ascontiguousarray(shown[:, :, 2::-1])


def _upright(pixels: npt.NDArray[Any], orientation: int) -> npt.NDArray[Any]:
    """Turn and mirror as the orientation tag asks (TIFF 6.0, tag 274)."""
    if orientation >= 5:
        pixels = pixels.transpose(1, 0, 2)
    if orientation in (2, 3, 6, 7):
        pixels = pixels[:, ::-1]
    if orientation in (3, 4, 7, 8):
        pixels = pixels[::-1]
    return np.ascontiguousarray(pixels)


def _camera(image: Any) -> str:
    exif = image.getexif()
    words = [str(exif.get(tag, "")) for tag in (0x010F, 0x0110)]
    text = "".join(letter for letter in " ".join(words) if letter.isprintable())
    return text.strip()[:60]


def _taken(image: Any) -> date | None:
    """The day the photo was taken: the Exif tag DateTimeOriginal (CIPA DC-008, tag 0x9003)."""
    try:
        return datetime.strptime(str(image.getexif().get_ifd(0x8769)[0x9003])[:10], "%Y:%m:%d").date()
    except Exception:  # damaged tags are no reason to refuse a photo
        return None
