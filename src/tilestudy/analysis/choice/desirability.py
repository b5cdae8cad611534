"""How far several wishes are met at once: Derringer & Suich's desirability.

Each wish turns its quantity into a number from 0 (no use) to 1 (wholly met); their geometric mean says how far all of
them are met together. One wish at 0 makes the whole 0: nothing makes up for a tile that is no use.

Source: Derringer & Suich (1980), J. Quality Technology 12:214-219. Weights of the wishes in the mean: Derringer (1994),
Quality Progress 27(6):51-58 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from tilestudy.analysis.mixed import Array
from tilestudy.errors import WrongRequestError
from tilestudy.study.records import Wish


def one_sided(y: ArrayLike, useless: float, good: float, s: float = 1.0) -> Array:
    """Return how far a wish for more (or for less) is met.

    Parameters
    ----------
    y : array_like of float
        Values, any shape.
    useless, good : float
        0 at `useless` and beyond, 1 at `good` and beyond; less is better where `good` is the smaller.
    s : float
        Exponent: above 1 the desirability rises late, close to `good`; below 1 it rises early.

    Returns
    -------
    array of float
        0 to 1, no unit, shaped as `y`.

    Raises
    ------
    WrongRequestError
        When a number is not finite, `good` equals `useless`, or `s` is not above 0.

    Examples
    --------
    >>> one_sided([1.0, 2.5, 9.0], useless=4.0, good=1.0).tolist()
    [1.0, 0.5, 0.0]
    """
    values = np.asarray(y, dtype=float)
    if not (np.isfinite(values).all() and np.isfinite([useless, good]).all()):
        raise WrongRequestError("A wish can be weighed only for finite numbers; check its good and useless values.")
    if good == useless:
        raise WrongRequestError(f"A wish's good and useless values are both {good:g}; they must differ.")
    if not s > 0:
        raise WrongRequestError(f"The exponent of a wish is {s:g}; it must be above 0.")
    return np.asarray(np.clip((values - useless) / (good - useless), 0.0, 1.0) ** s)


def two_sided(y: ArrayLike, low: float, target: float, high: float, s: float = 1.0, t: float = 1.0) -> Array:
    """Return how far a wish for a value between two useless ones is met: 1 at `target`, 0 from `low` down and `high` up.

    `s` and `t` are the exponents below and above the target. Raises WrongRequestError unless low < target < high.

    >>> two_sided([400.0, 450.0, 500.0, 575.0], 400.0, 500.0, 600.0).tolist()
    [0.0, 0.5, 1.0, 0.25]
    """
    if not low < target < high:
        raise WrongRequestError(f"A wish for {target:g} needs a useless value below it and one above it.")
    return np.minimum(one_sided(y, low, target, s), one_sided(y, high, target, t))


def overall(d: ArrayLike, weights: Sequence[float] | None = None) -> Array:
    """Return the weighted geometric mean of the desirabilities of several wishes.

    Parameters
    ----------
    d : (k, ...) array_like of float
        One row a wish, each 0 to 1.
    weights : sequence of k float, optional
        How much each wish counts; equal by default.

    Raises
    ------
    WrongRequestError
        When there is no wish, a desirability lies outside 0 to 1, or a weight is not above 0.

    Examples
    --------
    >>> round(float(overall([0.25, 1.0])), 3), round(float(overall([0.25, 1.0], [3, 1])), 3), float(overall([0.0, 1.0]))
    (0.5, 0.354, 0.0)
    """
    rows = np.asarray(d, dtype=float)
    if rows.ndim == 0 or not len(rows) or not ((rows >= 0) & (rows <= 1)).all():
        raise WrongRequestError("There must be one wish at least, each met by 0 to 1.")
    w = np.ones(len(rows)) if weights is None else np.asarray(weights, dtype=float)
    if w.shape != (len(rows),) or not (np.isfinite(w) & (w > 0)).all():
        raise WrongRequestError("Each wish needs a weight above 0.")
    with np.errstate(divide="ignore"):  # log 0 is minus infinity, and its exponential 0, as it should be
        return np.asarray(np.exp(np.tensordot(w / w.sum(), np.log(rows), axes=1)))


def met(wish: Wish, y: ArrayLike) -> Array:
    """Return how far a wish of the study file is met at values of what it is about, in the wish's unit.

    >>> met(Wish("gloss", 40.0, (20.0, 60.0)), [30.0, 40.0, 70.0]).tolist()
    [0.5, 1.0, 0.0]
    """
    if isinstance(wish.useless, tuple):
        return two_sided(y, wish.useless[0], wish.good, wish.useless[1])
    return one_sided(y, wish.useless, wish.good)
