"""Several responses fitted together: what the closed form must agree with."""

import numpy as np
import pytest
from scipy import stats

from tilestudy.analysis.choice.vector import PRIOR_DF, PRIOR_SD, fit_vector
from tilestudy.analysis.mixed import fit_mixed
from tilestudy.errors import NotEnoughError


def test_without_batches_a_new_tile_follows_students_t() -> None:
    """One response, no batches: the prediction is the textbook t, checked against scipy.stats.t."""
    rng = np.random.default_rng(3)
    X = np.column_stack([np.ones(12), np.linspace(-1, 1, 12)])
    y = 40 + 5 * X[:, 1] + rng.normal(0, 2, 12)
    fit = fit_vector(y[:, None], X)
    beta, rss, *_ = np.linalg.lstsq(X, y, rcond=None)
    assert np.allclose(fit.coefficients[:, 0], beta)
    row, df = np.array([1.0, 0.5]), 10 + PRIOR_DF
    spread = np.sqrt((rss[0] + PRIOR_DF * PRIOR_SD**2) / df * (1 + row @ np.linalg.inv(X.T @ X) @ row))
    draws = fit.draws(rng, 40_000)
    new = draws.means([row])[:, 0, 0] + draws.luck(np.ones((1, 1)))[:, 0, 0] * rng.standard_normal(40_000)
    told = np.quantile(new, [0.05, 0.5, 0.95])
    assert np.allclose(told, row @ beta + spread * stats.t(df).ppf([0.05, 0.5, 0.95]), atol=0.08)


def test_luck_of_many_batches_is_found_as_reml_finds_it() -> None:
    """With forty batches the plausible share of batch luck lies around the REML estimate, channels coming out alike."""
    rng = np.random.default_rng(5)
    batch = np.repeat(np.arange(40), 5)
    Y = 50 + rng.normal(0, 3, (40, 2))[batch] + rng.normal(0, 2, (200, 2))
    fit = fit_vector(Y, np.ones((200, 1)), {"batch": batch})
    reml = [fit_mixed(Y[:, j], np.ones((200, 1)), {"batch": batch}).variance for j in range(2)]
    share = np.mean([v["batch"] / (v["batch"] + v["residual"]) for v in reml])
    assert float(fit.weights @ fit.shares[:, 0]) == pytest.approx(share, abs=0.05)
    assert np.diag(fit.scatter) == pytest.approx([v["residual"] for v in reml], rel=0.1)


def test_units_and_order_of_rows_do_not_matter() -> None:
    """Shifted values shift predictions; rows in another order change nothing."""
    rng = np.random.default_rng(7)
    batch = np.repeat(np.arange(6), 4)
    X = np.column_stack([np.ones(24), rng.normal(size=24), rng.normal(size=24)])
    Y = rng.normal(size=(24, 3)) * 4
    fit = fit_vector(Y, X, {"batch": batch}, held=[2])
    order = rng.permutation(24)
    again = fit_vector(Y[order] + 1e4, X[order], {"batch": batch[order]}, held=[2])
    assert np.allclose(again.coefficients - fit.coefficients, [[1e4] * 3, [0] * 3, [0] * 3], atol=1e-6)
    assert np.allclose(again.weights, fit.weights, atol=1e-9)


def test_what_one_batch_cannot_tell_stays_as_uncertain_as_before() -> None:
    """All tiles from one batch: the share of batch luck keeps its prior, 2 (1 - r), whatever the values."""
    rng = np.random.default_rng(9)
    fit = fit_vector(rng.normal(size=(12, 3)), np.ones((12, 1)), {"batch": np.zeros(12)})
    own = 1 - fit.shares[:, 0]
    assert np.allclose(fit.weights, own / own.sum())


def test_too_few_tiles_are_refused_plainly() -> None:
    """As many unknowns as tiles leave no noise to measure."""
    with pytest.raises(NotEnoughError, match="leaves nothing to measure the noise with"):
        fit_vector(np.ones((2, 3)), np.eye(2))
