"""Photos that came from outside: only pictures, of a size that can be measured, written anew before anything else reads them."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path

from werkzeug.datastructures import FileStorage

from tilestudy.errors import WrongRequestError

MOST_PHOTOS = 3
MOST_PIXELS = 60_000_000
"""A phone's largest photos have 50 megapixels; a picture of more is refused before it is unpacked."""
FORMATS = ("JPEG", "PNG", "MPO")


def rewrite(photos: Sequence[FileStorage], folder: Path, stem: str) -> list[Path]:
    """Write uploaded photos anew as JPEG, upright, with nothing of them left but pixels, colour profile and day.

    Parameters
    ----------
    folder : Path
        Exists.
    stem : str
        Names the files; what the visitor called them is not used.

    Raises
    ------
    WrongRequestError
        None, too many, no picture, too large.
    """
    try:
        from PIL import Image, ImageOps
    except ImportError as error:
        raise WrongRequestError(
            'Photos cannot be measured here: the libraries for it are not installed. At the computer: pip install "tilestudy[photo]".'
        ) from error
    given = [one for one in photos if one.filename]
    if not given:
        raise WrongRequestError("No photo came. Choose one, or take one.")
    if len(given) > MOST_PHOTOS:
        raise WrongRequestError(f"{len(given)} photos are more than are measured at once ({MOST_PHOTOS}).")
    written = []
    for number, photo in enumerate(given, start=1):
        data = photo.stream.read()
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error", Image.DecompressionBombWarning)
                with Image.open(BytesIO(data), formats=FORMATS) as picture:
                    if picture.width * picture.height > MOST_PIXELS or picture.mode == "CMYK":
                        raise ValueError("too many pixels, or the colours of a print")
                    taken = picture.getexif().get(0x0132) or picture.getexif().get_ifd(0x8769).get(0x9003)
                    profile = picture.info.get("icc_profile")
                    upright = ImageOps.exif_transpose(picture).convert("RGB")
        except Exception as error:
            raise WrongRequestError(
                f"Photo {number} could not be read as a picture (JPEG or PNG, at most {MOST_PIXELS // 1_000_000} megapixels)."
            ) from error
        exif = Image.Exif()
        if isinstance(taken, str):
            exif[0x0132] = taken[:19]
            exif.get_ifd(0x8769)[0x9003] = taken[:19]
        path = folder / f"{stem}-{number}.jpg"
        keep = {"icc_profile": profile} if isinstance(profile, bytes) else {}
        upright.save(path, "JPEG", quality=97, subsampling=0, exif=exif.tobytes(), **keep)
        written.append(path)
    return written
