"""Does the trust in a model speak when it should, and only then? Sentences in sound studies, and faults that are found.

Sound studies of three responses (their noise independent, the hardest case for silence): `ours` is the share in which any
sentence is said, `foil` the share in which a rule of thumb points at a tile (least squares on the same columns; Cook's distance
above 4/n, or a studentised residual beyond 3), `ratio` the foil's over ours. A row is ok when ours is at most 10 % within three
standard errors of the simulation. Studies with a planted fault, one response: `ours` is the share in which the fault itself is
named, `foil` the same for the rule of thumb (tiles only), `ratio` ours over the foil's; ok when ours reaches the floor.

    python tests/benchmarks/trust.py [--quick] [--json]
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable

import numpy as np
import pandas as pd

from tilestudy.analysis.drivers import analyse
from tilestudy.analysis.findings import ResponseFindings, colour_spec
from tilestudy.analysis.trust.records import Trust
from tilestudy.analysis.trust.trust import trust
from tilestudy.study.records import Factor

LIGHTNESS = colour_spec("L")
MAY_SPEAK = 0.10
Rng = np.random.Generator


def study(rng: Rng, baths_each: int, strengths: int, dips: int, luck: float) -> tuple[pd.DataFrame, list[Factor]]:
    """Tiles of every dip time and number of scrub cycles in each bath; effects of any size, tile noise of 2 L*."""
    strength = Factor(
        "strength", (1.0, 3.0, 9.0)[:: 3 - strengths or 1][:strengths], "g/L", "g/L", "geometric", "batch"
    )
    dip = Factor("dip_time", (10.0, 30.0, 90.0)[:: 3 - dips or 1][:dips], "s", "s", "geometric")
    cycles = Factor("scrub_cycles", (1.0, 4.0))
    effects = rng.uniform(-1, 1, 3) * (8.0, 4.0, 3.0)
    rows = []
    for grams in strength.levels * baths_each:
        bath, shift = len(rows), rng.normal(0, luck)
        for seconds in dip.levels:
            for times in cycles.levels:
                at = np.array([np.log(grams / 3), np.log(seconds / 30), (times - 2.5) / 1.5])
                y = 40 + shift + rng.normal(0, 2.0) + float(effects @ at)
                rows.append((f"T{len(rows)}", f"B{bath}", 1, grams, seconds, times, y))
    names = ["tile", "batch", "session", "strength", "dip_time", "scrub_cycles", "y"]
    return pd.DataFrame(rows, columns=names), [strength, dip, cycles]


SHAPES = {
    "4 baths of 4": (2, 2, 2),
    "6 baths of 6": (2, 3, 3),
    "9 baths of 6": (3, 3, 3),
}


def rule_of_thumb(frame: pd.DataFrame, found: ResponseFindings) -> set[str]:
    """Tiles that Cook's distance or a studentised residual would point at, by statsmodels' least squares."""
    from statsmodels.regression.linear_model import OLS

    X = found.model.matrix(frame)
    seen = OLS(frame["y"].to_numpy(), X).fit().get_influence()
    far = (seen.cooks_distance[0] > 4 / len(frame)) | (np.abs(seen.resid_studentized_external) > 3)
    return set(frame["tile"][far])


def look(frame: pd.DataFrame, factors: list[Factor], rng: Rng) -> tuple[Trust | None, set[str], float]:
    """Trust, the tiles of the rule of thumb, and the seconds that trust took."""
    found = analyse(frame, factors, LIGHTNESS)
    started = time.perf_counter()
    ours = trust(found, frame, factors, LIGHTNESS, rng=rng)
    return ours, rule_of_thumb(frame, found), time.perf_counter() - started


def tile_off(frame: pd.DataFrame, rng: Rng, by: float = 12.0) -> tuple[pd.DataFrame, str]:
    """One tile 12 L* (six standard deviations) too light."""
    tile = frame["tile"].iloc[int(rng.integers(len(frame)))]
    return frame.assign(y=frame["y"] + by * (frame["tile"] == tile)), str(tile)


def tile_far_off(frame: pd.DataFrame, rng: Rng) -> tuple[pd.DataFrame, str]:
    """One tile 18 L* (nine standard deviations) too light."""
    return tile_off(frame, rng, 18.0)


def bath_off(frame: pd.DataFrame, rng: Rng) -> tuple[pd.DataFrame, str]:
    """One bath 15 L* too light."""
    bath = frame["batch"].iloc[int(rng.integers(len(frame)))]
    return frame.assign(y=frame["y"] + 15.0 * (frame["batch"] == bath)), str(bath)


def uneven(frame: pd.DataFrame, rng: Rng) -> tuple[pd.DataFrame, str]:
    """Short dips scatter five times as much."""
    more = rng.normal(0, 9.8, len(frame)) * (frame["dip_time"] == 10.0)
    return frame.assign(y=frame["y"] + more), "dip_time"


def looped(frame: pd.DataFrame, rng: Rng) -> tuple[pd.DataFrame, str]:
    """A wave of 5 L* that lines, bends and pairs cannot follow."""
    phase = np.log(frame["dip_time"]) * 3 + frame["strength"]
    return frame.assign(y=frame["y"] + 5 * np.sin(phase) * (2 * (frame["scrub_cycles"] > 1) - 1)), ""


FAULTS: dict[str, tuple[Callable[[pd.DataFrame, Rng], tuple[pd.DataFrame, str]], str, str, float]] = {
    "a tile 12 L* off": (tile_off, "tile", "6 baths of 6", 0.5),
    "a tile 18 L* off": (tile_far_off, "tile", "6 baths of 6", 0.9),
    "a bath of two alike 15 L* off": (bath_off, "batch", "6 baths of 6", 0.4),
    "a bath of three alike 15 L* off": (bath_off, "batch", "9 baths of 6", 0.9),
    "short dips scatter fivefold": (uneven, "spread", "6 baths of 6", 0.5),
    "a wave of 5 L*": (looped, "lack of fit", "6 baths of 6", 0.85),
}


def named(ours: Trust | None, kind: str, what: str) -> bool:
    """Tell whether a sentence names the fault; of two baths alike either may stand first."""
    return ours is not None and any(one.kind == kind and f"{what} " in f"{one.code} {one.text} " for one in ours.said)


def run(quick: bool) -> list[dict[str, object]]:
    many, few = (25, 15) if quick else (250, 100)
    rows: list[dict[str, object]] = []
    seconds: list[float] = []
    for shape, sizes in SHAPES.items():
        for luck in (0.0, 2.0):
            spoke = thumb = 0
            for i in range(many):
                said = pointed = False
                for response in range(3):
                    rng = np.random.default_rng([i, response, int(luck), *sizes])
                    frame, factors = study(rng, *sizes, luck)
                    ours, flagged, took = look(frame, factors, rng)
                    seconds.append(took)
                    said |= bool(ours and ours.said)
                    pointed |= bool(flagged)
                spoke, thumb = spoke + said, thumb + pointed
            slack = 3 * (MAY_SPEAK * (1 - MAY_SPEAK) / many) ** 0.5
            rows.append({"name": f"sound, {shape}, bath noise {luck:g} of 2", "ours": spoke / many, "foil": thumb / many,
                         "ratio": round(thumb / max(spoke, 1), 1), "floor": 1.0,
                         "ok": spoke / many <= MAY_SPEAK + slack})  # fmt: skip
    for name, (plant, kind, shape, floor) in FAULTS.items():
        hits = thumb = 0
        for i in range(few):
            rng = np.random.default_rng([i, 7])
            frame, factors = study(rng, *SHAPES[shape], 1.0)
            frame, what = plant(frame, rng)
            ours, flagged, took = look(frame, factors, rng)
            hits += named(ours, kind, what)
            thumb += kind == "tile" and what in flagged
        slack = 3 * (floor * (1 - floor) / few) ** 0.5 if quick else 0.0
        rows.append({"name": f"planted: {name}", "ours": hits / few, "foil": thumb / few,
                     "ratio": round(hits / max(thumb, 1), 1), "floor": floor, "ok": hits / few >= floor - slack})  # fmt: skip
    median = round(float(np.median(seconds)), 3)
    rows.append({"name": "seconds a response (median)", "ours": median, "foil": 0.3,
                 "ratio": round(0.3 / median, 1), "floor": 1.0, "ok": True})  # fmt: skip
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description="Sentences of trust in sound studies, and faults found.")
    parser.add_argument("--quick", action="store_true", help="few studies: under 50 seconds")
    parser.add_argument("--json", action="store_true", help="print rows as JSON")
    asked = parser.parse_args()
    rows = run(asked.quick)
    if asked.json:
        print(json.dumps({"rows": rows}))
        return
    for row in rows:
        print(
            f"{row['name']:<46} ours {row['ours']:<7.3g} foil {row['foil']:<7.3g} ratio {row['ratio']:<6} ok {row['ok']}"
        )


if __name__ == "__main__":
    main()
