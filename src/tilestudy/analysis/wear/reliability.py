"""Coefficients of agreement between scorers: Krippendorff's alpha and Cohen's weighted kappa.

Sources: Krippendorff (2011), Computing Krippendorff's Alpha-Reliability; Cohen (1968), Psychological Bulletin 70:213.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from tilestudy.analysis.mixed import Array

Metric = Literal["nominal", "ordinal", "interval", "ratio"]


def krippendorff_alpha(values: ArrayLike, metric: Metric = "ordinal") -> float | None:
    """Work out Krippendorff's alpha.

    Parameters
    ----------
    values : (scorers, tiles) float
        NaN where a scorer did not score a tile. Tiles with fewer than two scores tell nothing and are passed over.
    metric : "nominal", "ordinal", "interval" or "ratio"
        How the difference of two values counts.

    Returns
    -------
    float or None
        1 for full agreement, 0 for what chance would give; None when the values never differ or no tile has two.

    Source: Krippendorff (2011), section C.

    Examples
    --------
    >>> round(krippendorff_alpha([[1, 2, 3, 3, 2], [1, 2, 3, 3, np.nan]], "nominal"), 3)
    1.0
    """
    given = np.asarray(values, dtype=float)
    given = given[:, np.isfinite(given).sum(axis=0) >= 2]
    found = np.unique(given[np.isfinite(given)])
    if len(found) < 2:
        return None
    counts = np.array([(given == one).sum(axis=0) for one in found], dtype=float)  # (values, tiles)
    return alpha_of_counts(counts, found, metric)


def alpha_of_counts(counts: Array, found: Array, metric: Metric) -> float | None:
    """Alpha from how often each value (row) was given to each tile (column; two scores at least)."""
    each = counts.sum(axis=0)
    o = (counts / (each - 1.0)) @ counts.T  # coincidences o_ck
    o -= np.diag((counts / (each - 1.0)).sum(axis=1))
    n_c = counts.sum(axis=1)
    n = float(n_c.sum())
    delta = _DIFFERENCES[metric](found, n_c) ** 2
    expected = float(n_c @ delta @ n_c)
    return None if expected <= 0.0 else 1.0 - (n - 1.0) * float((o * delta).sum()) / expected


def _ordinal(values: Array, n: Array) -> Array:
    """How many values lie between two, each end counting half."""
    upto = np.cumsum(n) - n / 2.0
    return np.asarray(np.abs(upto[:, None] - upto[None, :]))


def _ratio(values: Array, n: Array) -> Array:
    total = values[:, None] + values[None, :]
    return np.asarray(np.abs(values[:, None] - values[None, :]) / np.where(total == 0.0, 1.0, total))


_DIFFERENCES: Mapping[Metric, Callable[[Array, Array], Array]] = {
    "nominal": lambda values, n: 1.0 - np.eye(len(values)),
    "ordinal": _ordinal,
    "interval": lambda values, n: np.asarray(np.abs(values[:, None] - values[None, :])),
    "ratio": _ratio,
}


def weighted_kappa(table: ArrayLike, disagreement: ArrayLike | None = None) -> float | None:
    """Work out Cohen's weighted kappa.

    Parameters
    ----------
    table : (k, k) float
        How often (or in which share) the first scorer gave value i and the second value j.
    disagreement : (k, k) float, optional
        Weight of each disagreement, 0 on the diagonal; the number of steps between the two values by default.

    Returns
    -------
    float or None
        1 for full agreement, 0 for what chance would give; None when chance could not disagree.

    Source: Cohen (1968).

    Examples
    --------
    >>> round(weighted_kappa([[8, 2], [1, 9]]), 2)
    0.7
    """
    shares = np.asarray(table, dtype=float)
    total = float(shares.sum())
    if total <= 0.0:
        return None
    shares = shares / total
    k = len(shares)
    steps = np.abs(np.subtract.outer(np.arange(k), np.arange(k))) if disagreement is None else disagreement
    v = np.asarray(steps, dtype=float)
    expected = float(shares.sum(axis=1) @ v @ shares.sum(axis=0))
    return None if expected <= 0.0 else 1.0 - float((v * shares).sum()) / expected
