"""Today: what this day asks for, one tap to each."""

from __future__ import annotations

from flask import Blueprint, g, render_template, url_for

from tilestudy.bench.access import needs_mark
from tilestudy.outcomes.bench import ToDo

pages = Blueprint("today", __name__)

HEADS = {"late": "Late", "today": "Today", "next": "Next"}


@pages.get("/")
@needs_mark
def today() -> str:
    """Show what is to do, late things first, and the way to each study."""
    todo = g.studio.bench_today()
    groups = [(head, [(one, link(one)) for one in todo if one.when == when]) for when, head in HEADS.items()]
    return render_template("today.html", groups=[one for one in groups if one[1]], studies=g.studio.bench_studies())


def link(one: ToDo) -> str:
    """Return where a thing is done; "" where only a form takes it."""
    if one.kind in ("session", "bath"):
        return url_for("run.run", study=one.study, session=one.session)
    if one.kind == "rub":
        return url_for("rub.rub", study=one.study, condition=one.condition)
    return url_for("colour.colour", study=one.study) if one.kind == "colour" else ""
