"""From a study's findings to chosen settings, in sentences: what counts as right, the choice, what each wish costs.

With wishes in the study file, settings may be chosen by how far all wishes are met together instead (`desirability`); the
chance of being right is then one wish among them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from tilestudy.analysis.choice.chance import AlwaysAlike, Judge, Right, in_100
from tilestudy.analysis.choice.chooser import DISTINCT, MOST_OPTIONS, Chooser, Evidence, Option, Price
from tilestudy.analysis.choice.desirability import met, overall
from tilestudy.analysis.choice.region import gap
from tilestudy.analysis.choice.surface import surface_of
from tilestudy.analysis.choice.surface_wording import shape_told
from tilestudy.analysis.colour.series import Series
from tilestudy.analysis.findings import ResponseFindings
from tilestudy.analysis.model import CodedModel
from tilestudy.analysis.study_findings import StudyFindings, TileSeen
from tilestudy.errors import NotEnoughError
from tilestudy.study.language import count, listed, plural
from tilestudy.study.records import Setting, Study, Wish
from tilestudy.study.units import plain_number, show, show_settings, show_unit

LEAST_CHANCE = 0.15
"""Chance below which a choice is told as none."""


@dataclass(frozen=True)
class Wished:
    """An option chosen by all wishes together: how far they are met (0 to 1), and each wish's predicted value."""

    option: Option
    met: float
    values: Mapping[str, float]


@dataclass(frozen=True)
class Choice:
    """Chosen settings of a study.

    Attributes
    ----------
    options : tuple of Option
        The best first; distinct.
    prices : tuple of Price
        The best chance with one wish relaxed.
    wished : tuple of Wished
        By all wishes of the study file together; empty unless asked for.
    shape : tuple of str
        Where the best lies on the surface: a ridge, an edge.
    notes : tuple of str
    tiles : tuple of TileSeen
        As they came out, for the chart.
    series : Series
        How their colours were measured.
    """

    study: Study
    word: str
    stage: str
    right: Right
    conditions: tuple[str, ...]
    n_tiles: int
    n_batches: int
    options: tuple[Option, ...]
    prices: tuple[Price, ...]
    wished: tuple[Wished, ...] = ()
    shape: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    tiles: tuple[TileSeen, ...] = ()
    series: Series = field(default_factory=Series)

    @property
    def hopeful(self) -> bool:
        """True when the best settings have some chance of being right, so that confirming them is worth the metal."""
        return bool(self.wished) or not self.right.asks or self.options[0].chance >= LEAST_CHANCE

    def all_options(self) -> tuple[Option, ...]:
        """The options in the order they are numbered."""
        return tuple(one.option for one in self.wished) if self.wished else self.options

    def sentences(self) -> list[str]:
        """Say what counts as right, the choice and its alternatives, the price of each wish, and what comes next."""
        said = [right_told(self.study, self.right, self.conditions, self.stage)] if self.right.asks else []
        options = self.all_options()
        if not self.hopeful:
            said.append(
                f"No setting of the studied region is likely to give that. The nearest is {self._option(options[0])}"
            )
        else:
            said += [
                f"{'Choice' if i == 0 else 'Or'} {i + 1}: {self._option(option)}{self._wishes_met(i)}"
                for i, option in enumerate(options)
            ]
        if self.right.asks:
            said.append(self._ranges())
        said += self._prices()
        said += self.shape
        return [*said, *self.notes]

    def _ranges(self) -> str:
        return (
            f"A range in brackets would hold the true number in about 90 of 100 such studies; these rest on "
            f"{count(self.n_tiles, 'tile')} from {count(self.n_batches, self.word)}."
        )

    def _option(self, option: Option) -> str:
        where = show_settings(option.settings, self.study)
        if not self.right.asks:
            return f"{where}."
        text = (
            f"{where}. Of 100 tiles made so, each in a fresh {self.word}, {in_100(option.chance)} would be right "
            f"({in_100(option.low)} to {in_100(option.high)})"
        )
        parts = []
        if option.colour is not None and option.durable is not None:
            parts.append(f"the colour in {in_100(option.colour)}, the rub test in {in_100(option.durable)}")
        if option.lab is not None:
            parts.append(f"to expect: {option.colour_told()}")
        return text + ("; " + "; ".join(parts) if parts else "") + "."

    def _wishes_met(self, i: int) -> str:
        if not self.wished:
            return ""
        one = self.wished[i]
        told = [f"{wish_label(self.study, name)} {plain_number(value)}" for name, value in one.values.items()]
        return f" All wishes together are met to {100 * one.met:.0f} % ({listed(told)})."

    def _prices(self) -> list[str]:
        best = self.options[0].chance
        said = []
        for price in self.prices:
            if price.chance < best + 0.05:
                continue
            if price.tolerance > self.right.tolerance:
                unit = "CIEDE2000" if self.right.lab is not None else "L*"
                wish = f"Accepting a colour {plain_number(price.tolerance)} {unit} off"
            else:
                wish = f"Accepting a rub grade of {plain_number(price.passing or 0.0)}"
            said.append(
                f"{wish} would raise that from {in_100(best)} to {in_100(price.chance)} of 100, at "
                f"{show_settings(price.settings, self.study)}."
            )
        if self.prices and not said:
            said.append("Relaxing one wish by itself would raise the chance by less than 5 in 100.")
        return said

    def as_dict(self) -> dict[str, Any]:
        """Return the choice as plain values with stable keys."""
        return {
            "study": self.study.name,
            "stage": self.stage,
            "series": self.series.as_dict() if self.right.asks_colour else None,
            "right": {
                "lab": None if self.right.lab is None else list(self.right.lab),
                "darkest": self.right.darkest,
                "tolerance": self.right.tolerance,
                "passing": self.right.passing,
                "conditions": list(self.conditions),
            },
            "options": [option.as_dict() for option in self.all_options()],
            "prices": [
                {"tolerance": p.tolerance, "passing": p.passing, "chance": p.chance, "settings": dict(p.settings)}
                for p in self.prices
            ],
            "wishes": [{"met": one.met, "values": dict(one.values)} for one in self.wished],
            "sentences": self.sentences(),
        }


def right_told(study: Study, right: Right, conditions: Sequence[str], stage: str) -> str:
    """Say what counts as right."""
    parts = []
    if right.lab is not None and study.target is not None:
        parts.append(f"within {plain_number(right.tolerance)} CIEDE2000 of {study.target.asked} ({stage})")
    elif right.darkest is not None:
        limit = right.darkest + right.tolerance
        parts.append(
            f"L* {limit:.0f} or darker ({stage}): at most {plain_number(right.tolerance)} above the darkest that the studied "
            f"settings give on average"
        )
    if right.passing is not None and conditions:
        parts.append(f"a {listed(list(conditions))} rub grade of {plain_number(right.passing)} or better")
    return f"Right means {listed(parts)}."


def evidence_of(found: StudyFindings, by_wishes: bool = False) -> tuple[Evidence, tuple[str, ...], list[str]]:
    """Gather what settings are chosen from, the rub conditions that count, and what has to be left out.

    With `by_wishes` a study that asks for no colour and no rub test is chosen from what its wishes are about.

    Raises
    ------
    NotEnoughError
        When the study asks for nothing to choose by, or what it asks for cannot be analysed yet.
    """
    study = found.study
    notes: list[str] = []
    lab_model = found.responses["L"].model if "L" in found.responses else None
    conditions: list[str] = []
    judges: dict[str, tuple[CodedModel, Judge]] = {}
    for condition in study.rub.conditions if study.rub else ():
        one = found.responses.get(f"rub_{condition}")
        if one is None:
            notes.append(
                f"No {condition} rub grades can be judged yet, so durability by the {condition} rub is left out."
            )
            continue
        conditions.append(condition)
        judges[condition] = (one.model, _judge(one))
        if one.chances is not None and not one.ranged and one.model.spare["batch"] < 1:
            notes.append(
                f"How much the luck of a {found.word} moves the {condition} rub grade was not measured, so the chance to pass is "
                f"told as if it moved nothing: make further {plural(found.word)}."
            )
    wants_colour = study.target is not None and lab_model is not None
    if wants_colour and found.series.relative:
        raise NotEnoughError(
            f"The {found.stage} colours of {study.name} come from a photo without reference patches: it tells tiles of that photo "
            "apart, but not which colour they have, so no settings can be chosen by it. Photograph the tray again with reference "
            f'patches in it ("tilestudy photo {study.name} PHOTO --references FILE"; a grey card at least), or measure the tiles '
            f'with an instrument ("tilestudy colour {study.name}").'
        )
    if study.target is not None and lab_model is None:
        notes.append("No colours can be judged yet, so the wanted colour is left out.")
    wished = [found.responses[wish.of] for wish in study.wishes if wish.of in found.responses] if by_wishes else []
    if not wants_colour and not judges and not wished:
        raise NotEnoughError(_nothing_to_choose_by(study))
    right = Right(passing=study.rub.passing if judges and study.rub else None)
    if wants_colour and study.target is not None:
        lab = study.target.lab
        right = Right(lab, None if lab is not None else 0.0, study.target.tolerance, right.passing)
    if wants_colour and lab_model is not None:
        model, tiles = lab_model, found.colours
    else:
        model = next(iter(judges.values()))[0] if judges else wished[0].model
        with_results = {tile.tile for tile in found.tiles if tile.grades or tile.values or tile.lab is not None}
        tiles = found.made.loc[found.made["tile"].isin(sorted(with_results))]
    along = found.colour.stages if wants_colour and found.colour is not None else None
    known = tiles.loc[tiles[list(model.codings)].notna().all(axis=1)]
    if wants_colour:
        notes += _measured_how(found)
    error = found.series.error if wants_colour else None
    return Evidence(study, known.reset_index(drop=True), model, right, judges, along, error), tuple(conditions), notes


def _measured_how(found: StudyFindings) -> list[str]:
    """Say what the measurement of the colours means for a choice, where it does."""
    series, target = found.series, found.study.target
    said = []
    if series.name:
        said.append(f'Colours are those of series "{series.name}".')
    if series.error is not None and target is not None and target.lab is not None:
        error = plain_number(series.error, 2)
        said.append(
            f"Colours were measured to about {error} CIEDE2000{', with a grey card only' if series.coarse else ''}; these chances "
            f"are of the true colour and have that in them{'.' if series.error < target.tolerance / 2 else _MEASURE_BETTER}"
        )
    return said


_MEASURE_BETTER = (
    ". It is a good part of the tolerance: reference patches in the photo, or an instrument, would make them surer."
)


def _nothing_to_choose_by(study: Study) -> str:
    if study.target or study.rub:
        return (
            f"There is nothing to choose by: {study.name} needs a target colour with readings, or a rub test with grades. "
            f'See what is recorded with "tilestudy drivers {study.name}".'
        )
    return (
        f"{study.name} asks for no colour and no rub test, so no setting can be right or wrong. Write a [colour] target or a [rub] into "
        f'the study file; or say with [[wish]] what is wanted of a response, and type "tilestudy choose {study.name} --wishes".'
    )


def _judge(one: ResponseFindings) -> Judge:
    if one.chances is not None:
        return one.chances.fit
    return AlwaysAlike(one.constant or 0.0, one.n_batches)


def choose(found: StudyFindings, rng: np.random.Generator, by_wishes: bool = False) -> Choice:
    """Choose settings over the studied region.

    Parameters
    ----------
    found : StudyFindings
    rng : numpy Generator
        Draws plausible truths.
    by_wishes : bool
        Rank by all wishes of the study file together.

    Raises
    ------
    NotEnoughError
        When there is nothing to choose by, all tiles come from one batch, or wishes are asked for and there are none.
    """
    evidence, conditions, notes = evidence_of(found, by_wishes)
    study, word = found.study, found.word
    if evidence.tiles["batch"].nunique() < 2:
        raise NotEnoughError(
            f"All tiles come from one {word}, so how far a fresh {word} would differ is not known, and no chance can be "
            f'given. Make a second one: "tilestudy extend {study.name} --batches 1".'
        )
    chooser = Chooser(evidence, rng)
    options = tuple(chooser.best(MOST_OPTIONS))
    wished: tuple[Wished, ...] = ()
    if by_wishes:
        wished = _by_wishes(found, chooser)
    for stratum in ("batch", "session"):
        lucky = [
            study.factor(term.factors[0]).label
            for term in evidence.model.terms
            if term.kind == "main" and term.set_per == stratum and evidence.model.spare[term.set_per] < 1
        ]
        if lucky:
            unit = word if stratum == "batch" else "session"
            notes.append(
                f"Each setting of {listed(lucky)} had one {unit} only, so the luck of a {unit} is guessed, not measured: take "
                "these chances with care."
            )
    if found.look_again():
        notes.append(
            f'Some tiles or settings make the models doubtful, and these chances with them: see "Look again at" in "tilestudy '
            f'drivers {study.name}" first.'
        )
    return Choice(
        study,
        word,
        found.stage,
        chooser.right,
        conditions,
        len(evidence.tiles),
        evidence.tiles["batch"].nunique(),
        options,
        tuple(chooser.prices()),
        wished,
        _shape(found, chooser),
        tuple(notes),
        found.tiles,
        found.series,
    )


def _shape(found: StudyFindings, chooser: Chooser) -> tuple[str, ...]:
    """Say where the best lies on the surface of closeness (or of lightness, where dark is wanted)."""
    one = found.responses.get("to_target") or (found.responses.get("L") if chooser.right.darkest is not None else None)
    if one is None:
        return ()
    surface = surface_of(one)
    if surface is None:
        return ()
    smallest = 1.0 if one.name == "to_target" else 2.0
    return tuple(shape_told(surface, chooser.settings, "lower", show, smallest))


def _by_wishes(found: StudyFindings, chooser: Chooser) -> tuple[Wished, ...]:
    study = found.study
    if not study.wishes:
        raise NotEnoughError(
            f"The study file of {study.name} has no [[wish]], so there is nothing beside colour and durability to weigh. Add "
            'one, such as: of = "scrub_cycles", good = 1, useless = 4.'
        )
    values = {wish.of: _predicted(found, wish, chooser.settings) for wish in study.wishes}
    each = [met(wish, values[wish.of]) for wish in study.wishes]
    weights = [wish.weight for wish in study.wishes]
    if chooser.right.asks:  # being right is one wish among them
        each, weights = [chooser.ranked(chooser.right)[0], *each], [1.0, *weights]
    d = overall(each, weights)
    kept: list[int] = []
    for i in np.argsort(-d, kind="stable"):
        if d[i] > 0 and all(
            gap(chooser.settings[i], chooser.settings[j], chooser.evidence.model) >= DISTINCT for j in kept
        ):
            kept.append(int(i))
        if len(kept) == MOST_OPTIONS:
            break
    if not kept:
        raise NotEnoughError(
            "No setting of the studied region meets all wishes: at each of them one wish at least is no use at all. Relax a "
            "[[wish]] (its useless value) in the study file."
        )
    told = chooser.options([chooser.settings[i] for i in kept], chooser.right)
    return tuple(
        Wished(option, float(d[i]), {name: float(one[i]) for name, one in values.items()})
        for i, option in zip(kept, told, strict=True)
    )


def _predicted(found: StudyFindings, wish: Wish, settings: Sequence[Mapping[str, Setting]]) -> np.ndarray:
    """Predicted value of what a wish is about, at each setting."""
    names = {factor.name for factor in found.study.factors}
    if wish.of in names:
        return np.array([float(one[wish.of]) for one in settings])
    one = found.responses.get(wish.of)
    if one is None:
        raise NotEnoughError(
            f'The wish of "{wish.of}" cannot be weighed: no value of it can be analysed yet. See "tilestudy drivers '
            f'{found.study.name}".'
        )
    if one.fit is None:
        return np.full(len(settings), one.constant or 0.0)
    return np.asarray(one.shift + one.scale * (one.model.matrix(pd.DataFrame(list(settings))) @ one.fit.beta))


def wish_label(study: Study, name: str) -> str:
    """Name of what a wish is about, with its unit."""
    for factor in study.factors:
        if factor.name == name:
            return f"{factor.label}{f' in {show_unit(factor.unit)}' if factor.unit else ''}"
    for response in study.responses:
        if response.name == name:
            return f"{response.label}{f' in {show_unit(response.unit)}' if response.unit else ''}"
    return name.replace("_", " ")
