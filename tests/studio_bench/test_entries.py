"""Entries of the bench page: each stored once, none written over, everybody's own."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.studio_bench.studios import EVENING, KEEPER, KL, MB, Bench, planned
from tilestudy.outcomes.bench import Entry, Writer
from tilestudy.studio import Studio
from tilestudy.study.forms import cells_of, read_entry


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def rub(tile: str, grade: str, **more: str) -> dict[str, str]:
    return {"tile": tile, "condition": "dry", "grade": grade, **more}


# --- once ----------------------------------------------------------------------------------------------------------------


def test_it_answers_an_entry_sent_again_as_the_first_time(bench: Bench) -> None:
    """The same number is stored once, and the record stays what it was even when it was corrected since."""
    tile = bench.codes[0]
    first = bench.enter("rub", rub(tile, "4"))
    second = bench.enter("rub", rub(tile, "3"), saw=first.record)
    again = bench.enter("rub", rub(tile, "4"), number="entry-1")
    assert (first.status, second.status, again.status) == ("stored", "stored", "again")
    assert replace(again, status="stored") == first
    assert [one["grade"] for one in bench.standing("rub")] == [3.0]


def test_it_stores_nothing_under_a_number_that_means_something_else(bench: Bench) -> None:
    """Two devices that deal the same number, or a page that changes an entry, lose nothing in silence."""
    bench.enter("rub", rub(bench.codes[0], "4"))
    other = bench.enter("rub", rub(bench.codes[1], "4"), number="entry-1")
    stranger = bench.enter("rub", rub(bench.codes[0], "4"), MB, number="entry-1")
    assert other.status == stranger.status == "refused"
    assert other.says == (
        "Another entry came under the same number already, so this one was not stored. Enter it again.",
    )


entries = st.lists(
    st.tuples(
        *(st.sampled_from([KL, MB]), st.integers(0, 2), st.sampled_from(["3", "4", "4.5"])),
        st.sampled_from(["rub", "made", "start", "stop"]),
    ),
    min_size=1,
    max_size=8,
)


@settings(max_examples=25)
@given(entries, st.data())
def test_any_interleaving_and_repetition_of_entries_stores_each_once(
    drawn: list[tuple[Writer, int, str, str]], data: st.DataObject
) -> None:
    """However often and in whatever order entries arrive: each one stored is one row of the diary, and nothing is written over."""
    with TemporaryDirectory() as folder:
        bench = Bench(Path(folder))
        sent = []
        for number, (who, tile, grade, kind) in enumerate(drawn):
            cells = {"tile": bench.codes[tile]}
            cells |= {"rub": rub(cells["tile"], grade), "made": {"note": f"grade {grade}"}}.get(kind, {"cycle": "1"})
            sent.append((Entry(f"e{number}", "plaques", kind, cells, saw=0), who))
        numbers = st.lists(st.sampled_from(range(len(sent))), max_size=12)
        order = [*data.draw(numbers), *data.draw(st.permutations(range(len(sent)))), *data.draw(numbers)]
        first: dict[str, int | None] = {}
        for place in order:
            entry, who = sent[place]
            answer = bench.studio.bench_enter(entry, who)
            if answer.status in ("stored", "unchanged"):
                assert entry.id not in first
                first[entry.id] = answer.record
            elif answer.status == "again":
                assert answer.record == first[entry.id]
        conn = sqlite3.connect(bench.folder / "experiments" / "studybook.db")
        rows = conn.execute("SELECT id, record FROM received").fetchall()
        diary = [number for (number,) in conn.execute("SELECT id FROM entries ORDER BY id")]
        over = conn.execute("SELECT count(*) FROM rub_grades_history WHERE superseded_by IS NOT NULL").fetchone()[0]
        conn.close()
        assert {number for number, _ in rows} == set(first)
        assert sorted(record for _, record in rows if record is not None) == diary  # each record by one entry
        assert over == 0


def test_threads_with_the_same_entries_store_each_once(bench: Bench) -> None:
    """Eight at once send the same twenty grades twice over: each is stored by one of them."""
    sent = [
        Entry(f"e{number}", "plaques", "rub", rub(bench.codes[number % 8], "4", round=str(1 + number // 8)))
        for number in range(20)
    ]
    with ThreadPoolExecutor(8) as crowd:
        answers = list(crowd.map(lambda entry: bench.studio.bench_enter(entry, KL), sent * 4))
    assert [sum(one.status == status for one in answers) for status in ("stored", "again")] == [20, 60]
    assert len(bench.standing("rub")) == 20


SENDS = """
import sys
from tests.studio_bench.studios import EVENING
from tilestudy.outcomes.bench import Entry, Writer
from tilestudy.studio import Studio
studio, who = Studio(sys.argv[1], now=lambda: EVENING), sys.argv[2]
codes = [tile.code for tile in studio.planned("plaques")[1].tiles]
for code in codes:
    cells = {"tile": code, "condition": "wet", "grade": "4"}
    ours = studio.bench_enter(Entry(who + code, "plaques", "rub", cells), Writer(who))
    shared = studio.bench_enter(Entry("both" + code, "plaques", "start", {"tile": code, "cycle": "1"}), Writer("MB"))
    print(ours.status, shared.status)
"""


def test_programs_at_once_store_each_once(bench: Bench) -> None:
    """Three servers on one book, as after a restart that left the old one running: nothing is lost or doubled."""
    crowd = [
        subprocess.Popen([sys.executable, "-c", SENDS, str(bench.folder), who], stdout=subprocess.PIPE, text=True)
        for who in ("KL", "TR", "AB")
    ]
    said = [line.split() for one in crowd for line in one.communicate()[0].splitlines()]
    assert [one.returncode for one in crowd] == [0, 0, 0]
    assert [ours for ours, _ in said] == ["stored"] * 24
    assert sorted(shared for _, shared in said) == ["again"] * 16 + ["stored"] * 8
    assert len(bench.standing("rub")) == 24


CUT_OFF = """
import sys, time
from tests.studio_bench.studios import EVENING
from tilestudy.outcomes.bench import Entry, Writer
from tilestudy.store.bench import BenchRows
from tilestudy.studio import Studio
def half_way(*_):
    print("half-way", flush=True)
    time.sleep(60)
BenchRows.receive = half_way
cells = {"tile": sys.argv[2], "condition": "dry", "grade": "4"}
Studio(sys.argv[1], now=lambda: EVENING).bench_enter(Entry("e1", "plaques", "rub", cells), Writer("KL"))
"""


def test_an_entry_whose_server_died_before_it_answered_is_stored_once_when_sent_again(bench: Bench) -> None:
    """Killed between the record and the note that it was received, neither is kept; sent again, both are."""
    server = subprocess.Popen(
        [sys.executable, "-c", CUT_OFF, str(bench.folder), bench.codes[0]], stdout=subprocess.PIPE, text=True
    )
    with server:
        assert server.stdout is not None
        assert server.stdout.readline() == "half-way\n"
        os.kill(server.pid, signal.SIGKILL)
    assert bench.standing("rub") == []
    assert bench.enter("rub", rub(bench.codes[0], "4"), number="e1").status == "stored"
    assert len(bench.standing("rub")) == 1


# --- what stands already -----------------------------------------------------------------------------------------------------


def test_it_never_writes_over_what_the_writer_did_not_see(bench: Bench) -> None:
    """A second device of the same scorer sees the first grade and has to say that it means another."""
    tile = bench.codes[0]
    first = bench.enter("rub", rub(tile, "4", strokes="8"))
    blind = [bench.enter("rub", rub(tile, "3"), saw=saw) for saw in (0, None, 99)]
    assert {one.status for one in blind} == {"other"}
    assert blind[0].says == ("Another record stands already: grade would change. Look at both and say which is right.",)
    assert blind[0].now is not None
    assert (blind[0].now["grade"], blind[0].now["strokes"], blind[0].by, blind[0].record) == (
        "4",
        "8",
        "KL",
        first.record,
    )
    assert bench.enter("rub", rub(tile, "3"), saw=first.record).status == "stored"
    assert [(one["grade"], one["strokes"]) for one in bench.standing("rub")] == [(3.0, 8)]


def test_two_scorers_of_a_tile_both_count(bench: Bench) -> None:
    """Each has a grade of their own, whatever they write into the cell of the scorer."""
    tile = bench.codes[0]
    answers = [bench.enter("rub", rub(tile, grade, scorer="KL"), who) for who, grade in ((KL, "4"), (MB, "3"))]
    assert [one.status for one in answers] == ["stored", "stored"]
    assert [(one["scorer"], one["grade"]) for one in bench.standing("rub")] == [("KL", 4.0), ("MB", 3.0)]


def test_it_adds_to_what_was_left_open_and_takes_back_what_was_emptied(bench: Bench) -> None:
    """Made up by one and discarded by another; an empty cell takes back only what its writer saw."""
    made_up = bench.enter("batches", {"batch": "B1", "made_at": "now"})
    bench.later(3600)
    gone = bench.enter("batches", {"batch": "B1", "discarded_at": "now", "note": "clouded"}, MB)
    assert (made_up.status, gone.status) == ("stored", "stored")
    (log,) = bench.standing("batches")
    assert (log["discarded_at"] - log["made_at"], log["note"], log["by"]) == (timedelta(hours=1), "clouded", "KL")  # type: ignore[operator]
    bench.enter("batches", {"batch": "B1", "note": ""}, saw=0)
    assert bench.standing("batches")[0]["note"] == "clouded"
    bench.enter("batches", {"batch": "B1", "note": ""}, saw=gone.record)
    assert bench.standing("batches")[0]["note"] == ""


def test_it_refuses_what_makes_no_sense_together(bench: Bench) -> None:
    """Each part may be right: a bath discarded before it was made up, strokes emptied of a rub that broke through."""
    bench.enter("batches", {"batch": "B1", "made_at": "now"})
    early = bench.enter("batches", {"batch": "B1", "discarded_at": "2026-11-20 10:00"})
    assert early.status == "refused"
    assert early.says[0].startswith("Discarded at 2026-11-20 10:00 is before made at")
    through = bench.enter("rub", rub(bench.codes[0], "2", strokes="5", broke_through="yes"))
    emptied = bench.enter("rub", rub(bench.codes[0], "2", strokes=""), saw=through.record)
    assert emptied.says[0].startswith("Broke through is yes, but there are no strokes.")


def test_values_of_a_response_are_corrected_too(bench: Bench) -> None:
    """In a column of their own name as in the column value."""
    first = bench.enter("values", {"tile": bench.codes[0], "gloss": "12"})
    assert bench.enter("values", {"tile": bench.codes[0], "gloss": "13"}).status == "other"
    bench.enter("values", {"tile": bench.codes[0], "gloss": "13"}, saw=first.record)
    assert [one["value"] for one in bench.standing("values")] == [13.0]


# --- whose -----------------------------------------------------------------------------------------------------------------


def test_a_scorer_changes_only_the_own(bench: Bench) -> None:
    """What another entered can be added to, not altered, spoiled or taken back; a keeper may, and says for whom."""
    tile = bench.codes[0]
    made = bench.enter("made", {"tile": tile, "actual_dip_time": "12 s"})
    for cells in ({"actual_dip_time": "14 s"}, {"spoiled": "yes", "why": "dropped"}):
        answer = bench.enter("made", {"tile": tile, **cells}, MB, saw=made.record)
        assert answer.status == "refused"
        assert answer.says == ("This was entered by KL, and only KL or a keeper can change it.",)
    assert bench.enter("undo", {"entry": "entry-1"}, MB).says == (
        "That was entered by KL, and only KL or a keeper can take it back.",
    )
    assert bench.enter("undo", {"record": str(made.record)}, MB).status == "refused"
    assert bench.enter("made", {"tile": tile, "note": "overran"}, MB).status == "stored"
    (now,) = bench.standing("made")
    assert (now["actual"], now["note"], now["by"]) == ({"dip_time": 12.0}, "overran", "KL")
    bench.enter("rub", rub(tile, "4", scorer="tr"), KEEPER)
    assert [one["scorer"] for one in bench.standing("rub")] == ["TR"]


def test_a_mark_is_one_in_small_letters_and_capitals(bench: Bench) -> None:
    """kl corrects KL; nobody enters without a mark."""
    first = bench.enter("rub", rub(bench.codes[0], "4"), Writer("kl"))
    assert bench.enter("rub", rub(bench.codes[0], "3"), KL, saw=first.record).status == "stored"
    assert bench.enter("rub", rub(bench.codes[0], "3"), Writer(" ")).status == "refused"


# --- spoiled and taken back ------------------------------------------------------------------------------------------------


def test_a_spoiled_tile_gets_a_stand_in_and_loses_it_when_taken_back(bench: Bench) -> None:
    """The plan follows; the stand-in's code is never dealt again, and one that was used does not go away."""
    tile = bench.codes[0]
    spoiled = bench.enter("made", {"tile": tile, "spoiled": "yes", "why": "dropped", "replaced_by": "new"})
    assert spoiled.now is not None
    stand_in = spoiled.now["replaced_by"]
    assert spoiled.says == (f"Tile {stand_in} stands in for {tile}. Stamp {stand_in} on a blank.",)
    assert bench.studio.planned("plaques")[1].tile(stand_in).replaces == tile
    assert bench.enter("made", {"tile": tile, "spoiled": "yes", "replaced_by": "new"}).status == "unchanged"
    assert bench.enter("undo", {"entry": "entry-1"}).status == "stored"
    assert [one.code for one in bench.studio.planned("plaques")[1].tiles] == bench.codes
    assert bench.standing("made") == []
    again = bench.enter("made", {"tile": tile, "spoiled": "yes", "replaced_by": "new"})
    assert again.now is not None
    assert again.now["replaced_by"] not in ("", stand_in)
    bench.enter("start", {"tile": again.now["replaced_by"]})
    used = bench.enter("made", {"tile": tile, "spoiled": "no"}, saw=again.record)
    assert used.status == "refused"
    assert used.says[0].startswith(f"{again.now['replaced_by']} stands in for this tile and has been used")


def test_taking_back_puts_back_what_stood_before_and_tells_it(bench: Bench) -> None:
    """A corrected grade is again the first one, a first one is gone, and the history has all of it."""
    tile = bench.codes[0]
    first = bench.enter("rub", rub(tile, "4"))
    bench.enter("rub", rub(tile, "3"), saw=first.record)
    assert bench.enter("undo", {"entry": "entry-1"}).status == "other"  # it was corrected since
    back = bench.enter("undo", {"entry": "entry-2"})
    assert (back.status, back.now and back.now["grade"]) == ("stored", "4")
    assert bench.enter("undo", {"entry": "entry-2"}).says == ("That was taken back already.",)
    gone = bench.enter("undo", {"entry": "entry-1"})
    assert (gone.status, gone.record, gone.now) == ("stored", None, None)
    assert bench.standing("rub") == []
    lines = bench.studio.history("plaques", tile).splitlines()[1:]
    assert [line.split("UTC  ")[1].split(":")[0] for line in lines] == [
        *("rub", "rub (corrects #1)", "rub (corrects #2)", "rub (takes back #3)"),
    ]
    new = bench.enter("rub", rub(tile, "5"), saw=0)
    assert (new.status, len(bench.standing("rub"))) == ("stored", 1)


def test_a_form_read_again_does_not_bring_back_what_was_taken_back(bench: Bench) -> None:
    """The form says what it said before; edited, it is heard."""
    form = bench.folder / "experiments" / "plaques" / "rub-KL.csv"
    form.write_text(f"tile,condition,scorer,on,grade\n{bench.codes[0]},dry,KL,2026-11-24,4\n", encoding="utf-8")
    bench.studio.enter("plaques")
    with bench.studio.book() as book:
        (kept,) = book.current("plaques", "rub")
    assert bench.enter("undo", {"record": str(kept.id)}).status == "stored"
    assert bench.studio.enter("plaques").text().startswith("Nothing new")
    assert bench.standing("rub") == []
    form.write_text(f"tile,condition,scorer,on,grade\n{bench.codes[0]},dry,KL,2026-11-24,3\n", encoding="utf-8")
    assert bench.studio.enter("plaques").text().startswith("Stored: 1 rub grade.")


# --- what cannot be stored ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "cells", "says"),
    [
        ("rub", {"tile": "ZZ9", "condition": "dry", "grade": "4"}, 'Tile "ZZ9" is not known.'),
        ("rub", {"condition": "dry", "grade": "9"}, "There is no tile code in this row."),
        ("start", {"tile": ""}, "There is no tile code."),
        ("start", {"tile": "ZZ9"}, 'Tile "ZZ9" is not known.'),
        ("made", {"tile": "{0}", "on": "2027-01-01"}, '"2027-01-01" (1 January 2027) is in the future'),
        ("made", {"tile": "{0}", "colour": "brown"}, 'The column "colour" is not known.'),
        ("start", {"tile": "{0}", "cycle": "half"}, 'Cycle "half" is not a number.'),
        ("start", {"tile": "{0}", "cycle": "5000"}, "No tile goes in 5000 times."),
        ("stop", {"tile": "{0}"}, "{0} is not in: nobody entered that it went in."),
        ("undo", {"entry": "nothing"}, "There is no such entry to take back"),
        ("undo", {"record": "77"}, "There is no record 77 to take back"),
        ("undo", {}, "There is nothing named to take back."),
        ("cloths", {"tile": "{0}"}, 'There is no entry of the kind "cloths".'),
        ("made", {"tile": "{0}", "note": "n" * 2000}, "note is longer than 1000 letters."),
        ("made", {"tile": "{0}", "note": "\ud800"}, "There are letters in it that cannot be kept."),
    ],
)
def test_it_says_why_it_cannot_store(bench: Bench, kind: str, cells: Mapping[str, str], says: str) -> None:
    """In a sentence, and nothing is stored; sent again once it is right, it is looked at anew."""
    given = {column: cell.replace("{0}", bench.codes[0]) for column, cell in cells.items()}
    answer = bench.enter(kind, given)
    assert answer.status == "refused"
    assert answer.says[0].startswith(says.replace("{0}", bench.codes[0])), answer.says
    assert json.loads(json.dumps(answer.as_dict()))["status"] == "refused"
    assert bench.enter("rub", rub(bench.codes[0], "4"), number=bench.last).status == "stored"


def test_it_refuses_a_study_that_is_not_there_and_a_day_that_cannot_be(bench: Bench) -> None:
    """A grade before the making, a making after the grade, a clock a year behind, no such study, none planned."""
    tile = bench.codes[0]
    bench.enter("made", {"tile": tile, "on": "2026-11-20"})
    assert bench.enter("rub", rub(tile, "4", on="2026-11-19")).says[0].startswith(f"Tile {tile} was made on 2026-11-20")
    bare = {"tile": tile, "stage": "bare", "on": "2026-11-19", "l": "70", "a": "9", "b": "11"}
    assert bench.enter("colour", bare).status == "stored"  # bare metal is read before
    bench.enter("rub", rub(tile, "4", on="2026-11-21"))
    late = bench.enter("made", {"tile": tile, "on": "2026-11-24"}, KEEPER, saw=1)
    assert late.says[0].startswith(f"Tile {tile} was measured on 2026-11-21")
    old = Entry("old", "plaques", "start", {"tile": bench.codes[1]}, at=EVENING - timedelta(days=365))
    assert (
        bench.studio.bench_enter(old, KL).says[0].startswith("By this device's clock that was more than 31 days ago.")
    )
    lost = bench.studio.bench_enter(Entry("lost", "../plaques", "start", {"tile": tile}), KL)
    assert lost.says[0].startswith('There is no study "../plaques" in')
    bench.studio.new("pulls", "sulfide-dip", "C26000")
    assert bench.studio.bench_enter(Entry("early", "pulls", "start", {"tile": tile}), KL).status == "refused"


def test_it_does_not_take_a_faulty_study_file_for_a_faulty_entry(bench: Bench) -> None:
    """While the keeper edits it, entries are not refused but have to be sent again."""
    from tilestudy.errors import FaultyFileError

    study = bench.folder / "experiments" / "plaques" / "study.toml"
    whole = study.read_text(encoding="utf-8")
    study.write_text(whole + "[", encoding="utf-8")
    with pytest.raises(FaultyFileError):
        bench.enter("rub", rub(bench.codes[0], "4"))
    study.write_text(whole, encoding="utf-8")
    assert bench.enter("rub", rub(bench.codes[0], "4"), number=bench.last).status == "stored"


def test_a_studio_elsewhere_reads_what_the_bench_stored(bench: Bench) -> None:
    """What was entered is as any other record, from the source "bench page"."""
    bench.enter("rub", rub(bench.codes[0], "4-5"))
    with Studio(bench.folder, now=lambda: EVENING).book() as book:
        (kept,) = book.current("plaques", "rub")
    assert (kept.source, vars(kept.record)["grade"], kept.entered) == ("bench page", 4.5, EVENING)


@settings(max_examples=15)
@given(st.lists(st.sampled_from(["3", "4", "5", "undo"]), max_size=9))
def test_taking_back_unwinds_what_was_entered_step_by_step(steps: list[str]) -> None:
    """Whatever was graded and taken back before, the last grade that was not taken back stands."""
    with TemporaryDirectory() as folder:
        bench = Bench(Path(folder))
        stack: list[tuple[str, str]] = []
        saw: int | None = 0
        for step in steps:
            if step == "undo":
                answer = bench.enter("undo", {"entry": stack.pop()[0]} if stack else {})
                assert answer.status in ("stored", "refused")
                saw = answer.record or saw
            else:
                answer = bench.enter("rub", rub(bench.codes[0], step), saw=saw)
                same = bool(stack) and stack[-1][1] == step
                assert answer.status == ("unchanged" if same else "stored")
                saw = answer.record
                if not same:
                    stack.append((bench.last, step))
            assert [one["grade"] for one in bench.standing("rub")] == [float(grade) for _, grade in stack[-1:]]


texts = st.sampled_from(["", "overran", "bath clouded; stirred", "Pä 7, “left”"])


@given(
    st.one_of(
        st.fixed_dictionaries(
            {
                "kind": st.just("made"),
                "actual_dip_time": st.sampled_from(["", "12.5 s", "1.5 min", "94"]),
                "actual_scrub_cycles": st.sampled_from(["", "3"]),
                "spoiled": st.sampled_from(["yes"]),
                "why": texts,
                "note": texts,
                "by": st.sampled_from(["", "KL"]),
            }
        ),
        st.fixed_dictionaries(
            {
                "kind": st.just("rub"),
                "scorer": st.just("KL"),
                "grade": st.sampled_from(["1", "4-5", "3.5"]),
                "condition": st.sampled_from(["dry", "wet"]),
                "strokes": st.sampled_from(["0", "8"]),
                "broke_through": st.sampled_from(["", "yes", "no"]),
                "round": st.sampled_from(["", "2"]),
            }
        ),
        st.fixed_dictionaries(
            {
                "kind": st.just("colour"),
                "stage": st.sampled_from(["", "fresh"]),
                "l": st.floats(0, 100).map(repr),
                "a": st.floats(-150, 150).map(repr),
                "b": st.just("-0.5"),
                "instrument": texts,
            }
        ),
        st.fixed_dictionaries({"kind": st.just("values"), "response": st.just("gloss"), "value": st.just("1e-7")}),
    )
)
def test_the_cells_of_a_record_give_the_same_record_again(cells: dict[str, str]) -> None:
    """What is shown as standing can be sent back as it is."""
    kind = cells.pop("kind")
    study, plan = planned()
    today = EVENING.date()
    first = read_entry(kind, {"tile": plan.tiles[0].code, "on": "2026-11-24", **cells}, study, plan, today)
    (record, _), *_ = first.records
    again = read_entry(kind, cells_of(record, study), study, plan, today)
    assert (again.faults, again.records) == ((), first.records)
