"""The chance that one new tile from a new batch comes out right: near enough to the wanted colour AND durable enough.

Plausible truths are drawn from what the tiles say of colour (`vector`) and of durability (`ordinal`); in each of them the luck
of a new batch and a new tile is summed over. The chance stated is the mean over the truths; its range says how far the
truths differ. Colour and durability are taken as independent once the settings are given.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from tilestudy.analysis.mixed import Array
from tilestudy.colour.difference import ciede2000
from tilestudy.study.records import Lab

LEVEL = 0.90
"""Coverage of the ranges of chances and of single new tiles."""


class Judge(Protocol):
    """Durability as a fitted model tells it (`tilestudy.analysis.wear.ordinal`)."""

    def pass_draws(self, rows: Array, grade: float, rng: np.random.Generator, n_draws: int) -> Array:
        """Chance (n_draws, m) that one new tile from a new batch gets `grade` or better; rows without the constant."""
        ...


@dataclass(frozen=True)
class AlwaysAlike:
    """Durability where every tile had the same grade: each batch counts as one try, and settings make no difference."""

    grade: float
    batches: int

    def pass_draws(self, rows: Array, grade: float, rng: np.random.Generator, n_draws: int) -> Array:
        """Chance (n_draws, m), from Jeffreys's prior for a proportion and as many tries as there were batches."""
        good = self.batches if self.grade >= grade else 0
        chance = rng.beta(good + 0.5, self.batches - good + 0.5, n_draws)
        return np.repeat(chance[:, None], len(rows), axis=1)


@dataclass(frozen=True)
class Right:
    """What counts as right.

    Attributes
    ----------
    lab : (float, float, float) or None
        Wanted colour; a tile is right when CIEDE2000 from it is at most `tolerance`.
    darkest : float or None
        "As dark as possible": right when L* is at most this plus `tolerance`.
    tolerance : float
    passing : float or None
        Lowest grade that passes; None when no rub test is asked for.
    """

    lab: Lab | None = None
    darkest: float | None = None
    tolerance: float = 5.0
    passing: float | None = None

    @property
    def asks(self) -> bool:
        """True when a tile can be right or wrong at all: a colour is wanted, or a grade."""
        return self.asks_colour or self.passing is not None

    @property
    def asks_colour(self) -> bool:
        """True when a colour is wanted."""
        return self.lab is not None or self.darkest is not None

    def off(self, labs: ArrayLike) -> Array:
        """How far colours (..., 3) are off: CIEDE2000 from the target, or L* above the darkest: (...).

        >>> Right(darkest=20.0).off([[24.0, 3.0, 3.0]]).tolist()
        [4.0]
        """
        labs = np.asarray(labs, dtype=float)
        if self.lab is not None:
            return np.asarray(ciede2000(labs, self.lab))
        return np.asarray(labs[..., 0] - (self.darkest or 0.0))


class Colours(Protocol):
    """Plausible truths of how colour comes about: what new tiles, each from a new batch, would look like."""

    def new_tiles(self, row: Array, nodes: Array) -> Array:
        """Colours (n, Q, 3) of Q tiles at a coded row (p,), in each of n truths; `nodes` (Q, 4) is their luck."""
        ...


def colour_chance(truths: Colours, rows: Array, right: Right, nodes: Array) -> Array:
    """Return the chance of the right colour at coded rows (m, p), in each of n plausible truths: (n, m).

    Parameters
    ----------
    nodes : (Q, 4) float
        Standard normal numbers, the luck of a batch and tile; the same at every setting, so that settings compare fairly.
    """
    return np.asarray(np.stack([right_share(truths.new_tiles(row, nodes), right) for row in rows], axis=1))


def right_share(tiles: Array, right: Right) -> Array:
    """Return the share of new tiles (n, Q, 3) that have the right colour, in each truth: (n,)."""
    return np.asarray((right.off(tiles) <= right.tolerance).mean(axis=1))


def normal_nodes(rng: np.random.Generator, many: int) -> Array:
    """Return standard normal numbers (many, 4) in opposite pairs, so that their mean is nought; `many` is even."""
    half = rng.standard_normal((many // 2, 4))
    return np.vstack([half, -half])


def in_range(values: Array, level: float = LEVEL) -> tuple[float, float]:
    """Return the ends of the middle `level` of the values (n,)."""
    low, high = np.quantile(values, [(1 - level) / 2, (1 + level) / 2])
    return float(low), float(high)


def in_100(chance: float) -> str:
    """Write a chance as a count of 100, never as certain.

    >>> in_100(0.001), in_100(0.724), in_100(0.999)
    ('fewer than 1', '72', '99')
    """
    whole = round(100 * chance)
    return "fewer than 1" if whole < 1 else "99" if whole > 99 else f"{whole}"
