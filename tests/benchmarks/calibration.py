"""Are the chances and ranges of `choose` true? Simulated studies with a known truth, chosen from as a user would.

Each study has its own truth: a colour path from bare to black along which strength (set per bath), dip time and scrub cycles
(set per tile) push by amounts drawn anew, some bending or working on each other; and a durability with its own slopes. Six
baths (three strengths, two each) of six tiles; baths and tiles differ by luck; three scorers give half-step grades. The wish is
a colour near the path (whether the studied region reaches it or not), within 5 CIEDE2000, and a grade of 4 or better.

Told and compared with the truth (many new tiles, each from a new bath):
- ranges: how often the 90 % range of a new tile's L*, a*, b* holds the tile, and that of the chance holds the true chance, at
  settings drawn at random and at the chosen ones; wanted 86 to 94 %;
- chances: in five bins of the stated chance, how far it lies from the realised rate; wanted at most 0.07;
- the choice: realised success of the chosen settings against those of the best-looking tile (the foil).

The same once more with colours from a photo whose own error has a median of 2 CIEDE2000, shared by like colours: ranges and
chances are of the true colour, and the foil takes the photo at its word.

    python tests/benchmarks/calibration.py [--quick] [--json] [--studies N]
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.interpolate import PchipInterpolator

from tilestudy.analysis.choice.chance import AlwaysAlike, Right
from tilestudy.analysis.choice.chooser import Chooser, Evidence, Option
from tilestudy.analysis.colour.path import stages
from tilestudy.analysis.colour.photo_error import SHARED_OVER, covariance
from tilestudy.analysis.findings import grade_spec
from tilestudy.analysis.model import build_model
from tilestudy.analysis.wear.durability import analyse_grades
from tilestudy.colour.difference import ciede2000
from tilestudy.study.records import Factor, Study

FACTORS = (
    Factor("strength", (1.0, 3.0, 9.0), "g/L", "g/L", "geometric", "batch"),
    Factor("dip_time", (10.0, 30.0, 90.0), "s", "s", "geometric"),
    Factor("scrub_cycles", (1.0, 2.0, 4.0), "", "", "geometric"),
)
STUDY = Study("simulated", "", "sulfide-dip", FACTORS)
BATHS = (1.0, 3.0, 9.0, 9.0, 1.0, 3.0)
GRID = [(dip, scrub) for dip in (10.0, 30.0, 90.0) for scrub in (1.0, 2.0, 4.0)]
TOLERANCE, PASSING = 5.0, 4.0
PHOTO = 2.0
"""Median CIEDE2000 error of the simulated photos."""
_PATH = np.array(
    [(62, 18, 20), (53, 24, 23), (43, 25, 16), (35, 15, 8), (28, 8, 6), (22, 4, 4), (18, 2, 2)], dtype=float
)
_AT = PchipInterpolator(np.linspace(0, 1, len(_PATH)), _PATH)


@dataclass(frozen=True)
class Truth:
    """How colour and durability come about in one simulated studio."""

    shade: np.ndarray  # constant, strength, dip, scrub, strength x dip, strength bend
    hold: np.ndarray
    day_sd: float
    bath_sd: float
    tile_sd: float
    hold_bath_sd: float

    def columns(self, strength: np.ndarray, dip: np.ndarray, scrub: np.ndarray) -> np.ndarray:
        s = np.log(strength / 3) / np.log(3)
        d = np.log(dip / 30) / np.log(3)
        c = np.log2(scrub / 2)
        return np.column_stack([np.ones_like(s), s, d, c, s * d, s**2])

    def colours(self, columns: np.ndarray, bath: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """Colours of new tiles; `bath` is each tile's luck in shade."""
        shade = np.clip(columns @ self.shade + bath + rng.normal(0, self.tile_sd, len(columns)), 0, 1)
        return np.asarray(_AT(shade) + rng.normal(0, 0.8, (len(columns), 3)))

    def latent(self, columns: np.ndarray, bath: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """Durability of new tiles, on the scale of grades, not yet rounded."""
        return np.asarray(columns @ self.hold + bath + rng.normal(0, 0.3, len(columns)))


def grades(latent: np.ndarray, kind: float, rng: np.random.Generator) -> np.ndarray:
    """One scorer's half-step grades."""
    return np.clip(np.round(2 * (latent + kind + rng.normal(0, 0.25, len(latent)))) / 2, 1, 5)


def draw_truth(rng: np.random.Generator) -> Truth:
    """Draw a studio."""
    shade = [
        rng.uniform(0.4, 0.6),
        rng.uniform(0.05, 0.2),
        rng.uniform(0.03, 0.15),
        rng.uniform(-0.02, 0.12),
        rng.normal(0, 0.03),
        rng.normal(0, 0.03),
    ]
    hold = [
        rng.uniform(3.2, 4.4),
        rng.uniform(-0.8, 0.1),
        rng.uniform(-0.4, 0.2),
        rng.uniform(0.0, 0.6),
        rng.normal(0, 0.2),
        rng.normal(0, 0.15),
    ]
    return Truth(
        np.array(shade),
        np.array(hold),
        rng.uniform(0, 0.03),
        rng.uniform(0, 0.05),
        rng.uniform(0.015, 0.04),
        rng.uniform(0, 0.4),
    )


def made(truth: Truth, rng: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Make a study's tiles: a row a tile with its colour, and a row a score."""
    rows = []
    for number, strength in enumerate(BATHS):
        keep = rng.permutation(len(GRID))[:6]
        rows += [(f"B{number + 1}", number // 2 + 1, strength, *GRID[i]) for i in keep]
    tiles = pd.DataFrame(rows, columns=["batch", "session", "strength", "dip_time", "scrub_cycles"])
    tiles.insert(0, "tile", [f"T{i}" for i in range(len(tiles))])
    columns = truth.columns(*(tiles[f.name].to_numpy() for f in FACTORS))
    bath = tiles["batch"].factorize()[0]
    tiles[["L", "a", "b"]] = truth.colours(
        columns, rng.normal(0, truth.bath_sd, 6)[bath] + rng.normal(0, truth.day_sd, 3)[tiles["session"] - 1], rng
    )
    latent = truth.latent(columns, rng.normal(0, truth.hold_bath_sd, 6)[bath], rng)
    scores = [
        tiles.assign(scorer=mark, y=grades(latent, kind, rng))
        for mark, kind in (("KL", -0.3), ("MB", 0.0), ("TR", 0.25))
    ]
    return tiles, pd.concat(scores, ignore_index=True)


def realised(
    truth: Truth, settings: tuple[float, float, float], right: Right, rng: np.random.Generator, many: int = 2000
) -> tuple[float, np.ndarray]:
    """The true chance at settings, and colours of new tiles each from a new bath."""
    columns = truth.columns(*(np.full(many, one) for one in settings))
    colours = truth.colours(columns, rng.normal(0, np.hypot(truth.bath_sd, truth.day_sd), many), rng)
    good = right.off(colours) <= right.tolerance
    if right.passing is not None:
        latent = truth.latent(columns, rng.normal(0, truth.hold_bath_sd, many), rng)
        good &= grades(latent, 0.0, rng) >= right.passing
    return float(good.mean()), colours


def wished(rng: np.random.Generator, beside: float = 1.5) -> np.ndarray:
    """A colour somebody might want, near the path; whether the studied region reaches it, nobody knows beforehand."""
    return np.asarray(_AT(rng.uniform(0.1, 0.95)) + rng.normal(0, beside, 3))


def judge(scores: pd.DataFrame) -> dict:
    """Fit durability as `drivers` does."""
    found = analyse_grades(scores, FACTORS, grade_spec("dry", PASSING), study="simulated")
    return {
        "dry": (found.model, found.chances.fit if found.chances else AlwaysAlike(found.constant or 0.0, len(BATHS)))
    }


def one_study(seed: int) -> dict[str, list[tuple[float, ...]]]:
    """Simulate, choose and compare: for each setting whether the ranges held, and stated and realised chances."""
    rng = np.random.default_rng(seed)
    truth = draw_truth(rng)
    tiles, scores = made(truth, rng)
    target = wished(rng)
    right = Right(tuple(float(one) for one in target), None, TOLERANCE, PASSING)
    model = build_model(tiles, FACTORS)
    along = stages(tiles, model, [factor.name for factor in FACTORS])
    chooser = Chooser(Evidence(STUDY, tiles, model, right, judge(scores), along), rng)
    chosen = chooser.best(3)
    at_random = chooser.options([chooser.settings[i] for i in rng.permutation(len(chooser.settings))[:6]], right)
    found: dict[str, list[tuple[float, ...]]] = {"random": [], "chosen": [], "stated": [], "best": []}
    for place, options in (("random", at_random), ("chosen", chosen)):
        for option in options:
            settings = tuple(float(option.settings[f.name]) for f in FACTORS)
            true, colours = realised(truth, settings, right, rng)
            inside = ((colours >= option.lab_low) & (colours <= option.lab_high)).mean(axis=0)
            # of a setting that is all but hopeless the range of the chance holds it by being next to nought: not counted
            held = float(option.low <= true <= option.high) if option.high >= 0.05 else np.nan
            found[place].append((held, *inside))
            if place == "chosen":
                found["stated"].append((option.chance, true))
    off = ciede2000(tiles[["L", "a", "b"]].to_numpy(), target)
    passes = scores.groupby("tile", sort=False)["y"].median().to_numpy() >= PASSING
    best = int(np.argmin(np.where(passes, off, off + 100)))
    copied = tuple(float(tiles.loc[best, f.name]) for f in FACTORS)
    settings = tuple(float(chosen[0].settings[f.name]) for f in FACTORS)
    found["best"].append(
        (chosen[0].chance, realised(truth, settings, right, rng)[0], realised(truth, copied, right, rng)[0])
    )
    return found


def photographed(labs: np.ndarray, rng: np.random.Generator, many: int = 64) -> np.ndarray:
    """Colours (n, 3) as a photo tells them: off by a smooth function of the colour (random Fourier features)."""
    waves = rng.normal(0, 1 / SHARED_OVER, (3, many, 3))
    weights, turn = rng.normal(0, np.sqrt(2 / many), (3, many)), rng.uniform(0, 2 * np.pi, (3, many))
    z = np.stack([np.cos(labs @ waves[i].T + turn[i]) @ weights[i] for i in range(3)], axis=1)
    return labs + np.stack([np.linalg.cholesky(covariance(lab, PHOTO)) @ one for lab, one in zip(labs, z, strict=True)])


def one_photo_study(seed: int) -> dict[str, list[tuple[float, ...]]]:
    """Simulate a study read by photo, and choose with the photo's error known, and with the photo taken at its word."""
    rng = np.random.default_rng(10_000 + seed)
    truth = draw_truth(rng)
    tiles, _ = made(truth, rng)
    tiles[["L", "a", "b"]] = photographed(tiles[["L", "a", "b"]].to_numpy(), rng)
    # wishes anywhere around: of those drawn near the true path the photo's own path lies farther off, by its error
    right = Right(tuple(float(one) for one in wished(rng, 8.0)), None, TOLERANCE)
    model = build_model(tiles, FACTORS)
    along = stages(tiles, model, [factor.name for factor in FACTORS])
    found: dict[str, list[tuple[float, ...]]] = {}
    for name, error in (("known", PHOTO), ("at its word", None)):
        chooser = Chooser(Evidence(STUDY, tiles, model, right, {}, along, error), np.random.default_rng(seed))
        places = np.random.default_rng(seed).permutation(len(chooser.settings))[:6]
        options: list[Option] = [*chooser.best(3), *chooser.options([chooser.settings[i] for i in places], right)]
        for option in options:
            settings = tuple(float(option.settings[f.name]) for f in FACTORS)
            true, colours = realised(truth, settings, right, rng, 500)
            inside = ((colours >= option.lab_low) & (colours <= option.lab_high)).mean(axis=0)
            held = float(option.low <= true <= option.high) if option.high >= 0.05 else np.nan
            found.setdefault(name, []).append((held, *inside, option.chance, true))
    return found


def photo_rows(found: dict[str, np.ndarray], quick: bool) -> list[dict[str, object]]:
    """Ranges of new tiles and chances with a photo's error known, beside those with the photo taken at its word."""
    told, slack = [], 0.06 if quick else 0.0
    ours, foil = found["known"], found["at its word"]
    labels = ("90 % range of the chance", *(f"90 % range of a new tile's {one}*" for one in "Lab"))
    for i, label in enumerate(labels):
        share, plain = float(np.nanmean(ours[:, i])), float(np.nanmean(foil[:, i]))
        ok = 0.86 - slack <= share <= 0.96 + slack
        told.append(row(f"photo, {label}", share, plain, 0.86, ok))
    for low, high in ((0.0, 0.2), (0.2, 0.5), (0.5, 1.0)):
        off = []
        for one in (ours, foil):
            here = (one[:, 4] >= low) & (one[:, 4] < high + 1e-9)
            off.append(abs(float(one[here, 4].mean() - one[here, 5].mean())) if here.any() else np.nan)
        here = (ours[:, 4] >= low) & (ours[:, 4] < high + 1e-9)
        if not here.any():
            continue
        allowed = 0.07 + (2 * 0.4 / np.sqrt(here.sum() / 3) if quick else 0.0)
        name = f"photo, stated chance {low:.1f} to {high:.1f}: off the realised rate by"
        more = {
            "stated": float(ours[here, 4].mean()),
            "realised": float(ours[here, 5].mean()),
            "settings": int(here.sum()),
        }
        told.append(row(name, off[0], None if np.isnan(off[1]) else off[1], 0.07, off[0] <= allowed, **more))
    return told


def row(name: str, ours: float, foil: float | None, floor: float, ok: bool, **more: float) -> dict[str, object]:
    return {"name": name, "ours": ours, "foil": foil, "ratio": None, "floor": floor, "ok": bool(ok), **more}


def rows_of(found: dict[str, np.ndarray], quick: bool) -> list[dict[str, object]]:
    """Ranges against 86 to 94 %, stated against realised chances in five bins, the choice against the best-looking tile."""
    slack = 0.06 if quick else 0.0  # 20 studies know a share to about six in a hundred
    told = []
    for name, places in (("settings at random", "random"), ("chosen settings", "chosen")):
        values = found[places]
        for label, share in zip(("L*", "a*", "b*"), values[:, 1:].mean(axis=0), strict=True):
            ok = 0.86 - slack <= share <= 0.94 + slack
            told.append(row(f"90 % range of a new tile's {label}, {name}", float(share), None, 0.86, ok))
        share = float(np.nanmean(values[:, 0]))
        told.append(row(f"90 % range of the chance, {name}", share, None, 0.86, 0.86 - slack <= share <= 0.94 + slack))
    stated, true = found["stated"].T
    edges = np.linspace(0, 1, 6)
    place = np.clip(np.searchsorted(edges, stated, side="right") - 1, 0, 4)
    for i in range(5):
        here = place == i
        if not here.any():
            continue
        off = abs(float(stated[here].mean() - true[here].mean()))
        allowed = 0.07 + (2 * 0.3 / np.sqrt(here.sum()) if quick else 0.0)
        told.append(
            row(
                f"stated chance {edges[i]:.1f} to {edges[i + 1]:.1f}: off the realised rate by",
                off,
                None,
                0.07,
                off <= allowed,
                stated=float(stated[here].mean()),
                realised=float(true[here].mean()),
                settings=int(here.sum()),
            )
        )
    chosen, copied = found["best"].mean(axis=0)[1:]
    told.append(
        row("realised success of the choice, foil: copy the best-looking tile", chosen, copied, 1.0, chosen > copied)
    )
    told[-1]["ratio"] = float(chosen / copied)
    return told


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--studies", type=int)
    asked = parser.parse_args()
    studies = asked.studies or (20 if asked.quick else 500)
    began = time.perf_counter()
    all_found: dict[str, list[tuple[float, ...]]] = {}
    for seed in range(studies):
        for name, rows in one_study(seed).items():
            all_found.setdefault(name, []).extend(rows)
    told = rows_of({name: np.array(rows) for name, rows in all_found.items()}, studies < 500)
    photos: dict[str, list[tuple[float, ...]]] = {}
    for seed in range(studies // 2):
        for name, rows in one_photo_study(seed).items():
            photos.setdefault(name, []).extend(rows)
    told += photo_rows({name: np.array(rows) for name, rows in photos.items()}, studies < 500)
    if asked.json:
        print(json.dumps({"rows": told}))
    else:
        print(f"{studies} simulated studies in {time.perf_counter() - began:.0f} s")
        for one in told:
            foil = "" if one["foil"] is None else f"   foil {one['foil']:.3f}"
            more = f"   ({one['stated']:.2f} stated, {one['realised']:.2f} realised)" if "stated" in one else ""
            print(f"{one['name']:<66} {one['ours']:.3f}{foil}{more}   {'ok' if one['ok'] else 'BAD'}")
    return 0 if all(one["ok"] for one in told) else 1


if __name__ == "__main__":
    sys.exit(main())
