"""Hypothesis strategies for small studies: batches of tiles with lost tiles, two factors, noise of both kinds."""

import numpy as np
import pandas as pd
from hypothesis import strategies as st

from tilestudy.study.records import Factor

STRENGTH = Factor("strength", (1.0, 3.0, 9.0), "g/L", "g/L", "geometric", "batch")
DIP_TIME = Factor("dip_time", (10.0, 30.0, 90.0), "s", "s", "geometric")
CYCLES = Factor("scrub_cycles", (1.0, 4.0))
FACTORS = (STRENGTH, DIP_TIME, CYCLES)


def made_up(seed=0, baths_each=2, sessions=1, noise=(2.0, 2.0), strength=-7.0, dip_time=-5.0, cycles=0.0):
    """Tiles of an invented study: each strength in some baths, each bath with every dip time and number of cycles."""
    rng = np.random.default_rng(seed)
    rows = []
    for repeat in range(baths_each):
        for grams in STRENGTH.levels:
            luck = rng.normal(0, noise[0])
            for dip in DIP_TIME.levels:
                for times in CYCLES.levels:
                    y = 40 + luck + rng.normal(0, noise[1])
                    y += strength * np.log(grams / 3) / np.log(3) + dip_time * np.log(dip / 30) / np.log(3)
                    y += cycles * (times - 2.5) / 1.5
                    rows.append(
                        {"tile": f"T{len(rows):02d}", "batch": f"B{repeat}{grams:g}", "session": repeat % sessions + 1,
                         "strength": grams, "dip_time": dip, "scrub_cycles": times, "y": y}
                    )  # fmt: skip
    return pd.DataFrame(rows)


def scored(tiles, scorers=3, seed=1):
    """Rub grades of the tiles by several scorers, in half steps from 1 to 5."""
    rng = np.random.default_rng(seed)
    parts = []
    for k in range(scorers):
        grade = 1 + tiles["y"] / 14 + rng.normal(0, 0.2) + rng.normal(0, 0.4, len(tiles))
        parts.append(tiles.assign(scorer=f"s{k}", y=np.clip(np.round(2 * grade) / 2, 1, 5)))
    return pd.concat(parts, ignore_index=True)


def coloured(tiles, seed=0, noise=1.0):
    """Tiles with a colour: L* is their y, a* and b* follow it in part."""
    rng = np.random.default_rng(seed)
    a = 15 + 0.3 * (tiles["y"] - 40) + rng.normal(0, noise, len(tiles))
    b = 18 + 0.5 * (tiles["y"] - 40) + rng.normal(0, noise, len(tiles))
    return tiles.assign(L=tiles["y"], a=a, b=b)


@st.composite
def studies(draw):
    """An invented study of which up to a third of the tiles were lost."""
    frame = made_up(
        seed=draw(st.integers(0, 10_000)),
        baths_each=draw(st.integers(1, 3)),
        sessions=draw(st.integers(1, 2)),
        noise=(draw(st.sampled_from([0.0, 0.5, 2.0, 6.0])), draw(st.sampled_from([0.5, 2.0]))),
    )
    lost = draw(st.sets(st.integers(0, len(frame) - 1), max_size=len(frame) // 3))
    return frame.drop(index=sorted(lost)).reset_index(drop=True)


@st.composite
def mixed_data(draw):
    """Rows with two crossed or nested groups of any size, a few columns, and a response."""
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    n = draw(st.integers(10, 40))
    batch = rng.integers(0, draw(st.integers(2, 6)), n)
    scorer = rng.integers(0, draw(st.integers(2, 4)), n)
    X = np.column_stack([np.ones(n), batch % 2, rng.normal(size=(n, draw(st.integers(0, 2))))])
    sds = rng.choice([0.0, 0.3, 1.0, 5.0], 2)
    y = X.sum(axis=1) + sds[0] * rng.normal(size=6)[batch] + sds[1] * rng.normal(size=4)[scorer] + rng.normal(size=n)
    return y, X, {"batch": batch, "scorer": scorer}
