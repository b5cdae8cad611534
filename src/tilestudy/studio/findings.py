"""What the tiles say: drivers, charts, handout."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from tilestudy.errors import (
    NotEnoughError,
    WrongRequestError,
)
from tilestudy.study.records import (
    STAGES,
    Cloth,
    study_as_planned,
)

if TYPE_CHECKING:
    from tilestudy.analysis.colour.between import Changes
    from tilestudy.analysis.study_findings import StudyFindings

from tilestudy.studio.folder import Folder
from tilestudy.study.progress import Progress, no_progress


class Findings(Folder):
    """Says what the tiles tell, and prints it."""

    def drivers(
        self,
        name: str,
        stage: str | None = None,
        progress: Progress = no_progress,
        *,
        series: str | None = None,
    ) -> StudyFindings:
        """Analyse everything recorded: which factors drive colour, durability and the declared responses.

        Colours are those of one series: the study's own, or the one named.
        """
        from tilestudy.analysis.find import find

        if stage is not None and stage not in STAGES:
            raise WrongRequestError(f'There is no stage "{stage}". Stages: {", ".join(STAGES)}.')
        study, plan = self.planned(name)
        seen = study_as_planned(study, plan)  # effects run over the settings that were made, not those once thought of
        factors = [
            made if len(made.levels) > 1 else asked for made, asked in zip(seen.factors, study.factors, strict=True)
        ]
        study = replace(study, factors=tuple(factors))
        records = self._records(name)
        read = [one for one in records[2] if not series or one.series == series]
        there = sorted({one.stage for one in read}, key=STAGES.index)
        if stage is not None and there and stage not in there:
            raise NotEnoughError(
                f"{name} has no colour readings of {stage} tiles. There are some of: {', '.join(there)}."
            )
        return find(
            study,
            plan,
            self.word(study),
            *records,
            stage=stage,
            progress=progress,
            cloths=self._cloths(name),
            series=series,
        )

    def _cloths(self, name: str) -> list[Cloth]:
        with self.book() as book:
            return [kept.record for kept in book.current(name, "cloths") if isinstance(kept.record, Cloth)]

    def colour_change(self, name: str, first: str, second: str, series: str = "") -> Changes:
        """Return how far each tile's colour moved between two stages: its grade of change in colour, ISO 105-A05."""
        from tilestudy.analysis.colour.between import changes

        _, plan = self.planned(name)
        gone = self._spoiled(name)
        codes = [tile.code for tile in plan.tiles if tile.code not in gone]
        return changes(name, codes, self._records(name)[2], first.casefold(), second.casefold(), series)

    def charts(self, found: StudyFindings) -> list[Path]:
        """Draw the charts of the findings as SVG files and return their paths."""
        from tilestudy.paper import charts
        from tilestudy.paper.from_findings import interaction_chart, main_effects_chart

        paths = []
        for name in found.told():
            effects, crossed = main_effects_chart(found, name), interaction_chart(found, name)
            if effects is not None:
                paths.append(self._print(found.study.name, f"{name}-main-effects.svg", charts.main_effects(effects)))
            if crossed is not None:
                paths.append(self._print(found.study.name, f"{name}-interaction.svg", charts.interaction(crossed)))
        return paths

    def deeper(self, found: StudyFindings) -> Path:
        """Write what stands behind the findings into a folder: residuals, influence, checks, agreement, all tests."""
        from tilestudy.colour.srgb import lab_to_hex
        from tilestudy.paper import trust_charts

        name = found.study.name
        colours = {tile.tile: lab_to_hex(tile.lab) for tile in found.tiles if tile.lab is not None}
        files: dict[str, bytes] = {"tests.txt": (found.table(everything=True) + "\n").encode()}
        for trusted in found.trusts.values():
            files |= trust_charts.charts(trusted, colours)
            files |= {file: text.encode() for file, text in trust_charts.tables(trusted).items()}
        for response, agreed in found.agreements.items():
            files[f"{response}-scorers.csv"] = trust_charts.csv_text(agreed.pair_table()).encode()
        for response, lone in found.single.items():
            files[f"{response}-contrasts.csv"] = trust_charts.csv_text(lone.table()).encode()
        for file, content in files.items():
            self._print(name, f"behind-the-findings/{file}", content)
        return self.reports / name / "behind-the-findings"
