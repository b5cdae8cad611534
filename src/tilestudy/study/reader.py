"""Values out of a parsed TOML file, with every fault gathered at its line."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

from tilestudy.errors import Fault, UnitError
from tilestudy.study.units import parse_quantity, plain_number

KEYS: Mapping[str, tuple[str, ...]] = {
    "": (
        *("name", "question", "process", "invented", "source", "batch_word", "reference_tiles", "batch_volume"),
        *("choose", "model"),
        *("metal", "tile", "factor", "limits", "colour", "rub", "response", "wish", "bench", "noise", "never"),
        *("sheet", "cutting", "session", "room", "ingredient", "sequence", "nearby", "signed"),
    ),
    "metal": ("uns", "gauge", "lot", "solder", "coating"),
    "tile": ("size",),
    "factor": ("name", "unit", "levels", "low", "high", "count", "workable", "spacing", "set_per", "got"),
    "limits": ("tiles", "batches", "batches_each", "tiles_per_batch", "batches_per_session", "sessions", "minutes"),
    "colour": ("target", "tolerance", "stage", "after_days"),
    "rub": ("protocol", "conditions", "passing", "after_days"),
    "response": ("name", "unit", "better", "after_days", "batch_sd", "tile_sd"),
    "wish": ("of", "good", "useless", "weight"),
    "noise": ("batch_sd", "tile_sd"),
    "sheet": ("size", "count", "lot", "grain", "price", "offcut"),
    "cutting": ("kerf", "trim", "grain", "money"),
    "session": ("start", "hands", "prepare", "clear_up"),
    "room": ("volume", "people", "extraction"),
    "ingredient": ("what", "amount"),
    "sequence": ("do", "with", "place", "tools", "bucket", "jar", "closed"),
    "nearby": ("what", "place", "tools", "bucket", "jar", "closed"),
    "signed": ("rule", "by", "reason"),
}
"""The keys of a study file, by table; "" is the top of the file."""


class Reader:
    """Takes values out of parsed TOML, gathering faults with their lines."""

    def __init__(self, text: str, file: str) -> None:
        self.file = file
        self.lines = text.splitlines()
        self.faults: list[Fault] = []

    def line(self, table: str, key: str | None = None, index: int = 0) -> int | None:
        """Line of `key` in the table (the index-th of that name), or of the table's heading."""
        here, seen, heading = "", -1, None
        for number, raw in enumerate(self.lines, start=1):
            text = raw.strip()
            head = re.match(r"^\[\[?\s*([\w.-]+)\s*\]\]?", text)
            if head:
                here = head[1]
                if table == "" and here == key:
                    return number
                if here == table:
                    seen += 1
                    if seen == index:
                        heading = number
            elif here == table and (table == "" or seen == index) and key is not None:
                found = re.match(r"^[\"']?([\w.-]+)[\"']?\s*=", text)
                if found and found[1] == key:
                    return number
        return heading

    def fault(self, what: str, table: str = "", key: str | None = None, index: int = 0) -> None:
        self.faults.append(Fault(self.file, self.line(table, key, index), what))

    def unknown(self, data: Mapping[str, Any], table: str, index: int = 0) -> None:
        for key in data:
            if key not in KEYS[table]:
                near = difflib.get_close_matches(key, KEYS[table], n=1)
                hint = f' Did you mean "{near[0]}"?' if near else f" Known here: {', '.join(KEYS[table])}."
                self.fault(f'the key "{key}" is not known{f" in [{table}]" if table else ""}.{hint}', table, key, index)

    def text(self, data: Mapping[str, Any], key: str, default: str = "", table: str = "", index: int = 0) -> str:
        value = data.get(key, default)
        if not isinstance(value, str):
            self.fault(f'{key} = {value!r} should be text in quotes, such as {key} = "...".', table, key, index)
            return default
        return value.strip()

    def number(
        self,
        data: Mapping[str, Any],
        key: str,
        default: float | None,
        table: str,
        index: int = 0,
        *,
        low: float = 0.0,
        high: float = math.inf,
        whole: bool = False,
    ) -> float | None:
        value = data.get(key, default)
        if value is None:
            return None
        kind = "a whole number" if whole else "a number"
        good = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
        if not good or (whole and value != int(value)):
            self.fault(f"{key} = {value!r} should be {kind}, without quotes.", table, key, index)
            return default
        if not low <= value <= high:
            span = (
                f"at least {plain_number(low)}" if high == math.inf else f"{plain_number(low)} to {plain_number(high)}"
            )
            self.fault(f"{key} = {value} is out of range: it should be {span}.", table, key, index)
            return default
        return float(value)

    def whole(
        self, data: Mapping[str, Any], key: str, default: int | None, table: str, index: int = 0, *, low: float = 0.0
    ) -> int | None:
        value = self.number(data, key, default, table, index, low=low, whole=True)
        return None if value is None else int(value)

    def maybe(self, data: Mapping[str, Any], key: str, table: str = "", index: int = 0) -> bool | None:
        value = data.get(key)
        if value is not None and not isinstance(value, bool):
            self.fault(f"{key} = {value!r} should be true or false, without quotes.", table, key, index)
            return None
        return value

    def flag(self, data: Mapping[str, Any], key: str, table: str = "", index: int = 0) -> bool:
        return bool(self.maybe(data, key, table, index))

    def texts(self, data: Mapping[str, Any], key: str, table: str, index: int = 0) -> tuple[str, ...]:
        """Take one text, or several in square brackets."""
        value = data.get(key, [])
        several = [value] if isinstance(value, str) else value
        if not isinstance(several, list) or not all(isinstance(one, str) and one.strip() for one in several):
            self.fault(f'{key} = {value!r} should be text in quotes, or several: ["...", "..."].', table, key, index)
            return ()
        return tuple(one.strip() for one in several)

    def minutes(self, data: Mapping[str, Any], key: str, table: str) -> float | None:
        """Take minutes, as a number or as a text with a unit."""
        value = data.get(key)
        if isinstance(value, str):
            try:
                quantity = parse_quantity(value, "min")
                if quantity.unit == "s" and quantity.value > 0:
                    return quantity.value / 60
            except UnitError:
                pass
            self.fault(f'{key} = "{value}" cannot be read; write {key} = 150, or "2.5 h".', table, key)
            return None
        return self.number(data, key, None, table, low=1)

    def choice(
        self, data: Mapping[str, Any], key: str, default: str, allowed: Sequence[str], table: str, index: int = 0
    ) -> str:
        value = self.text(data, key, default, table, index)
        if value not in allowed:
            listed = ", ".join(f'"{one}"' for one in allowed)
            self.fault(f'{key} = "{value}" is not one of {listed}.', table, key, index)
            return default
        return value

    def table(self, data: Mapping[str, Any], key: str) -> Mapping[str, Any]:
        value = data.get(key, {})
        if not isinstance(value, dict):
            self.fault(f"{key} should be a table: write [{key}] on a line of its own.", "", key)
            return {}
        if key in KEYS:
            self.unknown(value, key)
        return value

    def tables(self, data: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
        value = data.get(key, [])
        if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
            self.fault(f"each {key} should be a table: write [[{key}]] on a line of its own.", key)
            return []
        for index, one in enumerate(value):
            if key in KEYS:
                self.unknown(one, key, index)
        return value
