"""A tray sheet as records: corner markers, cells of tiles, reference patches and cloths, in mm from the page's top left corner."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

Point = tuple[float, float]
"""x to the right and y down, mm from the top left corner of the page."""


@dataclass(frozen=True)
class Box:
    """An upright rectangle, mm: its top left corner, width and height."""

    x: float
    y: float
    width: float
    height: float

    @property
    def middle(self) -> Point:
        """The middle, mm.

        >>> Box(10, 20, 25, 50).middle
        (22.5, 45.0)
        """
        return (self.x + self.width / 2, self.y + self.height / 2)


@dataclass(frozen=True)
class Cell:
    """A place on the sheet: the code of what lies there (tile code, name of a patch, tile code of a cloth) and its box."""

    code: str
    box: Box


@dataclass(frozen=True)
class Marker:
    """An ArUco square: its number in the dictionary, and its box (the black border included)."""

    number: int
    box: Box


@dataclass(frozen=True)
class Sheet:
    """One printed tray sheet.

    Attributes
    ----------
    number : int
        Number of the tray in the studio, from 1; the four markers carry it (`marker_numbers`).
    study : str
    paper : "a4", "us-letter" or "" (another; tests and benchmarks)
    width, height : float
        Of the page, mm.
    markers : tuple of Marker
        Top left, top right, bottom left, bottom right.
    tiles : tuple of Cell
    patches : tuple of Cell
        Reference patches in the order of the reference file; empty when the tray has none.
    card : Box or None
        Outline of the card when the patches lie on one card that may be shifted or turned a little; None when each
        lies in a cell of its own.
    cloths : tuple of Cell
        Rubbed swatches by tile code; those called "clean 1", "clean 2"... are clean ones.
    dictionary : str
        Of the markers.
    """

    number: int
    study: str
    paper: str
    width: float
    height: float
    markers: tuple[Marker, ...]
    tiles: tuple[Cell, ...] = ()
    patches: tuple[Cell, ...] = ()
    card: Box | None = None
    cloths: tuple[Cell, ...] = ()
    dictionary: Literal["DICT_5X5_1000", "DICT_4X4_50"] = "DICT_5X5_1000"

    @property
    def cells(self) -> tuple[Cell, ...]:
        """All places: of tiles, patches and cloths."""
        return (*self.tiles, *self.patches, *self.cloths)

    @property
    def taken(self) -> tuple[Box, ...]:
        """What is no bare paper: the places, the markers, the card."""
        places = (*(cell.box for cell in self.cells), *(marker.box for marker in self.markers))
        return places if self.card is None else (*places, self.card)


MOST_TRAYS = 250
"""Trays whose markers differ: four of the 1,000 squares of the dictionary each; the numbers start again after that."""


def marker_numbers(tray: int) -> tuple[int, int, int, int]:
    """Return the numbers of a tray's markers: top left, top right, bottom left, bottom right.

    >>> marker_numbers(1), marker_numbers(251)
    ((0, 1, 2, 3), (0, 1, 2, 3))
    """
    first = 4 * ((tray - 1) % MOST_TRAYS)
    return (first, first + 1, first + 2, first + 3)


def tray_of_marker(number: int) -> int:
    """Return the number of the tray, 1 to 250, of a marker's number.

    >>> {tray_of_marker(one) for one in marker_numbers(7)}
    {7}
    """
    return number // 4 + 1


def numbered(sheet: Sheet, number: int) -> Sheet:
    """Return the sheet under another tray number, with the markers of that number."""
    markers = tuple(
        replace(marker, number=which) for marker, which in zip(sheet.markers, marker_numbers(number), strict=True)
    )
    return replace(sheet, number=number, markers=markers)


def cloth_code(tile: str, condition: str) -> str:
    """Return the code of a rubbed swatch on a sheet.

    >>> cloth_code("A3", "wet")
    'A3 wet'
    """
    return f"{tile} {condition}"


def cloth_of(code: str) -> tuple[str, str] | None:
    """Return the tile and the condition of a rubbed swatch, or None for a clean one.

    >>> cloth_of("A3 wet"), cloth_of("clean 1")
    (('A3', 'wet'), None)
    """
    tile, _, condition = code.rpartition(" ")
    return None if tile == "clean" else (tile, condition)


def sheet_as_dict(sheet: Sheet) -> dict[str, Any]:
    """Return a printed sheet as plain data for JSON, without its tray number (which the study book gives).

    Two sheets with the same data are the same sheet. Boxes are lists: x, y, width, height, mm.
    """
    return {
        "study": sheet.study,
        "paper": sheet.paper,
        "page": [sheet.width, sheet.height],
        "dictionary": sheet.dictionary,
        "markers": [_numbers(marker.box) for marker in sheet.markers],
        "tiles": [[cell.code, *_numbers(cell.box)] for cell in sheet.tiles],
        "patches": [[cell.code, *_numbers(cell.box)] for cell in sheet.patches],
        "card": None if sheet.card is None else _numbers(sheet.card),
        "cloths": [[cell.code, *_numbers(cell.box)] for cell in sheet.cloths],
    }


def sheet_from_dict(number: int, data: Mapping[str, Any]) -> Sheet:
    """Return the sheet of a tray number from its plain data (`sheet_as_dict`).

    >>> box = Box(8.0, 8.0, 18.0, 18.0)
    >>> markers = tuple(Marker(one, box) for one in marker_numbers(3))
    >>> sheet = Sheet(3, "plaques", "a4", 210.0, 297.0, markers, (Cell("A3", Box(92.5, 120.0, 25.0, 50.0)),))
    >>> sheet_from_dict(3, sheet_as_dict(sheet)) == sheet
    True
    """

    def cells(of: str) -> tuple[Cell, ...]:
        return tuple(Cell(code, Box(*box)) for code, *box in data[of])

    width, height = data["page"]
    return Sheet(
        number,
        data["study"],
        data["paper"],
        width,
        height,
        markers=tuple(
            Marker(which, Box(*box)) for which, box in zip(marker_numbers(number), data["markers"], strict=True)
        ),
        tiles=cells("tiles"),
        patches=cells("patches"),
        card=None if data["card"] is None else Box(*data["card"]),
        cloths=cells("cloths"),
        dictionary=data["dictionary"],
    )


def _numbers(box: Box) -> list[float]:
    return [box.x, box.y, box.width, box.height]
