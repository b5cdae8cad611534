"""Where two things of a bench meet: in one bath, carried on a tile, on a tool, in a bucket or jar, at one place, in the room."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations

from tilestudy.trade.hazards.bench import Bench, Stop
from tilestudy.trade.hazards.things import Thing, same

WHERE = ("recipe", "next", "tool", "bucket", "jar", "place", "room")
"""Where two things can meet, nearest first; a rule may also say "closed": any of them in a closed vessel."""

FIRST, SECOND = "\x01", "\x02"
"""What stands for the two things in the words of a meeting: nothing that people write."""


@dataclass(frozen=True)
class Meeting:
    """Two things that meet: where (one of `WHERE`), how in words with FIRST and SECOND for the two, and whether in a closed vessel."""

    first: Thing
    second: Thing
    where: str
    how: str
    closed: bool = False


@dataclass(frozen=True)
class _At:
    """A thing where it is used."""

    thing: Thing
    stop: Stop


def meetings(bench: Bench) -> tuple[Meeting, ...]:
    """Return every meeting of two different things, once for each way they meet."""
    return tuple(dict.fromkeys((*_mixed(bench), *_carried(bench), *_shared(bench), *_in_the_room(bench))))


def _mixed(bench: Bench) -> Iterator[Meeting]:
    for first, second in combinations(bench.bath, 2):
        yield Meeting(
            first,
            second,
            "recipe",
            f"{FIRST} and {SECOND} are in one bath",
            any(one.closed for one in bench.steps if one.bath),
        )
    for stop in bench.stops:
        for mixture in stop.mixtures:
            for first, second in combinations(mixture, 2):
                if first in bench.bath and second in bench.bath:
                    continue
                how = (
                    f"{FIRST} and {SECOND} are mixed in what is kept near"
                    if stop.near
                    else f"{FIRST} and {SECOND} are used together in {stop.name}"
                )
                yield Meeting(first, second, "recipe", how, stop.closed)


def _carried(bench: Bench) -> Iterator[Meeting]:
    """What a tile (or the hand and tool that hold it) carries from step to step until it is rinsed in water.

    The order is walked twice, since the next tile starts where this one ends; and a tile of several cycles goes from
    the end of the order straight back into the bath.
    """
    carried: dict[Thing, Stop] = {}
    baths = [stop for stop in bench.steps if stop.bath]
    for stop in (*bench.steps, *bench.steps):
        if stop.rinse:
            carried = {}
            continue
        yield from _onto(carried, stop, "no water rinse between")
        carried |= dict.fromkeys(stop.things, stop)
    for stop in baths:
        yield from _onto(carried, stop, "a tile of several cycles goes back into the bath, no water rinse between")
    if bench.unplaced:
        for stop in bench.steps:
            for ours in bench.bath:
                for theirs in stop.things:
                    if ours != theirs:
                        how = f"{SECOND} of {stop.name} may meet {FIRST}: the order of steps does not say where the bath comes"
                        yield Meeting(ours, theirs, "next", how, stop.closed)


def _onto(carried: dict[Thing, Stop], stop: Stop, why: str) -> Iterator[Meeting]:
    for thing, origin in carried.items():
        for other in stop.things:
            if other != thing and origin is not stop:
                how = (
                    f"a tile carries {FIRST} from {origin.name} to {SECOND} in {stop.name}, {why}"
                    if origin.number < stop.number or "cycles" in why
                    else f"{FIRST} of {origin.name} is still on hands and tools when the next tile meets {SECOND} in {stop.name}, {why}"
                )
                yield Meeting(thing, other, "next", how, stop.closed)


def _shared(bench: Bench) -> Iterator[Meeting]:
    """Tools, buckets and jars take what a step is done with and what the tile brings; places only the former."""
    held: dict[tuple[str, str], list[_At]] = {}
    names: dict[tuple[str, str], str] = {}

    def put(kind: str, name: str, things: Iterable[Thing], stop: Stop) -> None:
        key = (kind, same(name))
        names.setdefault(key, name)
        held.setdefault(key, []).extend(_At(thing, stop) for thing in things)

    carried: dict[Thing, Stop] = {}
    for stop in (*bench.steps, *bench.steps):
        brought = tuple(dict.fromkeys((*stop.things, *carried)))
        for kind, name in (("bucket", stop.bucket), ("jar", stop.jar)):
            if name:
                put(kind, name, brought, stop)
        for tool in stop.tools:
            put("tool", tool, () if stop.rinse else brought, stop)
        put("place", stop.place, stop.things, stop)
        carried = {} if stop.rinse else carried | dict.fromkeys(stop.things, stop)
    if bench.unplaced:
        put("place", "", bench.bath, Stop(1, "bath", (bench.bath,), True))
    for stop in bench.near:
        for kind, name in (("bucket", stop.bucket), ("jar", stop.jar), *(("tool", tool) for tool in stop.tools)):
            if name:
                put(kind, name, stop.things, stop)
        put("place", stop.place, stop.things, stop)
    for (kind, key), there in held.items():
        name = names[kind, key]
        vessel = f'the {kind} "{name}"' if name else "the bench"
        how = {
            "tool": f"{vessel} touches {FIRST} and {SECOND}",
            "bucket": f"{vessel} takes {FIRST} and {SECOND}",
            "jar": f"{vessel} takes {FIRST} and {SECOND}",
            "place": f"{FIRST} and {SECOND} share {vessel}",
        }[kind]
        for first, second in combinations(dict.fromkeys(there), 2):
            if first.thing != second.thing:
                closed = kind in ("bucket", "jar") and (first.stop.closed or second.stop.closed)
                yield Meeting(first.thing, second.thing, kind, how, closed)


def _in_the_room(bench: Bench) -> Iterator[Meeting]:
    every = dict.fromkeys([*bench.bath, *(thing for stop in bench.stops for thing in stop.things)])
    for first, second in combinations(every, 2):
        yield Meeting(first, second, "room", f"{FIRST} and {SECOND} are in one room")
