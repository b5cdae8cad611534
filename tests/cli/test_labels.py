"""The command labels: which labels on which sheets, what it says, what it refuses."""

from __future__ import annotations

from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.cli.conftest import Run
from tilestudy.studio import Studio


def text_of(pdf: Path) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(pdf).pages).split())


def test_all_labels_of_a_study_on_plain_grids(run: Run, planned: Path, tmp_path: Path) -> None:
    """36 tiles and their bags, 6 baths, 36 cloths; without an address it says how to get codes that open the bench page."""
    said = run("labels", "plaques")
    assert said.exit_code == 0, said.output
    shown = " ".join(said.stdout.split())
    for part in ("labels-tiles.pdf (36 of 48 x 22 mm", "labels-bags.pdf (36 of", "Bath labels: ", "(6 of 96 x 84 mm"):
        assert part in shown
    assert "labels-cloths.pdf (36 of" in shown
    assert 'bench_address = "http://' in said.stderr
    studio = Studio(tmp_path)
    codes = [tile.code for tile in studio.planned("plaques")[1].tiles]
    printed = text_of(tmp_path / "reports" / "plaques" / "labels-tiles.pdf").split()
    assert [word for word in printed if word in codes] == codes
    assert "NO ACID" in text_of(tmp_path / "reports" / "plaques" / "labels-baths.pdf")


def test_labels_of_one_session_go_on_a_part_used_sheet(run: Run, planned: Path, tmp_path: Path) -> None:
    """The studio's own sheet; where it goes on next time is said."""
    (tmp_path / "experiments" / "studio.toml").write_text(
        'bench_address = "http://192.168.1.20:8765"\n[labels]\nsize = "63.5 x 38.1 mm"\ncolumns = 3\nrows = 7\n'
    )
    said = run("labels", "plaques", "--kind", "tiles", "--session", "1", "--start", "5")
    assert said.exit_code == 0, said.output
    assert said.stderr == ""
    shown = " ".join(said.stdout.split())
    assert "labels-tiles-session-1.pdf (18 of 63.5 x 38.1 mm, 3 across and 7 down, 2 pages)" in shown
    assert "The first free label is then number 2." in shown
    again = run("labels", "plaques")
    assert "too small for baths" in again.stderr
    assert "[labels.baths]" in again.stderr


def test_a_spoiled_tile_gets_no_label_and_its_stand_in_does(run: Run, planned: Path, tmp_path: Path) -> None:
    """Alone, with --tiles, for the sheet that was printed before."""
    spoiled = Studio(tmp_path).planned("plaques")[1].tiles[0].code
    assert run("made", "plaques", spoiled, "--spoiled", "--replace").exit_code == 0
    stand_in = next(tile.code for tile in Studio(tmp_path).planned("plaques")[1].tiles if tile.replaces)
    said = run("labels", "plaques", "--tiles", stand_in.lower(), "--kind", "tiles")
    assert said.exit_code == 0, said.output
    printed = text_of(tmp_path / "reports" / "plaques" / "labels-tiles.pdf")
    assert f"for {spoiled}" in printed
    assert "(1 of" in said.stdout
    refused = run("labels", "plaques", "--tiles", spoiled)
    assert refused.exit_code == 2
    assert f'has no tile "{spoiled}" to label' in refused.stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--session", "9"], "plaques has no session 9; its plan has sessions 1 to 2."),
        (["--start", "5"], "--start is for one sheet of labels. Add one kind"),
        (["--kind", "tiles", "--start", "0"], "--start 0: a page holds 48 labels"),
        (["--kind", "lids"], "lids"),
        (["--tiles", "nope"], 'has no tile "nope"'),
    ],
)
def test_bad_requests_are_told_and_print_nothing(
    run: Run, planned: Path, tmp_path: Path, words: list[str], says: str
) -> None:
    """Exit 2, one message."""
    refused = run("labels", "plaques", *words)
    assert refused.exit_code == 2
    assert says in refused.stderr
    assert not list(tmp_path.glob("reports/plaques/labels*"))


def test_a_study_without_a_rub_test_has_no_cloths(run: Run, planned: Path) -> None:
    """Left out unless asked for."""
    path = planned / "study.toml"
    text = path.read_text()
    path.write_text(text[: text.index("[rub]")])
    assert "cloth" not in run("labels", "plaques").stdout
    refused = run("labels", "plaques", "--kind", "cloths")
    assert refused.exit_code == 2
    assert "asks for no rub test" in refused.stderr
