"""From findings to a recipe: choose settings, confirm them, and the next tiles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from tilestudy.errors import NotEnoughError, PlanError, WrongRequestError
from tilestudy.outcomes import Confirming, Extended
from tilestudy.studio.folder import Paper
from tilestudy.studio.planning import Planning
from tilestudy.study.progress import Progress, no_progress
from tilestudy.study.records import Setting, Study, Tile

if TYPE_CHECKING:
    from tilestudy.analysis.choice.choice import Choice
    from tilestudy.analysis.choice.chooser import Option
    from tilestudy.analysis.choice.confirm import Claim, Confirmation
    from tilestudy.analysis.study_findings import StudyFindings

SEED = 20
"""Of the plausible truths that are drawn: the same tiles give the same choice."""


class Choosing(Planning):
    """Chooses settings, has them confirmed, and plans what to make next."""

    def choose(
        self,
        name: str,
        *,
        stage: str | None = None,
        by_wishes: bool = False,
        series: str | None = None,
        progress: Progress = no_progress,
    ) -> Choice:
        """Choose the settings most likely right over the studied region."""
        import numpy as np

        from tilestudy.analysis.choice.choice import choose

        found = self.drivers(name, stage, lambda share: progress(0.6 * share), series=series)
        return choose(found, np.random.default_rng(SEED), by_wishes)

    def trade_off_chart(self, choice: Choice) -> Path | None:
        """Draw closeness against durability, the tiles in their own colours, and return the chart's path."""
        from tilestudy.paper.trade_off import trade_off, trade_off_content

        content = trade_off_content(choice)
        return None if content is None else self._print(choice.study.name, "trade-off.svg", trade_off(content))

    def confirm(
        self,
        name: str,
        *,
        option: int = 1,
        settings: Mapping[str, str] | None = None,
        tiles: int | None = None,
        batches: int | None = None,
        by_wishes: bool = False,
        series: str | None = None,
        progress: Progress = no_progress,
    ) -> Confirming:
        """Plan confirmation tiles for an option of `choose`, or for settings given, and keep what is claimed of them."""
        import numpy as np

        from tilestudy.analysis.choice.choice import choose, evidence_of
        from tilestudy.analysis.choice.chooser import Chooser
        from tilestudy.analysis.choice.confirm import Claim
        from tilestudy.design import extend

        study, plan = self.planned(name)
        nothing_right = NotEnoughError(
            f"{name} asks for no colour and no rub test, so no tile could be called right and nothing can be confirmed. "
            "Write a [colour] target or a [rub] into the study file."
        )
        if study.target is None and study.rub is None:
            raise nothing_right
        self._check_growing(plan, name)
        typed = self._settings(study, settings or {})
        found = self.drivers(name, progress=lambda share: progress(0.6 * share), series=series)
        choice = choose(found, np.random.default_rng(SEED), by_wishes)
        if not choice.right.asks:
            raise nothing_right
        chosen = _numbered(choice.all_options(), option)
        if not typed and not choice.hopeful:
            raise NotEnoughError(
                "No setting of the studied region is likely to be right, so confirmation tiles would be wasted: relax a wish, or "
                f'see "tilestudy choose {name}". Settings of your own can still be tried with --at.'
            )
        if typed:
            evidence, *_ = evidence_of(found, by_wishes)
            own = {**chosen.settings, **typed}
            chosen = Chooser(evidence, np.random.default_rng(SEED)).options([own], choice.right)[0]
        asked = extend.Request("confirm", batches, tiles, near=(chosen.settings,))
        kept: list[Claim] = []

        def claimed(tiles: Sequence[Tile]) -> Claim:
            codes = tuple(tile.code for tile in tiles)
            kept.append(
                Claim(chosen, choice.right, choice.stage, choice.conditions, codes, self.today, choice.series.name)
            )
            return kept[0]

        added = self._add(study, plan, asked, claimed=claimed)
        return Confirming(study, self.word(study), (), added, kept[0])

    def claimed(self, name: str) -> bool:
        """Return whether anything was claimed of a study's settings."""
        self.planned(name)
        with self.book() as book:
            return bool(book.claims(name))

    def confirmations(self, name: str) -> Confirming:
        """Compare every claim of a study with what came of it."""
        study, _ = self.planned(name)
        found = self._confirmations(study)
        if not found:
            raise NotEnoughError(
                f'Nothing was claimed of {name} yet. "tilestudy confirm {name}" plans confirmation tiles.'
            )
        return Confirming(study, self.word(study), tuple(found))

    def _confirmations(self, study: Study) -> list[Confirmation]:
        from tilestudy.analysis.choice.confirm import claim_from, compare
        from tilestudy.analysis.find import outcomes_of

        with self.book() as book:
            claims = [claim_from(one) for one in book.claims(study.name)]
            plan = book.plan(study.name)
        if not claims or plan is None:
            return []
        records = self._records(study.name)
        return [compare(claim, outcomes_of(study, plan, claim, *records)) for claim in claims]

    def handout(
        self, name: str, paper: Paper | None = None, progress: Progress = no_progress, *, series: str | None = None
    ) -> Path:
        """Print the handout and return its path."""
        from tilestudy.paper.from_findings import handout_content
        from tilestudy.paper.typeset import handout

        found = self.drivers(name, progress=lambda share: progress(0.6 * share), series=series)
        made, _, readings, _, rubs = self._records(name)
        settings = self.settings()
        content = handout_content(
            found,
            self.library,
            readings,
            rubs,
            studio=settings.studio,
            printed=self.today,
            made_on=[one.on for one in made],
            confirmations=self._confirmations(found.study),
            at_hand=settings.at_hand,
        )
        return self._print(name, "handout.pdf", handout(content, paper or settings.paper))

    def next(
        self,
        name: str,
        *,
        tiles: int,
        batches: int | None = None,
        option: int = 1,
        look: bool = False,
        series: str | None = None,
        progress: Progress = no_progress,
    ) -> Extended:
        """Add the tiles that would teach most about what is undecided: near the choice, and what could not be told apart."""
        import numpy as np

        from tilestudy.analysis.choice.choice import choose
        from tilestudy.design import extend

        study, plan = self.planned(name)
        self._check_growing(plan, name)
        found = self.drivers(name, progress=lambda share: progress(0.6 * share), series=series)
        near: list[Mapping[str, Setting]] = []
        with suppress(NotEnoughError):  # without a choice yet, what could not be told apart is left
            near = [_numbered(choose(found, np.random.default_rng(SEED)).all_options(), option).settings]
        unsure = _mixed_up(found)
        if not near and not unsure:
            raise NotEnoughError(
                f'There is no choice to come nearer to yet (see "tilestudy choose {name}"), and no pair of terms that could not '
                f'be told apart. "tilestudy extend {name} --tiles {tiles}" adds tiles that teach most over the whole range.'
            )
        wanted = extend.Request("next", batches, tiles, near=tuple(near), unsure=tuple(unsure), look=look)
        return self._add(study, plan, wanted)

    def _settings(self, study: Study, typed: Mapping[str, str]) -> dict[str, Setting]:
        """Read settings typed in, each within what the study's levels span."""
        parse = self._parse(study)
        found: dict[str, Setting] = {}
        for name, text in typed.items():
            key = name.strip().replace(" ", "_")
            if key not in {factor.name for factor in study.factors}:
                names = ", ".join(factor.name for factor in study.factors)
                raise WrongRequestError(f'"{name}" is no factor of {study.name}. Its factors: {names}.')
            factor = study.factor(key)
            value = parse(text, factor)
            ends = [float(level) for level in factor.levels if not isinstance(level, str)]
            between = not isinstance(value, str) and factor.scaled and ends and min(ends) <= value <= max(ends)
            if value not in factor.levels and not between:
                raise PlanError(
                    f"{factor.label} {text} lies outside what the tiles covered, so nothing can be claimed of it. "
                    "Choose settings within the study's levels."
                )
            found[key] = value
        return found


def _numbered(options: Sequence[Option], number: int) -> Option:
    """Return the option of that number, from 1."""
    if not 1 <= number <= len(options):
        raise WrongRequestError(f"--option {number}: choose gives {len(options)}, numbered from 1.")
    return options[number - 1]


def _mixed_up(found: StudyFindings) -> list[str]:
    """Names of terms that the tiles could not tell apart, and those mixed up with them."""
    names: dict[str, None] = {}
    for one in found.responses.values():
        for out in one.left_out:
            if out.partners:
                names.update(dict.fromkeys((out.term, *out.partners)))
    return list(names)
