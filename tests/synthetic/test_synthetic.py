"""The synthetic photos say the truth about themselves."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.synthetic import IDEAL, Photo, photograph, random_scene, random_tile, tray
from tests.synthetic.cameras import CAMERAS, TONES, decoded_lab, tone
from tests.synthetic.chart import patches
from tests.synthetic.cloth import grade
from tests.synthetic.lights import KINDS, light
from tests.synthetic.printed import printed
from tests.synthetic.spectra import DATA, Floats, lab_of, of_lab, weights
from tilestudy.colour.difference import ciede2000
from tilestudy.tray.sheet import Sheet


def _mean_light(photo: Photo, outline: Floats) -> Floats:
    """Mean linear light (paper's true reflectance kept) of a linear 16-bit picture in an outline, an inset of 1 mm."""
    middle = outline.mean(axis=0)
    shrunk = middle + (outline - middle) * (1 - 2 / np.linalg.norm(outline - np.roll(outline, 1, axis=0), axis=1).min())
    mask = np.zeros(photo.encoded.shape[:2], np.uint8)
    cv2.fillConvexPoly(mask, np.rint(photo.to_px(shrunk)).astype(np.int32), 1)
    scale = photo.scene.exposure / (of_lab(photo.scene.paper_tint) @ weights())[1]
    return np.asarray(photo.encoded[mask == 1].mean(axis=0) / 65535 / scale)


def _markers(photo: Photo, sheet: Sheet) -> dict[int, Floats]:
    picture = photo.encoded if photo.encoded.dtype == np.uint8 else (photo.encoded // 257).astype(np.uint8)
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, sheet.dictionary))
    corners, numbers, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY))
    return {int(number): corner[0] for number, corner in zip(np.ravel(numbers), corners, strict=True)}


def test_an_ideal_camera_shows_the_truth() -> None:
    """With the CIE observer for a camera, in even D50 light, the picture shows each tile's L*a*b* within 0.3, however it lies."""
    rng = np.random.default_rng(5)
    sheet = tray(8, "6")
    kinds = ("even", "mottled", "iridescent", "speckled", "brushed", "black", "bare", "verdigris")
    tiles = {cell.code: random_tile(rng, kind) for cell, kind in zip(sheet.tiles, kinds, strict=True)}
    scene = replace(IDEAL, size=(750, 1000), off_mm=1.5, off_degrees=4.0, tilt=20.0, turn=10.0, k1=0.05)
    photo = photograph(sheet, scene, rng, tiles=tiles, references="6")
    for truth in photo.tiles.values():
        shown = decoded_lab(_mean_light(photo, truth.outline))
        assert float(ciede2000(shown, truth.lab)) < 0.3, (truth, shown)


def test_markers_lie_where_the_map_says() -> None:
    """In tilted, distorted views, drawn or printed, the markers' corners are found within three pixels, and on the whole half a pixel, of where the map puts them."""
    sheet = tray(4, None, number=9)
    for seed, page in ((0, None), (1, None), (2, printed(sheet))):
        rng = np.random.default_rng(seed)
        photo = photograph(sheet, random_scene(rng, size=(900, 1200)), rng, references=None, page=page)
        found, off = _markers(photo, sheet), []
        for marker in sheet.markers:
            box = marker.box
            corners = [(box.x + dx * box.width, box.y + dy * box.height) for dx, dy in ((0, 0), (1, 0), (1, 1), (0, 1))]
            off.append(found[marker.number] - photo.to_px(corners))
        assert np.abs(off).max() < 3  # the library's plain corners are whole pixels
        assert np.abs(np.mean(off, axis=(0, 1))).max() < 0.5


def test_the_same_seed_gives_the_same_photo() -> None:
    """Everything comes from the seed."""
    sheet = tray(3, "grey")

    def one(seed: int) -> Photo:
        rng = np.random.default_rng(seed)
        return photograph(sheet, random_scene(rng, size=(300, 400)), rng, references="grey")

    first, again, other = one(1), one(1), one(2)
    assert np.array_equal(first.encoded, again.encoded)
    assert first.references == again.references
    assert not np.array_equal(first.encoded, other.encoded)


def test_patches_have_the_published_colours() -> None:
    """The 24 spectra have the published CIELAB (D50/2) of a 24-patch chart within 0.3, and stay between 0 and 1."""
    lines = [line.split(",") for line in (DATA / "chart-24.csv").read_text().splitlines()[2:]]
    spectra = patches("24").spectra
    assert np.abs(lab_of(spectra) - np.array([[float(cell) for cell in line[3:]] for line in lines])).max() < 0.3
    assert spectra.min() > 0
    assert spectra.max() < 1


def test_lights_and_tones_are_possible() -> None:
    """No light is negative; every tone curve rises from 0 to 1, also for a channel a little unlike the others."""
    for kind in KINDS:
        for kelvin in (2700, 4000, 6500):
            assert light(kind, kelvin).min() >= 0
    for name in TONES:
        for skew in (-0.05, 0.0, 0.05):
            curve = tone(name, np.linspace(0, 1, 500), skew, strength=1.4)
            assert np.diff(curve).min() > 0
            assert curve[[0, -1]] == pytest.approx([0, 1], abs=1e-9)


def test_a_grey_is_grey_for_every_camera() -> None:
    """A camera's matrix keeps a neutral reflectance neutral, whatever the light."""
    sheet = tray(1, None)
    tile = replace(random_tile(np.random.default_rng(0), "even"), palette=np.full((2, 31), 0.3), burr=0.0)
    for camera in CAMERAS:
        scene = replace(IDEAL, camera=camera, light="led", kelvin=3000, size=(300, 400), paper_tint=(95.0, 0.0, 0.0))
        photo = photograph(sheet, scene, np.random.default_rng(1), tiles={"A1": tile}, references=None)
        red, green, blue = _mean_light(photo, photo.tiles["A1"].outline)
        assert (red / green, blue / green) == pytest.approx((1, 1), abs=0.01)


def test_grades_of_published_steps() -> None:
    """The grey steps of ISO 105-A03 (dE 4.3, 8.5, 16.9) are grades 4, 3 and 2 (ISO 105-A04:1989)."""
    for difference, step in ((4.3, 4), (8.5, 3), (16.9, 2)):
        assert grade((90 - difference, 0, 0), (90, 0, 0)) == pytest.approx(step, abs=0.02)


def test_clipped_share_is_as_asked() -> None:
    """A scene told to clip a fifth of the paper clips about that, and cloths come with their grades."""
    sheet = tray(0, "grey", cloths=["A1 dry", "A2 dry"])
    scene = replace(random_scene(np.random.default_rng(3)), size=(450, 600), clipped=0.2, balance=(1.0, 1.0, 1.0))
    stains = {"A1 dry": 0.02, "A2 dry": 0.5}
    photo = photograph(sheet, scene, np.random.default_rng(4), references="grey", stains=stains)
    x, y = np.meshgrid(np.arange(2.0, 209.0, 5.0), np.arange(2.0, 296.0, 5.0))
    px = np.rint(photo.to_px(np.column_stack([x.ravel(), y.ravel()]))).astype(int)
    assert 0.1 < (photo.encoded[px[:, 1], px[:, 0]].max(axis=1) == 255).mean() < 0.3
    assert photo.cloths["A1 dry"].grade > photo.cloths["A2 dry"].grade
    assert photo.cloths["clean 1"].grade > 4.9
