"""Colours there and back: XYZ and L*a*b*, one light and another; what the sums over a spectrum keep."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tilestudy.colour.adaptation import adapt
from tilestudy.colour.difference import ciede2000
from tilestudy.colour.spectra import reflectance_to_lab, reflectance_to_xyz
from tilestudy.colour.xyz import CHROMATICITY, lab_to_xyz, lch_to_lab, white, xyz_to_lab
from tilestudy.errors import WrongRequestError

LABS = st.tuples(st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100))
LIGHTS = st.sampled_from(sorted(CHROMATICITY))


@given(LABS, LIGHTS)
def test_xyz_and_lab_are_each_others_inverse(lab: tuple[float, float, float], of: tuple[str, str]) -> None:
    """Whatever the white."""
    assert xyz_to_lab(lab_to_xyz(lab, white(*of)), white(*of)) == pytest.approx(lab, abs=1e-8)


@given(LABS, LIGHTS, st.sampled_from(["A", "D50", "F11"]))
def test_adapting_there_and_back_changes_nothing(lab: tuple[float, float, float], of: tuple[str, str], to: str) -> None:
    """And grey stays grey under every light."""
    illuminant, observer = of
    assert adapt(adapt(lab, illuminant, observer, to), to, observer, illuminant) == pytest.approx(lab, abs=1e-8)
    assert adapt([lab[0], 0, 0], illuminant, observer, to) == pytest.approx([lab[0], 0, 0], abs=1e-8)


@given(st.floats(0, 100), st.floats(0, 100), st.floats(0, 360))
def test_lch_has_the_chroma_and_the_hue_it_says(L: float, C: float, h: float) -> None:
    """a* and b* lie at the distance C* and the angle h."""
    _, a, b = lch_to_lab([L, C, h])
    assert math.hypot(a, b) == pytest.approx(C, abs=1e-9)
    assert a * math.sin(math.radians(h)) == pytest.approx(b * math.cos(math.radians(h)), abs=1e-9)


@given(st.floats(0.01, 1), LIGHTS, st.sampled_from([5, 10, 20]))
def test_a_flat_reflectance_is_neutral(level: float, of: tuple[str, str], step: int) -> None:
    """Under every light, however coarse the steps: Y is the reflectance, a* and b* are nought."""
    nm = range(400, 701, step)
    assert reflectance_to_xyz([level] * len(nm), nm, *of)[1] == pytest.approx(level)
    assert reflectance_to_lab([level] * len(nm), nm, *of)[1:] == pytest.approx([0, 0], abs=1e-9)


def test_adapted_colours_lie_near_those_seen_under_the_light_itself() -> None:
    """600 invented smooth reflectances: what docs/explanation/colour.md says of D50, of A, and of the two observers."""
    rng = np.random.default_rng(5)
    nm = np.arange(400, 701, 10)
    low = rng.uniform(0.02, 0.25, (600, 1))
    high = low + rng.uniform(0.02, 0.5, (600, 1))
    steps = (nm - rng.uniform(430, 670, (600, 1))) / rng.uniform(15, 60, (600, 1))
    peaks = np.arange(600)[:, None] % 2 == 1
    spectra = low + (high - low) * np.where(peaks, np.exp(-((steps / 2) ** 2)), 1 / (1 + np.exp(-steps)))

    def apart(illuminant: str, observer: str, to_observer: str) -> list[float]:
        seen = reflectance_to_lab(spectra, nm, illuminant, observer)
        there = reflectance_to_lab(spectra, nm, "D65", to_observer)
        return np.percentile(ciede2000(adapt(seen, illuminant, observer), there), [50, 95]).tolist()

    assert apart("D50", "2", "2") == pytest.approx([0.6, 1.1], abs=0.15)
    assert apart("D50", "10", "10") == pytest.approx([0.5, 1.2], abs=0.15)
    assert apart("A", "10", "10") == pytest.approx([2.0, 4.9], abs=0.5)
    assert apart("D65", "2", "10") == pytest.approx([1.4, 3.7], abs=0.4)


def test_ends_beyond_the_visible_are_not_used() -> None:
    """A spectrum from 340 to 800 nm counts from 360 to 780 nm."""
    wide, nm = np.linspace(0.1, 0.6, 47), np.arange(340, 801, 10)
    assert reflectance_to_xyz(wide, nm).tolist() == reflectance_to_xyz(wide[2:-2], nm[2:-2]).tolist()


@pytest.mark.parametrize(
    ("nm", "illuminant", "says"),
    [
        (range(420, 701, 10), "D65", "runs from 420 to 700 nm; a colour needs at least 400 to 700 nm"),
        ([400, 410, 430, *range(440, 701, 10)], "D65", "do not rise in equal steps of 20 nm or less"),
        (range(400, 701, 50), "D65", "do not rise in equal steps of 20 nm or less"),
        (range(400, 701, 10), "TL", 'under "TL"'),
    ],
)
def test_a_spectrum_that_tells_no_colour_is_refused(nm: list[int], illuminant: str, says: str) -> None:
    """With what it needs."""
    with pytest.raises(WrongRequestError, match=says):
        reflectance_to_xyz([0.5] * len(nm), nm, illuminant)
