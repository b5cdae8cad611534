"""The studied region: settings a bench can make that lie within what the tiles covered.

A setting lies within when every factor lies between the lowest and highest setting the tiles had, no rule of the study
forbids it, and the mean there is known no worse than at the worst-known tile (so a corner that no tile was near is out,
although each of its factors was tried). Cook (1979), J. Am. Statist. Assoc. 74:169: the region within which the leverage is no
larger than the data's own (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import product

import numpy as np
import pandas as pd

from tilestudy.analysis.mixed import Array
from tilestudy.analysis.model import CodedModel, Coding
from tilestudy.study.records import Setting, Study
from tilestudy.study.units import convert

MOST = 600
"""Most settings looked at."""

_STEPS = {1: 25, 2: 15, 3: 8, 4: 4}
_FEWEST = 3


def bench_settings(coding: Coding, steps: int) -> list[Setting]:
    """Return settings of one factor a bench can make, from the lowest to the highest that tiles had.

    Levels that tiles had and workable settings come first; where there are fewer than `steps`, round ones between them.
    Counts stay whole; named levels are those that tiles had.

    Examples
    --------
    >>> from tilestudy.analysis.model import learn_coding
    >>> from tilestudy.study.records import Factor
    >>> dip, _ = learn_coding(Factor("dip", (10.0, 90.0), "s", "s", "geometric"), [10.0, 90.0, 10.0])
    >>> bench_settings(dip, 5)
    [10.0, 17.0, 30.0, 52.0, 90.0]
    """
    factor = coding.factor
    if coding.scale == "steps":
        return list(coding.levels)
    low, high = coding.seen
    levels = [float(level) for level in coding.levels if not isinstance(level, str)]
    low, high = min([low, *levels]), max([high, *levels])
    stated = sorted({*(one for one in (*levels, *factor.workable) if low <= one <= high)})
    count = not factor.unit and all(float(level).is_integer() for level in factor.levels)
    found = list(stated)
    ends = coding.coded([low, high])
    for z in np.linspace(float(ends[0]), float(ends[1]), steps):
        if len(found) >= steps:
            break
        value = _rounded(coding.decoded(float(z)), coding, count)
        if low <= value <= high and all(_apart(value, one, coding) > 0.5 / (steps - 1) for one in found):
            found.append(value)
    return [float(one) for one in sorted(found)]


def _apart(one: float, other: float, coding: Coding) -> float:
    """Distance of two settings as a share of the factor's span."""
    a, b = coding.coded([one, other])
    return abs(float(a - b)) / 2.0


def _rounded(value: float, coding: Coding, count: bool) -> float:
    """Round to two digits in the unit people write."""
    factor = coding.factor
    if count:
        return float(round(value))
    apart = factor.unit != factor.shown
    written = convert(value, factor.unit, factor.shown) if apart else value
    if written == 0.0:
        return value
    digits = 1 - math.floor(math.log10(abs(written)))
    written = round(written, digits)
    return convert(written, factor.shown, factor.unit) if apart else written


def candidates(study: Study, model: CodedModel, tiles: pd.DataFrame, rows: Array) -> list[dict[str, Setting]]:
    """Return the settings of the studied region that are looked at, the tiles' own planned ones among them.

    Parameters
    ----------
    study : Study
    model : CodedModel
    tiles : frame
        One row a tile, with a column for each factor.
    rows : (n, p) float
        The tiles, coded.
    """
    codings = model.codings
    scaled = sum(coding.scale != "steps" for coding in codings.values())
    named = math.prod(len(c.levels) for c in codings.values() if c.scale == "steps")
    steps = _STEPS.get(scaled, _FEWEST) if scaled else 1
    while scaled and steps > _FEWEST and named * steps**scaled > MOST:
        steps -= 1
    choices = [bench_settings(coding, steps) for coding in codings.values()]
    fixed = {f.name: _usual(tiles[f.name]) for f in study.factors if f.name not in codings}
    found = [
        {**fixed, **dict(zip(codings, combination, strict=True))}
        for combination in product(*choices)
        if study.allows({**fixed, **dict(zip(codings, combination, strict=True))})
    ]
    if len(found) > MOST:
        found = found[:: -(-len(found) // MOST)]
    inverse = np.linalg.pinv(rows.T @ rows)
    worst = float(np.einsum("np,pk,nk->n", rows, inverse, rows).max())
    coded = code(model, found)
    known = np.einsum("np,pk,nk->n", coded, inverse, coded) <= worst * (1 + 1e-9)
    return [one for one, within in zip(found, known, strict=True) if within]


def code(model: CodedModel, settings: Sequence[Mapping[str, Setting]]) -> Array:
    """Code settings as model rows: (m, p)."""
    return model.matrix(pd.DataFrame(list(settings)))


def _usual(column: pd.Series) -> Setting:
    """The setting that a factor, the same on every tile, had."""
    value = column.iloc[0]
    return value if isinstance(value, str) else float(column.median())


def gap(one: Mapping[str, Setting], other: Mapping[str, Setting], model: CodedModel) -> float:
    """How far apart two settings are: the largest distance over the factors, as a share of each factor's span."""
    found = 0.0
    for name, coding in model.codings.items():
        a, b = one[name], other[name]
        if coding.scale == "steps":
            found = max(found, float(a != b))
        elif not isinstance(a, str) and not isinstance(b, str):
            found = max(found, _apart(a, b, coding))
    return found
