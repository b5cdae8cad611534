"""Other plans, losses and predictions: each plan can be had as told, and the pictures hold against textbook values."""

from dataclasses import replace

import numpy as np
import pytest

from tests.design.test_layout import CLOCK, PLAQUES
from tilestudy.design import appraisal_words
from tilestudy.design.alternatives import alternatives, counts, trades, within
from tilestudy.design.appraise import Noise, appraise
from tilestudy.design.best import lay_out_best
from tilestudy.design.full_appraisal import appraise_fully
from tilestudy.design.layout import choose_size, lay_out
from tilestudy.design.prediction import prediction_picture
from tilestudy.design.robustness import robustness
from tilestudy.errors import PlanError
from tilestudy.paper.variance_chart import prediction_error
from tilestudy.study.records import Factor, Limits, Plan, Study

NOISE = Noise(3.0, 3.0, "L*", "lightness")


def make(study: Study) -> Plan:
    """Lay out as `plan` does: the grid where it fits, else the best tiles."""
    try:
        choose_size(study, CLOCK)
    except PlanError:
        return lay_out_best(study, CLOCK, 1).plan
    return lay_out(study, CLOCK, 1)


def test_each_other_plan_is_had_by_the_limits_told_and_the_cheapest_enough_is_marked() -> None:
    """Three to five plans; the counts printed, put under [limits], give that very plan; enough is 10 L* for every factor."""
    found = alternatives(PLAQUES, make(PLAQUES), make, NOISE, CLOCK, 10.0)
    assert 3 <= len(found) <= 5
    for one in found:
        again = make(within(PLAQUES, *one.counts)) if not one.current else one.plan
        assert (counts(again), again.tiles) == (one.counts, one.plan.tiles)
        assert one.adequate == all(f.smallest is not None and f.smallest <= 10.0 for f in one.appraisal.factors)
    (cheapest,) = (one for one in found if one.cheapest)
    assert cheapest.adequate
    assert cheapest.minutes == min(one.minutes for one in found if one.adequate)
    assert [one.minutes for one in found] == sorted(one.minutes for one in found)


def test_the_trade_between_many_small_baths_and_few_large_ones_is_told() -> None:
    """The same tiles in one bath for each strength cannot tell it from bath luck; in twice as many baths they see more."""
    study = replace(PLAQUES, limits=Limits(tiles=36))
    full = appraise_fully(study, make(study), make, NOISE, CLOCK, "bath")
    (said,) = (some for heading, some in appraisal_words.blocks(full) if heading == "The same tiles in other baths")
    assert said == [
        "Strength, with these 36 tiles: as 3 baths of 12 it cannot be told from bath luck; as 6 baths of 6 a change of 14 L* or "
        "more would likely be seen; as 12 baths of 3 a change of 7.7 L* or more would likely be seen."
    ]
    few, now, many = trades(study, full.plan, NOISE)
    assert (few.batches, now.batches, many.batches) == (3, 6, 12)


def test_losing_a_bath_costs_what_a_plan_without_it_would_see() -> None:
    """Two strengths in three baths: without the one made only once, strength cannot be told; sampled losses are repeatable."""
    strength, dip = Factor("strength", (1.0, 9.0), set_per="batch"), Factor("dip", (1.0, 2.0, 3.0))
    study = Study("s", "", "other", (strength, dip), batches_each=2)
    plan = lay_out(study, CLOCK, 1)
    once = [b.code for b in plan.batches if b.settings["strength"] == 9.0][1]
    short = replace(
        plan,
        batches=tuple(b for b in plan.batches if b.code != once),
        tiles=tuple(t for t in plan.tiles if t.batch != once),
    )
    whole = appraise(study, short, NOISE)
    found = robustness(study, short, whole, 1)
    lost = {one.factor: one for one in found.batch}["strength"]
    assert lost.untellable == pytest.approx(1.0)  # with either of the two alike gone, nothing shows bath luck
    assert {one.factor: one for one in found.batch}["dip"].worst is not None
    assert found == robustness(study, short, whole, 1)
    wider = lay_out(replace(study, batches_each=4), CLOCK, 1)
    whole = appraise(study, wider, NOISE)
    lost = robustness(study, wider, whole, 1).batch[0]
    one_less = replace(
        wider, batches=wider.batches[1:], tiles=tuple(t for t in wider.tiles if t.batch != wider.batches[0].code)
    )
    seen = appraise(study, one_less, NOISE).factors[0].smallest
    assert seen is not None
    assert whole.factors[0].smallest is not None
    assert lost.worst == pytest.approx(seen / whole.factors[0].smallest)


def test_the_prediction_picture_has_the_textbook_variance_at_the_corners() -> None:
    """2^2 replicated, one bath: variance 4/n at the corners and 1/n in the middle (Box & Draper 2007, chapter 14)."""
    study = Study("s", "", "other", (Factor("a", (1.0, 3.0)), Factor("b", (1.0, 3.0))), batches_each=1)
    plan = lay_out(study, CLOCK, 1)
    twice = replace(plan, tiles=(*plan.tiles, *(replace(t, code=f"{t.code}b") for t in plan.tiles)))
    picture = prediction_picture(study, twice, NOISE)
    assert picture is not None
    assert picture.worst == pytest.approx(np.sqrt(4 / 8))
    assert picture.best == pytest.approx(np.sqrt(1 / 8))


def test_the_prediction_chart_is_the_same_each_time_and_names_its_axes() -> None:
    """With two scales, a named factor, and one factor alone."""
    for factors in (
        PLAQUES.factors,
        (PLAQUES.factors[0], Factor("metal", ("brass", "copper"), spacing="steps")),
        PLAQUES.factors[1:2],
    ):
        study = replace(PLAQUES, factors=factors)
        picture = prediction_picture(study, lay_out(study, CLOCK, 1), NOISE)
        assert picture is not None
        drawn = prediction_error(picture, tile_sd=3.0, unit="L*")
        assert drawn == prediction_error(picture, tile_sd=3.0, unit="L*")
        for factor in (picture.across, picture.up):
            assert factor is None or factor.label in drawn.decode()
