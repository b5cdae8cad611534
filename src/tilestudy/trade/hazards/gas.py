"""How much gas a bath could give off at the very worst, and how that stands to what people may breathe."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil, floor, log10
from typing import Any

from tilestudy.errors import UnitError
from tilestudy.study.language import listed
from tilestudy.study.records import Study
from tilestudy.study.units import parse_quantity, plain_number
from tilestudy.trade.hazards.bench import STRENGTHS, Bench
from tilestudy.trade.ingredients import Ingredient, Limit

L_PER_MOL = 24.45
"""Litres of an ideal gas a mol, at 25 °C and 101.325 kPa (R = 8.31446 J/(mol K), CODATA 2018): R T / p."""
ROOM_M3 = 50.0
"""The room that is assumed where a study names none: a small workshop (common practice, no source)."""
# Of a solution of unknown strength: no solution holds more of a salt in 1 mL, solid lumps are 1.5 to 2.0 g/cm3.
_G_PER_ML = 1.5  # common practice, no source


@dataclass(frozen=True)
class Gas:
    """The worst case of one gas from one bath, mixed evenly in the room, with no extraction.

    Attributes
    ----------
    agent : str
        "hydrogen sulfide".
    ppm : float
        Volume parts in a million of the room's air.
    litres, grams : float
        Of the bath; of what gives the gas off.
    room_m3 : float
    assumed : bool
        True where the study names no room.
    people : int or None
        In the room, where the study tells.
    limit : Limit
    """

    agent: str
    ppm: float
    litres: float
    grams: float
    room_m3: float
    assumed: bool
    people: int | None
    limit: Limit

    @property
    def over(self) -> float | None:
        """The lowest limit, ppm, that is reached and can be kept below: the IDLH where it is reached, else the usual one."""
        for limit in (self.limit.idlh_ppm, self.limit.ppm):
            if limit is not None and self.ppm >= limit:
                return float(limit)
        return None

    def as_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return {
            "agent": self.agent,
            "ppm": round(self.ppm, 1),
            "limit_ppm": self.limit.ppm,
            "idlh_ppm": self.limit.idlh_ppm,
            "limits": self.limit.text,
            "bath_l": self.litres,
            "grams": round(self.grams, 3),
            "room_m3": self.room_m3,
            "room_assumed": self.assumed,
        }

    @property
    def says(self) -> str:
        """The figure in a sentence, with what it stands on."""
        with_people = f" with {self.people} people in it" if self.people is not None and self.people > 1 else ""
        room = (
            f"a room of {plain_number(self.room_m3)} m³{' (assumed; [room] volume says yours)' if self.assumed else ''}"
        )
        text = (
            f"At the very worst, if all the {self.agent} that one bath of {plain_number(self.litres)} L can give were set free "
            f"in {room}{with_people} without extraction, the air would hold about {plain_number(self.ppm, 2)} ppm of it"
        )
        idlh, usual = self.limit.idlh_ppm, self.limit.ppm
        if idlh is not None and self.ppm >= idlh:
            return f"{text}: above {plain_number(idlh)} ppm, which is immediately dangerous to life or health (IDLH)."
        if usual is not None and self.ppm >= usual:
            below = (
                f" and below {plain_number(idlh)} ppm, which is immediately dangerous to life or health (IDLH)"
                if idlh
                else ""
            )
            return f"{text}: above the limit of {plain_number(usual)} ppm{below}."
        return f"{text}{f': below the limit of {plain_number(usual)} ppm' if usual is not None else ''}."

    @property
    def lower(self) -> str:
        """What would bring it below the limit that it reaches: "" where it reaches none."""
        if self.over is None:
            return ""
        share = 0.999 * self.over / self.ppm
        return (
            f"A bath of at most {_down(self.litres * share)} L, one at most {_down(100 * share)} % as strong, or a room of at least "
            f"{_up(self.room_m3 / share)} m³ would keep it below {plain_number(self.over)} ppm"
        )


def _down(value: float) -> str:
    return plain_number(_two_digits(value, floor), 2)


def _up(value: float) -> str:
    return plain_number(_two_digits(value, ceil), 2)


def _two_digits(value: float, cut: Callable[[float], int]) -> float:
    unit = 10.0 ** (floor(log10(value)) - 1)
    return cut(value / unit) * unit


def gases(bench: Bench) -> tuple[Gas, ...]:
    """Return the worst case of each gas that the bath can give off, at its highest strength.

    The gas is taken as ideal, at 25 °C; every mol of an ingredient gives what ingredients.toml says it can give, so
    10 g/L of potassium sulfide (110.26 g/mol) in 1 L make 2.2 L of hydrogen sulfide: 44 ppm of 50 m³.
    """
    litres = bench.study.batch_litres
    if litres is None:
        return ()
    room, people = bench.study.workplace.room.m3, bench.study.workplace.room.people
    gas_l: dict[str, float] = {}
    grams_of: dict[str, float] = {}
    for either in strengths(bench):
        most: dict[str, tuple[float, float]] = {}  # of the ingredients that may take each other's place
        for ingredient, per_litre in either:
            for agent, mol in ingredient.gives.items():
                if ingredient.molar_mass and per_litre is not None and agent in bench.library.limits:
                    grams = per_litre * litres
                    much = grams / ingredient.molar_mass * mol * L_PER_MOL
                    most[agent] = max(most.get(agent, (0.0, 0.0)), (much, grams))
        for agent, (much, grams) in most.items():
            gas_l[agent] = gas_l.get(agent, 0.0) + much
            grams_of[agent] = grams_of.get(agent, 0.0) + grams
    m3 = ROOM_M3 if room is None else room
    return tuple(
        Gas(
            agent,
            1e6 * much / (1000 * m3),
            litres,
            grams_of[agent],
            m3,
            room is None,
            people,
            bench.library.limits[agent],
        )
        for agent, much in gas_l.items()
    )


def not_reckoned(bench: Bench) -> str:
    """Say why the gas of an ingredient cannot be reckoned: "" where all can."""
    giving = [(one, per_litre) for either in strengths(bench) for one, per_litre in either if one.gives]
    if giving and bench.study.batch_litres is None:
        return 'batch_volume = "0.5 L" is not written at the top of the study file'
    open_ = [one.label for one, per_litre in giving if per_litre is None or not one.molar_mass]
    return f"how much {listed(list(dict.fromkeys(open_)))} it holds is not written in g/L, mL/L or %" if open_ else ""


def strengths(bench: Bench) -> Iterator[Sequence[tuple[Ingredient, float | None]]]:
    """Yield each part of the bath, with the ingredients it may be and the most grams of each in a litre (None: not known)."""
    study, library = bench.study, bench.library
    for part in bench.process.recipe:
        known = [library.ingredients[one] for one in part.ids if one in library.ingredients]
        yield [(one, _of_part(study, one, part.factor, part.amount)) for one in known]
    for added in study.workplace.added:
        percent = re.findall(r"(\d+(?:[.,]\d+)?)\s*%", added.what)
        strongest = max((float(one.replace(",", ".")) for one in percent), default=None)
        for found in library.things(added.what):
            if found is not None:
                as_named = found if strongest is None else replace(found, percent=strongest)
                yield [(as_named, _g_per_l(added.amount, added.unit, as_named))]
    told = {part.factor for part in bench.process.recipe}
    for factor in study.factors:
        if factor.unit in STRENGTHS and factor.name not in told:
            named = [one for one in library.things(factor.label) if one is not None]
            yield [(one, _of_part(study, one, factor.name, "")) for one in named]
    for thing in bench.liquids:
        if thing not in bench.bath and thing.ingredient is not None:  # named with a step, and nobody says how much
            yield [(thing.ingredient, None)]


def _of_part(study: Study, ingredient: Ingredient, factor_name: str, amount: str) -> float | None:
    factor = next((one for one in study.factors if one.name == factor_name), None)
    if factor is not None:
        numbers = [level for level in factor.levels if not isinstance(level, str)]
        return _g_per_l(max(numbers), factor.unit, ingredient) if numbers else None
    try:
        quantity = parse_quantity(amount) if amount else None
    except UnitError:
        return None
    return None if quantity is None else _g_per_l(quantity.value, quantity.unit, ingredient)


def _g_per_l(amount: float | None, unit: str, ingredient: Ingredient) -> float | None:
    """Grams of the pure ingredient in a litre: a per cent is 10 g in a litre, a millilitre what the bottle holds."""
    if amount is None:
        return None
    per_ml = (
        ingredient.density * ingredient.percent / 100
        if ingredient.density is not None and ingredient.percent is not None
        else _G_PER_ML
    )
    per_unit: Mapping[str, float] = {"g/L": 1.0, "%": 10.0, "mL/L": per_ml}
    return amount * per_unit[unit] if unit in per_unit else None
