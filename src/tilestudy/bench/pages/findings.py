"""Findings: what drives colour and durability, and the choice, in the same sentences and numbers as the commands.

The analysis takes seconds, so it runs beside the page, once for each state of the study; the page waits by asking again.
"""

from __future__ import annotations

import threading
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from flask import Blueprint, Response, abort, current_app, g, make_response, render_template, send_file

from tilestudy.bench.access import keeper_only, needs_mark
from tilestudy.errors import TilestudyError
from tilestudy.studio import Studio

pages = Blueprint("findings", __name__)
AGAIN_S = 2
"""Seconds after which a waiting page asks again."""
LONGEST_S = 180
"""Seconds after which a page does not wait any more."""
TOO_LONG = 'This takes long. Look again later, or type "tilestudy drivers {study}" at the computer.'


@dataclass(frozen=True)
class Told:
    """What the findings page shows: blocks of a heading and sentences, the table, the choice, chart files, or why there is none."""

    blocks: tuple[tuple[str, tuple[str, ...]], ...] = ()
    table: str = ""
    choice: tuple[str, ...] = ()
    charts: tuple[Path, ...] = ()
    why: str = ""


class Reckoner:
    """Reckons one thing at a time beside the pages and keeps the last result of each study."""

    def __init__(self) -> None:
        self._lock, self._turn = threading.Lock(), threading.Lock()
        self._known: dict[str, tuple[object, Told]] = {}
        self._busy: dict[tuple[str, object], float] = {}

    def ask(self, study: str, state: object, reckon: Callable[[], Told]) -> Told | None:
        """Return what is known of this state of a study; None while it is being reckoned."""
        with self._lock:
            known = self._known.get(study)
            if known is not None and known[0] == state:
                return known[1]
            since = self._busy.get((study, state))
            if since is not None:
                return None if time.monotonic() - since < LONGEST_S else Told(why=TOO_LONG.format(study=study))
            self._busy[study, state] = time.monotonic()
        threading.Thread(target=self._go, args=(study, state, reckon), daemon=True).start()
        return None

    def _go(self, study: str, state: object, reckon: Callable[[], Told]) -> None:
        try:
            with self._turn:
                told = reckon()
        except TilestudyError as error:
            told = Told(why=str(error))
        except Exception as error:
            traceback.print_exception(error)  # for whoever started the page
            told = Told(
                why=f"tilestudy itself failed here ({type(error).__name__}). Please tell whoever runs the page."
            )
        with self._lock:
            self._known[study] = (state, told)
            self._busy.pop((study, state), None)

    def known(self, study: str) -> Told | None:
        """Return the last result of a study."""
        with self._lock:
            found = self._known.get(study)
        return found[1] if found else None


def reckoner() -> Reckoner:
    """The app's own."""
    found = current_app.extensions.setdefault("tilestudy-reckoner", Reckoner())
    assert isinstance(found, Reckoner)
    return found


@pages.get("/<study>/findings")
@needs_mark
@keeper_only
def findings(study: str) -> Response:
    """Show what was found, or that it is being reckoned."""
    studio: Studio = g.studio
    state = studio.bench_state(study)
    told = reckoner().ask(study, state, lambda: told_of(studio, study))
    if told is None:
        answer = make_response(render_template("reckoning.html", study=study))
        answer.headers["Refresh"] = str(AGAIN_S)
        return answer
    return make_response(
        render_template("findings.html", study=study, told=told, invented=studio.study(study).invented)
    )


@pages.get("/<study>/chart/<int:number>")
@needs_mark
@keeper_only
def chart(study: str, number: int) -> Response:
    """Send one of the charts that the findings page shows."""
    told = reckoner().known(study)
    if told is None or not 0 <= number < len(told.charts) or not told.charts[number].is_file():
        abort(404)
    return send_file(told.charts[number].resolve(), mimetype="image/svg+xml", max_age=0)


def told_of(studio: Studio, study: str) -> Told:
    """Reckon the findings of a study and put them into words, as `tilestudy drivers` and `tilestudy choose` do."""
    found = studio.drivers(study)
    charts = studio.charts(found)
    choice: tuple[str, ...] = ()
    if found.study.target is not None or found.study.rub is not None:
        try:
            chosen = studio.choose(study)
            choice = tuple(chosen.sentences())
            if (picture := studio.trade_off_chart(chosen)) is not None:
                charts = [*charts, picture]
        except TilestudyError as error:
            choice = (str(error),)
    return Told(
        tuple((block.heading, tuple(block.sentences)) for block in found.blocks()), found.table(), choice, tuple(charts)
    )
