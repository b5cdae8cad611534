"""The bench page put together: one Studio, one Access, the guard, and the pages."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from flask import Flask, Response, g, jsonify, render_template, request
from werkzeug.exceptions import HTTPException

from tilestudy.bench.access import LASTS, Access
from tilestudy.bench.guard import LARGE, LOOPBACK, keep_strangers_out, token
from tilestudy.bench.pages import board, colour, enter, findings, keep, rub, run, tile, today, who
from tilestudy.errors import BookError, FaultyFileError, NotEnoughError, TilestudyError, WrongRequestError
from tilestudy.studio import Studio

PAGES = (who, today, enter, run, rub, colour, tile, board, findings, keep)
OPEN = {"static", "who.pair", "who.let_in", "enter.now"}
"""Endpoints for somebody not paired yet."""
UPLOADS = {"colour.upload"}
SAID = {
    400: "The request could not be read.",
    401: "This device is not paired today. Scan the code in the room.",
    403: "That is not allowed from here. Reload the page and try again; some pages are for the keeper only.",
    404: "There is no such page.",
    405: "That page takes no such request.",
    413: "That is too large: photos may have 25 MB together.",
    421: "The page is not known under this name. Use the address that tilestudy bench printed, or start it with --host NAME.",
    429: "Too many tries. Wait ten minutes.",
    503: "The study book is busy or cannot be written just now. What you entered stays on your device and is sent again.",
}


def make_app(
    folder: Path | str,
    access: Access,
    *,
    hosts: Collection[str] = LOOPBACK,
    address: str = "",
    now: Callable[[], datetime] = lambda: datetime.now(UTC),
) -> Flask:
    """Return the app for a studio's folder; `hosts` are the names it may be asked under, `address` is the room's way to it."""
    app = Flask("tilestudy.bench")
    app.config.update(
        SECRET_KEY=access.secret,
        ROOM_ADDRESS=address,
        SESSION_COOKIE_NAME="bench",
        SESSION_COOKIE_HTTPONLY=True,
        # not Strict: the codes on tiles are opened by a camera, from outside; every change asks for a token besides
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_SECURE=address.startswith("https://"),
        PERMANENT_SESSION_LIFETIME=LASTS,
        MAX_CONTENT_LENGTH=LARGE,
        MAX_FORM_MEMORY_SIZE=256 * 1024,
        MAX_FORM_PARTS=40,
    )
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.json.sort_keys = False  # type: ignore[attr-defined]
    studio = Studio(folder, now=now)
    keep_strangers_out(app, hosts, UPLOADS)
    for page in PAGES:
        app.register_blueprint(page.pages)

    @app.before_request
    def who_is_it() -> Response | tuple[str, int] | None:
        g.studio, g.access = studio, access
        g.writer = access.writer()
        if request.endpoint in OPEN or request.endpoint is None:
            return None
        if access.role() is None:
            if request.path == "/enter" or request.path.startswith("/state/"):
                return _json(401)
            return render_template("pair.html", wrong=""), 401
        if g.writer.mark and not access.holds_mark():
            g.writer = replace(g.writer, mark="")
        return None

    @app.context_processor
    def everywhere() -> dict[str, object]:
        return {
            "token": token,
            "writer": g.get("writer"),
            "shared": access.shared,
            "now_ms": round(now().timestamp() * 1000),
        }

    app.register_error_handler(HTTPException, _said)
    app.register_error_handler(TilestudyError, _refused)
    app.register_error_handler(Exception, _failed)
    return app


def _json(code: int, says: str = "") -> Response:
    answer = jsonify(
        status="refused", says=[says or SAID.get(code, "That did not work.")], record=None, now=None, by=""
    )
    answer.status_code = code
    return answer


def _wants_json() -> bool:
    return request.path == "/enter" or request.path.startswith("/state/")


def _page(code: int, says: str) -> Response | tuple[str, int]:
    if _wants_json():
        return _json(code, says)
    return render_template("error.html", says=says), code


def _said(error: HTTPException) -> Response | tuple[str, int]:
    code = error.code or 500
    if code < 400:
        return error.get_response()  # type: ignore[return-value]
    return _page(code, SAID.get(code, "That did not work. Go back and try again."))


def _refused(error: TilestudyError) -> Response | tuple[str, int]:
    if isinstance(error, BookError | FaultyFileError):
        return _page(503, str(error))
    code = 404 if isinstance(error, WrongRequestError) else 409 if isinstance(error, NotEnoughError) else 400
    return _page(code, str(error))


def _failed(error: Exception) -> Response | tuple[str, int]:
    import traceback

    traceback.print_exception(error)  # for whoever started it; the visitor is shown none of it
    return _page(
        500, "tilestudy itself failed here. What was entered before is kept. Please tell whoever runs the page."
    )
