"""What the tiles of one study say, all responses together: colour, durability, declared responses; the best tile seen;
what is still not known.

Pure: from records to a `StudyFindings`. Stages are never pooled, dry and wet rubs never mixed, hues never averaged.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from statistics import fmean, median
from typing import Any

import pandas as pd

from tilestudy.analysis import wording
from tilestudy.analysis.drivers import ColourEffect, analyse, colour_effects
from tilestudy.analysis.findings import (
    ResponseFindings,
    ResponseSpec,
    colour_spec,
    distance_spec,
    grade_spec,
    number_spec,
)
from tilestudy.analysis.frames import colour_frame, rub_frame, tiles_as_made, value_frame
from tilestudy.analysis.numbers import significant
from tilestudy.colour.difference import ciede2000
from tilestudy.colour.names import name_of
from tilestudy.errors import NotEnoughError
from tilestudy.study.language import capital, listed
from tilestudy.study.records import BatchLog, Made, Plan, Reading, Rub, Setting, Study, Value
from tilestudy.study.units import plain_number, show, show_number, show_unit

Lab = tuple[float, float, float]


@dataclass(frozen=True)
class TileSeen:
    """One tile as it came out.

    Settings as made; mean colour or None; median grade by rub condition; passed or not, None while not rubbed;
    `distance` from the target (CIEDE2000, or L* where the wish is "as dark as possible"); mean of each declared response.
    """

    tile: str
    batch: str
    settings: Mapping[str, Setting]
    lab: Lab | None
    grades: Mapping[str, float]
    passes: bool | None
    distance: float | None
    reference: bool = False
    values: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Block:
    """A heading with its sentences, as printed by `drivers`."""

    heading: str
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class StudyFindings:
    """All findings of a study.

    Attributes
    ----------
    study, plan : Study, Plan
    stage : str
        Stage of the colour readings used.
    tiles : tuple of TileSeen
        In run order, spoiled ones left out.
    responses : mapping of str to ResponseFindings
        By name: L, a, b, to_target, rub_dry, rub_wet, and the declared ones.
    colour_changes : tuple of ColourEffect
        How far each factor moves the predicted colour, CIEDE2000, the largest first.
    best : TileSeen or None
        The tile nearest the target among those that pass.
    not_yet : tuple of str
        Responses that could not be analysed, with the reason.
    """

    study: Study
    plan: Plan
    stage: str
    tiles: tuple[TileSeen, ...]
    responses: Mapping[str, ResponseFindings]
    colour_changes: tuple[ColourEffect, ...]
    best: TileSeen | None
    not_yet: tuple[str, ...]
    word: str = "batch"
    notes: tuple[str, ...] = field(default=())

    def blocks(self) -> list[Block]:
        """Return headings with plain sentences: colour, durability, declared responses, the best tile, cautions."""
        found = []
        if self.colour_changes:
            found.append(Block(f"Colour ({self.stage})", tuple(self.colour_sentences())))
        for name, one in self.responses.items():
            if name not in ("L", "a", "b"):
                found.append(Block(heading(one), one.sentences))
        if self.best_sentences():
            found.append(Block("Best tile seen", tuple(self.best_sentences())))
        found.append(Block("What to keep in mind", tuple(self.unknown())))
        return [block for block in found if block.sentences]

    def colour_sentences(self) -> list[str]:
        """Say how far each factor moves the colour as one thing, then what lightness does; a* and b* stand in the table."""
        return [*self.colour_change_sentences(), *self.responses["L"].sentences]

    def colour_change_sentences(self) -> list[str]:
        """Say how far each factor moves the predicted colour, in CIEDE2000 and in names, the largest first."""
        sentences: list[str] = []
        for effect in self.colour_changes:
            factor = self.study.factor(effect.factor)
            before, after = name_of(effect.lab_low), name_of(effect.lab_high)
            names = f"from {before} to {after}" if before != after else f"within {before}"
            explain = "" if sentences else " (1 is just visible side by side, 5 is plain to see)"
            run = wording.span(effect.setting_low, effect.setting_high, factor, show)
            verdicts = {
                term.verdict
                for name in ("L", "a", "b")
                for term in self.responses[name].terms
                if term.kind in ("main", "bend") and term.factors == (effect.factor,)
            }
            doubt = ""
            if "cannot tell" in verdicts:
                doubt = f"; the luck of one {self.word} could do as much"
            elif not verdicts & {"drives", "may drive"}:
                doubt = "; noise alone could do as much"
            sentences.append(
                f"{capital(run)} the predicted colour moves by {plain_number(effect.difference, 2)} CIEDE2000{explain}, "
                f"{names}{doubt}."
            )
        return sentences

    def best_sentences(self) -> list[str]:
        """Say which tile came nearest the wish among those that pass, and with which settings."""
        study = self.study
        if study.target is None and study.rub is None:
            return []
        if self.best is None:
            if study.rub is None or not any(tile.grades for tile in self.tiles):
                return []
            passing = plain_number(study.rub.passing)
            return [
                f"No tile passed: none has a median rub grade of {passing} or better with a colour reading beside it."
            ]
        best = self.best
        settings = ", ".join(
            f"{study.factor(name).label} {show(value, study.factor(name))}" for name, value in best.settings.items()
        )
        sentences = [f"Tile {best.tile} ({settings}; {self.word} {best.batch}) comes nearest: {self.how_close(best)}."]
        if best.grades:
            graded = listed([f"{plain_number(grade)} {condition}" for condition, grade in best.grades.items()])
            passing = f"; {plain_number(study.rub.passing)} or better passes" if study.rub else ""
            sentences.append(f"Its median rub grade is {graded}{passing}.")
        sentences.append(
            "One tile is one tile: make it again in a fresh " + self.word + " before you call it a recipe."
        )
        return sentences

    def how_close(self, tile: TileSeen) -> str:
        """Say in words how near a tile's colour is to the wish."""
        target = self.study.target
        if tile.lab is None or target is None:
            return "no colour was asked for"
        name = name_of(tile.lab)
        if target.darkest:
            return f"the darkest that passes, L* {tile.lab[0]:.0f}, {name}"
        inside = "within" if (tile.distance or 0) <= target.tolerance else "outside"
        return (
            f"{name}, {plain_number(tile.distance or 0.0, 2)} CIEDE2000 from the wanted {target.asked}, {inside} the "
            f"tolerance of {plain_number(target.tolerance)}"
        )

    def unknown(self) -> list[str]:
        """Say what these tiles do not tell."""
        said = list(self.not_yet) + list(self.notes)
        for one in self.responses.values():
            said += [caution for caution in one.cautions if caution not in said]
        metal = self.study.metal
        on = f" on {metal.uns}{f', sheet lot {metal.lot}' if metal.lot else ''}" if metal.uns else ""
        said.append(f"All of this holds {self._where()}{on}; nothing here speaks for other settings.")
        return said

    def _where(self) -> str:
        """Name the settings that the analysed tiles really had: "for strength 1 to 9 g/L, at scrub cycles 4"."""
        analysed = [tile for tile in self.tiles if tile.lab is not None or tile.grades or tile.values] or self.tiles
        varied, alike = [], []
        for factor in self.study.factors:
            made = {tile.settings[factor.name] for tile in analysed}
            levels = [level for level in factor.levels if level in made]
            numbers = sorted(one for one in made if not isinstance(one, str))
            named = [*levels, *sorted(str(one) for one in made if isinstance(one, str) and one not in levels)]
            if not factor.scaled or not numbers:
                shown = [show(one, factor) for one in (numbers or named)]
            else:
                shown = list(dict.fromkeys(show(one, factor) for one in (numbers[0], numbers[-1])))
            if len(shown) < 2:
                alike.append(f"{factor.label} {''.join(shown)}")
            elif factor.scaled and numbers:
                first = show_number(numbers[0], factor)
                varied.append(f"{factor.label} {first} to {show(numbers[-1], factor)}")
            else:
                shown = [show_number(one, factor) for one in numbers[:-1]] + shown[-1:] if numbers else shown
                varied.append(f"{factor.label} {listed(shown)}")
        parts = [f"for {listed(varied)}"] if varied else []
        return ", ".join([*parts, *([f"at {listed(alike)}"] if alike else [])])

    def table(self) -> str:
        """Return all tests as an aligned table, for those who want the numbers."""
        head = ("response", "term", "judged by", "change", "95 % range", "df", "ddf", "F", "p", "verdict")
        rows = [head]
        for one in self.responses.values():
            label = f"{one.label} ({show_unit(one.unit)})" if one.kind == "number" and one.unit else one.label
            for term in one.terms:
                unit = f" {term.unit}" if one.kind not in ("number", "grade") else ""
                span = "" if term.low is None or term.high is None else f"{_signed(term.low)} to {_signed(term.high)}"
                numbers = (
                    "" if term.ddf is None else f"{term.ddf:.1f}",
                    "" if term.F is None else f"{term.F:.2f}",
                    "" if term.p is None else (f"{term.p:.3f}" if term.p >= 0.0005 else "<0.001"),
                )
                name = term.term.replace("_", " ").replace(" x ", " × ")
                verdict: str = f"{term.verdict}; see its bend" if one.bend_instead(term.term) else term.verdict
                judged = {"batch": self.word, "session": "session", "tile": "tile"}[term.set_per]
                rows.append(
                    (
                        label,
                        name,
                        judged,
                        f"{_signed(term.effect)}{unit}",
                        span,
                        str(term.df),
                        *numbers,
                        verdict,
                    )
                )
        widths = [max(len(row[i]) for row in rows) for i in range(len(head))]
        lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
        note = (
            "df, ddf: how many separate comparisons the effect and its noise rest on; F: effect against noise; p: how often "
            "chance alone would look as strong."
        )
        return "\n".join([*lines, note])

    def as_dict(self) -> dict[str, Any]:
        """Return the findings as plain values with stable keys."""
        return {
            "study": self.study.name,
            "stage": self.stage,
            "factors": [
                {"name": f.name, "unit": f.unit, "shown": f.shown, "set_per": f.set_per, "spacing": f.spacing}
                for f in self.study.factors
            ],
            "responses": {name: one.as_dict() for name, one in self.responses.items()},
            "colour_changes": [effect.as_dict() for effect in self.colour_changes],
            "best": None if self.best is None else {"tile": self.best.tile, "settings": dict(self.best.settings)},
            "not_known": self.unknown(),
        }


def heading(one: ResponseFindings) -> str:
    """Head the sentences of one response: ``Durability (dry rub grade)``."""
    if one.kind == "grade":
        return f"Durability ({one.label})"
    label = one.label[0].upper() + one.label[1:]
    return f"{label} ({show_unit(one.unit)})" if one.unit else label


def _signed(value: float) -> str:
    return ("+" if value > 0 else "") + significant(value, 3)


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
) -> StudyFindings:
    """Analyse everything recorded of a study.

    Parameters
    ----------
    word : str
        What the bench calls a batch.
    stage : str, optional
        Stage of the colour readings; the study's own by default.

    Raises
    ------
    NotEnoughError
        When nothing at all can be analysed yet.
    """
    stage = stage or study.stage
    readings, values, rubs = list(readings), list(values), list(rubs)
    tiles = tiles_as_made(study, plan, made, logs)
    colours = colour_frame(tiles, readings, stage)
    responses: dict[str, ResponseFindings] = {}
    not_yet: list[str] = []

    def try_one(frame: pd.DataFrame, spec: ResponseSpec) -> None:
        try:
            responses[spec.name] = analyse(frame, study.factors, spec, show=show, batch_word=word, study=study.name)
        except NotEnoughError as error:
            if str(error) not in not_yet:
                not_yet.append(str(error))

    if study.target or readings:
        try_one(colours.assign(y=colours["L"]), colour_spec("L", stage))
        if "L" in responses:
            try_one(colours.assign(y=colours["a"]), colour_spec("a", stage))
            try_one(colours.assign(y=colours["b"]), colour_spec("b", stage))
            if study.target and study.target.lab is not None:
                distance = ciede2000(colours[["L", "a", "b"]].to_numpy(dtype=float), study.target.lab)
                try_one(colours.assign(y=distance), distance_spec(study.target.asked, stage))
    for condition in study.rub.conditions if study.rub else ():
        passing = study.rub.passing if study.rub else None
        try_one(rub_frame(tiles, rubs, condition), grade_spec(condition, passing))
    for response in study.responses:
        try_one(value_frame(tiles, values, response.name), number_spec(response))
    if not responses:
        raise NotEnoughError("\n".join(not_yet) or "This study asks for no colour, no rub test and no other response.")
    changes: tuple[ColourEffect, ...] = ()
    if all(name in responses for name in ("L", "a", "b")):
        changes = colour_effects(responses["L"], responses["a"], responses["b"], ciede2000)
    seen = _tiles_seen(study, tiles, colours, values, rubs)
    return StudyFindings(
        study,
        plan,
        stage,
        seen,
        responses,
        changes,
        _best(study, seen),
        tuple(not_yet),
        word,
        _actual_notes(study, plan, tiles),
    )


def _tiles_seen(
    study: Study, tiles: pd.DataFrame, colours: pd.DataFrame, values: list[Value], rubs: list[Rub]
) -> tuple[TileSeen, ...]:
    mean = zip(colours["tile"], colours[["L", "a", "b"]].to_numpy(dtype=float), strict=True)
    labs: dict[str, Lab] = {str(code): (float(L), float(a), float(b)) for code, (L, a, b) in mean}
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
        if lab is not None and study.target is not None:
            distance = lab[0] if study.target.lab is None else float(ciede2000(lab, study.target.lab))
        settings = {factor.name: row[factor.name] for factor in study.factors}
        measured = {
            response.name: fmean(given)
            for response in study.responses
            if (given := [one.value for one in values if one.tile == code and one.response == response.name])
        }
        seen.append(
            TileSeen(code, str(row["batch"]), settings, lab, grades, passes, distance, bool(row["reference"]), measured)
        )
    return tuple(seen)


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
