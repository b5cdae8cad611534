"""What every request must pass, and what every answer carries: host, origin, token, size, and a strict content policy."""

from __future__ import annotations

import secrets
from collections.abc import Collection
from urllib.parse import urlsplit

from flask import Flask, Response, abort, request, session

SMALL, LARGE = 64 * 1024, 25 * 1024 * 1024
"""Most bytes of an entry or form, and of an upload of photos."""
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=(), payment=()",
}


def token() -> str:
    """The visitor's token: forms carry it in `token`, scripts in the header X-Bench-Token."""
    if "token" not in session:
        session["token"] = secrets.token_urlsafe(24)
    return str(session["token"])


def keep_strangers_out(app: Flask, hosts: Collection[str], uploads: Collection[str]) -> None:
    """Check every request before a page sees it, and put the headers on every answer.

    Parameters
    ----------
    hosts : collection of str
        Names and addresses, without port, under which the page may be asked for: a page elsewhere that makes a name point to
        this machine is turned away.
    uploads : collection of str
        Endpoints that take photos.
    """
    names = {one.casefold() for one in hosts}

    @app.before_request
    def check() -> None:
        name = (urlsplit(f"//{request.host}").hostname or "").casefold()
        if name not in names and f"[{name}]" not in names:
            abort(421)
        request.max_content_length = LARGE if request.endpoint in uploads else SMALL
        if request.method in ("GET", "HEAD", "OPTIONS"):
            return
        origin = request.headers.get("Origin")
        if origin is not None and origin != "null" and urlsplit(origin).netloc != request.host:
            abort(403)
        if origin == "null" or request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
            abort(403)
        if (request.content_length or 0) > request.max_content_length:
            abort(413)
        given = request.headers.get("X-Bench-Token") or (
            request.form.get("token", "") if request.mimetype != "application/json" else ""
        )
        if not secrets.compare_digest(given.encode(), str(session.get("token", "")).encode()) or not given:
            abort(403)

    @app.after_request
    def mark(response: Response) -> Response:
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        if request.endpoint != "static":
            response.headers.setdefault("Cache-Control", "no-store")
        return response
