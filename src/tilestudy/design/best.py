"""The most telling tiles within the limits, where the full grid is too large or is not asked for.

An I-optimal split plot over the study's own levels and workable settings (`tilestudy.design.optimal`; Goos & Jones 2011,
chapters 10 and 11): batches as whole plots, sessions as blocks. Freshly made batches come before more tiles in a batch,
since a per-batch factor is judged from batch to batch.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from math import prod
from random import Random
from typing import Any

import numpy as np
import numpy.typing as npt

from tilestudy.design.layout import REFERENCES, Clock, Load, batches_in_session, numbered, sizes
from tilestudy.design.optimal import Forbidden, OptimalPlan, Problem, optimise
from tilestudy.errors import PlanError
from tilestudy.study.records import ModelName, Plan, Study

MODELS: tuple[ModelName, ...] = ("quadratic", "interactions", "main effects")
"""From the richest model to the poorest."""

SPARE_TILES = 3
"""Tiles beyond the model's terms, so that noise can be seen."""


@dataclass(frozen=True)
class BestPlan:
    """A plan of chosen tiles, the model it can carry, how many combinations the full grid has, and what was given up."""

    plan: Plan
    model: ModelName
    terms: int
    grid: int
    notes: tuple[str, ...] = ()


def lay_out_best(study: Study, clock: Clock, seed: int, taken: frozenset[str] = frozenset()) -> BestPlan:
    """Choose the tiles that tell most within the limits, and lay them out.

    The richest model is taken that the tiles and batches can carry with something to spare.

    Raises
    ------
    PlanError
        When not even main effects can be told within the limits.
    """
    rng = Random(seed)
    grid = prod(len(factor.levels) for factor in study.factors)
    fault: PlanError | None = None
    for model in (study.model,) if study.model else MODELS:
        try:
            shape = _shape(study, clock, model)
            rounding = any(factor.workable for factor in study.factors)
            chosen = optimise(_problem(study, shape, model), np.random.default_rng(seed), rounding=rounding)
        except PlanError as error:
            fault = error
            continue
        if _spare(study, shape, chosen) or model in (study.model, MODELS[-1]):
            plan = numbered(study, _days(study, chosen), seed, rng, taken)
            return BestPlan(plan, model, len(chosen.terms), grid, chosen.notes)
    why = f"{fault}" if fault is not None else "No model was tried."
    if study.reference_tiles:
        why += (
            f" Reference tiles take {REFERENCES} places in every batch: raise tiles under [limits], or leave them out."
        )
    raise PlanError(why)


def _spare(study: Study, shape: _Shape, chosen: OptimalPlan) -> bool:
    """Return whether tiles and batches are left over to show the noise that the model's terms are judged by."""
    between = {factor.name for factor in study.factors if factor.set_per != "tile"}
    batch_terms = sum(all(name in between for name in term) for term in chosen.terms)
    sessions = len(set(shape.sessions))
    batches = len(shape.batch_sizes) - batch_terms - (sessions - 1)
    tiles = len(chosen.settings) - len(chosen.terms)
    return tiles >= SPARE_TILES and (batches >= 1 or not between)


@dataclass(frozen=True)
class _Shape:
    """Tiles in each batch (reference tiles not counted), and the session of each batch from 0."""

    batch_sizes: tuple[int, ...]
    sessions: tuple[int, ...]


def _shape(study: Study, clock: Clock, model: ModelName) -> _Shape:
    """Share the tiles there may be over batches and sessions."""
    limits = study.limits
    extra = REFERENCES if study.reference_tiles else 0
    wanted = max(sizes(study, clock), key=lambda size: size.tiles)
    most_tiles = limits.tiles if limits.tiles is not None else wanted.tiles
    kinds = prod(len(factor.levels) for factor in study.factors if factor.set_per != "tile")
    batches = min(limits.batches or 10**6, max(kinds * study.batches_each, 2))
    batches = max(1, min(batches, most_tiles // (extra + 2)))
    room = limits.tiles_per_batch - extra if limits.tiles_per_batch is not None else 10**6
    grid = prod(len(factor.levels) for factor in study.factors_set_per("tile"))
    tiles = min(most_tiles - batches * extra, batches * room, batches * 2 * grid)
    if tiles < batches:
        raise PlanError(f"{most_tiles} tiles in batches of at most {room} leave nothing to choose. Raise [limits].")
    largest = -(-tiles // batches) + extra
    in_session = batches_in_session(study, clock, largest)
    if in_session == 0:
        raise PlanError(
            f"One batch of {largest} tiles does not fit a session of {limits.minutes:g} minutes. Raise minutes, or give "
            "tiles_per_batch a smaller number."
        )
    per_session = in_session or batches
    if limits.sessions is not None and -(-batches // per_session) > limits.sessions:
        batches = limits.sessions * per_session
        tiles = min(tiles, batches * room)
    least_sessions = max(-(-batches // per_session), 2 if study.factors_set_per("session") else 1)
    sessions = tuple(number * least_sessions // batches for number in range(batches))
    return _Shape(tuple(tiles // batches + (number < tiles % batches) for number in range(batches)), sessions)


def _problem(study: Study, shape: _Shape, model: ModelName) -> Problem:
    batch_sd, tile_sd = study.noise
    # a factor without workable settings of its own keeps to its levels; with them, they stand for its whole range
    levels_only = frozenset(factor.name for factor in study.factors if factor.scaled and not factor.workable)
    workable = {
        factor.name: tuple(sorted({*factor.workable, *(float(level) for level in factor.levels)}))
        for factor in study.factors
        if factor.scaled
    }
    return Problem(
        study.factors,
        shape.batch_sizes,
        model,
        eta=(batch_sd / tile_sd) ** 2,
        sessions=shape.sessions if len(set(shape.sessions)) > 1 else (),
        workable=workable,
        discrete=levels_only,
        forbidden=forbidden(study),
    )


def forbidden(study: Study) -> Forbidden | None:
    """Return the study's [[never]] rules over arrays of settings."""
    if not study.never:
        return None

    def ruled_out(settings: Mapping[str, npt.NDArray[Any]]) -> npt.NDArray[np.bool_]:
        out = np.zeros(next(iter(settings.values())).shape, dtype=bool)
        for rule in study.never:
            met = np.ones(out.shape, dtype=bool)
            for bound in rule:
                met &= np.frompyfunc(bound.holds, 1, 1)(settings[bound.factor]).astype(bool)
            out |= met
        return out

    return ruled_out


def _days(study: Study, chosen: OptimalPlan) -> list[list[Load]]:
    """Return the loads of each session from the chosen settings."""
    names = [factor.name for factor in study.factors]
    of_batch = {factor.name for factor in study.factors if factor.set_per != "tile"}
    days: dict[int, dict[int, Load]] = defaultdict(dict)
    for row, batch, session in zip(chosen.settings, chosen.batch, chosen.session, strict=True):
        settings = dict(zip(names, row, strict=True))
        load = days[session].setdefault(batch, ({n: v for n, v in settings.items() if n in of_batch}, []))
        load[1].append({name: value for name, value in settings.items() if name not in of_batch})
    return [list(day.values()) for _, day in sorted(days.items())]


_CARRIES: dict[ModelName, str] = {
    "quadratic": "what each factor does, how factors depend on each other, and bends",
    "interactions": "what each factor does and how factors depend on each other, but no bends",
    "main effects": "what each factor does by itself, but not how factors depend on each other",
}


def chosen_in_words(study: Study, best: BestPlan) -> list[str]:
    """Say how the tiles were chosen, what they carry, and what that gives up against the whole grid."""
    made = {
        tuple(tile.settings[factor.name] for factor in study.factors) for tile in best.plan.tiles if not tile.reference
    }
    why = (
        "The study file asks for the best tiles, not for the whole grid"
        if study.choose == "best"
        else f"The whole grid, each setting in {study.batches_each} fresh batches, does not fit the limits"
    )
    what = f"{len(made)} of its {best.grid} combinations"
    if any(factor.workable for factor in study.factors):
        what = f"{len(made)} combinations of levels and workable settings"
    ruled_out = " (some are ruled out by [[never]])" if study.never else ""
    return [
        f"{why}: {what}{ruled_out} were chosen so that predictions over the whole range are "
        f"as sure as they can be (I-optimal, batches and sessions taken into account). They can tell {_CARRIES[best.model]}.",
        *best.notes,
    ]
