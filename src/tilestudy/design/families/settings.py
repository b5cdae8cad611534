"""From coded columns to the settings of a study's factors. No source: the usual coding, straight or along a log scale."""

from __future__ import annotations

from collections.abc import Sequence

from tilestudy.design.families.family import Family
from tilestudy.errors import PlanError
from tilestudy.study.records import Factor, Setting


def setting(code: float, factor: Factor) -> Setting:
    """Return the setting of a factor at -1 (lowest level) to 1 (highest), beyond for star tiles; straight or in doublings.

    Within a millionth of the range of a declared level, it is that level. A factor taken level by level has only its ends
    and, with an odd number of levels, its middle.

    >>> setting(0.0, Factor("strength", (1.0, 9.0), "g/L", spacing="geometric"))
    3.0
    """
    levels = factor.levels
    if not factor.scaled or not factor.numeric:
        place = (code + 1) / 2 * (len(levels) - 1)
        if place < 0 or place > len(levels) - 1 or place != int(place):
            raise PlanError(
                f"{factor.label} is taken level by level, and this plan asks for a setting between or beyond its "
                f"levels ({', '.join(map(str, levels))}). Choose a plan for named levels."
            )
        return levels[int(place)]
    numbers = [float(level) for level in levels]
    low, high = numbers[0], numbers[-1]
    middle = (code + 1) / 2
    value = low * (high / low) ** middle if factor.spacing == "geometric" else low + (high - low) * middle
    near = min(numbers, key=lambda level: abs(level - value))
    return near if abs(near - value) <= 1e-6 * (high - low) else round(value, 9)


def settings_of(family: Family, factors: Sequence[Factor]) -> list[dict[str, Setting]]:
    """Return one mapping of factor name to setting for each row; column by column in the factors' order.

    Raises
    ------
    PlanError
        When the family has another number of columns, or a named factor would need a setting it does not have.
    """
    if len(factors) != family.columns:
        raise PlanError(
            f"The plan has {family.columns} columns, and the study has {len(factors)} factors; give as many."
        )
    if family.coding == "levels":
        return [{f.name: f.levels[int(code)] for f, code in zip(factors, row, strict=True)} for row in family.matrix]
    return [{f.name: setting(float(code), f) for f, code in zip(factors, row, strict=True)} for row in family.matrix]
