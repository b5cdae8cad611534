"""A linear mixed model with independent random intercepts, fitted by REML, tested after Kenward & Roger.

The model is y = X beta + sum_k Z_k u_k + e with u_k ~ N(0, v_k) for each level of group k and e ~ N(0, v_residual).
Groups may be nested or crossed (session, batch, tile, scorer). Everything is written in the ratios
gamma_k = v_k / v_residual, with v_residual profiled out, and in the small matrix Z'MZ (M projects off X), so that a
fit costs a few small factorisations. One ratio at a time is found by a one-dimensional search that looks at the
whole axis, which cannot fall; Newton steps then polish all of them together. A variance of nought is an ordinary
result, kept in the information matrix as R's pbkrtest does.

Sources: Patterson & Thompson (1971), Biometrika 58:545 (REML); Kenward & Roger (1997), Biometrics 53:983
(adjusted covariance, scale and degrees of freedom; formula symbols below are theirs).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc, stdtrit

from tilestudy.errors import NotEnoughError

Array = NDArray[np.float64]

RATIO_CAP = 1e10
"""Largest variance ratio (in units of 1 / mean eigenvalue) that is tried."""

NOISE_FLOOR = 1e-8
"""Least share of the scatter given to the residual, so that groups which explain all of it keep a variance to fit."""

_GRID = np.concatenate(([0.0], np.logspace(-4, 10, 43)))
_PERFECT = 1e-22  # residual over total sum of squares below which the fit is exact to the last digits


@dataclass(frozen=True)
class FTest:
    """An F test: numerator and denominator degrees of freedom, F (scaled), p. F and p are None when no noise was seen."""

    df: int
    ddf: float
    F: float | None
    p: float | None


@dataclass(frozen=True)
class Estimate:
    """A value with its range.

    `se`, `ddf`, `low` and `high` are None where the noise that matters was not measured. `beyond` names the factors
    whose setting lies outside what the tiles covered.
    """

    value: float
    se: float | None = None
    ddf: float | None = None
    low: float | None = None
    high: float | None = None
    beyond: tuple[str, ...] = ()


@dataclass(frozen=True)
class MixedFit:
    """What a fit found.

    Attributes
    ----------
    beta : (p,) float
        Fixed effects, in the units of y per column of X.
    phi, phi_adjusted : (p, p) float
        Covariance of `beta`: plain, and adjusted after Kenward & Roger.
    variance : mapping of str to float
        Variance of each group that could be estimated, and "residual"; units of y squared.
    set_aside : mapping of str to str
        Groups without a variance of their own here, and why: "one level", "one row each", "in the model" (the model
        columns already tell every level apart), or "same as NAME".
    loglik : float
        Restricted log-likelihood, with all constants; +inf for a perfect fit.
    residual_df : int
        Rows less columns.
    perfect : bool
        True when the columns explain y to the last digit: no noise was seen, so nothing can be tested.
    no_residual : bool
        True when the groups explain all that the columns leave: the residual variance is nought.
    """

    beta: Array
    phi: Array
    phi_adjusted: Array
    variance: Mapping[str, float]
    set_aside: Mapping[str, str]
    loglik: float
    residual_df: int
    perfect: bool
    no_residual: bool
    fitted: Array
    _to_q: Array = field(repr=False)
    _phi_q: Array = field(repr=False)
    _phi_a_q: Array = field(repr=False)
    _slopes: Array = field(repr=False)
    _w: Array = field(repr=False)

    def test(self, L: ArrayLike) -> FTest:
        """Test L beta = 0 by Kenward & Roger's F.

        Parameters
        ----------
        L : (l, p) or (p,) float
            Rows may depend on each other; the rank is the numerator df.
        """
        rows = np.atleast_2d(np.asarray(L, dtype=float))
        beta_q_rows = rows @ self._to_q
        norm = np.linalg.norm(beta_q_rows)
        if norm == 0.0:
            raise ValueError("the hypothesis L beta = 0 has no row that is not nought")
        if len(rows) > 1:
            _, sizes, directions = np.linalg.svd(beta_q_rows, full_matrices=False)
            rank = int((sizes > 1e-9 * sizes[0]).sum())
            # the span of L is what is tested, so an orthonormal basis of it (in the Q coordinates) serves as well
            lq = directions[:rank]
        else:
            lq = beta_q_rows / norm
        ell = len(lq)
        values = lq @ self._beta_q
        if self.perfect:
            return FTest(ell, float(self.residual_df), None, None)
        phi = lq @ self._phi_q @ lq.T
        phi_a = lq @ self._phi_a_q @ lq.T
        if ell == 1:
            ddf, scale = self._one_df(lq[0]), 1.0
            wald = float(values[0] ** 2 / phi_a[0, 0])
        else:
            ddf, scale = self._many_df(lq, phi)
            wald = float(values @ np.linalg.solve(phi_a, values))
        F = max(scale * wald / ell, 0.0)
        return FTest(ell, ddf, F, float(fdtrc(ell, ddf, F)))

    def contrast(self, row: ArrayLike, level: float = 0.95) -> Estimate:
        """Estimate row . beta with its Kenward-Roger interval.

        Parameters
        ----------
        row : (p,) float
        level : float
            Coverage of the interval.
        """
        row = np.asarray(row, dtype=float)
        value = float(row @ self.beta)
        lq = row @ self._to_q
        if self.perfect or not lq.any():
            return Estimate(value, 0.0, float(self.residual_df), value, value)
        se = float(np.sqrt(max(float(lq @ self._phi_a_q @ lq), 0.0)))
        ddf = self._one_df(lq)
        half = float(stdtrit(ddf, 0.5 + level / 2.0)) * se
        return Estimate(value, se, ddf, value - half, value + half)

    @property
    def _beta_q(self) -> Array:
        return np.asarray(np.linalg.solve(self._to_q, self.beta), dtype=float)

    def _one_df(self, lq: Array) -> float:
        """Denominator df of one contrast: 2 / A2 (Kenward & Roger's m reduces to this when l = 1)."""
        t = np.einsum("i,kij,j->k", lq, self._slopes, lq) / float(lq @ self._phi_q @ lq)
        a2 = float(t @ self._w @ t)
        return min(2.0 / a2 if a2 > 0 else np.inf, float(self.residual_df))

    def _many_df(self, lq: Array, phi: Array) -> tuple[float, float]:
        """Denominator df m and scale lambda of l > 1 contrasts together (Kenward & Roger 1997, section 3)."""
        ell = len(lq)
        inner = lq @ self._slopes @ lq.T  # L Phi P_i Phi L'
        shares = np.linalg.solve(phi, inner)
        traces = np.trace(shares, axis1=1, axis2=2)
        A1 = float(traces @ self._w @ traces)
        A2 = float(np.einsum("ij,iab,jba->", self._w, shares, shares))
        if 2.0 * ell / self.residual_df >= A2:
            return float(self.residual_df), 1.0
        # Two or fewer df leave F no mean, so its moments cannot be matched: 2 l / A2, which is m when all contrasts are
        # judged against one stratum, serves there and wherever the matched moments describe no F distribution.
        plain = 2.0 * ell / A2
        if plain <= 2.0 + 1e-6:
            return plain, 1.0
        B = (A1 + 6.0 * A2) / (2.0 * ell)
        g = ((ell + 1) * A1 - (ell + 4) * A2) / ((ell + 2) * A2)
        below = 3.0 * ell + 2.0 * (1.0 - g)
        c1, c2, c3 = g / below, (ell - g) / below, (ell + 2 - g) / below
        V0, V1, V2 = 1.0 + c1 * B, 1.0 - c2 * B, 1.0 - c3 * B
        shrink = 1.0 - A2 / ell
        ratio = 1.0 if abs(shrink) < 1e-9 and abs(V1) < 1e-9 else (shrink / V1 if abs(V1) > 1e-12 else np.inf)
        if abs(V2) < 1e-9:
            m = 4.0  # rho is infinite
        else:
            rho = ratio**2 * V0 / V2 / ell
            m = 4.0 + (ell + 2) / (ell * rho - 1.0) if np.isfinite(rho) and ell * rho != 1.0 else np.nan
        scale = 1.0 if abs(m - 2.0) < 1e-2 else m * shrink / (m - 2.0)
        if np.isfinite(m) and plain / 3.0 < m < 3.0 * plain and 0.2 < scale < 5.0:
            return float(m), float(scale)
        return plain, 1.0


def fit_mixed(y: ArrayLike, X: ArrayLike, groups: Mapping[str, ArrayLike] | None = None) -> MixedFit:
    """Fit y on X with a random intercept for each group, by REML.

    Parameters
    ----------
    y : (n,) float
        The response; finite.
    X : (n, p) float
        Model columns of full rank, the constant included.
    groups : mapping of str to (n,) codes, optional
        For each random intercept the level of each row (anything numpy can sort).

    Returns
    -------
    MixedFit

    Raises
    ------
    NotEnoughError
        When there are not more rows than columns, or the columns cannot be told apart.

    Examples
    --------
    >>> import numpy as np
    >>> fit = fit_mixed([1.0, 3.0, 2.0, 4.0, 7.0, 7.0], np.ones((6, 1)), {"batch": [1, 1, 2, 2, 3, 3]})
    >>> round(fit.variance["batch"], 4), round(fit.variance["residual"], 4)
    (6.3333, 1.3333)
    """
    y = np.asarray(y, dtype=float)
    X = np.asarray(X, dtype=float)
    n, p = X.shape
    r = n - p
    if not (np.isfinite(y).all() and np.isfinite(X).all()):
        raise NotEnoughError(
            "A number that is not finite cannot be fitted. Leave the row out, or enter its value again."
        )
    if r < 1:
        raise NotEnoughError(
            f"{n} rows are not more than the {p} unknowns of the model, which leaves nothing to measure the noise with. "
            "Make more tiles or ask for fewer factors."
        )
    sizes = np.sqrt((X * X).sum(axis=0))
    sizes[sizes == 0.0] = 1.0
    Q, R = np.linalg.qr(X / sizes)
    singular = np.linalg.svd(R, compute_uv=False)
    if singular[-1] < 1e-9 * singular[0]:
        raise NotEnoughError("Two columns of the model cannot be told apart in these rows. Leave one of them out.")
    to_q = np.linalg.inv(R) / sizes[:, None]  # beta = to_q @ beta_q

    ones = np.ones(n)
    ones_q = Q.T @ ones
    centred = float(np.abs(ones - Q @ ones_q).max()) < 1e-9
    shift = float(y.mean()) if centred else 0.0
    y0 = y - shift
    total = float(y0 @ y0)
    y_q = Q.T @ y0
    My = y0 - Q @ y_q
    My -= Q @ (Q.T @ My)
    s = float(My @ My)
    perfect = s <= _PERFECT * total or s == 0.0

    names, blocks, set_aside = _blocks(groups or {}, Q, n)
    if perfect:
        beta = to_q @ (y_q + shift * ones_q)
        nothing = np.zeros((p, p))
        variance = {**dict.fromkeys(names, 0.0), "residual": 0.0}
        return MixedFit(
            beta, nothing, nothing, variance, set_aside, np.inf, r, True, True, X @ beta,
            to_q, nothing, nothing, np.zeros((1, p, p)), np.zeros((1, 1)),
        )  # fmt: skip

    Z = np.hstack(blocks) if blocks else np.zeros((n, 0))
    MZ = Z - Q @ (Q.T @ Z)
    problem = _Problem(MZ.T @ MZ, MZ.T @ My, s, _left(MZ, My), r, _slices(blocks))
    gamma = problem.solve()
    state = problem.at(gamma)
    sigma2 = state.q / r

    # Kenward & Roger at residual variance 1; G_0 = I, G_k = Z_k Z_k'
    root = np.repeat(np.sqrt(gamma), [block.shape[1] for block in blocks])
    Zg = Z[:, root > 0] * root[root > 0]
    inner = np.linalg.cholesky(np.eye(Zg.shape[1]) + Zg.T @ Zg)

    def v_inverse(block: Array) -> Array:
        if not Zg.shape[1]:
            return block
        half = np.linalg.solve(inner, Zg.T @ block)
        return np.asarray(block - Zg @ np.linalg.solve(inner.T, half))

    VX = v_inverse(Q)
    A = Q.T @ VX
    phi = np.linalg.inv((A + A.T) / 2)
    beta_q = phi @ (VX.T @ y0)
    H = np.stack([VX, *(block @ (block.T @ VX) for block in blocks)])
    VH = np.stack([v_inverse(h) for h in H])
    P = -np.einsum("na,knb->kab", VX, H)
    Qm = np.einsum("kna,lnb->klab", H, VH)
    w = _information_inverse(problem, state)
    PP = np.einsum("kab,bc,lcd->klad", P, phi, P)
    bump = np.einsum("kl,klab->ab", w, Qm - PP)
    phi_a = phi + 2.0 * phi @ ((bump + bump.T) / 2) @ phi
    slopes = np.einsum("ab,kbc,cd->kad", phi, P, phi)

    if not np.all(np.linalg.eigvalsh(phi_a) > 0):
        phi_a = phi
    beta = to_q @ (beta_q + shift * ones_q)
    variance = {name: float(sigma2 * ratio) for name, ratio in zip(names, gamma, strict=True)}
    no_residual = problem.no_residual
    variance["residual"] = 0.0 if no_residual else float(sigma2)
    log_det_x = 2.0 * float(np.log(np.abs(np.diag(R))).sum() + np.log(sizes).sum())
    deviance = (
        r * np.log(2 * np.pi * sigma2)
        + 2.0 * float(np.log(np.diag(inner)).sum())
        + float(np.linalg.slogdet(A)[1])
        + log_det_x
        + r
    )
    return MixedFit(
        beta=beta,
        phi=sigma2 * to_q @ phi @ to_q.T,
        phi_adjusted=sigma2 * to_q @ phi_a @ to_q.T,
        variance=variance,
        set_aside=set_aside,
        loglik=-0.5 * float(deviance),
        residual_df=r,
        perfect=False,
        no_residual=no_residual,
        fitted=X @ beta,
        _to_q=to_q,
        _phi_q=sigma2 * phi,
        _phi_a_q=sigma2 * phi_a,
        _slopes=sigma2 * slopes,
        _w=w,
    )


def _blocks(groups: Mapping[str, ArrayLike], Q: Array, n: int) -> tuple[list[str], list[Array], dict[str, str]]:
    """Indicator matrices of the groups that have a variance to estimate, and why the others have none."""
    names: list[str] = []
    blocks: list[Array] = []
    codes_kept: list[NDArray[np.intp]] = []
    aside: dict[str, str] = {}
    for name, labels in groups.items():
        _, first, codes = np.unique(np.asarray(labels), return_index=True, return_inverse=True)
        order = np.argsort(np.argsort(first))
        codes = order[codes]  # numbered by first appearance, so equal partitions have equal codes
        count = len(first)
        twin = next((other for other, kept in zip(names, codes_kept, strict=True) if np.array_equal(kept, codes)), None)
        if count < 2:
            aside[name] = "one level"
        elif count == n:
            aside[name] = "one row each"
        elif twin is not None:
            aside[name] = f"same as {twin}"
        else:
            Z = np.zeros((n, count))
            Z[np.arange(n), codes] = 1.0
            if float(((Z - Q @ (Q.T @ Z)) ** 2).sum()) < 1e-9 * n:
                aside[name] = "in the model"
            else:
                names.append(name)
                blocks.append(Z)
                codes_kept.append(codes)
    return names, blocks, aside


def _slices(blocks: list[Array]) -> list[slice]:
    edges = np.cumsum([0, *(block.shape[1] for block in blocks)])
    return [slice(int(a), int(b)) for a, b in pairwise(edges)]


def _left(MZ: Array, My: Array) -> float:
    """Sum of squares of My that no combination of the groups explains."""
    if not MZ.shape[1]:
        return float(My @ My)
    rest = My - MZ @ np.linalg.lstsq(MZ, My, rcond=1e-9)[0]
    return float(rest @ rest)


@dataclass(frozen=True)
class _State:
    """The profile at one set of ratios: T = Z'PZ, u = Z'Py, q = y'Py, all at residual variance 1."""

    gamma: Array
    T: Array
    u: Array
    q: float
    deviance: float


class _Problem:
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

    def at(self, gamma: Array) -> _State:
        """Evaluate at these ratios."""
        root = np.repeat(np.sqrt(gamma), self.widths) if len(gamma) else np.zeros(0)
        on = root > 0
        if not on.any():
            return _State(gamma, self.W, self.w, self.s, self.r * float(np.log(self.s)))
        half = self.W[:, on] * root[on]
        S = np.eye(int(on.sum())) + half[on] * root[on][:, None]
        chol = np.linalg.cholesky(S)
        B = np.linalg.solve(chol, half.T)
        b = np.linalg.solve(chol, root[on] * self.w[on])
        T = self.W - B.T @ B
        u = self.w - B.T @ b
        q = max(self.s - float(b @ b), self.s_left)
        deviance = 2.0 * float(np.log(np.diag(chol)).sum()) + self.r * float(np.log(q))
        return _State(gamma, T, u, q, deviance)

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

    def _sweep(self, state: _State) -> _State:
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

    def _newton(self, state: _State) -> _State | None:
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


def _information_inverse(problem: _Problem, state: _State) -> Array:
    """Twice the inverse of tr(P G_i P G_j): the covariance W of the variance estimates, residual first.

    Variances about which the rows say nothing at all are taken as known; nearly singular directions are floored.
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
    # A combination of variances that the rows do not tell apart has, rightly, next to no degrees of freedom.
    floored = np.maximum(values[keep], 1e-8)
    inverse = 2.0 * (vectors[:, keep] / floored) @ vectors[:, keep].T / np.outer(size, size)
    return np.asarray(inverse)
