"""The model the analysis will fit to a plan's tiles: which terms, in which stratum, on what noise, mixed up with what.

The rules are those of the analysis, applied to the settings as planned: main effects stay; then bends of scaled factors
with three levels or more; then pairs, the best estimable first. A term is left out when less than 2 % of it is new beside
the others, or when it would leave fewer than three tiles' (or two batches' or sessions') worth to see the noise with.
Degrees of freedom follow containment: units of the stratum beyond what is fitted there, levels counted one by one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
import numpy.typing as npt

from tilestudy.study.records import Factor, Plan, SetPer, Study

Floats = npt.NDArray[np.float64]
Kind = Literal["main", "bend", "pair"]
Why = Literal["constant", "confounded", "few units", "few tiles"]

STRATA: tuple[SetPer, ...] = ("session", "batch", "tile")
LEAST_NEW, LEAST_TILE_DF, LEAST_UNIT_DF, BEND_LEAST = 0.02, 3, 2, 0.1


@dataclass(frozen=True)
class Coding:
    """How a factor's settings become numbers: -1 to 1 along its scale, less `centre`; or contrasts level by level."""

    factor: Factor
    centre: float
    bend: tuple[float, float] | None

    def place(self, value: float) -> float:
        """Return a setting's place on the scale, -1 at the lowest level and 1 at the highest."""
        take = math.log if self.logged else float
        low, high = take(float(self.factor.levels[0])), take(float(self.factor.levels[-1]))
        return 2 * (take(float(value)) - low) / (high - low) - 1

    @property
    def logged(self) -> bool:
        """True on a scale of doublings; nought has no place on one."""
        return self.factor.spacing == "geometric" and min(float(level) for level in self.factor.levels) > 0

    def main(self, values: Sequence[float | str]) -> Floats:
        """Return the columns of the main effect, (n, columns)."""
        if self.factor.scaled:
            return np.array([[self.place(float(value)) - self.centre] for value in values])
        count = len(self.factor.levels)
        contrasts = np.vstack([np.eye(count - 1), -np.ones(count - 1)])
        return np.asarray(contrasts[[self.factor.levels.index(value) for value in values]])

    def bent(self, values: Sequence[float | str]) -> Floats:
        """Return the column of the bend, (n, 1): the square, freed from constant and slope."""
        z = self.main(values)
        constant, slope = self.bend or (0.0, 0.0)
        return np.asarray(z**2 - constant - slope * z)

    def patterns(self) -> list[Floats]:
        """Return coefficients of the main effect for a change of 1: lowest to highest, or between any two levels."""
        if self.factor.scaled:
            return [np.array([0.5])]
        found = []
        for one, other in combinations(range(len(self.factor.levels)), 2):
            levels = np.zeros(len(self.factor.levels))
            levels[one], levels[other] = -0.5, 0.5
            found.append(levels[:-1])
        return found


@dataclass(frozen=True)
class Term:
    """A term that is fitted: name, kind, factors, where it is judged, and its columns in the model matrix."""

    name: str
    kind: Kind
    factors: tuple[str, ...]
    set_per: SetPer
    columns: tuple[int, ...]


@dataclass(frozen=True)
class LeftOut:
    """A term that is not fitted: why, and the fitted terms it would be mistaken for, with the share of it each takes."""

    name: str
    kind: Kind
    factors: tuple[str, ...]
    why: Why
    partners: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class Model:
    """The terms, the model matrix (tiles, columns; column 0 the constant), the batches and sessions of the tiles.

    `spare` counts the units of each stratum left to show the noise there; `spent` the batches' worth that goes to
    telling sessions apart.
    """

    codings: dict[str, Coding]
    terms: tuple[Term, ...]
    left_out: tuple[LeftOut, ...]
    X: Floats
    batch: Floats
    session: Floats
    spare: dict[SetPer, int]
    spent: int

    def patterns(self, term: Term) -> list[Floats]:
        """Return coefficients of a term for an effect of 1.

        Main: a change of 1; bend: the middle lies 1 off the line; pair: the change by one factor differs by 1 between
        the ends of the other.
        """
        if term.kind == "bend":
            return [np.ones(1)]
        first, *rest = (self.codings[name].patterns() for name in term.factors)
        if not rest:
            return first
        return [np.asarray(np.kron(a, b), dtype=np.float64) for a in first for b in rest[0]]

    def row(self, settings: dict[str, float | str]) -> Floats:
        """Return the model row of one combination; factors not named are averaged over the tiles."""
        found = np.zeros(self.X.shape[1])
        found[0] = 1.0
        for term in self.terms:
            if all(name in settings for name in term.factors):
                found[list(term.columns)] = _block(
                    term.kind, term.factors, self.codings, {name: [settings[name]] for name in term.factors}
                )[0]
        return found


def indicators(labels: Sequence[str]) -> Floats:
    """Return one column of noughts and ones for each label that occurs, in the order they come."""
    place = {label: column for column, label in enumerate(dict.fromkeys(labels))}
    return np.eye(len(place))[[place[label] for label in labels]]


def rank(*blocks: Floats) -> int:
    """Return the rank of columns laid side by side."""
    return int(np.linalg.matrix_rank(np.hstack(blocks), tol=1e-7)) if blocks else 0


def _block(
    kind: Kind, names: Sequence[str], codings: dict[str, Coding], values: dict[str, Sequence[float | str]]
) -> Floats:
    if kind == "bend":
        return codings[names[0]].bent(values[names[0]])
    first = codings[names[0]].main(values[names[0]])
    if kind == "main":
        return first
    second = codings[names[1]].main(values[names[1]])
    return np.asarray((first[:, :, None] * second[:, None, :]).reshape(len(first), -1))


def _learn(factor: Factor, values: Sequence[float | str]) -> Coding:
    plain = Coding(factor, 0.0, None)
    if not factor.scaled:
        return plain
    raw = plain.main(values)[:, 0]
    centre = float(raw.mean())
    z = raw - centre
    line = np.column_stack([np.ones_like(z), z])
    (constant, slope), *_ = np.linalg.lstsq(line, z**2, rcond=None)
    bends = len(set(np.round(z, 6))) >= 3 and float((z**2 - line @ (constant, slope)).std()) >= BEND_LEAST
    return Coding(factor, centre, (float(constant), float(slope)) if bends else None)


def model_of(study: Study, plan: Plan) -> Model:
    """Choose the terms the analysis will fit to these tiles.

    Parameters
    ----------
    study : Study
        With levels as they occur in the plan (`study_as_planned`).
    plan : Plan
    """
    n = len(plan.tiles)
    Z: dict[SetPer, Floats] = {
        "batch": indicators([tile.batch for tile in plan.tiles]),
        "session": indicators([str(tile.session) for tile in plan.tiles]),
    }
    if Z["session"].shape[1] == Z["batch"].shape[1] == rank(Z["session"], Z["batch"]):
        Z["session"] = np.ones((n, 1))  # a batch each session: one and the same luck
    alone = Z["batch"].shape[1] == n
    left_out = [LeftOut(f.name, "main", (f.name,), "constant") for f in study.factors if len(f.levels) < 2]
    factors = [factor for factor in study.factors if len(factor.levels) > 1]
    values: dict[str, Sequence[float | str]] = {
        factor.name: [tile.settings[factor.name] for tile in plan.tiles] for factor in factors
    }
    codings = {factor.name: _learn(factor, values[factor.name]) for factor in factors}
    steps = {name: indicators([str(value) for value in values[name]]) for name in codings}
    reach = {factor.name: _reach(Z, steps[factor.name], factor.set_per, alone) for factor in factors}
    X = np.ones((n, 1))
    terms: list[Term] = []

    def fitted(stratum: SetPer, columns: Floats, levelwise: bool) -> list[Floats]:
        return [columns, *(steps[name] for name in codings if levelwise and reach[name] == stratum)]

    def spare(stratum: SetPer, columns: Floats, levelwise: bool) -> int:
        parts = fitted(stratum, columns, levelwise)
        if stratum == "session":
            return rank(*parts, Z["session"]) - rank(*parts)
        if stratum == "batch":
            return rank(*parts, Z["session"], Z["batch"]) - rank(*parts, Z["session"])
        return n - (rank(columns) if alone else rank(columns, Z["session"], Z["batch"]))

    def consider(kind: Kind, names: tuple[str, ...]) -> None:
        nonlocal X
        block = _block(kind, names, codings, values)
        stratum = STRATA[max(STRATA.index(reach[name]) for name in names)]
        wider = np.hstack([X, block])
        why: Why | None = None
        if _newness(block, X) < LEAST_NEW:
            why = "confounded"
        elif kind != "main":
            described = kind == "bend" and stratum != "tile" and spare(stratum, X, True) < 1
            if stratum != "tile" and not described and spare(stratum, wider, False) < LEAST_UNIT_DF:
                why = "few units"
            elif spare("tile", wider, False) < LEAST_TILE_DF:
                why = "few tiles"
        name = {"main": names[0], "bend": f"{names[0]} (bend)", "pair": " x ".join(names)}[kind]
        if why:
            left_out.append(LeftOut(name, kind, names, why))
            return
        terms.append(Term(name, kind, names, stratum, tuple(range(X.shape[1], wider.shape[1]))))
        X = wider

    for name in codings:
        consider("main", (name,))
    for name, coding in codings.items():
        if coding.bend is not None:
            consider("bend", (name,))
    pairs = list(combinations(codings, 2))
    clear = {pair: round(_newness(_block("pair", pair, codings, values), X), 2) for pair in pairs}
    for pair in sorted(pairs, key=lambda pair: -clear[pair]):
        consider("pair", pair)
    order = {" x ".join(pair): i for i, pair in enumerate(pairs)}
    blocks: Callable[[LeftOut], Floats] = lambda one: _block(one.kind, one.factors, codings, values)  # noqa: E731
    mixed = [
        one if one.why == "constant" else LeftOut(*_four(one), _partners(blocks(one), X, terms)) for one in left_out
    ]
    parts = fitted("batch", X, True)
    return Model(
        codings,
        tuple(sorted(terms, key=lambda term: order.get(term.name, -1))),
        tuple(sorted(mixed, key=lambda one: order.get(one.name, -1))),
        X,
        Z["batch"],
        Z["session"],
        {stratum: spare(stratum, X, stratum != "tile") for stratum in STRATA},
        rank(*parts, Z["session"]) - rank(*parts),
    )


def _four(one: LeftOut) -> tuple[str, Kind, tuple[str, ...], Why]:
    return one.name, one.kind, one.factors, one.why


def _reach(Z: dict[SetPer, Floats], steps: Floats, planned: SetPer, alone: bool) -> SetPer:
    """Where a factor really varies: the widest stratum within whose units it is constant."""
    wide: tuple[SetPer, ...] = ("session", "batch")
    for stratum in wide:
        units = Z[stratum].shape[1]
        if units > 1 and not (stratum == "batch" and alone) and int(((Z[stratum].T @ steps) > 0).sum()) == units:
            return stratum
    if alone:
        return "batch" if planned == "session" else planned
    return "tile"


def _newness(block: Floats, others: Floats) -> float:
    """Smallest share of a block's length that the others do not explain already."""
    lengths = np.linalg.norm(block, axis=0)
    if (lengths < 1e-9).any():
        return 0.0
    basis = np.linalg.qr(others)[0]
    rest = block / lengths
    rest = rest - basis @ (basis.T @ rest)
    return float(np.linalg.svd(rest, compute_uv=False)[-1])


def _partners(block: Floats, X: Floats, terms: Sequence[Term]) -> tuple[tuple[str, float], ...]:
    """Terms that take up a tenth or more of what varies in a block, with their shares (as lengths)."""
    size = float(np.linalg.norm(block - block.mean(axis=0)))
    if size < 1e-9:
        return ()
    solution = np.linalg.lstsq(X, block, rcond=None)[0]
    shares = {t.name: float(np.linalg.norm(X[:, list(t.columns)] @ solution[list(t.columns)])) / size for t in terms}
    return tuple((name, share) for name, share in shares.items() if share > 0.1)
