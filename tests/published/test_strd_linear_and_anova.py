"""NIST Statistical Reference Datasets: the fit without random effects gives the certified digits.

Source: NIST/ITL StRD, analysis of variance and linear regression (Norris; Wampler1 after Wampler 1970). Certified values
as given there; tolerances follow from the difficulty of each set.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tilestudy.analysis.mixed import fit_mixed
from tilestudy.analysis.model import sum_to_zero

DATA = Path(__file__).parent / "data"

# NIST StRD certified values: F, residual standard deviation, relative tolerance
ANOVA = {
    "SiRstv": (1.18046237440255, 0.104076068334656, 1e-10),
    "AtmWtAg": (15.9467335677930, 1.51048314446410e-05, 1e-7),  # 9 constant leading digits
    "SmLs01": (21.0, 0.1, 1e-12),
    "SmLs04": (21.0, 0.1, 1e-8),  # 7 constant leading digits
}


@pytest.mark.parametrize("name", ANOVA)
def test_one_way_analysis_matches_strd(name):
    """F and residual standard deviation of the one-way sets."""
    F, sd, tolerance = ANOVA[name]
    data = pd.read_csv(DATA / "strd_anova.csv", comment="#").query("dataset == @name")
    codes, levels = data["treatment"].factorize()
    k = len(levels)
    fit = fit_mixed(data["y"], np.column_stack([np.ones(len(data)), sum_to_zero(k)[codes]]))
    found = fit.test(np.eye(k)[1:])
    assert (found.df, found.ddf) == (k - 1, pytest.approx(len(data) - k))
    assert pytest.approx(F, rel=tolerance) == found.F
    assert np.sqrt(fit.variance["residual"]) == pytest.approx(sd, rel=tolerance)


@pytest.mark.parametrize("name", ["SiRstv", "SmLs01"])
def test_one_way_random_effect_matches_the_mean_squares_of_strd(name):
    """With the treatments random and balanced, REML's variance is (MS between - MS within) / rows each, or nought."""
    # NIST StRD certified mean squares: between, within, rows each
    between, within, each = {"SiRstv": (0.0127865654, 0.010831828, 5), "SmLs01": (0.21, 0.01, 21)}[name]
    data = pd.read_csv(DATA / "strd_anova.csv", comment="#").query("dataset == @name")
    fit = fit_mixed(data["y"], np.ones((len(data), 1)), {"treatment": data["treatment"]})
    assert fit.variance["treatment"] == pytest.approx((between - within) / each, rel=1e-6)
    assert fit.variance["residual"] == pytest.approx(within, rel=1e-6)


def test_norris_matches_strd():
    """Straight line: both coefficients, their standard errors and the residual standard deviation, ten digits."""
    data = pd.read_csv(DATA / "strd_norris.csv", comment="#")
    fit = fit_mixed(data["y"], np.column_stack([np.ones(36), data["x"]]))
    assert fit.beta == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-10)
    assert np.sqrt(np.diag(fit.phi)) == pytest.approx([0.232818234301152, 0.429796848199937e-03], rel=1e-10)
    assert np.sqrt(fit.variance["residual"]) == pytest.approx(0.884796396144373, rel=1e-10)
    assert pytest.approx(5436385.54079785, rel=1e-9) == fit.test([0.0, 1.0]).F


def test_wampler1_matches_strd_and_is_called_a_perfect_fit():
    """Degree 5 through 21 exact points: every coefficient 1, no noise, so nothing to test with."""
    x = np.arange(21.0)
    X = np.column_stack([x**k for k in range(6)])
    fit = fit_mixed(X.sum(axis=1), X)
    assert fit.beta == pytest.approx(np.ones(6), abs=1e-7)
    assert fit.perfect
    assert fit.variance == {"residual": 0.0}
    assert (fit.test(np.eye(6)[1:]).F, fit.test(np.eye(6)[1:]).p) == (None, None)
