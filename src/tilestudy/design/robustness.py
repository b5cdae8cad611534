"""What is left of a plan when a batch fails or tiles are lost: by leaving them out and appraising the rest.

Every batch is left out in turn; of all ways to lose a few tiles, every one where there are few, else a sample from a seed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from math import comb
from statistics import median

import numpy as np

from tilestudy.design.appraise import Appraisal, appraise
from tilestudy.study.records import Plan, Study

LOSSES, TILES_LOST = 60, 3


@dataclass(frozen=True)
class Loss:
    """What a loss does to one factor.

    `typical` and `worst` are the smallest effect afterwards over the one before (1: nothing lost), the median and the largest
    over the losses after which the factor can still be told; None where it never can. `untellable` is the share of losses
    after which it cannot.
    """

    factor: str
    typical: float | None
    worst: float | None
    untellable: float


@dataclass(frozen=True)
class Robustness:
    """What happens when one batch fails, and when `tiles_lost` tiles are lost; `fragile` names batches not to lose."""

    batch: tuple[Loss, ...]
    tiles: tuple[Loss, ...]
    tiles_lost: int
    fragile: Mapping[str, tuple[str, ...]]


def robustness(study: Study, plan: Plan, whole: Appraisal, seed: int) -> Robustness:
    """Leave out each batch, and a few tiles, and see what each factor's smallest effect becomes.

    Parameters
    ----------
    study, plan : Study, Plan
    whole : Appraisal
        Of the whole plan; its noise is kept.
    seed : int
        Of the sample of lost tiles.
    """
    codes = [batch.code for batch in plan.batches]
    without = {code: _left(study, plan, whole, {t.code for t in plan.tiles if t.batch == code}) for code in codes}
    lost = min(TILES_LOST, max(len(plan.tiles) - 2, 0))
    fragile = {
        one.factor: tuple(code for code in codes if without[code].get(one.factor) is None)
        for one in whole.factors
        if one.smallest is not None
    }
    return Robustness(
        _losses(whole, without.values()),
        _losses(whole, [_left(study, plan, whole, gone) for gone in _ways(plan, lost, seed)]),
        lost,
        {name: some for name, some in fragile.items() if 0 < len(some) < len(codes)},
    )


def _ways(plan: Plan, lost: int, seed: int) -> list[set[str]]:
    codes = sorted(tile.code for tile in plan.tiles)
    if comb(len(codes), lost) <= LOSSES:
        return [set(some) for some in combinations(codes, lost)]
    rng = np.random.default_rng(seed)
    return [{codes[i] for i in rng.permutation(len(codes))[:lost]} for _ in range(LOSSES)]


def _left(study: Study, plan: Plan, whole: Appraisal, gone: set[str]) -> dict[str, float | None]:
    """Return each factor's smallest effect without some tiles, or None; a factor that lost a level cannot be told as asked."""
    tiles = tuple(tile for tile in plan.tiles if tile.code not in gone)
    if len(tiles) < 2:
        return {}
    kept = {tile.batch for tile in tiles}
    rest = replace(plan, tiles=tiles, batches=tuple(batch for batch in plan.batches if batch.code in kept))
    found = appraise(study, rest, whole.noise)
    return {
        one.factor: None if _levels(plan, one.factor) - _levels(rest, one.factor) else one.smallest
        for one in found.factors
    }


def _levels(plan: Plan, factor: str) -> set[object]:
    return set(Counter(tile.settings[factor] for tile in plan.tiles))


def _losses(whole: Appraisal, after: Iterable[Mapping[str, float | None]]) -> tuple[Loss, ...]:
    outcomes = list(after)
    found = []
    for one in whole.factors:
        if one.smallest is None or not outcomes:
            continue
        grown = [left / one.smallest for some in outcomes if (left := some.get(one.factor)) is not None]
        share = 1 - len(grown) / len(outcomes)
        found.append(Loss(one.factor, median(grown) if grown else None, max(grown) if grown else None, share))
    return tuple(found)
