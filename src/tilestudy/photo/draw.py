"""The picture that is written beside a photo: the sheet laid flat, what of it was measured, and the colours found."""

from __future__ import annotations

import io
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from tilestudy.colour.adaptation import adapt
from tilestudy.colour.srgb import RGB_TO_XYZ, lab_to_srgb, to_encoded
from tilestudy.photo.calibrate import Calibrated
from tilestudy.photo.cloth import CIRCLE_MM, ClothReading
from tilestudy.photo.find import rectify
from tilestudy.photo.measure import TrayReading, bounds, face_at
from tilestudy.photo.picture import Picture
from tilestudy.photo.rectified import Rectified
from tilestudy.photo.segment import EDGE_MM
from tilestudy.study.language import count
from tilestudy.study.records import Lab

if TYPE_CHECKING:
    from PIL import ImageDraw, ImageFont

PX_PER_MM = 4.0
PANEL = 460
"""Width of the list of colours, px."""
FONTS = Path(__file__).parents[1] / "paper" / "fonts"
INK, PAPER = (20, 20, 20), (255, 255, 255)


def draw(picture: Picture, reading: TrayReading | ClothReading) -> bytes:
    """Return a JPEG: the photo laid flat with outlines, and beside it each measured colour with its L*a*b*.

    Parameters
    ----------
    picture : Picture
        The (first) photo of the reading.
    reading : TrayReading or ClothReading
    """
    from PIL import Image, ImageDraw, ImageFont

    rectified = rectify(picture, reading.placed, PX_PER_MM)
    base = Image.fromarray(_shown(rectified))
    page = Image.new("RGB", (base.width + PANEL, base.height), PAPER)
    page.paste(base, (0, 0))
    pen = ImageDraw.Draw(page)
    regular, bold = (ImageFont.truetype(str(FONTS / f"Inter-{one}.otf"), 17) for one in ("Regular", "SemiBold"))
    _patches(pen, reading.calibrated, regular)
    if isinstance(reading, TrayReading):
        for tile in reading.tiles:
            _glare(pen, rectified, reading, tile.code)
            _outline(pen, [(x, y) for x, y in tile.outline.corners(EDGE_MM) * PX_PER_MM])
            top = tile.outline.corners(EDGE_MM)[:2].mean(axis=0)
            _label(pen, tuple(top * PX_PER_MM), tile.code, bold)
        rows = [
            (tile.code, tile.lab, f"{_lab(tile.lab)}   mottle {tile.mottle:.1f}" + _share(tile.glare))
            for tile in reading.tiles
        ]
    else:
        for cell in reading.sheet.cloths:
            x, y = cell.box.middle
            _circle(pen, x * PX_PER_MM, y * PX_PER_MM, CIRCLE_MM / 2 * PX_PER_MM)
            _label(pen, (x * PX_PER_MM, (y + CIRCLE_MM / 2 + 3) * PX_PER_MM), cell.code, bold)
        rows = [
            (cloth.code, cloth.stain, f"{_lab(cloth.stain)}   grade {cloth.grade:.1f} ± {cloth.error:.1f}")
            for cloth in reading.cloths
        ]
    _list(pen, base.width + 24, base.height, rows, reading, (regular, bold))
    written = io.BytesIO()
    page.save(written, format="JPEG", quality=88)
    return written.getvalue()


def _shown(rectified: Rectified) -> npt.NDArray[np.uint8]:
    """Return the flat sheet in sRGB, 8 bits."""
    image = np.nan_to_num(rectified.image, nan=0.5)
    if not np.allclose(rectified.to_xyz, RGB_TO_XYZ, atol=1e-3):
        linear = (
            np.interp(image, np.linspace(0, 1, 256), rectified.decode)
            @ (np.linalg.inv(RGB_TO_XYZ) @ rectified.to_xyz).T
        )
        image = to_encoded(np.clip(linear, 0, 1))
    return np.asarray(np.rint(np.clip(image, 0, 1) * 255), dtype=np.uint8)


def _lab(lab: Lab) -> str:
    L, a, b = (round(value) + 0 for value in lab)
    return f"{L}  {a}  {b}".replace("-", "\N{MINUS SIGN}")


def _share(glare: float) -> str:
    return f"   glare {glare:.0%}" if glare >= 0.005 else ""


def _outline(pen: ImageDraw.ImageDraw, corners: list[tuple[float, float]]) -> None:
    """Draw a closed line that shows on light and dark: black with a white core."""
    closed = [*corners, corners[0]]
    pen.line(closed, fill=INK, width=5, joint="curve")
    pen.line(closed, fill=PAPER, width=2, joint="curve")


def _circle(pen: ImageDraw.ImageDraw, x: float, y: float, radius: float) -> None:
    for more, ink, width in ((1.5, INK, 5), (0.0, PAPER, 2)):
        pen.ellipse(
            [x - radius - more, y - radius - more, x + radius + more, y + radius + more], outline=ink, width=width
        )


def _label(pen: ImageDraw.ImageDraw, middle: tuple[float, ...], text: str, font: ImageFont.FreeTypeFont) -> None:
    x, y = middle
    left, top, right, bottom = pen.textbbox((x, y), text, font=font, anchor="mm")
    pen.rectangle([left - 4, top - 3, right + 4, bottom + 3], fill=PAPER, outline=INK)
    pen.text((x, y), text, font=font, fill=INK, anchor="mm")


def _glare(pen: ImageDraw.ImageDraw, rectified: Rectified, reading: TrayReading, code: str) -> None:
    """Hatch what was left out as glare."""
    tile = next(one for one in reading.tiles if one.code == code)
    if tile.glare <= 0:
        return
    _, glare = face_at(rectified, reading.calibrated, tile.outline)
    left, top, _, _ = bounds(rectified, tile.outline)
    height, width = glare.shape
    for start in range(-height, width, 7):
        y = np.arange(height)
        x = start + y
        on = (x >= 0) & (x < width)
        on[on] = glare[y[on], x[on]]
        for ink, shift in ((INK, 0), (PAPER, 1)):
            pen.point([(int(left + a + shift), int(top + b)) for a, b in zip(x[on], y[on], strict=True)], fill=ink)


def _patches(pen: ImageDraw.ImageDraw, calibrated: Calibrated, font: ImageFont.FreeTypeFont) -> None:
    for patch in calibrated.patches:
        box = patch.box
        x, y = box.x * PX_PER_MM, box.y * PX_PER_MM
        right, bottom = x + box.width * PX_PER_MM, y + box.height * PX_PER_MM
        _outline(pen, [(x, y), (right, y), (right, bottom), (x, bottom)])
        off = f"{patch.left_out:.1f}" if patch.used else "clipped"
        _label(pen, ((x + right) / 2, (y + bottom) / 2), off, font.font_variant(size=13))


def _list(
    pen: ImageDraw.ImageDraw,
    x: int,
    height: int,
    rows: list[tuple[str, Lab, str]],
    reading: TrayReading | ClothReading,
    fonts: tuple[ImageFont.FreeTypeFont, ImageFont.FreeTypeFont],
) -> None:
    """Write the list: swatch, code, numbers."""
    regular, bold = fonts
    calibrated = reading.calibrated
    what = "tile" if isinstance(reading, TrayReading) else "cloth"
    pen.text(
        (x, 18), f"Tray {reading.sheet.number}: {count(len(rows), what)}", font=bold.font_variant(size=22), fill=INK
    )
    small = regular.font_variant(size=14)
    head = [
        f"L*, a*, b* under {calibrated.illuminant}, observer {calibrated.observer}, by {calibrated.kind}",
        f"expected error of a colour: CIEDE2000 {calibrated.error:.1f}",
        "photo as taken; squares: the colours found",
    ]
    if calibrated.patches:
        head.append("on each patch: how far off it is (CIEDE2000) when it is left out")
    if any("glare" in text for _, _, text in rows):
        head.append("hatched: glare, left out")
    for n, line in enumerate(head):
        pen.text((x, 50 + 19 * n), line, font=small, fill=INK)
    top = 62 + 19 * len(head)
    step = min(52.0, (height - top - 10) / max(1, len(rows)))
    for n, (code, lab, text) in enumerate(rows):
        y = top + n * step
        rgb = lab_to_srgb(adapt(lab, calibrated.illuminant, calibrated.observer)) * 255
        fill = tuple(int(v) for v in np.rint(rgb))
        pen.rectangle([x, y, x + 60, y + step - 6], fill=fill, outline=INK)
        pen.text((x + 72, y + (step - 6) / 2), code, font=bold, fill=INK, anchor="lm")
        pen.text(
            (x + 84 + pen.textlength(code, font=bold), y + (step - 6) / 2), text, font=regular, fill=INK, anchor="lm"
        )
