"""A plan with more tiles: what is there stays as it is, batches and sessions are numbered on."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from dataclasses import replace
from datetime import date
from random import Random

from tilestudy.design.appraise import Noise
from tilestudy.design.extend.centre import middle_tiles, star_tiles
from tilestudy.design.extend.common import shared
from tilestudy.design.extend.mirror import mirror
from tilestudy.design.extend.near import confirming, nearby
from tilestudy.design.extend.repeat import more_batches, repair, standing_in
from tilestudy.design.extend.request import Extension, Request
from tilestudy.design.extend.room import Room
from tilestudy.design.extend.telling import as_made, telling
from tilestudy.design.layout import Clock, numbered
from tilestudy.study.language import count, listed, plural
from tilestudy.study.records import Batch, BatchLog, Made, Plan, Study, Tile


def extend(
    study: Study,
    clock: Clock,
    plan: Plan,
    wanted: Request,
    noise: Noise,
    made: Iterable[Made] = (),
    logs: Iterable[BatchLog] = (),
    taken: Collection[str] = (),
    word: str = "batch",
) -> Extension:
    """Return what is added to a plan for a request, in random order from the plan's seed plus the batches there.

    Parameters
    ----------
    study, clock, plan
    wanted : Request
    noise : Noise
        Weighs luck of batches against that of tiles where tiles are chosen.
    made, logs : iterables of Made and BatchLog
        What was done: spoiled tiles do not count as there, actual settings do.
    taken : collection of str
        Tile codes already used in the studio.
    word : str
        What the bench calls a batch.

    Raises
    ------
    PlanError
        When it cannot be made within the study's levels and limits, with the reason and the nearest that can.
    WrongRequestError
        When the batch to make again is not there.

    Examples
    --------
    >>> from tilestudy.design.layout import lay_out
    >>> from tilestudy.study.records import Factor
    >>> study = Study("s", "", "other", (Factor("dip", (10.0, 90.0), "s", "s", "geometric"),))
    >>> clock = Clock(45, 15, 6, 2.5)
    >>> more = extend(study, clock, lay_out(study, clock, 1), Request("middle"), Noise(1, 1, "", ""))
    >>> [(batch.code, batch.session) for batch in more.batches], sorted(tile.settings["dip"] for tile in more.tiles)
    ([('B3', 2)], [10.0, 30.0, 30.0, 30.0, 90.0])
    """
    how = {one.tile: one for one in made}
    gone = {code for code, one in how.items() if one.spoiled} | {tile.replaces for tile in plan.tiles}
    live = [tile for tile in plan.tiles if tile.code not in gone]
    seed = abs(plan.seed) + len(plan.batches)
    if wanted.kind == "confirm":
        study = replace(study, reference_tiles=False)  # they show drift, and that is not what is asked
    if wanted.kind in ("next", "confirm"):  # [limits] bound the first plan; here the numbers are asked for one by one
        study = replace(study, limits=replace(study.limits, tiles=None, batches=None, sessions=None))
    fit = Room(study, clock, plan, word)
    says: list[str]
    if wanted.kind == "batches":
        days, says = more_batches(study, plan, live, wanted.batches or 1, Random(seed), fit)
    elif wanted.kind == "mirror":
        loads, says = mirror(study, plan, live, word)
        days = fit.days(loads)
    elif wanted.kind == "middle":
        loads, says = middle_tiles(study, word)
        days = fit.days(loads)
    elif wanted.kind == "ends":
        loads, says = star_tiles(study, word)
        days = fit.days(loads)
    elif wanted.kind == "repair":
        loads, says = repair(study, plan, wanted.batch, how, word)
        days = fit.days(loads)
    elif wanted.kind == "confirm":
        days, says = confirming(study, wanted, fit)
    else:
        there = as_made(study, plan, live, how, {one.batch: one for one in logs})
        choose = nearby if wanted.kind == "next" else telling
        days, says = choose(study, plan, there, wanted, noise, seed, fit)
    fit.check(days)
    batches, tiles = _numbered_on(plan, numbered(study, days, seed, Random(seed), taken))
    replaced: dict[str, str] = {}
    if wanted.kind == "repair":
        tiles, replaced = standing_in(plan, wanted.batch, tiles, how)
    sessions = len({batch.session for batch in batches})
    if wanted.kind in ("batches", "tiles", "next") and shared(study) and any(len(day) == 1 for day in days):
        says.append(
            f"A {word} alone in its session says little of {listed([factor.label for factor in shared(study)])}: the luck of the "
            f"day is mixed into it. Several {plural(word)} of different settings in one session compare better."
        )
    says = [
        f"{'It would add' if wanted.look else 'Added'}: {count(len(tiles), 'tile')} in {count(len(batches), f'freshly made {word}')}"
        f" ({batches[0].code}{f' to {batches[-1].code}' if len(batches) > 1 else ''}), over "
        f"{count(sessions, 'new session')}. The {count(len(plan.tiles), 'tile')} planned before and their records stay as "
        "they are.",
        *says,
        f"The order is random from seed {seed} (the plan's seed {plan.seed} and the {count(len(plan.batches), word)} there were).",
    ]
    return Extension(batches, tiles, seed, tuple(says), replaced)


def usable(plan: Plan, made: Iterable[Made]) -> Plan:
    """Return the plan without tiles that were spoiled or replaced: what can still tell something."""
    gone = {one.tile for one in made if one.spoiled} | {tile.replaces for tile in plan.tiles}
    return replace(plan, tiles=tuple(tile for tile in plan.tiles if tile.code not in gone))


def marks(more: Extension, made: Iterable[Made], today: date, word: str) -> list[Made]:
    """Return the records that mark failed tiles as replaced; what was recorded of a spoiled one is kept in them."""
    how = {one.tile: one for one in made}
    batch_of = {tile.code: tile.batch for tile in more.tiles}
    found = []
    for old, new in more.replaced.items():
        why = f"{word} failed, made again as {batch_of[new]}"
        blank = Made(old, today, spoiled=True, why=why)
        found.append(replace(how.get(old, blank), replaced_by=new))
    return found


def _numbered_on(plan: Plan, fresh: Plan) -> tuple[tuple[Batch, ...], tuple[Tile, ...]]:
    """Number new batches and sessions on from those of the plan."""
    numbers = [int(found[1]) for batch in plan.batches if (found := re.fullmatch(r"[Bb](\d+)", batch.code))]
    first = max([len(plan.batches), *numbers])
    session = max(batch.session for batch in plan.batches)
    order = max(batch.order for batch in plan.batches)
    new = {
        batch.code: replace(batch, code=f"B{first + place}", session=batch.session + session, order=batch.order + order)
        for place, batch in enumerate(fresh.batches, start=1)
    }
    tiles = [replace(tile, batch=new[tile.batch].code, session=new[tile.batch].session) for tile in fresh.tiles]
    return tuple(new.values()), tuple(tiles)
