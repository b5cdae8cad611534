"""How old tiles were when they were rubbed, and whether that age is mixed up with what was varied.

A patina goes on hardening after it was made (common practice, no source), so a rub test after a week and one after a
month are two different questions. Rounds are analysed apart (`frames.rub_frame`); within one round the ages should be
alike, and where they are not the reader is told.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import pandas as pd

from tilestudy.study.language import count
from tilestudy.study.records import Factor, Made, Rub

TIMES, DAYS_APART = 2.0, 3
"""Ages are very different when the oldest tile was more than so many times, and so many days, older than the youngest."""
GOES_WITH = 0.5
"""Share of the variation of age beyond which age is said to go with something (our own choice)."""


def days_since_made(rubs: Iterable[Rub], made: Iterable[Made]) -> dict[str, int]:
    """Return how many days after its making each tile was first rubbed.

    Parameters
    ----------
    rubs : iterable of Rub
        Of one condition and round.
    made : iterable of Made

    Returns
    -------
    dict of str to int
        Days by tile; tiles without a making record are left out.

    Examples
    --------
    >>> from datetime import date
    >>> days_since_made([Rub("K7", "KL", date(2026, 12, 1), 4.5)], [Made("K7", date(2026, 11, 24))])
    {'K7': 7}
    """
    born = {one.tile: one.on for one in made if not one.spoiled}
    ages: dict[str, int] = {}
    for one in rubs:
        if one.tile in born:
            age = (one.on - born[one.tile]).days
            ages[one.tile] = min(age, ages.get(one.tile, age))
    return ages


def age_told(ages: Mapping[str, int]) -> str:
    """Say when the tiles were rubbed; "" when that is not known.

    >>> age_told({"K7": 7, "A3": 7}), age_told({"K7": 7, "A3": 9}), age_told({"K7": 0})
    ('rubbed 7 days after making', 'rubbed 7 to 9 days after making', 'rubbed on the day of making')
    """
    if not ages:
        return ""
    low, high = min(ages.values()), max(ages.values())
    if high == 0:
        return "rubbed on the day of making"
    days = count(high, "day")
    return f"rubbed {days if low == high else f'{low} to {days}'} after making"


def age_caution(
    ages: Mapping[str, int], tiles: pd.DataFrame, factors: Sequence[Factor], test: str, batch_word: str = "batch"
) -> str | None:
    """Warn when the tiles of one rub test were rubbed at very different ages, and say what age goes with.

    Parameters
    ----------
    ages : mapping of str to int
        From `days_since_made`.
    tiles : DataFrame
        From `frames.tiles_as_made`.
    factors : sequence of Factor
    test : str
        The test within a sentence: "dry rub test", "second wet rub test".
    batch_word : str
        What the bench calls a batch.

    Returns
    -------
    str or None
        One sentence, or None when the ages are alike (at most twice as old, or at most 3 days apart).
    """
    if not ages or not _far_apart(min(ages.values()), max(ages.values())):
        return None
    head = f"In the {test} the tiles were {min(ages.values())} to {max(ages.values())} days old when rubbed"
    mixed = _goes_with(ages, tiles, factors, batch_word)
    if mixed is None:
        return f"{head}, and a patina hardens with time, so some of the scatter may be age: rub all tiles at one age next time."
    return (
        f"{head}, and age goes together with {mixed}, so what looks like an effect of {mixed} on wear may be one of age: "
        "rub all tiles at one age next time."
    )


def _far_apart(low: int, high: int) -> bool:
    return high > TIMES * low and high - low > DAYS_APART


def _goes_with(ages: Mapping[str, int], tiles: pd.DataFrame, factors: Sequence[Factor], batch_word: str) -> str | None:
    """Return what accounts for most of the differences in age, or None when nothing accounts for half of them."""
    rows = tiles[tiles["tile"].isin(list(ages))]
    age = np.log1p(rows["tile"].map(dict(ages)).to_numpy(dtype=float))
    shares = {
        factor.label: _straight(age, rows[factor.name]) if factor.scaled else _grouped(age, rows[factor.name])
        for factor in factors
    }
    shares |= {f"the {batch_word}": _grouped(age, rows["batch"]), "the session": _grouped(age, rows["session"])}
    label = max(shares, key=lambda one: shares[one])  # the first of equals: a factor before the batch it is set in
    return label if shares[label] >= GOES_WITH else None


def _straight(age: np.ndarray, settings: pd.Series) -> float:
    """Share of the variation of age that a straight line on the settings accounts for."""
    x = settings.to_numpy(dtype=float)
    if age.size < 3 or np.ptp(x) == 0 or np.ptp(age) == 0:
        return 0.0
    return float(np.corrcoef(x, age)[0, 1] ** 2)


def _grouped(age: np.ndarray, groups: pd.Series) -> float:
    """Share of the variation of age that lies between groups, corrected for their number (adjusted R squared)."""
    n, many = age.size, groups.nunique()
    if many < 2 or n <= many or np.ptp(age) == 0:
        return 0.0
    means = pd.Series(age).groupby(groups.to_numpy()).transform("mean").to_numpy()
    within, total = float(np.sum((age - means) ** 2)), float(np.sum((age - age.mean()) ** 2))
    return 1 - within / (n - many) / (total / (n - 1))
