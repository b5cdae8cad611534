"""Grades as ranks, and strokes as intervals: what the fits promise whatever the data."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tilestudy.analysis.wear.censored import fit_strokes
from tilestudy.analysis.wear.ordinal import fit_ordinal
from tilestudy.errors import NotEnoughError

BATCH = np.repeat(np.arange(4), 6)
SCORER = np.tile(np.arange(3), 24)


def graded(seed=1, strength=0.0, dip=0.0, base=1.0):
    """24 tiles in 4 batches: grades 1 to 5, strength set per batch, dip per tile."""
    rng = np.random.default_rng(seed)
    X = np.column_stack([np.where(BATCH % 2, 1.0, -1.0), np.tile([-1.0, 1.0], 12)])
    eta = base + X @ [strength, dip] + 0.5 * rng.normal(size=4)[BATCH] + rng.logistic(size=24)
    return 1.0 + np.searchsorted([-2.0, -0.5, 1.0, 2.2], eta), X


def test_only_the_order_of_grades_counts():
    """Steps stretched or shrunk: the same slopes, test and spread of batches."""
    y, X = graded(dip=1.0)
    plain, stretched = fit_ordinal(y, X, {"batch": BATCH}), fit_ordinal(y**3, X, {"batch": BATCH})
    assert stretched.slopes == pytest.approx(plain.slopes)
    assert stretched.sd == pytest.approx(plain.sd)
    assert stretched.test([1], 18).p == pytest.approx(plain.test([1], 18).p)


def test_a_coding_turned_round_turns_the_slope_round():
    """Which level is called -1 is nobody's business."""
    y, X = graded(dip=1.0)
    there, back = fit_ordinal(y, X, {"batch": BATCH}), fit_ordinal(y, X * [1.0, -1.0], {"batch": BATCH})
    assert back.slopes == pytest.approx(there.slopes * [1.0, -1.0], abs=1e-6)
    assert back.cuts == pytest.approx(there.cuts, abs=1e-6)


def test_a_grade_nobody_gave_shares_the_cut_of_its_neighbour():
    """3.5 or better is what 4 or better is where nobody gave 3.5; a passing grade nobody missed keeps a cut."""
    fit = fit_ordinal([2.0, 3, 4, 5, 4, 3], np.array([[-1.0], [-1], [1], [1], [1], [-1]]), keep=[3.5, 1.5])
    assert fit.cut(3.5) == fit.cut(4.0)
    assert fit.cut(1.5) == 0
    assert fit.grades == (1.5, 3.0, 3.5, 5.0)
    for grade, side in ((1.0, "at or above"), (5.5, "below")):
        with pytest.raises(NotEnoughError, match=f"Every grade given lies {side} {grade:g}"):
            fit.cut(grade)


def test_perfect_separation_gives_finite_and_honest_answers():
    """All passing on one side: a slope of a few logits, clear by its test; the chance far from 0 and 1, but not at them."""
    X = np.tile([[-1.0], [1.0]], (12, 1))
    fit = fit_ordinal(np.where(X[:, 0] > 0, 5.0, 2.0), X, {"batch": BATCH}, keep=[4.0])
    assert 2.0 < fit.slopes[0] < 6.0
    assert fit.test([0], 18).p < 1e-3
    poor, good = np.quantile(fit.pass_draws([[-1.0], [1.0]], 4.0, np.random.default_rng(1)), [0.05, 0.95], axis=0).T
    assert poor[1] < 0.4 < 0.6 < good[0]
    assert poor[0] > 0.0
    assert good[1] < 1.0


def test_grades_stuck_at_the_top_still_give_a_chance_to_pass():
    """24 fives in 4 batches: most tiles will pass; that all will is not known."""
    fit = fit_ordinal(np.full(24, 5.0), graded()[1], {"batch": BATCH}, keep=[4.0])
    chance = fit.probability([0.0, 0.0], 4.0, np.random.default_rng(1))
    assert 0.85 < chance.value < 0.99
    assert chance.low < 0.8
    with pytest.raises(NotEnoughError, match="Every grade is 5"):
        fit_ordinal(np.full(24, 5.0), graded()[1], {"batch": BATCH})


def test_a_factor_set_per_batch_is_judged_by_its_few_batches():
    """The same slope counts for less between batches than between tiles, three scorers or one."""
    y, X = graded(seed=3, strength=1.5, dip=1.5)
    one = fit_ordinal(y, X, {"batch": BATCH})
    three = fit_ordinal(
        np.repeat(y, 3), np.repeat(X, 3, axis=0),
        {"batch": np.repeat(BATCH, 3), "tile": np.repeat(np.arange(24), 3), "scorer": SCORER},
    )  # fmt: skip
    for fit in (one, three):
        assert fit.test([0], 40).ddf < 12
        assert fit.test([1], 40).ddf > fit.test([0], 40).ddf


def test_draws_spread_with_the_batches_and_follow_the_seed():
    """A new batch is less certain than the batches seen; the same seed gives the same draws."""
    y, X = graded(dip=1.0)
    fit = fit_ordinal(y, X, {"batch": BATCH}, keep=[4.0])
    first, again = (fit.pass_draws(X, 4.0, np.random.default_rng(5), 50) for _ in range(2))
    assert first.shape == (50, 24)
    assert (first == again).all()
    assert ((first >= 0) & (first <= 1)).all()


def test_numbers_that_are_not_finite_are_refused():
    """Nothing is fitted to a gap."""
    with pytest.raises(NotEnoughError, match="not finite"):
        fit_ordinal([1.0, np.nan, 3.0], np.zeros((3, 1)))
    with pytest.raises(NotEnoughError, match="not above the one before it"):
        fit_strokes([3.0, 4.0], [2.0, np.inf], np.ones((2, 1)))


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.sampled_from([1.0, 2.5, 3.0, 4.0, 4.5, 5.0]), min_size=12, max_size=12),
    st.integers(0, 1000),
)
def test_any_twelve_grades_give_finite_answers(grades, seed):
    """Separated, stuck at an end, in batches that agree or do not: no failure, no NaN."""
    rng = np.random.default_rng(seed)
    X = rng.choice([-1.0, 0.0, 1.0], size=(12, 2))
    fit = fit_ordinal(grades, X, {"batch": rng.integers(0, 4, 12), "session": rng.integers(0, 2, 12)}, keep=[4.0])
    test = fit.test([0], 8)
    draws = fit.pass_draws(X, 4.0, rng, 20)
    assert np.isfinite([*fit.slopes, *fit.cuts, *fit.sd.values(), test.F, test.ddf]).all()
    assert 0.0 <= test.p <= 1.0
    assert np.isfinite(draws).all()


@settings(max_examples=15, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 10), st.booleans()), min_size=12, max_size=12))
def test_any_twelve_counts_of_strokes_give_finite_answers(counts):
    """Unless no tile broke through, which is said."""
    strokes, came = (np.array(one) for one in zip(*counts, strict=True))
    low, high = np.where(came, strokes - 1.0, strokes), np.where(came, strokes, np.inf)
    X = np.column_stack([np.ones(12), np.tile([-1.0, 1.0], 6)])
    if not came.any():
        with pytest.raises(NotEnoughError, match="No tile broke through"):
            fit_strokes(low, high, X)
        return
    fit = fit_strokes(low, high, X, {"batch": np.repeat(np.arange(3), 4)})
    assert np.isfinite(fit.latent.slopes).all()
    assert fit.shape > 0
