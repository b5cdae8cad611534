"""Files of colour readings: our own form, or what an instrument wrote, to the rows of a colour form."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from tilestudy.colour.instrument import Conditions, Sample, is_instrument_file, read_instrument
from tilestudy.colour.instrument.words import geometry, light
from tilestudy.colour.xyz import ILLUMINANTS, OBSERVERS
from tilestudy.errors import Fault, WrongRequestError
from tilestudy.study import forms
from tilestudy.study.forms.kinds import known_columns
from tilestudy.study.forms.measured import series_named
from tilestudy.study.forms.table import Row, Table, read_table
from tilestudy.study.language import listed
from tilestudy.study.measured import series_there
from tilestudy.study.records import PHOTO, Plan, Reading, Study

NO_TILE = re.compile(
    r"(?i)(?:average|mean|median|std|standard|sd|min|max|range|white|black|calibration|zero|target|tolerance|reference)\b"
)
"""What stands in place of a tile's code in rows that are no tile: averages, calibration plates, standards."""
_SPOT = re.compile(r"(.*?)[-_ ./:#(]+(\d{1,3})\)?")


@dataclass(frozen=True)
class Stated:
    """What options say of a whole file of readings; "" where they say nothing."""

    stage: str = ""
    on: str = ""
    instrument: str = ""
    geometry: str = ""
    illuminant: str = ""
    observer: str = ""
    series: str = ""
    by: str = ""


NOTHING_STATED = Stated()


def is_own_form(text: str, study: Study) -> bool:
    """Return whether a text is our own colour form: its columns are ours, and no heading says more than they do."""
    table = read_table(text)
    known = set(known_columns("colour", study))
    ours = {*table.names} - {""} <= known or "on" in table.names  # a misspelt column of a form is to be told
    return "tile" in table.names and ours and not {"l", "a", "b"} & {*table.units}


def for_colour_command(file: Path, study: Study) -> bool:
    """Return whether a file beside the forms is an instrument's, which only `colour --from` reads, since it may have to ask."""
    if forms.kind_of(file.name) not in ("colour", None) or file.suffix.casefold() not in (
        ".csv",
        ".txt",
        ".cgats",
        ".tsv",
    ):
        return False
    text = forms.decode(file.read_bytes())
    return not is_own_form(text, study) and is_instrument_file(text)


def read_colour(
    text: str,
    file: str,
    study: Study,
    plan: Plan,
    today: date,
    stated: Stated,
    options: Mapping[str, Any],
    earlier: Sequence[Reading] = (),
) -> tuple[forms.FormReading, tuple[str, ...]]:
    """Read a file of colour readings, whichever shape it has, by the rules of the colour form.

    Parameters
    ----------
    text, file : str
    study : Study
    plan : Plan
    today : date
    stated : Stated
        What options say: it fills empty cells of a form, and answers what an instrument's file leaves open.
    options : mapping
        Further arguments of `forms.read_form`.
    earlier : sequence of Reading
        Those that came from a file of the same name. Another instrument may call its file so too: where this one does
        not read the same tiles anew, they count as the other readings of their series.

    Returns
    -------
    reading : FormReading
    notes : tuple of str
        What was left out, and how the file was understood.
    """
    own = is_own_form(text, study)
    if own or ("tile" in forms.header_of(text) and not is_instrument_file(text)):
        return forms.read_form("colour", _filled(read_table(text), stated), file, study, plan, today, **options), ()
    try:
        asked = _asked(stated)
        series = series_named(stated.series, options["series"])
    except WrongRequestError as error:
        return forms.FormReading("colour", file, (), (Fault(file, None, str(error)),)), ()
    known = options["series"].get(series, ("", "", "", ""))
    there = Conditions(known[2], known[3], known[1], known[0]) if known[0] != PHOTO else Conditions()
    found = read_instrument(text, file, asked, there)
    rows, faults, notes = _rows(found.samples, file, plan, stated, today)
    table = Table(";", _COLUMNS, None, _COLUMNS, {}, tuple(rows))
    reading = forms.read_form("colour", table, file, study, plan, today, **options)
    anew = {record.key for record, _ in reading.records}
    left = [one for one in earlier if one.key not in anew]
    if left:
        others = {**series_there(left), **options["series"]}
        reading = forms.read_form("colour", table, file, study, plan, today, **{**options, "series": others})
    every = sorted([*found.faults, *faults, *reading.faults], key=lambda fault: fault.line or 0)
    return replace(reading, faults=tuple(dict.fromkeys(every))), (*found.notes, *notes)


_COLUMNS = (
    *("tile", "stage", "spot", "on", "l", "a", "b"),
    *("instrument", "geometry", "illuminant", "observer", "by", "series"),
)


def _filled(table: Table, stated: Stated) -> Table:
    """Return a form's table with what options say in the cells that are empty."""
    said = {column: value for column, value in asdict(stated).items() if value}
    if not said or not table.rows:
        return table
    new = tuple(column for column in said if column not in table.names)
    rows = []
    for row in table.rows:
        cells = {**row.cells, **{column: row[column] or value for column, value in said.items()}}
        rows.append(Row(row.line, (*row.raw, *(said[column] for column in new)), cells))
    return replace(table, header=(*table.header, *new), names=(*table.names, *new), rows=tuple(rows))


def _asked(stated: Stated) -> Conditions:
    """Return the options as the file's own words are kept. Raises WrongRequestError for a light that is not known."""
    illuminant, observer = light(stated.illuminant)
    other = light(stated.observer)[1]
    if stated.illuminant and not illuminant:
        raise WrongRequestError(
            f'--illuminant "{stated.illuminant}" is not known. Write one of {", ".join(ILLUMINANTS)}.'
        )
    if stated.observer and not other:
        raise WrongRequestError(f'--observer "{stated.observer}" is not known. Write {" or ".join(OBSERVERS)}.')
    shape = geometry(stated.geometry) if stated.geometry else ""
    return Conditions(illuminant, other or observer, shape, stated.instrument)


def _rows(
    samples: Sequence[Sample], file: str, plan: Plan, stated: Stated, today: date
) -> tuple[list[Row], list[Fault], list[str]]:
    """Turn samples into rows of a colour form; rows that are no tile, or hold nothing, are told."""
    codes = {tile.code.casefold(): tile.code for tile in plan.tiles}
    column = _name_columns(samples, codes)
    rows: list[Row] = []
    faults: list[Fault] = []
    no_tile: list[str] = []
    for one in samples:
        name = one.names[column[len(one.names)]]
        code, spot = resolved(name, codes)
        shown = f'"{name}" (line {one.line})'
        if code is None and (one.lab is None or NO_TILE.match(name)):
            no_tile.append(shown)
            continue
        if one.lab is None:
            faults.append(Fault(file, one.line, f"tile {code} has no values. Measure it, or take the row out."))
            continue
        if not stated.on and not one.on:
            what = f"the file gives no date of measuring. Add the day with --on, such as --on {today.isoformat()}."
            faults.append(Fault(file, one.line, what))
        cells = {
            "tile": code or name,
            "stage": one.stage or stated.stage,
            "spot": spot or one.spot,
            "on": stated.on or one.on or today.isoformat(),
            **dict(zip("lab", (f"{value:.10g}" for value in one.lab), strict=True)),
            "instrument": one.conditions.instrument,
            "geometry": one.conditions.geometry,
            "illuminant": one.conditions.illuminant,
            "observer": one.conditions.observer,
            "by": stated.by,
            "series": stated.series,
        }
        rows.append(Row(one.line, tuple(cells[name] for name in _COLUMNS), cells))
    notes = [f"Left out, as no tile or without values: {listed(no_tile)}."] if no_tile else []
    return rows, faults, notes


def _name_columns(samples: Sequence[Sample], codes: Mapping[str, str]) -> dict[int, int]:
    """Return which of several name columns holds the tile codes, by the number of such columns."""
    hits: dict[int, list[int]] = {}
    for one in samples:
        counts = hits.setdefault(len(one.names), [0] * len(one.names))
        for place, name in enumerate(one.names):
            counts[place] += resolved(name, codes)[0] is not None
    return {many: counts.index(max(counts)) for many, counts in hits.items()}


def resolved(name: str, codes: Mapping[str, str]) -> tuple[str | None, str]:
    """Return the tile a sample's name stands for, and the spot behind it; None when it stands for none.

    >>> codes = {"k7": "K7", "t-3": "T-3"}
    >>> resolved("k7-2", codes), resolved("Tile K7 (2)", codes), resolved("T-3", codes), resolved("white", codes)
    (('K7', '2'), ('K7', '2'), ('T-3', ''), (None, ''))
    """
    plain = " ".join(name.split()).casefold()
    for tried in (plain, re.sub(r"^tile[ _:.-]*", "", plain)):
        if tried in codes:
            return codes[tried], ""
        found = _SPOT.fullmatch(tried)
        if found and found[1] in codes:
            return codes[found[1]], str(int(found[2]))
    return None, ""
