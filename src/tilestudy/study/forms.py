"""The CSV forms: blank ones to fill, filled ones to records, with every fault listed at its line.

Spreadsheets are taken as they come: byte-order mark, commas, semicolons or tabs, decimal commas, trailing blanks,
column names in any case. Leading lines that start with "#" are notes. Lines are numbered as an editor shows them.

Pure: text in, records and faults out. The same checks serve a single entry typed at the command line (`read_entry`).
"""

from __future__ import annotations

import csv
import difflib
import io
import math
import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from tilestudy.errors import Fault, WrongRequestError
from tilestudy.study.dates import DateOrder, read_date, read_moment
from tilestudy.study.records import (
    STAGES,
    Batch,
    BatchLog,
    Factor,
    Made,
    Plan,
    Reading,
    Record,
    Rub,
    Setting,
    Study,
    Tile,
    Value,
)
from tilestudy.study.units import parse_setting, show

Parse = Callable[[str, Factor], Setting]
Show = Callable[[Setting, Factor], str]
Series = tuple[str, str, str, str]

FORM_KINDS = ("tiles", "made", "batches", "colour", "values", "rub")
"""The forms, in the order they are read: tiles first, and made before what is measured on replacement tiles."""

_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "tiles": ("tile", "batch", "session", "order", "reference"),
    "made": ("tile", "batch", "session", "order", "on", "spoiled", "why", "replaced_by", "by", "note"),
    "batches": ("batch", "session", "order", "made_at", "discarded_at", "by", "note"),
    "colour": (
        *("tile", "batch", "stage", "spot", "on", "l", "a", "b"),
        *("instrument", "geometry", "illuminant", "observer", "by"),
    ),
    "values": ("tile", "batch", "response", "on", "value", "repeat", "by"),
    "rub": ("tile", "batch", "scorer", "on", "grade", "condition", "protocol", "strokes", "broke_through"),
}
_NEEDED: Mapping[str, tuple[str, ...]] = {
    "tiles": ("tile", "batch"),
    "made": ("tile", "on"),
    "batches": ("batch",),
    "colour": ("tile", "on", "l", "a", "b"),
    "values": ("tile", "on"),
    "rub": ("tile", "scorer", "on", "grade"),
}
_HANDED_OUT: Mapping[str, tuple[str, ...]] = {  # columns that may be filled before the work is done
    "made": ("tile", "batch", "session", "order"),
    "batches": ("batch", "session", "order", "by"),
}
_MEASURED: Mapping[str, tuple[str, ...]] = {  # columns without which nothing was measured yet
    "colour": ("l", "a", "b"),
    "rub": ("grade", "strokes", "broke_through"),
}
_SAME = {"date": "on", "code": "tile", "bath": "batch", "load": "batch", "score": "grade", "initials": "by"}
_FILE_WORDS = {
    **{kind: kind for kind in FORM_KINDS},
    **{"tile": "tiles", "batch": "batches", "color": "colour", "colours": "colour", "colors": "colour"},
    **{"value": "values", "rubs": "rub"},
}
_YES, _NO = ("yes", "y", "x", "1", "true", "✓", "✔"), ("no", "n", "0", "false", "-", "–")
_LOOKS = str.maketrans("OQDILZSBGU", "0001125860")
_BRACKET = re.compile(r"\s*[(\[]([^)\]]*)[)\]]\s*$")


# --- CSV text to rows ----------------------------------------------------------------------------------------------


def decode(raw: bytes) -> str:
    """Turn the bytes of a CSV file into text: UTF-8, UTF-16 with its mark, or else Windows-1252.

    >>> decode("caf\u00e9".encode("cp1252")), decode("\u00b0C".encode("utf-8-sig"))
    ('café', '°C')
    """
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return raw.decode("utf-16", errors="replace")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace")


@dataclass(frozen=True)
class _Row:
    """One row: its line (None when typed in), its raw cells, and its cells by column."""

    line: int | None
    raw: tuple[str, ...]
    cells: Mapping[str, str]

    def __getitem__(self, column: str) -> str:
        return self.cells.get(column, "")


@dataclass(frozen=True)
class _Table:
    """A CSV table. `names` are the columns, `units` what stood in brackets behind them, `broken` raw unread lines."""

    delimiter: str
    header: tuple[str, ...]
    header_line: int | None
    names: tuple[str, ...]
    units: Mapping[str, str]
    rows: tuple[_Row, ...]
    faults: tuple[tuple[int | None, str], ...] = ()
    broken: tuple[str, ...] = ()


def _name(heading: str) -> tuple[str, str]:
    """Return a heading as a column name, and the unit in brackets behind it."""
    found = _BRACKET.search(heading)
    bare = heading[: found.start()] if found and found.start() else heading
    name = re.sub(r"[\s\-_]+", "_", bare.strip().casefold()).strip("_")
    name = name.removesuffix("*") if name in ("l*", "a*", "b*") else name
    return name, found[1].strip() if found and found.start() else ""


def _header_line(lines: Sequence[str]) -> int | None:
    """Return the place of the header: the first line with content that is no note."""
    for place, line in enumerate(lines):
        content = line.strip(" \t\r,;\"'")
        if content and not content.startswith("#"):
            return place
    return None


def _delimiter(header: str) -> str:
    outside = re.sub(r'"[^"]*"', "", header)
    return max("\t;,", key=lambda mark: (outside.count(mark), mark == ","))


def _lines(text: str) -> list[str]:
    return text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n")


def header_of(text: str) -> tuple[str, ...]:
    """Return the column names of a CSV text as the forms know them.

    >>> header_of("# a note\\nTile;Dip Time (s);\\n")
    ('tile', 'dip_time', '')
    """
    lines = _lines(text)
    place = _header_line(lines)
    if place is None:
        return ()
    return tuple(_name(cell)[0] for cell in lines[place].replace('"', "").split(_delimiter(lines[place])))


def _table(text: str) -> _Table:
    lines = _lines(text)
    place = _header_line(lines)
    if place is None:
        return _Table(",", (), None, (), {}, (), ((None, "the file is empty. Fill it in, or take it away."),))
    delimiter = _delimiter(lines[place])
    faults: list[tuple[int | None, str]] = []
    broken: list[str] = []
    read: list[tuple[int, tuple[str, ...]]] = []
    start = place
    reader = csv.reader((line + "\n" for line in lines[place:]), delimiter=delimiter, strict=True)
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            break
        except csv.Error:
            faults.append(
                (
                    start + 1,
                    "a quotation mark is opened here and not closed, so nothing below can be read. Close it, or take "
                    "it away.",
                )
            )
            broken = lines[start:]
            break
        read.append((start + 1, tuple(" ".join(cell.replace("\xa0", " ").split()) for cell in cells)))
        start = place + reader.line_num
    if not read:
        return _Table(delimiter, (), place + 1, (), {}, (), tuple(faults), tuple(broken))
    (header_line, header), body = read[0], read[1:]
    named = [_name(heading) for heading in header]
    names = tuple(name for name, _ in named)
    for twice in sorted({name for name in names if name and names.count(name) > 1}):
        faults.append((header_line, f'the column "{twice}" is there twice. Keep one of them.'))
    rows: list[_Row] = []
    for line, raw in body:
        if not any(raw):
            continue
        beside = [
            cell for place, cell in enumerate(raw) if cell and (place >= len(names) or not names[place])
        ]  # content under no heading
        if beside:
            faults.append(
                (line, f'"{beside[0]}" stands in a column without a name. Give the column a name, or move it.')
            )
        rows.append(_Row(line, raw, {name: cell for name, cell in zip(names, raw, strict=False) if name}))
    units = {name: unit for name, unit in named if unit}
    return _Table(delimiter, header, header_line, names, units, tuple(rows), tuple(faults), tuple(broken))


def _csv_text(rows: Iterable[Sequence[str]], delimiter: str = ",") -> str:
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="\n").writerows(rows)
    return out.getvalue()


# --- cells to values -----------------------------------------------------------------------------------------------


class _CellError(Exception):
    """What is wrong with a cell, in words."""


def _quoted(text: str) -> str:
    return f'"{text}"'


def _and(parts: Sequence[str], word: str = "and") -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} {word} {parts[-1]}"


def nearest_codes(code: str, known: Iterable[str]) -> tuple[str, ...]:
    """Return the known codes that a wrong one may stand for: look-alike characters first, then the nearest spelling.

    >>> nearest_codes("K0", ["KO", "K7", "A3"]), nearest_codes("A 3", ["A3", "C4"])
    (('KO',), ('A3',))
    """
    codes = list(dict.fromkeys(known))

    def look(text: str) -> str:
        return re.sub(r"[\W_]", "", text).upper().translate(_LOOKS)

    alike = [one for one in codes if look(one) == look(code)]
    if alike:
        return tuple(alike[:3])
    by_case = {one.casefold(): one for one in codes}
    scored = [
        (difflib.SequenceMatcher(None, code.casefold(), folded).ratio(), one)
        for folded, one in list(by_case.items())[:5000]
    ]
    best = max((score for score, _ in scored), default=0.0)
    return tuple(one for score, one in scored if score == best and score >= 0.5)[:3]


def _unknown(what: str, text: str, known: Collection[str], otherwise: str) -> str:
    near = nearest_codes(text, known)
    if near:
        return f"{what} {_quoted(text)} is not known. Did you mean {_and(near, 'or')}?"
    return f"{what} {_quoted(text)} is not known. {otherwise}"


def _check_comma(text: str, delimiter: str) -> None:
    """Refuse 1,234 in a file that separates by commas: there it could be either number."""
    found = re.match(r"[+-]?[1-9]\d{0,2},\d{3}(?!\d)", text.replace(" ", ""))
    if found and delimiter == ",":
        raise _CellError(
            f"{_quoted(text)} could be {found[0].replace(',', '.')} or {found[0].replace(',', '')}. "
            "Write it without the comma."
        )


def _number(text: str, delimiter: str, example: str = "12.5") -> float:
    _check_comma(text, delimiter)
    plain = text.replace("\N{MINUS SIGN}", "-").replace(" ", "").replace("\u202f", "").replace("'", "")
    if "," in plain and "." in plain:
        thousands = "," if plain.rindex(",") < plain.rindex(".") else "."
        plain = plain.replace(thousands, "")
    plain = plain.replace(",", ".")
    if not re.fullmatch(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?", plain):
        raise _CellError(f"{_quoted(text)} is not a number. Write it like {example}.")
    value = float(plain)
    if not math.isfinite(value):
        raise _CellError(f"{_quoted(text)} is too large a number.")
    return value


def _whole(text: str, delimiter: str, lowest: int) -> int:
    value = _number(text, delimiter, str(max(lowest, 1)))
    if value != int(value):
        raise _CellError(f"{_quoted(text)} is not a whole number. Write it like {max(lowest, 1)}.")
    if value < lowest:
        raise _CellError(f"{_quoted(text)} is too small: it should be {lowest} or more.")
    if value > 1_000_000:
        raise _CellError(f"{_quoted(text)} is too large: it should be below a million.")
    return int(value)


def _yes(text: str) -> bool | None:
    word = text.casefold()
    if not word:
        return None
    if word in _YES:
        return True
    if word in _NO:
        return False
    raise _CellError(f"{_quoted(text)} is neither yes nor no. Write yes or no, or leave it empty.")


def read_grade(text: str) -> float:
    """Read a rub grade: 1 to 5 in half steps; "4-5" is 4.5, as the half grades of the staining scale are written.

    Raises WrongRequestError that says what to write.

    >>> read_grade("4-5"), read_grade("3,5")
    (4.5, 3.5)
    """
    plain = text.strip().replace("–", "-").replace("/", "-").replace(" ", "").replace(",", ".")
    pair = re.fullmatch(r"([1-5])-([1-5])", plain)
    if pair and int(pair[2]) - int(pair[1]) == 1:
        return int(pair[1]) + 0.5
    if re.fullmatch(r"(?i)\d{1,2}-[a-z]{3}(-\d+)?|[a-z]{3}-?\d{1,2}|\d{4}-\d\d-\d\d.*", plain):
        raise WrongRequestError(
            f'grade "{text}" has become a date in the spreadsheet. For the grade between 4 and 5 write 4.5.'
        )
    if not re.fullmatch(r"[+-]?[0-9]{1,6}(?:\.[0-9]{0,6})?", plain):
        raise WrongRequestError(
            f'grade "{text}" is not a number. Write 1 to 5 in half steps, such as 4 or 4.5 ("4-5" is read as 4.5).'
        )
    grade = float(plain)
    if not 1 <= grade <= 5:
        raise WrongRequestError(
            f"grade {text} is outside the scale, which runs from 1 (heavy stain) to 5 (no stain). Look at the cloth "
            "again, or check the typing."
        )
    if grade * 2 != int(grade * 2):
        below = math.floor(grade * 2) / 2
        raise WrongRequestError(f"grade {text} is not a half step. Write {below:g} or {below + 0.5:g}.")
    return grade


def scorer_mark(text: str) -> str:
    """Return a scorer's initials or mark in capitals, so that kl and KL are one person.

    Raises WrongRequestError when there is none or it is longer than 12 characters.

    >>> scorer_mark(" kl ")
    'KL'
    """
    mark = " ".join(text.split()).upper()
    if not mark:
        raise WrongRequestError("there is no scorer. Write the initials or mark of whoever graded the cloth.")
    if len(mark) > 12:
        raise WrongRequestError(
            f'scorer "{text.strip()}" is longer than 12 characters. Write initials or a mark, not a name.'
        )
    return mark


# --- reading -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class FormReading:
    """What a form said.

    Attributes
    ----------
    kind, file : str
    records : tuple of (record, line)
        The rows without fault; none when a fault concerns the whole file (a missing or unknown column).
    faults : tuple of Fault
        All of them, in the order of the lines.
    blank_rows : int
        Rows handed out but not filled in yet.
    bad_rows : str
        CSV text of the rows that have faults, with the header: to be written to a file, mended and read again. Empty
        when there are none.
    """

    kind: str
    file: str
    records: tuple[tuple[Record, int | None], ...]
    faults: tuple[Fault, ...]
    blank_rows: int = 0
    bad_rows: str = ""


@dataclass(frozen=True)
class TilesReading:
    """What a list of existing tiles said: the plan, or None when there are faults."""

    plan: Plan | None
    faults: tuple[Fault, ...]


@dataclass
class _Reader:
    """Reads the rows of one form, gathering faults."""

    kind: str
    file: str
    study: Study
    table: _Table
    today: date
    order: DateOrder
    parse: Parse
    plan: Plan
    series: Series | None = None
    taken: Collection[str] = ()
    faults: list[Fault] = field(default_factory=list)
    header_faults: int = 0
    bad: set[int] = field(default_factory=set)
    place: int = 0

    def __post_init__(self) -> None:
        self.tiles = {tile.code.casefold(): tile for tile in self.plan.tiles}
        self.batches = {batch.code.casefold(): batch for batch in self.plan.batches}
        for line, what in self.table.faults:
            self.faults.append(Fault(self.file, line, what))
            self.header_faults += line is None or line == self.table.header_line
            self.bad |= {place for place, row in enumerate(self.table.rows) if line is not None and row.line == line}

    @property
    def row(self) -> _Row:
        return self.table.rows[self.place]

    def fault(self, what: str, place: int | None = None) -> None:
        place = self.place if place is None else place
        self.bad.add(place)
        self.faults.append(Fault(self.file, self.table.rows[place].line, what))

    def head(self, what: str, line: bool = True) -> None:
        self.header_faults += 1
        self.faults.append(Fault(self.file, self.table.header_line if line else None, what))

    def cell(self, column: str, read: Callable[[str], Any], default: Any = None) -> Any:
        """Read a cell; an empty one gives the default, a faulty one is noted and gives the default."""
        text = self.row[column]
        if not text:
            return default
        try:
            return read(text)
        except WrongRequestError as error:
            self.fault(str(error))
        except _CellError as error:
            self.fault(f"{_label(column)} {error}")
        return default

    def number(self, text: str) -> float:
        return _number(text, self.table.delimiter)

    def whole(self, lowest: int) -> Callable[[str], int]:
        return lambda text: _whole(text, self.table.delimiter, lowest)

    def on(self) -> date:
        if not self.row["on"]:
            self.fault(f"there is no date in the column on. Write it like {self.today.isoformat()}.")
        day: date = self.cell("on", lambda text: read_date(text, self.today, self.order), self.today)
        return day

    def tile(self) -> Tile | None:
        """Return the row's tile; a code not in the plan, or in another batch than the row says, is a fault."""
        text = self.row["tile"]
        if not text:
            self.fault("there is no tile code in this row. Write the code stamped on its back.")
            return None
        tile = self.tiles.get(text.casefold())
        if tile is None:
            codes = [one.code for one in self.tiles.values()]
            self.fault(_unknown("tile", text, codes, f"Look at the stamp again; the study has {len(codes)} tiles."))
            return None
        if self.kind != "made" and (batch := self.row["batch"]) and batch.casefold() != tile.batch.casefold():
            self.fault(f"tile {tile.code} belongs to batch {tile.batch}, not {batch}. Correct the tile or the batch.")
        return tile

    def batch(self) -> Batch | None:
        text = self.row["batch"]
        batch = self.batches.get(text.casefold())
        if not text:
            self.fault("there is no batch code in this row. Write it as the plan has it.")
        elif batch is None:
            codes = [one.code for one in self.batches.values()]
            self.fault(_unknown("batch", text, codes, f"The study has {_and(codes) if codes else 'none'}."))
        return batch

    def setting(self, column: str, factor: Factor) -> Setting | None:
        text = self.row[column]
        unit = self.table.units.get(column, "")
        if unit and re.fullmatch(r"[+-]?[\d.,]+", text):
            text = f"{text} {unit}"
        try:
            _check_comma(text, self.table.delimiter)
            value = self.parse(text, factor)
        except (WrongRequestError, _CellError) as error:
            self.fault(f"{_label(column)}: {error}")
            return None
        if isinstance(value, str):
            return value
        if not math.isfinite(value):
            self.fault(f"{_label(column)}: {_quoted(text)} is too large a number.")
            return None
        if (
            value < 0
            and factor.unit != "degC"
            and not any(not isinstance(level, str) and level < 0 for level in factor.levels)
        ):
            self.fault(f"{_label(column)}: {_quoted(text)} is below zero, which {factor.label} cannot be.")
            return None
        return value

    def actual(self) -> dict[str, Setting]:
        found = {}
        for factor in self.study.factors:
            column = f"actual_{factor.name}"
            if self.row[column] and (value := self.setting(column, factor)) is not None:
                found[factor.name] = value
        return found

    def check_header(self, known: Sequence[str], needed: Sequence[str]) -> None:
        for name in dict.fromkeys(self.table.names):
            if not name or name in known or (self.kind in ("made", "batches") and name.startswith("planned_")):
                continue
            near = [_SAME[name]] if _SAME.get(name) in known else difflib.get_close_matches(name, known, n=1)
            if name.startswith("actual_") and name[7:] in {factor.name for factor in self.study.factors}:
                hint = f"{_label(name[7:])} is set per tile; write it in the made form."
            elif near:
                hint = f'Did you mean "{_shown(near[0])}"?'
            else:
                hint = f"Known here: {', '.join(_shown(one) for one in known)}."
            self.head(f'the column "{name}" is not known. {hint}')
        for name in needed:
            if name not in self.table.names:
                self.head(
                    f'the column "{_shown(name)}" is missing. Add it; this form needs '
                    f"{_and([_shown(one) for one in needed])}.",
                    line=False,
                )

    def bad_rows(self) -> str:
        rows = [row.raw for place, row in enumerate(self.table.rows) if place in self.bad or self.header_faults > 0]
        if not rows and not self.table.broken:
            return ""
        text = _csv_text([self.table.header, *rows], self.table.delimiter)
        return text + "".join(f"{line}\n" for line in self.table.broken if line.strip())


def _label(column: str) -> str:
    return _shown(column).replace("_", " ")


def _shown(column: str) -> str:
    return "L" if column == "l" else column


def _known_columns(kind: str, study: Study) -> tuple[str, ...]:
    names = _COLUMNS[kind]
    if kind == "tiles":
        return (*names, *(factor.name for factor in study.factors))
    if kind == "made":
        return (*names, *(f"actual_{factor.name}" for factor in study.factors))
    if kind == "batches":
        return (*names, *(f"actual_{factor.name}" for factor in study.factors if factor.set_per != "tile"))
    if kind == "values":
        return (*names, *(response.name for response in study.responses))
    return names


def read_form(
    kind: str,
    text: str,
    file: str,
    study: Study,
    plan: Plan,
    today: date,
    date_order: DateOrder = None,
    *,
    parse: Parse = parse_setting,
    series: Series | None = None,
    protocols: Collection[str] | None = None,
    taken: Collection[str] = (),
) -> FormReading:
    """Read a filled form.

    Parameters
    ----------
    kind : str
        "made", "batches", "colour", "values" or "rub" (a list of existing tiles is read by `read_tiles`).
    text, file : str
        The CSV text, and its name for messages.
    study : Study
    plan : Plan
        The tiles and batches that hold now, replacement tiles among them.
    today : date
        Later dates are faults.
    date_order : "day first", "month first" or None
    parse : callable
        Reads one setting of a factor; raises UnitError.
    series : (instrument, geometry, illuminant, observer), optional
        Viewing conditions of the study's other readings: a second set is a fault.
    protocols : collection of str, optional
        Known rub protocols; None takes any.
    taken : collection of str
        Tile codes used in the studio, which no replacement tile may have.

    Raises
    ------
    WrongRequestError
        When there is no form of that kind.
    """
    if kind not in _NEEDED or kind == "tiles":
        raise WrongRequestError(f'There is no form "{kind}". Forms: {", ".join(FORM_KINDS)}.')
    reader = _Reader(kind, file, study, _table(text), today, date_order, parse, plan, series, taken)
    return _read(reader, protocols)


def read_entry(
    kind: str,
    cells: Mapping[str, str],
    study: Study,
    plan: Plan,
    today: date,
    date_order: DateOrder = None,
    *,
    place: str = "command line",
    parse: Parse = parse_setting,
    series: Series | None = None,
    protocols: Collection[str] | None = None,
    taken: Collection[str] = (),
) -> FormReading:
    """Read one entry typed in, by the same rules as a form; `cells` maps column names to what was typed.

    Empty cells may be left out. Faults have no line. Other parameters as for `read_form`.
    """
    if kind not in _NEEDED or kind == "tiles":
        raise WrongRequestError(f'There is no form "{kind}". Forms: {", ".join(FORM_KINDS)}.')
    named = {_name(column)[0]: " ".join(str(cell).split()) for column, cell in cells.items()}
    for needed in _NEEDED[kind]:
        named.setdefault(needed, "")
    row = _Row(None, tuple(named.values()), named)
    table = _Table(";", tuple(named), None, tuple(named), {}, (row,))
    reader = _Reader(kind, place, study, table, today, date_order, parse, plan, series, taken)
    return _read(reader, protocols, typed=True)


def _read(reader: _Reader, protocols: Collection[str] | None, typed: bool = False) -> FormReading:
    kind, table = reader.kind, reader.table
    known = _known_columns(kind, reader.study)
    if table.header:
        reader.check_header(known, _NEEDED[kind])
    wide: tuple[str, ...] = ()
    if kind == "values":
        wide = _wide(reader)
    elif kind == "rub" and reader.study.rub is None and "protocol" not in table.names:
        reader.head("the study asks for no rub test. Add [rub] with a protocol to the study file first.", line=False)
    elif kind == "colour":
        reader.series = _series(reader)
    elif kind == "made":
        _meet_replacements(reader)
    read: Callable[[_Reader], Iterable[Record | None]] = {
        "made": _made,
        "batches": _batch_log,
        "colour": _reading,
        "values": lambda one: _values(one, wide),
        "rub": lambda one: _rub(one, protocols),
    }[kind]
    found: list[tuple[int, Record]] = []
    blank = 0
    for place, row in enumerate(table.rows):
        reader.place = place
        if not typed and _is_blank(kind, row, wide):
            blank += 1
            _check_blank(reader)
            continue
        found += [(place, record) for record in read(reader) if record is not None]
    _check_doubles(reader, found)
    reader.faults.sort(key=lambda fault: fault.line or 0)
    good = [(record, table.rows[place].line) for place, record in found if place not in reader.bad]
    return FormReading(
        kind,
        reader.file,
        () if reader.header_faults else tuple(good),
        tuple(reader.faults),
        blank,
        "" if typed else reader.bad_rows(),
    )


def _is_blank(kind: str, row: _Row, wide: Sequence[str]) -> bool:
    if kind in _HANDED_OUT:
        handed_out = _HANDED_OUT[kind]
        return not any(
            cell for name, cell in row.cells.items() if name not in handed_out and not name.startswith("planned_")
        )
    columns = _MEASURED.get(kind, ("value", *wide))
    return not any(row[column] for column in columns)


def _check_blank(reader: _Reader) -> None:
    """A row handed out but not filled still has to name a tile or batch of the study."""
    column = "batch" if reader.kind == "batches" else "tile"
    if reader.row[column]:
        reader.batch() if reader.kind == "batches" else reader.tile()


def _check_doubles(reader: _Reader, found: Sequence[tuple[int, Record]]) -> None:
    first: dict[tuple[str, ...], int] = {}
    for place, record in found:
        if place == first.setdefault(record.key, place):
            continue
        what = {
            "made": "tile {0}",
            "batches": "batch {0}",
            "colour": "tile {0}, stage {1}, spot {2}",
            "values": "tile {0}, {1}, repeat {2}",
            "rub": "tile {0}, {2}, scorer {3}",
        }[reader.kind].format(*record.key)
        other = reader.table.rows[first[record.key]].line
        more = {
            "colour": ", or number the spots in the column spot",
            "values": ", or number the repeats in the column repeat",
        }.get(reader.kind, "")
        reader.fault(f"{what} is already on line {other}. Keep one of the two rows{more}.", place)
        reader.bad.add(first[record.key])


def _meet_replacements(reader: _Reader) -> None:
    """Let the rows of a made form name the replacement tiles that other rows of it introduce."""
    for row in reader.table.rows:
        code, spoiled = row["replaced_by"], reader.tiles.get(row["tile"].casefold())
        if code and spoiled is not None and code.casefold() not in reader.tiles:
            reader.tiles[code.casefold()] = Tile(
                code, spoiled.batch, spoiled.session, spoiled.order, spoiled.settings, replaces=spoiled.code
            )


def _made(reader: _Reader) -> Iterable[Record | None]:
    row, tile = reader.row, reader.tile()
    spoiled = bool(reader.cell("spoiled", _yes, False))
    replaced_by = row["replaced_by"]
    on, actual = reader.on(), reader.actual()
    batch = ""
    if row["batch"] and (found := reader.batch()) is not None and tile is not None and found.code != tile.batch:
        batch = found.code
    for column in ("why", "replaced_by"):
        if row[column] and not spoiled:
            reader.fault(
                f"{_label(column)} is filled in, but the tile is not marked as spoiled. Write yes in the column "
                f"spoiled, or empty the column {column}."
            )
    if tile is None:
        return ()
    if replaced_by:
        new = reader.tiles.get(replaced_by.casefold())
        if replaced_by.casefold() == tile.code.casefold():
            reader.fault(f"tile {tile.code} cannot replace itself. Write the code of the new tile.")
        elif new is not None and new.replaces.casefold() != tile.code.casefold():
            role = f"stands in for {new.replaces}" if new.replaces else "is a planned tile itself"
            reader.fault(f"tile {new.code} cannot replace {tile.code}: it {role}. Take a code not yet used.")
        elif replaced_by.casefold() not in {one.code.casefold() for one in reader.plan.tiles} and (
            replaced_by.casefold() in {code.casefold() for code in reader.taken}
        ):
            reader.fault(f"tile code {replaced_by} is already used in the studio. Take a code not yet used.")
        replaced_by = replaced_by if new is None else new.code
    return (Made(tile.code, on, batch, actual, spoiled, row["why"], replaced_by, row["by"], row["note"]),)


def _batch_log(reader: _Reader) -> Iterable[Record | None]:
    row, batch = reader.row, reader.batch()
    made_at = reader.cell("made_at", lambda text: read_moment(text, reader.today, reader.order))
    day = None if made_at is None else made_at.date()
    discarded_at = reader.cell("discarded_at", lambda text: read_moment(text, reader.today, reader.order, day))
    actual = reader.actual()
    if made_at is not None and discarded_at is not None and discarded_at < made_at:
        reader.fault(
            f"discarded at {discarded_at:%Y-%m-%d %H:%M} is before made at {made_at:%Y-%m-%d %H:%M}. Correct one of them."
        )
    if batch is None:
        return ()
    return (BatchLog(batch.code, made_at, discarded_at, actual, row["by"], row["note"]),)


_SERIES = ("instrument", "geometry", "illuminant", "observer")


def _condition(column: str, text: str) -> str:
    if column == "observer":
        return re.sub(r"\s*(?:°|deg(?:rees?)?|º)$", "", text.casefold())
    return text.upper() if column == "illuminant" else text


def _series(reader: _Reader) -> Series:
    """Return the viewing conditions of the file: those known, else the first ones stated in it, else D65 and 10°."""
    found = []
    for place, (column, otherwise) in enumerate(zip(_SERIES, ("", "", "D65", "10"), strict=True)):
        stated = [_condition(column, row[column]) for row in reader.table.rows if row[column]]
        found.append(reader.series[place] if reader.series else stated[0] if stated else otherwise)
    return (found[0], found[1], found[2], found[3])


def _reading(reader: _Reader) -> Iterable[Record | None]:
    row, tile = reader.row, reader.tile()
    stage = row["stage"].casefold() or reader.study.stage
    if stage not in STAGES:
        reader.fault(f"stage {_quoted(row['stage'])} is not known. Write one of {_and(STAGES, 'or')}.")
    on = reader.on()
    spot = reader.cell("spot", reader.whole(1), 1)
    lab: list[float] = []
    for column, low, high in (("l", 0.0, 100.0), ("a", -150.0, 150.0), ("b", -150.0, 150.0)):
        if not row[column]:
            reader.fault(f"{_shown(column)} is empty. A reading needs L, a and b.")
            continue
        value = reader.cell(column, reader.number)
        slack = 1.0 if column == "l" else 0.0  # instruments overshoot a little at white and black
        if value is not None and not low - slack <= value <= high + slack:
            reader.fault(
                f"{_shown(column)} {row[column]} is out of range: {_shown(column)}* runs from {low:g} to {high:g}. "
                "Check the typing, and that the columns are not swapped."
            )
        elif value is not None:
            lab.append(value)
    known = reader.series or ("", "", "D65", "10")
    for column, wanted in zip(_SERIES, known, strict=True):
        stated = _condition(column, row[column]) or wanted
        if stated.casefold() != wanted.casefold():
            reader.fault(
                f"{column} {_quoted(row[column])} differs from {_quoted(wanted) if wanted else 'none stated'}, as the other "
                "readings of this study have it. Readings of different instruments or viewing conditions are not comparable "
                "and are never mixed. Correct it, or enter these readings in a study of their own."
            )
    if tile is None or len(lab) < 3 or stage not in STAGES:
        return ()
    return (Reading(tile.code, stage, on, lab[0], lab[1], lab[2], spot, *known, by=row["by"]),)


def _wide(reader: _Reader) -> tuple[str, ...]:
    """Return the columns named as responses; faults for a form that is neither long nor wide, or both."""
    names, responses = reader.table.names, reader.study.responses
    wide = tuple(response.name for response in responses if response.name in names)
    if not reader.table.header:
        return wide
    if not responses:
        reader.head("the study declares no response. Add [[response]] with a name to the study file first.", line=False)
    elif wide and ("value" in names or "response" in names):
        reader.head(
            f'there are both the column "{wide[0]}" and the columns value or response. Keep one way: a column for each '
            "response, or the columns response and value."
        )
    elif not wide and "value" not in names:
        either = _and([response.name for response in responses], "or")
        reader.head(f"there is no column with values. Add the column value, or a column {either}.", line=False)
    elif not wide and "response" not in names and len(responses) > 1:
        listed = _and([response.name for response in responses])
        reader.head(
            f'the column "response" is missing, and the study has several responses: {listed}. Add it.', line=False
        )
    for response in responses:
        unit = reader.table.units.get(response.name) or (
            reader.table.units.get("value") if len(responses) == 1 else None
        )
        if unit and response.unit and unit.casefold() != response.unit.casefold():
            reader.head(
                f"{response.label} is given in {unit}, but the study keeps it in {response.unit}. Turn the numbers into "
                f"{response.unit}."
            )
    return wide


def _values(reader: _Reader, wide: Sequence[str]) -> Iterable[Record | None]:
    row, tile, on = reader.row, reader.tile(), reader.on()
    repeat = reader.cell("repeat", reader.whole(1), 1)
    declared = {response.name: response.name for response in reader.study.responses}
    if wide:
        numbers = {name: reader.cell(name, reader.number) for name in wide}
    else:
        written = row["response"]
        name = re.sub(r"[\s-]+", "_", written.casefold())
        if not written and len(declared) == 1:
            name = next(iter(declared))
        if name not in declared:
            if written:
                listed = _and(list(declared)) if declared else "none"
                reader.fault(_unknown("response", written, list(declared), f"The study has {listed}."))
            elif declared:
                reader.fault(f"there is no response in this row. Write {_and(list(declared), 'or')}.")
            return ()
        numbers = {name: reader.cell("value", reader.number)}
        if not row["value"]:
            reader.fault("there is no value in this row. Write the number measured.")
    if tile is None:
        return ()
    return [
        Value(tile.code, name, on, number, repeat, row["by"]) for name, number in numbers.items() if number is not None
    ]


def _rub(reader: _Reader, protocols: Collection[str] | None) -> Iterable[Record | None]:
    row, tile, rub = reader.row, reader.tile(), reader.study.rub
    scorer = ""
    try:
        scorer = scorer_mark(row["scorer"])
    except WrongRequestError as error:
        reader.fault(str(error))
    on = reader.on()
    if not row["grade"]:
        reader.fault("there is no grade. Write 1 to 5 in half steps.")
    grade = reader.cell("grade", read_grade)
    conditions = ("dry", "wet") if rub is None else rub.conditions
    condition = row["condition"].casefold() or (conditions[0] if len(conditions) == 1 else "")
    if condition not in ("dry", "wet"):
        written = f"condition {_quoted(row['condition'])} is not known" if row["condition"] else "there is no condition"
        reader.fault(f"{written}. Write dry or wet.")
    elif condition not in conditions:
        reader.fault(
            f"the study asks for {_and(conditions)} rubs only, not for {condition} ones. Correct it, or add "
            f'"{condition}" to conditions under [rub] in the study file.'
        )
    protocol = row["protocol"] or ("" if rub is None else rub.protocol)
    if not protocol:
        reader.fault("there is no protocol. Write which rub test was done.")
    elif protocols is not None and protocol not in protocols and (rub is None or protocol != rub.protocol):
        reader.fault(_unknown("protocol", protocol, protocols, f"Known: {', '.join(protocols)}."))
    strokes = reader.cell("strokes", reader.whole(0))
    broke = reader.cell("broke_through", _yes)
    if broke and strokes is None and not row["strokes"]:
        reader.fault("broke through is yes, but there are no strokes. Write at which stroke bare metal first showed.")
    if tile is None or grade is None:
        return ()
    return (Rub(tile.code, scorer, on, grade, condition, protocol, strokes, broke),)


# --- a list of existing tiles --------------------------------------------------------------------------------------


def read_tiles(text: str, file: str, study: Study, *, parse: Parse = parse_setting) -> TilesReading:
    """Read a list of tiles that exist already (an old sample board, a published experiment).

    Parameters
    ----------
    text, file : str
        CSV with the columns tile, batch, one for each factor, and if wanted session, order, reference.
    study : Study
    parse : callable
        Reads one setting of a factor; raises UnitError.
    """
    empty = Plan(study.name, 0, (), ())
    reader = _Reader("tiles", file, study, _table(text), date.max, None, parse, empty)
    table = reader.table
    if table.header:
        factors = tuple(factor.name for factor in study.factors)
        reader.check_header(_known_columns("tiles", study), (*_NEEDED["tiles"], *factors))
        if not table.rows:
            reader.head("there are no tiles in this file. Write one row for each tile.", line=False)
    sessions = _sessions(reader)
    named = {number: row["session"] for row in table.rows if (number := sessions.get(row["session"].casefold()))}
    batches: dict[str, Batch] = {}
    raw: dict[str, list[tuple[str, int, dict[str, Setting]]]] = {}
    tiles: list[Tile] = []
    lines: dict[str, int | None] = {}
    for place, row in enumerate(table.rows):
        reader.place = place
        code, batch_code = row["tile"], row["batch"]
        for name, cell in (("tile", code), ("batch", batch_code)):
            if name in table.names and not cell:
                reader.fault(f"there is no {name} code in this row. Each tile needs one.")
        if code and code.casefold() in lines:
            reader.fault(f"tile {code} is already on line {lines[code.casefold()]}. Give each tile a code of its own.")
        lines.setdefault(code.casefold(), row.line)
        settings: dict[str, Setting] = {}
        for factor in study.factors:
            if factor.name not in table.names:
                continue
            if not row[factor.name]:
                reader.fault(f"{factor.label} is empty. Write how it was set for this tile.")
            elif (value := reader.setting(factor.name, factor)) is not None:
                settings[factor.name] = value
        session = sessions.get(row["session"].casefold(), 1)
        batch = batches.get(batch_code.casefold())
        if batch is None:
            upper = {
                factor.name: settings[factor.name]
                for factor in study.factors
                if factor.set_per != "tile" and factor.name in settings
            }
            batch = Batch(batch_code, session, len(batches) + 1, upper)
            batches[batch_code.casefold()] = batch
        elif batch.session != session and batch_code:
            reader.fault(
                f"batch {batch.code} is in session {named.get(batch.session, batch.session)} and here in session "
                f"{row['session']}. A batch belongs to one session; correct it, or give the second batch its own code."
            )
        here = raw.setdefault(batch.code.casefold(), [])
        here.append((code, place, settings))
        order = reader.cell("order", reader.whole(1), len(here))
        reference = bool(reader.cell("reference", _yes, False))
        tiles.append(Tile(code, batch.code, batch.session, order, settings, reference))
    _check_shared(reader, raw, {key: batch.session for key, batch in batches.items()})
    reader.faults.sort(key=lambda fault: fault.line or 0)
    if reader.faults:
        return TilesReading(None, tuple(reader.faults))
    places = {batch.code: batch.order for batch in batches.values()}
    tiles.sort(key=lambda tile: (tile.session, places[tile.batch], tile.order))
    ordered = sorted(batches.values(), key=lambda batch: (batch.session, batch.order))
    return TilesReading(Plan(study.name, 0, tuple(ordered), tuple(tiles), taken_in=True), ())


def _sessions(reader: _Reader) -> dict[str, int]:
    """Number the sessions: as written when all are whole numbers, else in order of appearance."""
    table = reader.table
    if "session" not in table.names:
        return {}
    written = [row["session"] for row in table.rows]
    for place, cell in enumerate(written):
        if not cell:
            reader.fault("there is no session in this row, though the file has that column.", place)
    names = list(dict.fromkeys(cell.casefold() for cell in written if cell))
    if all(re.fullmatch(r"[1-9][0-9]{0,4}", name) for name in names):
        return {name: int(name) for name in names}
    return {name: number for number, name in enumerate(names, start=1)}


def _check_shared(
    reader: _Reader,
    batches: Mapping[str, Sequence[tuple[str, int, Mapping[str, Setting]]]],
    session_of: Mapping[str, int],
) -> None:
    """A factor set per batch is one setting within a batch, one set per session within a session."""
    sessions: dict[str, list[tuple[str, int, Mapping[str, Setting]]]] = {}
    for key, tiles in batches.items():
        sessions.setdefault(str(session_of[key]), []).extend(tiles)
    for where, groups in (("batch", batches), ("session", sessions)):
        for factor in reader.study.factors:
            if factor.set_per != where:
                continue
            for key, tiles in groups.items():
                found: dict[Setting, list[tuple[str, int]]] = {}
                for code, place, settings in tiles:
                    if factor.name in settings:
                        found.setdefault(settings[factor.name], []).append((code, place))
                if len(found) < 2 or not key:
                    continue
                name = reader.table.rows[tiles[0][1]]["batch"] if where == "batch" else key
                listed = [
                    f"{show(value, factor)} (tile{'s' if len(codes) > 1 else ''} {', '.join(code for code, _ in codes)})"
                    for value, codes in found.items()
                ]
                reader.fault(
                    f"{factor.label} is set per {where}, but {where} {name} has {_and(listed)}. Correct the setting, "
                    f"or give what was made apart a {where} of its own.",
                    list(found.values())[1][0][1],
                )


# --- blank forms, and which form a file is -------------------------------------------------------------------------


def write_form(kind: str, study: Study, plan: Plan, show: Show = show, *, scorer: str = "", spots: int = 1) -> str:
    """Return a blank form as CSV text: a row for each tile (or batch) in run order.

    Parameters
    ----------
    kind : str
        "made", "batches", "colour", "values" or "rub".
    study : Study
    plan : Plan
        Leave out of it the tiles that need no row (spoiled ones).
    show : callable
        Writes a setting with its unit.
    scorer : str
        Filled into a rub form for one scorer.
    spots : int
        Rows for each tile of a colour form.

    Examples
    --------
    >>> from tilestudy.study.records import Batch, Factor, Plan, Study, Tile
    >>> study = Study("s", "", "other", (Factor("dip", (5.0, 9.0), "s", "s"),))
    >>> plan = Plan("s", 1, (Batch("B1", 1, 1),), (Tile("A3", "B1", 1, 1, {"dip": 5.0}),))
    >>> print(write_form("made", study, plan), end="")
    tile,batch,session,order,planned_dip,on,actual_dip,spoiled,why,replaced_by,by,note
    A3,B1,1,1,5 s,,,,,,,
    """
    batch_factors = [factor for factor in study.factors if factor.set_per != "tile"]
    tile_factors = study.factors_set_per("tile")

    def planned(factors: Iterable[Factor], settings: Mapping[str, Setting]) -> list[str]:
        return [show(settings[one.name], one) if one.name in settings else "" for one in factors]

    rows: list[list[str]]
    if kind == "made":
        header = [
            *("tile", "batch", "session", "order"),
            *(f"planned_{factor.name}" for factor in study.factors),
            "on",
            *(f"actual_{factor.name}" for factor in tile_factors),
            *("spoiled", "why", "replaced_by", "by", "note"),
        ]
        rows = [
            [tile.code, tile.batch, str(tile.session), str(tile.order), *planned(study.factors, tile.settings)]
            for tile in plan.tiles
        ]
    elif kind == "batches":
        header = [
            *("batch", "session"),
            *(f"planned_{factor.name}" for factor in batch_factors),
            *("made_at", "discarded_at"),
            *(f"actual_{factor.name}" for factor in batch_factors),
            *("by", "note"),
        ]
        rows = [[batch.code, str(batch.session), *planned(batch_factors, batch.settings)] for batch in plan.batches]
    elif kind == "colour":
        header = [
            *("tile", "stage", "spot", "on", "L", "a", "b"),
            *("instrument", "geometry", "illuminant", "observer", "by"),
        ]
        rows = [[tile.code, study.stage, str(spot)] for tile in plan.tiles for spot in range(1, spots + 1)]
    elif kind == "values":
        header = ["tile", "response", "on", "value", "repeat", "by"]
        rows = [[tile.code, response.name, "", "", "1"] for tile in plan.tiles for response in study.responses]
    elif kind == "rub":
        header = ["tile", "condition", "protocol", "scorer", "on", "grade", "strokes", "broke_through"]
        conditions = () if study.rub is None else study.rub.conditions
        protocol = "" if study.rub is None else study.rub.protocol
        rows = [[tile.code, condition, protocol, scorer] for tile in plan.tiles for condition in conditions]
    else:
        raise WrongRequestError(f'There is no form "{kind}" to fill. Forms: {", ".join(FORM_KINDS[1:])}.')
    return _csv_text([header, *([*row, *[""] * (len(header) - len(row))] for row in rows)])


def kind_of(file_name: str, header: Sequence[str] = ()) -> str | None:
    """Return which form a CSV file is: by the first word of its name, else by its columns, else None.

    >>> kind_of("rub-KL.csv"), kind_of("export 3.csv", ("Tile", "L*", "a*", "b*")), kind_of("notes.csv")
    ('rub', 'colour', None)
    """
    word = re.match(r"[a-z]+", file_name.replace("\\", "/").rsplit("/", 1)[-1].strip().casefold())
    if word and word[0] in _FILE_WORDS:
        return _FILE_WORDS[word[0]]
    names = {_name(name)[0] for name in header}
    for kind, marks in (
        ("colour", {"tile", "l", "a", "b"}),
        ("rub", {"tile", "grade"}),
        ("values", {"tile", "value"}),
        ("batches", {"batch", "made_at"}),
        ("batches", {"batch", "discarded_at"}),
        ("made", {"tile", "on", "spoiled"}),
    ):
        if marks <= names and (kind != "batches" or "tile" not in names):
            return kind
    return "tiles" if {"tile", "batch"} <= names and "on" not in names else None
