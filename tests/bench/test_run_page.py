"""The run page in a real browser: dips timed from their stored start, through reloads, on two devices, with and without network."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Locator, Page, expect

from tilestudy.studio import Studio
from tilestudy.study.records import BatchLog, Made

pytestmark = pytest.mark.browser

STUDY = "plaques"
Device = Callable[[str], Page]


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    """Two baths of four tiles, in for 2 or 60 s, once or twice; nothing made yet."""
    studio = Studio(tmp_path)
    path = studio.new(STUDY, "sulfide-dip", "C11000")
    text = path.read_text(encoding="utf-8")
    for before, after in (
        ("levels = [1, 3, 9]", "levels = [1, 9]"),
        ("levels = [10, 30, 90]", "levels = [2, 60]"),
        ("levels = [1, 4]", "levels = [1, 2]"),
        ("batches_each = 2", "batches_each = 1"),
        ('name = "plaques"', 'name = "plaques"\ninvented = true'),
    ):
        assert before in text
        text = text.replace(before, after)
    path.write_text(text, encoding="utf-8")
    studio.plan(STUDY, seed=7)
    return studio


@pytest.fixture
def device(studio: Studio, serve: Callable[[Path], str], browser: Browser) -> Iterator[Device]:
    """Open the run sheet of session 1 on a device of its own."""
    address = serve(studio.folder)
    contexts: list[BrowserContext] = []

    def open_one(mark: str) -> Page:
        contexts.append(browser.new_context(viewport={"width": 360, "height": 740}, has_touch=True))
        page = contexts[-1].new_page()
        page.set_default_timeout(10_000)
        page.goto(f"{address}/{STUDY}/run/1")
        page.get_by_label(re.compile("initials", re.I)).fill(mark)
        page.get_by_role("button", name="Continue").click()
        expect(page.locator(".run-tile").first).to_be_visible()
        return page

    yield open_one
    for context in contexts:
        context.close()


def code_of(studio: Studio, seconds: float, cycles: float, batch: str = "B1") -> str:
    """Return the tile of a batch that is in for so long so often."""
    _, plan = studio.planned(STUDY)
    wanted = {"dip_time": seconds, "scrub_cycles": cycles}
    return next(
        one.code
        for one in plan.tiles
        if one.batch == batch and {name: one.settings[name] for name in wanted} == wanted and not one.replaces
    )


def row(page: Page, code: str) -> Locator:
    """Return a tile's row."""
    return page.locator(f"#tile-{code}")


def main(page: Page, code: str) -> None:
    """Tap a tile's main button, not so soon after the last tap that it would count as a slip."""
    page.wait_for_timeout(1050)
    row(page, code).locator(".run-main").tap()


def made(studio: Studio, code: str) -> Made | None:
    """Return what stands of a tile's making."""
    with studio.book() as book:
        kept = [one.record for one in book.current(STUDY, "made")]
    return next((one for one in kept if isinstance(one, Made) and one.tile == code), None)


def saved(page: Page) -> None:
    """Wait until everything is in the book and seen there."""
    expect(page.locator(".run", has_text="not yet saved")).to_have_count(0)
    page.wait_for_timeout(200)


def test_a_timer_goes_on_through_a_reload_and_the_record_tells_the_real_time(device: Device, studio: Studio) -> None:
    """In, out, in again after a reload; only what differs from the plan is recorded; a double tap counts once; undo."""
    code = code_of(studio, 2, 2)
    page = device("kl")
    row(page, code).locator(".run-main").tap()
    row(page, code).locator(".run-main").tap()  # a slip: it is still in
    timer = page.locator("#timers li")
    expect(timer).to_contain_text(code)
    saved(page)
    page.reload()
    expect(timer).to_contain_text("1 of 2")
    expect(page.get_by_role("button", name="Tap for sound")).to_be_visible()
    expect(timer).to_contain_text("s over", timeout=4000)
    expect(page.get_by_role("alert").filter(has_text="time is up")).to_have_text(f"{code}: time is up")
    main(page, code)
    expect(row(page, code)).to_contain_text("Out, goes in again")
    expect(timer).to_have_count(0)
    main(page, code)
    expect(row(page, code)).to_contain_text("In 2 of 2")
    page.wait_for_timeout(4500)
    timer.get_by_role("button").tap()
    expect(row(page, code)).to_contain_text("✓ Made")
    expect(page.locator("#progress-text")).to_have_text("1 of 8 made")
    saved(page)
    record = made(studio, code)
    assert record is not None
    assert record.by == "KL"
    assert "scrub_cycles" not in record.actual
    assert 3.0 < float(record.actual["dip_time"]) < 9.0
    expect(row(page, code)).to_contain_text("Really: dip time")
    page.get_by_role("button", name=re.compile("^Undo")).tap()
    expect(row(page, code)).to_contain_text("In 2 of 2")
    saved(page)
    assert made(studio, code) is None


def test_several_tiles_on_two_devices_and_another_day(device: Device, studio: Studio) -> None:
    """The tablet sees what the phone put in and takes it out; the one due first stands on top; a third device resumes."""
    slow, quick = code_of(studio, 60, 1), code_of(studio, 2, 1)
    phone, tablet = device("KL"), device("MT")
    main(phone, slow)
    main(phone, quick)
    expect(phone.locator("#timers li").first).to_contain_text(quick)
    expect(tablet.locator("#timers li")).to_have_count(2, timeout=8000)
    main(tablet, quick)
    expect(tablet.locator("#timers li")).to_have_count(1)
    expect(row(phone, quick)).to_contain_text("✓ Made", timeout=8000)
    saved(tablet)
    record = made(studio, quick)
    assert record is not None
    assert record.by == "MT"
    phone.context.close()
    later = device("TR")
    expect(later.locator("#timers li")).to_contain_text(slow)
    expect(later.locator("#progress-text")).to_have_text("1 of 8 made")
    expect(later.locator(".run-next")).to_have_count(1)


def test_offline_nothing_is_lost(device: Device, studio: Studio) -> None:
    """Without the network a tile goes in and out by the device's clock, survives a tap of undo, and arrives whole."""
    code, other = code_of(studio, 2, 1), code_of(studio, 60, 1)
    page = device("KL")
    page.context.set_offline(True)
    page.get_by_role("button", name="B1: Made now").tap()
    main(page, code)
    page.wait_for_timeout(5000)
    main(page, code)
    expect(row(page, code)).to_contain_text("✓ Made")
    expect(row(page, code)).to_contain_text("not yet saved")
    main(page, other)
    page.get_by_role("button", name=f"Undo: {other}").tap()
    expect(row(page, other)).not_to_contain_text("In since")
    assert made(studio, code) is None
    page.context.set_offline(False)
    page.reload()
    expect(page.locator(".run", has_text="not yet saved")).to_have_count(0, timeout=40_000)
    expect(row(page, code)).to_contain_text("✓ Made")
    expect(row(page, other).locator(".run-main")).to_have_text("In")
    record = made(studio, code)
    assert record is not None
    assert 4.5 < float(record.actual["dip_time"]) < 9.0


def test_notes_spoiled_tiles_and_the_bath(device: Device, studio: Studio) -> None:
    """A note taken while a tile is in goes with its record; a stand-in joins the bath; a clouded bath asks before the next dip."""
    code, lost, third = code_of(studio, 60, 1), code_of(studio, 2, 1), code_of(studio, 2, 2)
    page = device("KL")
    page.get_by_role("button", name="B1: Made now").tap()
    main(page, code)
    row(page, code).get_by_role("button", name=f"More for {code}").tap()
    row(page, code).get_by_role("group", name=f"Note on {code}").get_by_role("button", name="touched").tap()
    expect(row(page, code)).to_contain_text("Note: touched")
    main(page, code)
    expect(row(page, code)).to_contain_text("✓ Made")
    saved(page)
    record = made(studio, code)
    assert record is not None
    assert record.note == "touched"
    for word in ("uneven", "dropped"):
        row(page, code).get_by_role("group", name=f"Note on {code}").get_by_role("button", name=word).tap()
    expect(row(page, code)).to_contain_text("Note: touched; uneven; dropped")
    row(page, code).get_by_role("group", name=f"Note on {code}").get_by_role("button", name="uneven").tap()
    saved(page)
    record = made(studio, code)
    assert record is not None
    assert record.note == "touched; dropped"

    row(page, lost).get_by_role("button", name=f"More for {lost}").tap()
    row(page, lost).get_by_text(f"{lost} is spoiled").tap()
    row(page, lost).get_by_role("group", name=f"Why {lost} is spoiled").get_by_role("button", name="dropped").tap()
    row(page, lost).get_by_role("button", name="Spoiled, with a stand-in").tap()
    expect(row(page, lost)).to_contain_text("✗ Spoiled: dropped")
    saved(page)
    record = made(studio, lost)
    assert record is not None
    assert record.spoiled
    assert record.replaced_by
    expect(row(page, record.replaced_by)).to_contain_text(f"stands in for {lost}")

    page.get_by_role("button", name="B1: Clouded").tap()
    expect(page.locator(".run-batch").first).to_contain_text("⚠ Clouded: spent")
    main(page, third)
    expect(row(page, third).locator(".run-main")).to_have_text("In all the same 1 of 2")
    expect(page.locator("#timers li")).to_have_count(0)
    main(page, third)
    expect(page.locator("#timers li")).to_have_count(1)
    page.get_by_role("button", name="B1: Out of use").tap()
    expect(page.locator(".run-batch").first).to_contain_text("Out of use since")
    saved(page)
    with studio.book() as book:
        log = [one.record for one in book.current(STUDY, "batches")]
    assert len(log) == 1
    assert isinstance(log[0], BatchLog)
    assert log[0].made_at
    assert log[0].discarded_at
    assert "clouded at" in log[0].note


def test_more_or_fewer_times_than_planned(device: Device, studio: Studio) -> None:
    """Enough after 1 of 2, and once more after 1 of 1: the record tells how often it really was."""
    fewer, more = code_of(studio, 2, 2), code_of(studio, 2, 1)
    page = device("KL")
    main(page, fewer)
    main(page, fewer)
    row(page, fewer).get_by_role("button", name=f"More for {fewer}").tap()
    row(page, fewer).get_by_role("button", name="Enough: made after 1 of 2").tap()
    expect(row(page, fewer)).to_contain_text("✓ Made")
    main(page, more)
    main(page, more)
    saved(page)
    row(page, more).get_by_role("button", name=f"More for {more}").tap()
    row(page, more).get_by_role("button", name="Goes in once more").tap()
    expect(row(page, more)).to_contain_text("Out, goes in again")
    main(page, more)
    page.wait_for_timeout(1000)
    main(page, more)
    expect(row(page, more)).to_contain_text("✓ Made")
    saved(page)
    records = {code: made(studio, code) for code in (fewer, more)}
    assert {code: one and one.actual.get("scrub_cycles") for code, one in records.items()} == {fewer: 1.0, more: 2.0}


def test_targets_are_large_and_nothing_runs_over_the_edge(device: Device) -> None:
    """Every button is 56 px high or more; no sideways scrolling from 320 to 800 px."""
    page = device("KL")
    page.locator(".run-more").first.tap()
    for width, height in ((320, 640), (360, 740), (800, 1280)):
        page.set_viewport_size({"width": width, "height": height})
        sizes = page.locator(".run button:visible, .run input:visible, .run summary:visible").evaluate_all(
            "all => all.map(one => [one.textContent, one.getBoundingClientRect().height, one.getBoundingClientRect().width])"
        )
        assert [one for one in sizes if one[1] < 55.9 or one[2] < 55.9] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_words_of_a_timer(device: Device) -> None:
    """Time left comes from the stored start; what is read from afar is short; entries on their way change the sheet once."""
    page = device("KL")
    assert page.evaluate("[0, 9.4, 59.6, 90, 3599, 7500].map(runSheet.clock)") == [
        *("0", "9", "1:00", "1:30", "59:59", "2 h 05"),
    ]
    tile = {"code": "K7", "dip_seconds": 30, "cycles": 2, "dips": [], "state": "to make", "made": None}
    sheet = {"batches": [{"code": "B1", "tiles": [tile]}]}
    start = {"id": "a", "kind": "start", "cells": {"tile": "K7", "cycle": "1"}, "at": "2026-11-24T10:00:00Z"}
    stop = {"id": "b", "kind": "stop", "cells": {"tile": "K7", "cycle": "1"}, "at": "2026-11-24T10:00:31Z"}
    undo = {"id": "c", "kind": "undo", "cells": {"entry": "b"}, "at": "2026-11-24T10:00:40Z"}
    states = "(given) => { const tile = runSheet.overlay(given[0], given[1]).batches[0].tiles[0]; return [tile.state, runSheet.next(tile)]; }"
    assert page.evaluate(states, [sheet, []]) == ["to make", {"do": "start", "cycle": 1}]
    assert page.evaluate(states, [sheet, [start]]) == ["in", {"do": "stop", "cycle": 1}]
    assert page.evaluate(states, [sheet, [start, start, stop]]) == ["between", {"do": "start", "cycle": 2}]
    assert page.evaluate(states, [sheet, [start, stop, undo]]) == ["in", {"do": "stop", "cycle": 1}]
    left = "(given) => runSheet.running(runSheet.overlay(given[0], given[1]), Date.parse('2026-11-24T12:00:20+02:00')).map(one => one.left)"
    assert page.evaluate(left, [sheet, [start]]) == [10]


def test_hours_in_a_tub_are_not_pinned(device: Device, studio: Studio) -> None:
    """What comes out in hours says when, in its row, and leaves the top of the page to what is due soon."""
    path = studio.new("tub", "ammonia-salt-fuming", "C11000")
    assert path.exists()
    studio.plan("tub", seed=7)
    page = device("KL")
    page.goto(page.url.replace(STUDY, "tub"))
    first = page.locator(".run-tile").first
    first.locator(".run-main").tap()
    expect(first).to_contain_text(re.compile(r"In since .*, out at .*\d\d:\d\d"))
    expect(page.locator("#timers li")).to_have_count(0)
    untimed = {"dip_seconds": None, "cycles": 1, "dips": [], "state": "to make"}
    assert page.evaluate("(tile) => runSheet.next(tile)", untimed) == {"do": "made", "cycle": 0}


def test_what_is_not_stored_is_told_at_the_tile(device: Device, studio: Studio) -> None:
    """Two devices enter the same tile, one of them without network: the second one's word never replaces the first one's."""
    code = code_of(studio, 60, 1)
    phone, tablet = device("KL"), device("MT")
    tablet.context.set_offline(True)
    for page, really in ((phone, "50"), (tablet, "70")):
        row(page, code).get_by_role("button", name=f"More for {code}").tap()
        row(page, code).get_by_label("dip time").fill(really)
        row(page, code).get_by_role("button", name="Made, without the timer").tap()
        expect(row(page, code)).to_contain_text("✓ Made")
        if page is phone:
            saved(page)
    tablet.context.set_offline(False)
    expect(row(tablet, code)).to_contain_text("⚠ Not stored:", timeout=20_000)
    expect(row(tablet, code)).to_contain_text("Really: dip time 50")
    record = made(studio, code)
    assert record is not None
    assert (record.by, record.actual["dip_time"]) == ("KL", 50.0)
