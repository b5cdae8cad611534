"""Checks a studio's own trade data, strictly: every key known, every value of its kind, every id there, a source for each fact.

A misspelt class that is silently ignored would let acid meet sulfide; so all faults are listed, each at its line, and
nothing is read until they are mended. The files that come with tilestudy pass the same check (a test).
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from tilestudy.colour.names import colour_named
from tilestudy.errors import Fault, UnitError
from tilestudy.study.file import DARKEST
from tilestudy.study.reader import Reader
from tilestudy.study.units import parse_quantity, stored_unit
from tilestudy.trade.ingredients import CLASSES, Names, read_ingredient
from tilestudy.trade.keys import IDS, TABLES, Key


def parse(text: str, file: str) -> tuple[Mapping[str, Any], list[Fault]]:
    """Read TOML; a file that cannot be read is one fault."""
    try:
        return tomllib.loads(text), []
    except tomllib.TOMLDecodeError as error:
        where = re.search(r"\(at line (\d+)", str(error))
        what = re.sub(r"\s*\(at .*\)$", "", str(error))
        told = f"not readable as TOML: {what}. Check quotes and brackets."
        return {}, [Fault(file, int(where[1]) if where else None, told)]


def check(
    texts: Mapping[str, str], shipped: Mapping[str, Mapping[str, Any]], place: str = ""
) -> tuple[Mapping[str, Mapping[str, Any]], list[Fault]]:
    """Read trade data and return them, by file, with all faults.

    Parameters
    ----------
    texts : mapping of str to str
        TOML by file name, such as "ingredients.toml" and "processes/tea.toml".
    shipped : mapping of str to mapping
        The data that come with tilestudy, which these stand beside.
    place : str
        Put before file names in faults: "experiments/trade/".

    Examples
    --------
    >>> str(check({"bench_steps.toml": '[[step]]\\nid = "bury"\\nlable = "bury"\\nlabel = "bury"'}, {}, "trade/")[1][0])
    'trade/bench_steps.toml, line 3: the key "lable" is not known in [[step]]. Did you mean "label"?'
    """
    faults: list[Fault] = []
    data: dict[str, Mapping[str, Any]] = {}
    for name, text in texts.items():
        schema = _schema(name)
        if schema is None:
            near = difflib.get_close_matches(name, TABLES, n=1)
            hint = f'Is it "{near[0]}"?' if near else f"Known: {', '.join(TABLES)}/NAME.toml."
            faults.append(Fault(place + name, None, f"not a file of trade data. {hint}"))
            continue
        data[name], unread = parse(text, place + name)
        faults += unread
    ids = {kind: {*_ids(shipped, *where), *_ids(data, *where)} for kind, where in IDS.items()}
    for name in data:
        reader = Reader(texts[name], place + name)
        one = _File(reader, data[name], _schema(name) or {}, ids)
        one.tables()
        if not one.reader.faults:
            _further(one, name, data, shipped)
        faults += sorted(one.reader.faults, key=lambda fault: fault.line or 0)
    return data, faults


def _schema(name: str) -> Mapping[str, Mapping[str, Key]] | None:
    folder, _, rest = name.rpartition("/")
    if folder == "processes" and re.fullmatch(r"[a-z0-9][a-z0-9-]*\.toml", rest):
        return TABLES["processes"]
    return None if folder or name == "processes" else TABLES.get(name)


def _ids(data: Mapping[str, Mapping[str, Any]], file: str, table: str, key: str) -> Iterator[str]:
    entries = data.get(file, {}).get(table, ())
    for entry in entries if isinstance(entries, list | tuple) else ():
        if isinstance(entry, dict) and isinstance(entry.get(key), str):
            yield entry[key]


class _File:
    """One file being checked against its keys."""

    def __init__(
        self,
        reader: Reader,
        data: Mapping[str, Any],
        schema: Mapping[str, Mapping[str, Key]],
        ids: Mapping[str, set[str]],
    ) -> None:
        self.reader, self.data, self.schema = reader, data, schema
        factors = data.get("factor", ())
        own = [one.get("name") for one in factors if isinstance(one, dict)] if isinstance(factors, list) else []
        self.ids: Mapping[str, set[str]] = {**ids, "factor": {name for name in own if isinstance(name, str)}}

    def tables(self) -> None:
        """Check every table: known, of its shape, each key in it known and of its kind."""
        names = {name.strip("[]"): name for name in self.schema}
        top = self.schema.get("", {})
        self._table({key: value for key, value in self.data.items() if key not in names or key == ""}, top, "", "", 0)
        for table, written in names.items():
            if table not in self.data or not table:
                continue
            value, many = self.data[table], written.startswith("[[")
            entries = value if many and isinstance(value, list) else [value]
            if many != isinstance(value, list) or not all(isinstance(one, dict) for one in entries):
                self.reader.fault(f"write {written} on a line of its own, and its keys below it.", "", table)
                continue
            for index, entry in enumerate(entries):
                self._table(entry, self.schema[written], written, table, index)

    def _table(self, entry: Mapping[str, Any], keys: Mapping[str, Key], written: str, table: str, index: int) -> None:
        here = [*keys, *(name for name in self.schema if name)] if not written else [*keys]
        for key, value in entry.items():
            if key not in keys:
                near = difflib.get_close_matches(key, [one.strip("[]") for one in here], n=1)
                hint = f'Did you mean "{near[0]}"?' if near else f"Known here: {', '.join(here)}."
                self.fault(
                    f'the key "{key}" is not known{f" in {written}" if written else ""}. {hint}', table, key, index
                )
            else:
                self._value(key, value, keys[key], table, index, entry)
        for key, what in keys.items():
            if what.needed and entry.get(key) in (None, "", [], {}):
                why = ' (write "common practice, no source" where there is none)' if key == "source" else ""
                self.fault(f"{key} is missing{f' in {written}' if written else ''}{why}.", table, key, index)

    def fault(self, what: str, table: str, key: str, index: int) -> None:
        """Note a fault, at the key's line or the table's."""
        self.reader.fault(what, table, key, index)

    def _value(self, key: str, value: Any, what: Key, table: str, index: int, entry: Mapping[str, Any]) -> None:
        reader, before = self.reader, len(self.reader.faults)
        texts: Sequence[str] = ()
        if what.kind == "text":
            texts = [reader.text(entry, key, "", table, index)]
        elif what.kind == "texts":
            texts = reader.texts(entry, key, table, index)
        elif what.kind == "number":
            number = reader.number(entry, key, None, table, index)
            if number == 0 and table != "minutes":
                self.fault(f"{key} should be above 0.", table, key, index)
        elif what.kind == "flag":
            reader.maybe(entry, key, table, index)
        elif what.kind == "table":
            if not isinstance(value, dict):
                self.fault(f'{key} should be several values by name: {key} = {{ "name" = ... }}.', table, key, index)
            elif what.of:
                texts = list(value)
        elif not isinstance(value, list) or (
            what.kind == "numbers" and not all(isinstance(one, int | float) and one > 0 for one in value)
        ):
            self.fault(f"{key} = {value!r} should be a list in square brackets.", table, key, index)
        if len(reader.faults) > before or not what.of:
            return
        known = sorted(self.ids[what.of]) if isinstance(what.of, str) else list(what.of)
        for text in texts:
            if text and text not in known:
                near = difflib.get_close_matches(text, known, n=1)
                hint = f'Did you mean "{near[0]}"?' if near else f"Known: {', '.join(known) or 'none'}."
                self.fault(f'{key}: "{text}" is not known. {hint}', table, key, index)


def _further(
    one: _File, name: str, data: Mapping[str, Mapping[str, Any]], shipped: Mapping[str, Mapping[str, Any]]
) -> None:
    """Check what goes beyond single values, in a file whose values are sound."""
    for file, table, key in IDS.values():
        if file == name:
            seen: set[str] = set()
            for index, entry in enumerate(one.data.get(table, ())):
                if entry[key] in seen:
                    one.fault(f'the {key} "{entry[key]}" is there twice.', table, key, index)
                seen.add(entry[key])
    if name == "ingredients.toml":
        _ingredients(one, data, shipped)
    elif name == "metals.toml":
        for index, entry in enumerate(one.data.get("metal", ())):
            if not re.fullmatch(r"[A-Z]\d{5}", entry["uns"]):
                one.fault(f'"{entry["uns"]}" is no UNS number: a capital and five digits.', "metal", "uns", index)
            if "density" in entry and not entry.get("density_source"):
                one.fault("density needs density_source: where that is from.", "metal", "density", index)
        for index, entry in enumerate(one.data.get("gauge", ())):
            if not all(
                re.fullmatch(r"\d+", no) and isinstance(at, float) and at > 0 for no, at in entry["inch"].items()
            ):
                one.fault('inch holds gauge numbers and inches: { "20" = 0.0359 }.', "gauge", "inch", index)
    elif name == "rub_protocols.toml":
        for index, entry in enumerate(one.data.get("protocol", ())):
            steps, both = entry["steps"], entry["both"]
            whole = steps.keys() == both.keys() == {"dry", "wet"} and all(isinstance(x, str) for x in both.values())
            if not whole or not all(isinstance(x, list) and x for x in steps.values()):
                one.fault(
                    "a protocol has steps.dry and steps.wet (lists), both.dry and both.wet (texts).",
                    "protocol",
                    "id",
                    index,
                )
    elif name == "hazards.toml":
        for index, entry in enumerate(one.data.get("rule", ())):
            if not set(entry) - {"id", "level", "says", "source", "next", "title", "sign", "alone", "where", "stands"}:
                one.fault("nothing trips this rule; give it meet, has, heat, processes ...", "rule", "id", index)
            meet = entry.get("meet", ["acid", "acid"])
            sides = [[side] if isinstance(side, str) else side for side in meet]
            if len(sides) != 2 or not all(
                isinstance(side, list) and side and set(side) <= set(CLASSES) for side in sides
            ):
                one.fault(
                    f'meet holds two classes, or two lists of them: ["acid", "sulfide"]. Known: {", ".join(CLASSES)}.',
                    *("rule", "meet", index),
                )
    elif name.startswith("processes/"):
        _process(one)


def _ingredients(one: _File, data: Mapping[str, Mapping[str, Any]], shipped: Mapping[str, Mapping[str, Any]]) -> None:
    tables = one.data.get("ingredient", [])
    for index, entry in enumerate(tables):
        if ("poison" in entry["classes"]) != bool(entry.get("poison")):
            one.fault(
                'what has the class "poison" says which: poison = "lead"; and the other way round.',
                *("ingredient", "classes", index),
            )
        if not all(isinstance(mol, int | float) and mol > 0 for mol in entry.get("gives", {}).values()):
            one.fault("gives holds mol for each mol, above 0.", "ingredient", "gives", index)
    places = {entry["id"]: index for index, entry in enumerate(tables)}
    others = [entry for entry in shipped.get("ingredients.toml", {}).get("ingredient", ()) if entry["id"] not in places]
    for text, new, there in Names(read_ingredient(entry) for entry in (*others, *tables)).twice:
        one.fault(
            f'the name "{text}" is that of "{there}" already; leave it out, or write id = "{there}" to take its place.',
            *("ingredient", "names", places[new]),
        )


def _process(one: _File) -> None:
    target = one.data.get("target", DARKEST)
    if target != DARKEST and colour_named(target) is None:
        one.fault(f'target = "{target}" is no colour name of ISCC-NBS, nor "{DARKEST}".', "", "target", 0)
    if not one.data.get("factor"):
        one.fault("there is no [[factor]]: a process has at least one thing to vary.", "", "label", 0)
    if "life_h" in one.data and not one.data.get("life_source"):
        one.fault("life_h needs life_source: where that is from.", "", "life_h", 0)
    for index, factor in enumerate(one.data.get("factor", ())):
        _factor(one, factor, index)
    for index, part in enumerate(one.data.get("ingredient", ())):
        if "factor" in part and "amount" in part:
            one.fault("give either factor or amount, not both.", "ingredient", "amount", index)
        elif "amount" in part:
            try:
                fits = parse_quantity(part["amount"]).unit in ("g/L", "mL/L", "%")
            except UnitError:
                fits = False
            if not fits:
                one.fault('amount should be so much in each litre, such as "20 mL/L".', "ingredient", "amount", index)


def _factor(one: _File, factor: Mapping[str, Any], index: int) -> None:
    """Check that a factor's levels make a study: two or more, names or rising numbers, in a unit there is."""
    levels, numbers = factor["levels"], [level for level in factor["levels"] if type(level) in (int, float)]
    names = [level for level in levels if isinstance(level, str)]
    if not re.fullmatch(r"[a-z][a-z0-9_]*", factor["name"]):
        one.fault("name holds small letters, digits and underscores, such as dip_time.", "factor", "name", index)
    try:
        stored_unit(factor.get("unit", ""))
    except UnitError as error:
        one.fault(str(error), "factor", "unit", index)
    if (
        len(levels) < 2
        or levels not in (numbers, names)
        or len(set(levels)) < len(levels)
        or sorted(numbers) != numbers
    ):
        one.fault("levels holds two or more numbers that rise, or names in quotes.", "factor", "levels", index)
    elif factor["spacing"] == "geometric" and any(level <= 0 for level in numbers):
        one.fault("with geometric spacing every level is above 0.", "factor", "levels", index)
    elif names and factor["spacing"] != "steps":
        one.fault('names have no scale: spacing = "steps".', "factor", "spacing", index)
