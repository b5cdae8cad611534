"""What falls due: by the days since a tile was made, until it is recorded."""

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from tilestudy.study.due import owed
from tilestudy.study.records import Factor, Made, Plan, Reading, Response, Rub, RubPlan, Study, Target, Tile

DAY = date(2026, 11, 2)
STUDY = Study(
    "pulls",
    "",
    "low-heat",
    (Factor("dwell", (60.0, 600.0), "s", "min"),),
    stage="fresh",
    stage_days=0,
    target=Target("brilliant blue", (70.0, -10.0, -25.0)),
    rub=RubPlan("cloth-10", ("dry", "wet"), wait_days=7),
    responses=(Response("gloss", "GU", after_days=3),),
)
PLAN = Plan(
    "pulls", 1, (), tuple(Tile(code, "B1", 1, n, {"dwell": 60.0}) for n, code in enumerate(("K7", "C4", "A3"), 1))
)


@given(st.integers(-5, 60))
def test_each_thing_falls_due_on_its_day(days: int) -> None:
    """Colour the same day, gloss after three days, both rubs after a week, whatever day one looks."""
    found = owed(STUDY, PLAN, [Made("K7", DAY)], [], [], [], DAY + timedelta(days=days))
    assert [(one.what, (one.on - DAY).days, one.late_days) for one in found] == [
        ("colour (fresh)", 0, days),
        ("gloss", 3, days - 3),
        ("rub (dry)", 7, days - 7),
        ("rub (wet)", 7, days - 7),
    ]


def test_what_is_recorded_spoiled_or_not_made_is_not_owed() -> None:
    """Only what is missing of tiles that exist; a reading of another stage does not count."""
    made = [Made("K7", DAY), Made("C4", DAY, spoiled=True)]
    readings = [Reading("K7", "fresh", DAY, 60, 5, 5), Reading("K7", "cured", DAY, 60, 5, 5)]
    rubs = [Rub("K7", "KL", DAY, 4.5, "wet")]
    assert [one.what for one in owed(STUDY, PLAN, made, readings, [], rubs, DAY)] == ["gloss", "rub (dry)"]
    other = [Reading("K7", "cured", DAY, 60, 5, 5)]
    assert "colour (fresh)" in [one.what for one in owed(STUDY, PLAN, made, other, [], rubs, DAY)]
