"""From rub grades to what drives durability, told in chances to pass.

Each condition (dry, wet) is fitted by the cumulative-link mixed model of `tilestudy.analysis.wear.ordinal`: session and batch are
random where there are several, the tile where it has several scores, and the scorer. A term is tested on the hidden scale and
told as the change it makes to the chance that a tile passes. Verdicts follow the rule of `tilestudy.analysis.work`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from tilestudy.analysis import wording
from tilestudy.analysis.drivers import gather
from tilestudy.analysis.findings import LEAST_DF, Drift, ResponseFindings, ResponseSpec, TermFinding
from tilestudy.analysis.mixed import Array, Estimate, FTest
from tilestudy.analysis.model import STRATA, Term, build_model
from tilestudy.analysis.naming import Show, show_plainly
from tilestudy.analysis.usable import Usable, usable
from tilestudy.analysis.wear import wording as chance_wording
from tilestudy.analysis.wear.ordinal import OrdinalFit, fit_ordinal
from tilestudy.analysis.wear.passing import PERCENT, Chances
from tilestudy.analysis.work import Work
from tilestudy.study.records import Factor, Setting

LEAST_TOLD = 4
"""Batches or sessions from which on the size of their luck is told; of fewer it is little more than a guess."""

LEAST_POINTS = 5.0

DRAWS = 600
SEED = 1
"""The draws are the same each time, so that the same grades give the same sentences."""


class GradeWork(Work):
    """The fit of the grades of one condition: what `Work` asks, answered in chances to pass."""

    linear = False

    def _fit(self) -> None:
        spec = self.spec
        passing = float(spec.passing if spec.passing is not None else np.median(self.y))
        self.spec = replace(spec, passing=passing)
        self.ordinal: OrdinalFit = fit_ordinal(self.y, self.X[:, 1:], self._groups(), keep=[passing])
        self.plain = fit_ordinal(self.y, self.X[:, 1:], keep=[passing]) if self.n_batches > 1 else None
        self.set_aside = self.ordinal.latent.set_aside
        settings = self.data.tiles[list(self.model.codings)]
        draws = self.ordinal.latent.draws(np.random.default_rng(SEED), DRAWS)
        self.chances = Chances(self.model, settings, self.ordinal, passing, draws, self.model.spare["tile"])
        self._known: dict[tuple[object, ...], Array] = {}

    def at(self, settings: Mapping[str, Setting], without: Term | None = None) -> Array:
        """Draws of the chance to pass at these settings, percent."""
        key = (*sorted(settings.items()), without)
        if key not in self._known:
            self._known[key] = self.chances.at(settings, without)
        return self._known[key]

    def contrast(self, row: Array, level: float | None = None) -> Estimate:
        """Tell a difference between chances, in percentage points."""
        if self.alike:
            return Estimate(0.0)
        return self.chances.difference(row, level or self.level)

    def _test(self, term: Term) -> FTest | None:
        if self.alike or term.name in self.luck or self.model.spare["tile"] < 1:
            return None
        test = self.ordinal.test([column - 1 for column in term.columns], self.model.spare["tile"])
        return None if test.ddf < LEAST_DF else test

    def _naive_p(self, term: Term) -> float | None:
        if self.plain is None:
            return None
        return self.plain.test([column - 1 for column in term.columns], self.n_rows - self.model.width).p

    def variance(self, terms: Sequence[TermFinding]) -> dict[str, float | None]:
        """Squared standard deviations of the luck of each group, in squared logits; None where these tiles cannot tell."""
        by_place = {place: [t for t in terms if t.set_per == place] for place in STRATA}
        unmeasured = {place for place, those in by_place.items() if those and all(t.p is None for t in those)}
        shown: dict[str, float | None] = {}
        for name in self._groups():
            if name == "session" and self.set_aside.get(name) == "same as batch":
                continue
            lost = self.alike or name in self.set_aside or name in self.luck.values() or name in unmeasured
            shown[name] = None if lost else self.ordinal.sd[name] ** 2
        return shown

    def opening(self) -> str:
        """Say what passes, and whose chance is told."""
        return chance_wording.opening(self.spec, self.batch_word, self.n_batches, self.n_scorers)

    def ends_told(self, found: TermFinding) -> tuple[float, float]:
        """Chances at both ends of a main effect."""
        name = found.factors[0]
        low, high = (self.at({name: setting}) for setting in (found.setting_low, found.setting_high))
        return float(low.mean()), float(high.mean())

    def noise_sentences(self, variance: Mapping[str, float | None]) -> list[str]:
        """Say how far the luck of batches and sessions moves the chance to pass."""
        said = []
        for name, word, many in (
            ("session", "session", self.n_sessions),
            ("batch", self.batch_word, self.n_batches),
        ):
            low, high = self._between(name) if variance.get(name) is not None else (0.0, 0.0)
            if many >= LEAST_TOLD and high - low >= LEAST_POINTS:
                said.append(chance_wording.luck_sentence(low, high, word))
        return said

    def _between(self, name: str) -> tuple[float, float]:
        """Chances of a middling tile in a poor and in a good batch: one standard deviation of luck down and up."""
        sd = self.ordinal.sd[name]
        middle = -self.ordinal.cuts[self.ordinal.cut(self.chances.grade)]
        ends = PERCENT / (1.0 + np.exp(-(middle + sd * np.array([-1.0, 1.0]))))
        return float(ends[0]), float(ends[1])

    def best_told(self) -> str:
        """Say which of the settings made has the highest chance to pass, with its range."""
        levels = [
            [coding.levels[i] for i in coding.nearest(self.data.tiles[name].tolist())]
            for name, coding in self.model.codings.items()
        ]
        each = [dict(zip(self.model.codings, one, strict=True)) for one in dict.fromkeys(zip(*levels, strict=True))]
        best = max(each, key=lambda one: float(self.at(one).mean()))
        where = [wording.place(value, self.factors[name], self.show) for name, value in best.items()]
        found = self.chances.estimate(self.at(best), self.level)
        return chance_wording.best_sentence(where, found if self.ranged else Estimate(found.value), self.spec)


def analyse_grades(
    frame: pd.DataFrame,
    factors: Sequence[Factor],
    spec: ResponseSpec,
    *,
    show: Show = show_plainly,
    batch_word: str = "batch",
    level: float = 0.95,
    study: str = "NAME",
) -> ResponseFindings:
    """Find out which factors drive the chance that a tile passes the rub test of one condition.

    Parameters
    ----------
    frame : frame
        As for `tilestudy.analysis.drivers.analyse`, with the grade in ``y`` and the `scorer`.
    factors, show, batch_word, level, study
        As there.
    spec : ResponseSpec
        From `grade_spec`; without a passing grade the median of the given grades serves.

    Returns
    -------
    ResponseFindings
        Effects in percentage points, levels and predictions in percent.

    Raises
    ------
    NotEnoughError
        As `analyse` does.

    Examples
    --------
    >>> from tilestudy.analysis.findings import grade_spec
    >>> tiles = pd.DataFrame({"tile": list("abcdefghijkl"), "batch": list("111222333444"), "session": 1, "scorer": "kw",
    ...     "scrubs": [1.0, 2, 4] * 4, "y": [2.5, 4, 5, 3, 4, 4.5, 2.5, 3.5, 5, 3, 4.5, 5]})
    >>> scrubs = Factor("scrubs", (1.0, 2.0, 4.0), spacing="geometric")
    >>> analyse_grades(tiles, [scrubs], grade_spec("dry", 4.0)).term("scrubs").verdict
    'drives'
    """
    data = usable(frame, factors, spec, study)
    model = build_model(data.tiles, factors, show, batch_word, wording.value_of(spec))
    work = GradeWork(data, model, {factor.name: factor for factor in factors}, spec, show, batch_word, level)
    return gather(work, _drift(data, work), work.chances)


def _drift(data: Usable, work: GradeWork) -> Drift | None:
    """Change of the chance to pass from a batch's first reference tile to its last: one slope for all batches."""
    rows = data.rows[data.rows["reference"]]
    if rows.empty:
        return None
    at = rows["order"].to_numpy(dtype=float) if "order" in rows else rows.groupby("batch")["tile"].transform(_turns)
    at = pd.Series(np.asarray(at, dtype=float), index=rows.index)
    first, last = (at.groupby(rows["batch"]).transform(end) for end in ("min", "max"))
    rows = rows[last > first]
    if rows.empty:
        return None
    place = (2.0 * (at - first) / (last - first) - 1.0)[rows.index].to_numpy(dtype=float)
    batches = int(rows["batch"].nunique())
    groups = {"batch": rows["batch"].factorize()[0]}
    if len(rows) > rows["tile"].nunique():
        groups |= {"tile": rows["tile"].factorize()[0], "scorer": rows["scorer"].factorize()[0]}
    passing = work.chances.grade
    fit = fit_ordinal(rows["y"].to_numpy(dtype=float), place[:, None], groups, keep=[passing])
    chances = fit.pass_draws([[-1.0], [1.0]], passing, np.random.default_rng(SEED), DRAWS)
    spare = float(rows["tile"].nunique() - batches - 1)
    found = replace(work.chances, spare=spare).difference(PERCENT * (chances[:, 1] - chances[:, 0]), work.level)
    if batches < 2 and rows["tile"].nunique() < 3:
        return Drift(found.value, None, None, batches, "cannot tell")
    assert found.low is not None
    assert found.high is not None
    smallest = work.spec.smallest_that_matters or 0.0
    if found.low > 0 or found.high < 0:
        return Drift(found.value, found.low, found.high, batches, "drifts", abs(found.value) < smallest)
    settled = max(-found.low, found.high) <= smallest
    return Drift(found.value, found.low, found.high, batches, "no sign" if settled else "not settled")


def _turns(tiles: pd.Series) -> Array:
    return np.asarray(tiles.factorize()[0], dtype=float)
