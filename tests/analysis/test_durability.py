"""Rub grades and strokes in sentences: chances to pass, ratios of strokes, and what is refused."""

import numpy as np
import pandas as pd
import pytest
from tests.analysis.strategies import CYCLES, DIP_TIME, FACTORS, STRENGTH, made_up, scored

from tilestudy.analysis.findings import grade_spec, strokes_spec
from tilestudy.analysis.frames import strokes_frame
from tilestudy.analysis.wear.durability import analyse_grades
from tilestudy.analysis.wear.strokes import analyse_strokes
from tilestudy.errors import NotEnoughError
from tilestudy.study.records import Factor, Rub
from tilestudy.study.units import show

DRY = grade_spec("dry", passing=4.0)


def told(frame, factors=FACTORS, spec=DRY):
    return analyse_grades(frame, factors, spec, show=show, batch_word="bath")


@pytest.fixture(scope="module")
def found():
    return told(scored(made_up(seed=4, strength=-14.0)), spec=grade_spec("dry", passing=3.5))


def test_it_tells_what_passes_and_how_the_chance_changes(found):
    """What a chance is, what drives it with its range, the count beside it, and where tiles do best."""
    assert found.sentences[:4] == (
        "A tile passes with a dry rub grade of 3.5 or better. Chances are those of one new tile from a new bath, judged by a "
        "scorer of average strictness; 1 point is 1 tile in 100.",
        "From 1 to 9 g/L the chance to pass falls from 98 % to 21 % (by 37 to 98 points): strength drives it.",
        "The range in brackets would contain the true change in 95 of 100 such studies.",
        "Tiles that pass (median grade 3.5 or better): 12 of 12 at 1 g/L, 12 of 12 at 3 g/L and 2 of 12 at 9 g/L.",
    )
    best = next(sentence for sentence in found.sentences if sentence.startswith("Of the settings made"))
    assert best.startswith("Of the settings made, tiles do best at 1 g/L, 10 s and ")
    assert best.endswith(" of them would score 3.5 or better (99 % or more).")


def test_effects_are_points_and_levels_percent(found):
    """The change of a main effect is the difference of its ends; a prediction lies within 0 and 100."""
    strength, levels = found.term("strength"), found.main_effects["strength"]
    assert strength.unit == "points"
    assert strength.effect == pytest.approx(levels[-1].value - levels[0].value)
    assert found.predict({"strength": 9.0}).value == pytest.approx(levels[-1].value)
    corner = found.predict({"strength": 1.0, "dip_time": 10.0, "scrub_cycles": 4.0})
    assert 0.0 <= corner.low < corner.value < corner.high <= 100.0
    assert set(found.variance) == {"batch", "tile", "scorer"}
    assert (found.fit, found.chances.grade) == (None, 3.5)


def test_no_caution_speaks_of_grades_as_lengths(found):
    """They are no longer taken for lengths."""
    assert not any("ranks" in caution for caution in found.cautions)


@pytest.mark.parametrize(
    ("grade", "why"),
    [
        (5.0, ": 5 is the top of the scale, where differences hide. A harder rub, or more strokes, may show them."),
        (1.0, ": 1 is the bottom of the scale, where differences hide. A gentler rub may show them."),
        (4.5, ". A harder or gentler rub may show differences."),
    ],
)
def test_equal_grades_are_said_to_be_equal(grade, why):
    """No test, an honest sentence, the count that passes; and still a chance to reckon with."""
    stuck = told(scored(made_up()).assign(y=grade))
    passed = 36 if grade >= 4 else 0
    assert stuck.sentences == (
        f"All 36 tiles are graded {grade:g}, so these grades cannot tell whether any factor matters{why}",
        f"Altogether {passed} of 36 tiles pass (median grade 4 or better).",
    )
    assert {(t.p, t.verdict, t.why) for t in stuck.terms} == {(None, "cannot tell", "every value is the same")}
    chance = stuck.predict({"strength": 9.0})
    assert chance.low is None
    assert chance.value > 80 if grade >= 4 else chance.value < 20


def test_one_bath_for_each_strength_gets_no_verdict():
    """Nor a range of what is predicted."""
    frame = scored(made_up(seed=4, baths_each=1, strength=-14.0))
    alone = told(frame)
    assert alone.term("strength").verdict == "cannot tell"
    assert "make a second freshly made bath at each strength" in alone.term("strength").why
    assert alone.predict({"strength": 3.0}).low is None


@pytest.mark.parametrize(
    "frame",
    [
        scored(made_up(seed=4), scorers=1),
        scored(made_up(seed=4), scorers=1).iloc[::5].head(7),
        scored(made_up(seed=4)).loc[lambda f: f["batch"] != "B01"],
        scored(made_up(seed=4, baths_each=1)).loc[lambda f: f["strength"] == 3.0],
        scored(made_up(seed=4)).assign(scrub_cycles=4.0),
        scored(made_up(seed=4)).assign(y=lambda f: np.where(f["dip_time"] > 20, 2.0, 5.0)),
    ],
    ids=["one scorer", "7 tiles", "a spoiled bath", "one bath", "a factor constant", "separated"],
)
def test_small_and_odd_studies_get_honest_answers(frame):
    """No traceback, no NaN, a sentence at least."""
    one = told(frame)
    assert one.sentences
    assert "nan" not in str(one.as_dict()).casefold()


def test_one_tile_is_refused():
    """It takes several to compare."""
    with pytest.raises(NotEnoughError, match="Only one tile"):
        told(scored(made_up()).query("tile == 'T00'"))


def test_reference_tiles_show_whether_baths_drift():
    """Graded lower and lower within each bath: told in points, from the first reference tile to the last."""
    rows = []
    for bath in range(4):
        for order, place in enumerate((0, None, None, 1, None, None, 2)):
            base = 4.5 - 1.0 * place if place is not None else (4.5, 3.0, 4.0, 2.5)[order % 4]
            rows.append(
                {"tile": f"{bath}{order}", "batch": bath, "session": 1, "order": order, "scorer": "kw",
                 "reference": place is not None, "dip_time": 30.0 if place is not None else (10.0, 90.0)[order % 2], "y": base}
            )  # fmt: skip
    drift = told(pd.DataFrame(rows), [DIP_TIME]).drift
    assert drift.verdict == "drifts"
    assert drift.high < -20


# --- strokes ----------------------------------------------------------------------------------------------------------


def rubbed(cap, seed=4, cycles=1.0):
    """Strokes to bare metal of 36 tiles, given up after `cap`; every doubling of cycles stands 2^cycles as long."""
    tiles = made_up(seed=seed)
    rng = np.random.default_rng(seed)
    stands = 6.0 * (tiles["scrub_cycles"] / 2.0) ** cycles * rng.weibull(3.0, len(tiles))
    return tiles.assign(y=np.minimum(np.ceil(stands), cap), came=stands <= cap)


def strokes(frame):
    return analyse_strokes(frame, FACTORS, strokes_spec("dry"), show=show, batch_word="bath")


def test_strokes_are_told_as_ratios_whether_or_not_all_broke_through():
    """Four times the cycles stand four times as long; what stood all 10 strokes counts as "not yet"."""
    for cap in (100, 10):
        one = strokes(rubbed(cap))
        cycles = one.term("scrub_cycles")
        assert cycles.verdict == "drives"
        assert 2.5 < cycles.low < 4.0 < cycles.high < 8.0
        assert cycles.low < cycles.effect < cycles.high
    came = int(rubbed(10)["came"].sum())
    assert one.sentences[0] == f"Bare metal came on {came} of 36 tiles; the others stood 10 strokes without it."
    assert one.sentences[1].startswith("From 1 to 4 scrub cycles a tile stands ")
    assert one.sentences[1].endswith("): scrub cycles drive it.")


def test_doublings_multiply():
    """The square root of what four times the strength does; per doubling of a geometric factor."""
    tiles = rubbed(50)
    tiles["y"] = np.ceil(tiles["y"] * 3.0 / tiles["strength"]).clip(1)
    one = strokes(tiles).term("strength")
    assert one.per_doubling.value == pytest.approx(one.effect ** (1 / np.log2(9)))


def test_strokes_without_bare_metal_are_said_to_tell_nothing():
    """And so are one or two tiles, and all at the same stroke."""
    with pytest.raises(
        NotEnoughError, match=r"^No tile broke through within 10 strokes .* rub on until bare metal shows\.$"
    ):
        strokes(made_up().assign(y=10.0, came=False))
    with pytest.raises(NotEnoughError, match=r"^2 tiles of 36 broke through"):
        strokes(made_up().assign(y=10.0, came=np.arange(36) < 2))
    with pytest.raises(NotEnoughError, match="Bare metal came at stroke 3 on all 36 tiles"):
        strokes(made_up().assign(y=3.0, came=True))


def test_a_count_without_a_note_is_taken_as_the_strokes_to_bare_metal():
    """False alone means that bare metal never came; dry and wet, and rounds, are kept apart."""
    from datetime import date

    day = date(2026, 11, 24)
    rubs = [
        Rub("T00", "kw", day, 3.0, strokes=7),
        Rub("T01", "kw", day, 3.0, strokes=10, broke_through=False),
        Rub("T02", "kw", day, 3.0, strokes=4, broke_through=True),
        Rub("T03", "kw", day, 3.0),
        Rub("T00", "kw", day, 3.0, condition="wet", strokes=2),
    ]
    frame = strokes_frame(made_up().drop(columns="y"), rubs, "dry")
    assert list(zip(frame["tile"], frame["y"], frame["came"], strict=True)) == [
        ("T00", 7, True), ("T01", 10, False), ("T02", 4, True),
    ]  # fmt: skip


def test_named_levels_are_compared_by_name():
    """With wax, than with lacquer; one stands longer than the other."""
    tiles = rubbed(30).assign(seal=np.tile(["wax", "lacquer", "none"], 12))
    tiles["y"] = np.where(tiles["seal"] == "lacquer", np.minimum(tiles["y"] * 3, 30), tiles["y"])
    seal = Factor("seal", ("wax", "lacquer", "none"), spacing="steps")
    one = analyse_strokes(tiles, [STRENGTH, CYCLES, seal], strokes_spec("dry"), show=show)
    assert any(
        sentence.startswith("With lacquer a tile stands ") and " as with " in sentence for sentence in one.sentences
    )
