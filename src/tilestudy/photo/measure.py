"""A photo of a tray to a colour for each tile, and two or three photos of the same tray to one."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tilestudy.colour.difference import lab_of
from tilestudy.errors import PhotoError
from tilestudy.photo.calibrate import Calibrated, calibrate
from tilestudy.photo.find import Placed, find, rectify
from tilestudy.photo.noise import Noise, block_covariance, noise_in_lab
from tilestudy.photo.picture import Picture
from tilestudy.photo.rectified import Rectified
from tilestudy.photo.segment import EDGE_MM, Outline, segment
from tilestudy.photo.tile import SHAPES_MM, Face, face_of, main_colours, mottle, sharpened
from tilestudy.study.language import listed
from tilestudy.study.records import Lab
from tilestudy.tray.references import References
from tilestudy.tray.sheet import Box, Sheet

Floats = npt.NDArray[np.float64]

CLIPPED = 0.985
"""Encoded level at which a pixel may hold more light than it shows."""
MOST_GLARE = 0.5
"""Share of a face under glare at which the tile is not measured."""
DARK_END = 2 / 255
MOST_BEYOND = 0.05
"""Share of a face beyond the picture's colours from which the person is told."""
LAID_FLAT_PX = 0.6
"""Standard deviation of the blur that JPEG and laying the sheet flat add, px of the flat picture."""
ROUNDED = 0.3
"""Standard deviation, levels of 255, of the rounding of colour by JPEG."""
MOST_CLIPPED = 0.01
"""Share of clipped values from which an even place tells no noise."""
PAPER_LIGHT, PRINTED, MOST_BARE = 0.8, 3.0, 40
"""Light from which a place is paper; how much more than bare paper it scatters when something is printed there; squares of
paper that are looked at."""


@dataclass(frozen=True)
class TileMeasured:
    """One tile of a photo.

    Attributes
    ----------
    code : str
    lab : (L, a, b)
        Of the mean light without glare, under the references' illuminant and observer.
    median : (L, a, b)
        Channel by channel, of blocks of 0.67 mm.
    mottle : float
        Mean CIEDE2000 of those blocks from `lab`, the camera's noise taken off.
    colours : tuple of (L, a, b, share)
        Up to three main colours, the largest first.
    glare : float
        Share of the face left out as glare.
    pixels : int
        Pixels measured.
    outline : Outline
        Where the tile lies.
    beyond : float
        Share of the face more vivid than the picture's colour space holds (a channel at its dark end, another not).
    spread : float or None
        Mean CIEDE2000 of the single photos from their mean; None for one photo.
    """

    code: str
    lab: Lab
    median: Lab
    mottle: float
    colours: tuple[tuple[float, float, float, float], ...]
    glare: float
    pixels: int
    outline: Outline
    beyond: float = 0.0
    spread: float | None = None


@dataclass(frozen=True)
class TrayReading:
    """What a photo, or a few of the same tray, tell.

    Attributes
    ----------
    sheet : Sheet
    calibrated : Calibrated
        Of the (first) photo.
    placed : Placed
        Of the (first) photo.
    tiles : tuple of TileMeasured
    photos : tuple of str
        File names.
    notes : tuple of str
        Sentences for the person.
    error : float
        Expected (median) CIEDE2000 error of a tile.
    spread : float or None
        Mean over the tiles of their `spread`; None for one photo.
    """

    sheet: Sheet
    calibrated: Calibrated
    placed: Placed
    tiles: tuple[TileMeasured, ...]
    photos: tuple[str, ...]
    notes: tuple[str, ...]
    error: float
    spread: float | None = None


def measure(picture: Picture, sheets: Sequence[Sheet], references: References | None = None) -> TrayReading:
    """Measure the tiles in a photo of a tray.

    Parameters
    ----------
    picture : Picture
    sheets : sequence of Sheet
        Trays it may be.
    references : References or None
        What the reference patches are; None: by the paper alone.

    Raises
    ------
    PhotoError
        When the tray is not found or holds no tiles, the light or the references do not hold, or tiles are missing, out of place or all glare.
    """
    placed = find(picture, sheets)
    if not placed.sheet.tiles:
        raise PhotoError(
            picture.name,
            f"Tray {placed.sheet.number} has no tiles to measure. If it is a sheet of cloths, add --cloths.",
        )
    rectified = rectify(picture, placed)
    calibrated = calibrate(rectified, references)
    outlines, faults = segment(rectified, calibrated.light)
    noise = noise_of(rectified, calibrated)
    seen = _Seen(rectified, calibrated, placed, noise, picture.bits)
    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(seen.tile, outlines))
    tiles = [tile for tile in found if isinstance(tile, TileMeasured)]
    mirrored = [code for code in found if isinstance(code, str)]
    if mirrored:
        many = len(mirrored) > 1
        faults.append(
            f"Tile{'s' * many} {listed(mirrored)} mirror{'s' * (not many)} the lamp over more than half of "
            f"{'their' if many else 'its'} face. Turn the tray, or hold a dark card above it, and take the photo again."
        )
    if faults:
        raise PhotoError(picture.name, faults)
    notes = (*picture.notes, *placed.notes, *calibrated.notes, *_tile_notes(tiles))
    return TrayReading(placed.sheet, calibrated, placed, tuple(tiles), (picture.name,), notes, calibrated.error)


def face_at(rectified: Rectified, calibrated: Calibrated, outline: Outline) -> tuple[Face, npt.NDArray[np.bool_]]:
    """Return the face of a tile, and its glare on the grid of `bounds`."""
    left, top, right, bottom = bounds(rectified, outline)
    encoded = rectified.image[top:bottom, left:right]
    inside = polygon_mask(rectified, outline, (left, top, right, bottom)) & np.isfinite(encoded).all(axis=-1)
    light = np.zeros(encoded.shape, np.float32)
    y, x = np.nonzero(inside)
    mm = (np.column_stack([x + left, y + top]) + 0.5) / rectified.px_per_mm
    light[inside] = calibrated.light(encoded[inside], mm)
    clipped = inside & (encoded > CLIPPED).all(axis=-1)
    return face_of(light, inside, clipped, rectified.px_per_mm, outline.turn_deg)


def bounds(rectified: Rectified, outline: Outline) -> tuple[int, int, int, int]:
    """Return left, top, right, bottom of a tile's face on the rectified picture, px."""
    px = outline.corners(EDGE_MM) * rectified.px_per_mm
    low = np.maximum(np.floor(px.min(axis=0)).astype(int), 0)
    high = np.minimum(np.ceil(px.max(axis=0)).astype(int), rectified.image.shape[1::-1])
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])


def polygon_mask(rectified: Rectified, outline: Outline, box: tuple[int, int, int, int]) -> npt.NDArray[np.bool_]:
    """Return which pixels of a part of the rectified picture lie on a tile's face."""
    left, top, right, bottom = box
    x = (np.arange(left, right) + 0.5) / rectified.px_per_mm - outline.middle[0]
    y = (np.arange(top, bottom) + 0.5) / rectified.px_per_mm - outline.middle[1]
    c, s = np.cos(np.radians(outline.turn_deg)), np.sin(np.radians(outline.turn_deg))
    along, across = c * x[None, :] + s * y[:, None], c * y[:, None] - s * x[None, :]
    half = np.array(outline.size) / 2 - EDGE_MM
    return np.asarray((np.abs(along) <= half[0]) & (np.abs(across) <= half[1]))


def beyond(rectified: Rectified, outline: Outline) -> float:
    """Return the share of a face with a channel at its dark end and another well above."""
    box = bounds(rectified, outline)
    face = rectified.image[box[1] : box[3], box[0] : box[2]][polygon_mask(rectified, outline, box)]
    return float(((face.min(axis=-1) < DARK_END) & (face.max(axis=-1) > 0.15)).mean())


def rounding(rectified: Rectified, calibrated: Calibrated, outline: Outline) -> Floats:
    """Return the covariance (3, 3) of light that comes from JPEG's rounding of colour, which no paper shows.

    JPEG keeps colour as two differences from luminance (ITU-R BT.601), for blocks of 16 pixels together.
    """
    left, top, right, bottom = bounds(rectified, outline)
    encoded = np.nanmedian(rectified.image[top:bottom, left:right], axis=(0, 1))
    up, down = (calibrated.light(encoded + step, outline.middle) for step in (0.5 / 255, -0.5 / 255))
    to_light = (np.asarray(up, dtype=float) - down)[:, None] * np.array([[0.0, 1.402], [-0.344, -0.714], [1.772, 0.0]])
    return np.asarray(ROUNDED**2 * to_light @ to_light.T)


@dataclass(frozen=True)
class _Seen:
    """All that one photo tells for each of its tiles."""

    rectified: Rectified
    calibrated: Calibrated
    placed: Placed
    noise: tuple[Noise, ...]
    bits: int

    def tile(self, outline: Outline) -> TileMeasured | str:
        """Return a tile as measured, or its code when glare covers it."""
        face, _ = face_at(self.rectified, self.calibrated, outline)
        if face.glare > MOST_GLARE or not len(face.blocks):
            return outline.code
        lab = self.calibrated.lab
        middle, *shapes = (np.asarray(lab(one), dtype=float) for one in (face.light, face.blocks, face.wide, face.high))
        blocks = shapes[0]
        local = float(self.placed.view.px_per_mm([outline.middle])[0])
        blur = self.placed.blur_mm * self.placed.usual_px_per_mm / local
        blur = float(np.hypot(blur, LAID_FLAT_PX / self.rectified.px_per_mm))
        rounded = rounding(self.rectified, self.calibrated, outline) if self.bits == 8 else np.zeros((3, 3))
        fine, wide, high = (
            mottle(seen, middle, noise_in_lab(lab, face.light, one.at(outline.middle, face.light) + rounded))
            for seen, one in zip(shapes, self.noise, strict=True)
        )
        return TileMeasured(
            outline.code,
            lab_of(middle),
            lab_of(np.median(blocks, axis=0)),
            sharpened(fine, wide, high, blur),
            main_colours(blocks, face.places),
            face.glare,
            face.pixels,
            outline,
            beyond(self.rectified, outline),
        )


def noise_of(rectified: Rectified, calibrated: Calibrated) -> tuple[Noise, ...]:
    """Return the noise at the even places of the sheet, of blocks of each shape."""
    scale = rectified.px_per_mm
    places, lights = [], []
    covariances: list[list[Floats]] = []
    for box in (*_bare(rectified.sheet), *_patches(calibrated)):
        left, top = round(box.x * scale), round(box.y * scale)
        part = rectified.image[top : round((box.y + box.height) * scale), left : round((box.x + box.width) * scale)]
        if not part.size or not np.isfinite(part).all() or np.mean(part >= CLIPPED) > MOST_CLIPPED:
            continue  # where the camera's range ends, noise cannot be seen
        light = calibrated.light(part, rectified.mm(left, top, part.shape))
        even = np.asarray(light, dtype=np.float32)
        found = [block_covariance(even, (width * scale, height * scale)) for width, height in SHAPES_MM]
        told = [one for one in found if one is not None]
        if len(told) == len(SHAPES_MM):
            places.append(box.middle)
            lights.append(float(np.mean(light)))
            covariances.append(told)
    at, seen = np.reshape(places, (-1, 2)), np.array(lights)
    shapes = np.reshape(covariances, (-1, len(SHAPES_MM), 3, 3)).swapaxes(0, 1)
    quiet = bare_only(seen, np.trace(shapes[0], axis1=1, axis2=2)) if len(seen) else np.zeros(0, dtype=bool)
    return tuple(Noise(at[quiet], seen[quiet], one[quiet]) for one in shapes)


def bare_only(light: Floats, variance: Floats) -> npt.NDArray[np.bool_]:
    """Tell patches, and paper on which nothing is printed, from paper with words or ticks on it.

    What is printed only adds to the variance, and the noise of paper itself varies little over a photo, so paper that
    scatters more than `PRINTED` times the quieter quarter of it has something on it.

    >>> bare_only(np.array([1.0, 1.0, 1.0, 0.9, 0.2]), np.array([1.0, 1.1, 1.2, 90.0, 9.0])).tolist()
    [True, True, True, False, True]
    """
    paper = light > PAPER_LIGHT
    if not paper.any():
        return np.ones(len(light), dtype=bool)
    return ~paper | (variance <= PRINTED * np.quantile(variance[paper], 0.25))


def _bare(sheet: Sheet) -> list[Box]:
    """Return some squares of paper: along the sheet's left and right edge, and beside cells; some have ticks or codes on them
    (`bare_only`). The strips with words between the upper and between the lower markers are left alone.
    """
    top = max(marker.box.y + marker.box.height for marker in sheet.markers[:2]) + 1
    bottom = min(marker.box.y for marker in sheet.markers[2:]) - 1
    side, free, taken = 6.0, [], sheet.taken
    for y in np.arange(top, bottom - side, side):
        for x in np.arange(1.0, sheet.width - side, side):
            clear = all(
                x > box.x + box.width + 1 or x + side < box.x - 1 or y > box.y + box.height + 7 or y + side < box.y - 1
                for box in taken
            )
            if clear:
                free.append(Box(float(x), float(y), side, side))
    return free[:: max(1, len(free) // MOST_BARE)]


def _patches(calibrated: Calibrated) -> list[Box]:
    shrunk = []
    for patch in calibrated.patches:
        box = patch.box
        shrunk.append(Box(box.x + 0.2 * box.width, box.y + 0.2 * box.height, 0.6 * box.width, 0.6 * box.height))
    return shrunk


def _tile_notes(tiles: Sequence[TileMeasured]) -> list[str]:
    notes = []
    if some := [tile for tile in tiles if tile.glare >= 0.05]:
        shares = listed([f"{tile.code} ({tile.glare:.0%})" for tile in some])
        notes.append(
            f"Glare was left out on {shares} (share of the tile). Without the mirrored lamp the colour is surer."
        )
    if vivid := [tile.code for tile in tiles if tile.beyond > MOST_BEYOND]:
        notes.append(
            f"{listed(vivid)} {'are' if len(vivid) > 1 else 'is'} more vivid than the picture can hold, so colour and mottle "
            "read too dull there. A camera that stores a wide colour space (Display P3) holds more."
        )
    return notes
