"""The layout: the full grid, whole plots, fresh batches, limits, codes, and the same plan from the same seed."""

from collections import Counter, defaultdict
from dataclasses import replace
from itertools import product
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tilestudy.design.codes import deal_codes
from tilestudy.design.layout import Clock, choose_size, lay_out
from tilestudy.errors import PlanError
from tilestudy.study.records import Factor, Limits, Study

CLOCK = Clock(setup=45, clear=15, batch=6, tile=1, cycle=0.5)
STRENGTH = Factor("strength", (1.0, 3.0, 9.0), "g/L", "g/L", "geometric", "batch")
DIP = Factor("dip_time", (10.0, 30.0, 90.0), "s", "s", "geometric", "tile")
SCRUB = Factor("scrub_cycles", (1.0, 4.0), spacing="geometric", set_per="tile")
PLAQUES = Study("plaques", "", "sulfide-dip", (STRENGTH, DIP, SCRUB), limits=Limits(minutes=150))

factors = st.lists(
    st.tuples(st.integers(2, 3), st.sampled_from(["tile", "tile", "batch", "session"])), min_size=1, max_size=4
).map(
    lambda made: tuple(
        Factor(f"f{i}", tuple(float(n) for n in range(count)), set_per=where) for i, (count, where) in enumerate(made)
    )
)


@settings(max_examples=60, deadline=None)
@given(factors, st.booleans(), st.integers(1, 3), st.integers(0, 99))
def test_a_layout_keeps_its_promises(made: tuple[Factor, ...], references: bool, each: int, seed: int) -> None:
    """Every combination as often as every other; per-batch settings constant in a batch; order a permutation."""
    study = Study("s", "", "other", made, reference_tiles=references, batches_each=each)
    plan = lay_out(study, CLOCK, seed)
    grid = Counter(tuple(t.settings[f.name] for f in made) for t in plan.tiles if not t.reference)
    assert set(grid) == set(product(*(f.levels for f in made)))
    assert len(set(grid.values())) == 1
    assert len({tile.code for tile in plan.tiles}) == len(plan.tiles)
    orders = defaultdict(list)
    for tile in plan.tiles:
        orders[tile.batch].append(tile.order)
        batch = plan.batch(tile.batch)
        assert tile.session == batch.session
        for factor in made:
            if factor.set_per != "tile":
                assert tile.settings[factor.name] == batch.settings[factor.name]
    assert all(sorted(order) == list(range(1, len(order) + 1)) for order in orders.values())
    by_session = defaultdict(set)
    for batch in plan.batches:
        by_session[batch.session].add(tuple(batch.settings[f.name] for f in made if f.set_per == "session"))
    assert all(len(found) == 1 for found in by_session.values())
    fresh = Counter(tuple(sorted(batch.settings.items())) for batch in plan.batches)
    assert set(fresh.values()) == {each}
    if references:
        for batch in plan.batches:
            marks = [tile.reference for tile in plan.tiles if tile.batch == batch.code]
            assert marks[0]
            assert marks[-1]
            assert sum(marks) == 3
    assert lay_out(study, CLOCK, seed) == plan


def test_the_usual_study_gets_two_fresh_baths_for_each_strength_over_two_sessions() -> None:
    """3 strengths x 3 dips x 2 scrubs: 36 tiles, 6 baths, and every session has every strength."""
    plan = lay_out(PLAQUES, CLOCK, 7)
    assert (len(plan.tiles), len(plan.batches)) == (36, 6)
    for session in (1, 2):
        assert sorted(float(b.settings["strength"]) for b in plan.batches if b.session == session) == [1, 3, 9]


def test_the_same_seed_gives_the_same_plan_on_every_platform() -> None:
    """The first tiles of seed 7, written down here, do not change."""
    plan = lay_out(PLAQUES, CLOCK, 7)
    assert [(t.code, t.batch, t.settings["dip_time"], t.settings["scrub_cycles"]) for t in plan.tiles[:4]] == [
        ("E3", "B1", 10.0, 4.0),
        ("A3", "B1", 30.0, 4.0),
        ("D7", "B1", 90.0, 4.0),
        ("R4", "B1", 10.0, 1.0),
    ]


@pytest.mark.parametrize(
    ("limits", "batches", "tiles"),
    [
        (Limits(tiles=20), 6, 18),  # the grid once, shared over two baths of each strength
        (Limits(batches=3), 3, 18),  # one bath of each strength: the plan then says what that costs
        (Limits(tiles_per_batch=3), 12, 36),
        (Limits(tiles_per_batch=3, tiles=18), 6, 18),
    ],
)
def test_limits_are_kept_and_fresh_baths_come_before_more_tiles(limits: Limits, batches: int, tiles: int) -> None:
    """Each strength still gets two baths wherever the limits allow, with fewer tiles in each."""
    plan = lay_out(replace(PLAQUES, limits=limits), CLOCK, 1)
    assert (len(plan.batches), len(plan.tiles)) == (batches, tiles)
    shares = defaultdict(set)
    for tile in plan.tiles:
        shares[tile.settings["strength"]].add((tile.settings["dip_time"], tile.settings["scrub_cycles"]))
    assert all(len(found) == 6 for found in shares.values())


def test_a_grid_that_does_not_fit_says_what_it_needs() -> None:
    """Nothing is refused silently."""
    with pytest.raises(PlanError) as caught:
        lay_out(replace(PLAQUES, limits=Limits(tiles=12)), CLOCK, 1)
    assert str(caught.value) == (
        "The full grid does not fit the limits. At the least it needs 18 tiles (limit 12). Raise that under [limits] in "
        "the study file, or drop a level: the grid is 3 strength x 3 dip time x 2 scrub cycles."
    )
    with pytest.raises(PlanError) as caught:
        lay_out(replace(PLAQUES, limits=Limits(minutes=60)), CLOCK, 1)
    assert "Even the smallest batch needs about" in str(caught.value)


def test_a_session_too_short_for_a_whole_bath_gets_smaller_baths() -> None:
    """With 75 minutes a bath of six does not fit; baths of three do."""
    size, _ = choose_size(replace(PLAQUES, limits=Limits(minutes=78)), CLOCK)
    assert size.tiles_per_batch < 6


@given(st.integers(1, 400), st.sets(st.sampled_from([a + b for a in "ACDEFH" for b in "347"])))
def test_codes_are_unique_short_and_without_look_alikes(count: int, taken: set[str]) -> None:
    """Common practice, no source: no 0 O 1 I L 2 Z 5 S 6 9 G 8 B on stamped tiles."""
    codes = deal_codes(count, taken, Random(3))
    assert len(set(codes)) == count
    assert not set(codes) & taken
    assert not set("".join(codes)) & set("0O1IL2Z5S69G8BQUVMW")
    assert max(map(len, codes)) <= 3


def test_short_sessions_share_the_settings_out_evenly() -> None:
    """Three temperatures, two loads a session: whatever the seed, no session has the same temperature twice."""
    heat = replace(PLAQUES, factors=(replace(STRENGTH, name="temperature"), DIP), limits=Limits(batches_per_session=2))
    for seed in range(8):
        plan = lay_out(heat, CLOCK, seed)
        for session in (1, 2, 3):
            assert len({b.settings["temperature"] for b in plan.batches if b.session == session}) == 2
