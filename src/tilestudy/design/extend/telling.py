"""The tiles that would teach most beside those made: I-optimal additions (`tilestudy.design.optimal`)."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from tilestudy.design.appraise import Noise
from tilestudy.design.best import MODELS, SPARE_TILES, forbidden
from tilestudy.design.extend.common import Settings, shared
from tilestudy.design.extend.request import Request
from tilestudy.design.extend.room import Room
from tilestudy.design.layout import Load
from tilestudy.design.optimal import MadeTile, OptimalPlan, Problem, optimise
from tilestudy.design.optimal.model import terms_of
from tilestudy.errors import PlanError
from tilestudy.study.language import count
from tilestudy.study.records import BatchLog, Factor, Made, Plan, Setting, Study, Tile


def as_made(
    study: Study, plan: Plan, live: Sequence[Tile], how: Mapping[str, Made], logs: Mapping[str, BatchLog]
) -> dict[str, list[Settings]]:
    """Return the settings of the tiles that count, batch by batch, as made where that is known."""
    found: dict[str, list[Settings]] = {}
    for batch in plan.batches:
        log = logs[batch.code].actual if batch.code in logs else {}
        for tile in live:
            record = how.get(tile.code)
            if (record.batch if record is not None and record.batch else tile.batch) != batch.code:
                continue
            settings: Settings = {}
            for factor in study.factors:
                value = batch.settings.get(factor.name, tile.settings[factor.name])
                actual = (
                    log if factor.set_per == "batch" else record.actual if record and factor.set_per == "tile" else {}
                )
                if factor.name in actual and _reckonable(factor, actual[factor.name]):
                    value = actual[factor.name]
                settings[factor.name] = value
            if all(_reckonable(factor, settings[factor.name]) for factor in study.factors):
                found.setdefault(batch.code, []).append(settings)
    return found


def _reckonable(factor: Factor, value: Setting) -> bool:
    if not factor.scaled:
        return value in factor.levels
    return not isinstance(value, str) and (factor.spacing != "geometric" or value > 0)


def telling(
    study: Study,
    plan: Plan,
    there: Mapping[str, list[Settings]],
    wanted: Request,
    noise: Noise,
    seed: int,
    fit: Room,
) -> tuple[list[list[Load]], list[str]]:
    """Choose the tiles that, with those there, make predictions over the whole range surest (I-optimal)."""
    problem = beside(study, plan, there, wanted, noise, fit)
    chosen, model = richest(study, problem, seed)
    says = [
        f"Beside {counted(problem)} this is what makes predictions over the whole range surest (I-optimal, luck of "
        f"{fit.word} and session taken into account; actual settings where recorded), for {CARRIED[model]}."
    ]
    return days_of(study, chosen, problem.sessions, len(there)), says


def beside(
    study: Study,
    plan: Plan,
    there: Mapping[str, list[Settings]],
    wanted: Request,
    noise: Noise,
    fit: Room,
) -> Problem:
    """Return the problem of choosing so many tiles in fresh batches and new sessions beside those there.

    Raises PlanError when the tiles do not fill the batches or the limits do not hold them.
    """
    tiles = wanted.tiles or 1
    limit = study.limits.tiles_per_batch
    room = limit - fit.references if limit is not None else 10**6
    usual = max((len(one) for one in there.values()), default=tiles)
    least = 2 if shared(study) and tiles > 1 else 1
    batches = wanted.batches or max(least, math.ceil(tiles / max(1, min(room, usual))))
    sizes = shared_out(tiles, batches, room, fit.word)
    per_session = fit.in_session(max(sizes))
    sessions = max(math.ceil(batches / per_session), min(batches, 2) if study.factors_set_per("session") else 1)
    new_sessions = [place * sessions // batches for place in range(batches)]
    blank: list[list[Load]] = [[] for _ in range(sessions)]
    for size, place in zip(sizes, new_sessions, strict=True):
        blank[place].append(({}, [{}] * size))
    most = (study.limits.tiles or 10**6) - len(plan.tiles) - batches * fit.references
    fit.check(blank, f"--tiles {most} --batches {batches}" if batches <= most < tiles else "")
    session_of = {batch.code: batch.session for batch in plan.batches}
    last = max(session_of.values())
    made = tuple(MadeTile(place, one) for place, code in enumerate(there) for one in there[code])
    scaled = [factor for factor in study.factors if factor.scaled]
    return Problem(
        study.factors,
        (*(len(one) for one in there.values()), *sizes),
        eta=(noise.batch / (noise.tile or 1.0)) ** 2,
        sessions=(*(session_of[code] for code in there), *(last + 1 + place for place in new_sessions)),
        workable={factor.name: _settings_at_hand(factor, plan) for factor in scaled},
        discrete=frozenset(factor.name for factor in scaled),
        forbidden=forbidden(study),
        made=made,
    )


def shared_out(tiles: int, batches: int, room: int, word: str) -> list[int]:
    """Share tiles over batches as evenly as can be; raises PlanError when they do not fill them or do not fit."""
    if tiles < batches:
        raise PlanError(
            f"{count(tiles, 'tile')} cannot fill {count(batches, word)}. Nearest: --tiles {batches} --batches {batches}, "
            f"or --tiles {tiles} --batches {tiles}."
        )
    if math.ceil(tiles / batches) > room:
        raise PlanError(
            f"{count(tiles, 'tile')} in {count(batches, word)} is more than the {room} that tiles_per_batch leaves "
            f"in each. Nearest: --tiles {tiles} --batches {math.ceil(tiles / room) if room > 0 else tiles}, or raise "
            "tiles_per_batch under [limits]."
        )
    return [tiles // batches + (place < tiles % batches) for place in range(batches)]


def days_of(study: Study, chosen: OptimalPlan, sessions: Sequence[int], there: int) -> list[list[Load]]:
    """Return the batches of a chosen plan beyond those there, session by session; `sessions` gives that of each batch."""
    whole = {factor.name for factor in shared(study)}
    days: dict[int, dict[int, Load]] = defaultdict(dict)
    for row, batch in zip(chosen.settings, chosen.batch, strict=True):
        if batch >= there:
            settings = dict(zip([factor.name for factor in study.factors], row, strict=True))
            of = {name: value for name, value in settings.items() if name in whole}
            load = days[sessions[batch]].setdefault(batch, (of, []))
            load[1].append({name: value for name, value in settings.items() if name not in whole})
    return [list(day.values()) for _, day in sorted(days.items())]


def counted(problem: Problem) -> str:
    """Write how many tiles are there already."""
    return f"the {count(len(problem.made), 'tile')} there" if problem.made else "no tile there"


def _settings_at_hand(factor: Factor, plan: Plan) -> tuple[float, ...]:
    """Return the levels and workable settings of a scaled factor, and what is planned between them already."""
    low, high = float(factor.levels[0]), float(factor.levels[-1])
    planned = {float(tile.settings[factor.name]) for tile in plan.tiles}
    return tuple(
        sorted({*map(float, factor.levels), *factor.workable, *(one for one in planned if low <= one <= high)})
    )


CARRIED = {
    "quadratic": "factors, pairs of factors and bends",
    "interactions": "factors and pairs of factors",
    "main effects": "each factor by itself",
}


def richest(study: Study, problem: Problem, seed: int) -> tuple[OptimalPlan, str]:
    """Choose for the richest model that the tiles carry with some to spare; terms asked about are in it in any case."""
    fault: PlanError | None = None
    for model in (study.model,) if study.model else MODELS:
        try:
            terms = terms_of(replace(problem, model=model))
            asked = tuple(term for term in problem.unsure if term not in terms)
            whole = replace(problem, model=(*terms, *asked) if asked else model)
            chosen = optimise(whole, np.random.default_rng(seed), rounding=False)
        except PlanError as error:
            fault = error
            continue
        if problem.tiles >= len(chosen.terms) + SPARE_TILES or model in (study.model, MODELS[-1]):
            return chosen, model
    raise fault if fault is not None else PlanError("No model was tried.")
