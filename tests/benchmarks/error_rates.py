"""How often a factor that does nothing is called a driver: ours against what one would script.

Simulated plans of (batches x tiles): one two-level factor per batch, one per tile, their pair; no true effect. Batch
noise is 0, 0.5, 1 or 2 times tile noise, as standard deviations. Each analysis tests at 5 %. Ours is REML with
Kenward-Roger; the foils are least squares without batches and statsmodels' MixedLM with its z tests (over the fits that
converged). A row of false alarms is ok when ours lie between 0.5 and 6.5 %, give or take two standard errors of the
simulation, and when least squares, where batches differ, cry wolf over the per-batch factor more often.

With four batches that do not differ, Kenward-Roger cannot reach 0.5 %: it judges the per-batch factor on 2 degrees of
freedom, by noise that is in truth that of all tiles, so chance passes its limit F(1, 2) = 18.5 as seldom as F(1, 20) does:
3 times in 10,000. R's pbkrtest gives the same p. Those rows are reported as they are, not ok (in a quick run the
allowance hides it); tilestudy.analysis.timid tells the reader of such a study.

Where Rscript, lme4 and pbkrtest are installed, some of the same studies are fitted there too, all in one call (bobyqa
with a tight tolerance), and p is compared.

    python tests/benchmarks/error_rates.py [--quick] [--json]
"""

from __future__ import annotations

import argparse
import csv
import json
import math
import subprocess
import tempfile
import time
import warnings
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from tilestudy.analysis.mixed import fit_mixed

PLANS = ((4, 6), (6, 4), (8, 6))
RATIOS = (0.0, 0.5, 1.0, 2.0)
LEVEL = 0.05
LEAST, MOST = 0.005, 0.065
MS_AT_6X4 = 3.0
P_OF_R = 1e-4
FACTORS = {"per batch": 1, "per tile": 2}

R_SCRIPT = """
suppressMessages({library(lme4); library(pbkrtest)})
files <- commandArgs(trailingOnly = TRUE)
data <- read.csv(files[1])
tight <- lmerControl("bobyqa", optCtrl = list(rhoend = 1e-12), calc.derivs = FALSE)
told <- lapply(split(data, data$study), function(d) suppressMessages(suppressWarnings({
  start <- proc.time()[["elapsed"]]
  fit <- lmer(y ~ strength * dip + (1 | batch), d, control = tight)
  p <- sapply(2:3, function(k) KRmodcomp(fit, diag(4)[k, , drop = FALSE])$test["Ftest", "p.value"])
  data.frame(study = d$study[1], p1 = p[1], p2 = p[2], ms = 1000 * (proc.time()[["elapsed"]] - start))
})))
write.csv(do.call(rbind, told), files[2], row.names = FALSE)
cat(R.version$major, R.version$minor, paste(packageVersion("lme4")), paste(packageVersion("pbkrtest")))
"""


def plan(batches: int, tiles: int) -> tuple[np.ndarray, np.ndarray]:
    """Columns (constant, per batch, per tile, pair) and batch codes."""
    batch = np.repeat(np.arange(batches), tiles)
    strength = np.where(batch % 2, 1.0, -1.0)
    dip = np.where(np.tile(np.arange(tiles), batches) % 2, 1.0, -1.0)
    return np.column_stack([np.ones(batches * tiles), strength, dip, strength * dip]), batch


@dataclass
class Cell:
    """One plan and noise: p values by who and factor, times in ms by who, failures by who, and studies for R."""

    batches: int
    tiles: int
    ratio: float
    p: dict[tuple[str, str], list[float]] = field(default_factory=dict)
    ms: dict[str, list[float]] = field(default_factory=dict)
    failed: dict[str, int] = field(default_factory=lambda: {"ours": 0, "MixedLM": 0})
    tried: dict[str, int] = field(default_factory=lambda: {"ours": 0, "MixedLM": 0})
    for_r: list[tuple[np.ndarray, list[float]]] = field(default_factory=list)

    def alarms(self, who: str, factor: str) -> float:
        """Share of p values below the level; nought when no fit converged."""
        p = self.p.get((who, factor), [])
        return float(np.mean(np.asarray(p) < LEVEL)) if p else 0.0

    def note(self, who: str, p: list[float]) -> None:
        """Keep the p values of one study."""
        for factor, value in zip(FACTORS, p, strict=True):
            self.p.setdefault((who, factor), []).append(value)


def by_mixedlm(y: np.ndarray, X: np.ndarray, batch: np.ndarray) -> np.ndarray | None:
    """z-test p values of statsmodels' MixedLM, or None when the fit failed or did not converge."""
    import statsmodels.api as sm

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            fit = sm.MixedLM(y, X, groups=batch).fit(reml=True)
        except (np.linalg.LinAlgError, ValueError):
            return None
    p = np.asarray(fit.pvalues)[: X.shape[1]]
    return p if fit.converged and np.isfinite(p).all() else None


def simulate(batches: int, tiles: int, ratio: float, many: int, few: int, to_r: int) -> Cell:
    """Simulate `many` studies, the first `few` for MixedLM and the first `to_r` for R as well."""
    X, batch = plan(batches, tiles)
    rng = np.random.default_rng([batches, tiles, int(10 * ratio)])
    cell = Cell(batches, tiles, ratio)
    rows = np.eye(4)
    for i in range(many):
        y = ratio * rng.normal(size=batches)[batch] + rng.normal(size=len(batch))
        cell.tried["ours"] += 1
        started = time.perf_counter()
        fit = fit_mixed(y, X, {"batch": batch})
        fitted = time.perf_counter()
        found = [fit.test(rows[column]).p for column in FACTORS.values()]
        ended = time.perf_counter()
        cell.ms.setdefault("fit", []).append(1e3 * (fitted - started))
        cell.ms.setdefault("tests", []).append(1e3 * (ended - fitted))
        p = [float("nan") if one is None else one for one in found]
        if np.isfinite(p).all():
            cell.note("ours", p)
        else:
            cell.failed["ours"] += 1
        plain = fit_mixed(y, X)
        cell.note("least squares", [plain.test(rows[column]).p or 0.0 for column in FACTORS.values()])
        if i < to_r:
            cell.for_r.append((y, p))
        if i < few:
            cell.tried["MixedLM"] += 1
            started = time.perf_counter()
            theirs = by_mixedlm(y, X, batch)
            cell.ms.setdefault("MixedLM", []).append(1e3 * (time.perf_counter() - started))
            if theirs is None:
                cell.failed["MixedLM"] += 1
            else:
                cell.note("MixedLM", [float(theirs[column]) for column in FACTORS.values()])
    return cell


def by_r(cells: list[Cell]) -> tuple[float, float, float, int] | str:
    """Largest difference of p from R's, ms of ours and of R (medians), studies; or why it was left out."""
    try:
        asked = (
            'quit(status = !(requireNamespace("lme4", quietly = TRUE) && requireNamespace("pbkrtest", quietly = TRUE)))'
        )
        if subprocess.run(["Rscript", "-e", asked], capture_output=True, check=False).returncode:
            return "R's lme4 and pbkrtest are not installed"
    except FileNotFoundError:
        return "R is not installed"
    ours = []
    with tempfile.TemporaryDirectory() as folder:
        asked_of, told = Path(folder) / "studies.csv", Path(folder) / "told.csv"
        with asked_of.open("w", newline="") as file:
            out = csv.writer(file)
            out.writerow(["study", "batch", "strength", "dip", "y"])
            for cell in cells:
                X, batch = plan(cell.batches, cell.tiles)
                for y, p in cell.for_r:
                    out.writerows(
                        [len(ours), int(b), x[1], x[2], repr(float(one))] for b, x, one in zip(batch, X, y, strict=True)
                    )
                    ours.append(p)
        subprocess.run(["Rscript", "-e", R_SCRIPT, str(asked_of), str(told)], capture_output=True, check=True)
        with told.open() as file:
            theirs = {int(row["study"]): row for row in csv.DictReader(file)}
    apart = max(abs(p - float(theirs[i][f"p{k + 1}"])) for i, both in enumerate(ours) for k, p in enumerate(both))
    mine = [a + b for cell in cells for a, b in zip(cell.ms["fit"], cell.ms["tests"], strict=True)]
    return apart, float(np.median(mine)), float(np.median([float(row["ms"]) for row in theirs.values()])), len(ours)


def row(name: str, ours: float, foil: float, floor: float, ok: bool) -> dict[str, object]:
    """One row; `ratio` is the foil's figure over ours."""
    times = foil / ours if ours > 0 else (1e9 if foil > 0 else 1.0)
    return {"name": name, "ours": ours, "foil": foil, "ratio": times, "floor": floor, "ok": bool(ok)}


def alarm_rows(cells: list[Cell], many: int) -> list[dict[str, object]]:
    """False alarms of each plan, noise and factor, against each foil."""
    lowest = LEAST - 2 * math.sqrt(LEAST * (1 - LEAST) / many)
    highest = MOST + 2 * math.sqrt(MOST * (1 - MOST) / many)
    rows = []
    for cell in cells:
        for factor in FACTORS:
            ours = cell.alarms("ours", factor)
            for foil in ("least squares", "MixedLM"):
                theirs = cell.alarms(foil, factor)
                trap = foil == "least squares" and factor == "per batch" and cell.ratio >= 0.5
                name = (
                    f"false alarms, {cell.batches}x{cell.tiles}, batch noise {cell.ratio:g}, {factor}, against {foil}"
                )
                ok = lowest <= ours <= highest and (not trap or theirs > ours)
                rows.append(row(name, ours, theirs, 1.0 if trap else 0.0, ok))
    return rows


def failed(cells: list[Cell], who: str) -> float:
    """Share of fits that failed or did not converge."""
    return sum(cell.failed[who] for cell in cells) / sum(cell.tried[who] for cell in cells)


def table(cells: list[Cell]) -> str:
    """Write the false alarms, per cent, as the table of docs/explanation/baths.md."""
    whos = ("ours", "least squares", "MixedLM")
    lines = [
        "| baths x tiles | bath noise | strength: tilestudy | least squares | z tests | dip time: tilestudy | least squares "
        "| z tests | z tests: no answer |",
        "|" + "---|" * 9,
    ]
    for cell in cells:
        rates = [f"{100 * cell.alarms(who, factor):.1f}" for factor in FACTORS for who in whos]
        lost = f"{100 * cell.failed['MixedLM'] / cell.tried['MixedLM']:.0f}"
        lines.append(f"| {cell.batches} x {cell.tiles} | {cell.ratio:g} | {' | '.join([*rates, lost])} |")
    return "\n".join(lines)


def run(quick: bool) -> tuple[list[dict[str, object]], str, str]:
    """Return the rows, the table, and a word on what was left out."""
    many, few, to_r = (400, 20, 3) if quick else (2000, 500, 30)
    cells = [simulate(*size, ratio, many, few, to_r) for size in PLANS for ratio in RATIOS]
    rows = alarm_rows(cells, many)
    lost, theirs = failed(cells, "ours"), failed(cells, "MixedLM")
    rows.append(row("fits that failed or did not converge, against MixedLM", lost, theirs, 0.0, lost == 0))
    six = [cell for cell in cells if (cell.batches, cell.tiles) == (6, 4)]
    fit, tests, foil = (float(np.median([t for cell in six for t in cell.ms[k]])) for k in ("fit", "tests", "MixedLM"))
    rows.append(row("median ms at 6x4: REML and adjustment, against MixedLM", fit, foil, 1.0, fit < MS_AT_6X4))
    rows.append(
        row("median ms at 6x4: with two tests, against MixedLM", fit + tests, foil, 1.0, fit + tests < MS_AT_6X4)
    )
    found = by_r(cells)
    if isinstance(found, str):
        return rows, table(cells), f"The comparison with R was left out: {found}."
    apart, mine, r_ms, studies = found
    rows.append(
        row(f"largest difference of p from R, {studies} studies, against 1e-4", apart, P_OF_R, 1.0, apart <= P_OF_R)
    )
    rows.append(row("median ms, fit and two tests, against lme4 + pbkrtest", mine, r_ms, 1.0, mine < r_ms))
    return rows, table(cells), ""


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer simulations, under 50 s")
    parser.add_argument("--json", action="store_true", help="print the rows as JSON")
    asked = parser.parse_args()
    rows, shown, left_out = run(asked.quick)
    if asked.json:
        print(json.dumps({"rows": rows, "left_out": left_out}, indent=2))
        return
    print(f"False alarms, per cent, at a nominal 5:\n\n{shown}\n")
    for one in rows:
        print(f"{'ok ' if one['ok'] else 'BAD'} {one['name']}: {one['ours']:.4g} against {one['foil']:.4g}")
    if left_out:
        print(left_out)


if __name__ == "__main__":
    main()
