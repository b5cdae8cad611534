"""What the clock does to the random order: the plan's own order where it ends in time, else one drawn among those that do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil
from random import Random

import numpy as np

from tilestudy.design.sessions.clock import Clock
from tilestudy.design.sessions.schedule import Load, loads_of, schedule
from tilestudy.study.records import Plan, Study

DRAWS, FIRST, SWAPS = 200, 20, 600
"""Random orders drawn; those that settle it where all of them end in time; swaps tried where none does."""


def in_time(study: Study, plan: Plan, clock: Clock) -> Plan:
    """Return the plan with the run order of each session that would end late drawn anew, so that it ends in time.

    Each order that ends in time is equally likely (they are drawn at random until one does); where hardly any does, one is
    arranged by swapping tiles of a batch. Reference tiles keep their places. A session that cannot end in time by any order
    found keeps the plan's. The same plan and seed give the same order.
    """
    limit = study.limits.minutes
    if limit is None:
        return plan
    place: dict[str, int] = {}
    for session in dict.fromkeys(batch.session for batch in plan.batches):
        loads = loads_of(study, clock, plan, session)
        if schedule(loads, clock).ends <= 60 * limit:
            continue
        rng = Random(f"{plan.seed} {session}")
        found = _drawn(loads, clock, 60 * limit, rng) or _arranged(loads, clock, 60 * limit, rng)
        for load in found or ():
            place.update({tile.tile: order for order, tile in enumerate(load.tiles, start=1)})
    if not place:
        return plan
    moved = [replace(tile, order=place.get(tile.code, tile.order)) for tile in plan.tiles]
    nth = {batch.code: number for number, batch in enumerate(plan.batches)}
    return replace(plan, tiles=tuple(sorted(moved, key=lambda tile: (nth[tile.batch], tile.order))))


def _drawn(loads: Sequence[Load], clock: Clock, limit: float, rng: Random) -> list[Load] | None:
    for _ in range(DRAWS):
        tried = [_shuffled(load, rng) for load in loads]
        if schedule(tried, clock).ends <= limit:
            return tried
    return None


def _arranged(loads: Sequence[Load], clock: Clock, limit: float, rng: Random) -> list[Load] | None:
    """Swap two tiles of a batch at a time, keeping what is no later, until the session ends in time."""
    best = [_shuffled(load, rng) for load in loads]
    ends = schedule(best, clock).ends
    for _ in range(SWAPS):
        number = rng.randrange(len(best))
        free = [i for i, tile in enumerate(best[number].tiles) if not tile.reference]
        if len(free) < 2:
            continue
        one, other = rng.sample(free, 2)
        tiles = list(best[number].tiles)
        tiles[one], tiles[other] = tiles[other], tiles[one]
        tried = [*best[:number], replace(best[number], tiles=tuple(tiles)), *best[number + 1 :]]
        new = schedule(tried, clock).ends
        if new <= ends:
            best, ends = tried, new
        if ends <= limit:
            return best
    return None


def _shuffled(load: Load, rng: Random) -> Load:
    """Return a load in random order, its reference tiles where they were."""
    others = [tile for tile in load.tiles if not tile.reference]
    rng.shuffle(others)
    queue = iter(others)
    return replace(load, tiles=tuple(tile if tile.reference else next(queue) for tile in load.tiles))


@dataclass(frozen=True)
class Freedom:
    """How free the random order of a session was.

    Attributes
    ----------
    session : int
    share : float
        Of all orders, those that end in time.
    pull : float
        Mean correlation of a tile's time with its place in the batch among these: above 0, long ones tend to come late.
    whole : int
        Minutes at which 19 of 20 orders would end in time.
    """

    session: int
    share: float
    pull: float
    whole: int


def freedom(study: Study, plan: Plan, clock: Clock) -> tuple[Freedom, ...]:
    """Return the sessions whose slot leaves out some of the random orders; judged by drawing orders from the plan's seed."""
    limit = study.limits.minutes
    found: list[Freedom] = []
    if limit is None:
        return ()
    for session in dict.fromkeys(batch.session for batch in plan.batches):
        loads = loads_of(study, clock, plan, session)
        rng = Random(f"{plan.seed} {session} free")
        ends: list[int] = []
        pulls: list[float] = []
        for number in range(DRAWS):
            if number == FIRST and max(ends) <= 60 * limit:
                break
            tried = [_shuffled(load, rng) for load in loads]
            ends.append(schedule(tried, clock).ends)
            if ends[-1] <= 60 * limit:
                pulls.append(_pull(tried))
        if max(ends) > 60 * limit:
            whole = 5 * ceil(float(np.quantile(ends, 0.95)) / 300)
            found.append(Freedom(session, len(pulls) / len(ends), float(np.mean(pulls)) if pulls else 0.0, whole))
    return tuple(found)


def _pull(loads: Sequence[Load]) -> float:
    """Correlation of a tile's time with its place, batch by batch, put together."""
    x: list[float] = []
    y: list[float] = []
    for load in loads:
        times = [float(tile.outs[-1]) for tile in load.tiles]
        middle, mean = (len(times) - 1) / 2, sum(times) / max(len(times), 1)
        x += [number - middle for number in range(len(times))]
        y += [one - mean for one in times]
    size = float(np.linalg.norm(x) * np.linalg.norm(y))
    return float(np.dot(x, y)) / size if size > 0 else 0.0
