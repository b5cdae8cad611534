"""From everything recorded of a study to its findings: each response analysed, colour as one thing, and how far to trust it.

Pure: from records to a `StudyFindings`. Stages are never pooled, dry and wet rubs and rounds of rubs never mixed, hues never
averaged, grades never averaged.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from statistics import fmean, median

import numpy as np
import pandas as pd

from tilestudy.analysis.choice.confirm import Claim, Outcome
from tilestudy.analysis.colour.as_one import ColourFindings, colour_as_one
from tilestudy.analysis.colour.path import stage_spec
from tilestudy.analysis.colour.responses import further_responses
from tilestudy.analysis.colour.series import Series, main_colours, one_series
from tilestudy.analysis.drivers import analyse
from tilestudy.analysis.findings import (
    ResponseFindings,
    ResponseSpec,
    colour_spec,
    distance_spec,
    grade_spec,
    number_spec,
    strokes_spec,
)
from tilestudy.analysis.frames import colour_frame, rub_frame, strokes_frame, tiles_as_made, value_frame
from tilestudy.analysis.study_findings import MainColour, StudyFindings, TileSeen
from tilestudy.analysis.trust.lenth import Unreplicated, unreplicated
from tilestudy.analysis.trust.records import Trust
from tilestudy.analysis.trust.trust import trust
from tilestudy.analysis.wear.age import age_caution, days_since_made
from tilestudy.analysis.wear.agreement import Agreement, agreement
from tilestudy.analysis.wear.durability import analyse_grades
from tilestudy.analysis.wear.photo_grades import PhotoGrades, photo_grades
from tilestudy.analysis.wear.strokes import analyse_strokes
from tilestudy.colour.difference import ciede2000, lab_of
from tilestudy.errors import NotEnoughError
from tilestudy.study.progress import Progress, no_progress
from tilestudy.study.records import BatchLog, Cloth, Factor, Made, Plan, Reading, Rub, Study, Value
from tilestudy.study.units import show


class _Finder:
    """Analyses one response after another and keeps what was found, what was not, and why."""

    def __init__(self, study: Study, word: str, seed: int, steps: int, progress: Progress) -> None:
        self.study, self.word, self._seed = study, word, abs(seed)
        self._steps, self._done, self._progress = steps, 0, progress
        self.responses: dict[str, ResponseFindings] = {}
        self.trusts: dict[str, Trust] = {}
        self.single: dict[str, Unreplicated] = {}
        self.agreements: dict[str, Agreement] = {}
        self.cloths: dict[str, PhotoGrades] = {}
        self.cautions: list[str] = []
        self.not_yet: list[str] = []

    def rng(self) -> np.random.Generator:
        """A source of random numbers for one question, so that a further question leaves the others' answers alone."""
        return np.random.default_rng(self._seed)

    def step(self) -> None:
        self._done += 1
        self._progress(min(self._done / self._steps, 1.0))

    def note(self, error: NotEnoughError) -> None:
        if str(error) not in self.not_yet:
            self.not_yet.append(str(error))

    def look(
        self, frame: pd.DataFrame, spec: ResponseSpec, factors: Sequence[Factor] = (), *, aside: bool = False
    ) -> None:
        """Analyse a response measured in numbers; `aside`: one of those looked at beside, not asked for and not missed."""
        self.step()
        asked = tuple(factors or self.study.factors)
        name = self.study.name
        try:
            found = analyse(frame, asked, spec, show=show, batch_word=self.word, study=name)
        except NotEnoughError as error:
            found = None
            if not aside:
                self.note(error)
        if not aside and (found is None or all(term.p is None for term in found.terms)):
            lone = unreplicated(frame, asked, spec, show=show, batch_word=self.word, study=name)
            if lone is not None:
                self.single[spec.name] = lone
        if found is None:
            return
        self.responses[spec.name] = found
        if not aside:
            trusted = trust(found, frame, asked, spec, rng=self.rng(), show=show, batch_word=self.word, study=name)
            if trusted is not None:
                self.trusts[spec.name] = trusted

    def rubs(
        self, tiles: pd.DataFrame, made: list[Made], rubs: list[Rub], cloths: list[Cloth], condition: str, number: int
    ) -> None:
        """Analyse one condition in one round of rubs: grades, strokes where they were counted, agreement, age, cloths."""
        self.step()
        study, word = self.study, self.word
        which = "" if number == 1 else {2: "second ", 3: "third "}.get(number, f"{number}th ")
        suffix = "" if number == 1 else f"_{number}"
        spec = grade_spec(condition, study.rub.passing if study.rub else None)
        spec = replace(spec, name=spec.name + suffix, label=which + spec.label)
        frame = rub_frame(tiles, rubs, condition, number)
        try:
            self.responses[spec.name] = analyse_grades(
                frame, study.factors, spec, show=show, batch_word=word, study=study.name
            )
        except NotEnoughError as error:
            self.note(error)
        counted = strokes_frame(tiles, rubs, condition, number)
        if not counted.empty:
            stroked = strokes_spec(condition)
            label = f"{stroked.label}, {which}round" if which else stroked.label
            stroked = replace(stroked, name=stroked.name + suffix, label=label)
            try:
                self.responses[stroked.name] = analyse_strokes(
                    counted, study.factors, stroked, show=show, batch_word=word, study=study.name
                )
            except NotEnoughError as error:
                self.note(error)
        here = [rub for rub in rubs if (rub.condition, rub.round) == (condition, number)]
        told = age_caution(days_since_made(here, made), tiles, study.factors, f"{which}{condition} rub test", word)
        self.cautions += [told] if told else []
        agreed = agreement(frame, f"the {spec.label}", study.name)
        if agreed is not None:
            self.agreements[spec.name] = agreed
        graded = photo_grades(cloths, here, set(tiles["tile"]), condition, number)
        if graded is not None:
            self.cloths[spec.name] = graded


def find(
    study: Study,
    plan: Plan,
    word: str,
    made: Iterable[Made],
    logs: Iterable[BatchLog],
    readings: Iterable[Reading],
    values: Iterable[Value],
    rubs: Iterable[Rub],
    stage: str | None = None,
    progress: Progress = no_progress,
    cloths: Iterable[Cloth] = (),
    series: str | None = None,
) -> StudyFindings:
    """Analyse everything recorded of a study.

    Parameters
    ----------
    word : str
        What the bench calls a batch.
    stage : str, optional
        Stage of the colour readings; the study's own by default.
    progress : callable
        Told the share that is done.
    cloths : iterable of Cloth
        Graded by photo: compared with the scorers' grades, never among them.
    series : str, optional
        Name of the series of colour readings; the study's own by default.

    Raises
    ------
    NotEnoughError
        When nothing at all can be analysed yet.
    WrongRequestError
        When it is not plain which series of colour readings counts.
    """
    stage = stage or study.stage
    readings, measured = one_series(readings, stage, series, study.name)
    made, values, rubs, cloths = list(made), list(values), list(rubs), list(cloths)
    tiles = tiles_as_made(study, plan, made, logs)
    colours = colour_frame(tiles, readings, stage)
    conditions = study.rub.conditions if study.rub else ()
    steps = 8 + len(conditions) + len(study.responses)
    finder = _Finder(study, word, plan.seed, steps, progress)
    colour = _colours(finder, tiles, colours, readings, measured, stage) if study.target or readings else None
    for condition in conditions:
        rounds = {rub.round for rub in rubs if rub.condition == condition}
        rounds |= {cloth.round for cloth in cloths if cloth.condition == condition}
        for number in sorted(rounds | {1}):
            finder.rubs(tiles, made, rubs, cloths, condition, number)
    for response in study.responses:
        finder.look(value_frame(tiles, values, response.name), number_spec(response))
    if not finder.responses and not finder.single:
        raise NotEnoughError(
            "\n".join(finder.not_yet) or "This study asks for no colour, no rub test and no other response."
        )
    seen = _tiles_seen(
        study, tiles, colours, values, [rub for rub in rubs if rub.round == 1], main_colours(readings, stage), measured
    )
    return StudyFindings(
        study,
        plan,
        stage,
        seen,
        finder.responses,
        colour,
        _best(study, seen),
        tuple(finder.not_yet),
        word,
        (*finder.cautions, *_actual_notes(study, plan, tiles)),
        made=tiles,
        colours=colours,
        trusts=finder.trusts,
        agreements=finder.agreements,
        single=finder.single,
        series=measured,
        cloths=finder.cloths,
    )


def _colours(
    finder: _Finder, tiles: pd.DataFrame, colours: pd.DataFrame, readings: list[Reading], measured: Series, stage: str
) -> ColourFindings | None:
    """Analyse L*, a*, b*, the difference from the target, colour as one thing, and what else readings tell."""
    study = finder.study
    off = measured.scale_errors(colours[list("Lab")].to_numpy(dtype=float))
    finder.look(colours.assign(y=colours["L"]), replace(colour_spec("L", stage), scale_error=off.get("L", 0.0)))
    if "L" not in finder.responses:
        return None
    finder.look(colours.assign(y=colours["a"]), replace(colour_spec("a", stage), scale_error=off.get("a", 0.0)))
    finder.look(colours.assign(y=colours["b"]), replace(colour_spec("b", stage), scale_error=off.get("b", 0.0)))
    if study.target and study.target.lab is not None and not measured.relative:
        distance = ciede2000(colours[["L", "a", "b"]].to_numpy(dtype=float), study.target.lab)
        spec = replace(distance_spec(study.target.asked, stage), scale_error=off.get("to_target", 0.0))
        finder.look(colours.assign(y=distance), spec)
    for frame, spec, factors in further_responses(tiles, colours, readings, study.factors, stage, finder.word):
        finder.look(frame, replace(spec, scale_error=off.get(spec.name, 0.0)), factors, aside=True)
    if not all(name in finder.responses for name in "Lab"):
        return None
    L, a, b = (finder.responses[name] for name in "Lab")
    colour = colour_as_one(
        colours, study.factors, L, a, b, finder.rng(), show=show, batch_word=finder.word, error=measured.error
    )
    if colour.stages is not None and colour.stages.useful:
        with suppress(NotEnoughError):
            finder.look(colour.stages.frame, stage_spec(stage), aside=True)
    return colour


def _tiles_seen(
    study: Study,
    tiles: pd.DataFrame,
    colours: pd.DataFrame,
    values: list[Value],
    rubs: list[Rub],
    several: Mapping[str, tuple[MainColour, ...]],
    measured: Series,
) -> tuple[TileSeen, ...]:
    means = colours[["L", "a", "b"]].to_numpy(dtype=float)
    labs = {str(code): lab_of(mean) for code, mean in zip(colours["tile"], means, strict=True)}
    seen = []
    for row in tiles.to_dict("records"):
        code = str(row["tile"])
        grades = {}
        for condition in study.rub.conditions if study.rub else ():
            given = [rub.grade for rub in rubs if rub.tile == code and rub.condition == condition]
            if given:
                grades[condition] = float(median(given))
        passes = None
        if study.rub and len(grades) == len(study.rub.conditions):
            passes = all(grade >= study.rub.passing for grade in grades.values())
        lab = labs.get(code)
        distance = None
        if lab is not None and study.target is not None and not measured.relative:
            distance = lab[0] if study.target.lab is None else float(ciede2000(lab, study.target.lab))
        settings = {factor.name: row[factor.name] for factor in study.factors}
        answers = {
            response.name: fmean(given)
            for response in study.responses
            if (given := [one.value for one in values if one.tile == code and one.response == response.name])
        }
        seen.append(
            TileSeen(
                code,
                str(row["batch"]),
                settings,
                lab,
                grades,
                passes,
                distance,
                bool(row["reference"]),
                answers,
                several.get(code, ()),
            )
        )
    return tuple(seen)


def outcomes_of(
    study: Study,
    plan: Plan,
    claim: Claim,
    made: Iterable[Made],
    logs: Iterable[BatchLog],
    readings: Iterable[Reading],
    values: Iterable[Value],
    rubs: Iterable[Rub],
) -> list[Outcome]:
    """Return how the confirmation tiles of a claim came out; a stand-in counts for the spoiled tile it replaces.

    Colours are those of the claim's own series; those of a photo without reference patches judge nothing.
    """
    made, rubs = list(made), [rub for rub in rubs if rub.round == 1]
    tiles = tiles_as_made(study, plan, made, logs)
    wanted = set(claim.tiles)
    wanted |= {tile.code for tile in plan.tiles if tile.replaces in wanted}
    ours = tiles[tiles["tile"].isin(sorted(wanted))]
    theirs = [one for one in readings if one.series == claim.series and not one.relative]
    theirs, measured = one_series(theirs, claim.stage, claim.series, study.name) if theirs else ([], Series())
    seen = _tiles_seen(study, ours, colour_frame(ours, theirs, claim.stage), list(values), rubs, {}, measured)
    days = {one.tile: one.on for one in made}
    errors = {one.tile: one.error for one in theirs if one.stage == claim.stage}
    return [Outcome(one.tile, one.batch, one.lab, one.grades, days.get(one.tile), errors.get(one.tile)) for one in seen]


def _best(study: Study, seen: tuple[TileSeen, ...]) -> TileSeen | None:
    fit = [tile for tile in seen if tile.distance is not None and (tile.passes or study.rub is None)]
    return min(fit, key=lambda tile: tile.distance if tile.distance is not None else 0.0, default=None)


def _actual_notes(study: Study, plan: Plan, tiles: pd.DataFrame) -> tuple[str, ...]:
    """Say how many tiles were made otherwise than planned: the models use what was really done."""
    planned = {tile.code: tile.settings for tile in plan.tiles}
    off = sum(
        any(row[factor.name] != planned[str(row["tile"])].get(factor.name) for factor in study.factors)
        for row in tiles.to_dict("records")
    )
    lost = len(plan.tiles) - len(tiles)
    notes = []
    if off:
        notes.append(
            f"{off} of {len(tiles)} tiles were made at settings other than planned; what was really done is what counts here."
        )
    if lost:
        notes.append(f"{lost} spoiled {'tile is' if lost == 1 else 'tiles are'} left out.")
    return tuple(notes)
