"""Bench pack and handout as PDF: complete, tagged, in our type only, and safe with any text."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from functools import cache
from io import BytesIO
from pathlib import Path
from runpy import run_path
from types import SimpleNamespace
from typing import Any

import pytest
from pypdf import PdfReader
from pypdf.generic import DictionaryObject, IndirectObject

from tilestudy.errors import WrongRequestError
from tilestudy.paper import typeset
from tilestudy.paper.content import PAPERS

sample = SimpleNamespace(**run_path(str(Path(__file__).parent / "sample.py")))
# ISO 216: A4 is 210 x 297 mm; ANSI/ASME Y14.1: Letter is 8.5 x 11 inch. In points of 1/72 inch.
SIZES = {"a4": (210 / 25.4 * 72, 297 / 25.4 * 72), "us-letter": (612.0, 792.0)}
HOSTILE = '*bold* #hack $x$ [y] "quotes" \\ <a> `c` _u_ // x /* y */ @ref ~ -- 10x20 ->'
PDFS = {
    (name, paper): getattr(typeset, name)(getattr(sample, name)(), paper)
    for name in ("bench_pack", "handout")
    for paper in PAPERS
}
EACH = pytest.mark.parametrize(("name", "paper"), list(PDFS))


def read(pdf: bytes) -> PdfReader:
    return PdfReader(BytesIO(pdf))


def squeeze(text: str) -> str:
    """Text without spaces, line ends and break marks: a line break must not matter."""
    return re.sub(r"[\s\u200b]+", "", text)


@cache
def page_texts(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in read(pdf).pages]


def whole(pdf: bytes) -> str:
    return squeeze("".join(page_texts(pdf)))


def structure(pdf: bytes) -> Iterator[DictionaryObject]:
    """Every structure element of the tag tree."""
    todo: list[Any] = [read(pdf).trailer["/Root"]["/StructTreeRoot"]]
    while todo:
        node = todo.pop()
        node = node.get_object() if isinstance(node, IndirectObject) else node
        if isinstance(node, list):
            todo.extend(node)
        elif isinstance(node, DictionaryObject):
            if "/S" in node:
                yield node
            todo.append(node.get("/K", []))


def every_text(value: Any, change: Any) -> Any:
    """The same content with every text changed."""
    if isinstance(value, str):
        return change(value)
    if isinstance(value, tuple):
        return tuple(every_text(each, change) for each in value)
    if is_dataclass(value) and not isinstance(value, type):
        return type(value)(**{field.name: every_text(getattr(value, field.name), change) for field in fields(value)})
    return value


@EACH
def test_pages_have_the_size_asked_for(name: str, paper: str) -> None:
    """A4 and US Letter, to a hundredth of a point."""
    for page in read(PDFS[name, paper]).pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(SIZES[paper], abs=0.01)


@EACH
def test_every_page_carries_study_fingerprint_number_and_invented(name: str, paper: str) -> None:
    """A sheet found on the floor can be put back."""
    texts = [squeeze(text) for text in page_texts(PDFS[name, paper])]
    for number, text in enumerate(texts, start=1):
        for expected in ("house-plaques", "plan3f9a-c21e", "7March2026", f"Page{number}of{len(texts)}", "INVENTEDDATA"):
            assert expected in text


@EACH
def test_every_tile_code_and_caution_is_printed(name: str, paper: str) -> None:
    """Nothing given is left out."""
    text = whole(PDFS[name, paper])
    content = getattr(sample, name)()
    for expected in (
        *sample.CODES,
        content.first_aid,
        *(c.title for c in content.cautions),
        *(c.text for c in content.cautions),
        *(p.protection for p in content.protection),
    ):
        assert squeeze(expected) in text


def test_real_data_are_not_called_invented() -> None:
    """The banner follows the flag."""
    content = sample.handout()
    pdf = typeset.handout(replace(content, masthead=replace(content.masthead, invented=False)))
    assert "INVENTED" not in whole(pdf)


@EACH
def test_document_is_tagged_titled_and_in_english(name: str, paper: str) -> None:
    """What PDF/UA-1 (ISO 14289-1) asks of a document as a whole."""
    reader = read(PDFS[name, paper])
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"] is True or root["/MarkInfo"]["/Marked"].value is True
    assert root["/Lang"] == "en-GB"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata is not None
    assert reader.metadata.title == sample.MASTHEAD.title
    assert b"pdfuaid:part" in root["/Metadata"].get_object().get_data()
    assert {"/H1", "/Table", "/TH"} <= {str(node["/S"]) for node in structure(PDFS[name, paper])}


@pytest.mark.parametrize("paper", PAPERS)
def test_every_figure_has_its_words(paper: str) -> None:
    """The alt text given is the alt text stored."""
    alts = [str(node.get("/Alt", "")) for node in structure(PDFS["handout", paper]) if node["/S"] == "/Figure"]
    for drivers in sample.handout().drivers:
        for chart in (drivers.effects, drivers.interaction):
            if chart is not None:
                assert chart.alt in alts
    assert all(alts)


@EACH
def test_only_our_type_is_used_and_embedded(name: str, paper: str) -> None:
    """Inter and nothing else, charts included; each face is in the file."""
    seen = set()
    todo: list[Any] = [page.get("/Resources", {}) for page in read(PDFS[name, paper]).pages]
    while todo:
        resources = todo.pop().get_object()
        for font in resources.get("/Font", {}).values():
            font = font.get_object()
            seen.add(str(font["/BaseFont"]))
            descriptor = font["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
            assert any(key in descriptor for key in ("/FontFile", "/FontFile2", "/FontFile3"))
        todo.extend(
            inner.get_object().get("/Resources", DictionaryObject()) for inner in resources.get("/XObject", {}).values()
        )
    assert seen
    assert all("Inter" in font for font in seen)


@pytest.mark.parametrize("paper", PAPERS)
def test_handout_has_two_to_four_pages_and_a_filled_last_one(paper: str) -> None:
    """Two to four pages for a class."""
    texts = page_texts(PDFS["handout", paper])
    assert 2 <= len(texts) <= 4
    assert len(texts[-1]) > 600


@pytest.mark.parametrize("paper", PAPERS)
def test_lists_of_the_handout_stay_on_one_page(paper: str) -> None:
    """No bullet or step alone at the top of the next page."""
    content = sample.handout()
    pages = [squeeze(text) for text in page_texts(PDFS["handout", paper])]
    lists = [content.repeat, content.unknown, *((d.heading, *d.sentences) for d in content.drivers)]
    for items in lists:
        assert any(all(squeeze(item) in page for item in items) for page in pages)


def test_a_board_of_words_has_larger_print_and_no_legend() -> None:
    """72 tiles without colours: nothing about screens, and type that can be read."""
    content = sample.handout()
    rows = tuple(
        replace(
            row,
            swatches=tuple(
                replace(row.swatches[n % len(row.swatches)], code=f"{n}-{i}", colour="", lightness="", grade="")
                for n in range(24)
            ),
        )
        for i, row in enumerate(content.board.rows)
    )
    pdf = typeset.handout(replace(content, board=replace(content.board, rows=rows, caption="")))
    assert "Screensandprints" not in whole(pdf)
    sizes: list[float] = []
    read(pdf).pages[0].extract_text(
        visitor_text=lambda text, cm, tm, font, size: sizes.append(size) if re.match(r"\d+-\d", text) else None
    )
    assert sizes
    assert min(sizes) > 8


def test_handout_says_what_it_was_given() -> None:
    """Sentences, best settings, unknowns, steps and sources are all there."""
    content = sample.handout()
    text = whole(PDFS["handout", "a4"])
    for expected in (
        content.masthead.question,
        *content.summary,
        *content.unknown,
        *content.repeat,
        *content.sources,
        *(s for d in content.drivers for s in (d.heading, *d.sentences, d.sure)),
        content.best.close,
        *content.best.sentences,
        *(m.value for m in content.mixing),
        "Screens and prints differ from metal",
    ):
        assert squeeze(expected) in text


def test_bench_pack_says_what_it_was_given() -> None:
    """Mixing, signs, open questions, checklists, plan sentences, dates and the disposal field are all there."""
    content = sample.bench_pack()
    text = whole(PDFS["bench_pack", "a4"])
    labels = [batch.label for batch in content.session.batches]
    for expected in (
        *(words for label in labels for words in (label.never, label.discard, label.live, label.spent, *label.hazards)),
        *(line.text for batch in content.mixing.batches for line in batch.lines),
        *(line.text for line in content.mixing.stock),
        *content.mixing.steps,
        *content.signed,
        *content.session.if_late,
        *(words for fact in content.session.times for words in (fact.label, fact.value)),
        *(row.start for batch in content.session.batches for row in batch.rows),
        *content.wastes,
        *content.to_confirm,
        *content.opening,
        *content.closing,
        *content.can_tell,
        *content.spares,
        *(due.when for due in content.due),
        content.back,
        content.mishaps,
        f"Keep {content.waste} in closed, labelled containers",
        *(step for sheet in content.measure_sheets for step in (sheet.title, *sheet.steps, *sheet.blanks)),
        "Local rule for disposal",
    ):
        assert squeeze(expected) in text


def test_the_run_sheet_keeps_the_run_order() -> None:
    """The codes stand on it in the order given."""
    session = sample.bench_pack().session
    words = " ".join(text for text in page_texts(PDFS["bench_pack", "a4"]) if "actual dip" in text).split()
    found = [words.index(row.tile) for batch in session.batches for row in batch.rows]
    assert found == sorted(found)


def test_every_page_says_study_session_page_and_plan() -> None:
    """A sheet that lies about can be put back where it belongs, or be known for an old one."""
    content = sample.bench_pack()
    pages = page_texts(PDFS["bench_pack", "a4"])
    assert f"This pack has {len(pages)} pages" in " ".join(pages[0].split())
    for number, text in enumerate(pages, start=1):
        for expected in ("Session 1 of 2", "house-plaques", f"plan {content.masthead.fingerprint}"):
            assert expected in text
        assert f"Page {number} of {len(pages)}" in text


def test_a_scorer_sees_codes_and_no_settings() -> None:
    """Score sheets and cloth squares hold neither batch nor setting."""
    pages = [text for text in page_texts(PDFS["bench_pack", "a4"]) if "· rub test, dry" in text]
    assert len(pages) >= 3  # the score sheet on two pages, and the cloth squares
    for text in pages:
        assert not re.search(r"dip time|scrub cycles|strength|g/L|\bB[1-6]\b", text)


def test_a_code_stands_once_on_each_score_sheet() -> None:
    """Each tile once on the score sheet and once among the cloths."""
    content = sample.bench_pack()
    text = " ".join(text for text in page_texts(PDFS["bench_pack", "a4"]) if "· rub test, dry" in text).split()
    for code in content.rub_sheets[0].tiles:
        assert text.count(code) == 2


@pytest.mark.parametrize("name", ["bench_pack", "handout"])
def test_same_content_gives_the_same_bytes(name: str) -> None:
    """The date is an argument; nothing else varies."""
    assert getattr(typeset, name)(getattr(sample, name)(), "a4") == PDFS[name, "a4"]


@pytest.mark.parametrize("name", ["bench_pack", "handout"])
def test_text_is_never_markup(name: str) -> None:
    """Names made of markup print as they stand, in every field."""
    content = every_text(getattr(sample, name)(), lambda text: text if len(text) < 13 else HOSTILE)
    pdf = getattr(typeset, name)(content, "us-letter")
    assert whole(pdf).count(squeeze(HOSTILE)) > 20
    assert read(pdf).metadata.title == HOSTILE  # type: ignore[union-attr]


@pytest.mark.parametrize("name", ["bench_pack", "handout"])
def test_long_names_wrap_inside_the_page(name: str) -> None:
    """A name of 300 letters without a space stays between the margins."""
    content = getattr(sample, name)()
    content = replace(content, masthead=replace(content.masthead, title="Q" * 300, question="W" * 200))
    pdf = getattr(typeset, name)(content, "a4")
    assert "Q" * 300 in whole(pdf)
    lines = [line for text in page_texts(pdf) for line in re.sub("\u200b", "", text).splitlines()]
    assert max(line.count("Q") for line in lines) < 60


def test_letters_without_a_shape_print_as_boxes() -> None:
    """Inter has no Chinese; the page still comes out, with marks where letters are missing."""
    content = sample.handout()
    pdf = typeset.handout(replace(content, summary=("\u6771\u4eac Gr\u00fc\u00dfe \u202eabc\x07 \U0001f600.",)))
    assert "\u25a1\u25a1Gr\u00fc\u00dfeabc\u25a1." in whole(pdf)


def test_a_study_without_colour_or_wear_is_printed() -> None:
    """Board, best settings and charts may all be missing."""
    content = sample.handout()
    bare = replace(
        content,
        board=None,
        best=None,
        mixing=(),
        repeat=(),
        drivers=tuple(replace(d, effects=None, interaction=None) for d in content.drivers),
    )
    assert squeeze(content.drivers[0].sentences[0]) in whole(typeset.handout(bare))


def test_tiles_without_colour_are_hatched_and_said_so() -> None:
    """An unmeasured tile is no blank and no invented colour."""
    content = sample.handout()
    row = content.board.rows[0]
    swatches = (replace(row.swatches[0], colour="", lightness="", note="spoiled"), *row.swatches[1:])
    board = replace(content.board, rows=(replace(row, swatches=swatches), *content.board.rows[1:]))
    text = whole(typeset.handout(replace(content, board=board)))
    assert "Hatched:colournotmeasured." in text
    assert "spoiled" in text


def test_room_left_among_the_labels_is_a_spare_label() -> None:
    """The rest of a page is not wasted: it is a label for a batch made again."""
    content = sample.bench_pack()
    one = replace(content.session, batches=content.session.batches[:1])
    assert "Sparebath" in whole(typeset.bench_pack(replace(content, session=one)))


def test_nothing_asks_anybody_to_pour_anything_away() -> None:
    """Disposal is left to the local rule."""
    for pdf in PDFS.values():
        assert not re.search(r"drain|pour(?:ed)?(?:it)?away|sink", whole(pdf), re.IGNORECASE)


def test_unknown_paper_is_a_wrong_request() -> None:
    """The choices are listed."""
    with pytest.raises(WrongRequestError) as caught:
        typeset.handout(sample.handout(), "a5")  # type: ignore[arg-type]
    assert str(caught.value) == 'There is no paper called "a5". Use one of: a4, us-letter.'
