"""Sheet lots: spread so that none goes with a batch or a level."""

from collections import Counter
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.design.test_layout import CLOCK, PLAQUES
from tilestudy.design.layout import lay_out
from tilestudy.design.lots import lot_of_tiles, lots_in_words
from tilestudy.study.records import Metal


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 200), st.integers(2, 3))
def test_every_batch_and_every_level_gets_about_as_many_tiles_of_each_lot(seed: int, many: int) -> None:
    """Within a batch, and at each level of each factor, the counts differ by one at most."""
    study = replace(PLAQUES, metal=Metal("C11000", lot=", ".join("ABC"[:many])))
    plan = lay_out(study, CLOCK, seed)
    dealt = lot_of_tiles(study, plan)
    for batch in plan.batches:
        counts = Counter(dealt[tile.code] for tile in plan.tiles if tile.batch == batch.code)
        assert len(counts) == many
        assert max(counts.values()) - min(counts.values()) <= 1
    for factor in study.factors:
        for level in factor.levels:
            counts = Counter(dealt[tile.code] for tile in plan.tiles if tile.settings[factor.name] == level)
            assert len(counts) == many
            assert max(counts.values()) - min(counts.values()) <= 1


def test_one_lot_needs_no_word() -> None:
    """Nothing is said or listed where there is nothing to spread."""
    plan = lay_out(PLAQUES, CLOCK, 1)
    assert lot_of_tiles(PLAQUES, plan) == {}
    assert lots_in_words(PLAQUES, plan) == []
    two = replace(PLAQUES, metal=Metal("C11000", lot="2026-A, 2026-B"))
    assert lots_in_words(two, plan) == [
        "Sheet lots are spread over batches and settings, so that none passes for an effect: 18 from 2026-A, 18 from 2026-B; "
        "the bench pack lists which tile is cut from which."
    ]
