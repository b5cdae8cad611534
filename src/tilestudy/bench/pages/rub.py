"""The rub page: one scorer grades cloth after cloth, blind to settings and to other scorers."""

from __future__ import annotations

import re
from typing import Any

from flask import Blueprint, g, render_template

from tilestudy.bench.access import needs_mark
from tilestudy.bench.cloth_scale import steps
from tilestudy.outcomes.bench import RubTask

pages = Blueprint("rub", __name__)


@pages.get("/<study>/rub/<condition>")
@needs_mark
def rub(study: str, condition: str) -> str:
    """Show the scorer's own sheet for one condition; the mark is that of the device."""
    task: RubTask = g.studio.bench_rub(study, condition, g.writer.mark)
    return render_template("rub.html", task=task, steps=steps(), data=sheet(task), strokes=strokes_of(task.steps))


def strokes_of(protocol_steps: tuple[str, ...]) -> int | None:
    """Return how many strokes a protocol rubs, as its steps say it; None where they do not.

    >>> strokes_of(("Fresh cloth for each tile.", "10 strokes to and fro.")), strokes_of(("Rub.",))
    (10, None)
    """
    found = re.search(r"\b(\d{1,4}) strokes\b", " ".join(protocol_steps))
    return int(found[1]) if found else None


def sheet(task: RubTask) -> dict[str, Any]:
    """Return what the page's script is given: nothing of settings, batches, other scorers, or of the grade that passes."""
    return {
        "study": task.study,
        "condition": task.condition,
        "scorer": task.scorer,
        "strokes": strokes_of(task.steps),
        "tiles": [
            {
                "code": one.code,
                "number": one.number,
                "grade": one.grade,
                "strokes": one.strokes,
                "broke_through": one.broke_through,
                "record": one.record,
            }
            for one in task.tiles
        ],
    }
