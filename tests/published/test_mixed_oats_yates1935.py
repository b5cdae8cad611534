"""The split plot of Yates (1935): REML, its log-likelihood, and Kenward-Roger tests against R.

Data: Yates (1935), J. Roy. Statist. Soc. Suppl. 2:181. Figures: R 4.2.2 with stats::aov, nlme 3.1-162, lme4 1.1-31,
lmerTest 3.1-3, pbkrtest 0.5.2; the table of variance is printed in Venables & Ripley (2002), Modern Applied Statistics
with S, 4th ed., section 10.2.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tilestudy.analysis.drivers import analyse
from tilestudy.analysis.findings import ResponseSpec
from tilestudy.analysis.mixed import fit_mixed
from tilestudy.study.records import Factor

DATA = Path(__file__).parent / "data" / "oats_yates1935.csv"
VARIETY = Factor("variety", ("Golden.rain", "Marvellous", "Victory"), spacing="steps", set_per="batch")
STEPS = Factor("nitrogen", (0.0, 0.2, 0.4, 0.6), "cwt", "cwt", "steps")


@pytest.fixture(scope="module")
def oats():
    return pd.read_csv(DATA, comment="#")


@pytest.fixture(scope="module")
def groups(oats):
    return {"block": oats["block"], "plot": oats["block"] + oats["variety"]}


@pytest.fixture(scope="module")
def findings(oats):
    frame = pd.DataFrame(
        {
            "tile": np.arange(72),
            "batch": oats["block"] + oats["variety"],
            "session": oats["block"],
            "variety": oats["variety"],
            "nitrogen": oats["nitrogen"].str[:3].astype(float),
            "y": oats["yield"].astype(float),
        }
    )
    return analyse(frame, [VARIETY, STEPS], ResponseSpec("yield", "yield"), batch_word="plot")


def treatment(codes):
    """R's default contrasts, first level left out; the restricted log-likelihood depends on them."""
    return pd.get_dummies(codes, dtype=float).to_numpy()[:, 1:]


def test_split_plot_table_matches_yates1935_as_in_venables_ripley2002(findings):
    """V: F 1.4853 on 2, 10; N: 37.686 on 3, 45; N x V: 0.3028 on 6, 45 (aov, Error(B/V))."""
    # R: aov(Y ~ N*V + Error(B/V), oats); pbkrtest gives the same df
    published = {
        "variety": (2, 10.0, 1.485340379436, 0.2723868567352),
        "nitrogen": (3, 45.0, 37.685647058824, 2.457709554562e-12),
        "variety x nitrogen": (6, 45.0, 0.3028235294118, 0.9321987589992),
    }
    for term, (df, ddf, F, p) in published.items():
        found = findings.term(term)
        assert found.df == df
        assert found.ddf == pytest.approx(ddf, abs=1e-3)
        assert pytest.approx(F, rel=1e-6) == found.F
        assert found.p == pytest.approx(p, rel=1e-3)


def test_variances_match_reml_by_hand_and_by_r(findings):
    """Block 214.48, whole plot 106.06, sub-plot 177.08 (lme4); by hand (3175.0556 - 601.3306)/12 and so on."""
    assert findings.variance == pytest.approx({"batch": 106.0618, "session": 214.4771, "tile": 177.0833}, rel=1e-4)


def test_restricted_log_likelihood_matches_lme4(oats, groups):
    """REML log-likelihood -264.5143 with R's treatment contrasts (lme4, nlme)."""
    V, N = treatment(oats["variety"]), treatment(oats["nitrogen"])
    X = np.column_stack([np.ones(72), V, N, V[:, [0]] * N, V[:, [1]] * N])
    assert fit_mixed(oats["yield"], X, groups).loglik == pytest.approx(-264.514253503445, abs=1e-4)


def test_linear_nitrogen_model_matches_pbkrtest(oats, groups):
    """yield ~ nitro + Variety + (1 | Block/Variety): estimates, standard errors, Kenward-Roger df, log-likelihood."""
    nitro = oats["nitrogen"].str[:3].astype(float)
    fit = fit_mixed(oats["yield"], np.column_stack([np.ones(72), nitro, treatment(oats["variety"])]), groups)
    # R: lmerTest summary(ddf = "Kenward-Roger"); lme4 stops its search at a relative 1e-6, hence the tolerance
    published = [
        (82.4, 8.058574329014, 10.109737560024),
        (73.666666666667, 6.781477517673, 53.0),
        (5.291666666666, 7.078918082643, 10.0),
        (-6.875, 7.078918082643, 10.0),
    ]
    for row, (value, se, ddf) in zip(np.eye(4), published, strict=True):
        found = fit.contrast(row)
        assert found.value == pytest.approx(value, rel=1e-9)
        assert found.se == pytest.approx(se, rel=1e-5)
        assert found.ddf == pytest.approx(ddf, abs=1e-3)
    assert fit.loglik == pytest.approx(-289.445893478562, abs=1e-4)
    assert fit.variance == pytest.approx({"block": 214.4767, "plot": 108.9437, "residual": 165.5584}, rel=1e-4)
