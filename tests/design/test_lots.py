"""Sheet lots: spread so that none goes with a batch or a level."""

from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.design.test_layout import CLOCK, PLAQUES
from tilestudy.design.layout import lay_out
from tilestudy.design.lots import lot_of_tiles, lots_in_words, lots_of_spares, sheets_of, taken_for_lots
from tilestudy.errors import WrongRequestError
from tilestudy.study.records import Batch, Factor, Metal, Plan, Study, Tile
from tilestudy.study.workplace import Sheet, Workplace


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


def two_by_two(batches: int, each: int, sheets: tuple[Sheet, ...] = ()) -> tuple[Study, Plan]:
    """Two factors at two levels, set tile by tile, over so many batches of so many tiles; two lots."""
    factors = (Factor("dip", (10.0, 90.0), "s", "s"), Factor("surface", ("brushed", "sanded"), spacing="steps"))
    grid = [{"dip": dip, "surface": surface} for dip in (10.0, 90.0) for surface in ("brushed", "sanded")]
    tiles = tuple(
        Tile(f"T{batch}{place}", f"B{batch}", 1, place, grid[place % 4])
        for batch in range(batches)
        for place in range(each)
    )
    study = Study("pulls", "", "other", factors, Metal("C26000", lot="A, B"), workplace=Workplace(sheets=sheets))
    return study, Plan("pulls", 3, tuple(Batch(f"B{one}", 1, one) for one in range(batches)), tiles)


@pytest.mark.parametrize(("batches", "each"), [(2, 4), (4, 4), (1, 8), (3, 8), (8, 1)])
def test_two_lots_over_a_two_by_two_pass_for_no_factor_and_no_pair(batches: int, each: int) -> None:
    """A batch of four can only take a lot on one diagonal; the next batch takes the other."""
    study, plan = two_by_two(batches, each)
    assert taken_for_lots(study, plan) == []
    dealt = lot_of_tiles(study, plan)
    if each % 2 == 0:
        cells = Counter((dealt[t.code], t.settings["dip"], t.settings["surface"]) for t in plan.tiles)
        assert len(cells) == 8
        assert max(cells.values()) - min(cells.values()) <= 1


def test_what_cannot_be_helped_is_said() -> None:
    """Four tiles in one batch: whichever way they are dealt, lots go with a factor or with the pair."""
    study, plan = two_by_two(1, 4)
    assert taken_for_lots(study, plan) == [("dip and surface together", pytest.approx(1.0))]
    assert lots_in_words(study, plan) == [
        "Sheet lots are spread as evenly as these tiles allow: 2 from A, 2 from B; the bench pack lists which tile is cut from which.",
        "That is not enough: a difference between lots would pass for the effect of dip and surface together, and nothing could tell "
        "them apart. Cut all 4 tiles from one lot, or make more tiles or batches.",
    ]


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 100), st.integers(2, 3))
def test_what_was_dealt_stays_when_the_study_grows(seed: int, many: int) -> None:
    """The first sessions of a plan get the same lots whether or not more sessions follow."""
    study = replace(PLAQUES, metal=Metal("C11000", lot=", ".join("ABC"[:many])))
    plan = lay_out(study, CLOCK, seed)
    before = replace(
        plan,
        tiles=tuple(tile for tile in plan.tiles if tile.session == 1),
        batches=tuple(batch for batch in plan.batches if batch.session == 1),
    )
    assert lot_of_tiles(study, before).items() <= lot_of_tiles(study, plan).items()


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 100), st.integers(2, 3))
def test_lots_pass_for_no_effect_of_the_plaques(seed: int, many: int) -> None:
    """Of no effect that the analysis fits do lots take up a third."""
    study = replace(PLAQUES, metal=Metal("C11000", lot=", ".join("ABC"[:many])))
    assert taken_for_lots(study, lay_out(study, CLOCK, seed)) == []


def test_a_lot_gives_no_more_than_its_sheets_hold() -> None:
    """An offcut of lot A with room for 8: 8 of it over four batches of four, two in each; the other lot gives the rest."""
    sheets = (Sheet((100.0, 100.0), lot="A", offcut=True), Sheet((300.0, 600.0), lot="B"))
    study, plan = two_by_two(4, 4, sheets)
    dealt = lot_of_tiles(study, plan)
    spares = lots_of_spares(study, plan, ["X1", "X2", "X3"])
    given_by = Counter([*dealt.values(), *spares.values()])
    assert given_by["A"] <= 8
    assert all(1 <= sum(dealt[t.code] == "A" for t in plan.tiles if t.batch == b.code) <= 2 for b in plan.batches)
    assert taken_for_lots(study, plan) == []


def test_a_sheet_without_a_lot_is_asked_for_it() -> None:
    """Where there are several lots nobody can guess; where there is one it is that."""
    study, plan = two_by_two(2, 4, (Sheet((300.0, 600.0)),))
    with pytest.raises(
        WrongRequestError, match=r"The \[\[sheet\]\] of 300 × 600 mm names no lot, and the study has lots A and B"
    ):
        lot_of_tiles(study, plan)
    one = replace(study, metal=Metal("C26000", lot="A"))
    assert sheets_of(one)[0].lot == "A"
    assert lot_of_tiles(one, plan) == {}
