"""Which effects stand out when no setting was made twice: Lenth's method for unreplicated two-level plans.

Where every tile has its own setting and the model takes all tiles, nothing is left to measure noise with. Lenth takes the
many small effects for noise: most factors and pairs are expected to do nothing.

Source: Lenth (1989), Quick and easy analysis of unreplicated factorials, Technometrics 31:469.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from tilestudy.analysis import wording
from tilestudy.analysis.findings import ResponseSpec
from tilestudy.analysis.mixed import Array
from tilestudy.analysis.model import indicators, learn_coding, pair_name
from tilestudy.analysis.naming import Show, show_plainly, speak, together
from tilestudy.analysis.numbers import significant
from tilestudy.analysis.usable import usable
from tilestudy.errors import NotEnoughError
from tilestudy.study.language import capital, count, listed, plural
from tilestudy.study.records import Factor

LEAST_EFFECTS = 7
"""Effects below which small ones are too few to take for noise: the plan of eight runs is the smallest (from memory)."""


@dataclass(frozen=True)
class Lenth:
    """What Lenth's method says of a set of effects.

    Attributes
    ----------
    effects : mapping of str to float
    m : int
        Number of effects; `d` = m / 3 are the degrees of freedom of the noise.
    s0, pse : float
        First guess of the standard error, and the pseudo standard error, in the unit of the effects.
    t_me, t_sme : float
        Student's t for one effect, and for all of them at once.
    me, sme : float
        Margin of error (95 %) of one effect, and simultaneous margin of error of them all.
    """

    effects: Mapping[str, float]
    m: int
    d: float
    s0: float
    pse: float
    t_me: float
    t_sme: float
    me: float
    sme: float

    @property
    def stands_out(self) -> tuple[str, ...]:
        """Effects beyond the simultaneous margin, the largest first."""
        return self._between(self.sme, np.inf)

    @property
    def may(self) -> tuple[str, ...]:
        """Effects beyond the margin of one, but not beyond that of all."""
        return self._between(self.me, self.sme)

    def _between(self, low: float, high: float) -> tuple[str, ...]:
        sizes = {name: abs(effect) for name, effect in self.effects.items()}
        return tuple(sorted((one for one in sizes if low < sizes[one] <= high), key=lambda one: -sizes[one]))

    def as_dict(self) -> dict[str, Any]:
        """Return all of it as plain values, ready for JSON."""
        return {**vars(self), "effects": dict(self.effects), "stands_out": list(self.stands_out), "may": list(self.may)}


def lenth(effects: Mapping[str, float]) -> Lenth:
    """Work out Lenth's pseudo standard error and margins.

    Parameters
    ----------
    effects : mapping of str to float
        Unreplicated effects of equal precision (differences of means, or contrasts on any one scale), three or more.

    Returns
    -------
    Lenth

    Raises
    ------
    ValueError
        For fewer than three effects, or one that is not finite.

    Examples
    --------
    >>> found = lenth({"A": 21.6, "B": 3.1, "C": 9.9, "AB": 0.1, "AC": -1.1, "BC": 2.4, "ABC": 1.9})
    >>> round(found.pse, 2), found.stands_out, found.may
    (2.85, (), ('A',))
    """
    sizes = np.abs(np.array(list(effects.values()), dtype=float))
    m = len(sizes)
    if m < 3 or not np.isfinite(sizes).all():
        raise ValueError("Lenth's method takes three or more finite effects")
    d = m / 3.0
    s0 = 1.5 * float(np.median(sizes))
    small = sizes[sizes < 2.5 * s0]
    pse = 1.5 * float(np.median(small)) if len(small) else 0.0
    gamma = (1.0 + 0.95 ** (1.0 / m)) / 2.0
    t_me, t_sme = float(stdtrit(d, 0.975)), float(stdtrit(d, gamma))
    return Lenth(dict(effects), m, d, s0, pse, t_me, t_sme, t_me * pse, t_sme * pse)


@dataclass(frozen=True)
class Unreplicated:
    """An unreplicated two-level study, judged by Lenth's method.

    Attributes
    ----------
    spec : ResponseSpec
    n_tiles : int
    lenth : Lenth or None
        Of the contrasts within batches; None when they are too few.
    effects : mapping of str to float
        Change from the low to the high level, every contrast, those of batches included.
    aliases : mapping of str to tuple of str
        Other pairs of factors that a contrast may as well stand for.
    per_batch : tuple of str
        Contrasts that are (also) differences between batches.
    """

    spec: ResponseSpec
    n_tiles: int
    lenth: Lenth | None
    effects: Mapping[str, float]
    aliases: Mapping[str, tuple[str, ...]]
    per_batch: tuple[str, ...]
    factors: Mapping[str, Factor] = field(repr=False)
    ends: Mapping[str, tuple[float | str, float | str]] = field(repr=False)
    show: Show = field(repr=False)
    batch_word: str = "batch"

    def sentences(self) -> tuple[str, ...]:
        """Say which effects stand out, what that is worth, and what cannot be told."""
        said = [
            f"No setting was made twice and the effects take all {self.n_tiles} tiles, so the noise of {self.spec.spoken} cannot "
            "be measured. Lenth's method takes the small effects for noise, which holds only if most of them do nothing."
        ]
        labels = {name: factor.label for name, factor in self.factors.items()}
        if self.lenth is None:
            said.append(
                f"Here too few effects can be compared within one {self.batch_word} for that, so nothing is said of them."
            )
        else:
            out = [self._told(name) for name in self.lenth.stands_out]
            may = [self._told(name) for name in self.lenth.may]
            if out:
                said.append(
                    f"{capital(listed(out))} {'stands' if len(out) == 1 else 'stand'} out: an effect of "
                    f"{significant(self.lenth.sme, 2)}{wording.unit_of(self.spec)} or more seldom comes from noise."
                )
            if may:
                said.append(
                    f"{capital(listed(may))} may matter, but among {self.lenth.m} effects noise alone often shows one as large."
                )
            said += self._alias_sentence()
            if out or may:
                said.append(
                    "That is a hint and no test: make the settings at both ends again, and drivers can tell with a range."
                )
            else:
                least = f"{significant(self.lenth.sme, 2)}{wording.unit_of(self.spec)}"
                said.append(f"None stands out; an effect below {least} could not have.")
        if self.per_batch:
            mains = [speak(name, labels) for name in self.per_batch if name in self.factors]
            if mains:
                said.append(
                    f"Nothing is said of {listed(mains)}, which {'was' if len(mains) == 1 else 'were'} set per {self.batch_word}: "
                    f"the noise between {plural(self.batch_word)} does not show in comparisons of tiles."
                )
        return tuple(said)

    def _alias_sentence(self) -> list[str]:
        """Say which pairs of factors an effect that was told may come from as well."""
        assert self.lenth is not None
        labels = {one: factor.label for one, factor in self.factors.items()}
        told = []
        for name in (*self.lenth.stands_out, *self.lenth.may):
            if others := self.aliases.get(name, ()):
                more = f" or {count(len(others) - 1, 'other pair')}" if len(others) > 1 else ""
                told.append(f"what looks like {speak(name, labels)} of {together(others[0], labels)}{more}")
        return [f"In so small a plan it may as well be two factors working together: {listed(told)}."] if told else []

    def _told(self, name: str) -> str:
        size = wording.size(self.effects[name], None, None, self.spec)
        if name not in self.factors:
            return f"{speak(name, {one: factor.label for one, factor in self.factors.items()})} ({size})"
        factor = self.factors[name]
        low, high = self.ends[name]
        run = wording.bare_span(low, high, factor, self.show)
        return f"{factor.label} ({run}: {size} {wording.is_more(self.spec, self.effects[name] >= 0)})"

    def as_dict(self) -> dict[str, Any]:
        """Return all of it as plain values, ready for JSON."""
        return {
            "response": self.spec.name,
            "n_tiles": self.n_tiles,
            "effects": dict(self.effects),
            "aliases": {name: list(others) for name, others in self.aliases.items()},
            "per_batch": list(self.per_batch),
            "lenth": None if self.lenth is None else self.lenth.as_dict(),
            "sentences": list(self.sentences()),
        }

    def table(self) -> pd.DataFrame:
        """Return one row for each effect: its size, aliases, and what Lenth's method says."""
        out, may = (self.lenth.stands_out, self.lenth.may) if self.lenth else ((), ())
        said = {**dict.fromkeys(may, "may matter"), **dict.fromkeys(out, "stands out")}
        rows = [
            (name, effect, " + ".join(self.aliases.get(name, ())), self._verdict(name, said))
            for name, effect in self.effects.items()
        ]
        return pd.DataFrame(rows, columns=["effect", "change", "or", "verdict"])

    def _verdict(self, name: str, said: Mapping[str, str]) -> str:
        return f"per {self.batch_word}, cannot tell" if name in self.per_batch else said.get(name, "")


def unreplicated(
    frame: pd.DataFrame,
    factors: Sequence[Factor],
    response: ResponseSpec,
    *,
    show: Show = show_plainly,
    batch_word: str = "batch",
    study: str = "NAME",
) -> Unreplicated | None:
    """Judge an unreplicated two-level study by Lenth's method.

    Parameters
    ----------
    frame, factors, response, show, batch_word, study
        As for `tilestudy.analysis.drivers.analyse`.

    Returns
    -------
    Unreplicated or None
        None where the method does not apply: a factor with more than two levels, a setting made twice, a tile lost from
        the balanced plan, several values for a tile, grades, fewer than eight tiles, no noise seen at all,
        or rows that cannot be reckoned with.

    Examples
    --------
    >>> names = list("abcdefg")
    >>> signs = [[1 if (run >> k) & 1 else -1 for k in range(3)] for run in range(8)]
    >>> runs = [(x, y, z, x * y, x * z, y * z, x * y * z) for x, y, z in signs]
    >>> tiles = pd.DataFrame(runs, columns=names).assign(tile=range(8), batch="B1", session=1,
    ...     y=[50.2, 40.1, 50.0, 39.7, 49.9, 40.2, 50.1, 40.0])
    >>> found = unreplicated(tiles, [Factor(n, (-1.0, 1.0)) for n in names], ResponseSpec("L", "L*", "L*", "lightness"))
    >>> found.sentences()[1]
    'A (from -1 to 1: 10.0 L* darker) stands out: an effect of 2 L* or more seldom comes from noise.'
    """
    if response.kind == "grade":
        return None
    try:
        data = usable(frame, factors, response, study)
    except NotEnoughError:
        return None
    tiles, n = data.tiles, len(data.tiles)
    varied = [factor for factor in factors if len(set(tiles[factor.name].tolist())) > 1]
    if len(data.rows) != n or n < LEAST_EFFECTS + 1 or n % 4 or len(varied) < 2:
        return None
    columns: dict[str, Array] = {}
    ends: dict[str, tuple[float | str, float | str]] = {}
    for factor in varied:
        coding = learn_coding(factor, tiles[factor.name].tolist())[0]
        if coding is None or len(coding.levels) != 2:
            return None
        columns[factor.name] = 2.0 * np.array(coding.nearest(tiles[factor.name].tolist())) - 1.0
        ends[factor.name] = (coding.levels[0], coding.levels[1])
    mains = np.column_stack(list(columns.values()))
    if len(np.unique(mains, axis=0)) < n or np.abs(mains.sum(axis=0)).any():
        return None
    if np.abs(mains.T @ mains - n * np.eye(len(varied))).max() > 0:
        return None
    aliases: dict[str, list[str]] = {}
    for order in range(2, len(varied) + 1):
        if order > 2 and len(columns) >= n - 1:
            break
        for names in combinations([factor.name for factor in varied], order):
            block = np.prod([columns[name] for name in names], axis=0)
            name = pair_name(*names) if order == 2 else " x ".join(names)
            shared = {other: float(block @ column) / n for other, column in columns.items()}
            twin = next((other for other, r in shared.items() if abs(r) == 1.0), None)
            if twin is not None and order == 2:
                aliases.setdefault(twin, []).append(name)
            elif not any(shared.values()) and block.sum() == 0.0 and len(columns) < n - 1:
                columns[name] = block
    y = tiles["y"].to_numpy(dtype=float)
    if len(columns) < LEAST_EFFECTS:
        return None
    effects = {name: float(column @ y) / (n / 2) for name, column in columns.items()}
    Z = indicators(tiles["batch"].factorize()[0])
    Z = Z - Z.mean(axis=0)
    between = tuple(name for name, column in columns.items() if float(np.abs(Z.T @ column).max()) > 1e-9)
    within = {name: effect for name, effect in effects.items() if name not in between}
    found = lenth(within) if len(within) >= LEAST_EFFECTS else None
    if found is not None and found.pse <= 1e-12 * max(float(np.abs(y).max()), 1e-300):
        return None  # most effects are nought to the last digit: no noise was seen at all
    return Unreplicated(
        response, n, found, effects, {name: tuple(others) for name, others in aliases.items()}, between,
        {factor.name: factor for factor in factors}, ends, show, batch_word,
    )  # fmt: skip
