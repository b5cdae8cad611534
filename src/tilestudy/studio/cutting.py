"""The metal: which tiles are cut from which sheet, printed with what to stamp on each."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

from tilestudy.design.cutting import EXAMPLE, CutPlan, Stamp, lay_on_sheets, room_on, stamp_list
from tilestudy.design.cutting.words import block_name, drilling, lots_used, mm, steps, told
from tilestudy.design.lots import (
    lot_of_tiles,
    lots,
    lots_in_words,
    lots_of_spares,
    room_by_lot,
    sheets_of,
    taken_for_lots,
)
from tilestudy.errors import NotEnoughError
from tilestudy.studio.folder import Paper
from tilestudy.studio.packing import Packing
from tilestudy.study.language import count, listed
from tilestudy.study.records import Plan, Study, Tile, tiles_that_count
from tilestudy.study.units import plain_number
from tilestudy.study.workplace import Sheet


@dataclass(frozen=True)
class CutDone:
    """The cut plan of a study: sheets and cuts, what is stamped where, mass, cost, the files, and what to mind."""

    study: Study
    plan: CutPlan
    stamps: tuple[Stamp, ...]
    pdf: Path
    pictures: tuple[Path, ...]
    grams: tuple[float, float] | None
    notes: tuple[str, ...]
    lots: tuple[str, ...]

    @property
    def mass(self) -> str:
        """Write the mass of a tile and of all metal cut into; "" where it is not known."""
        if self.grams is None:
            return ""
        tile, all_of_it = self.grams
        return f"{plain_number(tile, 3)} g a tile before drilling; the metal cut into weighs {plain_number(all_of_it, 3)} g"

    @property
    def cost(self) -> str:
        """Write the cost of the metal cut into and of the sheets; "" where a price is missing."""
        share, whole = self.plan.cost, self.plan.sheets_cost
        if share is None or whole is None:
            return ""
        money = f" {self.study.workplace.cutting.money}".rstrip()
        return f"{share:.2f}{money} of metal cut into, of sheets that cost {whole:.2f}{money}"

    @property
    def sentences(self) -> tuple[str, ...]:
        """What is cut from what, waste, mass, cost, lots."""
        facts = [f"Mass: {self.mass}."] if self.mass else []
        facts += [f"Cost: {self.cost}."] if self.cost else []
        return (*told(self.plan), *facts, *self.lots)

    def how(self) -> list[str]:
        """Return how each sheet is cut and stamped, a line a step and a strip."""
        lines = []
        for one in self.plan.sheets:
            lines.append(f"Sheet {one.number}: {mm(*one.sheet.mm)}{f', lot {one.sheet.lot}' if one.sheet.lot else ''}")
            for step in steps(self.plan, one):
                lines.append(f"  {f'cut {step.number}: ' if step.number else ''}{step.text}")
            mine = [stamp for stamp in self.stamps if stamp.sheet == one.number and stamp.code]
            for (block, strip), there in groupby(mine, key=lambda stamp: (stamp.block, stamp.strip)):
                codes = " ".join(stamp.code + ("*" if stamp.spare else "") for stamp in there)
                lines.append(f"  strip {block_name(block - 1)}{strip}: {codes}")
        if any(stamp.spare for stamp in self.stamps):
            lines.append("* spare")
        return lines

    def as_dict(self) -> dict[str, Any]:
        """Return it with stable keys."""
        plan = self.plan
        return {
            "study": self.study.name,
            "example": plan.example,
            "tile_mm": list(plan.tile_mm),
            "kerf_mm": plan.cutting.kerf_mm,
            "trim_mm": plan.cutting.trim_mm,
            "tiles": plan.tiles,
            "waste": round(plan.waste, 4),
            "least_waste": round(plan.least_waste, 4),
            "used_mm2": round(plan.used, 1),
            "tile_g": None if self.grams is None else round(self.grams[0], 3),
            "used_g": None if self.grams is None else round(self.grams[1], 2),
            "cost": None if plan.cost is None else round(plan.cost, 2),
            "sheets_cost": None if plan.sheets_cost is None else round(plan.sheets_cost, 2),
            "money": plan.cutting.money,
            "sheets": [
                {
                    "number": one.number,
                    "mm": list(one.sheet.mm),
                    "lot": one.sheet.lot,
                    "offcut": one.sheet.offcut,
                    "holds": one.holds,
                    "tiles": one.tiles,
                    "left_mm": None if one.left is None else [round(side, 2) for side in one.left],
                    "steps": [step.text for step in steps(plan, one)],
                }
                for one in plan.sheets
            ],
            "stamps": [
                {
                    "sheet": one.sheet,
                    "strip": f"{block_name(one.block - 1)}{one.strip}",
                    "number": one.number,
                    "x_mm": round(one.x, 2),
                    "y_mm": round(one.y, 2),
                    "code": one.code,
                    "batch": one.batch,
                    "session": one.session,
                    "lot": one.lot,
                    "spare": one.spare,
                }
                for one in self.stamps
            ],
            "sentences": list(self.sentences),
            "notes": list(self.notes),
        }


class Cutting(Packing):
    """Plans how the metal is cut."""

    def cut_plan(self, name: str, paper: Paper | None = None) -> CutDone:
        """Lay the tiles that are not made yet, and spares, on the study's sheets, and print how to cut and stamp them.

        Raises NotEnoughError without a plan, where all tiles are made, or where the sheets do not hold the tiles;
        WrongRequestError where a sheet's lot cannot be told.
        """
        from tilestudy.paper.content import Fact
        from tilestudy.paper.cut_plan import cut_pages
        from tilestudy.paper.from_plan import masthead, metal_text
        from tilestudy.paper.typeset import cut_plan

        study, plan = self.planned(name)
        tiles, notes = self._to_cut(study, plan)
        dealt = lot_of_tiles(study, plan)
        only = (lots(study) or ("",))[0]
        lot_of = {tile.code: dealt.get(tile.code, only) for tile in tiles}
        codes = [code for of_session in self._spares(plan).values() for code in of_session]
        spares = lots_of_spares(study, plan, codes, {tile.code for tile in plan.tiles} - {tile.code for tile in tiles})
        if len(spares) < len(codes):
            notes.append(
                f"The sheets hold the tiles but only {len(spares)} of {count(len(codes), 'spare')}. A tile that is spoiled could "
                "not be made again from the same metal."
            )
        wanted = Counter([*lot_of.values(), *spares.values()])
        sheets, cutting = sheets_of(study), study.workplace.cutting
        small = [mm(*one.mm) for one in sheets if room_on(one, study.tile_mm, cutting) == 0]
        if small:
            notes.append(f"No tile of {mm(*study.tile_mm)} fits on the sheet of {listed(small)}: left out.")
        laid = lay_on_sheets(
            sheets or _example(study, wanted),
            {lot: wanted[lot] for lot in room_by_lot(study, 0) if wanted[lot]},
            study.tile_mm,
            cutting,
            example=not sheets,
        )
        stamps = stamp_list(laid, tiles, spares, lot_of, plan.seed)
        metal = self.library.metals.get(study.metal.uns, {})
        grams = laid.grams(study.metal.thickness_mm, metal.get("density"))
        settings = self.settings()
        done = CutDone(study, laid, stamps, Path(), (), grams, tuple(notes), _lots_told(study, plan, laid))
        facts = [
            Fact("Metal", metal_text(study, self.library)),
            Fact("To cut", f"{count(len(tiles), 'tile')} and {count(len(spares), 'spare')}"),
            *([Fact("Mass", done.mass)] if done.mass else []),
            *([Fact("Cost", done.cost)] if done.cost else []),
        ]
        content = cut_pages(
            masthead(study, plan, settings.studio, self.today),
            laid,
            stamps,
            facts=facts,
            told=[*told(laid), *done.lots, *notes],
            drilling=drilling(self.library.process(study.process).wet),
            heaps=[
                *(
                    (batch, [tile.code for tile in there])
                    for batch, there in groupby(tiles, key=lambda tile: tile.batch)
                ),
                *([("spare", list(spares))] if spares else []),
            ],
        )
        pdf = self._print(name, "cut-plan.pdf", cut_plan(content, paper or settings.paper))
        pictures = [
            self._print(name, f"cut-plan-{number}.svg", page.picture.encode())
            for number, page in enumerate(content.pages, 1)
        ]
        return CutDone(study, laid, stamps, pdf, tuple(pictures), grams, tuple(notes), done.lots)

    def _to_cut(self, study: Study, plan: Plan) -> tuple[list[Tile], list[str]]:
        """The tiles that are not made yet, and what to say of those left out."""
        if plan.taken_in:
            raise NotEnoughError(
                f"The tiles of {study.name} existed already when they were taken in, so there is nothing to cut. "
                f'"tilestudy extend {study.name} --tiles 8" plans further ones.'
            )
        made = {one.tile for one in self._records(study.name)[0]}
        every = tiles_that_count(plan).tiles
        tiles = [tile for tile in every if tile.code not in made]
        if not tiles:
            raise NotEnoughError(
                f"Every tile of {study.name} is made already, so there is none to cut. "
                f'"tilestudy extend {study.name}" plans further ones.'
            )
        left_out = len(every) - len(tiles)
        notes = (
            [f"{count(left_out, 'tile')} made already {'is' if left_out == 1 else 'are'} left out."] if left_out else []
        )
        return tiles, notes


def _example(study: Study, wanted: Counter[str]) -> tuple[Sheet, ...]:
    """Sheets of an example size, as many as it takes."""
    one = Sheet(EXAMPLE)
    if room_on(one, study.tile_mm, study.workplace.cutting) == 0:
        one = Sheet((10 * max(study.tile_mm), 10 * max(study.tile_mm)))
    return tuple(Sheet(one.mm, max(1, many), lot) for lot, many in wanted.items())


def _lots_told(study: Study, plan: Plan, laid: CutPlan) -> tuple[str, ...]:
    """How the lots are spread, and what a lot would pass for; nothing where there is one lot."""
    used = lots_used(laid)
    if not used:
        return ()
    if not taken_for_lots(study, plan):
        return (f"Sheet lots: {used}; spread over batches and settings, so that none passes for an effect.",)
    return (f"Sheet lots: {used}.", *lots_in_words(study, plan)[1:])
