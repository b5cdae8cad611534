"""Tray sheets as printed: true to 0.1 mm, nothing but ticks near a place, tagged, the same bytes on any day."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache
from io import BytesIO
from typing import Any

import cv2
import numpy as np
import pytest
from pypdf import PdfReader
from tests.paper.tray_pages import pictures

from tilestudy.paper import typeset
from tilestudy.paper.content import Masthead, Paper
from tilestudy.paper.tray_sheet import TraySheets, tray_sheets_content
from tilestudy.photo.markers import squares
from tilestudy.tray.layout import lay_out
from tilestudy.tray.references import References, RefPatch
from tilestudy.tray.sheet import Sheet, cloth_code

HEAD = Masthead("plaques", "Plaques", "How dark?", "Our workshop", "a1b2c3", date(2026, 11, 24), invented=True)
LOOSE = References(tuple(RefPatch(name, (50.0, 0.0, 30.0)) for name in ("white", "grey", "black", "brown", "orange")))
CARD = References(
    tuple(RefPatch(f"p{n}", (50.0, 0.0, 30.0), 10.0 + n % 6 * 17, 10.0 + n // 6 * 15, 10.0) for n in range(24)),
    card_mm=(105.0, 65.0),
)
PPI = 300
CASES: dict[str, tuple[Paper, tuple[float, float], References | None, bool]] = {
    "a4, card": ("a4", (25, 50), CARD, False),
    "letter, patches": ("us-letter", (12, 12), LOOSE, False),
    "letter, cloths": ("us-letter", (25, 50), None, True),
}
EACH = pytest.mark.parametrize("case", list(CASES))


@cache
def made(case: str) -> tuple[list[Sheet], TraySheets, Paper]:
    paper, tile, references, cloths = CASES[case]
    codes = [f"{letter}{digit}" for letter in "ACDEFHJK" for digit in "347"]
    swatches = [cloth_code(code, "wet") for code in codes] if cloths else []
    sheets = lay_out(
        "plaques", tile, [] if cloths else codes, first_number=31, paper=paper, references=references, cloths=swatches
    )
    return sheets, tray_sheets_content(HEAD, sheets, squares, wet=True), paper


@cache
def grey_page(case: str) -> Any:
    """The first sheet as grey values, 0 to 255."""
    _, content, paper = made(case)
    first = replace(content, pages=content.pages[:1])
    return cv2.imdecode(np.frombuffer(pictures(first, paper, PPI)[0], np.uint8), cv2.IMREAD_GRAYSCALE)


@EACH
def test_the_markers_stand_where_the_layout_says(case: str) -> None:
    """Found in the page by the library that finds them in a photo: the right numbers, corners within 0.1 mm."""
    sheet = made(case)[0][0]
    setting = cv2.aruco.DetectorParameters()
    setting.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    finder = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000), setting)
    corners, numbers, _ = finder.detectMarkers(grey_page(case))
    found = {int(number): (four[0] + 0.5) / PPI * 25.4 for number, four in zip(numbers.ravel(), corners, strict=True)}
    assert sorted(found) == [120, 121, 122, 123]
    for marker in sheet.markers:
        x, y, side = marker.box.x, marker.box.y, marker.box.width
        expected = np.array([(x, y), (x + side, y), (x + side, y + side), (x, y + side)])
        assert np.abs(found[marker.number] - expected).max() < 0.1


@EACH
def test_a_place_is_blank_and_only_ticks_stand_near_it(case: str) -> None:
    """Nothing inside; within 3 mm of it nothing darker than the light grey of the ticks; the code below that."""
    sheet, page = made(case)[0][0], grey_page(case)
    loose = sheet.patches if sheet.card is None else ()

    def darkest(left: float, top: float, right: float, bottom: float) -> int:
        x0, y0, x1, y1 = (round(value / 25.4 * PPI) for value in (left, top, right, bottom))
        return int(page[y0:y1, x0:x1].min())

    for cell in (*sheet.tiles, *sheet.cloths, *loose):
        x, y, right, bottom = cell.box.x, cell.box.y, cell.box.x + cell.box.width, cell.box.y + cell.box.height
        assert darkest(x - 0.5, y - 0.5, right + 0.5, bottom + 0.5) == 255
        assert 150 < darkest(x - 2.9, y - 2.9, right + 2.9, bottom + 2.9) < 230
        assert darkest(x, bottom + 3.1, right, bottom + 6) < 120


def test_the_bar_is_100_mm_long() -> None:
    """The longest straight dark line between the lower markers."""
    sheet, page = made("a4, card")[0][0], grey_page("a4, card")
    left, right = sheet.markers[2].box, sheet.markers[3].box
    px = PPI / 25.4
    strip = page[round((left.y - 2) * px) :, round((left.x + left.width + 3) * px) : round((right.x - 3) * px)]
    assert (strip < 128).sum(axis=1).max() / px == pytest.approx(100, abs=0.15)


@EACH
def test_the_pages_are_tagged_and_say_what_to_do(case: str) -> None:
    """A page a sheet of the right size; number, codes, the four lines, the bar, the caution and the invented mark."""
    sheets, content, paper = made(case)
    pdf = typeset.tray_sheets(content, paper)
    assert b"/StructTreeRoot" in pdf
    read = PdfReader(BytesIO(pdf))
    assert len(read.pages) == len(sheets)
    for sheet, page in zip(sheets, read.pages, strict=True):
        assert float(page.mediabox.width) / 72 * 25.4 == pytest.approx(sheet.width, abs=0.05)
        text = " ".join(page.extract_text().split())
        for part in (
            f"Tray {sheet.number}",
            "INVENTED DATA",
            "plan a1b2c3",
            "Measure this bar: 100 mm",
            *content.lines,
        ):
            assert part in text
        assert all(cell.code in text for cell in (*sheet.tiles, *sheet.cloths))
        assert ("gloves on" in text) == (not sheet.cloths)
        assert ("patch p" in text) == (sheet.card is not None)


def test_the_same_content_gives_the_same_bytes_on_any_day() -> None:
    """A tray printed again next year is the same file: its number says which it is, not its date."""
    _, content, paper = made("letter, cloths")
    later = replace(content, masthead=replace(HEAD, printed=date(2027, 3, 1)))
    assert typeset.tray_sheets(content, paper) == typeset.tray_sheets(later, paper)


def test_hostile_and_long_texts_stay_text_on_one_page() -> None:
    """Markup in names prints as itself, and nothing is pushed to a further page."""
    hostile = '*b* #hack $x$ [y] "q" \\ <a> ' + "W" * 60
    sheets = lay_out("x", (25, 50), ["W" * 30, "#x"], first_number=1, paper="a4")
    head = replace(HEAD, title=hostile, question=hostile, studio=hostile, study=hostile)
    read = PdfReader(BytesIO(typeset.tray_sheets(tray_sheets_content(head, sheets, squares, wet=False))))
    assert len(read.pages) == 1
    assert "#hack" in read.pages[0].extract_text()
