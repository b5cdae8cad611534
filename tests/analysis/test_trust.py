"""Trust in the model: what is said of a fault that was planted, silence without one, and laws that hold for any study."""

import json

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.analysis.strategies import FACTORS, made_up, scored, studies

from tilestudy.analysis.drivers import analyse
from tilestudy.analysis.findings import colour_spec, grade_spec
from tilestudy.analysis.model import build_model
from tilestudy.analysis.trust.checks import lack_of_fit
from tilestudy.analysis.trust.residuals import Residuals
from tilestudy.analysis.trust.trust import trust
from tilestudy.analysis.trust.wording import study_sentences
from tilestudy.errors import NotEnoughError
from tilestudy.paper.trust_charts import charts, tables
from tilestudy.study.records import Factor
from tilestudy.study.units import show

LIGHTNESS = colour_spec("L", "cured")


def trusted(frame, factors=FACTORS, spec=LIGHTNESS):
    found = analyse(frame, factors, spec, show=show, batch_word="bath")
    rng = np.random.default_rng(1)
    return trust(found, frame, factors, spec, rng=rng, show=show, batch_word="bath", study="plaques")


def changed(frame, where, by):
    return frame.assign(y=frame["y"] + np.where(where, by, 0.0))


def test_a_sound_study_gets_no_sentence():
    """Nothing was planted: nothing is said, and the numbers are all there."""
    found = trusted(made_up(seed=4, strength=-12.0))
    assert found.sentences == ()
    assert len(found.tiles) == 36
    assert len(found.batches) == 6
    assert (found.lack_of_fit.df, found.lack_of_fit.pure_df) == (9, 15)
    assert [len(spread.groups) for spread in found.spreads if spread.by == "batch"] == [6]


def test_a_misread_tile_is_named_with_what_to_type():
    """A tile entered 54 L* too light hides two drivers."""
    frame = made_up(seed=0, noise=(1.2, 1.5), strength=-6.0, dip_time=-3.0)
    assert trusted(changed(frame, frame["tile"] == "T30", 54.0)).sentences == (
        "Tile T30 (bath B19) came out 54 L* lighter (48 to 59) than its settings and its bath say: check its reading and its "
        "record (tilestudy history plaques T30). Only if they show a fault, mark it spoiled (tilestudy made plaques T30 "
        "--spoiled); without it strength and dip time would be called drivers.",
    )


def test_of_two_baths_made_alike_nobody_can_tell_which_is_off():
    """A spoiled bath of a pair: both are named, and what would be a driver without either."""
    frame = made_up(seed=2, noise=(1.0, 1.5), strength=-6.0)
    (sentence,) = trusted(changed(frame, frame["batch"] == "B03", 15.0)).sentences
    assert sentence.startswith("Baths B03 and B13 should be alike and came out 1")
    assert "one of them may be off: look at their records" in sentence


def test_a_bath_among_three_made_alike_is_named_alone():
    """Two others agree, so the third is off."""
    frame = made_up(seed=2, baths_each=3, noise=(1.0, 1.5), strength=-6.0)
    (sentence,) = trusted(changed(frame, frame["batch"] == "B03", 15.0)).sentences
    assert sentence.startswith("Bath B03 came out 1")
    assert " lighter (" in sentence
    assert "without it strength would be called a driver" in sentence


DIP = Factor("dip_time", (10.0, 90.0), "s", "s")


def few_long_dips(off):
    """Twenty tiles dipped for 10 s and two for 90 s, of which one came out lighter."""
    rng = np.random.default_rng(0)
    frame = pd.DataFrame({"tile": [f"T{i}" for i in range(22)], "batch": "B1", "session": 1, "dip_time": 10.0})
    frame.loc[20:, "dip_time"] = 90.0
    frame["y"] = 40 + rng.normal(0, 1.0, 22)
    return changed(frame, frame["tile"] == "T21", off)


def test_a_tile_that_carries_a_driver_alone_is_told():
    """With one tile a driver, without it not settled."""
    (sentence,) = trusted(few_long_dips(4.0), (DIP,)).sentences
    assert sentence.startswith("Tile T21 alone carries the effect of dip time: from 10 to 90 s the tile lightens by ")
    assert "with it; without it any change between " in sentence
    assert sentence.endswith("(tilestudy history plaques T21), or make it again, before you build on this.")


def test_of_two_tiles_that_only_each_other_can_check_nobody_can_tell_which_is_off():
    """Both are named."""
    (sentence,) = trusted(few_long_dips(6.0), (DIP,)).sentences
    assert sentence == (
        "Tiles T20 and T21 should be alike and came out 7 L* (3 to 12) apart, more than tiles alike otherwise do, so one of "
        "them may be off: look at both and at their records. Only if they show a fault, mark that tile spoiled."
    )


def test_a_finding_that_no_other_tile_shows_is_told():
    """One tile at a setting: nothing can check it."""
    (sentence,) = trusted(few_long_dips(9.0).drop(index=20), (DIP,)).sentences
    assert sentence == "No tile but T21 shows the effect of dip time: make such a tile again before you build on this."


def test_a_curve_that_the_model_cannot_follow_is_told():
    """Tiles made alike agree, and yet lie off the model."""
    frame = made_up(seed=4, noise=(1.0, 1.0))
    wave = 5 * np.sin(np.log(frame["dip_time"]) * 3 + frame["strength"]) * (2 * (frame["scrub_cycles"] > 1) - 1)
    (sentence,) = trusted(frame.assign(y=frame["y"] + wave)).sentences
    assert sentence.startswith(
        "Lines, bends and pairs of factors do not describe all that was seen of L*: the 2 tiles at "
    )
    assert (
        "more than tiles made alike scatter (p less than 0.001: how often chance alone would show as much)" in sentence
    )


def test_scatter_that_differs_is_told_with_both_numbers():
    """Short dips scatter tenfold."""
    frame = made_up(seed=7, noise=(1.0, 0.8))
    luck = np.random.default_rng(3).normal(0, 8.0, len(frame))
    (sentence,) = trusted(changed(frame, frame["dip_time"] == 10.0, luck)).sentences
    assert sentence.startswith("Tiles at 10 s scatter by about 9.5 L*, those at 30 s by 2.1 L* (standard deviation: ")
    assert sentence.endswith("): trust the ranges less for the former, and make more tiles there.")


def test_responses_that_point_at_one_tile_are_told_once():
    """The one that shows it most speaks, the others are named."""
    frame = made_up(seed=4)
    faulty = changed(frame, frame["tile"] == "T07", 40.0)
    both = [trusted(faulty), trusted(faulty.assign(y=faulty["y"] / 2), spec=colour_spec("b"))]
    (sentence,) = study_sentences(both)
    assert sentence.startswith("Tile T07 (bath B03) came out 4")
    assert sentence.endswith(" b* shows it too.") or sentence.endswith(" L* shows it too.")


def test_nothing_is_looked_at_where_no_noise_was_seen():
    """All alike; explained to the last digit; grades, whose linear model is an approximation."""
    frame = made_up(seed=4)
    assert trusted(frame.assign(y=40.0)) is None
    assert trusted(frame.assign(y=frame["dip_time"])) is None
    assert trusted(scored(frame), spec=grade_spec()) is None


@given(seed=st.integers(0, 1000), ratio=st.sampled_from([0.0, 0.3, 4.0]))
@settings(max_examples=20, deadline=None)
def test_leaving_out_by_formula_is_leaving_out(seed, ratio):
    """Shift and moved coefficients equal a generalised least squares fit without the rows."""
    rng = np.random.default_rng(seed)
    batch = rng.integers(0, 4, 18)
    X = np.column_stack([np.ones(18), rng.normal(size=(18, 2))])
    y = rng.normal(size=18)
    all_of_it = Residuals(y, X, {"batch": [str(one) for one in batch]}, {"batch": ratio})
    one = all_of_it.departures([str(i) for i in range(18)])
    V = np.eye(18) + ratio * (batch[:, None] == batch[None, :])
    left = np.arange(18) != 5
    inverse = np.linalg.inv(V[np.ix_(left, left)])
    beta = np.linalg.solve(X[left].T @ inverse @ X[left], X[left].T @ inverse @ y[left])
    predicted = X[5] @ beta + V[5, left] @ inverse @ (y[left] - X[left] @ beta)
    assert one.apart[5] == pytest.approx(y[5] - predicted, abs=1e-9)
    assert all_of_it.beta + one.moves[5] == pytest.approx(beta, abs=1e-9)


@given(seed=st.integers(0, 1000))
@settings(max_examples=10, deadline=None)
def test_lack_of_fit_does_not_see_the_luck_of_batches(seed):
    """Any shift of whole baths leaves its F alone."""
    frame = made_up(seed=seed)
    model = build_model(frame, FACTORS)
    luck = frame["batch"].map(
        dict(zip(frame["batch"].unique(), np.random.default_rng(seed).normal(0, 9, 6), strict=True))
    )
    plain = lack_of_fit(model, frame, frame["y"].to_numpy(), np.empty((36, 0)))
    moved = lack_of_fit(model, frame, (frame["y"] + luck).to_numpy(), np.empty((36, 0)))
    assert (plain.df, plain.pure_df) == (9, 15)
    assert pytest.approx(plain.F, rel=1e-6) == moved.F


@given(studies())
@settings(max_examples=20, deadline=None)
def test_any_study_gets_finite_numbers(frame):
    """Tiles lost, single baths, no noise between baths: no traceback and no NaN in JSON, tables and charts."""
    try:
        found = trusted(frame)
    except NotEnoughError:
        return
    if found is not None:
        json.dumps(found.as_dict(), allow_nan=False)
        assert all("nan" not in text.lower() for text in tables(found).values())


def test_charts_and_tables_name_every_tile_and_say_what_they_show():
    """The same input gives the same bytes; own colours; a title and a description for those who cannot see them."""
    frame = made_up(seed=4)
    found = trusted(changed(frame, frame["tile"] == "T07", 20.0))
    drawn = charts(found, {"T07": "#123456"})
    assert drawn == charts(found, {"T07": "#123456"})
    assert list(drawn) == ["L-residuals.svg", "L-baths.svg", "L-quantiles.svg", "L-influence.svg"]
    first = drawn["L-residuals.svg"].decode()
    assert "<desc>36 tiles; farthest off: T07" in first
    assert "fill: #123456" in first
    for table in ("L-tiles.csv", "L-baths.csv", "L-left-out.csv", "L-checks.csv"):
        assert tables(found)[table]
    assert all(f"\n{tile}," in tables(found)["L-tiles.csv"] for tile in frame["tile"])
