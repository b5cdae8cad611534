"""How long a batch of so many tiles takes, before it is known which tiles and in which order: for laying plans out."""

from __future__ import annotations

from functools import lru_cache
from itertools import product
from random import Random

from tilestudy.design.sessions.clock import Clock
from tilestudy.design.sessions.schedule import Load, schedule
from tilestudy.design.sessions.work import TileWork, timed, work_of
from tilestudy.study.records import Study, Tile

ORDERS = 5
"""Random orders whose mean is taken."""
MOST = 24
"""Tiles of a larger batch take in proportion."""


def batch_minutes(study: Study, clock: Clock, tiles: int) -> float:
    """Return the minutes of a batch, making it up included, as the mean of a few random orders of middling tiles.

    >>> from tilestudy.study.records import Factor
    >>> dips = Study("s", "", "p", (Factor("dip", (10.0, 30.0, 90.0), "s"),))
    >>> one, two = (batch_minutes(dips, Clock(45, 15, 6, 1, cycle=0.5, hands=hands), 12) for hands in (1, 2))
    >>> one > two > 6
    True
    """
    if tiles < 1:
        return clock.batch
    kinds = _kinds(study, clock)
    simulated = min(tiles, MOST)
    return clock.batch + _minutes(kinds, clock, simulated) * tiles / simulated


def _kinds(study: Study, clock: Clock) -> tuple[TileWork, ...]:
    """The work of each combination of those settings that take time."""
    grid = product(*(factor.levels for factor in timed(study)))
    names = [factor.name for factor in timed(study)]
    works = [work_of(study, clock, Tile("", "", 1, 1, dict(zip(names, some, strict=True)))) for some in grid]
    return tuple(sorted(works, key=lambda one: (one.outs, one.work)))


@lru_cache(maxsize=512)
def _minutes(kinds: tuple[TileWork, ...], clock: Clock, tiles: int) -> float:
    """Minutes of so many tiles, taken evenly from all kinds."""
    some = [kinds[(2 * number + 1) * len(kinds) // (2 * tiles)] for number in range(tiles)]
    if tiles > len(kinds):
        some = [kinds[number % len(kinds)] for number in range(tiles - tiles % len(kinds))]
        rest = tiles - len(some)
        some += [kinds[(2 * number + 1) * len(kinds) // (2 * rest)] for number in range(rest)]
    rng, bare = Random(0), Clock(0, 0, 0, clock.tile, clock.cycle, clock.cool, clock.together, hands=clock.hands)
    total = sum(schedule([Load("", tuple(rng.sample(some, tiles)))], bare).ends for _ in range(ORDERS))
    return total / ORDERS / 60
