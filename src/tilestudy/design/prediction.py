"""How sure a prediction will be over the region: its standard error against that of one tile (Box & Draper 2007, chapter 14).

The two factors with most to show are drawn, the others averaged over the tiles.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tilestudy.design.appraise import Noise, block_sd, fit_of
from tilestudy.design.terms import Floats, model_of
from tilestudy.study.records import Factor, Plan, Setting, Study, study_as_planned

STEPS = 25


@dataclass(frozen=True)
class PredictionPicture:
    """Relative standard error of a predicted mean over two factors.

    Attributes
    ----------
    across, up : Factor
        `up` is None when only one factor varies.
    x, y : tuple of Setting
        Settings along the two, even on each factor's own scale; the levels of a factor taken level by level.
    error : (len(y), len(x)) float
        Standard error of the prediction over the standard deviation between tiles of one batch.
    tiles : tuple of (Setting, Setting)
        Where there are tiles, once each ("" for y where only one factor varies).
    """

    across: Factor
    up: Factor | None
    x: tuple[Setting, ...]
    y: tuple[Setting, ...]
    error: Floats
    tiles: tuple[tuple[Setting, Setting], ...]

    @property
    def best(self) -> float:
        """Smallest relative standard error in the picture."""
        return float(self.error.min())

    @property
    def worst(self) -> float:
        """Largest relative standard error in the picture."""
        return float(self.error.max())

    @property
    def worst_at(self) -> tuple[Setting, ...]:
        """Settings where the prediction is least sure."""
        row, column = np.unravel_index(int(self.error.argmax()), self.error.shape)
        return (self.x[column], self.y[row]) if self.up else (self.x[column],)


def prediction_picture(study: Study, plan: Plan, noise: Noise) -> PredictionPicture | None:
    """Work out the picture; None when no factor varies.

    Factors on a scale come before named ones, those with more levels first. Differences between sessions do not count.
    """
    study = study_as_planned(study, plan)
    varied = sorted(
        (factor for factor in study.factors if len(factor.levels) > 1), key=lambda f: (not f.scaled, -len(f.levels))
    )
    if not varied:
        return None
    across, up = varied[0], varied[1] if len(varied) > 1 else None
    model = model_of(study, plan)
    fit = fit_of(model, noise, block_sd(model, noise))
    # the level of a session is nobody's question: it adds the same to every prediction and is taken off
    luck = (block_sd(model, noise) ** 2) / model.session.shape[1]
    x = _along(across)
    y: tuple[Setting, ...] = _along(up) if up else ("",)
    rows = np.array([[model.row({across.name: one, **({up.name: other} if up else {})}) for one in x] for other in y])
    variance = np.einsum("yxi,ij,yxj->yx", rows, fit.covariance, rows) - luck
    seen = {(tile.settings[across.name], tile.settings[up.name] if up else "") for tile in plan.tiles}
    return PredictionPicture(
        across, up, x, y, np.sqrt(np.maximum(variance, 0.0)) / noise.tile, tuple(sorted(seen, key=str))
    )


def _along(factor: Factor) -> tuple[Setting, ...]:
    if not factor.scaled:
        return factor.levels
    low, high = float(factor.levels[0]), float(factor.levels[-1])
    if factor.spacing == "geometric" and low > 0:
        return tuple(float(one) for one in np.geomspace(low, high, STEPS))
    return tuple(float(one) for one in np.linspace(low, high, STEPS))
