"""How often a factor that does nothing is called a driver: ours against what one would script.

Simulated plans of (batches x tiles): one two-level factor per batch, one per tile, their pair; no true effect; the
noise between batches is 0, 0.5, 1 or 2 times that between tiles. Each analysis tests at 5 %. Ours is REML with
Kenward-Roger; the foils are least squares without batches and statsmodels' MixedLM with its z tests (over the fits that
converged). `ratio` is the foil's rate over ours; a row is ok when ours is at most 5 % within three standard errors of
the simulation, and the foil cries wolf at least `floor` times as often.

    python tests/benchmarks/error_rates.py [--quick] [--json]
"""

from __future__ import annotations

import argparse
import json
import time
import warnings

import numpy as np

from tilestudy.analysis.mixed import fit_mixed

PLANS = ((4, 6), (6, 4), (8, 6))
RATIOS = (0.0, 0.5, 1.0, 2.0)
LEVEL = 0.05
FACTORS = {"per batch": 1, "per tile": 2}


def plan(batches: int, tiles: int) -> tuple[np.ndarray, np.ndarray]:
    """Columns (constant, per batch, per tile, pair) and batch codes."""
    batch = np.repeat(np.arange(batches), tiles)
    strength = np.where(batch % 2, 1.0, -1.0)
    dip = np.where(np.tile(np.arange(tiles), batches) % 2, 1.0, -1.0)
    return np.column_stack([np.ones(batches * tiles), strength, dip, strength * dip]), batch


def alarms(p: list[float]) -> float:
    """Share of p values below the level; nought when no fit converged."""
    return float(np.mean(np.asarray(p) < LEVEL)) if p else 0.0


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


def run(quick: bool) -> list[dict[str, object]]:
    many, few = (600, 40) if quick else (4000, 500)
    rows: list[dict[str, object]] = []
    seconds = {"ours": 0.0, "foil": 0.0}
    failed = {"ours": 0, "foil": 0}
    for batches, tiles in PLANS:
        X, batch = plan(batches, tiles)
        for ratio in RATIOS:
            rng = np.random.default_rng([batches, tiles, int(10 * ratio)])
            p: dict[str, dict[str, list[float]]] = {
                who: {factor: [] for factor in FACTORS} for who in ("ours", "plain", "mixedlm")
            }
            for i in range(many):
                y = ratio * rng.normal(size=batches)[batch] + rng.normal(size=len(batch))
                started = time.perf_counter()
                fit = fit_mixed(y, X, {"batch": batch})
                seconds["ours"] += time.perf_counter() - started
                plain = fit_mixed(y, X)
                for factor, column in FACTORS.items():
                    row = np.eye(4)[column]
                    p["ours"][factor].append(fit.test(row).p or 0.0)
                    p["plain"][factor].append(plain.test(row).p or 0.0)
                if i < few:
                    started = time.perf_counter()
                    theirs = by_mixedlm(y, X, batch)
                    seconds["foil"] += time.perf_counter() - started
                    if theirs is None:
                        failed["foil"] += 1
                    else:
                        for factor, column in FACTORS.items():
                            p["mixedlm"][factor].append(float(theirs[column]))
            limit = LEVEL + 3 * np.sqrt(LEVEL * (1 - LEVEL) / many)
            for factor in FACTORS:
                ours = alarms(p["ours"][factor])
                for foil, said in (("plain", "least squares"), ("mixedlm", "MixedLM")):
                    theirs_rate = alarms(p[foil][factor])
                    trap = foil == "plain" and factor == "per batch" and ratio >= 0.5
                    floor = 1.0 if trap else 0.0
                    times = theirs_rate / ours if ours > 0 else (1e9 if theirs_rate > 0 else 1.0)
                    rows.append(
                        {
                            "name": f"false alarms, {batches}x{tiles}, batch noise {ratio:g}, {factor}, against {said}",
                            "ours": ours,
                            "foil": theirs_rate,
                            "ratio": times,
                            "floor": floor,
                            "ok": bool(ours <= limit and times >= floor),
                        }
                    )
    tried = len(PLANS) * len(RATIOS)
    rows.append(
        {
            "name": "fits that failed or did not converge, against MixedLM",
            "ours": failed["ours"] / (tried * many),
            "foil": failed["foil"] / (tried * few),
            "ratio": 1e9 if failed["foil"] else 1.0,
            "floor": 1.0,
            "ok": failed["ours"] == 0,
        }
    )
    ours_ms, foil_ms = 1e3 * seconds["ours"] / (tried * many), 1e3 * seconds["foil"] / (tried * few)
    rows.append(
        {
            "name": "ms for a fit (24 to 48 tiles), against MixedLM",
            "ours": ours_ms,
            "foil": foil_ms,
            "ratio": foil_ms / ours_ms,
            "floor": 1.0,
            "ok": foil_ms >= ours_ms,
        }
    )
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer simulations, under 50 s")
    parser.add_argument("--json", action="store_true", help="print the rows as JSON")
    asked = parser.parse_args()
    rows = run(asked.quick)
    if asked.json:
        print(json.dumps({"rows": rows}, indent=2))
        return
    for row in rows:
        print(f"{'ok ' if row['ok'] else 'BAD'} {row['name']}: {row['ours']:.4g} against {row['foil']:.4g}")


if __name__ == "__main__":
    main()
