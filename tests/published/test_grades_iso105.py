"""Grades of staining and of change in colour against ISO 105."""

import numpy as np
import pytest

from tests.published.reading import rows
from tilestudy.colour.grades import (
    STAINING_STEPS,
    change_difference,
    change_grade,
    change_half_grade,
    staining_difference,
    staining_grade,
    staining_half_grade,
    written,
)


def numbers(row: dict[str, str], names: str) -> list[float]:
    return [float(row[name]) for name in names.split()]


@pytest.mark.parametrize("row", rows("iso105_a04_staining.csv"), ids=lambda row: f"{row['dL']} {row['da']} {row['db']}")
def test_staining_matches_iso105_a04_1989(row: dict[str, str]) -> None:
    """Seventeen differences by the formula of ISO 105-A04:1989, the steps of the grey scale among them."""
    clean = np.array([90.0, 1.0, -2.0])
    d = staining_difference(clean, clean + numbers(row, "dL da db"))
    grade = staining_grade(d)
    assert float(d) == pytest.approx(float(row["dE_GS"]), abs=1e-6)
    assert float(grade) == pytest.approx(max(float(row["SSR"]), 1.0), abs=1e-6)
    assert float(staining_half_grade(grade)) == float(row["half_grade"])


@pytest.mark.parametrize("row", rows("iso105_a05_change.csv"), ids=lambda row: f"{row['L0']} {row['a0']} {row['LT']}")
def test_change_matches_iso105_a05_1996(row: dict[str, str]) -> None:
    """Eighteen pairs by the formula of ISO 105-A05:1996: vivid and grey, hues on both sides of 0 degrees and of 280."""
    d = change_difference(numbers(row, "L0 a0 b0"), numbers(row, "LT aT bT"))
    assert float(d) == pytest.approx(float(row["dEF"]), abs=1e-6)
    assert float(change_grade(d)) == pytest.approx(float(row["grade_continuous"]), abs=1e-6)
    assert float(change_half_grade(d)) == float(row["half_grade"])


@pytest.mark.parametrize("row", rows("iso105_a02_a03_greyscale.csv"), ids=lambda row: f"{row['scale']} {row['grade']}")
def test_the_steps_of_the_grey_scales_have_their_own_grade(row: dict[str, str]) -> None:
    """ISO 105-A02:1993 and A03:1993: each step of both scales is graded as itself."""
    d = float(row["dE_cielab"])
    half = change_half_grade(d) if row["scale"] == "A02" else staining_half_grade(staining_grade(d))
    assert written(float(half)) == row["grade"]


def test_the_steps_for_staining_match_iso105_a03_1993() -> None:
    """ISO 105-A03:1993: the difference of the two patches, for each of the nine steps."""
    table = {
        row["grade"]: float(row["dE_cielab"]) for row in rows("iso105_a02_a03_greyscale.csv") if row["scale"] == "A03"
    }
    assert {written(grade): d for grade, d in STAINING_STEPS.items()} == table
