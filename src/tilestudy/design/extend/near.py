"""The tiles that would teach most about what is undecided, and the tiles that confirm a choice.

Next: as the most telling tiles (`telling`), with what they are to tell narrowed from the whole range to the settings that the
choice lies between, one step around each included, and to the terms that could not be told apart: an I-optimal addition
with the moments taken there (Goos & Jones 2011, section 4.3.5, for the criterion). Confirm: all tiles at the one setting.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import replace

from tilestudy.design.appraise import Noise
from tilestudy.design.extend.common import Settings, shared
from tilestudy.design.extend.request import Request
from tilestudy.design.extend.room import Room
from tilestudy.design.extend.telling import CARRIED, beside, counted, days_of, richest, shared_out
from tilestudy.design.layout import Load
from tilestudy.design.optimal import Term
from tilestudy.errors import PlanError, WrongRequestError
from tilestudy.study.language import capital, count, listed
from tilestudy.study.records import Factor, Plan, Setting, Study
from tilestudy.study.units import show, show_settings

STEP = 0.125
"""One step around a setting, as a share of the factor's range along its own scale (our own choice)."""


def nearby(
    study: Study,
    plan: Plan,
    there: Mapping[str, list[Settings]],
    wanted: Request,
    noise: Noise,
    seed: int,
    fit: Room,
) -> tuple[list[list[Load]], list[str]]:
    """Choose the tiles that, with those there, tell most about the settings and terms that are undecided.

    Raises
    ------
    WrongRequestError
        When nothing is named as undecided, or a term is not known.
    PlanError
        When a setting lies beyond what the study spans or is ruled out, or the limits do not hold the tiles.
    """
    near = tuple(_within(study, settings) for settings in wanted.near)
    unsure = tuple(term_named(study, name) for name in wanted.unsure)
    if not near and not unsure:
        raise WrongRequestError(
            f"Nothing was named as undecided. For the tiles that tell most over the whole range type "
            f'"tilestudy extend {study.name} --tiles {wanted.tiles or 6}".'
        )
    problem = beside(study, plan, there, wanted, noise, fit)
    chosen_too = {
        name: tuple(sorted({*at_hand, *(float(one[name]) for one in near)}))
        for name, at_hand in problem.workable.items()
    }
    points = tuple(point for settings in near for point in around(study, settings))
    problem = replace(problem, workable=chosen_too, near=points, unsure=unsure)
    # how a colour comes out at the choice is asked, not only how it differs: days whose luck is free would say nothing of it
    level = bool(near) and not study.factors_set_per("session")
    chosen, model = richest(study, replace(problem, sessions=()) if level else problem, seed)
    about = [f"at {show_settings(settings, study)}, and a step around" for settings in near]
    about += [f"of {said_of_term(study, term)}" for term in unsure]
    says = [
        f"Beside {counted(problem)} these tell most {listed(about)} (I-optimal there, luck of {fit.word}{'' if level else ' and session'} taken "
        f"into account; actual settings where recorded), for {CARRIED[model]}."
    ]
    return days_of(study, chosen, problem.sessions, len(there)), says


def confirming(study: Study, wanted: Request, fit: Room) -> tuple[list[list[Load]], list[str]]:
    """Return so many tiles, all at the one setting, over fresh batches (two unless said otherwise).

    Raises WrongRequestError unless one setting is given, PlanError as `nearby`.
    """
    if len(wanted.near) != 1:
        raise WrongRequestError(
            f"{capital(count(len(wanted.near), 'setting')) if wanted.near else 'No setting'} to confirm: give one at a time."
        )
    settings = _within(study, wanted.near[0])
    tiles = wanted.tiles or 4
    batches = wanted.batches or min(2, tiles)
    room = study.limits.tiles_per_batch or 10**6
    whole = {factor.name for factor in shared(study)}
    of = {name: value for name, value in settings.items() if name in whole}
    own = {name: value for name, value in settings.items() if name not in whole}
    loads: list[Load] = [(of, [own] * size) for size in shared_out(tiles, batches, room, fit.word)]
    says = [f"Every tile is made at {show_settings(settings, study)}, as the handout will say: nothing else is varied."]
    if batches == 1:
        says.append(
            f"One {fit.word} cannot show how much the next will differ: two, fewer tiles in each, confirm more surely."
        )
    return fit.days(loads), says


def around(study: Study, settings: Mapping[str, Setting]) -> list[Settings]:
    """Return settings and those one step around them, one factor at a time, within the range and the rules.

    >>> dip = Factor("dip", (10.0, 90.0), "s", "s")
    >>> around(Study("s", "", "other", (dip,)), {"dip": 15.0})
    [{'dip': 15.0}, {'dip': 10.0}, {'dip': 25.0}]
    """
    found = [dict(settings)]
    for factor in study.factors:
        value = settings[factor.name]
        if not factor.scaled or isinstance(value, str):
            continue
        low, high = float(factor.levels[0]), float(factor.levels[-1])
        if factor.spacing == "geometric":
            by = (high / low) ** STEP
            steps = (max(low, value / by), min(high, value * by))
        else:
            by = (high - low) * STEP
            steps = (max(low, value - by), min(high, value + by))
        found += [{**settings, factor.name: one} for one in steps if one != value]
    return [one for one in found if study.allows(one)]


def term_named(study: Study, name: str) -> Term:
    """Return a term by its name in the findings; raises WrongRequestError for one that is not known.

    >>> dip, cycles = Factor("dip", (10.0, 90.0), "s", "s"), Factor("cycles", (1.0, 4.0))
    >>> [term_named(Study("s", "", "other", (dip, cycles)), name) for name in ("dip", "dip (bend)", "cycles x dip")]
    [('dip',), ('dip', 'dip'), ('dip', 'cycles')]
    """
    order = [factor.name for factor in study.factors]
    bend = name.endswith(" (bend)")
    names = name.removesuffix(" (bend)").split(" x ")
    strange = [one for one in names if one not in order]
    if strange:
        near = difflib.get_close_matches(strange[0], order, n=1)
        hint = f'Did you mean "{near[0]}"?' if near else f"Factors: {', '.join(order)}."
        raise WrongRequestError(f'"{strange[0]}" is no factor of {study.name}. {hint}')
    if len(names) > 2 or len(set(names)) < len(names) or (bend and len(names) > 1):
        raise WrongRequestError(
            f'"{name}" is no term: write a factor, "{order[0]} (bend)" or two factors with x between.'
        )
    return (names[0], names[0]) if bend else tuple(sorted(names, key=order.index))


def said_of_term(study: Study, term: Term) -> str:
    """Write a term for a sentence.

    >>> dip, cycles = Factor("dip_time", (10.0, 90.0), "s", "s"), Factor("cycles", (1.0, 4.0))
    >>> said_of_term(Study("s", "", "other", (dip, cycles)), ("dip_time", "cycles"))
    'how the effect of dip time depends on cycles'
    """
    labels = [study.factor(name).label for name in term]
    if len(term) == 1:
        return f"the effect of {labels[0]}"
    return f"the bend of {labels[0]}" if term[0] == term[1] else f"how the effect of {labels[0]} depends on {labels[1]}"


def _within(study: Study, settings: Mapping[str, Setting]) -> Settings:
    """Return settings in the study's order of factors, checked: every factor named, within its range, allowed together."""
    if strange := [name for name in settings if name not in {factor.name for factor in study.factors}]:
        raise WrongRequestError(f'"{strange[0]}" is no factor of {study.name}.')
    missing = [factor.label for factor in study.factors if factor.name not in settings]
    if missing:
        raise WrongRequestError(f"Give a setting of {listed(missing)} too: a tile needs one of every factor.")
    found = {factor.name: _checked(factor, settings[factor.name]) for factor in study.factors}
    if not study.allows(found):
        raise PlanError(
            f"{capital(show_settings(found, study))} is ruled out by [[never]] in the study file. Choose another."
        )
    return found


def _checked(factor: Factor, value: Setting) -> Setting:
    levels: Sequence[Setting] = factor.levels
    if not factor.scaled:
        if value not in levels:
            known = listed([show(one, factor) for one in levels], "or")
            raise PlanError(f"{capital(factor.label)} {value} is none of the study's levels. Choose {known}.")
        return value
    low, high = float(levels[0]), float(levels[-1])
    slack = 1e-9 * (high - low)
    if isinstance(value, str) or not low - slack <= value <= high + slack:
        shown = value if isinstance(value, str) else show(value, factor)
        raise PlanError(
            f"{capital(factor.label)} {shown} lies outside what the study spans, {show(low, factor)} to {show(high, factor)}. "
            "Stay within, or widen its levels in the study file."
        )
    return min(max(float(value), low), high)
