"""The command tray: which tiles, which numbers, what it says, what it refuses."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tilestudy.photo.needs import opencv
from tilestudy.studio import Studio
from tilestudy.tray.sheet import sheet_from_dict

PATCHES = Path(__file__).parents[1] / "tray" / "data" / "patches.csv"


def test_the_same_request_again_gives_the_same_numbers_and_the_same_file(
    run: Run, planned: Path, tmp_path: Path
) -> None:
    """36 tiles with six patches: two sheets of 18, kept in the book, in run order; other sheets get other numbers."""
    said = run("tray", "plaques", "--references", str(PATCHES))
    assert said.exit_code == 0, said.output
    assert "Tray 1: 18 tiles" in said.output
    assert "Tray 2: 18 tiles" in said.output
    assert f'plaques PHOTO --references {PATCHES}"' in " ".join(said.output.split())
    pdf = tmp_path / "reports" / "plaques" / "tray.pdf"
    first = pdf.read_bytes()
    assert run("tray", "plaques", "--references", str(PATCHES)).output == said.output
    assert pdf.read_bytes() == first
    studio = Studio(tmp_path)
    with studio.book() as book:
        sheets = [sheet_from_dict(number, data) for number, data in book.trays("plaques")]
    codes = [cell.code for sheet in sheets for cell in sheet.tiles]
    assert codes == [tile.code for tile in studio.planned("plaques")[1].tiles]
    assert [patch.code for patch in sheets[0].patches][-2:] == ["blue-green", "orange"]
    bare = run("tray", "plaques")
    assert "no reference patches" in bare.stderr
    assert "Tray 3: 18 tiles" in bare.output


def test_a_spoiled_tile_is_left_out_and_its_stand_in_takes_part(run: Run, planned: Path, tmp_path: Path) -> None:
    """Named with --tiles it is refused, with the name of its stand-in."""
    plan = Studio(tmp_path).planned("plaques")[1]
    spoiled = plan.tiles[0].code
    assert run("made", "plaques", spoiled, "--spoiled", "--replace").exit_code == 0
    stand_in = next(tile.code for tile in Studio(tmp_path).planned("plaques")[1].tiles if tile.replaces)
    laid = run("tray", "plaques").stdout.replace(".", " ").split()
    assert stand_in in laid
    assert spoiled not in laid
    refused = run("tray", "plaques", "--tiles", spoiled)
    assert refused.exit_code == 2
    assert f"Its stand-in is {stand_in}" in refused.stderr
    few = run("tray", "plaques", "--tiles", f"{plan.tiles[5].code},{plan.tiles[2].code.lower()}")
    assert f"2 tiles: {plan.tiles[2].code} {plan.tiles[5].code}." in few.stdout


def test_sheets_for_cloths(run: Run, planned: Path, tmp_path: Path) -> None:
    """A swatch for each tile and condition, two clean ones on each sheet, in a file of their own."""
    said = run("tray", "plaques", "--cloths", "--paper", "us-letter")
    assert said.exit_code == 0, said.output
    assert "rubbed swatches and 2 clean ones: " in said.stdout
    assert "PHOTO --cloths" in " ".join(said.stdout.split())
    assert (tmp_path / "reports" / "plaques" / "tray-cloths.pdf").exists()
    with Studio(tmp_path).book() as book:
        sheets = [sheet_from_dict(number, data) for number, data in book.trays("plaques")]
    assert all(sheet.paper == "us-letter" and sheet.cloths[0].code == "clean 1" for sheet in sheets)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--tiles", "nope"], 'has no tile "nope"'),
        (["--references", "bad.csv"], "no column L, a, b"),
        (["--paper", "a5"], "a5"),
    ],
)
def test_bad_requests_keep_nothing(
    run: Run, planned: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], says: str
) -> None:
    """Exit 2, one message, no tray number used up."""
    monkeypatch.chdir(tmp_path)
    Path("bad.csv").write_text("patch,colour\nwhite,white\n")
    refused = run("tray", "plaques", *words)
    assert refused.exit_code == 2
    assert says in refused.stderr
    with Studio(tmp_path).book() as book:
        assert book.trays("plaques") == []


def test_a_study_without_a_rub_test_has_no_swatches(run: Run, planned: Path) -> None:
    """Said before anything is printed."""
    path = planned / "study.toml"
    text = path.read_text()
    path.write_text(text[: text.index("[rub]")])
    refused = run("tray", "plaques", "--cloths")
    assert refused.exit_code == 2
    assert "asks for no rub test" in refused.stderr


def test_the_missing_extra_is_named(run: Run, planned: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without opencv: what to install, no traceback."""
    monkeypatch.setitem(sys.modules, "cv2", None)
    opencv.cache_clear()
    refused = run("tray", "plaques")
    opencv.cache_clear()
    assert refused.exit_code == 1
    assert 'pip install "tilestudy[photo]"' in refused.stderr
