"""Bench pack, tray sheets and handout as tagged PDF (PDF/UA-1, ISO 14289-1), by the typst wheel.

The templates (`*.typ` here) get their text as JSON, so that nothing a user wrote can act as markup. Only the Inter
faces in `fonts/` are used; system fonts are ignored and the document's date is an argument, so the same content gives
the same bytes everywhere.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, cast

import typst

from tilestudy.errors import TilestudyError, WrongRequestError
from tilestudy.paper.content import PAPERS, Handout, Masthead, Paper
from tilestudy.paper.cut_plan import CutPages
from tilestudy.paper.labels import Labels
from tilestudy.paper.pack_content import BenchPack
from tilestudy.paper.tray_sheet import TraySheets

T = TypeVar("T")

CHART_MM: dict[Paper, float] = {"a4": 56, "us-letter": 49}
"""Height of a main-effects chart, mm: two responses fit on a page."""
HERE = Path(__file__).parent
FONTS = HERE / "fonts"
MOST_PAGES = 4
"""A handout is set tighter, step by step, to fit on this many pages."""
LEAST_FILLED = 0.3
"""A last page filled to less than this part of its height is worth setting tighter to get rid of."""
_WAYS = ((0, True), (1, True), (0, False), (1, False), (2, True), (2, False))
"""Ways to set a handout, the best to read first: how tight, and whether the charts of a response stay with its words."""


class PaperError(TilestudyError):
    """A page that could not be typeset."""


def bench_pack(content: BenchPack, paper: Paper = "a4") -> bytes:
    """Typeset the bench pack.

    Parameters
    ----------
    content : BenchPack
        A session with at least one batch.
    paper : "a4" or "us-letter"

    Returns
    -------
    bytes
        A PDF.

    Raises
    ------
    WrongRequestError
        Unknown paper.
    PaperError
        Typesetting failed.
    """
    return _pdf(_compiler("bench_pack.typ", _plain(content), content.masthead, paper), content.masthead)


def tray_sheets(content: TraySheets, paper: Paper = "a4") -> bytes:
    """Typeset tray sheets, a page each; the same content gives the same bytes on any day.

    Parameters, return and errors are those of `bench_pack`.
    """
    return _pdf(_compiler("tray.typ", _plain(content), content.masthead, paper), content.masthead)


def labels(content: Labels) -> bytes:
    """Typeset labels on pages of the size that they name; return and PaperError are those of `bench_pack`."""
    return _pdf(_compiler("labels.typ", _plain(content), content.masthead, PAPERS[0]), content.masthead)


def cut_plan(content: CutPages, paper: Paper = "a4") -> bytes:
    """Typeset the cut plan; parameters, return and errors are those of `bench_pack`."""
    plain = _plain(content)
    for page, printed in zip(content.pages, plain["pages"], strict=True):
        printed |= {"picture": page.picture, "overview": page.overview}  # SVG keeps its spaces
    return _pdf(_compiler("cut_plan.typ", plain, content.masthead, paper), content.masthead)


def handout(content: Handout, paper: Paper = "a4") -> bytes:
    """Typeset the handout, with its charts drawn for the page.

    Parameters, return and errors are those of `bench_pack`.
    """
    from tilestudy.paper import charts

    _check_paper(paper)
    data = _plain(content)
    for drivers, plain in zip(content.drivers, data["drivers"], strict=True):
        if drivers.effects is not None:
            plain["effects"]["svg"] = charts.main_effects(
                _printable(drivers.effects), height_mm=CHART_MM[paper]
            ).decode()
        if drivers.interaction is not None:
            plain["interaction"]["svg"] = charts.interaction(_printable(drivers.interaction)).decode()

    tries = []
    for tightness, keep in _WAYS:
        compiler = _compiler("handout.typ", {**data, "tightness": tightness, "keep": keep}, content.masthead, paper)
        pages, thin = _end(compiler, content.masthead)
        if pages <= MOST_PAGES and not (thin and pages > 1):
            return _pdf(compiler, content.masthead)
        tries.append((max(pages, MOST_PAGES), thin, pages, compiler))
    return _pdf(min(tries, key=lambda one: one[:3])[-1], content.masthead)


def _end(compiler: typst.Compiler, masthead: Masthead) -> tuple[int, bool]:
    """How many pages a handout has, and whether the last is nearly empty."""
    try:
        found = json.loads(compiler.query("<end>", field="value", one=True))
    except RuntimeError as error:
        raise _failed(masthead, error) from error
    return int(found["pages"]), float(found["filled"]) < LEAST_FILLED


def _compiler(template: str, data: dict[str, Any], masthead: Masthead, paper: Paper) -> typst.Compiler:
    """A typst compiler holding one template and its text."""
    _check_paper(paper)
    return typst.Compiler(
        input=HERE / template,
        root=HERE,
        font_paths=_fonts(),
        ignore_system_fonts=True,
        sys_inputs={"content": json.dumps({**data, "masthead": _head(masthead)}), "paper": paper},
    )


def _check_paper(paper: str) -> None:
    if paper not in PAPERS:
        raise WrongRequestError(f'There is no paper called "{paper}". Use one of: {", ".join(PAPERS)}.')


def _pdf(compiler: typst.Compiler, masthead: Masthead) -> bytes:
    """The pages as PDF/UA-1, dated by the masthead; a warning of the typesetter counts as a failure."""
    try:
        pdf, warnings = compiler.compile_with_warnings(
            format="pdf", pdf_standards="ua-1", timestamp=_midnight(masthead.printed)
        )
    except RuntimeError as error:
        raise _failed(masthead, error) from error
    if warnings:
        raise _failed(masthead, "; ".join(warning.message for warning in warnings))
    return cast(bytes, pdf)


def _failed(masthead: Masthead, why: object) -> PaperError:
    return PaperError(
        f'The pages for "{masthead.study}" could not be typeset: {why}. This is a fault of tilestudy, not of your '
        "study: please report it with the study file."
    )


def _head(masthead: Masthead) -> dict[str, Any]:
    """The masthead for the running lines: title never empty, long ones cut to fit one line."""
    title = masthead.title.strip() or masthead.study
    plain = _plain(masthead)
    return {
        **plain,
        "title": _text(title),
        "short": _text(_cut(title, 54)),
        "study": _text(_cut(masthead.study, 30)),
        "studio-short": _text(_cut(masthead.studio, 34)),
        "fingerprint": _text(_cut(masthead.fingerprint, 16)),
    }


def _cut(text: str, most: int) -> str:
    """The text, or its beginning and an ellipsis."""
    return text if len(text) <= most else text[: most - 1].rstrip() + "\u2026"


def _midnight(day: date) -> datetime:
    """The day as a time stamp: midnight UTC."""
    return datetime(day.year, day.month, day.day, tzinfo=UTC)


def _plain(value: Any) -> Any:
    """Dataclasses as plain JSON data, every text made printable."""
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, date):
        return [value.year, value.month, value.day]
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, (tuple, list)):
        return [_plain(each) for each in value]
    return value


def _printable(value: T) -> T:
    """The same dataclass (tuple, text...) with every text made printable; for charts."""
    if isinstance(value, str):
        return cast(T, _glyphs(value))
    if isinstance(value, tuple):
        return cast(T, tuple(_printable(each) for each in value))
    if is_dataclass(value) and not isinstance(value, type):
        return type(value)(**{field.name: _printable(getattr(value, field.name)) for field in fields(value)})
    return value


_OVERLONG = 19
_LONG = re.compile(rf"\S{{{_OVERLONG},}}")


def _text(text: str) -> str:
    """Printable text in which overlong words may break: after a slash where they have one, else anywhere."""
    return _LONG.sub(lambda found: _breakable(found.group()), _glyphs(text))


def _breakable(word: str) -> str:
    parts = re.findall(r"[^/]*/|[^/]+", word)
    return "\u200b".join(part if len(part) < _OVERLONG else "\u200b".join(part) for part in parts)


def _glyphs(text: str) -> str:
    """The text in composed form, on one line, with what Inter has no shape for shown as an empty box."""
    known = _covered()
    text = " ".join(unicodedata.normalize("NFC", text).split())
    return "".join(
        each if ord(each) in known else "\u25a1" for each in text if unicodedata.category(each) not in ("Cc", "Cf")
    )


@cache
def _covered() -> frozenset[int]:
    """Code points for which every one of our faces has a shape."""
    from matplotlib.ft2font import FT2Font

    faces = [set(FT2Font(str(path)).get_charmap()) for path in sorted(FONTS.glob("*.otf"))]
    return frozenset(set.intersection(*faces))


@cache
def _fonts() -> typst.Fonts:
    """Our faces and no others."""
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[FONTS])
