"""The run page: the run sheet of one session as it goes, and its state for the devices that look again every few seconds."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from flask import Blueprint, Response, g, jsonify, render_template

from tilestudy.bench.access import needs_mark
from tilestudy.outcomes.bench import Dip, Run, RunBatch, RunTile

pages = Blueprint("run", __name__)


@pages.get("/<study>/run/<int:session>")
@needs_mark
def run(study: str, session: int) -> str:
    """Show the run sheet of one session."""
    sheet: Run = g.studio.bench_run(study, session)
    return render_template("run.html", run=sheet, data=state(sheet))


@pages.get("/state/<study>/run/<int:session>")
@needs_mark
def run_state(study: str, session: int) -> Response:
    """Tell the sheet as it stands, for a page that is open already."""
    answer = jsonify(state(g.studio.bench_run(study, session)))
    answer.headers["Cache-Control"] = "no-store"
    return answer


def state(sheet: Run) -> dict[str, Any]:
    """Return a run sheet as plain data for the page's script; times are ISO with their zone."""
    return {
        "study": sheet.study,
        "session": sheet.session,
        "word": sheet.word,
        "spent": sheet.spent,
        "batches": [_batch(one) for one in sheet.batches],
    }


def _batch(batch: RunBatch) -> dict[str, Any]:
    return {
        "code": batch.code,
        "settings": [f"{one.label} {one.text}" for one in batch.settings],
        "made_at": _iso(batch.made_at),
        "use_by": _iso(batch.use_by),
        "discarded_at": _iso(batch.discarded_at),
        "note": batch.note,
        "record": batch.record,
        "by": batch.by,
        "tiles": [_tile(one, {each.name for each in batch.settings}) for one in batch.tiles],
    }


def _tile(tile: RunTile, of_batch: set[str]) -> dict[str, Any]:
    return {
        "code": tile.code,
        "order": tile.order,
        "settings": [
            {"name": one.name, "label": one.label, "text": one.text}
            for one in tile.settings
            if one.name not in of_batch
        ],
        "reference": tile.reference,
        "replaces": tile.replaces,
        "state": tile.state,
        "dip_seconds": tile.dip_seconds,
        "cycles": tile.cycles,
        "dips": [_dip(one) for one in tile.dips],
        "start_at": tile.start_at,
        "record": tile.record,
        "by": tile.by,
        "made": None if tile.made is None else dict(tile.made),
    }


def _dip(dip: Dip) -> dict[str, Any]:
    return {"cycle": dip.cycle, "started": _iso(dip.started), "stopped": _iso(dip.stopped), "by": dip.by}


def _iso(at: datetime | None) -> str | None:
    return None if at is None else at.astimezone().isoformat()
