"""`appraise`: what it tells of a stored plan and of one only tried; noise from finished studies."""

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tilestudy.cli.demo import walk_through
from tilestudy.cli.remake import DEMO_DAY
from tilestudy.studio import Studio
from tilestudy.study.units import plain_number


def test_it_appraises_the_stored_plan_and_stores_nothing(run: Run, planned: Path) -> None:
    """Headings, the table of other plans, a chart; the plan stays."""
    before = run("plan", "plaques", "--json").stdout
    told = run("appraise", "plaques").stdout
    for heading in ("What each factor would show", "If something goes wrong", "Other plans"):
        assert f"{heading}\n" in told
    assert "<- this plan" in told
    assert "<- cheapest enough" in told
    assert (planned.parents[1] / "reports" / "plaques" / "prediction-error.svg").exists()
    assert run("plan", "plaques", "--json").stdout == before


def test_the_cheapest_plan_that_is_enough_is_had_by_the_lines_told(run: Run, planned: Path) -> None:
    """Tried with the options, then written into the study file and planned: the same tiles see the same."""
    listed = json.loads(run("appraise", "plaques", "--json").stdout)["alternatives"]
    (best,) = (one for one in listed if one["cheapest"])
    options = [f"--{key}={best[key]}" for key in ("tiles", "batches", "sessions")]
    tried = run("appraise", "plaques", "--json", *options)
    assert "only tried" not in tried.stdout
    assert {f["factor"]: f["smallest"] for f in json.loads(tried.stdout)["factors"]} == {
        f["factor"]: f["smallest"] for f in best["smallest"]
    }
    file = planned / "study.toml"
    lines = [line for line in file.read_text().splitlines() if not line.startswith(("tiles =", "batches", "sessions"))]
    where = next(i for i, line in enumerate(lines) if line.startswith("[limits]"))
    lines[where + 1 : where + 1] = [f"{key} = {best[key]}" for key in ("tiles", "batches", "sessions", "batches_each")]
    file.write_text("\n".join(lines))
    assert run("plan", "plaques", "--seed", "7").exit_code == 0
    stored = json.loads(run("appraise", "plaques", "--json").stdout)
    assert stored["counts"] == {key: best[key] for key in ("tiles", "batches", "sessions")}
    assert [f["smallest"] for f in stored["factors"]] == [f["smallest"] for f in best["smallest"]]


def test_noise_comes_from_finished_studies_of_the_process_unless_it_is_stated(tmp_path: Path) -> None:
    """A new study is planned with what the demo's tiles measured, and says so; figures of its own come first."""
    walk_through(tmp_path, DEMO_DAY)
    studio = Studio(tmp_path)
    studio.new("drawer-pulls", "sulfide-dip", "C26000")
    full = studio.appraise("drawer-pulls")
    variance = studio.drivers("plaques").responses["L"].variance
    noise = full.appraisal.noise
    assert noise.learned_from == ("plaques",)
    assert (noise.batch**2, noise.tile**2) == pytest.approx((variance["batch"], variance["tile"]))
    assert (
        studio.plan("drawer-pulls", 1)
        .sentences[5]
        .startswith(
            f"Measured in plaques: baths made alike differ by about {plain_number(noise.batch, 2)} L* in lightness"
        )
    )
    studio.new("handles", "low-heat", "C26000")
    assert studio.appraise("handles").appraisal.noise.learned_from == ()
    file = tmp_path / "experiments" / "drawer-pulls" / "study.toml"
    file.write_text(file.read_text(encoding="utf-8").replace("tile_sd = 3", "tile_sd = 2"), encoding="utf-8")
    stated = studio.appraise("drawer-pulls").appraisal.noise
    assert (stated.batch, stated.tile, stated.learned_from) == (3.0, 2.0, ())


def test_a_plan_is_tried_before_there_is_one(run: Run) -> None:
    """Without a stored plan, the one that would be made."""
    run("new", "plaques", "--process", "sulfide-dip", "--metal", "C11000")
    tried = run("appraise", "plaques", "--tiles", "18", "--no-chart")
    assert 'This plan is only tried, nothing is stored; "tilestudy plan plaques" makes one.' in tried.output
    assert "18 tiles in" in tried.output
