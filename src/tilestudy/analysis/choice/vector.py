"""Several responses of one tile fitted together, as one thing: L*, a*, b* with the luck of batches.

Y = X B + sum_k Z_k U_k + E. Rows of E are N(0, S), those of U_k are N(0, g_k S): luck of a batch (or session) moves the
responses in the same proportions as luck of a tile does, only more or less of it. Given the ratios g, everything is known
in closed form (matrix normal, inverse Wishart); the ratios are summed over on a grid of shares

    r_k = g_k / (1 + g_1 + ... ),  beforehand the likelier the more of the luck is the tiles' own (their sum r has the density
2 (1 - r), however many sources there are).

Columns named as `held` (bends and pairs of factors) have coefficients that are held back towards nought, as much as the
tiles allow: N(0, t S) with t summed over a grid as well. A variance between batches that is badly measured stays uncertain instead
of being set to its likeliest value, which for few batches is often nought, and a prediction for a NEW batch is as wide as it
has to be.

Sources: Box & Tiao (1973), Bayesian Inference in Statistical Analysis, ch. 8 (multivariate regression with a flat prior on
B); Harville (1974), Biometrika 61:383 (the restricted likelihood as the likelihood of g once B is integrated out).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from tilestudy.analysis.mixed import Array
from tilestudy.analysis.model import indicators
from tilestudy.errors import NotEnoughError

LARGEST_SHARE = 0.95
"""Largest share of the luck that batches (and sessions) together are taken to have."""

PRIOR_DF = 2.0
PRIOR_SD = 1.0
"""What is known beforehand of the noise: as much as two tiles would tell, of a standard deviation of one unit (CIELAB)."""

HELD = (0.1, 0.3, 1.0, 3.0, 10.0)
"""Plausible sizes of held coefficients, as multiples of the standard deviation of the tile scatter."""

_STEPS = {1: 16, 2: 8, 3: 6}


@dataclass(frozen=True)
class Draws:
    """Plausible truths: coefficients (n, p, q), root of the tile scatter (n, q, q), ratios of luck to it (n, k).

    `roots[i] @ roots[i].T` is the covariance of the tile scatter.
    """

    coefficients: Array
    roots: Array
    ratios: Array

    def means(self, rows: ArrayLike) -> Array:
        """Mean responses at coded rows (m, p): (n, m, q)."""
        return np.asarray(np.einsum("mp,npq->nmq", np.asarray(rows, dtype=float), self.coefficients))

    def luck(self, normal: Array) -> Array:
        """Turn standard normal numbers (Q, q) into the luck of Q new tiles, each from a new batch: (n, Q, q)."""
        size = np.sqrt(1.0 + self.ratios.sum(axis=1))
        return np.asarray(np.einsum("n,nab,Qb->nQa", size, self.roots, normal))


@dataclass(frozen=True)
class VectorFit:
    """What a joint fit knows.

    Attributes
    ----------
    shares : (G, k) float
        Grid of shares of the luck, a column for each group; `weights` (G,) are their probabilities.
    """

    shares: Array
    weights: Array
    _B: Array = field(repr=False)
    _roots: Array = field(repr=False)  # (G, p, p): root of the covariance of B at unit scatter
    _S: Array = field(repr=False)  # (G, q, q)
    _df: float = 0.0

    @property
    def coefficients(self) -> Array:
        """Coefficients (p, q), averaged over the grid."""
        return np.asarray(np.einsum("g,gpq->pq", self.weights, self._B))

    @property
    def scatter(self) -> Array:
        """Covariance (q, q) of tiles made alike in one batch, averaged over what is plausible."""
        below = max(self._df - self._S.shape[-1] - 1.0, 1.0)
        return np.asarray(np.einsum("g,gab->ab", self.weights, self._S) / below)

    def draws(self, rng: np.random.Generator, n: int) -> Draws:
        """Draw n plausible truths."""
        p, q = self._B.shape[1:]
        # systematic draws over the grid: no luck of the draw where none is needed
        at = np.searchsorted(np.cumsum(self.weights), (np.arange(n) + rng.random()) / n * (1 - 1e-12))
        at = rng.permutation(np.minimum(at, len(self.weights) - 1))
        inner = np.linalg.cholesky(np.linalg.inv(self._S))[at]
        bartlett = np.tril(rng.standard_normal((n, q, q)), -1)
        diagonal = np.sqrt(rng.chisquare(self._df - np.arange(q), (n, q)))
        bartlett[:, np.arange(q), np.arange(q)] = diagonal
        precision_root = inner @ bartlett  # Wishart = A A'
        # inverse Wishart = R R', R = A'^-1
        roots: Array = np.asarray(np.linalg.inv(np.swapaxes(precision_root, 1, 2)), dtype=float)
        B = self._B[at] + self._roots[at] @ rng.standard_normal((n, p, q)) @ np.swapaxes(roots, 1, 2)
        shares = self.shares[at]
        return Draws(B, roots, shares / (1.0 - shares.sum(axis=1, keepdims=True)))


def fit_vector(
    Y: ArrayLike, X: ArrayLike, groups: Mapping[str, ArrayLike] | None = None, held: Sequence[int] = ()
) -> VectorFit:
    """Fit several responses of the same tiles together.

    Parameters
    ----------
    Y : (n, q) float
        Responses, in units of which one is about the least noise there is (CIELAB).
    X : (n, p) float
        Model columns of full rank, the constant included.
    groups : mapping of str to (n,) labels
        Sources of luck: batch, session.
    held : sequence of int
        Columns of X whose coefficients are held back.

    Raises
    ------
    NotEnoughError
        When there are not more rows than columns, or the columns cannot be told apart.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> batch = np.repeat(np.arange(6), 4)
    >>> Y = 40 + rng.normal(0, 3, (6, 3))[batch] + rng.normal(0, 1, (24, 3))
    >>> fit = fit_vector(Y, np.ones((24, 1)), {"batch": batch})
    >>> fit.coefficients.shape, bool(fit.weights @ fit.shares[:, 0] > 0.5)
    ((1, 3), True)
    """
    Y, X = np.asarray(Y, dtype=float), np.asarray(X, dtype=float)
    n, p = X.shape
    q = Y.shape[1]
    r = n - p
    if r < 1:
        raise NotEnoughError(
            f"{n} tiles are not more than the {p} unknowns of the model, which leaves nothing to measure the noise with. "
            "Make more tiles or ask for fewer factors."
        )
    if np.linalg.matrix_rank(X) < p:
        raise NotEnoughError("Two columns of the model cannot be told apart in these tiles. Leave one of them out.")
    Z = [indicators(np.asarray(labels)) for labels in (groups or {}).values()]
    shares, sizes = _grid(len(Z), HELD if len(held) else (1.0,))
    shift = Y.mean(axis=0)
    constant = np.linalg.lstsq(X, np.ones(n), rcond=None)[0]
    centred = (
        float(np.abs(X @ constant - 1.0).max()) < 1e-9 and not np.abs(constant[list(held)]).max(initial=0.0) > 1e-9
    )
    y0 = Y - shift if centred else Y
    K = [z @ z.T for z in Z]
    own = 1.0 - shares.sum(axis=1)
    V = np.eye(n) + sum(
        ((g / own)[:, None, None] * k for g, k in zip(shares.T, K, strict=True)), np.zeros((len(shares), n, n))
    )
    half = np.linalg.cholesky(V)
    Xw = np.linalg.solve(half, np.broadcast_to(X, (len(shares), n, p)))
    Yw = np.linalg.solve(half, np.broadcast_to(y0, (len(shares), n, q)))
    back = np.zeros((len(shares), p))
    back[:, list(held)] = 1.0 / sizes[:, None] ** 2
    A = np.swapaxes(Xw, 1, 2) @ Xw + back[:, :, None] * np.eye(p)
    phi = np.linalg.inv(A)
    B = phi @ (np.swapaxes(Xw, 1, 2) @ Yw)
    rest = Yw - Xw @ B
    S = np.swapaxes(rest, 1, 2) @ rest + np.swapaxes(B, 1, 2) @ (back[:, :, None] * B)
    S = S + PRIOR_DF * PRIOR_SD**2 * np.eye(q)
    df = r + len(held) + PRIOR_DF + q - 1.0
    log = (
        np.log(own)
        - max(len(Z) - 1, 0) * np.log(np.maximum(1.0 - own, 1e-9))
        - q * np.log(np.diagonal(half, axis1=1, axis2=2)).sum(axis=1)
        - q * len(held) * np.log(sizes)
        - 0.5 * q * np.linalg.slogdet(A)[1]
        - 0.5 * df * np.linalg.slogdet(S)[1]
    )
    weights = np.exp(log - log.max())
    if centred:
        B = B + constant[:, None] * shift
    spread: Array = np.asarray(np.linalg.cholesky((phi + np.swapaxes(phi, 1, 2)) / 2), dtype=float)
    return VectorFit(shares, weights / weights.sum(), B, spread, S, df)


def _grid(k: int, sizes: Sequence[float]) -> tuple[Array, Array]:
    """Shares in the middle of equal cells of the simplex of k shares below `LARGEST_SHARE`, with each size: (G, k), (G,)."""
    shares = np.zeros((1, 0))
    if k:
        steps = _STEPS.get(k, 4)
        axes = np.stack(np.meshgrid(*[np.arange(steps)] * k, indexing="ij"), axis=-1).reshape(-1, k)
        shares = (axes[axes.sum(axis=1) < steps] + 1.0 / (k + 1)) / steps * LARGEST_SHARE
    return np.repeat(shares, len(sizes), axis=0), np.tile(np.asarray(sizes, dtype=float), len(shares))
