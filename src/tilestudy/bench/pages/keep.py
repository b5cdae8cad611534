"""For the keeper: the plan in short, what is printed, codes and marks of today."""

from __future__ import annotations

import re
from io import BytesIO
from pathlib import Path

import segno
from flask import Blueprint, Response, abort, current_app, g, redirect, render_template, request, send_file, url_for
from werkzeug.wrappers import Response as AnyResponse

from tilestudy.bench.access import keeper_only, needs_mark
from tilestudy.bench.guard import LOOPBACK
from tilestudy.study.language import count

pages = Blueprint("keep", __name__)

PRINTED = re.compile(
    r"(bench-pack-session-\d+|labels-(tiles|bags|baths|cloths)(-session-[\d-]+)?|tray(-cloths)?|cut-plan|handout)\.pdf"
)
"""Names of the files that are sent."""
PRINTS = {"pack": "Bench packs", "labels": "Labels", "handout": "Handout"}
"""What is printed from here, by the word in the form."""


@pages.get("/<study>/keep")
@needs_mark
@keeper_only
def keep(study: str) -> str:
    """Show what there is of a study, and what can be printed."""
    return _page(study)


@pages.post("/<study>/keep")
@needs_mark
@keeper_only
def print_it(study: str) -> str:
    """Print bench packs, labels or the handout, and show where they are."""
    what = request.form.get("what", "")
    if what not in PRINTS:
        abort(400)
    notes: tuple[str, ...] = ()
    if what == "pack":
        notes = g.studio.pack(study).notes
    elif what == "labels":
        notes = g.studio.labels(study).notes
    else:
        g.studio.handout(study)
    return _page(study, (f"{PRINTS[what]} printed anew.", *notes))


def _page(study: str, notes: tuple[str, ...] = ()) -> str:
    found, plan = g.studio.planned(study)
    sessions = sorted({batch.session for batch in plan.batches})
    short = (
        f"{count(len(plan.tiles), 'tile')} in {count(len(plan.batches), g.studio.word(found))}, "
        f"{count(len(sessions), 'session')}."
    )
    files = [path.name for path in _files(study)]
    return render_template(
        "keep.html", study=found, plan=plan, sessions=sessions, short=short, prints=PRINTS, files=files, notes=notes
    )


@pages.get("/<study>/print/<file>")
@needs_mark
@keeper_only
def printed(study: str, file: str) -> Response:
    """Send a printed page; only one that stands in the list."""
    path = next((one for one in _files(study) if one.name == file), None)
    if path is None:
        abort(404)
    return send_file(path.resolve(), mimetype="application/pdf", max_age=0, download_name=f"{study}-{file}")


def _files(study: str) -> list[Path]:
    """The pages that tilestudy prints of a study and that are there; raises WrongRequestError when there is no such study."""
    g.studio.study_folder(study)
    folder = g.studio.reports / study
    return sorted(path for path in folder.glob("*.pdf") if PRINTED.fullmatch(path.name) and not path.is_symlink())


@pages.get("/room")
@needs_mark
@keeper_only
def room() -> str:
    """Show the codes of today and the marks in use."""
    if not g.access.shared:
        abort(404)
    return render_template(
        "room.html",
        address=_address(),
        scorer=g.access.code("scorer"),
        keeper=g.access.code("keeper"),
        until=g.access.until.astimezone(),
        marks=g.access.marks,
    )


@pages.get("/room/code.svg")
@needs_mark
@keeper_only
def code() -> Response:
    """Draw the scorers' code as a QR code."""
    if not g.access.shared:
        abort(404)
    drawn = BytesIO()
    address = f"{_address()}{url_for('who.pair')}?code={g.access.code('scorer')}"
    segno.make(address, micro=False, error="m").save(drawn, kind="svg", scale=8, border=4)
    return Response(drawn.getvalue(), mimetype="image/svg+xml")


@pages.post("/room")
@needs_mark
@keeper_only
def change_room() -> AnyResponse:
    """Free a mark, or deal new codes (every device but this one must pair again)."""
    if not g.access.shared:
        abort(404)
    if mark := request.form.get("free", "")[:40]:
        g.access.free_mark(mark)
    elif request.form.get("codes") == "new":
        mark_of_keeper = g.writer.mark
        g.access.renew(force=True)
        g.access.let_in("keeper")
        g.access.take_mark(mark_of_keeper)
    return redirect(url_for("keep.room"))


def _address() -> str:
    """The address for the room: the one this page is asked under, or, where that is only this computer's own, the printed one."""
    mine = request.host.rpartition(":")[0] in LOOPBACK or request.host in LOOPBACK
    return str(current_app.config["ROOM_ADDRESS"] if mine else "") or request.host_url.rstrip("/")
