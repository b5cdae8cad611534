"""Rows seen as intervals of a hidden scale, with random intercepts: what grades and strokes have in common.

A hidden value z = eta + noise lies for each row between two ends: a grade between two cuts, a break-through between two
counts of strokes. eta = X beta + sum_k s_k v_k with v_k ~ N(0, 1) for each level of group k. Ends are linear in the cut
parameters, so that the log-likelihood of (cuts, beta, v) is concave and Newton's steps find its one top at any s. What is
not of interest is integrated out by Laplace's approximation (Tierney & Kadane 1986, J. Am. Statist. Assoc. 81:82): the
standard deviations s are judged with cuts and slopes integrated out too, as REML does. Weak priors keep all finite: `Prior`.
A half-normal times s keeps an s off nought by about a standard error at most (Chung, Rabe-Hesketh, Dorie, Gelman & Liu 2013,
Psychometrika 78:685).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tilestudy.analysis.mixed import Array
from tilestudy.analysis.wear.links import Link, Pieces


@dataclass(frozen=True)
class Prior:
    """What is held likely beforehand, weakly.

    Attributes
    ----------
    slope_sd : float
        Standard deviation of a slope, in units of a tile's hidden noise; inf for none.
    group_sd : float
        Scale of the half-normal for the standard deviations of groups.
    shape : (float, float) or None
        Shape and rate of a gamma law for the first cut parameter (of strokes, where it is one over the spread).
    """

    slope_sd: float = 2.5
    group_sd: float = 2.0
    shape: tuple[float, float] | None = None


@dataclass(frozen=True)
class Rows:
    """The rows as intervals.

    Attributes
    ----------
    high, low : (n, c) float
        Upper and lower end = these coefficients times the cut parameters.
    open_high, open_low : (n,) bool
        True where that end is infinite.
    X : (n, p) float
    free : (p,) bool
        Columns without a prior (a constant).
    groups : mapping of str to (n,) int
        Level of each row, numbered from 0; -1 where the row belongs to none (a pseudo-row).
    weight : (n,) float
    """

    high: Array
    low: Array
    open_high: NDArray[np.bool_]
    open_low: NDArray[np.bool_]
    X: Array
    free: NDArray[np.bool_]
    groups: Mapping[str, NDArray[np.intp]]
    weight: Array


@dataclass(frozen=True)
class Top:
    """The top of the log-posterior at given standard deviations: where, how high, and the curvature there."""

    s: Array
    w: Array
    height: float
    curvature: Array
    factor: Array
    log_det: float


class Posterior:
    """The log-posterior of cuts, slopes and (standardised) luck as a function of the standard deviations."""

    def __init__(self, rows: Rows, link: Link, prior: Prior, start: Array) -> None:
        self.rows, self.link, self.prior = rows, link, prior
        self.names = tuple(rows.groups)
        self.c, self.p = rows.high.shape[1], rows.X.shape[1]
        blocks = []
        for codes in rows.groups.values():
            Z = np.zeros((len(codes), int(codes.max()) + 1))
            inside = codes >= 0
            Z[inside.nonzero()[0], codes[inside]] = 1.0
            blocks.append(Z)
        self.widths = np.array([Z.shape[1] for Z in blocks], dtype=int)
        self.Z = np.hstack(blocks) if blocks else np.zeros((len(rows.X), 0))
        self.fixed = self.c + self.p
        self.size = self.fixed + self.Z.shape[1]
        self.start = np.zeros(self.size)
        self.start[: self.c] = start
        self.tops = 0

    def slope_sd(self, s: Array) -> Array:
        """Standard deviation of the prior of a slope: wider where tiles differ much beyond the scorers' noise."""
        tile = s[..., self.names.index("tile")] if "tile" in self.names else np.zeros(s.shape[:-1])
        return np.asarray(self.prior.slope_sd * np.sqrt(1.0 + tile**2 / self.link.variance))

    def _precision(self, s: Array) -> Array:
        slopes = np.where(self.rows.free, 0.0, self.slope_sd(s) ** -2.0)
        return np.concatenate([np.zeros(self.c), slopes, np.ones(self.size - self.fixed)])

    def _at(self, w: Array, G: Array, precision: Array) -> tuple[float, Pieces | None]:
        rows, c = self.rows, self.c
        eta = G @ w[c:]
        a = np.where(rows.open_high, np.inf, rows.high @ w[:c] - eta)
        b = np.where(rows.open_low, -np.inf, rows.low @ w[:c] - eta)
        if not (a > b).all() or (self.prior.shape and w[0] <= 0):
            return -np.inf, None
        pieces = self.link.pieces(a, b)
        value = float(rows.weight @ pieces[0]) - 0.5 * float(precision @ (w * w))
        if self.prior.shape:
            shape, rate = self.prior.shape
            value += (shape - 1.0) * float(np.log(w[0])) - rate * float(w[0])
        return value, pieces

    def top(self, s: Array, start: Array | None = None, held: NDArray[np.intp] | None = None) -> Top:
        """Find the top by Newton's steps; the entries `held` of w stay nought.

        Raises numpy.linalg.LinAlgError where the log-posterior has no top (no prior, and the rows are separated).
        """
        rows = self.rows
        G = np.hstack([rows.X, self.Z * np.repeat(s, self.widths)])
        precision = self._precision(s)
        free = np.ones(self.size, dtype=bool)
        if held is not None:
            free[held] = False
        w = np.where(free, self.start if start is None else start, 0.0)
        height, pieces = self._at(w, G, precision)
        if pieces is None:
            w = np.where(free, self.start, 0.0)
            height, pieces = self._at(w, G, precision)
        assert pieces is not None
        for _ in range(60):
            slope, H = self._slope_and_curvature(w, G, precision, pieces)
            g, K = (slope, H) if held is None else (slope[free], H[np.ix_(free, free)])
            step = np.linalg.solve(K, g)  # numpy throughout: its threads and scipy's would get into each other's way
            decrement = float(g @ step)
            if decrement < 1e-12:
                break
            full = np.zeros(self.size)
            full[free] = step
            length = 1.0
            for _ in range(40):
                trial = w + length * full
                moved, there = self._at(trial, G, precision)
                if there is not None and moved >= height + 1e-4 * length * decrement:
                    break
                length /= 2.0
            else:
                break
            w, height, pieces = trial, moved, there
        if not np.abs(w).max() < 1e4:
            raise np.linalg.LinAlgError("no top")
        chol = np.linalg.cholesky(K)
        return Top(s, w, height, H, chol, 2.0 * float(np.log(np.diag(chol)).sum()))

    def _slope_and_curvature(self, w: Array, G: Array, precision: Array, pieces: Pieces) -> tuple[Array, Array]:
        """Gradient, and minus the matrix of second derivatives."""
        rows, c, weight = self.rows, self.c, self.rows.weight
        _, la, lb, laa, lab, lbb = (weight * piece for piece in pieces)
        high, low = rows.high, rows.low
        slope = np.concatenate([high.T @ la + low.T @ lb, -(G.T @ (la + lb))]) - precision * w
        H = np.empty((self.size, self.size))
        mixed = high.T @ (lab[:, None] * low)
        H[:c, :c] = -(high.T @ (laa[:, None] * high) + low.T @ (lbb[:, None] * low) + mixed + mixed.T)
        H[:c, c:] = (high * (laa + lab)[:, None] + low * (lbb + lab)[:, None]).T @ G
        H[c:, :c] = H[:c, c:].T
        H[c:, c:] = -(G.T @ ((laa + 2.0 * lab + lbb)[:, None] * G))
        H[np.diag_indices(self.size)] += precision
        if self.prior.shape:
            shape, rate = self.prior.shape
            slope[0] += (shape - 1.0) / w[0] - rate
            H[0, 0] += (shape - 1.0) / w[0] ** 2
        return slope, H

    def evidence(self, log_s: Array, start: Array | None = None) -> tuple[float, Top]:
        """Log-density of log s, up to a constant, with cuts, slopes and luck integrated out."""
        s = np.exp(log_s)
        top = self.top(s, start)
        slopes = int((~self.rows.free).sum())
        value = top.height - slopes * np.log(self.slope_sd(s)) - 0.5 * top.log_det
        value += float(log_s.sum()) - 0.5 * float(s @ s) / self.prior.group_sd**2
        return float(value), top

    def heights(self, w: Array, s: Array) -> Array:
        """Log-posterior of many w, (many, size), each at its own s, (many, m); comparable for one and the same s only."""
        rows, c = self.rows, self.c
        eta = w[:, c : self.fixed] @ rows.X.T
        first = self.fixed
        for k, (width, codes) in enumerate(zip(self.widths, rows.groups.values(), strict=True)):
            luck = np.zeros((len(w), width + 1))  # a pseudo-row's level -1 is the last, which has no luck
            luck[:, :width] = w[:, first : first + width] * s[:, [k]]
            eta += luck[:, codes]
            first += width
        a = np.where(rows.open_high, np.inf, w[:, :c] @ rows.high.T - eta)
        b = np.where(rows.open_low, -np.inf, w[:, :c] @ rows.low.T - eta)
        inside = np.asarray((a > b).all(axis=1))
        value = self.link.log(a, np.where(inside[:, None], b, -np.inf)) @ rows.weight
        value -= 0.5 * (w[:, self.fixed :] ** 2).sum(axis=1)
        slopes = (w[:, c : self.fixed] ** 2)[:, ~rows.free].sum(axis=1)
        value -= 0.5 * slopes / self.slope_sd(s) ** 2
        if self.prior.shape:
            shape, rate = self.prior.shape
            inside &= w[:, 0] > 0
            value += (shape - 1.0) * np.log(np.maximum(w[:, 0], 1e-300)) - rate * w[:, 0]
        return np.where(inside, value, -np.inf)

    def luck_integrated(self, top: Top) -> float:
        """Height of a top with the luck integrated out, up to a constant that depends on s alone."""
        luck = top.curvature[self.fixed :, self.fixed :]
        return top.height - 0.5 * float(np.linalg.slogdet(luck)[1]) if len(luck) else top.height
