"""Requests that no plan can meet, told with the reason and the nearest request that can be met."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tilestudy.design.optimal.exchange import Layout
from tilestudy.design.optimal.model import Floats, Model, build, terms_of
from tilestudy.design.optimal.problem import Problem, Term
from tilestudy.errors import PlanError

SMALLEST = 1e-9
"""Least eigenvalue of the scaled information that still counts as information."""


def check_request(problem: Problem) -> None:
    """Raise PlanError for names, settings or batches that do not fit together."""
    names = [factor.name for factor in problem.factors]
    if not names or len(set(names)) < len(names):
        raise PlanError(f"The factors {names} need to be at least one, each named once.")
    if not problem.batch_sizes or min(problem.batch_sizes) < 1:
        raise PlanError(f"The batch sizes {problem.batch_sizes} need at least one batch, each of at least one tile.")
    if problem.sessions and len(problem.sessions) != len(problem.batch_sizes):
        raise PlanError(
            f"{len(problem.batch_sizes)} batches and {len(problem.sessions)} session numbers: give each batch its session."
        )
    if not (0 <= problem.eta < np.inf and 0 <= problem.eta_session < np.inf):
        raise PlanError(
            f"The variance ratios {problem.eta} (batch) and {problem.eta_session} (session) need to be 0 or more."
        )
    for term in terms_of(problem):
        unknown = set(term) - set(names)
        if unknown:
            raise PlanError(f"The model names {sorted(unknown)}, and the factors are {', '.join(names)}.")
    for name in {*problem.workable, *problem.discrete} - set(names):
        raise PlanError(f"Workable settings are given for {name}, and the factors are {', '.join(names)}.")
    for factor in problem.factors:
        stated = problem.workable.get(factor.name, factor.levels)
        if len(set(stated)) < 2:
            raise PlanError(f"{factor.label} has the settings {stated}; it needs two to show what it does.")
        if factor.scaled:
            low, high = float(factor.levels[0]), float(factor.levels[-1])
            out = [one for one in stated if not low <= float(one) <= high]
            if out or low >= high or (factor.spacing == "geometric" and low <= 0):
                raise PlanError(
                    f"{factor.label} runs from {low:g} to {high:g} {factor.unit}".rstrip()
                    + (f", and {out} lies outside." if out else ", which is no range on its scale.")
                    + " Widen its levels or drop the setting."
                )
        elif factor.name in problem.workable:
            raise PlanError(f"{factor.label} is in steps: its levels are its workable settings. Give them as levels.")
    _check_asked(problem)
    _check_made(problem)


def _check_asked(problem: Problem) -> None:
    for settings in problem.near:
        for factor in problem.factors:
            value = settings.get(factor.name)
            if (
                value is None
                or (isinstance(value, str) and factor.scaled)
                or not (factor.scaled or value in factor.levels)
            ):
                raise PlanError(f"Predictions are wanted at {factor.label} {value}, which is no setting of it.")
    for term in problem.unsure:
        if term not in terms_of(problem):
            raise PlanError(f"{_term_name(term)} is asked about and is not in the model. Add it to the model.")


def _check_made(problem: Problem) -> None:
    shared: dict[tuple[str, int, str], object] = {}
    for tile in problem.made:
        if not 0 <= tile.batch < len(problem.batch_sizes):
            raise PlanError(f"A tile made already names batch {tile.batch}; there are {len(problem.batch_sizes)}.")
        for factor in problem.factors:
            if factor.name not in tile.settings:
                raise PlanError(f"A tile made already in batch {tile.batch} has no {factor.label}. Add its setting.")
            value = tile.settings[factor.name]
            if (factor.scaled and isinstance(value, str)) or (not factor.scaled and value not in factor.levels):
                raise PlanError(
                    f"A tile made already in batch {tile.batch} has {factor.label} {value}, which is none of its levels."
                )
            if factor.set_per == "tile":
                continue
            group = tile.batch if factor.set_per == "batch" or not problem.sessions else problem.sessions[tile.batch]
            if factor.set_per == "session" and not problem.sessions:
                group = 0
            if shared.setdefault((factor.set_per, group, factor.name), value) != value:
                raise PlanError(
                    f"Tiles made already in one {factor.set_per} differ in {factor.label}, which is set per "
                    f"{factor.set_per}. Put them into two."
                )
    for batch, size in enumerate(problem.batch_sizes):
        many = sum(tile.batch == batch for tile in problem.made)
        if many > size:
            raise PlanError(
                f"Batch {batch} is to hold {size} in all, and {many} are made already. Raise its size to {many}."
            )


def check_counts(problem: Problem, model: Model, layout: Layout) -> None:
    """Raise PlanError when tiles, batches or sessions are fewer than what has to be estimated from them."""
    per = {one.factor.name: one.factor.set_per for one in model.axes}
    sessions = int(layout.session.max()) + 1
    among_sessions = [term for term in model.terms if all(per[name] == "session" for name in term)]
    among_batches = [term for term in model.terms if all(per[name] != "tile" for name in term)]
    blocks = layout.blocks.shape[1]
    for what, there, terms, extra in (
        ("session", sessions, among_sessions, 0),
        ("batch", len(problem.batch_sizes), among_batches, blocks),
        ("tile", problem.tiles, list(model.terms), blocks),
    ):
        need = len(terms) + extra
        # the mean alone, or sessions alone, ask nothing of batches
        if there >= need or not any(terms):
            continue
        named = ", ".join(dict.fromkeys(_term_name(term) for term in terms))
        words = {"session": "sessions", "batch": "batches", "tile": "tiles"}
        raise PlanError(
            f"{there} {words[what] if there != 1 else what} cannot show {need} things: {named}"
            f"{f', and {blocks} differences between sessions' if extra else ''}. "
            f"Nearest: at least {need} {words[what]}{_smaller(problem, what, there)}."
        )


def _smaller(problem: Problem, what: str, there: int) -> str:
    """A smaller model that the tiles there are would carry, in words."""
    for model in ("interactions", "main effects"):
        less = build(replace(problem, model=model, forbidden=None))
        if what == "tile" and len(less.terms) <= there and less.terms != build(replace(problem, forbidden=None)).terms:
            return f", or the model “{model}”, which takes {len(less.terms)}"
    if what != "tile":
        return f", or a model without some of these, or set the factor per {'tile' if what == 'batch' else 'batch'}"
    return ", or fewer factors"


def _term_name(term: Term) -> str:
    """Write a term: ``strength × dip``, ``dip (bend)``."""
    if not term:
        return "the mean"
    plain = [name.replace("_", " ") for name in dict.fromkeys(term)]
    return " × ".join(plain) + (" (bend)" if len(set(term)) < len(term) else "")


def sound(M: Floats) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Return which informations (S, p, p) are far enough from singular to be inverted."""
    d = np.sqrt(np.maximum(np.diagonal(M, axis1=1, axis2=2), 1e-300))
    return np.asarray(np.linalg.eigvalsh(M / d[:, :, None] / d[:, None, :])[:, 0] > SMALLEST)


def confounded(model: Model, M: Floats) -> str:
    """Name the terms that a singular information (p, p) cannot tell apart."""
    size, vectors = np.linalg.eigh(M)
    null = vectors[:, size < SMALLEST * max(float(size[-1]), 1e-300)]
    share = (null**2).sum(1)[: len(model.terms)]
    return ", ".join(dict.fromkeys(_term_name(model.terms[t]) for t in np.flatnonzero(share > 1e-6)))
