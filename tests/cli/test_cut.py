"""The command cut: sheets to tiles, what is printed, what is said, what is refused."""

from __future__ import annotations

import json
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.cli.conftest import Run
from tests.docs.test_docs import DOCS, paths
from tilestudy.design.cutting.words import COLUMNS
from tilestudy.design.lots import lot_of_tiles
from tilestudy.studio import Studio

SHEETS = """
[[sheet]]
size = "300 x 150 mm"
lot = "2026-A"
price = 12.5
[[sheet]]
size = "62 x 210 mm"
offcut = true
lot = "2026-B"
price = 2
[[sheet]]
size = "6 x 12 in"
count = 2
lot = "2026-B"
price = 11
[cutting]
kerf = "1 mm"
trim = "2 mm"
money = "EUR"
"""


def add(planned: Path, text: str) -> None:
    """Write more into the study file."""
    path = planned / "study.toml"
    path.write_text(path.read_text(encoding="utf-8") + text, encoding="utf-8")


def test_without_sheets_an_example_is_reckoned_and_called_one(run: Run, planned: Path, tmp_path: Path) -> None:
    """300 x 600 mm, every tile and spare on it; the files are written, the same again."""
    done = run("cut", "plaques")
    assert done.exit_code == 0, done.output
    said = " ".join(done.stdout.split())
    assert "The study names no sheet, so this is an example with a sheet of 300 × 600 mm." in said
    assert "Mass: 9.07 g a tile before drilling" in said
    pdf = tmp_path / "reports" / "plaques" / "cut-plan.pdf"
    first = pdf.read_bytes()
    assert (tmp_path / "reports" / "plaques" / "cut-plan-1.svg").read_text(encoding="utf-8").startswith("<svg")
    assert run("cut", "plaques").stdout == done.stdout
    assert pdf.read_bytes() == first


def test_every_tile_comes_from_a_sheet_of_the_lot_that_the_bench_pack_names(
    run: Run, planned: Path, tmp_path: Path
) -> None:
    """Two lots on three sheets: half each; offcut first; price of what is cut into; JSON has the keys documented."""
    add(planned, SHEETS)
    done = run("cut", "plaques")
    said = " ".join(done.stdout.split())
    assert "Offcut of 62 × 210 mm, lot 2026-B: 8 tiles." in said
    assert "Cost: 15.27 EUR of metal cut into, of sheets that cost 25.50 EUR." in said
    assert "spread over batches and settings, so that none passes for an effect" in said
    printed = json.loads(run("cut", "plaques", "--json").stdout)
    study, plan = Studio(tmp_path).planned("plaques")
    stamped = {one["code"]: one for one in printed["stamps"] if one["code"]}
    assert {code for code, one in stamped.items() if not one["spare"]} == {tile.code for tile in plan.tiles}
    assert {code: one["lot"] for code, one in stamped.items() if one["batch"]} == lot_of_tiles(study, plan)
    by_sheet = {one["number"]: one["lot"] for one in printed["sheets"]}
    assert all(by_sheet[one["sheet"]] == one["lot"] for one in stamped.values())
    by_batch = {(one["batch"], one["lot"]) for one in stamped.values() if one["batch"]}
    assert len(by_batch) == 2 * len(plan.batches)
    section = (
        (DOCS / "reference" / "json.md").read_text(encoding="utf-8").split("\n## `tilestudy cut ")[1].split("\n## ")[0]
    )
    documented = {line.split("`")[1] for line in section.splitlines() if line.startswith("| `")}
    assert paths(printed) == documented
    assert printed["sheets"][0]["steps"][0].startswith("Cut right across, 205 mm from the left edge.")
    assert printed["stamps"][0]["strip"] == f"{COLUMNS[0]}1"


def test_tiles_that_are_made_need_no_metal(run: Run, planned: Path, tmp_path: Path) -> None:
    """They are left out and counted; with all of them made there is nothing to cut."""
    plan = Studio(tmp_path).planned("plaques")[1]
    run("made", "plaques", plan.tiles[0].code, "--on", "2026-01-05")
    done = run("cut", "plaques")
    assert "1 tile made already is left out." in done.stderr
    codes = done.stdout.replace("*", " ").split()
    assert plan.tiles[0].code not in codes
    assert plan.tiles[1].code in codes


@pytest.mark.parametrize(
    ("text", "says", "code"),
    [
        (
            '[[sheet]]\nsize = "100 x 100 mm"\n',
            "36 tiles of 25 × 50 mm are wanted, and its sheets hold 8. 4 more sheets",
            1,
        ),
        (
            '[[sheet]]\nsize = "300 x 600 mm"\n[[sheet]]\nsize = "60 x 60 mm"\nlot = "A"\n[[sheet]]\nsize = "9 x 9 mm"\nlot = "B"\n',
            "names no lot, and the study has lots A and B",
            2,
        ),
    ],
)
def test_what_cannot_be_cut_is_refused(
    run: Run, planned: Path, tmp_path: Path, text: str, says: str, code: int
) -> None:
    """With what to write or buy; nothing is printed."""
    add(planned, text)
    done = run("cut", "plaques")
    assert done.exit_code == code
    assert says in done.stderr
    assert not (tmp_path / "reports" / "plaques" / "cut-plan.pdf").exists()


def test_metal_for_the_tiles_but_not_for_every_spare_is_said(run: Run, planned: Path) -> None:
    """37 places for 36 tiles: one spare, with a word; a sheet too small for a tile is left out."""
    add(planned, '[[sheet]]\nsize = "925 x 50 mm"\n[[sheet]]\nsize = "20 x 20 mm"\n')
    done = run("cut", "plaques")
    assert done.exit_code == 0, done.output
    said = " ".join(done.stderr.split())
    assert "The sheets hold the tiles but only 1 of" in said
    assert "No tile of 25 × 50 mm fits on the sheet of 20 × 20 mm: left out." in said


def test_on_letter_paper_too(run: Run, planned: Path, tmp_path: Path) -> None:
    """The page is 279 mm high."""
    assert run("cut", "plaques", "--paper", "us-letter").exit_code == 0
    pdf = (tmp_path / "reports" / "plaques" / "cut-plan.pdf").read_bytes()
    assert float(PdfReader(BytesIO(pdf)).pages[0].mediabox.height) == pytest.approx(279.4 / 25.4 * 72, abs=0.5)
