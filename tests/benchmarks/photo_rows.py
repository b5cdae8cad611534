"""Finding, evenness, glare, speed and cloths of photos of trays, on invented photos with known truth.

- Views: random views of a bare sheet, tilted to 25 degrees, with lens distortion of 0.08 either way. Worst distance of a
  cell's corner from its true place, mm. Foil: the homography through the markers' corners without lens distortion.
- Mottle: 12-megapixel photos of finely and coarsely patterned tiles (true mottle 1 or more; those told to be beyond the
  picture's colours left out), 95th percentile of the
  relative error. Foil: what the blocks show as they are, blur and noise left in.
- Glare: tiles with a mirror reflection on 3 to 15 % of their face; 95th percentile of how much farther from the truth
  they are, CIEDE2000, than the same tiles without. Foil: the mean of all pixels.
- Seconds: a 12-megapixel JPEG from file to colours of 24 tiles, best of three. Foil: decoding it alone.
- Cloths: 16 swatches a photo with 6 patches; 95th percentile of the error of the grade, and share of reported half grades more
  than half a step off. Foil: the picture read as sRGB with its paper made white.

    python tests/benchmarks/photo_rows.py [--quick] [--json]
"""

# ruff: noqa: E402 (the imports need the path)
from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parent)]

from printing import Rows, main
from tests.photo.views import anyhow, seen
from tests.synthetic import photograph, random_scene, random_tile, tray, tray_24
from tests.synthetic.printed import printed
from tests.synthetic.surfaces import random_glare

from tilestudy.colour.difference import ciede2000
from tilestudy.colour.grades import staining_difference, staining_grade, staining_half_grade
from tilestudy.colour.srgb import srgb_to_lab
from tilestudy.errors import PhotoError
from tilestudy.photo import measure as measuring
from tilestudy.photo.cloth import CIRCLE_MM, grade_cloths
from tilestudy.photo.find import corners_of, find, rectify
from tilestudy.photo.measure import bounds, measure, polygon_mask
from tilestudy.photo.picture import Picture, open_picture
from tilestudy.photo.tile import BLOCK_MM

SEED = 4000


def row(name: str, ours: float, foil: float, floor: float, ok: bool | None = None) -> dict[str, object]:
    """A row whose figure should be at most the floor."""
    return {
        "name": name,
        "ours": ours,
        "foil": foil,
        "ratio": ours / foil if foil else 0.0,
        "floor": floor,
        "ok": ours <= floor if ok is None else ok,
    }


def views(count: int) -> Rows:
    """Markers found, and the worst cell."""
    sheet = tray(12, None, number=9)
    mm = np.vstack([corners_of(cell.box) for cell in sheet.tiles])
    found, worst, plain = 0, 0.0, 0.0
    for seed in range(count):
        rng = np.random.default_rng(SEED + seed)
        picture, view = seen(sheet, anyhow(rng, (1200, 1600)), rng)
        try:
            placed = find(picture, [sheet])
        except PhotoError as fault:
            print(fault, file=sys.stderr)
            continue
        found += 1
        true, scale = view.to_px(mm), placed.view.px_per_mm(mm)
        worst = max(worst, float((np.hypot(*(placed.to_picture(mm) - true).T) / scale).max()))
        corners = np.vstack([corners_of(marker.box) for marker in sheet.markers])
        matrix, _ = cv2.findHomography(corners, view.to_px(corners))
        straight = cv2.perspectiveTransform(mm.reshape(-1, 1, 2), matrix).reshape(-1, 2)
        plain = max(plain, float((np.hypot(*(straight - true).T) / scale).max()))
    return [
        row(f"markers found in {found} of {count} views: views missed", count - found, 1.0, 0),
        row("worst cell, mm", worst, plain, 1.0),
    ]


def mottle(photos: int) -> Rows:
    """Relative error of the mottle of patterned tiles, on the sheet as it is printed, words and ticks and all."""
    sheet = tray_24("24")
    page = printed(sheet)
    kinds = ("mottled", "speckled", "iridescent", "verdigris", "brushed", "bands")
    ours, foil = [], []
    for seed in range(photos):
        rng = np.random.default_rng(SEED + seed)
        tiles = {cell.code: random_tile(rng, kinds[n % len(kinds)]) for n, cell in enumerate(sheet.tiles)}
        scene = random_scene(rng, size=(3000, 4000))
        photo = photograph(sheet, scene, rng, references="24", tiles=tiles, page=page)
        picture = Picture("tray.jpg", photo.through_jpeg())
        try:
            reading = measure(picture, [sheet], photo.references)
        except PhotoError as fault:
            print(fault, file=sys.stderr)
            continue
        rectified = rectify(picture, reading.placed)
        for tile in reading.tiles:
            truth = photo.tiles[tile.code].mottle
            if truth >= 1 and tile.beyond <= measuring.MOST_BEYOND:
                face, _ = measuring.face_at(rectified, reading.calibrated, tile.outline)
                plain = ciede2000(reading.calibrated.lab(face.blocks), tile.lab).mean()
                ours.append(abs(tile.mottle / truth - 1))
                foil.append(abs(float(plain) / truth - 1))
    what = f"mottle of {len(ours)} tiles, relative error, 95th percentile (blocks of {BLOCK_MM:.2f} mm)"
    return [row(what, float(np.quantile(ours, 0.95)), float(np.quantile(foil, 0.95)), 0.10)]


def glare(photos: int) -> Rows:
    """What a mirror reflection adds to the error of a tile."""
    sheet = tray(16, "24")
    ours, foil = [], []
    for seed in range(photos):
        rng = np.random.default_rng(SEED + seed)
        tiles = {cell.code: random_tile(rng) for cell in sheet.tiles}
        lit = {code: replace(tile, glare=random_glare(rng)) for code, tile in tiles.items()}
        scene, noise = random_scene(rng), int(rng.integers(2**31))
        labs = []
        try:
            for laid in (tiles, lit):
                photo = photograph(sheet, scene, np.random.default_rng(noise), references="24", tiles=laid)
                picture = Picture("tray.jpg", photo.through_jpeg())
                reading = measure(picture, [sheet], photo.references)
                labs.append(np.array([tile.lab for tile in reading.tiles]))
        except PhotoError as fault:
            print(fault, file=sys.stderr)
            continue
        rectified = rectify(picture, reading.placed)
        for n, tile in enumerate(reading.tiles):
            if photo.tiles[tile.code].glare > 0.005:
                box = bounds(rectified, tile.outline)
                y, x = np.nonzero(polygon_mask(rectified, tile.outline, box))
                y, x = y + box[1], x + box[0]
                mm = (np.column_stack([x, y]) + 0.5) / rectified.px_per_mm
                every = reading.calibrated.lab(reading.calibrated.light(rectified.image[y, x], mm).mean(axis=0))
                ours.append(float(ciede2000(labs[1][n], labs[0][n])))
                foil.append(float(ciede2000(every, labs[0][n])))
    what = f"{len(ours)} tiles with glare: CIEDE2000 from the same tile without"
    return [
        row(f"{what}, 95th percentile", float(np.quantile(ours, 0.95)), float(np.quantile(foil, 0.95)), 2.0),
        row(f"{what}, worst", max(ours), max(foil), 2.0),
    ]


def seconds() -> Rows:
    """A whole 12-megapixel photo."""
    sheet, rng = tray_24("24"), np.random.default_rng(SEED)
    photo = photograph(sheet, random_scene(rng, size=(3000, 4000)), rng, references="24")
    ours, foil = [], []
    with tempfile.TemporaryDirectory() as folder:
        path = photo.write(Path(folder) / "tray.jpg")
        for _ in range(3):
            start = time.perf_counter()
            np.asarray(Image.open(path).convert("RGB"))
            middle = time.perf_counter()
            measure(open_picture(path), [sheet], photo.references)
            foil.append(middle - start)
            ours.append(time.perf_counter() - middle)
    return [row("12-megapixel photo of 24 tiles, s", min(ours), min(foil), 1.5)]


def cloths(photos: int) -> Rows:
    """Grades of rubbed swatches."""
    sheet = tray([], "6", cloths=[f"A{n} {how}" for n in range(1, 9) for how in ("dry", "wet")])
    ours, foil, off = [], [], 0
    for seed in range(photos):
        rng = np.random.default_rng(SEED + seed)
        photo = photograph(sheet, random_scene(rng), rng, references="6")
        picture = Picture("cloths.jpg", photo.through_jpeg())
        try:
            reading = grade_cloths(picture, [sheet], photo.references)
        except PhotoError as fault:
            print(fault, file=sys.stderr)
            continue
        rectified = rectify(picture, reading.placed)
        plain = {cell.code: srgb_mean(rectified, cell.box.middle) for cell in sheet.cloths}
        clean = np.mean([plain["clean 1"], plain["clean 2"]], axis=0)
        for cloth in reading.cloths:
            truth = photo.cloths[cloth.code].grade
            ours.append(abs(cloth.grade - truth))
            scripted = staining_grade(staining_difference(srgb_to_lab(clean), srgb_to_lab(plain[cloth.code])))
            foil.append(abs(float(scripted) - truth))
            off += abs(cloth.half_grade - float(staining_half_grade(truth))) > 0.5
    what = f"grade of {len(ours)} cloths"
    return [
        row(f"{what}, error, 95th percentile", float(np.quantile(ours, 0.95)), float(np.quantile(foil, 0.95)), 0.25),
        row(f"{what}, worst error (0.75 moves a half grade by two half steps)", max(ours), max(foil), 0.75),
        row(
            f"{what}, share told more than half a step off", off / len(ours), float(np.mean(np.array(foil) > 0.75)), 0.0
        ),
    ]


def srgb_mean(rectified, middle: tuple[float, float]) -> np.ndarray:
    """Mean of a circle as stored."""
    scale, half = rectified.px_per_mm, CIRCLE_MM / 2
    x, y = (int((v - half) * scale) for v in middle)
    return rectified.image[y : y + int(2 * half * scale), x : x + int(2 * half * scale)].reshape(-1, 3).mean(axis=0)


def run(quick: bool) -> Rows:
    """All rows."""
    return [
        *views(30 if quick else 200),
        *mottle(1 if quick else 8),
        *glare(2 if quick else 16),
        *seconds(),
        *cloths(3 if quick else 40),
    ]


if __name__ == "__main__":
    main(__doc__, run)
