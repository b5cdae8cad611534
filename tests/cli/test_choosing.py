"""choose, confirm and next as a user types them, on the project's demo study with its invented data."""

import json
import shutil
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tilestudy.studio import Studio

REPOSITORY = Path(__file__).parents[2]


@pytest.fixture
def entered(run: Run, tmp_path: Path) -> Path:
    """The demo study, taken in from its folder alone: planned, made, read and rubbed."""
    shutil.copytree(REPOSITORY / "experiments" / "plaques", tmp_path / "experiments" / "plaques")
    run("enter", "plaques")
    return tmp_path / "experiments" / "plaques"


def test_choose_says_what_is_right_the_choice_and_what_each_wish_costs(run: Run, entered: Path, tmp_path: Path) -> None:
    """Settings within what was tried, each with its chance and range; as JSON with stable keys; and a chart."""
    told = " ".join(run("choose", "plaques").output.split())
    for part in (
        "Right means L*",
        "Choice 1: strength",
        "Or 2: ",
        "would be right",
        "would raise that from",
        "Chart: ",
    ):
        assert part in told
    assert (tmp_path / "reports" / "plaques" / "trade-off.svg").read_bytes().startswith(b"<?xml")
    found = json.loads(run("choose", "plaques", "--json").stdout)
    assert set(found) == {"study", "stage", "right", "options", "prices", "wishes", "sentences"}
    for option in found["options"]:
        assert option["low"] <= option["chance"] <= option["high"]
        assert 0.9 <= option["settings"]["strength"] <= 9
        assert 10 <= option["settings"]["dip_time"] <= 94.001


def test_wishes_of_the_study_file_weigh_with_being_right(run: Run, entered: Path) -> None:
    """Fewer scrub cycles are wished for; without a wish the option is refused with what to write."""
    assert "has no [[wish]]" in run("choose", "plaques", "--wishes").output
    study = entered / "study.toml"
    wish = '\n[[wish]]\nof = "scrub_cycles"\ngood = 1\nuseless = 5\n'
    study.write_text(study.read_text(encoding="utf-8-sig") + wish)
    told = " ".join(run("choose", "plaques", "--wishes", "--no-chart").output.split())
    assert "All wishes together are met to" in told
    assert "scrub cycles " in told


def test_what_cannot_be_confirmed_is_refused_plainly(run: Run, entered: Path, tmp_path: Path) -> None:
    """What was typed, why not, and what there is instead; a list of existing tiles grows by its own rows; nothing is kept."""
    for words, says in (
        (["--option", "9"], "--option 9: choose gives 3, numbered from 1."),
        (["--at", "strength"], '--at "strength" cannot be read; write it like "strength=4 g/L".'),
        (["--at", "heat=3"], '"heat" is no factor of plaques. Its factors: strength, dip_time, scrub_cycles.'),
        (["--at", "dip time=300 s"], "dip time 300 s lies outside what the tiles covered"),
        (["--at", "dip time=soon"], '"soon"'),
        ([], "Add a row for each new tile"),
    ):
        refused = run("confirm", "plaques", *words)
        assert refused.exit_code in (1, 2)
        assert says in " ".join(refused.output.split())
    assert not Studio(tmp_path).claimed("plaques")
