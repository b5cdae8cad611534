"""Choosing settings: from tiles whose truth is known."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from tilestudy.analysis.choice.chance import AlwaysAlike, Right
from tilestudy.analysis.choice.chooser import DISTINCT, Chooser, Evidence
from tilestudy.analysis.choice.region import candidates, code, gap
from tilestudy.analysis.model import build_model
from tilestudy.study.records import Bound, Factor, Study

STRENGTH = Factor("strength", (1.0, 3.0, 9.0), "g/L", "g/L", "geometric", "batch")
DIP = Factor("dip_time", (10.0, 30.0, 90.0), "s", "s", "geometric")
WAX = Factor("sealer", ("none", "wax"))
STUDY = Study("plaques", "", "sulfide-dip", (STRENGTH, DIP, WAX))


def made(seed: int = 1, baths: int = 6) -> pd.DataFrame:
    """Invented tiles: L* 60 less 8 for each tripling of strength and of dip time; a* and b* go with it."""
    rng = np.random.default_rng(seed)
    rows = [
        (f"T{b}{d:g}{w}", f"B{b}", 1, STRENGTH.levels[b % 3], d, w)
        for b in range(baths)
        for d in (10.0, 30.0, 90.0)
        for w in ("none", "wax")
    ]
    tiles = pd.DataFrame(rows, columns=["tile", "batch", "session", "strength", "dip_time", "sealer"])
    shade = np.log(tiles["strength"].astype(float)) / np.log(3) + np.log(tiles["dip_time"] / 10) / np.log(3)
    bath = rng.normal(0, 1, baths)[tiles["batch"].factorize()[0]]
    tiles["L"] = 60 - 8 * shade + bath + rng.normal(0, 1, len(tiles))
    tiles["a"] = 18 - 3 * shade + rng.normal(0, 1, len(tiles))
    tiles["b"] = 20 - 3 * shade + rng.normal(0, 1, len(tiles))
    return tiles


def chooser(right: Right, study: Study = STUDY, judges: dict | None = None, **options: int) -> Chooser:
    tiles = made(**options)
    model = build_model(tiles, study.factors)
    return Chooser(Evidence(study, tiles, model, right, judges or {}), np.random.default_rng(2))


def test_it_finds_what_the_truth_has() -> None:
    """The wish is the colour of two triplings: the choice is near it, likely right, and the alternatives differ."""
    found = chooser(Right((44.0, 12.0, 14.0), None, 5.0)).best(3)
    for one in found:
        shade = np.log(one.settings["strength"]) / np.log(3) + np.log(one.settings["dip_time"] / 10) / np.log(3)
        assert abs(shade - 2) < 0.5
        assert one.low <= one.chance <= one.high
    assert found[0].chance > 0.9
    model = chooser(Right((44.0, 12.0, 14.0), None, 5.0)).evidence.model
    assert all(gap(a.settings, b.settings, model) >= DISTINCT for a in found for b in found if a is not b)


def test_as_dark_as_possible_is_the_far_corner() -> None:
    """Right is then L* within the tolerance of the darkest predicted, and the strongest and longest dip is chosen."""
    one = chooser(Right(None, 0.0, 5.0))
    best = one.best(1)[0]
    assert one.right.darkest == pytest.approx(60 - 8 * 4, abs=2.5)
    assert (best.settings["strength"], best.settings["dip_time"]) == (9.0, 90.0)


def test_only_the_studied_region_is_looked_at() -> None:
    """No setting lies beyond what tiles had, is ruled out by [[never]], or is a corner no tile was near."""
    rule = (Bound("strength", "above", 3.0), Bound("dip_time", "above", 30.0))
    study = replace(STUDY, never=(rule,))
    tiles = made()
    tiles = tiles[~((tiles["strength"] == 1.0) & (tiles["dip_time"] == 10.0))].reset_index(drop=True)
    model = build_model(tiles, study.factors)
    rows = model.matrix(tiles)
    found = candidates(study, model, tiles, rows)
    assert found
    assert all(1.0 <= one["strength"] <= 9.0 and 10.0 <= one["dip_time"] <= 90.0 for one in found)
    assert all(study.allows(one) for one in found)
    inverse = np.linalg.inv(rows.T @ rows)
    known = np.einsum("np,pk,nk->n", code(model, found), inverse, code(model, found))
    assert known.max() <= np.einsum("np,pk,nk->n", rows, inverse, rows).max() + 1e-9


def test_a_relaxed_wish_costs_nothing_and_durability_counts() -> None:
    """A wider tolerance never lowers the chance; a rub test that all batches passed leaves room for doubt."""
    tiles = made()
    judge = {"dry": (build_model(tiles, STUDY.factors), AlwaysAlike(5.0, 6))}
    one = chooser(Right((44.0, 12.0, 14.0), None, 3.0, 4.0), judges=judge)
    best = one.best(1)[0]
    assert all(price.chance >= best.chance - 0.03 for price in one.prices())
    assert best.durable == pytest.approx(6.5 / 7, abs=0.02)  # Jeffreys: (6 + 0.5) / (6 + 1)
    assert best.chance < best.colour


def test_the_same_tiles_give_the_same_choice() -> None:
    """Draws come from a source that is handed in."""
    right = Right((44.0, 12.0, 14.0), None, 5.0)
    assert [one.as_dict() for one in chooser(right).best(3)] == [one.as_dict() for one in chooser(right).best(3)]
