"""What tiles about a choice buy: the width of the range there, before and after, under the noise reckoned with."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import stdtrit

from tilestudy.design.appraise import Noise, block_sd, fit_of, least_favourable
from tilestudy.design.extend.near import said_of_term, term_named
from tilestudy.design.terms import Floats, Model, Term, model_of, rank
from tilestudy.study.language import capital, plural
from tilestudy.study.records import Plan, Setting, Study, study_as_planned
from tilestudy.study.units import plain_number, show_settings

LEAST_GAIN = 0.03
"""Narrowing of a range that is worth a sentence of its own (our own choice)."""


@dataclass(frozen=True)
class Width:
    """Expected half-width of a 95 % range before and after, in the noise's unit; None where nothing can be told."""

    before: float | None
    after: float | None


def width_at(study: Study, before: Plan, after: Plan, noise: Noise, settings: Mapping[str, Setting]) -> Width:
    """Return the half-width of the range of the predicted mean at settings, before and after tiles were added.

    The terms are those that the tiles before can tell, so that both widths are of one model. The luck of a day is not
    reckoned apart from that of its batches.
    """
    had = _names(study, before)
    study = study_as_planned(study, after)
    if any(not one.scaled and settings.get(one.name) not in one.levels for one in study.factors):
        return Width(None, None)  # a named level that no tile has
    full = model_of(study, after)
    mains = {term.name for term in full.terms if term.kind == "main"}
    model = _only(full, had) if mains <= had else full
    model = replace(model, session=np.ones((len(model.X), 1)))
    row = model.row(dict(settings))

    def half(model: Model) -> float | None:
        if not len(model.X) or rank(np.vstack([model.X, row])) > rank(model.X):
            return None
        fit = fit_of(model, noise, 0.0)
        return float(stdtrit(max(fit.ddf(row), 1.0), 0.975) * np.sqrt(row @ fit.covariance @ row))

    return Width(half(_with_tiles(model, after, before)), half(model))


def width_of(study: Study, before: Plan, after: Plan, noise: Noise, name: str) -> Width:
    """Return the half-width of the range of a term's effect: a change, a bend, or how much a change differs."""
    had, asked = _names(study, before), term_named(study, name)
    study = study_as_planned(study, after)
    full = model_of(study, after)
    model = _only(full, had | {one.name for one in full.terms if term_named(study, one.name) == asked})
    term = next((one for one in model.terms if term_named(study, one.name) == asked), None)
    if term is None:
        return Width(None, None)
    return Width(_half_of(_with_tiles(model, after, before), term, noise), _half_of(model, term, noise))


def _names(study: Study, plan: Plan) -> set[str]:
    """Names of the terms that a plan's tiles can tell."""
    return {term.name for term in model_of(study_as_planned(study, plan), plan).terms} if plan.tiles else set()


def _only(model: Model, names: Collection[str]) -> Model:
    """Return the model with the terms of these names alone."""
    kept, columns = [], [0]
    for term in model.terms:
        if term.name in names:
            kept.append(replace(term, columns=tuple(range(len(columns), len(columns) + len(term.columns)))))
            columns += term.columns
    return replace(model, terms=tuple(kept), X=model.X[:, columns])


def _half_of(model: Model, term: Term, noise: Noise) -> float | None:
    rest = [column for column in range(model.X.shape[1]) if column not in term.columns]
    if not len(model.X) or rank(model.X, model.session) < rank(model.X[:, rest], model.session) + len(term.columns):
        return None
    fit = fit_of(model, noise, block_sd(model, noise))
    hardest, strength = least_favourable(model, term, fit)
    contrast = np.zeros(model.X.shape[1])
    contrast[list(term.columns)] = hardest
    return float(stdtrit(max(fit.ddf(contrast), 1.0), 0.975) / np.sqrt(strength))


def _with_tiles(model: Model, plan: Plan, part: Plan) -> Model:
    """Return the model with the rows of those tiles alone, coded as before."""
    codes = {tile.code for tile in part.tiles}
    kept = np.array([tile.code in codes for tile in plan.tiles], dtype=bool)

    def used(columns: Floats) -> Floats:
        part = columns[kept]
        return np.asarray(part[:, part.any(axis=0)])

    return replace(model, X=model.X[kept], batch=used(model.batch), session=used(model.session))


def bought_near(
    study: Study,
    before: Plan,
    after: Plan,
    noise: Noise,
    near: Sequence[Mapping[str, Setting]] = (),
    unsure: Sequence[str] = (),
    word: str = "batch",
) -> list[str]:
    """Say what the added tiles buy at the settings and of the terms that are undecided.

    Parameters
    ----------
    study : Study
    before, after : Plan
        The usable tiles without and with what is added.
    noise : Noise
        Standard deviations reckoned with.
    near, unsure
        As in `Request`.
    word : str
        What the bench calls a batch.

    Returns
    -------
    list of str
        A sentence for each.
    """
    said = []
    for settings in near:
        found = width_at(study, before, after, noise, settings)
        said.append(f"At {show_settings(settings, study)}: {_told(found, noise, 'the mean of tiles made there')}")
    for name in unsure:
        what = said_of_term(study, term_named(study, name))
        said.append(capital(_told(width_of(study, before, after, noise, name), noise, what)))
    if said:
        said[-1] += f" This reckons with the noise of {_amount(noise.batch, noise)} between {plural(word)} and "
        said[-1] += f"{_amount(noise.tile, noise)} between tiles."
    return said


def _told(found: Width, noise: Noise, what: str) -> str:
    if found.after is None:
        return f"{what} will still not be told with these tiles."
    if found.before is None:
        return f"{what} could not be told before; now its 95 % range would be about ±{_amount(found.after, noise)}."
    less = 1 - found.after / found.before
    if less < LEAST_GAIN:
        return (
            f"the 95 % range of {what} would stay about ±{_amount(found.before, noise)}: these tiles add little there."
        )
    return (
        f"the 95 % range of {what} would narrow from about ±{_amount(found.before, noise)} to "
        f"±{_amount(found.after, noise)} ({100 * less:.0f} % narrower)."
    )


def _amount(value: float, noise: Noise) -> str:
    unit = noise.unit if noise.of else "times the difference between tiles made alike"
    return f"{plain_number(value, 2)} {unit}".rstrip()
