"""The furnace-heat x coating split plot: the published table, REML, Kenward-Roger and the trap.

Data: Box, Hunter & Hunter (2005), Statistics for Experimenters, 2nd ed., Table 9.1. Figures: Table 9.2 there, recomputed
with R 4.2.2: aov(Error(heat)), lme4 1.1-31, pbkrtest 0.5.2.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tilestudy.analysis.drivers import analyse
from tilestudy.analysis.findings import ResponseSpec
from tilestudy.analysis.mixed import fit_mixed
from tilestudy.study.records import Factor
from tilestudy.study.units import show

DATA = Path(__file__).parent / "data" / "heat_coating_bhh2005.csv"
TEMPERATURE = Factor("temperature", (360.0, 370.0, 380.0), "degC", "degC", "steps", "batch")
COATING = Factor("coating", ("C1", "C2", "C3", "C4"), spacing="steps")


@pytest.fixture(scope="module")
def bars():
    return pd.read_csv(DATA, comment="#")


@pytest.fixture(scope="module")
def findings(bars):
    frame = pd.DataFrame(
        {
            "tile": np.arange(24),
            "batch": bars["heat"],
            "session": 1,
            "temperature": bars["temperature_c"].astype(float),
            "coating": bars["coating"],
            "y": bars["resistance"].astype(float),
        }
    )
    spec = ResponseSpec("resistance", "resistance")
    return analyse(frame, [TEMPERATURE, COATING], spec, show=show, batch_word="heat")


def test_split_plot_table_matches_bhh2005_table_9_2(findings):
    """Temperature 2.75 on 2, 3; coating 11.48 on 3, 9; interaction 4.38 on 6, 9."""
    published = {
        "temperature": ("batch", 2, 3.0, 2.7548, 0.209321),
        "coating": ("tile", 3, 9.0, 11.4798, 0.001977),
        "temperature x coating": ("tile", 6, 9.0, 4.3757, 0.024066),
    }
    for term, (set_per, df, ddf, F, p) in published.items():
        found = findings.term(term)
        assert (found.set_per, found.df) == (set_per, df)
        assert found.ddf == pytest.approx(ddf, abs=1e-6)
        assert pytest.approx(F, abs=1e-4) == found.F
        assert found.p == pytest.approx(p, abs=1e-4)


def test_variances_match_lme4(findings):
    """Heats 1172.17, bars 124.54."""
    assert findings.variance == pytest.approx({"batch": 1172.1667, "tile": 124.54167}, rel=1e-6)


def test_it_warns_of_the_trap(findings):
    """All 24 bars taken as independent would give temperature p = 0.0026 (12 residual df); the heats say 0.21."""
    assert findings.term("temperature").naive_p == pytest.approx(0.0026, abs=5e-5)
    assert findings.sentences[3:5] == (
        "Whether temperature matters for resistance is not settled: from 360 to 380 °C any change between −31 and +190 fits "
        "these tiles.",
        "Counting the 24 tiles as independent would claim p = 0.003 for temperature; the heats say 0.21 "
        "(p: how often chance alone would show as much).",
    )


def columns(bars, interaction):
    t = ((bars["temperature_c"] - 370) / 10).to_numpy(dtype=float)[:, None]
    C = pd.get_dummies(bars["coating"], dtype=float).to_numpy()[:, 1:]
    return np.hstack([np.ones((24, 1)), t, C, *([t * C] if interaction else [])])


def test_linear_temperature_model_matches_pbkrtest(bars):
    """A contrast drawing on heats and bars has 5.467 df by Kenward & Roger."""
    fit = fit_mixed(bars["resistance"], columns(bars, True), {"heat": bars["heat"]})
    slope, coating = fit.contrast(np.eye(8)[1]), fit.contrast(np.eye(8)[4])
    # R: lmer(resistance ~ t * coating + (1 | heat)), pbkrtest
    assert (slope.value, slope.se) == pytest.approx((40.75, 16.836182559), rel=1e-6)
    assert slope.ddf == pytest.approx(5.467056602, abs=1e-4)
    assert fit.test(np.eye(8)[1]).p == pytest.approx(0.0558364448, rel=1e-5)
    assert (coating.value, coating.se, coating.ddf) == pytest.approx((29.3333333, 8.664162223, 12.0), rel=1e-6)
    assert fit.test(np.eye(8)[4]).p == pytest.approx(0.0054119032, rel=1e-4)


def test_additive_linear_temperature_model_matches_pbkrtest(bars):
    """The additive model: slope on 4 df, coating on 15, variances 891.7 and 292.7."""
    fit = fit_mixed(bars["resistance"], columns(bars, False), {"heat": bars["heat"]})
    slope, coating = fit.contrast(np.eye(5)[1]), fit.contrast(np.eye(5)[4])
    assert slope.value / slope.se == pytest.approx(2.5713661, rel=1e-6)
    assert slope.ddf == pytest.approx(4.0, abs=1e-6)
    assert fit.test(np.eye(5)[1]).p == pytest.approx(0.0618893358, rel=1e-5)
    assert (coating.value, coating.se, coating.ddf) == pytest.approx((29.3333333, 9.877725, 15.0), rel=1e-6)
    assert fit.variance == pytest.approx({"heat": 891.748706, "residual": 292.708333}, rel=1e-6)
