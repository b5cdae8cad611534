"""One response on its way from rows to tested and judged terms.

The rule for a verdict, one for all terms and never a lone p below 0.05:

- "cannot tell": there is no noise to judge the term by (each setting had one batch or session only, there are too few
  tiles, no noise was seen at all, or every value is the same), or it always changed together with another factor.
- "drives": p after Holm's correction over all tested terms of the response is at most 0.05, and the effect is at
  least `smallest_that_matters` (when one is stated).
- "may drive": the 95 % range of the effect leaves out nought, or p is at most 0.05, but one of the two conditions of
  "drives" fails.
- "no sign": the whole 95 % range lies within plus and minus `smallest_that_matters`; for a factor analysed level by level
  the ranges of all pairs of levels do. Without a stated `smallest_that_matters` nothing is ever called "no sign": no
  range is narrow unless somebody says what would be.
- "not settled": anything else. Changes that would matter fit these tiles, and so does none.

Sources: Holm (1979), Scand. J. Statist. 6:65; the batch as whole plot: Yates (1935), J. Roy. Statist. Soc. Suppl. 2:181.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from tilestudy.analysis import noise_wording, wording
from tilestudy.analysis.colour.photo_error import widened
from tilestudy.analysis.findings import (
    ALPHA,
    LEAST_DF,
    PassCount,
    ResponseSpec,
    TermFinding,
    Verdict,
    bend_instead,
    rescaled,
)
from tilestudy.analysis.mixed import Array, Estimate, FTest, MixedFit, fit_mixed
from tilestudy.analysis.model import STRATA, CodedModel, Coding, Term, indicators
from tilestudy.analysis.naming import Show, speak
from tilestudy.analysis.usable import Usable
from tilestudy.study.language import listed, plural
from tilestudy.study.records import Factor, SetPer, Setting


def holm(p_values: Sequence[float]) -> tuple[float, ...]:
    """Correct p values for having asked several questions, after Holm (1979).

    >>> holm([0.01, 0.04, 0.03])
    (0.03, 0.06, 0.06)
    """
    m = len(p_values)
    corrected = [0.0] * m
    highest = 0.0
    for place, i in enumerate(sorted(range(m), key=lambda i: p_values[i])):
        highest = max(highest, min(1.0, (m - place) * p_values[i]))
        corrected[i] = highest
    return tuple(corrected)


class Work:
    """The fit of one response, and what is asked of it. `luck` maps terms without an honest test to the reason's stratum."""

    linear = True  # a change along a scale is the same for each doubling

    def __init__(
        self,
        data: Usable,
        model: CodedModel,
        factors: Mapping[str, Factor],
        spec: ResponseSpec,
        show: Show,
        batch_word: str,
        level: float,
    ) -> None:
        self.data, self.model, self.factors, self.spec = data, model, factors, spec
        self.show, self.batch_word, self.level = show, batch_word, level
        self.labels = {name: factor.label for name, factor in factors.items()}
        self.y = data.rows["y"].to_numpy(dtype=float)
        self.n_tiles, self.n_rows = len(data.tiles), len(data.rows)
        self.n_batches, self.n_sessions = data.count("batch"), data.count("session")
        self.n_scorers = data.count("scorer") if "scorer" in data.rows else 0
        self.several = self.n_rows > self.n_tiles
        self.X = model.matrix(data.rows)
        self.fit: MixedFit | None = None
        self.naive: MixedFit | None = None
        self.shift = float(np.median(self.y))
        self.scale = 1.0
        self.set_aside: Mapping[str, str] = {}
        self.perfect = False
        self.no_residual = False
        self.by_pairs: set[str] = set()  # terms told between levels that are not the first and last
        self.reach: dict[str, float] = {}  # by term: the largest change that fits, either way
        self.alike = bool(np.ptp(self.y) <= 8 * np.finfo(float).eps * float(np.abs(self.y).max()))
        self._fit()
        self.luck = self._find_luck()
        self.ranged = not self.alike and not self.perfect and not self.luck

    def _fit(self) -> None:
        """Fit the rows, and once more as if every row were independent."""
        if self.alike:
            return
        apart = float(np.abs(self.y - self.shift).max())
        self.scale = 2.0 ** math.ceil(math.log2(apart))  # a power of two: not a digit is lost
        z = (self.y - self.shift) / self.scale
        self.fit = fit_mixed(z, self.X, self._groups())
        self.naive = fit_mixed(z, self.X) if self.n_batches > 1 else None
        self.set_aside = self.fit.set_aside
        self.perfect, self.no_residual = self.fit.perfect, self.fit.no_residual

    def _groups(self) -> dict[str, Array]:
        rows = self.data.rows
        groups = {}
        if self.n_batches > 1:
            groups["batch"] = rows["batch"].factorize()[0]
        if self.n_sessions > 1:
            groups["session"] = rows["session"].factorize()[0]
        if self.several:
            groups["tile"] = rows["tile"].factorize()[0]
            if self.n_scorers > 1:
                groups["scorer"] = rows["scorer"].factorize()[0]
        return groups

    def _find_luck(self) -> dict[str, SetPer]:
        """Terms that cannot be told from the luck of a session or batch, and which of the two.

        Either no sessions (batches) are to spare beyond the settings made in them, level by level; or the columns of
        the model span the sessions (batches), so that a lucky one moves the term's coefficients.
        """
        luck: dict[str, SetPer] = {}
        for stratum in STRATA[:2]:
            if self.data.count(stratum) < 2:
                continue
            Z = indicators(self.data.rows[stratum].factorize()[0])
            shifts = None
            if self.set_aside.get(stratum) == "in the model":
                shifts = np.abs(np.linalg.lstsq(self.X, Z - Z.mean(axis=0), rcond=None)[0]).max(axis=1)
            for term in self.model.terms:
                alone = term.set_per == stratum and self.model.spare[stratum] < 1
                if alone or (shifts is not None and shifts[list(term.columns)].max() > 1e-7):
                    luck.setdefault(term.name, stratum)
        return luck

    def terms(self) -> tuple[TermFinding, ...]:
        """Test and judge every term of the model."""
        drafts = [self._draft(term) for term in self.model.terms]
        tested = [i for i, draft in enumerate(drafts) if draft.p is not None]
        corrected = holm([p for draft in drafts if (p := draft.p) is not None])
        for i, p_holm in zip(tested, corrected, strict=True):
            drafts[i] = replace(drafts[i], p_holm=p_holm)
        judged = [self._judge(draft, len(tested)) for draft in drafts]
        return tuple(
            replace(one, why=f"no slope from end to end is seen, but the middle lies off the line: see {bend}")
            if (other := bend_instead(judged, one)) and (bend := speak(other.term, self.labels))
            else one
            for one in judged
        )

    def contrast(self, row: Array, level: float | None = None) -> Estimate:
        """Estimate a combination of the coefficients; without a range where no noise was seen."""
        if self.fit is None:
            return Estimate(0.0)
        if float(np.abs(row).max()) < 1e-9:
            return Estimate(0.0)
        found = self.fit.contrast(row, level or self.level)
        if abs(found.value) <= 1e-11:
            found = replace(found, value=0.0)
        if self.fit.perfect or (found.ddf is not None and found.ddf < LEAST_DF):
            found = Estimate(found.value)
        return self._measured(rescaled(found, self.scale))

    def _measured(self, found: Estimate) -> Estimate:
        """Widen a range by what the measurement itself may be off."""
        if not self.spec.scale_error or found.low is None or found.high is None:
            return found
        low, high = widened(found.value, found.low, found.high, self.spec.scale_error)
        return replace(found, low=low, high=high)

    def ends(self, coding: Coding) -> list[tuple[Setting, Setting]]:
        """Pairs of settings an effect is told between: the ends of a scale, or each pair of named levels."""
        if coding.factor.numeric and not any(isinstance(level, str) for level in coding.levels):
            return [(coding.levels[0], coding.levels[-1])]
        return list(combinations(coding.levels, 2))

    def every_pair(self, coding: Coding) -> list[tuple[Setting, Setting]]:
        """Pairs of settings that may differ: the ends of a scale, or each pair of levels compared level by level."""
        return list(combinations(coding.levels, 2)) if coding.scale == "steps" else self.ends(coding)

    def change(self, name: str, low: Setting, high: Setting, at: Mapping[str, Setting] | None = None) -> Array:
        """Coefficients of the change when one factor goes from low to high, others at `at` or averaged."""
        rest = dict(at or {})
        return self.at({**rest, name: high}) - self.at({**rest, name: low})

    def at(self, settings: Mapping[str, Setting], without: Term | None = None) -> Array:
        """What `contrast` tells the mean at these settings from, linearly; `without` leaves out what a term adds."""
        row = self.model.row(settings)
        if without is not None:
            row[list(without.columns)] = 0.0
        return row

    def _apart(
        self, name: str, mine: tuple[Setting, Setting], other: str, its: tuple[Setting, Setting], without: Term | None
    ) -> Array:
        """How much the change by one factor differs between two settings of another, with or without what a term adds."""
        return sum(
            (sign * self.at({name: a, other: b}, without)
             for a, b, sign in ((mine[1], its[1], 1), (mine[0], its[1], -1), (mine[1], its[0], -1), (mine[0], its[0], 1))),
            start=np.zeros(1),
        )  # fmt: skip

    def _widest(self, rows: list[Array]) -> tuple[int, Estimate]:
        """The contrast of greatest size, with its Bonferroni range."""
        estimates = [self.contrast(row, 1.0 - (1.0 - self.level) / len(rows)) for row in rows]
        best = max(range(len(rows)), key=lambda i: abs(estimates[i].value))
        return best, estimates[best]

    def _draft(self, term: Term) -> TermFinding:
        coding = self.model.codings[term.factors[0]]
        name = term.factors[0]
        test = self._test(term)
        doubling: Estimate | None = None
        ends, pairs = self.ends(coding), self.every_pair(coding)
        if term.kind == "main":
            rows = [self.change(name, low, high) for low, high in pairs]
            best, effect = self._widest([self.change(name, low, high) for low, high in ends])
            if len(pairs) > len(ends) and test is not None and (test.p or 0.0) <= ALPHA and _holds_nought(effect):
                ends = pairs  # numbers compared level by level, and it is not the first and last that differ
                best, effect = self._widest(rows)
            low, high = ends[best]
            if effect.value < 0 and isinstance(low, str):
                low, high = high, low
                effect = rescaled(effect, -1.0)
                effect = replace(effect, se=_minus(effect.se), low=effect.high, high=effect.low)
            if self.linear and coding.scale == "log" and isinstance(low, float) and isinstance(high, float):
                doubling = rescaled(effect, 1.0 / float(np.log2(high / low)))
        elif term.kind == "bend":
            low, high = ends[0]
            middle = self.middle(coding)

            def bent(without: Term | None) -> Array:
                ends = self.at({name: low}, without) + self.at({name: high}, without)
                return self.at({name: middle}, without) - ends / 2.0

            row = bent(None) - bent(term)
            rows = [row]
            effect = self.contrast(row)
        else:
            other = self.model.codings[term.factors[1]]

            def differing(mine: Choices, its: Choices) -> tuple[list[tuple[Setting, Setting]], list[Array]]:
                both = [(one, at) for one in mine for at in its]
                return [one for one, _ in both], [
                    self._apart(name, one, other.name, at, None) - self._apart(name, one, other.name, at, term)
                    for one, at in both
                ]

            all_spans, rows = differing(pairs, self.every_pair(other))
            spans, told = differing(ends, self.ends(other))
            best, effect = self._widest(told)
            if len(rows) > len(told) and test is not None and (test.p or 0.0) <= ALPHA and _holds_nought(effect):
                self.by_pairs.add(term.name)
                spans = all_spans
                best, effect = self._widest(rows)
            low, high = spans[best]
        if test is None or effect.low is None:
            test = None
            effect = Estimate(effect.value)
            doubling = Estimate(doubling.value) if doubling else None
        elif (reach := self._reach(rows)) is not None:
            self.reach[term.name] = reach
        naive = self._naive_p(term)
        return TermFinding(
            term=term.name,
            kind=term.kind,
            factors=term.factors,
            set_per=term.set_per,
            df=len(term.columns),
            ddf=test.ddf if test else None,
            F=test.F if test else None,
            p=test.p if test else None,
            p_holm=None,
            effect=effect.value,
            low=effect.low,
            high=effect.high,
            unit=self.spec.unit,
            setting_low=low,
            setting_high=high,
            per_doubling=doubling,
            verdict="no sign",
            why="",
            naive_p=naive,
        )

    def _test(self, term: Term) -> FTest | None:
        """Test one term, or None where the noise it must be judged by was not measured."""
        if self.fit is None or self.fit.perfect or term.name in self.luck:
            return None
        test = self.fit.test(np.eye(self.model.width)[list(term.columns)])
        unmeasured = test.ddf < LEAST_DF or (term.set_per == "tile" and self.model.spare["tile"] < 1)
        return None if unmeasured else test

    def _naive_p(self, term: Term) -> float | None:
        """p of a fit that takes every row as independent."""
        return self.naive.test(np.eye(self.model.width)[list(term.columns)]).p if self.naive is not None else None

    def _reach(self, rows: list[Array]) -> float | None:
        """Largest change, either way, that fits any of these contrasts; None where one has no range."""
        estimates = [self.contrast(row, 1.0 - (1.0 - self.level) / len(rows)) for row in rows]
        ends = [end for one in estimates for end in (one.low, one.high)]
        return None if any(end is None for end in ends) else max(abs(end) for end in ends if end is not None)

    def middle(self, coding: Coding) -> float:
        """The setting half-way along a factor's scale, stored units."""
        ends = [level for level in (coding.levels[0], coding.levels[-1]) if not isinstance(level, str)]
        return coding.decoded(float(coding.coded(ends).mean()))

    def _judge(self, found: TermFinding, asked: int) -> TermFinding:
        """Apply the rule in the module's first lines."""
        verdict, why = self._verdict(found, asked)
        return replace(found, verdict=verdict, why=why)

    def _verdict(self, found: TermFinding, asked: int) -> tuple[Verdict, str]:
        spec = self.spec
        name = speak(found.term, self.labels)
        if self.alike:
            return "cannot tell", "every value is the same"
        if self.perfect:
            return "cannot tell", "no noise at all was seen between the tiles, so no range can be given"
        if found.p is None or found.p_holm is None:
            if found.term in self.luck:
                return "cannot tell", self._luck(found, name)
            many = plural(self.unit(found.set_per))
            return (
                "cannot tell",
                f"there are too few {many} to measure the noise between {many}, by which it must be judged",
            )
        others = self.model.together.get(found.term, ())
        if others:
            with_what = listed([speak(other, self.labels) for other in others])
            return "cannot tell", f"{name} and {with_what} changed together on these tiles, so either may be the cause"
        smallest = spec.smallest_that_matters or 0.0
        clear = found.p_holm <= ALPHA
        matters = abs(found.effect) >= smallest
        if clear and matters:
            return (
                "drives",
                f"chance alone is an unlikely cause ({wording.p_text(found.p_holm)}, corrected for {asked} questions)",
            )
        outside = found.low is not None and found.high is not None and (found.low > 0 or found.high < 0)
        if outside or found.p <= ALPHA:
            if not clear:
                return (
                    "may drive",
                    f"{asked} questions were asked of the same tiles and one such answer can come by chance",
                )
            this = "this"
            if found.kind == "pair":
                this = f"the difference, {wording.size(found.effect, found.low, found.high, spec, smallest)},"
            return "may drive", f"{this} is less than the {wording.amount(smallest, spec)} that would matter"
        reach = self.reach.get(found.term)
        if smallest and reach is not None and reach <= smallest:
            return (
                "no sign",
                f"any change that fits these tiles is smaller than the {wording.amount(smallest, spec)} that would matter",
            )
        if found.low is None or found.high is None:
            return "not settled", "no range could be given"
        return "not settled", f"any change {wording.between(found.low, found.high, spec)} fits these tiles"

    def _luck(self, found: TermFinding, name: str) -> str:
        unit = self.unit(self.luck[found.term])
        if found.kind == "pair":
            return f"{name} cannot be told from {unit} luck: make {self.another(unit)} at each combination of settings"
        return (
            f"{name} cannot be told from {unit} luck: make {self.another(unit)} at each {self.each(found.factors[0])}"
        )

    def unit(self, stratum: SetPer) -> str:
        """What the bench calls a batch or session."""
        return self.batch_word if stratum == "batch" else stratum

    def another(self, unit: str) -> str:
        """Write "a second freshly made bath", "a second session"."""
        return f"a second freshly made {unit}" if unit == self.batch_word else f"a second {unit}"

    def each(self, name: str) -> str:
        """Write what follows "each": "strength", "setting of scrub cycles"."""
        label = self.labels[name]
        return wording.verb(label, label, f"setting of {label}")

    def variance(self, terms: Sequence[TermFinding]) -> dict[str, float | None]:
        """Squared standard deviations by source of noise; None where these tiles cannot tell.

        Noise too poorly measured to judge any term by is not told as a number either.
        """
        residual = "repeats" if self.several else "tile"
        shown: dict[str, float | None] = {}
        if self.fit is None:
            return {"tile": 0.0}
        aside = self.fit.set_aside
        by_place = {place: [t for t in terms if t.set_per == place] for place in STRATA}
        unmeasured = {place for place, those in by_place.items() if those and all(t.p is None for t in those)}
        if self.fit.perfect:
            unmeasured = set()
        for name in self._groups():
            if name == "session" and aside.get(name) == "same as batch":
                continue  # a batch each session: its luck is called the batch's
            lost = name in aside or name in self.luck.values() or name in unmeasured
            shown[name] = None if lost else self.fit.variance[name] * self.scale**2
        shown[residual] = None if residual in unmeasured else self.fit.variance["residual"] * self.scale**2
        return shown

    def noise_sentences(self, variance: Mapping[str, float | None]) -> list[str]:
        """Say how far batches, tiles, sessions and repeats made alike lie apart."""
        if self.alike or self.perfect:
            return []
        apart = self.set_aside.get("batch") != "one row each"
        spec, word = self.spec, self.batch_word
        said = [
            noise_wording.noise_sentence(variance, spec, word, self.n_batches if apart else 0),
            noise_wording.session_sentence(variance, spec, word, self.n_sessions),
            noise_wording.repeats_sentence(variance, spec),
        ]
        return [one for one in said if one]

    def opening(self) -> str:
        """Say first what the findings speak of, where that is not plain; nothing here."""
        return ""

    def best_told(self) -> str:
        """Say where tiles do best, where that can be told as a chance; nothing here."""
        return ""

    def ends_told(self, found: TermFinding) -> tuple[float, float] | None:
        """Return the values at both ends of a main effect where the sentence tells them too; none here."""
        return None

    def pass_counts(self) -> dict[str, tuple[PassCount, ...]]:
        """Count, at each level of each factor, the tiles whose median grade passes; reference tiles are not counted."""
        counted = ~self.data.tiles["reference"].to_numpy(dtype=bool)
        if self.spec.passing is None or not counted.any():
            return {}
        medians = self.data.rows.groupby("tile", sort=False)["y"].median()
        passes = medians.loc[self.data.tiles["tile"]].to_numpy() >= self.spec.passing - 1e-9
        counts = {}
        for name, coding in self.model.codings.items():
            index = np.asarray(coding.nearest(self.data.tiles[name].tolist()))
            counts[name] = tuple(
                PassCount(setting, int(passes[counted & (index == i)].sum()), int((counted & (index == i)).sum()))
                for i, setting in enumerate(coding.levels)
            )
        return counts


def _minus(value: float | None) -> float | None:
    return None if value is None else -value


def _holds_nought(one: Estimate) -> bool:
    return one.low is not None and one.high is not None and one.low <= 0 <= one.high


Choices = list[tuple[Setting, Setting]]
