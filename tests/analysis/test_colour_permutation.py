"""One test of the whole colour: exact, true to the batches, and the same as a general-purpose permutation test."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import permutation_test
from tests.analysis.strategies import CYCLES, DIP_TIME, FACTORS, STRENGTH, coloured, made_up, studies

from tilestudy.analysis.colour.permutation import DRAWS, colour_tests
from tilestudy.analysis.colour.shares import colour_shares
from tilestudy.analysis.model import build_model
from tilestudy.errors import NotEnoughError

RNG = np.random.default_rng


def test_one_batch_and_one_factor_agree_with_scipy():
    """Eight tiles of one batch, four at each dip time: all 70 arrangements, p as scipy.stats.permutation_test has it."""
    tiles = made_up(seed=2, noise=(2.0, 6.0))
    tiles = coloured(tiles[(tiles["batch"] == "B01") | (tiles["batch"] == "B03")].assign(batch="B"), noise=4.0).iloc[:8]
    tiles = tiles.assign(dip_time=[10.0, 10, 10, 10, 90, 90, 90, 90])
    found = colour_tests(tiles, build_model(tiles, [DIP_TIME]), RNG(1))["dip_time"]
    lab = tiles[["L", "a", "b"]].to_numpy()

    def pseudo_f(first, second):
        groups = lab[np.asarray(first, dtype=int)], lab[np.asarray(second, dtype=int)]
        within = sum(((one - one.mean(axis=0)) ** 2).sum() for one in groups)
        total = ((lab - lab.mean(axis=0)) ** 2).sum()
        return (total - within) / (within / 6)

    theirs = permutation_test((np.arange(4), np.arange(4, 8)), pseudo_f, alternative="greater", n_resamples=np.inf)
    assert (found.exact, found.arrangements, found.within) == (True, 70, "batch")
    assert (found.F, found.p) == pytest.approx((theirs.statistic, theirs.pvalue))
    assert found.least_p == pytest.approx(2 / 70)


def test_batches_change_places_whole_and_within_sessions():
    """Six baths of three strengths: 90 ways in one session, 36 in two; relabelled strengths look alike, six ways each."""
    tiles = coloured(made_up(seed=4))
    one = colour_tests(tiles, build_model(tiles, FACTORS), RNG(1))
    assert (one["strength"].set_per, one["strength"].within, one["strength"].arrangements) == ("batch", "", 90)
    assert one["strength"].least_p == pytest.approx(6 / 90)
    assert (one["dip_time"].within, one["dip_time"].p) == ("batch", 1 / (DRAWS + 1))
    two = coloured(made_up(seed=4, sessions=2))
    found = colour_tests(two, build_model(two, FACTORS), RNG(1))["strength"]
    assert (found.within, found.arrangements, found.least_p) == ("session", 36, pytest.approx(1 / 6))


def test_a_bath_measured_a_little_weak_is_no_setting_of_its_own():
    """2.9 and 3 g/L are dealt out as one level, or the least p would be too small to be true."""
    tiles = coloured(made_up(seed=4))
    weak = tiles.assign(strength=tiles["strength"].where(tiles["batch"] != "B03", 2.9))
    found = colour_tests(weak, build_model(weak, FACTORS), RNG(1))["strength"]
    assert (found.arrangements, found.least_p) == (90, pytest.approx(6 / 90))


def test_tiles_do_not_pass_for_baths():
    """Two strengths in four baths of nine tiles: however large the bath luck, p is at least 2 of 6."""
    tiles = coloured(made_up(seed=1, noise=(30.0, 0.1)))
    tiles = tiles[tiles["strength"] != 3.0].reset_index(drop=True)
    found = colour_tests(tiles, build_model(tiles, FACTORS), RNG(1))["strength"]
    assert found.arrangements == 6
    assert found.p >= found.least_p == pytest.approx(1 / 3)


def test_one_bath_for_each_strength_gets_no_test():
    """Nothing to judge strength by; dip time is judged as ever."""
    tiles = coloured(made_up(baths_each=1))
    found = colour_tests(tiles, build_model(tiles, FACTORS), RNG(1))
    assert found["strength"] is None
    assert found["dip_time"].p <= 0.05


@settings(deadline=None, max_examples=25)
@given(studies(), st.integers(0, 99))
def test_any_study_gives_p_values_and_shares_that_add_up(tiles, seed):
    """However many tiles were lost: p between the least p and 1, shares that make 1, in any order of the rows."""
    tiles = coloured(tiles, seed)
    try:
        model = build_model(tiles, FACTORS)
    except NotEnoughError:
        return
    for found in colour_tests(tiles, model, RNG(seed)).values():
        assert found is None or (0 < found.least_p <= found.p <= 1 and np.isfinite(found.F))
    shares = colour_shares(tiles, model)
    assert sum(shares.factors.values()) + shares.pairs + shares.batches + shares.tiles == pytest.approx(1.0)
    moved = colour_shares(tiles.sample(frac=1, random_state=seed), model)
    assert moved.factors == pytest.approx(shares.factors)


def test_shares_are_the_sums_of_squares_of_a_balanced_table():
    """Balanced tiles: each factor's share is its sum of squares over the three channels."""
    tiles = coloured(made_up(seed=3))
    factors = [STRENGTH, DIP_TIME, CYCLES]
    shares = colour_shares(tiles, build_model(tiles, factors))
    lab = tiles[["L", "a", "b"]]
    total = ((lab - lab.mean()) ** 2).to_numpy().sum()
    for factor in factors:
        means = lab.groupby(tiles[factor.name]).transform("mean")
        assert shares.factors[factor.name] == pytest.approx(((means - lab.mean()) ** 2).to_numpy().sum() / total)


def test_equal_colours_have_nothing_to_share_or_test():
    """All tiles alike: no test, no shares, no NaN."""
    tiles = made_up().assign(L=40.0, a=1.0, b=2.0)
    model = build_model(tiles, FACTORS)
    assert colour_shares(tiles, model) is None
    assert set(colour_tests(tiles, model, RNG(1)).values()) == {None}
