"""What pages tell to whom: blindness, printing, findings."""

from __future__ import annotations

import re
from pathlib import Path

from tests.bench.rub_studio import STUDY, rub_ready
from tests.bench.visitor import HOST, Visitor, alone, shared
from tilestudy.bench.app import make_app
from tilestudy.bench.serve import access_of
from tilestudy.studio import Studio


def test_a_scorer_stays_blind_until_the_rubs_are_graded(tmp_path: Path) -> None:
    """Before anything is made, while one's own are left, and while anybody's are; then the board opens."""
    studio = Studio(tmp_path)
    studio.new("later", "sulfide-dip", "C11000")
    studio.plan("later", seed=2)
    codes = rub_ready(tmp_path)
    app, access = shared(tmp_path)
    scorer = Visitor(app, "KL", access.code("scorer"))
    watcher = Visitor(app, "WW", access.code("scorer"))
    assert "Not yet" in scorer.get("/later/board").text  # nothing made: the tiles wait all the same

    def grade(mark: str, tiles: list[str]) -> None:
        for code in tiles:
            for condition in ("dry", "wet"):
                studio.record("rub", STUDY, {"tile": code, "scorer": mark, "condition": condition, "grade": "4"})

    grade("KL", codes[:1])
    studio.record("made", STUDY, {"tile": codes[1], "note": "9 g/L, scorer KL, ok"})
    for visitor in (scorer, watcher):
        assert "Not yet" in visitor.get(f"/{STUDY}/board").text
        page = visitor.get(f"/tile/{codes[1]}").text
        assert "g/L" not in page
        assert not re.search(r"\bB[12]\b", re.sub(r"<meta[^>]*>", "", page))
    grade("MB", codes)
    assert "Not yet" in scorer.get(f"/{STUDY}/board").text  # has begun, and has tiles left
    assert "Not yet" not in watcher.get(f"/{STUDY}/board").text  # never scored; all tiles have a grade
    grade("KL", codes)
    page = scorer.get(f"/{STUDY}/board").text
    assert "g/L" in page
    assert "rub 4" not in page  # others' grades stay theirs
    tile = scorer.get(f"/tile/{codes[0]}").text
    assert "scorer KL" in tile
    assert "scorer MB" not in tile
    assert "scorer MB" in Visitor(app, "AB", access.code("keeper")).get(f"/tile/{codes[0]}").text


def test_the_board_by_path_and_by_stage(tmp_path: Path) -> None:
    """Too few colours for a path, and a stage that nobody read, are told."""
    rub_ready(tmp_path)
    keeper = Visitor(alone(tmp_path), "AB")
    assert "They stand by their settings instead" in keeper.get(f"/{STUDY}/board?by=path").text
    assert keeper.get(f"/{STUDY}/board?stage=sealed").status_code == 404
    assert keeper.get("/boards?metal=nothing").status_code == 200


def test_what_is_printed_from_the_page_and_nothing_else_is_sent(tmp_path: Path) -> None:
    """Packs, then their file; a stranger's PDF in the folder, or a link out of it, is not in the list."""
    rub_ready(tmp_path)
    studio = Studio(tmp_path)
    path = studio.study_folder(STUDY) / "study.toml"
    path.write_text(path.read_text().replace('"not checked"', '"no"'))
    keeper = Visitor(alone(tmp_path), "AB")
    assert keeper.post(f"/{STUDY}/keep", what="something").status_code == 400
    page = keeper.post(f"/{STUDY}/keep", what="pack")
    assert "Bench packs printed anew." in page.text
    sent = keeper.get(f"/{STUDY}/print/bench-pack-session-1.pdf")
    assert sent.data.startswith(b"%PDF")
    outside = tmp_path / "outside.pdf"
    outside.write_bytes(b"%PDF secret")
    folder = tmp_path / "reports" / STUDY
    (folder / "mine.pdf").write_bytes(b"%PDF")
    (folder / "handout.pdf").symlink_to(outside)
    for name in ("mine.pdf", "handout.pdf", "outside.pdf"):
        assert keeper.get(f"/{STUDY}/print/{name}").status_code == 404
    assert "mine.pdf" not in keeper.get(f"/{STUDY}/keep").text
    # a study that cannot be printed yet says why
    refused = keeper.post(f"/{STUDY}/keep", what="handout")
    assert refused.status_code == 409
    assert "No tile has a value" in refused.text


def test_the_room_s_code_leads_to_the_room_s_address(tmp_path: Path) -> None:
    """Also when the keeper opens the page under an address that no phone can reach."""
    rub_ready(tmp_path)
    access = access_of(tmp_path, shared=True)
    app = make_app(tmp_path, access, address="http://192.0.2.7:8765")
    keeper = Visitor(app, "AB", access.code("keeper"))
    assert HOST not in keeper.get("/room").text
    assert "http://192.0.2.7:8765" in keeper.get("/room").text
    assert keeper.get("/room/code.svg").mimetype == "image/svg+xml"
    old = access.code("scorer")
    assert keeper.post("/room", codes="new").status_code == 302
    assert access.code("scorer") != old
    assert keeper.get("/room").status_code == 200  # the keeper's own device stays paired
