"""The hazard rules: what each asks of a bench, and what of the bench meets it.

A rule is a table of hazards.toml. It trips when all of its conditions hold, or when the bench question that it names is
answered "yes". Each condition is one small function here, found by its key.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import permutations
from typing import Any

from tilestudy.study.language import listed
from tilestudy.study.units import plain_number
from tilestudy.trade.hazards.bench import Bench
from tilestudy.trade.hazards.meetings import FIRST, SECOND, WHERE, Meeting, meetings
from tilestudy.trade.hazards.things import REACTIVE, Thing
from tilestudy.trade.library import BUILT_IN, Library

STANDS = ("recipe", "step", "near")
"""Where one thing can stand: in the bath, in a step of the order, or only kept near."""


@dataclass(frozen=True)
class Seen:
    """What of the bench meets a condition, in words ("" for what goes without saying), and the unknown things in it."""

    how: str = ""
    unknown: tuple[Thing, ...] = ()


@dataclass(frozen=True)
class Scene:
    """A bench with its meetings worked out, and what the records tell of the baths: the subject of every rule."""

    bench: Bench
    met: tuple[Meeting, ...]
    past_life: tuple[str, ...] = ()
    cloudy: tuple[str, ...] = ()


def scene(bench: Bench, past_life: Sequence[str] = (), cloudy: Sequence[str] = ()) -> Scene:
    """Work a bench's meetings out, once for all rules."""
    return Scene(bench, meetings(bench), tuple(past_life), tuple(cloudy))


Condition = Callable[[Scene, Mapping[str, Any]], list[Seen]]


def rules_of(library: Library) -> tuple[Mapping[str, Any], ...]:
    """Return the rules of a library; a studio's own never take the place of one that nobody may sign off.

    >>> len(rules_of(BUILT_IN)) == len(BUILT_IN.rules)
    True
    """
    kept = [rule for rule in BUILT_IN.rules if not rule.get("sign", True) and rule not in library.rules]
    return (*kept, *library.rules)


@dataclass(frozen=True)
class Trip:
    """What of a bench trips a rule: in words, None where only what nobody knows might; and what nobody knows."""

    how: tuple[str, ...] | None
    unknown: tuple[Seen, ...]


def tripped(rule: Mapping[str, Any], scene: Scene) -> Trip:
    """Hold a bench against one rule."""
    said = bool(rule.get("answer")) and scene.bench.study.bench.get(rule["answer"]) == "yes"
    held = [CONDITIONS[key](scene, rule) for key in CONDITIONS if key in rule]
    found = [f'[bench] {rule["answer"]} = "yes"'] if said else []
    unknown: list[Seen] = []
    sure = False
    if held and all(held):
        certain = [[one for one in every if not one.unknown] for every in held]
        sure = all(certain)
        found += [one.how for every in certain for one in every if sure and one.how]
        unknown = [one for every in held for one in every if one.unknown]
    return Trip(tuple(dict.fromkeys(found)) if said or sure else None, tuple(dict.fromkeys(unknown)))


def _several(entry: Any) -> frozenset[str]:
    return frozenset([entry] if isinstance(entry, str) else entry)


def _meet(scene: Scene, rule: Mapping[str, Any]) -> list[Seen]:
    first, second = (_several(one) for one in rule["meet"])
    where = _several(rule.get("where", WHERE))
    found = []
    nearest: dict[frozenset[Thing], str] = {}
    for one in scene.met:
        if not (one.where in where or (one.closed and "closed" in where)):
            continue
        pair = frozenset((one.first, one.second))
        # what is in one bath need not be told again, nor that two things of one place are in one room
        if nearest.get(pair) == "recipe" or (pair in nearest and one.where == "room"):
            continue
        if any(a.classes & first and b.classes & second for a, b in permutations((one.first, one.second))):
            nearest.setdefault(pair, one.where)
            both = first | second
            how = one.how.replace(FIRST, one.first.named(both)).replace(SECOND, one.second.named(both))
            found.append(Seen(how, tuple(thing for thing in (one.first, one.second) if not thing.known)))
    return found


_BATH = "in the bath"


def _has(scene: Scene, rule: Mapping[str, Any]) -> list[Seen]:
    wanted, where = _several(rule["has"]), _several(rule.get("stands", STANDS))
    bench = scene.bench
    there = [(thing, _BATH) for thing in bench.liquids] if "recipe" in where else []
    for stop in bench.stops:
        if ("near" if stop.near else "step") in where:
            there += [(thing, stop.name) for thing in stop.things if not (stop.wets and "recipe" in where)]
    plain = rule["level"] == "warn"  # what goes without saying
    return [
        Seen("" if plain and place == _BATH else f"{thing.named(wanted)}, {place}", () if thing.known else (thing,))
        for thing, place in there
        if thing.classes & wanted and (thing.known or rule["level"] == "block")
    ]


def _heat(scene: Scene, rule: Mapping[str, Any]) -> list[Seen]:
    bench = scene.bench
    if rule["heat"] == "flame":
        return [Seen(f"the flame is in {bench.flame.name}")] if bench.flame else []
    if rule["heat"] == "closed":
        return _closed_and_hot(bench)
    return [Seen("" if bench.process.heat else f"{bench.heat} heats")] if bench.heat else []


def _closed_and_hot(bench: Bench) -> list[Seen]:
    """A closed vessel that is heated: by its own step, by the process, or by a factor in degrees above 40 °C."""
    found = []
    for stop in bench.steps:
        if not stop.closed:
            continue
        if stop.heats or stop.flame or (stop.bath and bench.process.heat):
            found.append(Seen(f"{stop.name} is closed and heated"))
        elif stop.bath and bench.hottest_c is not None and bench.hottest_c > 40:
            found.append(Seen(f"{stop.name} is closed, and a factor goes to {plain_number(bench.hottest_c)} °C"))
    return found


def _extraction(scene: Scene, rule: Mapping[str, Any]) -> list[Seen]:
    bench, told = scene.bench, scene.bench.study.workplace.room.extraction
    if rule["extraction"] == "missing":
        return [Seen("[room] says there is none")] if told is False else []
    asked = any(ask["key"] == "extraction_missing" for ask in bench.process.data.get("ask", ()))
    return [Seen()] if told is None and not asked else []


def _above_c(scene: Scene, rule: Mapping[str, Any]) -> list[Seen]:
    """Hotter than so many degrees: by a factor, or by the process that is high heat whatever its factors say."""
    bench = scene.bench
    if bench.hottest_c is not None and bench.heat and bench.hottest_c > rule["above_c"]:
        return [Seen(f"a factor goes to {plain_number(bench.hottest_c)} °C")]
    return [Seen()] if bench.study.process == "high-heat" else []


def _unsaid(scene: Scene, rule: Mapping[str, Any]) -> list[Seen]:
    bench = scene.bench
    if rule["unsaid"] == "recipe":
        return [Seen()] if bench.process.wet and not bench.liquids else []
    reactive = [thing.text for thing in bench.bath if thing.classes & REACTIVE]
    return [Seen(listed(reactive))] if bench.unplaced and reactive else []


def _one_of(value: Callable[[Bench], Collection[str]], key: str) -> Condition:
    return lambda scene, rule: [Seen()] if _several(rule[key]).intersection(value(scene.bench)) else []


def _rub(scene: Scene, rule: Mapping[str, Any]) -> list[Seen]:
    rub = scene.bench.study.rub
    return [Seen()] if rub and _several(rule["rub"]).intersection(rub.conditions) else []


def _bath(scene: Scene, rule: Mapping[str, Any]) -> list[Seen]:
    return [Seen(one) for one in (scene.cloudy if rule["bath"] == "cloudy" else scene.past_life)]


CONDITIONS: Mapping[str, Condition] = {
    "meet": _meet,
    "has": _has,
    "heat": _heat,
    "above_c": _above_c,
    "extraction": _extraction,
    "bath": _bath,
    "unsaid": _unsaid,
    "rub": _rub,
    "processes": _one_of(lambda bench: (bench.study.process,), "processes"),
    "families": _one_of(lambda bench: bench.families, "families"),
    "not_families": lambda scene, rule: [] if scene.bench.families <= _several(rule["not_families"]) else [Seen()],
    "metal_holds": _one_of(lambda bench: bench.holds, "metal_holds"),
    "solder": _one_of(lambda bench: (bench.study.metal.solder,), "solder"),
    "coating": _one_of(lambda bench: (bench.study.metal.coating,), "coating"),
    "water_spoils": lambda scene, rule: [Seen()] if scene.bench.process.wet_rub != rule["water_spoils"] else [],
    "without_step": lambda scene, rule: (
        [] if any(stop.do in _several(rule["without_step"]) for stop in scene.bench.steps) else [Seen()]
    ),
}
"""What a rule can ask, by key: what meets it, or nothing."""
