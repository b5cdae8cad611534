"""Laws of a hidden noise, as what an interval of it has for log-probability, with derivatives: logistic, and log-Weibull.

log(F(a) - F(b)) is concave in both ends for either law (Pratt 1981, J. Am. Statist. Assoc. 76:103). Ends may be infinite.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from tilestudy.analysis.mixed import Array

Pieces = tuple[Array, Array, Array, Array, Array, Array]
"""Log-probability of each row, and its derivatives by a, b, aa, ab and bb."""


def logit_pieces(a: Array, b: Array) -> Pieces:
    """log(F(a) - F(b)) of the logistic curve and its derivatives; ends may be infinite."""
    q = np.exp(np.maximum(b - a, -700.0))
    left = np.maximum(-np.expm1(np.maximum(b - a, -700.0)), 1e-300)
    r = q / left
    g = r / left
    Fa, Fb = expit(a), expit(b)
    fa, fb = Fa * (1.0 - Fa), Fb * (1.0 - Fb)
    value = -np.logaddexp(0.0, -a) - np.logaddexp(0.0, b) + np.log(left)
    return value, 1.0 - Fa + r, -Fb - r, -fa - g, g, -fb - g


def cloglog_pieces(a: Array, b: Array) -> Pieces:
    """log(F(a) - F(b)) for F(z) = 1 - exp(-exp(z)), the law of log time when time is Weibull, and its derivatives."""
    ea, eb = np.exp(np.minimum(a, 30.0)), np.exp(np.minimum(b, 30.0))
    m = np.maximum(ea - eb, 1e-300)
    q = np.exp(-m)
    left = np.maximum(-np.expm1(-m), 1e-300)
    r = q / left
    g = r / left
    return (
        np.log(left) - eb,
        r * ea,
        -eb - r * eb,
        r * ea - g * ea * ea,
        g * ea * eb,
        -eb - r * eb - g * eb * eb,
    )


def logit_log(a: Array, b: Array) -> Array:
    """log(F(a) - F(b)) of the logistic curve alone; ends may be infinite."""
    far = np.log(np.maximum(-np.expm1(np.maximum(b - a, -40.0)), 1e-300))
    return np.asarray(far - np.log1p(np.exp(np.minimum(-a, 700.0))) - np.log1p(np.exp(np.minimum(b, 700.0))))


def cloglog_log(a: Array, b: Array) -> Array:
    """log(F(a) - F(b)) for F(z) = 1 - exp(-exp(z)) alone; ends may be infinite."""
    ea, eb = np.exp(np.minimum(a, 30.0)), np.exp(np.minimum(b, 30.0))
    return np.asarray(np.log(np.maximum(-np.expm1(-np.maximum(ea - eb, 1e-300)), 1e-300)) - eb)


@dataclass(frozen=True)
class Link:
    """A law of the hidden noise: log-probability of an interval with its derivatives, and alone; its variance."""

    pieces: Callable[[Array, Array], Pieces]
    log: Callable[[Array, Array], Array]
    variance: float


LOGIT = Link(logit_pieces, logit_log, np.pi**2 / 3.0)
CLOGLOG = Link(cloglog_pieces, cloglog_log, np.pi**2 / 6.0)
