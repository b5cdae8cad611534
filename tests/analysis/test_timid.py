"""A test too timid to find anything is told, and only then."""

import numpy as np
import pytest
from tests.analysis.strategies import made_up

from tilestudy.analysis.drivers import analyse
from tilestudy.analysis.findings import colour_spec
from tilestudy.analysis.mixed import fit_mixed
from tilestudy.analysis.timid import timid
from tilestudy.study.records import Factor

STRENGTH = Factor("strength", (1.0, 9.0), "g/L", "g/L", "geometric", "batch")
DIP_TIME = Factor("dip_time", (10.0, 30.0, 90.0), "s", "s", "geometric")
TOLD = (
    "With so few baths that differ so little, the test for strength is timid: it allows for far more bath luck than was "
    "seen, so ranges are wide and a real effect is easily missed. Every further bath helps."
)


def cautions(**asked):
    """What is told of a study with two strengths."""
    tiles = made_up(seed=3, **asked)
    tiles = tiles[tiles["strength"] != 3.0]
    return analyse(tiles, [STRENGTH, DIP_TIME], colour_spec("L"), batch_word="bath").cautions


@pytest.mark.parametrize(
    ("baths_each", "noise", "strength", "said"),
    [(2, (0.0, 2.0), -0.5, True), (2, (9.0, 0.5), -0.5, False), (5, (0.0, 2.0), 0.0, False), (2, (0.0, 2.0), -20.0, False)],
)  # fmt: skip
def test_it_is_said_of_few_baths_that_hardly_differ_when_nothing_was_found(baths_each, noise, strength, said):
    """Four alike baths: said. Baths that differ, ten baths, or an effect that was found: not said."""
    assert (TOLD in cautions(baths_each=baths_each, noise=noise, strength=strength)) == said


def test_timid_means_fewer_than_one_false_alarm_in_a_hundred():
    """Simulated, no effect, no batch noise: the test of 4 batches cries wolf below 1 in 100 and is called timid."""
    rng = np.random.default_rng(1)
    batch = np.repeat(np.arange(4), 6)
    X = np.column_stack([np.ones(24), batch % 2])
    fits = [fit_mixed(rng.normal(size=24), X, {"batch": batch}) for _ in range(300)]
    assert np.mean([fit.test([0.0, 1.0]).p < 0.05 for fit in fits]) < 0.01
    assert np.mean([timid(fit, [0.0, 1.0]) for fit in fits]) > 0.8


def test_a_group_without_a_variance_is_never_called_timid():
    """No batches in the model, or values explained to the last digit."""
    X = np.column_stack([np.ones(8), np.arange(8) % 2])
    assert not timid(fit_mixed(np.arange(8.0) ** 2, X), [0.0, 1.0])
    assert not timid(fit_mixed(X.sum(axis=1), X, {"batch": np.arange(8) // 2}), [0.0, 1.0])
