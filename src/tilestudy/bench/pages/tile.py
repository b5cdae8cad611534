"""One tile: what it is, what was said of it, what is due; the codes on printed labels lead here."""

from __future__ import annotations

from dataclasses import replace

from flask import Blueprint, g, render_template, url_for

from tilestudy.bench.access import needs_mark
from tilestudy.bench.blind import own_lines, to_grade

pages = Blueprint("tile", __name__)


@pages.get("/tile/<code>")
@needs_mark
def tile(code: str) -> str:
    """Show a tile of whichever study has it."""
    page = g.studio.bench_tile(code)
    blind = bool(to_grade(g.studio, page.study, g.writer))
    shown = replace(page.tile, settings=()) if blind else page.tile
    if not g.writer.keeper:
        shown = replace(shown, grades={})
    page = replace(
        page,
        tile=shown,
        history=own_lines(page.history, g.writer, blind=blind),
        colours=() if blind else page.colours,
    )
    due = [(what, on, _link(page.study, what)) for what, on in page.due]
    return render_template("tile.html", page=page, blind=blind, due=due)


def _link(study: str, what: str) -> str:
    kind, _, inside = what.partition(" (")
    if kind == "rub":
        return url_for("rub.rub", study=study, condition=inside.rstrip(")"))
    return url_for("colour.colour", study=study) if kind == "colour" else ""
