"""The command hazards: what it prints, its exit code, its JSON, and the line that plan adds."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

from tests.cli.conftest import Run
from tests.docs.test_docs import DOCS, paths

VINEGAR = '\n[[ingredient]]\nwhat = "White Vinegar, 5 %"\namount = "20 mL/L"\n'


def test_nothing_stops_a_plain_study(run: Run, planned: Path) -> None:
    """Cautions, open questions, what was read; exit code 0."""
    said = run("hazards", "plaques")
    assert said.exit_code == 0
    assert said.output.startswith(
        "Nothing that was read stops the bench pack of plaques; 2 questions not answered yet."
    )
    assert "Bath: potassium polysulfide." in said.output
    assert "20 ppm" in said.output
    assert "Safety data sheets, local codes and licensed practice come first" in said.output


def test_vinegar_in_a_sulfide_bath_stops_it(run: Run, planned: Path) -> None:
    """By the check, in the plan's last line, and by the pack; no sign-off helps."""
    study = planned / "study.toml"
    study.write_text(study.read_text() + VINEGAR)
    said = run("hazards", "plaques")
    assert said.exit_code == 1
    assert "potassium polysulfide and White Vinegar, 5 % (acid) are in one bath" in " ".join(said.output.split())
    assert "It cannot be signed off." in " ".join(said.output.split())
    assert '"tilestudy hazards plaques" says which' in run("plan", "plaques").stderr
    assert run("pack", "plaques").exit_code == 1
    study.write_text(study.read_text() + '\n[[signed]]\nrule = "sulfide-acid"\nby = "KL"\nreason = "only a little"\n')
    assert run("pack", "plaques").exit_code == 1
    assert "counts for nothing" in run("hazards", "plaques").output


def test_json_has_the_keys_documented(run: Run, planned: Path) -> None:
    """The page on JSON lists exactly what is printed."""
    printed = json.loads(run("hazards", "plaques", "--json").stdout)
    section = (DOCS / "reference" / "json.md").read_text(encoding="utf-8").split("\n## `tilestudy hazards ")[1]
    documented = set(re.findall(r"^\| `([\w.*]+)` \|", section.split("\n## ")[0], re.MULTILINE))
    assert paths(printed) == documented
    assert (printed["blocked"], [gas["ppm"] for gas in printed["gases"]]) == (False, [20.0])


def test_the_how_to_s_study_file_and_rule_can_be_used(run: Run, planned: Path) -> None:
    """What the page shows is read whole, and nothing of it stops the pack."""
    page = (DOCS / "how-to" / "hazards.md").read_text(encoding="utf-8")
    shown = re.findall(r"^```toml\n(.*?)^```", page, re.MULTILINE | re.DOTALL)
    study = planned / "study.toml"
    study.write_text(study.read_text() + "\n" + shown[0])
    trade = planned.parent / "trade"
    trade.mkdir()
    (trade / "hazards.toml").write_text(shown[2])
    assert tomllib.loads(shown[1])["signed"][0]["rule"] == "nitrate-fuel"
    said = run("hazards", "plaques")
    assert said.exit_code == 0, said.output
    assert "pickle (citric acid), rinse (water), dip (bath), rinse (water)" in " ".join(said.output.split())
