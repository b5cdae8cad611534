"""The cut plan on paper: words that can be read, nothing over anything else, the same bytes again."""

from __future__ import annotations

import re
from datetime import date
from io import BytesIO
from itertools import combinations
from xml.etree import ElementTree

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from tilestudy.design.cutting import CutPlan, lay_on_sheets, stamp_list
from tilestudy.errors import NotEnoughError
from tilestudy.paper.content import Fact, Masthead, Paper
from tilestudy.paper.cut_picture import NINE_PT, cut_picture, overview
from tilestudy.paper.cut_plan import CutPages, cut_pages
from tilestudy.paper.typeset import cut_plan
from tilestudy.study.records import Tile
from tilestudy.study.workplace import Cutting, Sheet

HEAD = Masthead("plaques", "Plaques", "How dark?", "Our workshop", "a1b2c3", date(2026, 11, 25), invented=True)
SVG = "{http://www.w3.org/2000/svg}"
Box = tuple[float, float, float, float]


def texts(svg: str) -> list[tuple[str, Box]]:
    """The words of a picture with the boxes they take up, mm."""
    found = []
    for text in ElementTree.fromstring(svg).iter(f"{SVG}text"):
        assert float(text.get("font-size", "0")) >= NINE_PT - 0.001
        words = text.text or ""
        x, y, wide = float(text.get("x", "0")), float(text.get("y", "0")) - 0.36 * NINE_PT, len(words) * 0.5 * NINE_PT
        shift = {"middle": 0.5, "start": 0.0, "end": 1.0}[text.get("text-anchor", "start")]
        high = 0.7 * NINE_PT
        if text.get("transform"):
            found.append((words, (x - high / 2, y - wide * (1 - shift), high, wide)))
        else:
            found.append((words, (x - wide * shift, y - high / 2, wide, high)))
    return found


def overlap(one: Box, other: Box) -> bool:
    """Whether two boxes share more than a hair."""
    return all(min(one[i] + one[i + 2], other[i] + other[i + 2]) - max(one[i], other[i]) > 0.15 for i in (0, 1))


def laid(tiles: int, sheet: Sheet, tile: tuple[float, float], cutting: Cutting) -> CutPlan:
    """Tiles on sheets of one size, spare sheets at hand."""
    return lay_on_sheets([Sheet(sheet.mm, 3, "", sheet.grain, offcut=sheet.offcut)], {"": tiles}, tile, cutting)


def stamps(plan: CutPlan) -> tuple:  # type: ignore[type-arg]
    """Tiles of three letters dealt to the places."""
    tiles = [Tile(f"K{n:02}", f"B{n % 7}", 1, n) for n in range(plan.tiles)]
    return stamp_list(plan, tiles, {}, {tile.code: "" for tile in tiles}, 1)


@settings(max_examples=80, deadline=None)
@example(49, Sheet((173, 432)), (30.0, 40.0), Cutting(3.2))
@given(
    st.integers(1, 60),
    st.builds(Sheet, st.tuples(st.integers(60, 620), st.integers(60, 620)), offcut=st.booleans()),
    st.sampled_from([(25.0, 50.0), (25.4, 25.4), (30.0, 40.0), (50.0, 50.0), (19.0, 38.0)]),
    st.sampled_from([Cutting(), Cutting(1.0, 2.0), Cutting(3.2)]),
)
def test_no_words_of_a_picture_lie_over_others_or_outside(
    tiles: int, sheet: Sheet, tile: tuple[float, float], cutting: Cutting
) -> None:
    """Codes, measures and numbers, at 9 pt, whatever the sheet."""
    try:
        plan = laid(tiles, sheet, tile, cutting)
    except NotEnoughError:
        return
    for one in plan.sheets:
        svg = cut_picture(plan, one, [stamp for stamp in stamps(plan) if stamp.sheet == one.number])
        root = ElementTree.fromstring(svg)
        width, height = (float(root.get(side, "").removesuffix("mm")) for side in ("width", "height"))
        words = texts(svg)
        for word, (x, y, wide, high) in words:
            assert min(x, y) >= -0.5, word
            assert max(x + wide - width, y + high - height) <= 0.5, word
        clash = [(a[0], b[0]) for a, b in combinations(words, 2) if overlap(a[1], b[1])]
        assert not clash
        assert texts(overview(one))


def pages() -> CutPages:
    """The pages of a plan of 40 tiles."""
    plan = laid(40, Sheet((300.0, 600.0)), (25.0, 50.0), Cutting(1.0))
    return cut_pages(
        HEAD,
        plan,
        stamps(plan),
        facts=[Fact("Metal", "copper (C11000)")],
        told=["Waste: 5 %."],
        drilling=["Deburr every edge."],
        heaps=[("B1", ["K01", "K08"])],
    )


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_every_code_is_printed_with_its_strip(paper: Paper) -> None:
    """Two pages; each code in the stamp list; marked as invented; tagged; the same bytes again."""
    content = pages()
    pdf = cut_plan(content, paper)
    assert pdf == cut_plan(content, paper)
    reader = PdfReader(BytesIO(pdf))
    assert len(reader.pages) == 2
    said = " ".join(page.extract_text() for page in reader.pages)
    assert set(re.findall(r"K\d\d", said.split("Stamp list")[1])) == {f"K{n:02}" for n in range(40)}
    assert said.count("INVENTED DATA") == 2
    assert "Saw beyond the line" in said
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
