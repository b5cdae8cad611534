"""The bench pack's content, from each process's own data: safe statements, words that fit the process, blanks, sheets."""

from __future__ import annotations

import re
from dataclasses import astuple, replace
from datetime import date
from functools import cache
from io import BytesIO

import pytest
from pypdf import PdfReader

from tilestudy.colour.names import colour_named
from tilestudy.design.appraise import Noise
from tilestudy.design.layout import Clock, lay_out
from tilestudy.design.sessions.build import timetable
from tilestudy.paper.content import PAPERS
from tilestudy.paper.pack_content import BenchPack
from tilestudy.paper.pack_from_plan import bench_pack_content
from tilestudy.paper.typeset import bench_pack
from tilestudy.study.at_hand import AtHand
from tilestudy.study.file import read_study
from tilestudy.study.records import Plan, Response, RubPlan, Study
from tilestudy.study.workplace import Room, SignOff, Workplace
from tilestudy.trade.amounts import mixing
from tilestudy.trade.hazards.report import report
from tilestudy.trade.library import BUILT_IN
from tilestudy.trade.template import study_text

WET_BENCH = re.compile(
    r"wet paper|\bjars?\b|\bbaths?\b|rinse water|\bacid\b|sulfide|splash|cloud|discard", re.IGNORECASE
)


@cache
def default_study(process_id: str, uns: str = "C11000") -> Study:
    """The study that `new` writes for a process."""
    return read_study(
        study_text("trial", BUILT_IN, process_id, uns),
        "study.toml",
        "trial",
        processes=BUILT_IN.process_ids,
        protocols=list(BUILT_IN.protocols),
        colour_named=colour_named,
        thickness_of=BUILT_IN.thickness_mm,
        questions_of=lambda one: [ask["key"] for ask in BUILT_IN.process(one).data["ask"]],
        density_of=lambda one: BUILT_IN.process(one).density_g_per_ml,
    )


def clock_of(study: Study) -> Clock:
    one = BUILT_IN.process(study.process)
    return Clock(**one.minutes, heats=one.heat and not one.wet)


def plan_of(study: Study) -> Plan:
    return lay_out(study, clock_of(study), 3)


def content_of(study: Study, plan: Plan | None = None, session: int = 1) -> BenchPack:
    one, plan = BUILT_IN.process(study.process), plan or plan_of(study)
    clock, noise = clock_of(study), Noise(3.0, 3.0, "L*", "lightness")
    return bench_pack_content(
        study,
        plan,
        session,
        BUILT_IN,
        mixing=mixing(study, plan, BUILT_IN, AtHand()).session(session),
        check=report(study, BUILT_IN),
        times=timetable(study, plan, clock, noise, word=one.batch_word).session(session),
        hands=1,
        word=one.batch_word,
        can_tell=(),
        spares=(),
        spare_lots={},
        studio="",
        printed=date(2026, 3, 7),
        carries=str,
    )


def texts(content: BenchPack) -> str:
    """Every value of the content, without the names of its fields."""
    return repr(astuple(content))


@pytest.mark.parametrize("process_id", BUILT_IN.process_ids)
def test_a_default_plan_has_whole_replicates_in_each_session(process_id: str) -> None:
    """The default minutes of a process let a session hold each per-batch setting equally often."""
    study = default_study(process_id)
    plan = plan_of(study)
    kinds = {tuple(batch.settings.items()) for batch in plan.batches}
    for session in {batch.session for batch in plan.batches}:
        here = [tuple(batch.settings.items()) for batch in plan.batches if batch.session == session]
        assert {here.count(kind) for kind in kinds} == {len(here) // len(kinds)}


@pytest.mark.parametrize("process_id", BUILT_IN.process_ids)
def test_what_is_ticked_is_safe_when_true(process_id: str) -> None:
    """No box asks a question: each is a statement that holds when the answer to its question is a safe no."""
    content = content_of(default_study(process_id))
    asked = BUILT_IN.process(process_id).data["ask"]
    assert content.to_confirm == tuple(ask["safe"] for ask in asked)
    for ask in asked:
        assert ask["safe"].endswith(".")
        assert "?" not in ask["safe"]
        assert re.search(r"^No |\bnever\b|\bworks\b|\bnone\b|\bnothing\b", ask["safe"])


def test_an_answered_question_is_not_to_be_ticked_again() -> None:
    """Only what nobody has answered yet is left to confirm."""
    study = replace(default_study("sulfide-dip"), bench={"extraction_missing": "no"})
    assert len(content_of(study).to_confirm) == 1


@pytest.mark.parametrize("process_id", ["low-heat", "high-heat"])
def test_an_oven_pack_has_no_wet_bench_words(process_id: str) -> None:
    """Cards, checklists and notes of a load speak of loads."""
    content = content_of(default_study(process_id))
    assert not WET_BENCH.search(texts(content))
    label = content.session.batches[0].label
    assert (content.mixing.heading, label.out) == ("Set it up", "Between loads")
    assert content.mixing.went_in == ""
    assert sum("°C / °F" in blank for blank in label.blanks) == 2
    if process_id == "low-heat":
        assert content.waste == ""
    printed = "".join(page.extract_text() for page in PdfReader(BytesIO(bench_pack(content))).pages)
    assert not WET_BENCH.search(printed)


def test_a_bath_label_has_a_blank_for_the_strength_as_it_was() -> None:
    """The form of batches asks for actual_strength, so the label has room for it."""
    label = content_of(default_study("sulfide-dip")).session.batches[0].label
    assert "actual strength, g/L" in label.blanks


def test_each_caution_is_given_once() -> None:
    """Zinc, wet rubs and bare patina are told once each; a temperature stands in both scales."""
    study = replace(default_study("low-heat", "C26000"), rub=RubPlan("cloth-10", ("dry", "wet")))
    told = [f"{one.title} {one.text}" for one in content_of(study).cautions]
    for word in ("zinc boils", "wet rub test", "not for food"):
        assert sum(word in one for one in told) == 1
    assert any("907 °C, 1665 °F" in one for one in told)
    assert len({one.title for one in content_of(study).cautions}) == len(told)
    assert "degC" not in texts(content_of(study))


@pytest.mark.parametrize(
    ("changes", "forms"),
    [
        ({}, "(made.csv, batches.csv, colour.csv, rub.csv)"),
        ({"target": None, "rub": None}, "(made.csv, batches.csv)"),
        ({"target": None, "responses": (Response("gloss", "GU"),)}, "(made.csv, batches.csv, values.csv, rub.csv)"),
    ],
)
def test_just_the_forms_of_the_study_are_named(changes: dict[str, object], forms: str) -> None:
    """What does not exist is not to be typed into."""
    assert forms in content_of(replace(default_study("sulfide-dip"), **changes)).back  # type: ignore[arg-type]


def test_sheets_for_colour_and_values_show_codes_in_random_order() -> None:
    """Every tile once, in another order than made, no settings; L*, a*, b* per spot, and the value with its unit."""
    study = replace(
        default_study("sulfide-dip"), responses=(Response("gloss", "GU"), Response("mass", "g", after_days=1))
    )
    plan = plan_of(study)
    colour, mass, gloss = content_of(study, plan).measure_sheets
    made = [tile.code for tile in plan.tiles if tile.session == 1]
    for sheet in (colour, mass, gloss):
        assert sorted(sheet.tiles) == sorted(made)
        assert list(sheet.tiles) != made
    assert colour.groups[0] == ("spot 1", ("L*", "a*", "b*"))
    assert gloss.groups == (("", ("gloss, GU",)),)
    assert mass.groups == (("", ("mass, g",)),)
    pages = [page.extract_text() for page in PdfReader(BytesIO(bench_pack(content_of(study, plan)))).pages]
    measuring = [
        text for text in pages if "colour readings" in text.splitlines()[0] or "values" in text.splitlines()[0]
    ]
    assert len(measuring) >= 3
    assert not any(re.search(r"dip time|scrub|strength|g/L|\bB[1-6]\b", text) for text in measuring)


def test_dry_and_wet_rubs_say_how_where_and_which_first() -> None:
    """The wet sheet wets the cloth; with both, each sheet names its half of the tile and its turn."""
    both = replace(default_study("sulfide-dip"), rub=RubPlan("cloth-10", ("dry", "wet")))
    dry, wet = (" ".join(sheet.steps) for sheet in content_of(both).rub_sheets)
    assert "comes first" in dry
    assert "upper half" in dry
    assert "comes second" in wet
    assert "lower half" in wet
    assert "wring it out" in wet
    assert "Wet" not in content_of(default_study("sulfide-dip")).rub_sheets[0].steps[0]
    assert "half of the tile" not in " ".join(content_of(default_study("sulfide-dip")).rub_sheets[0].steps)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("process_id", BUILT_IN.process_ids)
def test_labels_stand_two_or_three_on_a_page(process_id: str, paper: str) -> None:
    """Also the fullest label, also on the shorter paper."""
    content = content_of(default_study(process_id))
    pages = [page.extract_text() for page in PdfReader(BytesIO(bench_pack(content, paper))).pages]  # type: ignore[arg-type]
    labels = [text.count("Tiles passed") for text in pages if "Tiles passed" in text]
    assert set(labels[:-1]) <= {2, 3}


def test_rub_sheets_of_two_dozen_tiles_fit_a_page() -> None:
    """Rows are set closer before one of them goes to a page of its own."""
    study = replace(default_study("low-heat"), rub=RubPlan("cloth-10", ("dry", "wet")))
    pages = [page.extract_text() for page in PdfReader(BytesIO(bench_pack(content_of(study), "us-letter"))).pages]
    assert sum("· rub test, wet" in text for text in pages) == 2  # the score sheet and the cloth squares


def test_a_hazard_that_somebody_signed_off_is_printed_with_initials_and_reason() -> None:
    """A bath without extraction, outdoors: whoever answers for it stands on the safety page."""
    study = default_study("sulfide-dip")
    signed = SignOff("no-extraction", "AB", "outdoors, wind from behind, nobody else near")
    outdoors = replace(study, workplace=Workplace(Room(extraction=False), signed=(signed,)))
    (line,) = content_of(outdoors).signed
    assert "AB" in line
    assert "wind from behind" in line
    printed = " ".join(page.extract_text() for page in PdfReader(BytesIO(bench_pack(content_of(outdoors)))).pages)
    assert "wind from behind" in " ".join(printed.split())
