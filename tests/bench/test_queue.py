"""The queue on the device, where things go wrong: no room left, an answer that never comes, two people on one tablet, a conflict."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from tests.bench.rub_studio import STUDY, grades, rub_ready
from tilestudy.studio import Studio

pytestmark = pytest.mark.browser

ENTER = """([tile, grade]) => { bench.enter({study: "plaques", kind: "rub", saw: 0, cells: {tile, grade, condition: "dry"}}); }"""


@pytest.fixture
def tablet(browser: Browser) -> Iterator[BrowserContext]:
    """One device, impatient with answers that never come."""
    context = browser.new_context(viewport={"width": 360, "height": 740})
    context.add_init_script("window.benchPatience = 700")
    yield context
    context.close()


def as_mark(page: Page, address: str, mark: str) -> None:
    page.goto(f"{address}/mark")
    page.get_by_label(re.compile("initials", re.I)).fill(mark)
    page.get_by_role("button", name="Continue").click()
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    page.wait_for_load_state("load")


def test_nothing_is_lost_where_the_device_can_keep_nothing(
    tmp_path: Path, serve: Callable[..., str], tablet: BrowserContext
) -> None:
    """No room left: the page holds the entry, says so, and it is stored once."""
    codes = rub_ready(tmp_path)
    page = tablet.new_page()
    as_mark(page, serve(tmp_path), "KL")
    page.evaluate(
        '() => { IDBObjectStore.prototype.put = () => { throw new DOMException("full", "QuotaExceededError"); }; }'
    )
    tablet.set_offline(True)
    page.evaluate(ENTER, [codes[0], "4"])
    expect(page.locator("#queue-badge")).to_have_text("1 not saved yet")
    expect(page.get_by_text("Leave this page open until they are saved")).to_be_visible()
    tablet.set_offline(False)
    expect(page.locator("#queue-badge")).to_have_text("saved", timeout=15_000)
    expect(page.get_by_text("Leave this page open until they are saved")).to_be_hidden()
    assert grades(Studio(tmp_path), "KL") == {codes[0]: (4.0, None, None)}


def test_an_answer_that_never_comes_holds_nothing_up(
    tmp_path: Path, serve: Callable[..., str], tablet: BrowserContext
) -> None:
    """It is sent again after a while, and stored once."""
    codes = rub_ready(tmp_path)
    page = tablet.new_page()
    as_mark(page, serve(tmp_path), "KL")
    hung: list[Route] = []
    page.route("**/enter", lambda route: hung.append(route) if not hung else route.continue_())
    page.evaluate(ENTER, [codes[0], "4"])
    page.evaluate(ENTER, [codes[1], "3"])
    expect(page.locator("#queue-why")).to_have_text(re.compile("No connection"))
    expect(page.locator("#queue-badge")).to_have_text("saved", timeout=15_000)
    assert set(grades(Studio(tmp_path), "KL")) == set(codes[:2])


def test_two_people_on_one_tablet_do_not_wait_for_each_other(
    tmp_path: Path, serve: Callable[..., str], tablet: BrowserContext
) -> None:
    """MB's entry goes out while KL's waits for KL, and each is stored under the own mark."""
    codes = rub_ready(tmp_path)
    address = serve(tmp_path)
    page = tablet.new_page()
    as_mark(page, address, "KL")
    page.route("**/enter", lambda route: route.abort())
    page.evaluate(ENTER, [codes[0], "4"])
    expect(page.locator("#queue-badge")).to_have_text("1 not saved yet")
    as_mark(page, address, "MB")
    page.unroute("**/enter")
    page.evaluate(ENTER, [codes[1], "3"])
    expect(page.locator("#queue-badge")).to_have_text("1 not saved yet", timeout=15_000)
    expect(page.get_by_text("Entries of KL wait on this device")).to_be_visible()
    studio = Studio(tmp_path)
    page.wait_for_timeout(300)
    assert (set(grades(studio, "MB")), grades(studio, "KL")) == ({codes[1]}, {})
    as_mark(page, address, "KL")
    expect(page.locator("#queue-badge")).to_have_text("saved", timeout=15_000)
    assert set(grades(studio, "KL")) == {codes[0]}


@pytest.mark.parametrize(("answer", "stands"), [("Keep what stands", 2.0), ("Put mine", 4.0)])
def test_a_conflict_is_asked_about(
    tmp_path: Path, serve: Callable[..., str], tablet: BrowserContext, answer: str, stands: float
) -> None:
    """Both ways; with the old value kept in the book."""
    codes = rub_ready(tmp_path)
    studio = Studio(tmp_path)
    page = tablet.new_page()
    as_mark(page, serve(tmp_path), "KL")
    studio.record("rub", STUDY, {"tile": codes[0], "scorer": "KL", "condition": "dry", "grade": "2"})
    page.evaluate(ENTER, [codes[0], "4"])
    button = page.get_by_role("button", name=answer)
    button.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#queue-asks .ask")).to_have_count(0)
    expect(page.locator("#queue-badge")).to_have_text("saved")
    assert grades(studio, "KL")[codes[0]][0] == stands
