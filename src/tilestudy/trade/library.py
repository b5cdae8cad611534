"""The trade's data files as frozen records: processes, metals, rub protocols, sheet gauges."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from importlib.resources import files
from pathlib import Path
from typing import Any

from tilestudy.errors import UnitError, WrongRequestError
from tilestudy.study.records import Metal
from tilestudy.study.units import parse_quantity


@dataclass(frozen=True)
class BenchWords:
    """What the bench pack of a process says on its cards, sheets and checklists.

    Attributes
    ----------
    make, out : str
        Heading of the steps on a card ("Make it"); what stands before its end or change-over ("Out of use").
    blanks, measured : tuple of str
        Blanks to write on a card, in pairs; when each measured setting is to be written down ("at start", "at end").
    mishaps, bring, waste : str
        Questions that jog the memory; what to have at hand; what is left over ("": nothing that needs a rule).
    closing : tuple of str
        Checklist for clearing up.
    """

    make: str
    out: str
    blanks: tuple[str, ...]
    measured: tuple[str, ...]
    mishaps: str
    bring: str
    waste: str
    closing: tuple[str, ...]


@dataclass(frozen=True)
class Process:
    """A family of treatments, as its data file tells it.

    `wet` is True where liquids are used; `minutes` are for setting up, clearing up, each batch and each tile (beside its
    time in the bath), `session_minutes` a session that holds each per-batch setting once; `data` keeps the file's
    further tables (factor, ingredient, mix, step, protection, caution, ask) as written.
    """

    id: str
    label: str
    batch_word: str
    heat: bool
    wet: bool
    wet_rub: bool
    minutes: Mapping[str, float]
    session_minutes: float
    words: BenchWords
    density_g_per_ml: float | None
    data: Mapping[str, Any]


@dataclass(frozen=True)
class Protocol:
    """A rub protocol: id, label, the steps and (where dry and wet are both asked for) the place of each rub, and its source.

    `steps` and `both` are by condition, "dry" and "wet".
    """

    id: str
    label: str
    steps: Mapping[str, tuple[str, ...]]
    both: Mapping[str, str]
    source: str

    def lines(self, condition: str, conditions: Collection[str]) -> tuple[str, ...]:
        """Return the lines to follow under one condition of those asked for.

        >>> BUILT_IN.protocols["cloth-10"].lines("wet", ("dry", "wet"))[0][:17]
        'Wet comes second,'
        """
        return (*((self.both[condition],) if len(set(conditions)) > 1 else ()), *self.steps[condition])


# Manufacturers' Standard Gauge for uncoated steel sheet, inches (from memory).
_STEEL_INCH = {16: 0.0598, 18: 0.0478, 20: 0.0359, 22: 0.0299, 24: 0.0239, 26: 0.0179}


@cache
def _shipped(name: str) -> Mapping[str, Any]:
    """A data file that comes with tilestudy; these never change while it runs."""
    return tomllib.loads(files("tilestudy.trade").joinpath("data", *name.split("/")).read_text(encoding="utf-8"))


@cache
def _shipped_processes() -> tuple[str, ...]:
    folder = files("tilestudy.trade").joinpath("data", "processes")
    return tuple(sorted(entry.name.removesuffix(".toml") for entry in folder.iterdir() if entry.name.endswith(".toml")))


class Library:
    """What the trade knows: the data that come with tilestudy, and a studio's own beside or in place of them.

    Parameters
    ----------
    folder : Path, optional
        The studio's own data: ``processes/*.toml``, ``metals.toml``, ``ingredients.toml``, ``hazards.toml``,
        ``rub_protocols.toml``, ``bench_steps.toml``. An entry with the id of one that is there takes its place.

    Examples
    --------
    >>> BUILT_IN.process("sulfide-dip").batch_word
    'bath'
    """

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = folder

    def _own(self, name: str) -> Mapping[str, Any]:
        path = self.folder / name if self.folder else None
        if path is None or not path.is_file():
            return {}
        return tomllib.loads(path.read_text(encoding="utf-8"))

    def _entries(self, name: str, table: str, key: str) -> dict[str, Mapping[str, Any]]:
        """The entries of one kind by id, the studio's own in place of those that come with tilestudy."""
        every = [*_shipped(name).get(table, ()), *self._own(name).get(table, ())]
        return {entry[key]: entry for entry in every}

    @cached_property
    def process_ids(self) -> tuple[str, ...]:
        """The ids of all processes.

        >>> "sulfide-dip" in BUILT_IN.process_ids
        True
        """
        own = {path.stem for path in (self.folder / "processes").glob("*.toml")} if self.folder else set()
        return tuple(sorted({*_shipped_processes(), *own}))

    @cache  # noqa: B019 - a studio has one library for each state of its files
    def process(self, process_id: str) -> Process:
        """Return a process by id; raises WrongRequestError when there is no such file."""
        if process_id not in self.process_ids:
            raise WrongRequestError(f'There is no process "{process_id}". Known: {", ".join(self.process_ids)}.')
        name = f"processes/{process_id}.toml"
        return _process(process_id, self._own(name) or _shipped(name))

    @cached_property
    def metals(self) -> Mapping[str, Mapping[str, Any]]:
        """The metals by UNS number."""
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
        return {
            entry["id"]: Protocol(
                entry["id"],
                entry["label"],
                {condition: tuple(lines) for condition, lines in entry["steps"].items()},
                entry["both"],
                entry["source"],
            )
            for entry in self._entries("rub_protocols.toml", "protocol", "id").values()
        }

    @cached_property
    def rules(self) -> tuple[Mapping[str, Any], ...]:
        """The hazard rules, as written."""
        return tuple(self._entries("hazards.toml", "rule", "id").values())

    def thickness_mm(self, gauge: str, uns: str = "") -> float | None:
        """Return sheet thickness, mm, from a gauge as people write it, or None when it cannot be read.

        Non-ferrous sheet follows the Brown & Sharpe (AWG) gauge, 0.005 in at 36 and a ratio of 92 over 39 steps
        (ASTM B258); steel sheet has a table of its own.

        >>> round(BUILT_IN.thickness_mm("20 ga"), 4), BUILT_IN.thickness_mm("0.8 mm"), BUILT_IN.thickness_mm("thick")
        (0.8118, 0.8, None)
        """
        found = re.match(r"^\s*#?\s*(\d{1,2})\s*(?:ga|gauge|g|awg|b&s)\.?(?:\s*b&s)?\s*$", gauge, re.IGNORECASE)
        if found:
            number = int(found[1])
            if self.metal_family(uns) == "steel":
                inch = _STEEL_INCH.get(number)
                return None if inch is None else inch * 25.4
            return float(0.005 * 92.0 ** ((36 - number) / 39) * 25.4) if 0 <= number <= 40 else None
        try:
            quantity = parse_quantity(gauge)
        except UnitError:
            return None
        return quantity.value if quantity.unit == "mm" and 0 < quantity.value < 20 else None


def _process(process_id: str, data: Mapping[str, Any]) -> Process:
    spooned = data.get("spooned", {})
    words = data["words"]
    return Process(
        process_id,
        data["label"],
        data["batch_word"],
        data["heat"],
        data["wet"],
        data["wet_rub"],
        data["minutes"],
        data["session_minutes"],
        BenchWords(
            words["make"],
            words["out"],
            tuple(words["blanks"]),
            tuple(words.get("measured", ("",))),
            words["mishaps"],
            words["bring"],
            words["waste"],
            tuple(words["closing"]),
        ),
        spooned.get("density_g_per_ml"),
        data,
    )


BUILT_IN = Library()
"""What comes with tilestudy, without anything of a studio's own."""
