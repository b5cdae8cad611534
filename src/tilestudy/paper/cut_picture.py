"""Pictures of a sheet and its cuts as SVG: lengths are mm on paper, text is 9 pt, and nothing is told by colour alone."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from xml.sax.saxutils import escape

from tilestudy.design.cutting.guillotine import Block, Cut
from tilestudy.design.cutting.plan import CutPlan, CutSheet
from tilestudy.design.cutting.stamp import Stamp
from tilestudy.design.cutting.words import block_name, length

NINE_PT = 9 * 25.4 / 72
INK, SOFT, HATCH = "#1a1a1a", "#595959", "#8c8c8c"
LEFT, TOP, RIGHT, BOTTOM = 15.0, 12.5, 15.0, 12.0
"""Margins for measures, mm."""
REST = 7.0
"""How much of what stays whole is drawn beyond the first cut."""
SHARES = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9, 0.45, 0.55)
"""Where on a cut its number is tried, as a share of its length."""
RING = 3.4
"""From an edge to the middle of a numbered ring outside it, mm."""
_LETTER = 0.66
"""Width of a bold capital or digit against the size of the type."""


@dataclass
class _Drawing:
    """What is drawn so far, in mm on paper."""

    width: float
    height: float
    parts: list[str] = field(default_factory=list)
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)

    def free(self, x: float, y: float, width: float, height: float) -> bool:
        """Whether a box around a place is inside the picture's width and over no words yet."""
        left, top = x - width / 2, y - height / 2
        inside = left >= 0 and top >= 0 and left + width <= self.width
        return inside and not any(
            left < x0 + wide and x0 < left + width and top < y0 + high and y0 < top + height
            for x0, y0, wide, high in self.taken
        )

    def rect(
        self, x: float, y: float, width: float, height: float, fill: str, stroke: str = "none", pt: float = 0.0
    ) -> None:
        self.parts.append(
            f'<rect x="{x:.2f}" y="{y:.2f}" width="{width:.2f}" height="{height:.2f}" fill="{fill}" stroke="{stroke}" '
            f'stroke-width="{pt * 25.4 / 72:.3f}"/>'
        )

    def line(self, one: tuple[float, float], other: tuple[float, float], pt: float, dashes: str = "") -> None:
        dash = f' stroke-dasharray="{dashes}"' if dashes else ""
        self.parts.append(
            f'<line x1="{one[0]:.2f}" y1="{one[1]:.2f}" x2="{other[0]:.2f}" y2="{other[1]:.2f}" stroke="{INK}" '
            f'stroke-width="{pt * 25.4 / 72:.3f}"{dash}/>'
        )

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        bold: bool = False,
        anchor: str = "middle",
        upright: bool = False,
        fill: str = INK,
    ) -> None:
        """Write words with their middle line at `y`; `upright` words run upwards."""
        turn = f' transform="rotate(-90 {x:.2f} {y:.2f})"' if upright else ""
        wide, high = len(words) * 0.58 * NINE_PT, 0.9 * NINE_PT
        shift = {"middle": 0.5, "start": 0.0, "end": 1.0}[anchor]
        box = (
            (x - high / 2, y - wide * (1 - shift), high, wide)
            if upright
            else (x - wide * shift, y - high / 2, wide, high)
        )
        self.taken.append(box)
        self.height = max(self.height, box[1] + box[3] + 1.0)
        self.parts.append(
            f'<text x="{x:.2f}" y="{y + 0.36 * NINE_PT:.2f}" font-family="Inter, sans-serif" font-size="{NINE_PT:.3f}" '
            f'font-weight="{700 if bold else 400}" text-anchor="{anchor}" fill="{fill}"{turn}>{escape(words)}</text>'
        )

    def number(self, places: Sequence[tuple[float, float]], words: str) -> None:
        """A number in a ring, at the first of the places that is free, else at the last."""
        x, y = next((one for one in places if self.free(*one, 5.6, 5.6)), places[-1])
        self.parts.append(
            f'<circle cx="{x:.2f}" cy="{y:.2f}" r="2.70" fill="white" stroke="{INK}" stroke-width="0.45"/>'
        )
        self.text(x, y, words, bold=True)
        self.height = max(self.height, y + 3.2)
        self.taken[-1] = (x - 2.7, y - 2.7, 5.4, 5.4)

    def svg(self) -> str:
        hatch = (
            '<defs><pattern id="scrap" width="1.6" height="1.6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
            f'<rect width="1.6" height="1.6" fill="white"/><rect width="0.5" height="1.6" fill="{HATCH}"/></pattern></defs>'
        )
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width:.2f}mm" height="{self.height:.2f}mm" '
            f'viewBox="0 0 {self.width:.2f} {self.height:.2f}">{hatch}{"".join(self.parts)}</svg>'
        )


@dataclass(frozen=True)
class _Paper:
    """Where a place of the sheet lies on paper; `turned` lays the sheet's second side across."""

    scale: float
    turned: bool

    def at(self, x: float, y: float) -> tuple[float, float]:
        across, down = (y, x) if self.turned else (x, y)
        return LEFT + across * self.scale, TOP + down * self.scale

    def size(self, width: float, height: float) -> tuple[float, float]:
        across, down = (height, width) if self.turned else (width, height)
        return across * self.scale, down * self.scale


def cut_picture(
    plan: CutPlan, one: CutSheet, stamps: Sequence[Stamp], width_mm: float = 176.0, most_height_mm: float = 130.0
) -> str:
    """Draw the part of a sheet that is used: tiles with codes, scrap hatched, numbered cuts, and where each cut is measured.

    Parameters
    ----------
    plan : CutPlan
    one : CutSheet
    stamps : sequence of Stamp
        Those of this sheet.
    width_mm, most_height_mm : float
        Room on paper.

    Returns
    -------
    str
        SVG.
    """
    across, down = sorted(one.extent, reverse=True)
    rest_beside = one.first is not None and one.first.crosswise != one.turned
    rest_below = one.first is not None and not rest_beside
    room = width_mm - LEFT - RIGHT - REST * rest_beside, most_height_mm - TOP - BOTTOM - REST * rest_below
    paper = _Paper(min(room[0] / across, room[1] / down), one.turned)
    size = across * paper.scale, down * paper.scale
    drawn = _Drawing(width_mm, TOP + size[1] + 1.5)
    drawn.rect(LEFT, TOP, *size, "url(#scrap)", INK, 1.6)
    many = len(one.pattern.blocks) > 1
    first_of_block: dict[int, Stamp] = {}
    for stamp in stamps:
        first_of_block.setdefault(stamp.block, stamp)
        _tile(drawn, paper, stamp, many and first_of_block[stamp.block] is stamp)
    trim = 0.0 if one.sheet.offcut else plan.cutting.trim_mm
    for block in one.pattern.blocks:
        _strips(drawn, paper, block, plan.cutting.kerf_mm)
        _measures(drawn, paper, block, plan.cutting.kerf_mm, trim, one.extent)
    numbers = iter(range(1, 1000))
    if one.first is not None:
        _rest(drawn, one, size, str(next(numbers)))
    for cut in one.pattern.cuts:
        _cut(drawn, paper, cut, size, str(next(numbers)))
    _grain(drawn, plan, one, size)
    return drawn.svg()


def _tile(drawn: _Drawing, paper: _Paper, stamp: Stamp, named: bool) -> None:
    """One tile: its code, its batch below where there is room, and the piece's letter on the first tile of a piece."""
    x, y = paper.at(stamp.x, stamp.y)
    width, height = paper.size(*stamp.mm)
    drawn.rect(x, y, width, height, "white", INK, 0.8)
    batch = stamp.batch or ("spare" if stamp.spare else "")
    code = stamp.code or "blank"
    lines = [code, batch] if batch else [code]
    middle = x + width / 2, y + height / 2
    for upright, along, beside in ((False, width, height), (True, height, width)):
        for shown in (lines, lines[:1]):
            longest = max(len(one) for one in shown) * _LETTER * NINE_PT
            if longest <= along - 0.6 and len(shown) * 1.15 * NINE_PT <= beside - 0.4:
                for place, words in enumerate(shown):
                    shift = (place - (len(shown) - 1) / 2) * 1.15 * NINE_PT
                    at = (middle[0] + shift, middle[1]) if upright else (middle[0], middle[1] + shift)
                    drawn.text(*at, words, bold=place == 0 and bool(stamp.code), upright=upright)
                return


def _strips(drawn: _Drawing, paper: _Paper, block: Block, kerf: float) -> None:
    """The long cuts of a block, heavier than those between the tiles of a strip."""
    wide, high = block.tile
    for strip in range(1, block.strips):
        if block.lengthwise:
            y = block.y + strip * (high + kerf) - kerf / 2
            ends = (block.x, y), (block.x + block.room[0], y)
        else:
            x = block.x + strip * (wide + kerf) - kerf / 2
            ends = (x, block.y), (x, block.y + block.room[1])
        drawn.line(paper.at(*ends[0]), paper.at(*ends[1]), 1.8)


def _measures(
    drawn: _Drawing, paper: _Paper, block: Block, kerf: float, trim: float, extent: tuple[float, float]
) -> None:
    """Where each tile of a block ends, mm from the sheet's edges, written in the margin that the block touches."""
    ends_x = [block.x + n * (block.tile[0] + kerf) - kerf for n in range(1, block.along + 1)]
    ends_y = [block.y + n * (block.tile[1] + kerf) - kerf for n in range(1, block.across + 1)]
    touches = {
        "x low": block.y <= trim + 0.01,
        "x high": block.y + block.room[1] >= extent[1] - trim - 0.01,
        "y low": block.x <= trim + 0.01,
        "y high": block.x + block.room[0] >= extent[0] - trim - 0.01,
    }
    far = paper.at(*extent)
    for axis, ends in (("x", ends_x), ("y", ends_y)):
        low = touches[f"{axis} low"]
        if not low and not touches[f"{axis} high"]:
            continue
        across = (axis == "x") != paper.turned
        at = [paper.at(end, 0)[not across] if axis == "x" else paper.at(0, end)[not across] for end in ends]
        words = [length(end) for end in ends]
        wide = max(map(len, words)) * 0.6 * NINE_PT
        for place, word in reversed(list(zip(at, words, strict=True))):
            if across:
                edge, away = (TOP, -1) if low else (far[1], 1)
                upright = wide + 1 > min((b - a for a, b in pairwise(at)), default=99.0)
                drawn.line((place, edge), (place, edge + away * 1.6), 0.9)
                _across(drawn, (place, edge + away * 2.2), away, word, upright)
            else:
                edge, away = (LEFT, -1) if low else (far[0], 1)
                drawn.line((edge, place), (edge + away * 1.6, place), 0.9)
                _beside(drawn, (edge + away * 2.4, place), away, word)


def _across(drawn: _Drawing, at: tuple[float, float], away: int, word: str, upright: bool) -> None:
    """A measure above or below the picture; left out where another one stands already."""
    long = len(word) * 0.58 * NINE_PT
    if upright:
        if drawn.free(at[0], at[1] + away * long / 2, 0.9 * NINE_PT, long):
            drawn.text(*at, word, upright=True, anchor="start" if away < 0 else "end")
    elif drawn.free(at[0], at[1] + away * 1.8, long, 0.9 * NINE_PT):
        drawn.text(at[0], at[1] + away * 1.8, word)


def _beside(drawn: _Drawing, at: tuple[float, float], away: int, word: str) -> None:
    """A measure beside the picture; left out where another one stands already."""
    long = len(word) * 0.58 * NINE_PT
    if drawn.free(at[0] + away * long / 2, at[1], long, 0.9 * NINE_PT):
        drawn.text(*at, word, anchor="end" if away < 0 else "start")


def _cut(drawn: _Drawing, paper: _Paper, cut: Cut, size: tuple[float, float], number: str) -> None:
    """A cut right through a piece, with its number: outside at an end that is an edge, else on the line where it is free."""
    ends = ((cut.at, cut.start), (cut.at, cut.end)) if cut.crosswise else ((cut.start, cut.at), (cut.end, cut.at))
    one, other = paper.at(*ends[0]), paper.at(*ends[1])
    edge = LEFT + size[0], TOP + size[1]
    upright, near = cut.crosswise != paper.turned, 6 * paper.scale
    places: list[tuple[float, float]] = []
    if upright and edge[1] - other[1] < near:
        other = other[0], edge[1]
        places = [(other[0], edge[1] + out) for out in (RING, RING + 4, RING + 8)]
    elif not upright and edge[0] - other[0] < near:
        other = edge[0], other[1]
        places = [(edge[0] + out, other[1]) for out in (RING, RING + 5, RING + 9)]
    along = [(one[0] + share * (other[0] - one[0]), one[1] + share * (other[1] - one[1])) for share in SHARES]
    drawn.line(one, other, 2.6)
    drawn.number([*places, *along], number)


def _rest(drawn: _Drawing, one: CutSheet, size: tuple[float, float], number: str) -> None:
    """The first cut, and the beginning of what stays whole beyond it."""
    right, below = LEFT + size[0], TOP + size[1]
    if one.first is not None and one.first.crosswise != one.turned:
        x = right + REST + 3.5
        for y in (TOP, below):
            drawn.line((right, y), (right + REST, y), 1.2, "1.6 1.2")
        drawn.line((right, TOP), (right, below), 2.6)
        ends = [(right, below + RING), (right, TOP - RING), (right + 2.8, below + RING)]
        drawn.number([*ends, *((right, TOP + share * size[1]) for share in SHARES), (right, below + RING + 8)], number)
        long, high = len("stays whole") * 0.58 * NINE_PT, 0.9 * NINE_PT
        free = [TOP + share * size[1] for share in SHARES if drawn.free(x, TOP + share * size[1], high, long)]
        if free:
            drawn.text(x, free[0], "stays whole", upright=True, fill=SOFT)
        else:  # below all that stands in the margin
            lowest = max([TOP + size[1], *(top + tall for _, top, _, tall in drawn.taken)])
            drawn.text(x, lowest + 1.0 + long / 2, "stays whole", upright=True, fill=SOFT)
    else:
        for x in (LEFT, right):
            drawn.line((x, below), (x, below + REST), 1.2, "1.6 1.2")
        drawn.line((LEFT, below), (right, below), 2.6)
        beside = [(right + RING + out, below) for out in (0, 6, 12)]
        along = [(LEFT + share * size[0], below + under) for under in (0, RING) for share in SHARES]
        drawn.number([*beside, *along, (LEFT - RING, below)], number)
        middle = LEFT + size[0] / 2
        lower = max([below + REST, *(top + high for _, top, _, high in drawn.taken)])
        drawn.text(middle, lower + 1.8, "stays whole", fill=SOFT)


def _grain(drawn: _Drawing, plan: CutPlan, one: CutSheet, size: tuple[float, float]) -> None:
    if one.sheet.grain == "any" or plan.cutting.grain == "any":
        return
    flat = (one.sheet.grain == "along") != one.turned
    arrow = "\N{LEFT RIGHT ARROW}" if flat else "\N{UP DOWN ARROW}"
    drawn.text(LEFT, drawn.height + 3.2, f"Rolling marks run {arrow}", anchor="start")


def overview(one: CutSheet, width_mm: float = 62.0, most_height_mm: float = 40.0) -> str:
    """Draw the whole sheet small: the part in use hatched, the sides in mm, what stays whole."""
    sides = one.sheet.mm[::-1] if one.turned else one.sheet.mm
    used = one.extent[::-1] if one.turned else one.extent
    left, top = 2.0, 6.0
    scale = min((width_mm - left - 14) / sides[0], (most_height_mm - top - 2) / sides[1])
    size = sides[0] * scale, sides[1] * scale
    drawn = _Drawing(width_mm, top + size[1] + 2)
    drawn.rect(left, top, *size, "white", INK, 1.6)
    drawn.rect(left, top, used[0] * scale, used[1] * scale, "url(#scrap)", INK, 1.2)
    drawn.text(left + size[0] / 2, top - 2.6, f"{length(sides[0])} mm")
    drawn.text(left + size[0] + 1.4, top + size[1] / 2, length(sides[1]), anchor="start")
    if one.left is not None:
        beside = used[0] < sides[0]
        middle = (
            (left + (used[0] + sides[0]) / 2 * scale, top + size[1] / 2)
            if beside
            else (left + size[0] / 2, top + (used[1] + sides[1]) / 2 * scale)
        )
        room = ((sides[0] - used[0]) * scale, size[1]) if beside else (size[0], (sides[1] - used[1]) * scale)
        _fit(drawn, middle, room, ("stays whole", "whole"))
    return drawn.svg()


def _fit(drawn: _Drawing, middle: tuple[float, float], room: tuple[float, float], words: Iterable[str]) -> None:
    """Write the first of the words that fits, across or upright."""
    for word in words:
        long = len(word) * 0.56 * NINE_PT
        if long <= room[0] - 1 and room[1] >= 1.2 * NINE_PT:
            drawn.text(*middle, word)
            return
        if long <= room[1] - 1 and room[0] >= 1.2 * NINE_PT:
            drawn.text(*middle, word, upright=True)
            return


def alt(plan: CutPlan, one: CutSheet) -> str:
    """Say what the picture shows."""
    blocks = "; ".join(
        f"piece {block_name(place)}: {block.along} by {block.across} tiles"
        for place, block in enumerate(one.pattern.blocks)
    )
    return f"Sheet {one.number}, the part in use, with {one.tiles} tiles and their codes: {blocks}."
