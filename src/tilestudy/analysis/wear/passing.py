"""The chance that a tile passes at given settings, averaged over the tiles where a setting is left open, draw by draw.

The chance is that of one new tile from a new batch and session, judged by a scorer of average strictness. With a setting left
open it is the share that would pass were all the study's tiles made over with the settings named and their own others: the
count of passing tiles beside it means the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
import pandas as pd

from tilestudy.analysis.mixed import Array, Estimate
from tilestudy.analysis.model import CodedModel, Term
from tilestudy.analysis.wear.latent_fit import widened
from tilestudy.analysis.wear.ordinal import OrdinalFit
from tilestudy.study.records import Setting

PERCENT = 100.0


class Drawn(Protocol):
    """What is told by draws of all that fits the rows."""

    def at(self, settings: Mapping[str, Setting]) -> Array:
        """Draws at these settings: (n,)."""

    def estimate(self, drawn: Array, level: float = 0.95) -> Estimate:
        """Value and range of draws."""

    def compared(self, drawn: list[Array], level: float = 0.95) -> list[Estimate]:
        """Values with ranges made for comparing them."""


@dataclass(frozen=True)
class Chances:
    """Chances to get `grade` or better, in percent.

    Attributes
    ----------
    model : CodedModel
    settings : frame
        One row for each tile, with a column for each factor that varies.
    fit : OrdinalFit
    grade : float
    draws : (n, c + p) float, (n, m) float
        Of cuts with slopes, and of the standard deviations, as `LatentFit.draws` gives them.
    spare : float
        Tiles beyond what the settings need.
    """

    model: CodedModel
    settings: pd.DataFrame = field(repr=False)
    fit: OrdinalFit = field(repr=False)
    grade: float
    draws: tuple[Array, Array] = field(repr=False)
    spare: float

    def at(self, settings: Mapping[str, Setting], without: Term | None = None) -> Array:
        """Draws of the chance at these settings: (n,), percent; `without` leaves out what a term adds.

        Raises NotEnoughError for a named level that no tile had.
        """
        named = {name: settings[name] for name in self.model.codings if name in settings}
        if len(named) == len(self.model.codings):
            rows, shares = self.model.row(named)[None, :], np.ones(1)
        else:
            rows = self.model.matrix(self.settings.assign(**named))
            rows, counts = np.unique(np.round(rows, 9), axis=0, return_counts=True)
            shares = counts / counts.sum()
        if without is not None:
            rows[:, list(without.columns)] = 0.0
        return np.asarray(PERCENT * self.fit.chances(self.draws, rows[:, 1:], self.grade) @ shares)

    def estimate(self, drawn: Array, level: float = 0.95) -> Estimate:
        """Mean and range of a chance."""
        low, high = np.quantile(drawn, [0.5 - level / 2.0, 0.5 + level / 2.0])
        return Estimate(float(drawn.mean()), float(drawn.std()), None, float(low), float(high))

    def difference(self, drawn: Array, level: float = 0.95) -> Estimate:
        """Mean and range of a difference between chances, as wide as so few tiles ask for."""
        found = widened(self.estimate(drawn, level), level, self.spare)
        low, high = (None if end is None else min(max(end, -PERCENT), PERCENT) for end in (found.low, found.high))
        return replace(found, low=low, high=high)

    def compared(self, drawn: list[Array], level: float = 0.95) -> list[Estimate]:
        """Each chance with the range of its difference from their average, shifted to it, within 0 and 100."""
        middle = np.mean(drawn, axis=0)
        told = []
        for one in drawn:
            value, apart = float(one.mean()), self.difference(one - middle, level)
            assert apart.low is not None
            assert apart.high is not None
            low, high = (min(max(value + end - apart.value, 0.0), PERCENT) for end in (apart.low, apart.high))
            told.append(Estimate(value, apart.se, None, low, high))
        return told
