"""Centre and star tiles, for bends. Box & Wilson (1951), J. R. Statist. Soc. B 13:1.

Over batches: whole batches at the ends and in the middle (Vining, Kowalski & Montgomery 2005, J. Quality Technology 37:115).
New batches lie in new sessions, so what they add is compared inside them wherever that can be: centre batches hold a tile
at both ends too, star batches one in the middle.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import product, zip_longest

from tilestudy.design.extend.common import Settings, shared
from tilestudy.design.families.settings import setting
from tilestudy.design.layout import Load
from tilestudy.errors import PlanError
from tilestudy.study.language import listed
from tilestudy.study.records import Factor, Setting, Study
from tilestudy.study.units import convert, show_settings


def middle_of(factor: Factor) -> float | None:
    """Return the setting in the middle of a scaled factor: a level or workable setting near it, else a round number.

    The middle of a scale of doublings is its middle in doublings. None when nothing workable lies near the middle: named
    levels, or a count of 1 to 2.

    >>> middle_of(Factor("dip", (15.0, 90.0), "s", "s", "geometric")), middle_of(Factor("cycles", (1.0, 4.0)))
    (40.0, 2.0)
    """
    if not factor.scaled or not factor.numeric:
        return None
    low, high = float(factor.levels[0]), float(factor.levels[-1])

    def off(value: float) -> float:
        if factor.spacing == "geometric":
            return abs(2 * math.log(value / low) / math.log(high / low) - 1)
        return abs(2 * (value - low) / (high - low) - 1)

    stated = sorted({*(float(level) for level in factor.levels[1:-1]), *factor.workable} - {low, high}, key=off)
    if stated and off(stated[0]) <= (0.5 if factor.workable else 0.25):
        return stated[0]
    if factor.workable:
        return None
    middle = float(setting(0.0, factor))
    if not factor.unit and all(float(level).is_integer() for level in factor.levels):
        value = float(round(middle))
        return value if low < value < high and off(value) <= 0.5 else None
    apart = factor.unit != factor.shown
    written = convert(middle, factor.unit, factor.shown) if apart else middle
    for digits in (1, 2, 3, 4):
        shown = float(f"{written:.{digits}g}")
        value = convert(shown, factor.shown, factor.unit) if apart else shown
        if low < value < high and off(value) <= 0.1:
            return value
    return None


@dataclass(frozen=True)
class _Axes:
    """The middles of the factors that have one, and all combinations of the others, per batch and per tile."""

    study: Study
    middle: dict[str, Setting]
    whole: list[Settings]
    tile: list[Settings]

    def named(self, per_tile: bool) -> list[Factor]:
        return [f for f in self.study.factors if (f.set_per == "tile") == per_tile and f.name in self.middle]

    def mid(self, per_tile: bool) -> Settings:
        return {factor.name: self.middle[factor.name] for factor in self.named(per_tile)}

    def load(self, of: Settings, shares: Iterable[Settings]) -> Load:
        """A load of these tiles at every combination of the factors without a middle, ruled-out ones left out."""
        tiles = [{**rest, **one} for one in shares for rest in self.tile]
        return of, [tile for tile in tiles if self.study.allows({**of, **tile})]


def _axes(study: Study, option: str) -> _Axes:
    middle: dict[str, Setting] = {f.name: at for f in study.factors if (at := middle_of(f)) is not None}
    if not middle:
        raise PlanError(
            f"No factor of {study.name} has a workable setting in the middle of its range, so --{option} has nothing to make. "
            f'Nearest: "tilestudy extend {study.name} --batches 2" makes further batches.'
        )
    rest = [factor for factor in study.factors if factor.name not in middle]

    def all_of(factors: Sequence[Factor]) -> list[Settings]:
        levels = [(f.levels[0], f.levels[-1]) if f.scaled else f.levels for f in factors]
        return [dict(zip([f.name for f in factors], one, strict=True)) for one in product(*levels)]

    return _Axes(
        study,
        middle,
        all_of([f for f in rest if f.set_per != "tile"]),
        all_of([f for f in rest if f.set_per == "tile"]),
    )


def middle_tiles(study: Study, word: str) -> tuple[list[Load], list[str]]:
    """Centre tiles, two batches of each per-batch setting, with a tile at both ends beside them to compare with."""
    axes = _axes(study, "middle")
    inside, low, high = axes.mid(True), {}, {}
    for factor in axes.named(True):
        low[factor.name], high[factor.name] = factor.levels[0], factor.levels[-1]
    repeats = 1 if len(axes.tile) > 1 else 2 if shared(study) else 3
    ends = [low, high] if inside else []
    loads = [
        axes.load({**of, **axes.mid(False)}, [*[inside] * repeats, *ends])
        for _ in range(2 if shared(study) else 1)
        for of in axes.whole
    ]
    loads = [load for load in loads if load[1]]
    if not loads:
        raise PlanError(
            "The middle is ruled out by [[never]] at every setting of the other factors. Nothing was added."
        )
    says = [f"Centre tiles, with {show_settings(axes.middle, study)}: they show bends between the ends."]
    if ends:
        labels = listed([factor.label for factor in axes.named(True)])
        says.append(
            f"Each {word} also holds a tile with {labels} at the lowest and one at the highest, so that the luck of a {word} "
            "does not pass for a bend."
        )
    if whole := axes.named(False):
        labels = listed([factor.label for factor in whole])
        says.append(
            f"A bend of {labels} is judged from session to session here, so a lucky day can pass for one; "
            f'"tilestudy extend {study.name} --ends" makes both ends and the middle side by side.'
        )
    return loads, says


def star_tiles(study: Study, word: str) -> tuple[list[Load], list[str]]:
    """Star tiles: batches at both ends of each per-batch factor, and batches in the middle with the star of the tiles."""
    axes = _axes(study, "ends")
    inside = axes.mid(True)
    loads: list[Load] = []
    for of in axes.whole:
        middle = {**of, **axes.mid(False)}
        outer = [
            axes.load({**middle, factor.name: end}, [inside] * (1 if len(axes.tile) > 1 else 2))
            for factor in axes.named(False)
            for end in (factor.levels[0], factor.levels[-1])
        ]
        parts = 2 if shared(study) else 1
        arms = axes.named(True)
        inner = []
        for part in range(parts):
            mine = arms if len(arms) < parts else arms[part::parts]
            star = [{**inside, f.name: end} for f in mine for end in (f.levels[0], f.levels[-1])]
            inner.append(axes.load(middle, [*star, *[inside] * (1 if star else 2)]))
        for pair in zip_longest(outer, inner):
            loads += [load for load in pair if load is not None and load[1]]
    if not loads:
        raise PlanError("Every star tile is ruled out by [[never]]. Nothing was added.")
    labels = listed([study.factor(name).label for name in axes.middle])
    says = [
        f"Star tiles: {labels} at either end, the others in the middle ({show_settings(axes.middle, study)}); with tiles in the middle "
        "of all to compare with, they show how each bends."
    ]
    if not shared(study):
        says.append(f"All are in one {word}, so its luck falls on all of them alike and does not pass for a bend.")
    return loads, says
