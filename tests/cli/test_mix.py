"""The command mix: what it says for a planned study, as text and as JSON, and what it refuses."""

from __future__ import annotations

import json
import re
from pathlib import Path

from tests.cli.conftest import Run
from tests.docs.test_docs import paths

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "json.md"


def test_mix_tells_each_bath_and_what_to_buy(run: Run, planned: Path, tmp_path: Path) -> None:
    """Six baths of half a litre, each weighed by itself; the scale is assumed until it is told."""
    said = run("mix", "plaques")
    assert said.exit_code == 0, said.output
    flat = " ".join(said.stdout.split())
    assert "Each bath: 0.5 L (about 2.1 cups)." in flat
    assert len(re.findall(r"^Bath B\d \(session \d\): strength", said.stdout, re.MULTILINE)) == 6
    assert "The scale is assumed to read 0.1 g." in flat
    assert "have 18 g (0.63 oz). 6 baths take 13 g" in flat
    (tmp_path / "experiments" / "studio.toml").write_text('[measures]\nscale = "1 g"\ncontainer = "120 x 80 mm"\n')
    coarse = " ".join(run("mix", "plaques", "--session", "2").stdout.split())
    assert "A scale that reads 1 g cannot make 1 g/L in 0.5 L well" in coarse
    assert "Stock 2 (session 2)" in coarse
    assert "(session 1)" not in coarse
    assert "stands 52 mm deep, which does not cover a hanging tile of 25 x 50 mm" in coarse


def test_the_json_has_the_keys_documented(run: Run, planned: Path, tmp_path: Path) -> None:
    """All of them, and no others."""
    (tmp_path / "experiments" / "studio.toml").write_text('[measures]\nscale = "1 g"\n')
    found = json.loads(run("mix", "plaques", "--json").stdout)
    section = PAGE.read_text(encoding="utf-8").split("\n## `tilestudy mix ")[1].split("\n## ")[0]
    assert set(re.findall(r"^\| `([\w.*]+)` \|", section, re.MULTILINE)) == paths(found)
    assert found["stocks"][0]["lines"][0]["unit"] == "g"


def test_what_mix_refuses_and_where_nothing_is_mixed(run: Run, planned: Path) -> None:
    """A session that is not there, a study without a plan, an oven."""
    refused = run("mix", "plaques", "--session", "9")
    assert refused.exit_code == 2
    assert "Study plaques has no session 9. It has: 1, 2." in refused.stderr
    assert run("new", "pulls", "--process", "low-heat", "--metal", "C26000").exit_code == 0
    assert run("mix", "pulls").exit_code == 1
    assert run("plan", "pulls").exit_code == 0
    assert "Nothing is mixed for pulls" in run("mix", "pulls").stdout


def test_no_amounts_are_told_while_a_hazard_stands(run: Run, planned: Path) -> None:
    """Vinegar in a sulfide bath: the recipe is refused, not reckoned."""
    file = planned / "study.toml"
    file.write_text(file.read_text() + '\n[[ingredient]]\nwhat = "white vinegar"\namount = "20 mL/L"\n')
    refused = run("mix", "plaques")
    assert refused.exit_code == 1
    assert refused.stdout == ""
    assert "is not told while a hazard stands" in refused.stderr
    assert "vinegar" in refused.stderr
    assert '"tilestudy hazards plaques"' in refused.stderr
