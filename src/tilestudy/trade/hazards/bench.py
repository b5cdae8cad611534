"""What a study tells of its bench, read into things, steps and where each thing is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from tilestudy.study.records import Study
from tilestudy.study.workplace import BenchStep
from tilestudy.trade.hazards.things import REACTIVE, Thing, thing_of, things
from tilestudy.trade.library import BUILT_IN, Library
from tilestudy.trade.records import Process, StepKind

STRENGTHS = ("g/L", "mL/L", "%")
"""Units of a factor that says how much of something is in the bath."""


@dataclass(frozen=True)
class Stop:
    """One step as it stands on the bench: what it is done with, and what it does to what a tile carries.

    Attributes
    ----------
    number : int
        From 1; 0 for a thing nearby.
    do : str
        Id of the bench step.
    mixtures : tuple of tuple of Thing
        What it is done with; the things of one mixture are together whatever the step.
    wets : bool
        True for a kind of step that brings a tile into or under a liquid or gas: dip, brush, spray, fume, bury.
    bath : bool
        True where a tile meets the study's bath.
    rinse : bool
        True for a rinse in water and nothing else: what a tile carried is gone after it.
    heats, flame, closed : bool
    place, bucket, jar : str
    tools : tuple of str
    """

    number: int
    do: str
    mixtures: tuple[tuple[Thing, ...], ...]
    wets: bool = False
    bath: bool = False
    rinse: bool = False
    heats: bool = False
    flame: bool = False
    closed: bool = False
    place: str = ""
    tools: tuple[str, ...] = ()
    bucket: str = ""
    jar: str = ""

    @property
    def things(self) -> tuple[Thing, ...]:
        """Everything it is done with, once each."""
        return tuple(dict.fromkeys(thing for mixture in self.mixtures for thing in mixture))

    @property
    def near(self) -> bool:
        """True for what is only kept in the room."""
        return self.number == 0

    @property
    def name(self) -> str:
        """``step 3 (dip)``; ``kept near``."""
        return "kept near" if self.near else f"step {self.number} ({self.do})"


@dataclass(frozen=True)
class Bench:
    """A study's bench: its bath, its steps in order, and what is kept near.

    `own_sequence` is False where the order of steps is the process's; `unplaced` is True where the order names no step
    in which a tile meets the bath.
    """

    study: Study
    library: Library
    process: Process
    bath: tuple[Thing, ...]
    steps: tuple[Stop, ...]
    near: tuple[Stop, ...]
    own_sequence: bool
    unplaced: bool

    @cached_property
    def stops(self) -> tuple[Stop, ...]:
        """Steps, and what is near."""
        return (*self.steps, *self.near)

    @cached_property
    def liquids(self) -> tuple[Thing, ...]:
        """The bath, and what else a step dips, brushes or fumes with."""
        return tuple(dict.fromkeys([*self.bath, *(thing for stop in self.steps if stop.wets for thing in stop.things)]))

    @cached_property
    def metals(self) -> tuple[str, ...]:
        """UNS numbers of the metal, and of the metals that are levels of a factor ("C26000", "brass")."""
        named = {level.casefold() for one in self.study.factors for level in one.levels if isinstance(level, str)}
        varied = [uns for uns, about in self.library.metals.items() if named & _metal_names(uns, about)]
        return (*varied, self.study.metal.uns) if self.study.metal.uns or not varied else tuple(varied)

    @cached_property
    def families(self) -> frozenset[str]:
        """Families of the metals; "unknown" for one nobody knows."""
        return frozenset(self.library.metal_family(one) for one in self.metals)

    @cached_property
    def holds(self) -> frozenset[str]:
        """What poisons the metals hold, by their data."""
        return frozenset(one for uns in self.metals for one in self.library.metals.get(uns, {}).get("holds", ()))

    @cached_property
    def flame(self) -> Stop | None:
        """The first step with a flame."""
        return next((stop for stop in self.steps if stop.flame), None)

    @cached_property
    def heat(self) -> str:
        """What heats the metal, in words; "" for nothing."""
        if self.process.heat:
            return "the process itself"
        return next((stop.name for stop in self.steps if stop.heats or stop.flame), "")

    @cached_property
    def hottest_c(self) -> float | None:
        """The highest setting of a factor in degrees, °C."""
        found = [
            level
            for factor in self.study.factors
            if factor.unit == "degC"
            for level in factor.levels
            if not isinstance(level, str)
        ]
        return max(found, default=None)


def read_bench(study: Study, library: Library) -> Bench:
    """Read what stands on the bench of a study, in the words of the hazard rules.

    The bath holds the recipe of the process, what the study file adds, and each named level and each strength of a factor
    that is an ingredient ("vinegar" of a factor "additive", a factor "ammonia"). Without a [[sequence]] the process's usual
    order is taken.
    """
    process = library.process(study.process)
    bath = _once(_bath(study, library, process))
    steps = study.workplace.sequence or process.sequence
    kinds = [_kind(step.do, library) for step in steps]
    used = [_used(step, kind, library) for step, kind in zip(steps, kinds, strict=True)]
    bathing = [_into_bath(step, kind, with_, bath) for step, kind, with_ in zip(steps, kinds, used, strict=True)]
    if not any(bathing):  # then whatever dips or brushes does so with the bath
        bathing = [bool(bath) and kind.bath for kind in kinds]
    read = tuple(
        _stop(number, step, kind, [*bath, *with_] if into else with_, into)
        for number, (step, kind, with_, into) in enumerate(zip(steps, kinds, used, bathing, strict=True), start=1)
        if not kind.stores
    )
    stored = [step for step, kind in zip(steps, kinds, strict=True) if kind.stores]
    near = tuple(
        Stop(0, step.do, _mixtures(step, library), False, False, False, False, False, *_where(step))
        for step in (*stored, *study.workplace.nearby)
    )
    if not process.wet:  # what a factor compares is used somewhere, though not in a bath
        near += tuple(Stop(0, "keep", (mixture,)) for mixture in _levels(study, library) if mixture)
    unplaced = bool(bath) and not any(stop.bath for stop in read)
    return Bench(study, library, process, bath, read, near, bool(study.workplace.sequence), unplaced)


def _once(found: Iterable[Thing]) -> tuple[Thing, ...]:
    """The same ingredient once, as it was named first, unless a later name adds to its classes."""
    kept: list[Thing] = []
    for thing in found:
        alike = [one for one in kept if one.text == thing.text or (one.id and one.id == thing.id)]
        if not any(thing.classes <= one.classes for one in alike):
            kept.append(thing)
    return tuple(kept)


def _bath(study: Study, library: Library, process: Process) -> Iterator[Thing]:
    for part in process.recipe:
        for one in part.ids:
            known = library.ingredients.get(one)
            yield thing_of(known, known.label) if known is not None else Thing(part.name, REACTIVE)
    for added in study.workplace.added:
        yield from things(added.what, library)
    for factor in study.factors:  # a strength that is no ingredient ("strength") is none
        if factor.unit in STRENGTHS:
            yield from (thing for thing in things(factor.label, library) if thing.known)
    if process.wet:
        yield from (thing for mixture in _levels(study, library) for thing in mixture)


def _levels(study: Study, library: Library) -> Iterator[tuple[Thing, ...]]:
    """Yield the named levels that are ingredients; "polished" is none.

    A level set tile by tile is left to the study's own order of steps where that uses it: a pickle that is compared with
    another preparation is not in the bath.
    """
    placed = {thing.id for step in study.workplace.sequence for text in step.things for thing in things(text, library)}
    placed |= {thing.id for step in study.workplace.sequence for thing in _usual(_kind(step.do, library), library)}
    for factor in study.factors:
        for level in factor.levels:
            if isinstance(level, str):
                yield tuple(
                    replace(thing, text=f"{thing.text} of factor {factor.label}")
                    for thing in things(level, library)
                    if thing.known and not (factor.set_per == "tile" and thing.id in placed)
                )


def _usual(kind: StepKind, library: Library) -> list[Thing]:
    return [thing for text in kind.things for thing in things(text, library)]


def _where(step: BenchStep) -> tuple[bool, str, tuple[str, ...], str, str]:
    return step.closed, step.place, step.tools, step.bucket, step.jar


def _mixtures(step: BenchStep, library: Library) -> tuple[tuple[Thing, ...], ...]:
    return tuple(things(text, library) for text in step.things)


def _kind(do: str, library: Library) -> StepKind:
    """What a step does. A studio's own data may make a step of ours do more, and never make a rinse of it, or a pickle no acid."""
    kind, ours = library.bench_steps.get(do, StepKind(do, do)), BUILT_IN.bench_steps.get(do)
    if ours is None or kind == ours:
        return kind
    return replace(
        kind,
        things=(*kind.things, *(ours.things if ours.always else ())),
        always=kind.always or ours.always,
        bath=kind.bath or ours.bath,
        rinses=kind.rinses and ours.rinses,
        heats=kind.heats or ours.heats,
        flame=kind.flame or ours.flame,
        closed=kind.closed or ours.closed,
        stores=kind.stores and ours.stores,
    )


def _used(step: BenchStep, kind: StepKind, library: Library) -> list[Thing]:
    """What a step is done with: what is said, else the usual; a pickle is an acid, whatever it is said to be made of."""
    used = [thing for mixture in _mixtures(step, library) for thing in mixture]
    usual = _usual(kind, library)
    if not used or (kind.always and not all(any(one.classes & thing.classes for one in used) for thing in usual)):
        used += usual
    return used


def _into_bath(step: BenchStep, kind: StepKind, used: Iterable[Thing], bath: Iterable[Thing]) -> bool:
    """Return whether a step is done in the study's bath: nothing else is said, or something of the bath is."""
    ours = {thing.id for thing in bath if thing.classes & REACTIVE} - {""}
    return any(thing.id in ours for thing in used) or (bool(bath) and kind.bath and not step.things)


def _stop(number: int, step: BenchStep, kind: StepKind, used: Iterable[Thing], into_bath: bool) -> Stop:
    found = tuple(dict.fromkeys(used))
    water = all(thing.classes == {"water"} for thing in found)
    return Stop(
        number,
        step.do,
        (found,) if found else (),
        kind.bath,
        into_bath,
        kind.rinses and water and not into_bath,
        kind.heats,
        kind.flame,
        step.closed or kind.closed,
        *_where(step)[1:],
    )


def _metal_names(uns: str, about: Mapping[str, Any]) -> set[str]:
    return {uns.casefold(), str(about["label"]).casefold(), str(about["family"]).casefold()}
