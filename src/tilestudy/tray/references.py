"""Reference patches: colours that were measured before, laid beside the tiles so that a photo can be corrected by them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from tilestudy.errors import Fault, FaultyFileError
from tilestudy.study.forms.cells import CellError, read_number
from tilestudy.study.forms.table import Row, Table, read_table
from tilestudy.study.records import Lab
from tilestudy.tray.sheet import Box

Kind = Literal["24 patches", "6 patches", "grey card"]
MANY = 18
"""From so many patches on, a photo's colours are corrected by a curved map (root-polynomial)."""
FEW = 5
"""From so many patches on, colours are corrected by a straight map (3 x 3); fewer only balance grey."""
GREY = 8.0
"""A patch with less chroma than this counts as grey."""
SIDE = 20.0
"""Side of a loose patch, mm, when the file does not say."""
_POSITION = ("x_mm", "y_mm", "size_mm")
_CARD = ("card_width_mm", "card_height_mm")
_KNOWN = ("patch", "l", "a", "b", *_POSITION, *_CARD, "illuminant", "observer")
_MOST = 200


@dataclass(frozen=True)
class RefPatch:
    """One patch: its name, its measured colour, and the middle and side of it, mm.

    `x_mm` and `y_mm` count from the top left corner of the card it is on; None for a loose patch. `size_mm` is None
    when the file does not say.
    """

    name: str
    lab: Lab
    x_mm: float | None = None
    y_mm: float | None = None
    size_mm: float | None = None

    @property
    def box(self) -> Box:
        """The patch on its card, mm from the card's top left corner; a loose one stands at 0, 0."""
        side = self.size_mm or SIDE
        if self.x_mm is None or self.y_mm is None:
            return Box(0.0, 0.0, side, side)
        return Box(self.x_mm - side / 2, self.y_mm - side / 2, side, side)


@dataclass(frozen=True)
class References:
    """The patches of a reference file, in its order; the light and observer they were measured for.

    `card_mm` is the width and height of the card they lie on, or None when they are loose.
    """

    patches: tuple[RefPatch, ...]
    illuminant: str = "D50"
    observer: str = "2"
    card_mm: tuple[float, float] | None = None

    @property
    def kind(self) -> Kind:
        """What the patches are good for; greys alone, however many, are a grey card.

        >>> References((RefPatch("grey", (50.0, 0.0, 0.0)),)).kind
        'grey card'
        """
        if all(math.hypot(patch.lab[1], patch.lab[2]) < GREY for patch in self.patches):
            return "grey card"
        return "24 patches" if len(self.patches) >= MANY else "6 patches"


def read_references(text: str, file: str) -> References:
    """Read a reference file.

    Parameters
    ----------
    text : str
        CSV: patch, L, a, b; and for patches on one card x_mm, y_mm, size_mm; further columns card_width_mm,
        card_height_mm, illuminant, observer. Lines that start with # are notes.
    file : str
        Its name, for faults.

    Raises
    ------
    FaultyFileError
        With all faults.

    Examples
    --------
    >>> found = read_references("patch,L,a,b\\nwhite,95,0,1\\ngrey,50,0,0\\n", "greys.csv")
    >>> found.kind, found.illuminant, found.patches[0].lab
    ('grey card', 'D50', (95.0, 0.0, 1.0))
    """
    table = read_table(text)
    reader = _Reader(file, table)
    missing = [name for name in ("patch", "L", "a", "b") if name.casefold() not in table.names]
    if missing:  # then it is hardly such a file, and faults of its lines would say nothing
        what = f"no column {', '.join(missing)}. The first line of a reference file is patch,L,a,b; give such a file."
        raise FaultyFileError([Fault(file, table.header_line, what)], after="The reference file was not used.")
    for line, what in table.faults:
        reader.fault(line, what)
    for name in table.names:
        if name and name not in _KNOWN:
            reader.fault(table.header_line, f'the column "{name}" is not known. Known are: {", ".join(_KNOWN)}.')
    patches = [patch for row in table.rows if (patch := reader.patch(row)) is not None]
    illuminant = reader.same("illuminant", "D50", ("D50", "D65"), str.upper)
    observer = reader.same("observer", "2", ("2", "10"), lambda one: one.strip(" °"))
    card = reader.card(patches)
    reader.check(patches)
    if reader.faults:
        raise FaultyFileError(reader.faults, after="The reference file was not used.")
    return References(tuple(patches), illuminant, observer, card)


class _Reader:
    """Reads rows and gathers faults."""

    def __init__(self, file: str, table: Table) -> None:
        self.file, self.table = file, table
        self.faults: list[Fault] = []

    def fault(self, line: int | None, what: str) -> None:
        self.faults.append(Fault(self.file, line, what))

    def number(self, row: Row, column: str, low: float, high: float, example: str) -> float | None:
        """The number in a cell, or None with a fault noted."""
        shown = "L" if column == "l" else column
        try:
            number = read_number(row[column], self.table.delimiter, example)
        except CellError as error:
            self.fault(row.line, f"{shown}: {error}")
            return None
        if not low <= number <= high:
            self.fault(row.line, f"{shown} {row[column]} is not between {low:g} and {high:g}. Correct it.")
            return None
        return number

    def patch(self, row: Row) -> RefPatch | None:
        name = " ".join(row["patch"].split())
        if not name:
            self.fault(row.line, "no name of the patch. Give it one, such as white.")
        elif len(name) > 16:
            self.fault(row.line, f'the name "{name}" does not fit beneath a patch. Use 16 characters or fewer.')
        lab = [
            self.number(row, column, *span, "52.4")
            for column, span in (("l", (0, 100)), ("a", (-128, 128)), ("b", (-128, 128)))
        ]
        where: list[float | None] = [
            self.number(row, column, *span, "12.5") if row[column] else None
            for column, span in (("x_mm", (0, 400)), ("y_mm", (0, 400)), ("size_mm", (3, 60)))
        ]
        if None in lab or not name:
            return None
        L, a, b = (one for one in lab if one is not None)
        return RefPatch(name, (L, a, b), *where)

    def same(self, column: str, default: str, known: Sequence[str], read: Callable[[str], str]) -> str:
        """What all rows say in a column; empty cells take it from the others."""
        found: dict[str, int | None] = {}
        for row in self.table.rows:
            if row[column]:
                found.setdefault(read(row[column]), row.line)
        for one, line in found.items():
            if one not in known:
                self.fault(
                    line, f'{column} "{one}" is not one of {" and ".join(known)}. Write the one your values are for.'
                )
        if len(found) > 1:
            self.fault(list(found.values())[1], f"{column} is {' and '.join(found)}. All patches need the same one.")
        return next(iter(found), default)

    def card(self, patches: Sequence[RefPatch]) -> tuple[float, float] | None:
        """The size of the card: as the file says, or as wide beyond the last patch as before the first."""
        on_card = [patch for patch in patches if patch.x_mm is not None or patch.y_mm is not None]
        if not on_card:
            return None
        placed = [patch for patch in patches if None not in (patch.x_mm, patch.y_mm, patch.size_mm)]
        if len(placed) < len(patches):
            names = ", ".join(patch.name for patch in patches if patch not in placed)
            self.fault(
                None,
                f"no whole position for {names}. Patches on a card need x_mm, y_mm and size_mm, all of them; loose patches "
                "have no x_mm and y_mm.",
            )
            return None
        boxes = [patch.box for patch in placed]
        given = [self._side(column) for column in _CARD]
        width = given[0] or min(box.x for box in boxes) + max(box.x + box.width for box in boxes)
        height = given[1] or min(box.y for box in boxes) + max(box.y + box.height for box in boxes)
        for patch, box in zip(placed, boxes, strict=True):
            if min(box.x, box.y) < 0 or box.x + box.width > width + 0.01 or box.y + box.height > height + 0.01:
                self.fault(
                    None,
                    f"patch {patch.name} reaches beyond its card of {width:g} x {height:g} mm. x_mm and y_mm are the middle "
                    "of the patch, from the card's top left corner.",
                )
        for place, (patch, box) in enumerate(zip(placed, boxes, strict=True)):
            for other, theirs in list(zip(placed, boxes, strict=True))[:place]:
                if abs(box.middle[0] - theirs.middle[0]) < (box.width + theirs.width) / 2 and (
                    abs(box.middle[1] - theirs.middle[1]) < (box.height + theirs.height) / 2
                ):
                    self.fault(None, f"patches {other.name} and {patch.name} overlap. Correct x_mm, y_mm or size_mm.")
        return (round(width, 2), round(height, 2))

    def _side(self, column: str) -> float | None:
        found = [row for row in self.table.rows if row[column]]
        return self.number(found[0], column, 10, 400, "110") if found else None

    def check(self, patches: Sequence[RefPatch]) -> None:
        """Faults of the patches together."""
        if not self.table.rows:
            self.fault(None, "no patch is listed. Write a line for each.")
        if len(self.table.rows) > _MOST:
            self.fault(None, f"{len(self.table.rows)} patches are more than fit beside tiles. Use {_MOST} or fewer.")
        names = [patch.name.casefold() for patch in patches]
        for twice in sorted({name for name in names if names.count(name) > 1}):
            self.fault(None, f'the name "{twice}" is there twice. Each patch needs a name of its own.')
        coloured = [patch.name for patch in patches if math.hypot(patch.lab[1], patch.lab[2]) >= GREY]
        if not self.faults and len(patches) < FEW and coloured:
            self.fault(
                None,
                f"{len(patches)} patches with colours among them ({', '.join(coloured)}) are too few to correct colours by. "
                f"List {FEW} patches or more, or greys only.",
            )
        if not self.faults and max(patch.lab[0] for patch in patches) <= 1.0:
            self.fault(None, "no patch has an L above 1, so L seems to be written from 0 to 1. Write it from 0 to 100.")
