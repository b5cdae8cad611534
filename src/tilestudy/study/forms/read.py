"""A filled form, or one entry typed in by the same rules, to records and faults."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from tilestudy.errors import Fault, WrongRequestError
from tilestudy.study.dates import DateOrder
from tilestudy.study.forms import made, measured
from tilestudy.study.forms.kinds import FORM_KINDS, NEEDED, known_columns
from tilestudy.study.forms.reader import Parse, Reader, Series
from tilestudy.study.forms.table import Row, Table, column_name, read_table
from tilestudy.study.records import Plan, Record, Study
from tilestudy.study.units import parse_setting

_SETTLE: Mapping[str, Callable[[Reader], None]] = {  # what has to be known of the whole form before its rows are read
    "made": made.meet_replacements,
    "colour": measured.settle_series,
    "values": measured.settle_layout,
    "rub": measured.check_rub_asked,
}
_ROWS: Mapping[str, Callable[[Reader], tuple[Record, ...]]] = {
    "made": made.made_rows,
    "batches": made.batch_rows,
    "colour": measured.colour_rows,
    "values": measured.value_rows,
    "rub": measured.rub_rows,
}
_HANDED_OUT: Mapping[str, tuple[str, ...]] = {  # columns that may be filled before the work is done
    "made": ("tile", "batch", "session", "order"),
    "batches": ("batch", "session", "order", "by"),
}
_MEASURED: Mapping[str, tuple[str, ...]] = {  # columns without which nothing was measured yet
    "colour": ("l", "a", "b"),
    "rub": ("grade", "strokes", "broke_through"),
}
_SAID_BY_KEY: Mapping[str, str] = {
    "made": "tile {0}",
    "batches": "batch {0}",
    "colour": "tile {0}, stage {1}, spot {2}",
    "values": "tile {0}, {1}, repeat {2}",
    "rub": "tile {0}, {2}, scorer {3}, round {4}",
}
_OR_NUMBER_THEM: Mapping[str, str] = {
    "colour": ", or number the spots in the column spot",
    "values": ", or number the repeats in the column repeat",
    "rub": ", or number the rub tests of the tile in the column round",
}


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
    blank : tuple of str
        The code of the tile (in a batches form, of the batch) of each row handed out but not filled in yet, spelled as
        in the plan; "" for a row that names none.
    bad_rows : str
        CSV text of the rows that have faults, with the header: to be written to a file, mended and read again. Empty
        when there are none.
    """

    kind: str
    file: str
    records: tuple[tuple[Record, int | None], ...]
    faults: tuple[Fault, ...]
    blank: tuple[str, ...] = ()
    bad_rows: str = ""

    @property
    def blank_rows(self) -> int:
        """How many rows were handed out but not filled in yet."""
        return len(self.blank)


def read_form(
    kind: str,
    text: str | Table,
    file: str,
    study: Study,
    plan: Plan,
    today: date,
    date_order: DateOrder = None,
    *,
    parse: Parse = parse_setting,
    series: Mapping[str, Series] | None = None,
    protocols: Collection[str] | None = None,
    taken: Collection[str] = (),
) -> FormReading:
    """Read a filled form.

    Parameters
    ----------
    kind : str
        "made", "batches", "colour", "values" or "rub" (a list of existing tiles is read by `read_tiles`).
    text : str or Table
        The CSV text, or a table that was read already.
    file : str
        Its name for messages.
    study : Study
    plan : Plan
        The tiles and batches that hold now, replacement tiles among them.
    today : date
        Later dates are faults.
    date_order : "day first", "month first" or None
    parse : callable
        Reads one setting of a factor; raises UnitError.
    series : mapping of str to (instrument, geometry, illuminant, observer), optional
        Viewing conditions of the study's other readings by the name of their series ("" for its own): a second set in one
        series is a fault.
    protocols : collection of str, optional
        Known rub protocols; None takes any.
    taken : collection of str
        Tile codes used in the studio, which no replacement tile may have.

    Raises
    ------
    WrongRequestError
        When there is no form of that kind.

    Examples
    --------
    >>> from tilestudy.study.records import Batch, Tile
    >>> plan = Plan("s", 1, (Batch("B1", 1, 1),), (Tile("A3", "B1", 1, 1, {}), Tile("C4", "B1", 1, 2, {})))
    >>> text = "tile,on,L,a,b\\na3,2026-11-24,31.5,14,9\\nc4,,,,\\n"
    >>> reading = read_form("colour", text, "colour.csv", Study("s", "", "other", ()), plan, date(2026, 12, 1))
    >>> reading.records[0][0].L, reading.blank
    (31.5, ('C4',))
    """
    _check_kind(kind)
    table = text if isinstance(text, Table) else read_table(text)
    return _read(Reader(kind, file, study, table, today, date_order, parse, plan, series or {}, protocols, taken))


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
    series: Mapping[str, Series] | None = None,
    protocols: Collection[str] | None = None,
    taken: Collection[str] = (),
) -> FormReading:
    """Read one entry typed in, by the same rules as a form; `cells` maps column names to what was typed.

    Empty cells may be left out. Faults have no line. Other parameters as for `read_form`.
    """
    _check_kind(kind)
    named = {column_name(column)[0]: " ".join(str(cell).split()) for column, cell in cells.items()}
    for needed in NEEDED[kind]:
        named.setdefault(needed, "")
    row = Row(None, tuple(named.values()), named)
    table = Table(";", header=tuple(named), names=tuple(named), rows=(row,))
    reader = Reader(kind, place, study, table, today, date_order, parse, plan, series or {}, protocols, taken)
    return _read(reader, typed=True)


def _check_kind(kind: str) -> None:
    if kind not in _ROWS:
        raise WrongRequestError(f'There is no form "{kind}". Forms: {", ".join(FORM_KINDS)}.')


def _read(reader: Reader, typed: bool = False) -> FormReading:
    kind, table = reader.kind, reader.table
    if table.header:
        reader.check_header(known_columns(kind, reader.study), NEEDED[kind])
    if kind in _SETTLE:
        _SETTLE[kind](reader)
    found: list[tuple[int, Record]] = []
    blank = []
    for place in range(len(table.rows)):
        reader.place = place
        if not typed and _is_blank(reader):
            blank.append(_blank_code(reader))
        else:
            found += [(place, record) for record in _ROWS[kind](reader)]
    _check_doubles(reader, found)
    good = [(record, table.rows[place].line) for place, record in found if place not in reader.bad]
    return FormReading(
        kind,
        reader.file,
        () if reader.header_faulty else tuple(good),
        reader.sorted_faults(),
        tuple(blank),
        "" if typed else reader.bad_rows(),
    )


def _is_blank(reader: Reader) -> bool:
    """A row is blank when it says no more than what was handed out, or has none of what was to be measured."""
    kind, row = reader.kind, reader.row
    if kind in _HANDED_OUT:
        columns = [name for name in row.cells if name not in _HANDED_OUT[kind] and not name.startswith("planned_")]
    else:
        columns = list(_MEASURED.get(kind, ("value", *reader.wide)))
    return not any(row[column] for column in columns)


def _blank_code(reader: Reader) -> str:
    """Return the tile or batch code of a row not filled yet, which still has to be one of the study."""
    column = "batch" if reader.kind == "batches" else "tile"
    written = reader.row[column]
    if not written:
        return ""
    found = reader.batch() if column == "batch" else reader.tile()
    return written if found is None else found.code


def _check_doubles(reader: Reader, found: Sequence[tuple[int, Record]]) -> None:
    """Two rows about the same thing are both bad; the later one is named."""
    first: dict[tuple[str, ...], int] = {}
    for place, record in found:
        before = first.setdefault(record.key, place)
        if before == place:
            continue
        what = _SAID_BY_KEY[reader.kind].format(*record.key)
        line = reader.table.rows[before].line
        more = _OR_NUMBER_THEM.get(reader.kind, "")
        reader.fault(f"{what} is already on line {line}. Keep one of the two rows{more}.", place)
        reader.bad.add(before)
