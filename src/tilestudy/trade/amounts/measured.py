"""What a scale, a cylinder or a spoon makes of an amount, and within which bounds the true amount then lies.

A scale shows its last digit for anything within half of it; a pour is good to one mark of its cylinder either way
(reading and cylinder together); a level spoonful of crumbs to a quarter either way (each common practice, no source).
Bounds are added up as if everything went wrong the same way: nothing comes out worse than they say, as long as the
instruments keep to that.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from tilestudy.study.at_hand import AtHand, Cylinder
from tilestudy.study.language import count
from tilestudy.study.units import plain_number

SPOON_OFF = 0.25
"""How far off a level spoonful of crumbs may be, as a share (common practice, no source)."""
MOST_FILLS = 2
"""Fills of one cylinder beyond which a larger one is taken, where there is one."""
MOST_SPOONS = 4
"""Spoonfuls beyond which a larger spoon is taken, where there is one."""


@dataclass(frozen=True)
class Measured:
    """An amount as measured out: `value` as the instrument says, and the bounds of the true one, all in one unit.

    `how` is what to do where that is not a plain number: "2 x 1/4 tsp".
    """

    value: float
    low: float
    high: float
    how: str = ""

    def off(self, wanted: float) -> float:
        """Return how far off a wanted amount this may be, as a ratio less 1: 0.5 is half as much again, or two thirds.

        >>> round(Measured(1.0, 0.5, 1.5).off(1.0), 2)
        1.0
        """
        if self.low <= 0:
            return math.inf
        return max(self.high / wanted, wanted / self.low) - 1


Measure = Callable[[float], Measured]
"""Measures out an amount of an ingredient."""


def weigh(grams: float, at_hand: AtHand) -> Measured:
    """Weigh an amount, g, to the nearest digit of the scale, the larger one half-way.

    >>> weigh(0.12, AtHand(scale_g=0.1))
    Measured(value=0.1, low=0.05, high=0.15, how='')
    """
    digit = at_hand.scale_g
    value = round(math.floor(grams / digit + 0.5 + 1e-9) * digit, 9)
    return Measured(value, max(0.0, round(value - digit / 2, 9)), round(value + digit / 2, 9))


def cylinder_for(ml: float, at_hand: AtHand) -> tuple[Cylinder, int]:
    """Return the cylinder that measures a volume (mL) best, and how often it is filled.

    >>> cylinder_for(50, AtHand()), cylinder_for(1000, AtHand())
    ((Cylinder(ml=100.0, mark_ml=1.0), 1), (Cylinder(ml=500.0, mark_ml=5.0), 2))
    """
    fills = [(one, max(1, math.ceil(ml / one.ml - 1e-9))) for one in at_hand.cylinders]
    few = [pair for pair in fills if pair[1] <= MOST_FILLS] or [max(fills, key=lambda pair: pair[0].ml)]
    return min(few, key=lambda pair: (round(pair[0].mark_ml * pair[1], 9), pair[1], pair[0].ml))


def pour(ml: float, at_hand: AtHand) -> Measured:
    """Measure a volume, mL, to the nearest mark of the best cylinder.

    >>> pour(55.6, AtHand()).value, pour(55.6, AtHand()).low, pour(55.6, AtHand()).high
    (56.0, 55.0, 57.0)
    """
    cylinder, fills = cylinder_for(ml, at_hand)
    value = round(round(ml / cylinder.mark_ml) * cylinder.mark_ml, 9)
    tolerance = fills * cylinder.mark_ml
    return Measured(value, max(0.0, round(value - tolerance, 9)), round(value + tolerance, 9))


def make_up(ml: float, at_hand: AtHand) -> Measured:
    """Fill up to a volume, mL, that may lie between two marks.

    >>> make_up(100, AtHand())
    Measured(value=100, low=99.0, high=101.0, how='')
    """
    read = pour(ml, at_hand)
    off = abs(read.value - ml)
    return Measured(ml, max(0.0, read.low - off), read.high + off)


def next_mark(ml: float, at_hand: AtHand) -> float:
    """Return the next mark at or above a volume, mL.

    >>> next_mark(666.7, AtHand())
    670.0
    """
    mark = cylinder_for(ml, at_hand)[0].mark_ml
    return round(math.ceil(ml / mark - 1e-9) * mark, 9)


def spoon(grams: float, g_per_ml: float, at_hand: AtHand) -> Measured:
    """Measure an amount, g, with level spoons of one size: the nearest count, four at most where a spoon is that large.

    >>> spoon(5.0, 1.0, AtHand()).how
    '1 level tsp'
    """
    sizes = [one * g_per_ml for one in at_hand.spoons_ml]
    ways = [(max(1, round(grams / size)), size) for size in sizes]
    few = [way for way in ways if way[0] <= MOST_SPOONS] or [ways[-1]]
    many, size = min(few, key=lambda way: (abs(round(way[0] * way[1] - grams, 9)), way[0]))
    value = many * size
    return Measured(
        value, value * (1 - SPOON_OFF), value * (1 + SPOON_OFF), f"{many} level {spoon_name(size / g_per_ml)}"
    )


def spoon_name(ml: float) -> str:
    """Name a spoon by what it holds, mL.

    >>> spoon_name(1.2322), spoon_name(14.787), spoon_name(2.0)
    ('1/4 tsp', 'tbsp', '2 mL spoon')
    """
    names = {1.2322: "1/4 tsp", 2.4645: "1/2 tsp", 4.9289: "tsp", 14.7868: "tbsp", 0.6161: "1/8 tsp", 3.6967: "3/4 tsp"}
    near = next((name for size, name in names.items() if abs(ml / size - 1) < 0.002), "")
    return near or f"{plain_number(ml)} mL spoon"


def ball_grams(mm: float, g_per_cm3: float) -> float:
    """Weigh a lump, taken as a ball so many mm across: g.

    >>> round(ball_grams(6, 1.5), 2), round(ball_grams(8, 2.0), 2)
    (0.17, 0.54)
    """
    return g_per_cm3 * math.pi / 6 * (mm / 10) ** 3


def lumps(grams: float, mm: Sequence[float], g_per_cm3: Sequence[float]) -> Measured:
    """Count lumps of a size (least and greatest, mm) and density until they come near an amount, g.

    >>> lumps(1.5, (6, 8), (1.5, 2.0)).how
    '5 lumps of pea size (6 to 8 mm)'
    """
    least, most = ball_grams(mm[0], g_per_cm3[0]), ball_grams(mm[1], g_per_cm3[1])
    middle = math.sqrt(least * most)
    many = max(1, round(grams / middle))
    how = f"{count(many, 'lump')} of pea size ({plain_number(mm[0])} to {plain_number(mm[1])} mm)"
    return Measured(many * middle, many * least, many * most, how)


def strength(solute: Measured, made: Measured) -> Measured:
    """Divide a solute (g or mL) by the volume it was made up to (mL): g/L or mL/L with its bounds.

    >>> strength(weigh(0.1, AtHand()), make_up(100, AtHand())).high
    1.5151515151515151
    """
    return Measured(
        solute.value / made.value * 1000,
        solute.low / made.high * 1000,
        solute.high / made.low * 1000 if made.low > 0 else math.inf,
    )
