"""What each tile takes at the bench: how often and how long it is in, and when it needs hands.

The time in is the sum of the tile's settings in seconds (dip, dwell, soak); a count of cycles, passes, coats, dips, rounds or
repeats says how often. What takes longer than a class works (hours in a tub) is left by itself and comes out later.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from tilestudy.design.sessions.clock import Clock
from tilestudy.study.records import Factor, Study, Tile

STEP = 5
"""Seconds to which hands' times are rounded: a person cannot follow a finer timetable."""
HOLD = 20
"""A tile that is in for so many seconds or less is held all the while (assumed, no source)."""
WATCHED, AT_ONCE = 300, 2
"""Tiles in for less than so many seconds need watching; one pair of hands has so many of them on the go (assumed, no source)."""
SLOT_WORKS, LEAST_WORKS = 90.0, 30.0
"""Minutes of work in the usual slot, 2 h 30 less 45 min to prepare and 15 min to clear up (common practice); and in any."""
_COUNTS = re.compile(r"(^|_)(cycle|pass|passe|coat|dip|round|repeat|time)s($|_)")


@dataclass(frozen=True)
class TileWork:
    """One tile's work, all times in seconds from its first going in.

    Attributes
    ----------
    tile, batch, order, reference
        As planned.
    ins, outs : tuple of int
        Of each cycle.
    work : tuple of (int, int)
        Stretches that need one pair of hands: from, to.
    put : int
        How long putting in takes.
    finish : int
        Work after it has cooled, at any time; 0 where it is part of `work`.
    cool : int
        Seconds to cool after the last time out.
    left : bool
        True where it comes out after the session.
    watched : bool
        True where its time in is counted in seconds.
    """

    tile: str
    batch: str
    order: int
    reference: bool
    ins: tuple[int, ...]
    outs: tuple[int, ...]
    work: tuple[tuple[int, int], ...]
    put: int
    finish: int
    cool: int
    left: bool
    watched: bool

    @property
    def ends(self) -> int:
        """When the bath or oven is done with it, as far as the session goes."""
        return self.ins[-1] if self.left else self.outs[-1]

    @property
    def hands(self) -> int:
        """Seconds of one pair of hands, in all."""
        return sum(to - since for since, to in self.work) + self.finish


def _step(minutes: float) -> int:
    return max(STEP, STEP * round(minutes * 60 / STEP))


def longest_in_session(study: Study, clock: Clock) -> float:
    """Return the seconds beyond which a tile is left by itself: what a session works between setting up and clearing up."""
    minutes = study.limits.minutes
    return 60 * (SLOT_WORKS if minutes is None else max(minutes - clock.setup - clock.clear, LEAST_WORKS))


def timed(study: Study) -> tuple[Factor, ...]:
    """Return the factors that decide how long or how often a tile is in.

    >>> [one.name for one in timed(Study("s", "", "p", (Factor("dip", (1.0, 2.0), "s"), Factor("coats", (1.0, 2.0)))))]
    ['dip', 'coats']
    """
    return tuple(
        one for one in study.factors if one.numeric and (one.unit == "s" or (not one.unit and _COUNTS.search(one.name)))
    )


def work_of(study: Study, clock: Clock, tile: Tile) -> TileWork:
    """Return what a tile takes.

    >>> study = Study("s", "", "p", (Factor("dip", (10.0, 60.0), "s"), Factor("scrub_cycles", (1.0, 2.0))))
    >>> tile = Tile("K7", "B1", 1, 1, {"dip": 60.0, "scrub_cycles": 2.0})
    >>> done = work_of(study, Clock(45, 15, 6, tile=1, cycle=0.5), tile)
    >>> done.ins, done.outs, done.work
    ((0, 80), (60, 140), ((0, 10), (60, 90), (140, 220)))
    """
    times, cycles = [], 1
    for factor in timed(study):
        setting = tile.settings.get(factor.name)
        if setting is None or isinstance(setting, str):
            continue
        if factor.unit == "s":
            times.append(float(setting))
        else:
            cycles *= max(1, round(setting))
    most = longest_in_session(study, clock)
    short = [one for one in times if one <= most]
    left = bool(times) and not short
    inside = round(sum(short)) if not left else round(sum(times))
    put = _step(clock.cycle) if left else _step(clock.cycle / 3)
    after = max(STEP, _step(clock.cycle) - put)
    held = inside <= HOLD or clock.together == 1
    ins, outs, work, now = [], [], [], 0
    for _ in range(1 if left else cycles):
        ins.append(now)
        outs.append(now + inside)
        if held and not left:
            work.append((now, now + inside + after))
        else:
            work.append((now, now + min(put, inside)))
            if not left:
                work.append((now + inside, now + inside + after))
        now += inside + after
    finish, cool = _step(clock.tile), round(60 * clock.cool)
    if left or cool:
        work_after = finish if not left else 0
    else:
        work[-1] = (work[-1][0], work[-1][1] + finish)
        work_after = 0
    return TileWork(
        tile.code,
        tile.batch,
        tile.order,
        tile.reference,
        tuple(ins),
        tuple(outs),
        tuple(_joined(work)),
        put,
        work_after,
        cool,
        left,
        inside < WATCHED and not left,
    )


def _joined(work: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Join stretches that follow one another without a break, so that they are one person's."""
    found: list[tuple[int, int]] = []
    for since, to in work:
        if found and found[-1][1] == since:
            found[-1] = (found[-1][0], to)
        else:
            found.append((since, to))
    return found
