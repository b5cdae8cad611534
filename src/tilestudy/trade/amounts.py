"""How much of what goes into a batch: grams and millilitres for its volume, with a rough cross-check."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi

from tilestudy.study.language import capital
from tilestudy.study.records import Batch, Study
from tilestudy.study.units import plain_number, show
from tilestudy.trade.library import Process


@dataclass(frozen=True)
class Amount:
    """One line of a recipe: `text` to follow, and how well it is known (`known`, may be "")."""

    text: str
    known: str = ""


_KNOWN = {
    "weighed": "Weighed: write down what the scale shows.",
    "spooned": "Spooned: good to about a quarter either way (common practice, no source); weigh if you can.",
    "lumps": "Counted in lumps, which differ 25-fold: weigh and write the grams down.",
    "by eye": "By eye: write down the grams that went in, or the strength means little next month.",
    "": "Write down how the strength was got: weighed, spooned, counted or by eye.",
}


def lumps_text(grams: float, mm: Sequence[float], g_per_cm3: Sequence[float]) -> str:
    """Say how many pea-sized lumps an amount is, as a rough check of the scale: lumps taken as balls.

    >>> lumps_text(1.5, (6, 8), (1.5, 2.0))
    ' Rough check of the scale: 3 to 9 lumps of pea size (6 to 8 mm).'
    """
    fewest, most = (
        round(grams / (density * pi / 6 * (size / 10) ** 3))
        for size, density in ((mm[1], g_per_cm3[1]), (mm[0], g_per_cm3[0]))
    )
    if most < 1 or fewest > 20:  # too small to be a lump, too many to be counted
        return ""
    lumps = "1 lump" if most == 1 else f"{fewest} to {most} lumps" if 0 < fewest < most else f"at most {most} lumps"
    return f" Rough check of the scale: {lumps} of pea size ({mm[0]:g} to {mm[1]:g} mm)."


def volume_text(study: Study) -> str:
    """Write the volume of one batch, metric first with cups beside it: ``0.5 L (about 2.1 cups)``."""
    if study.batch_litres is None:
        return ""
    return f"{plain_number(study.batch_litres)} L (about {plain_number(study.batch_litres / 0.2365882365, 2)} cups)"


def amounts(study: Study, process: Process, batch: Batch) -> tuple[Amount, ...]:
    """Return what goes into one batch, an ingredient a line.

    Examples
    --------
    >>> from tilestudy.study.records import Factor
    >>> from tilestudy.trade.library import BUILT_IN
    >>> strength = Factor("strength", (1.0, 3.0), "g/L", "g/L", "geometric", "batch", "weighed")
    >>> plaques = Study("s", "", "sulfide-dip", (strength,), batch_litres=0.5)
    >>> amounts(plaques, BUILT_IN.process("sulfide-dip"), Batch("B1", 1, 1, {"strength": 3.0}))[0].text
    'Potassium polysulfide (concentrate, solid): 1.5 g, in water to make 0.5 L, for 3 g/L.'
    """
    found = []
    for ingredient in process.data.get("ingredient", ()):
        strength = batch.settings.get(ingredient["factor"])
        name = capital(ingredient["name"])
        factor = next((one for one in study.factors if one.name == ingredient["factor"]), None)
        if factor is None or strength is None or isinstance(strength, str):
            continue
        if study.batch_litres is None or factor.unit not in ("g/L", "mL/L"):
            found.append(Amount(f"{name}: {show(strength, factor)}.", _KNOWN[factor.got]))
            continue
        much = strength * study.batch_litres
        unit = factor.unit.removesuffix("/L")
        volume = f"{plain_number(study.batch_litres)} L"
        text = f"{name}: {plain_number(much)} {unit}, in water to make {volume}, for {show(strength, factor)}."
        known = _KNOWN[factor.got]
        if unit == "g" and much < 1:
            known += " Use a scale that reads 0.01 g."
        if unit == "g" and "lump_mm" in ingredient:
            known += lumps_text(much, ingredient["lump_mm"], ingredient["lump_g_per_cm3"])
        found.append(Amount(text, known))
    return tuple(found)
