"""The sample board: all tiles as swatches with their codes."""

from __future__ import annotations

from flask import Blueprint, g, render_template, request

from tilestudy.bench.access import needs_mark
from tilestudy.bench.blind import to_grade

pages = Blueprint("board", __name__)


@pages.get("/<study>/board")
@needs_mark
def board(study: str) -> str:
    """Show the board of a study at a stage, by factors or along the path; blind scorers see why they do not."""
    if left := to_grade(g.studio, study, g.writer):
        return render_template("blind.html", study=study, conditions=left)
    found = g.studio.bench_board(study, request.args.get("stage", ""), request.args.get("by", "factors"))
    return render_template("board.html", board=found)


@pages.get("/boards")
@needs_mark
def boards() -> str:
    """Show the boards of all studies, or of those on one metal."""
    found, hidden = [], []
    for name in g.studio.bench_studies():
        if to_grade(g.studio, name, g.writer):
            hidden.append(name)
        else:
            found.append(g.studio.bench_board(name))
    metals = sorted({one.metal for one in found})
    wanted = request.args.get("metal", "")
    shown = [one for one in found if one.metal == wanted] if wanted in metals else found
    return render_template("boards.html", boards=shown, metals=metals, wanted=wanted, hidden=hidden)
