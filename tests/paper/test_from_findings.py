"""The handout's content: settings as they occur in the plan, no passing tile, own and published processes, captions."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import get_args

import pytest

from tilestudy.analysis.find import find
from tilestudy.analysis.findings import Verdict
from tilestudy.analysis.study_findings import StudyFindings
from tilestudy.paper.content import Handout
from tilestudy.paper.from_findings import (
    PAIR_CAPTIONS,
    handout_content,
    interaction_chart,
    main_effects_chart,
)
from tilestudy.paper.typeset import handout
from tilestudy.study.records import (
    Batch,
    Factor,
    Metal,
    Plan,
    Reading,
    Response,
    Rub,
    RubPlan,
    Setting,
    Study,
    Target,
    Tile,
    Value,
)
from tilestudy.trade.library import BUILT_IN

DAY = date(2026, 3, 7)
STRENGTH = Factor("strength", (1.0, 3.0, 9.0), "g/L", "g/L", "geometric", "batch", "weighed")
DIP = Factor("dip_time", (10.0, 30.0, 90.0), "s", "s", "geometric")
FINISH = Factor("finish", ("brushed", "sanded"), spacing="steps")
STUDY = Study(
    "plaques",
    "Which?",
    "sulfide-dip",
    (STRENGTH, DIP, FINISH),
    metal=Metal("C11000", "20 ga", 0.81, "A"),
    target=Target("as dark as possible"),
    rub=RubPlan("cloth-10"),
    batch_litres=0.5,
)


def plan_of(taken_in: bool = False) -> Plan:
    """Six baths, two at each strength, each with the whole grid of dip and finish."""
    batches = tuple(Batch(f"B{n}", 1, n, {"strength": s}) for n, s in enumerate((9.0, 1.0, 3.0, 1.0, 3.0, 9.0), 1))
    tiles = []
    for batch in batches:
        grid: list[dict[str, Setting]] = [
            {"dip_time": d, "finish": f} for d in (90.0, 10.0, 30.0) for f in FINISH.levels
        ]
        tiles += [
            Tile(f"{batch.code}-{n}", batch.code, 1, n, {**batch.settings, **settings})
            for n, settings in enumerate(grid, 1)
        ]
    return Plan("plaques", 1, batches, tuple(tiles), taken_in)


PLAN = plan_of()


def invented(study: Study, plan: Plan, grade: float = 4.5) -> tuple[list[Reading], list[Value], list[Rub]]:
    """Invented readings: darker with strength and dip, a little luck by place."""
    readings, values, rubs = [], [], []
    for n, tile in enumerate(plan.tiles):
        lightness = 50 - 2 * float(tile.settings["strength"]) - 0.1 * float(tile.settings["dip_time"]) + (n * 7 % 5)
        readings.append(Reading(tile.code, study.stage, DAY, lightness, 5.0 + n % 3, 6.0 + n % 2))
        values += [Value(tile.code, one.name, DAY, lightness + n % 4) for one in study.responses]
        rubs.append(Rub(tile.code, "KL", DAY, grade - 0.5 * (n % 2), protocol="cloth-10"))
    return readings, values, rubs


def found_in(study: Study, plan: Plan = PLAN, grade: float = 4.5) -> StudyFindings:
    readings, values, rubs = invented(study, plan, grade)
    asked = (readings if study.target else [], values, rubs if study.rub else [])
    return find(study, plan, "bath", [], [], *asked)


def content_of(found: StudyFindings) -> Handout:
    return handout_content(found, BUILT_IN, [], [], studio="", printed=DAY, made_on=[DAY])


def test_a_plan_whose_settings_are_no_longer_levels_of_the_study_is_printed() -> None:
    """An old sample board stays in order after the levels were changed: by the settings that its tiles have."""
    changed = replace(
        STUDY,
        factors=(
            replace(STRENGTH, levels=(2.0, 4.0, 8.0)),
            replace(DIP, levels=(10.0, 20.0), spacing="steps"),
            replace(FINISH, levels=("sanded", "polished")),
        ),
    )
    content = content_of(found_in(changed))
    assert content.board is not None
    assert [row.title for row in content.board.rows] == [
        "Strength 1 g/L (baths B2, B4)",
        "Strength 3 g/L (baths B3, B5)",
        "Strength 9 g/L (baths B1, B6)",
    ]
    first = [swatch.settings for swatch in content.board.rows[0].swatches[::2]]
    assert first == [(d, f) for d in ("10 s", "30 s", "90 s") for f in ("sanded", "brushed")]
    assert "1, 3 and 9 g/L, set per bath" in [fact.value for fact in content.done]
    chart = main_effects_chart(found_in(changed), "L")
    assert chart is not None
    places = {point.at for panel in chart.panels if panel.label == "finish" for point in panel.points}
    assert places == {0.0, 1.0}
    assert handout(content)


def test_without_a_passing_tile_it_still_says_how_the_tiles_were_made() -> None:
    """Steps and the amounts of every kind of bath are there, under a heading of their own."""
    content = content_of(found_in(STUDY, grade=2.0))
    assert content.best is not None
    assert content.best.tile is None
    assert content.repeat_heading == "How these tiles were made"
    assert [fact.label for fact in content.mixing] == ["Baths B2, B4", "Baths B3, B5", "Baths B1, B6"]
    assert [fact.value.split(": ")[1].split(",")[0] for fact in content.mixing] == ["0.5 g", "1.5 g", "4.5 g"]
    assert any(step.startswith("Dip and scrub") for step in content.repeat)
    best = content_of(found_in(STUDY))
    assert best.repeat_heading == "How to repeat it"
    assert [fact.label for fact in best.mixing] == ["One bath"]


def test_an_own_process_has_its_cautions_and_published_data_do_not() -> None:
    """Tiles made by a recipe of one's own are guarded from like any; figures out of a book have nothing to make."""
    own = replace(STUDY, process="other")
    content = content_of(found_in(own))
    assert content.cautions
    assert content.protection
    assert content.first_aid
    assert any("recipe" in step for step in content.repeat)
    assert "Own process (no data held on it)" in [fact.value for fact in content.done]
    assert "not a studio process" not in repr(content)
    published = content_of(found_in(replace(own, source="A book (1935), Table 1"), plan_of(taken_in=True)))
    assert (published.cautions, published.protection, published.first_aid, published.repeat) == ((), (), "", ())
    assert "A book (1935), Table 1" in [fact.value for fact in published.done]
    taken_in = content_of(found_in(STUDY, plan_of(taken_in=True)))  # one's own older tiles
    assert taken_in.cautions


def test_values_on_the_board_have_their_units() -> None:
    """A short unit stands beside each number, a long one once above the board."""
    study = replace(
        STUDY, target=None, rub=None, responses=(Response("gloss", "GU"), Response("wear", "mg per hundred"))
    )
    board = content_of(found_in(study)).board
    assert board is not None
    assert "GU" in board.rows[0].swatches[0].note
    assert "mg per" not in board.rows[0].swatches[0].note
    assert board.caption == "Wear in mg per hundred."


@pytest.mark.parametrize("verdict", [*get_args(Verdict), "not settled"])
def test_a_caption_claims_no_more_than_its_verdict(verdict: str) -> None:
    """Each verdict on a pair has words of its own; only a clear one speaks without "may"."""
    assert verdict in PAIR_CAPTIONS
    found = found_in(STUDY)
    grid = found.responses["L"].strongest_interaction
    assert grid is not None
    assert grid.finding is not None
    one = replace(
        found.responses["L"], strongest_interaction=replace(grid, finding=replace(grid.finding, verdict=verdict))
    )
    chart = interaction_chart(replace(found, responses={"L": one}), "L")
    assert chart is not None
    assert chart.caption.startswith(PAIR_CAPTIONS[verdict])


def test_captions_say_what_the_bars_are() -> None:
    """And do not speak of bars that are not drawn, or of colours that were not read."""
    chart = main_effects_chart(found_in(STUDY), "L")
    assert chart is not None
    assert "difference from the average" in chart.caption
    assert "own colour" in chart.caption
    bare = found_in(replace(STUDY, target=None, rub=None, responses=(Response("gloss", "GU"),)))
    means = {
        name: tuple(replace(mean, low=None, high=None) for mean in levels)
        for name, levels in bare.responses["gloss"].main_effects.items()
    }
    chart = main_effects_chart(
        replace(bare, responses={"gloss": replace(bare.responses["gloss"], main_effects=means)}), "gloss"
    )
    assert chart is not None
    assert "Bars" not in chart.caption
    assert "colour" not in chart.caption


def test_grades_are_drawn_as_chances_to_pass() -> None:
    """From 0 to 100 %, tiles at the top that passed and at the bottom that did not; the caption says so."""
    chart = main_effects_chart(found_in(STUDY, grade=4.0), "rub_dry")
    assert chart is not None
    assert chart.response == "chance to pass the dry rub, %"
    assert chart.limits == (0.0, 100.0)
    assert {point.value for panel in chart.panels for point in panel.points} == {0.0, 100.0}
    assert all(0 <= level.mean <= 100 for panel in chart.panels for level in panel.levels)
    assert "at the top those that passed (median grade 4 or better), at the bottom the others." in chart.caption
