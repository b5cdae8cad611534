"""The full grid, replicated and laid out over batches and sessions.

A factor set per batch changes only between batches, one set per session only between sessions (a split plot: Yates
1935; the batch is the whole plot, the session the block or a third stratum). Each per-batch setting gets
`Study.batches_each` freshly made batches where the limits allow. Order is random within these restrictions.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import ceil, prod
from random import Random

import numpy as np

from tilestudy.design.codes import deal_codes
from tilestudy.design.sessions.clock import Clock as Clock
from tilestudy.design.sessions.pace import batch_minutes
from tilestudy.errors import PlanError
from tilestudy.study.records import Batch, Factor, Limits, Plan, Setting, Study, Tile

Load = tuple[dict[str, Setting], list[dict[str, Setting]]]
"""A batch to make: its settings, and those of its tiles."""
REFERENCES = 3
"""Reference tiles in a batch: first, middle and last."""


@dataclass(frozen=True)
class Size:
    """How big a layout is.

    `batches_each` batches for each per-batch setting; the tile grid is shared over `parts` of them, so each setting's
    grid is made `batches_each / parts` times; `tiles_per_batch` counts reference tiles.
    """

    batches_each: int
    parts: int
    tiles_per_batch: int
    batches: int
    tiles: int
    batches_per_session: int
    sessions: int


def combinations(factors: Sequence[Factor]) -> list[dict[str, Setting]]:
    """Return the full grid of the factors' levels; one empty setting for no factor.

    >>> len(combinations([Factor("a", (1.0, 2.0)), Factor("b", (1.0, 2.0, 3.0))]))
    6
    """
    names = [factor.name for factor in factors]
    return [dict(zip(names, levels, strict=True)) for levels in product(*(factor.levels for factor in factors))]


def share_out(
    study: Study, of_batch: Mapping[str, Setting], parts: int, turn: int = 0
) -> list[list[dict[str, Setting]]]:
    """Share the tile grid of one per-batch setting over so many batches, each level about equally often in each.

    A combination goes to the part given by the sum of its level numbers: neighbours go to different batches, and main
    effects stay clear of batch luck as far as the counts allow. Combinations that are never made are left out.
    """
    factors = study.factors_set_per("tile")
    shares: list[list[dict[str, Setting]]] = [[] for _ in range(parts)]
    for combination in combinations(factors):
        if study.allows({**of_batch, **combination}):
            place = sum(factor.levels.index(combination[factor.name]) for factor in factors)
            shares[(place + turn) % parts].append(combination)
    return shares


def sizes(study: Study, clock: Clock) -> list[Size]:
    """Return the layouts to try, the most telling first; limits are not yet applied."""
    per_tile = prod(len(factor.levels) for factor in study.factors_set_per("tile"))
    per_session = prod(len(factor.levels) for factor in study.factors_set_per("session"))
    kinds = _batch_settings(study)
    extra = REFERENCES if study.reference_tiles else 0
    room = study.limits.tiles_per_batch
    if room is not None and room <= extra:
        raise PlanError(
            f"A batch holds {room} tiles, and the {extra} reference tiles fill it. "
            "Raise tiles_per_batch under [limits], or set reference_tiles = false."
        )
    if not kinds:
        raise PlanError(
            "Every combination of the levels is ruled out by [[never]]. Loosen a rule, or change the levels."
        )
    least = 1
    if room is not None:
        least = next((parts for parts in range(1, per_tile + 1) if _largest(study, parts) + extra <= room), per_tile)
    wanted = study.batches_each
    # every batch the whole grid (or the fewest parts that fit); else the grid once, shared over the wanted batches,
    # over fewer, at last over more
    options = [(wanted * least, least)]
    options += [(parts, parts) for parts in range(min(max(wanted, least), per_tile), least - 1, -1)]
    options += [(parts, parts) for parts in range(max(wanted, least) + 1, per_tile + 1)]
    found = []
    for batches_each, parts in dict.fromkeys(options):
        tiles_per_batch = _largest(study, parts) + extra
        batches = sum(bool(share) for of in kinds for share in share_out(study, of, parts)) * (batches_each // parts)
        once = sum(len(share) for of in kinds for share in share_out(study, of, parts))
        tiles = once * (batches_each // parts) + batches * extra
        in_session = batches_in_session(study, clock, tiles_per_batch)
        if in_session == 0:
            continue
        each = ceil(batches / per_session / in_session) if in_session else 1
        found.append(
            Size(batches_each, parts, tiles_per_batch, batches, tiles, in_session or batches, per_session * each)
        )
    if not found:
        need = ceil(clock.around + batch_minutes(study, clock, _largest(study, per_tile) + extra))
        raise PlanError(
            f"Even the smallest batch needs about {need} minutes with setting up and clearing up, and a session has "
            f"{study.limits.minutes:g}. Raise minutes under [limits]."
        )
    return found


def _batch_settings(study: Study) -> list[dict[str, Setting]]:
    """Per-session and per-batch settings under which at least one tile may be made."""
    grid = combinations([*study.factors_set_per("session"), *study.factors_set_per("batch")])
    return [of for of in grid if any(share_out(study, of, 1))]


def _largest(study: Study, parts: int) -> int:
    return max(len(share) for of in _batch_settings(study) for share in share_out(study, of, parts))


def batches_in_session(study: Study, clock: Clock, tiles_per_batch: int) -> int | None:
    """Batches that fit a session, by the stated count and by the minutes; None for no limit."""
    fits = [study.limits.batches_per_session] if study.limits.batches_per_session else []
    if study.limits.minutes is not None:
        free = study.limits.minutes - clock.around
        fits.append(max(0, int(free // batch_minutes(study, clock, tiles_per_batch))))
    return min(fits) if fits else None


def minutes_for_all_settings(study: Study, clock: Clock, size: Size) -> int:
    """Return the minutes of a session that holds one batch of each per-batch setting."""
    kinds = prod(len(factor.levels) for factor in study.factors_set_per("batch"))
    return ceil(clock.around + kinds * batch_minutes(study, clock, size.tiles_per_batch))


def over_limits(size: Size, limits: Limits) -> list[str]:
    """Return which limits a layout breaks, in words."""
    pairs = [
        ("tiles", size.tiles, limits.tiles),
        ("batches", size.batches, limits.batches),
        ("sessions", size.sessions, limits.sessions),
    ]
    return [f"{need} {what} (limit {limit})" for what, need, limit in pairs if limit is not None and need > limit]


def choose_size(study: Study, clock: Clock) -> tuple[Size, Size]:
    """Return the layout that fits the limits and the one wanted without them.

    Raises PlanError, with what each layout would need, when none fits.
    """
    options = sizes(study, clock)
    for size in options:
        if not over_limits(size, study.limits):
            return size, options[0]
    smallest = min(options, key=lambda size: (size.tiles, size.batches))
    raise PlanError(
        f"The full grid does not fit the limits. At the least it needs {_and(over_limits(smallest, study.limits))}. "
        f"Raise that under [limits] in the study file, or drop a level: the grid is "
        f"{' x '.join(f'{len(factor.levels)} {factor.label}' for factor in study.factors)}."
    )


def _and(parts: Sequence[str]) -> str:
    return " and ".join(parts)


def lay_out(
    study: Study,
    clock: Clock,
    seed: int,
    taken: Collection[str] = (),
) -> Plan:
    """Lay the full grid out over batches and sessions, in random order from a seed.

    Parameters
    ----------
    study : Study
    clock : Clock
        Minutes of the process, to fill sessions.
    seed : int
        The same study and seed give the same plan.
    taken : collection of str
        Tile codes already used in the studio.

    Raises
    ------
    PlanError
        When the grid does not fit the limits.
    """
    size, _ = choose_size(study, clock)
    rng = Random(seed)
    return numbered(study, _grid_days(study, size, rng), seed, rng, taken)


def _grid_days(study: Study, size: Size, rng: Random) -> Iterator[list[Load]]:
    """Yield the loads of one session after another: the whole grid, replicated."""
    per_batch = combinations(study.factors_set_per("batch"))
    session_settings = combinations(study.factors_set_per("session"))
    rng.shuffle(session_settings)
    for of_session in session_settings:
        queue: list[Load] = []
        for repeat in range(size.batches_each):
            turn = [
                (of_batch, share_out(study, {**of_session, **of_batch}, size.parts, number)[repeat % size.parts])
                for number, of_batch in enumerate(per_batch)
            ]
            rng.shuffle(turn)
            queue += [(of_batch, share) for of_batch, share in turn if share]
        for chunk in sessions_of(queue, size.batches_per_session, per_batch, rng):
            yield [({**of_session, **of_batch}, share) for of_batch, share in chunk]


def numbered(study: Study, days: Iterable[list[Load]], seed: int, rng: Random, taken: Collection[str] = ()) -> Plan:
    """Turn the loads of each session into a plan: random order within sessions and batches, reference tiles, codes."""
    batches: list[Batch] = []
    loads: list[list[tuple[dict[str, Setting], bool]]] = []
    for session, day in enumerate(days, start=1):
        rng.shuffle(day)
        for settings, share in day:
            batches.append(Batch(f"B{len(batches) + 1}", session, len(batches) + 1, settings))
            loads.append(_run_order(study, share, rng))
    codes = iter(deal_codes(sum(map(len, loads)), taken, rng))
    tiles = [
        Tile(next(codes), batch.code, batch.session, order, {**batch.settings, **settings}, reference)
        for batch, load in zip(batches, loads, strict=True)
        for order, (settings, reference) in enumerate(load, start=1)
    ]
    return Plan(study.name, seed, tuple(batches), tuple(tiles))


def sessions_of(
    queue: Sequence[Load], room: int, per_batch: Sequence[dict[str, Setting]], rng: Random
) -> list[list[Load]]:
    """Cut the queue into sessions.

    Whole replicates of the per-batch settings stay together where they fit a session. Where they do not, the best of many
    random arrangements is taken: the one that tells the settings apart best within sessions (incomplete blocks; D
    criterion of John & Williams 1995, chapter 2), so that the luck of a day costs as little as it can.
    """
    kinds = len(per_batch)
    step = room // kinds * kinds if room >= kinds else room
    starts = range(0, len(queue), step)
    if step >= kinds or kinds < 2:
        return [list(queue[start : start + step]) for start in starts]
    best, most = list(queue), -1.0
    for _ in range(ARRANGEMENTS):
        order = list(queue)
        rng.shuffle(order)
        told = _told_within(
            [[per_batch.index(load[0]) for load in order[start : start + step]] for start in starts], kinds
        )
        if told > most:
            best, most = order, told
    return [best[start : start + step] for start in starts]


ARRANGEMENTS = 300
"""Random arrangements tried where sessions are too short for a whole replicate."""


def _told_within(sessions: Sequence[Sequence[int]], kinds: int) -> float:
    """Return how well settings are told apart within sessions: rank first, then the size of their information."""
    counts = np.array([[session.count(kind) for session in sessions] for kind in range(kinds)], dtype=float)
    information = np.diag(counts.sum(axis=1)) - counts / counts.sum(axis=0) @ counts.T
    values = [float(value) for value in np.linalg.eigvalsh(information) if value > 1e-9]
    return round(100.0 * len(values) + prod(values) ** (1 / max(len(values), 1)), 9)  # rounded: alike on every platform


def _run_order(study: Study, share: Sequence[dict[str, Setting]], rng: Random) -> list[tuple[dict[str, Setting], bool]]:
    order = [(settings, False) for settings in share]
    rng.shuffle(order)
    if study.reference_tiles:
        middling = ({f.name: f.levels[(len(f.levels) - 1) // 2] for f in study.factors_set_per("tile")}, True)
        order.insert(len(order) // 2, middling)
        order = [middling, *order, middling]
    return order


def replacement(plan: Plan, spoiled: Tile, code: str) -> Tile:
    """Return a tile that stands in for a spoiled one: same batch and settings, at the end of its run order.

    >>> old = Tile("A3", "B1", 1, 1, {"dip": 10.0})
    >>> replacement(Plan("s", 1, (), (old,)), old, "C4").order
    2
    """
    last = max(tile.order for tile in plan.tiles if tile.batch == spoiled.batch)
    return replace(spoiled, code=code, order=last + 1, replaces=spoiled.code)
