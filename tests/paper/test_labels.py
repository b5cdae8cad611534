"""Labels as printed: each where its sheet says, its QR code read back from the page as a phone would see it."""

from __future__ import annotations

from datetime import date
from functools import cache
from io import BytesIO
from typing import Any

import cv2
import numpy as np
import pytest
import segno
from pypdf import PdfReader

from tilestudy.errors import WrongRequestError
from tilestudy.paper import typeset
from tilestudy.paper.content import Fact, Masthead, Protection
from tilestudy.paper.labels import (
    SIZES,
    Labels,
    bag_faces,
    bath_faces,
    label_pages,
    tile_address,
    tile_faces,
)
from tilestudy.paper.pack_content import BatchLabel, Due
from tilestudy.paper.qr import DOT, qr_symbol
from tilestudy.study.label_sheet import PAGES, LabelKind, LabelSheet, plain_grid
from tilestudy.study.records import Tile

HEAD = Masthead("plaques", "Plaques", "How dark?", "Our workshop", "a1b2c3", date(2026, 11, 24), invented=True)
CODES = [f"{letter}{digit}{last}" for letter in "ACDE" for digit in "34" for last in "7P"]
ADDRESS = "http://192.168.1.20:8765"
SMALL = LabelSheet(PAGES["a4"], (38.1, 21.2), 5, 13, 4.65, 10.7, 2.5)
PPMM = 4032 / 310
"""Pixels per mm of a 12-megapixel photo that holds an A4 page with a little room: 4032 pixels along 310 mm."""


def carries(address: str) -> Any:
    return lambda code: tile_address(address, code)


def tiles(sheet: LabelSheet, address: str, start: int = 1) -> Labels:
    faces = tile_faces([Tile(code, "B1", 1, n) for n, code in enumerate(CODES, 1)], "bath", carries(address))
    return label_pages(HEAD, "tiles", "tile labels", sheet, faces, start)


@cache
def baths(sheet: LabelSheet) -> Labels:
    label = BatchLabel(
        "B1",
        "bath",
        6,
        (Fact("strength", "3 g/L"), Fact("volume", "0.5 L")),
        never="NO ACID near this bath.",
        blanks=("made at (time)", "by", "use until (time)", "out of use at"),
        discard="when it clouds",
    )
    faces = bath_faces(
        [(1, label)],
        Fact("Contents", "potassium polysulfide"),
        ("Hydrogen sulfide with any acid.",),
        (Protection("Mixing", "goggles, gloves"), Protection("Dipping", "goggles, apron; extraction on")),
    )
    return label_pages(HEAD, "baths", "bath labels", sheet, faces)


def photo(content: Labels, page: int = 0) -> Any:
    """A page as a phone takes it: its resolution, turned by 3 degrees, grey, a little blurred and flat."""
    compiler = typeset._compiler("labels.typ", typeset._plain(content), content.masthead, "a4")
    found = compiler.compile(format="png", ppi=2 * PPMM * 25.4)
    data = (found if isinstance(found, list) else [found])[page]
    sharp = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE)
    height, width = sharp.shape
    turned = cv2.warpAffine(
        sharp, cv2.getRotationMatrix2D((width / 2, height / 2), 3, 1.0), (width, height), borderValue=255
    )
    blurred = cv2.GaussianBlur(cv2.resize(turned, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), (0, 0), 1.2)
    return (40 + blurred * (150 / 255)).astype(np.uint8)


def read(picture: Any, content: Labels, page: int = 0) -> list[str]:
    """What a reader makes of each label's code, the camera on that label."""
    width, height = content.page
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), 3, 1.0)
    found = []
    for one in content.pages[page]:
        assert one.symbol is not None
        side = one.symbol.side
        middle = turn @ np.array([one.x + 1 + side / 2, one.y + content.label[1] / 2, 1.0])
        x, y = (middle - side / 2 - 4) * PPMM
        far = int((side + 8) * PPMM)
        part = picture[max(0, int(y)) : int(y) + far, max(0, int(x)) : int(x) + far]
        found.append(cv2.QRCodeDetector().detectAndDecode(part)[0])
    return found


@pytest.mark.parametrize(
    ("sheet", "address"),
    [(plain_grid(PAGES["a4"], SIZES["tiles"]), ""), (SMALL, ADDRESS)],
    ids=["code alone, grid to cut", "address, 65 labels a page"],
)
def test_every_code_is_read_from_the_printed_page(sheet: LabelSheet, address: str) -> None:
    """At a phone's resolution for a whole page, in grey, blurred and turned: each label opens its own tile."""
    content = tiles(sheet, address)
    assert read(photo(content), content) == [tile_address(address, code) for code in CODES]


def test_a_part_used_sheet_is_gone_on_with() -> None:
    """The first label printed is the one named; the last page breaks where the sheet ends."""
    content = tiles(SMALL, "", start=64)
    assert [len(page) for page in content.pages] == [2, len(CODES) - 2]
    assert (content.pages[0][0].x, content.pages[0][0].y) == SMALL.corner(63)
    with pytest.raises(WrongRequestError, match=r"--start 66: a page holds 65 labels \(5 across, 13 down\)"):
        tiles(SMALL, "", start=66)


def test_a_code_has_squares_of_whole_printer_dots_a_quiet_zone_and_is_no_larger_than_its_room() -> None:
    """0.42 to 0.68 mm squares, 4 of them white around. An example of 50 letters needs version 3, 29 squares across
    (DENSO WAVE, qrcode.com, "Point for determining the code area").
    """
    assert segno.make_qr("A" * 50, error="m").symbol_size(border=0)[0] == 29
    for room in (15.9, 18.9, 21.5, 40.0):
        symbol = qr_symbol("A" * 50, room, "")
        dots = symbol.quiet / 4 / DOT
        assert dots == pytest.approx(round(dots))
        assert symbol.side <= room
        assert 0.42 <= symbol.quiet / 4 <= 0.68
        assert symbol.side == pytest.approx((29 + 8) * symbol.quiet / 4)


def test_labels_that_are_too_small_are_refused_with_what_they_need() -> None:
    """Of tiles: room for the code and the words beside it; a long address needs more."""
    with pytest.raises(WrongRequestError, match=r"needs 15\.7 mm there, and 12\.0 mm are left.*shorter bench_address"):
        tiles(plain_grid(PAGES["a4"], (40.0, 14.0)), ADDRESS)
    with pytest.raises(WrongRequestError, match="too small for tiles: these need 25 x 12 mm"):
        tiles(plain_grid(PAGES["a4"], (20.0, 10.0)), "")
    with pytest.raises(WrongRequestError, match="too small for baths: these need 85 x 60 mm"):
        baths(plain_grid(PAGES["a4"], (60.0, 40.0)))


def test_a_bath_label_says_what_must_not_be_missed() -> None:
    """Identity, strength, times, discard, tiles passed, contents, hazards, protection once each, plan and study."""
    sheet = plain_grid(PAGES["us-letter"], SIZES["baths"])
    text = " ".join(PdfReader(BytesIO(typeset.labels(baths(sheet)))).pages[0].extract_text().split())
    for part in (
        *("B1", "strength 3 g/L", "NO ACID near this bath.", "made at (time)", "by", "use until (time)"),
        *("Out of use: when it clouds", "Tiles passed", "Contents: potassium polysulfide", "session 1"),
        *("Hazards: Hydrogen sulfide with any acid.", "Protection: goggles, gloves, apron, extraction on"),
        *("plaques", "plan a1b2c3", "INVENTED DATA", "Page 1 of 1"),
    ):
        assert part in text, part


@pytest.mark.parametrize("size", [(105.0, 74.0), (99.1, 67.7), (85.0, 60.0)])
def test_nothing_of_a_bath_label_leaves_its_label(size: tuple[float, float]) -> None:
    """Down to the least size, no ink lies outside it."""
    sheet = LabelSheet((150.0, 120.0), size, 1, 1, 20.0, 20.0)
    compiler = typeset._compiler(
        "labels.typ", typeset._plain({**vars(baths(sheet)), "head_y": None, "foot_y": None}), HEAD, "a4"
    )
    page = cv2.imdecode(np.frombuffer(compiler.compile(format="png", ppi=127), np.uint8), cv2.IMREAD_GRAYSCALE)
    rows, columns = np.nonzero(page < 200)
    assert columns.min() / 5 >= 21
    assert rows.min() / 5 >= 21
    assert columns.max() / 5 <= 20 + size[0] - 1
    assert rows.max() / 5 <= 20 + size[1] - 1


def test_a_bag_tells_a_scorer_nothing_of_the_making() -> None:
    """Code, what is due when; no batch, no session, no setting."""
    due = (
        Due("colour reading (cured)", "a week after making", "before any rub"),
        Due("rub test, dry", "a week after making"),
    )
    sheet = plain_grid(PAGES["a4"], SIZES["bags"])
    content = label_pages(HEAD, "bags", "bag labels", sheet, bag_faces(CODES[:1], due, carries(ADDRESS)))
    text = " ".join(PdfReader(BytesIO(typeset.labels(content))).pages[0].extract_text().split())
    assert "A37" in text
    assert "made on" in text
    assert "a week after making: colour reading (cured); rub test, dry" in text
    assert "before any rub" in text
    assert "bath" not in text
    assert "session" not in text


@pytest.mark.parametrize("kind", ["tiles", "baths"])
def test_the_same_labels_give_the_same_bytes_and_pages_of_the_sheets_size(kind: LabelKind) -> None:
    """In mm, to a twentieth."""
    sheet = LabelSheet((100.0, 150.0), (96.0, 70.0), 1, 2, 2.0, 5.0)
    content = tiles(sheet, "") if kind == "tiles" else baths(sheet)
    pdf = typeset.labels(content)
    assert pdf == typeset.labels(content)
    box = PdfReader(BytesIO(pdf)).pages[0].mediabox
    assert float(box.width) / 72 * 25.4 == pytest.approx(100, abs=0.05)
    assert float(box.height) / 72 * 25.4 == pytest.approx(150, abs=0.05)
