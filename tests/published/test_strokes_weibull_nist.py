"""Censored lifetimes: the Weibull fit of NIST's handbook, and a factor of Miller (1981), without any prior.

Exact times are given as intervals of width 1e-4, which adds 10 log(1e-4) to the log-likelihood of ten densities.
"""

import numpy as np
import pytest

from tilestudy.analysis.wear.censored import fit_strokes, stroke_rows
from tilestudy.analysis.wear.likelihood import likeliest
from tilestudy.analysis.wear.links import CLOGLOG

WIDTH = 1e-4
# NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.2.1 and 8.4.1.3: 20 units, stopped at 500 h
NIST = np.array([54.0, 187, 216, 240, 244, 335, 361, 373, 375, 386])
# Miller (1981), Survival Analysis, p. 49: weeks, and whether the end was seen; R: survival::aml
MAINTAINED = ([9, 13, 13, 18, 23, 28, 31, 34, 45, 48, 161], [1, 1, 0, 1, 1, 0, 1, 1, 0, 1, 0])
NOT_MAINTAINED = ([5, 5, 8, 8, 12, 16, 23, 27, 30, 33, 43, 45], [1, 1, 1, 1, 1, 0, 1, 1, 1, 1, 1, 1])


def intervals(times, seen):
    times, seen = np.asarray(times, dtype=float), np.asarray(seen, dtype=bool)
    return np.where(seen, times - WIDTH / 2, times), np.where(seen, times + WIDTH / 2, np.inf)


def test_right_censored_weibull_matches_nist_8_4_1_3():
    """Shape 1.7207, scale 606.5280; log-likelihood -75.13462 (R survreg)."""
    low, high = intervals([*NIST, *[500.0] * 10], [1] * 10 + [0] * 10)
    fit = likeliest(stroke_rows(low, high, np.ones((20, 1)), {}), CLOGLOG, np.ones(1))
    assert fit.cuts[0] == pytest.approx(1.7207, abs=2e-4)
    assert np.exp(fit.slopes[0] / fit.cuts[0]) == pytest.approx(606.5280, rel=1e-5)
    assert fit.loglik - 10 * np.log(WIDTH) == pytest.approx(-75.134618, abs=1e-5)


def test_a_factor_shortens_lifetimes_as_in_miller1981():
    """log time 4.1091 - 0.9293 where not maintained, scale 0.7910 (R survreg, dist = "weibull")."""
    low, high = intervals(MAINTAINED[0] + NOT_MAINTAINED[0], MAINTAINED[1] + NOT_MAINTAINED[1])
    X = np.column_stack([np.ones(23), np.arange(23) >= 11]).astype(float)
    fit = likeliest(stroke_rows(low, high, X, {}), CLOGLOG, np.ones(1))
    assert 1 / fit.cuts[0] == pytest.approx(0.790954, abs=1e-4)
    assert fit.slopes / fit.cuts[0] == pytest.approx([4.109055, -0.929342], abs=1e-4)


def test_weak_priors_leave_the_published_answer_where_it_is():
    """Shape and scale within a tenth of a standard error (0.50 and 125, from R) of NIST's."""
    low, high = intervals([*NIST, *[500.0] * 10], [1] * 10 + [0] * 10)
    fit = fit_strokes(low, high, np.ones((20, 1)))
    assert fit.shape == pytest.approx(1.7207, abs=0.05)
    assert np.exp(fit.latent.slopes[0] / fit.shape) == pytest.approx(606.5, abs=12.5)
