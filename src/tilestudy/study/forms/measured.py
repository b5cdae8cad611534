"""Rows of the forms filled when measuring: colour readings, values of declared responses, rub grades."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from tilestudy.errors import WrongRequestError
from tilestudy.study.forms.cells import listing, not_known, quoted, read_grade, read_yes, scorer_mark
from tilestudy.study.forms.reader import Reader, shown
from tilestudy.study.forms.table import Row
from tilestudy.study.records import PHOTO, STAGES, Reading, Rub, Value

CONDITIONS = ("instrument", "geometry", "illuminant", "observer")
"""What is one within a series of readings."""

LAB_RANGES = {"l": (-1.0, 101.0), "a": (-150.0, 150.0), "b": (-150.0, 150.0)}
"""Where L*, a*, b* may lie; instruments overshoot a little at white and black."""

LONGEST_SERIES = 30
"""Letters of the name of a series."""


# --- colour ----------------------------------------------------------------------------------------------------------


def series_named(text: str, known: Iterable[str]) -> str:
    """Return the name of a series as it is kept: "" for the study's own (also written "own"), known ones as they are spelt.

    Raises WrongRequestError for a name that is no plain word or words.

    >>> series_named(" Photo  1", ["photo 1"]), series_named("own", [])
    ('photo 1', '')
    """
    name = " ".join(text.split())
    if name.casefold() in ("", "own"):
        return ""
    if len(name) > LONGEST_SERIES or not re.fullmatch(r"[^\W_]+(?:[ .-][^\W_]+)*", name):
        raise WrongRequestError(
            f"{quoted(name)} is no name for a series. Write a word or two of letters and digits, such as photo 1, at most "
            f"{LONGEST_SERIES} letters."
        )
    return next((one for one in known if one.casefold() == name.casefold()), name)


def settle_series(reader: Reader) -> None:
    """Settle the viewing conditions of each series: those known, else the first ones stated of it, else D65 and 10°."""
    rows: dict[str, list[Row]] = {}
    for row in reader.table.rows:
        try:
            rows.setdefault(series_named(row["series"], (*reader.series, *rows)), []).append(row)
        except WrongRequestError:
            continue  # told with the row
    settled = dict(reader.series)
    for name, its in rows.items():

        def first(column: str, otherwise: str, its: Sequence[Row] = its) -> str:
            return next((_condition(column, row[column]) for row in its if row[column]), otherwise)

        settled.setdefault(
            name,
            (first("instrument", ""), first("geometry", ""), first("illuminant", "D65"), first("observer", "10")),
        )
    reader.series = settled


def differing(stated: Sequence[str], wanted: Sequence[str], series: str = "") -> list[str]:
    """Say which viewing conditions (`CONDITIONS`) differ from those of the other readings, and what to do; [] when none does."""
    unlike = [
        f"{column} {quoted(one) if one else 'left out'} differs from {quoted(other) if other else 'none stated'}"
        for column, one, other in zip(CONDITIONS, stated, wanted, strict=True)
        if one.casefold() != other.casefold()
    ]
    if not unlike:
        return []
    others = f"the series {quoted(series)}" if series else "this study"
    return [
        f"{'; '.join(unlike)}, as the other readings of {others} have it. Readings of different instruments or viewing "
        "conditions are not comparable and are never mixed. Correct it, or enter these readings in a study of their own, or "
        "keep them beside the others as a series of their own with --series NAME (in a form, the column series)."
    ]


def out_of_range(column: str, written: str) -> str:
    """Say that L, a or b lies where no colour is."""
    low, high = (0, 100) if column == "l" else LAB_RANGES[column]
    return (
        f"{shown(column)} {written} is out of range: {shown(column)}* runs from {low:g} to {high:g}. "
        "Check the typing, and that the columns are not swapped."
    )


def _condition(column: str, text: str) -> str:
    """Return a viewing condition as it is kept: the observer without its degree sign, the illuminant in capitals."""
    if column == "observer":
        return re.sub(r"\s*(?:°|deg(?:rees?)?|º)$", "", text.casefold())
    return text.upper() if column == "illuminant" else text


def colour_rows(reader: Reader) -> tuple[Reading, ...]:
    """Read one reading of CIE L*, a*, b*."""
    row, tile = reader.row, reader.tile()
    stage = row["stage"].casefold() or reader.study.stage
    if stage not in STAGES:
        reader.fault(f"stage {quoted(row['stage'])} is not known. Write one of {listing(STAGES, 'or')}.")
    on = reader.on()
    spot = reader.cell("spot", reader.whole(1), 1)
    lab: list[float] = []
    for column, (low, high) in LAB_RANGES.items():
        if not row[column]:
            reader.fault(f"{shown(column)} is empty. A reading needs L, a and b.")
            continue
        value = reader.cell(column, reader.number, None)
        if value is not None and not low <= value <= high:
            reader.fault(out_of_range(column, row[column]))
        elif value is not None:
            lab.append(value)
    try:
        series = series_named(row["series"], reader.series)
    except WrongRequestError as error:
        reader.fault(str(error))
        return ()
    settled = reader.series[series]
    if settled[0].casefold() == PHOTO and not row["instrument"]:
        others = f"the series {quoted(series)}" if series else "this study"
        reader.fault(
            f"the readings of {others} were measured in photos, and this one is typed in without its instrument. Write the "
            "instrument, and keep it beside the photos as a series of its own with --series NAME (in a form, the column series)."
        )
        return ()
    stated = [
        row[column] if _condition(column, row[column]).casefold() not in ("", wanted.casefold()) else wanted
        for column, wanted in zip(CONDITIONS, settled, strict=True)
    ]
    for fault in differing(stated, settled, series):
        reader.fault(fault)
    if tile is None or len(lab) < 3 or stage not in STAGES:
        return ()
    return (Reading(tile.code, stage, on, lab[0], lab[1], lab[2], spot, *settled, by=row["by"], series=series),)


# --- values of declared responses ------------------------------------------------------------------------------------


def settle_layout(reader: Reader) -> None:
    """Find the columns named as responses; a form that is neither long nor wide, or both, is a fault."""
    names, units, responses = reader.table.names, reader.table.units, reader.study.responses
    wide = reader.wide = tuple(response.name for response in responses if response.name in names)
    if not reader.table.header:
        return
    if not responses:
        reader.head("the study declares no response. Add [[response]] with a name to the study file first.", line=False)
    elif wide and ("value" in names or "response" in names):
        reader.head(
            f'there are both the column "{wide[0]}" and the columns value or response. Keep one way: a column for each '
            "response, or the columns response and value."
        )
    elif not wide and "value" not in names:
        either = listing([response.name for response in responses], "or")
        reader.head(f"there is no column with values. Add the column value, or a column {either}.", line=False)
    elif not wide and "response" not in names and len(responses) > 1:
        several = listing([response.name for response in responses])
        reader.head(
            f'the column "response" is missing, and the study has several responses: {several}. Add it.', line=False
        )
    for response in responses:
        unit = units.get(response.name) or (units.get("value") if len(responses) == 1 else None)
        if unit and response.unit and unit.casefold() != response.unit.casefold():
            reader.head(
                f"{response.label} is given in {unit}, but the study keeps it in {response.unit}. Turn the numbers into "
                f"{response.unit}."
            )


def value_rows(reader: Reader) -> tuple[Value, ...]:
    """Read the values of a row: one for each column named as a response, or the one of the column value."""
    row, tile, on = reader.row, reader.tile(), reader.on()
    repeat = reader.cell("repeat", reader.whole(1), 1)
    if reader.wide:
        numbers = {name: reader.cell(name, reader.number, None) for name in reader.wide}
    else:
        response = _response(reader)
        if response is None:
            return ()
        numbers = {response: reader.cell("value", reader.number, None)}
        if not row["value"]:
            reader.fault("there is no value in this row. Write the number measured.")
    if tile is None:
        return ()
    return tuple(
        Value(tile.code, name, on, number, repeat, row["by"]) for name, number in numbers.items() if number is not None
    )


def _response(reader: Reader) -> str | None:
    """Return the response a row names, or the study's only one; another is a fault."""
    written = reader.row["response"]
    declared = [response.name for response in reader.study.responses]
    if not written and len(declared) == 1:
        return declared[0]
    name = re.sub(r"[\s-]+", "_", written.casefold())
    if name in declared:
        return name
    if written:
        has = listing(declared) if declared else "none"
        reader.fault(not_known("response", written, declared, f"The study has {has}."))
    elif declared:
        reader.fault(f"there is no response in this row. Write {listing(declared, 'or')}.")
    return None


# --- rub tests -------------------------------------------------------------------------------------------------------


def check_rub_asked(reader: Reader) -> None:
    """A study that asks for no rub test needs the protocol in the form."""
    if reader.study.rub is None and "protocol" not in reader.table.names:
        reader.head("the study asks for no rub test. Add [rub] with a protocol to the study file first.", line=False)


def rub_rows(reader: Reader) -> tuple[Rub, ...]:
    """Read one scorer's grade of one rub test."""
    row, tile, rub, protocols = reader.row, reader.tile(), reader.study.rub, reader.protocols
    scorer = ""
    try:
        scorer = scorer_mark(row["scorer"])
    except WrongRequestError as error:
        reader.fault(str(error))
    on = reader.on()
    if not row["grade"]:
        reader.fault("there is no grade. Write 1 to 5 in half steps.")
    grade = reader.cell("grade", read_grade, None)
    conditions = ("dry", "wet") if rub is None else rub.conditions
    condition = row["condition"].casefold() or (conditions[0] if len(conditions) == 1 else "")
    if condition not in ("dry", "wet"):
        written = f"condition {quoted(row['condition'])} is not known" if row["condition"] else "there is no condition"
        reader.fault(f"{written}. Write dry or wet.")
    elif condition not in conditions:
        reader.fault(
            f"the study asks for {listing(conditions)} rubs only, not for {condition} ones. Correct it, or add "
            f'"{condition}" to conditions under [rub] in the study file.'
        )
    planned = "" if rub is None else rub.protocol
    protocol = row["protocol"] or planned
    protocol = next((one for one in (planned, *(protocols or ())) if one.casefold() == protocol.casefold()), protocol)
    if not protocol:
        reader.fault("there is no protocol. Write which rub test was done.")
    elif protocols is not None and protocol not in (*protocols, planned):
        reader.fault(not_known("protocol", protocol, protocols, f"Known: {', '.join(protocols)}."))
    strokes = reader.cell("strokes", reader.whole(0), None)
    broke = reader.cell("broke_through", read_yes, None)
    if broke and not row["strokes"]:
        reader.fault("broke through is yes, but there are no strokes. Write at which stroke bare metal first showed.")
    number = reader.cell("round", reader.whole(1), 1)
    if tile is None or grade is None:
        return ()
    return (Rub(tile.code, scorer, on, grade, condition, protocol, strokes, broke, number),)
