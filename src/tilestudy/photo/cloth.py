"""Rubbed cloth swatches in a photo, graded against clean ones beside them (ISO 105-A04).

White cloth cannot be told from white paper, so nothing is looked for: a circle of 12 mm in the middle of each cell is
measured (the rubbing finger of ISO 105-X12 is 16 mm wide).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tilestudy.colour.difference import lab_of
from tilestudy.colour.grades import staining_difference, staining_grade, staining_half_grade
from tilestudy.errors import PhotoError
from tilestudy.photo.calibrate import Calibrated, calibrate
from tilestudy.photo.find import Placed, find, rectify
from tilestudy.photo.picture import Picture
from tilestudy.photo.rectified import Rectified
from tilestudy.study.language import listed
from tilestudy.study.records import Lab
from tilestudy.tray.references import References
from tilestudy.tray.sheet import Cell, Sheet, cloth_of

Floats = npt.NDArray[np.float64]

CIRCLE_MM = 12.0
"""Diameter of what is measured."""
MOST_APART = 4.0
"""CIELAB difference between clean swatches from which one of them cannot be clean, or is lit differently."""
OFF, OFF_SHARE = 0.3, 0.04
"""Expected error of a difference between two cloths in one photo: CIELAB units, and share of the difference.

Two and a half times what synthetic photos show: real photos of charts are off by that much more than synthetic ones.
"""


@dataclass(frozen=True)
class ClothGraded:
    """One rubbed swatch.

    Attributes
    ----------
    code : str
        Of its cell: tile and condition.
    grade : float
        Staining grade, 1 (dark) to 5 (no stain), between the half grades too.
    half_grade : float
        As reported.
    stain, clean : (L, a, b)
        Of the swatch and of the clean ones, under the references' illuminant and observer.
    error : float
        Expected (median) error of the grade.
    """

    code: str
    grade: float
    half_grade: float
    stain: Lab
    clean: Lab
    error: float


@dataclass(frozen=True)
class ClothReading:
    """What a photo of a sheet of cloths tells; the fields are those of `measure.TrayReading`."""

    sheet: Sheet
    calibrated: Calibrated
    placed: Placed
    cloths: tuple[ClothGraded, ...]
    photos: tuple[str, ...]
    notes: tuple[str, ...]


def grade_cloths(picture: Picture, sheets: Sequence[Sheet], references: References | None = None) -> ClothReading:
    """Grade the swatches in a photo.

    Raises
    ------
    PhotoError
        When the sheet is not found or holds no cloths, the photo cannot be trusted, or the clean swatches differ.
    """
    placed = find(picture, sheets)
    sheet = placed.sheet
    rubbed = [cell for cell in sheet.cloths if cloth_of(cell.code)]
    clean = [cell for cell in sheet.cloths if not cloth_of(cell.code)]
    if not rubbed or not clean:
        raise PhotoError(
            picture.name,
            f"Tray {sheet.number} has no cells for rubbed and clean cloths. Print a sheet for cloths, or leave out --cloths.",
        )
    rectified = rectify(picture, placed)
    calibrated = calibrate(rectified, references)
    white = [middle_light(rectified, calibrated, cell) for cell in clean]
    labs = np.asarray(calibrated.lab(np.array(white)), dtype=float)
    apart = float(max(np.linalg.norm(one - other) for one in labs for other in labs))
    if apart > MOST_APART:
        raise PhotoError(
            picture.name,
            f"The clean swatches ({listed([cell.code for cell in clean])}) differ by {apart:.1f} CIELAB units "
            f"(at most {MOST_APART:.0f}): one is missing, dirty or shaded. "
            "Lay unused cloth in those cells, light the sheet evenly, and take the photo again.",
        )
    clean_lab = np.asarray(calibrated.lab(np.mean(white, axis=0)), dtype=float)
    graded = tuple(
        _graded(cell.code, np.asarray(calibrated.lab(middle_light(rectified, calibrated, cell))), clean_lab)
        for cell in rubbed
    )
    notes = (*picture.notes, *placed.notes, *calibrated.notes)
    return ClothReading(sheet, calibrated, placed, graded, (picture.name,), notes)


def middle_light(rectified: Rectified, calibrated: Calibrated, cell: Cell) -> Floats:
    """Return the mean light (3,) of the circle in the middle of a cell."""
    scale, (x0, y0) = rectified.px_per_mm, cell.box.middle
    left, top = int((x0 - CIRCLE_MM / 2) * scale), int((y0 - CIRCLE_MM / 2) * scale)
    side = int(np.ceil(CIRCLE_MM * scale)) + 1
    part = rectified.image[top : top + side, left : left + side]
    mm = rectified.mm(left, top, part.shape)
    inside = np.hypot(mm[..., 0] - x0, mm[..., 1] - y0) <= CIRCLE_MM / 2
    light = np.asarray(calibrated.light(part[inside], mm[inside]), dtype=float)
    return np.asarray(light[np.isfinite(light).all(axis=-1)].mean(axis=0))


def _graded(code: str, stain: Floats, clean: Floats) -> ClothGraded:
    difference = float(staining_difference(clean, stain))
    grade = float(staining_grade(difference))
    return ClothGraded(
        code, grade, float(staining_half_grade(grade)), lab_of(stain), lab_of(clean), expected_error(difference)
    )


def expected_error(difference: float) -> float:
    """Return the expected error of a grade whose dE_GS is `difference`: the slope of the grade times that of dE_GS.

    >>> round(expected_error(0.0), 2), round(expected_error(20.0), 2)
    (0.07, 0.06)
    """
    slope = 1.45 / difference if difference > 4.256 else 0.23
    return slope * float(np.hypot(OFF, OFF_SHARE * difference))
