"""How the baths of one session are made: each weighed by itself, all from one stock, or each from the one before.

Every way is worked out with what there is to measure with. Weighing each bath by itself is kept where that is good enough:
baths made alike then differ by their weighing too, as they should; otherwise a way that may be off far less is taken. Bounds multiply along the way, so they hold whatever the errors do together.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from tilestudy.study.at_hand import AtHand
from tilestudy.trade.amounts.measured import Measure, Measured, make_up, next_mark, pour, strength

Way = Literal["each", "stock", "steps"]
GOOD_ENOUGH = 0.2
"""A strength is known well enough when it is off by at most this share of the step to the next level, in doublings or on any
other scale of ratios (common practice of measuring to a fraction of what is to be told apart; no source for the fifth)."""
WORTH_IT = 2 / 3
"""A stock is worth its work when the worst error falls to this share of it, or less (no source)."""
_SAME = 0.01
_ROUND = (1.0, 2.0, 2.5, 5.0)
STOCK = "stock"


@dataclass(frozen=True)
class Wanted:
    """A bath asked for: its code and its strength, g/L or mL/L."""

    code: str
    strength: float


@dataclass(frozen=True)
class Vessel:
    """A bath, or the stock, as it is made.

    Attributes
    ----------
    code : str
        The bath's, or "stock".
    wanted : float
        Strength asked for, g/L or mL/L.
    source : str
        Where it is poured from: a code, or "" where the ingredient itself goes in.
    takes : Measured
        What goes in: of the ingredient (g or mL), or of the source (mL).
    made : Measured
        What it is made up to, mL.
    strength : Measured
        As it comes out, g/L or mL/L.
    left : float
        What stays in it when everything poured from it is gone, mL.
    """

    code: str
    wanted: float
    source: str
    takes: Measured
    made: Measured
    strength: Measured
    left: float


@dataclass(frozen=True)
class Making:
    """All vessels of one session, in the order in which they are made."""

    way: Way
    vessels: tuple[Vessel, ...]

    @property
    def baths(self) -> tuple[Vessel, ...]:
        """The vessels without the stock."""
        return tuple(one for one in self.vessels if one.code != STOCK)

    @property
    def stock(self) -> Vessel | None:
        """The stock, where there is one."""
        return next((one for one in self.vessels if one.code == STOCK), None)

    @property
    def off(self) -> float:
        """How far off the worst bath may be, as a ratio less 1."""
        return max((one.strength.off(one.wanted) for one in self.baths), default=0.0)


def good_enough(levels: Sequence[float]) -> float:
    """Return how far off (a ratio less 1) a strength may be, for levels that are to be told apart.

    >>> round(good_enough([1, 3, 9]), 3), round(good_enough([1, 2, 4]), 3)
    (0.246, 0.149)
    """
    rising = sorted({level for level in levels if level > 0})
    steps = [math.log(high / low) for low, high in pairwise(rising)]
    return math.exp(GOOD_ENOUGH * min(steps)) - 1 if steps else 0.1


def each_by_itself(baths: Sequence[Wanted], ml: float, measure: Measure, at_hand: AtHand) -> Making:
    """Measure the ingredient for each bath of `ml` by itself.

    >>> from tilestudy.trade.amounts.measured import weigh
    >>> hand = AtHand()
    >>> bath = each_by_itself([Wanted("B1", 1.0)], 100, lambda grams: weigh(grams, hand), hand).baths[0]
    >>> round(bath.strength.low, 2), round(bath.strength.high, 2)
    (0.5, 1.52)
    """
    made = make_up(ml, at_hand)
    found = []
    for bath in baths:
        takes = measure(bath.strength * ml / 1000)
        found.append(Vessel(bath.code, bath.strength, "", takes, made, strength(takes, made), ml))
    return Making("each", tuple(found))


def from_stock(
    baths: Sequence[Wanted], ml: float, stock_strength: float, stock_ml: float, measure: Measure, at_hand: AtHand
) -> Making:
    """Pour each bath from a stock of one strength (g/L or mL/L) and volume (mL), and fill up with water."""
    takes, made = measure(stock_strength * stock_ml / 1000), make_up(stock_ml, at_hand)
    stock = strength(takes, made)
    poured = [pour(bath.strength / stock.value * ml, at_hand) if stock.value else pour(0, at_hand) for bath in baths]
    found = [
        Vessel(STOCK, stock_strength, "", takes, made, stock, stock_ml - math.fsum(one.value for one in poured)),
        *(
            Vessel(bath.code, bath.strength, STOCK, one, *_diluted(stock, one, ml, at_hand), ml)
            for bath, one in zip(baths, poured, strict=True)
        ),
    ]
    return Making("stock", tuple(found))


def _diluted(source: Measured, poured: Measured, ml: float, at_hand: AtHand) -> tuple[Measured, Measured]:
    """Return the volume and the strength when so much of a source is filled up to `ml`."""
    made = make_up(ml, at_hand)
    low = source.low * min(1.0, poured.low / made.high)
    high = source.high * min(1.0, poured.high / made.low) if made.low > 0 else source.high
    return made, Measured(source.value * poured.value / made.value, low, high)


def in_steps(
    baths: Sequence[Wanted],
    ml: float,
    measure: Measure,
    at_hand: AtHand,
    stock: tuple[float, float] | None = None,
) -> Making:
    """Make the strongest bath large enough to pour the next from it, and so on down: serial dilution.

    Baths of the same strength stand on ladders of their own, each with a weighing of its own; or, with a `stock` (g/L or
    mL/L, mL), each ladder's strongest bath is poured from it. At least `ml` stay in each bath.

    >>> from tilestudy.trade.amounts.measured import weigh
    >>> hand = AtHand(scale_g=0.01)
    >>> made = in_steps([Wanted("B1", 8.0), Wanted("B2", 4.0)], 100, lambda grams: weigh(grams, hand), hand)
    >>> [(one.code, one.source, one.takes.value, one.made.value) for one in made.vessels]
    [('B1', '', 1.2, 150.0), ('B2', 'B1', 50.0, 100.0)]
    """
    ladders: list[list[Wanted]] = []
    for bath in sorted(baths, key=lambda one: -one.strength):
        home = next((one for one in ladders if one[-1].strength > bath.strength), None)
        if home is None:
            ladders.append([bath])
        else:
            home.append(bath)
    found: list[Vessel] = []
    tops = 0.0
    head = Measured(0.0, 0.0, 0.0)
    if stock is not None:
        takes, made = measure(stock[0] * stock[1] / 1000), make_up(stock[1], at_hand)
        head = strength(takes, made)
        found.append(Vessel(STOCK, stock[0], "", takes, made, head, stock[1]))
    for ladder in ladders:
        volumes, pours = [next_mark(ml, at_hand)], []
        for strong, weak in zip(ladder[-2::-1], ladder[:0:-1], strict=True):
            pours.append(pour(volumes[-1] * weak.strength / strong.strength, at_hand))
            volumes.append(next_mark(ml + pours[-1].value, at_hand))
        volumes, pours = volumes[::-1], pours[::-1]
        if stock is None:
            takes, made = measure(ladder[0].strength * volumes[0] / 1000), make_up(volumes[0], at_hand)
            vessel = strength(takes, made)
        else:
            takes = pour(ladder[0].strength / head.value * volumes[0] if head.value else 0.0, at_hand)
            made, vessel = _diluted(head, takes, volumes[0], at_hand)
            tops += takes.value
        for place, bath in enumerate(ladder):
            if place:
                takes = pours[place - 1]
                made, vessel = _diluted(vessel, takes, volumes[place], at_hand)
            left = volumes[place] - (pours[place].value if place < len(pours) else 0.0)
            source = ladder[place - 1].code if place else STOCK if stock is not None else ""
            found.append(Vessel(bath.code, bath.strength, source, takes, made, vessel, left))
    if stock is not None:
        found[0] = replace(found[0], left=stock[1] - tops)
    return Making("steps", tuple(found))


def stocks_for(baths: Sequence[Wanted], ml: float) -> list[tuple[float, float]]:
    """Return the stocks worth trying: round strengths from the strongest bath to ten times it, in round volumes.

    A stock is not stronger than it has to be by more than that, and leaves at most half a litre or what the baths take.

    >>> stocks_for([Wanted("B1", 1.0)], 100)[0]
    (1.0, 200.0)
    """
    strongest = max(bath.strength for bath in baths)
    found = []
    for one in _round_between(strongest, 10 * strongest):
        needed = sum(bath.strength for bath in baths) / one * ml
        found += [(one, volume) for volume in _round_between(needed * 1.02, max(2 * needed, needed + 500))]
    return found


def _round_between(low: float, high: float) -> list[float]:
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    numbers = [float(f"{digit}e{power}") for power in powers for digit in _ROUND]
    return [one for one in numbers if low * (1 - 1e-9) <= one <= high * (1 + 1e-9)]


def best_making(
    baths: Sequence[Wanted],
    ml: float,
    levels: Sequence[float],
    measure: Measure,
    at_hand: AtHand,
    *,
    alone: bool = True,
) -> Making:
    """Return how to make the baths of a session: each by itself where that will do, else from a stock or in steps.

    Of the ways that come within half of what is good enough (or, where none does, within a hundredth of the best), the one
    that leaves the least of the ingredient over is taken, without steps where that will do; then the smallest stock. `alone` is False where
    other things go into the baths too: pouring one bath from another would carry these along.

    >>> from tilestudy.trade.amounts.measured import weigh
    >>> hand = AtHand()
    >>> best_making([Wanted("B1", 9.0)], 500, [1, 3, 9], lambda grams: weigh(grams, hand), hand).way
    'each'
    """
    single = each_by_itself(baths, ml, measure, at_hand)
    good = good_enough(levels)
    if not baths or single.off <= good:
        return single
    stocks = stocks_for(baths, ml)
    tried = [from_stock(baths, ml, *stock, measure, at_hand) for stock in stocks]
    if alone and len({bath.strength for bath in baths}) > 1:
        tried += [in_steps(baths, ml, measure, at_hand, stock) for stock in (None, *stocks)]
    fitting = [one for one in tried if one.stock is None or one.stock.left >= 0]
    least = min((one.off for one in fitting), default=math.inf)
    if least == math.inf or least > WORTH_IT * single.off:
        return single
    return min((one for one in fitting if one.off <= max(least + _SAME, good / 2)), key=_preference)


def _preference(making: Making) -> tuple[bool, float, float]:
    left, strong = (making.stock.left, making.stock.wanted) if making.stock is not None else (0.0, 0.0)
    return making.way == "steps", round(left * strong, 6), left
