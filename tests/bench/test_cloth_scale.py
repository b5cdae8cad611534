"""The grey scale for staining as a screen shows it."""

import re

import pytest

from tests.published.reading import rows
from tilestudy.bench.cloth_scale import KEYS, step_svg, steps
from tilestudy.colour.srgb import srgb_to_lab

A03 = [row for row in rows("iso105_a02_a03_greyscale.csv") if row["scale"] == "A03"]


def patches(svg: str) -> list[list[float]]:
    """Return L*a*b* of the patches drawn, left to right."""
    found = re.findall(r'fill="#(\w\w)(\w\w)(\w\w)"', svg)
    return [srgb_to_lab([int(part, 16) / 255 for part in one]).tolist() for one in found]


@pytest.mark.parametrize("row", A03, ids=lambda row: row["grade"])
def test_each_step_is_drawn_with_its_contrast(row: dict[str, str]) -> None:
    """ISO 105-A03:1993: two neutral patches differ in L* by the value of the step, to within half a grey of the screen (0.2)."""
    step = next(one for one in steps() if one.written == row["grade"])
    (L, *clean), (stained_L, *stained) = patches(step.svg)
    assert L - stained_L == pytest.approx(float(row["dE_cielab"]), abs=0.15)
    assert [*clean, *stained] == pytest.approx([0] * 4, abs=0.01)
    assert stained_L <= L


def test_the_steps_run_from_no_stain_to_heavy_and_each_has_a_key() -> None:
    """Nine half grades, best first; whole grades on their own digit, the halves on 6 to 9, none twice."""
    assert [one.grade for one in steps()] == [5, 4.5, 4, 3.5, 3, 2.5, 2, 1.5, 1]
    assert sorted(KEYS.values()) == list("123456789")
    assert all(KEYS[float(digit)] == str(digit) for digit in range(1, 6))
    with pytest.raises(KeyError):
        step_svg(5.5)
