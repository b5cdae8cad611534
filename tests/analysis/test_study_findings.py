"""All responses of a study together: what it holds for, and plans that do not fit the study file."""

from datetime import date

import pytest

from tilestudy.analysis.find import find
from tilestudy.errors import NotEnoughError
from tilestudy.study.records import Batch, Factor, Made, Plan, Response, Study, Tile, Value

DIP = Factor("dip_time", (10.0, 30.0, 90.0), "s", "s", "geometric")
CYCLES = Factor("scrub_cycles", (1.0, 4.0))
SEAL = Factor("seal", ("none", "wax"), spacing="steps")
ON = date(2026, 1, 12)
GLOSS = (31.0, 24.0, 18.0, 30.0, 26.0, 17.5, 33.0, 25.0, 19.0, 30.5, 23.0, 18.5)


def study(factors=(DIP, CYCLES, SEAL), **more):
    return Study("plaques", "What?", "other", factors, responses=(Response("gloss", "GU"),), **more)


def plan(reference=()):
    tiles = tuple(
        Tile(f"T{i}", f"B{i // 6}", 1, i % 6 + 1,
             {"dip_time": (10.0, 30.0, 90.0)[i % 3], "scrub_cycles": 4.0, "seal": ("none", "wax")[i // 3 % 2]},
             reference=i in reference)
        for i in range(12)
    )  # fmt: skip
    return Plan("plaques", 1, (Batch("B0", 1, 1), Batch("B1", 1, 2)), tiles)


def gloss(values=GLOSS):
    return [Value(f"T{i}", "gloss", ON, value) for i, value in enumerate(values)]


def test_it_holds_for_the_settings_really_made():
    """33 and 8.8 s instead of the study file's levels; scrub cycles were 4 on every tile."""
    made = [Made("T1", ON, actual={"dip_time": 33.0}), Made("T0", ON, actual={"dip_time": 8.8})]
    found = find(study(), plan(), "bath", made, (), (), gloss(), ())
    assert found.unknown()[-1] == (
        "All of this holds for dip time 8.8 to 90 s and seal none and wax, at scrub cycles 4; nothing here speaks for other "
        "settings."
    )


def test_only_tiles_with_a_value_count_for_that():
    """The tile dipped 200 s was never measured."""
    found = find(study(), plan(), "bath", [Made("T11", ON, actual={"dip_time": 200.0})], (), (), gloss()[:11], ())
    assert found.unknown()[-1].startswith(
        "All of this holds for dip time 10 to 90 s and seal none and wax, at scrub cycles 4;"
    )


def test_a_factor_the_plan_knows_nothing_of_is_named():
    """The study file was changed after planning."""
    with pytest.raises(NotEnoughError) as caught:
        find(study((DIP, Factor("polish", (1.0, 2.0)))), plan(), "bath", (), (), (), gloss(), ())
    assert str(caught.value) == (
        "The study file has the factor polish, and the plan was made without it. Write the factors into the file as they "
        'were when the tiles were planned, or plan anew with "tilestudy plan plaques".'
    )


def test_a_factor_the_study_file_has_lost_is_left_alone():
    """Findings over what both know."""
    assert "gloss" in find(study((DIP,)), plan(), "bath", (), (), (), gloss(), ()).responses


def test_reference_tiles_of_the_plan_tell_of_drift():
    """Flag and run order come from the plan."""
    found = find(study(), plan((0, 3, 6, 9)), "bath", (), (), (), gloss(), ()).responses["gloss"]
    assert (found.drift.effect, found.drift.batches) == (pytest.approx((30.0 - 31.0 + 30.5 - 33.0) / 2), 2)


def test_the_table_refers_to_the_bend():
    """A factor that matters by its middle only."""
    middle = [5.0 * (i % 3 == 1) + 0.3 * (i % 5 - 2) for i in range(12)]
    table = find(study(), plan(), "bath", (), (), (), gloss(middle), ()).table()
    assert "not settled; see its bend" in table
    assert "0 to 0" not in find(study(), plan(), "bath", (), (), (), gloss([1e-12 * v for v in GLOSS]), ()).table()
