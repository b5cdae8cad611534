"""`extend`: tiles are added to a study that has a plan, through the commands."""

import json
import shutil
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tilestudy.studio import Studio


@pytest.fixture
def roomy(run: Run, planned: Path) -> Path:
    """The planned study without limits on tiles and batches; three tiles made, one of them spoiled."""
    study = planned / "study.toml"
    text = "\n".join(line for line in study.read_text().splitlines() if not line.startswith(("tiles =", "batches =")))
    study.write_text(text)
    codes = [row.split(",")[0] for row in (planned / "tiles.csv").read_text(encoding="utf-8-sig").splitlines()[1:4]]
    for code in codes:
        assert run("made", "plaques", code, *(["--spoiled"] if code == codes[2] else [])).exit_code == 0
    return planned


KINDS = [
    ["--batches", "2"],
    ["--middle"],
    ["--ends"],
    ["--tiles", "4", "--batches", "2"],
    ["--repair", "B1"],
]


@pytest.mark.parametrize("asked", KINDS, ids=lambda asked: asked[0])
def test_what_is_there_stays_and_twice_adds_twice(run: Run, tmp_path: Path, roomy: Path, asked: list[str]) -> None:
    """Old tiles, their order and records are untouched; the list holds all tiles; planning again shows them all."""
    studio = Studio(tmp_path)
    _, before = studio.planned("plaques")
    history = {tile.code: run("history", "plaques", tile.code).output for tile in before.tiles[:3]}
    first = run("extend", "plaques", *asked)
    assert first.exit_code == 0, first.output
    assert first.output.startswith("Added: ")
    assert 'Next: "tilestudy pack plaques --session ' in first.output
    _, after = studio.planned("plaques")
    assert after.tiles[: len(before.tiles)] == before.tiles
    assert after.batches[: len(before.batches)] == before.batches
    for code, told in history.items():
        if asked[0] != "--repair":
            assert run("history", "plaques", code).output == told
    if asked[0] == "--repair":
        asked = ["--repair", "B7"]
    data = json.loads(run("extend", "plaques", *asked, "--json").stdout)
    _, twice = studio.planned("plaques")
    assert twice.tiles[: len(after.tiles)] == after.tiles
    assert len(twice.tiles) > len(after.tiles)
    assert [tile["code"] for tile in data["tiles"]] == [tile.code for tile in twice.tiles]
    assert set(data) == set(json.loads(run("plan", "plaques", "--json").stdout))
    listed = (roomy / "tiles.csv").read_text(encoding="utf-8-sig").splitlines()[1:]
    assert [row.split(",")[0] for row in listed] == [tile.code for tile in twice.tiles]
    assert "The plan stays as it was" in run("plan", "plaques").output
    assert studio.planned("plaques")[1] == twice
    assert run("enter", "plaques").exit_code == 0
    assert studio.planned("plaques")[1] == twice


def test_a_failed_batch_made_again_is_marked_packed_and_due(run: Run, tmp_path: Path, roomy: Path) -> None:
    """Unmade tiles owe no row any more, made ones stay, and the folder alone tells another studio of the new tiles."""
    studio = Studio(tmp_path)
    _, before = studio.planned("plaques")
    result = run("extend", "plaques", "--repair", "B1")
    assert "Bath B1 is made again whole." in result.output
    old = [tile for tile in before.tiles if tile.batch == "B1"]
    story = run("history", "plaques", old[3].code).output
    assert "bath failed, made again as B7" in story
    waiting = studio.waiting("made", "plaques")
    assert not {tile.code for tile in old} & set(waiting)
    assert {tile.code for tile in studio.planned("plaques")[1].tiles if tile.batch == "B7"} <= set(waiting)
    assert "unknown" not in result.output
    elsewhere = tmp_path / "elsewhere"
    shutil.copytree(roomy, elsewhere / "experiments" / "plaques")
    assert run("--folder", str(elsewhere), "enter", "plaques").exit_code == 0
    assert len(Studio(elsewhere).planned("plaques")[1].tiles) == 42


def test_the_mirror_of_a_two_level_study(run: Run, tmp_path: Path, planned: Path) -> None:
    """Every tile has its mirror image in a bath of the other strength."""
    study = planned / "study.toml"
    text = study.read_text().replace("[1, 3, 9]", "[2, 8]").replace("[10, 30, 90]", "[15, 60]")
    study.write_text(text)
    run("plan", "plaques", "--seed", "7")
    assert run("extend", "plaques", "--mirror").exit_code == 0
    _, plan = Studio(tmp_path).planned("plaques")
    assert len(plan.tiles) == 32
    for tile, image in zip(
        sorted(plan.tiles[:16], key=lambda t: str(sorted(t.settings.items()))),
        sorted(plan.tiles[16:], key=lambda t: str(sorted(t.settings.items()))),
        strict=True,
    ):
        assert tile.settings == image.settings  # a whole grid is its own mirror image


@pytest.mark.parametrize(
    ("asked", "code", "message"),
    [
        ([], 2, "Nothing to add was named. Give one of --batches N, --mirror,"),
        (["--mirror", "--middle"], 2, "--mirror and --middle were given together."),
        (["--repair", "B3", "--batches", "1"], 2, "--repair and --batches were given together."),
        (["--tiles", "0"], 2, "--tiles 0 adds nothing. Give 1 or more."),
        (["--repair", "B77"], 2, 'has no bath "B77". There are: B1, B2,'),
        (["--mirror"], 1, "Strength is made at 3 settings"),
        (["--batches", "1"], 1, "42 tiles (limit 40). Raise tiles to 42 under [limits] in the study file."),
    ],
)
def test_what_cannot_be_added_changes_nothing(
    run: Run, tmp_path: Path, planned: Path, asked: list[str], code: int, message: str
) -> None:
    """The reason on stderr, the exit code, and the plan as it was."""
    before = Studio(tmp_path).planned("plaques"), (planned / "tiles.csv").read_bytes()
    result = run("extend", "plaques", *asked)
    assert (result.exit_code, result.stdout) == (code, "")
    assert message in result.stderr
    assert (Studio(tmp_path).planned("plaques"), (planned / "tiles.csv").read_bytes()) == before


def test_a_study_without_plan_or_taken_in_says_what_to_do(run: Run, tmp_path: Path) -> None:
    """Plan first; a tile list is grown in the list."""
    run("new", "plaques", "--process", "sulfide-dip", "--metal", "C11000")
    assert 'Type "tilestudy plan plaques"' in run("extend", "plaques", "--middle").stderr
    oats = Path(__file__).parents[2] / "experiments" / "oats"
    shutil.copytree(oats, tmp_path / "experiments" / "oats")
    run("enter", "oats")
    result = run("extend", "oats", "--batches", "1")
    assert result.exit_code == 1
    assert "were taken in from a list" in result.stderr
