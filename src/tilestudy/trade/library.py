"""The trade's data files as frozen records: processes, metals, rub protocols, sheet gauges."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
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

        >>> protocols()["cloth-10"].lines("wet", ("dry", "wet"))[0][:17]
        'Wet comes second,'
        """
        return (*((self.both[condition],) if len(set(conditions)) > 1 else ()), *self.steps[condition])


def _load(name: str) -> dict[str, Any]:
    return tomllib.loads(files("tilestudy.trade").joinpath("data", *name.split("/")).read_text(encoding="utf-8"))


@cache
def process_ids() -> tuple[str, ...]:
    """Return the ids of all process files.

    >>> "sulfide-dip" in process_ids()
    True
    """
    folder = files("tilestudy.trade").joinpath("data", "processes")
    return tuple(sorted(entry.name.removesuffix(".toml") for entry in folder.iterdir() if entry.name.endswith(".toml")))


@cache
def process(process_id: str) -> Process:
    """Return a process by id; raises WrongRequestError when there is no such file.

    >>> process("sulfide-dip").batch_word
    'bath'
    """
    if process_id not in process_ids():
        raise WrongRequestError(f'There is no process "{process_id}". Known: {", ".join(process_ids())}.')
    data = _load(f"processes/{process_id}.toml")
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


@cache
def _metals() -> Mapping[str, Mapping[str, str]]:
    return {entry["uns"]: entry for entry in _load("metals.toml")["metal"]}


def metal_family(uns: str) -> str:
    """Return the family of a UNS number ("copper", "brass", ...), or "unknown".

    >>> metal_family("C26000"), metal_family("")
    ('brass', 'unknown')
    """
    return _metals().get(uns, {}).get("family", "unknown")


def metal_line(metal: Metal) -> str:
    """Describe the sheet in one line for paper.

    >>> metal_line(Metal("C11000", "20 ga", 0.812, "A1"))
    'copper (C11000), 20 ga (0.81 mm), sheet lot A1'
    """
    if not metal.uns:
        return "metal not stated"
    known = _metals().get(metal.uns)
    parts = [f"{known['label']} ({metal.uns})" if known else f"{metal.uns} (an alloy tilestudy does not know)"]
    if metal.gauge:
        thick = "" if metal.thickness_mm is None or "mm" in metal.gauge else f" ({metal.thickness_mm:.2f} mm)"
        parts.append(f"{metal.gauge}{thick}")
    if metal.lot:
        parts.append(f"sheet lot{'s' if ',' in metal.lot else ''} {metal.lot}")
    return ", ".join(parts)


def known_metals() -> tuple[str, ...]:
    """Return the UNS numbers tilestudy knows."""
    return tuple(_metals())


@cache
def protocols() -> Mapping[str, Protocol]:
    """Return the rub protocols by id, the usual one first."""
    return {
        entry["id"]: Protocol(
            entry["id"],
            entry["label"],
            {condition: tuple(lines) for condition, lines in entry["steps"].items()},
            entry["both"],
            entry["source"],
        )
        for entry in _load("rub_protocols.toml")["protocol"]
    }


# Manufacturers' Standard Gauge for uncoated steel sheet, inches (from memory).
_STEEL_INCH = {16: 0.0598, 18: 0.0478, 20: 0.0359, 22: 0.0299, 24: 0.0239, 26: 0.0179}


def thickness_mm(gauge: str, uns: str = "") -> float | None:
    """Return sheet thickness, mm, from a gauge as people write it, or None when it cannot be read.

    Non-ferrous sheet follows the Brown & Sharpe (AWG) gauge, 0.005 in at 36 and a ratio of 92 over 39 steps
    (ASTM B258); steel sheet has a table of its own.

    >>> round(thickness_mm("20 ga"), 4), thickness_mm("0.8 mm"), thickness_mm("thick")
    (0.8118, 0.8, None)
    """
    found = re.match(r"^\s*#?\s*(\d{1,2})\s*(?:ga|gauge|g|awg|b&s)\.?(?:\s*b&s)?\s*$", gauge, re.IGNORECASE)
    if found:
        number = int(found[1])
        if metal_family(uns) == "steel":
            inch = _STEEL_INCH.get(number)
            return None if inch is None else inch * 25.4
        return float(0.005 * 92.0 ** ((36 - number) / 39) * 25.4) if 0 <= number <= 40 else None
    try:
        quantity = parse_quantity(gauge)
    except UnitError:
        return None
    return quantity.value if quantity.unit == "mm" and 0 < quantity.value < 20 else None
