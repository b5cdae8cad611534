"""Grades as what they are: ranks. A cumulative-link mixed model of the chance that a tile passes.

P(grade <= k) = F(cut_k - eta) with F logistic: the tile's hidden quality eta (settings, and the luck of session, batch,
tile and scorer) against cuts that are learned, so that no step of the scale is taken as long as another.

Kept finite, weakly: a slope is held to be N(0, 2.5^2) (columns coded about -1 to 1), and half a pseudo-count stands in each
grade at average settings, 1 altogether at most. A grade that nobody gave shares the cut of its neighbour
(`OrdinalFit.cut`); the passing grade keeps a cut of its own even if nobody fell short of it, or reached it.

Source: McCullagh (1980), J. R. Statist. Soc. B 42:109; with random intercepts, Christensen (2019), ordinal (R package).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, logit

from tilestudy.analysis.mixed import Array, Estimate, FTest
from tilestudy.analysis.wear.latent import Posterior, Prior, Rows
from tilestudy.analysis.wear.latent_fit import LatentFit, fit_latent, group_codes
from tilestudy.analysis.wear.links import LOGIT
from tilestudy.errors import NotEnoughError

PSEUDO_COUNT = 0.5
MOST_PSEUDO = 1.0

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(15)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()


@dataclass(frozen=True)
class OrdinalFit:
    """A fit of grades.

    Attributes
    ----------
    latent : LatentFit
    grades : tuple of float
        The lowest grade above each cut: cut k lies below `grades[k]`.
    given : tuple of float
        Grades that were given.
    """

    latent: LatentFit = field(repr=False)
    grades: tuple[float, ...]
    given: tuple[float, ...]

    @property
    def slopes(self) -> Array:
        """Slope of each column of X, in logits: (p,)."""
        return self.latent.slopes

    @property
    def cuts(self) -> Array:
        """Cuts below `grades`, in logits: (c,)."""
        return self.latent.cuts

    @property
    def sd(self) -> dict[str, float]:
        """Standard deviation of the luck of each group, in logits."""
        return self.latent.sd

    def test(self, columns: Sequence[int], spare: float) -> FTest:
        """Test that the slopes of these columns are nought: see `LatentFit.test`."""
        return self.latent.test(np.asarray(columns, dtype=np.intp), spare)

    def cut(self, grade: float) -> int:
        """Index of the cut that tells `grade` or better from worse.

        Raises NotEnoughError when all grades given lie on one side and the fit was not told to keep that cut.
        """
        rank = int(np.searchsorted(self.given, grade - 1e-9))
        inside = 0 < rank < len(self.given)
        for k, bound in enumerate(self.grades):
            if abs(bound - grade) < 1e-9 or (inside and int(np.searchsorted(self.given, bound - 1e-9)) == rank):
                return k
        side = "at or above" if rank == 0 else "below"
        raise NotEnoughError(f"Every grade given lies {side} {grade:g}, so nothing tells how often tiles reach it.")

    def pass_draws(self, rows: ArrayLike, grade: float, rng: np.random.Generator, n_draws: int = 400) -> Array:
        """Draw the chance that one new tile from a new batch and session gets `grade` or better.

        Each draw is one set of slopes, cuts and variances that fits the rows; the luck of session, batch and tile is
        averaged over, and the scorer is of average strictness.

        Parameters
        ----------
        rows : (m, p) float
            Coded settings, without the constant.
        grade : float
        rng : numpy Generator
        n_draws : int

        Returns
        -------
        (n_draws, m) float
            Chances, 0 to 1.
        """
        return self.chances(self.latent.draws(rng, n_draws), np.atleast_2d(np.asarray(rows, dtype=float)), grade)

    def chances(self, draws: tuple[Array, Array], rows: Array, grade: float) -> Array:
        """Chances of `grade` or better at each row for each of the draws (as `LatentFit.draws` gives them)."""
        w, s = draws
        c = self.latent.posterior.c
        eta = w[:, c:] @ rows.T - w[:, [self.cut(grade)]]
        luck = np.array([name != "scorer" for name in self.latent.posterior.names], dtype=bool)
        sd = np.sqrt((s[:, luck] ** 2).sum(axis=1))
        if not sd.any():
            return np.asarray(expit(eta))
        return np.asarray(
            sum(weight * expit(eta + node * sd[:, None]) for node, weight in zip(_NODES, _WEIGHTS, strict=True))
        )

    def probability(
        self, row: ArrayLike, grade: float, rng: np.random.Generator, level: float = 0.95, n_draws: int = 2000
    ) -> Estimate:
        """Chance that one new tile at these settings gets `grade` or better: the mean of the draws, with their range."""
        drawn = self.pass_draws(row, grade, rng, n_draws)[:, 0]
        low, high = np.quantile(drawn, [0.5 - level / 2.0, 0.5 + level / 2.0])
        return Estimate(float(drawn.mean()), float(drawn.std()), None, float(low), float(high))


def grade_rows(
    grades: Array,
    X: Array,
    groups: Mapping[str, NDArray[np.intp]],
    bounds: Sequence[float],
    pseudo: float,
) -> tuple[Rows, Array]:
    """Turn grades into intervals between cuts, with pseudo-rows; and the cuts to start from.

    `bounds` are the lowest grades above each cut.
    """
    K = len(bounds) + 1
    y = np.searchsorted(np.asarray(bounds), grades + 1e-9)
    counts = np.bincount(y, minlength=K) + max(pseudo, 0.1)
    start = np.asarray(logit(np.cumsum(counts)[:-1] / counts.sum()))
    n = len(y)
    weight = np.ones(n)
    if pseudo:
        y = np.concatenate([y, np.arange(K)])
        X = np.vstack([X, np.zeros((K, X.shape[1]))])
        weight = np.concatenate([weight, np.full(K, pseudo)])
        groups = {name: np.concatenate([codes, np.full(K, -1)]) for name, codes in groups.items()}
    unit = np.vstack([np.zeros((1, K - 1)), np.eye(K - 1), np.zeros((1, K - 1))])
    rows = Rows(unit[y + 1], unit[y], y == K - 1, y == 0, X, np.zeros(X.shape[1], dtype=bool), groups, weight)
    return rows, start


def fit_ordinal(
    grades: ArrayLike,
    X: ArrayLike,
    groups: Mapping[str, ArrayLike] | None = None,
    *,
    keep: Sequence[float] = (),
) -> OrdinalFit:
    """Fit grades on X with a random intercept for each group.

    Parameters
    ----------
    grades : (n,) float
        Ranks; only their order counts.
    X : (n, p) float
        Model columns, coded about -1 to 1, without a constant (the cuts are its place).
    groups : mapping of str to (n,) codes, optional
        "session", "batch", "tile", "scorer": level of each row.
    keep : sequence of float
        Grades that keep a cut below them even where all rows lie on one side: the passing grade.

    Returns
    -------
    OrdinalFit

    Raises
    ------
    NotEnoughError
        When a number is not finite, or all grades are the same and no cut is kept.

    Examples
    --------
    >>> fit = fit_ordinal([2, 3, 3, 4, 5, 5], [[-1.0], [-1], [-1], [1], [1], [1]], keep=[4])
    >>> bool(fit.slopes[0] > 1), fit.grades
    (True, (3.0, 4.0, 5.0))
    """
    y, X = np.asarray(grades, dtype=float), np.asarray(X, dtype=float)
    if not (np.isfinite(y).all() and np.isfinite(X).all()):
        raise NotEnoughError(
            "A grade or setting that is not finite cannot be fitted. Leave the row out, or enter it again."
        )
    given = tuple(float(one) for one in np.unique(y))
    bounds = sorted({*given[1:], *(float(one) for one in keep)})
    if not bounds:
        raise NotEnoughError(f"Every grade is {given[0]:g}, so nothing tells what makes a tile better or worse.")
    bounds = _told_apart(bounds, given)
    kept, aside = group_codes({name: np.asarray(codes) for name, codes in (groups or {}).items()}, X)
    pseudo = min(PSEUDO_COUNT, MOST_PSEUDO / (len(bounds) + 1))
    rows, start = grade_rows(y, X, kept, bounds, pseudo)
    return OrdinalFit(fit_latent(Posterior(rows, LOGIT, Prior(), start), aside), tuple(bounds), given)


def _told_apart(bounds: Sequence[float], given: Sequence[float]) -> list[float]:
    """Drop a cut that parts no more rows than the one before it does, unless all rows lie on one side of it."""
    kept: dict[int, float] = {}
    for bound in bounds:
        rank = int(np.searchsorted(given, bound - 1e-9))
        kept.setdefault(rank, bound) if 0 < rank < len(given) else kept.update({-len(kept) - 1: bound})
    return sorted(kept.values())
