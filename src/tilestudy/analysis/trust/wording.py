"""Plain sentences about trust in a model: what lies off, what rests on one tile, and what to do about it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from tilestudy.analysis import wording
from tilestudy.analysis.findings import ResponseSpec, TermFinding
from tilestudy.analysis.naming import Show, speak
from tilestudy.analysis.numbers import significant
from tilestudy.analysis.trust.influence import Shift
from tilestudy.analysis.trust.records import Influence, LackOfFit, Said, Spread, SpreadGroup, Trust
from tilestudy.study.language import capital, listed, plural
from tilestudy.study.records import Factor

SD_EXPLAINED = "standard deviation: about two in three lie closer to their average than this"


@dataclass(frozen=True)
class Words:
    """The words of one response and study."""

    spec: ResponseSpec
    factors: Mapping[str, Factor]
    show: Show
    batch: str
    study: str
    several: bool = True  # batches

    def tile_off(self, code: str, batch: str, shift: Shift, gained: Sequence[str], lost: Sequence[str]) -> str:
        """Say that a tile lies far off, and what to do."""
        where, its = (f" ({self.batch} {batch})", f" and its {self.batch}") if self.several else ("", "")
        return (
            f"Tile {code}{where} {self._came_out(shift)} than its settings{its} say: check its reading and its record "
            f"(tilestudy history {self.study} {code}). Only if they show a fault, mark it spoiled "
            f"(tilestudy made {self.study} {code} --spoiled){self._changes(gained, lost)}."
        )

    def batch_off(self, code: str, shift: Shift, gained: Sequence[str], lost: Sequence[str]) -> str:
        """Say that a batch lies far off, and what to do."""
        return (
            f"{capital(self.batch)} {code} {self._came_out(shift)} than the other {plural(self.batch)} say: look at its record. Only "
            f"if it shows a fault, mark its tiles spoiled{self._changes(gained, lost)}."
        )

    def either_off(
        self, kind: str, code: str, other: str, shift: Shift, gained: Sequence[str], lost: Sequence[str]
    ) -> str:
        """Say that two tiles or batches which only each other can check came out far apart."""
        one = self.batch if kind == "batch" else "tile"
        words, size = plural(one), wording.size(shift.value, shift.low, shift.high, self.spec)
        look = "their records" if kind == "batch" else "both and at their records"
        return (
            f"{capital(words)} {code} and {other} should be alike and came out {size} apart, more than {words} alike "
            f"otherwise do, so one of them may be off: look at {look}. Only if they show a fault, mark "
            f"{'the tiles of ' if kind == 'batch' else ''}that {one} spoiled{self._changes(gained, lost, f'either {one}')}."
        )

    def carries(self, carried: Sequence[Influence], terms: Mapping[str, TermFinding]) -> str:
        """Say that a finding rests on one tile or batch."""
        first = carried[0]
        who = f"Tile {first.code}" if first.kind == "tile" else f"{capital(self.batch)} {first.code}"
        what = listed([self._spoken(terms[one.term]) for one in carried])
        head = f"{who} alone carries {what}: "
        with_it = self._told(first.effect, first.low, first.high, terms[first.term])
        without = self._told(first.effect_without, first.low_without, first.high_without, terms[first.term])
        again = (
            f"Look at it and its reading again (tilestudy history {self.study} {first.code}), or make it again, before you build on this"
            if first.kind == "tile"
            else f"Make that {self.batch} again before you build on this"
        )
        one = f"{with_it} with it; without it {without}. "
        return f"{head}{one}{again}."

    def alone(self, code: str, terms: Sequence[TermFinding]) -> str:
        """Say that no other tile tells a finding at all."""
        what = listed([self._spoken(term) for term in terms])
        return f"No tile but {code} shows {what}: make such a tile again before you build on this."

    def lack_of_fit(self, fit: LackOfFit) -> str:
        """Say that the model does not describe the means of tiles made alike."""
        at = listed([self._at(name, setting) for name, setting in fit.settings.items()])
        more = wording.is_more(self.spec, fit.apart >= 0)
        tiles = "the tile" if fit.tiles == 1 else f"the {fit.tiles} tiles"
        return (
            f"Lines, bends and pairs of factors do not describe all that was seen of {self.spec.spoken}: {tiles} at {at} came out "
            f"{significant(abs(fit.apart), 2)}{wording.unit_of(self.spec)} {more} than the model says, more than tiles made alike "
            f"scatter ({wording.p_text(fit.p)}: how often chance alone would show as much). Keep to settings that were tried, or "
            "try some between them, before you trust a prediction."
        )

    def spread(self, spread: Spread, calm: SpreadGroup, wild: SpreadGroup) -> str:
        """Say that some tiles scatter more than others."""
        many, few = (f"{significant(group.sd, 2)}{wording.unit_of(self.spec)}" for group in (wild, calm))
        what = "" if self.spec.kind in ("lightness", "redness", "yellowness") else f" in {self.spec.spoken}"
        if spread.by == "batch":
            return (
                f"The tiles of {self.batch} {wild.label} scatter{what} by about {many}, those of {self.batch} {calm.label} by "
                f"{few} ({SD_EXPLAINED}): look at the log of {self.batch} {wild.label} for what went on in it."
            )
        if spread.by == "predicted":
            up = wild.label == "upper half"
            where = f"that come out {wording.is_more(self.spec, up)}"
            where = f"where {self.spec.spoken} is {'high' if up else 'low'}" if what else where
            other = "the others"
        else:
            factor = self.factors[spread.by]
            where, other = self._place(wild.label, factor), f"those {self._place(calm.label, factor)}"
        return (
            f"Tiles {where} scatter{what} by about {many}, {other} by {few} ({SD_EXPLAINED}): trust the ranges less for the "
            "former, and make more tiles there."
        )

    # --- pieces ------------------------------------------------------------------------------------------------------------

    def _came_out(self, shift: Shift) -> str:
        size = wording.size(shift.value, shift.low, shift.high, self.spec)
        head, bracket, tail = size.partition(" (")
        what = "" if self.spec.kind in ("lightness", "redness", "yellowness") else f" in {self.spec.spoken}"
        return f"came out {head} {wording.is_more(self.spec, shift.value >= 0)}{what}{bracket}{tail}"

    def _changes(self, gained: Sequence[str], lost: Sequence[str], without: str = "it") -> str:
        labels = {name: factor.label for name, factor in self.factors.items()}
        told = [
            f"{listed([speak(one, labels) for one in terms])} would {how} {'a driver' if len(terms) == 1 else 'drivers'}"
            for terms, how in ((gained, "be called"), (lost, "no longer be called"))
            if terms
        ]
        return f"; without {without} {' and '.join(told)}" if told else ""

    def _spoken(self, term: TermFinding) -> str:
        labels = [self.factors[name].label for name in term.factors]
        if term.kind == "main":
            return f"the effect of {labels[0]}"
        if term.kind == "bend":
            return f"the bend of {labels[0]}"
        return f"the finding that {labels[0]} and {labels[1]} work on each other"

    def _told(self, effect: float | None, low: float | None, high: float | None, term: TermFinding) -> str:
        if effect is None:
            return "nothing tells it"
        if low is not None and high is not None and low <= 0 <= high:
            return f"any change {wording.between(low, high, self.spec)} fits"
        if term.kind != "main":
            return f"it is {significant(effect, 2)}{wording.unit_of(self.spec)}"
        size = wording.size(effect, low, high, self.spec)
        factor = self.factors[term.factors[0]]
        run = wording.bare_span(term.setting_low, term.setting_high, factor, self.show)
        return f"{run} {wording.moves(self.spec, effect >= 0)} by {size}"

    def _at(self, name: str, setting: float | str) -> str:
        factor = self.factors[name]
        return f"{factor.label} {self.show(setting, factor)}"

    def _place(self, shown: str, factor: Factor) -> str:
        if not factor.numeric:
            return f"with {shown}"
        return f"at {shown}" if factor.unit or " " in shown else f"at {shown} {wording.label_for(shown, factor)}"


def study_sentences(trusts: Iterable[Trust]) -> tuple[str, ...]:
    """Tell the trust in all responses of a study together, each matter once.

    A tile or batch that several responses point at is told by the one that shows it most; the others are named.
    """
    by_matter: dict[tuple[str, str], list[tuple[Said, str]]] = {}
    for trust in trusts:
        for one in trust.said:
            by_matter.setdefault((one.kind, one.code), []).append((one, trust.spoken))
    told = []
    order = ("batch", "tile", "lack of fit", "spread")
    for (kind, _), found in sorted(by_matter.items(), key=lambda item: order.index(item[0][0])):
        first, spoken = max(found, key=lambda pair: pair[0].size) if kind in ("tile", "batch") else found[0]
        others = [other for _, other in found if other != spoken]
        also = "show it too" if len(others) > 1 else "shows it too"
        same = f" {capital(listed(others)) if others[0][:2].isalpha() else listed(others)} {also}." if others else ""
        told.append(first.text + same)
    return tuple(told)
