"""From tiles to sentences: verdicts, refusals, the trap, lost tiles, and laws that hold for any study."""

import json

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.analysis.strategies import CYCLES, DIP_TIME, FACTORS, STRENGTH, made_up, studies

from tilestudy.analysis.colour.change import colour_changes
from tilestudy.analysis.drivers import analyse
from tilestudy.analysis.findings import colour_spec, number_spec
from tilestudy.analysis.work import holm
from tilestudy.colour.difference import ciede2000
from tilestudy.errors import NotEnoughError
from tilestudy.study.records import Factor, Response
from tilestudy.study.units import show

LIGHTNESS = colour_spec("L", "cured")


def told(frame, factors=FACTORS, spec=LIGHTNESS, **more):
    return analyse(frame, factors, spec, show=show, batch_word="bath", **more)


def test_it_tells_size_unit_and_range_first():
    """The sentences of an invented study, whole."""
    found = told(made_up(seed=4, strength=-12.0))
    assert found.sentences == (
        "From 1 to 9 g/L the tile darkens by 23 L* (16 to 30): strength drives it.",
        "The range in brackets would contain the true change in 95 of 100 such studies.",
        "Each doubling of strength darkens the tile by 7 L* (5 to 9).",
        "From 10 to 90 s the tile darkens by 10 L* (8 to 12): dip time drives it.",
        "Each doubling of dip time darkens the tile by 3.0 L* (2.4 to 3.7).",
        "Whether scrub cycles matter for L* is not settled: from 1 to 4 any change between −2.8 and +0.6 L* fits these tiles.",
        "Whether the effect of one factor depends on another is not settled (strength with dip time, strength with scrub "
        "cycles and dip time with scrub cycles).",
        "Baths made alike scatter by about 1.9 L*, and tiles made alike in one bath by about 2 L* (standard deviation: "
        "about two in three lie closer to their average than this).",
    )
    assert found.cautions == ()


def test_one_finding_in_several_is_only_said_to_be_possible():
    """A range that leaves out nought, in company of seven other questions."""
    found = told(made_up(seed=4))
    assert found.sentences[3] == (
        "From 1 to 9 g/L the tile darkens by 13 L* (6 to 20): strength may drive it, but 8 questions were asked of the "
        "same tiles and one such answer can come by chance."
    )


def test_a_pair_is_told_as_two_changes():
    """What is set per tile is told at both ends of what is set per bath."""
    tiles = made_up(seed=4)
    tiles["y"] += 3 * np.log(tiles["strength"] / 3) * np.log(tiles["dip_time"] / 30)
    found = told(tiles)
    assert found.term("strength x dip_time").set_per == "tile"
    assert found.strongest_interaction.finding.term == "strength x dip_time"
    assert len(found.strongest_interaction.cells) == len(found.strongest_interaction.cells[0]) == 3
    told_pair = next(sentence for sentence in found.sentences if "depends on" in sentence)
    assert told_pair == (
        "The effect of dip time depends on strength: from 10 to 90 s the tile darkens by 18 L* (14 to 21) at 1 g/L; "
        "at 9 g/L any change between −5 and +2 L* fits these tiles."
    )


def test_a_bend_is_told_where_it_is():
    """The middle of the scale against the straight line."""
    tiles = made_up(seed=4)
    tiles["y"] -= 8 * (tiles["dip_time"] == 30.0)
    told_bend = next(sentence for sentence in told(tiles).sentences if sentence.startswith("Halfway"))
    assert told_bend == (
        "Halfway, at 30 s, the tile is 8.1 L* darker (6.3 to 9.9) than a straight line from 10 to 90 s would have it: the "
        "effect of dip time is not a straight line."
    )


def test_one_cycle_is_singular():
    """Counts are spoken with their name: at 1 scrub cycle, at 4 scrub cycles."""
    tiles = made_up(seed=4)
    tiles["y"] += 5 * np.log(tiles["dip_time"] / 30) * (tiles["scrub_cycles"] - 2.5)
    sentence = next(s for s in told(tiles).sentences if s.startswith("The effect of dip time depends on scrub cycles"))
    assert " at 1 scrub cycle and " in sentence
    assert sentence.endswith(" at 4 scrub cycles.")


def test_one_bath_for_each_strength_gets_no_test():
    """Strength cannot be told from bath luck; dip time, set per tile, is judged as ever."""
    found = told(made_up(baths_each=1))
    strength = found.term("strength")
    assert (strength.ddf, strength.F, strength.p, strength.p_holm, strength.low, strength.high) == (None,) * 6
    assert (strength.per_doubling.low, strength.per_doubling.high) == (None, None)
    assert strength.verdict == "cannot tell"
    assert strength.why == ("strength cannot be told from bath luck: make a second freshly made bath at each strength")
    assert strength.naive_p < 0.05
    assert found.term("dip_time").verdict == "drives"
    assert found.variance["batch"] is None
    assert found.cautions[0] == (
        "Each setting of strength had one bath only, so strength cannot be told from bath luck. "
        "Make a second freshly made bath at each setting."
    )
    assert found.predict({"strength": 3.0}).low is None
    assert (
        "Counting the 18 tiles as independent would claim p less than 0.001 for strength (p: how often chance alone "
        "would show as much); bath luck alone can do that." in found.sentences
    )


def test_two_baths_for_one_strength_are_enough_to_try():
    """One spare bath gives a test, on one or so degrees of freedom."""
    tiles = made_up()
    strength = told(tiles[tiles["batch"].isin(["B01", "B03", "B09", "B11"])]).term("strength")
    assert strength.p is not None
    assert strength.ddf < 3


def test_one_session_for_each_strength_gets_no_test():
    """The same for sessions, where the luck is the day's."""
    tiles = made_up()
    found = told(tiles.assign(session=np.where(tiles["strength"] < 2, 1, 2)))
    assert found.term("strength").verdict == "cannot tell"
    assert (
        found.term("strength").why
        == "strength cannot be told from session luck: make a second session at each strength"
    )
    assert found.term("dip_time").verdict == "drives"


def test_a_factor_set_per_tile_that_never_changed_within_a_bath_is_judged_between_baths():
    """What counts is what was done, not what was planned."""
    tiles = made_up(baths_each=2)
    tiles["scrub_cycles"] = np.where(tiles["batch"].str.startswith("B0"), 1.0, 4.0)
    assert told(tiles).term("scrub_cycles").set_per == "batch"


def test_holm_as_in_r():
    """p.adjust(c(.01, .02, .03, .04, .05), "holm")."""
    # R 4.2.2: 0.05 0.08 0.09 0.09 0.09
    assert holm([0.01, 0.02, 0.03, 0.04, 0.05]) == pytest.approx((0.05, 0.08, 0.09, 0.09, 0.09))


def test_no_verdict_rests_on_a_lone_small_p():
    """Drives needs Holm's p and a size that matters; otherwise it only may drive."""
    tiles = made_up(seed=4)
    big = told(tiles, spec=colour_spec("L", smallest=1.0)).term("dip_time")
    small = told(tiles, spec=colour_spec("L", smallest=50.0)).term("dip_time")
    assert (big.verdict, small.verdict) == ("drives", "may drive")
    assert small.why == "this is less than the 50 L* that would matter"


def test_values_explained_to_the_last_digit_are_doubted():
    """A perfect fit is no proof: no noise was seen."""
    tiles = made_up()
    found = told(tiles.assign(y=2 * tiles["strength"]))
    assert {term.verdict for term in found.terms} == {"cannot tell"}
    assert (
        "The settings explain all 36 values to the last digit, so no noise was seen and no range can be given. Measured "
        "tiles seldom do that: check that the values were not computed or copied." in found.cautions
    )


def test_a_single_bath_is_judged_for_itself():
    """Tile factors are tested; whether another bath would do the same is said to be unknown."""
    tiles = made_up()
    found = told(tiles[tiles["batch"] == "B01"])
    assert found.term("dip_time").p is not None
    assert found.cautions[0] == (
        "All tiles come from one bath, so whether another bath would do the same is not known. "
        "The ranges hold for this bath."
    )
    assert "Not looked at: strength (the same on every tile)." in found.cautions


def test_a_handful_of_tiles_is_not_stretched_into_a_range():
    """Less than about one degree of freedom gives no test and no range, rather than an absurd one."""
    tiles = made_up(seed=4).iloc[[3, 5, 7, 10, 17]]
    found = told(tiles)
    assert {term.verdict for term in found.terms} == {"cannot tell"}
    assert {(term.p, term.low, term.high) for term in found.terms} == {(None, None, None)}
    assert found.term("dip_time").why == (
        "there are too few tiles to measure the noise between tiles, by which it must be judged"
    )


def test_predictions_outside_the_tiles_say_so():
    """27 g/L lies beyond what the tiles covered; 2 g/L does not."""
    found = told(made_up())
    assert found.predict({"strength": 27.0, "dip_time": 20.0}).beyond == ("strength",)
    assert found.predict({"strength": 2.0}).beyond == ()


def test_named_levels_are_compared_in_pairs():
    """The widest gap, its range widened for the number of pairs."""
    rng = np.random.default_rng(0)
    seal = ["none", "wax", "lacquer"] * 6
    y = np.array([{"none": 0.0, "wax": 1.0, "lacquer": 6.0}[s] for s in seal]) + rng.normal(0, 1, 18)
    frame = pd.DataFrame({"tile": range(18), "batch": 1, "session": 1, "seal": seal, "y": y})
    found = analyse(
        frame, [Factor("seal", ("none", "wax", "lacquer"), spacing="steps")], number_spec(Response("gloss", "GU"))
    )
    term = found.term("seal")
    assert (term.setting_low, term.setting_high) == ("none", "lacquer")
    assert found.sentences[0] == "With lacquer gloss is 6.3 GU higher (4.9 to 7.7) than with none: seal drives it."


def test_colours_move_by_the_difference_of_the_predictions():
    """Each factor's colours at both ends, and how far apart they are."""
    tiles = made_up()
    other = told(tiles.assign(y=made_up(seed=8, strength=1.0)["y"]), spec=colour_spec("a"))
    L = told(tiles)
    first = colour_changes(tiles.assign(L=tiles["y"], a=tiles["y"], b=tiles["y"]), L, other, other)["strength"]
    assert first.lab_low[0] == pytest.approx(L.predict({"strength": 1.0}).value)
    assert first.difference == pytest.approx(float(ciede2000(first.lab_low, first.lab_high)))


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (
            slice(0, 0),
            'No tile has a value of L* yet, and it takes several to compare. Enter them with "tilestudy colour NAME" (one by '
            'one) or "tilestudy enter NAME" (the filled forms).',
        ),
        (
            slice(0, 1),
            "Only one tile (T00) has a value of L*, and it takes several to compare. Enter the others with "
            '"tilestudy colour NAME" (one by one) or "tilestudy enter NAME" (the filled forms).',
        ),
        (
            [0, 3, 8, 14],
            "4 tiles have a value of L*, and to tell what strength, dip time and scrub cycles do takes 4 alone, which leaves "
            "nothing to measure the noise with. Enter at least 5 tiles, better 8.",
        ),
    ],
)
def test_too_little_is_refused_with_what_is_missing(rows, message):
    """No tile, one tile, fewer tiles than main effects."""
    with pytest.raises(NotEnoughError) as caught:
        told(made_up().iloc[rows])
    assert str(caught.value) == message


def test_rows_without_a_value_are_counted():
    """Nothing is dropped silently."""
    tiles = made_up()
    tiles.loc[3, "y"] = np.nan
    assert told(tiles).cautions[0] == "1 row has no value or no setting and was left out."


def finite(value):
    """Walk a structure of plain values: no NaN, no infinity, nothing JSON cannot hold."""
    json.dumps(value, allow_nan=False)


@settings(deadline=None, max_examples=40)
@given(studies())
def test_any_study_gives_findings_or_says_what_is_missing(tiles):
    """However many tiles were lost: finite numbers, or a sentence that says what to add."""
    try:
        found = told(tiles)
    except NotEnoughError:
        assert len(tiles) < 9  # ten tiles of three factors always say something
        return
    finite(found.as_dict())
    for term in found.terms:
        if term.low is not None:
            assert term.low <= term.effect <= term.high
        assert term.p is None or (0 <= term.p <= term.p_holm <= 1)


@settings(deadline=None, max_examples=15)
@given(studies(), st.sampled_from([0.001, 1000.0]), st.integers(0, 99))
def test_units_and_row_order_leave_predictions_alone(tiles, scale, seed):
    """Strength in other units and rows in another order: the same predictions and verdicts."""
    try:
        one = told(tiles)
    except NotEnoughError:
        return
    other = Factor("strength", tuple(scale * level for level in STRENGTH.levels), "mg/L", "mg/L", "geometric", "batch")
    moved = tiles.assign(strength=scale * tiles["strength"]).sample(frac=1, random_state=seed)
    two = told(moved, (other, DIP_TIME, CYCLES))
    a, b = one.predict({"strength": 2.0, "dip_time": 45.0}), two.predict({"strength": 2.0 * scale, "dip_time": 45.0})
    assert b.value == pytest.approx(a.value, rel=1e-6)
    assert {t.term for t in one.terms} == {t.term for t in two.terms}
    for term in one.terms:
        assert two.term(term.term).verdict == term.verdict
        if term.p is not None:
            assert two.term(term.term).p == pytest.approx(term.p, rel=1e-3, abs=1e-9)


@settings(deadline=None, max_examples=10)
@given(studies(), st.floats(-50, 50))
def test_a_shift_of_all_values_moves_predictions_by_as_much(tiles, shift):
    """Effects and p values stay."""
    try:
        one, two = told(tiles), told(tiles.assign(y=tiles["y"] + shift))
    except NotEnoughError:
        return
    assert two.predict({}).value == pytest.approx(one.predict({}).value + shift, abs=1e-6)
    for term in one.terms:
        assert two.term(term.term).effect == pytest.approx(term.effect, abs=1e-6)
