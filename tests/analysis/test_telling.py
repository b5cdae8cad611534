"""What is said in the difficult cases, whole sentences: ignorance, rounding, bends, drift, silly numbers, bad settings."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.analysis.strategies import CYCLES, DIP_TIME, FACTORS, STRENGTH, made_up, scored

from tilestudy.analysis.drivers import analyse
from tilestudy.analysis.findings import colour_spec, distance_spec, grade_spec, number_spec
from tilestudy.analysis.noise_wording import noise_sentence, repeats_sentence, session_sentence
from tilestudy.analysis.wear.durability import analyse_grades
from tilestudy.errors import NotEnoughError
from tilestudy.study.records import Factor, Response
from tilestudy.study.units import show

LIGHTNESS = colour_spec("L", "cured")
GLOSS = number_spec(Response("gloss", "GU"))
SHINE = number_spec(Response("gloss", "GU"), smallest=0.5)
RUB = grade_spec("dry", passing=4.0)
EXPLAIN = "(standard deviation: about two in three lie closer to their average than this)"


def told(frame, factors=FACTORS, spec=LIGHTNESS, **more):
    return analyse(frame, factors, spec, show=show, batch_word="bath", **more)


def starting(found, start):
    """The one sentence that starts so."""
    (one,) = [sentence for sentence in found.sentences if sentence.startswith(start)]
    return one


def with_references(drift, sd, seed=0, batches=4):
    """Invented baths of seven tiles: the first, middle and last for reference, at 30 s."""
    rng = np.random.default_rng(seed)
    rows = []
    for b in range(batches):
        luck = rng.normal(0, 2)
        for k, dip in enumerate([30.0, 10.0, 90.0, 30.0, 90.0, 10.0, 30.0]):
            y = 40 + luck - 6 * np.log(dip / 30) + drift * k / 6 + rng.normal(0, sd)
            rows.append({"tile": f"T{b}{k}", "batch": f"B{b}", "session": 1, "dip_time": dip, "order": k + 1,
                         "reference": k in (0, 3, 6), "y": y})  # fmt: skip
    return pd.DataFrame(rows)


# --- no sign, or not settled ----------------------------------------------------------------------------------------


def test_no_sign_needs_a_range_within_what_matters():
    """The same factor: a narrow range shows that it hardly matters, a wide one shows nothing."""
    narrow, wide = told(made_up(seed=4, noise=(0.3, 0.3))), told(made_up(seed=4, noise=(2.0, 6.0)))
    assert (narrow.term("scrub_cycles").verdict, wide.term("scrub_cycles").verdict) == ("no sign", "not settled")
    assert starting(narrow, "No sign that scrub") == (
        "No sign that scrub cycles matter for L*: the change from 1 to 4 is between −0.4 and +0.1 L*, and 2 L* would matter."
    )
    assert starting(narrow, "No sign that the effect") == (
        "No sign that the effect of one factor depends on another (strength with dip time, strength with scrub cycles and "
        "dip time with scrub cycles)."
    )
    assert starting(wide, "Whether scrub cycles") == (
        "Whether scrub cycles matter for L* is not settled: from 1 to 4 any change between −8 and +2 L* fits these tiles."
    )
    assert starting(wide, "Whether the effect") == (
        "Whether the effect of one factor depends on another is not settled (strength with dip time, strength with scrub "
        "cycles and dip time with scrub cycles)."
    )


def test_without_a_stated_size_nothing_is_ruled_out():
    """A declared response says of no change that it would not matter."""
    found = told(made_up(seed=4, noise=(0.3, 0.3)), spec=GLOSS)
    assert "no sign" not in {term.verdict for term in found.terms}
    assert starting(found, "Whether scrub cycles") == (
        "Whether scrub cycles matter for gloss is not settled: from 1 to 4 any change between −0.4 and +0.1 GU fits these "
        "tiles."
    )


def test_numbers_compared_level_by_level_are_not_judged_by_their_ends_alone():
    """The middle level differs, first and last do not: the widest gap is told."""
    rng = np.random.default_rng(2)
    frame = pd.DataFrame({"tile": range(18), "batch": 1, "session": 1, "heat": [360.0, 370.0, 380.0] * 6})
    frame["y"] = np.where(frame["heat"] == 370.0, 8.0, 0.0) + rng.normal(0, 1, 18)
    found = told(frame, [Factor("heat", (360.0, 370.0, 380.0), "degC", "degC", "steps")], GLOSS)
    assert found.sentences[0] == "From 360 to 370 °C gloss rises by 9.1 GU (7.7 to 10.4): heat drives it."


def test_a_certain_change_too_small_to_matter_shows_the_digits_that_say_so():
    """0.472 is less than 0.5, and is not written as 0.5."""
    dips = np.repeat([10.0, 90.0], 12)
    noise = np.tile([-0.25, 0.25, -0.1, 0.1, 0.2, -0.2], 4)
    frame = pd.DataFrame({"tile": range(24), "batch": 1, "session": 1, "dip_time": dips})
    frame["y"] = 4 - 0.472 * (dips > 50) + noise
    assert told(frame, [DIP_TIME], SHINE).sentences[0] == (
        "From 10 to 90 s gloss falls by 0.47 GU (0.30 to 0.64): dip time moves it, but by less than the 0.5 GU that would "
        "matter."
    )


def test_an_end_of_a_range_does_not_round_to_nought():
    """The upper end is 0.009: a digit more than the range would ask for."""
    frame = made_up(seed=4, noise=(0.3, 0.3))
    high = told(frame, spec=GLOSS).term("scrub_cycles").high
    frame["y"] -= (high - 0.009) * (frame["scrub_cycles"] - 2.5) / 3
    assert starting(told(frame, spec=GLOSS), "Whether scrub cycles") == (
        "Whether scrub cycles matter for gloss is not settled: from 1 to 4 any change between −0.50 and +0.01 GU fits these "
        "tiles."
    )


def test_a_factor_that_matters_by_its_middle_is_told_in_one_sentence():
    """No slope, a clear bend: no "no sign" beside it."""
    tiles = scored(made_up(seed=4, strength=0.0, dip_time=-1.0))
    tiles["y"] = np.clip(tiles["y"] - 1 + (tiles["strength"] == 3), 1, 5)
    found = told(tiles, spec=SHINE)
    assert found.sentences[0] == (
        "Strength matters for gloss by its middle: halfway, at 3 g/L, gloss is 1.1 GU higher (0.7 to 1.6) than a straight "
        "line from 1 to 9 g/L would have it; from end to end the change is between −0.4 and +0.7 GU."
    )
    assert not any("Halfway" in sentence or "sign that strength" in sentence for sentence in found.sentences)
    assert found.term("strength").why == (
        "no slope from end to end is seen, but the middle lies off the line: see the bend of strength"
    )
    assert found.bend_instead("strength").verdict == "drives"
    assert found.drivers == ("strength",)


# --- noise ----------------------------------------------------------------------------------------------------------


def test_noise_too_poorly_measured_to_judge_by_is_not_told():
    """One story: too few tiles to measure the noise, so no figure of it either."""
    found = told(made_up(seed=4).iloc[[3, 5, 7, 10, 17]])
    assert found.variance == {"batch": None, "tile": None}
    assert not any("scatter" in sentence for sentence in found.sentences)
    assert starting(found, "With 4 scrub cycles") == (
        "With 4 scrub cycles the tiles were 4.9 L* darker than with 1 scrub cycle, but there are too few tiles to measure "
        "the noise between tiles, by which it must be judged."
    )


def test_sessions_are_spoken_of():
    """Beyond their baths; rough where there are few; nothing seen is said too."""
    four = made_up(seed=4, baths_each=4, sessions=4).assign(y=lambda frame: frame["y"] + 3 * frame["session"])
    assert told(four).sentences[-1] == "Sessions differ by about 5 L* beyond what their baths do."
    assert told(made_up(seed=4, sessions=2)).sentences[-1] == (
        "Sessions show no difference beyond that of their baths, though 2 sessions can hide some."
    )
    assert session_sentence({"batch": 1.0, "session": 0.64, "tile": 1.0}, LIGHTNESS, "bath", 2) == (
        "Sessions differ by about 0.8 L* beyond what their baths do, a rough figure from 2 sessions."
    )


@pytest.mark.parametrize(
    ("variance", "sentence"),
    [
        (
            {"batch": 1.0, "tile": 0.0},
            f"Baths made alike scatter by about 1.0 L* {EXPLAIN}, and tiles made alike in one bath show no scatter that "
            "could be told from chance.",
        ),
        (
            {"batch": 0.0, "tile": 1.0},
            f"Tiles made alike in one bath scatter by about 1.0 L* {EXPLAIN}; baths made alike show no scatter beyond that, "
            "though 6 baths can hide some.",
        ),
        ({"batch": None, "tile": None}, ""),
    ],
)
def test_no_scatter_is_not_told_as_nought(variance, sentence):
    """Nobody reads "scatter by about 0"."""
    assert noise_sentence(variance, LIGHTNESS, "bath", 6) == sentence


def test_repeats_that_agree_are_said_to_agree():
    """Nor "scatter by about 0"."""
    assert repeats_sentence({"tile": 1.0, "repeats": 0.0}, GLOSS) == (
        "Repeated measurements of one tile show no scatter that could be told from chance."
    )


# --- ranges for comparing -------------------------------------------------------------------------------------------


def test_level_means_have_ranges_for_comparing():
    """The luck that all levels share is left out: half the range of a two-level factor's change, and no more."""
    found = told(made_up(seed=4))
    one, four = found.main_effects["scrub_cycles"]
    change = found.term("scrub_cycles")
    assert four.high - four.low == pytest.approx((change.high - change.low) / 2)
    assert four.value == pytest.approx(found.predict({"scrub_cycles": 4.0}).value)
    luck = found.predict({"scrub_cycles": 4.0})
    assert luck.high - luck.low > 2 * (four.high - four.low)
    assert (one.low + one.high) / 2 == pytest.approx(one.value)


def test_the_grid_is_ranged_against_its_own_average():
    """Its ranges do not depend on where the average lies known; shifting one bath moves nothing within it."""
    found = told(made_up(seed=4))
    cells = [cell for row in found.interaction("dip_time", "scrub_cycles").cells for cell in row]
    assert all(cell.low < cell.value < cell.high for cell in cells)
    plain = found.predict({"dip_time": 10.0, "scrub_cycles": 1.0})
    assert cells[0].high - cells[0].low < plain.high - plain.low


def test_ranges_of_levels_are_given_where_that_factor_was_judged():
    """One bath for each strength: none for strength, and one for dip time all the same."""
    found = told(made_up(seed=4, baths_each=1))
    assert {mean.low for mean in found.main_effects["strength"]} == {None}
    assert all(mean.low is not None for mean in found.main_effects["dip_time"])


# --- reference tiles ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("drift", "sd", "verdict", "sentence"),
    [
        (
            3.0,
            0.5,
            "drifts",
            "From the first to the last reference tile of a bath the tile lightens by 3.2 L* (2.8 to 3.7): baths drift as "
            "they are used.",
        ),
        (
            1.2,
            0.5,
            "drifts",
            "From the first to the last reference tile of a bath the tile lightens by 1.4 L* (1.0 to 1.9): baths drift as "
            "they are used, but by less than the 2 L* that would matter.",
        ),
        (
            0.0,
            0.3,
            "no sign",
            "No sign that baths drift as they are used: from the first to the last reference tile of a bath the change is "
            "between −0.1 and +0.4 L*, and 2 L* would matter.",
        ),
        (
            0.0,
            3.0,
            "not settled",
            "Whether baths drift as they are used is not settled: from the first to the last reference tile of a bath any "
            "change between −1 and +4 L* fits these tiles.",
        ),
    ],
)
def test_reference_tiles_tell_of_drift(drift, sd, verdict, sentence):
    """First against last, each bath for itself."""
    found = told(with_references(drift, sd), [DIP_TIME])
    assert found.drift.verdict == verdict
    assert sentence in found.sentences
    assert (sentence in found.brief) == (verdict == "drifts")


def test_drift_is_the_mean_of_the_paired_differences():
    """With reference tiles at even distances the slope is last less first, averaged over the baths (arithmetic)."""
    tiles = with_references(1.0, 0.5)
    by_bath = tiles[tiles["reference"]].groupby("batch")["y"]
    found = told(tiles.sample(frac=1, random_state=3), [DIP_TIME]).drift
    assert found.effect == pytest.approx((by_bath.last() - by_bath.first()).mean())
    assert found.batches == 4
    ref = tiles[tiles["reference"]]
    place = np.tile([-1.0, 0.0, 1.0], 4)
    rest = ref["y"] - by_bath.transform("mean") - found.effect / 2 * place
    se = 2 * np.sqrt((rest**2).sum() / 7 / (place**2).sum())  # 12 tiles less 4 baths and a slope
    assert (found.high - found.low) / 2 == pytest.approx(2.364624 * se, rel=1e-5)  # Student's t, 7 df, 0.975


def test_one_pair_of_reference_tiles_cannot_tell():
    """Two tiles differ always."""
    found = told(with_references(1.0, 0.5, batches=1).iloc[:6], [DIP_TIME])
    assert starting(found, "Whether baths drift") == (
        "Whether baths drift as they are used cannot be told: it takes reference tiles first and last in two baths, or "
        "first, middle and last in one."
    )


def test_reference_tiles_do_not_count_among_those_that_pass():
    """Twelve of the 28 are for reference."""
    tiles = with_references(0.0, 0.5)
    tiles = tiles.assign(y=np.clip(np.round(tiles["y"] / 6 - 3), 1, 5))
    found = analyse_grades(tiles, [DIP_TIME], RUB, show=show, batch_word="bath")
    assert [(count.setting, count.passed, count.tiles) for count in found.pass_counts["dip_time"]] == [
        (10.0, 8, 8), (30.0, 0, 0), (90.0, 0, 8),
    ]  # fmt: skip
    assert starting(found, "Tiles that pass") == (
        "Tiles that pass (median grade 4 or better): 8 of 8 at 10 s and 0 of 8 at 90 s."
    )
    assert starting(found, "Altogether") == (
        "Altogether 8 of 16 tiles pass (median grade 4 or better; reference tiles are not counted)."
    )


# --- silly numbers --------------------------------------------------------------------------------------------------


def test_a_huge_offset_costs_no_digits():
    """The same changes with a million million added."""
    plain, far = told(made_up(seed=4), spec=GLOSS), told(made_up(seed=4).assign(y=lambda f: f["y"] + 1e12), spec=GLOSS)
    assert far.sentences == plain.sentences


def test_tiny_and_huge_values_are_written_in_powers_of_ten():
    """Neither 0.000000000002 nor 13000000000000."""
    tiny = told(made_up(seed=4).assign(y=lambda frame: frame["y"] * 1e-12), spec=GLOSS)
    assert (
        tiny.sentences[0]
        == "From 10 to 90 s gloss falls by 1 × 10⁻¹¹ GU (8 × 10⁻¹² to 1.2 × 10⁻¹¹): dip time drives it."
    )
    huge = told(made_up(seed=4).assign(y=lambda frame: frame["y"] * 1e12), spec=GLOSS)
    assert (
        huge.sentences[0] == "From 10 to 90 s gloss falls by 1 × 10¹³ GU (8 × 10¹² to 1.2 × 10¹³): dip time drives it."
    )


def test_hopeless_values_are_refused_with_the_tile():
    """Too large, or all but alike."""
    frame = made_up(seed=4)
    frame.loc[3, "y"] = 1e308
    with pytest.raises(NotEnoughError) as large:
        told(frame, spec=GLOSS, study="plaques")
    assert str(large.value) == (
        'Tile T03 has 1 × 10³⁰⁸ for gloss, which is too large to reckon with. Correct it with "tilestudy values plaques" (one '
        'by one) or "tilestudy enter plaques" (the filled forms).'
    )
    with pytest.raises(NotEnoughError) as small:
        told(made_up(seed=4).assign(y=lambda f: np.where(f["tile"] == "T07", 1e-300, 0.0)), spec=GLOSS)
    assert str(small.value) == (
        "The values of gloss differ by 1 × 10⁻³⁰⁰ at most (tile T07), which is too little to reckon with. State the values in "
        'a smaller unit, or correct them with "tilestudy values NAME" (one by one) or "tilestudy enter NAME" (the filled '
        "forms)."
    )


@settings(deadline=None, max_examples=40)
@given(
    st.lists(
        st.one_of(st.floats(allow_nan=False, allow_infinity=False), st.sampled_from([0.0, 1.0, 1e308, -1e308, 5e-324])),
        min_size=18,
        max_size=18,
    )
)
def test_any_finite_values_give_findings_or_a_refusal(values):
    """No warning (warnings are errors here), no overflow, finite numbers only."""
    try:
        found = told(made_up(baths_each=1).assign(y=values), spec=GLOSS)
    except NotEnoughError:
        return
    for term in found.terms:
        assert np.isfinite([end for end in (term.effect, term.low, term.high) if end is not None]).all()


# --- settings and messages ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("factor", "setting", "message"),
    [
        (
            "dip_time",
            0.0,
            "Tile T03 was made at dip time 0 s, and dip time is compared by doublings, which start above 0. Enter what was "
            'really used: tilestudy made plaques T03 --actual "dip_time=10 s" (with your number), or mark the tile spoiled: '
            "tilestudy made plaques T03 --spoiled.",
        ),
        (
            "strength",
            -1.0,
            "Tile T03 was made at strength −1 g/L, and strength is compared by doublings, which start above 0. Enter what was "
            'really used: tilestudy made plaques --batch B01 --actual "strength=1 g/L" (with your number), or mark the tile '
            "spoiled: tilestudy made plaques T03 --spoiled.",
        ),
    ],
)
def test_a_setting_of_nought_among_doublings_names_the_tile(factor, setting, message):
    """Old books may hold it."""
    tiles = made_up()
    tiles.loc[3, factor] = setting
    with pytest.raises(NotEnoughError) as caught:
        told(tiles, study="plaques")
    assert str(caught.value) == message


def test_the_difference_from_a_colour_has_its_article():
    """As part of a sentence it is "the difference"."""
    found = told(made_up(seed=4, strength=-12.0), spec=distance_spec("brilliant blue"))
    assert found.sentences[0] == (
        "From 1 to 9 g/L the difference from brilliant blue falls by 23 CIEDE2000 (16 to 30): strength drives it."
    )
    assert found.sentences[2] == (
        "Each doubling of strength lowers the difference from brilliant blue by 7 CIEDE2000 (5 to 9)."
    )


def test_messages_name_the_response_and_what_to_type():
    """Rub grades, declared responses."""
    with pytest.raises(NotEnoughError) as none:
        analyse_grades(made_up().iloc[:0], FACTORS, RUB, study="plaques")
    assert str(none.value) == (
        'No tile has a dry rub grade yet, and it takes several to compare. Enter them with "tilestudy rub plaques" (one by '
        'one) or "tilestudy enter plaques" (the filled forms).'
    )
    with pytest.raises(NotEnoughError) as few:
        told(made_up().iloc[[0, 6]], [STRENGTH], GLOSS)
    assert str(few.value) == (
        "2 tiles have a value of gloss, and to tell what strength does takes 2 alone, which leaves nothing to measure the "
        "noise with. Enter at least 3 tiles, better 6."
    )
    tiles = made_up()[lambda frame: frame["dip_time"] != 30.0]
    other = Factor("dip_time", (5.0, 10.0, 30.0, 90.0), "s", "s", "geometric")
    assert "No tile here has dip time 5 s or 30 s, so nothing is said of them." in told(tiles, [other, CYCLES]).cautions


def test_a_pair_of_level_by_level_factors_is_told_where_it_differs():
    """Only the middle heat changes what time does: the ends of the scale would show nothing."""
    rng = np.random.default_rng(5)
    grid = [(heat, dip) for heat in (360.0, 370.0, 380.0) for dip in (10.0, 90.0)] * 5
    frame = pd.DataFrame(grid, columns=["heat", "dip_time"]).assign(tile=range(30), batch=1, session=1)
    frame["y"] = np.where((frame["heat"] == 370.0) & (frame["dip_time"] == 90.0), 8.0, 0.0) + rng.normal(0, 1, 30)
    factors = [
        Factor("heat", (360.0, 370.0, 380.0), "degC", "degC", "steps"),
        Factor("dip_time", (10.0, 90.0), "s", "s"),
    ]
    assert starting(told(frame, factors, GLOSS), "The effect of") == (
        "The effect of heat depends on dip time: from 370 to 380 °C gloss falls by 8.7 GU (7.5 to 9.9) at 90 s; at 10 s any "
        "change between −0.8 and +1.6 GU fits these tiles."
    )
