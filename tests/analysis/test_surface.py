"""The shape of a surface, and what it says for the choice."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.analysis.strategies import FACTORS, studies

from tilestudy.analysis.choice.region import candidates
from tilestudy.analysis.choice.surface import canonical, surface_of
from tilestudy.analysis.choice.surface_wording import Goal, shape_told
from tilestudy.analysis.drivers import analyse
from tilestudy.analysis.findings import ResponseFindings, colour_spec
from tilestudy.errors import NotEnoughError, WrongRequestError
from tilestudy.study.records import Factor, Study
from tilestudy.study.units import show

STRENGTH = Factor("strength", (1.0, 3.0, 9.0), "g/L", "g/L", "geometric", "batch")
DIP_TIME = Factor("dip_time", (10.0, 30.0, 90.0), "s", "s", "geometric")
FINISH = Factor("finish", ("brushed", "sanded"), spacing="steps")
STUDY = Study("plaques", "", "sulfide-dip", (STRENGTH, DIP_TIME, FINISH))


def invented(shape: Callable[[float, float], float], noise: float = 1.0) -> tuple[pd.DataFrame, ResponseFindings]:
    """Three baths of each strength, six tiles each; L* by a shape over the two factors from -1 to 1, sanded 4 lighter."""
    rng = np.random.default_rng(3)
    rows = []
    for number in range(9):
        strength, luck = STRENGTH.levels[number % 3], rng.normal(0, noise / 2)
        for dip in DIP_TIME.levels:
            for finish in FINISH.levels:
                y = shape(np.log(strength / 3) / np.log(3), np.log(dip / 30) / np.log(3)) + 4 * (finish == "sanded")
                rows.append(
                    {"tile": f"T{len(rows)}", "batch": f"B{number}", "session": 1, "strength": strength, "dip_time": dip,
                     "finish": finish, "y": y + luck + rng.normal(0, noise)}
                )  # fmt: skip
    frame = pd.DataFrame(rows)
    return frame, analyse(frame, STUDY.factors, colour_spec("L", "cured"), show=show, batch_word="bath")


def told(shape: Callable[[float, float], float], goal: Goal) -> tuple[str, ...]:
    """What is said of a shape over the studied region."""
    frame, found = invented(shape)
    surface = surface_of(found)
    assert surface is not None
    return shape_told(surface, candidates(STUDY, found.model, frame, found.model.matrix(frame)), goal, show, 2.0)


def test_a_surface_predicts_what_its_findings_predict() -> None:
    """At any settings, the others at their average or at a named level; differences come with the findings' ranges."""
    _, found = invented(lambda x, y: 30 + 2 * x - 3 * y + 2 * x * y + x * x - y * y)
    for fixed in ({}, {"finish": "sanded"}):
        surface = surface_of(found, fixed)
        assert surface is not None
        for at in ({"strength": 2.0, "dip_time": 71.0}, {"strength": 9.0, "dip_time": 10.0}):
            assert surface.mean(surface.coded(at)) == pytest.approx(found.predict({**at, **fixed}).value, abs=1e-9)
    apart = surface.difference({"strength": 9.0, "dip_time": 10.0}, {"strength": 1.0, "dip_time": 10.0})
    assert apart.low is not None
    assert apart.low < apart.value


def test_a_ridge_is_told_with_two_settings_that_come_out_alike() -> None:
    """Strong and short is like weak and long: the reader may choose."""
    first, *_ = told(lambda x, y: 30 + 4 * (x + y) ** 2 - 6 * (x + y), "lower")
    assert first.startswith(
        "Along strength and dip time together L* hardly changes (a ridge): strength 9 g/L with dip time 10 s "
    )
    assert "comes out like strength 1 g/L with dip time 90 s (a difference of" in first
    assert first.endswith("Take the one that is easier to make.")


def test_a_best_within_is_told_and_a_best_on_the_edge_is_told() -> None:
    """A peak where higher is better needs nothing further; where lower is better its edges may be passed."""

    def peak(x: float, y: float) -> float:
        return 40 - 5 * (x - 0.2) ** 2 - 6 * (y + 0.3) ** 2

    (inside,) = told(peak, "higher")
    assert inside.startswith("L* is highest within what was tried, near strength 3.")
    assert inside.endswith("it gets worse in every direction, so going further gains nothing.")
    (edge,) = told(peak, "lower")
    assert edge == (
        "The best for L* lies on the edge of what was tried (strength 1 g/L and dip time 90 s): going further may be better, but "
        "no tile says so."
    )


def test_a_saddle_has_two_ends_to_compare() -> None:
    """Both are named, the better first."""
    saddle, edge = told(lambda x, y: 40 + 6 * x * y + x, "lower")
    assert saddle == (
        "L* has two good ends with worse between them (a saddle): strength 1 g/L with dip time 90 s, and strength 9 g/L with dip "
        "time 10 s. Compare both before choosing."
    )
    assert edge.startswith("The best for L* lies on the edge of what was tried (strength 1 g/L and dip time 90 s)")


def test_a_shape_that_the_tiles_do_not_tell_is_not_told() -> None:
    """No effect, no sentence; one factor that bends is no surface."""
    assert told(lambda x, y: 40.0, "lower") == ()
    frame, _ = invented(lambda x, y: 40.0 + x)
    two = frame[frame["dip_time"] != 30.0]
    assert surface_of(analyse(two, STUDY.factors, colour_spec("L"), show=show, batch_word="bath")) is None


@given(st.integers(0, 10_000), st.integers(2, 4))
def test_along_its_axes_a_surface_is_a_sum_of_squares(seed: int, k: int) -> None:
    """From the stationary point, one step along direction i changes y by the eigenvalue i, and by it alone."""
    rng = np.random.default_rng(seed)
    b, half = rng.normal(size=k), rng.normal(size=(k, k))
    B = half + half.T
    found = canonical(b, B)
    if found.stationary is None or np.abs(found.stationary).max() > 1e3:
        return
    z = found.stationary[:, None] + found.directions
    at = found.stationary
    change = z.T @ b + np.einsum("im,ij,jm->m", z, B, z) - (at @ b + at @ B @ at)
    assert change == pytest.approx(found.eigenvalues, abs=1e-6)


@settings(max_examples=30)
@given(studies(), st.sampled_from(["higher", "lower"]))
def test_any_small_study_gets_sentences_or_none(frame: pd.DataFrame, goal: Goal) -> None:
    """Lost tiles, one bath each, no noise: never a failure, never a NaN."""
    study = Study("plaques", "", "sulfide-dip", FACTORS)
    try:
        found = analyse(frame, FACTORS, colour_spec("L"), show=show, batch_word="bath")
    except NotEnoughError:
        return
    if (surface := surface_of(found)) is not None:
        region = candidates(study, found.model, frame, found.model.matrix(frame))
        assert not any("nan" in one for one in shape_told(surface, region, goal, show))


def test_nonsense_is_refused() -> None:
    """No traceback of numpy's, no NaN."""
    with pytest.raises(WrongRequestError, match="not finite"):
        canonical([float("nan"), 0.0], np.eye(2))
    with pytest.raises(WrongRequestError, match="square table"):
        canonical([1.0], np.eye(2))
    assert canonical([1.0, 0.0], np.zeros((2, 2))).stationary is None
