"""The numbers of a row to L*a*b*."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from tilestudy.colour.difference import lab_of
from tilestudy.colour.instrument.block import Block, Said
from tilestudy.colour.instrument.columns import SPECTRUM, AskError, Columns
from tilestudy.colour.instrument.words import Conditions
from tilestudy.colour.spectra import reflectance_to_lab
from tilestudy.colour.xyz import lch_to_lab, white, xyz_to_lab
from tilestudy.errors import WrongRequestError
from tilestudy.study.forms.cells import CellError, read_number
from tilestudy.study.language import capital, count
from tilestudy.study.records import Lab


def numbers_of(
    line: int, cells: Sequence[str], columns: Columns, block: Block, faults: list[tuple[int | None, str]]
) -> list[float] | None:
    """Return the numbers of a row, an empty list when it has none at all, None when one is faulty (which is noted)."""
    if not any(cells[place] for place in columns.places):
        return []
    values: list[float] = []
    wrong: list[str] = []
    for place in columns.places:
        name, cell = block.headings[place], cells[place]
        try:
            if not cell:
                raise CellError("is empty. Measure the sample again, or take the row out.")
            values.append(read_number(cell.rstrip("% "), ";"))
        except CellError as error:
            wrong.append(f"{name} {error}")
    if wrong:
        more = f" {capital(count(len(wrong) - 1, 'other cell'))} of this row likewise." if len(wrong) > 1 else ""
        faults.append((line, wrong[0] + more))
        return None
    return values


def scale_of(columns: Columns, rows: Sequence[Sequence[float]], said: Said) -> float:
    """Return what the numbers are to be divided by: 100 for per cent. Raises AskError where that cannot be told."""
    highest = max((max(row) for row in rows), default=1.0)
    if columns.kind not in (SPECTRUM, "XYZ"):
        return 1.0
    per_cent = columns.per_cent if columns.per_cent is not None else said.per_cent
    if per_cent is not None:
        return 100.0 if per_cent else 1.0
    if 1.4 < highest <= 2:
        raise AskError(
            f"the highest number here is {highest:g}, which may be per cent or a fraction of 1. Measure a light sample along, or "
            "for reflectance write % behind the wavelengths in the header."
        )
    return 100.0 if highest > 2 else 1.0


def lab_from(
    line: int,
    values: Sequence[float],
    columns: Columns,
    under: Conditions,
    scale: float,
    faults: list[tuple[int | None, str]],
) -> Lab | None:
    """Return a row's L*a*b*, None for numbers that are no colour (which is noted)."""
    numbers = np.array(values) / scale
    if columns.kind == "Lab":
        return lab_of(numbers)
    if columns.kind == "LCh":
        if numbers[1] < 0 or not 0 <= numbers[2] <= 360:
            faults.append(
                (line, f"C* {values[1]:g} with h {values[2]:g} is no colour: C* is 0 or more, h 0 to 360 degrees.")
            )
            return None
        return lab_of(lch_to_lab(numbers))
    if not numbers.min() >= -0.02 or numbers.max() > 1.6 or not math.isfinite(float(numbers.sum())):
        what = "reflectance" if columns.kind == SPECTRUM else "X, Y, Z"
        low, high = values[int(numbers.argmin())], values[int(numbers.argmax())]
        faults.append(
            (line, f"{what} from {low:g} to {high:g} is out of range: no surface reflects that. Measure it again.")
        )
        return None
    try:
        if columns.kind == SPECTRUM:
            return lab_of(reflectance_to_lab(numbers, columns.wavelengths, under.illuminant, under.observer))
        return lab_of(xyz_to_lab(numbers, white(under.illuminant, under.observer)))
    except WrongRequestError as error:
        raise AskError(str(error)) from None
