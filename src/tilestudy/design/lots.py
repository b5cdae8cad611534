"""Which sheet lot each tile is cut from, where a study has several: dealt so that no lot passes for an effect.

A lot that was used for one strength only would pass for an effect of strength (common practice, no source). So tiles are
dealt batch by batch, each batch with every lot as evenly as it can, and within it to where the lots so far differ least in
levels, pairs of levels and places along scales (minimisation: Pocock & Simon 1975, Biometrics 31: 103-115, with swaps). What
was dealt for earlier batches stays when a study grows.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from functools import cache
from itertools import combinations
from random import Random

import numpy as np

from tilestudy.design.cutting.plan import room_on
from tilestudy.design.terms import Coding, Floats, indicators, model_of
from tilestudy.errors import WrongRequestError
from tilestudy.study.language import capital, count, listed
from tilestudy.study.records import Factor, Plan, Study, Tile, study_as_planned, tiles_that_count
from tilestudy.study.units import plain_number
from tilestudy.study.workplace import Sheet

LEVEL, SLOPE, PAIR, PRODUCT, ALL = 6.0, 12.0, 1.0, 4.0, 6.0
"""What an uneven level, scale, pair of levels, product of scales and whole study count against each other."""
STARTS = 6
"""Random starts of the deal of a batch."""
WHOLLY, PARTLY = 0.9, 0.3
"""Share of an effect (as variance) that lots take up: from here it is called one and the same, or partly so."""


def lots(study: Study) -> tuple[str, ...]:
    """Return the sheet lots of a study: those of its metal (several with commas between), then those of its sheets.

    >>> from tilestudy.study.records import Metal
    >>> lots(Study("s", "", "other", (), metal=Metal("C11000", lot="A, B")))
    ('A', 'B')
    """
    named = [lot.strip() for lot in study.metal.lot.split(",") if lot.strip()]
    return tuple(dict.fromkeys([*named, *(sheet.lot for sheet in study.workplace.sheets if sheet.lot)]))


def sheets_of(study: Study) -> tuple[Sheet, ...]:
    """Return the study's sheets, each with its lot ("" where the study names none).

    Raises WrongRequestError when a sheet names no lot and the study has several.
    """
    known = lots(study)
    found = []
    for sheet in study.workplace.sheets:
        if not sheet.lot and len(known) > 1:
            sides = " × ".join(plain_number(side) for side in sheet.mm)
            raise WrongRequestError(
                f"The [[sheet]] of {sides} mm names no lot, and the study has lots {listed(list(known))}. Write which it is of: "
                f'lot = "{known[0]}".'
            )
        found.append(sheet if sheet.lot else replace(sheet, lot=known[0] if known else ""))
    return tuple(found)


def spares_by_session(plan: Plan) -> dict[int, int]:
    """Return how many spares to cut for each session: one for every second batch, at least two (common practice, no source).

    >>> spares_by_session(Plan("s", 1, (), ()))
    {}
    """
    each = Counter(batch.session for batch in plan.batches)
    return {session: max(2, each[session] // 2) for session in sorted(each)}


def room_by_lot(study: Study, wanted: int) -> dict[str, int]:
    """Return how many tiles each lot can give, at most `wanted`; all of them where no sheet is named."""
    known, sheets = lots(study) or ("",), sheets_of(study)
    if not sheets:
        return dict.fromkeys(known, wanted)
    room = dict.fromkeys(known, 0)
    for sheet in sheets:
        room[sheet.lot] += sheet.count * room_on(sheet, study.tile_mm, study.workplace.cutting)
    return {lot: min(wanted, many) for lot, many in room.items()}


def parts(room: Mapping[str, int], wanted: int) -> dict[str, float]:
    """Return the part of so many tiles that each lot gives: equal parts, less where a lot has no room for its own.

    >>> parts({"A": 40, "B": 10}, 40)
    {'A': 0.75, 'B': 0.25}
    """
    part: dict[str, float] = {}
    for lot in sorted(room, key=lambda one: room[one]):
        equal = (1 - sum(part.values())) / (len(room) - len(part))
        part[lot] = min(equal, room[lot] / wanted) if wanted else equal
    whole = sum(part.values())
    return {lot: part[lot] / whole if whole > 0 else 1 / len(room) for lot in room}


def lots_of_spares(study: Study, plan: Plan, codes: Sequence[str], made: Collection[str] = ()) -> dict[str, str]:
    """Return the lot of each spare by its code: in turns, where a lot has room left; those without room are left out.

    Tiles in `made` need no room any more.
    """
    dealt = lot_of_tiles(study, plan)
    to_cut = [tile.code for tile in tiles_that_count(plan).tiles if tile.code not in made]
    room = room_by_lot(study, len(plan.tiles) + len(codes))
    left = Counter(room)
    left.subtract(dealt[code] if dealt else next(iter(room)) for code in to_cut)
    given: Counter[str] = Counter()
    spares: dict[str, str] = {}
    for code in codes:
        lot = min(room, key=lambda one: (left[one] <= 0, given[one]))
        if left[lot] > 0:
            spares[code] = lot
            given[lot] += 1
            left[lot] -= 1
    return spares


def lot_of_tiles(study: Study, plan: Plan) -> dict[str, str]:
    """Return the lot of each tile by its code; empty where the study has one lot or none.

    Stand-ins come from the lot of the tile they replace.
    """
    first = tuple(tile for tile in plan.tiles if not tile.replaces)
    if len(lots(study)) < 2 or not first:
        return {}
    wanted = len(first) + sum(spares_by_session(plan).values())
    room = room_by_lot(study, wanted)
    given = tuple((lot, part, room[lot]) for lot, part in parts(room, wanted).items())
    dealt = dict(_deal(study.factors, tuple(map(_bare, first)), given, plan.seed))
    for tile in plan.tiles:
        if tile.replaces in dealt:
            dealt[tile.code] = dealt[tile.replaces]
    return dealt


Bare = tuple[str, str, tuple[tuple[str, float | str], ...]]
"""A tile as far as lots go: code, batch, settings."""


def _bare(tile: Tile) -> Bare:
    return tile.code, tile.batch, tuple(tile.settings.items())


@cache
def _deal(
    factors: tuple[Factor, ...], tiles: tuple[Bare, ...], given: tuple[tuple[str, float, int], ...], seed: int
) -> tuple[tuple[str, str], ...]:
    """Deal tiles to lots batch by batch; of each lot: its name, its part of the tiles, the most it can give."""
    part = np.array([one for _, one, _ in given])
    left = [room for _, _, room in given]
    places, weights = _places(factors, [dict(settings) for _, _, settings in tiles])
    had = np.zeros((len(given), places.shape[1]))
    dealt: dict[str, str] = {}
    for batch in dict.fromkeys(batch for _, batch, _ in tiles):
        rows = [row for row, tile in enumerate(tiles) if tile[1] == batch]
        mine = places[rows]
        ahead = had - np.outer(part, had.sum(axis=0) + mine.sum(axis=0))
        for row, lot in zip(
            rows, _deal_batch(mine, weights, ahead, part, left, Random(f"{seed} {batch}")), strict=True
        ):
            dealt[tiles[row][0]] = given[lot][0]
            had[lot] += places[row]
            left[lot] -= 1
    return tuple(dealt.items())


def _places(factors: Sequence[Factor], settings: Sequence[Mapping[str, float | str]]) -> tuple[Floats, Floats]:
    """Return what is to be even, a column each, and how much it counts."""
    blocks, weights = [np.ones((len(settings), 1))], [ALL]
    levels: dict[str, Floats] = {}
    scales: dict[str, Floats] = {}
    for factor in factors:
        values = [one[factor.name] for one in settings if factor.name in one]
        if len(values) < len(settings) or len(set(values)) < 2:
            continue
        levels[factor.name] = indicators([str(value) for value in values])
        if factor.scaled and len(factor.levels) > 1:
            scales[factor.name] = Coding(factor, 0.0, None).main(values)
    for weight, kind in ((LEVEL, levels), (SLOPE, scales)):
        for block in kind.values():
            blocks.append(block)
            weights += [weight] * block.shape[1]
    for weight, kind in ((PAIR, levels), (PRODUCT, scales)):
        for one, other in combinations(kind, 2):
            both = (kind[one][:, :, None] * kind[other][:, None, :]).reshape(len(settings), -1)
            blocks.append(both)
            weights += [weight] * both.shape[1]
    return np.hstack(blocks), np.array(weights)


def _deal_batch(
    mine: Floats, weights: Floats, ahead: Floats, part: Floats, room: Sequence[int], rng: Random
) -> list[int]:
    """Deal a batch's tiles: the best of several random starts, each bettered by swaps and moves while that evens things out.

    `ahead` is by how much each lot (rows) is ahead of its share of each place before these tiles are dealt.
    """
    alike = (mine * weights) @ mine.T
    best: list[int] = []
    least = np.inf
    for _ in range(STARTS):
        lot_of = _start(len(mine), part, ahead[:, 0], room, rng)
        now = ahead + np.array([mine[[one == lot for one in lot_of]].sum(axis=0) for lot in range(len(part))])
        while _better(lot_of, now, mine, weights, alike, part, room):
            pass
        cost = float((weights * now**2).sum())
        if cost < least - 1e-9:
            best, least = list(lot_of), cost
    return best


def _start(tiles: int, part: Floats, ahead: Floats, room: Sequence[int], rng: Random) -> list[int]:
    """Deal so many tiles at random, each lot its share to the next whole tile, those furthest behind first."""
    counts = [min(room[lot], int(part[lot] * tiles + 1e-9)) for lot in range(len(part))]
    order = list(range(len(part)))
    rng.shuffle(order)
    while sum(counts) < tiles:
        lot = min(
            order,
            key=lambda one: (counts[one] >= room[one], counts[one] >= part[one] * tiles, ahead[one] + counts[one]),
        )
        counts[lot] += 1
    dealt = [lot for lot, many in enumerate(counts) for _ in range(many)]
    rng.shuffle(dealt)
    return dealt


def _better(
    lot_of: list[int], now: Floats, mine: Floats, weights: Floats, alike: Floats, part: Floats, room: Sequence[int]
) -> bool:
    """Make the one swap of two tiles, or move of one, that evens things out most, and say whether there was one."""
    of = np.array(lot_of)
    pull = (mine * weights) @ now.T
    own = np.diag(alike)
    here = pull[np.arange(len(of)), of]
    # the change of the weighted sum of squares when tiles i and j swap lots
    there = pull[:, of]  # there[i, j]: tile i pulled by the lot of tile j
    change = 2 * (there - here[:, None] + there.T - here[None, :]) + 2 * (own[:, None] + own[None, :] - 2 * alike)
    change[of[:, None] == of[None, :]] = 0.0
    i, j = np.unravel_index(int(change.argmin()), change.shape)
    swap = float(change[i, j])
    moves = 2 * (pull - here[:, None]) + 2 * own[:, None]
    counts = np.bincount(of, minlength=len(part))
    low, high = np.floor(part * len(of) + 1e-9), np.ceil(part * len(of) - 1e-9)
    moves[:, (counts >= high) | (counts >= np.array(room))] = 0.0
    moves[(counts <= low)[of]] = 0.0
    moves[np.arange(len(of)), of] = 0.0
    m, to = np.unravel_index(int(moves.argmin()), moves.shape)
    move = float(moves[m, to])
    if min(swap, move) > -1e-9:
        return False
    steps = [(int(m), int(to))] if move < swap else [(int(i), int(of[j])), (int(j), int(of[i]))]
    for tile, lot in steps:
        now[lot_of[tile]] -= mine[tile]
        now[lot] += mine[tile]
        lot_of[tile] = lot
    return True


def taken_for_lots(study: Study, plan: Plan) -> list[tuple[str, float]]:
    """Return the effects that a difference between lots would pass for, with the share of each that lots take up.

    The share (0 to 1, as variance) is the largest squared correlation of the effect with the lots, both freed from all else
    that the analysis fits: of an effect with share s, 1 - s of the information is left once lots are told apart.
    """
    counting = tiles_that_count(plan)
    dealt = lot_of_tiles(study, plan)
    if not dealt or len(set(dealt.values())) < 2:
        return []
    model = model_of(study_as_planned(study, counting), counting)
    lot = indicators([dealt[tile.code] for tile in counting.tiles])[:, 1:]
    found = []
    for term in model.terms:
        own = list(term.columns)
        others = np.delete(model.X, own, axis=1)
        if term.set_per == "tile":
            others = np.hstack([others, model.batch])
        bend = "the bend of " if term.kind == "bend" else ""
        found.append(
            (bend + _named(study, term.factors), _shared(_freed(model.X[:, own], others), _freed(lot, others)))
        )
    for left in model.left_out:  # a pair that too few tiles are left to see the noise beside is still no lot's business
        if left.kind == "pair" and left.why in ("few tiles", "few units"):
            one, other = (
                model.codings[name].main([tile.settings[name] for tile in counting.tiles]) for name in left.factors
            )
            both = (one[:, :, None] * other[:, None, :]).reshape(len(one), -1)
            found.append((_named(study, left.factors), _shared(_freed(both, model.X), _freed(lot, model.X))))
    return [(name, share) for name, share in found if share >= PARTLY]


def _named(study: Study, factors: Sequence[str]) -> str:
    together = " together" if len(factors) > 1 else ""
    return " and ".join(study.factor(name).label for name in factors) + together


def _freed(block: Floats, others: Floats) -> Floats:
    return np.asarray(block - others @ np.linalg.lstsq(others, block, rcond=None)[0])


def _shared(one: Floats, other: Floats) -> float:
    """Return the largest squared canonical correlation of two blocks of columns."""
    bases = []
    for block in (one, other):
        left, size, _ = np.linalg.svd(block, full_matrices=False)
        bases.append(left[:, size > 1e-7])
    if not all(basis.shape[1] for basis in bases):
        return 0.0
    return float(np.linalg.svd(bases[0].T @ bases[1], compute_uv=False)[0] ** 2)


def lots_in_words(study: Study, plan: Plan) -> list[str]:
    """Say how many tiles each lot gives, and what a lot would pass for; nothing where there is one lot."""
    dealt = lot_of_tiles(study, plan)
    if len(set(dealt.values())) < 2:
        return []
    each = ", ".join(f"{many} from {lot}" for lot, many in sorted(Counter(dealt.values()).items()))
    taken = taken_for_lots(study, plan)
    if not taken:
        return [
            f"Sheet lots are spread over batches and settings, so that none passes for an effect: {each}; the bench pack lists which tile is cut from which."
        ]
    told = [
        f"Sheet lots are spread as evenly as these tiles allow: {each}; the bench pack lists which tile is cut from which."
    ]
    wholly = [name for name, share in taken if share >= WHOLLY]
    partly = [name for name, share in taken if share < WHOLLY]
    mend = f"Cut all {count(len(dealt), 'tile')} from one lot, or make more tiles or batches."
    if wholly:
        told.append(
            f"That is not enough: a difference between lots would pass for the effect of {listed(wholly)}, and nothing could tell "
            f"them apart. {mend}"
        )
    if partly:
        told.append(
            f"{capital(listed(partly))}: a difference between lots would partly pass for the effect. "
            + ("" if wholly else mend)
        )
    return [sentence.strip() for sentence in told]
