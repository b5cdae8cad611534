"""A bench page on a free port, and a real browser to visit it."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright
from werkzeug.serving import make_server

from tilestudy.bench.access import Access
from tilestudy.bench.app import make_app
from tilestudy.bench.serve import access_of

CHROMIUM = next((found for name in ("chromium", "chromium-browser") if (found := shutil.which(name))), None)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A headless Chromium, one for all tests."""
    if CHROMIUM is None:
        pytest.skip('no Chromium was found on this machine: "apt install chromium", and the browser tests run too')
    with sync_playwright() as playwright:
        with_it = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        yield with_it
        with_it.close()


@pytest.fixture
def serve() -> Iterator[Callable[..., str]]:
    """Serve a studio's folder in a thread; returns the address."""
    with ExitStack() as stack:

        def start(folder: Path, *, shared: bool = False, access: Access | None = None) -> str:
            known = access or access_of(folder, shared=shared, now=lambda: datetime.now(UTC))
            server = make_server("127.0.0.1", 0, make_app(folder, known), threaded=True)
            thread = threading.Thread(target=server.serve_forever, daemon=True)
            thread.start()

            def stop() -> None:
                server.shutdown()
                thread.join()
                server.server_close()

            stack.callback(stop)
            return f"http://127.0.0.1:{server.server_port}"

        yield start
