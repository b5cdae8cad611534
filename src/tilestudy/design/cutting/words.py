"""A cut plan in words: what is cut from what, in which order, how much is wasted and that it could hardly be less."""

from __future__ import annotations

from dataclasses import dataclass

from tilestudy.design.cutting.guillotine import Block
from tilestudy.design.cutting.plan import CutPlan, CutSheet
from tilestudy.study.language import capital, count, listed
from tilestudy.study.units import plain_number

COLUMNS = "ABCDEFGHJKLMNPQRSTUVWXYZ"


def mm(*sides: float) -> str:
    """Write lengths: ``300 × 600 mm``.

    >>> mm(300.0, 25.4)
    '300 × 25.4 mm'
    """
    return f"{' × '.join(length(side) for side in sides)} mm"


def length(value: float) -> str:
    """Write a length to a tenth of a mm, without a nought at its end."""
    return plain_number(round(value, 1), 5)


def block_name(place: int) -> str:
    """Name a block by its place on the sheet, from 0: A, B, ... then A2, B2, ..."""
    more = place // len(COLUMNS)
    return COLUMNS[place % len(COLUMNS)] + (str(more + 1) if more else "")


def name_of(one: CutSheet) -> str:
    """Name a sheet: ``offcut of 60 × 210 mm, lot A``."""
    kind = "offcut" if one.sheet.offcut else "sheet"
    return f"{kind} of {mm(*one.sheet.mm)}{f', lot {one.sheet.lot}' if one.sheet.lot else ''}"


@dataclass(frozen=True)
class Step:
    """One step of cutting: its number where the picture marks it ("" where not), and what to do."""

    number: str
    text: str


def steps(plan: CutPlan, one: CutSheet) -> list[Step]:
    """Return how a sheet is cut, step by step; edges are named as in the picture, which lies with the longer side across."""
    crosswise, lengthwise = ("top", "left") if one.turned else ("left", "top")
    found: list[Step] = []
    number = 0
    if one.first is not None and one.left is not None:
        number += 1
        edge = crosswise if one.first.crosswise else lengthwise
        found.append(
            Step(
                str(number),
                f"Cut right across, {length(one.first.at)} mm from the {edge} edge. What stays whole: {mm(*sorted(one.left))}.",
            )
        )
    trim = 0.0 if one.sheet.offcut else plan.cutting.trim_mm
    if trim:
        found.append(
            Step(
                "",
                f"Trim {length(trim)} mm off {'each edge of the sheet' if one.first is None else 'the other three edges of that part'}.",
            )
        )
    for cut in one.pattern.cuts:
        number += 1
        edge = crosswise if cut.crosswise else lengthwise
        found.append(Step(str(number), f"Cut straight through the piece, {length(cut.at)} mm from the {edge} edge."))
    for place, block in enumerate(one.pattern.blocks):
        found.append(Step("", _block(block, "" if len(one.pattern.blocks) == 1 else f"Piece {block_name(place)}: ")))
    return found


def _block(block: Block, head: str) -> str:
    width, each = (block.tile[1], block.tile[0]) if block.lengthwise else block.tile
    across = f"{count(block.strips, 'strip')} {length(width)} mm wide"
    tiles = f"{count(block.in_strip, 'tile')} of {length(each)} mm"
    if block.strips == 1:
        return capital(f"{head}one strip {length(width)} mm wide, cut into {tiles}.")
    return capital(f"{head}{across}, each cut into {tiles}.")


def told(plan: CutPlan) -> list[str]:
    """Say what the plan comes to: sheets, waste and how little it could be, what stays whole, and what to mind."""
    sentences = []
    for one in plan.sheets:
        over = one.pattern.tiles - one.tiles
        rest = f"; {mm(*sorted(one.left))} stays whole" if one.left else ""
        blanks = f"; room for {over} more, as {'a blank' if over == 1 else 'blanks'}" if over else ""
        sentences.append(
            f"{capital(name_of(one))}: {count(one.tiles, 'tile')}{f' of the {one.holds} it holds' if one.left else ''}{rest}{blanks}."
        )
    share, least = round(100 * plan.waste), round(100 * plan.least_waste)
    bound = f" By area alone, cuts counted, it could not be under {least} %." if 1 <= least < share else ""
    if any(one.left for one in plan.sheets) and least < share:
        bound += " No smaller part cut off right across would hold the tiles."
    lost = "cuts, edges and scrap" + ("; blanks not counted" if plan.places > plan.tiles else "")
    sentences.append(f"Waste: {share} % of the {plain_number(plan.used / 100, 4)} cm² cut into ({lost}).{bound}")
    if plan.example:
        sheets = "a sheet" if len(plan.sheets) == 1 else "sheets"
        sentences.append(
            f"The study names no sheet, so this is an example with {sheets} of {mm(*plan.sheets[0].sheet.mm)}. Write what you have "
            "under [[sheet]] in study.toml: size, count, lot, price."
        )
    silent = [one for one in plan.sheets if one.sheet.grain == "any"]
    if plan.cutting.grain != "any" and silent and not plan.example:
        sentences.append(
            f"[cutting] asks for the grain to run {plan.cutting.grain} the tile, but the {name_of(silent[0])} does not "
            'say how its own runs, so it was not heeded there. Write grain = "along" or "across" under its [[sheet]].'
        )
    elif both_ways(plan):
        sentences.append(
            "Tiles lie both ways on the metal. If its rolling marks show, they would run along some tiles and across others: then "
            'write grain under [[sheet]] and under [cutting] ("along" or "across").'
        )
    return sentences


def both_ways(plan: CutPlan) -> bool:
    """True where tiles lie both ways on some sheet."""
    return any(len({block.tile for block in one.pattern.blocks}) > 1 for one in plan.sheets)


def measuring(plan: CutPlan) -> str:
    """Say from where to measure, and where the kerf lies."""
    kerf = plan.cutting.kerf_mm
    side = f" Saw beyond the line, so that the kerf of {length(kerf)} mm comes off the rest." if kerf else ""
    return f"Measures run from the sheet's left and top edges as drawn, all from the same edge, so that errors do not add up.{side}"


def drilling(wet: bool) -> list[str]:
    """Say how tiles are stamped and drilled (common practice, no source, but for the hole's size)."""
    lines = [
        "Stamp the code on the back, near one end, while a strip is still whole: it lies steadier than a tile.",
    ]
    if wet:
        lines.append(
            "Drill a hole of 2 to 3 mm at the other end before the tile is finished: in an opaque bath a tile hangs or lies in a "
            "basket. Clamp the metal on wood, never hold it by hand; goggles on."
        )
    lines.append("Deburr every edge; cut edges are sharp until then. Keep tiles of a lot apart until they are stamped.")
    return lines


def lots_used(plan: CutPlan) -> str:
    """List how many tiles each lot gives; "" where sheets have no lot."""
    named = [one for one in plan.sheets if one.sheet.lot]
    lots = dict.fromkeys(one.sheet.lot for one in named)
    if len(lots) < 2:
        return ""
    return listed([f"{sum(one.tiles for one in named if one.sheet.lot == lot)} from lot {lot}" for lot in lots])
