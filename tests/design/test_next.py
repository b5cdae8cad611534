"""The tiles that teach most about what is undecided, what they buy, and the tiles that confirm a choice."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.design.test_extend import CLOCK, DIP, NOISE, PLAQUES, SCRUB, STRENGTH
from tilestudy.design.extend import Extension, Request, bought_near, extend
from tilestudy.design.extend.bought_near import width_at, width_of
from tilestudy.design.layout import lay_out
from tilestudy.design.optimal import Problem, appraise_settings
from tilestudy.errors import PlanError, WrongRequestError
from tilestudy.study.records import Bound, Factor, Limits, Plan, Setting, Study

CHOICE: dict[str, Setting] = {"strength": 4.0, "dip_time": 50.0, "scrub_cycles": 2.0}
MADE = lay_out(PLAQUES, CLOCK, 1)


def more(wanted: Request, study: Study = PLAQUES, plan: Plan = MADE) -> Extension:
    """Extend a plan by codes not used yet."""
    return extend(study, CLOCK, plan, wanted, NOISE, taken={tile.code for tile in plan.tiles}, word="bath")


def half_width(wanted: Request, settings: dict[str, Setting] = CHOICE) -> float:
    """The range of the mean at settings once the tiles are made."""
    found = width_at(PLAQUES, MADE, more(wanted).grown(MADE), NOISE, settings).after
    assert found is not None
    return found


@settings(max_examples=12, deadline=None)
@given(
    st.fixed_dictionaries(
        {"strength": st.sampled_from([1.0, 2.0, 5.0, 9.0]), "dip_time": st.floats(10, 90), "scrub_cycles": st.just(2.0)}
    ),
    st.integers(2, 3),
)
def test_tiles_near_a_choice_tell_more_there_than_tiles_for_the_whole_range(
    choice: dict[str, Setting], baths: int
) -> None:
    """Wherever the choice lies, the same number of tiles in the same number of baths gives the narrower range there."""
    near = Request("next", baths, 3 * baths, near=(choice,))
    assert half_width(near, choice) <= half_width(Request("tiles", baths, 3 * baths), choice) * 1.001


def test_what_they_buy_is_told_as_the_width_of_the_range_there() -> None:
    """Six tiles near the choice narrow its range by over a third; six for the whole range by half of that."""
    found = {}
    for wanted in (Request("next", 2, 6, near=(CHOICE,)), Request("tiles", 2, 6)):
        (found[wanted.kind],) = bought_near(PLAQUES, MADE, more(wanted).grown(MADE), NOISE, (CHOICE,), word="bath")
    assert found["next"] == (
        "At strength 4 g/L, dip time 50 s, scrub cycles 2: the 95 % range of the mean of tiles made there would narrow from about "
        "±6.7 L* to ±4.1 L* (38 % narrower). This reckons with the noise of 3 L* between baths and 3 L* between tiles."
    )
    assert "(16 % narrower)" in found["tiles"]


def test_a_confounded_pair_is_told_apart() -> None:
    """Two factors that always went together: one addition that varies them apart, with what it buys."""
    both = replace(PLAQUES, factors=(replace(DIP, levels=(10.0, 90.0)), SCRUB))
    together = replace(
        lay_out(both, CLOCK, 1),
        tiles=tuple(one for one in lay_out(both, CLOCK, 1).tiles if (one.settings["dip_time"] == 10) == (one.settings["scrub_cycles"] == 1)),
    )  # fmt: skip
    added = more(Request("next", 2, 6, unsure=("dip_time", "scrub_cycles")), both, together)
    assert {(one.settings["dip_time"] == 10) == (one.settings["scrub_cycles"] == 1) for one in added.tiles} >= {False}
    assert "these tell most of the effect of dip time and of the effect of scrub cycles" in added.says[1]
    width = width_of(both, together, added.grown(together), NOISE, "scrub_cycles")
    assert width.before is None
    assert width.after is not None
    told = bought_near(both, together, added.grown(together), NOISE, unsure=("scrub_cycles",), word="bath")
    assert told[0].startswith(
        "The effect of scrub cycles could not be told before; now its 95 % range would be about ±"
    )


def test_a_bend_that_is_unsure_is_met_by_tiles_in_the_middle() -> None:
    """Two settings made so far; the new tiles take the third, and the bend can be told."""
    two = replace(PLAQUES, factors=(STRENGTH, replace(DIP, levels=(10.0, 90.0)), SCRUB))
    plan = lay_out(two, CLOCK, 1)
    three = replace(two, factors=(STRENGTH, DIP, SCRUB))
    added = more(Request("next", 2, 6, unsure=("dip_time (bend)",)), three, plan)
    assert {one.settings["dip_time"] for one in added.tiles} >= {30.0}
    assert width_of(three, plan, added.grown(plan), NOISE, "dip_time (bend)").before is None


def test_limits_rules_and_workable_settings_hold() -> None:
    """New sessions after those there; no more in a bath than fits; only settings at hand or the choice's own; no ruled out ones."""
    study = replace(
        PLAQUES,
        limits=Limits(minutes=150, tiles_per_batch=6),
        never=((Bound("strength", "above", 5.0), Bound("dip_time", "above", 60.0)),),
    )
    plan = lay_out(study, CLOCK, 1)
    added = more(Request("next", 3, 9, near=(CHOICE,)), study, plan)
    assert len(added.tiles) == 9
    assert min(batch.session for batch in added.batches) == max(batch.session for batch in plan.batches) + 1
    assert all(study.allows(tile.settings) for tile in added.tiles)
    assert {tile.settings["dip_time"] for tile in added.tiles} <= {10.0, 30.0, 50.0, 90.0}
    assert {tile.settings["strength"] for tile in added.tiles} <= {1.0, 3.0, 4.0, 9.0}
    assert {tile.settings["scrub_cycles"] for tile in added.tiles} <= {1.0, 2.0, 4.0}
    with pytest.raises(PlanError, match=r"^9 tiles in 1 bath is more than the 6 that tiles_per_batch leaves in each\."):
        more(Request("next", 1, 9, near=(CHOICE,)), study, plan)
    crowded = replace(study, limits=replace(study.limits, tiles=len(plan.tiles) + 4))
    assert len(more(Request("next", 2, 6, near=(CHOICE,)), crowded, plan).tiles) == 6  # that bounds the first plan only


def test_a_choice_is_confirmed_by_tiles_all_alike_in_fresh_batches() -> None:
    """Four tiles at the one setting in two new baths of a new session, without reference tiles."""
    study = replace(PLAQUES, reference_tiles=True)
    plan = lay_out(study, CLOCK, 1)
    added = more(Request("confirm", near=(CHOICE,)), study, plan)
    assert [dict(tile.settings) for tile in added.tiles] == [CHOICE] * 4
    assert [batch.settings for batch in added.batches] == [{"strength": 4.0}] * 2
    assert not any(tile.reference for tile in added.tiles)
    assert {batch.session for batch in added.batches} == {max(batch.session for batch in plan.batches) + 1}
    assert added.says[1] == (
        "Every tile is made at strength 4 g/L, dip time 50 s, scrub cycles 2, as the handout will say: nothing else is varied."
    )
    assert (
        "One bath cannot show how much the next will differ" in more(Request("confirm", 1, 4, near=(CHOICE,))).says[2]
    )


@pytest.mark.parametrize(
    ("wanted", "says"),
    [
        (
            Request("next", 2, 6),
            'Nothing was named as undecided. For the tiles that tell most over the whole range type "tilestudy extend plaques '
            '--tiles 6".',
        ),
        (
            Request("next", 2, 6, near=({**CHOICE, "dip_time": 120.0},)),
            "Dip time 120 s lies outside what the study spans, 10 s to 90 s. Stay within, or widen its levels in the study file.",
        ),
        (
            Request("next", 2, 6, near=({"strength": 3.0},)),
            "Give a setting of dip time and scrub cycles too: a tile needs one of every factor.",
        ),
        (Request("next", 2, 6, near=({**CHOICE, "heat": 3.0},)), '"heat" is no factor of plaques.'),
        (Request("next", 2, 6, unsure=("dip_tim (bend)",)), '"dip_tim" is no factor of plaques. Did you mean "dip_time"?'),
        (
            Request("next", 2, 6, unsure=("dip_time x dip_time",)),
            '"dip_time x dip_time" is no term: write a factor, "strength (bend)" or two factors with x between.',
        ),
        (Request("confirm", 2, 4), "No setting to confirm: give one at a time."),
        (Request("confirm", 2, 4, near=(CHOICE, CHOICE)), "2 settings to confirm: give one at a time."),
        (
            Request("confirm", 5, 4, near=(CHOICE,)),
            "4 tiles cannot fill 5 baths. Nearest: --tiles 5 --batches 5, or --tiles 4 --batches 4.",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_asked_is_refused_plainly(wanted: Request, says: str) -> None:
    """What is wrong and what to type."""
    with pytest.raises((PlanError, WrongRequestError)) as caught:
        more(wanted)
    assert str(caught.value) == says


def test_a_ruled_out_choice_and_a_named_level_nobody_knows_are_refused() -> None:
    """Both with what may be chosen."""
    study = replace(
        PLAQUES,
        factors=(STRENGTH, DIP, Factor("finish", ("brushed", "sanded"), spacing="steps")),
        never=((Bound("strength", "above", 3.0), Bound("dip_time", "above", 40.0)),),
    )
    plan = lay_out(study, CLOCK, 1)
    for at, says in (
        (
            {"strength": 4.0, "dip_time": 50.0, "finish": "sanded"},
            "is ruled out by [[never]] in the study file. Choose another.",
        ),
        (
            {"strength": 3.0, "dip_time": 50.0, "finish": "oiled"},
            "is none of the study's levels. Choose brushed or sanded.",
        ),
    ):
        with pytest.raises(PlanError) as caught:
            more(Request("confirm", near=(at,)), study, plan)
        assert says in str(caught.value)


def test_settings_asked_about_in_a_problem_are_checked() -> None:
    """The engine itself refuses what it cannot code."""
    problem = Problem((DIP, SCRUB), (8,), eta=0.0, model="main effects")
    at = [(10.0, 1.0), (90.0, 4.0), (10.0, 4.0), (90.0, 1.0)] * 2
    whole, _ = appraise_settings(problem, at)
    middle, _ = appraise_settings(replace(problem, near=({"dip_time": 30.0, "scrub_cycles": 2.0},)), at)
    assert middle == pytest.approx(1 / 8)  # at the centre the mean alone is unsure
    assert whole == pytest.approx(1 / 8 * (1 + 2 / 3))  # main effects add 1/3 each over the region
    effect, _ = appraise_settings(replace(problem, unsure=(("dip_time",),)), at)
    assert effect == pytest.approx(1 / 8)
    with pytest.raises(PlanError, match="Predictions are wanted at scrub cycles None"):
        appraise_settings(replace(problem, near=({"dip_time": 30.0},)), at)
    with pytest.raises(PlanError, match="is asked about and is not in the model"):
        appraise_settings(replace(problem, unsure=(("dip_time", "scrub_cycles"),)), at)
