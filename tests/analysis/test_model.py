"""Settings become columns: scales, levels, bends, pairs; and what is left out is named with the reason."""

import numpy as np
import pandas as pd
import pytest
from tests.analysis.strategies import CYCLES, DIP_TIME, FACTORS, STRENGTH, made_up

from tilestudy.analysis.model import build_model, learn_coding
from tilestudy.errors import NotEnoughError
from tilestudy.study.records import Factor


def test_a_geometric_factor_is_coded_by_doublings():
    """Equal ratios are equal steps; the ends of the levels are -1 and 1 before centring."""
    coding, notes = learn_coding(DIP_TIME, [10.0, 30.0, 90.0])
    assert notes == ()
    assert coding.coded([10.0, 30.0, 90.0, 270.0]) == pytest.approx([-1.0, 0.0, 1.0, 2.0])
    assert coding.decoded(0.0) == pytest.approx(30.0)


def test_balanced_columns_are_orthogonal_between_terms():
    """In a full grid every term stands at right angles to every other, bends included."""
    tiles = made_up()
    model = build_model(tiles, FACTORS)
    X = model.matrix(tiles)
    assert [term.name for term in model.terms] == [
        "strength",
        "dip_time",
        "scrub_cycles",
        "strength (bend)",
        "dip_time (bend)",
        "strength x dip_time",
        "strength x scrub_cycles",
        "dip_time x scrub_cycles",
    ]
    gram = X.T @ X
    assert gram - np.diag(np.diag(gram)) == pytest.approx(np.zeros_like(gram), abs=1e-9)


def test_settings_read_back_the_columns_of_the_tiles():
    """The rows coded one at a time are the rows of the matrix."""
    tiles = made_up()
    model = build_model(tiles, FACTORS)
    X = model.matrix(tiles)
    for i in (0, 7, 35):
        settings = {factor.name: tiles[factor.name][i] for factor in FACTORS}
        assert model.row(settings) == pytest.approx(X[i])


def test_spare_batches_are_counted_level_by_level():
    """Six baths at three strengths leave three; three baths leave none, whatever was measured in them."""
    assert build_model(made_up(), FACTORS).spare == {"session": 0, "batch": 3, "tile": 24}
    assert build_model(made_up(baths_each=1), FACTORS).spare["batch"] == 0
    measured = made_up()
    measured["strength"] *= measured["batch"].map(
        dict(zip(sorted(set(measured["batch"])), (0.9, 1.1, 1.0, 1.05, 0.95, 0.9), strict=True))
    )
    assert build_model(measured, FACTORS).spare["batch"] == 3


def test_actual_times_near_two_levels_make_no_bend():
    """Jitter about two levels is not a third setting."""
    rng = np.random.default_rng(0)
    times = np.repeat([10.0, 90.0], 10) * np.exp(rng.normal(0, 0.03, 20))
    coding, _ = learn_coding(Factor("dip_time", (10.0, 90.0), "s", "s", "geometric"), times.tolist())
    assert coding.bend is None
    assert coding.levels == (10.0, 90.0)


def test_factors_that_changed_together_are_named():
    """Two factors in step: one is kept, and both are said to be mixed up."""
    tiles = made_up()
    tiles["scrub_cycles"] = np.where(tiles["dip_time"] > 20, 4.0, 1.0)
    tiles = tiles[tiles["dip_time"] != 30.0]
    model = build_model(tiles, FACTORS)
    assert model.together == {"dip_time": ("scrub_cycles",), "strength x dip_time": ("strength x scrub_cycles",)}
    assert {out.term: out.why for out in model.left_out} == {
        "scrub_cycles": "cannot be told from dip time in these tiles",
        "strength x scrub_cycles": "cannot be told from strength x dip time in these tiles",
        "dip_time x scrub_cycles": "these tiles hold no combination that shows it",
    }
    assert "No tile here has dip time 30 s, so nothing is said of it." in model.notes


def test_too_few_tiles_cost_the_pairs_before_the_main_effects():
    """Five tiles, three factors: main effects only, with one tile left over."""
    tiles = made_up()[lambda frame: frame["batch"] == "B01"].head(6)
    model = build_model(tiles, [DIP_TIME, CYCLES])
    assert [term.name for term in model.terms] == ["dip_time", "scrub_cycles"]
    assert {out.why for out in model.left_out} == {"too few tiles to measure it and the noise between tiles as well"}


def test_half_a_grid_says_which_pair_hides_behind_which_factor():
    """2^(3-1): each pair is the third factor in disguise (defining relation I = ABC)."""
    # Box, Hunter & Hunter (2005), chapter 6: in the half fraction with C = AB, AB is confounded with C, and so on
    a, b = np.tile([-1.0, 1.0], 8), np.tile([-1.0, -1.0, 1.0, 1.0], 4)
    tiles = pd.DataFrame({"tile": range(16), "batch": 1, "session": 1, "a": a, "b": b, "c": a * b})
    model = build_model(tiles, [Factor(name, (-1.0, 1.0)) for name in "abc"])
    assert {out.term: out.partners for out in model.left_out} == {"a x b": ("c",), "a x c": ("b",), "b x c": ("a",)}


def test_a_setting_of_nought_takes_a_straight_scale():
    """Doublings of nothing are nothing: the factor is analysed along a straight scale, and that is said."""
    coding, notes = learn_coding(Factor("salt", (0.0, 1.0, 2.0), "g/L", "g/L", "geometric"), [0.0, 1.0, 2.0])
    assert coding.scale == "linear"
    assert notes == ("Salt includes 0, which has no place on a scale of doublings, so a straight scale was used.",)


def test_an_unplanned_name_is_a_level_like_the_others():
    """Somebody used lacquer: it is analysed, and mentioned."""
    coding, notes = learn_coding(Factor("seal", ("none", "wax"), spacing="steps"), ["none", "wax", "lacquer"])
    assert coding.levels == ("none", "wax", "lacquer")
    assert notes == ("lacquer: not among the planned levels of seal, analysed as a level like the others.",)


def test_a_name_that_no_tile_had_cannot_be_predicted():
    """The refusal lists what there is."""
    tiles = pd.DataFrame({"tile": range(4), "batch": 1, "session": 1, "seal": ["none", "wax"] * 2})
    model = build_model(tiles, [Factor("seal", ("none", "wax"), spacing="steps")])
    with pytest.raises(NotEnoughError) as caught:
        model.row({"seal": "oil"})
    assert (
        str(caught.value) == 'No tile was made with seal "oil", so nothing can be said of it. The tiles have none, wax.'
    )


def test_factors_that_never_change_leave_nothing_to_compare():
    """One setting everywhere is refused in words."""
    tiles = made_up()[lambda frame: frame["strength"] == 1.0]
    with pytest.raises(NotEnoughError) as caught:
        build_model(tiles, [STRENGTH])
    assert str(caught.value) == (
        "No factor differs between the tiles that have a value, so there is nothing to compare. "
        "Enter the tiles made at the other settings."
    )
