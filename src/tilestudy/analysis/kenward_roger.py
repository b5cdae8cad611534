"""Kenward & Roger's tests of fixed effects: covariance, scale and degrees of freedom that own up to few batches.

The usual covariance of the coefficients takes the variances as known. Kenward & Roger (1997), Biometrics 53:983, add
what not knowing them costs, and match F's first two moments, so that a factor set per batch is judged with the degrees
of freedom that the batches give. The symbols below are theirs. Everything is in the coordinates of Q, an orthonormal
basis of the model columns.

R's pbkrtest gives the same figures (tests/published/test_mixed_r.py), except where its formulas break down:

- Where the rows cannot tell how two groups share the noise, such as a single spare batch that may as well be the session,
  that share is next to unknown here; R's pseudo-inverse takes it as known, and may give 6 degrees of freedom from one batch.
- Degrees of freedom never exceed the residual's.
- Near 2 degrees of freedom F has no mean, so the matched scale of a joint test is nought over nought: R's falls to 0.08
  beside 2.03 degrees of freedom, which turns p = 0.005 into 0.05. Where scale or degrees of freedom are off
  by more than a factor of 2, the plain 2 l / A2 and a scale of 1 are used; these are exact when all contrasts are judged
  by one layer of noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc

from tilestudy.analysis.reml import Array

BELIEVABLE = 2.0
"""A joint test's scale, and its df over 2 l / A2, are believed up to this factor either way."""


@dataclass(frozen=True)
class FTest:
    """An F test: numerator and denominator degrees of freedom, F (scaled), p. F and p are None when no noise was seen."""

    df: int
    ddf: float
    F: float | None
    p: float | None


@dataclass(frozen=True)
class Judge:
    """What tests of the p coefficients need, in the coordinates of Q.

    Attributes
    ----------
    phi, phi_adjusted : (p, p) float
        Covariance of the coefficients: plain, and adjusted; units of y squared.
    slopes : (k + 1, p, p) float
        Phi P_i Phi for each variance, residual first, in the units of `phi`.
    w : (k + 1, k + 1) float
        Covariance of the variance estimates, for a residual variance of 1.
    residual_df : int
        Rows less columns.
    """

    phi: Array
    phi_adjusted: Array
    slopes: Array
    w: Array
    residual_df: int

    def test(self, values: Array, lq: Array) -> FTest:
        """Test that all of these independent contrasts are nought.

        Parameters
        ----------
        values : (l,) float
            Their estimates.
        lq : (l, p) float
            Their coefficients.
        """
        ell = len(lq)
        phi_a = lq @ self.phi_adjusted @ lq.T
        if ell == 1:
            ddf, scale = self.one_df(lq[0]), 1.0
            wald = float(values[0] ** 2 / phi_a[0, 0])
        else:
            ddf, scale = self.many_df(lq)
            wald = float(values @ np.linalg.solve(phi_a, values))
        F = max(scale * wald / ell, 0.0)
        return FTest(ell, ddf, F, float(fdtrc(ell, ddf, F)))

    def se(self, lq: Array) -> float:
        """Return the standard error of one contrast."""
        return float(np.sqrt(max(float(lq @ self.phi_adjusted @ lq), 0.0)))

    def one_df(self, lq: Array) -> float:
        """Denominator df of one contrast: 2 / A2 (Kenward & Roger's m reduces to this when l = 1)."""
        t = np.einsum("i,kij,j->k", lq, self.slopes, lq) / float(lq @ self.phi @ lq)
        A2 = float(t @ self.w @ t)
        return min(2.0 / A2 if A2 > 0 else np.inf, float(self.residual_df))

    def many_df(self, lq: Array) -> tuple[float, float]:
        """Denominator df m and scale lambda of l > 1 contrasts together (Kenward & Roger 1997, section 3)."""
        ell = len(lq)
        shares = np.linalg.solve(lq @ self.phi @ lq.T, lq @ self.slopes @ lq.T)
        traces = np.trace(shares, axis1=1, axis2=2)
        A1 = float(traces @ self.w @ traces)
        A2 = float(np.einsum("ij,iab,jba->", self.w, shares, shares))
        if 2.0 * ell / self.residual_df >= A2:
            return float(self.residual_df), 1.0
        plain = 2.0 * ell / A2
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
        believed = _within(m / plain) and _within(scale) and m <= self.residual_df
        return (float(m), float(scale)) if believed else (plain, 1.0)


def _within(times: float) -> bool:
    return 1.0 / BELIEVABLE <= times <= BELIEVABLE  # never so for nan


def judge(Q: Array, VQ: Array, H: Array, VH: Array, w: Array, residual_df: int) -> Judge:
    """Adjust the covariance of the coefficients for variances that were estimated; residual variance 1.

    Parameters
    ----------
    Q : (n, p) float
        Orthonormal basis of the model columns.
    VQ : (n, p) float
        V^-1 Q.
    H, VH : (k + 1, n, p) float
        G_i V^-1 Q for each variance, residual first (G_0 = I, G_k = Z_k Z_k'), and V^-1 of them.
    w : (k + 1, k + 1) float
        Covariance of the variance estimates.
    residual_df : int
    """
    A = Q.T @ VQ
    phi: Array = np.asarray(np.linalg.inv((A + A.T) / 2), dtype=float)
    P = -np.einsum("na,knb->kab", VQ, H)
    QQ = np.einsum("kna,lnb->klab", H, VH)
    PP = np.einsum("kab,bc,lcd->klad", P, phi, P)
    bump = np.einsum("kl,klab->ab", w, QQ - PP)
    phi_a = phi + 2.0 * phi @ ((bump + bump.T) / 2) @ phi
    if not np.all(np.linalg.eigvalsh(phi_a) > 0):
        phi_a = phi
    return Judge(phi, phi_a, np.einsum("ab,kbc,cd->kad", phi, P, phi), w, residual_df)
