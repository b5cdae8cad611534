"""One response on its way from rows to tested and judged terms.

The rule for a verdict, one for all terms and never a lone p below 0.05:

- "cannot tell": there is no noise to judge the term by (each setting had one batch or session only, there are too few
  tiles, or no noise was seen at all), or it always changed together with another factor.
- "drives": p after Holm's correction over all tested terms of the response is at most 0.05, and the effect is at
  least `smallest_that_matters` (when one is stated).
- "may drive": the 95 % range of the effect leaves out nought, or p is at most 0.05, but one of the two conditions of
  "drives" fails.
- "no sign": anything else.

Sources: Holm (1979), Scand. J. Statist. 6:65; the batch as whole plot: Yates (1935), J. Roy. Statist. Soc. Suppl. 2:181.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import pandas as pd

from tilestudy.analysis import wording
from tilestudy.analysis.findings import LEAST_DF, PassCount, ResponseSpec, TermFinding, Verdict
from tilestudy.analysis.mixed import Array, Estimate, FTest, MixedFit, fit_mixed
from tilestudy.analysis.model import STRATA, CodedModel, Coding, Term, indicators
from tilestudy.analysis.naming import Show, listed, speak
from tilestudy.errors import NotEnoughError
from tilestudy.study.records import Factor, SetPer, Setting

ALPHA = 0.05


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


@dataclass(frozen=True)
class Usable:
    """The usable rows, the tiles among them, and what fell out."""

    rows: pd.DataFrame
    tiles: pd.DataFrame
    notes: tuple[str, ...]

    def count(self, column: str) -> int:
        """How many batches, sessions or scorers there are."""
        return int(self.rows[column].nunique())


def usable(frame: pd.DataFrame, factors: Sequence[Factor], response: ResponseSpec) -> Usable:
    """Keep the rows that have a value and every setting; raises NotEnoughError when fewer than two tiles are left."""
    wanted = ["tile", "batch", "session", *(factor.name for factor in factors), "y"]
    absent = [name for name in wanted if name not in frame.columns]
    if absent:
        raise NotEnoughError(
            f"The values of {response.label} come without {listed(absent)}, so nothing can be compared."
        )
    kept = [*wanted, *(["scorer"] if "scorer" in frame.columns else [])]
    rows = frame.loc[:, kept]
    finite = np.isfinite(pd.to_numeric(rows["y"], errors="coerce").to_numpy(dtype=float))
    whole = finite & rows.drop(columns="y").notna().all(axis=1).to_numpy()
    notes = []
    if not whole.all():
        lost = int((~whole).sum())
        notes.append(
            f"{lost} {'row has' if lost == 1 else 'rows have'} no value or no setting and {'was' if lost == 1 else 'were'} left out."
        )
    rows = rows.loc[whole].reset_index(drop=True)
    tiles = rows.drop_duplicates("tile").reset_index(drop=True)
    if len(tiles) < 2:
        have = "No tile has" if tiles.empty else f"Only one tile ({tiles['tile'].iloc[0]}) has"
        raise NotEnoughError(
            f"{have} a value of {response.label}, and it takes several to compare. Enter the other tiles' values first."
        )
    return Usable(rows, tiles, tuple(notes))


class Work:
    """The fit of one response, and what is asked of it. `luck` maps terms without an honest test to the reason's stratum."""

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
        if np.ptp(self.y) > 1e-12 * max(1.0, float(np.abs(self.y).max())):
            self.fit = fit_mixed(self.y, self.X, self._groups())
            self.naive = fit_mixed(self.y, self.X) if self.n_batches > 1 else None
        self.luck = self._find_luck()
        self.ranged = self.fit is not None and not self.fit.perfect and not self.luck

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
            if self.fit is not None and self.fit.set_aside.get(stratum) == "in the model":
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
        return tuple(self._judge(draft, len(tested)) for draft in drafts)

    def contrast(self, row: Array, level: float | None = None) -> Estimate:
        """Estimate a combination of the coefficients; without a range where no noise was seen."""
        if self.fit is None:
            return Estimate(0.0)
        found = self.fit.contrast(row, level or self.level)
        value = found.value if abs(found.value) > 1e-11 * float(np.abs(self.y).max()) else 0.0
        if self.fit.perfect or (found.ddf is not None and found.ddf < LEAST_DF):
            return Estimate(value)
        return replace(found, value=value)

    def ends(self, coding: Coding) -> list[tuple[Setting, Setting]]:
        """Pairs of settings an effect is taken between: the ends of a scale, or each pair of named levels."""
        if coding.factor.numeric and not any(isinstance(level, str) for level in coding.levels):
            return [(coding.levels[0], coding.levels[-1])]
        return list(combinations(coding.levels, 2))

    def change(self, name: str, low: Setting, high: Setting, at: Mapping[str, Setting] | None = None) -> Array:
        """Coefficients of the change when one factor goes from low to high, others at `at` or averaged."""
        rest = dict(at or {})
        return self.model.row({**rest, name: high}) - self.model.row({**rest, name: low})

    def _widest(self, rows: list[Array]) -> tuple[int, Estimate]:
        """The contrast of greatest size, with its Bonferroni range."""
        estimates = [self.contrast(row, 1.0 - (1.0 - self.level) / len(rows)) for row in rows]
        best = max(range(len(rows)), key=lambda i: abs(estimates[i].value))
        return best, estimates[best]

    def _draft(self, term: Term) -> TermFinding:
        coding = self.model.codings[term.factors[0]]
        name = term.factors[0]
        doubling: Estimate | None = None
        ends = self.ends(coding)
        if term.kind == "main":
            best, effect = self._widest([self.change(name, low, high) for low, high in ends])
            low, high = ends[best]
            if effect.value < 0 and isinstance(low, str):
                low, high = high, low
                effect = Estimate(-effect.value, effect.se, effect.ddf, _minus(effect.high), _minus(effect.low))
            if coding.scale == "log" and isinstance(low, float) and isinstance(high, float):
                doublings = float(np.log2(high / low))
                doubling = _divided(effect, doublings)
        elif term.kind == "bend":
            low, high = ends[0]
            middle = self.middle(coding)
            row = self.model.row({name: middle}) - (self.model.row({name: low}) + self.model.row({name: high})) / 2.0
            effect = self.contrast(row)
        else:
            other = self.model.codings[term.factors[1]]
            both = [(mine, its) for mine in ends for its in self.ends(other)]
            rows = [
                self.change(name, *mine, {other.name: its[1]}) - self.change(name, *mine, {other.name: its[0]})
                for mine, its in both
            ]
            best, effect = self._widest(rows)
            low, high = both[best][0]
        columns = np.eye(self.model.width)[list(term.columns)]
        test: FTest | None = None
        if self.fit is not None and not self.fit.perfect and term.name not in self.luck:
            test = self.fit.test(columns)
            if test.ddf < LEAST_DF or effect.low is None or (term.set_per == "tile" and self.model.spare["tile"] < 1):
                test = None
        naive = self.naive.test(columns).p if self.naive is not None else None
        if test is None:
            effect = Estimate(effect.value)
            doubling = Estimate(doubling.value) if doubling else None
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
        if self.fit is None:
            return "no sign", "every value is the same"
        if self.fit.perfect:
            return "cannot tell", "no noise at all was seen between the tiles, so no range can be given"
        if found.p is None or found.p_holm is None:
            if found.term in self.luck:
                return "cannot tell", self._luck(found, name)
            return "cannot tell", "the tiles are too few to measure the noise it must be judged by"
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
            unit = wording.unit_of(spec)
            return "may drive", f"this is less than the {smallest:g}{unit} that would matter"
        if smallest and found.low is not None and found.high is not None:
            reach = max(-found.low, found.high)
            if reach >= smallest:
                places = wording.decimals_for(reach / 5)
                return (
                    "no sign",
                    f"a change of {wording.number(reach, places)}{wording.unit_of(spec)} cannot be ruled out either",
                )
        return "no sign", "the range includes no change at all"

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

    def variance(self) -> dict[str, float | None]:
        """Squared standard deviations by source of noise; None where these tiles cannot tell."""
        residual = ("scoring" if self.n_scorers else "repeats") if self.several else "tile"
        shown: dict[str, float | None] = {}
        if self.fit is None:
            return {"tile": 0.0}
        aside = self.fit.set_aside
        for name in self._groups():
            if name == "session" and aside.get(name) == "same as batch":
                continue  # a batch each session: its luck is called the batch's
            shown[name] = None if name in aside or name in self.luck.values() else self.fit.variance[name]
        shown[residual] = self.fit.variance["residual"]
        return shown

    def pass_counts(self) -> dict[str, tuple[PassCount, ...]]:
        """Count, at each level of each factor, the tiles whose median grade passes."""
        if self.spec.passing is None:
            return {}
        medians = self.data.rows.groupby("tile", sort=False)["y"].median()
        passes = medians.loc[self.data.tiles["tile"]].to_numpy() >= self.spec.passing - 1e-9
        counts = {}
        for name, coding in self.model.codings.items():
            index = np.asarray(coding.nearest(self.data.tiles[name].tolist()))
            counts[name] = tuple(
                PassCount(setting, int(passes[index == i].sum()), int((index == i).sum()))
                for i, setting in enumerate(coding.levels)
            )
        return counts


def _minus(value: float | None) -> float | None:
    return None if value is None else -value


def _divided(estimate: Estimate, by: float) -> Estimate:
    parts = [None if part is None else part / by for part in (estimate.se, estimate.low, estimate.high)]
    return Estimate(estimate.value / by, parts[0], estimate.ddf, parts[1], parts[2])
