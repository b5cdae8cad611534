"""The whole job by hand, as a new user would do it: spoiled tiles, corrections and wrong input on the way."""

import json
import shutil
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.cli.conftest import Run
from tilestudy.cli.demo import walk_through
from tilestudy.cli.remake import DEMO_DAY

REPOSITORY = Path(__file__).parents[2]


def test_the_demo_runs_the_whole_job_and_ends_with_its_papers(run: Run, tmp_path: Path) -> None:
    """`demo` shows each command, and the bench pack and the handout are there and say that the data are invented."""
    result = run("demo")
    assert result.exit_code == 0
    folder = tmp_path / "tilestudy-demo"
    for command in ("new", "plan", "pack", "enter", "due", "rub", "history", "drivers", "handout"):
        assert f"$ tilestudy {command} plaques" in result.output or command == "due"
    assert "$ tilestudy due --on" in result.output
    for page in ("bench-pack-session-1", "bench-pack-session-2", "handout"):
        path = folder / "reports" / "plaques" / f"{page}.pdf"
        assert str(path) in result.output
        assert "INVENTED DATA" in PdfReader(path).pages[0].extract_text()
    assert 2 <= len(PdfReader(folder / "reports" / "plaques" / "handout.pdf").pages) <= 4
    assert "strength drives it" in result.output
    assert "Choice 1: strength" in result.output
    assert "Confirmed: this is a recipe now." in " ".join(result.output.split())
    again = run("demo")
    assert again.exit_code == 0
    assert "An earlier demo" in again.output


def test_the_demo_leaves_a_folder_of_somebody_else_alone(run: Run, tmp_path: Path) -> None:
    """A folder that is no demo is not touched."""
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear")
    result = run("demo", "--into", "mine")
    assert result.exit_code == 2
    assert "is not an earlier demo" in result.output
    assert (tmp_path / "mine" / "letter.txt").read_text() == "dear"


def test_the_demo_study_of_the_project_is_what_the_demo_makes(tmp_path: Path) -> None:
    """experiments/plaques is the demo of 24 November 2026, byte for byte: same seed, same plan, same invention."""
    walk_through(tmp_path, DEMO_DAY)
    made, kept = tmp_path / "experiments" / "plaques", REPOSITORY / "experiments" / "plaques"
    assert {p.name for p in made.iterdir()} == {p.name for p in kept.iterdir()}
    for path in made.iterdir():
        assert path.read_bytes() == (kept / path.name).read_bytes(), path.name


@pytest.mark.parametrize("name", ["heat-coating", "oats", "plaques"])
def test_an_experiment_of_the_project_is_taken_in_from_its_folder_alone(run: Run, tmp_path: Path, name: str) -> None:
    """`enter` reads the tile list and all forms; a second time it changes nothing."""
    shutil.copytree(REPOSITORY / "experiments" / name, tmp_path / "experiments" / name)
    first = run("enter", name)
    assert first.exit_code == 0, first.output
    assert "Stored: " in first.output
    second = run("enter", name)
    assert "Nothing new" in second.output
    assert "Stored" not in second.output


def test_the_published_split_plots_come_out_as_printed(run: Run, tmp_path: Path) -> None:
    """The numbers of the tables through the commands, from CSV to JSON.

    Box, Hunter & Hunter (2005), Table 9.2, and Yates (1935) as in Venables & Ripley (2002), section 10.2.
    """
    found = {}
    for name, response in (("heat-coating", "resistance"), ("oats", "yield")):
        shutil.copytree(REPOSITORY / "experiments" / name, tmp_path / "experiments" / name)
        assert run("enter", name).exit_code == 0
        found[name] = json.loads(run("drivers", name, "--json").output)["responses"][response]
    heat = {term["term"]: term for term in found["heat-coating"]["terms"]}
    assert (heat["temperature"]["F"], heat["temperature"]["p"]) == pytest.approx((2.7548, 0.209321), abs=1e-4)
    assert (heat["temperature"]["df"], heat["temperature"]["ddf"]) == pytest.approx((2, 3), abs=1e-6)
    assert heat["coating"]["F"] == pytest.approx(11.480, abs=5e-4)
    assert (heat["coating"]["df"], heat["coating"]["ddf"]) == pytest.approx((3, 9), abs=1e-6)
    assert heat["temperature x coating"]["F"] == pytest.approx(4.376, abs=5e-4)
    assert (heat["temperature x coating"]["df"], heat["temperature x coating"]["ddf"]) == pytest.approx(
        (6, 9), abs=1e-6
    )
    variance = found["heat-coating"]["variance"]
    assert (variance["batch"], variance["tile"]) == pytest.approx((1172.17, 124.54), abs=0.01)
    oats = {term["term"]: term for term in found["oats"]["terms"]}
    assert oats["variety"]["F"] == pytest.approx(1.4853, abs=1e-4)
    assert (oats["variety"]["df"], oats["variety"]["ddf"]) == pytest.approx((2, 10), abs=1e-3)
    assert oats["nitrogen"]["F"] == pytest.approx(37.686, abs=1e-3)
    assert (oats["nitrogen"]["df"], oats["nitrogen"]["ddf"]) == pytest.approx((3, 45), abs=1e-3)
    variance = found["oats"]["variance"]
    assert (variance["session"], variance["batch"], variance["tile"]) == pytest.approx(
        (214.48, 106.06, 177.08), abs=0.01
    )


def test_the_heat_study_warns_of_its_trap_on_screen_and_on_the_handout(run: Run, tmp_path: Path) -> None:
    """Ignoring the heats would claim p = 0.003 (Box, Hunter & Hunter 2005, section 9.1)."""
    shutil.copytree(REPOSITORY / "experiments" / "heat-coating", tmp_path / "experiments" / "heat-coating")
    run("enter", "heat-coating")
    trap = "would claim p = 0.003 for temperature; the heats say 0.21"
    assert trap in " ".join(run("drivers", "heat-coating", "--no-charts").output.split())
    assert run("handout", "heat-coating").exit_code == 0
    reader = PdfReader(tmp_path / "reports" / "heat-coating" / "handout.pdf")
    assert trap in " ".join(" ".join(page.extract_text() for page in reader.pages).replace("\u200b", "").split())


def test_plan_as_json_has_its_stable_keys(run: Run, planned: Path) -> None:
    """tiles, batches and appraisal, with the keys that docs/reference/json.md lists."""
    data = json.loads(run("plan", "plaques", "--json").output)
    assert set(data) == {"study", "seed", "factors", "tiles", "batches", "appraisal"}
    assert set(data["tiles"][0]) == {"code", "batch", "session", "order", "settings", "reference", "replaces"}
    assert set(data["batches"][0]) == {"code", "session", "order", "settings"}
    assert set(data["appraisal"]) == {"noise", "power", "factors", "same_as", "sentences"}


def test_planning_an_unchanged_study_again_changes_nothing(run: Run, planned: Path) -> None:
    """Same study, same plan."""
    before = (planned / "tiles.csv").read_text()
    assert "the study file asks for the same tiles" in run("plan", "plaques").output
    assert (planned / "tiles.csv").read_text() == before


def test_planning_again_never_discards_tiles_with_records(run: Run, planned: Path) -> None:
    """A changed study keeps what was made; the rest is planned anew after it."""
    tile = (planned / "tiles.csv").read_text().splitlines()[1].split(",")[0]
    assert run("made", "plaques", tile).exit_code == 0
    study = planned / "study.toml"
    study.write_text(study.read_text().replace("levels = [10, 30, 90]", "levels = [15, 60]"))
    refused = run("plan", "plaques", "--seed", "8")
    assert refused.exit_code == 2
    assert 'type "tilestudy plan plaques --anew"' in refused.output
    result = run("plan", "plaques", "--seed", "8", "--anew")
    assert f"1 tile of the old plan has records and stays: {tile}." in result.output
    assert "made:" in run("history", "plaques", tile).output
    codes = [row.split(",")[0] for row in (planned / "tiles.csv").read_text().splitlines()[1:]]
    assert tile in codes
    assert len(codes) == len(set(codes))


def test_a_blocking_hazard_stops_the_pack(run: Run, planned: Path) -> None:
    """Nothing is printed while acid shares the bath's bench; the message says what to do."""
    study = planned / "study.toml"
    study.write_text(
        study.read_text().replace('acid_at_the_same_place = "not checked"', 'acid_at_the_same_place = "yes"')
    )
    result = run("pack", "plaques")
    assert result.exit_code == 1
    assert "hydrogen sulfide" in result.output
    assert "then pack again" in result.output
    assert not (planned.parents[1] / "reports").exists()
    study.write_text(study.read_text().replace('acid_at_the_same_place = "yes"', 'acid_at_the_same_place = "no"'))
    assert run("pack", "plaques", "--paper", "us-letter").exit_code == 0
    page = PdfReader(planned.parents[1] / "reports" / "plaques" / "bench-pack-session-1.pdf").pages[0]
    assert (float(page.mediabox.width), float(page.mediabox.height)) == (612, 792)


def test_pack_keeps_a_form_that_holds_entries(run: Run, planned: Path) -> None:
    """Packing again never overwrites what somebody typed."""
    made = planned / "made.csv"
    lines = made.read_text().splitlines()
    row = dict(zip(lines[0].split(","), lines[1].split(","), strict=False))
    filled = lines[1].split(",")
    filled[lines[0].split(",").index("on")] = "2026-01-05"
    made.write_text("\n".join([lines[0], ",".join(filled), *lines[2:]]) + "\n")
    result = run("pack", "plaques")
    assert "Form kept as it is, it holds entries" in result.output
    assert "2026-01-05" in made.read_text()
    assert row["tile"] in made.read_text()


def test_limits_too_tight_for_the_grid_get_the_most_telling_tiles(run: Run, planned: Path) -> None:
    """14 tiles and a rule: the plan says so, keeps the rule and both limits, and is the same when asked again."""
    study = planned / "study.toml"
    rule = '\n[[never]]\nstrength = "above 5 g/L"\ndip_time = "above 60 s"\n'
    study.write_text(study.read_text().replace("tiles = 40", "tiles = 14") + rule)
    data = json.loads(run("plan", "plaques", "--json").output)
    assert len(data["tiles"]) == 14
    assert len(data["batches"]) <= 8
    assert not any(t["settings"]["strength"] > 5 and t["settings"]["dip_time"] > 60 for t in data["tiles"])
    told = " ".join(run("plan", "plaques").output.split())
    assert "The whole grid, each setting in 2 fresh batches, does not fit the limits" in told
    assert "the study file asks for the same tiles" in told
    assert run("pack", "plaques").exit_code == 0


def test_a_rule_thins_the_grid(run: Run, planned: Path) -> None:
    """Within the limits the grid is made without what is ruled out; a misspelt factor in a rule is a fault."""
    study = planned / "study.toml"
    text = study.read_text()
    study.write_text(text + '\n[[never]]\nstrength = "9 g/L"\ndip_time = "above 60 s"\n')
    assert len(json.loads(run("plan", "plaques", "--json").output)["tiles"]) == 32
    study.write_text(text + '\n[[never]]\nstrenght = "9 g/L"\n')
    result = run("plan", "plaques")
    assert result.exit_code == 2
    assert '"strenght" under [[never]] is no factor of this study. Did you mean "strength"?' in result.output


def test_an_old_sample_board_goes_all_the_way_to_a_handout(run: Run, tmp_path: Path) -> None:
    """Tiles that exist, at settings the study file never named: taken in, analysed over what was made, printed."""
    assert run("new", "board", "--process", "sulfide-dip", "--metal", "C11000").exit_code == 0
    folder = tmp_path / "experiments" / "board"
    rows = [("A", "2 g/L", 10, 1), ("A", "2 g/L", 90, 4), ("B", "5 g/L", 10, 4), ("B", "5 g/L", 90, 1)]
    rows += [
        ("C", "2 g/L", 30, 1),
        ("C", "2 g/L", 90, 1),
        ("D", "1/4 tsp per cup", 10, 1),
        ("D", "1/4 tsp per cup", 30, 4),
    ]
    lines = [f"OLD{n};{';'.join(map(str, row))}" for n, row in enumerate(rows, start=1)]
    (tmp_path / "old.csv").write_text("tile;batch;strength;dip_time;scrub_cycles\n" + "\n".join(lines) + "\n")
    taken = run("plan", "board", "--from", str(tmp_path / "old.csv"))
    assert "8 tiles taken in." in taken.output
    assert "from 2 to 5.208 g/L" in taken.output
    colours = [
        (52, 22, 20),
        (35, 12, 9),
        (38, 14, 9),
        (30, 10, 8),
        (47, 20, 16),
        (43, 18, 14),
        (45, 18, 15),
        (33, 12, 9),
    ]
    readings = [f"OLD{n},2026-01-05,{L},{a},{b}" for n, (L, a, b) in enumerate(colours, start=1)]
    (folder / "colour.csv").write_text("tile,on,L,a,b\n" + "\n".join(readings) + "\n")
    assert run("enter", "board").output == "Stored: 8 colour readings.\n"
    told = run("drivers", "board", "--no-charts").output
    assert "From 2 to 5.208 g/L the tile darkens" in told
    assert "1 to 9 g/L" not in told
    assert run("handout", "board").exit_code == 0
