"""Which sheets are opened for how many tiles, what is cut from each, what stays whole and what is wasted. Lengths in mm."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil

from tilestudy.design.cutting.guillotine import Cut, Pattern, Ways, cut_out, most_tiles, shortest
from tilestudy.errors import NotEnoughError
from tilestudy.study.language import count
from tilestudy.study.units import plain_number
from tilestudy.study.workplace import Cutting, Sheet

EXAMPLE = (300.0, 600.0)
"""Size of the sheet reckoned with where a study names none; an example, no standard."""


@dataclass(frozen=True)
class CutSheet:
    """A sheet or offcut that is cut, and how.

    Attributes
    ----------
    number : int
        From 1, in the order of cutting.
    sheet : Sheet
        With its lot filled in.
    holds : int
        How many tiles it would give if all of it were used.
    tiles : int
        How many are wanted of it; `pattern` may have room for more.
    first : Cut or None
        The cut right across that takes off the part in use; None where the whole sheet is used.
    left : (float, float) or None
        What stays whole behind that cut, mm along the sheet's first and second side.
    pattern : Pattern
        Places and cuts are measured from the sheet's corner.
    used : float
        Area that is cut into, mm2: all but what stays whole.
    least : float
        The least that so many tiles and blanks, and the cuts between them, could do with, by area alone, mm2.
    """

    number: int
    sheet: Sheet
    holds: int
    tiles: int
    first: Cut | None
    left: tuple[float, float] | None
    pattern: Pattern
    used: float
    least: float

    @property
    def extent(self) -> tuple[float, float]:
        """The part in use, mm along the first and the second side."""
        if self.first is None:
            return self.sheet.mm
        length, width = self.sheet.mm
        return (self.first.size, width) if self.first.crosswise else (length, self.first.size)

    @property
    def turned(self) -> bool:
        """True where a picture of the part in use lies with the sheet's second side across."""
        return self.extent[1] > self.extent[0]


@dataclass(frozen=True)
class CutPlan:
    """All sheets that are cut; `example` is True where their size is only an example."""

    tile_mm: tuple[float, float]
    cutting: Cutting
    sheets: tuple[CutSheet, ...]
    example: bool = False

    @property
    def tiles(self) -> int:
        """How many tiles are wanted of all sheets."""
        return sum(one.tiles for one in self.sheets)

    @property
    def places(self) -> int:
        """How many tiles come off the metal that is cut into, blanks included."""
        return sum(one.pattern.tiles for one in self.sheets)

    @property
    def tile_area(self) -> float:
        """Area of one tile, mm2."""
        return self.tile_mm[0] * self.tile_mm[1]

    @property
    def used(self) -> float:
        """Area that is cut into, mm2."""
        return sum(one.used for one in self.sheets)

    @property
    def waste(self) -> float:
        """Share of the metal cut into that ends up as neither tiles nor blanks: cuts, edges and scrap."""
        return 1 - self.places * self.tile_area / self.used if self.used else 0.0

    @property
    def least_waste(self) -> float:
        """Share below which `waste` cannot be with these cuts, by area alone."""
        least = sum(one.least for one in self.sheets)
        return 1 - self.places * self.tile_area / least if least else 0.0

    @property
    def cost(self) -> float | None:
        """Price of the metal cut into: each sheet's by the share of it that is used; None where a price is missing."""
        return _cost([(one.sheet.price, one.used / (one.sheet.mm[0] * one.sheet.mm[1])) for one in self.sheets])

    @property
    def sheets_cost(self) -> float | None:
        """Price of all sheets that are cut, whole; None where a price is missing."""
        return _cost([(one.sheet.price, 1.0) for one in self.sheets])

    def grams(self, thickness_mm: float | None, density: float | None) -> tuple[float, float] | None:
        """Return the mass of a tile before drilling and of all the metal cut into, g; `density` in g/cm3.

        >>> plan = CutPlan((25.0, 50.0), Cutting(), ())
        >>> [round(one, 3) for one in plan.grams(0.8, 8.94)]
        [8.94, 0.0]
        """
        if thickness_mm is None or density is None:
            return None
        return tuple(area * thickness_mm * density / 1000 for area in (self.tile_area, self.used))  # type: ignore[return-value]


def _cost(parts: Sequence[tuple[float | None, float]]) -> float | None:
    prices = [price * share for price, share in parts if price is not None]
    return sum(prices) if prices and len(prices) == len(parts) else None


def ways_on(sheet: Sheet, tile_mm: tuple[float, float], cutting: Cutting) -> Ways:
    """Return how tiles may lie on a sheet: both ways, or the one in which the grain runs as asked.

    >>> ways_on(Sheet((300.0, 600.0), grain="across"), (25.0, 50.0), Cutting(grain="along")).sides
    ((25.0, 50.0),)
    """
    upright, turned = tile_mm, (tile_mm[1], tile_mm[0])
    if "any" in (sheet.grain, cutting.grain):
        sides = (upright, turned) if tile_mm[0] != tile_mm[1] else (upright,)
        return Ways(sides, cutting.kerf_mm)
    # upright, the tile's second side lies along the sheet's second side, so the grain must run across the sheet's first
    return Ways((upright if (sheet.grain == "across") == (cutting.grain == "along") else turned,), cutting.kerf_mm)


def _trim(sheet: Sheet, cutting: Cutting) -> float:
    return 0.0 if sheet.offcut else cutting.trim_mm


def room_on(sheet: Sheet, tile_mm: tuple[float, float], cutting: Cutting) -> int:
    """Return how many tiles one sheet gives.

    >>> room_on(Sheet((300.0, 600.0)), (25.0, 50.0), Cutting(kerf_mm=1.0))
    126
    """
    inner = [side - 2 * _trim(sheet, cutting) for side in sheet.mm]
    return most_tiles(inner[0], inner[1], ways_on(sheet, tile_mm, cutting)) if min(inner) > 0 else 0


def lay_on_sheets(
    sheets: Sequence[Sheet],
    wanted: Mapping[str, int],
    tile_mm: tuple[float, float],
    cutting: Cutting,
    *,
    example: bool = False,
) -> CutPlan:
    """Lay the tiles of each lot on its sheets.

    Offcuts are used up first. Then as little as possible of new sheet is opened (the least area of whole sheets that holds
    the rest, exactly), and of the roomiest of them the part in use is cut off right across, so that the rest stays whole.

    Parameters
    ----------
    sheets : sequence of Sheet
        Each with its lot.
    wanted : mapping of str to int
        Tiles by lot.
    tile_mm : (float, float)
    cutting : Cutting
    example : bool
        The sheets are only an example.

    Raises
    ------
    NotEnoughError
        When a lot's sheets do not hold its tiles.
    """
    laid: list[CutSheet] = []
    for lot, tiles in wanted.items():
        there = [(one, room_on(one, tile_mm, cutting)) for one in sheets if one.lot == lot]
        there = [(one, room) for one, room in there if room > 0]
        room = sum(one.count * holds for one, holds in there)
        if room < tiles:
            raise NotEnoughError(_short(lot, tiles, room, sheets, tile_mm, cutting))
        for sheet, holds, share in _shares(there, tiles):
            laid.append(_cut_sheet(len(laid) + 1, sheet, holds, share, tile_mm, cutting))
    return CutPlan(tile_mm, cutting, tuple(laid), example)


def _short(
    lot: str, tiles: int, room: int, sheets: Sequence[Sheet], tile_mm: tuple[float, float], cutting: Cutting
) -> str:
    of_lot = f" of lot {lot}" if lot else ""
    mine = [one for one in sheets if one.lot == lot]
    size = " × ".join(plain_number(side) for side in tile_mm)
    told = f"{count(tiles, 'tile')} of {size} mm {'is' if tiles == 1 else 'are'} wanted{of_lot}, and its sheets hold {room}."
    biggest = max(((room_on(one, tile_mm, cutting), one) for one in mine), key=lambda one: one[0], default=(0, None))
    if biggest[1] is None or not biggest[0]:
        return f"{told} Add a [[sheet]] with room for them to the study file, or make the tiles smaller ([tile] size)."
    more = ceil((tiles - room) / biggest[0])
    sides = " × ".join(plain_number(side) for side in biggest[1].mm)
    return (
        f"{told} {count(more, 'more sheet')} of {sides} mm would do: raise its count under [[sheet]] in the study file once you "
        "have it, or plan fewer tiles."
    )


def _shares(there: Sequence[tuple[Sheet, int]], tiles: int) -> list[tuple[Sheet, int, int]]:
    """Return the sheets to cut, what each holds, and how many tiles it gives."""
    offcuts = [one for one in there if one[0].offcut]
    on_offcuts = min(tiles, sum(sheet.count * holds for sheet, holds in offcuts))
    chosen = [
        *_least_area(offcuts, on_offcuts),
        *_least_area([one for one in there if not one[0].offcut], tiles - on_offcuts),
    ]
    spare = sum(holds for _, holds in chosen) - tiles
    # the last of the roomiest gives fewer: what is left of it is the largest piece
    roomiest = max(
        range(len(chosen)), key=lambda place: (not chosen[place][0].offcut, chosen[place][1], place), default=0
    )
    shares = [(sheet, holds, holds - spare * (place == roomiest)) for place, (sheet, holds) in enumerate(chosen)]
    return [(replace(sheet, count=1), holds, share) for sheet, holds, share in shares if share > 0]


def _least_area(there: Sequence[tuple[Sheet, int]], tiles: int) -> list[tuple[Sheet, int]]:
    """Choose the sheets of least area together that hold so many tiles (a knapsack, exactly); fewer sheets where equal."""
    best: list[tuple[float, int, tuple[int, ...]] | None] = [(0.0, 0, ()), *[None] * tiles]
    for place, (sheet, holds) in enumerate(there):
        area = sheet.mm[0] * sheet.mm[1]
        for _ in range(min(sheet.count, ceil(tiles / holds))):
            for held in range(tiles, -1, -1):
                before = best[held]
                if before is None or held == tiles:
                    continue
                now = (before[0] + area, before[1] + 1, (*before[2], place))
                after = min(tiles, held + holds)
                there_now = best[after]
                if there_now is None or now[:2] < there_now[:2]:
                    best[after] = now
    found = best[tiles]
    return [there[place] for place in found[2]] if found else []


def _cut_sheet(
    number: int, sheet: Sheet, holds: int, tiles: int, tile_mm: tuple[float, float], cutting: Cutting
) -> CutSheet:
    """Cut so many tiles from a sheet: from the smallest part that a cut right across takes off, where the rest is of use."""
    (length, width), trim, kerf = sheet.mm, _trim(sheet, cutting), cutting.kerf_mm
    inner = length - 2 * trim, width - 2 * trim
    ways = ways_on(sheet, tile_mm, cutting)
    turned = Ways(tuple((b, a) for a, b in ways.sides), kerf)
    options: list[tuple[float, Cut | None, tuple[float, float] | None, tuple[float, float]]] = []
    options.append((length * width, None, None, inner))
    for crosswise, of, beside, lie in ((True, 0, 1, ways), (False, 1, 0, turned)):
        part = shortest(inner[beside], tiles, lie, inner[of]) if tiles < holds else None
        if part is None:
            continue
        rest = sheet.mm[of] - trim - part - kerf
        left = (rest, width) if crosswise else (length, rest)
        if rest <= 0 or most_tiles(*left, Ways((tile_mm, tile_mm[::-1]), kerf)) == 0:
            continue
        cut = Cut(crosswise, trim + part, 0.0, sheet.mm[beside], trim + part)
        piece = (part, inner[1]) if crosswise else (inner[0], part)
        options.append((length * width - left[0] * left[1], cut, left, piece))
    used, first, left_whole, piece = min(options, key=lambda one: one[0])
    pattern = cut_out(*piece, ways, (trim, trim))
    needed = pattern.tiles * (tile_mm[0] + kerf) * (tile_mm[1] + kerf)
    least = min((needed / (side + kerf) - kerf) * side for side in inner)
    least = min(used, max(least, pattern.tiles * tile_mm[0] * tile_mm[1]))
    return CutSheet(number, sheet, holds, tiles, first, left_whole, pattern, used, least)
