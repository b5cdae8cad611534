"""The mixed model against a plain second implementation with n x n matrices, and its own laws."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from tests.analysis.strategies import mixed_data

from tilestudy.analysis.mixed import fit_mixed
from tilestudy.errors import NotEnoughError


def plain(y, X, groups, variance):
    """Restricted log-likelihood and Kenward-Roger by definition, at these variances (Kenward & Roger 1997)."""
    names = [name for name in variance if name != "residual"]
    G = [np.eye(len(y))]
    for name in names:
        codes = np.asarray(groups[name])
        G.append((codes[:, None] == codes[None, :]).astype(float))
    V = sum(v * g for v, g in zip([variance["residual"], *(variance[n] for n in names)], G, strict=True))
    Vi = np.linalg.inv(V)
    phi = np.linalg.inv(X.T @ Vi @ X)
    beta = phi @ X.T @ Vi @ y
    r = y - X @ beta
    loglik = -0.5 * (
        np.linalg.slogdet(V)[1]
        + np.linalg.slogdet(X.T @ Vi @ X)[1]
        + r @ Vi @ r
        + (len(y) - X.shape[1]) * np.log(2 * np.pi)
    )
    P = [-X.T @ Vi @ g @ Vi @ X for g in G]
    Q = [[X.T @ Vi @ g @ Vi @ h @ Vi @ X for h in G] for g in G]
    info = np.array(
        [
            [
                0.5 * (np.trace(Vi @ g @ Vi @ h) - 2 * np.trace(phi @ Q[i][j]) + np.trace(phi @ P[i] @ phi @ P[j]))
                for j, h in enumerate(G)
            ]
            for i, g in enumerate(G)
        ]
    )
    W = np.linalg.inv(info)
    bump = sum(W[i, j] * (Q[i][j] - P[i] @ phi @ P[j]) for i in range(len(G)) for j in range(len(G)))
    return loglik, beta, phi, phi + 2 * phi @ bump @ phi, P, W, np.linalg.cond(info)


@settings(deadline=None, max_examples=40)
@given(mixed_data())
def test_it_agrees_with_the_definition(data):
    """Estimates, both covariances, log-likelihood and the F test equal those from n x n matrices."""
    y, X, groups = data
    assume(np.linalg.matrix_rank(X) == X.shape[1])
    fit = fit_mixed(y, X, groups)
    assume(fit.variance["residual"] > 1e-5 * y.var())  # else V cannot be inverted plainly
    loglik, beta, phi, phi_a, P, W, cond = plain(y, X, groups, fit.variance)
    assume(cond < 1e8)
    assert fit.loglik == pytest.approx(loglik, abs=1e-6)
    assert fit.beta == pytest.approx(beta, rel=1e-6, abs=1e-8)
    assert fit.phi == pytest.approx(phi, rel=1e-6, abs=1e-9)
    assert fit.phi_adjusted == pytest.approx(phi_a, rel=1e-5, abs=1e-9)
    # one degree of freedom: m = 2 / A2 (Kenward & Roger 1997, l = 1)
    row = np.zeros(X.shape[1])
    row[1] = 1.0
    t = np.array([row @ phi @ p @ phi @ row for p in P]) / (row @ phi @ row)
    assert fit.test(row).ddf == pytest.approx(2.0 / (t @ W @ t), rel=1e-5)
    assert pytest.approx(beta[1] ** 2 / phi_a[1, 1], rel=1e-5, abs=1e-9) == fit.test(row).F


@settings(deadline=None, max_examples=40)
@given(mixed_data(), st.integers(0, 1000))
def test_no_other_variances_are_likelier(data, seed):
    """The restricted likelihood falls in whatever direction the variances are moved, nought included."""
    y, X, groups = data
    assume(np.linalg.matrix_rank(X) == X.shape[1])
    fit = fit_mixed(y, X, groups)
    assume(fit.variance["residual"] > 1e-5 * y.var())
    rng = np.random.default_rng(seed)
    for size in (0.02, 0.3, 3.0):
        other = {name: value * np.exp(rng.normal(0, size)) for name, value in fit.variance.items()}
        for name in other:
            if other[name] == 0 or rng.random() < 0.2:
                other[name] = size * fit.variance["residual"] * rng.random()
        other["residual"] = max(other["residual"], 1e-3 * fit.variance["residual"])
        assert plain(y, X, groups, other)[0] <= fit.loglik + 1e-7


@settings(deadline=None, max_examples=25)
@given(mixed_data(), st.floats(-1e4, 1e4), st.sampled_from([1e-6, 0.01, 25.4, 1e5]), st.integers(0, 1000))
def test_shift_scale_and_order_change_nothing_that_matters(data, shift, scale, seed):
    """F, p and degrees of freedom ignore the unit and zero of y and the order of the rows; residuals stay orthogonal."""
    y, X, groups = data
    assume(np.linalg.matrix_rank(X) == X.shape[1])
    order = np.random.default_rng(seed).permutation(len(y))
    one = fit_mixed(y, X, groups)
    assume(one.variance["residual"] > 1e-5 * y.var())
    two = fit_mixed(scale * (y[order] + shift), X[order], {k: v[order] for k, v in groups.items()})
    L = np.eye(X.shape[1])[1:]
    a, b = one.test(L), two.test(L)
    assert (a.F, a.p, a.ddf) == pytest.approx((b.F, b.p, b.ddf), rel=1e-4, abs=1e-7)
    assert two.variance["residual"] == pytest.approx(scale**2 * one.variance["residual"], rel=1e-5)
    V = one.variance["residual"] * np.eye(len(y))
    for name in groups:
        V += one.variance.get(name, 0.0) * (groups[name][:, None] == groups[name][None, :])
    assert X.T @ np.linalg.solve(V, y - one.fitted) == pytest.approx(np.zeros(X.shape[1]), abs=1e-5)


def test_it_agrees_with_statsmodels_where_that_converges():
    """Unbalanced batches: variances and restricted log-likelihood of statsmodels' MixedLM."""
    import statsmodels.api as sm

    rng = np.random.default_rng(5)
    batch = np.repeat(np.arange(8), [3, 5, 6, 2, 7, 6, 4, 6])
    X = np.column_stack([np.ones(39), rng.normal(size=39), batch % 2])
    y = X @ [3.0, 1.0, 2.0] + 2 * rng.normal(size=8)[batch] + rng.normal(size=39)
    ours, theirs = fit_mixed(y, X, {"batch": batch}), sm.MixedLM(y, X, groups=batch).fit(reml=True)
    assert ours.variance["batch"] == pytest.approx(float(theirs.cov_re[0, 0]), rel=1e-3)
    assert ours.variance["residual"] == pytest.approx(theirs.scale, rel=1e-3)
    assert ours.loglik == pytest.approx(theirs.llf, abs=1e-4)


def test_a_variance_of_nought_is_an_ordinary_result():
    """Batches that differ less than their tiles do: variance nought, and the batches still cost degrees of freedom."""
    batch = np.repeat(np.arange(6), 4)
    y = np.tile([0.0, 1.0, 2.0, 3.0], 6) + np.repeat([0.01, -0.01, 0.0, 0.02, -0.01, -0.01], 4)
    fit = fit_mixed(y, np.column_stack([np.ones(24), batch % 2]), {"batch": batch})
    assert fit.variance["batch"] == 0.0
    assert fit.test([0.0, 1.0]).ddf == pytest.approx(4.0)


def test_groups_without_a_variance_are_set_aside_with_the_reason():
    """One level, one row each, a twin, and a group the columns tell apart."""
    rng = np.random.default_rng(0)
    batch = np.repeat(np.arange(4), 3)
    X = np.column_stack([np.ones(12), batch < 2])
    fit = fit_mixed(
        rng.normal(size=12),
        X,
        {"room": [1] * 12, "tile": np.arange(12), "batch": batch, "bucket": batch + 5, "day": batch < 2},
    )
    assert fit.set_aside == {
        "room": "one level",
        "tile": "one row each",
        "bucket": "same as batch",
        "day": "in the model",
    }
    assert set(fit.variance) == {"batch", "residual"}


def test_tiles_that_agree_within_their_batch_leave_no_residual():
    """All scatter between batches: the residual is nought, and the test of a batch column keeps its degrees of freedom."""
    batch = np.repeat(np.arange(6), 4)
    y = np.repeat([3.0, 5.0, 1.0, 7.0, 2.0, 9.0], 4)
    fit = fit_mixed(y, np.column_stack([np.ones(24), batch % 2]), {"batch": batch})
    assert fit.no_residual
    assert fit.variance["residual"] == 0.0
    found = fit.test([0.0, 1.0])
    assert found.ddf == pytest.approx(4.0, rel=1e-4)
    assert pytest.approx((5.0**2 * 3 / 2) / ((2 + 8) / 4), rel=1e-4) == found.F  # by hand from the six batch means


def test_dependent_rows_of_a_hypothesis_count_once():
    """The numerator df is the rank of L."""
    rng = np.random.default_rng(2)
    X = np.column_stack([np.ones(12), rng.normal(size=(12, 2))])
    fit = fit_mixed(rng.normal(size=12), X)
    once, twice = fit.test(np.eye(3)[1:]), fit.test([[0, 1, 0], [0, 0, 1], [0, 1, 1]])
    assert (once.df, twice.df) == (2, 2)
    assert once.p == pytest.approx(twice.p)


@pytest.mark.parametrize(
    ("y", "X", "message"),
    [
        (
            [1.0, 2.0],
            np.eye(2),
            "2 rows are not more than the 2 unknowns of the model, which leaves nothing to measure the noise with. "
            "Make more tiles or ask for fewer factors.",
        ),
        (
            [1.0, 2.0, 4.0],
            np.ones((3, 2)),
            "Two columns of the model cannot be told apart in these rows. Leave one of them out.",
        ),
        (
            [1.0, np.nan, 4.0],
            np.ones((3, 1)),
            "A number that is not finite cannot be fitted. Leave the row out, or enter its value again.",
        ),
    ],
)
def test_what_cannot_be_fitted_is_refused_in_words(y, X, message):
    """Too few rows, twin columns, a number that is none."""
    with pytest.raises(NotEnoughError) as caught:
        fit_mixed(y, X)
    assert str(caught.value) == message
