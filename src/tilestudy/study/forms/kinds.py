"""Which forms there are, which columns each has and needs, and which form a file is."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from tilestudy.study.forms.table import column_name
from tilestudy.study.records import Study

FORM_KINDS = ("tiles", "made", "batches", "colour", "values", "rub")
"""The forms, in the order they are read: tiles first, and made before what is measured on replacement tiles."""

NEEDED: Mapping[str, tuple[str, ...]] = {
    "tiles": ("tile", "batch"),
    "made": ("tile", "on"),
    "batches": ("batch",),
    "colour": ("tile", "on", "l", "a", "b"),
    "values": ("tile", "on"),
    "rub": ("tile", "scorer", "on", "grade"),
}
"""The columns without which a form cannot be read."""

SAME = {"date": "on", "code": "tile", "bath": "batch", "load": "batch", "score": "grade", "initials": "by"}
"""What people call a column, and its name here."""

_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "tiles": ("tile", "batch", "session", "order", "reference"),
    "made": ("tile", "batch", "session", "order", "on", "spoiled", "why", "replaced_by", "by", "note"),
    "batches": ("batch", "session", "order", "made_at", "discarded_at", "by", "note"),
    "colour": (
        *("tile", "batch", "stage", "spot", "on", "l", "a", "b"),
        *("instrument", "geometry", "illuminant", "observer", "by", "series"),
    ),
    "values": ("tile", "batch", "response", "on", "value", "repeat", "by"),
    "rub": ("tile", "batch", "scorer", "on", "grade", "condition", "protocol", "strokes", "broke_through", "round"),
}
_FILE_WORDS = {
    **{kind: kind for kind in FORM_KINDS},
    **{"tile": "tiles", "batch": "batches", "color": "colour", "colours": "colour", "colors": "colour"},
    **{"value": "values", "rubs": "rub"},
}


def known_columns(kind: str, study: Study) -> tuple[str, ...]:
    """Return the columns a form of this study may have."""
    names = _COLUMNS[kind]
    if kind == "tiles":
        return (*names, *(factor.name for factor in study.factors))
    if kind == "made":
        return (*names, *(f"actual_{factor.name}" for factor in study.factors if factor.set_per == "tile"))
    if kind == "batches":
        return (*names, *(f"actual_{factor.name}" for factor in study.factors if factor.set_per != "tile"))
    if kind == "values":
        return (*names, *(response.name for response in study.responses))
    return names


def kind_of(file_name: str, header: Sequence[str] = ()) -> str | None:
    """Return which form a CSV file is: by the first word of its name, else by its columns, else None.

    >>> kind_of("rub-KL.csv"), kind_of("export 3.csv", ("Tile", "L*", "a*", "b*")), kind_of("notes.csv")
    ('rub', 'colour', None)
    """
    word = re.match(r"[a-z]+", file_name.replace("\\", "/").rsplit("/", 1)[-1].strip().casefold())
    if word and word[0] in _FILE_WORDS:
        return _FILE_WORDS[word[0]]
    names = {column_name(heading)[0] for heading in header}
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
