"""What the tiles of one study say, all responses together: colour, durability, declared responses; the best tile seen;
what is still not known.

Pure: from records to a `StudyFindings`. Stages are never pooled, dry and wet rubs never mixed, hues never averaged.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from tilestudy.analysis.colour.as_one import ColourFindings
from tilestudy.analysis.colour.responses import CHROMA_EXPLAINED, MOTTLE_BY_PHOTO, MOTTLE_EXPLAINED
from tilestudy.analysis.colour.series import Series
from tilestudy.analysis.findings import ResponseFindings
from tilestudy.analysis.numbers import significant
from tilestudy.analysis.trust.lenth import Unreplicated
from tilestudy.analysis.trust.records import Trust
from tilestudy.analysis.trust.wording import study_sentences
from tilestudy.analysis.wear.agreement import Agreement
from tilestudy.analysis.wear.photo_grades import PhotoGrades
from tilestudy.colour.names import name_of
from tilestudy.study.language import capital, columns, listed
from tilestudy.study.records import Lab, Plan, Setting, Study
from tilestudy.study.units import plain_number, show, show_number, show_settings, show_unit

MainColour = tuple[float, float, float, float]
"""One of a tile's main colours as a photo shows them: CIE L*, a*, b* and its share of the tile."""


@dataclass(frozen=True)
class TileSeen:
    """One tile as it came out.

    Settings as made; mean colour or None; median grade by rub condition; passed or not, None while not rubbed;
    `distance` from the target (CIEDE2000, or L* where the wish is "as dark as possible"); mean of each declared response;
    `colours`: its main ones, the largest first, where a photo sees two or more.
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
    colours: tuple[MainColour, ...] = ()


BESIDE = ("chroma", "mottle", "drift_L", "drift", "stage")
"""Responses that nobody asked for by name: told in full only where a factor stands out."""

EXPLAINED = {"chroma": CHROMA_EXPLAINED, "mottle": MOTTLE_EXPLAINED}


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
        By name: L, a, b, to_target, chroma, mottle, drifts, stage, rub_dry, rub_wet (rub_dry_2: its second round), strokes,
        and the declared ones.
    colour : ColourFindings or None
        Colour as one thing.
    best : TileSeen or None
        The tile nearest the target among those that pass.
    not_yet : tuple of str
        Responses that could not be analysed, with the reason.
    made, colours : frame
        The tiles as made, and those with a mean colour.
    trusts : mapping of str to Trust
        How far the model of a response can be trusted, by its name.
    agreements : mapping of str to Agreement
        How far scorers agree, by the name of the response.
    single : mapping of str to Unreplicated
        Responses judged by Lenth's method, since nothing was made twice.
    series : Series
        How the colours were measured.
    cloths : mapping of str to PhotoGrades
        Cloths graded by photo beside the scorers, by the name of the rub response.
    """

    study: Study
    plan: Plan
    stage: str
    tiles: tuple[TileSeen, ...]
    responses: Mapping[str, ResponseFindings]
    colour: ColourFindings | None
    best: TileSeen | None
    not_yet: tuple[str, ...]
    word: str = "batch"
    notes: tuple[str, ...] = field(default=())
    made: pd.DataFrame = field(default_factory=pd.DataFrame, repr=False)
    colours: pd.DataFrame = field(default_factory=pd.DataFrame, repr=False)
    trusts: Mapping[str, Trust] = field(default_factory=dict)
    agreements: Mapping[str, Agreement] = field(default_factory=dict)
    single: Mapping[str, Unreplicated] = field(default_factory=dict)
    series: Series = field(default_factory=Series)
    cloths: Mapping[str, PhotoGrades] = field(default_factory=dict)

    def told(self) -> list[str]:
        """Names of the responses told in full: not a* and b*, which stand in the table, nor what was looked at in vain."""
        return [
            name
            for name, one in self.responses.items()
            if name not in ("a", "b") and (name not in BESIDE or _stands_out(one))
        ]

    def blocks(self) -> list[Block]:
        """Return headings with plain sentences: colour, durability, declared responses, the best tile, cautions."""
        found = []
        if "L" in self.responses:
            found.append(Block(f"Colour ({self.stage})", tuple(self.colour_sentences())))
        for name in self.told():
            if name == "L":
                continue
            one = self.responses[name]
            agreed = self.agreements[name].sentences() if name in self.agreements else ()
            graded = self.cloths[name].sentences() if name in self.cloths else ()
            found.append(Block(heading(one), (*self._explained(name), *one.sentences, *agreed, *graded)))
        if alone := [
            cloth for name, one in self.cloths.items() if name not in self.responses for cloth in one.sentences()
        ]:
            found.append(Block("Cloths graded by photo", tuple(alone)))
        found += [
            Block(f"{capital(lone.spec.label)}: nothing was made twice", lone.sentences())
            for lone in self.single.values()
        ]
        if quiet := [one.label for name, one in self.responses.items() if name in BESIDE and not _stands_out(one)]:
            found.append(Block("Also looked at", (f"No factor stands out from the noise in {listed(quiet)}.",)))
        found.append(Block("Look again at", tuple(self.look_again())))
        if self.best_sentences():
            found.append(Block("Best tile seen", tuple(self.best_sentences())))
        found.append(Block("What to keep in mind", tuple(self.unknown())))
        return [block for block in found if block.sentences]

    def _explained(self, name: str) -> tuple[str, ...]:
        """Say what a response is that nobody asked for by name."""
        if name == "mottle" and self.series.mottle_by_photo:
            return (MOTTLE_BY_PHOTO,)
        return (EXPLAINED[name],) if name in EXPLAINED else ()

    def colour_sentences(self) -> list[str]:
        """Say how far each factor moves the colour as one thing, then what lightness does; a* and b* stand in the table."""
        whole = self.colour.sentences() if self.colour is not None else []
        return [*whole, *(one for one in self.responses["L"].sentences if one not in whole)]

    def look_again(self) -> list[str]:
        """Say which tiles, batches or zones make the models doubtful, each once."""
        return list(study_sentences(list(self.trusts.values())))

    @property
    def measured(self) -> bool:
        """True when colours were read."""
        return any(tile.lab is not None for tile in self.tiles)

    def best_sentences(self) -> list[str]:
        """Say which tile came nearest the wish among those that pass, and with which settings."""
        study = self.study
        if study.target is None and study.rub is None:
            return []
        if self.series.relative:
            return []  # nobody knows how near any tile is
        if self.best is None:
            if study.rub is None or not any(tile.grades for tile in self.tiles):
                return []
            passing = plain_number(study.rub.passing)
            return [
                f"No tile passed: none has a median rub grade of {passing} or better with a colour reading beside it."
            ]
        best = self.best
        settings = show_settings(best.settings, study)
        sentences = [f"Tile {best.tile} ({settings}; {self.word} {best.batch}) comes nearest: {self.how_close(best)}."]
        if best.grades:
            graded = listed([f"{plain_number(grade)} {condition}" for condition, grade in best.grades.items()])
            passing = f"; {plain_number(study.rub.passing)} or better passes" if study.rub else ""
            sentences.append(f"Its median rub grade is {graded}{passing}.")
        if len(best.colours) > 1:
            parts = [f"{name_of(one[:3])} ({100 * one[3]:.0f} %)" for one in best.colours]
            sentences.append(f"It is not of one colour: {listed(parts)} in the photo.")
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
        error = self.series.error or 0.0
        unsure = f" (the measurement's own error of about {plain_number(error, 2)} may decide that)"
        return (
            f"{name}, {plain_number(tile.distance or 0.0, 2)} CIEDE2000 from the wanted {target.asked}, {inside} the "
            f"tolerance of {plain_number(target.tolerance)}"
            f"{unsure if abs((tile.distance or 0.0) - target.tolerance) < error else ''}"
        )

    def unknown(self) -> list[str]:
        """Say what these tiles do not tell."""
        said = [*(self.series.sentences() if self.measured else ()), *self.not_yet, *self.notes]
        if self.colour is not None:
            said += self.colour.cautions()
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

    def table(self, everything: bool = False) -> str:
        """Return the tests as an aligned table, for those who want the numbers; `everything`: of what was quiet too."""
        head = ("response", "term", "judged by", "change", "95 % range", "df", "ddf", "F", "p", "verdict")
        rows = [head, *(self.colour.rows() if self.colour is not None else [])]
        for one in self.responses.values():
            if one.name in BESIDE and not _stands_out(one) and not everything:
                continue
            label = f"{one.label} ({show_unit(one.unit)})" if one.kind == "number" and one.unit else one.label
            for term in one.terms:
                unit = "" if one.kind in ("number", "strokes") else f" {term.unit}"
                written = _times if one.kind == "strokes" else _signed
                span = "" if term.low is None or term.high is None else f"{written(term.low)} to {written(term.high)}"
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
                        f"{written(term.effect)}{unit}",
                        span,
                        str(term.df),
                        *numbers,
                        verdict,
                    )
                )
        lines = columns(rows)
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
            "series": self.series.as_dict() if self.measured else None,
            "factors": [
                {"name": f.name, "unit": f.unit, "shown": f.shown, "set_per": f.set_per, "spacing": f.spacing}
                for f in self.study.factors
            ],
            "responses": {name: one.as_dict() for name, one in self.responses.items()},
            "colour": None if self.colour is None else self.colour.as_dict(),
            "agreement": {name: one.as_dict() for name, one in self.agreements.items()},
            "cloths": {name: one.as_dict() for name, one in self.cloths.items()},
            "look_again": self.look_again(),
            "best": None if self.best is None else {"tile": self.best.tile, "settings": dict(self.best.settings)},
            "not_known": self.unknown(),
        }


def heading(one: ResponseFindings) -> str:
    """Head the sentences of one response: ``Durability (dry rub grade)``."""
    if one.kind == "grade":
        return f"Durability ({one.label})"
    label = capital(one.label)
    return f"{label} ({show_unit(one.unit)})" if one.unit else label


def _stands_out(one: ResponseFindings) -> bool:
    """Tell whether a factor clearly moves the response."""
    return any(term.verdict == "drives" for term in one.terms)


def _times(value: float) -> str:
    """Write a ratio: ×0.42."""
    return f"×{significant(value, 3)}"


def _signed(value: float) -> str:
    return ("+" if value > 0 else "") + significant(value, 3)
