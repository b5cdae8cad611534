"""Chosen tiles and textbook plans, laid out: limits and rules kept, per-batch settings constant, the same from one seed."""

from collections import Counter, defaultdict
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.design.test_layout import CLOCK, PLAQUES
from tilestudy.design.best import chosen_in_words, lay_out_best
from tilestudy.design.textbook import KINDS, lay_out_textbook, textbook_in_words
from tilestudy.errors import PlanError
from tilestudy.study.records import Bound, Choice, Limits, Plan, Study

NEVER = ((Bound("strength", "above", 5.0), Bound("dip_time", "above", 60.0)),)


def check(study: Study, plan: Plan) -> None:
    """What every plan keeps."""
    assert len({tile.code for tile in plan.tiles}) == len(plan.tiles)
    orders = defaultdict(list)
    for tile in plan.tiles:
        batch = plan.batch(tile.batch)
        orders[tile.batch].append(tile.order)
        assert study.allows(tile.settings)
        assert all(tile.settings[name] == value for name, value in batch.settings.items())
        assert set(tile.settings) == {factor.name for factor in study.factors}
    assert all(sorted(order) == list(range(1, len(order) + 1)) for order in orders.values())
    limits = study.limits
    assert limits.tiles is None or len(plan.tiles) <= limits.tiles
    assert limits.batches is None or len(plan.batches) <= limits.batches
    assert limits.tiles_per_batch is None or max(map(len, orders.values())) <= limits.tiles_per_batch


@settings(max_examples=25, deadline=None)
@given(
    st.integers(9, 40),
    st.integers(4, 9),
    st.sampled_from([None, 3, 5]),
    st.booleans(),
    st.booleans(),
    st.integers(0, 50),
)
def test_the_best_tiles_keep_limits_and_rules(
    tiles: int, batches: int, room: int | None, references: bool, ruled: bool, seed: int
) -> None:
    """Whatever the limits, the plan keeps them, or the request is refused with the reason."""
    limits = Limits(tiles=tiles, batches=batches, tiles_per_batch=room)
    study = replace(PLAQUES, limits=limits, reference_tiles=references, never=NEVER if ruled else (), choose="best")
    try:
        found = lay_out_best(study, CLOCK, seed)
    except PlanError:
        assert tiles < 3 * batches or room is not None or references  # refused only where there is no room to choose
        return
    check(study, found.plan)
    assert lay_out_best(study, CLOCK, seed).plan == found.plan


def test_eighteen_tiles_carry_bends_and_two_baths_of_each_strength() -> None:
    """The usual class: 18 tiles, 6 baths; fresh baths come before more tiles in a bath."""
    study = replace(PLAQUES, limits=Limits(tiles=18, batches=8, minutes=150), choose="best")
    found = lay_out_best(study, CLOCK, 7)
    assert found.model == "quadratic"
    assert len(found.plan.tiles) == 18
    assert Counter(batch.settings["strength"] for batch in found.plan.batches) == {1.0: 2, 3.0: 2, 9.0: 2}
    assert chosen_in_words(study, found)[0].startswith(
        "The study file asks for the best tiles, not for the whole grid: "
    )


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind not in ("screening", "array")])
def test_each_textbook_family_that_fits_is_laid_out(kind: Choice) -> None:
    """Fresh batches for each per-batch setting, and the family named with its source."""
    study = replace(PLAQUES, limits=Limits(tiles=40), choose=kind)
    found = lay_out_textbook(study, CLOCK, 3)
    check(study, found.plan)
    fresh = Counter(batch.settings["strength"] for batch in found.plan.batches)
    assert min(fresh.values()) >= 2
    assert found.candidate.family.source in textbook_in_words(study, found)[0]
    assert len(found.plan.tiles) == found.times * found.candidate.tiles


@pytest.mark.parametrize("kind", ["screening", "array"])
def test_a_family_that_does_not_fit_names_those_that_do(kind: Choice) -> None:
    """Three factors need no screening of twelve tiles."""
    with pytest.raises(PlanError) as caught:
        lay_out_textbook(replace(PLAQUES, choose=kind), CLOCK, 3)
    assert str(caught.value) == (
        f"No {kind} fits these factors, their numbers of levels. These do: two-level grid, fraction, definitive screening, composite, "
        "box-behnken. Change choose in the study file."
    )


def test_a_family_too_large_says_what_it_needs() -> None:
    """Nothing is refused without the number."""
    study = replace(PLAQUES, limits=Limits(tiles=10), choose="composite")
    with pytest.raises(PlanError) as caught:
        lay_out_textbook(study, CLOCK, 3)
    assert "No composite fits the limits; the smallest, central composite" in str(caught.value)
    assert "needs 17 tiles (limit 10)" in str(caught.value)
