"""Stage along the path: how far a tile has gone, from its colour, where colour itself goes round in circles.

As a film grows its colours run through a loop, so L*, a* and b* rise and fall while the film only grows. The tiles' colours
still lie along one smooth curve through L*a*b*, and the place on it is a number that only grows. The curve is a principal
curve (Hastie & Stuetzle 1989): fit a smooth curve to the colours in the order of a guide, move each tile to the place of
the curve nearest to its colour, fit again. The guide is a sum of what pushes a tile further (strength, time, cycles, heat);
it keeps apart colours that look alike at different stages, since a place far from the guide counts as far off. Curves of
several stiffnesses are followed, from the guide's order (and, where the colours lie nearly along a straight line, from the
order along it), and the shortest is taken that comes about as near to the colours as any: no detours for the sake of noise.

At the end each tile stands at the nearest place of the curve, whatever the guide says within that stretch. Even so a little
of the guide stays in the stages, so only factors that are known to drive the colour may guide; whether they do is for the
test of the whole colour to say, not for the stage. Distances along the curve are in CIEDE2000: equal steps look equal.

Sources: Hastie & Stuetzle (1989), J. Am. Statist. Assoc. 84:502; Eilers & Marx (1996), Statist. Sci. 11:89 (the smooth
curve: B-splines with a penalty, its size by generalised cross-validation, Craven & Wahba 1979, Numer. Math. 31:377).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tilestudy.analysis.colour.spline import KNOTS, ROUGH, basis, smooth
from tilestudy.analysis.findings import ResponseSpec
from tilestudy.analysis.mixed import Array
from tilestudy.analysis.model import CodedModel
from tilestudy.colour.difference import ciede2000
from tilestudy.errors import NotEnoughError

LEAST_TILES = 10
"""Tiles below which no curve is drawn through their colours."""

LEAST_ALONG = 0.8
"""Share of the colour variation that must lie along the path for the stage to be used."""

LEAST_GAIN = 0.05
"""How much more of the stage than of L*, a*, b* the settings must foretell (leave-one-out R2) for it to be used, and how
much more of the colour variation must lie along the path than along a straight line."""

ALIKE = 3.0
"""CIEDE2000 below which two far stages are said to look alike (common practice, no source)."""

NEAR = 0.5
"""The shortest path is taken that comes within so many CIEDE2000 of the nearest."""

_STRAIGHT = 0.9  # share of the variation along a line from which on its order is a start as well
_STIFF = (1e3, 1e2, 1e1, 1.0, 1e-1, 1e-2, 1e-3)
_GRID = np.linspace(-0.05, 1.05, 221)
_ROUNDS = 15
_GUIDED = 4  # factors that the guide is made of, at most
_COARSE = {1: 1, 2: 10, 3: 6, 4: 4}  # steps of the weights tried


def stage_spec(stage: str = "") -> ResponseSpec:
    """Describe the stage along the path, 0 (least) to 100 % (most). 5 % is the smallest that matters (common practice)."""
    label = "stage along the path"
    return ResponseSpec("stage", label, "%", "number", stage, 5.0, None, "", f"the {label}", of_colour=True)


@dataclass(frozen=True)
class ColourPath:
    """A smooth path through the colours of the tiles.

    Attributes
    ----------
    stages : (n,) float
        Place of each tile, 0 (the least) to 1 (the most).
    curve : (m, 3) float
        CIE L*a*b* along the path, from stage 0 to 1; `at` (m,) are its stages.
    length : float
        Length of the path, CIEDE2000.
    spread : float
        Mean CIEDE2000 of the tiles from their places on the path.
    along, straight : float
        Share of the colour variation that lies along the path, and along the best straight line.
    turn : float
        Degrees that the hue goes round along the path (0 while nearly grey); 360 is one colour order.
    alike : (float, float, float) or None
        Two far stages that look alike, and their CIEDE2000.
    """

    stages: Array
    curve: Array
    at: Array
    length: float
    spread: float
    along: float
    straight: float
    turn: float
    alike: tuple[float, float, float] | None

    @property
    def orders(self) -> bool:
        """True when the tiles span more than one colour order, or the path comes back to a colour it had."""
        return self.turn > 360.0 or self.alike is not None


def path_through(lab: Array, guide: Array) -> ColourPath:
    """Order colours along a smooth path.

    Parameters
    ----------
    lab : (n, 3) float
        CIE L*a*b* of the tiles.
    guide : (n,) float
        What should grow along the path, on any scale. Off by 7 % of its range (one standard deviation) is near enough for
        24 tiles, by 10 % for 48.

    Raises
    ------
    NotEnoughError
        Fewer than `LEAST_TILES` tiles, or a guide that is the same for all.

    Examples
    --------
    >>> t = np.linspace(0, 1, 24)
    >>> loop = np.column_stack([60 - 20 * t, 30 * np.cos(5 * t), 30 * np.sin(5 * t)])
    >>> found = path_through(loop, t + 0.05 * np.sin(40 * t))
    >>> bool((np.diff(found.stages) > 0).all()), found.orders
    (True, False)
    """
    lab, guide = np.asarray(lab, dtype=float), np.asarray(guide, dtype=float)
    span = float(np.ptp(guide)) if len(guide) else 0.0
    if len(lab) < LEAST_TILES or span < 1e-9:
        raise NotEnoughError(
            f"{len(lab)} tiles are too few to draw a path through their colours; it takes {LEAST_TILES}."
            if len(lab) < LEAST_TILES
            else "All tiles were pushed equally far, so their colours have no order to follow. Vary time, strength or heat."
        )
    wanted = (guide - guide.min()) / span
    starts = [wanted]
    middle = lab - lab.mean(axis=0)
    _, sizes, axes = np.linalg.svd(middle, full_matrices=False)
    if float(sizes[0] ** 2) >= _STRAIGHT * float((sizes**2).sum()) > 0:  # nearly straight: its own order is a start too
        line = middle @ axes[0] * np.sign(float(middle @ axes[0] @ (wanted - wanted.mean())) or 1.0)
        starts.append((line - line.min()) / float(np.ptp(line)))
    found = [_followed(lab, wanted, start, penalty) for start in starts for penalty in _STIFF]
    nearest = min(one.off for one in found)
    best = min((one for one in found if one.off <= nearest + NEAR), key=lambda one: one.length)
    return _told(lab, best.curve, best.index)


@dataclass(frozen=True)
class _Followed:
    """One curve that was tried: points along it, the point of each tile, length, and how far off the tiles are."""

    curve: Array
    index: NDArray[np.intp]
    length: float
    off: float


def _followed(lab: Array, wanted: Array, start: Array, penalty: float) -> _Followed:
    """Follow the colours with a curve of this stiffness; tiles are off by their mean CIEDE2000 for each spare tile."""
    place, reach = start, float(np.clip(np.sqrt(np.mean((start - wanted) ** 2)), 0.15, 0.3))
    on_grid = basis(_GRID)
    for _ in range(_ROUNDS):
        B = basis(place)
        inner = B.T @ B
        inverse = np.linalg.inv(inner + penalty * (ROUGH.T @ ROUGH) + 1e-9 * np.eye(KNOTS))
        coefficients = inverse @ (B.T @ lab)
        spare = max(len(lab) - float(np.einsum("ij,ji->", inverse, inner)), 1.0)
        curve = on_grid @ coefficients
        noise = max(float(((lab - B @ coefficients) ** 2).sum()) / (3.0 * spare), 0.5)
        off = ((lab[:, None] - curve[None]) ** 2).sum(axis=-1)
        moved = _GRID[(off / noise + ((wanted[:, None] - _GRID) / reach) ** 2).argmin(axis=1)]
        reach = float(np.clip(np.sqrt(np.mean((moved - wanted) ** 2)), 0.03, 0.3))
        settled = float(np.abs(moved - place).max()) < 1e-3
        place = moved
        if settled:
            break
    at = np.searchsorted(_GRID, place - 1e-9)
    index = np.array([_nearest_by(row, int(i)) for row, i in zip(off, at, strict=True)])
    curve, index = curve[index.min() : index.max() + 1], index - index.min()
    apart = float(ciede2000(lab, curve[index]).mean()) * float(np.sqrt(len(lab) / spare))
    return _Followed(curve, index, float(ciede2000(curve[1:], curve[:-1]).sum()), apart)


def guide_of(colours: pd.DataFrame, model: CodedModel, names: Sequence[str]) -> Array:
    """Make a guide from factors that have a scale: their weighted sum, more of each pushing further.

    The weights (none below nought) are those under which a smooth curve comes nearest the colours.

    Parameters
    ----------
    colours : frame
        One row a tile: the factors and `L`, `a`, `b`.
    model : CodedModel
    names : sequence of str
        Factors that are known to drive the colour, the strongest first; the first four with a scale are taken. A factor
        that does nothing must not be among them: the stage would follow it a little, and it would look like a driver.

    Raises
    ------
    NotEnoughError
        When none of them has a scale.
    """
    lab = colours[["L", "a", "b"]].to_numpy(dtype=float)
    scaled = [name for name in names if model.codings[name].scale != "steps"][:_GUIDED]
    if not scaled:
        raise NotEnoughError("No factor has a scale (time, strength, heat), so nothing tells which colour comes later.")
    coded = np.column_stack([model.codings[name].coded(colours[name].tolist()) for name in scaled])
    best, guide = np.inf, coded[:, 0]
    for weights in _weights(len(scaled), _COARSE[len(scaled)]):
        tried = coded @ weights
        span = float(np.ptp(tried))
        if span < 1e-9:
            continue
        place = (tried - tried.min()) / span
        _, df, rest = smooth(place, lab)
        score = rest / (1.0 - df / len(lab)) ** 2
        if score < best:
            best, guide = score, tried
    return np.asarray(guide)


def foretold(columns: Array, y: Array) -> float:
    """Leave-one-out R2 of a least squares fit: what the settings foretell of a tile left out; at most 1.

    Parameters
    ----------
    columns : (n, p) float
        Model columns, the constant included.
    y : (n,) or (n, q) float
        Several responses are added up.
    """
    q = np.linalg.svd(columns, full_matrices=False)
    basis = q[0][:, q[1] > 1e-9 * q[1][0]]
    y = y.reshape(len(y), -1)
    rest = y - basis @ (basis.T @ y)
    leverage = np.minimum((basis**2).sum(axis=1), 1.0 - 1e-9)
    total = float(((y - y.mean(axis=0)) ** 2).sum())
    return 1.0 - float(((rest / (1.0 - leverage)[:, None]) ** 2).sum()) / total if total > 0 else 0.0


@dataclass(frozen=True)
class Stages:
    """The path of a study's tiles, and whether the stage along it tells more than L*, a*, b* do.

    `stage_foretold` and `colour_foretold` are leave-one-out R2 of the settings' model, of the stage and of the three
    channels together. `frame` has a row a tile with the stage in per cent in ``y``.
    """

    path: ColourPath
    stage_foretold: float
    colour_foretold: float
    frame: pd.DataFrame

    @property
    def useful(self) -> bool:
        """True when a bent path holds the colours and the settings foretell the stage clearly better than the channels."""
        bent = self.path.along >= max(LEAST_ALONG, self.path.straight + LEAST_GAIN)
        return bent and self.stage_foretold >= self.colour_foretold + LEAST_GAIN

    def sentences(self) -> list[str]:
        """Say what the stage is where it is used, and warn when colour alone does not tell the stage."""
        path, said = self.path, []
        if self.useful:
            said.append(
                f"The colours follow one path ({100 * path.along:.0f} % of their variation lies along it), from "
                "0 % (the least) to 100 % (the most): the settings foretell the stage along it better than "
                "lightness, redness and yellowness one by one, which rise and fall on the way."
            )
        if path.alike is not None and path.along >= LEAST_ALONG:
            one, two, apart = path.alike
            said.append(
                f"Tiles at {100 * one:.0f} % and at {100 * two:.0f} % of the path look alike ({apart:.1f} CIEDE2000 apart), so "
                "a colour alone does not say how far a tile has gone: go by the order of the settings, or study a narrower "
                "range of them."
            )
        elif path.turn > 360.0 and path.along >= LEAST_ALONG:
            said.append(
                f"The hue goes round more than once along the path ({path.turn / 360.0:.1f} times), so like colours come at "
                "different stages: go by the order of the settings, not by colour, or study a narrower range of them."
            )
        return said

    def as_dict(self) -> dict[str, Any]:
        """Return the stages as plain values, ready for JSON."""
        path = self.path
        return {
            "stages": dict(zip(self.frame["tile"].astype(str), self.frame["y"].astype(float), strict=True)),
            "length": path.length,
            "along": path.along,
            "straight": path.straight,
            "turn": path.turn,
            "alike": None if path.alike is None else list(path.alike),
            "stage_foretold": self.stage_foretold,
            "colour_foretold": self.colour_foretold,
            "useful": self.useful,
        }


def stages(colours: pd.DataFrame, model: CodedModel, names: Sequence[str]) -> Stages:
    """Find the stage of each tile along the path of their colours, guided by these factors (see `guide_of`).

    Raises NotEnoughError as `guide_of` and `path_through` do.
    """
    lab = colours[["L", "a", "b"]].to_numpy(dtype=float)
    path = path_through(lab, guide_of(colours, model, names))
    X = model.matrix(colours)
    return Stages(path, foretold(X, path.stages), foretold(X, lab), colours.assign(y=100.0 * path.stages))


def _nearest_by(off: Array, i: int) -> int:
    """Walk downhill along the curve from place i to where the colour is nearest."""
    i = min(i, len(off) - 1)
    while True:
        near = [k for k in (i - 1, i, i + 1) if 0 <= k < len(off)]
        best = min(near, key=lambda k: off[k])
        if off[best] >= off[i]:
            return i
        i = best


def _told(lab: Array, curve: Array, index: NDArray[np.intp]) -> ColourPath:
    """Measure the path and the places on it in CIEDE2000."""
    steps = ciede2000(curve[1:], curve[:-1])
    length = float(steps.sum())
    at = np.concatenate([[0.0], np.minimum(np.cumsum(steps) / max(length, 1e-12), 1.0)])
    left = float(((lab - curve[index]) ** 2).sum())
    middle = lab - lab.mean(axis=0)
    total = float((middle**2).sum())
    thin = np.arange(0, len(curve), 2)
    apart = ciede2000(curve[thin, None], curve[None, thin])
    far = (at[None, thin] - at[thin, None]) >= 0.35
    alike = None
    if far.any() and length > 10.0 * ALIKE:
        i, j = np.unravel_index(int(np.where(far, apart, np.inf).argmin()), apart.shape)
        if apart[i, j] <= ALIKE:
            alike = (float(at[thin[i]]), float(at[thin[j]]), float(apart[i, j]))
    return ColourPath(
        at[index],
        curve,
        at,
        length,
        float(ciede2000(lab, curve[index]).mean()),
        max(1.0 - left / total, 0.0) if total > 0 else 0.0,
        float(np.linalg.svd(middle, compute_uv=False)[0] ** 2) / total if total > 0 else 0.0,
        _turn(curve),
        alike,
    )


def _turn(curve: Array) -> float:
    """Degrees that the hue goes round along a curve, whichever way; steps through grey count for nothing."""
    step = np.diff(np.arctan2(curve[:, 2], curve[:, 1]))
    step = (step + np.pi) % (2.0 * np.pi) - np.pi
    vivid = np.hypot(curve[:, 1], curve[:, 2])
    turned = np.cumsum(np.where(np.minimum(vivid[1:], vivid[:-1]) > 5.0, step, 0.0))
    return float(np.degrees(np.ptp(np.concatenate([[0.0], turned]))))


def _weights(k: int, steps: int) -> Iterator[Array]:
    """Weights of k factors, none below nought, that add up to 1, in so many steps."""
    for bars in combinations(range(steps + k - 1), k - 1):
        edges = np.array([-1, *bars, steps + k - 1])
        yield (np.diff(edges) - 1) / steps
