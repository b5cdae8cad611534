"""Where entries come in, one at a time, as JSON; and the clock."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from flask import Blueprint, Response, g, jsonify, request

from tilestudy.outcomes.bench import Entry

pages = Blueprint("enter", __name__)


@pages.get("/now")
def now() -> Response:
    """Tell the time, ms since 1970, so that a device can put its own clock right."""
    return jsonify(now=round(g.studio.now().timestamp() * 1000))


@pages.post("/enter")
def enter() -> Response:
    """Store one entry; the answer says what became of it.

    401: not paired. 409: of another mark than this device has now; it waits. 503: send it again.
    """
    data: Any = request.get_json(silent=True)
    entry = read_entry(data)
    if isinstance(entry, str):
        answer = jsonify(status="refused", says=[entry], record=None, now=None, by="")
        answer.status_code = 400
        return answer
    whose = str(data.get("mark", "")).strip().casefold()
    if not g.writer.mark or (whose and whose != g.writer.mark.casefold()):
        says = f"This was entered as {data.get('mark') or 'nobody'}, and the device is {g.writer.mark or 'nobody'} now."
        answer = jsonify(status="mark", says=[says], record=None, now=None, by="")
        answer.status_code = 409
        return answer
    return jsonify(g.studio.bench_enter(entry, g.writer).as_dict())


def read_entry(data: Any) -> Entry | str:
    """Return the entry that a device sent, or what is wrong with it.

    >>> read_entry({"id": "a1", "study": "plaques", "kind": "rub", "cells": {"tile": "K7", "grade": 4}}).cells["grade"]
    '4'
    >>> read_entry(["x"])
    'The entry could not be read.'
    """
    if not isinstance(data, Mapping):
        return "The entry could not be read."
    texts = {key: data.get(key) for key in ("id", "study", "kind")}
    if not all(isinstance(one, str) and 0 < len(one) <= 80 for one in texts.values()):
        return "The entry has no number, study or kind."
    cells, saw, at = data.get("cells"), data.get("saw"), data.get("at")
    if not isinstance(cells, Mapping) or len(cells) > 60:
        return "The entry has no cells."
    plain = {
        str(key): "" if one is None else str(one) for key, one in cells.items() if not isinstance(one, dict | list)
    }
    if saw is not None and (isinstance(saw, bool) or not isinstance(saw, int)):
        return "What was seen before should be a number."
    when = None
    if at is not None:
        try:
            when = datetime.fromisoformat(str(at))
        except ValueError:
            return "The time could not be read."
        when = when if when.tzinfo else when.replace(tzinfo=UTC)
    return Entry(str(texts["id"]), str(texts["study"]), str(texts["kind"]), plain, saw, when)
