"""What the tiles say: drivers, charts, handout."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from tilestudy.errors import (
    WrongRequestError,
)
from tilestudy.study.records import (
    STAGES,
    study_as_planned,
)
from tilestudy.trade import library

if TYPE_CHECKING:
    from tilestudy.analysis.study_findings import StudyFindings

from tilestudy.studio.folder import Folder, Paper


class Findings(Folder):
    """Says what the tiles tell, and prints it."""

    def drivers(self, name: str, stage: str | None = None) -> StudyFindings:
        """Analyse everything recorded: which factors drive colour, durability and the declared responses."""
        from tilestudy.analysis.study_findings import find

        if stage is not None and stage not in STAGES:
            raise WrongRequestError(f'There is no stage "{stage}". Stages: {", ".join(STAGES)}.')
        study, plan = self.planned(name)
        seen = study_as_planned(study, plan)  # effects run over the settings that were made, not those once thought of
        factors = [
            made if len(made.levels) > 1 else asked for made, asked in zip(seen.factors, study.factors, strict=True)
        ]
        study = replace(study, factors=tuple(factors))
        return find(study, plan, self.word(study), *self._records(name), stage=stage)

    def charts(self, found: StudyFindings) -> list[Path]:
        """Draw the charts of the findings as SVG files and return their paths."""
        from tilestudy.paper import charts
        from tilestudy.paper.from_findings import interaction_chart, main_effects_chart

        paths = []
        for name in found.responses:
            if name in ("a", "b"):
                continue  # lightness and the swatches show the colour; the two hue axes stand in the table
            effects, crossed = main_effects_chart(found, name), interaction_chart(found, name)
            if effects is not None:
                paths.append(self._print(found.study.name, f"{name}-main-effects.svg", charts.main_effects(effects)))
            if crossed is not None:
                paths.append(self._print(found.study.name, f"{name}-interaction.svg", charts.interaction(crossed)))
        return paths

    def handout(self, name: str, paper: Paper | None = None) -> Path:
        """Print the handout and return its path."""
        from tilestudy.paper.from_findings import handout_content
        from tilestudy.paper.typeset import handout

        found = self.drivers(name)
        made, _, readings, _, rubs = self._records(name)
        settings = self.settings()
        content = handout_content(
            found,
            library.process(found.study.process),
            readings,
            rubs,
            studio=settings.studio,
            printed=self.today,
            made_on=[one.on for one in made],
        )
        return self._print(name, "handout.pdf", handout(content, paper or settings.paper))
