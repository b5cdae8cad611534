"""What to know before mixing: where weighing is too coarse and what is done about it, and what is only assumed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from tilestudy.study.at_hand import AtHand
from tilestudy.study.language import capital, plural
from tilestudy.study.units import plain_number
from tilestudy.trade.amounts.dilution import Making, Vessel, Wanted, each_by_itself, good_enough
from tilestudy.trade.amounts.measured import cylinder_for, spoon_name
from tilestudy.trade.amounts.ranges import bounds_text
from tilestudy.trade.amounts.recipe import Part, densities
from tilestudy.trade.amounts.solutions import WATER
from tilestudy.trade.amounts.volume import volume_words

_GIVES_GAS = {"sulfide", "ammonia"}
_FINER_G = (0.01, 0.001)
"""Scales that can be bought: their last digits, g (common practice, no source)."""


def part_notes(part: Part, makings: Sequence[Making], levels: Sequence[float], ml: float, at_hand: AtHand) -> list[str]:
    """Say what the lines of a part rest on: a bottle that nobody has told of, a scale that is assumed and matters."""
    found = []
    if part.recipe_percent is not None and part.bottle_percent is None:
        label = part.known.label if part.known else part.name
        found.append(
            f"{capital(part.name)} is reckoned as written. If your bottle says another strength, write it into "
            f'experiments/studio.toml, under [bottles]: "{label}" = "... %"; then tilestudy converts.'
        )
    converted = part.bottle_percent is not None and (part.unit == "%" or part.recipe_percent is not None)
    if converted and part.liquid and densities(part.known) is WATER:
        found.append(f"{capital(part.name)} is reckoned as dense as water at every strength: some per cent off.")
    if "scale" not in at_hand.told and part.weighed and _scale_matters(part, makings, levels, ml, at_hand):
        found.append(
            f"The scale is assumed to read {plain_number(at_hand.scale_g)} g. If yours differs, write it into "
            'experiments/studio.toml: scale = "0.01 g" under [measures].'
        )
    return found


def _scale_matters(part: Part, makings: Sequence[Making], levels: Sequence[float], ml: float, at_hand: AtHand) -> bool:
    """Whether a scale ten times as coarse would not do."""
    coarse = replace(at_hand, scale_g=10 * at_hand.scale_g)
    wanted = [Wanted(one.code, one.wanted) for making in makings for one in making.baths]
    return each_by_itself(wanted, ml, part.measure(coarse), coarse).off > good_enough(levels)


def making_notes(
    part: Part,
    making: Making,
    strengths: Mapping[str, float],
    levels: Sequence[float],
    ml: float,
    at_hand: AtHand,
    word: str,
) -> list[str]:
    """Say why the baths of a session are diluted from a stock or from each other, and what is known badly even so.

    Parameters
    ----------
    strengths : mapping
        By bath, in the part's unit.
    levels : sequence of float
        What a litre takes at the levels that are to be told apart, g or mL.
    ml : float
        Of one bath.
    word : str
        What a batch is called.
    """
    if part.factor is None or not making.baths:
        return []
    wanted = [Wanted(one.code, one.wanted) for one in making.baths]
    found = []
    if making.way != "each":
        single = each_by_itself(wanted, ml, part.measure(at_hand), at_hand)
        worst = max(single.baths, key=lambda one: one.strength.off(one.wanted))
        found += _why_diluted(part, making, worst, strengths[worst.code], ml, at_hand, word)
    good = good_enough(levels or [one.wanted for one in making.baths])
    if making.off > good:
        found.append(_remedy(part, wanted, strengths, ml, at_hand, good))
    return found


def _why_diluted(
    part: Part, making: Making, worst: Vessel, strength: float, ml: float, at_hand: AtHand, word: str
) -> list[str]:
    assert part.factor is not None
    scale = strength / worst.wanted
    by_itself = bounds_text(strength, (worst.strength.low * scale, worst.strength.high * scale), part.factor)
    words = plural(word)
    how = (
        f"some {words} are poured from stronger ones"
        if making.way == "steps"
        else f"{words} are poured from a stock made in one go"
    )
    return [
        f"{_tool(part, worst, at_hand)} cannot make {part.written(strength)} in {volume_words(ml)} well: by itself, {by_itself}. "
        f"So {how}.",
        f"What is poured from one vessel shares its error: such {words} come out more alike than {words} measured one by one. "
        "The steps between them are as planned; how strong they are all together is known no better than that vessel.",
    ]


def handling(part: Part, making: Making, *, ml: float, word: str, stock: str) -> list[str]:
    """Say how to handle what is poured from one vessel into another; nothing where each bath is measured by itself.

    >>> handling(Part("salt", None, "g/L"), Making("each", ()), ml=500, word="bath", stock="stock 1")
    []
    """
    words, found = plural(word), []
    if making.way == "steps":
        found.append(f"Make all {words} of a session that are poured from each other before their first tile.")
    if making.stock is not None:
        found.append(
            f"Make a stock right before its {words}; keep it closed and labelled like a {word}. Its age counts as theirs."
        )
        strongest = max(one.wanted for one in making.baths) * ml / 1000
        if part.known is not None and part.known.classes & _GIVES_GAS and making.stock.takes.value > strongest:
            found.append(
                f"{capital(stock)} holds {plain_number(making.stock.takes.value / strongest, 2)} times as much as the strongest {word}: "
                "so many times what the hazard check reckons of the air."
            )
        if making.stock.left >= 1:
            found.append(
                f"About {plain_number(making.stock.left, 2)} mL of {stock} is left over: waste of the same kind as the {words}, "
                "into the same labelled jar."
            )
    return found


def _tool(part: Part, vessel: Vessel, at_hand: AtHand) -> str:
    """Name what is too coarse."""
    if part.measured_in == "mL":
        return f"A cylinder with marks of {plain_number(cylinder_for(vessel.takes.value, at_hand)[0].mark_ml)} mL"
    if part.got == "spooned":
        return f"A level {spoon_name(at_hand.spoons_ml[0])}"
    return "Counting lumps" if part.got == "lumps" else f"A scale that reads {plain_number(at_hand.scale_g)} g"


def _remedy(
    part: Part, wanted: Sequence[Wanted], strengths: Mapping[str, float], ml: float, at_hand: AtHand, good: float
) -> str:
    """Say what would make the strengths better known."""
    lowest = min(wanted, key=lambda one: one.strength)
    head = f"{part.written(strengths[lowest.code])} is known badly as it is"
    if part.got in ("spooned", "lumps", "by eye"):
        return f'{head}: weigh it, and write got = "weighed" into study.toml.'
    if part.measured_in == "g":
        for digit in _FINER_G:
            finer = replace(at_hand, scale_g=digit)
            if digit < at_hand.scale_g and each_by_itself(wanted, ml, part.measure(finer), finer).off <= good:
                return f"{head}: a scale that reads {plain_number(digit)} g would do."
    return f"{head}: measure with something finer, make larger baths, or set the levels further apart."
