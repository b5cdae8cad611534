"""Every rule held against one study."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from tilestudy.study.records import BatchLog, Made, Plan, Study
from tilestudy.trade.hazards.baths import cloudy, past_life
from tilestudy.trade.hazards.bench import Bench, read_bench
from tilestudy.trade.hazards.finding import Hazard
from tilestudy.trade.hazards.gas import gases, not_reckoned
from tilestudy.trade.hazards.rules import Seen, rules_of, scene, tripped
from tilestudy.trade.hazards.signing import signed
from tilestudy.trade.library import Library

_MANY, _MANY_UNKNOWN = 8, 3  # so many sightings of one rule, of one unknown thing, are told; the rest are counted
_ORDER = ("block", "signed", "warn")


def check(
    study: Study,
    library: Library,
    logs: Sequence[BatchLog] = (),
    made: Sequence[Made] = (),
    now: datetime | None = None,
    plan: Plan | None = None,
) -> tuple[Hazard, ...]:
    """Return the hazards that stand for this study, blocking ones first.

    Parameters
    ----------
    study, library
        The study with its workplace, and what the trade knows.
    logs, made : sequences of BatchLog, Made
        What was recorded of its baths and tiles: a bath used past its life, a cloudy one.
    now : datetime, optional
        Local time without a zone: whether a bath that tiles still wait for is past its life.
    plan : Plan, optional
        Which tiles belong to which bath.

    Returns
    -------
    tuple of Hazard
        One for each rule that trips, one for each thing nobody knows, one for each gas above its limit, one for each
        sign-off that counts for nothing.

    Examples
    --------
    >>> from tilestudy.study.records import Metal
    >>> from tilestudy.study.workplace import Added, Workplace
    >>> from tilestudy.trade.library import BUILT_IN
    >>> bath = Workplace(added=(Added("white vinegar", 20.0, "mL/L"),))
    >>> found = check(Study("s", "", "sulfide-dip", (), Metal("C11000"), workplace=bath), BUILT_IN)
    >>> found[0].id, found[0].level, found[0].may_sign
    ('sulfide-acid', 'block', False)
    """
    bench = read_bench(study, library)
    word = study.batch_word or bench.process.batch_word
    seen = scene(bench, past_life(bench.process.life_h, logs, made, plan, now, word), cloudy(logs, made, word))
    rules = rules_of(library)
    found: list[Hazard] = []
    unknown: list[Seen] = []
    for rule in rules:
        trip = tripped(rule, seen)
        if trip.how is not None:
            found.append(_finding(rule, trip.how, study))
        if rule["level"] == "block":
            unknown += trip.unknown
    found += [*_not_known(bench, unknown), *_in_the_air(bench)]
    found = list(signed(_once(found), study.workplace.signed, (rule["id"] for rule in rules)))
    return tuple(sorted(found, key=lambda one: _ORDER.index(one.level)))


def _once(found: Iterable[Hazard]) -> list[Hazard]:
    return list(dict.fromkeys(found))


def _finding(rule: Mapping[str, Any], how: tuple[str, ...], study: Study) -> Hazard:
    here = f" Here: {_told(how, _MANY)}." if how else ""
    blocks, anybody, alone = rule["level"] == "block", rule.get("sign", True), rule.get("alone", False)
    by_oneself = study.workplace.room.people == 1
    return Hazard(
        rule["id"],
        rule["level"],
        f"{rule['says']}{here}",
        rule.get("next", "").rstrip("."),
        rule["source"],
        rule.get("title", ""),
        how,
        may_sign=blocks and (anybody or (alone and by_oneself)),
        why_not="only somebody who works alone may sign it off, and then writes people = 1 under [room]"
        if blocks and alone and not by_oneself
        else "",
    )


def _told(how: Sequence[str], most: int) -> str:
    more = len(how) - most
    return "; ".join([*how[:most], *([f"and {more} more"] if more > 0 else [])])


def _not_known(bench: Bench, unknown: Sequence[Seen]) -> list[Hazard]:
    """One finding for each thing nobody knows: blocking where it would trip a blocking rule if it were the worst of all."""
    every = [*bench.bath, *(thing for stop in bench.stops for thing in stop.things)]
    remedy = (
        "Look on its bottle or safety data sheet what it is and write that name, or tell its classes in "
        "experiments/trade/ingredients.toml"
    )
    found = []
    for thing in dict.fromkeys(thing for thing in every if not thing.known):
        how = tuple(dict.fromkeys(one.how for one in unknown if thing in one.unknown))
        name = thing.text if '"' in thing.text else f'"{thing.text}"'
        if how:
            here = _told(how, _MANY_UNKNOWN).replace(" (not known)", "")
            says = (
                f"tilestudy does not know {name}. Until it does, that counts as everything that reacts. Here: {here}."
            )
            found.append(Hazard("unknown-ingredient", "block", says, remedy, _UNKNOWN, "Not known", how))
        else:
            says = (
                f"tilestudy does not know {name}. As far as this study tells, it meets nothing that reacts; what it "
                "does to people is on its safety data sheet."
            )
            found.append(Hazard("unknown-ingredient", "warn", says, remedy, _UNKNOWN, "Not known"))
    return found


_UNKNOWN = "common practice, no source"


def _in_the_air(bench: Bench) -> list[Hazard]:
    found = [
        Hazard(
            f"gas-{gas.agent.replace(' ', '-')}",
            "warn",
            gas.says,
            gas.lower,
            gas.limit.text,
            f"Worst case: {gas.agent}",
        )
        for gas in gases(bench)
        if gas.over is not None
    ]
    if why := not_reckoned(bench):
        says = f"How much gas one bath could give off at the very worst cannot be reckoned: {why}."
        found.append(Hazard("gas-not-reckoned", "warn", says, "", _UNKNOWN, "Worst case not reckoned"))
    return found
