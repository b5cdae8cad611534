"""Is the power a plan is said to have the power it has? Claimed against realised, through the analysis of `drivers`.

For each plan the appraisal says which effect each term is seen with in 80 of 100 studies (p of at most 0.05). Studies with
just those effects, all at once, are simulated with the stated noise (normal, between batches and between tiles; between
sessions as between batches) and analysed as `drivers` does. `ours` is the realised power; a row is ok when it is within
0.04 of the 0.80 claimed (and, in a quick run, three standard errors of the simulation). `foil` is the power that would be
realised by the effect which somebody claims to see who forgets batches and sessions (all tiles alike, noise the root of the
summed variances); `ratio` is the foil's error of claim over ours.

    python tests/benchmarks/power.py [--quick] [--json]
"""

from __future__ import annotations

import argparse
import json
import math
import time
from collections import defaultdict
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from tilestudy.analysis.drivers import analyse
from tilestudy.analysis.findings import colour_spec
from tilestudy.design.appraise import Noise, appraise, block_sd, fit_of
from tilestudy.design.best import lay_out_best
from tilestudy.design.layout import Clock, lay_out
from tilestudy.design.power import f_power, needed_noncentrality
from tilestudy.design.terms import Model, Term, model_of
from tilestudy.study.records import Factor, Limits, Plan, Study

CLOCK = Clock(setup=45, clear=15, batch=6, tile=1, cycle=0.5)
CLAIM, WITHIN = 0.80, 0.04


def factor(name: str, levels: int, where: str, spacing: str = "linear") -> Factor:
    """A factor of so many levels, 1 to `levels`."""
    return Factor(name, tuple(float(n + 1) for n in range(levels)), set_per=where, spacing=spacing)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Case:
    """A plan, its noise (batch, tile) and what it is called."""

    name: str
    study: Study
    noise: tuple[float, float] = (3.0, 3.0)
    best: bool = False

    def plan(self) -> Plan:
        """Lay it out."""
        study = replace(self.study, noise=self.noise)
        return lay_out_best(study, CLOCK, 1).plan if self.best else lay_out(study, CLOCK, 1)


def study(*factors: Factor, each: int = 2, **limits: float) -> Study:
    return Study("s", "", "other", factors, batches_each=each, limits=Limits(**limits))  # type: ignore[arg-type]


S2, S3 = factor("strength", 2, "batch"), factor("strength", 3, "batch")
D2, D3, C2 = factor("dip", 2, "tile"), factor("dip", 3, "tile"), factor("scrub", 2, "tile")
K3 = factor("metal", 3, "tile", "steps")

CASES = (
    Case("4 batches of 4", study(S2, D2, C2)),
    Case("4 batches of 6", study(S2, D3, C2)),
    Case("4 batches of 6, batches alike", study(S2, D3, C2), (1.0, 3.0)),
    Case("6 batches of 6", study(S3, D3, C2)),
    Case("6 batches of 4, batches differ", study(S2, D2, C2, each=3), (6.0, 2.0)),
    Case("6 batches of 6 in 2 sessions", study(S3, D3, C2, batches_per_session=3)),
    Case("8 batches of 3 in 2 sessions", study(S2, D3, each=4, batches_per_session=4)),
    Case("8 batches of 4 in 4 sessions", study(S2, D2, C2, each=4, batches_per_session=2)),
    Case("8 batches of 3, shared grid", study(S2, D3, C2, each=4, tiles=24)),
    Case("6 batches of 3, three named metals", study(S2, K3, each=3)),
    Case("9 batches of 2, three strengths in steps", study(factor("strength", 3, "batch", "steps"), D2, each=3)),
    Case("18 best tiles in 6 batches", study(S3, D3, C2, tiles=18, batches=6), best=True),
    Case("24 best tiles in 8 batches", study(S3, D3, factor("scrub", 3, "tile"), tiles=24, batches=8), best=True),
    Case(
        "6 sessions of 2 batches, a factor per session",
        study(factor("heat", 2, "session"), S2, D2, each=3, batches_per_session=2),
    ),
)


def naive_effect(
    noise: tuple[float, float], model_X: np.ndarray, columns: tuple[int, ...], pattern: np.ndarray
) -> float:
    """Smallest effect claimed by somebody who forgets batches: plain least squares, all noise between tiles."""
    spread = math.hypot(*noise)
    own = (spread**2 * np.linalg.pinv(model_X.T @ model_X))[np.ix_(columns, columns)]
    needed = needed_noncentrality(len(columns), len(model_X) - model_X.shape[1])
    return float(np.sqrt(needed / (pattern @ np.linalg.solve(own, pattern))))


def realised(case: Case, many: int, seed: int) -> dict[str, int]:
    """Count, for each term, the simulated studies that find it (p of at most 0.05)."""
    plan, noise = case.plan(), Noise(*case.noise, "L*", "lightness")
    found = {one.term: one for one in appraise(case.study, plan, noise).terms}
    model = model_of(case.study, plan)
    mean = np.zeros(len(plan.tiles))
    for term in model.terms:
        claim = found[term.name].smallest
        if claim is not None:
            mean += model.X[:, list(term.columns)] @ (claim * worst_pattern(case, model, term))
    frame = pd.DataFrame(
        [{"tile": t.code, "batch": t.batch, "session": t.session, "order": t.order, **t.settings} for t in plan.tiles]
    )
    rng = np.random.default_rng([seed, len(plan.tiles)])
    hits: dict[str, int] = defaultdict(int)
    for _ in range(many):
        luck = rng.normal(0, case.noise[0], model.batch.shape[1])
        day = rng.normal(0, case.noise[0], model.session.shape[1]) if model.session.shape[1] > 1 else np.zeros(1)
        y = mean + model.batch @ luck + model.session @ day + rng.normal(0, case.noise[1], len(plan.tiles))
        for one in analyse(frame.assign(y=y), case.study.factors, colour_spec("L")).terms:
            hits[one.term] += one.p is not None and one.p <= 0.05
    return hits


def worst_pattern(case: Case, model: Model, term: Term) -> np.ndarray:
    """The least favourable pattern of the term's effect, for which the claim is made."""
    noise = Noise(*case.noise, "L*", "lightness")
    fit = fit_of(model, noise, noise.batch if term.set_per == "session" else block_sd(model, noise))
    own = fit.covariance[np.ix_(term.columns, term.columns)]
    return min(model.patterns(term), key=lambda one: float(one @ np.linalg.solve(own, one)))


def jobs(many: int, parts: int) -> Iterator[tuple[Case, int, int]]:
    for case in CASES:
        for part in range(parts):
            yield case, many // parts, part


def run(quick: bool) -> list[dict[str, object]]:
    many = 200 if quick else 2000
    totals: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    listed = list(jobs(many, 2))
    with ProcessPoolExecutor(2) as pool:
        for (case, _, _), hits in zip(listed, pool.map(realised, *zip(*listed, strict=True)), strict=True):
            for term, count in hits.items():
                totals[case.name][term] += count
    slack = WITHIN + (3 * math.sqrt(CLAIM * (1 - CLAIM) / many) if quick else 0.0)
    rows: list[dict[str, object]] = []
    for case in CASES:
        plan, noise = case.plan(), Noise(*case.noise, "L*", "lightness")
        model = model_of(case.study, plan)
        for term, said in zip(model.terms, appraise(case.study, plan, noise).terms, strict=True):
            if said.smallest is None:
                continue
            ours = totals[case.name][term.name] / many
            naive = naive_effect(case.noise, model.X, term.columns, worst_pattern(case, model, term))
            df, ddf = len(term.columns), said.ddf or 1.0
            foil = f_power(needed_noncentrality(df, round(ddf, 2)) * (naive / said.smallest) ** 2, df, ddf)
            ratio = abs(foil - CLAIM) / max(abs(ours - CLAIM), 0.001)
            floor = 0.0 if term.set_per == "tile" else 1.0
            rows.append(
                {
                    "name": f"{case.name}: {term.name}, from {term.set_per} to {term.set_per}, {ddf:.1f} df, "
                    f"{said.smallest:.1f} L*",
                    "ours": ours,
                    "foil": foil,
                    "ratio": ratio,
                    "floor": floor,
                    "ok": bool(abs(ours - CLAIM) <= slack and ratio >= floor),
                }
            )
    return rows


def markdown(rows: list[dict[str, object]]) -> str:
    """One line for each plan and stratum: how many claims, what was realised, what the naive claim's effect realises."""
    lines = ["| plan | judged | claims of 0.80 | realised | realised at the naive claim |", "|---|---|---|---|---|"]
    grouped: dict[tuple[str, str], list[dict[str, object]]] = defaultdict(list)
    for row in rows:
        plan, rest = str(row["name"]).split(": ")
        grouped[plan, rest.split(", ")[1]].append(row)
    for (plan, judged), some in grouped.items():
        spans = []
        for who in ("ours", "foil"):
            found = sorted({f"{row[who]:.2f}" for row in some})
            spans.append(found[0] if len(found) == 1 else f"{found[0]} to {found[-1]}")
        lines.append(f"| {plan} | {judged} | {len(some)} | {spans[0]} | {spans[1]} |")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer simulations, under 50 s")
    parser.add_argument("--json", action="store_true", help="print the rows as JSON")
    parser.add_argument("--markdown", action="store_true", help="print a table for the documentation")
    asked = parser.parse_args()
    started = time.perf_counter()
    rows = run(asked.quick)
    if asked.json:
        print(json.dumps({"rows": rows}, indent=2))
        return
    if asked.markdown:
        print(markdown(rows))
    for row in [] if asked.markdown else rows:
        print(f"{'ok ' if row['ok'] else 'BAD'} {row['name']}: {row['ours']:.3f} (naive claim: {row['foil']:.3f})")
    print(f"{sum(bool(row['ok']) for row in rows)} of {len(rows)} claims hold; {time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()
