"""Canonical analysis of a chemical reaction in two blocks: a peak.

Source: Lenth (2009), J. Statistical Software 32(7): the fitted coefficients, stationary point and eigenvalues printed there
(data of Myers, Montgomery & Anderson-Cook 2009, Table 7.6); recomputed with R 4.2.2's lm and eigen.
"""

import numpy as np
import pandas as pd
import pytest

from tests.published.reading import rows
from tilestudy.analysis.choice.surface import canonical, surface_of
from tilestudy.analysis.drivers import analyse
from tilestudy.analysis.findings import ResponseSpec
from tilestudy.study.records import Factor

RUNS = rows("reaction_lenth2009.csv")
STATIONARY = (0.3722954, 0.3343802)
EIGENVALUES = (-0.9233027, -1.3186949)


def test_the_canonical_analysis_is_the_published_one() -> None:
    """Stationary point at time 86.86, temperature 176.67; both eigenvalues below nought: a peak within the plan."""
    x = np.array([[float(run[name]) for name in ("x1", "x2")] for run in RUNS])
    block = np.array([run["Block"] == "B2" for run in RUNS], dtype=float)
    X = np.column_stack([np.ones(14), block, x, x**2, x[:, 0] * x[:, 1]])
    c = np.linalg.lstsq(X, np.array([float(run["Yield"]) for run in RUNS]), rcond=None)[0]
    assert c == pytest.approx((84.095427, -4.457530, 0.932541, 0.577712, -1.308555, -0.933442, 0.125), abs=1e-5)
    found = canonical(c[2:4], [[c[4], c[6] / 2], [c[6] / 2, c[5]]])
    assert found.stationary == pytest.approx(STATIONARY, abs=1e-5)
    assert 85 + 5 * found.stationary[0] == pytest.approx(86.86148, abs=1e-5)
    assert 175 + 5 * found.stationary[1] == pytest.approx(176.6719, abs=1e-4)
    assert found.eigenvalues == pytest.approx(EIGENVALUES, abs=1e-5)
    assert np.abs(found.directions) == pytest.approx(
        np.array([[0.1601375, 0.9870947], [0.9870947, 0.1601375]]), abs=1e-5
    )
    assert found.shape == "peak"


def test_our_mixed_model_finds_the_published_peak() -> None:
    """Block as a batch with luck of its own: the same surface, in our coding of -1 to 1 over the star points."""
    frame = pd.DataFrame(
        {
            "tile": [f"T{i}" for i in range(14)],
            "batch": [run["Block"] for run in RUNS],
            "session": 1,
            "time": [float(run["Time"]) for run in RUNS],
            "temperature": [float(run["Temp"]) for run in RUNS],
            "y": [float(run["Yield"]) for run in RUNS],
        }
    )
    factors = [Factor("time", (77.93, 85.0, 92.07), "min"), Factor("temperature", (167.93, 175.0, 182.07), "degC")]
    surface = surface_of(analyse(frame, factors, ResponseSpec("yield", "yield", "%")))
    assert surface is not None
    assert surface.axes.shape == "peak"
    assert surface.inside
    assert surface.settings(surface.axes.stationary) == pytest.approx(
        {"time": 86.86148, "temperature": 176.6719}, abs=1e-4
    )
    per_unit = (7.07 / 5) ** 2  # our coded unit is 1.414 of theirs
    assert surface.axes.eigenvalues == pytest.approx(np.array(EIGENVALUES) * per_unit, abs=2e-5)
    assert all(one.high is not None and one.high < 0 for one in surface.bending)
