"""The best plan found for a problem: many random starts, the few best distinct ones finished, the best returned."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tilestudy.design.optimal.check import check_counts, check_request, confounded, sound
from tilestudy.design.optimal.exchange import Exchange, Layout, lay
from tilestudy.design.optimal.model import Floats, Model, build, terms_of
from tilestudy.design.optimal.problem import Problem
from tilestudy.design.optimal.starts import random_starts
from tilestudy.errors import PlanError
from tilestudy.study.records import Setting

STARTS = 80
_ROUGH, _FINISHED, _MOST_SWEEPS = 11, 6, 60
_STEPS = (0.1, 0.04, 0.016, 0.0064, 0.0026)


@dataclass(frozen=True)
class OptimalPlan:
    """The best plan found.

    Attributes
    ----------
    settings : tuple of tuple of float or str
        (tiles, factors), batch by batch, in each the tiles made already first.
    batch, session : tuple of int
        Of each tile, counted from 0.
    average_variance : float
        Average variance of a prediction over the region, in variances between tiles of one batch.
    information : float
        p-th root of the determinant of the information on the p columns of the model.
    efficiency : float or None
        What is left of the criterion, 0 to 1, after keeping to workable settings: against the best plan found
        with every value of the ranges allowed. None when it was not asked for.
    terms : tuple of Term
        One for each column of the model.
    notes : tuple of str
        Plain sentences about what was given up.
    """

    settings: tuple[tuple[Setting, ...], ...]
    batch: tuple[int, ...]
    session: tuple[int, ...]
    average_variance: float
    information: float
    efficiency: float | None
    terms: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...] = ()


def optimise(problem: Problem, rng: np.random.Generator, starts: int = STARTS, rounding: bool = True) -> OptimalPlan:
    """Return the best plan found for a problem.

    Parameters
    ----------
    problem : Problem
    rng : numpy.random.Generator
        The same problem and seed give the same plan.
    starts : int
        Random starts, at least 1. Half of them begin at the ends and the middle of each factor, half anywhere.
    rounding : bool
        Search a second time with every value of the ranges allowed, to say what workable settings cost. Does nothing
        when no scaled factor is restricted.

    Raises
    ------
    PlanError
        When the request cannot be met, with the reason and the nearest one that can.

    Examples
    --------
    >>> from tilestudy.study.records import Factor
    >>> dip = Factor("dip", (10.0, 60.0), "s")
    >>> problem = Problem((dip,), (6,), eta=0.0, criterion="D", workable={"dip": (10.0, 20.0, 35.0, 60.0)})
    >>> plan = optimise(problem, np.random.default_rng(1))
    >>> sorted(plan.settings)
    [(10.0,), (10.0,), (35.0,), (35.0,), (60.0,), (60.0,)]
    """
    check_request(problem)
    model, layout = build(problem), lay(problem)
    check_counts(problem, model, layout)
    at, value = _search(problem, model, layout, rng, starts)
    settings = _shown(problem, model, layout, at)
    average, information = figures(model, layout, at)
    restricted = {one.factor.name for one in model.axes if one.factor.scaled and not one.free} - problem.discrete
    efficiency = None
    notes: list[str] = []
    if rounding:
        efficiency = 1.0
        if restricted:
            stated = {name: values for name, values in problem.workable.items() if name not in restricted}
            terms = tuple(term for term in terms_of(problem) if term)
            free = replace(problem, workable=stated, model=terms)
            free_model = replace(build(free), moments=model.moments)
            _, best = _search(free, free_model, layout, rng, starts)
            p = len(model.use)
            efficiency = float(np.exp((best - value) / p) if problem.criterion == "D" else best / value)
            efficiency = min(1.0, efficiency)
            notes.append(
                f"Keeping to workable settings costs {100 * (1 - efficiency):.1f} % of what the tiles could tell."
            )
    return OptimalPlan(
        settings,
        tuple(layout.batch.tolist()),
        tuple(layout.session.tolist()),
        average,
        information,
        efficiency,
        model.terms,
        tuple(notes),
    )


def appraise_settings(problem: Problem, settings: Sequence[Sequence[Setting]]) -> tuple[float, float]:
    """Return average prediction variance and information of any plan for the problem, tiles batch by batch.

    See `OptimalPlan` for the two figures. Raises PlanError when the plan cannot estimate the model.
    """
    check_request(problem)
    model, layout = build(problem), lay(problem)
    at = np.array([[one.code(value) for one, value in zip(model.axes, row, strict=True)] for row in settings])
    return figures(model, layout, at)


def figures(model: Model, layout: Layout, at: Floats) -> tuple[float, float]:
    """Return average prediction variance and information of coordinates (n, k), worked out directly.

    Raises PlanError when the plan cannot estimate the model.
    """
    X, B, p = model.columns(at), layout.blocks, len(model.use)
    full = np.hstack([X, B])
    M = full.T @ layout.K @ full
    if not sound(M[None])[0]:
        raise PlanError(f"These tiles cannot tell apart: {confounded(model, M)}. Change their settings or add tiles.")
    average = float(np.trace(np.linalg.inv(M)[:p, :p] @ model.moments))
    log = np.linalg.slogdet(M)[1] - (np.linalg.slogdet(B.T @ layout.K @ B)[1] if B.shape[1] else 0.0)
    return average, float(np.exp(log / p))


def _shown(problem: Problem, model: Model, layout: Layout, at: Floats) -> tuple[tuple[Setting, ...], ...]:
    """Settings of coordinates (n, k) as people write them; of tiles made already, exactly as they were given."""
    columns = [one.shown(at[:, j]).tolist() for j, one in enumerate(model.axes)]
    rows = list(zip(*columns, strict=True))
    made = sorted(problem.made, key=lambda tile: tile.batch)
    for i, tile in zip(np.flatnonzero(layout.made), made, strict=True):
        rows[i] = tuple(tile.settings[one.factor.name] for one in model.axes)
    return tuple(rows)


def _search(
    problem: Problem, model: Model, layout: Layout, rng: np.random.Generator, starts: int
) -> tuple[Floats, float]:
    """Return the coordinates (n, k) of the best plan found and its criterion, to be lowered."""
    every = [one.levels for one in model.axes]
    rough = [_thinned(one, _ROUGH) for one in every]
    corners = [one.levels if not one.factor.scaled else _thinned(one.levels, one.powers + 1) for one in model.axes]
    if problem.forbidden is not None:
        rough = corners = [_thinned(one.levels, _ROUGH) if one.free else one.levels for one in model.axes]
    found, values = [], []
    same = all(np.array_equal(one, other) for one, other in zip(corners, rough, strict=True))
    for levels, many in ((corners, starts if same else (starts + 1) // 2), (rough, 0 if same else starts // 2)):
        if many:
            at = random_starts(problem, model, layout, levels, many, rng)
            at = _repaired(problem, model, layout, at, levels)
            at, value = _settled(Exchange(problem, model, layout, at, problem.criterion), levels)
            found.append(at)
            values.append(value)
    at, value = _best_distinct(np.concatenate(found), np.concatenate(values))
    if any(len(one.levels) > len(few) for one, few in zip(model.axes, rough, strict=True) if not one.free):
        at, value = _settled(Exchange(problem, model, layout, at, problem.criterion), every)
    if any(one.free for one in model.axes):
        for step in _STEPS:
            at, value = _settled(Exchange(problem, model, layout, at, problem.criterion), every, step, sweeps=3)
    best = int(np.round(value, 9).argmin())
    return at[best], float(value[best])


def _thinned(levels: Floats, many: int) -> Floats:
    """So many of the levels, ends kept, evenly along the list."""
    few = np.linspace(0, len(levels) - 1, min(many, len(levels)))
    return np.asarray(levels[np.unique(few.round().astype(int))])


def _settled(
    state: Exchange, levels: Sequence[Floats], step: float | None = None, sweeps: int = _MOST_SWEEPS
) -> tuple[Floats, Floats]:
    """Sweep until no start changes; starts that have settled are set aside."""
    at, value = [], []
    for _ in range(sweeps):
        changed = state.sweep(levels, step)
        rest = np.flatnonzero(~changed)
        at.append(state.at[rest])
        value.append(state.value[rest])
        state.keep(np.flatnonzero(changed))
        if not len(state.at):
            break
    return np.concatenate([*at, state.at]), np.concatenate([*value, state.value])


def _best_distinct(at: Floats, value: Floats) -> tuple[Floats, Floats]:
    """The few best starts, one for each value of the criterion."""
    order = np.argsort(np.round(value, 9), kind="stable")
    size = np.round(value[order] / abs(value[order[0]]), 6)
    first = np.unique(size, return_index=True)[1]
    chosen = order[np.sort(first)][:_FINISHED]
    return at[chosen], value[chosen]


def _repaired(problem: Problem, model: Model, layout: Layout, at: Floats, levels: Sequence[Floats]) -> Floats:
    """Starts that cannot estimate the model are led out of it by exchanges on a slightly raised information.

    Raises PlanError naming the confounded terms when no start can be led out.
    """
    ridge = 1e-6
    state = Exchange(problem, model, layout, at, "D", ridge)
    good = sound(state.information() - state.ridge)
    kept = [at[good]]
    if good.all():
        return at
    state.keep(np.flatnonzero(~good))
    for _ in range(10):
        state.sweep(levels)
        out = sound(state.information() - state.ridge)
        kept.append(state.at[out])
        if out.all():
            break
        last = state.information()[~out][0] - state.ridge
        state.keep(np.flatnonzero(~out))
    whole = np.concatenate(kept)
    if not len(whole):
        raise PlanError(
            f"No plan within these settings, batches and forbidden combinations can tell apart: {confounded(model, last)}. "
            "Allow more settings, more batches or fewer terms."
        )
    return whole
