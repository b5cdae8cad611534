"""What a studio measures with: the last digit of its scale, its cylinders and spoons, its container, its bottles."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from tilestudy.errors import Fault, UnitError
from tilestudy.study.units import Quantity, parse_quantity

TEASPOON_ML = 4.92892159375
"""A teaspoon, mL: a third of a tablespoon, of which 16 make a cup of 236.5882365 mL (NIST Handbook 44, Appendix C)."""


@dataclass(frozen=True)
class Cylinder:
    """A measuring cylinder (or syringe): what it holds and the distance of its marks, mL."""

    ml: float
    mark_ml: float


CYLINDERS = (Cylinder(10.0, 0.2), Cylinder(100.0, 1.0), Cylinder(500.0, 5.0))
"""Cylinders assumed where a studio names none: sizes and marks as commonly sold (common practice, no source)."""
SPOONS = tuple(n * TEASPOON_ML for n in (0.25, 0.5, 1.0, 3.0))
"""Spoons assumed where a studio names none, mL: a quarter, a half and a whole teaspoon, a tablespoon."""


@dataclass(frozen=True)
class AtHand:
    """What there is to measure with.

    Attributes
    ----------
    scale_g : float
        The last digit that the scale shows, g.
    cylinders : tuple of Cylinder
        At least one.
    spoons_ml : tuple of float
        What each spoon holds, mL, rising.
    container_mm : tuple of float
        Inside of the container that tiles are dipped in: (across,) where it is round, (length, width), or () if unknown.
    bottles : mapping of str to float
        What the label of a bottle says, %, by the bottle's name: ``{"ammonia": 10.0}``.
    told : frozenset of str
        Which of "scale", "cylinders", "spoons" the studio has told; the others are assumed.
    """

    scale_g: float = 0.1
    cylinders: tuple[Cylinder, ...] = CYLINDERS
    spoons_ml: tuple[float, ...] = SPOONS
    container_mm: tuple[float, ...] = ()
    bottles: Mapping[str, float] = field(default_factory=dict)
    told: frozenset[str] = frozenset()


TEXT = """
# [measures]                         # what amounts are measured with; each is assumed to be as shown until told
# scale = "0.1 g"                    # the last digit that the scale shows
# cylinders = ["10 mL by 0.2 mL", "100 mL by 1 mL", "500 mL by 5 mL"]   # what each holds, and its marks
# spoons = ["1/4 tsp", "1/2 tsp", "1 tsp", "1 tbsp"]
# container = "120 x 80 mm"          # inside of what tiles are dipped in, or "90 mm" across; nothing is assumed

# [bottles]                          # what the label says
# ammonia = "10 %"
"""
_TOP = ("studio", "paper", "date_order", "bench_address")
_KEYS = ("scale", "cylinders", "spoons", "container")


def read_at_hand(measures: object, bottles: object, file: str) -> tuple[AtHand, list[Fault]]:
    """Read the tables [measures] and [bottles] of studio.toml; faults are returned, all of them.

    >>> found, faults = read_at_hand({"scale": "0.01 g", "container": "90 mm"}, {"ammonia": "28 %"}, "studio.toml")
    >>> found.scale_g, found.container_mm, dict(found.bottles), faults
    (0.01, (90.0,), {'ammonia': 28.0}, [])
    """
    faults: list[Fault] = []

    def fault(what: str) -> None:
        faults.append(Fault(file, None, what))

    if not isinstance(measures, dict) or not isinstance(bottles, dict):
        fault("measures and bottles are tables: write [measures], and the lines below it.")
        return AtHand(), faults
    for key in measures:
        if key in _TOP:
            fault(f"{key} stands at the top of the file, above [measures] and [bottles]: put it there.")
        elif key not in _KEYS:
            fault(f'the key "{key}" of [measures] is not known. Known: {", ".join(_KEYS)}.')
    found: dict[str, Any] = {}

    def take(key: str, name: str, read: Callable[[Any], Any], like: str) -> None:
        if key not in measures:
            return
        try:
            found[name] = read(measures[key])
        except (UnitError, ValueError, TypeError, AttributeError):
            fault(f"{key} = {measures[key]!r} of [measures] cannot be read. Write it like {like}.")

    take("scale", "scale_g", lambda one: _of(one, "g").value, '"0.1 g"')
    take("cylinders", "cylinders", _cylinders, '["100 mL by 1 mL"]: what each holds, and the distance of its marks')
    take("spoons", "spoons_ml", lambda many: tuple(sorted(_of(one, "mL").value for one in _some(many))), '["1/4 tsp"]')
    take("container", "container_mm", _container, '"120 x 80 mm", or "90 mm" across')
    labels = {}
    for name, text in bottles.items():
        if name in _TOP:
            fault(f"{name} stands at the top of the file, above [measures] and [bottles]: put it there.")
            continue
        try:
            labels[name] = _of(text, "%").value
            if labels[name] > 100:
                raise ValueError
        except (UnitError, ValueError, AttributeError):
            fault(f'{name} = {text!r} of [bottles] cannot be read. Write what the label says, like "10 %".')
    told = frozenset(key for key in ("scale", "cylinders", "spoons") if key in measures)
    return AtHand(**found, bottles=labels, told=told), faults


def _of(text: str, unit: str) -> Quantity:
    quantity = parse_quantity(text)
    if quantity.unit != unit or not 0 < quantity.value < 1e6:
        raise ValueError
    return quantity


def _some(many: Any) -> list[str]:
    if not isinstance(many, list) or not many:
        raise ValueError
    return many


def _cylinders(many: Any) -> tuple[Cylinder, ...]:
    found = []
    for text in _some(many):
        size, mark = text.split(" by ")
        one = Cylinder(_of(size, "mL").value, _of(mark, "mL").value)
        if one.mark_ml > one.ml / 2:
            raise ValueError
        found.append(one)
    return tuple(sorted(found, key=lambda one: one.ml))


def _container(text: str) -> tuple[float, ...]:
    sides = re.split(r"\s*[x×]\s*", text.strip())
    if len(sides) > 2:
        raise ValueError
    unit = re.sub(r"^[\d.,/ ]+", "", sides[-1])
    return tuple(_of(side if re.search(r"[a-zA-Z]", side) else f"{side} {unit}", "mm").value for side in sides)
