"""Tray sheets: laid out, numbered in the study book and printed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tilestudy.errors import NotEnoughError, WrongRequestError
from tilestudy.outcomes import TraysDone
from tilestudy.studio.folder import Folder, Paper
from tilestudy.study import forms
from tilestudy.study.language import listed
from tilestudy.study.records import Plan, tiles_that_count


class Trays(Folder):
    """Prints the sheets on which tiles, or rubbed swatches, are photographed."""

    def tray_sheets(
        self,
        name: str,
        references: Path | None = None,
        *,
        cloths: bool = False,
        tiles: Sequence[str] = (),
        paper: Paper | None = None,
    ) -> TraysDone:
        """Lay tiles (all that count, or those given) or their rubbed swatches out on tray sheets, and print them.

        Each sheet is kept in the study book under its tray number; the same request again gives the same numbers and
        the same file. Raises NotEnoughError without a plan or a tile, WrongRequestError for an unknown or spoiled tile
        and where nothing fits, FaultyFileError for a reference file with faults.
        """
        from tilestudy.paper.from_plan import masthead
        from tilestudy.paper.tray_sheet import tray_sheets_content
        from tilestudy.paper.typeset import tray_sheets
        from tilestudy.photo.markers import squares
        from tilestudy.tray.layout import lay_out
        from tilestudy.tray.references import read_references
        from tilestudy.tray.sheet import cloth_code, numbered, sheet_as_dict

        study, plan = self.planned(name)
        squares(0)  # says at once when the extra `photo` is missing, before anything is kept
        patches = (
            read_references(forms.decode(references.read_bytes()), references.name) if references is not None else None
        )
        codes = self._asked_for(name, plan, tiles)
        settings = self.settings()
        paper = paper or settings.paper
        swatches: list[str] = []
        if cloths:
            if study.rub is None:
                raise WrongRequestError(
                    f"Study {name} asks for no rub test, so it has no rubbed swatches. Add [rub] to its study.toml, or leave "
                    "out --cloths."
                )
            swatches = [cloth_code(code, condition) for code in codes for condition in study.rub.conditions]
            codes = []
        laid = lay_out(name, study.tile_mm, codes, first_number=1, paper=paper, references=patches, cloths=swatches)
        now = self.now()
        with self.book() as book:
            sheets = tuple(numbered(one, book.add_tray(name, sheet_as_dict(one), now)) for one in laid)
        content = tray_sheets_content(
            masthead(study, plan, settings.studio, self.today),
            sheets,
            squares,
            wet=self.library.process(study.process).wet,
        )
        pdf = self._print(name, "tray-cloths.pdf" if cloths else "tray.pdf", tray_sheets(content, paper))
        return TraysDone(name, pdf, paper, sheets, references)

    def _asked_for(self, name: str, plan: Plan, asked: Sequence[str]) -> list[str]:
        """The tiles asked for, once each, in run order; all that are neither spoiled nor replaced when none is named."""
        spoiled = self._spoiled(name)
        counting = [tile.code for tile in tiles_that_count(plan).tiles if tile.code not in spoiled]
        if not asked:
            if not counting:
                raise NotEnoughError(
                    f'Every tile of {name} is spoiled, so there is none to lay on a tray. "tilestudy made {name} CODE '
                    '--spoiled --replace" deals a stand-in.'
                )
            return counting
        by_look = {code.casefold(): code for code in counting}
        known = {tile.code.casefold(): tile.code for tile in plan.tiles}
        stand_ins = {tile.replaces: tile.code for tile in plan.tiles if tile.replaces}
        for code in asked:
            if code.casefold() in by_look:
                continue
            if (tile := known.get(code.casefold())) is not None:
                instead = f" Its stand-in is {stand_ins[tile]}." if tile in stand_ins else ""
                raise WrongRequestError(f"Tile {tile} was spoiled, so it has no place on a tray.{instead}")
            near = forms.nearest_codes(code, counting)
            hint = f"Did you mean {listed(near, 'or')}?" if near else f"Its tiles are: {' '.join(counting)}."
            raise WrongRequestError(f'Study {name} has no tile "{code}". {hint}')
        wanted = {code.casefold() for code in asked}
        return [code for code in counting if code.casefold() in wanted]
