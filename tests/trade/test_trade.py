"""The trade's data: whole and sourced."""

import tomllib
from importlib.resources import files

import pytest

from tilestudy.colour.names import colour_named
from tilestudy.trade.library import BUILT_IN
from tilestudy.trade.template import study_text

RULES = tomllib.loads(files("tilestudy.trade").joinpath("data/hazards.toml").read_text())["rule"]


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
