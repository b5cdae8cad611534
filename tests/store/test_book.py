"""The study book."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.strategies import plans, records

from tilestudy.errors import BookError
from tilestudy.store import Outcome, StudyBook, migrations
from tilestudy.study.records import KINDS, Batch, BatchLog, Cloth, Kept, Made, Plan, Reading, Rub, Tile

NOW = datetime(2026, 11, 24, 18, 30, tzinfo=UTC)
DAY = date(2026, 11, 24)


def batch(code: str = "B1", session: int = 1, order: int = 1, strength: float = 1.0) -> Batch:
    return Batch(code, session, order, {"strength": strength})


def tile(code: str, of: Batch, order: int = 1, dip: float = 10.0) -> Tile:
    return Tile(code, of.code, of.session, order, {**of.settings, "dip_time": dip})


def plan_of(*tiles: Tile, batches: tuple[Batch, ...] = (), seed: int = 1, taken_in: bool = False) -> Plan:
    return Plan("plaques", seed, batches or (batch(),), tiles, taken_in)


SMALL = plan_of(tile("A3", batch()), tile("C4", batch(), 2, 90.0))


def rub(grade: float, code: str = "A3", scorer: str = "KL") -> Rub:
    return Rub(code, scorer, DAY, grade, "dry", "cloth-10")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "book.sqlite"


@pytest.fixture
def book(path: Path) -> StudyBook:
    book = StudyBook(path)
    book.save_plan("plaques", SMALL, 'name = "plaques"', NOW)
    return book


def test_it_starts_empty(path: Path) -> None:
    """A new file knows no study, and asks of an unknown study give nothing."""
    with StudyBook(path) as book:
        assert book.studies() == ()
        assert book.codes() == frozenset()
        assert book.plan("plaques") is None
        assert book.study_text("plaques") is None
        assert not book.has_records("plaques")
        assert book.tiles_with_records("plaques") == book.batches_with_records("plaques") == frozenset()
        assert book.current("plaques", "rub") == book.history("plaques", "A3") == []


def test_it_is_a_plain_sqlite_file_with_foreign_keys_and_a_write_ahead_log(book: StudyBook, path: Path) -> None:
    """Any SQLite tool reads it, by the names of the trade."""
    book.record("plaques", "rub", [(rub(4.5), 2)], "rub-KL.csv", NOW)
    book.close()
    conn = sqlite3.connect(path)
    assert conn.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert conn.execute("SELECT tile, scorer, grade, rubbed_on, source FROM rub_grades_now").fetchall() == [
        ("A3", "KL", 4.5, "2026-11-24", "rub-KL.csv")
    ]
    assert conn.execute("SELECT tile, batch FROM tiles_now").fetchall() == [("A3", "B1"), ("C4", "B1")]
    ours = (
        "SELECT count(*) FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND name NOT LIKE '%sqlite%'"
    )
    assert conn.execute(ours).fetchone() == conn.execute(ours + " AND strict").fetchone() == (17,)
    conn.close()


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_it_gives_back_what_it_was_given(data: st.DataObject) -> None:
    """Plans and records of every kind come back equal, and a plan saved again changes nothing."""
    plan = data.draw(plans())
    with StudyBook(":memory:") as book:
        assert book.save_plan("door-plaques", plan, "text", NOW).changed
        assert book.plan("door-plaques") == plan
        assert not book.save_plan("door-plaques", plan, "text", NOW).changed
        kind, record = data.draw(records(plan))
        outcome = book.record("door-plaques", kind, [(record, 2)], "a form", NOW, is_form=True)
        assert outcome == Outcome(added=(record,))
        (kept,) = book.current("door-plaques", kind)
        assert (kept.record, kept.kind, kept.entered, kept.source) == (record, kind, NOW, "a form")
        assert not book.save_plan("door-plaques", plan, "text", NOW).changed
        assert book.plan("door-plaques") == plan


def test_a_record_taken_back_stands_no_longer_and_stays_in_the_history(book: StudyBook) -> None:
    """It can be taken back once; what is entered afterwards is new and follows after it."""
    book.record("plaques", "rub", [(rub(4.5), 2)], "rub.csv", NOW, is_form=True)
    (kept,) = book.current("plaques", "rub")
    number = book.withdraw("plaques", kept, "bench page", NOW)
    assert book.current("plaques", "rub") == []
    assert [(one.id, one.withdrawn, one.superseded_by) for one in book.history("plaques", "A3")] == [
        *((kept.id, False, number), (number, True, None)),
    ]
    with pytest.raises(BookError, match="stands no longer"):
        book.withdraw("plaques", kept, "bench page", NOW)
    assert book.record("plaques", "rub", [(rub(4.5), 2)], "rub.csv", NOW, is_form=True) == Outcome(unchanged=1)
    assert book.record("plaques", "rub", [(rub(4.5), None)], "command line", NOW).added == (rub(4.5),)
    assert [one.supersedes for one in book.current("plaques", "rub")] == [number]


def test_it_keeps_both_when_a_record_is_corrected(book: StudyBook) -> None:
    """The correction counts; the history shows both, oldest first, linked."""
    book.record("plaques", "rub", [(rub(4.5), 2)], "rub.csv", NOW)
    outcome = book.record("plaques", "rub", [(rub(3.5), None)], "command line", NOW)
    ((old, new),) = outcome.corrected
    assert (old.record, new, outcome.added, outcome.unchanged) == (rub(4.5), rub(3.5), (), 0)
    assert [kept.record for kept in book.current("plaques", "rub")] == [rub(3.5)]
    first, second = book.history("plaques", "a3")
    assert (first.record, first.superseded_by, second.record, second.supersedes) == (
        *(rub(4.5), second.id, rub(3.5), first.id),
    )
    assert old == first


def test_it_shows_the_log_of_its_batch_in_the_history_of_a_tile(book: StudyBook) -> None:
    """What happened to the bath belongs to the tile's story."""
    log = BatchLog("B1", datetime(2026, 11, 24, 10, 15), None, {"strength": 1.1})
    book.record("plaques", "batches", [(log, 2)], "batches.csv", NOW)
    book.record("plaques", "made", [(Made("C4", DAY), 2)], "made.csv", NOW)
    assert [kept.record for kept in book.history("plaques", "C4")] == [log, Made("C4", DAY)]
    assert [kept.record for kept in book.history("plaques", "A3")] == [log]


def test_it_changes_nothing_when_a_form_is_read_again(book: StudyBook) -> None:
    """Entering the same forms twice adds, corrects and stores nothing."""
    form = [(rub(4.5), 2), (rub(3.0, "C4"), 3)]
    assert len(book.record("plaques", "rub", form, "rub.csv", NOW, is_form=True).added) == 2
    assert book.record("plaques", "rub", form, "rub.csv", NOW, is_form=True) == Outcome(unchanged=2)
    assert len(book.current("plaques", "rub")) == 2


def test_it_does_not_let_an_old_form_undo_a_correction(book: StudyBook) -> None:
    """A form row that still says what it said is not applied again; an edited one is."""
    book.record("plaques", "rub", [(rub(4.5), 2)], "rub.csv", NOW, is_form=True)
    book.record("plaques", "rub", [(rub(3.5), None)], "command line", NOW)
    assert book.record("plaques", "rub", [(rub(4.5), 2)], "rub.csv", NOW, is_form=True) == Outcome(unchanged=1)
    assert [kept.record for kept in book.current("plaques", "rub")] == [rub(3.5)]
    edited = book.record("plaques", "rub", [(rub(2.0), 2)], "rub.csv", NOW, is_form=True)
    assert [new for _, new in edited.corrected] == [rub(2.0)]
    back = book.record("plaques", "rub", [(rub(4.5), 2)], "rub.csv", NOW, is_form=True)
    assert [new for _, new in back.corrected] == [rub(4.5)]


def test_it_spells_codes_as_the_plan_does(book: StudyBook) -> None:
    """Codes are compared without case, so a3 corrects A3."""
    book.record("plaques", "rub", [(rub(4.5, "a3"), None)], "command line", NOW)
    outcome = book.record("plaques", "rub", [(rub(4.5, "A3"), None)], "command line", NOW)
    assert outcome == Outcome(unchanged=1)


def test_it_stores_several_forms_or_none(book: StudyBook) -> None:
    """One unknown tile in the last form, and nothing of the first one stays."""

    def enter() -> None:
        with book.transaction():
            book.record("plaques", "rub", [(rub(4.5), 2)], "rub.csv", NOW, is_form=True)
            book.record("plaques", "made", [(Made("A3", DAY), 2), (Made("Z9", DAY), 3)], "made.csv", NOW, is_form=True)

    with pytest.raises(BookError) as caught:
        enter()
    assert str(caught.value) == (
        "The plan of plaques has no tile Z9 (it may have been withdrawn when the study was planned again). "
        'Nothing was stored. See the plan with "tilestudy plan plaques".'
    )
    assert not book.has_records("plaques")
    assert book.record("plaques", "rub", [(rub(4.5), 2)], "rub.csv", NOW, is_form=True).added


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        (lambda book: book.record("oven", "rub", [], "x", NOW), "Study oven has no plan yet."),
        (lambda book: book.record("plaques", "rub", [(rub(3.25), 1)], "x", NOW), "does not take this entry"),
        (lambda book: book.record("plaques", "rub", [(rub(float("nan")), 1)], "x", NOW), "not finite"),
        (lambda book: book.record("plaques", "rub", [(rub(3, scorer="\ud800"), 1)], "x", NOW), "cannot keep one of"),
        (lambda book: book.record("plaques", "batches", [(BatchLog("B9"), 1)], "x", NOW), "has no batch B9"),
        (lambda book: book.add_tile("plaques", tile("C4", batch(), 9), NOW), "Tile code C4 is already used"),
        (lambda book: book.add_tile("plaques", tile("D4", batch("B7")), NOW), "Tile D4 belongs to batch B7"),
        (lambda book: book.add_tile("oven", tile("D4", batch()), NOW), "Study oven has no plan yet."),
        (lambda book: book.add_batches("oven", [batch()], [], NOW), "Study oven has no plan yet."),
        (
            lambda book: book.add_batches("plaques", [batch("b1")], [], NOW),
            "Batch code b1 is already used in this study",
        ),
        (
            lambda book: book.add_batches("plaques", [batch("B2")], [tile("a3", batch("B2"))], NOW),
            "Tile code a3 is already used in this study",
        ),
        (lambda book: book.add_batches("plaques", [], [tile("D4", batch())], NOW), "batch B1, which the plan"),
        (lambda book: book.add_batches("plaques", [batch("B2")], 2 * [tile("D4", batch("B2"))], NOW), "tile D4 twice"),
        (lambda book: book.save_plan("oven", SMALL, "", NOW), "Tile code A3 (and 1 more) is already used in the study"),
        (lambda book: book.save_plan("oven", plan_of(*2 * (tile("D4", batch()),)), "", NOW), "the tile D4 twice"),
        (lambda book: book.save_plan("oven", plan_of(tile("D4", batch("B2"))), "", NOW), "batch B2, which the plan"),
    ],
)
def test_it_refuses_in_plain_words(book: StudyBook, wrong: Callable[[StudyBook], object], message: str) -> None:
    """Every refusal is a BookError that names what is wrong, and leaves the book as it was."""
    with pytest.raises(BookError) as caught:
        wrong(book)
    assert message in str(caught.value)
    assert book.studies() == ("plaques",)
    assert not book.has_records("plaques")


def test_it_adds_batches_after_those_that_are_there(book: StudyBook) -> None:
    """Tiles, batches, records and the text of the study stay; what is added stands behind them, and can be recorded."""
    book.record("plaques", "rub", [(rub(4.5), 2)], "rub.csv", NOW)
    before = book.current("plaques", "rub")
    second = batch("B2", 2, 2, 3.0)
    new = tile("D4", second)
    grown = book.add_batches("plaques", [second], [new], NOW)
    assert grown == plan_of(*SMALL.tiles, new, batches=(*SMALL.batches, second))
    assert book.plan("plaques") == grown
    assert book.current("plaques", "rub") == before
    assert book.study_text("plaques") == 'name = "plaques"'
    assert book.record("plaques", "rub", [(rub(3.0, "D4"), 2)], "rub.csv", NOW).added
    other = batch("B1")
    book.save_plan("oven", replace(plan_of(tile("H4", other)), study="oven"), "", NOW)
    with pytest.raises(BookError, match="already used in the study oven"):
        book.add_batches("plaques", [batch("B3", 3, 3)], [tile("H4", batch("B3"))], NOW)
    assert book.plan("plaques") == grown


def test_it_asks_for_a_time_zone(book: StudyBook) -> None:
    """A time without zone would be kept as a wrong UTC time."""
    with pytest.raises(ValueError, match="time zone"):
        book.record("plaques", "rub", [(rub(4.0), 1)], "x", datetime(2026, 11, 24))


# --- planning again ---------------------------------------------------------------------------------------------


def test_it_withdraws_the_tiles_of_an_old_plan_without_records(book: StudyBook) -> None:
    """They stay in the book, marked, and their codes stay used."""
    new = plan_of(tile("D4", batch(strength=9.0)), batches=(batch(strength=9.0),), seed=2)
    saved = book.save_plan("plaques", new, "later", NOW)
    assert (saved.plan, saved.added, saved.withdrawn, saved.kept) == (new, ("D4",), ("A3", "C4"), ())
    assert book.plan("plaques") == new
    assert book.study_text("plaques") == "later"
    assert book.codes() == {"A3", "C4", "D4"}


def test_it_never_discards_or_alters_what_has_records(book: StudyBook) -> None:
    """The recorded tile and its batch stay; the new batches are numbered on after them."""
    book.record("plaques", "made", [(Made("A3", DAY), 2)], "made.csv", NOW)
    assert book.tiles_with_records("plaques") == {"A3"}
    assert book.batches_with_records("plaques") == {"B1"}
    new = plan_of(
        *(tile("D4", batch(strength=9.0)), tile("E4", batch("B2"))),
        batches=(batch(strength=9.0), batch("B2", 1, 2)),
        seed=2,
    )
    saved = book.save_plan("plaques", new, "", NOW)
    assert (saved.added, saved.withdrawn, saved.kept) == (("D4", "E4"), ("C4",), ("A3",))
    assert [(one.code, one.session, one.order, one.settings["strength"]) for one in saved.plan.batches] == [
        ("B1", 1, 1, 1.0),
        ("B2", 2, 2, 9.0),
        ("B3", 2, 3, 1.0),
    ]
    assert [(one.code, one.batch, one.session) for one in saved.plan.tiles] == [
        ("A3", "B1", 1),
        ("D4", "B2", 2),
        ("E4", "B3", 2),
    ]
    assert book.history("plaques", "A3")
    with pytest.raises(BookError) as caught:
        book.record("plaques", "made", [(Made("C4", DAY), 2)], "made.csv", NOW)
    assert "withdrawn" in str(caught.value)


def test_it_puts_no_new_tile_into_a_batch_already_used(book: StudyBook) -> None:
    """A batch of the new plan with the settings of a used one is a fresh batch all the same."""
    book.record("plaques", "batches", [(BatchLog("B1", note="cloudy"), 2)], "batches.csv", NOW)
    saved = book.save_plan("plaques", plan_of(tile("D4", batch())), "", NOW)
    assert [(one.code, one.batch) for one in saved.plan.tiles] == [("D4", "B2")]
    assert [one.code for one in saved.plan.batches] == ["B1", "B2"]


def test_it_refuses_a_recorded_code_for_another_tile(book: StudyBook) -> None:
    """A new plan must deal out fresh codes."""
    book.record("plaques", "made", [(Made("A3", DAY), 2)], "made.csv", NOW)
    with pytest.raises(BookError) as caught:
        book.save_plan("plaques", plan_of(tile("a3", batch(), dip=33.0), seed=2), "", NOW)
    assert str(caught.value) == (
        "Tile code a3 already has records in this study, so the new plan cannot use it again. "
        "Deal out codes that are not yet used."
    )


def test_it_takes_an_edited_list_of_existing_tiles(path: Path) -> None:
    """A list read again adds and corrects tiles without records, and refuses to alter those with records."""
    listed = replace(SMALL, taken_in=True)
    with StudyBook(path) as book:
        book.save_plan("plaques", listed, "", NOW)
        book.record("plaques", "rub", [(rub(4.5), 2)], "rub.csv", NOW)
        edited = plan_of(listed.tiles[0], tile("C4", batch(), 2, 45.0), tile("D4", batch(), 3), taken_in=True)
        saved = book.save_plan("plaques", edited, "", NOW)
        assert (saved.plan, saved.added, saved.withdrawn) == (edited, ("C4", "D4"), ("C4",))
        altered = plan_of(tile("A3", batch(), dip=11.0), taken_in=True)
        with pytest.raises(BookError) as caught:
            book.save_plan("plaques", altered, "", NOW)
        assert str(caught.value) == (
            "The tile list would alter tile A3, for which results are already recorded. Nothing was stored. Put the "
            "tile list back as it was; what was really done goes into the made or batches form (columns actual_...)."
        )
        assert book.plan("plaques") == edited


def test_it_keeps_replacement_tiles_when_the_tile_list_is_read_again(path: Path) -> None:
    """A tile named as a replacement counts as recorded, so entering twice changes nothing."""
    listed = replace(SMALL, taken_in=True)
    new = replace(tile("D4", batch(), 3), replaces="A3")
    with StudyBook(path) as book:
        book.save_plan("plaques", listed, "", NOW)
        assert book.add_tile("plaques", new, NOW)
        assert not book.add_tile("plaques", new, NOW)
        made = Made("A3", DAY, spoiled=True, why="fell in the bath", replaced_by="D4")
        book.record("plaques", "made", [(made, 2)], "made.csv", NOW, is_form=True)
        saved = book.save_plan("plaques", listed, "", NOW)
        assert (saved.changed, saved.kept) == (False, ("D4",))
        assert book.plan("plaques") == replace(listed, tiles=(*listed.tiles, new))


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_it_never_loses_a_record_however_often_it_is_planned_again(data: st.DataObject) -> None:
    """After any sequence of plans, each recorded tile stands as it stood."""
    with StudyBook(":memory:") as book:
        held: dict[str, Tile] = {}
        for turn in range(3):
            plan = replace(data.draw(plans(tuple(f"{turn}{code}" for code in "ACDE"))), taken_in=False)
            book.save_plan("door-plaques", plan, "", NOW)
            current = book.plan("door-plaques")
            assert current is not None
            kind, record = data.draw(records(current))
            book.record("door-plaques", kind, [(record, None)], "command line", NOW)
            for code in book.tiles_with_records("door-plaques"):
                held.setdefault(code, current.tile(code))
            assert {code: current.tile(code) for code in held} == held
            places = [(one.session, one.order) for one in current.batches]
            assert len(set(places)) == len(places)


# --- the file: crowds, cuts, damage -----------------------------------------------------------------------------

WRITER = """
import sys
from datetime import UTC, date, datetime
from tilestudy.store import StudyBook
from tilestudy.study.records import Rub
with StudyBook(sys.argv[1]) as book:
    for number in range(4):
        one = Rub("A3", f"{sys.argv[2]}.{number}", date(2026, 11, 24), 4.5)
        shared = Rub("C4", "KL", date(2026, 11, 24), 1 + int(sys.argv[2]) % 9 / 2, strokes=number)
        book.record("plaques", "rub", [(one, None), (shared, None)], "command line", datetime.now(UTC))
"""

CUT_OFF = """
import sys
from datetime import UTC, date, datetime
from tilestudy.store import StudyBook
from tilestudy.study.records import Rub
with StudyBook(sys.argv[1]) as book, book.transaction():
    for number in range(300):
        rub = Rub("A3", f"{number}", date(2026, 11, 24), 4.5)
        book.record("plaques", "rub", [(rub, None)], "command line", datetime.now(UTC))
    print("half-way", flush=True)
    sys.stdin.read()
"""


def test_it_loses_nothing_when_fifteen_people_write_at_once(book: StudyBook, path: Path) -> None:
    """Each own record is there once, and the corrections of the shared one form a single chain."""
    crowd = [subprocess.Popen([sys.executable, "-c", WRITER, str(path), str(number)]) for number in range(15)]
    assert [one.wait() for one in crowd] == [0] * 15
    current = [kept.record for kept in book.current("plaques", "rub")]
    marks = {one.scorer for one in current if isinstance(one, Rub) and one.tile == "A3"}
    assert marks == {f"{number}.{turn}" for number in range(15) for turn in range(4)}
    chain = book.history("plaques", "C4")
    assert len(current) == 61
    assert [kept.supersedes for kept in chain] == [None, *(kept.id for kept in chain[:-1])]
    assert len({(rub.grade, rub.strokes) for kept in chain if isinstance(rub := kept.record, Rub)}) > 4


OPENS = "import sys; from tilestudy.store import StudyBook; StudyBook(sys.argv[1]).close()"


def test_it_builds_a_new_file_once_when_many_open_it(path: Path) -> None:
    """Ten at once find or make the tables; none fails."""
    crowd = [subprocess.Popen([sys.executable, "-c", OPENS, str(path)]) for _ in range(6)]
    assert [one.wait() for one in crowd] == [0] * 6
    with StudyBook(path) as book:
        assert book.studies() == ()


def test_it_is_whole_after_the_power_went_in_the_middle_of_writing(book: StudyBook, path: Path) -> None:
    """What was committed is there, nothing of the half-written is, and the file is sound."""
    book.record("plaques", "rub", [(rub(4.5), 2)], "rub.csv", NOW)
    writer = subprocess.Popen(
        [sys.executable, "-c", CUT_OFF, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    with writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "half-way\n"
        os.kill(writer.pid, signal.SIGKILL)
    book.close()
    with StudyBook(path) as again:
        assert [kept.record for kept in again.current("plaques", "rub")] == [rub(4.5)]
        assert again.record("plaques", "rub", [(rub(3.0, "C4"), 3)], "rub.csv", NOW).added
    conn = sqlite3.connect(path)
    assert conn.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert conn.execute("PRAGMA foreign_key_check").fetchall() == []
    conn.close()


def dump(path: Path) -> list[str]:
    conn = sqlite3.connect(path)
    lines = list(conn.iterdump())
    conn.close()
    return lines


def test_it_leaves_the_file_as_it_was_when_a_step_fails(
    book: StudyBook, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A step that fails half-way undoes itself and the steps before it; the old program still reads the file."""
    book.record("plaques", "rub", [(rub(4.5), 2)], "rub.csv", NOW)
    book.close()
    before = dump(path)

    def first_new(conn: sqlite3.Connection) -> None:
        conn.execute("CREATE TABLE sealers (name TEXT) STRICT")

    def then_broken(conn: sqlite3.Connection) -> None:
        conn.execute("ALTER TABLE tiles ADD COLUMN holes INTEGER")
        conn.execute("ALTER TABLE nowhere ADD COLUMN holes INTEGER")

    with monkeypatch.context() as patch:
        patch.setattr(migrations, "STEPS", (*migrations.STEPS, first_new, then_broken))
        with pytest.raises(BookError) as caught:
            StudyBook(path)
    assert str(caught.value) == (
        f"{path} could not be read or written (no such table: nowhere). Nothing was stored. Check the disk and try again."
    )
    assert dump(path) == before
    with StudyBook(path) as again:
        assert [kept.record for kept in again.current("plaques", "rub")] == [rub(4.5)]


def test_it_brings_an_older_file_up_to_date_with_its_data(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that lacks the last steps gets them, and keeps what it holds."""
    with monkeypatch.context() as patch:
        patch.setattr(migrations, "STEPS", migrations.STEPS[:2])
        StudyBook(path).close()
    conn = sqlite3.connect(path)
    conn.execute("INSERT INTO studies (name) VALUES ('plaques')")
    conn.commit()
    conn.close()
    with StudyBook(path) as book:
        assert book.studies() == ("plaques",)
        assert all(book.current("plaques", kind) == [] for kind in KINDS)


def as_of(steps: int, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Put in the place of a book one that has had only the first steps, with what fits into its tables."""
    new = path.with_name("new.sqlite")
    path.rename(new)
    with monkeypatch.context() as patch:
        patch.setattr(migrations, "STEPS", migrations.STEPS[:steps])
        StudyBook(path).close()
    conn = sqlite3.connect(path)
    conn.execute("ATTACH ? AS new", [str(new)])
    tables = conn.execute("SELECT name FROM main.sqlite_schema WHERE type = 'table' AND name NOT LIKE '%sqlite%'")
    for (table,) in tables.fetchall():
        columns = ", ".join(row[1] for row in conn.execute(f"PRAGMA main.table_info({table})"))
        conn.execute(f"INSERT INTO main.{table} ({columns}) SELECT {columns} FROM new.{table}")
    if steps < 7:
        for row, said in conn.execute("SELECT rowid, said FROM form_rows WHERE kind = 'colour'").fetchall():
            old = {
                key: one for key, one in json.loads(said).items() if key not in ("series", "mottle", "error", "detail")
            }
            conn.execute("UPDATE form_rows SET said = ? WHERE rowid = ?", [json.dumps(old), row])
    conn.commit()
    conn.close()
    new.unlink()


READ = Reading("A3", "cured", DAY, 31.5, 14.25, -9.0, 1, "sphere 1", "d/8", "D65", "10", "KL")
CLOTH = Cloth(
    "A3", DAY, 4.37, (90.5, 1.0, 3.25), (94.0, 0.0, 2.0), "dry", "cloth-10", 1, 0.12, "KL", {"photo": ["1.jpg"]}
)


def fill(book: StudyBook) -> None:
    """Record something of every kind that a book could hold before photos, corrections among it."""
    book.record("plaques", "made", [(Made("A3", DAY, actual={"dip_time": 12.0}), 2)], "made.csv", NOW, is_form=True)
    book.record("plaques", "made", [(Made("A3", DAY, spoiled=True, why="dropped"), None)], "command line", NOW)
    book.record("plaques", "batches", [(BatchLog("B1", by="KL"), None)], "command line", NOW)
    book.record("plaques", "colour", [(READ, 2), (replace(READ, tile="C4"), 3)], "colour.csv", NOW, is_form=True)
    book.record("plaques", "colour", [(replace(READ, L=33.0), None)], "command line", NOW)
    book.record("plaques", "rub", [(rub(4.5), 2)], "rub.csv", NOW, is_form=True)
    book.record("plaques", "rub", [(rub(4.0), None)], "command line", NOW)
    book.record("plaques", "rub", [(rub(3.5), None)], "command line", NOW)
    book.add_claim("plaques", {"chance": 0.8}, NOW)


def everything(book: StudyBook) -> list[Kept]:
    return [kept for code in ("A3", "C4") for kept in book.history("plaques", code)]


def sound(path: Path) -> bool:
    conn = sqlite3.connect(path)
    checks = [conn.execute(f"PRAGMA {check}").fetchall() for check in ("integrity_check", "foreign_key_check")]
    conn.close()
    return checks == [[("ok",)], []]


def test_it_takes_photo_readings_into_a_book_made_before_them(
    book: StudyBook, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All that the old book held is there, corrections linked; its forms are known again; cloths go in and can be corrected."""
    fill(book)
    before = everything(book)
    book.close()
    as_of(6, path, monkeypatch)
    with StudyBook(path) as now:
        assert everything(now) == before
        assert sound(path)
        rows = [(READ, 2), (replace(READ, tile="C4"), 3)]
        assert now.record("plaques", "colour", rows, "colour.csv", NOW, is_form=True) == Outcome(unchanged=2)
        assert now.record("plaques", "cloths", [(CLOTH, None)], "1.jpg", NOW).added == (CLOTH,)
        again = replace(CLOTH, grade=4.1)
        assert len(now.record("plaques", "cloths", [(again, None)], "1.jpg", NOW).corrected) == 1
        photo = replace(
            READ, instrument="photo", series="phone", mottle=1.5, error=0.8, detail={"glare": 0.02, "tray": 3}
        )
        now.record("plaques", "colour", [(photo, None)], "1.jpg", NOW)
        assert [kept.record for kept in now.current("plaques", "cloths")] == [again]
        assert [kept.record for kept in now.current("plaques", "colour")][-1] == photo
        assert now.claims("plaques") == [{"chance": 0.8}]
        assert now.tiles_with_records("plaques") == {"A3", "C4"}
        with pytest.raises(sqlite3.IntegrityError):
            now._conn.execute("DELETE FROM entries WHERE id = 1")  # others still point at it
        assert sound(path)


DIES = """
import os, signal, sys
from tilestudy.store import StudyBook, migrations
def die(conn):
    os.kill(os.getpid(), signal.SIGKILL)
migrations.STEPS = (*migrations.STEPS, die)
StudyBook(sys.argv[1])
"""


def test_an_old_book_is_as_it_was_when_the_power_goes_while_it_is_brought_up_to_date(
    book: StudyBook, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed after the last step and before the commit, the file is the old one; then six at once bring it up to date."""
    fill(book)
    before = everything(book)
    book.close()
    as_of(6, path, monkeypatch)
    old = dump(path)
    assert subprocess.run([sys.executable, "-c", DIES, str(path)], check=False).returncode == -signal.SIGKILL
    assert dump(path) == old
    crowd = [subprocess.Popen([sys.executable, "-c", OPENS, str(path)]) for _ in range(6)]
    assert [one.wait() for one in crowd] == [0] * 6
    with StudyBook(path) as now:
        assert everything(now) == before
    assert sound(path)


def test_it_numbers_trays_through_the_studio_and_never_twice(book: StudyBook, path: Path) -> None:
    """The same sheet keeps its number, another study's sheet gets the next, and no number comes back."""
    first = {"tiles": [["A3", 10.0]], "paper": "a4"}
    assert [book.add_tray("plaques", first, NOW), book.add_tray("pulls", first, NOW)] == [1, 2]
    assert book.add_tray("plaques", dict(reversed(first.items())), NOW) == 1
    book._conn.execute("DELETE FROM trays WHERE id = 2")
    assert book.add_tray("plaques", {"tiles": [["C4", 10.0]]}, NOW) == 3
    assert book.trays("plaques") == [(1, first), (3, {"tiles": [["C4", 10.0]]})]
    assert (book.tray_of(1), book.tray_of(2), book.trays("none")) == (("plaques", first), None, [])


def test_it_takes_rub_grades_of_a_book_without_rounds_as_first_rounds(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The old grades are read, their form is known again, a correction finds them, and a second round stands beside."""
    with StudyBook(path) as new:
        new.save_plan("plaques", SMALL, 'name = "plaques"', NOW)
    as_of(4, path, monkeypatch)
    conn = sqlite3.connect(path)
    key = '["A3", "cloth-10", "dry", "KL"]'
    said = (
        '{"tile": "A3", "scorer": "KL", "on": "2026-11-24", "grade": 4.5, "condition": "dry", "protocol": "cloth-10", '
        '"strokes": null, "broke_through": null}'
    )
    conn.execute(
        "INSERT INTO entries (study_id, kind, record_key, entered_at, source, source_line) "
        "VALUES (1, 'rub', ?, '2026-11-24T18:30:00+00:00', 'rub.csv', 2)",
        [key],
    )
    conn.execute(
        "INSERT INTO rub_grades (entry_id, tile_id, scorer, rubbed_on, grade, condition, protocol) "
        "VALUES (1, 1, 'KL', '2026-11-24', 4.5, 'dry', 'cloth-10')"
    )
    conn.execute(
        "INSERT INTO form_rows (study_id, source, kind, record_key, said, read_at) VALUES (1, 'rub.csv', 'rub', ?, ?, '2026-11-24')",
        [key, said],
    )
    conn.commit()
    conn.close()
    with StudyBook(path) as book:
        assert [kept.record for kept in book.current("plaques", "rub")] == [rub(4.5)]
        assert book.record("plaques", "rub", [(rub(4.5), 2)], "rub.csv", NOW, is_form=True) == Outcome(unchanged=1)
        assert len(book.record("plaques", "rub", [(rub(3.5), None)], "command line", NOW).corrected) == 1
        assert book.record("plaques", "rub", [(rub(4.5), 2)], "rub.csv", NOW, is_form=True) == Outcome(unchanged=1)
        again = replace(rub(2.0), on=date(2026, 12, 24), round=2)
        assert book.record("plaques", "rub", [(again, 3)], "rub.csv", NOW, is_form=True).added == (again,)
        assert [kept.record for kept in book.current("plaques", "rub")] == [rub(3.5), again]


def test_it_refuses_a_book_of_a_newer_version(book: StudyBook, path: Path) -> None:
    """A step it does not know means that it may not write."""
    book.close()
    conn = sqlite3.connect(path)
    conn.execute("INSERT INTO _sqlite_migrations (migration_set, name, applied_at) VALUES ('tilestudy', 'sealers', '')")
    conn.commit()
    conn.close()
    with pytest.raises(BookError) as caught:
        StudyBook(path)
    assert str(caught.value) == (
        f"{path} was written by a newer tilestudy (it has had the step sealers). Nothing was changed. "
        'Install the newer version: "pip install --upgrade tilestudy".'
    )


def test_it_refuses_a_file_that_is_no_study_book(tmp_path: Path) -> None:
    """Neither a text file nor another program's SQLite file is touched."""
    notes = tmp_path / "notes.txt"
    notes.write_text("not a book, but long enough to be looked at as one" * 40)
    other = tmp_path / "other.sqlite"
    conn = sqlite3.connect(other)
    conn.execute("CREATE TABLE songs (name TEXT)")
    conn.close()
    for path, message in (
        (
            notes,
            f"{notes} is not a study book, or it is damaged (file is not a database). Nothing was changed. Put a copy "
            "from your backup in its place, or move it away to start a new book.",
        ),
        (
            other,
            f"{other} is an SQLite file, but not a study book. Nothing was changed. Move it away, or give the study "
            "book another name.",
        ),
        (
            tmp_path / "nowhere" / "book.sqlite",
            f"{tmp_path / 'nowhere' / 'book.sqlite'} cannot be opened. Check that the folder {tmp_path / 'nowhere'} "
            "exists and that you may write there, and try again.",
        ),
    ):
        before = path.read_bytes() if path.exists() else None
        with pytest.raises(BookError) as caught:
            StudyBook(path)
        assert str(caught.value) == message
        assert (path.read_bytes() if path.exists() else None) == before


def test_it_says_who_holds_it_when_it_stays_locked(
    book: StudyBook, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another program that holds the file is named as the cause, after the wait."""
    monkeypatch.setattr("tilestudy.store.book.BUSY_SECONDS", 0.05)
    with StudyBook(path) as second, book.transaction(), pytest.raises(BookError) as caught:
        second.record("plaques", "rub", [(rub(4.5), 2)], "rub.csv", NOW)
    assert str(caught.value) == (
        f"{path} has been in use by another program for more than 0.05 seconds. Nothing was stored. Close the program "
        "that holds it (an SQLite viewer, a backup) and try again."
    )


def test_it_says_when_the_disk_is_full_or_read_only(book: StudyBook, path: Path) -> None:
    """Nothing is half-written, and the next step is named."""
    pages = book._conn.execute("PRAGMA page_count").fetchone()[0]
    book._conn.execute(f"PRAGMA max_page_count = {pages}")
    many = [(rub(4.5, scorer=f"{number}"), None) for number in range(500)]
    with pytest.raises(BookError) as caught:
        book.record("plaques", "rub", many, "rub.csv", NOW)
    assert str(caught.value) == (
        f"{path} cannot grow: the disk is full. Nothing was stored. Free some space and try again."
    )
    assert not book.has_records("plaques")
    book._conn.execute("PRAGMA query_only = ON")
    with pytest.raises(BookError) as caught:
        book.record("plaques", "rub", many[:1], "rub.csv", NOW)
    assert str(caught.value) == (
        f"{path} cannot be written: the file or its folder is read-only. Nothing was stored. Allow writing to it."
    )


def test_it_takes_no_blank_of_a_form_for_a_word_against_another_source(book: StudyBook) -> None:
    """A form that only brings the date leaves what was typed elsewhere, however often it is edited.

    What the form itself said it can take back by emptying the cell.
    """

    def enter(record: Made) -> list[object]:
        book.record("plaques", "made", [(record, 2)], "made.csv", NOW, is_form=True)
        return [kept.record for kept in book.current("plaques", "made")]

    typed = Made("A3", DAY, actual={"dip_time": 12.0}, spoiled=True, why="dropped")
    book.record("plaques", "made", [(typed, None)], "command line", NOW)
    assert enter(Made("A3", DAY, by="MB")) == [replace(typed, by="MB")]
    assert enter(Made("A3", DAY, by="TR")) == [replace(typed, by="TR")]
    assert enter(Made("A3", DAY, note="late")) == [replace(typed, by="", note="late")]


def test_it_can_be_read_where_it_cannot_be_written(
    book: StudyBook, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Due, history and findings work on a read-only disk; storing is refused in plain words."""
    book.record("plaques", "rub", [(rub(4.0), None)], "command line", NOW)
    book.close()
    monkeypatch.setattr(os, "access", lambda *_: False)
    with StudyBook(path) as reading:
        assert [kept.record for kept in reading.current("plaques", "rub")] == [rub(4.0)]
        with pytest.raises(BookError, match="Allow writing to it"):
            reading.record("plaques", "rub", [(rub(3.0), None)], "command line", NOW)
