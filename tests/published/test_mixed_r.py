"""REML and Kenward-Roger against R on small studies in the tool's own shape: invented data, R's answers.

Made by generate/mixed_r.R with R 4.2.2, lme4 1.1-31 (Bates et al. 2015, J. Statist. Software 67:1) and pbkrtest 0.5.2
(Halekoh & Hojsgaard 2014, J. Statist. Software 59:9), each model fitted by three optimisers with tight tolerances.
"""

import numpy as np
import pytest

from tests.published.reading import rows
from tilestudy.analysis.mixed import fit_mixed

DATA, TOLD = rows("mixed_cases.csv"), rows("mixed_r.csv")
BREAKS_DOWN = ("df_of_two", "session_or_batch")
CASES = [name for name in dict.fromkeys(row["case"] for row in TOLD) if name not in BREAKS_DOWN]


def told(case, what):
    return [row for row in TOLD if row["case"] == case and row["what"] == what]


def columns(case):
    """The model matrix with R's treatment contrasts, and the groups that have a variance."""
    made = [row for row in DATA if row["case"] == case]
    number = {
        name: np.array([float(row[name]) for row in made]) for name in ("strength", "heat", "dip", "y") if made[0][name]
    }
    blocks: dict[str, np.ndarray] = {}

    def block(term):
        if term.startswith("factor("):
            values = number[term[7:-1]]
            return (values[:, None] == np.unique(values)[1:]).astype(float)
        if term.startswith("I("):
            return number[term[2 : term.index("^")]][:, None] ** 2
        return number[term][:, None]

    for term in told(case, "model")[0]["name"].split(" + "):
        first, crossed, second = term.partition(" * ") if " * " in term else term.partition(":")
        if crossed != ":":
            for one in filter(None, (first, second)):
                blocks[one] = block(one)
        if crossed:
            a, b = block(first), block(second)
            blocks[term] = (b[:, :, None] * a[:, None, :]).reshape(len(a), -1)
    X = np.hstack([np.ones((len(made), 1)), *blocks.values()])
    groups = [row["name"] for row in told(case, "variance") if row["name"] != "residual"]
    return number["y"], X, {name: [row[name] for row in made] for name in groups}


def beside(case, fit):
    """Each of R's tests beside ours."""
    eye = np.eye(len(fit.beta))
    for row in told(case, "test"):
        yield row, fit.test(eye[[int(column) for column in row["name"].split()]])


@pytest.mark.parametrize("case", CASES)
def test_variances_and_tests_match_lme4_and_pbkrtest(case):
    """Variances to a relative 1e-4, restricted log-likelihood to 1e-6, F and df to 1e-3, p to 1e-4."""
    y, X, groups = columns(case)
    fit = fit_mixed(y, X, groups)
    expected = {row["name"]: float(row["value"]) for row in told(case, "variance")}
    assert fit.variance == pytest.approx(expected, rel=1e-4, abs=1e-9)
    assert fit.loglik == pytest.approx(float(told(case, "loglik")[0]["value"]), abs=1e-6)
    for row, ours in beside(case, fit):
        assert ours.df == int(row["df"])
        assert ours.ddf == pytest.approx(float(row["ddf"]), abs=1e-3)
        assert pytest.approx(float(row["value"]), rel=1e-3) == ours.F
        assert ours.p == pytest.approx(float(row["p"]), abs=1e-4, rel=1e-3)


def test_a_joint_test_near_two_degrees_of_freedom_keeps_a_scale_of_one():
    """A stated deviation: R shrinks F to 0.08 of itself here (p 0.052), because F on 2 df has no mean to match."""
    y, X, groups = columns("df_of_two")
    strength, dip = beside("df_of_two", fit_mixed(y, X, groups))
    assert float(strength[0]["scaling"]) < 0.1
    assert strength[1].ddf == pytest.approx(float(strength[0]["ddf"]), abs=0.05)
    assert pytest.approx(float(strength[0]["value"]) / float(strength[0]["scaling"]), rel=1e-3) == strength[1].F
    assert strength[1].p == pytest.approx(0.0045, abs=3e-4)
    assert dip[1].p == pytest.approx(float(dip[0]["p"]), abs=1e-4)


def test_noise_that_cannot_be_told_apart_is_not_taken_as_known():
    """A stated deviation: one batch to spare, and it may as well be the session. R gives strength 6 df, ours fewer than 1."""
    y, X, groups = columns("session_or_batch")
    strength, heat, dip = beside("session_or_batch", fit_mixed(y, X, groups))
    for row, ours in (strength, heat):
        assert float(row["ddf"]) > 5
        assert ours.ddf < 1
        assert ours.p > 0.5
    assert dip[1].p == pytest.approx(float(dip[0]["p"]), abs=1e-4)
