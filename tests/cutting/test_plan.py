"""Which sheets are cut for how many tiles, what stays whole, waste, mass and cost."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.cutting.test_guillotine import tiles_of
from tilestudy.design.cutting import CutPlan, lay_on_sheets, room_on, stamp_list
from tilestudy.design.cutting.plan import ways_on
from tilestudy.design.cutting.words import steps, told
from tilestudy.errors import NotEnoughError
from tilestudy.study.records import Tile
from tilestudy.study.workplace import Cutting, Grain, Sheet

TILE = (25.0, 50.0)
PLAIN = Cutting()


def lay(tiles: int, *sheets: Sheet, cutting: Cutting = PLAIN) -> CutPlan:
    """Tiles of one lot on sheets."""
    return lay_on_sheets(sheets, {"": tiles}, TILE, cutting)


sheets = st.builds(
    Sheet,
    st.tuples(st.integers(40, 320), st.integers(40, 320)),
    st.integers(1, 3),
    st.just(""),
    st.sampled_from(["any", "along", "across"]),
    st.none() | st.floats(0, 50),
    st.booleans(),
)
ways_of_cutting = st.builds(Cutting, st.sampled_from([0.0, 0.5, 3.0]), st.sampled_from([0.0, 2.0, 7.5]))


@settings(max_examples=60, deadline=None)
@given(st.lists(sheets, min_size=1, max_size=4), st.integers(1, 40), ways_of_cutting)
def test_every_tile_lies_on_the_part_in_use_and_what_stays_whole_is_untouched(
    stock: list[Sheet], tiles: int, cutting: Cutting
) -> None:
    """Tiles within the part and its trim; areas add up; waste is never under its bound; offcuts before whole sheets."""
    try:
        plan = lay(tiles, *stock, cutting=cutting)
    except NotEnoughError:
        assert sum(one.count * room_on(one, TILE, cutting) for one in stock) < tiles
        return
    assert plan.tiles == tiles
    assert 0 <= plan.least_waste <= plan.waste + 1e-9 < 1
    for one in plan.sheets:
        trim = 0.0 if one.sheet.offcut else cutting.trim_mm
        assert one.tiles <= one.pattern.tiles
        length, width = one.extent
        far = (
            length - trim * (one.first is None or not one.first.crosswise),
            width - trim * (one.first is None or one.first.crosswise),
        )
        for x, y, w, h in tiles_of(one.pattern, cutting.kerf_mm):
            assert trim - 1e-6 <= x
            assert trim - 1e-6 <= y
            assert x + w <= far[0] + 1e-6
            assert y + h <= far[1] + 1e-6
        if one.left is not None:
            gone = one.used + one.left[0] * one.left[1]
            assert gone == pytest.approx(one.sheet.mm[0] * one.sheet.mm[1])
    offcuts = sum(one.count * room_on(one, TILE, cutting) for one in stock if one.offcut)
    on_offcuts = sum(one.tiles for one in plan.sheets if one.sheet.offcut)
    assert on_offcuts == min(tiles, offcuts)


def test_the_part_in_use_is_the_smallest_that_a_cut_right_across_takes_off() -> None:
    """40 tiles of 25 x 50 from 300 x 600: 42 places in 300 x 175, and 300 x 425 stays whole."""
    plan = lay(40, Sheet((300.0, 600.0)))
    (one,) = plan.sheets
    assert (one.extent, one.left, one.pattern.tiles, one.holds) == ((300.0, 175.0), (300.0, 425.0), 42, 144)
    assert [step.text for step in steps(plan, one)] == [
        "Cut right across, 175 mm from the top edge. What stays whole: 300 × 425 mm.",
        "6 strips 50 mm wide, each cut into 7 tiles of 25 mm.",
    ]
    assert told(plan) == [
        "Sheet of 300 × 600 mm: 40 tiles of the 144 it holds; 300 × 425 mm stays whole; room for 2 more, as blanks.",
        "Waste: 0 % of the 525 cm² cut into (cuts, edges and scrap; blanks not counted).",
    ]


def test_an_offcut_goes_first_and_the_least_new_sheet_is_opened() -> None:
    """8 tiles from the offcut; the other 12 from one of the small sheets, not from the large one."""
    large, small, offcut = Sheet((600.0, 600.0)), Sheet((150.0, 300.0), 2), Sheet((62.0, 210.0), offcut=True)
    plan = lay(20, large, small, offcut, cutting=Cutting(kerf_mm=1.0))
    assert [(one.sheet.mm, one.tiles) for one in plan.sheets] == [((62.0, 210.0), 8), ((150.0, 300.0), 12)]


@pytest.mark.parametrize(
    ("sheet", "tile", "lies"),
    [
        ("along", "along", (50.0, 25.0)),
        ("across", "along", (25.0, 50.0)),
        ("along", "across", (25.0, 50.0)),
        ("across", "across", (50.0, 25.0)),
    ],
)
def test_the_grain_runs_along_the_tile_as_asked(sheet: Grain, tile: Grain, lies: tuple[float, float]) -> None:
    """Along: the rolling marks, the tile's second side and the sheet's first side are parallel."""
    assert ways_on(Sheet((300.0, 600.0), grain=sheet), TILE, Cutting(grain=tile)).sides == (lies,)


def test_a_grain_that_is_asked_for_and_not_known_is_said() -> None:
    """Otherwise the wish would be lost without a word."""
    plan = lay(4, Sheet((300.0, 600.0)), cutting=Cutting(grain="along"))
    assert 'Write grain = "along" or "across" under its [[sheet]].' in told(plan)[-1]


def test_mass_and_cost_by_hand() -> None:
    """20 ga copper, 0.811821 mm (ASTM B258) at 8.94 g/cm3: 25 x 50 x 0.811821 x 8.94 / 1000 = 9.0721 g.

    A third of a sheet of 30 is cut into: 10.
    """
    plan = lay(12, Sheet((300.0, 150.0), price=30.0))
    assert plan.used == 15000.0
    grams = plan.grams(0.811821, 8.94)
    assert grams is not None
    assert grams[0] == pytest.approx(9.0721, abs=1e-4)
    assert grams[1] == pytest.approx(12 * 9.0721, abs=1e-3)
    assert (plan.cost, plan.sheets_cost) == (pytest.approx(10.0), 30.0)
    assert plan.grams(None, 8.94) is None
    assert lay(12, Sheet((300.0, 150.0))).cost is None


def test_too_little_metal_says_how_much_more() -> None:
    """The number of further sheets, or that none of them is big enough."""
    with pytest.raises(
        NotEnoughError,
        match=r"20 tiles of 25 × 50 mm are wanted, and its sheets hold 12\. 1 more sheet of 100 × 150 mm",
    ):
        lay(20, Sheet((100.0, 150.0)))
    with pytest.raises(NotEnoughError, match=r"its sheets hold 0\. Add a \[\[sheet\]\]"):
        lay(1, Sheet((20.0, 150.0)))


def test_every_tile_and_spare_is_stamped_once_and_by_lot() -> None:
    """Codes come from sheets of their lot; what is left over is blank; the same seed deals alike, another otherwise."""
    tiles = [Tile(f"T{n}", f"B{n % 3}", 1, n) for n in range(30)]
    lot_of = {tile.code: "AB"[n % 2] for n, tile in enumerate(tiles)}
    spares = {"X1": "A", "X2": "B"}
    plan = lay_on_sheets(
        [Sheet((300.0, 600.0), lot="A"), Sheet((60.0, 210.0), 3, "B", offcut=True)], {"A": 16, "B": 16}, TILE, Cutting()
    )
    stamps = stamp_list(plan, tiles, spares, lot_of, 7)
    coded = {stamp.code: stamp for stamp in stamps if stamp.code}
    assert sorted(coded) == sorted([*lot_of, *spares])
    assert all(coded[code].lot == lot for code, lot in (lot_of | spares).items())
    assert [code for code in coded if coded[code].spare] == [code for code in coded if code in spares]
    assert stamps == stamp_list(plan, tiles, spares, lot_of, 7) != stamp_list(plan, tiles, spares, lot_of, 8)
