"""Plain sentences about findings, for people who never took a course in statistics: size, unit and range first."""

from __future__ import annotations

import math

from tilestudy.analysis.findings import ALPHA, Kind, ResponseSpec, TermFinding
from tilestudy.analysis.mixed import Estimate
from tilestudy.analysis.naming import Show
from tilestudy.analysis.numbers import decimals_for, decimals_telling, end_of_range, number, significant
from tilestudy.analysis.wear.wording import percent
from tilestudy.study.language import capital
from tilestudy.study.records import Factor, Setting

RANGE_EXPLAINED = "The range in brackets would contain the true change in 95 of 100 such studies."

_MOVES: dict[Kind, tuple[str, str]] = {
    "lightness": ("the tile lightens", "the tile darkens"),
    "redness": ("the tile turns redder", "the tile turns less red"),
    "yellowness": ("the tile turns yellower", "the tile turns less yellow"),
}
_MAKES: dict[Kind, tuple[str, str]] = {
    "lightness": ("lightens the tile", "darkens the tile"),
    "redness": ("turns the tile redder", "turns the tile less red"),
    "yellowness": ("turns the tile yellower", "turns the tile less yellow"),
}
_IS_MORE: dict[Kind, tuple[str, str]] = {
    "lightness": ("lighter", "darker"),
    "redness": ("redder", "less red"),
    "yellowness": ("yellower", "less yellow"),
}


def subject(spec: ResponseSpec) -> str:
    """Return what is spoken of: "the tile", "the chance to pass", "the difference from dark brown", "resistance"."""
    if spec.kind in _MOVES:
        return "the tile"
    return _short(spec)


def moves(spec: ResponseSpec, up: bool) -> str:
    """Return "the tile darkens", "the chance to pass rises"."""
    if spec.kind in _MOVES:
        return _MOVES[spec.kind][0 if up else 1]
    return f"{subject(spec)} {'rises' if up else 'falls'}"


def makes(spec: ResponseSpec, up: bool) -> str:
    """Return "darkens the tile", "raises the chance to pass"."""
    if spec.kind in _MAKES:
        return _MAKES[spec.kind][0 if up else 1]
    return f"{'raises' if up else 'lowers'} {subject(spec)}"


def is_more(spec: ResponseSpec, up: bool) -> str:
    """Return "darker", "higher"."""
    return _IS_MORE.get(spec.kind, ("higher", "lower"))[0 if up else 1]


def verb(label: str, one: str, many: str) -> str:
    """Choose the verb for a factor's label: "scrub cycles drive", "strength drives"."""
    return many if label.endswith("s") and not label.endswith("ss") else one


def unit_of(spec: ResponseSpec) -> str:
    """Return the unit with the space before it, or nothing."""
    return f" {spec.unit}" if spec.unit else ""


def size(value: float, low: float | None, high: float | None, spec: ResponseSpec, limit: float | None = None) -> str:
    """Write the size of a change and its range, both along the direction of the change: "14 L* (9 to 19)".

    With a limit, enough digits to see that the value lies below it.
    """
    if spec.kind == "strokes" and (low is None or high is None):
        return f"{times(value)} times as many strokes"
    if low is None or high is None or low == high:
        return f"{number(abs(value), 0 if spec.kind == 'grade' else decimals_for(0.0, value))}{unit_of(spec)}"
    if spec.kind == "strokes":
        return f"{times(value)} times as many strokes ({times(low)} to {times(high)})"
    places = _places(spec, low, high, value, limit=limit)
    first, last = (low, high) if value >= 0 else (-high, -low)
    head = f"{number(abs(value), places)}{unit_of(spec)}"
    return f"{head} ({_end(first, places, spec)} to {_end(last, places, spec)})"


def between(low: float, high: float, spec: ResponseSpec, limit: float | None = None) -> str:
    """Write a range that may hold nought: "between −2.8 and +0.6 L*"."""
    if spec.kind == "strokes":
        return f"between {times(low)} and {times(high)} times as many strokes"
    places = _places(spec, low, high, low, high, limit=limit)
    return f"between {_end(low, places, spec, True)} and {_end(high, places, spec, True)}{unit_of(spec)}"


def times(log_ratio: float) -> str:
    """Write a ratio that is known by its logarithm, to two digits: 0.45, 2.3."""
    return significant(math.exp(min(max(log_ratio, -20.0), 20.0)), 2)


def _places(spec: ResponseSpec, low: float, high: float, *compared: float, limit: float | None) -> int:
    """Decimals of a range: whole points for chances, unless that hides that a change lies below what matters."""
    if spec.kind != "grade":
        return decimals_telling(low, high, *compared, limit=limit)
    hidden = limit is not None and any(abs(one) < limit <= round(abs(one)) for one in compared)
    return 1 if hidden else 0


def _end(value: float, places: int, spec: ResponseSpec, sign: bool = False) -> str:
    """Write an end of a range; a part of a point is nought."""
    return number(value, places, sign) if spec.kind == "grade" else end_of_range(value, places, sign)


def amount(value: float, spec: ResponseSpec) -> str:
    """Write a stated number with its unit: "0.5", "2 L*"."""
    return f"{significant(value)}{unit_of(spec)}"


def span(low: Setting, high: Setting, factor: Factor, show: Show) -> str:
    """Write "from 1 to 9 g/L", "from 1 to 4 scrub cycles", "from wax to lacquer"."""
    first, last = show(low, factor), show(high, factor)
    if isinstance(low, str) or isinstance(high, str):
        return f"from {first} to {last}"
    head, gap, unit = last.partition(" ")
    if gap and first.endswith(f" {unit}"):
        return f"from {first.removesuffix(f' {unit}')} to {last}"
    if not gap and not factor.unit:
        return f"from {first} to {head} {factor.label}"
    return f"from {first} to {last}"


def bare_span(low: Setting, high: Setting, factor: Factor, show: Show) -> str:
    """Write `span` without the factor's name, where it was named just before."""
    return span(low, high, factor, show).removesuffix(f" {factor.label}")


def p_text(p: float) -> str:
    """Write a probability: "p = 0.003", "p less than 0.001"."""
    if p < 0.001:
        return "p less than 0.001"
    return f"p = {p:.3f}" if p < 0.0995 else f"p = {p:.2f}"


def main_sentence(
    found: TermFinding,
    factor: Factor,
    spec: ResponseSpec,
    show: Show,
    many: int,
    ends: tuple[float, float] | None = None,
) -> str:
    """Say what one factor does; `ends` are the chances at both ends, where chances are told."""
    label = factor.label
    named = isinstance(found.setting_low, str)
    how_much = size(found.effect, found.low, found.high, spec, spec.smallest_that_matters)
    if named:
        low, high = show(found.setting_low, factor), show(found.setting_high, factor)
        change = f"With {high} {subject(spec)} is {_more(how_much, is_more(spec, True))} than with {low}"
    else:
        run = span(found.setting_low, found.setting_high, factor, show)
        change = f"{capital(run)} {moves(spec, found.effect >= 0)} by {how_much}"
    if spec.kind == "strokes":
        change = _stands(found, how_much, factor, show)
    if ends is not None:
        change = _chances(found, ends, factor, spec, show)
    if found.verdict == "drives":
        mixed = found.low is not None and found.high is not None and found.low <= 0 <= found.high
        doubt = ", though no two of its levels can be told apart for certain" if mixed else ""
        return f"{change}: {label} {verb(label, 'drives', 'drive')} it{doubt}."
    if found.verdict == "may drive":
        limit = spec.smallest_that_matters
        if limit and abs(found.effect) < limit and found.p_holm is not None and found.p_holm <= ALPHA:
            moves_it = verb(label, "moves", "move")
            return f"{change}: {label} {moves_it} it, but by less than the {amount(limit, spec)} that would matter."
        return f"{change}: {label} may drive it, but {found.why}."
    if found.verdict == "cannot tell":
        return f"{_seen(found, how_much, factor, spec, show)}, but {found.why}."
    if found.low is None or found.high is None:
        return f"{capital(label)}: {found.why}."
    matters = verb(label, "matters", "matter")
    if found.verdict == "no sign":
        limit = spec.smallest_that_matters or 0.0
        would = f"{amount(limit, spec)} would matter"
        what = (
            f"the change {bare_span(found.setting_low, found.setting_high, factor, show)} is "
            if not named
            else f"{show(found.setting_high, factor)} against {show(found.setting_low, factor)} is "
            if many == 2
            else f"the widest gap between its levels ({show(found.setting_high, factor)} against "
            f"{show(found.setting_low, factor)}) is "
        )
        return (
            f"No sign that {label} {matters} for {_short(spec)}: {what}{between(found.low, found.high, spec, limit)}, "
            f"and {would}."
        )
    run = (
        bare_span(found.setting_low, found.setting_high, factor, show)
        if not named
        else f"for {show(found.setting_high, factor)} against {show(found.setting_low, factor)}"
    )
    widest = " (its widest gap)" if named and many > 2 else ""
    return (
        f"Whether {label} {matters} for {_short(spec)} is not settled: {run}{widest} any change "
        f"{between(found.low, found.high, spec)} fits these tiles."
    )


def _stands(found: TermFinding, how_much: str, factor: Factor, show: Show) -> str:
    """Write "From 1 to 9 g/L a tile stands 0.3 times as many strokes (0.1 to 0.7)"."""
    if isinstance(found.setting_low, str):
        head, bracket, tail = how_much.partition(" (")
        low, high = show(found.setting_low, factor), show(found.setting_high, factor)
        return f"With {high} a tile stands {head} as with {low}{bracket}{tail}"
    return f"{capital(span(found.setting_low, found.setting_high, factor, show))} a tile stands {how_much}"


def _chances(found: TermFinding, ends: tuple[float, float], factor: Factor, spec: ResponseSpec, show: Show) -> str:
    """Write "From 1 to 9 g/L the chance to pass falls from 92 % to 41 % (by 20 to 70 points)"."""
    first, last = percent(ends[0]), percent(ends[1])
    by = (
        size(found.effect, found.low, found.high, spec, spec.smallest_that_matters).partition(" (")[2].removesuffix(")")
    )
    if isinstance(found.setting_low, str):
        low, high = show(found.setting_low, factor), show(found.setting_high, factor)
        more = "more" if found.effect >= 0 else "less"
        return f"With {high} {subject(spec)} is {last}, {f'{by}{unit_of(spec)} ' if by else ''}{more} than with {low} ({first})"
    run = span(found.setting_low, found.setting_high, factor, show)
    return f"{capital(run)} {moves(spec, found.effect >= 0)} from {first} to {last}" + (
        f" (by {by}{unit_of(spec)})" if by else ""
    )


def by_its_middle(
    found: TermFinding, bend: TermFinding, middle: Setting, factor: Factor, spec: ResponseSpec, show: Show
) -> str:
    """Say in one sentence that a factor without a slope from end to end matters by its middle."""
    how_much = _more(
        size(bend.effect, bend.low, bend.high, spec, spec.smallest_that_matters), is_more(spec, bend.effect >= 0)
    )
    line = bare_span(found.setting_low, found.setting_high, factor, show)
    does = verb(factor.label, "matters", "matter") if bend.verdict == "drives" else "may matter"
    ends = ""
    if found.low is not None and found.high is not None:
        ends = f"; from end to end the change is {between(found.low, found.high, spec)}"
    doubt = "" if bend.verdict == "drives" else f". But {bend.why}"
    return (
        f"{capital(factor.label)} {does} for {_short(spec)} by {'its' if does != 'matter' else 'their'} middle: halfway, "
        f"{place(middle, factor, show)}, {subject(spec)} is {how_much} than a straight line {line} would have it"
        f"{ends}{doubt}."
    )


def _seen(found: TermFinding, how_much: str, factor: Factor, spec: ResponseSpec, show: Show) -> str:
    """Say what these tiles showed, without claiming that others would."""
    if spec.kind == "strokes":
        return _stands(found, how_much, factor, show).replace(" stands ", " stood ")
    what = "the tiles were" if subject(spec) == "the tile" else f"{subject(spec)} was"
    more = _more(how_much, is_more(spec, found.effect >= 0))
    low, high = show(found.setting_low, factor), show(found.setting_high, factor)
    if not isinstance(found.setting_low, str) and not factor.unit:
        low, high = f"{low} {label_for(low, factor)}", f"{high} {label_for(high, factor)}"
    if found.effect == 0:
        return f"{capital(what)} the same with {high} and {low}"
    return f"With {high} {what} {more} than with {low}"


def label_for(count: str, factor: Factor) -> str:
    """Return "scrub cycles", and "scrub cycle" for one of them."""
    one = count == "1" and verb(factor.label, "one", "many") == "many"
    return factor.label[:-1] if one else factor.label


def _more(how_much: str, word: str) -> str:
    """Put "lighter" between the size and its range: "14 L* lighter (9 to 19)"."""
    head, bracket, tail = how_much.partition(" (")
    return f"{head} {word}{bracket}{tail}"


def _short(spec: ResponseSpec) -> str:
    return {"grade": "the chance to pass", "strokes": "the strokes a tile stands"}.get(spec.kind, spec.spoken)


def doubling_sentence(found: TermFinding, factor: Factor, spec: ResponseSpec) -> str:
    """Say what each doubling does, or nothing where there is no sign of it."""
    per = found.per_doubling
    if per is None or per.low is None or found.verdict not in ("drives", "may drive"):
        return ""
    if spec.kind == "strokes":
        return f"Each doubling of {factor.label} makes it {size(per.value, per.low, per.high, spec)}."
    return (
        f"Each doubling of {factor.label} {makes(spec, per.value >= 0)} by {size(per.value, per.low, per.high, spec)}."
    )


def bend_sentence(found: TermFinding, middle: Setting, factor: Factor, spec: ResponseSpec, show: Show) -> str:
    """Say that a factor's effect bends, or nothing where there is no sign of it."""
    if found.verdict not in ("drives", "may drive"):
        return ""
    how_much = _more(
        size(found.effect, found.low, found.high, spec, spec.smallest_that_matters), is_more(spec, found.effect >= 0)
    )
    line = bare_span(found.setting_low, found.setting_high, factor, show)
    end = (
        f"the effect of {factor.label} is not a straight line"
        if found.verdict == "drives"
        else f"the effect of {factor.label} may bend, but {found.why}"
    )
    return f"Halfway, {place(middle, factor, show)}, {subject(spec)} is {how_much} than a straight line {line} would have it: {end}."


def pair_sentence(
    found: TermFinding,
    factors: tuple[Factor, Factor],
    at: tuple[Setting, Setting],
    changes: tuple[Estimate, Estimate],
    spec: ResponseSpec,
    show: Show,
) -> str:
    """Say how the effect of one factor depends on another, or nothing where there is no sign of it."""
    if found.verdict not in ("drives", "may drive"):
        return ""
    first, second = factors
    depends = "depends" if found.verdict == "drives" else "may depend"
    named = isinstance(found.setting_low, str)
    run = bare_span(found.setting_low, found.setting_high, first, show)
    if named:
        run = f"with {show(found.setting_high, first)} rather than {show(found.setting_low, first)}"
    places = [place(a, second, show) for a in at]

    def told(change: Estimate) -> str:
        how_much = size(change.value, change.low, change.high, spec)
        if named:
            return f"{subject(spec)} is {_more(how_much, is_more(spec, change.value >= 0))}"
        return f"{moves(spec, change.value >= 0)} by {how_much}"

    def open_range(change: Estimate) -> str:
        return between(change.low or 0.0, change.high or 0.0, spec)

    clear = [one.low is None or one.high is None or one.low > 0 or one.high < 0 for one in changes]
    if all(clear):
        one, two = told(changes[0]), told(changes[1]).removeprefix(f"{subject(spec)} ")
        if not named and (changes[0].value >= 0) == (changes[1].value >= 0):
            two = f"by {two.partition(' by ')[2]}"
        both = f"{run} {one} {places[0]} and {two} {places[1]}"
    elif any(clear):
        sure = 0 if clear[0] else 1
        both = (
            f"{run} {told(changes[sure])} {places[sure]}; {places[1 - sure]} any change {open_range(changes[1 - sure])} "
            "fits these tiles"
        )
    else:
        both = f"{run} the change is {open_range(changes[0])} {places[0]} and {open_range(changes[1])} {places[1]}"
    end = "" if found.verdict == "drives" else f", but {found.why}" if all(clear) else f". But {found.why}"
    return f"The effect of {first.label} {depends} on {second.label}: {both}{end}."


def place(setting: Setting, factor: Factor, show: Show) -> str:
    """Write "at 9 g/L", "at 4 scrub cycles", "with wax"."""
    text = show(setting, factor)
    if isinstance(setting, str):
        return f"with {text}"
    return f"at {text}" if factor.unit or " " in text else f"at {text} {label_for(text, factor)}"


def where_to_enter(spec: ResponseSpec, study: str) -> str:
    """Say what to type to enter values: one by one, or all filled forms."""
    command = (
        {"grade": "rub", "strokes": "rub", "number": "values"}.get(spec.kind, "colour")
        if not spec.of_colour
        else "colour"
    )
    return f'"tilestudy {command} {study}" (one by one) or "tilestudy enter {study}" (the filled forms)'


def value_of(spec: ResponseSpec) -> str:
    """Write what a tile has: "a value of L*", "a dry rub grade"."""
    if spec.kind == "strokes":
        return "a count of strokes"
    return f"a {spec.label}" if spec.kind == "grade" else f"a value of {spec.spoken}"
