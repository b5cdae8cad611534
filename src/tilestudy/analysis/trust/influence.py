"""What one tile or batch does to the findings: how far it lies off, and what becomes of each effect without it.

A quick look at fixed variance ratios (`tilestudy.analysis.trust.residuals`) covers all of them; what it finds to matter is then
tested, or left out and all of `drivers` done anew, so that what is told is what the reader would see.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from tilestudy.analysis.findings import ResponseFindings, ResponseSpec, TermFinding
from tilestudy.analysis.mixed import Array, MixedFit, fit_mixed
from tilestudy.analysis.model import build_model
from tilestudy.analysis.naming import Show
from tilestudy.analysis.trust.records import Influence
from tilestudy.analysis.trust.residuals import Departures
from tilestudy.analysis.usable import Usable, usable
from tilestudy.analysis.work import Work
from tilestudy.errors import NotEnoughError
from tilestudy.study.records import Factor

CARRIES = 0.5
"""Half-widths of its range by which an effect must move for a tile or batch to carry it alone."""

LOOKED_AT = 4
"""Most tiles, and batches, that are left out and everything fitted anew: those which a quick look finds to matter most."""


@dataclass(frozen=True)
class Asked:
    """One response with its findings and all that they were made from."""

    found: ResponseFindings
    data: Usable
    factors: Sequence[Factor]
    spec: ResponseSpec
    show: Show
    word: str
    level: float
    study: str

    @property
    def fit(self) -> MixedFit:
        """The fit of the findings; there is one wherever trust is asked."""
        assert self.found.fit is not None
        return self.found.fit

    def groups(self) -> dict[str, list[str]]:
        """Labels of the groups whose variance was estimated."""
        return {name: self.data.rows[name].astype(str).tolist() for name in self.fit.variance if name != "residual"}


@dataclass(frozen=True)
class Shift:
    """How far a tile or batch lies off: p corrected for all of them, the shift, and the ends of its range (as wide)."""

    p: float
    value: float
    low: float
    high: float


def shifts(
    asked: Asked, z: Array, X: Array, labels: Sequence[str], one: Departures, seems: np.ndarray
) -> dict[str, Shift]:
    """Test, for the sets of rows that seem far off, whether a shift of that set alone explains the values better.

    Parameters
    ----------
    z, X : arrays
        The scaled response and the model columns.
    labels : (n,) str
        The set (tile or batch) of each row.
    one : Departures
    seems : (k,) bool
        Sets worth testing.
    """
    tested: dict[str, Shift] = {}
    many = one.questions
    scale = asked.found.scale
    for i in np.flatnonzero(seems & one.told):
        column = np.array([float(label == one.codes[i]) for label in labels])
        try:
            fit = fit_mixed(z, np.column_stack([X, column]), asked.groups())
        except NotEnoughError:
            continue
        row = np.eye(X.shape[1] + 1)[-1]
        p = fit.test(row).p
        if p is None:
            continue
        shift = fit.contrast(row, 1.0 - (1.0 - asked.level) / many)
        low, high = (shift.value if end is None else end for end in (shift.low, shift.high))
        tested[one.codes[i]] = Shift(min(1.0, p * many), scale * shift.value, scale * low, scale * high)
    return tested


def effect_row(found: ResponseFindings, term: TermFinding) -> Array:
    """Return the combination of coefficients whose value is the effect of a term: (p,)."""
    model = found.model
    name = term.factors[0]
    low, high = term.setting_low, term.setting_high
    first, last = model.row({name: low}), model.row({name: high})
    if term.kind == "main":
        return np.asarray(last - first)
    if term.kind == "bend":
        coding = model.codings[name]
        z = coding.coded([level for level in (coding.levels[0], coding.levels[-1]) if not isinstance(level, str)])
        return np.asarray(model.row({name: coding.decoded(float(z.mean()))}) - (first + last) / 2.0)
    other = model.codings[term.factors[1]]
    beta = found.fit.beta if found.fit else np.zeros(model.width)
    rows = []
    for i, before in enumerate(other.levels):
        for after in other.levels[i + 1 :]:
            corners = [model.row({name: mine, other.name: its}) for its in (before, after) for mine in (low, high)]
            rows.append(np.asarray(corners[3] - corners[2] - corners[1] + corners[0]))
    # the finding names the ends of its first factor only: the levels of the other are those that give its effect
    return min(rows, key=lambda row: abs(float(row @ beta) * found.scale - term.effect))


def moves(found: ResponseFindings, one: Departures) -> list[dict[str, float]]:
    """For each set of rows and term, by how many half-widths of its range leaving the set out moves the effect."""
    told: dict[str, Array] = {}
    for term in found.terms:
        if term.low is None or term.high is None or term.high <= term.low:
            continue
        told[term.term] = found.scale * (one.moves @ effect_row(found, term)) / ((term.high - term.low) / 2.0)
    return [{name: float(values[i]) for name, values in told.items()} for i in range(len(one.codes))]


def suspects(
    found: ResponseFindings, one: Departures, moved: Sequence[Mapping[str, float]], named: Sequence[str]
) -> list[str]:
    """Sets worth leaving out: those named, those that alone tell something, and those that a quick look finds to matter."""
    clear = {term.term for term in found.terms if term.verdict in ("drives", "may drive")}
    size = [max((abs(move) for term, move in each.items() if term in clear), default=0.0) for each in moved]
    alone = [code for code, told in zip(one.codes, one.told, strict=True) if not told]
    order = sorted(range(len(size)), key=lambda i: -size[i])
    worth = [one.codes[i] for i in order if size[i] >= 0.7 * CARRIES]
    return list(dict.fromkeys([*named, *worth, *alone]))[: max(LOOKED_AT, len(named))]


def without(asked: Asked, kind: Literal["tile", "batch"], code: str) -> list[Influence]:
    """Do all of `drivers` anew without a tile or batch; one record for each term."""
    kept = asked.data.rows[kind].astype(str).to_numpy() != code
    after: dict[str, TermFinding] = {}
    try:
        data = usable(asked.data.rows.loc[kept].reset_index(drop=True), asked.factors, asked.spec, asked.study)
        model = build_model(data.tiles, asked.factors, asked.show, asked.word)
        by_name = {factor.name: factor for factor in asked.factors}
        work = Work(data, model, by_name, asked.spec, asked.show, asked.word, asked.level)
        after = {term.term: term for term in work.terms()}
    except NotEnoughError:
        pass  # nothing can be told without it
    told = []
    for term in asked.found.terms:
        other = _alike(after.get(term.term), term)
        rest = (None,) * 4 if other is None else (other.effect, other.low, other.high, other.verdict)
        told.append(Influence(kind, code, term.term, term.effect, term.low, term.high, term.verdict, *rest))
    return told


def _alike(other: TermFinding | None, term: TermFinding) -> TermFinding | None:
    """The same effect between the same settings, turned round where need be; None where it runs between others."""
    if other is None or (other.setting_low, other.setting_high) == (term.setting_low, term.setting_high):
        return other
    if (other.setting_high, other.setting_low) != (term.setting_low, term.setting_high):
        return None
    low, high = (None if end is None else -end for end in (other.high, other.low))
    return replace(other, effect=-other.effect, low=low, high=high)


def moved_by(one: Influence) -> float:
    """Half-widths of its range by which an effect moves; infinite where nothing is left to tell it."""
    if one.effect_without is None:
        return np.inf
    if one.low is None or one.high is None:
        return 0.0
    return abs(one.effect_without - one.effect) / max((one.high - one.low) / 2.0, 1e-300)


def carries(one: Influence) -> bool:
    """Tell whether a tile or batch carries a driver alone: without it none, or one the other way."""
    if one.verdict != "drives" or one.effect_without is None:
        return False
    lost = one.verdict_without in ("not settled", "no sign") or one.effect * one.effect_without < 0
    return lost and moved_by(one) >= CARRIES
