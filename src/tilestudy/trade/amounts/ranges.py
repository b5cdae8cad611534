"""What measuring out does to a factor: within which bounds each of its levels may lie, and which still stand apart."""

from __future__ import annotations

import math
from collections.abc import Mapping

from tilestudy.study.language import listed
from tilestudy.study.records import Factor
from tilestudy.study.units import convert, plain_number, show, show_unit

Bounds = tuple[float, float]
"""Lowest and highest true value, in the factor's stored unit."""
CLEAR = 0.4
"""Share of a step, on a scale of ratios, that its two ends together may be off and the step is still clear (no source)."""


def bounds_text(strength: float, bounds: Bounds, factor: Factor) -> str:
    """Say within which bounds a level may lie, rounded outwards.

    >>> bounds_text(1.0, (0.891, 1.109), Factor("strength", (1.0, 3.0), "g/L", "g/L"))
    '1 g/L may be 0.89 to 1.12 g/L'
    """
    low, high = (
        convert(bound, factor.unit, factor.shown) if factor.unit != factor.shown else bound for bound in bounds
    )
    if math.isinf(high):
        return f"{show(strength, factor)} may be anything"
    low, high = max(0.0, low), max(0.0, high)
    if high > low:
        wide = _step_below((high - low) / 6)  # a wider range is told less finely
        low, high = _outward(low, wide, up=False), _outward(high, wide, up=True)
    ends = f"{plain_number(low, 4)} to {plain_number(high, 4)}"
    return f"{show(strength, factor)} may be {ends} {show_unit(factor.shown)}".rstrip()


def _outward(value: float, wide: float, *, up: bool) -> float:
    """Round to the finer of that step and two digits."""
    if value <= 0:
        return 0.0
    step = min(wide, 10.0 ** (math.floor(math.log10(value)) - 1))
    return (math.ceil(value / step - 1e-9) if up else math.floor(value / step + 1e-9)) * step


def _step_below(most: float) -> float:
    """The largest of 1, 2, 5, 10, 20 ... (or their tenths, hundredths ...) that is no larger."""
    power = 10.0 ** math.floor(math.log10(most))
    return next(one * power for one in (5.0, 2.0, 1.0) if one * power <= most * (1 + 1e-9))


def effect(strength: float, factor: Factor, bounds: Mapping[float, Bounds], own: Mapping[float, Bounds]) -> str:
    """Say how far a strength may be off, and, for one of the study's levels, whether the steps to its neighbours still stand.

    Parameters
    ----------
    bounds, own : mapping
        Of each level, by the level, in the stored unit: all that may be off, and without what levels poured from one
        vessel share, which moves them together and leaves the steps between them as they are.

    Examples
    --------
    >>> factor = Factor("strength", (1.0, 3.0), "g/L", "g/L")
    >>> bounds = {1.0: (0.8, 1.2), 3.0: (2.8, 3.2)}
    >>> effect(1.0, factor, bounds, bounds)
    '1 g/L may be 0.8 to 1.2 g/L; the step to 3 g/L is still clear.'
    >>> bounds = {1.0: (0.5, 2.0), 3.0: (1.5, 6.0)}
    >>> effect(1.0, factor, bounds, bounds)[:46]
    '1 g/L may be 0.5 to 2 g/L; it may be no differ'
    """
    said = [bounds_text(strength, bounds[strength], factor)]
    levels = [level for level in factor.levels if not isinstance(level, str) and level in bounds]
    here = levels.index(strength) if strength in levels else None
    neighbours = () if here is None else (*levels[max(0, here - 1) : here], *levels[here + 1 : here + 2])
    found: dict[str, list[str]] = {"clear": [], "blurred": [], "lost": []}
    for other in neighbours:
        found[_step(min(strength, other), max(strength, other), own)].append(show(other, factor))
    if found["clear"]:
        said.append(f"{_steps(found['clear'])} still clear")
    if found["blurred"]:
        said.append(f"{_steps(found['blurred'])} blurred: part of what it does will look like luck")
    if found["lost"]:
        said.append(
            f"it may be no different from {listed(found['lost'], 'or')}: measure finer, or set the levels further apart"
        )
    return f"{'; '.join(said)}."


def _steps(others: list[str]) -> str:
    return f"the steps to {listed(others)} are" if len(others) > 1 else f"the step to {others[0]} is"


def _step(low: float, high: float, bounds: Mapping[float, Bounds]) -> str:
    above, below = bounds[low][1], bounds[high][0]
    if below <= above:
        return "lost"
    off = math.log(above / low) + math.log(high / below)
    return "clear" if off <= CLEAR * math.log(high / low) + 1e-9 else "blurred"
