"""The terms appraised are those that the analysis will fit, with the same noise to judge them by."""

from dataclasses import replace
from random import Random

import numpy as np
import pandas as pd
import pytest

from tests.design.test_layout import CLOCK
from tilestudy.analysis.mixed import fit_mixed
from tilestudy.analysis.model import build_model
from tilestudy.design.appraise import Noise, block_sd, fit_of
from tilestudy.design.layout import lay_out
from tilestudy.design.terms import model_of
from tilestudy.errors import NotEnoughError
from tilestudy.study.records import Factor, Plan, Study, study_as_planned


def some_plan(seed: int) -> tuple[Study, Plan]:
    """A grid of one to four factors, half of the time with tiles missing."""
    rng = Random(seed)
    factors = tuple(
        Factor(
            f"f{i}",
            tuple(float(n + 1) for n in range(rng.randint(2, 3))),
            set_per=rng.choice(("tile", "tile", "batch", "session")),
            spacing=rng.choice(("linear", "geometric", "steps")),
        )
        for i in range(rng.randint(1, 4))
    )
    study = Study("s", "", "other", factors, batches_each=rng.randint(1, 3))
    plan = lay_out(study, CLOCK, seed)
    if rng.random() < 0.5:
        plan = replace(plan, tiles=tuple(tile for tile in plan.tiles if rng.random() < 0.7))
    return study_as_planned(study, plan), plan


@pytest.mark.parametrize("seed", range(40))
def test_the_terms_are_those_of_the_analysis(seed: int) -> None:
    """Same terms in the same strata and sizes, same ones left out, same units to spare."""
    study, plan = some_plan(seed)
    frame = pd.DataFrame([{"batch": t.batch, "session": t.session, **t.settings} for t in plan.tiles])
    try:
        theirs = build_model(frame, [factor for factor in study.factors if len(factor.levels) > 1])
    except NotEnoughError:
        return  # the analysis refuses such tiles outright
    ours = model_of(study, plan)
    assert [(t.name, t.set_per, t.columns) for t in ours.terms] == [
        (t.name, t.set_per, t.columns) for t in theirs.terms
    ]
    assert {one.name for one in ours.left_out if one.why != "constant"} == {one.term for one in theirs.left_out}
    assert ours.spare == theirs.spare
    np.testing.assert_allclose(ours.X, theirs.matrix(frame), atol=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_degrees_of_freedom_are_those_of_kenward_and_roger_at_the_variances_estimated(seed: int) -> None:
    """For one contrast Kenward & Roger's (1997) are Satterthwaite's with the expected information: our REML fit agrees."""
    rng = np.random.default_rng(seed)
    factors = (Factor("a", (1.0, 2.0, 3.0), set_per="batch"), Factor("b", (1.0, 2.0)), Factor("c", (1.0, 2.0, 3.0)))
    study = Study("s", "", "other", factors, batches_each=3)
    plan = lay_out(study, CLOCK, seed)
    plan = replace(plan, tiles=tuple(tile for tile in plan.tiles if rng.random() < 0.6))
    model = model_of(study_as_planned(study, plan), plan)
    y = model.batch @ rng.normal(0, 3, model.batch.shape[1]) + rng.normal(0, 2, len(plan.tiles))
    fit = fit_mixed(y, model.X, {"batch": model.batch.argmax(axis=1)})
    if fit.variance["batch"] <= 0:
        return
    noise = Noise(fit.variance["batch"] ** 0.5, fit.variance["residual"] ** 0.5, "", "")
    ours = fit_of(model, noise, block_sd(model, noise))
    for row in np.eye(model.X.shape[1])[1:]:
        assert ours.ddf(row) == pytest.approx(fit.test(row).ddf, rel=1e-4)
    assert ours.covariance == pytest.approx(fit.phi, rel=1e-6, abs=1e-9)
