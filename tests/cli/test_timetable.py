"""The command timetable: what it prints, what it refuses, its JSON."""

from __future__ import annotations

import json
import re
from pathlib import Path

from tests.cli.conftest import Run
from tilestudy.studio import Studio

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "json.md"


def keys(value: object, before: str = "") -> set[str]:
    """Every key of a JSON answer, with the keys above it."""
    if isinstance(value, list):
        return {key for one in value for key in keys(one, before)}
    if not isinstance(value, dict):
        return set()
    return {f"{before}{name}" for name in value} | {
        key for name, one in value.items() for key in keys(one, f"{before}{name}.")
    }


def test_it_prints_the_sessions_by_the_clock(run: Run, planned: Path) -> None:
    """One list a session, from the start that is given or that stands in the study file."""
    said = run("timetable", "plaques", "--start", "18:30")
    assert said.exit_code == 0, said.output
    assert "Session 1, 18:30 to 20:48 (2 h 18 min of 2 h 30 min), one pair of hands" in said.output
    assert "18:30:00        prepare, until 19:15" in said.output
    assert "If time runs out, leave out in this order" in said.output
    text = (planned / "study.toml").read_text(encoding="utf-8")
    (planned / "study.toml").write_text(text + '\n[session]\nstart = "18:30"\nhands = 2\n', encoding="utf-8")
    two = run("timetable", "plaques", "--session", "2")
    assert "Session 1" not in two.output
    assert re.search(r"Session 2, 18:30 to 20:1\d \(1 h \d\d min of 2 h 30 min\), two pairs of hands", two.output)


def test_its_json_has_the_keys_documented(run: Run, planned: Path) -> None:
    """Neither more nor fewer."""
    found = json.loads(run("timetable", "plaques", "--json").stdout)
    section = PAGE.read_text(encoding="utf-8").split("\n## `tilestudy timetable ")[1].split("\n## ")[0]
    assert keys(found) == set(re.findall(r"^\| `([\w.*]+)` \|", section, re.MULTILINE))
    assert found["sessions"][0]["fits"] is True


def test_it_refuses_what_it_cannot_lay_out(run: Run, planned: Path, tmp_path: Path) -> None:
    """A session that is not there, a time that is none, a study without a plan, a study whose tiles are made."""
    wrong = run("timetable", "plaques", "--session", "3")
    assert (wrong.exit_code, wrong.stderr) == (2, "plaques has no session 3; its plan has sessions 1 to 2.\n")
    assert run("timetable", "plaques", "--start", "half six").exit_code == 2
    assert run("new", "pulls", "--process", "low-heat", "--metal", "C26000").exit_code == 0
    bare = run("timetable", "pulls")
    assert bare.exit_code == 1
    assert 'Type "tilestudy plan pulls"' in bare.stderr
    for tile in Studio(tmp_path).planned("plaques")[1].tiles:
        if tile.order == 1:
            assert run("made", "plaques", tile.code).exit_code == 0
    done = run("timetable", "plaques")
    assert done.exit_code == 1
    assert "Bath B6 was begun and " in done.stderr
    assert '"tilestudy timetable plaques --all"' in done.stderr
    assert run("timetable", "plaques", "--all").exit_code == 0


def test_a_short_slot_draws_an_order_that_fits_when_the_plan_is_made(run: Run, planned: Path) -> None:
    """The stored plan is the order by the clock: planned again it stays, and what that costs is said."""
    path = planned / "study.toml"
    path.write_text(re.sub(r"minutes = 150", "minutes = 137", path.read_text(encoding="utf-8")), encoding="utf-8")
    first = run("plan", "plaques", "--seed", "7")
    assert first.exit_code == 0, first.output
    assert "stays as it was" in run("plan", "plaques").stderr
    said = " ".join(run("timetable", "plaques").output.split())
    assert "in 10 random orders of its tiles end within 2 h 17 min" in said
    assert "What would fit" not in said
