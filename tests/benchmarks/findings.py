"""How long `drivers` and `choose` take on a full study, beside what one would script for a part of it.

48 tiles in 8 baths, three spots, three stages, three scorers, dry and wet rubs with strokes (invented). Ours: `drivers` with
everything (colour, chroma, mottle, stage, durability, strokes, agreement, trust), and `choose`. Foil: in the same process,
statsmodels fits one mixed model for each of L*, a*, b* (MixedLM) and one ordered model of the grades (OrderedModel, batches
and scorers left out), without tests of colour as one thing, ranges of chances, influence or choice. `ratio` is ours over the
foil; a row is ok under its `floor` in seconds (drivers 4, choose 6).

    python tests/benchmarks/findings.py [--quick] [--json]
"""

from __future__ import annotations

import argparse
import json
import sys
import time
import warnings
from datetime import date, timedelta

import numpy as np
import pandas as pd

from tilestudy.study.records import Batch, Factor, Made, Plan, Reading, Rub, RubPlan, Study, Target, Tile

FACTORS = (
    Factor("strength", (1.0, 3.0, 9.0), "g/L", "g/L", "geometric", "batch"),
    Factor("dip_time", (10.0, 30.0, 90.0), "s", "s", "geometric"),
    Factor("scrub_cycles", (1.0, 2.0, 4.0), "", "", "geometric"),
)
STUDY = Study(
    "plaques", "", "sulfide-dip", FACTORS,
    target=Target("dark brown", (30.0, 8.0, 8.0), 5.0), rub=RubPlan("cloth-10", ("dry", "wet"), 4.0), invented=True,
)  # fmt: skip
DAY = date(2026, 11, 2)


def invented(seed: int = 1) -> tuple[Plan, list[Made], list[Reading], list[Rub]]:
    """A study of 48 tiles with all its records, made up."""
    rng = np.random.default_rng(seed)
    strengths = (1.0, 3.0, 9.0, 3.0, 9.0, 1.0, 3.0, 1.0)
    grid = [(dip, scrub) for dip in (10.0, 30.0, 90.0) for scrub in (1.0, 2.0, 4.0)]
    batches, tiles, made, readings, rubs = [], [], [], [], []
    for number, strength in enumerate(strengths):
        code, session = f"B{number + 1}", number // 4 + 1
        batches.append(Batch(code, session, number + 1, {"strength": strength}))
        luck = rng.normal(0, 1.5)
        for order, i in enumerate(rng.permutation(9)[:6]):
            dip, scrub = grid[i]
            tile = f"T{number}{order}"
            settings = {"strength": strength, "dip_time": dip, "scrub_cycles": scrub}
            tiles.append(Tile(tile, code, session, order + 1, settings))
            made.append(Made(tile, DAY))
            shade = np.log(strength) / np.log(9) + np.log(dip / 10) / np.log(9) + np.log2(scrub) / 2
            for later, stage in enumerate(("fresh", "cured", "sealed")):
                for spot in (1, 2, 3):
                    mean = np.array([60 - 12 * shade + luck, 18 - 4 * shade, 20 - 5 * shade])
                    L, a, b = (float(one) for one in mean + rng.normal(0, 1, 3))
                    readings.append(Reading(tile, stage, DAY + timedelta(days=7 * later), L, a, b, spot))
            hold = 4.4 - 0.8 * np.log(strength) / np.log(9) + 0.5 * np.log2(scrub) / 2 + rng.normal(0, 0.4)
            for condition, less in (("dry", 0.0), ("wet", 0.5)):
                for scorer, kind in (("KL", -0.3), ("MB", 0.0), ("TR", 0.2)):
                    grade = float(np.clip(np.round(2 * (hold - less + kind + rng.normal(0, 0.25))) / 2, 1, 5))
                    broke = grade < 3
                    strokes = int(3 + 2 * grade) if broke else 10
                    on = DAY + timedelta(days=7)
                    rubs.append(Rub(tile, scorer, on, grade, condition, "cloth-10", strokes, broke))
    return Plan("plaques", 7, tuple(batches), tuple(tiles)), made, readings, rubs


def ours(records: tuple[Plan, list[Made], list[Reading], list[Rub]]) -> tuple[float, float]:
    """Seconds of drivers and of choose with it."""
    from tilestudy.analysis.choice.choice import choose
    from tilestudy.analysis.find import find

    plan, made, readings, rubs = records
    began = time.perf_counter()
    found = find(STUDY, plan, "bath", made, (), readings, (), rubs)
    analysed = time.perf_counter()
    choose(found, np.random.default_rng(1))
    return analysed - began, time.perf_counter() - began


def foil(records: tuple[Plan, list[Made], list[Reading], list[Rub]]) -> float:
    """Seconds of the scripted part."""
    import statsmodels.formula.api as smf
    from statsmodels.miscmodels.ordinal_model import OrderedModel

    plan, _, readings, rubs = records
    began = time.perf_counter()
    tiles = pd.DataFrame([{"tile": t.code, "batch": t.batch, **t.settings} for t in plan.tiles])
    cured = pd.DataFrame(
        [(r.tile, r.L, r.a, r.b) for r in readings if r.stage == "cured"], columns=["tile", "L", "a", "b"]
    )
    frame = tiles.merge(cured.groupby("tile", as_index=False).mean(), on="tile")
    for name in ("strength", "dip_time", "scrub_cycles"):
        frame[name] = np.log(frame[name]) - np.log(frame[name]).mean()
    scores = frame.merge(
        pd.DataFrame([(r.tile, r.condition, r.grade) for r in rubs], columns=["tile", "condition", "grade"])
    )
    terms = "(strength + dip_time + scrub_cycles)**2"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for channel in "Lab":
            smf.mixedlm(f"{channel} ~ {terms}", frame, groups=frame["batch"]).fit(reml=True)
        for condition in ("dry", "wet"):
            some = scores[scores["condition"] == condition]
            X = some[["strength", "dip_time", "scrub_cycles"]]
            OrderedModel(some["grade"].astype("category").cat.as_ordered(), X, distr="logit").fit(
                method="bfgs", disp=False
            )
    return time.perf_counter() - began


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    records = invented()
    times = 2 if asked.quick else 5
    ours(records)  # imports and caches
    foil(records)
    drivers, choosing = np.median([ours(records) for _ in range(times)], axis=0)
    scripted = float(np.median([foil(records) for _ in range(times)]))
    rows = [
        {
            "name": name,
            "ours": float(took),
            "foil": scripted,
            "ratio": float(took / scripted),
            "floor": limit,
            "ok": bool(took < limit),
        }
        for name, took, limit in (("drivers, s", drivers, 4.0), ("choose with drivers, s", choosing, 6.0))
    ]
    if asked.json:
        print(json.dumps({"rows": rows}))
    else:
        for row in rows:
            print(
                f"{row['name']:<24} {row['ours']:.2f}   foil {row['foil']:.2f}   ratio {row['ratio']:.1f}   {'ok' if row['ok'] else 'BAD'}"
            )
    return 0 if all(row["ok"] for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
