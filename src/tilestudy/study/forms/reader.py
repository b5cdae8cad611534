"""The reader all forms share: it stands at one row, reads the cells every form has, and gathers the faults."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TypeVar

from tilestudy.errors import Fault, WrongRequestError
from tilestudy.study.dates import DateOrder, read_date
from tilestudy.study.forms.cells import CellError, check_comma, listing, not_known, quoted, read_number, read_whole
from tilestudy.study.forms.kinds import SAME
from tilestudy.study.forms.table import Row, Table, csv_text
from tilestudy.study.records import Batch, Factor, Plan, Setting, Study, Tile

Parse = Callable[[str, Factor], Setting]
Series = tuple[str, str, str, str]
"""Instrument, geometry, illuminant and observer: one in a series of readings."""
T = TypeVar("T")
Default = TypeVar("Default")


def shown(column: str) -> str:
    """Return a column's name as the forms write it."""
    return "L" if column == "l" else column


def label(column: str) -> str:
    """Return a column's name as words."""
    return shown(column).replace("_", " ")


@dataclass
class Reader:
    """Reads the rows of one form, gathering faults.

    Attributes
    ----------
    kind, file, study, table, today, date_order, parse, plan, series, protocols, taken
        As for `read_form`.
    wide : tuple of str
        Columns of a values form that are named as responses.
    faults : list of Fault
    header_faulty : bool
        A fault concerns the whole file: no row can be trusted.
    bad : set of int
        Places of the rows that have faults.
    place : int
        The row the reader stands at.
    tiles, batches : dict
        Those of the plan by their codes in lower case; replacement tiles join as they are met.
    """

    kind: str
    file: str
    study: Study
    table: Table
    today: date
    date_order: DateOrder
    parse: Parse
    plan: Plan
    series: Mapping[str, Series] = field(default_factory=dict)
    protocols: Collection[str] | None = None
    taken: Collection[str] = ()
    wide: tuple[str, ...] = ()
    faults: list[Fault] = field(default_factory=list)
    header_faulty: bool = False
    bad: set[int] = field(default_factory=set)
    place: int = 0

    def __post_init__(self) -> None:
        self.tiles = {tile.code.casefold(): tile for tile in self.plan.tiles}
        self.batches = {batch.code.casefold(): batch for batch in self.plan.batches}
        for line, what in self.table.faults:
            self.faults.append(Fault(self.file, line, what))
            if line is None or line == self.table.header_line:
                self.header_faulty = True
            else:
                self.bad |= {place for place, row in enumerate(self.table.rows) if row.line == line}

    # --- faults ------------------------------------------------------------------------------------------------------

    def fault(self, what: str, place: int | None = None) -> None:
        """Note a fault of a row, by default the one the reader stands at."""
        place = self.place if place is None else place
        self.bad.add(place)
        self.faults.append(Fault(self.file, self.table.rows[place].line, what))

    def head(self, what: str, line: bool = True) -> None:
        """Note a fault of the whole file, at the line of the header or at none."""
        self.header_faulty = True
        self.faults.append(Fault(self.file, self.table.header_line if line else None, what))

    def check_header(self, known: Sequence[str], needed: Sequence[str]) -> None:
        """Note the columns that are not known, and those needed that are missing."""
        for name in dict.fromkeys(self.table.names):
            if not name or name in known or (self.kind in ("made", "batches") and name.startswith("planned_")):
                continue
            near = [SAME[name]] if SAME.get(name) in known else difflib.get_close_matches(name, known, n=1)
            factor = name.removeprefix("actual_")
            if factor != name and factor in {one.name for one in self.study.factors}:
                hint = (
                    f"{label(factor)} is set per tile; write it in the made form."
                    if self.kind == "batches"
                    else f"{label(factor)} is set for a whole batch; write it in the batches form, or give it with --batch."
                )
            elif near:
                hint = f'Did you mean "{shown(near[0])}"?'
            else:
                hint = f"Known here: {', '.join(shown(one) for one in known)}."
            self.head(f'the column "{name}" is not known. {hint}')
        for name in needed:
            if name not in self.table.names:
                needs = listing([shown(one) for one in needed])
                self.head(f'the column "{shown(name)}" is missing. Add it; this form needs {needs}.', line=False)

    def sorted_faults(self) -> tuple[Fault, ...]:
        """Return the faults in the order of the lines, those of the whole file first."""
        return tuple(sorted(self.faults, key=lambda fault: fault.line or 0))

    def bad_rows(self) -> str:
        """Return the rows with faults as CSV text with the header; all rows when a fault concerns the whole file."""
        rows = [row.raw for place, row in enumerate(self.table.rows) if self.header_faulty or place in self.bad]
        if not rows and not self.table.broken:
            return ""
        text = csv_text([self.table.header, *rows], self.table.delimiter)
        return text + "".join(f"{line}\n" for line in self.table.broken if line.strip())

    # --- the cells of the row it stands at ---------------------------------------------------------------------------

    @property
    def row(self) -> Row:
        """The row the reader stands at."""
        return self.table.rows[self.place]

    def cell(self, column: str, read: Callable[[str], T], default: Default) -> T | Default:
        """Read a cell; an empty one gives the default, a faulty one is noted and gives the default."""
        text = self.row[column]
        if not text:
            return default
        try:
            return read(text)
        except WrongRequestError as error:
            self.fault(str(error))
        except CellError as error:
            self.fault(f"{label(column)} {error}")
        return default

    def number(self, text: str) -> float:
        """Read a number as this file writes them; raises CellError."""
        return read_number(text, self.table.delimiter)

    def whole(self, lowest: int) -> Callable[[str], int]:
        """Return what reads a whole number not below `lowest`."""
        return lambda text: read_whole(text, self.table.delimiter, lowest)

    def on(self) -> date:
        """Return the row's date; none, or one that cannot be read, is a fault."""
        if not self.row["on"]:
            self.fault(f"there is no date in the column on. Write it like {self.today.isoformat()}.")
        return self.cell("on", lambda text: read_date(text, self.today, self.date_order), self.today)

    def tile(self) -> Tile | None:
        """Return the row's tile; a code not in the plan, or in another batch than the row says, is a fault."""
        text = self.row["tile"]
        if not text:
            self.fault("there is no tile code in this row. Write the code stamped on its back.")
            return None
        tile = self.tiles.get(text.casefold())
        if tile is None:
            codes = [one.code for one in self.tiles.values()]
            self.fault(not_known("tile", text, codes, f"Look at the stamp again; the study has {len(codes)} tiles."))
            return None
        if self.kind != "made" and (batch := self.row["batch"]) and batch.casefold() != tile.batch.casefold():
            self.fault(f"tile {tile.code} belongs to batch {tile.batch}, not {batch}. Correct the tile or the batch.")
        return tile

    def batch(self) -> Batch | None:
        """Return the row's batch; a code not in the plan is a fault."""
        text = self.row["batch"]
        batch = self.batches.get(text.casefold())
        if not text:
            self.fault("there is no batch code in this row. Write it as the plan has it.")
        elif batch is None:
            codes = [one.code for one in self.batches.values()]
            self.fault(not_known("batch", text, codes, f"The study has {listing(codes) if codes else 'none'}."))
        return batch

    def setting(self, column: str, factor: Factor) -> Setting | None:
        """Return how a factor was set, by the unit in the cell, else in the heading, else the factor's own."""
        text = self.row[column]
        unit = self.table.units.get(column, "")
        if unit and re.fullmatch(r"[+-]?[\d.,]+", text):
            text = f"{text} {unit}"
        try:
            check_comma(text, self.table.delimiter)
            value = self.parse(text, factor)
        except (WrongRequestError, CellError) as error:
            self.fault(f"{label(column)}: {error}")
            return None
        if isinstance(value, str):
            return value
        if not math.isfinite(value):
            self.fault(f"{label(column)}: {quoted(text)} is too large a number.")
            return None
        may_be_negative = factor.unit == "degC" or any(
            not isinstance(level, str) and level < 0 for level in factor.levels
        )
        if value < 0 and not may_be_negative:
            self.fault(f"{label(column)}: {quoted(text)} is below zero, which {factor.label} cannot be.")
            return None
        return value

    def actual(self) -> dict[str, Setting]:
        """Return the settings in the row's columns actual_..., by factor."""
        found = {}
        for factor in self.study.factors:
            column = f"actual_{factor.name}"
            if self.row[column] and (value := self.setting(column, factor)) is not None:
                found[factor.name] = value
        return found
