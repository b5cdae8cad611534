"""What the analysis of one response hands on: frozen records, and predictions from the model that made them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np

from tilestudy.analysis.mixed import Array, Estimate, MixedFit
from tilestudy.analysis.model import CodedModel, LeftOut
from tilestudy.analysis.wear.passing import Chances, Drawn
from tilestudy.errors import NotEnoughError
from tilestudy.study.records import Response, SetPer, Setting

ALPHA = 0.05
"""Largest p, after Holm's correction, that is still called clear."""

LEAST_DF = 0.8
"""Degrees of freedom below which a range would say nothing, so none is given."""

Verdict = Literal["drives", "may drive", "no sign", "not settled", "cannot tell"]
Kind = Literal["lightness", "redness", "yellowness", "grade", "strokes", "number"]


@dataclass(frozen=True)
class ResponseSpec:
    """What is analysed, and how to speak of it.

    Attributes
    ----------
    name, label, unit : str
        "L", "L*", "L*" for lightness; changes of the chance to pass are in (percentage) "points".
    kind : "lightness", "redness", "yellowness", "grade", "strokes" or "number"
        Chooses the words: a tile darkens, a grade falls.
    about : str
        Stage or condition, for people: "cured", "dry rub, 10 strokes".
    smallest_that_matters : float or None
        Smallest change worth acting on, in `unit`; None counts any change.
    passing : float or None
        Lowest grade that passes.
    better : "higher", "lower" or ""
    called : str
        How a sentence names it, where not by its label: "the difference from dark brown".
    of_colour : bool
        True when the values come from colour readings.
    scale_error : float
        Share of a change by which the measurement itself may have it too large or too small (half-width of the range).
    """

    name: str
    label: str
    unit: str = ""
    kind: Kind = "number"
    about: str = ""
    smallest_that_matters: float | None = None
    passing: float | None = None
    better: Literal["higher", "lower", ""] = ""
    called: str = ""
    of_colour: bool = False
    scale_error: float = 0.0

    @property
    def spoken(self) -> str:
        """The response within a sentence: "L*", "the dry rub grade", "the difference from dark brown"."""
        return self.called or (f"the {self.label}" if self.kind == "grade" else self.label)


def colour_spec(coordinate: Literal["L", "a", "b"], stage: str = "", smallest: float = 2.0) -> ResponseSpec:
    """Describe one CIELAB coordinate. A change of 2 is taken as the smallest that matters (common practice, no source)."""
    kinds: dict[str, Kind] = {"L": "lightness", "a": "redness", "b": "yellowness"}
    label = f"{coordinate}*"
    return ResponseSpec(coordinate, label, label, kinds[coordinate], stage, smallest, of_colour=True)


def distance_spec(asked: str, stage: str = "") -> ResponseSpec:
    """Describe the difference from a wanted colour. 1 CIEDE2000 is the smallest that matters (common practice, no source)."""
    label = f"difference from {asked}"
    return ResponseSpec(
        "to_target", label, "CIEDE2000", "number", stage, 1.0, None, "lower", f"the {label}", of_colour=True
    )


def grade_spec(condition: str = "dry", passing: float | None = None, about: str = "") -> ResponseSpec:
    """Describe the rub grade of one condition: told as the chance to pass.

    A change of 10 percentage points is taken as the smallest that matters (common practice, no source).
    """
    name, label = f"rub_{condition}", f"{condition} rub grade"
    return ResponseSpec(name, label, "points", "grade", about, 10.0, passing, "higher")


def strokes_spec(condition: str = "dry", about: str = "") -> ResponseSpec:
    """Describe the strokes until bare metal shows in one condition; changes are ratios, and any counts."""
    return ResponseSpec(
        f"strokes_{condition}",
        f"strokes to bare metal, {condition} rub",
        "times",
        "strokes",
        about,
        None,
        None,
        "higher",
    )


def number_spec(response: Response, about: str = "", smallest: float | None = None) -> ResponseSpec:
    """Describe a response that the study declares."""
    return ResponseSpec(response.name, response.label, response.unit, "number", about, smallest, None, response.better)


@dataclass(frozen=True)
class TermFinding:
    """What the tiles say of one factor, bend or pair of factors.

    Attributes
    ----------
    term : str
        "strength", "strength (bend)", "strength x dip_time".
    kind : "main", "bend" or "pair"
    factors : tuple of str
    set_per : "tile", "batch" or "session"
        Where the term is judged: against the noise between tiles, batches or sessions.
    df, ddf, F, p
        Kenward-Roger F test; ddf, F and p are None where there is no honest test.
    p_holm : float or None
        p after Holm's correction over the terms of this response.
    effect, low, high : float or None
        Main: change from `setting_low` to `setting_high`. Bend: how far the middle lies off the straight line between
        them. Pair: how much the change by the first factor differs between the ends of the second. With the 95 %
        interval (Bonferroni over the pairs of levels for named levels); None where the noise was not measured.
    unit : str
    setting_low, setting_high
        Settings of the (first) factor the effect runs between. Named levels: lower and higher mean.
    per_doubling : Estimate or None
        Mean change per doubling, for geometric factors.
    verdict, why : str
        By the rule of `tilestudy.analysis.work`.
    naive_p : float or None
        p of least squares that takes every row as independent: kept to warn of it.
    """

    term: str
    kind: Literal["main", "bend", "pair"]
    factors: tuple[str, ...]
    set_per: SetPer
    df: int
    ddf: float | None
    F: float | None
    p: float | None
    p_holm: float | None
    effect: float
    low: float | None
    high: float | None
    unit: str
    setting_low: Setting
    setting_high: Setting
    per_doubling: Estimate | None
    verdict: Verdict
    why: str
    naive_p: float | None

    def as_dict(self) -> dict[str, Any]:
        """Return the finding as plain values, ready for JSON."""
        doubling = self.per_doubling
        return {
            "term": self.term,
            "kind": self.kind,
            "factors": list(self.factors),
            "set_per": self.set_per,
            "df": self.df,
            "ddf": self.ddf,
            "F": self.F,
            "p": self.p,
            "p_holm": self.p_holm,
            "low": self.low,
            "high": self.high,
            "effect": self.effect,
            "unit": self.unit,
            "setting_low": self.setting_low,
            "setting_high": self.setting_high,
            "per_doubling": None
            if doubling is None
            else {"effect": doubling.value, "low": doubling.low, "high": doubling.high},
            "verdict": self.verdict,
            "why": self.why,
            "naive_p": self.naive_p,
        }


@dataclass(frozen=True)
class LevelMean:
    """Predicted mean at one level of a factor, averaged over the others, with a range made for comparing levels.

    `low` and `high` are the 95 % range of the level's difference from the factor's own average (the plain mean over its
    levels), shifted to `value`: the luck that all levels share is not in it. The range of the mean itself is
    `ResponseFindings.predict`. None where the noise it would rest on was not measured.
    """

    setting: Setting
    value: float
    low: float | None
    high: float | None


@dataclass(frozen=True)
class PassCount:
    """How many tiles at one level have a median grade that passes; reference tiles are not counted."""

    setting: Setting
    passed: int
    tiles: int


@dataclass(frozen=True)
class InteractionGrid:
    """Predicted means over the levels of two factors: `cells[i][j]` is for `first_levels[i]`, `second_levels[j]`.

    A cell's `se`, `low` and `high` are those of its difference from the average of the grid, shifted to its value, as in
    `LevelMean`.
    """

    first: str
    second: str
    first_levels: tuple[Setting, ...]
    second_levels: tuple[Setting, ...]
    cells: tuple[tuple[Estimate, ...], ...]
    finding: TermFinding | None


@dataclass(frozen=True)
class Drift:
    """How far a batch's last reference tile lies off its first, averaged over the batches.

    Attributes
    ----------
    effect : float
        Change from first to last, in the response's unit.
    low, high : float or None
        95 % range; None where the noise between the reference tiles of a batch was not measured.
    batches : int
        Batches with two or more reference tiles.
    verdict : "drifts", "no sign", "not settled" or "cannot tell"
        "drifts" when the range leaves out nought; "no sign" when all of it is smaller than what matters.
    small : bool
        True when it drifts by less than what matters.
    """

    effect: float
    low: float | None
    high: float | None
    batches: int
    verdict: Literal["drifts", "no sign", "not settled", "cannot tell"]
    small: bool = False


def bend_instead(terms: Iterable[TermFinding], main: TermFinding) -> TermFinding | None:
    """Return the bend that matters where its main effect shows no slope, or None."""
    if main.kind != "main" or main.verdict not in ("no sign", "not settled"):
        return None
    return next(
        (t for t in terms if t.kind == "bend" and t.factors == main.factors and t.verdict in ("drives", "may drive")),
        None,
    )


def rescaled(found: Estimate, by: float, plus: float = 0.0) -> Estimate:
    """Bring an estimate to other units: times `by`, plus `plus`."""
    low, high = (None if end is None else end * by + plus for end in (found.low, found.high))
    return replace(
        found, value=found.value * by + plus, se=None if found.se is None else found.se * by, low=low, high=high
    )


@dataclass(frozen=True)
class ResponseFindings:
    """What the tiles say of one response.

    Attributes
    ----------
    name, label, unit, about, kind : str
    n_rows, n_tiles, n_batches, n_sessions, n_scorers : int
    terms : tuple of TermFinding
    left_out : tuple of LeftOut
        Terms that could not be looked at, with the reason.
    variance : mapping of str to float or None
        Squared standard deviations in unit squared: "batch", "session", "tile", "scorer" (grades), and "repeats"
        for several rows of one tile. None: cannot be told from these tiles.
    sentences, brief, cautions : tuple of str
        Plain sentences, the most telling first; the few of them that fit a handout; what to keep in mind.
    main_effects : mapping of str to tuple of LevelMean
        Grades: chances to pass, percent.
    strongest_interaction : InteractionGrid or None
        The pair of factors with the clearest (smallest p) interaction.
    pass_counts : mapping of str to tuple of PassCount
        By factor and level; empty unless a passing grade was given.
    drift : Drift or None
        Within batches, from reference tiles; None without them.
    fit : MixedFit or None
        Of (y - `shift`) / `scale`; None when every value is the same, for grades and for strokes.
    drawn : Drawn or None
        Of grades the chance to pass: `predict` and `main_effects` are then in percent, effects in percentage points. Of
        strokes those that half of the tiles stand; effects are ratios. `variance` is on the hidden scale of either.
    spoken : str
        The response within a sentence: "L*", "the dry rub grade", "the difference from dark brown".
    """

    name: str
    label: str
    unit: str
    about: str
    kind: Kind
    n_rows: int
    n_tiles: int
    n_batches: int
    n_sessions: int
    n_scorers: int
    terms: tuple[TermFinding, ...]
    left_out: tuple[LeftOut, ...]
    variance: Mapping[str, float | None]
    sentences: tuple[str, ...]
    brief: tuple[str, ...]
    cautions: tuple[str, ...]
    main_effects: Mapping[str, tuple[LevelMean, ...]]
    strongest_interaction: InteractionGrid | None
    pass_counts: Mapping[str, tuple[PassCount, ...]]
    model: CodedModel = field(repr=False)
    fit: MixedFit | None = field(repr=False)
    constant: float | None = None
    ranged: bool = True
    shift: float = 0.0
    scale: float = 1.0
    drift: Drift | None = None
    spoken: str = ""
    drawn: Drawn | None = field(default=None, repr=False)

    @property
    def chances(self) -> Chances | None:
        """Of grades: the chance to pass, with the fit that it comes from."""
        return self.drawn if isinstance(self.drawn, Chances) else None

    @property
    def drivers(self) -> tuple[str, ...]:
        """Names of the factors that clearly matter, by their slope or by their middle, in the study's order."""
        clear = {t.factors[0] for t in self.terms if t.kind in ("main", "bend") and t.verdict == "drives"}
        return tuple(name for name in self.model.codings if name in clear)

    def bend_instead(self, name: str) -> TermFinding | None:
        """Return the bend of a factor that shows no slope and yet (maybe) matters by its middle, or None."""
        main = next((t for t in self.terms if t.term == name), None)
        return bend_instead(self.terms, main) if main else None

    def term(self, name: str) -> TermFinding:
        """Return the finding of that term; raises KeyError."""
        for found in self.terms:
            if found.term == name:
                return found
        raise KeyError(name)

    def predict(self, settings: Mapping[str, Setting], level: float = 0.95) -> Estimate:
        """Predict the mean of tiles made at these settings, in new batches; for grades the chance to pass, percent.

        Parameters
        ----------
        settings : mapping of str to float or str
            By factor, stored units. A factor not named is averaged over the tiles.
        level : float
            Coverage of the range.

        Returns
        -------
        Estimate
            Its range is None where the noise that matters was not measured; `beyond` names factors whose setting
            lies outside what the tiles covered.

        Raises
        ------
        NotEnoughError
            For a named level that no tile had.
        """
        beyond = self._beyond(settings)
        if self.drawn is not None:
            found = replace(self.drawn.estimate(self.drawn.at(settings), level), beyond=beyond)
            return found if self.ranged else Estimate(found.value, beyond=beyond)
        row = self.model.row(settings)
        if self.fit is None:
            return Estimate(self.constant or 0.0, beyond=beyond)
        found = replace(rescaled(self.fit.contrast(row, level), self.scale, self.shift), beyond=beyond)
        if not self.ranged or (found.ddf is not None and found.ddf < LEAST_DF):
            return Estimate(found.value, beyond=beyond)
        return found

    def _beyond(self, settings: Mapping[str, Setting]) -> tuple[str, ...]:
        """Factors whose setting lies outside what the tiles covered."""
        beyond = []
        for name, coding in self.model.codings.items():
            value = settings.get(name)
            if coding.scale != "steps" and isinstance(value, float | int):
                low, high = coding.seen
                ends = [float(end) for end in coding.levels if not isinstance(end, str)]
                slack = 1e-6 * (high - low)
                if not min(low, *ends) - slack <= value <= max(high, *ends) + slack:
                    beyond.append(name)
        return tuple(beyond)

    def level_means(self, name: str, level: float = 0.95) -> tuple[LevelMean, ...]:
        """Return the mean at each level of a factor, with ranges made for comparing them."""
        levels = self.model.codings[name].levels
        means = self._compared([{name: setting} for setting in levels], level)
        return tuple(
            LevelMean(setting, mean.value, mean.low, mean.high) for setting, mean in zip(levels, means, strict=True)
        )

    def _compared(self, points: Sequence[Mapping[str, Setting]], level: float) -> list[Estimate]:
        """Predict each point, with the range of its difference from the average of the points, shifted to it."""
        named = set(points[0])
        judged = all(term.p is not None for term in self.terms if named.issuperset(term.factors))
        if self.drawn is not None and judged:
            return self.drawn.compared([self.drawn.at(point) for point in points], level)
        rows = np.array([self.model.row(point) for point in points])
        values = [self.predict(point).value for point in points]
        if self.fit is None or self.fit.perfect or not judged:
            return [Estimate(value) for value in values]
        return [
            self._difference(row, value, level) for row, value in zip(rows - rows.mean(axis=0), values, strict=True)
        ]

    def _difference(self, row: Array, value: float, level: float) -> Estimate:
        assert self.fit is not None
        if float(np.abs(row).max()) < 1e-9:  # a straight line's middle is its average, whatever the slope
            return Estimate(value, 0.0, None, value, value)
        apart = rescaled(self.fit.contrast(row, level), self.scale)
        if apart.low is None or apart.high is None or (apart.ddf is not None and apart.ddf < LEAST_DF):
            return Estimate(value)
        return Estimate(value, apart.se, apart.ddf, value + apart.low - apart.value, value + apart.high - apart.value)

    def interaction(self, first: str, second: str) -> InteractionGrid:
        """Return the grid of predicted means over the levels of two factors; raises NotEnoughError if one is constant."""
        for name in (first, second):
            if name not in self.model.codings:
                raise NotEnoughError(f"{name.replace('_', ' ')} was the same on every tile, so it has no grid to show.")
        rows, columns = (self.model.codings[name].levels for name in (first, second))
        flat = self._compared([{first: a, second: b} for a in rows for b in columns], 0.95)
        cells = tuple(tuple(flat[i * len(columns) : (i + 1) * len(columns)]) for i in range(len(rows)))
        named = {frozenset((first, second))}
        finding = next((t for t in self.terms if t.kind == "pair" and frozenset(t.factors) in named), None)
        return InteractionGrid(first, second, rows, columns, cells, finding)

    def as_dict(self) -> dict[str, Any]:
        """Return the findings as plain values, ready for JSON; keys are stable."""
        return {
            "name": self.name,
            "label": self.label,
            "unit": self.unit,
            "unit_of_levels": {"grade": "%", "strokes": "strokes"}.get(self.kind, self.unit),
            "about": self.about,
            "n_rows": self.n_rows,
            "n_tiles": self.n_tiles,
            "n_batches": self.n_batches,
            "n_sessions": self.n_sessions,
            "n_scorers": self.n_scorers,
            "terms": [term.as_dict() for term in self.terms],
            "left_out": [{"term": out.term, "why": out.why} for out in self.left_out],
            "variance": dict(self.variance),
            "sentences": list(self.sentences),
            "cautions": list(self.cautions),
            "main_effects": {
                name: [{"setting": m.setting, "value": m.value, "low": m.low, "high": m.high} for m in means]
                for name, means in self.main_effects.items()
            },
            "pass_counts": {
                name: [{"setting": c.setting, "passed": c.passed, "tiles": c.tiles} for c in counts]
                for name, counts in self.pass_counts.items()
            },
        }
