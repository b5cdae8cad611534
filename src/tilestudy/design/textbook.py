"""A textbook family laid out over batches and sessions.

The families and their sources are in `tilestudy.design.families`. Tiles that share their per-batch settings are made
together; each such group is made in `Study.batches_each` fresh batches, whole where the limits allow, else shared over
them. Order is random within these limits.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from math import ceil
from random import Random

from tilestudy.design.families import Candidate, aliases_in_words, candidates
from tilestudy.design.layout import REFERENCES, Clock, Load, batches_in_session, numbered, sessions_of
from tilestudy.errors import PlanError
from tilestudy.study.records import Plan, Setting, Study

KINDS = {
    "two-level grid": "full two-level factorial",
    "fraction": "fraction, resolution",
    "screening": "Plackett-Burman",
    "definitive screening": "definitive screening",
    "array": "orthogonal array",
    "composite": "central composite",
    "box-behnken": "Box-Behnken",
}
"""Values of `Study.choose` for the textbook families, with what their names hold."""


@dataclass(frozen=True)
class TextbookPlan:
    """A plan of a textbook family, the family as it fits the study, and how often each of its tiles is made."""

    plan: Plan
    candidate: Candidate
    times: int


def lay_out_textbook(study: Study, clock: Clock, seed: int, taken: Collection[str] = ()) -> TextbookPlan:
    """Lay out the largest member of the family `study.choose` that fits the limits.

    Raises
    ------
    PlanError
        When the family does not fit the factors or the limits, with what does.
    """
    limits = study.limits
    offered = candidates(study.factors, None, lambda settings: not study.allows(settings))
    fitting = [one for one in offered if KINDS[study.choose] in one.family.name]
    if not fitting:
        known = ", ".join(kind for kind, name in KINDS.items() if any(name in one.family.name for one in offered))
        rules = " and the rules under [[never]]" if study.never else ""
        raise PlanError(
            f"No {study.choose} fits these factors, their numbers of levels{rules}. {f'These do: {known}.' if known else ''} Change choose in the study file."
        )
    rng = Random(seed)
    shortest = ""
    for one in sorted(fitting, key=lambda one: -one.tiles):
        for whole in (True, False):
            loads = _loads(study, one, whole)
            over = _over(study, clock, loads)
            if not over:
                times = sum(len(load[1]) for load in loads) // one.tiles
                plan = numbered(study, _days(study, clock, loads, rng), seed, rng, taken)
                return TextbookPlan(plan, one, times)
            shortest = f"{one.family.name} needs {over}"
    raise PlanError(
        f"No {study.choose} fits the limits; the smallest, {shortest}. Raise that under [limits] ({limits.tiles} tiles)."
    )


def _loads(study: Study, one: Candidate, whole: bool) -> list[Load]:
    """Return the batches to make: each group of tiles in fresh batches, whole or shared out."""
    of_batch = [factor.name for factor in study.factors if factor.set_per != "tile"]
    groups: dict[tuple[Setting, ...], list[dict[str, Setting]]] = defaultdict(list)
    for settings in one.settings:
        rounded = {name: _made(study, name, value) for name, value in settings.items()}
        groups[tuple(rounded[name] for name in of_batch)].append(
            {name: value for name, value in rounded.items() if name not in of_batch}
        )
    each = study.batches_each
    room = study.limits.tiles_per_batch
    loads: list[Load] = []
    for key, tiles in groups.items():
        settings = dict(zip(of_batch, key, strict=True))
        parts = 1 if whole else min(each, len(tiles))
        if room is not None:
            parts = max(parts, ceil(len(tiles) / max(1, room - (REFERENCES if study.reference_tiles else 0))))
        for _ in range(each if whole else 1):
            loads += [(settings, tiles[part::parts]) for part in range(parts)]
    return loads


def _made(study: Study, name: str, value: Setting) -> Setting:
    """Round a setting between the levels to what can be made: whole numbers of a count."""
    factor = study.factor(name)
    if isinstance(value, str) or factor.unit or any(isinstance(level, str) or level % 1 for level in factor.levels):
        return value
    return float(round(value))


def _over(study: Study, clock: Clock, loads: list[Load]) -> str:
    """Say which limits these batches break, or nothing."""
    extra = REFERENCES if study.reference_tiles else 0
    tiles = sum(len(load[1]) + extra for load in loads)
    in_session = batches_in_session(study, clock, max(len(load[1]) for load in loads) + extra)
    sessions = len(loads) if in_session == 0 else ceil(len(loads) / (in_session or len(loads)))
    limits = study.limits
    broken = [
        f"{need} {what} (limit {limit})"
        for what, need, limit in (
            ("tiles", tiles, limits.tiles),
            ("batches", len(loads), limits.batches),
            ("sessions", sessions, limits.sessions),
        )
        if limit is not None and need > limit
    ]
    if in_session == 0:
        broken.append(f"more than {limits.minutes:g} minutes for one batch")
    return " and ".join(broken)


def _days(study: Study, clock: Clock, loads: list[Load], rng: Random) -> list[list[Load]]:
    extra = REFERENCES if study.reference_tiles else 0
    room = batches_in_session(study, clock, max(len(load[1]) for load in loads) + extra) or len(loads)
    by_session: dict[tuple[Setting, ...], list[Load]] = defaultdict(list)
    names = [factor.name for factor in study.factors_set_per("session")]
    for load in loads:
        by_session[tuple(load[0][name] for name in names)].append(load)
    days: list[list[Load]] = []
    for group in by_session.values():
        kinds = [dict(key) for key in dict.fromkeys(tuple(load[0].items()) for load in group)]
        # the first batch of every setting, then the second: whole replicates stay together in a session
        turns: dict[int, list[Load]] = defaultdict(list)
        for kind in kinds:
            for turn, load in enumerate(load for load in group if load[0] == kind):
                turns[turn].append(load)
        for together in turns.values():
            rng.shuffle(together)
        days += sessions_of([load for together in turns.values() for load in together], room, kinds, rng)
    rng.shuffle(days)
    return days


def textbook_in_words(study: Study, found: TextbookPlan) -> list[str]:
    """Say which textbook plan this is, where it comes from, and what it cannot tell apart."""
    one = found.candidate
    often = {1: "once", 2: "twice"}.get(found.times, f"{found.times} times")
    said = [f"Textbook plan: {one.family.name}, made {often} ({one.family.source}).", *one.says]
    labels = [factor.label for factor in study.factors]
    return said + list(aliases_in_words(one.family, labels))[:6]
