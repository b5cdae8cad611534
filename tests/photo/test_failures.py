"""Nothing fails silently: a photo that cannot be measured is refused, with all that is wrong with its tiles at once.

Failures of the file are in test_picture, those of finding the sheet in test_find.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.photo.test_measure import SCENE, SHEET, tiles
from tests.synthetic import Glare, Scene, photograph, tray
from tilestudy.errors import PhotoError
from tilestudy.photo.measure import measure
from tilestudy.photo.picture import open_picture
from tilestudy.tray.sheet import Sheet


def refusal(tmp: Path, scene: Scene = SCENE, sheet: Sheet = SHEET, **how: object) -> list[str]:
    """Return the faults of a photo that is taken as `how` says."""
    how.setdefault("tiles", tiles())
    photo = photograph(sheet, scene, np.random.default_rng(3), references="6", **how)  # type: ignore[arg-type]
    with pytest.raises(PhotoError) as caught:
        measure(open_picture(photo.write(tmp / "tray.jpg")), [sheet], photo.references)
    assert str(caught.value).startswith("tray.jpg: ")
    return list(caught.value.faults)


def test_all_that_is_wrong_with_the_tiles_is_told_at_once(tmp_path: Path) -> None:
    """Tiles missing, on the line, turned, too small, and all glare, each by its code, with what to do."""
    laid = tiles()
    laid["A8"] = replace(laid["A8"], glare=Glare(0.5, 0.5, 30.0, 60.0, 0.0, 1.2))
    faults = refusal(
        tmp_path,
        tiles=laid,
        missing=["A1", "A5"],
        laid={"A3": (4.5, 0.0, 0.0), "A6": (0.0, 0.0, 11.0)},
        cut={"A7": (25.0, 40.0)},
    )
    assert sorted(faults) == [
        "No tile lies in the cells of tiles A1 and A5. Lay every tile on the sheet in the cell with its code, "
        "and take the photo again.",
        "Tile A7 does not fill its cell: laid outside or across, covered, or not of this study's size. "
        "Lay it inside its cell, upright and free, and take the photo again.",
        "Tile A8 mirrors the lamp over more than half of its face. Turn the tray, or hold a dark card above it, "
        "and take the photo again.",
        "Tiles A3 and A6 lie on the line or turned: more than 3.5 mm or 9 degrees out of the cell. "
        "Lay each tile inside its cell, straight, and take the photo again.",
    ]


def test_something_larger_than_a_tile_is_refused(tmp_path: Path) -> None:
    """A tile of another size covers its cell and more."""
    assert refusal(tmp_path, cut={"A2": (33.0, 58.0)}) == [
        "Tile A2 looks larger than the cell: two tiles touch, or a shadow or the tile beside it lies there. "
        "Lay one tile in each cell, and take the photo again."
    ]


def test_faults_of_the_light_carry_the_name_of_the_photo(tmp_path: Path) -> None:
    """What calibration refuses is told with the file's name, as all else."""
    assert refusal(tmp_path, replace(SCENE, clipped=0.6))


def test_a_sheet_without_tiles_is_not_measured_as_tiles(tmp_path: Path) -> None:
    """A sheet of cloths given without --cloths."""
    sheet = tray([], "6", cloths=["A1 dry", "A1 wet"])
    (fault,) = refusal(tmp_path, sheet=sheet, tiles={})
    assert fault == "Tray 1 has no tiles to measure. If it is a sheet of cloths, add --cloths."
