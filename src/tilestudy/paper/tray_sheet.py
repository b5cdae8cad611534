"""What is printed on a tray sheet: the words, and where each mark stands. Lengths are mm from the page's top left corner."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import groupby

from tilestudy.paper.content import Masthead
from tilestudy.tray.layout import CLEAR, CODE, FREE, MARGIN, MARKER
from tilestudy.tray.sheet import Box, Cell, Sheet

Rows = Sequence[Sequence[bool]]
MEASURED = 12.0
"""Diameter of the circle that is measured on a cloth."""

LIGHT = (
    "One soft light for everything on the sheet: a window without sun, lamps and flash off. No shadow of yours on it.",
    "Nothing so bright that it is blank: where the paper looks pure white, lower the exposure and take it again.",
)
POLISHED = "Polished tiles mirror the room: hold a dark card above them, so that what they mirror is dark."
STAINS = "Cloths dry and flat, rubbed side up, the stain in the middle: the 12 mm between the inner ticks are measured."
VIEW = "Straight from above, sheet flat and filling the picture, all four squares in it; no filter, no portrait mode."
SCALE = "Measure this bar: 100 mm. If it is not, print again at 100 %, without fitting to the page."
WET = "Tiles wet or freshly treated: gloves on, rinse and dry them before they come on the sheet."
HOT = "Tiles fresh from the heat: let them cool before they come on the sheet."


@dataclass(frozen=True)
class Square:
    """A marker to draw: its box, the black bars that make it up, in it, and what it is, for those who do not see it."""

    box: Box
    bars: tuple[Box, ...]
    alt: str


@dataclass(frozen=True)
class Place:
    """A place between ticks: its box, its number on the sheet ("" for a patch), what lies there, and ticks at `inner` mm.

    `inner` is the width of what is measured in the middle of it, marked by further ticks; 0 for none.
    """

    box: Box
    number: str
    label: str
    inner: float = 0.0


@dataclass(frozen=True)
class Words:
    """Room for words between two markers."""

    upper: Box
    lower: Box


@dataclass(frozen=True)
class TrayPage:
    """One sheet: number of the tray, which of how many it is, what is drawn, and the card's outline with its corner's words."""

    number: int
    which: str
    laid: str
    squares: tuple[Square, ...]
    places: tuple[Place, ...]
    card: Box | None
    corner: str
    words: Words


@dataclass(frozen=True)
class TraySheets:
    """All sheets of one call."""

    masthead: Masthead
    lines: tuple[str, ...]
    caution: str
    scale: str
    clear: float
    code: float
    pages: tuple[TrayPage, ...]


def tray_sheets_content(
    masthead: Masthead, sheets: Sequence[Sheet], squares: Callable[[int], Rows], *, wet: bool
) -> TraySheets:
    """Return what is printed on tray sheets.

    Parameters
    ----------
    masthead : Masthead
    sheets : sequence of Sheet
        At least one; all with tiles, or all with cloths.
    squares : callable
        Returns the modules of a marker by its number.
    wet : bool
        The process leaves liquids on tiles; otherwise they come from the heat.
    """
    cloths = bool(sheets[0].cloths)
    pages = tuple(
        TrayPage(
            number=sheet.number,
            which=f"sheet {place} of {len(sheets)}",
            laid=_laid(sheet),
            squares=tuple(
                Square(
                    marker.box, bars_of(squares(marker.number), marker.box.width), f"Square for the camera, {corner}"
                )
                for marker, corner in zip(
                    sheet.markers, ("top left", "top right", "bottom left", "bottom right"), strict=True
                )
            ),
            places=(
                *(Place(cell.box, str(number), cell.code) for number, cell in enumerate(sheet.tiles, 1)),
                *(Place(cell.box, str(number), cell.code, MEASURED) for number, cell in enumerate(sheet.cloths, 1)),
                *(Place(cell.box, "", cell.code) for cell in sheet.patches if sheet.card is None),
            ),
            card=sheet.card,
            corner="" if sheet.card is None else f"patch {_nearest(sheet.card, sheet.patches)} in this corner",
            words=_words(sheet),
        )
        for place, sheet in enumerate(sheets, 1)
    )
    caution = "" if cloths else WET if wet else HOT
    return TraySheets(masthead, (*LIGHT, STAINS if cloths else POLISHED, VIEW), caution, SCALE, CLEAR, CODE, pages)


def bars_of(rows: Rows, side: float) -> tuple[Box, ...]:
    """The black modules as bars along the rows and along the columns: each seam in one is covered by the other.

    >>> [(bar.x, bar.y, bar.width, bar.height) for bar in bars_of([[True, True], [False, True]], 2.0)]
    [(0.0, 0.0, 2.0, 1.0), (1.0, 1.0, 1.0, 1.0), (0.0, 0.0, 1.0, 1.0), (1.0, 0.0, 1.0, 2.0)]
    """
    module = side / len(rows)
    bars = []
    for turned, lines in ((False, rows), (True, list(zip(*rows, strict=True)))):
        for place, line in enumerate(lines):
            start = 0
            for black, modules in groupby(line):
                length = len(list(modules))
                along, across = (start * module, length * module), (place * module, module)
                start += length
                if black:
                    (x, width), (y, height) = (across, along) if turned else (along, across)
                    bars.append(Box(x, y, width, height))
    return tuple(bars)


def _laid(sheet: Sheet) -> str:
    what = "Lay each swatch" if sheet.cloths else "Lay each tile"
    if not sheet.patches:
        return f"{what} between the ticks above its code."
    return f"{what} between the ticks above its code, the {'card in its frame' if sheet.card else 'patches likewise'}."


def _nearest(card: Box, patches: Sequence[Cell]) -> str:
    """The patch in the corner of the card that is top left on the page."""
    return min(patches, key=lambda one: math.dist(one.box.middle, (card.x, card.y))).code


def _words(sheet: Sheet) -> Words:
    left = MARGIN + MARKER + FREE / 2 + 1
    width = sheet.width - 2 * left
    top, height = MARGIN - 2, MARKER + 4
    return Words(Box(left, top, width, height), Box(left, sheet.height - top - height, width, height))
