"""How near baths come to the strengths asked for: the way that `mix` takes, beside weighing each bath and halving step by step.

For scales, volumes and ladders of strengths as studios have them. `ours` is the root mean square error of the strengths, as a
share, over simulated weighings and pours whose errors are even within what the instruments promise; `foil` the lesser of two
plain ways: each bath weighed by itself, and the strongest weighed and the others poured each from the one before. A case is ok
where ours is no worse than the foil, or good enough as it is (a fifth of the step between levels, the bound that `mix` keeps).
The last row compares the worst bound of the way taken with the best that any stock on a fine grid of strengths and volumes gives:
`mix` gives up a little error to leave less over.
Run: python tests/benchmarks/mixing.py [--quick] [--json]
"""

from __future__ import annotations

import math
import sys
from itertools import product
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np
from tests.benchmarks.printing import Rows, main

from tilestudy.study.at_hand import AtHand
from tilestudy.trade.amounts.dilution import (
    STOCK,
    Making,
    Wanted,
    best_making,
    each_by_itself,
    from_stock,
    good_enough,
    in_steps,
)
from tilestudy.trade.amounts.measured import weigh

LADDERS = ((1.0, 3.0, 9.0), (1.0, 2.0, 4.0, 8.0), (0.1, 0.3, 1.0), (0.01, 0.1, 1.0), (5.0, 10.0))
SCALES = (1.0, 0.1, 0.01)
VOLUMES = (100.0, 500.0)


def rms(making: Making, rng: np.random.Generator, rounds: int) -> float:
    """Root mean square of the log errors of all baths of a making, over many times it is made."""
    true: dict[str, np.ndarray] = {}
    for vessel in making.vessels:
        takes, made = (rng.uniform(one.low, one.high, rounds) for one in (vessel.takes, vessel.made))
        source = STOCK if vessel.source == STOCK else vessel.source
        true[vessel.code] = true[source] * np.minimum(1, takes / made) if source else 1000 * takes / made
    errors = [np.log(np.maximum(true[one.code], 1e-9) / one.wanted) for one in making.baths]
    return float(np.sqrt(np.mean(np.square(errors))))


def run(quick: bool) -> Rows:
    """Make the rows, one for each case."""
    rounds = 2000 if quick else 50_000
    rng = np.random.default_rng(20261125)
    rows: Rows = []
    lost = []
    for ladder, digit, ml in product(LADDERS, SCALES, VOLUMES):
        hand = AtHand(scale_g=digit)
        baths = [Wanted(f"B{n}", one) for n, one in enumerate(ladder)]

        def measure(grams: float, hand: AtHand = hand):  # type: ignore[no-untyped-def]
            return weigh(grams, hand)

        taken = best_making(baths, ml, ladder, measure, hand)
        plain = (each_by_itself(baths, ml, measure, hand), in_steps(baths, ml, measure, hand))
        ours, foil = rms(taken, rng, rounds), min(rms(one, rng, rounds) for one in plain)
        good = good_enough(ladder)
        rows.append(
            {
                "name": f"{'-'.join(f'{one:g}' for one in ladder)} g/L, {ml:g} mL, {digit:g} g: {taken.way}",
                "ours": ours,
                "foil": foil,
                "ratio": ours / foil,
                "floor": None,
                "ok": ours <= foil * 1.02 or taken.off <= good,
            }
        )
        if taken.way == "stock":
            needed = sum(ladder) * ml
            grid = product(np.geomspace(max(ladder), 10 * max(ladder), 25), np.geomspace(1.02, 6, 15))
            best = min(
                from_stock(baths, ml, strong, share * needed / strong, measure, hand).off for strong, share in grid
            )
            lost.append(math.log1p(taken.off) - math.log1p(best))
    rows.append(
        {
            "name": "bound given up for less waste, mean over stocks (log)",
            "ours": float(np.mean(lost)),
            "foil": 0.0,
            "ratio": None,
            "floor": None,
            "ok": float(np.mean(lost)) < 0.1,
        }
    )
    return rows


if __name__ == "__main__":
    main(__doc__, run)
