"""A photo is opened as it was meant to be seen, or refused in a plain word."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from tests.synthetic.cameras import P3_TO_XYZ
from tests.synthetic.photo import profile_bytes
from tilestudy.errors import PhotoError
from tilestudy.photo import picture as opening
from tilestudy.photo.icc import LEVELS, SRGB, read_profile
from tilestudy.photo.picture import open_picture


def coloured(width: int = 400, height: int = 320) -> np.ndarray:
    """A smooth picture whose corners differ."""
    x, y = np.meshgrid(np.linspace(0, 1, width), np.linspace(0, 1, height))
    return np.rint(np.stack([x, y, 1 - x], axis=-1) * 255).astype(np.uint8)


def jpeg(pixels: np.ndarray, **more: object) -> bytes:
    data = io.BytesIO()
    Image.fromarray(pixels).save(data, format="JPEG", quality=95, **more)
    return data.getvalue()


def refused(tmp_path: Path, data: bytes, name: str = "tray.jpg") -> str:
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(PhotoError) as caught:
        open_picture(path)
    return str(caught.value)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_tag_is_followed(tmp_path: Path, orientation: int) -> None:
    """However the phone was held, the picture stands upright (8 bits by one library, 16 bits by the other)."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    stored = coloured()
    (tmp_path / "a.jpg").write_bytes(jpeg(stored, exif=exif))
    upright = open_picture(tmp_path / "a.jpg").pixels
    expected = opening._upright(stored, orientation)
    assert upright.shape == expected.shape
    assert np.abs(upright.astype(int) - expected).mean() < 1


def test_sixteen_bits_are_kept(tmp_path: Path) -> None:
    """16-bit PNG and TIFF files come back to the last bit."""
    stored = coloured().astype(np.uint16) * 257
    stored[5:9, 5:9] = 1234
    for name in ("a.png", "a.tiff"):
        cv2.imwrite(str(tmp_path / name), stored[..., ::-1])
        picture = open_picture(tmp_path / name)
        assert picture.bits == 16
        np.testing.assert_array_equal(picture.pixels, stored)
    assert picture.encoded.dtype == np.float32
    assert picture.encoded.max() == 1.0


def test_embedded_profiles_say_which_colours_the_numbers_mean(tmp_path: Path) -> None:
    """Display P3 (SMPTE EG 432-1 primaries) and sRGB are read from their profiles; without one the picture is sRGB."""
    for profile, matrix in (("p3", P3_TO_XYZ), ("sRGB", SRGB.to_xyz), ("", SRGB.to_xyz)):
        more = {"icc_profile": profile_bytes(profile)} if profile else {}
        (tmp_path / "a.jpg").write_bytes(jpeg(coloured(), **more))
        picture = open_picture(tmp_path / "a.jpg")
        np.testing.assert_allclose(picture.to_xyz, matrix, atol=2e-3)
        np.testing.assert_allclose(picture.decode, SRGB.decode, atol=1e-3)
        assert picture.notes == ()


def test_curves_of_profiles() -> None:
    """A profile's curve may be a power, a table or a formula (ISO 15076-1:2010, 10.6 and 10.18)."""
    whole = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    power = struct.pack(">4sII", b"curv", 0, 1) + struct.pack(">H", round(2.2 * 256))
    table = struct.pack(">4sII", b"curv", 0, 5) + struct.pack(">5H", 0, 4096, 16384, 36864, 65535)
    for curve, expected in ((power, LEVELS ** (563 / 256)), (table, LEVELS**2)):
        read = read_profile(with_curve(whole, curve))
        assert read is not None
        np.testing.assert_allclose(read.decode, expected, atol=0.016)


def with_curve(profile: bytes, curve: bytes) -> bytes:
    """Return the profile with its red curve replaced by one at its end."""
    count = struct.unpack(">I", profile[128:132])[0]
    for n in range(count):
        at = 132 + 12 * n
        if profile[at : at + 4] == b"rTRC":
            entry = struct.pack(">4sII", b"rTRC", len(profile), len(curve))
            return profile[:at] + entry + profile[at + 12 :] + curve
    raise AssertionError


def test_a_profile_that_cannot_be_used_is_told(tmp_path: Path) -> None:
    """The colours are then read as sRGB, and the person is told."""
    (tmp_path / "a.jpg").write_bytes(jpeg(coloured(), icc_profile=b"\0" * 200))
    assert open_picture(tmp_path / "a.jpg").notes == (
        "The colour profile in the file cannot be used; the colours were read as sRGB.",
    )


def test_transparency_is_left_out(tmp_path: Path) -> None:
    """An alpha channel is dropped with a note."""
    pixels = np.dstack([coloured(), np.full((320, 400), 9, np.uint8)])
    Image.fromarray(pixels).save(tmp_path / "a.png")
    picture = open_picture(tmp_path / "a.png")
    np.testing.assert_array_equal(picture.pixels, coloured())
    assert picture.notes == ("The picture has a transparency layer, which was left out.",)


def test_the_first_of_several_pages_is_read(tmp_path: Path) -> None:
    """Scanners write several pages into a TIFF; which one was read is told."""
    first, second = Image.fromarray(coloured()), Image.fromarray(coloured()[::-1])
    first.save(tmp_path / "a.tiff", save_all=True, append_images=[second])
    scan = open_picture(tmp_path / "a.tiff")
    np.testing.assert_array_equal(scan.pixels, coloured())
    assert scan.notes == ("The file holds 2 pictures; the first was measured.",)


def png_header(width: int, height: int) -> bytes:
    body = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunk = struct.pack(">I", 13) + b"IHDR" + body + struct.pack(">I", zlib.crc32(b"IHDR" + body))
    data = zlib.compress(b"\0" * 100)
    more = struct.pack(">I", len(data)) + b"IDAT" + data + struct.pack(">I", zlib.crc32(b"IDAT" + data))
    return b"\x89PNG\r\n\x1a\n" + chunk + more


def saved(image: Image.Image, kind: str, **more: object) -> bytes:
    data = io.BytesIO()
    image.save(data, format=kind, **more)
    return data.getvalue()


def test_what_is_no_photo_is_refused_in_a_plain_word(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each says what it is and what to do; the name of the file stands first."""
    monkeypatch.setattr(opening, "_heif_plugin", lambda: False)
    image = Image.fromarray(coloured())
    as_jpeg = "Save it as JPEG and give that file."
    cases = {
        b"": "The file is empty. Copy the photo from the phone or camera again.",
        b"%PDF-1.7 and so on": f"This is not a picture that can be read, or its beginning is damaged. {as_jpeg}",
        jpeg(coloured())[:6000]: "The file is cut off or damaged: the picture cannot be read to its end. "
        "Copy the photo from the phone or camera again.",
        png_header(13_000, 10_000): "The picture is too large (13000 x 10000 pixels; 120 megapixels are the most). "
        "Take the photo at the phone's usual size, 12 megapixels or so.",
        png_header(20_000, 10_000): "The picture is too large (far more than a photo; 120 megapixels are the most). "
        "Take the photo at the phone's usual size, 12 megapixels or so.",
        jpeg(
            coloured(400, 200)
        ): "The picture is too small (400 x 200 pixels; 300 are the least for the shorter side). "
        "Give the photo as the phone took it, not a preview.",
        saved(image, "BMP"): f"Pictures of the kind BMP are not read; JPEG, PNG and TIFF are. {as_jpeg}",
        saved(image, "GIF"): f"Pictures of the kind GIF are not read; JPEG, PNG and TIFF are. {as_jpeg}",
        saved(image.convert("CMYK"), "JPEG"): f"The picture was prepared for printing (CMYK). {as_jpeg}",
        saved(image.convert("L"), "JPEG"): "The picture is black and white. Take the photo in colour.",
        saved(image.convert("L").convert("RGB"), "PNG"): "The picture is black and white. Take the photo in colour.",
        saved(image.quantize(16), "PNG"): f"The picture keeps its colours in a way that is not read (P). {as_jpeg}",
        saved(image, "PNG", save_all=True, append_images=[image.rotate(90)]): "The file holds a moving picture. "
        "Take a still photo.",
        saved(image, "TIFF", tiffinfo={50706: b"\1\4\0\0"}): f"This is a raw file straight from the sensor. {as_jpeg}",
        b"\0\0\0\x18ftypheic" + b"\0" * 40: "This is a HEIC file, which needs the plugin pillow-heif. "
        f'Type "pip install pillow-heif", or: {as_jpeg}',
    }
    for data, what in cases.items():
        assert refused(tmp_path, data) == f"tray.jpg: {what}"
    with pytest.raises(PhotoError, match=r"absent.jpg: The file cannot be read \(No such file or directory\)"):
        open_picture(tmp_path / "absent.jpg")


ORIGINALS = (
    jpeg(coloured(), icc_profile=profile_bytes("p3")),
    saved(Image.fromarray(coloured()), "PNG", icc_profile=profile_bytes("sRGB")),
    saved(Image.fromarray(coloured()), "TIFF"),
    cv2.imencode(".png", coloured().astype(np.uint16) * 257)[1].tobytes(),
)


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(ORIGINALS),
    st.lists(st.tuples(st.floats(0, 1), st.binary(min_size=1, max_size=6)), max_size=6),
    st.floats(0.01, 1),
)
def test_damaged_files_never_break_the_program(
    tmp_path_factory: pytest.TempPathFactory, original: bytes, changes: list[tuple[float, bytes]], share: float
) -> None:
    """Any bytes are opened or refused as a PhotoError, nothing else."""
    data = bytearray(original[: max(1, int(share * len(original)))])
    for where, new in changes:
        at = int(where**3 * (len(data) - 1))
        data[at : at + len(new)] = new
    path = tmp_path_factory.mktemp("damaged") / "a.jpg"
    path.write_bytes(bytes(data))
    try:
        picture = open_picture(path)
    except PhotoError:
        return
    assert picture.pixels.ndim == 3
    assert np.isfinite(picture.decode).all()
