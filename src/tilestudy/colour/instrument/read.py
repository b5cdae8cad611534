"""An instrument's file to samples with their L*a*b*, gathering every fault."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from tilestudy.colour.instrument import cgats, separated
from tilestudy.colour.instrument.block import Block
from tilestudy.colour.instrument.columns import (
    SPECTRUM,
    AskError,
    Columns,
    chosen,
    columns_in,
    settled,
    wanted_component,
)
from tilestudy.colour.instrument.values import lab_from, numbers_of, scale_of
from tilestudy.colour.instrument.words import Conditions, Heading, component_of, geometry, heading, light
from tilestudy.errors import Fault
from tilestudy.study.language import count, listed
from tilestudy.study.records import Lab

DEFAULT_LIGHT = Conditions("D65", "10")
"""The light under which a reflectance is seen when neither an option nor the study says another."""


@dataclass(frozen=True)
class Sample:
    """One row of an instrument's file.

    Attributes
    ----------
    line : int
    names : tuple of str
        What may name it, one for each column of names, in the same order for all rows of a table.
    lab : Lab or None
        CIE L*a*b* under the light of `conditions`; None when the row holds no value at all.
    conditions : Conditions
        With everything that could be settled; "" for an instrument that is not named.
    spot, stage, on : str
        As written; "" when not given.
    """

    line: int
    names: tuple[str, ...]
    lab: Lab | None
    conditions: Conditions
    spot: str = ""
    stage: str = ""
    on: str = ""


@dataclass(frozen=True)
class InstrumentReading:
    """What a file said: samples without fault, all faults, and what a person should know of how it was read."""

    samples: tuple[Sample, ...]
    faults: tuple[Fault, ...]
    notes: tuple[str, ...] = ()


def is_instrument_file(text: str) -> bool:
    """Return whether a text has the header of an instrument's table, or the format of CGATS.

    >>> is_instrument_file("Sample;L*(D65);a*(D65);b*(D65)\\n"), is_instrument_file("tile,scorer,grade\\n")
    (True, False)
    """
    return cgats.is_cgats(text) or bool(separated.blocks_of(text))


def read_instrument(
    text: str, file: str, asked: Conditions | None = None, known: Conditions | None = None
) -> InstrumentReading:
    """Read a file that an instrument wrote.

    Parameters
    ----------
    text, file : str
        Its text, and its name for messages.
    asked : Conditions, optional
        As given by options.
    known : Conditions, optional
        Of the other readings of the series: they fill in what neither the file nor an option says.

    Examples
    --------
    >>> text = "Sample;L*(D65/10);a*(D65/10);b*(D65/10)\\nK7;31,5;8,4;9,9\\n"
    >>> read_instrument(text, "export.csv", Conditions(geometry="45/0")).samples[0].lab
    (31.5, 8.4, 9.9)
    >>> print(read_instrument(text, "export.csv").faults[0])  # doctest: +ELLIPSIS
    export.csv, line 1: the file does not say with which geometry it was measured. Add --geometry ...
    """
    asked, known = asked or Conditions(), known or Conditions()
    if "\0" in text or text.startswith("PK"):
        what = "this is not a text file. Export the readings as CSV or as CGATS text from the instrument's program."
        return InstrumentReading((), (Fault(file, None, what),))
    if not text.strip():
        return InstrumentReading((), (Fault(file, None, "the file is empty. Export the readings again."),))
    faults: list[tuple[int | None, str]] = []
    if cgats.is_cgats(text):
        blocks, faults = cgats.blocks_of(text)
    else:
        blocks = separated.blocks_of(text)
        if not blocks:
            down = re.findall(r"(?m)^[\"\s]*[3-9]\d\d(?:[.,]\d+)?[\" ]*[;,\t]", text)
            faults.append((None, _RUNS_DOWN if len(down) > 15 else _NO_HEADER))
    samples: list[Sample] = []
    notes: list[str] = []
    kinds: list[str] = []
    tables = [(block, _columns(block, faults)) for block in blocks]
    useful = [(block, found) for block, found in tables if found]
    if blocks and not useful and not faults:
        faults.append((blocks[0].line, _NO_HEADER))
    for block, every in useful:
        faults += block.faults
        try:
            kind, read = _read_block(block, every, asked, known, faults, notes)
        except AskError as ask:
            faults.append((block.line, str(ask)))
            continue
        again = {one.names for one in read} <= {one.names for one in samples}
        if read and again and kind not in kinds:
            notes.append(f"The table at line {block.line} holds the same samples in another form; it was left aside.")
            continue
        kinds.append(kind)
        samples += read
    if useful and not samples and not faults:
        faults.append((useful[0][0].line, "there are no samples under this header. Export the readings again."))
    told = sorted(set(faults), key=lambda one: (one[0] or 0, one[1]))
    return InstrumentReading(tuple(samples), tuple(Fault(file, *one) for one in told), tuple(dict.fromkeys(notes)))


_RUNS_DOWN = (
    "the wavelengths run down this file. Turn rows and columns round, in a spreadsheet say: a row for each sample, the "
    "wavelengths in the header."
)
_NO_HEADER = (
    "no line of this file names L*, a* and b*, or L*, C* and h, or X, Y and Z, or wavelengths every 20 nm or closer, in columns "
    "beside each other. Export it with a header and a row for each sample, as CSV or as CGATS text."
)


def _columns(block: Block, faults: list[tuple[int | None, str]]) -> list[Columns]:
    try:
        return columns_in([heading(one) for one in block.headings])
    except AskError as ask:
        faults.append((block.line, str(ask)))
        return []


def _read_block(
    block: Block,
    every: Sequence[Columns],
    asked: Conditions,
    known: Conditions,
    faults: list[tuple[int | None, str]],
    notes: list[str],
) -> tuple[str, list[Sample]]:
    headings = [heading(one) for one in block.headings]
    where = {one.what: place for place, one in reversed(list(enumerate(headings))) if one.what}
    columns = chosen(every, block.said, asked, known, "illuminant" in where)
    names = [place for place, one in enumerate(headings) if one.what == "name"] or _other_columns(headings, block)
    if not names:
        raise AskError("no column names the samples. Give one the heading Sample, with the tile codes in it.")
    rows = [(line, cells, _row_light(cells, where)) for line, cells in block.rows]
    components = {one.get("component", "") for _, _, one in rows} - {""}
    if len(components) > 1:
        wanted = wanted_component(components, asked, known, block.said)
        rows = [row for row in rows if row[2].get("component") == wanted]
    rows = _under_one_light(rows, asked.filled_from(known))
    if left_out := len(block.rows) - len(rows):
        notes.append(f"Left out: {count(left_out, 'row')} under another light or geometry than asked for.")
    numbers = {line: numbers_of(line, cells, columns, block, faults) for line, cells, _ in rows}
    scale = scale_of(columns, [values for values in numbers.values() if values], block.said)
    if columns.kind in (SPECTRUM, "XYZ") and scale == 1 and columns.per_cent is None and block.said.per_cent is None:
        what = "Reflectances were" if columns.kind == SPECTRUM else "X, Y and Z were"
        notes.append(f"{what} read as fractions, 1 for white, as no number is above 1.4.")
    samples = []
    for line, cells, stated in rows:
        values = numbers[line]
        if values is None:
            continue
        under = _conditions(columns, block, asked, known, stated, cells, where, notes)
        lab = lab_from(line, values, columns, under, scale, faults) if values else None
        if lab is None and values:
            continue
        own = {key: cells[where[key]] for key in ("spot", "stage", "date") if key in where}
        samples.append(
            Sample(
                line,
                tuple(cells[place] for place in names),
                lab,
                under,
                own.get("spot", ""),
                own.get("stage", ""),
                own.get("date", "") or block.said.date,
            )
        )
    return columns.kind, samples


def _other_columns(headings: Sequence[Heading], block: Block) -> list[int]:
    """Return the columns of words, where none is headed as names."""
    found = []
    for place, one in enumerate(headings):
        cells = [cells[place] for _, cells in block.rows if cells[place]]
        if not one.what and cells and any(letter.isalpha() for cell in cells for letter in cell):
            found.append(place)
    return found


def _row_light(cells: Sequence[str], where: dict[str, int]) -> dict[str, str]:
    """Return what a row says of its light, and of gloss included or not."""
    said = {key: cells[where[key]] for key in ("illuminant", "observer", "geometry") if key in where}
    illuminant, observer = light(said.get("illuminant", ""))
    found = {
        "illuminant": illuminant,
        "observer": light(said.get("observer", ""))[1] or observer,
        "component": component_of(said.get("geometry", "")),
    }
    return {key: value for key, value in found.items() if value}


_RowOfLight = tuple[int, tuple[str, ...], dict[str, str]]


def _under_one_light(rows: Sequence[_RowOfLight], wanted: Conditions) -> list[_RowOfLight]:
    """Return the rows under the wanted light, where rows say several. Raises AskError."""
    lights = {(one.get("illuminant", ""), one.get("observer", "")) for _, _, one in rows} - {("", "")}
    if len(lights) < 2:
        return list(rows)
    fits = [
        row
        for row in rows
        if row[2].get("illuminant") == wanted.illuminant and row[2].get("observer", "") in ("", wanted.observer)
    ]
    if not fits:
        told = listed(sorted("/".join(part for part in one if part) for one in lights))
        raise AskError(f"the rows are under {told}. Say which to take, such as --illuminant D65 --observer 10.")
    return fits


def _conditions(
    columns: Columns,
    block: Block,
    asked: Conditions,
    known: Conditions,
    stated: dict[str, str],
    cells: Sequence[str],
    where: dict[str, int],
    notes: list[str],
) -> Conditions:
    """Return everything that a reading was measured under; what the series answers is noted. Raises AskError where the file leaves it open or options disagree."""
    said = block.said
    under = settled(columns, said, asked, known, stated)
    unsaid = settled(columns, said, asked, Conditions(), stated)
    taken = [
        f"{what} {value}"
        for what, value in (("illuminant", known.illuminant), ("observer", known.observer))
        if not getattr(unsaid, what) and value and columns.kind != SPECTRUM
    ]
    if columns.kind == SPECTRUM:
        under = under.filled_from(DEFAULT_LIGHT)
    for option, value, wanted, such in (
        ("illuminant", under.illuminant, asked.illuminant, "D65"),
        ("observer", under.observer, asked.observer, "10"),
    ):
        if not value:
            raise AskError(
                f"the file does not say under which {option} the colours were computed. Look it up in the instrument's settings "
                f"and add --{option} {such} (or what it is)."
            )
        if wanted and value != wanted:
            raise AskError(f"the file says {option} {value}, and --{option} {wanted}. Leave the option out.")

    def own(key: str, otherwise: str) -> str:
        return cells[where[key]] if key in where and cells[where[key]] else otherwise

    shape = own("geometry", said.conditions.geometry)
    component = columns.component or component_of(asked.geometry if not component_of(shape) else "")
    shape = geometry(shape, component) if shape or columns.component else ""
    given = geometry(asked.geometry) if asked.geometry else ""
    if shape and given and shape != given:
        raise AskError(f"the file says geometry {shape}, and --geometry {given}. Leave the option out.")
    if not shape and not given and known.geometry:
        taken.append(f"geometry {known.geometry}")
    if taken:
        notes.append(f"Taken as in the other readings, since the file does not say: {listed(taken)}.")
    shape = shape or given or known.geometry
    if not shape:
        raise AskError(
            'the file does not say with which geometry it was measured. Add --geometry 45/0, --geometry "d/8 SCI" or --geometry '
            '"d/8 SCE": it stands on the instrument or in its manual.'
        )
    filtered = own("filter", said.filter)
    if filtered and filtered.casefold() not in ("no", "none", "off", "m0"):
        shape = f"{shape}, filter {filtered}" if not shape.endswith(f"filter {filtered}") else shape
    device = own("instrument", said.conditions.instrument)
    return replace(under, geometry=shape, instrument=asked.instrument or device or known.instrument)
