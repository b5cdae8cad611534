"""Plain sentences about the shape of a fitted surface, each only where it changes what to make next.

Everything is said of the settings looked at (`tilestudy.analysis.choice.region`), never of settings beyond what was tried.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np

from tilestudy.analysis.choice.surface import SMALL, Surface
from tilestudy.analysis.mixed import Array, Estimate
from tilestudy.analysis.naming import Show
from tilestudy.analysis.numbers import decimals_telling, end_of_range, number
from tilestudy.study.language import capital, listed
from tilestudy.study.records import Setting

Goal = Literal["higher", "lower"]

_BETTER: dict[Goal, float] = {"higher": 1.0, "lower": -1.0}
_MOST: dict[Goal, str] = {"higher": "highest", "lower": "lowest"}

ALIKE = 0.1
"""Share of the response's range over the settings looked at below which two settings come out alike (our own choice)."""
_LEAST_PART = 0.3  # of a direction of length 1: a factor with less has no say in it
_LEAST_GAP = 0.5  # coded: a quarter of a factor's span, or the two settings are next to one another


def shape_told(
    surface: Surface,
    region: Sequence[Mapping[str, Setting]],
    goal: Goal,
    show: Show,
    matters: float | None = None,
) -> tuple[str, ...]:
    """Say what the shape of a surface means for the choice of settings.

    Parameters
    ----------
    surface : Surface
    region : sequence of mapping
        The settings looked at, each with every factor of the surface: those tried, and between them.
    goal : "higher" or "lower"
        Which way the response is better.
    show : callable
        Writes a setting with its unit.
    matters : float, optional
        Smallest change worth acting on, in the response's unit.

    Returns
    -------
    tuple of str
        Up to three sentences; none where the tiles do not tell the shape.
    """
    points = _different(surface, region)
    if len(points) < 2:
        return ()
    z = np.array([surface.coded(point) for point in points])
    good = surface.mean(z) * _BETTER[goal]  # higher is better
    best = int(good.argmax())
    told = [
        _ridge(surface, points, z, good, show, matters),
        _inside(surface, points, best, goal, show) or _saddle(surface, points, z, good, goal, show),
        _edge(surface, points, z, best, goal, show),
    ]
    return tuple(one for one in told if one)


def _different(surface: Surface, region: Sequence[Mapping[str, Setting]]) -> list[Mapping[str, Setting]]:
    """The settings of the surface's factors that occur, each once."""
    found = {tuple(at[name] for name in surface.names): at for at in region}
    return [{name: at[name] for name in surface.names} for at in found.values()]


def _ridge(
    surface: Surface,
    points: Sequence[Mapping[str, Setting]],
    z: Array,
    good: Array,
    show: Show,
    matters: float | None,
) -> str | None:
    """Two settings far apart along a direction of several factors that come out alike."""
    y = surface.mean(z)
    spread = float(np.ptp(y))
    alike = min(ALIKE * spread, matters) if matters is not None else ALIKE * spread
    if not _bends(surface.bending[_sharpest(surface)]):
        return None
    sizes = np.abs(surface.axes.eigenvalues)
    weakest = int(sizes.argmin())
    direction = surface.axes.directions[:, weakest]
    parts = np.abs(direction) >= _LEAST_PART
    flat = sizes[weakest] <= SMALL * sizes.max() or (
        _holds_nought(surface.bending[weakest]) and sizes[weakest] <= 2 * SMALL * sizes.max()
    )
    if not flat or parts.sum() < 2:
        return None
    step = z[:, None, :] - z[None, :, :]
    length = np.linalg.norm(step, axis=2)
    along = np.abs(step @ direction) >= 0.9 * np.maximum(length, 1e-12)  # within about 25 degrees of the ridge
    apart = (np.abs(step[:, :, parts]) >= _LEAST_GAP).all(axis=2)
    middle = surface.mean((z[:, None, :] + z[None, :, :]) / 2)  # halfway between, so that what is crossed is no hump
    level = np.maximum(np.abs(y[:, None] - y[None, :]), np.abs(middle - y[:, None])) <= alike
    worth = np.where(along & apart & level, length + good[:, None] / max(spread, 1e-12), -np.inf)
    if not np.isfinite(worth.max()):
        return None
    i, j = (int(one) for one in np.unravel_index(worth.argmax(), worth.shape))
    apart_by = surface.difference(points[i], points[j])
    if apart_by.low is not None and apart_by.high is not None:
        bound = max(matters or 0.0, 0.25 * spread)
        if max(abs(apart_by.low), abs(apart_by.high)) > bound:
            return None
    names = [c.factor.label for c, part in zip(surface.codings, parts, strict=True) if part]
    return (
        f"Along {listed(names)} together {_said(surface)} hardly changes (a ridge): "
        f"{_written(surface, points[i], show)} comes out like {_written(surface, points[j], show)}{_by(apart_by, surface)}. "
        "Take the one that is easier to make."
    )


def _inside(surface: Surface, points: Sequence[Mapping[str, Setting]], best: int, goal: Goal, show: Show) -> str | None:
    """The best lies within what was tried, and the tiles say so of every direction."""
    wanted = "peak" if goal == "higher" else "hollow"
    if surface.axes.shape != wanted or not surface.inside or not all(_bends(one) for one in surface.bending):
        return None
    return (
        f"{capital(_said(surface))} is {_MOST[goal]} within what was tried, near "
        f"{_written(surface, points[best], show)}; from there it gets worse in every direction, so going further gains nothing."
    )


def _saddle(
    surface: Surface, points: Sequence[Mapping[str, Setting]], z: Array, good: Array, goal: Goal, show: Show
) -> str | None:
    """Two separate good ends with worse between them."""
    if surface.axes.shape != "saddle" or not surface.inside or surface.axes.stationary is None:
        return None
    bends = [_bends(one) for one in surface.bending]
    rising = 0 if goal == "higher" else len(surface.codings) - 1  # eigenvalues come the largest first
    if not bends[0] or not bends[-1]:
        return None
    side = (z - surface.axes.stationary) @ surface.axes.directions[:, rising]
    ends = [np.flatnonzero(side > 0), np.flatnonzero(side < 0)]
    if not all(len(one) for one in ends):
        return None
    first, second = sorted((int(one[good[one].argmax()]) for one in ends), key=lambda one: -good[one])
    return (
        f"{capital(_said(surface))} has two good ends with worse between them (a saddle): "
        f"{_written(surface, points[first], show)}, and {_written(surface, points[second], show)}. Compare both before choosing."
    )


def _edge(
    surface: Surface, points: Sequence[Mapping[str, Setting]], z: Array, best: int, goal: Goal, show: Show
) -> str | None:
    """The best lies where tiles end, and the response still improves there."""
    edges = []
    for i, coding in enumerate(surface.codings):
        for end, outward in ((z[:, i].min(), -1.0), (z[:, i].max(), 1.0)):
            slope = surface.slope(z[best], i)
            if z[best, i] == end and slope.value * outward * _BETTER[goal] > 0 and not _holds_nought(slope):
                edges.append(f"{coding.factor.label} {show(points[best][coding.name], coding.factor)}")
    if not edges:
        return None
    return (
        f"The best for {_said(surface)} lies on the edge of what was tried ({listed(edges)}): going "
        "further may be better, but no tile says so."
    )


def _sharpest(surface: Surface) -> int:
    return int(np.abs(surface.axes.eigenvalues).argmax())


def _holds_nought(one: Estimate) -> bool:
    return one.low is not None and one.high is not None and one.low <= 0.0 <= one.high


def _bends(one: Estimate) -> bool:
    """True when the tiles say that the surface bends this way."""
    return one.low is not None and not _holds_nought(one)


def _written(surface: Surface, at: Mapping[str, Setting], show: Show) -> str:
    return " with ".join(f"{c.factor.label} {show(at[c.name], c.factor)}" for c in surface.codings)


def _by(apart: Estimate, surface: Surface) -> str:
    """Write how far two settings differ, with the range."""
    if apart.low is None or apart.high is None:
        return ""
    unit = f" {surface.found.unit}" if surface.found.unit else ""
    low, high = sorted((apart.low, apart.high))
    places = decimals_telling(low, high, apart.value)
    value = number(apart.value, places, True)
    return f" (a difference of {value}{unit}, {end_of_range(low, places, True)} to {end_of_range(high, places, True)})"


def _said(surface: Surface) -> str:
    return surface.found.spoken or surface.found.label
