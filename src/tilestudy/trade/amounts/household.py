"""Cups, spoons and lumps beside litres and grams."""

from __future__ import annotations

from collections.abc import Sequence

from tilestudy.study.at_hand import TEASPOON_ML
from tilestudy.trade.amounts.measured import ball_grams

CUP_ML = 48 * TEASPOON_ML
TABLESPOON_ML = 3 * TEASPOON_ML
_PARTS = ("", "1/4", "1/2", "3/4")


def lumps_text(grams: float, mm: Sequence[float], g_per_cm3: Sequence[float]) -> str:
    """Say how many pea-sized lumps an amount is, as a rough check of the scale: lumps taken as balls.

    >>> lumps_text(1.5, (6, 8), (1.5, 2.0))
    ' Rough check of the scale: 3 to 9 lumps of pea size (6 to 8 mm).'
    """
    fewest, most = (round(grams / ball_grams(mm[i], g_per_cm3[i])) for i in (1, 0))
    if most < 1 or fewest > 20:  # too small to be a lump, too many to be counted
        return ""
    lumps = "1 lump" if most == 1 else f"{fewest} to {most} lumps" if 0 < fewest < most else f"at most {most} lumps"
    return f" Rough check of the scale: {lumps} of pea size ({mm[0]:g} to {mm[1]:g} mm)."


def in_spoons(ml: float) -> tuple[str, float]:
    """Write a volume in cups and spoons, and say what those hold, mL.

    From a quarter cup on in quarter cups and whole tablespoons, from a tablespoon on in whole and half teaspoons, below in
    quarter teaspoons; nothing ("", 0) for less than an eighth of a teaspoon.

    >>> in_spoons(500)[0], in_spoons(50)[0], in_spoons(2.5)[0], in_spoons(0.3)[0]
    ('2 cups and 2 tbsp', '3 tbsp and 1 tsp', '1/2 tsp', '')
    """
    if ml >= CUP_ML / 4 - TEASPOON_ML / 4:
        spoons = round(ml / TABLESPOON_ML)
        quarters, rest = divmod(spoons, 4)
        parts = [_quarters(quarters, "cup"), _quarters(4 * rest, "tbsp", "tbsp")]
        held = spoons * TABLESPOON_ML
    elif ml >= TABLESPOON_ML - TEASPOON_ML / 4:
        halves = round(2 * ml / TEASPOON_ML)
        spoons, rest = divmod(halves, 6)
        parts = [_quarters(4 * spoons, "tbsp", "tbsp"), _quarters(2 * rest, "tsp", "tsp")]
        held = halves * TEASPOON_ML / 2
    else:
        quarters = round(4 * ml / TEASPOON_ML)
        parts, held = [_quarters(quarters, "tsp", "tsp")], quarters * TEASPOON_ML / 4
    return " and ".join(part for part in parts if part), held


def _quarters(quarters: int, one: str, many: str = "cups") -> str:
    """Write so many quarters of a measure: "2 1/4 cups"."""
    whole, part = divmod(quarters, 4)
    number = " ".join(word for word in (str(whole) if whole else "", _PARTS[part]) if word)
    return f"{number} {one if quarters <= 4 else many}" if number else ""
