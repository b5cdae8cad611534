"""How good the timetable's start times are, beside working one tile after another and beside searching all start times.

Rows: the end of sessions of the usual sulfide dips against the same tiles one after another; the end against the best start
times of the same order, all of them tried on a grid of 10 s; the time a whole timetable takes against the 10 s asked for.
Run alone: ``python tests/benchmarks/timetable.py [--quick] [--json]``.
"""

import argparse
import json
import time
from random import Random

from tilestudy.design.appraise import Noise
from tilestudy.design.layout import lay_out
from tilestudy.design.sessions.build import timetable
from tilestudy.design.sessions.clock import Clock
from tilestudy.design.sessions.schedule import Load, schedule
from tilestudy.design.sessions.work import AT_ONCE, TileWork, work_of
from tilestudy.study.records import Factor, Limits, Study, Tile

DIP = Factor("dip_time", (10.0, 30.0, 90.0), "s", spacing="geometric")
SCRUB = Factor("scrub_cycles", (1.0, 4.0), spacing="geometric")
STUDY = Study("plaques", "", "sulfide-dip", (DIP, SCRUB))
CLOCK = Clock(setup=45, clear=15, batch=6, tile=1, cycle=0.5)
BARE = Clock(0, 0, 0, tile=1, cycle=0.5)


def kinds(clock: Clock, longer: float = 1.0) -> list[TileWork]:
    """The work of each of the six combinations, dips so many times longer."""
    return [
        work_of(STUDY, clock, Tile(f"{dip:g}x{scrub:g}", "B1", 1, 1, {"dip_time": longer * dip, "scrub_cycles": scrub}))
        for dip in DIP.levels
        for scrub in SCRUB.levels
    ]


def sessions(many: int, longer: float, hands: int = 1) -> tuple[float, float]:
    """Mean minutes of a session of three baths of six, dips so many times longer: ours, and one tile after another."""
    rng, clock = Random(1), Clock(45, 15, 6, 1, 0.5, hands=hands)
    tiles = kinds(clock, longer)
    ours = sum(schedule([Load(name, tuple(rng.sample(tiles, 6))) for name in "ABC"], clock).ends for _ in range(many))
    alone = 60 * (45 + 15) + 3 * (360 + sum(tile.work[-1][1] for tile in tiles))
    return ours / many / 60, alone / 60


def best_starts(order: list[TileWork], step: int = 10) -> int:
    """Return the earliest end over all start times of the same order, on a grid: branch and bound."""
    best = sum(tile.work[-1][1] for tile in order)

    def place(number: int, since: int, busy: list[tuple[int, int]], going: list[tuple[int, int]], end: int) -> None:
        nonlocal best
        if number == len(order):
            best = min(best, end)
            return
        tile = order[number]
        rest = sum(to - at for one in order[number:] for at, to in one.work)
        for start in range(since, best - tile.work[-1][1], step):
            free = sum(max(0, min(to, start) - at) for at, to in busy)  # what the hands have done by then
            done = sum(to - at for at, to in busy)
            if start + rest + (done - free) - 0 >= best:
                break
            spans = [(start + at, start + to) for at, to in tile.work]
            if any(a < d and c < b for a, b in spans for c, d in busy):
                continue
            over = [one for one in going if one[1] > start]
            if len(over) >= AT_ONCE:
                continue
            place(
                number + 1,
                start + step,
                [*busy, *spans],
                [*going, (start, start + tile.outs[-1])],
                max(end, spans[-1][1]),
            )

    place(0, 0, [], [], 0)
    return best


def searched(many: int, tiles: int) -> tuple[float, float]:
    """Mean end in minutes of so many random orders: ours, and with the best start times."""
    rng, every = Random(2), kinds(BARE)
    ours = best = 0
    for _ in range(many):
        order = rng.sample(every, tiles)
        ours += schedule([Load("A", tuple(order))], BARE).ends
        best += best_starts(order)
    return ours / many / 60, best / many / 60


def seconds() -> float:
    """Return how long the timetable of 48 tiles in 4 sessions takes."""
    strength = Factor("strength", (1.0, 2.0, 4.0, 8.0), "g/L", spacing="geometric", set_per="batch")
    study = Study("big", "", "sulfide-dip", (strength, DIP, SCRUB), limits=Limits(minutes=115))
    plan = lay_out(study, CLOCK, 3)
    assert (len(plan.tiles), len({batch.session for batch in plan.batches})) == (48, 4)
    start = time.perf_counter()
    timetable(study, plan, CLOCK, Noise(3, 3, "L*", "lightness"), word="bath")
    return time.perf_counter() - start


def measure(quick: bool) -> list[dict[str, object]]:
    """Return one row for each comparison."""
    many = 50 if quick else 500
    cases = [
        ("18 tiles, 10 to 90 s, min, against one after another", *sessions(many, 1), 0.97),
        ("the same, two pairs of hands", *sessions(many, 1, hands=2), 0.77),
        ("18 tiles, 1 to 9 min, min, against one after another", *sessions(many, 6), 0.7),
        ("3 dips, min, against all start times", *searched(20 if quick else 100, 3), 1.05),
        ("4 dips, min, against all start times", *searched(5 if quick else 30, 4), 1.05),
        ("48 tiles in 4 sessions, s, against the 10 s asked for", seconds(), 10.0, 0.2),
    ]
    return [
        {
            "name": name,
            "ours": round(ours, 3),
            "foil": round(foil, 3),
            "ratio": round(ours / foil, 4),
            "floor": floor,
            "ok": ours / foil <= floor,
        }
        for name, ours, foil, floor in cases
    ]


def main() -> None:
    """Print the table, or JSON."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--quick", action="store_true", help="fewer orders; under 50 s")
    options.add_argument("--json", action="store_true", help="print JSON")
    chosen = options.parse_args()
    rows = measure(chosen.quick)
    if chosen.json:
        print(json.dumps({"rows": rows}))
        return
    print(f"{'':55}    ours    foil   ratio  at most")
    for row in rows:
        print(
            f"{row['name']:55}  {row['ours']:6}  {row['foil']:6}  {row['ratio']:6}  {row['floor']:7}  {'ok' if row['ok'] else 'NO'}"
        )


if __name__ == "__main__":
    main()
