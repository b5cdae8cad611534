"""How many tiles a rectangle gives, and that the cuts can be made."""

from __future__ import annotations

from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from tilestudy.design.cutting.guillotine import Pattern, Ways, area_bound, cut_out, most_tiles, shortest

Box = tuple[float, float, float, float]
sides = st.integers(3, 9)
pieces = st.integers(1, 34)
kerfs = st.integers(0, 2)


def both(a: float, b: float, kerf: float) -> Ways:
    """A tile that may lie both ways."""
    return Ways(((a, b), (b, a)), kerf)


def plainly(length: int, width: int, a: int, b: int, kerf: int) -> int:
    """The most tiles, by trying every cut at every whole mm; shares nothing with ours."""

    @cache
    def most(x: int, y: int) -> int:
        best = int((x, y) in ((a, b), (b, a)))
        for size, other, crosswise in ((x, y, True), (y, x, False)):
            for first in range(1, size):
                rest = max(0, size - first - kerf)
                two = (most(first, other), most(rest, other)) if crosswise else (most(other, first), most(other, rest))
                best = max(best, sum(two))
        return best

    return most(length, width)


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 24), st.integers(1, 24), sides, sides, kerfs)
def test_no_way_of_cutting_gives_more(length: int, width: int, a: int, b: int, kerf: int) -> None:
    """Every cut at every whole mm was tried, the kerf taken off each time."""
    assert most_tiles(length, width, both(a, b, kerf)) == plainly(length, width, a, b, kerf)


@settings(max_examples=60, deadline=None)
@given(pieces, pieces, sides, sides, kerfs, st.booleans())
def test_the_cuts_give_the_tiles(length: int, width: int, a: int, b: int, kerf: int, turned: bool) -> None:
    """As many as said, no more than the area holds, inside the piece, and each can be cut free by straight cuts."""
    ways = both(a, b, kerf) if turned else Ways(((a, b),), kerf)
    pattern = cut_out(length, width, ways)
    boxes = tiles_of(pattern, kerf)
    assert len(boxes) == pattern.tiles == most_tiles(length, width, ways) <= area_bound(length, width, ways)
    assert all(x >= 0 and y >= 0 and x + w <= length and y + h <= width for x, y, w, h in boxes)
    assert {(w, h) for _, _, w, h in boxes} <= set(ways.sides)
    assert separable(boxes, kerf)


def tiles_of(pattern: Pattern, kerf: float) -> list[Box]:
    """Every tile of a pattern: corner and sides."""
    return [
        (*block.place(strip, number, kerf), *block.tile)
        for block in pattern.blocks
        for strip in range(block.strips)
        for number in range(block.in_strip)
    ]


def separable(boxes: list[Box], kerf: float) -> bool:
    """Whether straight cuts right through, `kerf` wide, free every tile."""
    if len(boxes) < 2:
        return True
    for axis in (0, 1):
        for end in {box[axis] + box[axis + 2] for box in boxes}:
            first = [box for box in boxes if box[axis] + box[axis + 2] <= end]
            rest = [box for box in boxes if box[axis] >= end + kerf]
            if rest and len(first) + len(rest) == len(boxes):
                return separable(first, kerf) and separable(rest, kerf)
    return False


@settings(max_examples=40, deadline=None)
@given(pieces, st.integers(1, 12), sides, sides, kerfs)
def test_the_shortest_piece_holds_the_tiles_and_none_shorter_does(
    width: int, tiles: int, a: int, b: int, kerf: int
) -> None:
    """A mm less and they no longer fit; where it says none, the longest does not hold them."""
    ways, most = both(a, b, kerf), 60
    length = shortest(width, tiles, ways, most)
    if length is None:
        assert most_tiles(most, width, ways) < tiles
    else:
        assert most_tiles(length, width, ways) >= tiles
        assert most_tiles(length - 0.01, width, ways) < tiles


@settings(max_examples=40, deadline=None)
@given(pieces, pieces, sides, sides, kerfs)
def test_a_piece_turned_round_gives_as_many(length: int, width: int, a: int, b: int, kerf: int) -> None:
    """Which side comes first does not matter; a larger piece never gives fewer."""
    ways = both(a, b, kerf)
    assert most_tiles(length, width, ways) == most_tiles(width, length, ways) <= most_tiles(length + 3, width, ways)


def test_a_sheet_too_big_to_search_is_cut_in_one_grid() -> None:
    """1 x 2 m of 25 x 50 mm tiles: the grid, within 2 % of what the area holds; a part of it is still cut exactly."""
    ways = both(25.0, 50.0, 1.0)
    assert 0.98 * area_bound(1000, 2000, ways) <= most_tiles(1000, 2000, ways) <= area_bound(1000, 2000, ways)
    assert shortest(2000, 60, ways, 1000) == 50.0
