"""Who is at this device: pairing by code, a mark, leaving."""

from __future__ import annotations

from urllib.parse import urlsplit

from flask import Blueprint, g, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from tilestudy.errors import WrongRequestError
from tilestudy.study.forms import scorer_mark

pages = Blueprint("who", __name__)


@pages.get("/pair")
def pair() -> str:
    """Ask for the code; a QR code brings it along, but letting in takes a tap, for links are followed by machines too."""
    return render_template("pair.html", wrong="", code=request.args.get("code", "")[:20])


@pages.post("/pair")
def let_in() -> AnyResponse | tuple[str, int]:
    """Pair the device."""
    try:
        role = g.access.pair(request.form.get("code", "")[:40], request.remote_addr or "")
    except WrongRequestError as error:
        return render_template("pair.html", wrong=str(error)), 429
    if role is None:
        return render_template("pair.html", wrong="That is not the code of today. Look at the sheet in the room."), 403
    g.access.let_in(role)
    return redirect(url_for("who.mark"))


@pages.get("/mark")
def mark() -> str:
    """Ask for initials or a mark."""
    return render_template("mark.html", wrong="", onward=_onward(request.args.get("next", "")))


@pages.post("/mark")
def take_mark() -> AnyResponse | tuple[str, int]:
    """Take a mark for this device."""
    onward = _onward(request.form.get("next", ""))
    try:
        g.access.take_mark(scorer_mark(request.form.get("mark", "")[:60]))
    except WrongRequestError as error:
        return render_template("mark.html", wrong=str(error), onward=onward), 409
    return redirect(onward)


@pages.post("/leave")
def leave() -> AnyResponse:
    """Forget this device."""
    g.access.leave()
    return redirect("/")


def _onward(path: str) -> str:
    """Return a path of our own to go on to.

    >>> _onward("/plaques/run/1"), _onward("//elsewhere"), _onward("https://elsewhere/")
    ('/plaques/run/1', '/', '/')
    """
    parts = urlsplit(path.replace("\\", "/"))
    good = path.startswith("/") and not path.startswith("//") and not parts.scheme and not parts.netloc
    return path if good and "\\" not in path and path.isprintable() else "/"
