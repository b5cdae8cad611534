"""How far the scorers of a rub test agree, and whether one of them is strict.

Grades are ranks. Agreement is Krippendorff's alpha with his ordinal difference, which takes only the order of the grades
and copes with tiles that somebody did not score; each pair also gets Cohen's weighted kappa. Strictness counts the tiles on
which a scorer graded lower than the others, and those on which higher, and asks by an exact sign test whether chance would
split them so unevenly. Nothing here takes the mean of grades.

Sources: Krippendorff (2011), Computing Krippendorff's Alpha-Reliability; Cohen (1968), Psychological Bulletin 70:213. The
bounds 0.800 and 0.667: Krippendorff (2004), Content Analysis, 2nd ed., chapter 11 (from memory). The range: jackknife over
tiles (Miller 1974, Biometrika 61:1) of log(1 - alpha).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import bdtr, stdtrit

from tilestudy.analysis.mixed import Array
from tilestudy.analysis.wear.reliability import alpha_of_counts, krippendorff_alpha, weighted_kappa
from tilestudy.analysis.work import holm
from tilestudy.study.language import capital, count, listed

GOOD, FAIR = 0.800, 0.667
"""Alpha from which scorers agree well, and below which they agree poorly."""

LEAST_TILES = 5
"""Tiles with two or more scorers below which agreement is not told (common practice, no source)."""

ALPHA = 0.05
HALF_STEP = 0.5


@dataclass(frozen=True)
class Pair:
    """Two scorers on the tiles that both scored: weighted kappa, and on how many the first graded lower, alike, higher."""

    first: str
    second: str
    kappa: float | None
    lower: int
    same: int
    higher: int


@dataclass(frozen=True)
class Strictness:
    """One scorer against the others: tiles graded lower and higher than most of them, exact sign test, Holm-corrected."""

    scorer: str
    tiles: int
    lower: int
    higher: int
    p: float
    p_holm: float


@dataclass(frozen=True)
class Agreement:
    """How far the scorers agree.

    Attributes
    ----------
    about : str
        What was graded: "the dry rub grade".
    scorers : tuple of str
    tiles, shared : int
        Tiles scored at all, and by two or more.
    alpha, low, high : float or None
        Krippendorff's ordinal alpha and its 95 % range over such tiles; None where it cannot be told.
    close : int
        Of the shared tiles, those on which all scores lie within half a step.
    alike : float or None
        The one grade that everybody gave to every shared tile, if so.
    pairs, strictness : tuple
    study : str
        Name of the study, for what to type.
    """

    about: str
    scorers: tuple[str, ...]
    tiles: int
    shared: int
    alpha: float | None
    low: float | None
    high: float | None
    close: int
    alike: float | None
    pairs: tuple[Pair, ...]
    strictness: tuple[Strictness, ...]
    study: str = "NAME"

    def sentences(self) -> tuple[str, ...]:
        """Say how far the scorers agree, what to do about it, and whether one of them is strict."""
        strict = self._strict_sentence()
        return tuple(one for one in (self._agreement_sentence(), strict) if one)

    def _agreement_sentence(self) -> str:
        who = _together(self.scorers)
        enter = f'"tilestudy rub {self.study}"'
        if len(self.scorers) < 2:
            return (
                f"Only {self.scorers[0]} gave {self.about}, so whether another pair of eyes would give the same cannot be told: "
                f"ask a second person to score the same cloths, and enter them with {enter}."
            )
        if self.shared < LEAST_TILES:
            had = "No tile was" if not self.shared else f"Only {count(self.shared, 'tile')} {_was(self.shared)}"
            return (
                f"{had} scored by two people, too few to tell whether {who} agree: let each score the cloths of the "
                f"others, and enter them with {enter}."
            )
        if self.alike is not None:
            return (
                f"{capital(who)} gave {self.alike:g} to each of the {self.shared} tiles they share. Whether they would agree on a "
                "tile that wears cannot be told from that."
            )
        if self.alpha is None:
            return ""
        span = "" if self.low is None else f", {_two(self.low)} to {_two(self.high)}"
        figure = f"Krippendorff's alpha {_two(self.alpha)}{span}, where 1 is full agreement and 0 is chance"
        near = f"on {self.close} of {self.shared} tiles they lie within half a step of each other"
        if self.alpha >= GOOD:
            return f"{capital(who)} agree well on {self.about} ({figure}): {near}."
        if self.close >= 0.9 * self.shared:
            return (
                f"{capital(who)} are close on {self.about}: {near}. But these tiles differ so little in grade that it does not "
                f"show whether they see the same differences ({figure})."
            )
        if self.alpha >= FAIR:
            return (
                f"{capital(who)} agree fairly on {self.about} ({figure}): {near}. Trust a difference of a whole grade more than "
                "one of half a step."
            )
        return (
            f"{capital(who)} agree poorly on {self.about} ({figure}): {near}. Before you trust small differences, look at the "
            "cloths together, in one light and beside the same grey scale, settle what each step looks like, and score again."
        )

    def _strict_sentence(self) -> str:
        clear = [one for one in self.strictness if one.p_holm <= ALPHA]
        if not clear or self.alike is not None or self.shared < LEAST_TILES:
            return ""
        one = min(clear, key=lambda found: (found.p, -found.lower))
        strict = one.lower > one.higher
        others = (
            listed([name for name in self.scorers if name != one.scorer]) if len(self.scorers) < 3 else "the others"
        )
        most, rest = (one.lower, one.higher) if strict else (one.higher, one.lower)
        most_word, rest_word = ("lower", "higher") if strict else ("higher", "lower")
        counts = f"{most_word} than {others} on {most} of {one.tiles} tiles, {rest_word} on {rest or 'none'}"
        if one.tiles == self.tiles:
            after = f"{one.scorer} scored every tile, so settings are still compared fairly, but how many tiles pass depends on who scores"
        else:
            after = f"tiles that {one.scorer} did not score look {'better' if strict else 'worse'} for it, so let the same people score every tile"
        return f"{one.scorer} is {'strict' if strict else 'mild'}: {counts}; {after}."

    def as_dict(self) -> dict[str, Any]:
        """Return the agreement as plain values, ready for JSON."""
        return {
            "about": self.about,
            "scorers": list(self.scorers),
            "tiles": self.tiles,
            "shared": self.shared,
            "alpha": self.alpha,
            "low": self.low,
            "high": self.high,
            "within_half_a_step": self.close,
            "pairs": [vars(pair).copy() for pair in self.pairs],
            "strictness": [vars(one).copy() for one in self.strictness],
            "sentences": list(self.sentences()),
        }

    def pair_table(self) -> pd.DataFrame:
        """Return one row for each pair of scorers: weighted kappa, and tiles graded lower, alike and higher by the first."""
        columns = ["first", "second", "weighted_kappa", "first_lower", "alike", "first_higher"]
        rows = [(p.first, p.second, p.kappa, p.lower, p.same, p.higher) for p in self.pairs]
        return pd.DataFrame(rows, columns=columns)


def agreement(frame: pd.DataFrame, about: str = "the rub grade", study: str = "NAME") -> Agreement | None:
    """Find out how far scorers agree under one rub condition.

    Parameters
    ----------
    frame : frame
        One row for each score: `tile`, `scorer` and the grade in `y` (or `grade`). Where one scorer scored a tile several
        times, the last row counts. A column `cloth`, where there is one, tells several cloths of a tile apart.
    about : str
        What was graded: "the dry rub grade".
    study : str
        Name of the study, for messages that say what to type.

    Returns
    -------
    Agreement or None
        None without any grade.

    Examples
    --------
    >>> tiles = [f"T{i}" for i in range(6)]
    >>> scores = pd.DataFrame({"tile": tiles * 2, "scorer": ["KL"] * 6 + ["MB"] * 6, "y": [1, 2, 3, 4, 5, 5, 1, 2, 3, 4, 5, 4.5]})
    >>> agreement(scores, "the dry rub grade").sentences()[0]
    "KL and MB agree well on the dry rub grade (Krippendorff's alpha 0.97, where 1 is full agreement and 0 is \
chance): on 6 of 6 tiles they lie within half a step of each other."
    """
    column = "y" if "y" in frame.columns else "grade"
    if not {"tile", "scorer", column} <= set(frame.columns):
        return None
    rows = frame.dropna(subset=["tile", "scorer", column])
    rows = rows[np.isfinite(rows[column].to_numpy(dtype=float))]
    if rows.empty:
        return None
    keys = ["tile", "cloth"] if "cloth" in rows.columns else ["tile"]
    wide = rows.drop_duplicates([*keys, "scorer"], keep="last").pivot(index="scorer", columns=keys, values=column)
    scorers = tuple(str(one) for one in wide.index)
    given = wide.to_numpy(dtype=float)
    several = np.isfinite(given).sum(axis=0) >= 2
    shared = given[:, several]
    seen = shared[np.isfinite(shared)]
    alpha, low, high = _alpha_with_range(shared)
    alike = float(seen[0]) if len(seen) and float(np.ptp(seen)) == 0.0 else None
    close = (
        0 if not shared.shape[1] else int((np.nanmax(shared, axis=0) - np.nanmin(shared, axis=0) <= HALF_STEP).sum())
    )
    return Agreement(
        about=about,
        scorers=scorers,
        tiles=given.shape[1],
        shared=shared.shape[1],
        alpha=alpha,
        low=low,
        high=high,
        close=close,
        alike=alike,
        pairs=tuple(_pair(scorers, shared, i, j) for i, j in combinations(range(len(scorers)), 2)),
        strictness=_strictness(scorers, shared),
        study=study,
    )


def _alpha_with_range(shared: Array) -> tuple[float | None, float | None, float | None]:
    """Ordinal alpha of tiles with two or more scores, and its jackknife range over tiles."""
    alpha = krippendorff_alpha(shared)
    tiles = shared.shape[1]
    if alpha is None or alpha >= 1.0 - 1e-12 or tiles < LEAST_TILES:
        return alpha, None, None
    found = np.unique(shared[np.isfinite(shared)])
    counts = np.array([(shared == one).sum(axis=0) for one in found], dtype=float)
    without = [alpha_of_counts(np.delete(counts, i, axis=1), found, "ordinal") for i in range(tiles)]
    if any(one is None or one >= 1.0 - 1e-12 for one in without):
        return alpha, None, None
    whole = float(np.log1p(-alpha))
    parts = np.log1p(-np.array(without, dtype=float))
    pseudo = tiles * whole - (tiles - 1) * parts
    half = float(stdtrit(tiles - 1, 0.975)) * float(pseudo.std(ddof=1)) / tiles**0.5
    return alpha, float(-np.expm1(whole + half)), float(-np.expm1(whole - half))


def _pair(scorers: Sequence[str], shared: Array, i: int, j: int) -> Pair:
    """Compare two scorers on the tiles that both scored."""
    both = np.isfinite(shared[i]) & np.isfinite(shared[j])
    one, other = shared[i, both], shared[j, both]
    scale = np.arange(2.0, 10.5) / 2.0  # the whole scale in half steps, so that a skipped step counts as a step
    scale = scale if np.isin(np.concatenate([one, other]), scale).all() else np.unique(np.concatenate([one, other]))
    table = np.zeros((len(scale), len(scale)))
    np.add.at(table, (np.searchsorted(scale, one), np.searchsorted(scale, other)), 1.0)
    kappa = weighted_kappa(table)
    return Pair(
        scorers[i], scorers[j], kappa, int((one < other).sum()), int((one == other).sum()), int((one > other).sum())
    )


def _strictness(scorers: Sequence[str], shared: Array) -> tuple[Strictness, ...]:
    """Count for each scorer the tiles graded lower and higher than most of the others; two scorers are one question."""
    found = []
    for i, name in enumerate(scorers):
        tiles = shared[:, np.isfinite(shared[i])]
        others = np.delete(tiles, i, axis=0)
        balance = np.sign(np.nansum(np.sign(others - tiles[i]), axis=0))  # +1: most others graded higher
        lower, higher = int((balance > 0).sum()), int((balance < 0).sum())
        p = min(1.0, 2.0 * float(bdtr(min(lower, higher), lower + higher, 0.5))) if lower + higher else 1.0
        found.append((name, tiles.shape[1], lower, higher, p))
    corrected = [p for *_, p in found] if len(found) < 3 else holm([p for *_, p in found])
    return tuple(Strictness(*one, p_holm) for one, p_holm in zip(found, corrected, strict=True))


def _together(scorers: Sequence[str]) -> str:
    """Write "KL and MB", "the three scorers (KL, MB and TR)"."""
    names = listed(list(scorers))
    many = {3: "three", 4: "four", 5: "five", 6: "six"}.get(len(scorers), str(len(scorers)))
    return names if len(scorers) < 3 else f"the {many} scorers ({names})"


def _was(number: int) -> str:
    return "was" if number == 1 else "were"


def _two(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}".replace("-", "\N{MINUS SIGN}")
