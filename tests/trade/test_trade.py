"""The trade's data: whole, sourced, and the hazard rules trip and pass."""

import tomllib
from dataclasses import replace
from importlib.resources import files

import pytest

from tilestudy.colour.names import colour_named
from tilestudy.study.records import Metal, RubPlan, Study
from tilestudy.trade.hazards import hazards, unanswered
from tilestudy.trade.library import BUILT_IN
from tilestudy.trade.template import study_text

RULES = tomllib.loads(files("tilestudy.trade").joinpath("data/hazards.toml").read_text())["rule"]


def study_for(rule: dict[str, object], **changes: object) -> Study:
    """A study that meets every condition of a rule."""
    family = {"copper": "C11000", "brass": "C26000", "bronze": "C51000", "unknown": "C99999", "nickel silver": "C75200"}
    uns = family[rule["families"][0]] if "families" in rule else "C26000" if "not_families" in rule else "C11000"  # type: ignore[index]
    study = Study(
        "s",
        "",
        rule.get("processes", ["other"])[0],  # type: ignore[attr-defined, index]
        (),
        metal=Metal(uns),
        rub=RubPlan("cloth-10", tuple(rule.get("conditions", ["dry"]))),  # type: ignore[call-overload]
        bench={str(rule["answer"]): "yes"} if "answer" in rule else {},
    )
    return replace(study, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: str(rule["id"]))
def test_each_rule_trips_when_its_conditions_hold_and_passes_when_they_do_not(rule: dict[str, object]) -> None:
    """One study that trips it, one that does not."""
    assert rule["id"] in {one.id for one in hazards(study_for(rule), BUILT_IN)}
    if "answer" in rule:
        safe = study_for(rule, bench={str(rule["answer"]): "no"})
    elif "families" in rule or "not_families" in rule:
        safe = study_for(rule, metal=Metal("C11000"))
    elif "conditions" in rule:
        safe = study_for(rule, rub=RubPlan("cloth-10", ("dry",)))
    else:
        safe = study_for(rule, process="other")
    assert rule["id"] not in {one.id for one in hazards(safe, BUILT_IN)}


def test_blocking_hazards_come_first() -> None:
    """What stops the pack is read first."""
    brass = Study("s", "", "high-heat", (), metal=Metal("C26000"), bench={"soldered_pieces": "yes"})
    levels = [one.level for one in hazards(brass, BUILT_IN)]
    assert levels == sorted(levels)
    assert levels[0] == "block"


@pytest.mark.parametrize("process_id", BUILT_IN.process_ids)
def test_each_process_file_is_whole(process_id: str) -> None:
    """Every process names its source, its steps, protection, cautions with sources, and a target colour that exists."""
    data = BUILT_IN.process(process_id).data
    assert data["source"]
    for table in ("step", "protection", "caution", "ask"):
        assert data[table], table
    assert all(one["safe"] for one in data["ask"])
    assert all(one["source"] for one in data["caution"])
    assert data["target"] == "as dark as possible" or colour_named(data["target"])
    rules = {str(rule.get("answer")) for rule in RULES}
    assert all(one["key"] in rules for one in data["ask"])


def test_nothing_tells_anybody_to_pour_anything_away() -> None:
    """Disposal is a matter of local rules."""
    for process_id in BUILT_IN.process_ids:
        text = files("tilestudy.trade").joinpath(f"data/processes/{process_id}.toml").read_text().casefold()
        assert not any(word in text for word in ("drain", "pour away", "pour it away", "sink it", "flush"))


def test_questions_stay_open_until_answered() -> None:
    """An unanswered hazard question is neither yes nor no."""
    dip = Study("s", "", "sulfide-dip", ())
    assert [one.key for one in unanswered(dip, BUILT_IN)] == ["acid_at_the_same_place", "extraction_missing"]
    safe = {"acid_at_the_same_place": "no", "extraction_missing": "no"}
    assert unanswered(replace(dip, bench=safe), BUILT_IN) == []


@pytest.mark.parametrize("process_id", BUILT_IN.process_ids)
def test_the_first_study_file_reads_as_english_and_has_the_process_s_minutes(process_id: str) -> None:
    """Batches, not batchs."""
    one = BUILT_IN.process(process_id)
    text = study_text("trial", BUILT_IN, process_id, "C11000")
    assert f"minutes = {one.session_minutes:g} " in text
    assert "batchs" not in text
    assert "degC is" not in text


def test_a_wet_rub_has_steps_of_its_own() -> None:
    """Wetting, wringing, drying; the place of each rub only where both are asked for."""
    for protocol in BUILT_IN.protocols.values():
        wet = " ".join(protocol.lines("wet", ("wet",)))
        assert "wring it out" in wet
        assert "before grading" in wet
        assert "half of the tile" not in wet
        assert "second" in protocol.lines("wet", ("dry", "wet"))[0]
        assert "first" in protocol.lines("dry", ("dry", "wet"))[0]


def test_printed_temperatures_stand_in_both_scales() -> None:
    """What people read has °C and °F; degC is a unit to type."""
    zinc = next(
        one
        for one in hazards(Study("s", "", "low-heat", (), metal=Metal("C26000")), BUILT_IN)
        if one.id == "brass-zinc"
    )
    assert "907 °C, 1665 °F" in zinc.says
    assert zinc.title == "Zinc fume"
    assert not any("degC" in str(rule["says"]) for rule in RULES)
