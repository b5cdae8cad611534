"""Dilution and conversion: how much of a stronger liquid, of a solid for so many per cent or mol/L, of another bottle.

Volumes of weak solutions are taken to add up. Each function is its formula; the reference values are in
tests/published/test_amounts.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from tilestudy.errors import WrongRequestError

Densities = Sequence[Sequence[float]]
"""Rows of (per cent by weight, g/mL at 20 degC)."""
WATER: Densities = ((0.0, 0.9982),)


def take(strong: float, weak: float, volume: float) -> float:
    """Return the volume of a strong solution that makes `volume` of a weak one: C1 V1 = C2 V2.

    `strong` and `weak` in one unit, the answer in the unit of `volume`. Raises WrongRequestError where the "strong" one
    is the weaker of the two.

    >>> take(10, 2, 250)
    50.0
    """
    if not 0 <= weak <= strong or strong == 0:
        raise WrongRequestError(
            f"A solution of {weak:g} cannot be mixed from one of {strong:g} by adding water. Start from a stronger one."
        )
    return weak * volume / strong


def grams_for_percent(percent: float, ml: float) -> float:
    """Return the grams of a solid for a percentage by volume (grams in 100 mL).

    >>> grams_for_percent(5, 200)
    10.0
    """
    return percent * ml / 100


def grams_for_moles(mol_per_l: float, molar_mass: float, ml: float) -> float:
    """Return the grams of a substance (`molar_mass` in g/mol) for so many mol/L.

    >>> round(grams_for_moles(0.4, 249.677, 1000), 2)
    99.87
    """
    return mol_per_l * molar_mass * ml / 1000


def density(percent: float, table: Densities) -> float:
    """Return the density of a solution, g/mL, on straight lines between the rows of a table.

    >>> density(9.0, [[8, 0.9651], [10, 0.9575]])
    0.9613
    """
    rows = sorted((float(share), float(dense)) for share, dense in table)
    if percent <= rows[0][0]:
        return rows[0][1]
    for (low, at_low), (high, at_high) in pairwise(rows):
        if percent <= high:
            return round(at_low + (at_high - at_low) * (percent - low) / (high - low), 6)
    return rows[-1][1]


def from_bottle(percent: float, ml: float, bottle_percent: float, table: Densities) -> float:
    """Return the mL from the bottle which, filled up with water, make `ml` of a solution of so many per cent by weight.

    The dissolved mass is kept: C1 V1 = C2 V2 with each strength in grams per mL. Raises WrongRequestError where the
    bottle is too weak.

    >>> round(from_bottle(5, 100, 10, [[0, 0.9982], [4, 0.9811], [6, 0.9730], [10, 0.9575]]), 1)
    51.0
    """
    return take(bottle_percent * density(bottle_percent, table), percent * density(percent, table), ml)


def times_as_much(recipe_percent: float, bottle_percent: float, table: Densities) -> float:
    """Return how many times the volume of one bottle holds as much dissolved as another that a recipe is written for.

    >>> round(times_as_much(28, 10, [[10, 0.9575], [28, 0.8980]]), 2)
    2.63
    """
    dissolved = recipe_percent * density(recipe_percent, table)
    return dissolved / (bottle_percent * density(bottle_percent, table))
