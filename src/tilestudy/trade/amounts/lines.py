"""The lines that people follow: what goes into a bath or a stock, how well that is known, what it does to the factor."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tilestudy.study.at_hand import AtHand
from tilestudy.study.language import capital
from tilestudy.study.units import plain_number
from tilestudy.trade.amounts.dilution import STOCK, Vessel
from tilestudy.trade.amounts.household import in_spoons, lumps_text
from tilestudy.trade.amounts.measured import Measured, cylinder_for
from tilestudy.trade.amounts.ranges import Bounds, bounds_text, effect
from tilestudy.trade.amounts.recipe import Part, densities
from tilestudy.trade.amounts.solutions import times_as_much
from tilestudy.trade.amounts.volume import volume_words

_LEAST_SPOON_ML = 1.0
_ROUGH = 0.1
"""How far off (a ratio less 1) a thing that is the same in every bath may be before its range is told."""
_AS_ASKED = 0.03
"""How far what the marks and digits allow may lie from what was asked before it is told."""


@dataclass(frozen=True)
class Line:
    """One line of a recipe.

    Attributes
    ----------
    text : str
        What to do.
    known : str
        How well it is known, and what that does to the factor; may be "".
    ingredient : str
        What goes in; "" where it is water only.
    amount : float or None
        Of the ingredient, or of what it is poured from, in `unit`; None where it cannot be told.
    unit : str
        "g", "mL" or "".
    source : str
        The stock or bath it is poured from; "" where the ingredient itself goes in.
    made_ml : float or None
        What it is made up to.
    wanted, low, high : float or None
        Strength asked for and its bounds, in the factor's stored unit.
    """

    text: str
    known: str = ""
    ingredient: str = ""
    amount: float | None = None
    unit: str = ""
    source: str = ""
    made_ml: float | None = None
    wanted: float | None = None
    low: float | None = None
    high: float | None = None


def amount_words(vessel: Vessel, part: Part) -> str:
    """Write what is measured out: grams, millilitres with spoons beside them, spoons or lumps with their grams."""
    takes, source = vessel.takes, vessel.source
    unit = "mL" if source else part.measured_in
    if takes.value <= 0:
        asked = vessel.wanted * vessel.made.value / 1000
        return f"{plain_number(asked, 2)} {unit}, too little to measure"
    number = f"{plain_number(takes.value, 4)} {unit}"
    if takes.how and not source:
        return f"{takes.how}, about {plain_number(takes.value, 2)} {unit}"
    if unit == "g":
        return number
    spoons, held = in_spoons(takes.value)
    close = held and abs(held / takes.value - 1) < 0.1
    return f"{number} (about {spoons})" if close and takes.value >= _LEAST_SPOON_ML else number


def how_known(part: Part, takes: Measured, source: str, at_hand: AtHand) -> str:
    """Say with what it is measured out and how well, in a few words; what the studio has not told is called assumed."""

    def assumed(what: str) -> str:
        return "" if what in at_hand.told else " (assumed)"

    if part.got == "by eye" and not source:
        return "By eye, half or twice as much (common practice, no source)"
    if source or part.liquid:
        cylinder, fills = cylinder_for(takes.value, at_hand)
        often = f", in {fills} fills" if fills > 1 else ""
        return f"Poured to the nearest mark, {plain_number(cylinder.mark_ml)} mL{assumed('cylinders')}{often}"
    if part.got == "spooned":
        return "Spooned, good to about a quarter either way (common practice, no source)"
    if part.got == "lumps":
        sizes, dense = (" to ".join(map(plain_number, both)) for both in (part.lump_mm, part.lump_g_per_cm3))
        return (
            f"Counted in lumps of {sizes} mm and {dense} g/cm³" if sizes else "Counted in lumps, half or twice as much"
        )
    how = "Weighed" if part.got or part.factor is None else "If weighed"
    return f"{how} on a scale that reads {plain_number(at_hand.scale_g)} g{assumed('scale')}"


def write_down(part: Part, source: str) -> str:
    """Say what to write down, where the strength would mean little without it."""
    if source or part.liquid:
        return " Write down what was poured."
    if part.got == "weighed" or part.factor is None:
        return " Write down what the scale shows."
    return " Weigh it if you can, and write the grams down: else the strength means little next month."


def part_line(
    part: Part,
    vessel: Vessel,
    strength: float,
    ml: float,
    at_hand: AtHand,
    *,
    bounds: Mapping[float, Bounds],
    own: Mapping[float, Bounds],
    label: str,
    goes_on: Mapping[str, float],
    alone: bool,
) -> Line:
    """Return the line of one part for one vessel.

    Parameters
    ----------
    vessel : Vessel
        As made; what it takes is of `vessel.source`, or of the ingredient itself.
    strength : float
        Asked for, in the part's unit.
    ml : float
        What a bath of this study holds: a vessel that is made larger says where the rest goes.
    bounds, own : mapping
        Of each level of the part's factor, with and without what they share; empty for a part that no factor sets.
    label : str
        What the source is called: "stock S1", "bath B2".
    goes_on : mapping
        What of this vessel is poured into others, mL, by their names.
    alone : bool
        True where nothing else goes in, so that this line tells the water too.
    """
    name = capital(part.name)
    much = amount_words(vessel, part)
    of = f" of {label}" if vessel.source else ""
    made = vessel.made.value
    water = f", in water to make {volume_words(made)}" if alone or vessel.code == STOCK else ""
    if alone and part.liquid and not vessel.source and vessel.takes.value >= made - 0.5:
        water = ", as it comes, no water"
    bottle = _bottle(part, vessel) if part.bottle_percent is not None and not vessel.source else ""
    scale = strength / vessel.wanted
    low, high = vessel.strength.low * scale, min(vessel.strength.high * scale, part.strongest)
    text = f"{name}: {much}{of}{bottle}{water}, for {part.written(strength)}{_makes(part, vessel, scale)}."
    if vessel.code != STOCK and made > ml + 0.5:
        text += f" {_pour_first(goes_on)}"
    known = how_known(part, vessel.takes, vessel.source, at_hand)
    if part.factor is not None and vessel.code != STOCK:
        known += f": {effect(strength, part.factor, bounds, own)}"
    elif part.factor is not None:
        known += f": {bounds_text(strength, (low, high), part.factor)}."
    elif vessel.strength.off(vessel.wanted) > _ROUGH:
        known += f": {part.written(strength)} may be {plain_number(low, 2)} to {plain_number(high, 2)} {part.unit}."
    else:
        known += "."
    known += write_down(part, vessel.source)
    if part.got not in ("lumps", "spooned") and not vessel.source and part.measured_in == "g":
        known += _rough_check(part, vessel.takes.value)
    return Line(
        text,
        known,
        part.name,
        vessel.takes.value,
        "mL" if vessel.source else part.measured_in,
        label if vessel.source else "",
        made,
        strength,
        low,
        high,
    )


def _makes(part: Part, vessel: Vessel, scale: float) -> str:
    """Say which strength the nearest mark or digit makes, where that is not the one asked for."""
    made = vessel.strength.value
    if made <= 0 or abs(made / vessel.wanted - 1) <= _AS_ASKED:
        return ""
    return f" (it makes {part.written(float(f'{made * scale:.2g}'))}: write that down)"


def _rough_check(part: Part, grams: float) -> str:
    """Say how many lumps and which spoons that is about, to notice a slip of the scale."""
    text = lumps_text(grams, part.lump_mm, part.lump_g_per_cm3) if part.lump_mm else ""
    spoons = in_spoons(grams / part.g_per_ml)[0] if part.g_per_ml else ""
    return f"{text} Or about {spoons} of crumbs." if text and spoons else text


def _bottle(part: Part, vessel: Vessel) -> str:
    bottle = f" from the bottle of {plain_number(part.bottle_percent or 0)} %"
    if part.recipe_percent in (None, part.bottle_percent) or part.unit != "mL/L":
        return bottle
    as_written = vessel.takes.value / times_as_much(
        part.recipe_percent or 0, part.bottle_percent or 1, densities(part.known)
    )
    return f"{bottle} (of the recipe's {plain_number(part.recipe_percent or 0)} % it would be {plain_number(as_written)} mL)"


def _pour_first(goes_on: Mapping[str, float]) -> str:
    to = " and ".join(f"{plain_number(ml)} mL into {name}" for name, ml in goes_on.items())
    return f"Before its first tile, pour {to}." if to else ""
