"""Our optimal plans against those of general-purpose libraries, on the same problems, judged by one independent evaluator.

Problems: a14, a18, a20 three scaled factors, full quadratic; b18, b24 two scaled factors and one in three steps, full quadratic
with all pairs; c6x4, c8x6 split plots, full quadratic in three factors, one of them set per batch, variance ratio 1;
d32 six two-level factors with all pairs. Efficiency is against the best value known (`BEST`, found by long searches). Foils,
where they are installed: pyoptex (100 tries on its 3 default levels; 50 tries on 11) and pydoe (scaled factors, no
batches, best of its exchange methods on a 5-level grid), and R's AlgDesign (no batches, 50 repeats, 5-level grid). Ours runs over several seeds; efficiency is the median, time the median.

    python tests/benchmarks/designs.py [--quick] [--json]

A row is ok when: efficiency, ours is at least its floor (in %) and not below the foil's by more than 0.1; time, ours over the foil's
(or over the seconds allowed) is at most the floor.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib.metadata
import io
import json
import math
import subprocess
import sys
import time
import warnings
from collections.abc import Callable, Sequence
from itertools import combinations
from pathlib import Path

import numpy as np

SRC = str(Path(__file__).parents[2] / "src")
if SRC not in sys.path:
    sys.path.insert(0, SRC)  # so that the interpreter of the foils can run it too

from tilestudy.design.optimal import Problem, optimise  # noqa: E402
from tilestudy.study.records import Factor  # noqa: E402

# ln(det)/p and average prediction variance: the best values known, by long searches of several programs; the D value of
# a14 was found by this one (1.869126 before) and checked with `evaluate`
BEST = {
    "a14": (1.869594, 0.406495),
    "a18": (2.116607, 0.300522),
    "a20": (2.228824, 0.266667),
    "b18": (2.135985, 0.451586),
    "b24": (2.433359, 0.335439),
    "c6x4": (1.903378, 0.620529),
    "c8x6": (2.528016, 0.379039),
    "d32": (3.465736, 0.687500),
}
LEAST = {name: {"I": 99.7, "D": 99.7 if name.startswith("c") else 99.8} for name in BEST} | {
    "d32": {"I": 100, "D": 100}
}
SECONDS = {name: {"I": 0.8, "D": 0.3} if name.startswith("c") else {"I": 0.5, "D": 0.2} for name in BEST}
SECONDS["d32"] = {"I": 0.3, "D": 0.3}
METALS = ("copper", "brass", "bronze")


def sizes(name: str) -> tuple[int, ...]:
    """Tiles in each batch."""
    batches, _, tiles = name[1:].rpartition("x")
    return (int(tiles),) * int(batches or 1)


def problem(name: str, criterion: str) -> Problem:
    """The problem as ours is asked it."""
    scaled = [Factor(one, (-1.0, 1.0)) for one in ("x", "y", "z")]
    kind = name[0]
    if kind == "a":
        return Problem(tuple(scaled), sizes(name), criterion=criterion, eta=0.0)
    if kind == "b":
        return Problem(
            (*scaled[:2], Factor("metal", METALS, spacing="steps")), sizes(name), criterion=criterion, eta=0.0
        )
    if kind == "c":
        whole = Factor("x", (-1.0, 1.0), set_per="batch")
        return Problem((whole, *scaled[1:]), sizes(name), criterion=criterion, eta=1.0)
    two = tuple(Factor(f"f{j}", (-1.0, 1.0)) for j in range(6))
    names = frozenset(one.name for one in two)
    return Problem(two, sizes(name), model="interactions", criterion=criterion, eta=0.0, discrete=names)


def evaluate(name: str, rows: Sequence[Sequence[float | str]]) -> tuple[float, float]:
    """Return ln(det)/p and average prediction variance, by plain loops that share nothing with ours."""

    def basis(row: Sequence[float | str]) -> tuple[list[float], int]:
        if name[0] == "b":
            x, y = float(row[0]), float(row[1])
            m = [[1.0, 0.0], [0.0, 1.0], [-1.0, -1.0]][METALS.index(str(row[2]))]
            return [1, x, y, *m, x * y, *(x * one for one in m), *(y * one for one in m), x * x, y * y], 2
        at = [float(one) for one in row]
        pairs = [at[i] * at[j] for i, j in combinations(range(len(at)), 2)]
        return [1, *at, *pairs, *([] if name[0] == "d" else [one * one for one in at])], len(at)

    X = np.array([basis(row)[0] for row in rows])
    V = np.eye(len(X))
    if name[0] == "c":
        size = sizes(name)[0]
        for i in range(len(X)):
            for j in range(len(X)):
                V[i, j] += 1.0 * (i // size == j // size)
    M = X.T @ np.linalg.solve(V, X)
    # exact average over the region: Gauss-Legendre with three points is exact to the fifth power; two-level factors at both
    nodes, weights = (
        ((-1.0, 1.0), (0.5, 0.5))
        if name[0] == "d"
        else ((-math.sqrt(0.6), 0.0, math.sqrt(0.6)), (5 / 18, 8 / 18, 5 / 18))
    )
    spans: list[list[tuple[float | str, float]]] = [list(zip(nodes, weights, strict=True))] * len(rows[0])
    if name[0] == "b":
        spans[2] = [(metal, 1 / 3) for metal in METALS]
    total = 0.0
    grid: list[tuple[tuple[float | str, ...], float]] = [((), 1.0)]
    for span in spans:
        grid = [((*at, one), w * v) for at, w in grid for one, v in span]
    F = np.array([basis(at)[0] for at, _ in grid])
    total = float(np.array([w for _, w in grid]) @ (F * np.linalg.solve(M, F.T).T).sum(1))
    return float(np.linalg.slogdet(M)[1]) / X.shape[1], total


def efficiency(name: str, criterion: str, rows: Sequence[Sequence[float | str]]) -> float:
    """Efficiency against the best value known, %."""
    d, i = evaluate(name, rows)
    return 100 * math.exp(d - BEST[name][0]) if criterion == "D" else 100 * BEST[name][1] / i


def ours(name: str, criterion: str, seeds: int) -> tuple[float, float, float]:
    """Median and worst efficiency (%), median seconds."""
    found, taken = [], []
    for seed in range(seeds):
        start = time.perf_counter()
        plan = optimise(problem(name, criterion), np.random.default_rng(seed))
        taken.append(time.perf_counter() - start)
        found.append(efficiency(name, criterion, plan.settings))
    return float(np.median(found)), min(found), float(np.median(taken))


def whole_process(name: str, criterion: str, times: int) -> float:
    """Least seconds of a process that makes the plan, above one that imports numpy (other jobs share the machine)."""
    made = f"import sys; sys.path.insert(0, {SRC!r}); import numpy as np; from tilestudy.design.optimal import Problem, optimise; "
    made += "from tilestudy.study.records import Factor; "
    made += f"optimise({problem(name, criterion)!r}, np.random.default_rng(1))"

    def least(code: str) -> float:
        taken = []
        for _ in range(times):
            start = time.perf_counter()
            subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)
            taken.append(time.perf_counter() - start)
        return min(taken)

    return least(made) - least("import numpy")


def by_pyoptex(name: str, criterion: str, tries: int, levels: int) -> Sequence[Sequence[float | str]]:
    """The plan of pyoptex's split-plot search."""
    from pyoptex.doe.fixed_structure import Factor as Theirs
    from pyoptex.doe.fixed_structure.splitk_plot.metric import Dopt, Iopt
    from pyoptex.doe.fixed_structure.splitk_plot.utils import Plot
    from pyoptex.doe.fixed_structure.splitk_plot.wrapper import create_parameters, create_splitk_plot_design, default_fn
    from pyoptex.utils.model import model2Y2X, partial_rsm_names

    tile = Plot(level=0, size=sizes(name)[0])
    batch = Plot(level=1, size=len(sizes(name)), ratio=1.0)
    stated = [-1, 1] if name[0] == "d" else list(np.linspace(-1, 1, levels))
    factors = []
    for factor in problem(name, criterion).factors:
        plot = batch if factor.set_per == "batch" else tile
        if factor.scaled:
            factors.append(Theirs(factor.name, plot, type="continuous", min=-1, max=1, levels=stated))
        else:
            factors.append(Theirs(factor.name, plot, type="categorical", levels=list(METALS)))
    kind = {"a": "quad", "b": "quad", "c": "quad", "d": "tfi"}[name[0]]
    model = partial_rsm_names({f.name: kind if f.is_continuous else "tfi" for f in factors})
    fn = default_fn(factors, Iopt() if criterion == "I" else Dopt(), model2Y2X(model, factors))
    with contextlib.redirect_stderr(io.StringIO()), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        frame, _ = create_splitk_plot_design(create_parameters(factors, fn), n_tries=tries)
    return frame[[f.name for f in factors]].to_numpy().tolist()


def by_pydoe(name: str, criterion: str) -> Sequence[Sequence[float | str]]:
    """The best plan of pydoe's exchange methods, candidates on a 5-level grid."""
    from pydoe.optimal.optimal import optimal_design

    levels = np.linspace(-1, 1, 5)
    candidates = np.stack(np.meshgrid(levels, levels, levels, indexing="ij"), -1).reshape(-1, 3)
    plans = []
    for method in ("fedorov", "modified_fedorov", "detmax"):
        with warnings.catch_warnings(), contextlib.suppress(np.linalg.LinAlgError):
            warnings.simplefilter("ignore")
            plans.append(optimal_design(candidates, sizes(name)[0], 2, criterion=criterion, method=method)[0])
    return max(plans, key=lambda plan: efficiency(name, criterion, plan)).tolist()


R_SCRIPT = """
suppressMessages(library(AlgDesign))
asked <- commandArgs(trailingOnly = TRUE); kind <- asked[1]; tiles <- as.integer(asked[2])
levels <- seq(-1, 1, length.out = 5)
if (kind == "a") { cand <- expand.grid(x = levels, y = levels, z = levels); model <- ~ quad(x, y, z) }
if (kind == "b") {
  cand <- expand.grid(x = levels, y = levels, metal = factor(c("copper", "brass", "bronze")))
  model <- ~ x * y + x * metal + y * metal + I(x^2) + I(y^2)
}
if (kind == "d") { cand <- expand.grid(rep(list(c(-1, 1)), 6)); model <- ~ (.)^2 }
set.seed(1)
taken <- system.time(found <- optFederov(model, cand, nTrials = tiles, criterion = asked[3], nRepeats = 50))[["elapsed"]]
cat(taken, "\\n")
write.table(found$design, sep = ",", row.names = FALSE, col.names = FALSE, quote = FALSE)
"""


def r_has_algdesign() -> bool:
    """Whether R and its package AlgDesign are on this machine."""
    try:
        asked = ["Rscript", "-e", 'quit(status = !requireNamespace("AlgDesign", quietly = TRUE))']
        return subprocess.run(asked, capture_output=True, check=False).returncode == 0
    except FileNotFoundError:
        return False


def by_algdesign(name: str, criterion: str) -> tuple[Sequence[Sequence[float | str]], float]:
    """The plan of R's AlgDesign (50 repeats, 5-level grid, no batches), and the seconds its search took inside R."""
    words = ["Rscript", "-e", R_SCRIPT, name[0], str(sizes(name)[0]), criterion]
    first, *lines = subprocess.run(words, capture_output=True, check=True, text=True).stdout.splitlines()
    rows = [[cell if cell in METALS else float(cell) for cell in line.split(",")] for line in lines]
    return rows, float(first)


def timed(make: Callable[[], Sequence[Sequence[float | str]]]) -> tuple[Sequence[Sequence[float | str]], float]:
    """The plan and the seconds it took."""
    start = time.perf_counter()
    plan = make()
    return plan, time.perf_counter() - start


def installed(name: str) -> str:
    """Version of a library, or "" when it is not there."""
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return ""


def row(name: str, ours: float, foil: float, floor: float, ok: bool) -> dict[str, object]:
    """One row: ours over the foil's, and what must be kept."""
    return {
        "name": name, "ours": round(ours, 3), "foil": round(foil, 3), "ratio": round(ours / foil, 3), "floor": floor, "ok": ok
    }  # fmt: skip


def growth(times: int) -> list[dict[str, object]]:
    """Seconds for 50 and 200 tiles: four times the tiles may take at most six times as long."""
    rows = []
    for criterion in "ID":
        taken = {}
        for tiles in (50, 100, 200):
            asked = Problem(
                (Factor("x", (-1.0, 1.0), set_per="batch"), Factor("y", (-1.0, 1.0)), Factor("z", (-1.0, 1.0))),
                (5,) * (tiles // 5), criterion=criterion,
            )  # fmt: skip
            taken[tiles] = min(
                timed(lambda asked=asked: optimise(asked, np.random.default_rng(1)).settings)[1] for _ in range(times)
            )
        for few, many in ((50, 100), (100, 200), (50, 200)):
            least = 1.5 * many / few
            name = f"{criterion}, batches of 5: s for {many} tiles against {few}"
            rows.append(row(name, taken[many], taken[few], least, taken[many] <= least * taken[few]))
    return rows


def measure(quick: bool) -> list[dict[str, object]]:
    """Return all rows."""
    rows = []
    seeds = 3 if quick else 20
    pyoptex, pydoe, algdesign = installed("pyoptex"), installed("pydoe"), r_has_algdesign()
    if pyoptex:
        by_pyoptex("a14", "I", 1, 3), by_pyoptex("c6x4", "D", 1, 3)  # compiled code warms up
    for name in BEST:
        for criterion in "ID":
            median, worst, seconds = ours(name, criterion, seeds)
            least = LEAST[name][criterion]
            rows.append(row(f"{name} {criterion}, % of best known", median, 100, least, median >= least - 1e-3))
            worst_least = {"a": 99.0, "b": 99.0, "c": 99.4, "d": 100.0}[name[0]]
            rows.append(row(f"{name} {criterion}, worst seed, %", worst, 100, worst_least, worst >= worst_least - 1e-3))
            if not quick or name in ("a14", "c6x4", "d32"):
                allowed = SECONDS[name][criterion]
                process = whole_process(name, criterion, 3 if quick else 7)
                rows.append(
                    row(
                        f"{name} {criterion}, s of a whole process / s allowed",
                        process,
                        allowed,
                        1.0,
                        process <= allowed,
                    )
                )
            searches = [(100, 3, 0.2)] if name == "d32" or quick else [(100, 3, 0.2), (50, 11, 1 / 15)]
            if quick and criterion == "D":
                searches = []
            for tries, levels, most in searches if pyoptex else ():
                plan, theirs = timed(lambda n=name, c=criterion, t=tries, lv=levels: by_pyoptex(n, c, t, lv))
                reached = efficiency(name, criterion, plan)
                label = f"{name} {criterion} pyoptex {tries} tries {levels} levels"
                rows.append(row(f"{label}, %", median, reached, least, median >= reached - 0.1))
                rows.append(row(f"{label}, s", seconds, theirs, round(most, 3), seconds <= most * theirs))
            if pydoe and name[0] == "a" and not (quick and (criterion, name) != ("D", "a14")):
                plan, theirs = timed(lambda n=name, c=criterion: by_pydoe(n, c))
                reached = efficiency(name, criterion, plan)
                rows.append(row(f"{name} {criterion} pydoe, %", median, reached, least, median >= reached - 0.1))
                rows.append(row(f"{name} {criterion} pydoe, s", seconds, theirs, 1.0, seconds <= theirs))
            if algdesign and name[0] != "c" and not (quick and (criterion, name) != ("I", "a14")):
                plan, theirs = by_algdesign(name, criterion)
                reached = efficiency(name, criterion, plan)
                rows.append(row(f"{name} {criterion} AlgDesign, %", median, reached, least, median >= reached - 0.1))
                rows.append(row(f"{name} {criterion} AlgDesign, s", seconds, theirs, 1.0, seconds <= theirs))
    return rows + growth(1 if quick else 3)


def main() -> None:
    """Print the table, or JSON."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--quick", action="store_true", help="fewer seeds and foils; under 50 s")
    options.add_argument("--json", action="store_true", help="print JSON")
    chosen = options.parse_args()
    rows = measure(chosen.quick)
    foils = {name: installed(name) or "not installed" for name in ("pyoptex", "pydoe")}
    foils["AlgDesign"] = "present" if r_has_algdesign() else "not installed"
    if chosen.json:
        print(json.dumps({"rows": rows, "foils": foils}))
        return
    print(", ".join(f"{name}: {version}" for name, version in foils.items()))
    print(f"{'':56}    ours     foil   ratio   floor")
    for one in rows:
        print(
            f"{one['name']:56} {one['ours']:8} {one['foil']:8} {one['ratio']:7} {one['floor']:7}  {'ok' if one['ok'] else 'NO'}"
        )


if __name__ == "__main__":
    main()
