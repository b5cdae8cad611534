"""What the bench page is given: today, the run sheet, the board and a tile, as the study book has them."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.bench.rub_studio import STUDY, rub_ready
from tilestudy.errors import WrongRequestError
from tilestudy.outcomes.bench import Entry, Writer
from tilestudy.studio import Studio
from tilestudy.study.records import BatchLog, Reading


def planned(folder: Path, **changes: str) -> Studio:
    """A planned study of 36 tiles that starts at half past six."""
    studio = Studio(folder)
    path = studio.new(STUDY, "sulfide-dip", "C11000")
    text = path.read_text(encoding="utf-8") + '\n[session]\nstart = "18:30"\n'
    for before, after in changes.items():
        text = text.replace(before, after)
    path.write_text(text, encoding="utf-8")
    studio.plan(STUDY, seed=7)
    return studio


def test_today_asks_for_the_next_session_then_for_what_is_due(tmp_path: Path) -> None:
    """A new study: its first session only. A week after making: rubs and colours, late ones first; a bath past its life."""
    studio = planned(tmp_path)
    (first,) = studio.bench_today()
    assert (first.kind, first.session, first.when, len(first.tiles)) == ("session", 1, "next", 18)
    _, plan = studio.planned(STUDY)
    for tile in plan.tiles[:2]:
        studio.record("made", STUDY, {"tile": tile.code, "on": (studio.today - timedelta(days=9)).isoformat()})
    two_days_ago = (datetime.now() - timedelta(days=2)).strftime("%Y-%m-%d %H:%M")
    studio.record("batches", STUDY, {"batch": "B1", "made_at": two_days_ago})
    found = studio.bench_today()
    assert [(one.kind, one.when) for one in found[:3]] == [("bath", "late"), ("colour", "late"), ("rub", "late")]
    assert found[2].condition == "dry"
    assert set(found[2].tiles) == {tile.code for tile in plan.tiles[:2]}
    begun, following = (one for one in found if one.kind == "session")
    assert (begun.when, begun.says) == ("today", "Begun: 16 tiles of 18 left")
    assert (following.when, following.session) == ("next", 2)


def test_start_times_follow_the_plan_that_holds(tmp_path: Path) -> None:
    """Planned anew with other seeds, the same codes start at other times."""
    studio = planned(tmp_path)
    for seed in (7, 8):
        studio.plan(STUDY, seed=seed)
        table = studio.timetable(STUDY, whole=True)
        wanted = {code: one.clock(t.start, False) for one in table.sessions for code, t in one.tiles.items()}
        run = studio.bench_run(STUDY, 1)
        assert {tile.code: tile.start_at for batch in run.batches for tile in batch.tiles} == {
            tile.code: wanted[tile.code] for batch in run.batches for tile in batch.tiles
        }


def test_a_tile_on_the_run_sheet_goes_from_to_make_to_made(tmp_path: Path) -> None:
    """In, out, in again, made; its bath has the life of the process."""
    studio = planned(tmp_path)
    _, plan = studio.planned(STUDY)
    tile = next(one for one in plan.tiles if one.settings["scrub_cycles"] == 4 and one.session == 1)
    writer = Writer("KL", keeper=True)

    def state() -> str:
        run = studio.bench_run(STUDY, 1)
        return next(one.state for batch in run.batches for one in batch.tiles if one.code == tile.code)

    assert state() == "to make"
    for number, kind in enumerate(("start", "stop")):
        studio.bench_enter(Entry(f"n{number}", STUDY, kind, {"tile": tile.code}), writer)
        assert state() == ("in" if kind == "start" else "between")
    studio.bench_enter(Entry("n9", STUDY, "made", {"tile": tile.code}), writer)
    assert state() == "made"
    studio.record("batches", STUDY, {"batch": tile.batch, "made_at": f"{studio.today.isoformat()} 00:01"})
    batch = next(one for one in studio.bench_run(STUDY, 1).batches if one.code == tile.batch)
    assert isinstance(batch.made_at, datetime)
    assert batch.use_by == batch.made_at + timedelta(hours=studio.library.process("sulfide-dip").life_h or 0)
    with studio.book() as book:
        assert any(isinstance(kept.record, BatchLog) for kept in book.current(STUDY, "batches"))


def test_dry_and_wet_grades_are_never_pooled(tmp_path: Path) -> None:
    """Nor are rounds."""
    codes = rub_ready(tmp_path)
    studio = Studio(tmp_path)
    for scorer in ("KL", "MB", "TR"):
        for condition, grade in (("dry", "4"), ("wet", "1")):
            cells = {"tile": codes[0], "scorer": scorer, "condition": condition, "grade": grade}
            studio.record("rub", STUDY, cells)
            studio.record("rub", STUDY, {**cells, "grade": "2", "round": "2"})
    board = studio.bench_board(STUDY)
    (swatch,) = [one for row in board.rows for one in row.tiles if one.code == codes[0]]
    assert swatch.grades == {"dry": 4.0, "wet": 1.0} == studio.bench_tile(codes[0]).tile.grades


def test_the_board_is_that_of_the_handout_with_settings_as_made(tmp_path: Path) -> None:
    """Rows and order are the same; a tile that was in longer says so; colours without patches are called relative."""
    from tilestudy.paper.from_findings import handout_content

    studio = planned(tmp_path)
    _, plan = studio.planned(STUDY)
    for number, tile in enumerate(plan.tiles):
        studio.record("made", STUDY, {"tile": tile.code, "on": "2026-01-09"})
        studio.record(
            "colour",
            STUDY,
            {"tile": tile.code, "on": "2026-01-16", "L": f"{30 + number}", "a": "8", "b": f"{number % 7}"},
        )
    studio.record("made", STUDY, {"tile": plan.tiles[0].code, "on": "2026-01-09", "actual_dip_time": "34 s"})
    board = studio.bench_board(STUDY)
    content = handout_content(
        studio.drivers(STUDY), studio.library, [], [], studio="", printed=studio.today, made_on=[studio.today]
    )
    assert content.board is not None
    assert [(row.heading, [one.code for one in row.tiles]) for row in board.rows] == [
        (row.title, [one.code for one in row.swatches]) for row in content.board.rows
    ]
    (first,) = [one for row in board.rows for one in row.tiles if one.code == plan.tiles[0].code]
    assert {one.name: one.text for one in first.settings}["dip_time"] == "34 s"
    path = studio.bench_board(STUDY, by="path")
    assert path.arranged == "path"
    assert len(path.rows[0].tiles) == 36


def test_colours_without_patches_are_called_relative_on_board_and_tile(tmp_path: Path) -> None:
    """They are no true colours anywhere."""
    studio = planned(tmp_path)
    code = studio.planned(STUDY)[1].tiles[0].code
    paper = Reading(code, "cured", studio.today, 40, 9, 9, instrument="photo", geometry="paper only", mottle=1.5)
    studio.store_measured(STUDY, "colour", [paper], "a photo")
    page = studio.bench_tile(code)
    assert (page.tile.relative, page.tile.mottle) == (True, 1.5)
    assert [one.code for row in studio.bench_board(STUDY).rows for one in row.tiles if one.relative] == [code]


def test_what_is_not_there_is_told(tmp_path: Path) -> None:
    """With what there is."""
    studio = planned(tmp_path)
    for ask, says in (
        (lambda: studio.bench_run(STUDY, 9), "has no session 9; it has 1 and 2"),
        (lambda: studio.bench_rub(STUDY, "damp", "KL"), "asks for dry"),
        (lambda: studio.bench_board(STUDY, "xx"), "There are: cured"),
        (lambda: studio.bench_board(STUDY, by="zz"), 'by "factors" or by "path"'),
        (lambda: studio.bench_tile("ZZZ"), 'no study here has a tile "ZZZ"'),
    ):
        with pytest.raises(WrongRequestError, match=re.compile(re.escape(says), re.IGNORECASE)):
            ask()
