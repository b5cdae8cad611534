"""Stage along the path: when it is used, when it warns, when it is refused."""

import numpy as np
import pandas as pd
import pytest
from tests.analysis.strategies import DIP_TIME, FACTORS, coloured, made_up

from tilestudy.analysis.colour.path import path_through, stages
from tilestudy.analysis.model import build_model
from tilestudy.errors import NotEnoughError
from tilestudy.study.records import Factor


def looped(turns, seed=2):
    """Tiles whose colour goes round a loop as strength and dip time push on, with luck and scatter along it."""
    rng = np.random.default_rng(seed)
    tiles = made_up(seed=seed)
    on = 0.5 + 0.2 * np.log(tiles["dip_time"] / 30) / np.log(3) + 0.15 * np.log(tiles["strength"] / 3) / np.log(3)
    on += tiles["batch"].map({code: rng.normal(0, 0.02) for code in sorted(set(tiles["batch"]))})
    angle = 2 * np.pi * turns * (on + rng.normal(0, 0.01, len(tiles)))
    lab = np.column_stack([60 - 10 * on, 35 * np.cos(angle), 35 * np.sin(angle)]) + rng.normal(0, 1, (len(tiles), 3))
    return tiles.assign(L=lab[:, 0], a=lab[:, 1], b=lab[:, 2]), on


def test_on_a_loop_the_stage_is_used():
    """Most of a turn: a* and b* rise and fall, the stage only grows, and the settings foretell it."""
    tiles, on = looped(0.8)
    found = stages(tiles, build_model(tiles, FACTORS), ["dip_time", "strength"])
    assert found.useful
    assert np.corrcoef(found.frame["y"], on)[0, 1] > 0.98
    assert (found.frame["y"].min(), found.frame["y"].max()) == pytest.approx((0.0, 100.0))
    assert found.path.turn < 360.0
    (sentence,) = found.sentences()
    assert sentence == (
        f"The colours follow one path ({100 * found.path.along:.0f} % of their variation lies along it), from 0 % (the least) to "
        "100 % (the most): the settings foretell the stage along it better than lightness, redness and yellowness one by one, "
        "which rise and fall on the way."
    )


def test_a_path_that_comes_back_is_warned_of():
    """Nearly two turns: like colours at far stages."""
    tiles = looped(2.2)[0]
    found = stages(tiles.assign(L=60.0), build_model(tiles, FACTORS), ["dip_time", "strength"])
    assert found.path.orders
    assert found.sentences()[-1].endswith("go by the order of the settings, or study a narrower range of them.")


def test_along_a_straight_line_the_channels_serve_as_well():
    """Colours that darken along a line need no stage, and the path does not turn back."""
    tiles = coloured(made_up(seed=4))
    found = stages(tiles, build_model(tiles, FACTORS), ["dip_time"])
    assert not found.useful
    assert not found.path.orders
    assert abs(np.corrcoef(found.frame["y"], tiles["L"])[0, 1]) > 0.95
    assert found.sentences() == []


def test_too_little_is_refused():
    """Few tiles, tiles pushed equally far, no factor with a scale."""
    lab = np.random.default_rng(1).normal(50, 5, (12, 3))
    refused = [
        (lab[:9], np.arange(9.0), "9 tiles are too few to draw a path through their colours; it takes 10."),
        (
            lab,
            np.ones(12),
            "All tiles were pushed equally far, so their colours have no order to follow. Vary time, strength or heat.",
        ),
    ]
    for some, guide, message in refused:
        with pytest.raises(NotEnoughError) as caught:
            path_through(some, guide)
        assert str(caught.value) == message
    seal = Factor("seal", ("none", "wax"), spacing="steps")
    tiles = pd.DataFrame({"tile": range(12), "batch": 1, "session": 1, "seal": ["none", "wax"] * 6, "dip_time": 30.0})
    tiles = tiles.assign(L=lab[:, 0], a=lab[:, 1], b=lab[:, 2])
    with pytest.raises(NotEnoughError) as caught:
        stages(tiles, build_model(tiles, [seal, DIP_TIME]), ["seal"])
    assert str(caught.value) == (
        "No factor has a scale (time, strength, heat), so nothing tells which colour comes later."
    )
