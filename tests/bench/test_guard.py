"""Who is let in, and what is turned away: hosts, origins, tokens, sizes, codes, roles, marks."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from flask import Flask

from tests.bench.rub_studio import STUDY, grades, rub_ready
from tests.bench.visitor import HOST, Visitor, alone, shared
from tilestudy.bench.access import TRIES, Access
from tilestudy.studio import Studio

SRC = Path(__file__).parents[2] / "src" / "tilestudy" / "bench"
PAGES = ("/", f"/{STUDY}/run/1", f"/{STUDY}/rub/dry", f"/{STUDY}/colour", f"/{STUDY}/board", "/boards", "/mark")
KEEPERS = (
    f"/{STUDY}/keep",
    f"/{STUDY}/findings",
    "/room",
    f"/{STUDY}/chart/0",
    f"/{STUDY}/print/handout.pdf",
    "/room/code.svg",
)


@pytest.fixture
def codes(tmp_path: Path) -> list[str]:
    """A study whose tiles wait to be rubbed."""
    return rub_ready(tmp_path)


@pytest.fixture
def app(codes: list[str], tmp_path: Path) -> Flask:
    """Shared with the room."""
    return shared(tmp_path)[0]


def access_file(folder: Path) -> dict[str, object]:
    return dict(json.loads((folder / "experiments" / "bench.json").read_text()))


def rub(code: str, number: str, mark: str, grade: str = "4", **more: object) -> dict[str, object]:
    cells = {"tile": code, "grade": grade, "condition": "dry", "scorer": mark}
    return {"id": number, "study": STUDY, "kind": "rub", "cells": cells, "saw": 0, **more}


def test_another_name_for_this_machine_is_turned_away(codes: list[str], tmp_path: Path) -> None:
    """A page elsewhere that makes its own name point here (DNS rebinding) gets nothing."""
    visitor = Visitor(alone(tmp_path))
    assert visitor.get("/", base_url="http://evil.example:8765").status_code == 421
    assert visitor.get("/", base_url="http://localhost:8765").status_code == 302  # asks for a mark


def test_a_page_elsewhere_can_neither_send_forms_nor_entries(codes: list[str], tmp_path: Path) -> None:
    """By origin, by the browser's own word, and by the token; nothing is stored."""
    visitor = Visitor(alone(tmp_path), "KL")
    token = visitor.token
    entry = rub(codes[0], "n1", "KL")
    for headers in (
        {"X-Bench-Token": token, "Origin": "http://evil.example"},
        {"X-Bench-Token": token, "Origin": "null"},
        {"X-Bench-Token": token, "Sec-Fetch-Site": "cross-site"},
        {"X-Bench-Token": "guess"},
        {},
    ):
        assert visitor.client.post("/enter", base_url=HOST, json=entry, headers=headers).status_code == 403
    for fields in ({"mark": "MB"}, {"mark": "MB", "token": "guess"}):
        assert visitor.client.post("/mark", base_url=HOST, data=fields).status_code == 403
    # a form may pretend to be JSON only without a header of its own
    pretended = visitor.client.post("/enter", base_url=HOST, data=json.dumps(entry), content_type="text/plain")
    assert pretended.status_code == 403
    assert grades(Studio(tmp_path), "KL") == {}
    assert visitor.enter(**entry).get_json()["status"] == "stored"


def test_every_answer_carries_the_strict_policy(codes: list[str], tmp_path: Path) -> None:
    """Pages, files, errors; and no page needs anything from elsewhere, or a script or style of its own."""
    visitor = Visitor(alone(tmp_path), "KL")
    for path in (*PAGES, f"/{STUDY}/keep", "/tile/NONE", "/static/queue.js", "/static/bench.css", "/nowhere"):
        answer = visitor.get(path)
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        if answer.mimetype == "text/html":
            assert not re.search(
                r"<script(?![^>]*(src=\"/static/|type=\"application/json\"))|<style|\sstyle=|\son\w+=", answer.text
            )
            assert not re.search(r"(src|href|action)=\"(https?:)?//", answer.text)
    for file in (*SRC.rglob("*.html"), *SRC.rglob("*.js"), *SRC.rglob("*.css")):
        text = re.sub(r"http://www\.w3\.org/[\w/]+", "", file.read_text(encoding="utf-8"))
        assert not re.search(r"https?://", text), file.name


def test_nothing_beyond_its_size_and_nothing_beside_its_folder(codes: list[str], tmp_path: Path) -> None:
    """Large bodies are not read; paths never leave the list of printed pages."""
    visitor = Visitor(alone(tmp_path), "KL")
    large = visitor.enter(**rub(codes[0], "n1", "KL"), more="x" * 70_000)
    assert large.status_code == 413
    assert visitor.post("/mark", mark="x" * 70_000).status_code == 413
    secret = tmp_path / "experiments" / "bench.json"
    assert secret.exists()
    for path in (
        f"/{STUDY}/print/..%2f..%2fexperiments%2fbench.json",
        f"/{STUDY}/print/../../experiments/bench.json",
        "/..%2fexperiments/print/bench.json",
        "/static/..%2f..%2fapp.py",
        "/static/../app.py",
        "/%2e%2e/keep",
    ):
        answer = visitor.get(path)
        assert answer.status_code in (302, 308, 400, 404), path
        assert "secret" not in answer.text


def test_a_file_that_only_this_user_can_read(codes: list[str], tmp_path: Path) -> None:
    """Codes and the key of the cookies."""
    access = shared(tmp_path)[1]
    assert access.file.stat().st_mode & 0o077 == 0
    again = Access(access.file, shared=True, now=lambda: datetime.now(UTC))
    assert (again.secret, again.code("scorer")) == (access.secret, access.code("scorer"))


def test_without_the_code_nothing_is_shown(app: Flask, codes: list[str]) -> None:
    """Neither pages nor entries; loopback is nobody special, for a proxy may stand in front."""
    stranger = Visitor(app)
    for path in (*PAGES, *KEEPERS, f"/tile/{codes[0]}"):
        answer = stranger.get(path)
        assert answer.status_code == 401, path
        said = re.sub(r"<(meta|input)[^>]*>", "", answer.text)  # tokens are random letters
        assert codes[0] not in said.replace(path, "")
    assert stranger.get(f"/state/{STUDY}/run/1").status_code == 401
    assert stranger.enter(**rub(codes[0], "n1", "KL")).status_code == 401


def test_codes_cannot_be_guessed_fast(tmp_path: Path, codes: list[str]) -> None:
    """Six wrong ones from an address, and even the right one waits; later it is let in."""
    clock = [datetime(2026, 11, 25, 9, tzinfo=UTC)]
    access = Access(tmp_path / "experiments" / "bench.json", shared=True, now=lambda: clock[0])
    app, _ = shared(tmp_path, access)
    guesser = Visitor(app)
    statuses = [guesser.post("/pair", code=f"AAAA{n}").status_code for n in range(TRIES + 2)]
    assert statuses == [403] * TRIES + [429] * 2
    assert guesser.post("/pair", code=access.code("scorer")).status_code == 429
    clock[0] += timedelta(minutes=11)
    assert guesser.post("/pair", code=access.code("scorer").lower()).status_code == 302
    assert guesser.get("/").status_code == 302  # on to the mark


def test_a_pairing_lasts_a_day_and_outlives_a_restart(tmp_path: Path, codes: list[str]) -> None:
    """Next day the code is another and the device pairs again."""
    clock = [datetime(2026, 11, 25, 9, tzinfo=UTC)]
    access = Access(tmp_path / "experiments" / "bench.json", shared=True, now=lambda: clock[0])
    app, _ = shared(tmp_path, access)
    code = access.code("scorer")
    visitor = Visitor(app, "KL", code)
    assert visitor.get("/").status_code == 200
    restarted, _ = shared(tmp_path, Access(access.file, shared=True, now=lambda: clock[0]))
    again = Visitor(restarted)
    again.client._cookies = visitor.client._cookies
    assert again.get("/").status_code == 200
    clock[0] += timedelta(hours=25)
    assert visitor.get("/").status_code == 401
    assert access.code("scorer") != code


def test_a_scorer_is_no_keeper(tmp_path: Path, codes: list[str]) -> None:
    """Pages and actions of the keeper are refused; the same pages open for one."""
    app, access = shared(tmp_path)
    scorer = Visitor(app, "KL", access.code("scorer"))
    for path in KEEPERS:
        assert scorer.get(path).status_code == 403, path
    assert scorer.post(f"/{STUDY}/keep", what="handout").status_code == 403
    assert scorer.post("/room", codes="new").status_code == 403
    keeper = Visitor(app, "AB", access.code("keeper"))
    assert keeper.get(f"/{STUDY}/keep").status_code == 200
    assert access.code("scorer") in keeper.get("/room").text


def test_a_scorer_sees_and_changes_only_what_is_the_own(tmp_path: Path, codes: list[str]) -> None:
    """Another's grade is neither shown nor altered; while rubs are left, no settings either."""
    app, access = shared(tmp_path)
    one, other = (Visitor(app, mark, access.code("scorer")) for mark in ("KL", "MB"))
    assert one.enter(**rub(codes[0], "n1", "KL", "2.5")).get_json()["status"] == "stored"
    # under the own mark only
    assert other.enter(**rub(codes[0], "n2", "KL", "5")).get_json()["status"] in ("stored", "refused")
    assert grades(Studio(tmp_path), "KL") == {codes[0]: (2.5, None, None)}
    page = other.get(f"/tile/{codes[0]}").text
    assert "2.5" not in page
    assert "g/L" not in page
    assert "scorer KL" in one.get(f"/tile/{codes[0]}").text
    assert "Not yet" in other.get(f"/{STUDY}/board").text


def test_a_mark_is_held_by_one_device_until_the_keeper_frees_it(tmp_path: Path, codes: list[str]) -> None:
    """Nobody else writes as KL today."""
    app, access = shared(tmp_path)
    first = Visitor(app, "KL", access.code("scorer"))
    second = Visitor(app, "", access.code("scorer"))
    refused = second.post("/mark", mark="kl", next="/")
    assert refused.status_code == 409
    assert "in use on another device" in refused.text
    keeper = Visitor(app, "AB", access.code("keeper"))
    assert keeper.post("/room", free="KL").status_code == 302
    assert second.post("/mark", mark="kl", next="/").status_code == 302
    assert first.get("/").status_code == 302  # is asked for a mark again
    assert first.enter(**rub(codes[0], "n1", "KL")).status_code == 409
    assert second.post("/leave").status_code == 302  # who leaves gives the mark back
    third = Visitor(app, "", access.code("scorer"))
    assert third.post("/mark", mark="KL", next="/").status_code == 302


def test_scripts_in_notes_and_names_stay_text(tmp_path: Path, codes: list[str]) -> None:
    """What people write is shown as they wrote it."""
    hostile = '<script>alert(1)</script>"><img src=x onerror=alert(1)>'
    visitor = Visitor(alone(tmp_path), "KL")
    entry = {"tile": codes[0], "note": hostile}
    answer = visitor.enter(id="n1", study=STUDY, kind="made", cells=entry, saw=None)
    assert answer.status_code == 200
    for path in (
        f"/tile/{codes[0]}",
        f"/{STUDY}/run/1",
        "/mark?next=%22%3E%3Cscript%3E",
        "/pair?code=%22%3E%3Cscript%3E",
    ):
        text = visitor.get(path).text
        assert "<script>alert" not in text
        assert "<img src=x" not in text
        assert '"><script>' not in text


@pytest.mark.parametrize(
    "onward",
    ["https://evil.example/", "//evil.example", "/\\evil.example", "javascript:alert(1)", "/ok\r\nSet-Cookie: a=b"],
)
def test_a_mark_never_sends_on_to_elsewhere(tmp_path: Path, codes: list[str], onward: str) -> None:
    """Only to pages of our own."""
    visitor = Visitor(alone(tmp_path))
    assert visitor.post("/mark", mark="KL", next=onward).headers["Location"] == "/"


@pytest.mark.parametrize(
    "sent",
    [
        None,
        [],
        {},
        {"id": "a"},
        {"id": 3, "study": STUDY, "kind": "rub", "cells": {}},
        {"id": "a", "study": STUDY, "kind": "rub", "cells": []},
    ],
)
def test_nonsense_is_answered_not_stored(tmp_path: Path, codes: list[str], sent: object) -> None:
    """Never a traceback."""
    visitor = Visitor(alone(tmp_path), "KL")
    answer = visitor.client.post("/enter", base_url=HOST, json=sent, headers={"X-Bench-Token": visitor.token})
    assert answer.status_code == 400
    assert "Traceback" not in answer.text


def test_a_study_that_is_not_there_is_told(tmp_path: Path, codes: list[str]) -> None:
    """Pages and entries alike."""
    visitor = Visitor(alone(tmp_path), "KL")
    assert visitor.get("/nosuch/run/1").status_code == 404
    assert visitor.get(f"/{STUDY}/run/99").status_code == 404
    assert visitor.get("/tile/ZZ99").status_code == 404
    answer = visitor.enter(id="n", study="nosuch", kind="rub", cells={"tile": "A"})
    assert answer.get_json()["status"] == "refused"


def test_a_server_in_front_needs_codes(tmp_path: Path) -> None:
    """A name for visitors from elsewhere without --share would make all of them keepers."""
    from click.testing import CliRunner

    from tilestudy.cli import cli

    refused = CliRunner().invoke(cli, ["--folder", str(tmp_path), "bench", "--host", "bench.example"])
    assert refused.exit_code == 2
    assert "Add --share" in refused.output


def test_codes_end_at_night_and_new_ones_are_told(tmp_path: Path, codes: list[str]) -> None:
    """Never in the middle of a class, and a page that runs over night prints the new ones."""
    clock = [datetime(2026, 11, 25, 18, 30).astimezone()]
    access = Access(tmp_path / "experiments" / "bench.json", shared=True, now=lambda: clock[0])
    assert access.until == datetime(2026, 11, 26, 4).astimezone()
    told: list[str] = []
    access.renewed = lambda: told.append(access.code("scorer"))
    app, _ = shared(tmp_path, access)
    clock[0] += timedelta(hours=10)
    assert Visitor(app).get("/").status_code == 401
    assert told == [access.code("scorer")]
