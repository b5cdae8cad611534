"""The tables of a study file that tell of the workplace: [room], [[ingredient]], [[sequence]], [[sheet]], [session] ..."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from datetime import time
from typing import Any, cast, get_args

from tilestudy.errors import UnitError
from tilestudy.study.reader import Reader
from tilestudy.study.units import parse_quantity
from tilestudy.study.workplace import (
    Added,
    BenchStep,
    Cutting,
    Grain,
    Hours,
    Room,
    Sheet,
    SignOff,
    Workplace,
)

_GRAINS = get_args(Grain)


def read_workplace(reader: Reader, data: Mapping[str, Any], steps: Sequence[str]) -> Workplace:
    """Read what a study file says of the workplace; faults are gathered by the reader.

    `steps` are the ids of the trade's bench steps; with none, any is taken.

    >>> reader = Reader("", "study.toml")
    >>> read_workplace(reader, {"room": {"volume": "5 x 4 x 2.5 m", "people": 8}}, ()).room.m3, reader.faults
    (50.0, [])
    """
    return Workplace(
        _room(reader, reader.table(data, "room")),
        _added(reader, reader.tables(data, "ingredient")),
        _steps(reader, reader.tables(data, "sequence"), steps),
        _nearby(reader, reader.tables(data, "nearby")),
        _signed(reader, reader.tables(data, "signed")),
        _sheets(reader, reader.tables(data, "sheet")),
        _cutting(reader, reader.table(data, "cutting")),
        _hours(reader, reader.table(data, "session")),
    )


def _room(reader: Reader, data: Mapping[str, Any]) -> Room:
    text, m3 = reader.text(data, "volume", "", "room"), None
    if text:
        sides = lengths_mm(text, 3)
        try:
            if sides is not None:
                m3 = sides[0] * sides[1] * sides[2] / 1e9
            else:
                quantity = parse_quantity(re.sub(r"(?<=[a-z])\s*[\^]?[3³]$", "^3", text))
                m3 = quantity.value / 1e6 if quantity.unit == "mL" else None
        except UnitError:
            m3 = None
        if m3 is None or not 1 <= m3 <= 1e6:
            m3 = None
            reader.fault(f'volume = "{text}" is no room; write it like "50 m3" or "5 x 4 x 2.5 m".', "room", "volume")
    return Room(m3, reader.whole(data, "people", None, "room", low=1), reader.maybe(data, "extraction", "room"))


def lengths_mm(text: str, many: int) -> tuple[float, ...] | None:
    """Read "5 x 4 x 2.5 m" as so many lengths in mm, all above 0; None where it is no such thing."""
    parts = re.split(r"\s*[x×]\s*", text.strip())
    unit = re.sub(r"^[\d.,/ ]+", "", parts[-1])
    if len(parts) != many:
        return None
    try:
        read = [parse_quantity(part if re.search(r"[A-Za-z]", part) else f"{part} {unit}") for part in parts]
    except UnitError:
        return None
    return tuple(one.value for one in read) if all(one.unit == "mm" and one.value > 0 for one in read) else None


def _added(reader: Reader, tables: Sequence[Mapping[str, Any]]) -> tuple[Added, ...]:
    found = []
    for index, data in enumerate(tables):
        what, text = (reader.text(data, key, "", "ingredient", index) for key in ("what", "amount"))
        if not what:
            reader.fault("an ingredient needs a name: what = ...", "ingredient", "what", index)
            continue
        amount, unit = None, ""
        if text:
            try:
                quantity = parse_quantity(text)
                if quantity.unit not in ("g/L", "mL/L", "%") or quantity.value < 0:
                    raise UnitError(text)
                amount, unit = quantity.value, quantity.unit
            except UnitError:
                reader.fault(
                    f'amount = "{text}" should be so much in each litre, such as "10 g/L", "20 mL/L" or "1 tsp per cup".',
                    "ingredient",
                    "amount",
                    index,
                )
        found.append(Added(what, amount, unit))
    return tuple(found)


def _steps(reader: Reader, tables: Sequence[Mapping[str, Any]], known: Sequence[str]) -> tuple[BenchStep, ...]:
    found = []
    for index, data in enumerate(tables):
        do = reader.text(data, "do", "", "sequence", index)
        if known and do not in known:
            near = difflib.get_close_matches(do, known, n=1)
            hint = f'Did you mean "{near[0]}"?' if near else f"Known: {', '.join(known)}."
            reader.fault(f'do = "{do}" is no step of the bench. {hint}', "sequence", "do", index)
        found.append(
            BenchStep(do, reader.texts(data, "with", "sequence", index), *_where(reader, data, "sequence", index))
        )
    return tuple(found)


def _nearby(reader: Reader, tables: Sequence[Mapping[str, Any]]) -> tuple[BenchStep, ...]:
    found = []
    for index, data in enumerate(tables):
        what = reader.texts(data, "what", "nearby", index)
        if not what:
            reader.fault("write what is near: what = ...", "nearby", "what", index)
        found.append(BenchStep("keep", what, *_where(reader, data, "nearby", index)))
    return tuple(found)


def _where(
    reader: Reader, data: Mapping[str, Any], table: str, index: int
) -> tuple[str, tuple[str, ...], str, str, bool]:
    place, bucket, jar = (reader.text(data, key, "", table, index) for key in ("place", "bucket", "jar"))
    return place, reader.texts(data, "tools", table, index), bucket, jar, reader.flag(data, "closed", table, index)


def _signed(reader: Reader, tables: Sequence[Mapping[str, Any]]) -> tuple[SignOff, ...]:
    found = []
    for index, data in enumerate(tables):
        rule, by, reason = (reader.text(data, key, "", "signed", index) for key in ("rule", "by", "reason"))
        for key, value in (("rule", rule), ("by", by), ("reason", reason)):
            if not value:
                reader.fault(
                    f"a hazard is signed off with its rule, initials and a reason; {key} is missing.",
                    "signed",
                    key,
                    index,
                )
        found.append(SignOff(rule, by, reason))
    return tuple(found)


def _sheets(reader: Reader, tables: Sequence[Mapping[str, Any]]) -> tuple[Sheet, ...]:
    found = []
    for index, data in enumerate(tables):
        size = reader.text(data, "size", "", "sheet", index)
        sides = lengths_mm(size, 2)
        if sides is None:
            reader.fault(f'size = "{size}" cannot be read; write it like "300 x 600 mm".', "sheet", "size", index)
            continue
        found.append(
            Sheet(
                (sides[0], sides[1]),
                reader.whole(data, "count", 1, "sheet", index, low=1) or 1,
                reader.text(data, "lot", "", "sheet", index),
                cast(Grain, reader.choice(data, "grain", "any", _GRAINS, "sheet", index)),
                reader.number(data, "price", None, "sheet", index),
                reader.flag(data, "offcut", "sheet", index),
            )
        )
    return tuple(found)


def _cutting(reader: Reader, data: Mapping[str, Any]) -> Cutting:
    found = {}
    for key in ("kerf", "trim"):
        text = reader.text(data, key, "0 mm", "cutting")
        sides = (0.0,) if re.match(r"^0+(\.0*)?\s*[a-z]*$", text) else lengths_mm(text, 1)
        if sides is None or sides[0] > 50:
            reader.fault(f'{key} = "{text}" cannot be read; write it like "1 mm".', "cutting", key)
        found[key] = sides[0] if sides else 0.0
    return Cutting(
        found["kerf"],
        found["trim"],
        cast(Grain, reader.choice(data, "grain", "any", _GRAINS, "cutting")),
        reader.text(data, "money", "", "cutting"),
    )


def _hours(reader: Reader, data: Mapping[str, Any]) -> Hours:
    text, start = reader.text(data, "start", "", "session"), None
    if text:
        found = re.fullmatch(r"([01]?\d|2[0-3]):([0-5]\d)", text)
        if found:
            start = time(int(found[1]), int(found[2]))
        else:
            reader.fault(f'start = "{text}" is no time of day; write it like "18:30".', "session", "start")
    minutes = [reader.minutes(data, key, "session") for key in ("prepare", "clear_up")]
    return Hours(start, reader.whole(data, "hands", 1, "session", low=1) or 1, *minutes)
