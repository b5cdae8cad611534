"""Every page in a real browser: for everybody, at phone and tablet size; from plan to scores to findings; a server that is killed."""

from __future__ import annotations

import re
import signal
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.bench.rub_studio import STUDY, grades, rub_ready
from tests.benchmarks.bench_load import Server
from tilestudy.studio import Studio

pytestmark = pytest.mark.browser


@pytest.fixture
def visit(browser: Browser) -> Iterator[Callable[..., Page]]:
    """Open a device of a size, with a mark."""
    contexts = []

    def open_one(address: str, mark: str = "KL", size: tuple[int, int] = (320, 640)) -> Page:
        context = browser.new_context(
            viewport={"width": size[0], "height": size[1]}, has_touch=True, reduced_motion="reduce"
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(10_000)
        page.goto(address)
        page.get_by_label(re.compile("initials", re.I)).fill(mark)
        page.get_by_role("button", name="Continue").click()
        expect(page.get_by_role("heading", name="Today")).to_be_visible()
        page.wait_for_load_state("load")
        return page

    yield open_one
    for context in contexts:
        context.close()


def test_every_page_is_for_everybody(tmp_path: Path, serve: Callable[..., str], visit: Callable[..., Page]) -> None:
    """No serious finding of axe-core, nothing wider than 320 px, nothing from elsewhere, no error in the console."""
    codes = rub_ready(tmp_path)
    address = serve(tmp_path)
    page = visit(address)
    said: list[str] = []
    asked: set[str] = set()
    page.on("console", lambda message: said.append(message.text) if message.type == "error" else None)
    page.on("request", lambda request: asked.add(request.url.split("/")[2]))
    for path in (
        "/",
        f"/{STUDY}/run/1",
        f"/{STUDY}/rub/dry",
        f"/{STUDY}/colour",
        f"/{STUDY}/board",
        "/boards",
        f"/tile/{codes[0]}",
        f"/{STUDY}/keep",
        f"/{STUDY}/findings",
        "/mark",
        "/pair",
    ):
        page.goto(address + path)
        if path.endswith("findings"):
            expect(page.get_by_text("No tile has a value")).to_be_visible(timeout=30_000)
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, path
        found = [one for one in Axe().run(page).response["violations"] if one["impact"] in ("serious", "critical")]
        assert not found, (path, [(one["id"], one["nodes"][0]["html"]) for one in found])
    assert said == []
    assert asked == {address.split("/")[2]}


def test_from_plan_to_scores_to_findings(tmp_path: Path, serve: Callable[..., str], visit: Callable[..., Page]) -> None:
    """What the findings page says is what the command says of the same scores."""
    rub_ready(tmp_path)
    studio = Studio(tmp_path)
    _, plan = studio.planned(STUDY)
    week_ago = (studio.today - timedelta(days=2)).isoformat()
    for number, tile in enumerate(plan.tiles):
        dark = 60 - 8 * float(tile.settings["strength"]) ** 0.5 - 0.2 * float(tile.settings["dip_time"]) + number % 2
        studio.record("colour", STUDY, {"tile": tile.code, "on": week_ago, "L": f"{dark}", "a": "9", "b": "12"})
    address = serve(tmp_path)
    page = visit(address, size=(800, 1280))
    page.goto(f"{address}/{STUDY}/rub/dry")
    for number in range(len(plan.tiles)):
        page.wait_for_timeout(450)  # a second tap so soon counts as a slip
        if number == 0:
            page.get_by_role("button", name=re.compile("Not watched")).click()
        page.locator(
            f'[data-grade="{"3.0" if number % 2 else "4.0"}"], [data-grade="{3 if number % 2 else 4}"]'
        ).first.click()
    expect(page.locator("#all-done")).to_be_visible()
    expect(page.locator("#queue-badge")).to_have_text("saved")
    assert len(grades(studio, "KL")) == len(plan.tiles)
    page.goto(f"{address}/{STUDY}/findings")
    sentence = studio.drivers(STUDY).blocks()[0].sentences[0]
    expect(page.get_by_text(sentence, exact=True)).to_be_visible(timeout=30_000)
    picture = page.locator("main img").first
    assert (
        picture.evaluate("one => one.complete && one.naturalWidth > 0")
        or picture.evaluate("one => one.decode()") is None
    )
    page.goto(f"{address}/{STUDY}/board")
    assert page.locator(".swatch").count() == len(plan.tiles)


def test_a_killed_server_loses_nothing(tmp_path: Path, visit: Callable[..., Page]) -> None:
    """kill -9 while entries come; what was not acknowledged waits on the device and is stored once by the next server."""
    codes = rub_ready(tmp_path)
    server = Server(tmp_path)
    try:
        page = visit(f"http://127.0.0.1:{server.port}")
        enter = """(codes) => codes.forEach((tile, n) => bench.enter({study: "plaques", kind: "rub", saw: 0,
            cells: {tile, grade: String(1 + n / 2), condition: "dry", scorer: "KL"}}))"""
        page.evaluate(enter, codes[:2])
        expect(page.locator("#queue-badge")).to_have_text("saved")
        server.kill(signal.SIGKILL)
        page.evaluate(enter.replace("1 + n / 2", "2 + n / 2"), codes[2:])
        expect(page.locator("#queue-badge")).to_have_text(f"{len(codes) - 2} not saved yet")
        server.start()
        expect(page.locator("#queue-badge")).to_have_text("saved", timeout=20_000)
    finally:
        server.kill(signal.SIGTERM)
    assert set(grades(Studio(tmp_path), "KL")) == set(codes)
    with Studio(tmp_path).book() as book:
        assert len(book.current(STUDY, "rub")) == len(codes)
