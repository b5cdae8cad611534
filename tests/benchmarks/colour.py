"""Colour as one thing: false alarms of the test, coverage of the CIEDE2000 ranges, and stages found along a path.

Simulated plans of (batches x tiles): one two-level factor per batch, two per tile, their pairs; channels that scatter
together; the noise between batches is 0, 1 or 2 times that between tiles. `ratio` is the foil's figure over ours.

- False alarms at 5 %, no true effect. Ours is the permutation test that keeps the batches, with the tests of L*, a*, b*
  where batches are too few for it, as `drivers` judges. The foil deals tiles out regardless of batches. A row is ok when
  ours is at most 6.5 % within three standard errors, and (batch noise, per batch) the foil cries wolf `floor` times as often.
- Coverage of the 95 % range of the CIEDE2000 between two predicted colours that truly lie 0, 3 or 10 apart. The foil is the
  percentile range of a bootstrap of tiles. Ok when ours covers 90 % or more (three standard errors allowed).
- Stages: share of seeds in which the order of 24 or 48 computed film colours (0 to 100 nm, noise of 2 CIEDE2000, guide off
  by 7 or 10 nm) has a rank correlation of 0.97 or more with the thickness. The foil is the guide alone.

    python tests/benchmarks/colour.py [--quick] [--json]
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import permutation_test, spearmanr

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.benchmarks.printing import main
from tests.published.test_path_film_colours import film, scattered

from tilestudy.analysis.colour.as_one import colour_as_one
from tilestudy.analysis.colour.change import range_of_difference
from tilestudy.analysis.colour.path import path_through
from tilestudy.analysis.colour.permutation import DRAWS, colour_tests, permuted
from tilestudy.analysis.drivers import analyse
from tilestudy.analysis.findings import ALPHA, colour_spec
from tilestudy.analysis.mixed import fit_mixed
from tilestudy.analysis.model import build_model, indicators
from tilestudy.colour.difference import ciede2000
from tilestudy.study.records import Factor
from tilestudy.study.units import show

PLANS = ((4, 6), (6, 4), (8, 6))
RATIOS = (0, 1, 2)
FACTORS = (
    Factor("strength", (1.0, 9.0), "g/L", "g/L", "geometric", "batch"),
    Factor("dip_time", (10.0, 90.0), "s", "s", "geometric"),
    Factor("scrub_cycles", (1.0, 4.0)),
)
TIED = np.array([[2.0, 0.7, 0.7], [0.0, 1.0, 0.7], [0.0, 0.0, 0.7]])
"""Root of the covariance of the channels: they scatter together, as colours along a path do."""
BASE, ALONG = np.array([45.0, 18.0, 20.0]), np.array([-0.8, -0.3, -0.5])


def plan(batches: int, tiles: int) -> pd.DataFrame:
    """Tiles with their settings."""
    batch, i = np.repeat(np.arange(batches), tiles), np.tile(np.arange(tiles), batches)
    return pd.DataFrame(
        {
            "tile": np.arange(batches * tiles),
            "batch": batch,
            "session": 1,
            "strength": np.where(batch % 2, 9.0, 1.0),
            "dip_time": np.where(i % 2, 90.0, 10.0),
            "scrub_cycles": np.where((i // 2) % 2, 4.0, 1.0),
        }
    )


def noise(frame: pd.DataFrame, ratio: float, rng: np.random.Generator) -> np.ndarray:
    """Luck of batches and tiles: (n, 3)."""
    batches = rng.normal(size=(frame["batch"].max() + 1, 3))[frame["batch"]]
    return (ratio * batches + rng.normal(size=(len(frame), 3))) @ TIED


def row(name: str, ours: float, foil: float, floor: float, ok: bool) -> dict[str, object]:
    times = foil / ours if ours > 0 else (1e9 if foil > 0 else 1.0)
    return {"name": name, "ours": ours, "foil": foil, "ratio": times, "floor": floor, "ok": bool(ok and times >= floor)}


def false_alarms(many: int) -> list[dict[str, object]]:
    rows = []
    limit = 0.065 + 3 * np.sqrt(0.05 * 0.95 / many)
    for batches, tiles in PLANS:
        frame = plan(batches, tiles)
        model = build_model(frame, FACTORS)
        X = model.matrix(frame)
        everywhere = np.zeros(len(frame), dtype=np.intp)
        for ratio in RATIOS:
            rng = np.random.default_rng([batches, tiles, ratio])
            ours, foil = {"strength": 0, "dip_time": 0}, {"strength": 0, "dip_time": 0}
            for _ in range(many):
                Y = noise(frame, ratio, rng)
                tests = colour_tests(frame.assign(L=Y[:, 0], a=Y[:, 1], b=Y[:, 2]), model, rng)
                for name in ours:
                    test, columns = tests[name], list(model.term(name).columns)
                    p = test.p
                    if test.least_p > ALPHA / len(FACTORS):
                        fits = [fit_mixed(y, X, {"batch": frame["batch"]}) for y in Y.T]
                        p = 3 * min(fit.test(np.eye(X.shape[1])[columns]).p for fit in fits)
                    ours[name] += p <= ALPHA
                    others = [k for k in range(X.shape[1]) if k not in columns]
                    foil[name] += permuted(Y, X[:, others], X[:, columns], everywhere, rng).p <= ALPHA
            for name, where in (("strength", "per batch"), ("dip_time", "per tile")):
                trap = name == "strength" and ratio > 0
                rows.append(
                    row(
                        f"false alarms, {batches}x{tiles}, batch noise {ratio}, {where}, against tiles dealt out freely",
                        ours[name] / many,
                        foil[name] / many,
                        1.0 if trap else 0.0,
                        ours[name] / many <= limit,
                    )
                )
    return rows


def apart(by: float) -> np.ndarray:
    """A difference along ALONG whose CIEDE2000 about BASE is `by`."""
    lengths = np.linspace(0.0, 40.0, 8001)
    found = ciede2000(BASE - lengths[:, None] * ALONG / 2, BASE + lengths[:, None] * ALONG / 2)
    return ALONG * lengths[int(np.abs(found - by).argmin())]


def coverage(many: int) -> list[dict[str, object]]:
    rows = []
    for batches, tiles in PLANS:
        frame = plan(batches, tiles)
        batch = frame["batch"].to_numpy()
        X = build_model(frame, FACTORS[:2]).matrix(frame)
        F = np.hstack([X, indicators(batch)])
        df = len(X) - np.linalg.matrix_rank(F)
        for ratio in RATIOS:
            rng = np.random.default_rng([batches, tiles, ratio, 1])
            for true in (0.0, 3.0, 10.0):
                d = apart(true)
                for column, where in ((1, "per batch"), (2, "per tile")):
                    ours = foil = 0
                    contrast = 2.0 * np.eye(X.shape[1])[column]
                    for _ in range(many):
                        Y = BASE + X[:, [column]] * d / 2 + noise(frame, ratio, rng)
                        rest = Y - F @ np.linalg.lstsq(F, Y, rcond=1e-9)[0]
                        S = rest.T @ rest
                        R = S / np.sqrt(np.outer(np.diag(S), np.diag(S))) * df / (df + 4.0)
                        np.fill_diagonal(R, 1.0)
                        fits = [fit_mixed(y, X, {"batch": batch}) for y in Y.T]
                        found = [fit.contrast(contrast) for fit in fits]
                        middle, step = np.array([fit.beta[0] for fit in fits]), np.array([one.value for one in found])
                        se = np.array([one.se for one in found])
                        low, high = range_of_difference(
                            middle - step / 2,
                            middle + step / 2,
                            np.outer(se, se) * R,
                            float(np.median([one.ddf for one in found])),
                        )
                        ours += low - 1e-3 <= true <= high + 1e-3
                        again = rng.integers(0, len(X), (60, len(X)))
                        solved = np.linalg.pinv(X[again]) @ Y[again]
                        moved = ciede2000(solved[:, 0] - solved[:, column], solved[:, 0] + solved[:, column])
                        ends = np.quantile(moved, [0.025, 0.975])
                        foil += ends[0] <= true <= ends[1]
                    allowed = 0.90 - 3 * np.sqrt(0.05 * 0.95 / many)
                    rows.append(
                        row(
                            f"coverage, {batches}x{tiles}, batch noise {ratio}, {where}, truly {true:g} apart, against a "
                            "bootstrap of tiles",
                            ours / many,
                            foil / many,
                            0.0,
                            ours / many >= allowed,
                        )
                    )
    return rows


def found_stages(seeds: int) -> list[dict[str, object]]:
    rows = []
    for system in ("TiO2 on Ti", "Fe3O4 on Fe"):
        curve = film(system)
        for tiles, off in ((24, 7.0), (48, 10.0)):
            ours = foil = 0
            for seed in range(seeds):
                rng = np.random.default_rng([seed, tiles])
                thickness = rng.uniform(0, 100, tiles)
                lab = scattered(curve(thickness), rng)
                guide = thickness + off * rng.normal(size=tiles)
                ours += spearmanr(path_through(lab, guide).stages, thickness)[0] >= 0.97
                foil += spearmanr(guide, thickness)[0] >= 0.97
            name = (
                f"order of {tiles} colours of {system} found (rank correlation 0.97 or more), against the guide alone"
            )
            rows.append(row(name, ours / seeds, foil / seeds, 0.0, ours / seeds >= 0.9))
    return rows


def speed() -> list[dict[str, object]]:
    frame = plan(8, 6)
    rng = np.random.default_rng(1)
    Y = BASE + noise(frame, 1, rng) - 4.0 * (frame["dip_time"].to_numpy() > 50)[:, None]
    frame = frame.assign(L=Y[:, 0], a=Y[:, 1], b=Y[:, 2])
    L, a, b = (analyse(frame.assign(y=frame[k]), FACTORS, colour_spec(k), show=show) for k in "Lab")
    started = time.perf_counter()
    colour_as_one(frame, FACTORS, L, a, b, rng, show=show)
    ours = 1e3 * (time.perf_counter() - started)
    labs = [Y[frame["dip_time"] < 50], Y[frame["dip_time"] > 50]]

    def pseudo_f(one: np.ndarray, two: np.ndarray) -> float:
        groups = Y[np.asarray(one, dtype=int)], Y[np.asarray(two, dtype=int)]
        within = sum(float(((group - group.mean(axis=0)) ** 2).sum()) for group in groups)
        return float(((Y - Y.mean(axis=0)) ** 2).sum()) / within

    index = np.arange(len(labs[0])), np.arange(len(labs[0]), len(Y))
    started = time.perf_counter()
    for _ in FACTORS:
        permutation_test(index, pseudo_f, n_resamples=DRAWS, alternative="greater", rng=rng)
    foil = 1e3 * (time.perf_counter() - started)
    return [
        row(
            "ms for colour as one thing, 48 tiles, against three scipy permutation tests alone",
            ours,
            foil,
            0.0,
            ours < 500,
        )
    ]


def run(quick: bool) -> list[dict[str, object]]:
    return [
        *false_alarms(100 if quick else 1000),
        *coverage(8 if quick else 200),
        *found_stages(5 if quick else 40),
        *speed(),
    ]


if __name__ == "__main__":
    main(__doc__, run)
