"""Rub tests of one tile at several ages."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd

from tilestudy.analysis.frames import rub_frame
from tilestudy.analysis.wear.age import age_caution, days_since_made
from tilestudy.study.records import Factor, Made, Rub

DAY = date(2026, 11, 24)
FACTORS = (Factor("dip_time", (10.0, 90.0), "s", "s"), Factor("finish", ("brushed", "sanded"), spacing="steps"))
CODES = ("A1", "A2", "B1", "B2", "C1", "C2", "D1", "D2")
TILES = pd.DataFrame(
    {
        "tile": CODES,
        "batch": [code[0] for code in CODES],
        "session": [1, 1, 1, 1, 2, 2, 2, 2],
        "dip_time": [10.0, 90.0] * 4,
        "finish": ["brushed"] * 4 + ["sanded"] * 4,
    }
)


def caution(*ages: int) -> str | None:
    """Return what is said when the tiles were rubbed at these ages."""
    return age_caution(dict(zip(CODES, ages, strict=True)), TILES, FACTORS, "dry rub test", "bath")


def test_rounds_of_rub_tests_are_kept_apart() -> None:
    """A second test a month later is neither mixed with the first nor puts it out of use."""
    rubs = [Rub("A1", "KL", DAY, 4.5), Rub("A1", "KL", DAY + timedelta(days=30), 3.0, round=2)]
    assert rub_frame(TILES, rubs, "dry")["y"].tolist() == [4.5]
    assert rub_frame(TILES, rubs, "dry", round=2)["y"].tolist() == [3.0]


def test_age_counts_from_making_to_the_first_grade() -> None:
    """The second scorer's later grade does not make a tile older; a tile nobody noted as made has no age."""
    rubs = [Rub(code, "KL", DAY + timedelta(days=days), 4.0) for code, days in (("A1", 9), ("A1", 7), ("A2", 7))]
    assert days_since_made(rubs, [Made("A1", DAY)]) == {"A1": 7}


def test_very_different_ages_are_told_with_what_they_go_with() -> None:
    """A factor or the session is named when it accounts for most of the differences; alike ages are not mentioned."""
    assert caution(7, 8, 7, 9, 8, 7, 9, 10) is None
    assert caution(1, 2, 1, 4, 1, 2, 3, 1) is None  # three days apart at most
    assert caution(4, 30, 4, 31, 5, 30, 4, 30) == (
        "In the dry rub test the tiles were 4 to 31 days old when rubbed, and age goes together with dip time, so what looks "
        "like an effect of dip time on wear may be one of age: rub all tiles at one age next time."
    )
    assert caution(30, 30, 30, 30, 7, 7, 7, 7) == (
        "In the dry rub test the tiles were 7 to 30 days old when rubbed, and age goes together with finish, so what looks "
        "like an effect of finish on wear may be one of age: rub all tiles at one age next time."
    )
    assert caution(30, 4, 4, 30, 4, 30, 30, 4) == (
        "In the dry rub test the tiles were 4 to 30 days old when rubbed, and a patina hardens with time, so some of the "
        "scatter may be age: rub all tiles at one age next time."
    )
    bath = caution(30, 30, 4, 4, 30, 30, 4, 4)
    assert bath is not None
    assert "age goes together with the bath, so" in bath
