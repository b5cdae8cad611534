"""The restricted likelihood of a model with independent random intercepts, and the variances that make it greatest.

Everything is written in the ratios gamma_k = v_k / v_residual, with v_residual profiled out, and in the small matrix
W = Z'MZ (Z: indicators of the groups' levels, M projects off X), so that a fit costs a few small factorisations. One
ratio at a time is found by a one-dimensional search that looks at the whole axis, which cannot fall; Newton steps then
polish all of them together. A variance of nought is an ordinary result.

Sources: Patterson & Thompson (1971), Biometrika 58:545 (REML); Harville (1977), J. Am. Statist. Assoc. 72:320 (its
derivatives).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

RATIO_CAP = 1e10
"""Largest variance ratio (in units of 1 / mean eigenvalue) that is tried."""

NOISE_FLOOR = 1e-8
"""Least share of the scatter given to the residual, so that groups which explain all of it keep a variance to fit."""

INFORMATION_FLOOR = 1e-8
"""Least eigenvalue of the scaled information about the variances: what it says nothing of has next to no df."""

_GRID = np.concatenate(([0.0], np.logspace(-4, 10, 43)))


@dataclass(frozen=True)
class State:
    """The likelihood at one set of ratios: T = Z'PZ, u = Z'Py, q = y'Py, all at residual variance 1."""

    gamma: Array
    T: Array
    u: Array
    q: float
    deviance: float


class RestrictedLikelihood:
    """The restricted likelihood as a function of the ratios, in terms of W = Z'MZ, w = Z'My and s = y'My."""

    def __init__(self, W: Array, w: Array, s: float, s_left: float, r: int, slices: list[slice]) -> None:
        self.W, self.w, self.r, self.slices = W, w, r, slices
        self.widths = [piece.stop - piece.start for piece in slices]
        self.caps = np.array([RATIO_CAP * width / max(float(np.trace(W[piece, piece])), 1e-12)
                              for piece, width in zip(slices, self.widths, strict=True)])  # fmt: skip
        spare = r - (
            int(np.linalg.matrix_rank(W, tol=1e-9 * max(float(np.trace(W)), 1.0), hermitian=True)) if len(w) else 0
        )
        self.no_residual = spare > 0 and s_left <= 1e-16 * s
        lift = max(0.0, NOISE_FLOOR * s * spare / r - s_left)
        self.s = s + lift
        self.s_left = max(s_left + lift, 1e-20 * s)  # what no group can explain

    def at(self, gamma: Array) -> State:
        """Evaluate at these ratios."""
        root = np.repeat(np.sqrt(gamma), self.widths) if len(gamma) else np.zeros(0)
        on = root > 0
        if not on.any():
            return State(gamma, self.W, self.w, self.s, self.r * float(np.log(self.s)))
        half = self.W[:, on] * root[on]
        S = np.eye(int(on.sum())) + half[on] * root[on][:, None]
        chol = np.linalg.cholesky(S)
        B = np.linalg.solve(chol, half.T)
        b = np.linalg.solve(chol, root[on] * self.w[on])
        T = self.W - B.T @ B
        u = self.w - B.T @ b
        q = max(self.s - float(b @ b), self.s_left)
        deviance = 2.0 * float(np.log(np.diag(chol)).sum()) + self.r * float(np.log(q))
        return State(gamma, T, u, q, deviance)

    def solve(self) -> Array:
        """Find the ratios of greatest restricted likelihood."""
        k = len(self.slices)
        gamma = np.zeros(k)
        if not k:
            return gamma
        state = self.at(gamma)
        for _ in range(2 if k > 1 else 1):
            state = self._sweep(state)
        if k == 1:
            return state.gamma
        for _ in range(100):
            moved = self._newton(state)
            if moved is None:
                moved = self._sweep(state)
            gain = state.deviance - moved.deviance
            step = float(np.max(np.abs(moved.gamma - state.gamma) / (1e-6 + np.abs(state.gamma))))
            if gain >= 0:
                state = moved
            if step < 1e-9 or gain < 1e-13:
                break
        # a last look along each axis: a better valley elsewhere is taken, and the Newton steps resumed
        swept = self._sweep(state)
        if swept.deviance < state.deviance - 1e-7:
            state = swept
            for _ in range(50):
                polished = self._newton(state)
                if polished is None or state.deviance - polished.deviance < 1e-13:
                    break
                state = polished
        return state.gamma

    def _sweep(self, state: State) -> State:
        for k, piece in enumerate(self.slices):
            without = state.gamma.copy()
            without[k] = 0.0
            base = self.at(without) if state.gamma[k] > 0 else state
            values, vectors = np.linalg.eigh(base.T[piece, piece])
            keep = values > 1e-10 * max(float(values[-1]), 1e-300)
            lam = values[keep]
            a = (vectors[:, keep].T @ base.u[piece]) ** 2 / lam
            left = max(base.q - float(a.sum()), self.s_left)
            best = _best_ratio(lam, a, left, self.r, float(state.gamma[k]), float(self.caps[k]))
            trial = without
            trial[k] = best
            moved = self.at(trial)
            if moved.deviance <= state.deviance:
                state = moved
        return state

    def _newton(self, state: State) -> State | None:
        """One projected Newton step with halving; None when it does not go down."""
        k = len(self.slices)
        uu = np.array([float(state.u[a] @ state.u[a]) for a in self.slices])
        grad = np.array([float(np.trace(state.T[a, a])) for a in self.slices]) - self.r * uu / state.q
        hess = np.empty((k, k))
        for i, a in enumerate(self.slices):
            for j, b in enumerate(self.slices):
                Tab = state.T[a, b]
                hess[i, j] = -float((Tab**2).sum()) + 2.0 * self.r * float(state.u[a] @ Tab @ state.u[b]) / state.q
        hess -= self.r * np.outer(uu, uu) / state.q**2
        free = (state.gamma > 0) | (grad < 0)
        if not free.any():
            return state
        block = hess[np.ix_(free, free)]
        size = np.sqrt(np.abs(np.diag(block)))
        if (size == 0).any():
            return None
        scaled = block / np.outer(size, size)
        if np.linalg.eigvalsh(scaled)[0] < 1e-10:
            return None
        step = np.zeros(k)
        step[free] = -np.linalg.solve(scaled, grad[free] / size) / size
        length = 1.0
        for _ in range(25):
            trial = np.clip(state.gamma + length * step, 0.0, self.caps)
            moved = self.at(trial)
            if moved.deviance <= state.deviance:
                return moved
            length /= 2.0
        return None


def variance_covariance(problem: RestrictedLikelihood, state: State) -> Array:
    """Covariance of the variance estimates, residual first: twice the inverse of tr(P G_i P G_j).

    Returns
    -------
    (k + 1, k + 1) float
        For a residual variance of 1. Variances about which the rows say nothing at all are taken as known. A
        combination of variances that the rows cannot tell apart keeps a floor of information, and so next to no
        degrees of freedom, where a pseudo-inverse (R's pbkrtest) would call it known exactly.
    """
    gamma, T, slices = state.gamma, state.T, problem.slices
    k = len(slices)
    info = np.empty((k + 1, k + 1))
    scale = np.repeat(gamma, problem.widths) if k else np.zeros(0)
    TT = T - (T * scale) @ T
    for i, a in enumerate(slices):
        info[0, i + 1] = info[i + 1, 0] = float(np.trace(TT[a, a]))
        for j, b in enumerate(slices):
            info[i + 1, j + 1] = float((T[a, b] ** 2).sum())
    info[0, 0] = (
        problem.r
        - sum(g * float(np.trace(T[a, a])) for g, a in zip(gamma, slices, strict=True))
        - sum(g * info[0, i + 1] for i, g in enumerate(gamma))
    )
    size = np.sqrt(np.clip(np.diag(info), 1e-300, None))
    live = size > 1e-9 * size.max()
    size = np.where(live, size, 1.0)
    unit = info / np.outer(size, size)
    unit[~live, :] = 0.0
    unit[:, ~live] = 0.0
    values, vectors = np.linalg.eigh(unit)
    keep = values > 1e-14 * values[-1] if not live.all() else np.ones(k + 1, dtype=bool)
    floored = np.maximum(values[keep], INFORMATION_FLOOR)
    inverse = 2.0 * (vectors[:, keep] / floored) @ vectors[:, keep].T / np.outer(size, size)
    return np.asarray(inverse)


def _best_ratio(lam: Array, a: Array, left: float, r: int, now: float, cap: float) -> float:
    """Minimise sum log(1 + g lam) + r log(left + sum a / (1 + g lam)) over g in [0, cap]: one ratio, the others held.

    The whole axis is looked at on a grid, then the slope is brought to nought by Newton steps kept in a bracket.
    """
    if not len(lam):
        return 0.0
    grid = np.minimum(_GRID / float(lam.mean()), cap)
    if now > 0:
        grid = np.sort(np.append(grid, now))
    one = 1.0 + np.outer(grid, lam)
    values = np.log(one).sum(axis=1) + r * np.log(left + (a / one).sum(axis=1))
    best = int(values.argmin())
    if values[best] > values[0] - 1e-10:
        best = 0

    def slopes(g: float) -> tuple[float, float]:
        d = 1.0 / (1.0 + g * lam)
        q = left + float((a * d).sum())
        ld = lam * d
        q1 = -float((a * ld * d).sum())
        return (
            float(ld.sum()) + r * q1 / q,
            -float((ld * ld).sum()) + r * (2.0 * float((a * ld * ld * d).sum()) / q - (q1 / q) ** 2),
        )

    if best == len(grid) - 1:
        return float(grid[best])
    low, high = float(grid[max(best - 1, 0)]), float(grid[best + 1])
    if best == 0 and slopes(0.0)[0] >= 0.0:
        return 0.0
    g = float(grid[best]) or high / 2
    for _ in range(80):
        first, second = slopes(g)
        if first > 0:
            high = g
        else:
            low = g
        step = -first / second if second > 0 else np.inf
        nxt = g + step
        if not low < nxt < high:
            nxt = (low + high) / 2
        if abs(nxt - g) <= 1e-13 * max(g, 1e-12):
            return nxt
        g = nxt
    return g
