"""Tray sheets: every tile once, nothing over anything, free paper around each place, whatever the tile and the references."""

from __future__ import annotations

import json
from itertools import combinations
from math import hypot

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tilestudy.errors import WrongRequestError
from tilestudy.tray.layout import CLEAR, FREE, PAGES, lay_out
from tilestudy.tray.references import References, RefPatch
from tilestudy.tray.sheet import Box, Sheet, cloth_code, numbered, sheet_as_dict, sheet_from_dict

LOOSE = References(tuple(RefPatch(f"loose {one}", (50.0, 0.0, 30.0)) for one in range(6)))
GREY = References((RefPatch("grey", (50.0, 0.0, 0.0), size_mm=40.0),))
CARD = References(
    tuple(RefPatch(f"p{n}", (50.0, 0.0, 30.0), 10.0 + n % 6 * 17, 10.0 + n // 6 * 15, 10.0) for n in range(24)),
    card_mm=(105.0, 65.0),
)
SLACK = 0.02
"""Coordinates are kept to 0.01 mm."""


def apart(one: Box, other: Box) -> float:
    """The gap between two boxes along the axis on which they are farther apart, mm; negative when they overlap."""
    return max(
        other.x - one.x - one.width,
        one.x - other.x - other.width,
        other.y - one.y - one.height,
        one.y - other.y - other.height,
    )


def places(sheet: Sheet) -> list[Box]:
    """What lies on a sheet: tiles, swatches, and loose patches or the card."""
    loose = [cell.box for cell in sheet.patches] if sheet.card is None else [sheet.card]
    return [*(cell.box for cell in (*sheet.tiles, *sheet.cloths)), *loose]


@settings(max_examples=60, deadline=None)
@given(
    tile=st.tuples(*[st.floats(10, 90).map(lambda side: round(side, 1))] * 2),
    many=st.integers(1, 60),
    paper=st.sampled_from(sorted(PAGES)),
    references=st.sampled_from([None, LOOSE, GREY, CARD]),
    swatches=st.booleans(),
)
def test_any_tray_has_each_code_once_and_free_paper_around_each_place(
    tile: tuple[float, float], many: int, paper: str, references: References | None, swatches: bool
) -> None:
    """Boxes stay on the page, 6 mm from each other and from the markers; sheets differ by one tile at most."""
    codes = [f"A{one}" for one in range(many)]
    cloths = [cloth_code(code, "dry") for code in codes] if swatches else []
    sheets = lay_out(
        "plaques", tile, [] if swatches else codes, first_number=9, paper=paper, references=references, cloths=cloths
    )
    laid = [cell.code for sheet in sheets for cell in (sheet.cloths if swatches else sheet.tiles)]
    assert [code for code in laid if not code.startswith("clean")] == (cloths or codes)
    sizes = [len(sheet.cloths or sheet.tiles) for sheet in sheets]
    assert max(sizes) - min(sizes) <= 1
    assert max(sizes) <= 24
    for number, sheet in enumerate(sheets, 9):
        assert sheet.number == number
        assert [marker.number for marker in sheet.markers] == [4 * (number - 1) + one for one in range(4)]
        boxes = places(sheet)
        for box in boxes:
            assert min(box.x, box.y) >= 11 - SLACK
            assert box.x + box.width <= sheet.width - 11 + SLACK
            assert box.y + box.height <= sheet.height - 11 + SLACK
            assert all(apart(box, marker.box) >= FREE - SLACK for marker in sheet.markers)
        assert all(apart(one, other) >= FREE - SLACK for one, other in combinations(boxes, 2))
        assert all(sorted((cell.box.width, cell.box.height)) == sorted(tile) for cell in sheet.tiles)
        for patch in sheet.patches if sheet.card is not None else ():
            assert apart(patch.box, sheet.card or patch.box) < 0
        if swatches:
            assert [sheet.cloths[0].code, sheet.cloths[-1].code] == ["clean 1", "clean 2"]
        again = json.loads(json.dumps(sheet_as_dict(sheet)))
        assert sheet_from_dict(number, again) == sheet


@pytest.mark.parametrize(("paper", "room"), [("a4", 24), ("us-letter", 18)])
def test_tiles_of_25_by_50_mm_fill_a_sheet(paper: str, room: int) -> None:
    """24 fit on A4 and 18 on US Letter; two more than a sheet holds are shared out evenly over two."""
    assert len(lay_out("x", (25, 50), ["A"] * room, first_number=1, paper=paper)) == 1
    two = lay_out("x", (25, 50), ["A"] * (room + 2), first_number=1, paper=paper)
    assert [len(sheet.tiles) for sheet in two] == [room // 2 + 1] * 2


def test_a_card_leaves_fewer_tiles_on_a_sheet() -> None:
    """What does not fit beside the card comes on a further sheet, which holds the card as well."""
    codes = [f"A{one}" for one in range(24)]
    assert len(lay_out("x", (25, 50), codes, first_number=1, paper="a4")) == 1
    beside = lay_out("x", (25, 50), codes, first_number=1, paper="a4", references=CARD)
    assert len(beside) == 2
    assert all(sheet.card and len(sheet.patches) == 24 for sheet in beside)


@pytest.mark.parametrize("codes", [18, 10])
def test_a_card_turned_on_the_sheet_is_turned_not_mirrored(codes: int) -> None:
    """Whether the card lies upright or turned: from patch to patch along a row, the next row is clockwise."""
    sheet = lay_out("x", (25, 50), ["A"] * codes, first_number=1, paper="a4", references=CARD)[0]
    (x0, y0), (x1, y1), (x2, y2) = (sheet.patches[one].box.middle for one in (0, 1, 6))
    assert (x1 - x0) * (y2 - y0) - (y1 - y0) * (x2 - x0) == pytest.approx(17 * 15, abs=0.1)
    assert hypot(x1 - x0, y1 - y0) == pytest.approx(17, abs=0.01)


def test_a_long_tile_is_turned_where_the_sheet_is_too_narrow_for_it() -> None:
    """220 x 20 mm does not fit across A4; it lies along it."""
    sheet = lay_out("x", (220, 20), ["A3"], first_number=1, paper="a4")[0]
    assert (sheet.tiles[0].box.width, sheet.tiles[0].box.height) == (20, 220)


def test_what_no_sheet_holds_is_refused_with_a_way_out() -> None:
    """A tile, a card or a paper that cannot be had."""
    with pytest.raises(WrongRequestError, match=r"tile of 250 x 250 mm does not fit on an A4 sheet, .*instrument"):
        lay_out("x", (250, 250), ["A3"], first_number=1, paper="a4")
    with pytest.raises(WrongRequestError, match=r"beside these references.*smaller card or fewer"):
        lay_out("x", (150, 150), ["A3"], first_number=1, paper="us-letter", references=CARD)
    with pytest.raises(WrongRequestError, match="no paper"):
        lay_out("x", (25, 50), ["A3"], first_number=1, paper="a5")


def test_the_markers_of_a_sheet_follow_its_number() -> None:
    """A sheet that gets its number from the study book has the markers of that number; its layout stays."""
    sheet = lay_out("x", (25, 50), ["A3"], first_number=1, paper="a4")[0]
    later = numbered(sheet, 12)
    assert [marker.number for marker in later.markers] == [44, 45, 46, 47]
    assert sheet_as_dict(later) == sheet_as_dict(sheet)
    module = later.markers[0].box.width / 7
    assert min(later.markers[0].box.x, CLEAR) >= module  # white margin of a module around each
