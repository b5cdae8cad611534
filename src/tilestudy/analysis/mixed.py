"""A linear mixed model with independent random intercepts, fitted by REML, tested after Kenward & Roger.

The model is y = X beta + sum_k Z_k u_k + e with u_k ~ N(0, v_k) for each level of group k and e ~ N(0, v_residual).
Groups may be nested or crossed (session, batch, tile, scorer). The variances are found in `reml`; `kenward_roger`
makes tests and ranges of them, and says where they differ from R's.

Sources: Patterson & Thompson (1971), Biometrika 58:545 (REML); Kenward & Roger (1997), Biometrics 53:983.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from tilestudy.analysis.kenward_roger import FTest, Judge, judge
from tilestudy.analysis.reml import Array, RestrictedLikelihood, variance_covariance
from tilestudy.errors import NotEnoughError

__all__ = ["Array", "Estimate", "FTest", "MixedFit", "fit_mixed"]

_PERFECT = 1e-22  # residual over total sum of squares below which the fit is exact to the last digits


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
    fitted : (n,) float
        X beta: what the fixed effects predict for each row.
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
    _judge: Judge = field(repr=False)

    def test(self, L: ArrayLike) -> FTest:
        """Test L beta = 0 by Kenward & Roger's F.

        Parameters
        ----------
        L : (l, p) or (p,) float
            Rows may depend on each other; the rank is the numerator df.
        """
        rows = np.atleast_2d(np.asarray(L, dtype=float)) @ self._to_q
        norm = np.linalg.norm(rows)
        if norm == 0.0:
            raise ValueError("the hypothesis L beta = 0 has no row that is not nought")
        if len(rows) > 1:
            _, sizes, directions = np.linalg.svd(rows, full_matrices=False)
            # the span of L is what is tested, so an orthonormal basis of it (in the Q coordinates) serves as well
            lq = directions[: int((sizes > 1e-9 * sizes[0]).sum())]
        else:
            lq = rows / norm
        if self.perfect:
            return FTest(len(lq), float(self.residual_df), None, None)
        return self._judge.test(lq @ np.linalg.solve(self._to_q, self.beta), lq)

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
        se, ddf = self._judge.se(lq), self._judge.one_df(lq)
        half = float(stdtrit(ddf, 0.5 + level / 2.0)) * se
        return Estimate(value, se, ddf, value - half, value + half)


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
    Q, to_q, log_det_x = _orthonormal(y, X)
    ones_q = Q.T @ np.ones(n)
    centred = float(np.abs(1.0 - Q @ ones_q).max()) < 1e-9
    shift = float(y.mean()) if centred else 0.0
    y0 = y - shift
    y_q = Q.T @ y0
    My = y0 - Q @ y_q
    My -= Q @ (Q.T @ My)
    s = float(My @ My)

    names, blocks, set_aside = _blocks(groups or {}, Q, n)
    if s <= _PERFECT * float(y0 @ y0):
        beta = to_q @ (y_q + shift * ones_q)
        nothing = np.zeros((p, p))
        unseen = Judge(nothing, nothing, np.zeros((1, p, p)), np.zeros((1, 1)), r)
        variance = {**dict.fromkeys(names, 0.0), "residual": 0.0}
        return MixedFit(beta, nothing, nothing, variance, set_aside, np.inf, r, True, True, X @ beta, to_q, unseen)

    Z = np.hstack(blocks) if blocks else np.zeros((n, 0))
    MZ = Z - Q @ (Q.T @ Z)
    problem = RestrictedLikelihood(MZ.T @ MZ, MZ.T @ My, s, _left(MZ, My), r, _slices(blocks))
    gamma = problem.solve()
    state = problem.at(gamma)
    sigma2 = state.q / r

    # at residual variance 1: V = I + Zg Zg'
    root = np.repeat(np.sqrt(gamma), [block.shape[1] for block in blocks])
    Zg = Z[:, root > 0] * root[root > 0]
    inner = np.linalg.cholesky(np.eye(Zg.shape[1]) + Zg.T @ Zg)

    def v_inverse(block: Array) -> Array:
        if not Zg.shape[1]:
            return block
        half = np.linalg.solve(inner, Zg.T @ block)
        return np.asarray(block - Zg @ np.linalg.solve(inner.T, half))

    VQ = v_inverse(Q)
    H = np.stack([VQ, *(block @ (block.T @ VQ) for block in blocks)])
    VH = np.stack([v_inverse(h) for h in H])
    at_one = judge(Q, VQ, H, VH, variance_covariance(problem, state), r)
    judged = replace(
        at_one,
        phi=sigma2 * at_one.phi,
        phi_adjusted=sigma2 * at_one.phi_adjusted,
        slopes=sigma2 * at_one.slopes,
    )
    beta = to_q @ (at_one.phi @ (VQ.T @ y0) + shift * ones_q)
    variance = {name: float(sigma2 * ratio) for name, ratio in zip(names, gamma, strict=True)}
    variance["residual"] = 0.0 if problem.no_residual else float(sigma2)
    deviance = (
        r * np.log(2 * np.pi * sigma2)
        + 2.0 * float(np.log(np.diag(inner)).sum())
        - float(np.linalg.slogdet(at_one.phi)[1])
        + log_det_x
        + r
    )
    return MixedFit(
        beta=beta,
        phi=to_q @ judged.phi @ to_q.T,
        phi_adjusted=to_q @ judged.phi_adjusted @ to_q.T,
        variance=variance,
        set_aside=set_aside,
        loglik=-0.5 * float(deviance),
        residual_df=r,
        perfect=False,
        no_residual=problem.no_residual,
        fitted=X @ beta,
        _to_q=to_q,
        _judge=judged,
    )


def _orthonormal(y: Array, X: Array) -> tuple[Array, Array, float]:
    """Check what is to be fitted; return Q, the matrix that turns its coefficients into those of X, and log |X'X|."""
    n, p = X.shape
    if not (np.isfinite(y).all() and np.isfinite(X).all()):
        raise NotEnoughError(
            "A number that is not finite cannot be fitted. Leave the row out, or enter its value again."
        )
    if n <= p:
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
    log_det = 2.0 * float(np.log(np.abs(np.diag(R))).sum() + np.log(sizes).sum())
    return Q, np.linalg.inv(R) / sizes[:, None], log_det


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
