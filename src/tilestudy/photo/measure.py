"""A photo of a tray to a colour for each tile, and two or three photos of the same tray to one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from tilestudy.colour.difference import ciede2000, lab_of
from tilestudy.errors import PhotoError
from tilestudy.photo.calibrate import Calibrated, calibrate
from tilestudy.photo.find import Placed, find, rectify
from tilestudy.photo.noise import Noise, block_covariance, noise_in_lab
from tilestudy.photo.picture import Picture
from tilestudy.photo.rectified import Rectified
from tilestudy.photo.segment import EDGE_MM, Outline, segment
from tilestudy.photo.tile import BLOCK_MM, COARSE_MM, Face, face_of, main_colours, mottle, sharpened
from tilestudy.study.language import listed
from tilestudy.study.records import Lab
from tilestudy.tray.references import References
from tilestudy.tray.sheet import Box, Sheet

Floats = npt.NDArray[np.float64]

CLIPPED = 0.985
"""Encoded level at which a pixel may hold more light than it shows."""
MOST_GLARE = 0.5
"""Share of a face under glare at which the tile is not measured."""
LEAST_FACE_MM2 = 20.0


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
    glare : mapping of code to (h, w) bool array
        Pixels left out, on the rectified picture's grid within the tile's bounds (`bounds`).
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
        When the tray is not found, the light or the references do not hold, or tiles are missing, out of place or all glare.
    """
    placed = find(picture, sheets)
    rectified = rectify(picture, placed)
    try:
        calibrated = calibrate(rectified, references)
    except PhotoError as fault:
        raise PhotoError(picture.name, fault.faults) from None
    outlines, faults = segment(rectified, calibrated.light, calibrated.lab)
    noise = noise_of(rectified, calibrated)
    tiles, mirrored = [], []
    for outline in outlines:
        face, _ = face_at(rectified, calibrated, outline)
        if face.glare > MOST_GLARE or not len(face.blocks):
            mirrored.append(outline.code)
        else:
            tiles.append(_tile(outline, face, calibrated, noise, placed))
    if mirrored:
        many = len(mirrored) > 1
        faults.append(
            f"Tile{'s' * many} {listed(mirrored)} mirror{'s' * (not many)} the lamp over more than half of "
            f"{'their' if many else 'its'} face. Turn the tray, or hold a dark card above it, and take the photo again."
        )
    if faults:
        raise PhotoError(picture.name, faults)
    notes = (*picture.notes, *placed.notes, *calibrated.notes, *_glare_notes(tiles))
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
    return face_of(light, inside, clipped, rectified.px_per_mm)


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


def _tile(
    outline: Outline, face: Face, calibrated: Calibrated, noise: tuple[Noise, Noise], placed: Placed
) -> TileMeasured:
    middle = np.asarray(calibrated.lab(face.light), dtype=float)
    blocks = np.asarray(calibrated.lab(face.blocks), dtype=float)
    coarse = np.asarray(calibrated.lab(face.coarse), dtype=float)
    blur = placed.blur_mm * placed.usual_px_per_mm / float(placed.view.px_per_mm([outline.middle])[0])
    fine, large = (
        mottle(lab, middle, noise_in_lab(calibrated.lab, face.light, one.at(outline.middle, face.light)))
        for lab, one in zip((blocks, coarse), noise, strict=True)
    )
    return TileMeasured(
        outline.code,
        lab_of(middle),
        lab_of(np.median(blocks, axis=0)),
        sharpened(fine, large, blur),
        main_colours(blocks, face.places),
        face.glare,
        face.pixels,
        outline,
    )


def noise_of(rectified: Rectified, calibrated: Calibrated) -> tuple[Noise, Noise]:
    """Return the noise at the even places of the sheet, of blocks of 0.67 mm and of 1 mm."""
    scale = rectified.px_per_mm
    places, lights = [], []
    covariances: list[list[Floats]] = [[], []]
    for box in (*_bare(rectified.sheet), *_patches(calibrated)):
        left, top = round(box.x * scale), round(box.y * scale)
        part = rectified.image[top : round((box.y + box.height) * scale), left : round((box.x + box.width) * scale)]
        if not part.size or not np.isfinite(part).all():
            continue
        y, x = np.mgrid[0 : part.shape[0], 0 : part.shape[1]] + 0.5
        light = calibrated.light(part, np.stack([x + left, y + top], axis=-1) / scale)
        found = [block_covariance(np.asarray(light, dtype=np.float32), side * scale) for side in (BLOCK_MM, COARSE_MM)]
        if found[0] is not None and found[1] is not None:
            places.append(box.middle)
            lights.append(float(np.mean(light)))
            covariances[0].append(found[0])
            covariances[1].append(found[1])
    at, light = np.reshape(places, (-1, 2)), np.array(lights)
    fine, large = (Noise(at, light, np.reshape(one, (-1, 3, 3))) for one in covariances)
    return fine, large


def _bare(sheet: Sheet) -> list[Box]:
    """Return some squares of bare paper: between the two upper markers' and the page's middle strip, beside cells."""
    taken = [
        *(cell.box for cell in (*sheet.tiles, *sheet.patches, *sheet.cloths)),
        *(marker.box for marker in sheet.markers),
        *([sheet.card] if sheet.card else []),
    ]
    side, free = 6.0, []
    for y in np.arange(6.0, sheet.height - 6 - side, side):
        for x in np.arange(6.0, sheet.width - 6 - side, side):
            clear = all(
                x > box.x + box.width + 3 or x + side < box.x - 3 or y > box.y + box.height + 4 or y + side < box.y - 3
                for box in taken
            )
            if clear:
                free.append(Box(float(x), float(y), side, side))
    return free[:: max(1, len(free) // 12)]


def _patches(calibrated: Calibrated) -> list[Box]:
    shrunk = []
    for patch in calibrated.patches:
        box = patch.box
        shrunk.append(Box(box.x + 0.2 * box.width, box.y + 0.2 * box.height, 0.6 * box.width, 0.6 * box.height))
    return shrunk


def _glare_notes(tiles: Sequence[TileMeasured]) -> list[str]:
    some = [tile for tile in tiles if tile.glare >= 0.05]
    if not some:
        return []
    shares = listed([f"{tile.code} ({tile.glare:.0%})" for tile in some])
    return [f"Glare was left out on {shares} (share of the tile). Without the mirrored lamp the colour is surer."]


def combine(readings: Sequence[TrayReading]) -> TrayReading:
    """Average photos of the same tray, tile by tile, weighted by what of each tile is free of glare.

    Raises
    ------
    PhotoError
        When the photos show different trays or were calibrated in different ways.
    """
    first = readings[0]
    if len(readings) == 1:
        return first
    for other in readings[1:]:
        if other.sheet != first.sheet:
            raise PhotoError(
                other.photos[0],
                f"This is tray {other.sheet.number}, and {first.photos[0]} is tray {first.sheet.number}. "
                "Give photos of one tray at a time.",
            )
        if other.calibrated.kind != first.calibrated.kind:
            raise PhotoError(
                other.photos[0],
                f"This photo was calibrated by {other.calibrated.kind}, and {first.photos[0]} by {first.calibrated.kind}. "
                "Give them one at a time.",
            )
    tiles = tuple(_averaged([reading.tiles[n] for reading in readings]) for n in range(len(first.tiles)))
    spread = float(np.mean([tile.spread for tile in tiles])) if tiles else None
    notes = tuple(dict.fromkeys(note for reading in readings for note in reading.notes))
    photos = tuple(name for reading in readings for name in reading.photos)
    error = float(np.mean([reading.error for reading in readings]))
    return replace(first, tiles=tiles, photos=photos, notes=notes, error=error, spread=spread)


def _averaged(tiles: Sequence[TileMeasured]) -> TileMeasured:
    weight = np.array([tile.pixels / max(1e-9, 1 - tile.glare) * (1 - tile.glare) ** 2 for tile in tiles])
    weight = weight / weight.sum()

    def mean(values: Sequence[Any]) -> Floats:
        return np.asarray(np.tensordot(weight, np.asarray(values, dtype=float), axes=1))

    lab = mean([tile.lab for tile in tiles])
    best = tiles[int(np.argmax(weight))]
    return replace(
        best,
        lab=lab_of(lab),
        median=lab_of(mean([tile.median for tile in tiles])),
        mottle=float(mean([tile.mottle for tile in tiles])),
        glare=float(mean([tile.glare for tile in tiles])),
        pixels=sum(tile.pixels for tile in tiles),
        spread=float(ciede2000([tile.lab for tile in tiles], lab).mean()),
    )
