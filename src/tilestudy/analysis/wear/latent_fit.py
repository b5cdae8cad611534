"""The fit of rows seen as intervals: the likeliest spread of batches, what else fits, tests and draws.

The uncertainty of the standard deviations is carried by weighted points around their likeliest values (as Rue, Martino &
Chopin 2009, J. R. Statist. Soc. B 71:319, do), so that with few batches the draws have the long tails that they should.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc, ndtri, stdtrit
from scipy.stats.qmc import Sobol

from tilestudy.analysis.mixed import Array, Estimate, FTest
from tilestudy.analysis.wear.latent import Posterior, Top

STEPS, MORE_STEPS, KEPT = 8, 48, 0.8
"""Metropolis steps that bring draws to the true law, more where the normal law is far from it; share of place kept."""

NEAR = 0.5
"""Share of steps taken from which on the normal law is near enough for few steps."""


@dataclass(frozen=True)
class LatentFit:
    """A fit: the top, and weighted points around it that carry the uncertainty of the standard deviations.

    Attributes
    ----------
    posterior : Posterior
    top : Top
        At the likeliest standard deviations.
    spread : (m, m) float
        Root of the covariance of log s at the top.
    set_aside : mapping of str to str
        Groups without luck of their own, and why.
    """

    posterior: Posterior = field(repr=False)
    top: Top = field(repr=False)
    spread: Array = field(repr=False)
    set_aside: Mapping[str, str]
    perfect: bool = False
    no_residual: bool = False

    @property
    def sd(self) -> dict[str, float]:
        """Standard deviation of the luck of each group, on the hidden scale."""
        return {name: float(s) for name, s in zip(self.posterior.names, self.top.s, strict=True)}

    @property
    def cuts(self) -> Array:
        """Cut parameters at the top: (c,)."""
        return self.top.w[: self.posterior.c]

    @property
    def slopes(self) -> Array:
        """Slopes at the top: (p,)."""
        return self.top.w[self.posterior.c : self.posterior.fixed]

    @cached_property
    def points(self) -> tuple[tuple[Top, float], ...]:
        """Tops at standard deviations spread over what fits, with weights that sum to 1."""
        m = len(self.top.s)
        if not m:
            return ((self.top, 1.0),)
        many = 16 if m < 3 else 32
        z = ndtri(Sobol(m, scramble=False).random(many) + 0.5 / many)
        wide = 1.25
        places = np.log(self.top.s) + wide * z @ self.spread.T
        found = [self.posterior.evidence(np.clip(place, -6.0, 3.0), self.top.w) for place in places]
        log_weight = np.array([value for value, _ in found]) + 0.5 * (z * z).sum(axis=1)
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        return tuple((top, float(one)) for (_, top), one in zip(found, weight, strict=True) if one > 1e-6)

    @cached_property
    def covariances(self) -> Array:
        """Covariance of cuts and slopes at each of the points: (points, c + p, c + p)."""
        fixed = self.posterior.fixed
        return np.asarray(np.linalg.inv(np.array([top.curvature for top, _ in self.points]))[:, :fixed, :fixed])

    def draws(self, rng: np.random.Generator, many: int) -> tuple[Array, Array]:
        """Draw cuts with slopes, (many, c + p), and standard deviations, (many, m), from what fits the rows.

        Each draw starts from the normal law around the top of one point and is brought to the true law, all side by side, by
        Metropolis steps that would leave the normal law as it is (preconditioned Crank-Nicolson: Cotter, Roberts, Stuart &
        White 2013, Statist. Sci. 28:424). Where nearly all tiles pass, or none, the law is far from normal.
        """
        tops = [top for top, _ in self.points]
        weights = np.cumsum([weight for _, weight in self.points])
        turns = np.searchsorted(weights, (rng.permutation(many) + rng.random(many)) / many * weights[-1])
        turns = np.minimum(turns, len(tops) - 1)
        s = np.array([top.s for top in tops])[turns].reshape(many, -1)
        centre: Array = np.array([top.w for top in tops])[turns]
        roots = np.linalg.inv(np.linalg.cholesky(np.array([top.curvature for top in tops])))
        mine = [np.flatnonzero(turns == i) for i in range(len(tops))]

        def placed(x: Array) -> Array:
            w = centre.copy()
            for i, which in enumerate(mine):
                w[which] += x[which] @ roots[i]
            return w

        x = rng.normal(size=centre.shape)
        w = placed(x)
        gain = self.posterior.heights(w, s) + 0.5 * (x * x).sum(axis=1)
        taken: list[float] = []
        while len(taken) < STEPS or (len(taken) < STEPS + MORE_STEPS and np.mean(taken[:STEPS]) < NEAR):
            tried = KEPT * x + np.sqrt(1.0 - KEPT**2) * rng.normal(size=x.shape)
            there = placed(tried)
            moved = self.posterior.heights(there, s) + 0.5 * (tried * tried).sum(axis=1)
            take = moved > gain + np.log(rng.random(many))
            x[take], w[take], gain[take] = tried[take], there[take], moved[take]
            taken.append(float(take.mean()))
        return w[:, : self.posterior.fixed], s

    def test(self, columns: NDArray[np.intp], spare: float) -> FTest:
        """Test that the slopes of these columns are nought, by F; `spare` tiles lie beyond what the settings need.

        F is twice the gain in height that the columns bring at the likeliest standard deviations, luck integrated out, for
        each column. A ratio of heights keeps its power where an effect is so strong that its slope is hardly bounded (Hauck
        & Donner 1977, J. Am. Statist. Assoc. 72:851). The denominator df are Satterthwaite's (1946, Biometrics 2:110): how
        well the points around the top agree on the variance of the slopes; but half the spare tiles at most, for cuts and
        other slopes are learned from the same tiles (by simulation: `tests/benchmarks/ordinal.py`).
        """
        held = self.posterior.c + np.asarray(columns, dtype=np.intp)
        without = self.posterior.top(self.top.s, self.top.w, held)
        gain = 2.0 * (self.posterior.luck_integrated(self.top) - self.posterior.luck_integrated(without))
        F = max(gain, 0.0) / len(held)
        ddf = min(self._df(held), spare / 2.0)
        return FTest(len(held), ddf, F, float(fdtrc(len(held), ddf, F)))

    def _df(self, entries: NDArray[np.intp]) -> float:
        """Twice the square of a variance over its own variance, the mean of the logarithms over these entries."""
        logs = np.log(np.diagonal(self.covariances, axis1=1, axis2=2)[:, entries]).mean(axis=1)
        weight = np.array([one for _, one in self.points])
        weight = weight / weight.sum()
        return 2.0 / max(float(weight @ (logs - weight @ logs) ** 2), 1e-9)


LEAST_HALF = 3.0
"""Least degrees of freedom a range is widened by; the priors bound what is left."""


def widened(found: Estimate, level: float, spare: float) -> Estimate:
    """Widen the range of a difference as Student's t does beside the normal law, with half the `spare` tiles (3 at least) as df.

    >>> one = widened(Estimate(1.0, low=0.0, high=3.0), 0.95, 18.0)
    >>> round(one.low, 2), round(one.high, 2)
    (-0.15, 3.31)
    """
    if found.low is None or found.high is None:
        return found
    by = float(stdtrit(max(spare / 2.0, LEAST_HALF), 0.5 + level / 2.0) / ndtri(0.5 + level / 2.0))
    return replace(
        found, low=found.value - by * (found.value - found.low), high=found.value + by * (found.high - found.value)
    )


def group_codes(groups: Mapping[str, Array], X: Array) -> tuple[dict[str, NDArray[np.intp]], dict[str, str]]:
    """Number the levels of each group that can have luck of its own; and say why others cannot."""
    kept: dict[str, NDArray[np.intp]] = {}
    aside: dict[str, str] = {}
    n = len(X)
    basis = np.linalg.qr(np.column_stack([np.ones(n), X]))[0]
    for name, labels in groups.items():
        _, first, codes = np.unique(np.asarray(labels), return_index=True, return_inverse=True)
        codes = np.argsort(np.argsort(first))[codes]
        Z = np.zeros((n, len(first)))
        Z[np.arange(n), codes] = 1.0
        twin = next((other for other, those in kept.items() if np.array_equal(those, codes)), None)
        if len(first) < 2:
            aside[name] = "one level"
        elif len(first) == n:
            aside[name] = "one row each"
        elif twin is not None:
            aside[name] = f"same as {twin}"
        elif float(((Z - basis @ (basis.T @ Z)) ** 2).sum()) < 1e-9 * n:
            aside[name] = "in the model"
        else:
            kept[name] = codes
    return kept, aside


def fit_latent(posterior: Posterior, set_aside: Mapping[str, str]) -> LatentFit:
    """Find the likeliest standard deviations by Newton's steps in their logarithms, and the top there."""
    m = len(posterior.names)
    if not m:
        return LatentFit(posterior, posterior.top(np.zeros(0)), np.zeros((0, 0)), set_aside)
    place = np.full(m, np.log(0.7))
    value, top = posterior.evidence(place)
    h = 0.1
    hess = -np.eye(m)
    for _ in range(12):
        ahead, behind = np.empty(m), np.empty(m)
        for k in range(m):
            ahead[k] = posterior.evidence(place + h * np.eye(m)[k], top.w)[0]
            behind[k] = posterior.evidence(place - h * np.eye(m)[k], top.w)[0]
        slope = (ahead - behind) / (2 * h)
        hess = np.diag((ahead - 2 * value + behind) / h**2)
        for i in range(m):
            for j in range(i):
                both = posterior.evidence(place + h * (np.eye(m)[i] + np.eye(m)[j]), top.w)[0]
                hess[i, j] = hess[j, i] = (both - ahead[i] - ahead[j] + value) / h**2
        sizes, axes = np.linalg.eigh(-hess)
        sizes = np.maximum(np.abs(sizes), 0.15)
        step = np.clip(axes @ ((axes.T @ slope) / sizes), -1.5, 1.5)
        if float(slope @ step) < 1e-3:
            break
        for _ in range(8):
            moved, there = posterior.evidence(np.clip(place + step, -6.0, 3.0), top.w)
            if moved > value:
                break
            step = step / 2.0
        if moved <= value:
            break
        place, value, top = np.clip(place + step, -6.0, 3.0), moved, there
    sizes, axes = np.linalg.eigh(-hess)
    spread = axes / np.sqrt(np.maximum(sizes, 0.15))
    return LatentFit(posterior, top, spread, set_aside)
