"""Which tiles to leave out first when time runs out: those whose loss costs the least of what the plan can tell.

By the design alone: generalised least squares of the model that the analysis will fit. Leaving out tile i adds
``q q' / P_ii`` to the covariance of the coefficients (Cook & Weisberg 1982, chapter 2, for correlated observations).
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from tilestudy.design.appraise import Noise, block_sd
from tilestudy.design.sessions.timetable import Dropped
from tilestudy.design.terms import LEAST_TILE_DF, Floats, Model, model_of
from tilestudy.study.records import Plan, Study, study_as_planned

MOST_SHARE, MOST_GROWTH, ALIKE = 0.25, 1.25, 0.01
"""Tiles of a session that may go; how much what is seen may grow; costs so near one another count as the same."""


def may_drop(study: Study, plan: Plan, noise: Noise, session: int, codes: Collection[str]) -> tuple[Dropped, ...]:
    """Return the tiles of a session to leave out first, in order; every term of the model can be told without them.

    Among tiles that cost the same, reference tiles go first, then those that come last in the session.

    Parameters
    ----------
    study, plan : Study, Plan
    noise : Noise
        Only its ratio of batches to tiles counts.
    session : int
    codes : collection of str
        Tiles of it that are still to be made.
    """
    if len(plan.tiles) < 3:
        return ()
    model = model_of(study_as_planned(study, plan), plan)
    kept = list(range(len(plan.tiles)))
    batch = {one.code: number for number, one in enumerate(plan.batches)}
    spare = model.spare["tile"] - LEAST_TILE_DF
    many = min(int(MOST_SHARE * len(codes)), spare)
    found: list[Dropped] = []
    whole = _variances(model, _inverses(model, noise, kept)[1])
    for _ in range(many):
        P, phi, pulls = _inverses(model, noise, kept)
        now, costs = _variances(model, phi), []
        for at, row in enumerate(kept):
            tile = plan.tiles[row]
            alone = sum(plan.tiles[other].batch == tile.batch for other in kept) < 2
            if tile.session != session or tile.code not in codes or P[at, at] < 1e-6 or alone:
                continue
            grown = [
                (variance + float(pattern @ pulls[columns, at]) ** 2 / P[at, at]) / before
                for (columns, pattern), variance, before in zip(_patterns(model), now, whole, strict=True)
            ]
            worst = float(np.sqrt(max(grown, default=1.0)))
            costs.append((ALIKE * round(worst / ALIKE), not tile.reference, -batch[tile.batch], -tile.order, at, worst))
        if not costs or min(costs)[-1] > MOST_GROWTH:
            break
        *_, at, worst = min(costs)
        tile = plan.tiles[kept.pop(at)]
        found.append(Dropped(tile.code, tile.batch, worst))
    return tuple(found)


def _patterns(model: Model) -> list[tuple[list[int], Floats]]:
    """Columns and coefficients of each main effect's change."""
    return [
        (list(term.columns), pattern) for term in model.terms if term.kind == "main" for pattern in model.patterns(term)
    ]


def _variances(model: Model, phi: Floats) -> list[float]:
    return [float(pattern @ phi[np.ix_(columns, columns)] @ pattern) for columns, pattern in _patterns(model)]


def _inverses(model: Model, noise: Noise, kept: list[int]) -> tuple[Floats, Floats, Floats]:
    """Return P, the covariance of the coefficients, and what each tile pulls of them, for the tiles kept."""
    X, Z, S = model.X[kept], model.batch[kept], model.session[kept]
    ratio = noise.batch / noise.tile
    V = np.eye(len(kept)) + ratio**2 * Z @ Z.T + (block_sd(model, noise) / noise.tile) ** 2 * S @ S.T
    weight = np.linalg.inv(V)
    weighed = weight @ X
    phi = np.linalg.pinv(X.T @ weighed, hermitian=True)
    pulls = phi @ weighed.T
    return weight - weighed @ pulls, np.asarray(phi, dtype=np.float64), pulls
