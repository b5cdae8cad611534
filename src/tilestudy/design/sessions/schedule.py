"""Staggered dips: each tile as early as the hands allow, in run order, to the second.

A tile's times in are exact, so it is a rigid chain of stretches that need hands, with waits between them in which the same
hands serve other tiles (coupled tasks with exact delays: Shapiro 1980; Orman & Potts 1997). Tiles start in run order; each
takes the earliest start at which one pair of hands is free for all its stretches. Batches follow one another.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import ceil

from tilestudy.design.sessions.clock import Clock
from tilestudy.design.sessions.timetable import BatchTimes, Event, Kind, TileTimes
from tilestudy.design.sessions.work import AT_ONCE, STEP, TileWork, work_of
from tilestudy.study.records import Plan, Study

_FIRST: tuple[Kind, ...] = ("prepare", "out", "finish", "in", "make up", "heat", "clear up")
"""At the same second, what is done first."""


@dataclass(frozen=True)
class Load:
    """A batch to make in a session: its code, and its tiles' work in run order."""

    code: str
    tiles: tuple[TileWork, ...]


@dataclass(frozen=True)
class Scheduled:
    """A session's batches and events by the clock, and when it ends; seconds from its start."""

    batches: tuple[BatchTimes, ...]
    events: tuple[Event, ...]
    ends: int


@dataclass
class _Hands:
    """Stretches in which each pair of hands is busy, sorted."""

    many: int
    busy: list[list[tuple[int, int]]] = field(init=False)

    def __post_init__(self) -> None:
        self.busy = [[] for _ in range(self.many)]

    def free_from(self, hand: int, since: int, to: int) -> int:
        """Return `since` when a pair of hands is free until `to`, else when the stretch in the way ends."""
        busy = self.busy[hand]
        place = bisect_left(busy, (to, 0)) - 1
        return busy[place][1] if place >= 0 and busy[place][1] > since else since

    def take(self, hand: int, since: int, to: int) -> None:
        insort(self.busy[hand], (since, to))

    def earliest(self, since: int, lasts: int) -> tuple[int, int]:
        """Return the pair of hands that is soonest free for so long, and from when."""
        found = []
        for hand in range(self.many):
            at = since
            while (free := self.free_from(hand, at, at + lasts)) > at:
                at = free
            found.append((at, hand))
        at, hand = min(found)
        return hand, at


def schedule(loads: Sequence[Load], clock: Clock) -> Scheduled:
    """Lay a session's batches out by the clock.

    Parameters
    ----------
    loads : sequence of Load
        In the order of making.
    clock : Clock
    """
    hands = _Hands(max(1, clock.hands))
    prepare = round(60 * clock.setup)
    events = [Event(0, prepare, "prepare")] if prepare else []
    batches: list[BatchTimes] = []
    free_at = ends = prepare
    make = round(60 * clock.batch)
    for number, load in enumerate(loads):
        begun, ready = free_at, free_at
        if make and clock.heats:
            begun = max(0, prepare - make) if number == 0 else free_at  # the first heats while all prepare
            ready = begun + make
            events.append(Event(begun, make, "heat", load.code))
        elif make:
            # as late as keeps nobody waiting, so that every batch is fresh for its first tile
            hand, begun = hands.earliest(max(prepare, free_at - make), make)
            hands.take(hand, begun, begun + make)
            ready = begun + make
            events.append(Event(begun, make, "make up", load.code, hands=hand + 1))
        tiles, done = _tiles(load, clock, hands, max(ready, free_at), events)
        free_at = max((one.outs[-1] for one, left in tiles if not left), default=ready)
        free_at = max(free_at, *(one.ins[-1] for one, _ in tiles), ready) if tiles else ready
        ends = max(ends, done, ready)
        life = None if clock.life is None else ready + round(60 * clock.life)
        last_out = max((one.outs[-1] for one, _ in tiles), default=ready)
        batches.append(BatchTimes(load.code, begun, ready, last_out, tuple(one for one, _ in tiles), life))
    clear = round(60 * clock.clear)
    if clear:
        events.append(Event(ends, clear, "clear up"))
    return Scheduled(
        tuple(batches), tuple(sorted(events, key=lambda one: (one.at, _FIRST.index(one.kind), one.hands))), ends + clear
    )


def _tiles(
    load: Load, clock: Clock, hands: _Hands, ready: int, events: list[Event]
) -> tuple[list[tuple[TileTimes, bool]], int]:
    """Place a batch's tiles; return their times (and whether each is left behind) and when the last work of it is done."""
    placed: list[tuple[TileTimes, bool]] = []
    going: list[list[tuple[int, int]]] = [[] for _ in range(hands.many)]  # watched, by each pair of hands
    inside: list[tuple[int, int]] = []
    start, done, later = ready, ready, []
    for tile in load.tiles:
        at, hand = _place(tile, start, clock, hands, going, inside)
        for since, to in tile.work:
            hands.take(hand, at + since, at + to)
        if tile.watched:
            going[hand].append((at, at + tile.outs[-1]))
        if not tile.left:
            inside += [(at + since, at + to) for since, to in zip(tile.ins, tile.outs, strict=True)]
        start = at + STEP
        last = at + tile.work[-1][1]
        done = max(done, last)
        times = TileTimes(
            tile.tile,
            tile.batch,
            tile.order,
            tuple(at + one for one in tile.ins),
            tuple(at + one for one in tile.outs),
            at + tile.outs[-1] if tile.left else last,
        )
        placed.append((times, tile.left))
        _tell(tile, at, hand + 1, events)
        if tile.finish:
            later.append((at + tile.outs[-1] + tile.cool, len(placed) - 1, tile))
    for since, place, tile in sorted(later, key=lambda one: one[:2]):
        hand, at = hands.earliest(_grid(since), tile.finish)
        hands.take(hand, at, at + tile.finish)
        events.append(Event(at, tile.finish, "finish", tile.batch, tile.tile, hands=hand + 1))
        times, left = placed[place]
        placed[place] = (
            TileTimes(times.tile, times.batch, times.order, times.ins, times.outs, at + tile.finish),
            left,
        )
        done = max(done, at + tile.finish)
    return placed, done


def _place(
    tile: TileWork,
    start: int,
    clock: Clock,
    hands: _Hands,
    going: Sequence[Sequence[tuple[int, int]]],
    inside: Sequence[tuple[int, int]],
) -> tuple[int, int]:
    """Return the earliest start at which one pair of hands is free for every stretch and there is room, and whose they are."""
    found = []
    for hand in range(hands.many):
        at = _grid(start)
        while (later := _later(tile, at, hand, clock, hands, going[hand], inside)) > at:
            at = _grid(later)
        found.append((at, hand))
    return min(found)


def _later(
    tile: TileWork,
    at: int,
    hand: int,
    clock: Clock,
    hands: _Hands,
    going: Sequence[tuple[int, int]],
    inside: Sequence[tuple[int, int]],
) -> int:
    """Return `at` when a tile may start then, else a time before which it cannot."""
    for since, to in tile.work:
        free = hands.free_from(hand, at + since, at + to)
        if free > at + since:
            return free - since
    if tile.watched and _crowd(going, at, at + tile.outs[-1]) >= AT_ONCE:
        return at + 1
    spans = zip(tile.ins, tile.outs, strict=True)
    if clock.together and any(_crowd(inside, at + since, at + to) >= clock.together for since, to in spans):
        return at + 1
    return at


def _crowd(spans: Sequence[tuple[int, int]], since: int, to: int) -> int:
    """Return the most spans that overlap at any one time between `since` and `to`."""
    over = [(max(one[0], since), one[1]) for one in spans if one[0] < to and one[1] > since]
    return max((sum(low <= at < high for low, high in over) for at, _ in over), default=0)


def _grid(at: int) -> int:
    return STEP * ceil(at / STEP)


def _tell(tile: TileWork, at: int, hand: int, events: list[Event]) -> None:
    """Write a tile's events: each time in, and each time out with the work after it."""
    many = len(tile.ins)
    for cycle, (inn, out) in enumerate(zip(tile.ins, tile.outs, strict=True), start=1):
        put = min(tile.put, max(out - inn, 0))
        events.append(Event(at + inn, put, "in", tile.batch, tile.tile, cycle, many, hand))
        until = tile.ins[cycle] if cycle < many else max(out, tile.work[-1][1])
        whose = 0 if tile.left else hand
        events.append(Event(at + out, until - out, "out", tile.batch, tile.tile, cycle, many, whose))


def loads_of(study: Study, clock: Clock, plan: Plan, session: int) -> list[Load]:
    """Return a session's batches, with what their tiles take."""
    return [
        Load(batch.code, tuple(work_of(study, clock, tile) for tile in plan.tiles if tile.batch == batch.code))
        for batch in plan.batches
        if batch.session == session
    ]


def at_least(loads: Sequence[Load], clock: Clock) -> int:
    """Return seconds before which no order of the same work could end the session.

    The hands have so much to do in all; and the batches follow one another, each no shorter than its longest tile and than
    the tiles that may not be on the go at once.
    """
    hands, make = max(1, clock.hands), round(60 * clock.batch)
    works = [tile for load in loads for tile in load.tiles]
    busy = sum(tile.hands for tile in works) + (0 if clock.heats else make * len(loads))
    spans, tails = 0, []
    for number, load in enumerate(loads):
        longest = max((tile.ends for tile in load.tiles), default=0)
        watched = sum(tile.outs[-1] for tile in load.tiles if tile.watched)
        full = sum(to - since for t in load.tiles if not t.left for since, to in zip(t.ins, t.outs, strict=True))
        spans += max(longest, ceil(watched / (AT_ONCE * hands)), ceil(full / clock.together) if clock.together else 0)
        if clock.heats and number:
            spans += make
    if loads:
        tails = [
            max(tile.work[-1][1] - tile.ends, tile.cool + tile.finish if tile.finish else 0) for tile in loads[-1].tiles
        ]
    first = 0 if clock.heats or not loads else make
    if clock.heats:
        first = max(0, make - round(60 * clock.setup))
    middle = max(ceil(busy / hands), first + spans + max(0, min(tails, default=0)))
    return round(60 * clock.setup) + middle + round(60 * clock.clear)
