"""Which sheet lot each tile is cut from, where a study has several: spread so that no lot goes with a batch or a level.

Common practice, no source: a lot that was used for one strength only would pass for an effect of strength.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import combinations

from tilestudy.study.records import Plan, Study, Tile


def lots(study: Study) -> tuple[str, ...]:
    """Return the sheet lots of a study: several are written with commas between.

    >>> from tilestudy.study.records import Metal
    >>> lots(Study("s", "", "other", (), metal=Metal("C11000", lot="A, B")))
    ('A', 'B')
    """
    return tuple(lot.strip() for lot in study.metal.lot.split(",") if lot.strip())


def lot_of_tiles(study: Study, plan: Plan) -> dict[str, str]:
    """Return the lot of each tile by its code; empty where the study has one lot or none.

    Tiles are dealt out one by one, each to the lot that so far has fewest in its batch, then fewest at its settings; then
    tiles of one batch swap lots as long as that evens out the levels. Stand-ins come from the lot of the tile they replace.
    """
    known = lots(study)
    if len(known) < 2:
        return {}
    dealt: dict[str, str] = {}
    used: Counter[tuple[str, ...]] = Counter()
    for tile in plan.tiles:
        if tile.replaces in dealt:
            dealt[tile.code] = dealt[tile.replaces]
            continue
        places = _places(tile)
        batch = ("batch", tile.batch)
        lot = min(
            known,
            key=lambda one: (used[(one, *batch)], sum(used[(one, *place)] for place in places), known.index(one)),
        )
        dealt[tile.code] = lot
        used.update((lot, *place) for place in (batch, *places))
    first = [tile for tile in plan.tiles if not tile.replaces]
    while _swap_one(first, dealt, used):
        pass
    return dealt | {tile.code: dealt[tile.replaces] for tile in plan.tiles if tile.replaces in dealt}


def _places(tile: Tile) -> list[tuple[str, str]]:
    return [(name, str(value)) for name, value in tile.settings.items()]


def _swap_one(tiles: Sequence[Tile], dealt: dict[str, str], used: Counter[tuple[str, ...]]) -> bool:
    """Swap the lots of two tiles of one batch where that evens out the levels, and say whether it was done."""
    for one, other in combinations(tiles, 2):
        mine, its = dealt[one.code], dealt[other.code]
        if one.batch != other.batch or mine == its:
            continue
        moved: Counter[tuple[str, ...]] = Counter()
        for tile, old, new in ((one, mine, its), (other, its, mine)):
            for place in _places(tile):
                moved[(old, *place)] -= 1
                moved[(new, *place)] += 1
        # the sum of squares of the counts falls as they even out
        if sum(by * (2 * used[key] + by) for key, by in moved.items()) < 0:
            for key, by in moved.items():
                used[key] += by
            dealt[one.code], dealt[other.code] = its, mine
            return True
    return False


def lots_in_words(study: Study, plan: Plan) -> list[str]:
    """Say how many tiles each lot gives; nothing where there is one lot."""
    dealt = lot_of_tiles(study, plan)
    if not dealt:
        return []
    each = ", ".join(f"{count} from {lot}" for lot, count in sorted(Counter(dealt.values()).items()))
    return [
        f"Sheet lots are spread over batches and settings, so that none passes for an effect: {each}; the bench pack lists which tile is cut from which."
    ]
