"""Model columns and the exact average of their products over the region.

A scaled factor runs from -1 to +1 over its range (logs for geometric spacing); a factor in steps has sum-to-zero
contrasts (the last level is minus the others). A model column is a product of one such function for each factor, so its
moments over a box are products of one-factor moments: nought for odd powers, 1/(m + 1) for even ones (uniform on -1..1).
Source: Goos & Jones (2011), section 4.3.5 (I-optimality, moments matrix).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product
from math import prod

import numpy as np
import numpy.typing as npt

from tilestudy.design.optimal.problem import Problem, Term
from tilestudy.study.records import Factor, Setting

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
FINE = 21
"""Levels tried of a factor that may take any value, before its coordinates are polished."""
_MOST = 200_000
"""Most combinations listed when something is forbidden; longer lists are thinned evenly, factor by factor."""


@dataclass(frozen=True)
class Axis:
    """One factor as the search sees it.

    `levels` (L,) holds coded settings (scaled) or level numbers (steps); `settings` the same as people write them;
    `free` is True when anything between may be planned, `discrete` when nothing between exists; `powers` counts the
    functions of it in the model; `moments` (powers + 1, powers + 1) is the average product of those functions, the constant first.
    """

    factor: Factor
    levels: Floats
    settings: tuple[Setting, ...]
    free: bool
    powers: int
    moments: Floats
    discrete: bool = False

    def functions(self, at: Floats) -> Floats:
        """Return the functions of the factor, the constant first: (..., powers + 1) from coordinates (...)."""
        if self.factor.scaled:
            return np.asarray(at[..., None] ** np.arange(self.powers + 1), dtype=float)
        return np.asarray(_contrasts(len(self.levels))[at.astype(np.int64)], dtype=float)

    def code(self, setting: Setting) -> float:
        """Return the coordinate of a setting; raises ValueError for a name that is no level."""
        if not self.factor.scaled:
            return float(self.factor.levels.index(setting))
        low, high, value = (_scale(self.factor, one) for one in (*_ends(self.factor), setting))
        return 2 * (value - low) / (high - low) - 1

    def shown(self, at: Floats) -> npt.NDArray[np.object_] | Floats:
        """Return settings from coordinates: stated ones exactly as stated, free ones computed."""
        if not self.free:
            kept = np.array(self.settings, dtype=float if self.factor.scaled else object)
            place = np.searchsorted(self.levels, at - 1e-9)
            on = np.abs(self.levels[np.minimum(place, len(kept) - 1)] - at) < 1e-7
            exact = kept[np.minimum(place, len(kept) - 1)]
            # a tile made already may lie off the workable settings
            return exact if bool(on.all()) else np.where(on, exact, self._computed(at))
        return self._computed(at)

    def _computed(self, at: Floats) -> Floats:
        low, high = (_scale(self.factor, end) for end in _ends(self.factor))
        value = low + (at + 1) / 2 * (high - low)
        return np.asarray(np.exp(value) if self.factor.spacing == "geometric" else value, dtype=float)


def _ends(factor: Factor) -> tuple[Setting, Setting]:
    return factor.levels[0], factor.levels[-1]


def _scale(factor: Factor, setting: Setting) -> float:
    return float(np.log(float(setting))) if factor.spacing == "geometric" else float(setting)


def _contrasts(levels: int) -> Floats:
    """(levels, levels): the constant and the sum-to-zero contrasts of a factor in steps."""
    return np.hstack([np.ones((levels, 1)), np.vstack([np.eye(levels - 1), -np.ones(levels - 1)])])


def axis(problem: Problem, factor: Factor, powers: int) -> Axis:
    """Return the axis of a factor that enters the model with so many powers."""
    if not factor.scaled:
        table = _contrasts(len(factor.levels))
        levels = np.arange(len(factor.levels), dtype=float)
        return Axis(factor, levels, factor.levels, False, len(levels) - 1, table.T @ table / len(levels))
    discrete = factor.name in problem.discrete
    stated = problem.workable.get(factor.name) or (factor.levels if discrete else ())
    draft = Axis(factor, np.empty(0), (), False, powers, np.empty(0))
    degrees = np.arange(powers + 1)
    order = degrees[:, None] + degrees[None, :]
    moments = np.where(order % 2 == 0, 1.0 / (order + 1), 0.0)
    if not stated:
        return Axis(factor, np.linspace(-1, 1, FINE), (), True, powers, moments)
    settings = tuple(sorted(set(stated), key=float))
    levels = np.array([draft.code(one) for one in settings])
    if discrete:
        values = draft.functions(levels)
        moments = values.T @ values / len(levels)
    return Axis(factor, levels, settings, False, powers, moments, discrete)


def terms_of(problem: Problem) -> tuple[Term, ...]:
    """Return the terms of the model, the mean ``()`` first.

    >>> terms_of(Problem((Factor("dip", (10.0, 60.0)), Factor("metal", ("a", "b"), spacing="steps")), (8,)))
    ((), ('dip',), ('metal',), ('dip', 'metal'), ('dip', 'dip'))
    """
    names = [factor.name for factor in problem.factors]
    if not isinstance(problem.model, str):
        return ((), *(term for term in problem.model if term))
    terms: list[Term] = [(), *((name,) for name in names)]
    if problem.model != "main effects":
        terms += combinations(names, 2)
    if problem.model == "quadratic":
        terms += [(factor.name, factor.name) for factor in problem.factors if bends(problem, factor)]
    return tuple(terms)


def bends(problem: Problem, factor: Factor) -> bool:
    """True when a bend of the factor can be seen: it is scaled and has a setting between its ends."""
    stated = problem.workable.get(factor.name) or (factor.levels if factor.name in problem.discrete else ())
    return factor.scaled and (not stated or len(set(stated)) > 2)


@dataclass(frozen=True)
class Model:
    """The columns of the model.

    `use` (p, k) says which function of each factor a column multiplies (0: the constant); `terms` names each column's
    term; `moments` (p, p) averages products of columns over the region, or over what the problem asks about instead.
    """

    axes: tuple[Axis, ...]
    terms: tuple[Term, ...]
    use: Ints
    moments: Floats

    def columns(self, at: Floats) -> Floats:
        """Return the model columns (..., p) of coordinates (..., k)."""
        return prod(
            (one.functions(at[..., j])[..., self.use[:, j]] for j, one in enumerate(self.axes)), start=np.ones(1)
        )

    def banned(self, problem: Problem, at: Floats) -> npt.NDArray[np.bool_]:
        """Return where coordinates (..., k) are forbidden."""
        if problem.forbidden is None:
            return np.zeros(at.shape[:-1], dtype=bool)
        shown = {one.factor.name: one.shown(at[..., j]) for j, one in enumerate(self.axes)}
        return np.broadcast_to(np.asarray(problem.forbidden(shown), dtype=bool), at.shape[:-1])


def build(problem: Problem) -> Model:
    """Return the model of a problem."""
    terms = terms_of(problem)
    names = [factor.name for factor in problem.factors]
    most = {name: max((Counter(term)[name] for term in terms), default=0) for name in names}
    axes = tuple(axis(problem, factor, most[factor.name]) for factor in problem.factors)
    uses, of = [], []
    for term in terms:
        for column in _columns_of(term, axes):
            uses.append(column)
            of.append(term)
    use = np.array(uses, dtype=np.int64).reshape(len(uses), len(axes))
    moments = np.asarray(
        prod((one.moments[np.ix_(use[:, j], use[:, j])] for j, one in enumerate(axes)), start=np.ones((1, 1)))
    )
    model = Model(axes, tuple(of), use, moments)
    if problem.near or problem.unsure:
        return replace(model, moments=_asked(problem, model))
    if problem.forbidden is None:
        return model
    # the average over what is left of the region: stated settings as they are, free factors at the middles of cells
    listed = grid([_cells() if one.free else one.levels for one in axes])
    kept = model.columns(listed[~model.banned(problem, listed)])
    return replace(model, moments=kept.T @ kept / len(kept)) if len(kept) else model


def _asked(problem: Problem, model: Model) -> Floats:
    """Average products of columns at the settings asked about, and a one for each column of the terms asked about."""
    moments = np.zeros_like(model.moments)
    if problem.near:
        at = np.array([[one.code(settings[one.factor.name]) for one in model.axes] for settings in problem.near])
        rows = model.columns(at)
        moments += rows.T @ rows / len(rows)
    own = np.array([term in problem.unsure for term in model.terms], dtype=float)
    return np.asarray(moments + np.diag(own) / max(own.sum(), 1.0))


def _columns_of(term: Term, axes: Sequence[Axis]) -> Iterator[tuple[int, ...]]:
    counts = Counter(term)
    choices = []
    for one in axes:
        many = counts[one.factor.name]
        choices.append(range(1, one.powers + 1) if many and not one.factor.scaled else [many])
    return product(*choices)


def _cells() -> Floats:
    """Middles of equal cells of the range: their average square is 1/3 to 1 part in 400."""
    return np.linspace(-1, 1, 2 * FINE - 1)[1::2]


def grid(levels: Sequence[Floats]) -> Floats:
    """Every combination of levels (rows, k), thinned evenly to at most about 200,000."""
    kept = list(levels)
    while prod(len(one) for one in kept) > _MOST:
        longest = max(range(len(kept)), key=lambda j: len(kept[j]))
        few = np.unique(np.linspace(0, len(kept[longest]) - 1, max(2, len(kept[longest]) * 2 // 3)).round().astype(int))
        kept[longest] = kept[longest][few]
    return np.stack(np.meshgrid(*kept, indexing="ij"), axis=-1).reshape(-1, len(kept))
