"""How far a factor moves the predicted colour, in CIEDE2000, with a range.

The model predicts L*, a*, b* at two settings; their difference d has a covariance C: Kenward & Roger's standard errors of
the three channels, tied together by how the channels scatter together from tile to tile (taken to be the same from batch
to batch, only larger). The range holds the CIEDE2000 of every d with (d - d_hat)' C^-1 (d - d_hat) <= F(1, ddf), as a
profile likelihood does for one number. A length cannot be negative, so noise alone gives one above nought: the range
starts at nought unless d = 0 lies outside the region for all three numbers, 3 F(3, ddf) (Hotelling 1931). What the
measurement itself may be off (`photo_error`) is added to C for the range.

Sources: Sharma, Wu & Dalal (2005) (CIEDE2000); Hotelling (1931), Ann. Math. Statist. 2:360; coverage is simulated in
tests/benchmarks/colour.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from scipy.special import fdtri

from tilestudy.analysis.colour.photo_error import covariance, kept
from tilestudy.analysis.findings import LEAST_DF, ResponseFindings
from tilestudy.analysis.mixed import Array
from tilestudy.analysis.model import CodedModel, Coding, indicators
from tilestudy.colour.difference import ciede2000
from tilestudy.study.records import Lab, Setting

VISIBLE = 1.0
"""CIEDE2000 that is just visible side by side: the smallest that matters (common practice, no source)."""

LOOPS = 1.5
"""How many times the ends' difference two other settings must differ to be told instead of the ends."""

_SPHERE = 600  # directions in which the edge of the region is looked at


@dataclass(frozen=True)
class ColourChange:
    """How far the predicted colour lies apart at two settings of a factor, the others averaged.

    Attributes
    ----------
    factor : str
    setting_low, setting_high
        The ends of a scale; the two settings farthest apart for named levels, and where the ends look alike while the
        middle does not.
    lab_low, lab_high : (float, float, float)
        Predicted CIE L*a*b* there.
    difference : float
        CIEDE2000 between them.
    low, high : float or None
        Range of it; None where the noise was not measured.
    ends : (setting, setting, float) or None
        The ends of the scale and the CIEDE2000 between them, where other settings are told.
    """

    factor: str
    setting_low: Setting
    setting_high: Setting
    lab_low: Lab
    lab_high: Lab
    difference: float
    low: float | None
    high: float | None
    ends: tuple[Setting, Setting, float] | None = None


def colour_changes(
    colours: pd.DataFrame,
    L: ResponseFindings,
    a: ResponseFindings,
    b: ResponseFindings,
    level: float = 0.95,
    error: float | None = None,
) -> dict[str, ColourChange]:
    """Work out how far each factor moves the predicted colour.

    Parameters
    ----------
    colours : frame
        One row a tile with `batch`, `session`, the factors and `L`, `a`, `b`: the tiles of the findings.
    L, a, b : ResponseFindings
        Of these tiles.
    level : float
        Coverage of the ranges; several pairs of settings share it (Bonferroni).
    error : float, optional
        Median CIEDE2000 error of the measurement itself; what a difference keeps of it widens the ranges.

    Returns
    -------
    mapping of str to ColourChange
        By factor.
    """
    channels = (L, a, b)
    tied = _tied(colours, L.model)
    changes = {}
    for name, coding in L.model.codings.items():
        pairs = _pairs(coding, bent=L.model.term(f"{name} (bend)") is not None)
        labs = {setting: _lab(channels, name, setting) for pair in pairs for setting in pair}
        apart = [round(float(ciede2000(labs[low], labs[high])), 9) for low, high in pairs]
        best = int(np.argmax(apart))
        scaled = coding.factor.numeric and coding.scale != "steps"
        if scaled and apart[best] < LOOPS * apart[0]:
            best = 0
        low, high = pairs[best]
        found = _range(channels, tied, name, low, high, labs, 1.0 - (1.0 - level) / len(pairs), error)
        ends = (*pairs[0], apart[0]) if scaled and best else None
        changes[name] = ColourChange(name, low, high, labs[low], labs[high], apart[best], *found, ends)
    return changes


def range_of_difference(
    lab_low: Lab, lab_high: Lab, C: Array, ddf: float, level: float = 0.95, measured: Array | None = None
) -> tuple[float, float]:
    """Range of the CIEDE2000 between two predicted colours.

    Parameters
    ----------
    lab_low, lab_high : CIE L*a*b*
    C : (3, 3) float
        Covariance of their difference.
    ddf : float
        Degrees of freedom of C.
    measured : (3, 3) float, optional
        Covariance of what the measurement adds; it widens the range and cannot make a difference out of none.

    Examples
    --------
    >>> low, high = range_of_difference((50.0, 0, 0), (40.0, 0, 0), np.eye(3), 20.0)
    >>> round(low, 1), round(high, 1)
    (7.5, 11.4)
    >>> range_of_difference((50.0, 0, 0), (49.0, 0, 0), np.eye(3), 20.0)[0]
    0.0
    """
    one, two = np.asarray(lab_low, dtype=float), np.asarray(lab_high, dtype=float)
    middle, d = (one + two) / 2, two - one
    half = np.linalg.cholesky(C if measured is None else C + measured) * float(np.sqrt(fdtri(1, ddf, level)))
    i = np.arange(_SPHERE) + 0.5  # directions spread evenly along a spiral
    z, turn = 1.0 - 2.0 * i / _SPHERE, i * np.pi * (1.0 + 5.0**0.5)
    flat = np.sqrt(1.0 - z * z)
    edge = np.stack([flat * np.cos(turn), flat * np.sin(turn), z], axis=-1) @ half.T
    moved = np.concatenate([d + share * edge for share in (1.0, 0.75, 0.5, 0.25)])
    found = ciede2000(middle - moved / 2, middle + moved / 2)
    here = float(ciede2000(one, two))
    nothing = float(d @ np.linalg.solve(C, d)) <= 3.0 * float(fdtri(3, ddf, level))
    return (0.0 if nothing else min(here, float(found.min()))), max(here, float(found.max()))


def _pairs(coding: Coding, bent: bool) -> list[tuple[Setting, Setting]]:
    """Settings to compare, the ends of a scale first."""
    every = list(combinations(coding.levels, 2))
    if not coding.factor.numeric or coding.scale == "steps":
        return every
    ends = (coding.levels[0], coding.levels[-1])
    return [ends, *(pair for pair in every if pair != ends)] if bent else [ends]


def _lab(channels: tuple[ResponseFindings, ...], name: str, setting: Setting) -> Lab:
    L, a, b = (one.predict({name: setting}).value for one in channels)
    return L, a, b


def _tied(colours: pd.DataFrame, model: CodedModel) -> Array:
    """Correlations of the channels from tile to tile, drawn towards none where few tiles tell of them: (3, 3)."""
    Y = colours[["L", "a", "b"]].to_numpy(dtype=float)
    X = model.matrix(colours)
    batch = indicators(pd.factorize(colours["batch"])[0])
    for columns in (np.hstack([X, batch]), X):
        rank = int(np.linalg.matrix_rank(columns))
        if len(Y) > rank:
            break
    else:
        return np.eye(3)
    rest = Y - columns @ np.linalg.lstsq(columns, Y, rcond=1e-9)[0]
    S = rest.T @ rest
    size = np.sqrt(np.diag(S))
    size[size < 1e-9 * max(float(size.max()), 1e-9)] = np.inf
    R = S / np.outer(size, size)
    df = len(Y) - rank
    R *= df / (df + 4.0)
    np.fill_diagonal(R, 1.0)
    return np.asarray(R)


def _range(
    channels: tuple[ResponseFindings, ...],
    tied: Array,
    name: str,
    low: Setting,
    high: Setting,
    labs: dict[Setting, Lab],
    level: float,
    error: float | None,
) -> tuple[float | None, float | None]:
    """Range of one change, or Nones where a channel's noise was not measured."""
    ses, ddfs = [], []
    for one in channels:
        if one.fit is None and one.n_tiles > 1:  # the same value on every tile: known to be unmoved
            ses.append(1e-6)
            continue
        judged = all(term.p is not None for term in one.terms if term.factors == (name,))
        if one.fit is None or one.fit.perfect or not judged:
            return None, None
        found = one.fit.contrast(one.model.row({name: high}) - one.model.row({name: low}), level)
        if found.se is None or found.ddf is None or found.ddf < LEAST_DF or found.se <= 0:
            return None, None
        ses.append(found.se * one.scale)
        ddfs.append(found.ddf)
    if not ddfs:
        return None, None
    C = np.outer(ses, ses) * tied
    measured = None
    if error is not None:
        first, last = np.asarray(labs[low]), np.asarray(labs[high])
        measured = covariance((first + last) / 2, error) * kept(float(ciede2000(first, last))) ** 2
    return range_of_difference(labs[low], labs[high], C, float(np.median(ddfs)), level, measured)
