"""Unreplicated two-level plans: what stands out, what batches hide, and where the method does not apply."""

from itertools import product

import numpy as np
import pandas as pd
import pytest

from tilestudy.analysis.drivers import analyse
from tilestudy.analysis.findings import colour_spec, grade_spec
from tilestudy.analysis.trust.lenth import unreplicated
from tilestudy.errors import NotEnoughError
from tilestudy.study.records import Factor
from tilestudy.study.units import show

NAMES = ("strength", "dip_time", "scrub_cycles", "rinse", "temperature", "wax", "dwell")
FACTORS = tuple(Factor(name, (1.0, 9.0)) for name in NAMES)
SEVEN_IN_EIGHT = [(x, y, z, x * y, x * z, y * z, x * y * z) for x, y, z in product((-1, 1), repeat=3)]


def made(**more):
    """Eight tiles of seven factors; strength and dip time matter."""
    frame = pd.DataFrame([{n: 5.0 + 4.0 * s for n, s in zip(NAMES, run, strict=True)} for run in SEVEN_IN_EIGHT])
    noise = np.array([0.3, -0.1, 0.2, -0.4, 0.1, -0.2, 0.4, -0.3])
    y = 40 - 1.5 * (frame["strength"] - 5) - 1.0 * (frame["dip_time"] - 5) + noise
    return frame.assign(tile=[f"T{i}" for i in range(8)], batch="B1", session=1, y=y, **more)


def judged(frame, spec=None):
    return unreplicated(frame, FACTORS, spec or colour_spec("L"), show=show, batch_word="bath")


def test_a_plan_that_leaves_no_tile_for_noise_gets_a_hint():
    """Drivers refuses; Lenth's method names what stands out, its aliases, and what that is worth."""
    with pytest.raises(NotEnoughError):
        analyse(made(), FACTORS, colour_spec("L"))
    assert judged(made()).sentences() == (
        "No setting was made twice and the effects take all 8 tiles, so the noise of L* cannot be measured. Lenth's method takes "
        "the small effects for noise, which holds only if most of them do nothing.",
        "Strength (from 1 to 9: 12.0 L* darker) and dip time (from 1 to 9: 8.0 L* darker) stand out: an effect of 2 L* or more "
        "seldom comes from noise.",
        "In so small a plan it may as well be two factors working together: what looks like strength of dip time with rinse or 2 "
        "other pairs and what looks like dip time of strength with rinse or 2 other pairs.",
        "That is a hint and no test: make the settings at both ends again, and drivers can tell with a range.",
    )


def test_nothing_is_said_of_what_was_set_per_bath():
    """A factor that goes with the baths is set aside, and six effects are too few to take for noise."""
    frame = made()
    frame["batch"] = np.where(frame["strength"] > 5, "B1", "B2")
    found = judged(frame)
    assert found.per_batch == ("strength",)
    assert found.lenth is None
    assert found.sentences()[-1] == (
        "Nothing is said of strength, which was set per bath: the noise between baths does not show in comparisons of tiles."
    )


def test_it_does_not_apply_elsewhere():
    """Grades, a lost tile, a setting made twice, a third level, two values of a tile."""
    frame = made()
    twice = pd.concat([frame, frame.assign(tile=frame["tile"] + "b")])
    third = frame.assign(strength=[1.0, 5, 9, 1, 5, 9, 1, 9])
    assert judged(frame, grade_spec()) is None
    for other in (frame.iloc[1:], twice, third, pd.concat([frame, frame])):
        assert judged(other) is None


def test_without_any_noise_there_is_nothing_to_judge_by():
    """All values alike, or effects of nought to the last digit: nothing is claimed."""
    frame = made()
    assert judged(frame.assign(y=40.0)) is None
    assert judged(frame.assign(y=40.0 - frame["strength"])) is None
