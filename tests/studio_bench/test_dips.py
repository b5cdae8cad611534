"""Dips by the clock: in, out, made, and taken back."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from pathlib import Path

import pytest

from tests.studio_bench.studios import EVENING, KL, MB, Bench
from tilestudy.outcomes.bench import Entry
from tilestudy.store.bench import BenchRows, DipRow


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def dips(bench: Bench) -> list[DipRow]:
    with bench.studio.book() as book:
        return BenchRows(book).dips("plaques")


def dip(bench: Bench, tile: str, seconds: float) -> None:
    bench.enter("start", {"tile": tile})
    bench.later(seconds)
    bench.enter("stop", {"tile": tile})


def test_the_last_time_out_makes_the_tile_with_what_differed(bench: Bench) -> None:
    """Two times in, 97 s and 101 s where 90 s was planned: the mean is its dip time, and it is said."""
    tile = bench.tile_of(90.0, 2.0)
    bench.enter("start", {"tile": tile, "cycle": "1"})
    bench.later(97)
    assert bench.enter("stop", {"tile": tile, "cycle": "1"}).record is None
    assert bench.standing("made") == []
    bench.enter("start", {"tile": tile, "cycle": "2"})
    bench.later(101)
    done = bench.enter("stop", {"tile": tile, "cycle": "2"}, MB)
    assert done.says == (f"{tile} is made: dip time 99 s where 90 s was planned; times in: 97, 101 s.",)
    (made,) = bench.standing("made")
    assert (made["actual"], made["by"], str(made["on"])) == ({"dip_time": 99.0}, "MB", "2026-11-24")
    assert [(one.cycle, one.seconds, one.started_by, one.stopped_by) for one in dips(bench)] == [
        *((1, 97.0, "KL", "KL"), (2, 101.0, "KL", "MB")),
    ]


@pytest.mark.parametrize(("planned", "seconds"), [(10.0, 10.9), (90.0, 94.0), (90.0, 86.0)])
def test_what_two_taps_cannot_tell_is_as_planned(bench: Bench, planned: float, seconds: float) -> None:
    """Within a second, or a twentieth, nothing is said and nothing differs."""
    tile = bench.tile_of(planned, 1.0)
    bench.enter("start", {"tile": tile})
    bench.later(seconds)
    assert bench.enter("stop", {"tile": tile}).says == ()
    assert bench.standing("made")[0]["actual"] == {}


def test_it_may_come_out_for_good_before_or_after_the_plan(bench: Bench) -> None:
    """The cell last says so, and the actual count is kept."""
    early, more = bench.tile_of(10.0, 2.0), bench.tile_of(90.0, 1.0)
    bench.enter("start", {"tile": early})
    bench.later(10)
    bench.enter("stop", {"tile": early, "last": "yes"})
    bench.enter("start", {"tile": more})
    bench.later(90)
    assert bench.enter("stop", {"tile": more, "last": "no"}).record is None
    dip(bench, more, 90)
    assert [(one["tile"], one["actual"]) for one in bench.standing("made")] == [
        *((early, {"scrub_cycles": 1.0}), (more, {"scrub_cycles": 2.0})),
    ]


def test_several_are_in_at_once_and_a_second_tap_changes_nothing(bench: Bench) -> None:
    """Two people start and stop the same tile: the first time stands, and the second is told whose it is."""
    one, other = bench.tile_of(90.0, 1.0), bench.tile_of(10.0, 1.0)
    bench.enter("start", {"tile": one, "cycle": "1"})
    bench.enter("start", {"tile": other})
    bench.later(4)
    second = bench.enter("start", {"tile": one, "cycle": "1"}, MB)
    assert (second.status, second.by) == ("unchanged", "KL")
    assert second.now is not None
    assert second.now["started"] == EVENING.isoformat()
    bench.later(6)
    bench.enter("stop", {"tile": other})
    bench.later(3)
    assert bench.enter("stop", {"tile": other, "cycle": "1"}, MB).status == "unchanged"
    assert [(one.tile, one.seconds) for one in dips(bench) if one.tile == other] == [(other, 10.0)]
    late = bench.enter("start", {"tile": other}, MB)
    assert (late.status, late.says[0]) == (
        *("refused", f"{other} is recorded as made. If it is to go in once more, take that back first."),
    )


def test_it_tells_of_a_time_that_is_over_or_out_of_turn(bench: Bench) -> None:
    """A start of a time that was, and of a next one while it is in."""
    tile = bench.tile_of(10.0, 2.0)
    dip(bench, tile, 10)
    assert bench.enter("start", {"tile": tile, "cycle": "1"}, MB).status == "other"
    bench.enter("start", {"tile": tile, "cycle": "2"})
    assert bench.enter("start", {"tile": tile, "cycle": "3"}).says[0].startswith(f"{tile} is in (time 2), since")


def test_times_are_those_of_the_bench_when_the_network_was_away(bench: Bench) -> None:
    """Sent half an hour late, start and stop keep when they happened; a clock that is a little off still makes sense."""
    tile = bench.tile_of(90.0, 1.0)
    bench.later(1800)
    for number, (kind, after) in enumerate((("start", 0.0), ("stop", 80.0))):
        entry = Entry(f"late-{number}", "plaques", kind, {"tile": tile}, at=EVENING + timedelta(seconds=after))
        assert bench.studio.bench_enter(entry, KL).status == "stored"
    assert [(one.started, one.seconds) for one in dips(bench)] == [(EVENING, 80.0)]
    other = bench.tile_of(10.0, 1.0)
    bench.enter("start", {"tile": other})
    before = Entry("skewed", "plaques", "stop", {"tile": other}, at=bench.clock - timedelta(seconds=3))
    far = Entry("far", "plaques", "stop", {"tile": other}, at=bench.clock - timedelta(seconds=30))
    assert bench.studio.bench_enter(far, MB).status == "refused"
    assert bench.studio.bench_enter(before, MB).status == "stored"
    assert [one.seconds for one in dips(bench) if one.tile == other] == [0.0]


def test_a_start_and_a_stop_can_be_taken_back(bench: Bench) -> None:
    """A stop taken back leaves the tile in since it went in, and takes back the record of its making; then the start."""
    tile = bench.tile_of(90.0, 1.0)
    bench.enter("start", {"tile": tile})
    bench.later(30)
    done = bench.enter("stop", {"tile": tile})
    assert bench.enter("undo", {"entry": "entry-1"}).says == (f"{tile} came out since. Take that back first.",)
    assert bench.enter("undo", {"record": str(done.record)}).status == "stored"  # the stop goes with its record
    assert (bench.standing("made"), [(one.started, one.stopped) for one in dips(bench)]) == ([], [(EVENING, None)])
    bench.later(60)
    bench.enter("stop", {"tile": tile})
    assert [(one["tile"], one["actual"]) for one in bench.standing("made")] == [(tile, {})]
    assert bench.enter("undo", {"entry": bench.last}).status == "stored"
    assert bench.enter("undo", {"entry": "entry-1"}).status == "stored"
    assert (bench.standing("made"), dips(bench)) == ([], [])
    assert bench.enter("start", {"tile": tile}).status == "stored"


def test_a_note_upon_the_record_keeps_the_stop_from_being_taken_back(bench: Bench) -> None:
    """What was added since is shown, not lost."""
    tile = bench.tile_of(10.0, 1.0)
    dip(bench, tile, 10)
    stop = bench.last
    bench.enter("made", {"tile": tile, "note": "overran"}, MB)
    back = bench.enter("undo", {"entry": stop})
    assert (back.status, back.now and back.now["note"]) == ("other", "overran")
    assert [one.seconds for one in dips(bench)] == [10.0]


def test_a_spoiled_tile_does_not_go_in(bench: Bench) -> None:
    """It names the stand-in."""
    tile = bench.codes[0]
    spoiled = bench.enter("made", {"tile": tile, "spoiled": "yes", "replaced_by": "new"})
    assert spoiled.now is not None
    assert bench.enter("start", {"tile": tile}).says == (
        f"{tile} is marked as spoiled; {spoiled.now['replaced_by']} stands in for it.",
    )


def test_planning_again_keeps_a_tile_that_is_in(bench: Bench) -> None:
    """A dip is a record as any other."""
    bench.enter("start", {"tile": bench.codes[0]})
    with bench.studio.book() as book:
        assert book.tiles_with_records("plaques") == {bench.codes[0]}


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE dips SET stopped_at = '2026-11-24T20:00:00+00:00'",
        "UPDATE dips SET stopped_at = NULL",
        "UPDATE dips SET started_at = '2026-11-24T18:00:00+00:00'",
        "UPDATE dips SET stopped_by = 'MB'",
        "DELETE FROM dips",
        "UPDATE received SET mark = 'MB'",
        "DELETE FROM received",
    ],
)
def test_what_was_written_at_the_bench_cannot_be_altered(bench: Bench, statement: str) -> None:
    """Not even by hand: the book itself refuses."""
    dip(bench, bench.tile_of(10.0, 2.0), 10)
    conn = sqlite3.connect(bench.folder / "experiments" / "studybook.db")
    with pytest.raises(sqlite3.IntegrityError, match="is never"):
        conn.execute(statement)
    conn.close()
