"""How good any plan could be: the optimum when tiles may be split into fractions.

Source: Kiefer & Wolfowitz (1960), Canadian J. Math. 12:363-366 (the equivalence theorem); Silvey, Titterington & Torsney
(1978), Commun. Statist. A7:1379-1389 (multiplicative weights). With weights w on settings x and M = sum w f(x) f(x)',
no plan of n tiles has |M|^(1/p) above n |M|^(1/p) exp(max d / p - 1), d(x) = f' M^-1 f; and none has an average
variance below (2 phi - max psi) / n, phi = tr(M^-1 W), psi(x) = f' M^-1 W M^-1 f. Batches and sessions only take
information away, so both hold for them too, less tightly.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import prod

import numpy as np

from tilestudy.design.optimal.check import check_request, sound
from tilestudy.design.optimal.model import Axis, Floats, build, grid
from tilestudy.design.optimal.problem import Problem
from tilestudy.errors import PlanError

_ROUNDS, _MOST = 1000, 8000


@dataclass(frozen=True)
class Bound:
    """What no plan can better: most `information` and least `average_variance` (units of `OptimalPlan`).

    The one of the problem's criterion is close, as the weights were found for it; the other holds, less closely.
    `settings` (rows, factors) are coded, `weights` (rows,) add up to 1.
    """

    information: float
    average_variance: float
    settings: Floats
    weights: Floats


def bound(problem: Problem) -> Bound:
    """Return what no plan of the problem's number of tiles can better.

    Weighed are the ends and the middle of a scaled factor where the model has no more than bends (the best fractions
    lie there), else eleven settings. Forbidden settings are weighed too, which can only loosen the bound; the average over
    what is left of the region is lopsided, and five settings then come within a few thousandths.

    Raises
    ------
    PlanError
        When the factors have more than 8,000 such combinations, or these cannot estimate the model.

    Examples
    --------
    >>> from tilestudy.study.records import Factor
    >>> straight = Problem((Factor("dip", (10.0, 60.0)),), (4,), model="main effects", criterion="D", eta=0.0)
    >>> round(bound(straight).information, 6)
    4.0
    """
    check_request(problem)
    model = build(problem)
    lopsided = problem.forbidden is not None and problem.criterion == "I"
    levels = [_levels(one, lopsided) for one in model.axes]
    if prod(len(one) for one in levels) > _MOST:
        raise PlanError(f"These factors have more than {_MOST} combinations to weigh. Leave some of them out.")
    at = grid(levels)
    F, W, p, n = model.columns(at), model.moments, len(model.use), problem.tiles
    w = np.full(len(at), 1 / len(at))
    if np.linalg.matrix_rank(F) < p:
        raise PlanError("The levels of the factors cannot estimate the model. Give more levels or ask for fewer terms.")
    for _ in range(_ROUNDS):
        M = F.T @ (w[:, None] * F)
        if not sound(M[None])[0]:
            break  # what is left of the region does not ask for every term: the last weights give a bound too
        inverse = np.linalg.inv(M)
        d = ((F @ inverse) * F).sum(1)
        psi = ((F @ inverse @ W @ inverse) * F).sum(1)
        phi = float(np.trace(inverse @ W))
        ratio = d / p if problem.criterion == "D" else psi / phi
        if ratio.max() < 1 + 1e-7:
            break
        w = w * (ratio if problem.criterion == "D" else np.sqrt(np.maximum(ratio, 0)))
        w = w / w.sum()
    log = -float(np.linalg.slogdet(inverse)[1])
    return Bound(
        n * float(np.exp(min(700.0, log / p + d.max() / p - 1))), max(0.0, 2 * phi - float(psi.max())) / n, at, w
    )


def _levels(axis: Axis, lopsided: bool) -> Floats:
    if not axis.factor.scaled or axis.discrete:
        return axis.levels
    if axis.powers > 2:
        return np.linspace(-1, 1, 11)
    return np.linspace(-1, 1, 5 if lopsided else 3)
