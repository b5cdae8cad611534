"""What the trade knows: the data files that come with tilestudy, and a studio's own beside or in place of them."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from functools import cache, cached_property
from importlib.resources import files
from pathlib import Path
from typing import Any

from tilestudy.errors import Fault, FaultyFileError, UnitError, WrongRequestError
from tilestudy.study.language import listed
from tilestudy.study.records import Metal
from tilestudy.study.units import parse_quantity
from tilestudy.trade.check import check
from tilestudy.trade.ingredients import Ingredient, Limit, Names, read_ingredient, read_limit
from tilestudy.trade.keys import IDS, TABLES
from tilestudy.trade.records import Process, Protocol, StepKind, read_process, read_protocol, read_step

__all__ = ["BUILT_IN", "Library", "Process"]


@cache
def shipped() -> Mapping[str, str]:
    """Return the texts of the data files that come with tilestudy, by file name; these never change while it runs."""
    folder = files("tilestudy.trade").joinpath("data")
    every = [("", folder), ("processes/", folder.joinpath("processes"))]
    return {
        f"{under}{entry.name}": entry.read_text(encoding="utf-8")
        for under, place in every
        for entry in sorted(place.iterdir(), key=lambda one: one.name)
        if entry.name.endswith(".toml")
    }


@cache
def _shipped(name: str) -> Mapping[str, Any]:
    return tomllib.loads(shipped().get(name, ""))


def _read_own(folder: Path) -> Mapping[str, Mapping[str, Any]]:
    """Read a studio's own files, strictly; raises FaultyFileError with all their faults."""
    texts, faults = {}, []
    for path in sorted(folder.rglob("*.toml")):
        try:
            texts[path.relative_to(folder).as_posix()] = path.read_text(encoding="utf-8-sig")
        except UnicodeDecodeError:
            faults.append(Fault(str(path), None, "not UTF-8 text. Save it again as UTF-8 in your editor."))
    data, found = check(texts, {name: _shipped(name) for name in TABLES}, f"{folder}/") if texts else ({}, [])
    if faults or found:
        raise FaultyFileError([*faults, *found], after="The studio's own trade data were not read.")
    return data


class Library:
    """What the trade knows: the data that come with tilestudy, and a studio's own beside or in place of them.

    Parameters
    ----------
    folder : Path, optional
        The studio's own data: ``processes/*.toml``, ``metals.toml``, ``ingredients.toml``, ``hazards.toml``,
        ``rub_protocols.toml``, ``bench_steps.toml``. An entry with the id of one that is there takes its place; what a
        process file leaves out is taken from the process "other".

    Raises
    ------
    FaultyFileError
        With every fault of the studio's own data.

    Examples
    --------
    >>> BUILT_IN.process("sulfide-dip").batch_word
    'bath'
    """

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = folder
        self._own = _read_own(folder) if folder else {}

    def _entries(self, name: str, table: str, key: str) -> dict[str, Mapping[str, Any]]:
        """The entries of one kind by id, the studio's own in place of those that come with tilestudy."""
        every = [*_shipped(name).get(table, ()), *self._own.get(name, {}).get(table, ())]
        return {entry[key]: entry for entry in every}

    @cached_property
    def told(self) -> tuple[str, ...]:
        """What the studio's own data add to those that come with tilestudy, or put in their place: a sentence a file.

        >>> BUILT_IN.told
        ()
        """
        found = []
        for name, data in self._own.items():
            here = f"{self.folder}/{name}"
            if name.startswith("processes/"):
                process = f'the process "{name[10:-5]}"'
                found.append(f"{here} {'takes the place of' if name in shipped() else 'adds'} {process}.")
                continue
            added: list[str] = []
            replaced: list[str] = []
            for table, key in ((table, key) for file, table, key in IDS.values() if file == name):
                ours = {entry[key] for entry in _shipped(name).get(table, ())}
                for entry in data.get(table, ()):
                    (replaced if entry[key] in ours else added).append(entry[key])
            if name == "metals.toml":
                added += [entry["label"] for entry in data.get("gauge", ())]
            parts = [f"adds {listed(added)}"] if added else []
            parts += [f"takes the place of what tilestudy holds on {listed(replaced)}"] if replaced else []
            found.append(f"{here} {' and '.join(parts)}.")
        return tuple(found)

    @cached_property
    def process_ids(self) -> tuple[str, ...]:
        """The ids of all processes.

        >>> "sulfide-dip" in BUILT_IN.process_ids
        True
        """
        every = {*shipped(), *self._own}
        return tuple(sorted(name[10:-5] for name in every if name.startswith("processes/")))

    @cache  # noqa: B019 - a studio has one library for each state of its files
    def process(self, process_id: str) -> Process:
        """Return a process by id; raises WrongRequestError when there is no such file."""
        if process_id not in self.process_ids:
            raise WrongRequestError(f'There is no process "{process_id}". Known: {", ".join(self.process_ids)}.')
        name = f"processes/{process_id}.toml"
        data = self._own.get(name)
        return read_process(process_id, _shipped(name) if data is None else _filled(data))

    @cached_property
    def metals(self) -> Mapping[str, Mapping[str, Any]]:
        """The metals by UNS number, as written: label, family, composition, density (g/cm3), gauges, holds.

        >>> BUILT_IN.metals["C26000"]["density"]
        8.53
        """
        return self._entries("metals.toml", "metal", "uns")

    def metal_family(self, uns: str) -> str:
        """Return the family of a UNS number ("copper", "brass", ...), or "unknown".

        >>> BUILT_IN.metal_family("C26000"), BUILT_IN.metal_family("")
        ('brass', 'unknown')
        """
        return str(self.metals.get(uns, {}).get("family", "unknown"))

    def metal_line(self, metal: Metal) -> str:
        """Describe the sheet in one line for paper.

        >>> BUILT_IN.metal_line(Metal("C11000", "20 ga", 0.812, "A1"))
        'copper (C11000), 20 ga (0.81 mm), sheet lot A1'
        """
        if not metal.uns:
            return "metal not stated"
        known = self.metals.get(metal.uns)
        parts = [f"{known['label']} ({metal.uns})" if known else f"{metal.uns} (an alloy tilestudy does not know)"]
        if metal.gauge:
            thick = "" if metal.thickness_mm is None or "mm" in metal.gauge else f" ({metal.thickness_mm:.2f} mm)"
            parts.append(f"{metal.gauge}{thick}")
        if metal.lot:
            parts.append(f"sheet lot{'s' if ',' in metal.lot else ''} {metal.lot}")
        return ", ".join(parts)

    @cached_property
    def protocols(self) -> Mapping[str, Protocol]:
        """The rub protocols by id, the usual one first."""
        every = self._entries("rub_protocols.toml", "protocol", "id")
        return {one: read_protocol(entry) for one, entry in every.items()}

    @cached_property
    def bench_steps(self) -> Mapping[str, StepKind]:
        """What can be done at the bench, by id.

        >>> BUILT_IN.bench_steps["rinse"].rinses, BUILT_IN.bench_steps["torch"].flame
        (True, True)
        """
        return {one: read_step(entry) for one, entry in self._entries("bench_steps.toml", "step", "id").items()}

    @cached_property
    def ingredients(self) -> Mapping[str, Ingredient]:
        """The ingredients by id."""
        every = self._entries("ingredients.toml", "ingredient", "id")
        return {one: read_ingredient(entry) for one, entry in every.items()}

    @cached_property
    def limits(self) -> Mapping[str, Limit]:
        """How much people may breathe, by agent.

        >>> BUILT_IN.limits["hydrogen sulfide"].ppm
        10
        """
        return {one: read_limit(entry) for one, entry in self._entries("ingredients.toml", "limit", "agent").items()}

    @cached_property
    def _names(self) -> Names:
        return Names(self.ingredients.values())

    def ingredient(self, text: str) -> Ingredient | None:
        """Return the ingredient that people call so, or None: it never guesses.

        Capitals, hyphens, plurals, strengths, the order of words, "warm" or "solution" make no difference.

        >>> BUILT_IN.ingredient("Vinegar (white), 5 %").id, BUILT_IN.ingredient("grandfather's secret")
        ('vinegar', None)
        """
        return self._names.find(text)

    def things(self, text: str) -> tuple[Ingredient | None, ...]:
        """Return the ingredients of a text that may name several; None stands for each that nobody knows.

        >>> [one.id if one else None for one in BUILT_IN.things("salt and vinegar, a pinch of mystery")]
        ['salt', 'vinegar', None]
        """
        return self._names.find_all(text)

    @cached_property
    def rules(self) -> tuple[Mapping[str, Any], ...]:
        """The hazard rules, as written."""
        return tuple(self._entries("hazards.toml", "rule", "id").values())

    def thickness_mm(self, gauge: str, uns: str = "") -> float | None:
        """Return sheet thickness, mm, from a gauge as people write it, or None when it cannot be read.

        Sheet follows the Brown & Sharpe (AWG) gauge, 0.005 in at 36 and a ratio of 92 over 39 steps (ASTM B258), but
        for families that have a table of their own in metals.toml, such as steel.

        >>> round(BUILT_IN.thickness_mm("20 ga"), 4), BUILT_IN.thickness_mm("0.8 mm"), BUILT_IN.thickness_mm("thick")
        (0.8118, 0.8, None)
        """
        found = re.match(r"^\s*#?\s*(\d{1,2})\s*(?:ga|gauge|g|awg|b&s)\.?(?:\s*b&s)?\s*$", gauge, re.IGNORECASE)
        if found:
            number = int(found[1])
            family = self.metal_family(uns)
            tables = (*self._own.get("metals.toml", {}).get("gauge", ()), *_shipped("metals.toml")["gauge"])
            for table in tables:
                if family in table["families"]:
                    inch = table["inch"].get(str(number))
                    return None if inch is None else float(inch) * 25.4
            return float(0.005 * 92.0 ** ((36 - number) / 39) * 25.4) if 0 <= number <= 40 else None
        try:
            quantity = parse_quantity(gauge)
        except UnitError:
            return None
        return quantity.value if quantity.unit == "mm" and 0 < quantity.value < 20 else None


def _filled(data: Mapping[str, Any]) -> Mapping[str, Any]:
    """A studio's own process, with what its file leaves out taken from the process of which nothing is assumed."""
    other = _shipped("processes/other.toml")
    inside = {key: {**other[key], **data.get(key, {})} for key in ("minutes", "mix", "words")}
    return {**other, **data, **inside}


BUILT_IN = Library()
"""What comes with tilestudy, without anything of a studio's own."""
