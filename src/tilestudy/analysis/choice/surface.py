"""The shape of a fitted second-order surface: peak, hollow, saddle, ridge or edge.

Box & Wilson (1951), J. R. Statist. Soc. B 13:1-45: y = b0 + z'b + z'B z is turned to axes along which it is a sum of squares.
The stationary point is z_s = -B^-1 b / 2; the eigenvalues of B say how sharply y bends along its eigenvectors: all below 0 a
peak, all above 0 a hollow, both a saddle, one near 0 a ridge. The eigenvalues' ranges take the directions as known
(Bisgaard & Ankenman 1996, Technometrics 38:238-246, from memory: right to first order).

Settings are coded as in `tilestudy.analysis.model`: 2 is the span of a factor's levels, nought the average of the tiles.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from tilestudy.analysis.findings import LEAST_DF, ResponseFindings, rescaled
from tilestudy.analysis.mixed import Array, Estimate
from tilestudy.analysis.model import Coding
from tilestudy.errors import WrongRequestError
from tilestudy.study.records import Setting

Shape = Literal["peak", "hollow", "saddle", "ridge"]
SMALL = 0.1
"""Eigenvalue, as a share of the largest, that counts as nought (our own choice)."""


@dataclass(frozen=True)
class Canonical:
    """A second-order surface along its own axes.

    Attributes
    ----------
    stationary : (k,) float or None
        Where the slope is nought, coded; None where there is no single such point (an eigenvalue of nought).
    eigenvalues : (k,) float
        How sharply the surface bends along each direction, response units per coded unit squared; the largest first.
    directions : (k, k) float
        Directions of length 1, one a column, its largest part positive.
    """

    stationary: Array | None
    eigenvalues: Array
    directions: Array

    @property
    def shape(self) -> Shape:
        """A ridge where an eigenvalue is small beside the largest; else by the signs."""
        sizes = np.abs(self.eigenvalues)
        if sizes.min() <= SMALL * sizes.max():
            return "ridge"
        if (self.eigenvalues < 0).all():
            return "peak"
        return "hollow" if (self.eigenvalues > 0).all() else "saddle"


def canonical(b: ArrayLike, B: ArrayLike) -> Canonical:
    """Turn y = b0 + z'b + z'B z to its own axes.

    Parameters
    ----------
    b : (k,) array_like of float
        Slopes.
    B : (k, k) array_like of float
        Symmetric: coefficients of squares on the diagonal, half those of products beside it.

    Raises
    ------
    WrongRequestError
        When a number is not finite, or the shapes do not match.

    Examples
    --------
    >>> found = canonical([2.0, 0.0], [[-1.0, 0.0], [0.0, -3.0]])
    >>> found.stationary.tolist(), found.eigenvalues.tolist(), found.shape
    ([1.0, 0.0], [-1.0, -3.0], 'peak')
    """
    slopes, bends = np.asarray(b, dtype=float), np.asarray(B, dtype=float)
    if slopes.ndim != 1 or not slopes.size or bends.shape != (slopes.size, slopes.size):
        raise WrongRequestError("A second-order surface needs a slope for each factor and a square table of bends.")
    if not (np.isfinite(slopes).all() and np.isfinite(bends).all()):
        raise WrongRequestError("A surface with numbers that are not finite has no shape.")
    values, vectors = np.linalg.eigh((bends + bends.T) / 2)
    values, vectors = values[::-1], vectors[:, ::-1]
    largest = np.abs(vectors).argmax(axis=0)
    vectors = vectors * np.sign(vectors[largest, np.arange(slopes.size)])
    sizes = np.abs(values)
    stationary = None
    if sizes.min() > 1e-9 * max(sizes.max(), float(np.abs(slopes).max()), 1e-300):
        stationary = -vectors @ ((vectors.T @ slopes) / values) / 2
    return Canonical(stationary, values, vectors)


@dataclass(frozen=True)
class Surface:
    """The fitted second-order surface of one response over the factors that bend, the others at their average.

    Attributes
    ----------
    codings : tuple of k Coding
        The factors, with how their settings are coded.
    constant : float
        Predicted mean at coded nought, in the response's unit.
    b : (k,) float
    B : (k, k) float
        See `canonical`.
    axes : Canonical
    bending : tuple of k Estimate
        The eigenvalues with their 95 % ranges, None where the noise was not measured.
    low, high : (k,) float
        The ends of what was tried, coded.
    """

    codings: tuple[Coding, ...]
    constant: float
    b: Array
    B: Array
    axes: Canonical
    bending: tuple[Estimate, ...]
    low: Array
    high: Array
    found: ResponseFindings = field(repr=False)
    _at: Mapping[str, Setting] = field(repr=False)
    _slope_rows: Array = field(repr=False)
    _bend_rows: Array = field(repr=False)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the factors."""
        return tuple(coding.name for coding in self.codings)

    @property
    def inside(self) -> bool:
        """True when the stationary point lies within what was tried."""
        z = self.axes.stationary
        return z is not None and bool(((self.low <= z) & (z <= self.high)).all())

    def coded(self, settings: Mapping[str, Setting]) -> Array:
        """Code settings: (k,); those of other factors are passed over."""
        return np.array([coding.coded([settings[coding.name]])[0] for coding in self.codings])

    def settings(self, z: ArrayLike) -> dict[str, Setting]:
        """Turn coded settings back into stored units."""
        pairs = zip(self.codings, np.asarray(z, dtype=float), strict=True)
        return {coding.name: coding.decoded(float(one)) for coding, one in pairs}

    def mean(self, z: ArrayLike) -> Array:
        """Predict means at coded settings: (..., k) to (...)."""
        points = np.asarray(z, dtype=float)
        return np.asarray(self.constant + points @ self.b + np.einsum("...i,ij,...j->...", points, self.B, points))

    def difference(self, one: Mapping[str, Setting], other: Mapping[str, Setting]) -> Estimate:
        """Predict how far the mean at `one` lies above that at `other`, with its range."""
        model = self.found.model
        pick = [{**self._at, **{name: at[name] for name in self.names}} for at in (one, other)]
        return _judged(self.found, model.row(pick[0]) - model.row(pick[1]))

    def slope(self, z: ArrayLike, factor: int) -> Estimate:
        """Return the slope along one factor at coded settings, per coded unit, with its range."""
        point = np.asarray(z, dtype=float)
        return _judged(self.found, self._slope_rows[factor] + 2 * point @ self._bend_rows[factor])


def surface_of(found: ResponseFindings, at: Mapping[str, Setting] | None = None) -> Surface | None:
    """Return the second-order surface of a response over the factors that bend; None with fewer than two of them.

    `at` fixes other factors (named levels, say); those not named are averaged over the tiles. None also when every value of
    the response is the same.
    """
    model = found.model
    bent = {term.factors[0] for term in model.terms if term.kind == "bend"}
    codings = tuple(coding for name, coding in model.codings.items() if name in bent)
    k = len(codings)
    if k < 2 or found.fit is None:
        return None
    fixed = {name: one for name, one in (at or {}).items() if name not in bent}

    def row(z: Array) -> Array:
        return model.row({**fixed, **{c.name: c.decoded(float(one)) for c, one in zip(codings, z, strict=True)}})

    # The model is exactly of second order in z, so differences of its rows give slopes and bends without error.
    unit = np.eye(k)
    middle, above, below = row(np.zeros(k)), [row(one) for one in unit], [row(-one) for one in unit]
    slopes = np.array([(up - down) / 2 for up, down in zip(above, below, strict=True)])
    bends = np.zeros((k, k, model.width))
    for i in range(k):
        bends[i, i] = (above[i] + below[i]) / 2 - middle
        for j in range(i):
            bends[i, j] = bends[j, i] = (row(unit[i] + unit[j]) - above[i] - above[j] + middle) / 2
    beta = found.fit.beta * found.scale
    axes = canonical(slopes @ beta, bends @ beta)
    along = np.einsum("im,ijp,jm->mp", axes.directions, bends, axes.directions)
    ends = np.array([coding.coded(_tried(coding)) for coding in codings])
    return Surface(
        codings,
        float(middle @ beta) + found.shift,
        slopes @ beta,
        bends @ beta,
        axes,
        tuple(_judged(found, one) for one in along),
        ends[:, 0],
        ends[:, 1],
        found,
        fixed,
        slopes,
        bends,
    )


def _tried(coding: Coding) -> tuple[float, float]:
    """Lowest and highest setting that tiles had."""
    levels = [float(level) for level in coding.levels if not isinstance(level, str)]
    return min([coding.seen[0], *levels]), max([coding.seen[1], *levels])


def _judged(found: ResponseFindings, row: Array) -> Estimate:
    """Estimate a difference in the response's unit; without a range where the noise it rests on was not measured."""
    assert found.fit is not None
    estimate = rescaled(found.fit.contrast(row), found.scale)
    if found.ranged and estimate.ddf is not None and estimate.ddf >= LEAST_DF:
        return estimate
    return Estimate(estimate.value)
