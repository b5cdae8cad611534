"""Grades: fits that fail, false alarms, and whether the stated chance to pass holds; ours against what one would script.

1. 24 tiles, 5 grades, strong effects: how many fits fail. Foils: statsmodels' OrderedModel, and, where Rscript with MASS and
   ordinal is installed, R's polr and clm. A fit fails when it raises, does not converge, or has an estimate or standard error
   that is not finite or larger than 50. OrderedModel is also asked whether it kept a grade that nobody gave.
2. False alarms at 5 % of a per-batch and a per-tile factor that do nothing, (batches x tiles) 4x6, 6x4, 8x6, 1 and 3 scorers,
   standard deviation of the batch 0, 0.5, 1 logits. Foil: the same fit with every row taken as independent.
3. 90 % ranges of the chance to pass must cover the true chance in 84 to 96 % of studies. `foil` is the share covered by the
   90 % range of the plain count of passing tiles made at those settings (Wilson 1927).

    python tests/benchmarks/ordinal.py [--quick] [--json]
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.special import expit

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.benchmarks.printing import main

from tilestudy.analysis.wear.ordinal import OrdinalFit, fit_ordinal

PLANS = ((4, 6), (6, 4), (8, 6))
LEVEL, MOST = 0.05, 0.065
CUTS = np.array([-2.0, -0.5, 1.0, 2.2])
PASSING = 4.0
CORNERS = np.array([[a, b, a * b] for a in (-1.0, 1.0) for b in (-1.0, 1.0)])

R_SCRIPT = """
suppressMessages({library(MASS); library(ordinal)})
d <- read.csv(commandArgs(TRUE)[1])
bad <- function(est, se) any(!is.finite(c(est, se))) || max(abs(est)) > 50 || max(se) > 50
one <- function(part, how) {
  part$y <- factor(part$y, ordered = TRUE)
  tryCatch({
    fit <- how(part)
    table <- coef(summary(fit))
    bad(table[, 1], table[, 2])
  }, error = function(e) TRUE, warning = function(w) TRUE)
}
parts <- split(d, d$study)
for (how in list(function(p) polr(y ~ a + b, p, Hess = TRUE), function(p) clm(y ~ a + b, data = p))) {
  started <- proc.time()[3]
  failed <- sum(sapply(parts, one, how = how))
  cat(failed, 1000 * (proc.time()[3] - started) / length(parts), "\\n")
}
"""


def study(
    rng: np.random.Generator, batches: int, tiles: int, scorers: int, batch_sd: float, tile_sd: float, effects: list[float],
    base: float = 1.0,
) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]:  # fmt: skip
    """Simulate grades 1 to 5, model columns (per batch, per tile, pair) and groups."""
    n = batches * tiles
    batch = np.repeat(np.arange(batches), tiles)
    strength = np.where(batch % 2, 1.0, -1.0)
    dip = np.where(np.tile(np.arange(tiles), batches) % 2, 1.0, -1.0)
    X = np.column_stack([strength, dip, strength * dip])
    eta = base + X @ np.asarray(effects) + batch_sd * rng.normal(size=batches)[batch] + tile_sd * rng.normal(size=n)
    tile, scorer = np.repeat(np.arange(n), scorers), np.tile(np.arange(scorers), n)
    lean = 0.7 * rng.normal(size=scorers) if scorers > 1 else np.zeros(1)
    y = 1.0 + np.searchsorted(CUTS, eta[tile] + lean[scorer] + rng.logistic(size=n * scorers))
    groups = {"batch": batch[tile]}
    return y, X[tile], groups | ({"tile": tile, "scorer": scorer} if scorers > 1 else {})


def orderedmodel(y: np.ndarray, X: np.ndarray) -> tuple[bool, bool]:
    """Whether statsmodels' OrderedModel failed, and whether it dropped a grade that nobody gave."""
    from statsmodels.miscmodels.ordinal_model import OrderedModel

    grades = pd.Series(y.astype(int)).astype("category").cat.as_ordered()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            model = OrderedModel(grades, X, distr="logit")
            fit = model.fit(method="bfgs", maxiter=200, disp=False)
            figures = np.concatenate([np.asarray(fit.params)[: X.shape[1]], np.asarray(fit.bse)])
        except (np.linalg.LinAlgError, ValueError):
            return True, False
    fine = bool(fit.mle_retvals["converged"]) and bool(np.isfinite(figures).all()) and float(np.abs(figures).max()) < 50
    return not fine, model.k_levels < 5


def by_r(studies: list[tuple[np.ndarray, np.ndarray]]) -> list[tuple[float, float]]:
    """Share of fits that failed, and ms a fit, of polr and clm; empty where R or a package is not installed."""
    if shutil.which("Rscript") is None:
        return []
    frames = [pd.DataFrame(X, columns=["a", "b"]).assign(y=y.astype(int), study=i) for i, (y, X) in enumerate(studies)]
    with tempfile.TemporaryDirectory() as folder:
        data, script = Path(folder) / "studies.csv", Path(folder) / "fit.R"
        pd.concat(frames).to_csv(data, index=False)
        script.write_text(R_SCRIPT, encoding="utf-8")
        told = subprocess.run(["Rscript", str(script), str(data)], capture_output=True, text=True, check=False)
    if told.returncode:
        return []
    figures = [line.split() for line in told.stdout.splitlines() if line.strip()]
    return [(float(failed) / len(studies), float(ms)) for failed, ms in figures]


def row(name: str, ours: float, foil: float, ok: bool, floor: float = 0.0) -> dict[str, object]:
    ratio = foil / ours if ours > 0 else (1e9 if foil > 0 else 1.0)
    return {"name": name, "ours": ours, "foil": foil, "ratio": ratio, "floor": floor, "ok": ok}


def failures(many: int) -> list[dict[str, object]]:
    rng = np.random.default_rng(24)
    studies = []
    while len(studies) < many:
        y, X, groups = study(rng, 4, 6, 1, 0.5, 0.0, [1.2, 1.8, 0.0])
        if len(set(y)) > 1:
            studies.append((y, X[:, :2], groups))
    started = time.perf_counter()
    failed = 0
    for y, X, groups in studies:
        fit = fit_ordinal(y, X, groups, keep=[PASSING])
        figures = np.concatenate([fit.slopes, fit.cuts, list(fit.sd.values())])
        failed += not (np.isfinite(figures).all() and np.abs(figures).max() < 50)
    ms = 1e3 * (time.perf_counter() - started) / many
    started = time.perf_counter()
    theirs = [orderedmodel(y, X) for y, X, _ in studies]
    their_ms = 1e3 * (time.perf_counter() - started) / many
    rows = [
        row("fits that failed, 24 tiles, strong effects, against OrderedModel", failed / many,
            float(np.mean([one for one, _ in theirs])), failed == 0, 1.0),
        row("fits that lost a grade nobody gave, against OrderedModel", 0.0, float(np.mean([one for _, one in theirs])), True),
        row("ms for a fit with batches, against OrderedModel without", ms, their_ms, ms <= 16.0),
    ]  # fmt: skip
    for name, (share, r_ms) in zip(("polr", "clm"), by_r([(y, X) for y, X, _ in studies]), strict=False):
        rows.append(row(f"fits that failed or warned, 24 tiles, strong effects, against R's {name}", failed / many, share,
                        failed == 0, 1.0))  # fmt: skip
        rows.append(row(f"ms for a fit with batches, against R's {name} without", ms, r_ms, ms <= 16.0))
    return rows


def alarms(many: int, many_scored: int, pooled: bool) -> list[dict[str, object]]:
    """A row for each cell, or, of few runs, one for each factor over all cells."""
    cells: dict[str, list[list[list[bool]]]] = {}
    for scorers, runs in ((1, many), (3, many_scored)):
        for batches, tiles in PLANS:
            for batch_sd in (0.0, 0.5, 1.0):
                rng = np.random.default_rng([scorers, batches, tiles, int(10 * batch_sd)])
                who = f"{scorers} scorer{'s' if scorers > 1 else ''}"
                cell = f"all plans, {who}" if pooled else f"{batches}x{tiles}, {who}, batch sd {batch_sd:g}"
                for _ in range(runs):
                    y, X, groups = study(
                        rng, batches, tiles, scorers, batch_sd, 1.0 if scorers > 1 else 0.0, [0.0, 0.0, 0.0]
                    )
                    if len(set(y)) < 2:
                        continue
                    most = batches * tiles - batches - 2
                    fit, bare = fit_ordinal(y, X, groups), fit_ordinal(y, X)
                    cells.setdefault(cell, []).append(
                        [[(one.test([k], df).p or 0.0) < LEVEL for one, df in ((fit, most), (bare, len(y) - 4))]
                         for k in (0, 1)]
                    )  # fmt: skip
    rows = []
    for cell, found in cells.items():
        rates = np.mean(found, axis=0)
        limit = MOST + 2.0 * np.sqrt(MOST * (1.0 - MOST) / len(found))
        for k, factor in enumerate(("per batch", "per tile")):
            ours, foil = float(rates[k, 0]), float(rates[k, 1])
            rows.append(row(f"false alarms, {cell}, {factor}", ours, foil, bool(ours <= limit)))
    return rows


def true_chances(effects: list[float], base: float, sd: float) -> np.ndarray:
    nodes, weights = np.polynomial.hermite_e.hermegauss(40)
    eta = base + CORNERS @ np.asarray(effects) - CUTS[2]
    return np.asarray(expit(eta[:, None] + sd * nodes) @ (weights / weights.sum()))


def wilson(passed: int, tiles: int) -> tuple[float, float]:
    z, share = 1.6449, passed / tiles
    middle = (share + z * z / (2 * tiles)) / (1 + z * z / tiles)
    half = z * np.sqrt(share * (1 - share) / tiles + z * z / (4 * tiles * tiles)) / (1 + z * z / tiles)
    return middle - half, middle + half


def coverage(many: int) -> list[dict[str, object]]:
    rows = []
    cases = ((0.5, [0.0, 0.0, 0.0], 1.0), (1.0, [1.5, 0.8, 0.0], 1.0), (0.5, [0.5, 1.0, 0.0], 2.5))
    for scorers in (1, 3):
        for batches, tiles in PLANS:
            ours: list[np.ndarray] = []
            counted: list[list[bool]] = []
            for batch_sd, effects, base in cases:
                rng = np.random.default_rng([7, scorers, batches, tiles, int(10 * base), int(10 * effects[0])])
                tile_sd = 1.0 if scorers > 1 else 0.0
                truth = true_chances(effects, base, float(np.hypot(batch_sd, tile_sd)))
                for _ in range(many if scorers == 1 else (many + 1) // 2):
                    y, X, groups = study(rng, batches, tiles, scorers, batch_sd, tile_sd, effects, base)
                    fit: OrdinalFit = fit_ordinal(y, X, groups, keep=[PASSING])
                    low, high = np.quantile(fit.pass_draws(CORNERS, PASSING, rng, 300), [0.05, 0.95], axis=0)
                    ours.append((low <= truth) & (truth <= high))
                    at = [(corner == X).all(axis=1) for corner in CORNERS]
                    spans = [wilson(int((y[which] >= PASSING).sum()), int(which.sum())) for which in at]
                    counted.append([a <= t <= b for (a, b), t in zip(spans, truth, strict=True)])
            share, n = float(np.mean(ours)), len(ours)
            slack = 3.0 * np.sqrt(0.09 / n)
            who = f"{scorers} scorer{'s' if scorers > 1 else ''}"
            rows.append(row(f"90 % ranges of the chance to pass that hold it, {batches}x{tiles}, {who}, against the count",
                            share, float(np.mean(counted)), bool(0.84 - slack <= share <= 0.96 + slack)))  # fmt: skip
    return rows


def run(quick: bool) -> list[dict[str, object]]:
    return (
        failures(60 if quick else 500)
        + alarms(*((40, 10) if quick else (1000, 1000)), quick)
        + coverage(10 if quick else 150)
    )


if __name__ == "__main__":
    main(__doc__, run)
