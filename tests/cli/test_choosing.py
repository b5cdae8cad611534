"""choose, confirm and next as a user types them, on the project's demo study with its invented data."""

import json
import shutil
from datetime import date
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.cli.conftest import Run
from tilestudy.cli.demo import fill_form, share_out
from tilestudy.cli.invented import invent
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
    assert set(found) == {"study", "stage", "series", "right", "options", "prices", "wishes", "sentences"}
    for option in found["options"]:
        assert option["low"] <= option["chance"] <= option["high"]
        assert 0.9 <= option["settings"]["strength"] <= 9
        assert 10 <= option["settings"]["dip_time"] <= 94.001
    wrong = run("drivers", "plaques", "--series", "tray")
    assert (wrong.exit_code, 'has no colour readings of a series "tray"' in wrong.output) == (2, True)


def test_wishes_of_the_study_file_weigh_with_being_right(run: Run, entered: Path) -> None:
    """Fewer scrub cycles are wished for; without a wish the option is refused with what to write."""
    assert "has no [[wish]]" in run("choose", "plaques", "--wishes").output
    study = entered / "study.toml"
    wish = '\n[[wish]]\nof = "scrub_cycles"\ngood = 1\nuseless = 5\n'
    study.write_text(study.read_text(encoding="utf-8-sig") + wish)
    told = " ".join(run("choose", "plaques", "--wishes", "--no-chart").output.split())
    assert "All wishes together are met to" in told
    assert "scrub cycles " in told


@pytest.fixture
def recorded(run: Run, tmp_path: Path) -> Path:
    """A planned study of one's own with invented results, so that it can grow."""
    run("new", "plaques", "--process", "sulfide-dip", "--metal", "C11000")
    run("plan", "plaques", "--seed", "7")
    run("pack", "plaques")
    folder = tmp_path / "experiments" / "plaques"
    results = invent(*Studio(tmp_path).planned("plaques"), date(2026, 11, 2))
    for kind, rows, key in (("made", results.made, "tile"), ("batches", results.batches, "batch")):
        fill_form(folder, kind, rows, (key,))
    fill_form(folder, "colour", results.colour, ("tile", "stage", "spot"))
    share_out(folder, results.rub)
    assert "Stored" in run("enter", "plaques").output
    return folder


def test_next_looks_before_it_adds_and_confirm_keeps_claim_and_tiles_together(
    run: Run, recorded: Path, tmp_path: Path
) -> None:
    """`next --look` adds nothing; `confirm` plans tiles at settings of one's own, claims, and waits for results."""
    studio = Studio(tmp_path)
    before = studio.planned("plaques")[1]
    looked = run("next", "plaques", "--tiles", "6", "--batches", "2", "--look")
    assert "Nothing was added" in looked.output
    assert "narrower" in " ".join(looked.output.split())
    assert studio.planned("plaques")[1] == before
    done = run("confirm", "plaques", "--at", "strength=4 g/L", "--at", "dip time=45 s")
    assert done.exit_code == 0, done.output
    added = [tile for tile in studio.planned("plaques")[1].tiles if tile not in before.tiles]
    assert len(added) == 4
    assert {(tile.settings["strength"], tile.settings["dip_time"]) for tile in added} == {(4.0, 45.0)}
    assert len({tile.batch for tile in added}) == 2
    assert "has all that is wanted yet" in " ".join(run("confirm", "plaques").output.split())
    assert json.loads(run("confirm", "plaques", "--json").stdout)["confirmations"][0]["verdict"] == "waiting"


def test_the_pack_of_one_session_names_that_session(run: Run, recorded: Path, tmp_path: Path) -> None:
    """`pack --session 2` prints that session's cards and sheets only; a session that is not there is refused."""
    assert "has no session 9; its plan has sessions 1 to 2." in run("pack", "plaques", "--session", "9").output
    assert run("pack", "plaques", "--session", "2").exit_code == 0
    pages = PdfReader(tmp_path / "reports" / "plaques" / "bench-pack-session-2.pdf").pages
    text = "\n".join(page.extract_text() for page in pages)
    assert "Session 2" in pages[0].extract_text()
    assert "Session 1" not in text


def test_what_cannot_be_confirmed_is_refused_plainly(run: Run, recorded: Path, tmp_path: Path) -> None:
    """What was typed, why not, and what there is instead; nothing is kept."""
    for words, says in (
        (["--option", "9"], "--option 9: choose gives 3, numbered from 1."),
        (["--at", "strength"], '--at "strength" cannot be read; write it like "strength=4 g/L".'),
        (["--at", "heat=3"], '"heat" is no factor of plaques. Its factors: strength, dip_time, scrub_cycles.'),
        (["--at", "dip time=300 s"], "dip time 300 s lies outside what the tiles covered"),
        (["--at", "dip time=soon"], '"soon"'),
    ):
        refused = run("confirm", "plaques", *words)
        assert refused.exit_code in (1, 2)
        assert says in " ".join(refused.output.split())
    assert not Studio(tmp_path).claimed("plaques")


def test_a_list_of_existing_tiles_grows_by_its_own_rows(run: Run, entered: Path) -> None:
    """Tiles that were taken in are not added to behind the list's back."""
    assert "Add a row for each new tile" in run("confirm", "plaques").output
