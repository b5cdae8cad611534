"""Batches there are, made once more: the settings made least often, or a batch that failed."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from random import Random

from tilestudy.design.extend.common import Key, Settings, key_of, of_tile, shared
from tilestudy.design.extend.room import Room
from tilestudy.design.layout import Load
from tilestudy.errors import WrongRequestError
from tilestudy.study.language import capital, plural
from tilestudy.study.records import Made, Plan, Study, Tile
from tilestudy.study.units import show_settings


def more_batches(
    study: Study, plan: Plan, live: Sequence[Tile], number: int, rng: Random, fit: Room
) -> tuple[list[list[Load]], list[str]]:
    """Repeat batches there are: the setting with the fewest batches first, of it the share of the grid made least often.

    Batches with far fewer different tiles than others of their setting (star batches) are no share of the grid.
    """
    shares: dict[str, list[Settings]] = defaultdict(list)
    for tile in live:
        if not tile.reference:
            shares[tile.batch].append(of_tile(study, tile))
    of: dict[Key, dict[tuple[Key, ...], Load]] = defaultdict(dict)
    times: Counter[Key] = Counter()
    made: Counter[tuple[Key, tuple[Key, ...]]] = Counter()
    for batch in plan.batches:
        share = shares.get(batch.code)
        # a batch that failed still shows what such a batch should hold
        share = share or [
            of_tile(study, t) for t in plan.tiles if t.batch == batch.code and not (t.reference or t.replaces)
        ]
        if not share:
            continue
        kind, part = key_of(batch.settings), tuple(sorted(map(key_of, share)))
        of[kind].setdefault(part, (dict(batch.settings), share))
        times[kind] += batch.code in shares
        made[kind, part] += batch.code in shares
    luck = {kind: rng.random() for kind in of}
    loads: list[Load] = []
    for _ in range(number):
        kind = min(of, key=lambda one: (times[one], luck[one]))
        grid = [part for part in of[kind] if len(set(part)) >= 0.6 * max(len(set(one)) for one in of[kind])]
        part = min(grid, key=lambda one: made[kind, one])
        times[kind] += 1
        made[kind, part] += 1
        loads.append(of[kind][part])
    fewer = [n for n in range(number - 1, 0, -1) if not fit.broken(fit.days(loads[:n]))]
    days = fit.days(loads)
    fit.check(days, f"--batches {fewer[0]}" if fewer else "")
    if not shared(study):
        return days, [f"Each repeats the tiles of a {fit.word} there is."]
    each = Counter(show_settings(settings, study) for settings, _ in loads)
    listed = "; ".join(f"{many} of {what}" for what, many in each.items())
    return days, [f"They repeat settings there are, those made in the fewest {plural(fit.word)} first: {listed}."]


def repair(study: Study, plan: Plan, code: str, how: Mapping[str, Made], word: str) -> tuple[list[Load], list[str]]:
    """Return the batch's tiles once more."""
    batch = next((one for one in plan.batches if one.code.casefold() == code.casefold()), None)
    if batch is None:
        listed = ", ".join(one.code for one in plan.batches)
        raise WrongRequestError(f'Study {study.name} has no {word} "{code}". There are: {listed}.')
    tiles = _tiles_to_make_again(plan, batch.code)
    again = Counter(
        tile.batch for tile in plan.tiles if tile.replaces in {t.code for t in plan.tiles if t.batch == batch.code}
    )
    elsewhere = sorted(name for name in again if name != batch.code)
    if elsewhere:
        raise WrongRequestError(
            f"{capital(word)} {batch.code} was made again as {elsewhere[-1]}. If that failed too, type "
            f'"tilestudy extend {study.name} --repair {elsewhere[-1]}".'
        )
    failed = [tile for tile in tiles if tile.code not in how or how[tile.code].spoiled]
    if not failed:
        raise WrongRequestError(
            f"Every tile of {word} {batch.code} is recorded as made and none as spoiled, so there is nothing to mend. Mark what "
            f'failed with "tilestudy made {study.name} {tiles[0].code} --spoiled", or add one {word} more with '
            f'"tilestudy extend {study.name} --batches 1".'
        )
    share = [of_tile(study, tile) for tile in tiles if not tile.reference]
    codes = ", ".join(tile.code for tile in failed)
    says = [
        f"{capital(word)} {batch.code} is made again whole. Marked as replaced there: {codes}; "
        f"{'it is' if len(failed) == 1 else 'they are'} not to be made any more."
    ]
    if len(failed) < len(tiles):
        good = ", ".join(tile.code for tile in tiles if tile not in failed)
        says.append(
            f"Recorded as made and not spoiled, so kept and counted: {good}. If one of them failed too, type "
            f'"tilestudy made {study.name} CODE --spoiled".'
        )
    return [(dict(batch.settings), share)], says


def _tiles_to_make_again(plan: Plan, batch: str) -> list[Tile]:
    """Tiles of a batch, a spoiled one that has a stand-in there not counted."""
    replaced = {tile.replaces for tile in plan.tiles if tile.batch == batch}
    return [tile for tile in plan.tiles if tile.batch == batch and tile.code not in replaced]


def standing_in(
    plan: Plan, code: str, new: Sequence[Tile], how: Mapping[str, Made]
) -> tuple[tuple[Tile, ...], dict[str, str]]:
    """Say of each new tile which failed one it stands in for."""
    batch = next(one.code for one in plan.batches if one.code.casefold() == code.casefold())
    failed = [t for t in _tiles_to_make_again(plan, batch) if t.code not in how or how[t.code].spoiled]
    tiles, replaced = [], {}
    for tile in new:
        old = next((t for t in failed if t.settings == tile.settings and t.reference == tile.reference), None)
        if old is not None:
            failed.remove(old)
            replaced[old.code] = tile.code
            tile = replace(tile, replaces=old.code)
        tiles.append(tile)
    return tuple(tiles), replaced
