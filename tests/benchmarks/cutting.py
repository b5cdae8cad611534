"""Metal wasted by our cut plans, beside the area bound, a plain row heuristic and (where installed) rectpack.

Problems: random sheets (100 to 600 mm a side), tiles (12 to 60 mm), kerfs (0, 1, 3 mm), from a fixed seed. "Rows" is what most
people do: equal rows of tiles all lying alike, the better of the two ways. rectpack (its guillotine packers, best of four
rules, rotation on) knows no kerf, so sheet and tile are handed to it longer by the kerf.

- full sheets: tiles from one sheet, summed over the problems, against the foil's; and against the area bound (no way of
  cutting reaches it everywhere).
- part of a sheet: metal cut into for 20 to 60 tiles, what stays whole behind a cut right across not counted, against the
  smallest such part that holds the foil's tiles.
- time of a whole plan: 48 tiles from five kinds of sheets, seconds (allowed: 1).

    python tests/benchmarks/cutting.py [--quick] [--json]

A row is ok when ours over the foil's is at least its floor (tiles) or at most its floor (metal, time).
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.benchmarks.printing import Rows, main

from tilestudy.design.cutting import lay_on_sheets
from tilestudy.design.cutting.guillotine import Ways, area_bound, most_tiles
from tilestudy.study.workplace import Cutting, Sheet

try:
    import rectpack
except ImportError:
    rectpack = None


@dataclass(frozen=True)
class Problem:
    """A sheet, a tile, a kerf, and how many tiles are wanted of a part of it."""

    sheet: tuple[int, int]
    tile: tuple[int, int]
    kerf: int
    wanted: int

    @property
    def ways(self) -> Ways:
        """Both ways a tile may lie."""
        return Ways((self.tile, self.tile[::-1]), self.kerf)


def problems(many: int) -> list[Problem]:
    """Random problems in which the sheet holds what is wanted."""
    rng, found = Random(20261125), []
    while len(found) < many:
        sheet = rng.randrange(100, 601), rng.randrange(100, 601)
        tile = rng.randrange(12, 61), rng.randrange(12, 61)
        one = Problem(sheet, tile, rng.choice((0, 1, 3)), rng.randrange(20, 61))
        if tile[0] != tile[1] and rows(one, *sheet) > one.wanted:
            found.append(one)
    return found


def rows(one: Problem, length: int, width: int) -> int:
    """Tiles in equal rows."""
    k = one.kerf
    return max(((length + k) // (a + k)) * ((width + k) // (b + k)) for a, b in one.ways.sides)


def packed(one: Problem, length: int, width: int) -> int:
    """Tiles by rectpack, the best of four rules."""
    k, most = one.kerf, area_bound(length, width, one.ways)
    best = 0
    for rule in ("GuillotineBssfSas", "GuillotineBafSlas", "GuillotineBlsfMaxas", "GuillotineBssfMinas"):
        packer = rectpack.newPacker(rotation=True, pack_algo=getattr(rectpack, rule))
        packer.add_bin(length + k, width + k)
        for _ in range(most):
            packer.add_rect(one.tile[0] + k, one.tile[1] + k)
        packer.pack()
        best = max(best, len(packer[0]) if len(packer) else 0)
    return best


def part_used(one: Problem, holds: Callable[[Problem, int, int], int]) -> float:
    """Area of the smallest part, cut off right across, that holds the wanted tiles by a heuristic."""
    areas = [float(one.sheet[0] * one.sheet[1])]
    for length, width, turned in ((*one.sheet, False), (*one.sheet[::-1], True)):
        low, high = min(one.tile), length
        while low < high:
            middle = (low + high) // 2
            sides = (width, middle) if turned else (middle, width)
            low, high = (low, middle) if holds(one, *sides) >= one.wanted else (middle + 1, high)
        rest = length - low - one.kerf
        if rest > 0 and most_tiles(rest, width, one.ways) > 0:
            areas.append(float((length - rest) * width))
    return min(areas)


def run(quick: bool) -> Rows:
    """All rows."""
    these = problems(120 if quick else 600)
    few = these[: 15 if quick else 60]
    ours = [most_tiles(*one.sheet, one.ways) for one in these]
    bound = sum(area_bound(*one.sheet, one.ways) for one in these)
    plans = [lay_on_sheets([Sheet(one.sheet)], {"": one.wanted}, one.tile, Cutting(one.kerf)) for one in these]
    used = [plan.used for plan in plans]
    found = [
        row("tiles from full sheets, against the area bound", sum(ours), bound, 0.95),
        row("tiles from full sheets, against rows", sum(ours), sum(rows(one, *one.sheet) for one in these), 1.0),
        row(
            "metal for part of a sheet, against rows", sum(used), sum(part_used(one, rows) for one in these), 1.0, True
        ),
    ]
    if rectpack is not None:
        theirs = sum(packed(one, *one.sheet) for one in few)
        found.append(row("tiles from full sheets, against rectpack", sum(ours[: len(few)]), theirs, 1.0))
        parts = sum(part_used(one, packed) for one in few)
        found.append(row("metal for part of a sheet, against rectpack", sum(used[: len(few)]), parts, 1.0, True))
    stock = [Sheet((side, 2 * side), 3, offcut=side < 100) for side in (70, 90, 150, 300, 450)]
    start = time.perf_counter()
    lay_on_sheets(stock, {"": 48}, (25.0, 50.0), Cutting(0.7, 2.0))
    found.append(row("seconds for a whole plan", time.perf_counter() - start, 1.0, 1.0, True))
    return found


def row(name: str, ours: float, foil: float, floor: float, less: bool = False) -> dict[str, object]:
    """One row; `less` where less is better."""
    ratio = ours / foil
    ok = ratio <= floor if less else ratio >= floor
    return {"name": name, "ours": ours, "foil": foil, "ratio": ratio, "floor": floor, "ok": ok}


if __name__ == "__main__":
    main(__doc__, run)
