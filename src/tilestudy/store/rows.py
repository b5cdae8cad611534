"""Records to rows of the study book, and back.

For each kind of record: its table, and for each field of the record the column and how the value is written. Tiles and
batches are kept as references in the tables and read as codes from the `..._history` views.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from tilestudy.study.records import KINDS, Kept, Record, Setting


@dataclass(frozen=True)
class Form:
    """How a value is written into a cell and read out of it."""

    write: Callable[[Any], Any]
    read: Callable[[Any], Any]


def settings_text(settings: Mapping[str, Setting]) -> str:
    """Write settings as a JSON object; raises ValueError for a number that is not finite."""
    return json.dumps(dict(settings), ensure_ascii=False, allow_nan=False)


PLAIN = Form(lambda value: value, lambda cell: cell)
REAL = Form(float, float)
FLAG = Form(lambda value: None if value is None else int(value), lambda cell: None if cell is None else bool(cell))
DAY = Form(date.isoformat, date.fromisoformat)
MOMENT = Form(
    lambda value: None if value is None else value.isoformat(sep=" "),
    lambda cell: None if cell is None else datetime.fromisoformat(cell),
)
SETTINGS = Form(settings_text, json.loads)
PERHAPS = Form(
    lambda value: None if value is None else float(value), lambda cell: None if cell is None else float(cell)
)
DETAIL = Form(
    lambda value: json.dumps(dict(value), ensure_ascii=False, allow_nan=False, sort_keys=True),
    lambda cell: json.loads(cell),
)
LAB = Form(
    lambda value: json.dumps([float(one) for one in value], allow_nan=False),
    lambda cell: tuple(map(float, json.loads(cell))),
)
TILE = Form(lambda value: value, lambda cell: cell)
BATCH = Form(lambda value: value, lambda cell: cell)

TABLES: Mapping[str, tuple[str, Mapping[str, tuple[str, Form]]]] = {
    "made": (
        "made",
        {
            "tile": ("tile", TILE),
            "on": ("made_on", DAY),
            "batch": ("batch", BATCH),
            "actual": ("actual", SETTINGS),
            "spoiled": ("spoiled", FLAG),
            "why": ("why", PLAIN),
            "replaced_by": ("replaced_by", PLAIN),
            "by": ("made_by", PLAIN),
            "note": ("note", PLAIN),
        },
    ),
    "batches": (
        "batch_logs",
        {
            "batch": ("batch", BATCH),
            "made_at": ("made_at", MOMENT),
            "discarded_at": ("discarded_at", MOMENT),
            "actual": ("actual", SETTINGS),
            "by": ("made_by", PLAIN),
            "note": ("note", PLAIN),
        },
    ),
    "colour": (
        "colour_readings",
        {
            "tile": ("tile", TILE),
            "stage": ("stage", PLAIN),
            "on": ("read_on", DAY),
            "L": ("L", REAL),
            "a": ("a", REAL),
            "b": ("b", REAL),
            "spot": ("spot", PLAIN),
            "instrument": ("instrument", PLAIN),
            "geometry": ("geometry", PLAIN),
            "illuminant": ("illuminant", PLAIN),
            "observer": ("observer", PLAIN),
            "by": ("read_by", PLAIN),
            "series": ("series", PLAIN),
            "mottle": ("mottle", PERHAPS),
            "error": ("error", PERHAPS),
            "detail": ("detail", DETAIL),
        },
    ),
    "values": (
        "response_values",
        {
            "tile": ("tile", TILE),
            "response": ("response", PLAIN),
            "on": ("measured_on", DAY),
            "value": ("value", REAL),
            "repeat": ("repeat_number", PLAIN),
            "by": ("measured_by", PLAIN),
        },
    ),
    "rub": (
        "rub_grades",
        {
            "tile": ("tile", TILE),
            "scorer": ("scorer", PLAIN),
            "on": ("rubbed_on", DAY),
            "grade": ("grade", REAL),
            "condition": ("condition", PLAIN),
            "protocol": ("protocol", PLAIN),
            "strokes": ("strokes", PLAIN),
            "broke_through": ("broke_through", FLAG),
            "round": ("round_number", PLAIN),
        },
    ),
    "cloths": (
        "cloth_grades",
        {
            "tile": ("tile", TILE),
            "on": ("photo_on", DAY),
            "grade": ("grade", REAL),
            "stain": ("stain", LAB),
            "clean": ("clean", LAB),
            "condition": ("condition", PLAIN),
            "protocol": ("protocol", PLAIN),
            "round": ("round_number", PLAIN),
            "error": ("error", PERHAPS),
            "by": ("photo_by", PLAIN),
            "detail": ("detail", DETAIL),
        },
    ),
}


def key_text(record: Record) -> str:
    """Write a record's key as JSON."""
    return json.dumps(list(record.key), ensure_ascii=False)


def said(kind: str, record: Record) -> str:
    """Write the whole record as JSON, to compare what a form says now with what it said before."""
    _, columns = TABLES[kind]
    return json.dumps(
        {field: form.write(getattr(record, field)) for field, (_, form) in columns.items()},
        ensure_ascii=False,
        allow_nan=False,
    )


def insert(
    kind: str, record: Record, entry: int, tiles: Mapping[str, int], batches: Mapping[str, int]
) -> tuple[str, list[Any]]:
    """Return the INSERT of a record's content, and its values; `tiles` and `batches` give row numbers by code."""
    table, columns = TABLES[kind]
    cells: dict[str, Any] = {"entry_id": entry}
    for field, (column, form) in columns.items():
        value = getattr(record, field)
        if form is TILE:
            cells["tile_id"] = tiles[value]
        elif form is BATCH:
            cells["batch_id"] = batches[value] if value else None
        else:
            cells[column] = form.write(value)
    marks = ", ".join("?" * len(cells))
    return f"INSERT INTO {table} ({', '.join(cells)}) VALUES ({marks})", list(cells.values())


def kept(kind: str, row: sqlite3.Row) -> Kept:
    """Read one row of a `..._history` view."""
    _, columns = TABLES[kind]
    record = KINDS[kind](**{field: form.read(row[column]) for field, (column, form) in columns.items()})
    return Kept(
        id=row["entry"],
        kind=kind,
        record=record,
        entered=datetime.fromisoformat(row["entered_at"]),
        source=row["source"],
        supersedes=row["supersedes"],
        superseded_by=row["superseded_by"],
        withdrawn=bool(row["withdrawn"]),
    )
