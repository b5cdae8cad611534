"""Colour as one thing: verdicts, sentences, ranges, and what else the readings tell."""

import json
from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.analysis.strategies import DIP_TIME, FACTORS, STRENGTH, coloured, made_up, studies

from tilestudy.analysis.colour.as_one import colour_as_one
from tilestudy.analysis.colour.responses import (
    chroma_frame,
    chroma_spec,
    drift_frame,
    drift_spec,
    further_responses,
    mottle_frame,
)
from tilestudy.analysis.drivers import analyse
from tilestudy.analysis.findings import colour_spec
from tilestudy.colour.difference import ciede2000
from tilestudy.errors import NotEnoughError
from tilestudy.study.records import Factor, Reading
from tilestudy.study.units import show


def told(tiles, factors=FACTORS):
    """Colour as one thing of such tiles."""
    L, a, b = (analyse(tiles.assign(y=tiles[k]), factors, colour_spec(k), show=show, batch_word="bath") for k in "Lab")
    return colour_as_one(tiles, factors, L, a, b, np.random.default_rng(1), show=show, batch_word="bath")


def test_it_tells_colours_by_name_size_and_share():
    """The sentences of an invented study with four baths for each of two strengths, whole."""
    tiles = made_up(seed=4, baths_each=4)
    found = told(coloured(tiles[tiles["strength"] != 3.0].reset_index(drop=True)))
    assert found.sentences() == [
        "From 1 to 9 g/L the predicted colour moves from moderate yellowish brown to greyish reddish brown, by 13 CIEDE2000 "
        "(10 to 15): strength drives the colour.",
        "CIEDE2000 is a scale of how different two colours look: 1 is just visible side by side, 5 is plain to see.",
        "The range in brackets would contain the true change in 95 of 100 such studies.",
        "From 10 to 90 s the predicted colour moves within moderate brown, by 8.7 CIEDE2000 (6.8 to 10.6): dip time drives "
        "the colour.",
        "Whether scrub cycles matter for the colour is not settled: from 1 to 4 any move up to 1.8 CIEDE2000 fits these tiles.",
        "Of all colour variation between these tiles 66 % goes with strength, 22 % with dip time, 1 % with what factors do "
        "together, 4 % is bath luck and 7 % is scatter from tile to tile.",
    ]
    assert found.cautions() == [
        "With so few baths even the strongest effect of strength on the whole colour would come up by chance 3 times in 100, so "
        "it is judged by L*, a* and b* one by one. More baths would let the colour be judged as a whole."
    ]
    assert found.drivers == ("strength", "dip_time")
    assert (found.effect("strength").by, found.effect("dip_time").by) == ("channels", "colour")


def test_one_bath_for_each_strength_has_no_range_and_no_verdict():
    """The change is told, and that bath luck could be its cause."""
    found = told(coloured(made_up(baths_each=1)))
    strength = found.effect("strength")
    assert (strength.p, strength.change.low, strength.verdict) == (None, None, "cannot tell")
    assert found.sentences()[3].endswith(
        "by 16.1 CIEDE2000, but strength cannot be told from bath luck: make a second freshly made bath at each strength."
    )
    assert "76 % goes with strength or bath luck" in found.sentences()[-1]


def test_what_is_too_small_to_see_is_ruled_out():
    """A range that lies below 1 CIEDE2000."""
    found = told(coloured(made_up(seed=5, noise=(0.3, 0.3)), noise=0.2))
    assert found.effect("scrub_cycles").verdict == "no sign"
    assert (
        "No sign that scrub cycles matter for the colour: from 1 to 4 it moves by 0.24 CIEDE2000 at most, and 1 would just be "
        "visible." in found.sentences()
    )


def test_a_factor_whose_ends_look_alike_is_told_by_its_middle():
    """10 and 90 s alike, 30 s darker: the colour of the middle is told."""
    tiles = made_up(seed=4)
    tiles["y"] = 40 - 0.01 * tiles["y"] + np.where(tiles["dip_time"] == 30.0, -12.0, 0.0)
    sentence = told(coloured(tiles)).sentences()[0]
    assert sentence.startswith(
        "From 30 to 90 s the predicted colour moves from greyish reddish brown to moderate brown"
    )
    assert sentence.endswith("while 10 s and 90 s look more alike (0.15): dip time drives the colour.")


def test_equal_colours_are_said_to_be_equal():
    """No verdicts from nothing."""
    found = told(made_up().assign(L=20.0, a=1.0, b=2.0))
    assert found.sentences() == [
        "All tiles have one and the same colour, so these readings cannot tell whether any factor matters: a finer "
        "measurement may show more."
    ]
    assert found.cautions() == []


@settings(deadline=None, max_examples=10)
@given(studies(), st.integers(0, 99))
def test_any_study_gives_colour_findings(tiles, seed):
    """However many tiles were lost: finite numbers, ranges that hold the difference, sentences."""
    tiles = coloured(tiles, seed)
    try:
        found = told(tiles)
    except NotEnoughError:
        return
    json.dumps(found.as_dict(), allow_nan=False)
    assert found.sentences()
    for effect in found.effects:
        change = effect.change
        assert change.difference == pytest.approx(float(ciede2000(change.lab_low, change.lab_high)), abs=1e-6)
        if change.low is not None:
            assert 0 <= change.low <= change.difference <= change.high


def spots(tile, labs, stage="cured"):
    """Readings of one tile."""
    return [Reading(tile, stage, date(2026, 1, 1), *lab, spot=i + 1) for i, lab in enumerate(labs)]


def test_mottle_is_the_mean_difference_from_the_mean():
    """Two spots 4 L* apart: half of that, in CIEDE2000; a tile with one spot says nothing; other stages are left alone."""
    tiles = made_up().drop(columns="y")
    readings = [
        *spots("T00", [(48, 0, 0), (52, 0, 0)]),
        *spots("T01", [(50, 0, 0)]),
        *spots("T02", [(1, 1, 1)] * 2, "aged"),
    ]
    found = mottle_frame(tiles, readings, "cured")
    assert found["tile"].tolist() == ["T00"]
    assert found["y"].iloc[0] == pytest.approx(float(ciede2000((48, 0, 0), (50, 0, 0))), rel=0.01)
    with pytest.raises(NotEnoughError) as caught:
        mottle_frame(tiles, readings, "fresh")
    assert str(caught.value) == (
        "No tile was measured fresh at two spots or more, so whether its colour is even is not known. Measure two more spots on "
        "each tile and enter them as spots 2 and 3."
    )


def test_mottle_of_few_spots_is_brought_to_the_usual_number():
    """Fewer spots lie nearer to their own mean: the same scatter gives the same mottle, within a few per cent."""
    rng = np.random.default_rng(2)
    tiles = pd.DataFrame({"tile": range(600)})
    readings = [r for i in range(600) for r in spots(i, 50 + rng.normal(size=(3 if i < 400 else 2, 3)))]
    found = mottle_frame(tiles, readings, "cured")
    assert found["y"][:400].mean() == pytest.approx(found["y"][400:].mean(), rel=0.1)


def test_chroma_is_that_of_the_mean_colour():
    """3, 4 gives 5."""
    assert chroma_frame(pd.DataFrame({"a": [3.0], "b": [4.0]}))["y"].tolist() == [5.0]
    assert chroma_spec().smallest_that_matters == 2.0


def drifting(batches, per_gram=0.5):
    """Baths with a reference tile first and last; strong ones drift further."""
    rng = np.random.default_rng(0)
    return pd.DataFrame(
        [
            {"tile": f"{i}{last}", "batch": f"B{i}", "session": 1, "reference": True, "order": 9 * last,
             "strength": (1.0, 9.0)[i % 2], "dip_time": 30.0 + last,
             "L": 40 - per_gram * last * (1.0, 9.0)[i % 2] + rng.normal(0, 0.2), "a": 10.0, "b": 10.0}
            for i in range(batches) for last in (0, 1)
        ]
    )  # fmt: skip


def test_what_makes_a_bath_drift_is_asked_of_what_is_set_per_bath():
    """One row a bath, from its first and last reference tile; strength drives it, dip time is not asked."""
    frame, factors = drift_frame(drifting(8), (STRENGTH, DIP_TIME), "lightness", "bath")
    assert (len(frame), factors) == (8, (STRENGTH,))
    found = analyse(frame, factors, drift_spec("lightness", "bath"), show=show, batch_word="bath")
    assert found.sentences[0].startswith(
        "From 1 to 9 g/L the drift of a bath (last reference tile less first) falls by 4.1 L* (3.8 to 4.4)"
    )
    assert drift_frame(drifting(8), (STRENGTH,), "colour")[0]["y"].min() >= 0


@pytest.mark.parametrize(
    ("batches", "factors", "message"),
    [
        (
            3,
            (STRENGTH,),
            "3 baths had a reference tile first and last with a colour reading, and to tell what makes a bath drift takes 4 "
            "baths at least. Plan reference tiles in each bath.",
        ),
        (
            8,
            (DIP_TIME,),
            "No factor is set per bath (dip time: all set per tile), so nothing here can make one bath drift more than another.",
        ),
    ],
)
def test_drift_with_too_little_to_go_by_is_refused(batches, factors, message):
    """Few baths; nothing set per bath."""
    with pytest.raises(NotEnoughError) as caught:
        drift_frame(drifting(batches), factors, "lightness", "bath")
    assert str(caught.value) == message


def test_what_readings_can_tell_is_listed():
    """Chroma always, mottle with several spots, drift with reference tiles in enough batches."""
    tiles = drifting(8)
    readings = [one for tile in tiles["tile"] for one in spots(tile, [(40, 0, 0), (42, 0, 0)])]
    every = further_responses(
        tiles.drop(columns=["L", "a", "b"]), tiles, readings, (STRENGTH, DIP_TIME), "cured", "bath"
    )
    assert [spec.name for _, spec, _ in every] == ["chroma", "mottle", "drift_L", "drift"]
    few = further_responses(tiles[:6], tiles[:6], [], (STRENGTH, DIP_TIME), "cured", "bath")
    assert [spec.name for _, spec, _ in few] == ["chroma"]


def test_named_levels_are_told_from_one_to_the_other():
    """The two that lie farthest apart, their range widened for three pairs."""
    rng = np.random.default_rng(0)
    seal = ["none", "wax", "lacquer"] * 6
    y = 40 + np.array([{"none": 0.0, "wax": -1.0, "lacquer": -9.0}[one] for one in seal]) + rng.normal(0, 1, 18)
    tiles = pd.DataFrame({"tile": range(18), "batch": 1, "session": 1, "seal": seal, "y": y})
    found = told(coloured(tiles), [Factor("seal", ("none", "wax", "lacquer"), spacing="steps")])
    assert found.sentences()[0].startswith("From none to lacquer the predicted colour moves from moderate brown")
    assert found.effect("seal").verdict == "drives"
