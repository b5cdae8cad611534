"""How colour comes about, as plausible truths to predict new tiles from: along a path, or channel by channel.

Along the path, the settings push a tile's stage and luck moves the stage; the colour is where the path has got to, give or
take what the tiles stray from it. Channel by channel, L*, a* and b* are each a curved surface over the settings, with luck
of their own. The path is taken where the settings foretell colours of tiles left out better through it. Where colours come
from photos, each truth has an error of the measurement as well, which all its tiles share.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from tilestudy.analysis.choice.chance import Colours
from tilestudy.analysis.choice.vector import Draws, VectorFit, fit_vector
from tilestudy.analysis.colour.path import LEAST_ALONG, ColourPath, Stages
from tilestudy.analysis.colour.photo_error import covariance
from tilestudy.analysis.mixed import Array
from tilestudy.analysis.model import CodedModel

CURVE_DF = 6.0
"""About as many unknowns as a smooth path takes in each channel."""


@dataclass(frozen=True)
class ChannelTruths:
    """Plausible truths of L*, a*, b* as surfaces over the settings."""

    draws: Draws

    def new_tiles(self, row: Array, nodes: Array) -> Array:
        """Colours (n, Q, 3) of new tiles at a coded row (p,); `nodes` (Q, 4) is their luck."""
        return self.draws.means(row[None]) + self.draws.luck(nodes[:, :3])


@dataclass(frozen=True)
class PathTruths:
    """Plausible truths of the stage along a path."""

    draws: Draws
    curve: Curve

    def new_tiles(self, row: Array, nodes: Array) -> Array:
        """Colours (n, Q, 3) of new tiles at a coded row (p,); `nodes` (Q, 4) is their luck."""
        stage = self.draws.means(row[None]) + self.draws.luck(nodes[:, :1])
        return np.asarray(self.curve.at(stage[..., 0]) + nodes[:, 1:] @ self.curve.stray.T)


@dataclass(frozen=True)
class MeasuredTruths:
    """Plausible truths behind measured colours: what was measured, less an error that all tiles of a truth share.

    `error` is the median CIEDE2000 of it; `shared` (n, 3) are standard normal numbers, one error a truth.
    """

    measured: Colours
    error: float
    shared: Array

    def new_tiles(self, row: Array, nodes: Array) -> Array:
        """True colours (n, Q, 3) of new tiles at a coded row (p,); `nodes` (Q, 4) is their luck."""
        tiles = self.measured.new_tiles(row, nodes)
        root = np.linalg.cholesky(covariance(tiles.mean(axis=(0, 1)), self.error))
        return np.asarray(tiles - (self.shared @ root.T)[:, None, :])


@dataclass(frozen=True)
class Curve:
    """A path with straight ends, and how tiles stray from it: `stray` (3, 3) is the root of their covariance."""

    stage: Array
    lab: Array
    stray: Array

    def at(self, stage: Array) -> Array:
        """Colours (..., 3) at stages in per cent."""
        return np.stack([np.interp(stage, self.stage, channel) for channel in self.lab.T], axis=-1)


def curve_of(path: ColourPath, lab: Array) -> Curve:
    """Lengthen a path straight on by half its length at both ends, and measure how colours (n, 3) stray from it."""
    stage = 100.0 * path.at
    ends = []
    for end, inner in ((0, 1), (-1, -2)):
        far = int(np.argmin(np.abs(stage - (stage[end] + (10.0 if end == 0 else -10.0)))))
        far = far if far not in (end, len(stage) - 1 if end else 0) else inner
        slope = (path.curve[end] - path.curve[far]) / abs(stage[end] - stage[far])
        beyond = path.curve[end] + 50.0 * slope
        ends.append(np.array([min(max(beyond[0], 0.0), 100.0), beyond[1], beyond[2]]))
    stages = np.concatenate([[stage[0] - 50.0], stage, [stage[-1] + 50.0]])
    labs = np.vstack([ends[0], path.curve, ends[1]])
    rest = lab - np.stack([np.interp(100.0 * path.stages, stage, channel) for channel in path.curve.T], axis=-1)
    covariance = rest.T @ rest / max(len(lab) - CURVE_DF, 1.0) + 0.1 * np.eye(3)
    return Curve(stages, labs, np.asarray(np.linalg.cholesky(covariance), dtype=float))


@dataclass(frozen=True)
class ColourModel:
    """Colours of tiles, fitted: along a path where `curve` is given, else channel by channel.

    `error` is the median CIEDE2000 error of the measurement itself, None where there is none to speak of.
    """

    fit: VectorFit
    curve: Curve | None = None
    error: float | None = None

    def truths(self, rng: np.random.Generator, n: int) -> Colours:
        """Draw n plausible truths."""
        draws = self.fit.draws(rng, n)
        truths: Colours = ChannelTruths(draws) if self.curve is None else PathTruths(draws, self.curve)
        if self.error is None:
            return truths
        return MeasuredTruths(truths, self.error, rng.standard_normal((n, 3)))

    def mean(self, rows: Array) -> Array:
        """Middle colours (m, 3) at coded rows (m, p)."""
        middle = rows @ self.fit.coefficients
        return np.asarray(middle if self.curve is None else self.curve.at(middle[:, 0]))


def fit_colours(
    tiles: pd.DataFrame,
    model: CodedModel,
    groups: Mapping[str, Array],
    along: Stages | None,
    error: float | None = None,
) -> ColourModel:
    """Fit the colours of tiles.

    Parameters
    ----------
    tiles : frame
        One row a tile: the factors, L, a, b.
    model : CodedModel
    groups : mapping of str to (n,) labels
        Sources of luck.
    along : Stages or None
        The path through the tiles' colours, where there is one.
    error : float, optional
        Median CIEDE2000 error of the measurement itself; it widens what is told of true colours.
    """
    rows = model.matrix(tiles)
    held = [column for term in model.terms if term.kind != "main" for column in term.columns]
    lab = tiles[["L", "a", "b"]].to_numpy(dtype=float)
    if along is None or along.path.along < LEAST_ALONG or along.stage_foretold < along.colour_foretold:
        return ColourModel(fit_vector(lab, rows, groups, held), None, error)
    stage = 100.0 * along.path.stages[:, None]
    return ColourModel(fit_vector(stage, rows, groups, held), curve_of(along.path, lab), error)
