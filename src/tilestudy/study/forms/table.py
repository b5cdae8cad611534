"""CSV text to rows of cells, whatever the spreadsheet made of it, and rows back to text."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

_BRACKET = re.compile(r"\s*[(\[]([^)\]]*)[)\]]\s*$")


@dataclass(frozen=True)
class Row:
    """One row: its line (None when typed in), its raw cells, and its cells by column; a column not there is empty."""

    line: int | None
    raw: tuple[str, ...]
    cells: Mapping[str, str]

    def __getitem__(self, column: str) -> str:
        return self.cells.get(column, "")


@dataclass(frozen=True)
class Table:
    """A CSV table.

    Attributes
    ----------
    delimiter : str
    header : tuple of str
        The headings as written.
    header_line : int or None
    names : tuple of str
        The headings as column names; "" for an empty heading.
    units : mapping of column name to str
        What stood in brackets behind a heading.
    rows : tuple of Row
        Those with content.
    faults : tuple of (line, what)
        What is wrong with the table itself.
    broken : tuple of str
        Lines that could not be read, as they stand in the file.
    """

    delimiter: str
    header: tuple[str, ...] = ()
    header_line: int | None = None
    names: tuple[str, ...] = ()
    units: Mapping[str, str] = field(default_factory=dict)
    rows: tuple[Row, ...] = ()
    faults: tuple[tuple[int | None, str], ...] = ()
    broken: tuple[str, ...] = ()


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


def column_name(heading: str) -> tuple[str, str]:
    """Return a heading as a column name, and the unit in brackets behind it.

    >>> column_name("Dip Time (s)"), column_name("L*")
    (('dip_time', 's'), ('l', ''))
    """
    found = _BRACKET.search(heading)
    unit = ""
    if found and found.start():
        heading, unit = heading[: found.start()], found[1].strip()
    name = re.sub(r"[\s\-_]+", "_", heading.strip().casefold()).strip("_")
    return (name.removesuffix("*") if name in ("l*", "a*", "b*") else name), unit


def header_of(text: str) -> tuple[str, ...]:
    """Return the column names of a CSV text as the forms know them.

    >>> header_of("# a note\\nTile;Dip Time (s);\\n")
    ('tile', 'dip_time', '')
    """
    lines = _lines(text)
    place = _header_place(lines)
    if place is None:
        return ()
    return tuple(column_name(cell)[0] for cell in lines[place].replace('"', "").split(_delimiter(lines[place])))


def read_table(text: str) -> Table:
    """Read a CSV text; what is wrong with it as a table is in the faults of the result.

    >>> table = read_table("Tile;L*\\n;\\n A3;31,5\\n")
    >>> table.names, table.rows[0].line, table.rows[0]["tile"], table.rows[0]["l"]
    (('tile', 'l'), 3, 'A3', '31,5')
    """
    lines = _lines(text)
    start = _header_place(lines)
    if start is None:
        return Table(",", faults=((None, "the file is empty. Fill it in, or take it away."),))
    delimiter = _delimiter(lines[start])
    read, stop = _split(lines, start, delimiter)
    faults: list[tuple[int | None, str]] = []
    broken: tuple[str, ...] = ()
    if stop is not None:
        broken = tuple(lines[stop:])
        what = (
            "a quotation mark is opened here and not closed, so nothing below can be read. Close it, or take it away."
        )
        faults.append((stop + 1, what))
    if not read:
        return Table(delimiter, header_line=start + 1, faults=tuple(faults), broken=broken)
    header_line, header = read[0]
    named = [column_name(heading) for heading in header]
    names = tuple(name for name, _ in named)
    for twice in sorted({name for name in names if name and names.count(name) > 1}):
        faults.append((header_line, f'the column "{twice}" is there twice. Keep one of them.'))
    rows = []
    for line, raw in read[1:]:
        if not any(raw):
            continue
        nameless = [cell for place, cell in enumerate(raw) if cell and (place >= len(names) or not names[place])]
        if nameless:
            what = f'"{nameless[0]}" stands in a column without a name. Give the column a name, or move it.'
            faults.append((line, what))
        rows.append(Row(line, raw, {name: cell for name, cell in zip(names, raw, strict=False) if name}))
    units = {name: unit for name, unit in named if unit}
    return Table(delimiter, header, header_line, names, units, tuple(rows), tuple(faults), broken)


def csv_text(rows: Iterable[Sequence[str]], delimiter: str = ",") -> str:
    """Return rows as CSV text."""
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="\n").writerows(rows)
    return out.getvalue()


def _lines(text: str) -> list[str]:
    return text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n")


def _header_place(lines: Sequence[str]) -> int | None:
    """Return the place of the header: the first line with content that is no note."""
    for place, line in enumerate(lines):
        content = line.strip(" \t\r,;\"'")
        if content and not content.startswith("#"):
            return place
    return None


def _delimiter(header: str) -> str:
    """Return what stands most often between headings; the comma when two are equal."""
    outside = re.sub(r'"[^"]*"', "", header)
    return max("\t;,", key=lambda mark: (outside.count(mark), mark == ","))


def _split(lines: Sequence[str], start: int, delimiter: str) -> tuple[list[tuple[int, tuple[str, ...]]], int | None]:
    """Split lines into (line number, cells), blanks tidied; and the place where reading had to stop, or None."""
    reader = csv.reader((line + "\n" for line in lines[start:]), delimiter=delimiter, strict=True)
    read: list[tuple[int, tuple[str, ...]]] = []
    place = start
    try:
        for cells in reader:
            read.append((place + 1, tuple(" ".join(cell.replace("\xa0", " ").split()) for cell in cells)))
            place = start + reader.line_num
    except csv.Error:
        return read, place
    return read, None
