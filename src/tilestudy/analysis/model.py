"""From the settings of the tiles to model columns, term by term.

A factor on a straight scale gives one column from -1 (lowest level) to 1 (highest level); on a scale of doublings
the same of the logarithm; a factor analysed level by level gives sum-to-zero contrasts. Columns are centred on the
tiles, so that a main effect is the effect at the average of the other factors and balanced tiles give the classic
table. A scaled factor with three or more settings also gets a bend: its square, freed from constant and slope.
Every pair of factors gets its products.

The hierarchy, when there are too few tiles or terms cannot be told apart: main effects stay, in the study's order;
then bends; then pairs, best estimable first. A term is left out, and named with the reason, when what is new in it
is less than 2 % of its length, when it would leave fewer than three tiles' worth of information to measure the
noise between tiles with, or (for what is set per batch or session) fewer than two batches' or sessions' worth.

What was learned from the data (levels, centres, bends) stays in `CodedModel`, which codes new settings alike.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from tilestudy.analysis.mixed import Array
from tilestudy.analysis.naming import Show, show_plainly, speak
from tilestudy.errors import NotEnoughError
from tilestudy.study.language import listed, plural
from tilestudy.study.records import Factor, SetPer, Setting

STRATA: tuple[SetPer, ...] = ("session", "batch", "tile")

LEAST_NEW = 0.02
"""Share of a term's length that must be new beside the other terms."""

LEAST_TILE_DF = 3
LEAST_BATCH_DF = 2
_BEND_LEAST = 0.1  # standard deviation, in coded units, of what a square adds to constant and slope


@dataclass(frozen=True)
class Coding:
    """How one factor's settings become numbers.

    Attributes
    ----------
    factor : Factor
    scale : "linear", "log" or "steps"
        "linear" also where a scale of doublings was asked for but a setting is nought or below.
    levels : tuple of float or str
        Levels found in the data, in order; scaled settings are counted with the level they lie nearest to.
    span : (float, float)
        Lowest and highest level of the study, on the scale (log where "log"); coded -1 and 1.
    seen : (float, float)
        Lowest and highest actual setting, stored units; (0, 0) for steps.
    centre : float
        Mean coded setting of the tiles.
    bend : (float, float) or None
        Constant and slope that the square is freed from.
    """

    factor: Factor
    scale: Literal["linear", "log", "steps"]
    levels: tuple[Setting, ...]
    span: tuple[float, float] = (0.0, 1.0)
    seen: tuple[float, float] = (0.0, 0.0)
    centre: float = 0.0
    bend: tuple[float, float] | None = None

    @property
    def name(self) -> str:
        """The factor's name."""
        return self.factor.name

    @property
    def columns(self) -> int:
        """Columns of the main effect."""
        return len(self.levels) - 1 if self.scale == "steps" else 1

    def coded(self, settings: Sequence[Setting] | Array) -> Array:
        """Code settings along the scale: (n,), centred."""
        values = np.asarray(settings, dtype=float)
        if self.scale == "log":
            values = np.log(np.maximum(values, 1e-12))
        low, high = self.span
        return np.asarray(2.0 * (values - low) / (high - low) - 1.0 - self.centre)

    def decoded(self, z: float) -> float:
        """Turn a centred coded setting back into stored units."""
        low, high = self.span
        value = low + (z + self.centre + 1.0) / 2.0 * (high - low)
        return float(np.exp(value)) if self.scale == "log" else float(value)

    def nearest(self, settings: Sequence[Setting]) -> tuple[int, ...]:
        """Index into `levels` of the level each setting belongs to; -1 for a name that is none of them."""
        if not self.factor.numeric or any(isinstance(level, str) for level in self.levels):
            where: dict[Setting, int] = {level: i for i, level in enumerate(self.levels)}
            return tuple(where.get(setting, -1) for setting in settings)
        scale = np.log if self.scale == "log" else np.asarray
        levels = scale(np.asarray(self.levels, dtype=float))
        values = scale(np.asarray(settings, dtype=float))
        return tuple(int(i) for i in np.abs(values[:, None] - levels[None, :]).argmin(axis=1))

    def main(self, settings: Sequence[Setting]) -> Array:
        """Columns of the main effect: (n, columns)."""
        if self.scale != "steps":
            return self.coded(settings)[:, None]
        index = self.nearest(settings)
        if -1 in index:
            odd = settings[index.index(-1)]
            raise NotEnoughError(
                f'No tile was made with {self.factor.label} "{odd}", so nothing can be said of it. '
                f"The tiles have {', '.join(str(level) for level in self.levels)}."
            )
        return np.asarray(sum_to_zero(len(self.levels))[list(index)])

    def bent(self, settings: Sequence[Setting]) -> Array:
        """Column of the bend: (n, 1)."""
        if self.bend is None:
            raise ValueError(f"{self.name} has no bend")
        z = self.coded(settings)
        return np.asarray(z**2 - self.bend[0] - self.bend[1] * z)[:, None]


@dataclass(frozen=True)
class Term:
    """One term of the model: its name, kind, factors, where it is judged, and its columns."""

    name: str
    kind: Literal["main", "bend", "pair"]
    factors: tuple[str, ...]
    set_per: SetPer
    columns: tuple[int, ...]


@dataclass(frozen=True)
class LeftOut:
    """A term the tiles cannot tell about: why, in words, and the terms it is mixed up with."""

    term: str
    kind: Literal["main", "bend", "pair"]
    factors: tuple[str, ...]
    why: str
    partners: tuple[str, ...] = ()


@dataclass(frozen=True)
class CodedModel:
    """Model columns learned from one set of tiles, for use on those tiles and on new settings.

    Attributes
    ----------
    codings : mapping of str to Coding
        By factor; factors that do not vary are absent.
    terms : tuple of Term
        Column 0 is the constant and belongs to no term.
    left_out : tuple of LeftOut
    together : mapping of str to tuple of str
        Terms kept, and the terms of their kind left out because the tiles cannot tell them apart.
    spare : mapping of str to int
        For "session", "batch" and "tile": sessions, batches or tiles beyond what the settings need, which is what
        the noise there is measured with. Settings count level by level, so a curve through single batches spares none.
    notes : tuple of str
        Sentences about how settings were read.
    """

    codings: Mapping[str, Coding]
    terms: tuple[Term, ...]
    left_out: tuple[LeftOut, ...]
    together: Mapping[str, tuple[str, ...]]
    spare: Mapping[SetPer, int]
    notes: tuple[str, ...]
    width: int

    def term(self, name: str) -> Term | None:
        """Return the term of that name, or None."""
        return next((term for term in self.terms if term.name == name), None)

    def matrix(self, frame: pd.DataFrame) -> Array:
        """Code the rows of a frame that has a column for each factor: (n, width)."""
        settings = {name: frame[name].tolist() for name in self.codings}
        return self._matrix(settings, len(frame))

    def row(self, settings: Mapping[str, Setting]) -> Array:
        """Code one combination of settings: (width,). A factor not named is averaged over the tiles.

        Raises NotEnoughError for a named level that no tile had.
        """
        return np.asarray(self._matrix({name: [settings[name]] for name in self.codings if name in settings}, 1)[0])

    def _matrix(self, settings: Mapping[str, Sequence[Setting]], n: int) -> Array:
        X = np.zeros((n, self.width))
        X[:, 0] = 1.0
        mains = {name: self.codings[name].main(values) for name, values in settings.items()}
        for term in self.terms:
            if all(name in mains for name in term.factors):
                X[:, list(term.columns)] = _block(term.kind, term.factors, self.codings, mains, settings)
        return X


def sum_to_zero(levels: int) -> Array:
    """Contrasts whose columns sum to nought over the levels: (levels, levels - 1).

    >>> sum_to_zero(3).tolist()
    [[1.0, 0.0], [0.0, 1.0], [-1.0, -1.0]]
    """
    return np.vstack([np.eye(levels - 1), -np.ones((1, levels - 1))])


def pair_name(first: str, second: str) -> str:
    """Name of the term that says how two factors work together."""
    return f"{first} x {second}"


def rank(*blocks: Array) -> int:
    """Rank of columns laid side by side, each brought to length 1 first."""
    X = np.hstack(blocks)
    sizes = np.linalg.norm(X, axis=0)
    X = X[:, sizes > 1e-9] / sizes[sizes > 1e-9]
    if not X.shape[1]:
        return 0
    singular = np.linalg.svd(X, compute_uv=False)
    return int((singular > 1e-6 * singular[0]).sum())


def indicators(codes: Sequence[int] | np.ndarray) -> Array:
    """One column of noughts and ones for each code that occurs: (n, codes)."""
    found, index = np.unique(np.asarray(codes), return_inverse=True)
    Z = np.zeros((len(index), len(found)))
    Z[np.arange(len(index)), index] = 1.0
    return Z


def _block(
    kind: str,
    names: Sequence[str],
    codings: Mapping[str, Coding],
    mains: Mapping[str, Array],
    settings: Mapping[str, Sequence[Setting]],
) -> Array:
    if kind == "main":
        return mains[names[0]]
    if kind == "bend":
        return codings[names[0]].bent(settings[names[0]])
    first, second = mains[names[0]], mains[names[1]]
    return np.asarray((first[:, :, None] * second[:, None, :]).reshape(len(first), -1))


def learn_coding(factor: Factor, settings: Sequence[Setting]) -> tuple[Coding | None, tuple[str, ...]]:
    """Learn how to code one factor from its settings on the tiles.

    Returns
    -------
    Coding or None, tuple of str
        None when the factor has one setting only; and sentences on anything out of the ordinary.
    """
    notes: list[str] = []
    label = factor.label
    if not factor.numeric:
        known = [level for level in factor.levels if level in settings]
        extra = sorted({str(s) for s in settings} - {str(level) for level in factor.levels})
        if extra:
            notes.append(
                f"{', '.join(extra)}: not among the planned levels of {label}, analysed as a level like the others."
            )
        levels: tuple[Setting, ...] = (*known, *extra)
        return (Coding(factor, "steps", levels) if len(levels) > 1 else None), tuple(notes)
    values = np.asarray(settings, dtype=float)
    planned = np.asarray([float(level) for level in factor.levels])
    scale: Literal["linear", "log", "steps"] = "linear"
    if factor.spacing == "geometric":
        scale = "log"
        if min(values.min(), planned.min()) <= 0:
            scale = "linear"
            notes.append(
                f"{label.capitalize()} includes 0, which has no place on a scale of doublings, so a straight scale was used."
            )
    elif factor.spacing == "steps":
        scale = "steps"
    on_scale = np.log if scale == "log" else np.asarray
    index = np.abs(on_scale(values)[:, None] - on_scale(planned)[None, :]).argmin(axis=1)
    levels = tuple(float(planned[i]) for i in np.unique(index))
    if scale == "steps":
        gap = np.abs(values - planned[index]).max()
        if gap > 1e-9 * max(1.0, float(np.abs(planned).max())) and len(levels) > 1:
            notes.append(
                f"{label.capitalize()} is analysed level by level, so settings off the levels were counted with the nearest one."
            )
        return (Coding(factor, "steps", levels) if len(levels) > 1 else None), tuple(notes)
    span = (float(on_scale(planned.min())), float(on_scale(planned.max())))
    raw = 2.0 * (on_scale(values) - span[0]) / (span[1] - span[0]) - 1.0
    if raw.std() < 1e-3:
        return None, tuple(notes)
    if len(levels) < 2:  # all near one level, and yet not alike: take the ends of what was done
        levels = (float(values.min()), float(values.max()))
    centre = float(raw.mean())
    z = raw - centre
    design = np.column_stack([np.ones_like(z), z])
    slope = np.linalg.lstsq(design, z**2, rcond=None)[0]
    bend = None
    if len(np.unique(np.round(z, 6))) >= 3 and float((z**2 - design @ slope).std()) >= _BEND_LEAST:
        bend = (float(slope[0]), float(slope[1]))
    return Coding(factor, scale, levels, span, (float(values.min()), float(values.max())), centre, bend), tuple(notes)


def _reaches(codes: Mapping[SetPer, np.ndarray], index: np.ndarray, planned: SetPer) -> SetPer:
    """Where a factor really varies: the widest stratum within whose units it is constant."""
    alone = len(np.unique(codes["batch"])) == len(index)
    for stratum in ("session", "batch"):
        units = np.unique(codes[stratum])
        if len(units) > 1 and not (stratum == "batch" and alone):
            pairs = np.unique(np.column_stack([codes[stratum], index]), axis=0)
            if len(pairs) == len(units):
                return stratum
    if alone:
        return "batch" if planned == "session" else planned  # a session factor would have been found constant above
    return "tile"


def build_model(
    tiles: pd.DataFrame,
    factors: Sequence[Factor],
    show: Show = show_plainly,
    batch_word: str = "batch",
    what: str = "a value",
) -> CodedModel:
    """Learn the model columns from the tiles.

    Parameters
    ----------
    tiles : frame
        One row for each tile: `batch`, `session` and a column for each factor (no gaps).
    factors : sequence of Factor
    show : callable
        Writes a setting for people.
    batch_word : str
        What a batch is called.
    what : str
        What the tiles have: "a value of L*".

    Returns
    -------
    CodedModel

    Raises
    ------
    NotEnoughError
        When no factor varies, or the tiles are not more than the main effects need.
    """
    n = len(tiles)
    codes: dict[SetPer, np.ndarray] = {
        "session": pd.factorize(tiles["session"])[0],
        "batch": pd.factorize(tiles["batch"])[0],
    }
    Z = {stratum: indicators(c) for stratum, c in codes.items()}
    if Z["session"].shape[1] == Z["batch"].shape[1] == rank(Z["session"], Z["batch"]):
        Z["session"] = np.ones((n, 1))  # a batch each session: one and the same luck
        codes["session"] = np.zeros(n, dtype=np.intp)
    codings: dict[str, Coding] = {}
    notes: list[str] = []
    left_out: list[LeftOut] = []
    reach: dict[str, SetPer] = {}
    steps: dict[str, Array] = {}
    settings: dict[str, list[Setting]] = {}
    for factor in factors:
        values = tiles[factor.name].tolist()
        coding, said = learn_coding(factor, values)
        notes += said
        if coding is None:
            left_out.append(LeftOut(factor.name, "main", (factor.name,), "the same on every tile"))
            continue
        codings[factor.name] = coding
        settings[factor.name] = values
        index = np.asarray(coding.nearest(values))
        steps[factor.name] = indicators(index)
        reach[factor.name] = _reaches(codes, index, factor.set_per)
        missing = [level for level in factor.levels if level not in coding.levels]
        if missing and len(coding.levels) < len(factor.levels):
            shown = listed([show(level, factor) for level in missing], "or")
            notes.append(
                f"No tile here has {factor.label} {shown}, so nothing is said of {'it' if len(missing) == 1 else 'them'}."
            )
    if not codings:
        raise NotEnoughError(
            f"No factor differs between the tiles that have {what}, so there is nothing to compare. "
            "Enter the tiles made at the other settings."
        )
    mains = {name: coding.main(settings[name]) for name, coding in codings.items()}
    labels = {factor.name: factor.label for factor in factors}
    alone = Z["batch"].shape[1] == n

    X = np.ones((n, 1))
    terms: list[Term] = []
    together: dict[str, list[str]] = {}

    def spare(stratum: SetPer, columns: Array, levelwise: bool) -> int:
        """Units of a stratum beyond what the columns (and, level by level, its factors) need."""
        parts = [columns]
        if levelwise:  # settings as the levels they belong to, so that measured strengths do not use up batches
            parts = [levelled(), *(steps[name] for name, place in reach.items() if place == stratum)]
        if stratum == "session":
            return rank(*parts, Z["session"]) - rank(*parts)
        if stratum == "batch":
            parts.append(Z["session"])
            return rank(*parts, Z["batch"]) - rank(*parts)
        return n - (rank(*parts) if alone else rank(*parts, Z["session"], Z["batch"]))

    def levelled() -> Array:
        """The model columns with every setting wider than a tile moved to the level it belongs to."""
        moved = {
            name: values if reach[name] == "tile" else [codings[name].levels[i] for i in codings[name].nearest(values)]
            for name, values in settings.items()
        }
        level_mains = {name: codings[name].main(values) for name, values in moved.items()}
        return np.hstack(
            [np.ones((n, 1)), *(_block(term.kind, term.factors, codings, level_mains, moved) for term in terms)]
        )

    def where(names: tuple[str, ...]) -> SetPer:
        return STRATA[max(STRATA.index(reach[name]) for name in names)]

    def newness(block: Array, others: Array) -> float:
        """Smallest share of the block's length that the others do not explain already."""
        basis = np.linalg.qr(others)[0]
        lengths = np.linalg.norm(block, axis=0)
        if (lengths < 1e-9).any():
            return 0.0
        rest = block / lengths
        rest = rest - basis @ (basis.T @ rest)
        return float(np.linalg.svd(rest, compute_uv=False)[-1])

    def partners(block: Array, share: float) -> tuple[Term, ...]:
        """Terms already in the model that make up at least this share of what varies in the block."""
        size = float(np.linalg.norm(block - block.mean(axis=0)))
        if size < 1e-9 * max(float(np.linalg.norm(block)), 1e-9):
            return ()
        solution = np.linalg.lstsq(X, block, rcond=None)[0]
        return tuple(
            t for t in terms if float(np.linalg.norm(X[:, list(t.columns)] @ solution[list(t.columns)])) > share * size
        )

    def spoken(term: Term) -> str:
        return speak(term.name, labels)

    def consider(kind: Literal["main", "bend", "pair"], names: tuple[str, ...]) -> None:
        nonlocal X
        name = {"main": names[0], "bend": f"{names[0]} (bend)", "pair": " x ".join(names)}[kind]
        block = _block(kind, names, codings, mains, settings)
        stratum = where(names)
        wider = np.hstack([X, block])
        why = ""
        mixed: tuple[Term, ...] = ()
        if newness(block, X) < LEAST_NEW:
            mixed = partners(block, 0.1)
            with_what = listed([spoken(term) for term in mixed])
            why = (
                f"cannot be told from {with_what} in these tiles"
                if mixed
                else "these tiles hold no combination that shows it"
            )
            for term in partners(block, 0.5):
                if term.kind == kind:
                    together.setdefault(term.name, []).append(name)
        elif kind != "main":
            described = kind == "bend" and stratum != "tile" and spare(stratum, X, True) < 1  # no test there anyway
            if stratum != "tile" and not described and spare(stratum, wider, False) < LEAST_BATCH_DF:
                many = plural(batch_word) if stratum == "batch" else "sessions"
                why = f"too few {many} to measure it and the noise between {many} as well"
            elif spare("tile", wider, False) < LEAST_TILE_DF:
                why = "too few tiles to measure it and the noise between tiles as well"
        if why:
            left_out.append(LeftOut(name, kind, names, why, tuple(term.name for term in mixed)))
            return
        terms.append(Term(name, kind, names, stratum, tuple(range(X.shape[1], wider.shape[1]))))
        X = wider

    for name in codings:
        consider("main", (name,))
    if n - X.shape[1] < 1:
        raise NotEnoughError(
            f"{n} {'tile has' if n == 1 else 'tiles have'} {what}, and to tell what {listed([labels[c] for c in codings])} "
            f"{'does' if len(codings) == 1 else 'do'} takes {X.shape[1]} alone, which leaves nothing to measure the noise "
            f"with. Enter at least {X.shape[1] + 1} tiles, better {X.shape[1] + 4}."
        )
    for name, coding in codings.items():
        if coding.bend is not None:
            consider("bend", (name,))
    names = list(codings)
    pairs = [(a, b) for i, a in enumerate(names) for b in names[i + 1 :]]
    clear = {pair: round(newness(_block("pair", pair, codings, mains, settings), X), 2) for pair in pairs}
    for pair in sorted(pairs, key=lambda pair: -clear[pair]):
        consider("pair", pair)
    order = {pair_name(*pair): i for i, pair in enumerate(pairs)}
    left_out.sort(key=lambda out: order.get(out.term, -1))
    terms_sorted = sorted(terms, key=lambda term: order.get(term.name, -1))
    return CodedModel(
        codings=codings,
        terms=tuple(terms_sorted),
        left_out=tuple(left_out),
        together={name: tuple(others) for name, others in together.items()},
        spare={stratum: spare(stratum, X, stratum != "tile") for stratum in STRATA},
        notes=tuple(notes),
        width=X.shape[1],
    )
