"""A whole photo: from the file to a colour for each tile, against the spectral truth of synthetic trays."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.synthetic import Glare, Photo, Scene, photograph, random_tile, tray
from tests.synthetic.printed import printed
from tilestudy.colour.difference import ciede2000
from tilestudy.errors import PhotoError
from tilestudy.photo.combine import combine
from tilestudy.photo.draw import draw
from tilestudy.photo.icc import SRGB
from tilestudy.photo.measure import TrayReading, _bare, measure
from tilestudy.photo.picture import open_picture
from tilestudy.tray.sheet import Sheet

SHEET = tray(9, "6", number=4)
KINDS = ("even", "mottled", "speckled", "iridescent", "bare", "black", "verdigris", "even", "brushed")
SCENE = Scene(size=(1125, 1500), uneven=1.6, tilt=12.0, turn=4.0, k1=-0.04, light="led", kelvin=4000.0, noise=0.004)
GLARE = Glare(0.5, 0.3, 3.0, 5.0, 30.0, 1.3)


def tiles() -> dict[str, object]:
    rng = np.random.default_rng(11)
    laid = {cell.code: random_tile(rng, kind) for cell, kind in zip(SHEET.tiles, KINDS, strict=True)}
    return {code: replace(tile, glare=GLARE) if code in ("A1", "A6") else tile for code, tile in laid.items()}


def taken(tmp: Path, scene: Scene, seed: int = 3, sheet: Sheet = SHEET, name: str = "tray.jpg") -> tuple[Photo, Path]:
    photo = photograph(sheet, scene, np.random.default_rng(seed), tiles=tiles(), references="6")
    return photo, photo.write(tmp / name)


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> tuple[Photo, Path, TrayReading]:
    photo, path = taken(tmp_path_factory.mktemp("photo"), SCENE)
    return photo, path, measure(open_picture(path), [SHEET], photo.references)


def test_a_photo_tells_the_colours_of_its_tiles(measured: tuple[Photo, Path, TrayReading]) -> None:
    """Each tile, in the order of the sheet, about as near the truth as stated; glare tiles within 2; evenness in the right order."""
    photo, _, reading = measured
    assert [tile.code for tile in reading.tiles] == [cell.code for cell in SHEET.tiles]
    off = np.array([float(ciede2000(tile.lab, photo.tiles[tile.code].lab)) for tile in reading.tiles])
    assert np.median(off) < 1.5 * reading.error
    assert off.max() < 3.0
    for tile, difference in zip(reading.tiles, off, strict=True):
        truth = photo.tiles[tile.code]
        assert np.abs(tile.outline.corners() - truth.outline).max() < 0.8
        assert tile.glare == pytest.approx(truth.glare, abs=0.08)
        if truth.glare > 0.01:
            assert difference < 2.0
        if truth.mottle > 1.5:
            assert tile.mottle == pytest.approx(truth.mottle, rel=0.25)
        elif truth.mottle < 0.2:
            assert tile.mottle < 0.7
        assert 1 <= len(tile.colours) <= 3
        assert 0.1 < sum(colour[3] for colour in tile.colours) <= 1 + 1e-9
    assert reading.photos == ("tray.jpg",)
    assert reading.spread is None
    (told,) = [note for note in reading.notes if note.startswith("Glare was left out on A1 (")]
    assert told.endswith("(share of the tile). Without the mirrored lamp the colour is surer.")


def test_an_embedded_wide_profile_is_honoured(tmp_path: Path) -> None:
    """A tray stored in Display P3 and read as sRGB is off by more than 1 CIEDE2000 beside the same read by its profile."""
    sheet = tray(9, "grey", number=4)
    photo = photograph(sheet, replace(SCENE, profile="p3"), np.random.default_rng(3), tiles=tiles(), references="grey")
    picture = open_picture(photo.write(tmp_path / "tray.jpg"))
    truth = np.array([photo.tiles[cell.code].lab for cell in sheet.tiles])
    read, unread = (
        np.array([tile.lab for tile in measure(one, [sheet], photo.references).tiles])
        for one in (picture, replace(picture, space=SRGB))
    )
    assert np.median(ciede2000(read, unread)) > 1.0
    assert np.median(ciede2000(read, truth)) < np.median(ciede2000(unread, truth))


def test_photos_of_the_same_tray_are_averaged_and_their_spread_told(measured: tuple[Photo, Path, TrayReading]) -> None:
    """Two readings: the middle, and how far each lies from it; one photo is left as it is."""
    _, _, reading = measured
    assert combine([reading]) is reading
    moved = tuple(replace(tile, lab=(tile.lab[0] + 2, *tile.lab[1:])) for tile in reading.tiles)
    both = combine([reading, replace(reading, tiles=moved, photos=("again.jpg",))])
    assert both.photos == ("tray.jpg", "again.jpg")
    for one, two in zip(reading.tiles, both.tiles, strict=True):
        assert two.lab == pytest.approx((one.lab[0] + 1, *one.lab[1:]))
        assert two.spread == pytest.approx(float(ciede2000(one.lab, two.lab)), rel=0.1)
        assert two.mottle == pytest.approx(one.mottle)
    assert both.spread == pytest.approx(np.mean([tile.spread for tile in both.tiles]))


def test_photos_of_different_trays_are_not_averaged(measured: tuple[Photo, Path, TrayReading]) -> None:
    """The two are named."""
    _, _, reading = measured
    other = replace(reading, sheet=replace(SHEET, number=5), photos=("b.jpg",))
    with pytest.raises(PhotoError, match=r"b.jpg: This is tray 5, and tray.jpg is tray 4\. Give photos of one tray"):
        combine([reading, other])


def test_the_picture_beside_the_photo_shows_the_sheet_and_the_list(measured: tuple[Photo, Path, TrayReading]) -> None:
    """A JPEG of the sheet at 4 px/mm with a list beside it; the tile's measured colour is there as a swatch."""
    _, path, reading = measured
    shown = np.asarray(Image.open(io.BytesIO(draw(open_picture(path), reading))))
    assert shown.shape == (297 * 4, 210 * 4 + 460, 3)
    assert (shown[:, 840:] > 250).mean() > 0.8


@pytest.mark.parametrize("references", ["24", "6", None])
def test_noise_is_learned_from_paper_on_which_nothing_is_printed(references: str | None) -> None:
    """Most of the squares that are looked at are blank on the printed sheet, so the quieter quarter of them is."""
    sheet = tray(20, references)
    page, scale = printed(sheet, 200), 200 / 25.4
    blank = [
        page[round(box.y * scale) : round((box.y + box.height) * scale), round(box.x * scale) :][
            :, : round(box.width * scale)
        ].min()
        > 250
        for box in _bare(sheet)
    ]
    assert len(blank) > 10
    assert np.mean(blank) > 0.5
