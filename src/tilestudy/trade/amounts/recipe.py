"""What goes into every bath: the process's ingredients and what the study file adds, each with how it is measured out."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from tilestudy.errors import UnitError, WrongRequestError
from tilestudy.study.at_hand import AtHand
from tilestudy.study.language import capital
from tilestudy.study.records import Batch, Factor, Study
from tilestudy.study.units import parse_quantity, plain_number, show
from tilestudy.trade.amounts.measured import Measure, Measured, lumps, pour, spoon, weigh
from tilestudy.trade.amounts.solutions import (
    WATER,
    Densities,
    from_bottle,
    grams_for_moles,
    grams_for_percent,
    times_as_much,
)
from tilestudy.trade.ingredients import Ingredient
from tilestudy.trade.library import Library

LITRE_UNITS = ("g/L", "mL/L", "%", "mol/L")
"""Units of a strength that can be measured out for a volume."""
_CRUMBS = 1.0  # g/mL of crumbs where nobody says (from memory, about)
LABEL_PERCENT = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:%|per ?cent)")


@dataclass(frozen=True)
class Part:
    """One thing that goes into a bath.

    Attributes
    ----------
    name : str
        As it is called.
    known : Ingredient or None
        What the trade knows of it.
    unit : str
        Of its strength: one of `LITRE_UNITS`, or another that cannot be measured out.
    factor : Factor or None
        The factor that sets it; None where it is the same in every bath.
    amount : float or None
        Strength in every bath, in `unit`; None where the factor sets it, or nobody says.
    got : str
        How it is measured out: "weighed", "spooned", "lumps", "by eye" or "" (not said).
    lump_mm, lump_g_per_cm3 : tuple of float
        Size and density of a lump, least and greatest; () where none is known.
    g_per_ml : float or None
        Of crumbs on a spoon, where it is known.
    recipe_percent, bottle_percent : float or None
        What the recipe is written for, and what the studio's bottle says.
    """

    name: str
    known: Ingredient | None
    unit: str
    factor: Factor | None = None
    amount: float | None = None
    got: str = ""
    lump_mm: tuple[float, ...] = ()
    lump_g_per_cm3: tuple[float, ...] = ()
    g_per_ml: float | None = None
    recipe_percent: float | None = None
    bottle_percent: float | None = None

    @property
    def liquid(self) -> bool:
        """True where it is poured."""
        return self.unit == "mL/L" or (self.unit == "%" and self.known is not None and self.known.form != "solid")

    @property
    def weighed(self) -> bool:
        """True where a scale is used."""
        return not self.liquid and self.got in ("weighed", "")

    @property
    def measured_in(self) -> str:
        """The unit in which it is measured out."""
        return "mL" if self.liquid else "g"

    @property
    def strongest(self) -> float:
        """The strength that its bottle sets a bound to, in `unit`; infinite where none does."""
        return self.bottle_percent if self.unit == "%" and self.liquid and self.bottle_percent else math.inf

    def strength(self, batch: Batch) -> float | None:
        """Return how strong it is in a batch, in `unit`; None where that is not said, or is no number."""
        if self.factor is None:
            return self.amount
        found = batch.settings.get(self.factor.name)
        return None if isinstance(found, str) else found

    def written(self, strength: float) -> str:
        """Write a strength with its unit, as people of the study read it."""
        return show(strength, self.factor) if self.factor is not None else f"{plain_number(strength)} {self.unit}"

    def per_litre(self, strength: float) -> float:
        """Return the g or mL of what is at hand for a litre at a strength.

        Raises WrongRequestError, with what to do, where that cannot be told.
        """
        if self.unit == "g/L":
            return strength
        if self.unit == "mL/L":
            if self.recipe_percent is None or self.bottle_percent is None:
                return strength
            return strength * times_as_much(self.recipe_percent, self.bottle_percent, densities(self.known))
        if self.unit == "mol/L":
            if self.known is None or self.known.molar_mass is None:
                raise WrongRequestError(
                    f"{capital(self.name)} is asked for in mol/L, and its molar mass is not known. Give the strength in g/L, or "
                    "tell the molar mass in experiments/trade/ingredients.toml."
                )
            return grams_for_moles(strength, self.known.molar_mass, 1000)
        if self.unit == "%" and not self.liquid:
            return grams_for_percent(strength, 1000)
        if self.unit != "%":
            raise WrongRequestError(
                f"{capital(self.name)} is asked for in {self.unit}: measure it as your recipe says."
            )
        if self.bottle_percent is None:
            raise WrongRequestError(
                f'Write what the label of your {self.name} says into experiments/studio.toml, under [bottles]: "{self.name}" = '
                '"... %". Then tilestudy reckons how much of it goes in.'
            )
        if self.bottle_percent < strength:
            raise WrongRequestError(
                f"The bottle of {self.name} holds {plain_number(self.bottle_percent)} %, too weak for {self.written(strength)}: "
                "get a stronger one, or lower the levels in study.toml."
            )
        return from_bottle(strength, 1000, self.bottle_percent, densities(self.known))

    def measure(self, at_hand: AtHand) -> Measure:
        """Return what measures it out with what is at hand."""
        if self.got == "by eye":
            return by_eye
        if self.liquid:
            return lambda ml: pour(ml, at_hand)
        if self.got == "spooned":
            return lambda grams: spoon(grams, self.g_per_ml or _CRUMBS, at_hand)
        if self.got == "lumps":
            if not self.lump_mm:
                return by_eye
            return lambda grams: lumps(grams, self.lump_mm, self.lump_g_per_cm3)
        return lambda grams: weigh(grams, at_hand)


def by_eye(amount: float) -> Measured:
    """Take an amount by eye: half or twice of it (common practice, no source).

    >>> by_eye(2.0).high
    4.0
    """
    return Measured(amount, amount / 2, amount * 2)


@cache
def _data() -> Mapping[str, Any]:
    return tomllib.loads(files("tilestudy.trade").joinpath("data", "liquids.toml").read_text(encoding="utf-8"))


def densities(known: Ingredient | None) -> Densities:
    """Return the densities of a liquid at its strengths; those of water where nobody has them.

    >>> densities(None)
    ((0.0, 0.9982),)
    """
    names = {name.casefold() for name in known.names} if known is not None else set()
    for liquid in _data()["liquid"]:
        if names & set(liquid["names"]):
            rows: Densities = liquid["rows"]
            return rows
    return WATER


def order(parts: tuple[Part, ...]) -> tuple[str, ...]:
    """Return what is added to what, for the ingredients of a recipe."""
    return tuple(
        rule["says"]
        for rule in _data()["order"]
        if any(part.known is not None and _concerns(rule, part.known) for part in parts)
    )


def _concerns(rule: Mapping[str, Any], known: Ingredient) -> bool:
    strong = known.percent is None or known.percent >= rule.get("from_percent", 0)
    return rule["class"] in known.classes and known.form in rule["forms"] and strong


def recipe(study: Study, library: Library, at_hand: AtHand) -> tuple[Part, ...]:
    """Return what goes into every bath of a study, in the order of the process file, then of the study file.

    >>> from tilestudy.trade.library import BUILT_IN
    >>> strength = Factor("strength", (1.0, 3.0), "g/L", "g/L", "geometric", "batch", "weighed")
    >>> [one.unit for one in recipe(Study("s", "", "sulfide-dip", (strength,)), BUILT_IN, AtHand())]
    ['g/L']
    """
    process = library.process(study.process)
    factors = {factor.name: factor for factor in study.factors}
    found = []
    for data in process.data.get("ingredient", ()):
        factor = factors.get(data.get("factor", ""))
        if "factor" in data and (factor is None or not factor.numeric):
            continue  # a study may leave a factor of its process out, or set it by named levels
        known = library.ingredient(data.get("id", data.get("name", "")))
        name = data.get("name") or (known.label if known else data.get("id", ""))
        amount, unit = (None, factor.unit) if factor is not None else _amount(data.get("amount", ""))
        found.append(
            Part(
                name,
                known,
                unit,
                factor,
                amount,
                factor.got if factor is not None else "",
                tuple(data.get("lump_mm", ())),
                tuple(data.get("lump_g_per_cm3", ())),
                process.density_g_per_ml,
                *_percents(name, known, at_hand, library, unit),
            )
        )
    for one in study.workplace.added:
        known = library.ingredient(one.what)
        percents = _percents(one.what, known, at_hand, library, one.unit)
        found.append(Part(one.what, known, one.unit, None, one.amount, "", (), (), None, *percents))
    return tuple(found)


def _amount(text: str) -> tuple[float | None, str]:
    if not text:
        return None, ""
    try:
        quantity = parse_quantity(text)
    except UnitError:
        return None, ""
    return quantity.value, quantity.unit


def _percents(
    name: str, known: Ingredient | None, at_hand: AtHand, library: Library, unit: str
) -> tuple[float | None, float | None]:
    """What a recipe's own words say of a liquid's strength, and what the studio's bottle of it says."""
    found = LABEL_PERCENT.search(name) if unit == "mL/L" else None
    recipe_percent = float(found[1].replace(",", ".")) if found else None
    for label, percent in at_hand.bottles.items():
        ours = library.ingredient(label)
        if label.casefold() == name.casefold() or (known is not None and ours is not None and ours.id == known.id):
            return recipe_percent, percent
    return recipe_percent, None
