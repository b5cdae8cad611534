"""Which textbook families fit a study's factors: their numbers of levels, scales, the tile limit and the forbidden settings.

No source: each family's own is in its module.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import prod

import numpy as np

from tilestudy.design.families.arrays import array_tile_counts, orthogonal_array
from tilestudy.design.families.box_behnken import box_behnken
from tilestudy.design.families.composite import LARGEST as MOST_COMPOSITE
from tilestudy.design.families.composite import central_composite
from tilestudy.design.families.definitive import ORDERS, definitive_screening
from tilestudy.design.families.family import Family
from tilestudy.design.families.fraction import fraction, tile_counts
from tilestudy.design.families.full import Forbidden, constrained_grid, full_factorial, two_level_factorial
from tilestudy.design.families.screening import FIRST_ROWS, plackett_burman
from tilestudy.design.families.settings import settings_of
from tilestudy.errors import PlanError
from tilestudy.study.records import Factor, Setting
from tilestudy.study.units import show

LARGEST = 256
"""Without a tile limit, larger grids are not offered."""


@dataclass(frozen=True)
class Candidate:
    """A family that fits.

    `settings` has one mapping for each tile; `batch_settings` counts the different settings of the factors set per batch
    or session (each needs a batch; 1 when there is no such factor); `says` what it does with the levels, in sentences.
    """

    family: Family
    settings: tuple[dict[str, Setting], ...]
    batch_settings: int
    says: tuple[str, ...]

    @property
    def tiles(self) -> int:
        """Number of tiles."""
        return self.family.tiles


def candidates(
    factors: Sequence[Factor], tiles_limit: int | None = None, forbidden: Forbidden | None = None
) -> tuple[Candidate, ...]:
    """Return the families that fit, fewest tiles first.

    Two-level plans take the lowest and highest level of factors along a scale, and named factors of two levels;
    plans for bends take factors along a scale only, within their range; a plan with a forbidden tile is not offered,
    but the full grid is, less those tiles.

    Raises
    ------
    PlanError
        When none fits, with the smallest there is.

    >>> dip, strength = Factor("dip", (10.0, 30.0, 90.0), "s", "s", "geometric"), Factor("strength", (1.0, 5.0, 9.0), "g/L")
    >>> scrub = Factor("scrub", ("none", "some", "much"), spacing="steps")
    >>> [(one.family.name, one.batch_settings) for one in candidates([dip, strength, scrub], 20)]
    [('orthogonal array, 9 tiles', 1), ('orthogonal array, 18 tiles', 1)]
    """
    if not factors:
        raise PlanError("The study varies nothing, so there is nothing to plan. Give at least one [[factor]].")
    levels = [len(factor.levels) for factor in factors]
    found, refused = [], ""
    if prod(levels) <= max(tiles_limit or 0, LARGEST):
        try:
            grid = constrained_grid(factors, forbidden) if forbidden else full_factorial(levels)
            found.append(_candidate(grid, factors))
        except PlanError as error:
            refused = f" {error}"
    for build in _fitting(factors, levels):
        one = _candidate(build(), factors)
        if forbidden is None or not any(map(forbidden, one.settings)):
            found.append(one)
    fitting = sorted((c for c in found if c.tiles <= (tiles_limit or LARGEST)), key=lambda c: (c.tiles, c.family.name))
    if not fitting:
        if not found:
            raise PlanError(
                f"No textbook plan fits these {len(factors)} factors; the full grid has {prod(levels)} tiles.{refused} "
                "Drop a level or a factor, or take back a forbidden rule."
            )
        least = min(found, key=lambda c: c.tiles)
        raise PlanError(
            f"The smallest textbook plan for these factors has {least.tiles} tiles ({least.family.name}), and the limit is "
            f"{tiles_limit or LARGEST}. Raise tiles under [limits], or drop a level or a factor."
        )
    return tuple(fitting)


def _fitting(factors: Sequence[Factor], levels: list[int]) -> list[Callable[[], Family]]:
    """Return what builds each family that the factors' levels allow, the full grid apart."""
    count, scaled = len(factors), all(factor.scaled and factor.numeric for factor in factors)
    builds: list[Callable[[], Family]] = []
    if all(factor.scaled or number == 2 for factor, number in zip(factors, levels, strict=True)):
        if max(levels) > 2 and 2**count <= LARGEST:
            builds.append(lambda: two_level_factorial(count))
        builds += [lambda tiles=tiles: fraction(count, tiles) for tiles in tile_counts(count)]  # type: ignore[misc]
        screens = [tiles for tiles in FIRST_ROWS if 3 <= count < tiles < 2**count]
        builds += [lambda tiles=tiles: plackett_burman(tiles, count) for tiles in screens]  # type: ignore[misc]
    arrays = [tiles for tiles in array_tile_counts(levels) if tiles < prod(levels)]
    builds += [lambda tiles=tiles: orthogonal_array(levels, tiles) for tiles in arrays]  # type: ignore[misc]
    if scaled and 3 <= count <= ORDERS[-1]:
        builds.append(lambda: definitive_screening(count))
    if scaled and 2 <= count <= MOST_COMPOSITE:
        builds.append(lambda: central_composite(count, "face-centred"))
        builds.append(lambda: central_composite(count, "rotatable", inscribed=True))
    if scaled and 3 <= count <= 7:
        builds.append(lambda: box_behnken(count))
    return builds


def _candidate(family: Family, factors: Sequence[Factor]) -> Candidate:
    settings = tuple(settings_of(family, factors))
    together = [column for column, factor in enumerate(factors) if factor.set_per != "tile"]
    batch_settings = len(np.unique(family.matrix[:, together], axis=0)) if together else 1
    says, ends, new, gone = [], [], [], []
    for factor in factors:
        used = {tile[factor.name] for tile in settings}
        if family.coding == "levels":
            gone += [f"{factor.label} {show(level, factor)}" for level in factor.levels if level not in used]
        elif len(used) == 2 and len(factor.levels) > 2 and factor.scaled:
            ends.append(factor.label)
        if strange := sorted(value for value in used - set(factor.levels) if not isinstance(value, str)):
            new.append(f"{factor.label} {', '.join(show(value, factor) for value in strange)}")
    if ends:
        says.append(f"It uses only the lowest and highest level of {', '.join(ends)}, so it shows no bend there.")
    if gone:
        says.append(f"The forbidden settings leave no tile at {', '.join(gone)}.")
    if new:
        says.append(f"It asks for settings that are not among the levels: {'; '.join(new)}.")
    return Candidate(family, settings, batch_settings, tuple(says))
