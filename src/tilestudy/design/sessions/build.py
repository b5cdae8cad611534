"""The timetable of a study: its sessions by the clock, whether they fit, what would, and what may be left out."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from datetime import time
from math import ceil

from tilestudy.design.appraise import Noise
from tilestudy.design.sessions import words
from tilestudy.design.sessions.clock import Clock
from tilestudy.design.sessions.drop import may_drop
from tilestudy.design.sessions.order import freedom
from tilestudy.design.sessions.schedule import Load, at_least, loads_of, schedule
from tilestudy.design.sessions.timetable import Dropped, SessionTimes, Timetable
from tilestudy.errors import NotEnoughError, PlanError, WrongRequestError
from tilestudy.study.records import Made, Plan, Study, tiles_that_count

MOST_HANDS = 4


def timetable(
    study: Study,
    plan: Plan,
    clock: Clock,
    noise: Noise,
    *,
    word: str,
    made: Iterable[Made] = (),
    start: time | None = None,
    only: Collection[int] = (),
) -> Timetable:
    """Lay a study's sessions out by the clock.

    Parameters
    ----------
    study : Study
        Its limits.minutes is the length of a session; without it every session fits.
    plan : Plan
    clock : Clock
        Minutes of the process and pairs of hands.
    noise : Noise
        To judge what may be left out.
    word : str
        What the bench calls a batch.
    made : iterable of Made
        Tiles made already: they, and what else belongs to a batch begun, are not listed any more. None for the whole plan.
    start : time, optional
        Of day, when each session starts.
    only : collection of int
        Sessions asked for; none for all that have something left.

    Raises
    ------
    PlanError
        When the tiles were taken in from a list.
    WrongRequestError
        When a session asked for does not exist.
    NotEnoughError
        When every tile is made, so that nothing is left to time.
    """
    if plan.taken_in:
        raise PlanError(
            f"The tiles of {study.name} were taken in from a list of tiles that exist already, so there is no session to lay out."
        )
    there = sorted({batch.session for batch in plan.batches})
    if unknown := sorted(set(only) - set(there)):
        raise WrongRequestError(
            f"{study.name} has no session {unknown[0]}; its plan has "
            f"{f'sessions {there[0]} to {there[-1]}' if len(there) > 1 else f'session {there[0]}'}."
        )
    whole = tiles_that_count(plan)
    done = {one.tile for one in made}
    begun = {tile.batch for tile in whole.tiles if tile.code in done}
    left = replace(
        whole,
        batches=tuple(batch for batch in whole.batches if batch.code not in begun),
        tiles=tuple(tile for tile in whole.tiles if tile.batch not in begun),
    )
    numbers = [one for one in dict.fromkeys(batch.session for batch in left.batches) if not only or one in only]
    unfinished = words.begun_batches(whole, done, word, study.name)
    if not numbers:
        which = f" of session {', '.join(str(one) for one in sorted(only))}" if only else ""
        raise NotEnoughError(
            " ".join(
                [
                    f"Every {word} of {study.name}{which} is made or begun, so nothing is left to lay out.",
                    *unfinished,
                    f'To see the timetable of the whole plan all the same, type "tilestudy timetable {study.name} --all".',
                ]
            )
        )
    says = [*words.made_already(whole, left, done, word), *unfinished]
    sessions = tuple(_session(study, whole, left, clock, noise, number, word, start) for number in numbers)
    fit = {one.number for one in sessions if one.fits}
    fitting = replace(left, batches=tuple(batch for batch in left.batches if batch.session in fit))
    says += [words.order_of(one, study, word) for one in freedom(study, fitting, clock)]
    return Timetable(study.name, word, max(1, clock.hands), sessions, tuple(says))


def by_the_clock(study: Study, plan: Plan, clock: Clock, word: str) -> list[str]:
    """Say what the clock costs a plan: sessions that do not fit, and random orders it leaves out; nothing where all fits."""
    if plan.taken_in or study.limits.minutes is None:
        return []
    counted, allowed = tiles_that_count(plan), round(60 * study.limits.minutes)
    ends = {
        number: schedule(loads_of(study, clock, counted, number), clock).ends
        for number in dict.fromkeys(batch.session for batch in counted.batches)
    }
    says = [words.overruns(number, end, allowed, study.name) for number, end in ends.items() if end > allowed]
    fitting = tuple(batch for batch in counted.batches if ends[batch.session] <= allowed)
    return says + [words.order_of(one, study, word) for one in freedom(study, replace(counted, batches=fitting), clock)]


def _session(
    study: Study, whole: Plan, left: Plan, clock: Clock, noise: Noise, number: int, word: str, start: time | None
) -> SessionTimes:
    loads = loads_of(study, clock, left, number)
    laid = schedule(loads, clock)
    allowed = None if study.limits.minutes is None else round(60 * study.limits.minutes)
    codes = [tile.code for tile in left.tiles if tile.session == number]
    drop = may_drop(study, whole, noise, number, codes)
    found = SessionTimes(number, start, laid.ends, at_least(loads, clock), allowed, laid.events, laid.batches, drop)
    says = []
    if allowed is not None and not found.fits:
        says.append(words.too_long(found, _remedies(loads, clock, allowed, drop, word, study.name)))
    says += words.of_batches(found, study, word)
    return replace(found, says=tuple(says))


def _remedies(
    loads: Sequence[Load], clock: Clock, allowed: int, drop: Sequence[Dropped], word: str, name: str
) -> list[str]:
    """Return what would make a session fit, each tried."""
    found = []
    for hands in range(clock.hands + 1, MOST_HANDS + 1):
        ends = schedule(loads, replace(clock, hands=hands)).ends
        if ends <= allowed:
            found.append(words.more_hands(hands, ends))
            break
    for many in range(1, len(drop) + 1):
        gone = {one.tile for one in drop[:many]}
        fewer = [Load(load.code, tuple(t for t in load.tiles if t.tile not in gone)) for load in loads]
        if schedule(fewer, clock).ends <= allowed:
            found.append(words.fewer_tiles(drop[:many]))
            break
    for many in range(len(loads) - 1, 0, -1):
        if schedule(loads[:many], clock).ends <= allowed:
            found.append(words.another_session([load.code for load in loads], many, word, name))
            break
    slot = 5 * ceil(schedule(loads, clock).ends / 300)
    found.append(words.longer_slot(slot))
    return found
