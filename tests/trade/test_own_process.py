"""A process that a studio wrote itself, from the how-to, goes all the way: new, plan, hazards, pack, enter, drivers, handout."""

import json
from pathlib import Path

from click.testing import CliRunner
from pypdf import PdfReader

from tests.trade.tea import write
from tilestudy.cli import cli
from tilestudy.cli.invented import fill
from tilestudy.studio import Studio

NAME = "door-plates"


def run(folder: Path, *words: str) -> tuple[int, str]:
    """Run a command in the studio's folder; returns the exit code and what it printed, as one line."""
    result = CliRunner().invoke(cli, ["--folder", str(folder), *words], prog_name="tilestudy")
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, " ".join(result.output.split())


def fill_in(folder: Path) -> None:
    """Type invented results into the forms: stronger tea and longer hours are darker."""
    study, plan = Studio(folder).planned(NAME)
    forms = folder / "experiments" / NAME
    on = {"made": "2026-11-02", "colour": "2026-11-09", "rub": "2026-11-09"}
    rows: dict[str, list[dict[str, str]]] = {"made": [], "colour": [], "rub": [], "batches": []}
    for number, tile in enumerate(plan.tiles):
        dark = (
            float(tile.settings["tea"]) / 4 + float(tile.settings["hours"]) / 3600 + (0.3, -0.4, 0.6, -0.2)[number % 4]
        )
        rows["made"].append({"tile": tile.code, "batch": tile.batch, "on": on["made"], "by": "MB"})
        spot = {"tile": tile.code, "stage": study.stage, "on": on["colour"], "spot": "1"}
        rows["colour"].append(spot | {"L": f"{60 - dark:.1f}", "a": "8", "b": "14"})
        for scorer in ("KL", "TR"):
            rub = {"tile": tile.code, "condition": "dry", "scorer": scorer, "on": on["rub"]}
            rows["rub"].append(rub | {"grade": "4.5" if number % 3 else "4"})
    rows["batches"] = [{"batch": one.code, "made_at": "2026-11-02 10:00", "by": "MB"} for one in plan.batches]
    keys = {"made": ("tile",), "batches": ("batch",), "colour": ("tile", "stage", "spot"), "rub": ("tile", "scorer")}
    for kind, key in keys.items():
        path = forms / f"{kind}.csv"
        path.write_text(fill(path.read_text(encoding="utf-8-sig"), rows[kind], key), encoding="utf-8-sig")


def test_a_process_of_a_studio_s_own_goes_all_the_way(tmp_path: Path) -> None:
    """The files of the how-to, and every command of the job."""
    write(tmp_path)
    assert run(tmp_path, "new", NAME, "--process", "tea-brown", "--metal", "C26000")[0] == 0
    code, told = run(tmp_path, "plan", NAME, "--seed", "3")
    assert code == 0
    assert "Tea (10 and 40 g/L): set once for each crock" in told
    code, told = run(tmp_path, "hazards", NAME)
    assert code == 0, told
    assert "ingredients.toml adds tea." in told
    assert 'tea-brown.toml adds the process "tea-brown".' in told
    code, told = run(tmp_path, "pack", NAME)
    assert code == 0, told
    pages = PdfReader(tmp_path / "reports" / NAME / "bench-pack-session-1.pdf").pages
    pack = " ".join(" ".join(page.extract_text().split()) for page in pages)
    for words in ("Tea and vinegar brown", "Add the vinegar.", "Mark the crock", "NO SULFIDE near this crock"):
        assert words in pack, words
    fill_in(tmp_path)
    code, told = run(tmp_path, "enter", NAME)
    assert "Stored: " in told, told
    code, told = run(tmp_path, "drivers", NAME, "--json")
    assert code == 0, told
    terms = {one["term"] for one in json.loads(told)["responses"]["L"]["terms"]}
    assert {"tea", "hours"} <= terms
    code, told = run(tmp_path, "handout", NAME)
    assert code == 0, told
    handout = "".join(page.extract_text() for page in PdfReader(tmp_path / "reports" / NAME / "handout.pdf").pages)
    assert "Tea and vinegar brown" in " ".join(handout.split())


def test_a_sulfide_bath_beside_the_crock_stops_the_pack(tmp_path: Path) -> None:
    """The check reads what the studio's own files tell: the crock is acid."""
    write(tmp_path)
    run(tmp_path, "new", NAME, "--process", "tea-brown", "--metal", "C26000")
    path = tmp_path / "experiments" / NAME / "study.toml"
    path.write_text(path.read_text(encoding="utf-8") + '\n[[nearby]]\nwhat = "liver of sulphur"\n', encoding="utf-8")
    assert run(tmp_path, "plan", NAME)[0] == 0
    code, told = run(tmp_path, "hazards", NAME)
    assert code == 1
    assert "liver of sulphur" in told
    assert run(tmp_path, "pack", NAME)[0] == 1


def test_a_fault_in_a_studio_s_own_data_stops_every_command(tmp_path: Path) -> None:
    """With the file, the line and what to do; exit 2."""
    write(tmp_path)
    path = tmp_path / "experiments" / "trade" / "ingredients.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('"acid"', '"acidd"'), encoding="utf-8")
    code, told = run(tmp_path, "new", NAME, "--process", "tea-brown", "--metal", "C26000")
    assert code == 2
    assert 'ingredients.toml, line 6: classes: "acidd" is not known. Did you mean "acid"?' in told
    assert not (tmp_path / "experiments" / NAME).exists()
