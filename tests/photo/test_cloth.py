"""Rubbed cloths are graded against clean ones in the same photo."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.photo.test_measure import SCENE
from tests.synthetic import photograph, tray
from tilestudy.errors import PhotoError
from tilestudy.photo.cloth import expected_error, grade_cloths
from tilestudy.photo.draw import draw
from tilestudy.photo.picture import open_picture

SHEET = tray([], "6", cloths=[f"A{n} {how}" for n in range(1, 5) for how in ("dry", "wet")])
STAINS = dict(
    zip(
        [cell.code for cell in SHEET.cloths if "clean" not in cell.code],
        (0.02, 0.05, 0.1, 0.2, 0.4, 0.8, 0.01, 0.3),
        strict=True,
    )
)


def test_cloths_are_graded_within_half_a_step(tmp_path: Path) -> None:
    """Stains from none to dark, in uneven light and tilted, with six patches: all within half a grade, most within a quarter."""
    photo = photograph(SHEET, SCENE, np.random.default_rng(5), references="6", stains=STAINS)
    picture = open_picture(photo.write(tmp_path / "cloths.jpg"))
    reading = grade_cloths(picture, [SHEET], photo.references)
    assert [cloth.code for cloth in reading.cloths] == list(STAINS)
    off = [abs(cloth.grade - photo.cloths[cloth.code].grade) for cloth in reading.cloths]
    assert max(off) < 0.5
    assert np.median(off) < 0.15
    for cloth in reading.cloths:
        assert abs(cloth.half_grade - cloth.grade) <= 0.26
        assert cloth.clean == reading.cloths[0].clean
        assert 0 < cloth.error < 0.5
    assert draw(picture, reading).startswith(b"\xff\xd8")


def test_clean_swatches_that_are_not_clean_are_refused(tmp_path: Path) -> None:
    """One dark cloth in a clean place would shift every grade."""
    laid = replace(
        SHEET, cloths=tuple(replace(cell, code="B9 dry") if cell.code == "clean 2" else cell for cell in SHEET.cloths)
    )
    photo = photograph(laid, SCENE, np.random.default_rng(5), references="6", stains={**STAINS, "B9 dry": 0.4})
    with pytest.raises(
        PhotoError, match=r"The clean swatches \(clean 1 and clean 2\) differ by .* one is missing, dirty or shaded"
    ):
        grade_cloths(open_picture(photo.write(tmp_path / "cloths.jpg")), [SHEET], photo.references)


def test_a_sheet_of_tiles_has_no_cloths(tmp_path: Path) -> None:
    """--cloths given with a photo of tiles."""
    sheet = tray(4, "6")
    photo = photograph(sheet, SCENE, np.random.default_rng(5), references="6")
    with pytest.raises(PhotoError, match=r"Tray 1 has no cells for rubbed and clean cloths\. Print a sheet for cloths"):
        grade_cloths(open_picture(photo.write(tmp_path / "tray.jpg")), [sheet], photo.references)


def test_expected_error_follows_the_slope_of_the_grade() -> None:
    """Steepest just below grade 4, where 1.45 / dE_GS takes over from 0.23."""
    assert expected_error(5.0) > expected_error(3.0)
    assert expected_error(5.0) > expected_error(30.0)
