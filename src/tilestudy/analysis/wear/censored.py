"""Strokes until bare metal shows: times seen as intervals, and some only as "not yet".

Bare metal first seen at the 7th stroke came within (6, 7]; bare metal that never came lies beyond the last stroke. The law is
Weibull's, with effects that multiply: log strokes = (eta + noise) / shape, with random intercepts for batch and the like in
eta. An effect is a ratio: half as many strokes.

Source: Kalbfleisch & Prentice (2002), The Statistical Analysis of Failure Time Data, 2nd ed., ch. 2 and 3.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tilestudy.analysis.mixed import Array, FTest
from tilestudy.analysis.wear.latent import Posterior, Prior, Rows
from tilestudy.analysis.wear.latent_fit import LatentFit, fit_latent, group_codes
from tilestudy.analysis.wear.links import CLOGLOG
from tilestudy.errors import NotEnoughError

WEAKLY = Prior(shape=(2.0, 0.5))
"""The prior: slopes and groups as for grades; the shape a gamma of mean 4, so that all of 0.3 to 12 is likely."""

_HALF = float(np.log(np.log(2.0)))


@dataclass(frozen=True)
class StrokesFit:
    """A fit of strokes; `latent` has the shape as its only cut, and the constant as its first slope."""

    latent: LatentFit = field(repr=False)

    @property
    def shape(self) -> float:
        """Weibull shape: below 1 most break through early, above 1 tiles wear."""
        return float(self.latent.cuts[0])

    def test(self, columns: Sequence[int], spare: float) -> FTest:
        """Test that the slopes of these columns are nought: see `LatentFit.test`."""
        return self.latent.test(np.asarray(columns, dtype=np.intp), spare)

    def log_strokes(self, draws: tuple[Array, Array], rows: Array) -> Array:
        """Logarithm of the strokes that half of the tiles stand, at each row (constant included), for each draw."""
        w, _ = draws
        return np.asarray((w[:, 1:] @ rows.T + _HALF) / w[:, :1])


def stroke_rows(low: Array, high: Array, X: Array, groups: Mapping[str, NDArray[np.intp]]) -> Rows:
    """Turn counts into intervals of the logarithm; `high` is inf for what never came, `low` 0 for the first stroke."""
    n = len(low)
    open_low, open_high = low <= 0.0, np.isinf(high)
    free = np.zeros(X.shape[1], dtype=bool)
    free[0] = True
    ends = [np.log(np.where(gone, 1.0, end))[:, None] for end, gone in ((high, open_high), (low, open_low))]
    return Rows(ends[0], ends[1], open_high, open_low, X, free, groups, np.ones(n))


def fit_strokes(
    low: ArrayLike, high: ArrayLike, X: ArrayLike, groups: Mapping[str, ArrayLike] | None = None
) -> StrokesFit:
    """Fit strokes on X with a random intercept for each group.

    Parameters
    ----------
    low, high : (n,) float
        Bare metal came after more than `low` and at most `high` strokes; `high` is inf where it never came.
    X : (n, p) float
        Model columns with the constant first, the others coded about -1 to 1.
    groups : mapping of str to (n,) codes, optional

    Returns
    -------
    StrokesFit

    Raises
    ------
    NotEnoughError
        When no tile broke through, or counts are not in order.

    Examples
    --------
    >>> fit = fit_strokes([3, 4, 9, 8], [4, 5, 10, np.inf], [[1, -1], [1, -1], [1, 1], [1, 1]])
    >>> bool(fit.latent.slopes[1] > 0)
    True
    """
    low, high, X = (np.asarray(one, dtype=float) for one in (low, high, X))
    if not (np.isfinite(low).all() and np.isfinite(X).all() and (high > low).all() and (low >= 0).all()):
        raise NotEnoughError("A count of strokes that is not above the one before it cannot be used. Enter it again.")
    if np.isinf(high).all():
        raise NotEnoughError(
            f"No tile broke through within {low.max():g} strokes, so nothing tells which stands longer."
        )
    kept, aside = group_codes({name: np.asarray(codes) for name, codes in (groups or {}).items()}, X[:, 1:])
    rows = stroke_rows(low, high, X, kept)
    return StrokesFit(fit_latent(Posterior(rows, CLOGLOG, WEAKLY, np.ones(1)), aside))
