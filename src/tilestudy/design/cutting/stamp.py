"""Which tile is cut where: the list to stamp and drill by, strip by strip. Pure; the order at random from a seed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from random import Random

from tilestudy.design.cutting.plan import CutPlan
from tilestudy.study.records import Tile


@dataclass(frozen=True)
class Stamp:
    """One place on a sheet and the tile that comes from it.

    Attributes
    ----------
    sheet, block, strip, number : int
        Where it is cut: sheet, block of the sheet, strip of the block, place in the strip, each from 1.
    x, y : float
        Its corner on the sheet, mm.
    mm : (float, float)
        Its sides as it lies.
    lot : str
    code : str
        To stamp; "" for a blank: a place left over, cut but not stamped.
    batch, session
        Of the tile; "" and None for a spare or a blank.
    """

    sheet: int
    block: int
    strip: int
    number: int
    x: float
    y: float
    mm: tuple[float, float]
    lot: str
    code: str = ""
    batch: str = ""
    session: int | None = None

    @property
    def spare(self) -> bool:
        """True for a stamped tile without a place in the plan."""
        return bool(self.code) and not self.batch


def stamp_list(
    plan: CutPlan, tiles: Sequence[Tile], spares: Mapping[str, str], lot_of: Mapping[str, str], seed: int
) -> tuple[Stamp, ...]:
    """Return every place in the order of cutting, with the tile dealt to it.

    Within a lot tiles are dealt to places at random, so that no place on a sheet goes with a batch or a setting.

    Parameters
    ----------
    plan : CutPlan
    tiles : sequence of Tile
    spares : mapping of str to str
        Lot of each spare by its code.
    lot_of : mapping of str to str
        Lot of each tile by its code; "" where a study has no lots.
    seed : int
        The same seed deals alike.
    """
    rng = Random(seed)
    waiting: dict[str, list[tuple[str, str, int | None]]] = defaultdict(list)
    for tile in tiles:
        waiting[lot_of[tile.code]].append((tile.code, tile.batch, tile.session))
    for code, lot in spares.items():
        waiting[lot].append((code, "", None))
    for queue in waiting.values():
        rng.shuffle(queue)
    found = []
    for one in plan.sheets:
        queue, left = waiting[one.sheet.lot], one.tiles
        for at, block in enumerate(one.pattern.blocks, 1):
            for strip in range(block.strips):
                for number in range(block.in_strip):
                    code, batch, session = queue.pop() if left > 0 and queue else ("", "", None)
                    left -= 1
                    found.append(
                        Stamp(
                            one.number,
                            at,
                            strip + 1,
                            number + 1,
                            *block.place(strip, number, plan.cutting.kerf_mm),
                            block.tile,
                            one.sheet.lot,
                            code,
                            batch,
                            session,
                        )
                    )
    return tuple(found)
