"""A visitor of the bench page without a browser: cookies, tokens, marks."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from flask import Flask
from werkzeug.test import TestResponse

from tilestudy.bench.access import Access
from tilestudy.bench.app import make_app
from tilestudy.bench.serve import access_of

HOST = "http://127.0.0.1:8765"


class Visitor:
    """One device."""

    def __init__(self, app: Flask, mark: str = "", code: str = "") -> None:
        self.client = app.test_client()
        if code:
            self.post("/pair", code=code)
        if mark:
            self.post("/mark", mark=mark, next="/")

    def get(self, path: str, **more: Any) -> TestResponse:
        """Open a page."""
        return self.client.get(path, base_url=more.pop("base_url", HOST), buffered=True, **more)

    @property
    def token(self) -> str:
        """The device's token, as its pages carry it."""
        found = re.search(r'name="bench-token" content="([^"]*)"', self.get("/mark").text)
        assert found is not None
        return found[1]

    def post(self, path: str, **fields: Any) -> TestResponse:
        """Send a form."""
        fields.setdefault("token", self.token)
        return self.client.post(path, base_url=HOST, data=fields)

    def enter(self, **entry: Any) -> TestResponse:
        """Send an entry."""
        return self.client.post("/enter", base_url=HOST, json=entry, headers={"X-Bench-Token": self.token})


def alone(folder: Path) -> Flask:
    """The page on this machine alone."""
    return make_app(folder, access_of(folder, shared=False))


def shared(folder: Path, access: Access | None = None) -> tuple[Flask, Access]:
    """The page shared with the room."""
    known = access or access_of(folder, shared=True, now=lambda: datetime.now(UTC))
    return make_app(folder, known), known
