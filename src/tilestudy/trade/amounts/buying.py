"""What to have in the house before the first session."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tilestudy.study.language import capital, count
from tilestudy.study.units import plain_number
from tilestudy.trade.amounts.dilution import Making
from tilestudy.trade.amounts.household import CUP_ML
from tilestudy.trade.amounts.recipe import Part

_OUNCE_G = 28.349523125
_CUPS_FROM_ML = 60.0


@dataclass(frozen=True)
class Buy:
    """One thing to have: what the plan takes (`needed`) and what to have (`have`), in `unit`, and a sentence."""

    name: str
    needed: float
    have: float
    unit: str
    text: str


def to_buy(part: Part, makings: Sequence[Making], ml: float, word: str) -> Buy:
    """Return how much of a part to have: what the plan takes, and the strongest bath once more."""
    own = [vessel for making in makings for vessel in making.vessels if not vessel.source]
    needed = math.fsum(vessel.takes.value for vessel in own)
    baths = [vessel for making in makings for vessel in making.baths]
    again = max((vessel.wanted * ml / 1000 for vessel in baths), default=0.0)
    have = round_up(needed + again)
    unit = part.measured_in
    beside = ""
    if unit == "g" and have >= _OUNCE_G / 2:
        beside = f" ({plain_number(have / _OUNCE_G, 2)} oz)"
    elif unit == "mL" and have >= _CUPS_FROM_ML:
        beside = f" ({plain_number(have / CUP_ML, 2)} cups)"
    bottle = f", of {plain_number(part.bottle_percent)} %" if part.bottle_percent is not None else ""
    which = "the strongest" if part.factor is not None else "one"
    text = (
        f"{capital(part.name)}{bottle}: have {plain_number(have)} {unit}{beside}. {capital(count(len(baths), word))} "
        f"{'take' if len(baths) != 1 else 'takes'} {plain_number(needed)} {unit}; the rest is for making {which} once more."
    )
    return Buy(part.name, needed, have, unit, text)


def round_up(value: float) -> float:
    """Round up to two digits.

    >>> round_up(30.5), round_up(0.123)
    (31.0, 0.13)
    """
    if value <= 0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(value)) - 1)
    return round(math.ceil(value / step - 1e-9) * step, 9)
