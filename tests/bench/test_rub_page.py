"""The rub page in a real browser: cloth after cloth, by touch and by keyboard, offline, by two scorers, on two devices."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.bench.rub_studio import STUDY, grades, rub_ready, said_of
from tilestudy.bench.serve import access_of
from tilestudy.studio import Studio

pytestmark = pytest.mark.browser

Device = Callable[[str], Page]


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    """Six tiles to rub, dry and wet."""
    rub_ready(tmp_path)
    return Studio(tmp_path)


@pytest.fixture
def visit(browser: Browser) -> Iterator[Callable[[str], Page]]:
    """Open an address on a device of its own: a phone with a touch screen."""
    contexts: list[BrowserContext] = []

    def open_one(address: str) -> Page:
        contexts.append(browser.new_context(viewport={"width": 360, "height": 740}, has_touch=True))
        page = contexts[-1].new_page()
        page.set_default_timeout(10_000)
        page.goto(address)
        return page

    yield open_one
    for context in contexts:
        context.close()


@pytest.fixture
def device(studio: Studio, serve: Callable[..., str], visit: Callable[[str], Page]) -> Device:
    """Open the dry rub sheet with a mark, on this machine alone: the same mark may be on two devices."""
    address = serve(studio.folder)
    return lambda mark: with_mark(visit(f"{address}/{STUDY}/rub/dry"), mark)


@pytest.fixture
def paired(studio: Studio, serve: Callable[..., str], visit: Callable[[str], Page]) -> Device:
    """Open the dry rub sheet as a scorer, shared with the room: the device is paired by the code of the day."""
    access = access_of(studio.folder, shared=True)
    address = serve(studio.folder, access=access)

    def open_one(mark: str) -> Page:
        page = visit(f"{address}/pair?code={access.code('scorer')}")
        page.get_by_role("button", name="Pair").click()
        page.goto(f"{address}/{STUDY}/rub/dry")
        return with_mark(page, mark)

    return open_one


def with_mark(page: Page, mark: str) -> Page:
    """Say who is at the device and wait for the sheet."""
    page.get_by_label(re.compile("initials", re.I)).fill(mark)
    page.get_by_role("button", name="Continue").click()
    expect(page.get_by_role("heading", name="Rub test, dry")).to_be_visible()
    expect(page.locator("#card")).to_be_visible()
    return page


def tile_on(page: Page) -> str:
    """Return the code of the tile on the card."""
    return page.locator("#tile").inner_text().removeprefix("Tile ")


def settled(page: Page) -> None:
    """Wait as long as the page takes a second tap for a slip of the finger, and until all is saved."""
    page.wait_for_timeout(450)
    expect(page.locator("#list", has_text="not yet saved")).to_have_count(0)


def grade(page: Page, written: str, metal: str = "Never") -> str:
    """Grade the tile on the card by touch and return its code."""
    code = tile_on(page)
    page.get_by_role("button", name=re.compile(f"^{metal}")).tap()
    page.get_by_role("button", name=re.compile(f"^Grade {written},")).tap()
    page.wait_for_timeout(450)
    return code


def test_by_touch_one_cloth_after_the_other(device: Device, studio: Studio) -> None:
    """Two taps a tile; half steps; the stroke of bare metal; undo; correct one from the list; then all are done."""
    page = device("kl")
    first = grade(page, "4-5")
    assert tile_on(page) != first
    expect(page.locator("#progress-text")).to_have_text("1 of 6 graded")

    second = tile_on(page)
    page.get_by_role("button", name=re.compile("^Grade 2,")).tap()
    expect(page.locator("#ask")).to_have_text("Grade 2. Did bare metal show?")
    page.get_by_role("button", name=re.compile("^Yes")).tap()
    page.get_by_label("Stroke", exact=True).fill("six")
    expect(page.get_by_text("Write a whole number of strokes, 1 or more.")).to_be_visible()
    page.get_by_label("Stroke", exact=True).fill("6")
    page.get_by_role("button", name="One more").tap()
    page.get_by_role("button", name="Keep 2, bare metal at 7").tap()
    page.wait_for_timeout(450)

    slip = grade(page, "1")
    page.get_by_role("button", name=f"Undo {slip}").tap()
    settled(page)
    assert tile_on(page) == slip
    assert grades(studio, "KL") == {first: (4.5, 10, False), second: (2.0, 7, True)}
    page.get_by_role("button", name=re.compile("^Grade 5,")).tap()  # what was seen of the metal stayed
    page.wait_for_timeout(450)

    page.locator("#list button", has_text=first).tap()
    page.wait_for_timeout(450)
    page.get_by_role("button", name=re.compile("^Grade 4,")).tap()
    settled(page)
    page.locator("#list button", has_text=second).tap()
    page.wait_for_timeout(450)
    page.get_by_role("button", name="Not watched").tap()
    settled(page)
    assert grades(studio, "KL") == {first: (4.0, 10, False), second: (2.0, None, None), slip: (5.0, 10, False)}
    assert said_of(studio, first) == ["KL 4.5", "KL 4.0"]

    for _ in range(3):
        page.get_by_role("button", name=re.compile("^Grade 3-4,")).tap()  # "not watched" carries over
        page.wait_for_timeout(450)
    expect(page.get_by_role("heading", name="All 6 tiles graded")).to_be_visible()
    settled(page)
    assert len(grades(studio, "KL")) == 6
    page.get_by_role("link", name="On to the wet rubs").tap()
    expect(page.locator("#progress-text")).to_have_text("0 of 6 graded")


def test_by_keyboard(device: Device, studio: Studio) -> None:
    """N and a digit grade a tile: whole grades by their own digit, halves 6 to 9; U takes back; a held key counts once."""
    page = device("KL")
    codes = []
    for key in "3196":
        codes.append(tile_on(page))
        page.keyboard.press("n")
        page.keyboard.down(key)
        page.keyboard.down(key)
        page.keyboard.up(key)
        page.wait_for_timeout(450)
    page.keyboard.press("u")
    settled(page)
    assert {code: one[0] for code, one in grades(studio, "KL").items()} == dict(
        zip(codes[:3], [3, 1, 4.5], strict=True)
    )
    page.get_by_text("With a keyboard").click()
    page.get_by_label("These keys work").uncheck()
    page.locator("h1").click()
    page.keyboard.press("5")
    settled(page)
    assert len(grades(studio, "KL")) == 3


def test_begun_and_not_graded_stays_on_the_device(device: Device, studio: Studio) -> None:
    """All tiles may be rubbed first and graded when the cloths are dry: the strokes noted wait through a reload."""
    page = device("KL")
    code = tile_on(page)
    page.get_by_role("button", name=re.compile("^Yes")).tap()
    page.get_by_label("Stroke", exact=True).fill("4")
    page.get_by_role("button", name="Later: next tile").tap()
    assert tile_on(page) != code
    page.reload()
    expect(page.locator("#tile")).to_have_text(f"Tile {code}")
    page.get_by_role("button", name=re.compile("^Grade 3,")).tap()
    settled(page)
    assert grades(studio, "KL") == {code: (3.0, 4, True)}


def test_offline_nothing_is_lost(device: Device, studio: Studio) -> None:
    """Without the network grades wait on the device, a correction and an undo among them; then all arrive once, in order."""
    page = device("KL")
    page.context.set_offline(True)
    first = grade(page, "4")
    second = grade(page, "2-3")
    page.locator("#list button", has_text=first).tap()
    page.wait_for_timeout(450)
    page.get_by_role("button", name=re.compile("^Grade 3-4,")).tap()
    page.wait_for_timeout(450)
    third = grade(page, "1")
    page.get_by_role("button", name=f"Undo {third}").tap()
    page.wait_for_timeout(300)
    expect(page.locator("#list", has_text="not yet saved")).to_have_count(1)
    assert grades(studio, "KL") == {}
    page.context.set_offline(False)
    page.reload()
    expect(page.locator("#list", has_text="not yet saved")).to_have_count(0, timeout=40_000)
    assert grades(studio, "KL") == {first: (3.5, 10, False), second: (2.5, 10, False)}
    assert said_of(studio, first) == ["KL 4.0", "KL 3.5"]
    expect(page.get_by_role("alert").filter(has_text=re.compile(r"\w"))).to_have_count(0)


def test_two_scorers_count_both_and_see_nothing_of_each_other(paired: Device, studio: Studio) -> None:
    """Each has an order of their own and the own grades only; both grades of a tile are kept."""
    kl, mt = paired("KL"), paired("MT")
    code = grade(kl, "1-2")
    settled(kl)
    mt.reload()
    expect(mt.locator("#card")).to_be_visible()
    expect(mt.locator("#progress-text")).to_have_text("0 of 6 graded")
    assert "1-2" not in mt.locator("#list").inner_text()
    mt.locator("#list button", has_text=code).tap()
    mt.wait_for_timeout(450)
    assert grade(mt, "3") == code
    settled(mt)
    assert (grades(studio, "KL"), grades(studio, "MT")) == ({code: (1.5, 10, False)}, {code: (3.0, 10, False)})
    orders = [page.locator("#list .rub-code").all_inner_texts() for page in (kl, mt)]
    assert orders[0] != orders[1]
    assert sorted(orders[0]) == sorted(orders[1])


def test_the_same_scorer_on_two_devices_is_asked(device: Device, studio: Studio) -> None:
    """The second device meets the first one's grade, and only the scorer's word replaces it."""
    phone, tablet = device("KL"), device("KL")
    code = grade(phone, "4")
    settled(phone)
    assert grade(tablet, "2") == code
    alert = tablet.get_by_role("alert").filter(has_text=re.compile("stands already"))
    expect(alert).to_be_visible()
    assert grades(studio, "KL") == {code: (4.0, 10, False)}
    expect(tablet.locator("#list button", has_text=code)).to_contain_text("4")
    tablet.get_by_role("button", name="Put mine").tap()
    expect(tablet.locator("#list button", has_text=code)).to_contain_text("2")
    settled(tablet)
    assert grades(studio, "KL") == {code: (2.0, 10, False)}


def test_a_correction_made_offline_does_not_overwrite_what_another_device_stored(
    device: Device, studio: Studio
) -> None:
    """Graded and corrected without the network while the other device grades the same tile: the scorer is asked."""
    phone, tablet = device("KL"), device("KL")
    phone.context.set_offline(True)
    code = grade(phone, "4")
    phone.locator("#list button", has_text=code).tap()
    phone.wait_for_timeout(450)
    phone.get_by_role("button", name=re.compile("^Grade 3-4,")).tap()
    assert grade(tablet, "2") == code
    settled(tablet)
    phone.context.set_offline(False)
    expect(phone.locator("#list button", has_text=code)).to_contain_text("2", timeout=40_000)
    assert grades(studio, "KL") == {code: (2.0, 10, False)}


def test_what_cannot_be_stored_does_not_look_graded(device: Device, studio: Studio) -> None:
    """A tile that was made today cannot have been rubbed two days ago: the page says so and the tile is to grade again."""
    page = device("KL")
    code = tile_on(page)
    studio.record("made", STUDY, {"tile": code, "on": studio.today.isoformat()})
    page.evaluate("bench.now = () => new Date(Date.now() - 48 * 3600 * 1000)")
    grade(page, "4")
    expect(page.get_by_role("alert").filter(has_text="cannot be right")).to_be_visible()
    expect(page.locator("#list button", has_text=code)).to_contain_text("to grade")
    assert grades(studio, "KL") == {}
