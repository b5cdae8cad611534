"""The same models as `latent` without any prior: plain greatest likelihood, for comparison with published fits.

Luck is integrated out by Laplace's approximation, or, for one group, by adaptive Gauss-Hermite quadrature (Pinheiro & Bates
1995, J. Comput. Graph. Statist. 4:12). Not for studies: separated rows have no greatest likelihood.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import minimize
from scipy.special import logsumexp

from tilestudy.analysis.mixed import Array
from tilestudy.analysis.wear.latent import Posterior, Prior, Rows
from tilestudy.analysis.wear.links import Link
from tilestudy.errors import NotEnoughError

SEPARATED = "These rows are separated, so the likelihood has no top. Use the fit with weak priors."


@dataclass(frozen=True)
class Likeliest:
    """Cut parameters, slopes, standard deviations of the groups, and the log-likelihood there."""

    cuts: Array
    slopes: Array
    sd: Array
    loglik: float


def likeliest(rows: Rows, link: Link, start: Array, nodes: int = 1) -> Likeliest:
    """Find the greatest likelihood.

    Parameters
    ----------
    rows : Rows
    link : Link
    start : (c,) float
        Cut parameters to start from.
    nodes : int
        Points of the quadrature; 1 is Laplace's approximation. More than 1 needs exactly one group.

    Raises
    ------
    NotEnoughError
        When the likelihood has no top.
    """
    bare = Posterior(rows, link, Prior(slope_sd=np.inf), start)
    c, fixed, Z = bare.c, bare.fixed, bare.Z
    points, weights = np.polynomial.hermite.hermgauss(nodes)
    log_weights = np.log(weights) + points**2

    def by_row(params: Array, luck: Array) -> tuple[Array, Array, Array]:
        eta = rows.X @ params[c:fixed] + luck
        a = np.where(rows.open_high, np.inf, rows.high @ params[:c] - eta)
        b = np.where(rows.open_low, -np.inf, rows.low @ params[:c] - eta)
        if not (a > b).all():
            raise FloatingPointError
        value, la, lb, laa, lab, lbb = link.pieces(a, b)
        return value, -(la + lb), laa + 2.0 * lab + lbb

    def minus(params: Array) -> float:
        try:
            return -loglik(params)
        except FloatingPointError:
            return 1e10

    def loglik(params: Array) -> float:
        G = Z * np.repeat(np.exp(np.clip(params[fixed:], -12.0, 4.0)), bare.widths)
        v = np.zeros(Z.shape[1])
        for _ in range(50):
            _, first, second = by_row(params, G @ v)
            H = np.eye(len(v)) - G.T @ (second[:, None] * G)
            step = np.linalg.solve(H, G.T @ first - v)
            v = v + step
            if not len(v) or float(np.abs(step).max()) < 1e-11:
                break
        if nodes == 1 or not len(v):
            value = by_row(params, G @ v)[0]
            return float(value.sum() - 0.5 * v @ v - 0.5 * np.linalg.slogdet(H)[1])
        spread = np.sqrt(2.0 / np.diag(H))
        at = v + points[:, None] * spread  # (nodes, levels)
        heights = np.array([Z.T @ by_row(params, G @ one)[0] for one in at]) - 0.5 * at**2
        return float((logsumexp(heights + log_weights[:, None], axis=0) + np.log(spread / np.sqrt(2.0 * np.pi))).sum())

    alone = Posterior(replace(rows, groups={}), link, Prior(slope_sd=np.inf), start)
    try:
        without = alone.top(np.zeros(0))
    except np.linalg.LinAlgError:
        raise NotEnoughError(SEPARATED) from None
    if np.linalg.eigvalsh(without.curvature)[0] < 1e-6:
        raise NotEnoughError(SEPARATED)
    even = np.eye(fixed + len(bare.names))  # steps of about equal weight in every direction
    even[:fixed, :fixed] = np.linalg.inv(without.factor).T
    centre = np.concatenate([without.w, np.zeros(len(bare.names))])
    found = minimize(lambda x: minus(centre + even @ x), np.zeros(len(even)), method="BFGS", options={"gtol": 1e-6})
    best = centre + even @ found.x
    return Likeliest(best[:c], best[c:fixed], np.exp(best[fixed:]), -float(found.fun))
