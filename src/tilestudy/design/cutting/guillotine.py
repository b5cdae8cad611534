"""As many equal tiles as can be cut from a rectangle by straight cuts right through the piece in hand, as shears make them.

Exact: the best of every such cut, found for small pieces first and put together (dynamic programming; Gilmore & Gomory
1966, Operations Research 14: 1045-1074, on the lengths at which combinations of tiles end: Herz 1972, IBM J. Res. Dev.
16: 462-469). Of equally full patterns the one with fewest blocks is taken. A cut that takes away `kerf` is the same as
no kerf with tile and piece both longer by it; that is how it is reckoned here, in whole hundredths of a mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

UNIT = 100
"""Steps in a mm."""
MOST_STATES = 60_000
"""Pieces looked at for one table; a rectangle that has more is cut in one plain grid and its rest."""
_COUNT = 4096
"""Worth of a tile against a block, so that tiles come first and fewer blocks second."""

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Block:
    """Equal tiles lying alike.

    Attributes
    ----------
    x, y : float
        Its corner, mm along the first and the second side of what is cut.
    along, across : int
        How many tiles along the first and along the second side.
    tile : (float, float)
        The sides of a tile as it lies.
    room : (float, float)
        The piece the block is cut from, mm; what is beside the tiles is scrap.
    """

    x: float
    y: float
    along: int
    across: int
    tile: tuple[float, float]
    room: tuple[float, float]

    @property
    def lengthwise(self) -> bool:
        """True where its strips run along the first side: always the way that needs fewer of them."""
        return self.along >= self.across

    @property
    def strips(self) -> int:
        """How many strips it is cut into first."""
        return min(self.along, self.across)

    @property
    def in_strip(self) -> int:
        """How many tiles a strip gives."""
        return max(self.along, self.across)

    def place(self, strip: int, number: int, kerf: float) -> tuple[float, float]:
        """Return the corner of a tile by its strip and its number in it, both from 0."""
        i, j = (number, strip) if self.lengthwise else (strip, number)
        return self.x + i * (self.tile[0] + kerf), self.y + j * (self.tile[1] + kerf)


@dataclass(frozen=True)
class Cut:
    """A straight cut: at `at` along the first side (`crosswise`) or the second one, from `start` to `end` on the other.

    `size` is the width of the piece that it cuts off, the kerf on the far side of it.
    """

    crosswise: bool
    at: float
    start: float
    end: float
    size: float


@dataclass(frozen=True)
class Pattern:
    """How a rectangle is cut: the blocks, and the cuts between them in order."""

    blocks: tuple[Block, ...]
    cuts: tuple[Cut, ...]

    @property
    def tiles(self) -> int:
        """How many tiles it gives."""
        return sum(block.along * block.across for block in self.blocks)


def whole(mm: float) -> int:
    """Return a length in whole hundredths of a mm."""
    return round(mm * UNIT)


@dataclass(frozen=True)
class Ways:
    """How a tile may lie: its sides along the piece's first and second side, one pair for each way; and the kerf."""

    sides: tuple[tuple[float, float], ...]
    kerf: float = 0.0


def area_bound(length: float, width: float, ways: Ways) -> int:
    """Return how many tiles there is area for, kerfs counted: no way of cutting gives more.

    >>> area_bound(100.0, 50.0, Ways(((25.0, 50.0),)))
    4
    """
    wide, high = ways.sides[0]
    k = ways.kerf
    if length < min(wide, high) or width < min(wide, high):
        return 0
    mine = (whole(length) + whole(k)) * (whole(width) + whole(k))
    return int(mine // ((whole(wide) + whole(k)) * (whole(high) + whole(k))))


def most_tiles(length: float, width: float, ways: Ways) -> int:
    """Return how many tiles the rectangle gives.

    >>> most_tiles(75.0, 50.0, Ways(((25.0, 50.0), (50.0, 25.0)))), most_tiles(75.0, 50.0, Ways(((50.0, 25.0),)))
    (3, 2)
    """
    table = _table(whole(length), whole(width), ways)
    return table.tiles(table.length, table.width)


def shortest(width: float, tiles: int, ways: Ways, most: float) -> float | None:
    """Return the length of the shortest rectangle of a width that gives so many tiles; None where `most` mm do not.

    >>> shortest(100.0, 6, Ways(((25.0, 50.0), (50.0, 25.0)), kerf=1.0), most=300.0)
    101.0
    """
    reach = min(whole(most), _enough(width, tiles, ways))
    table = _table(reach, whole(width), ways)
    for length in table.xs[1:]:
        if table.tiles(int(length), table.width) >= tiles:
            return (int(length) - table.kerf) / UNIT
    return None


def _enough(width: float, tiles: int, ways: Ways) -> int:
    """A length that holds so many tiles in plain strips, in whole steps."""
    k = whole(ways.kerf)
    needed = [
        -(-tiles // in_strip) * (whole(a) + k)
        for a, b in ways.sides
        if (in_strip := (whole(width) + k) // (whole(b) + k)) > 0
    ]
    return min(needed, default=0)


def cut_out(length: float, width: float, ways: Ways, corner: tuple[float, float] = (0.0, 0.0)) -> Pattern:
    """Return the cuts that give as many tiles as the rectangle holds; `corner` is where it lies."""
    table = _table(whole(length), whole(width), ways)
    blocks: list[Block] = []
    cuts: list[Cut] = []
    _take(table, (whole(corner[0]), whole(corner[1])), (table.length, table.width), blocks, cuts)
    return Pattern(tuple(blocks), tuple(cuts))


def _take(table: Table, at: tuple[int, int], size: tuple[int, int], blocks: list[Block], cuts: list[Cut]) -> None:
    """Follow the table's best cuts into a rectangle, kerf and all."""
    (x, y), (length, width), k = at, size, table.kerf
    grid = table.grid(length, width)
    if table.tiles(length, width) == 0:
        return
    split = table.split(length, width)
    if split is None:
        along, across, (a, b) = grid
        room = ((length - k) / UNIT, (width - k) / UNIT)
        blocks.append(Block(x / UNIT, y / UNIT, along, across, ((a - k) / UNIT, (b - k) / UNIT), room))
        return
    crosswise, first = split
    if crosswise:
        cuts.append(Cut(True, (x + first - k) / UNIT, y / UNIT, (y + width - k) / UNIT, (first - k) / UNIT))
        _take(table, (x, y), (first, width), blocks, cuts)
        _take(table, (x + first, y), (length - first, width), blocks, cuts)
    else:
        cuts.append(Cut(False, (y + first - k) / UNIT, x / UNIT, (x + length - k) / UNIT, (first - k) / UNIT))
        _take(table, (x, y), (length, first), blocks, cuts)
        _take(table, (x, y + first), (length, width - first), blocks, cuts)


class Table:
    """The best cutting of every rectangle up to a size, kerf added to each length (whole steps).

    `best` holds, by place in `xs` and `ys`, tiles x 4096 less blocks; it is empty where a grid is all that is looked at.
    """

    def __init__(self, length: int, width: int, ways: Ways) -> None:
        self.kerf = whole(ways.kerf)
        self.length, self.width = length + self.kerf, width + self.kerf
        self.sides = tuple((whole(a) + self.kerf, whole(b) + self.kerf) for a, b in ways.sides)
        self.xs = _ends([a for a, _ in self.sides], self.length)
        self.ys = _ends([b for _, b in self.sides], self.width)
        self.small = len(self.sides) > 1 and len(self.xs) * len(self.ys) <= MOST_STATES
        self.best: Ints = np.zeros((0, 0), dtype=np.int64)
        if self.small:
            counts = [np.outer(self.xs // a, self.ys // b) for a, b in self.sides]
            most = np.maximum.reduce(counts).astype(np.int64)
            self.best = np.asarray(most * _COUNT - (most > 0), dtype=np.int64)
            self._fill()

    def _fill(self) -> None:
        """From small rectangles to large: the grid, or the best sum over a cut right through."""
        best = self.best
        rest_y = [self._rest(self.ys, place) for place in range(len(self.ys))]
        for i in range(1, len(self.xs)):
            first, rest = self._rest(self.xs, i)
            if len(first):
                best[i] = np.maximum(best[i], (best[first] + best[rest]).max(axis=0))
            row = best[i]
            for j in range(1, len(self.ys)):
                first, rest = rest_y[j]
                if len(first):
                    row[j] = max(row[j], (row[first] + row[rest]).max())

    @staticmethod
    def _rest(ends: Ints, place: int) -> tuple[Ints, Ints]:
        """Places of the first pieces of a cut, up to half, and of what the rest then holds."""
        half = int(np.searchsorted(ends, ends[place] // 2, side="right"))
        first = np.arange(1, half)
        return first, np.asarray(np.searchsorted(ends, ends[place] - ends[first], side="right") - 1)

    def _value(self, length: int, width: int) -> int:
        if length <= 0 or width <= 0:
            return 0
        if self.small:
            return int(self.best[_at(self.xs, length), _at(self.ys, width)])
        along, across, _ = self.grid(length, width)
        return along * across * _COUNT - 1 if along * across else 0

    def tiles(self, length: int, width: int) -> int:
        """Tiles from a rectangle (kerf added)."""
        return -(-self._value(length, width) // _COUNT)

    def grid(self, length: int, width: int) -> tuple[int, int, tuple[int, int]]:
        """The fullest grid of tiles lying alike: how many along, across, and the sides of one."""
        a, b = max(self.sides, key=lambda one: (length // one[0]) * (width // one[1]))
        return length // a, width // b, (a, b)

    def split(self, length: int, width: int) -> tuple[bool, int] | None:
        """The best cut: crosswise or not, and the length of its first piece; None where a grid is as good."""
        value = self._value(length, width)
        along, across, _ = self.grid(length, width)
        if along * across * _COUNT - 1 >= value:
            return None
        for crosswise, ends, size in ((True, self.xs, length), (False, self.ys, width)):
            for first in ends[1:]:
                one = int(first)
                if 2 * one > size:
                    break
                pieces = (one, width), (size - one, width)
                if not crosswise:
                    pieces = (length, one), (length, size - one)
                if sum(self._value(*piece) for piece in pieces) == value:
                    return crosswise, one
        return None


def _at(ends: Ints, length: int) -> int:
    return int(np.searchsorted(ends, length, side="right")) - 1


def _ends(sides: Sequence[int], most: int) -> Ints:
    """Lengths at which tiles laid end to end can end, nought first."""
    reached = np.zeros(1, dtype=np.int64)
    for side in sorted(set(sides)):
        steps = np.arange(0, most // side + 1, dtype=np.int64) * side
        reached = np.unique((reached[:, None] + steps[None, :]).ravel())
        reached = reached[reached <= most]
    return np.asarray(reached, dtype=np.int64)


@lru_cache(maxsize=64)
def _table(length: int, width: int, ways: Ways) -> Table:
    return Table(length, width, ways)
