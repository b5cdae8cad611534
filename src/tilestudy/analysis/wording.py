"""Plain sentences about findings, for people who never took a course in statistics: size, unit and range first."""

from __future__ import annotations

import math
from collections.abc import Mapping

from tilestudy.analysis.findings import Kind, ResponseSpec, TermFinding
from tilestudy.analysis.mixed import Estimate
from tilestudy.analysis.naming import Show, plural
from tilestudy.study.records import Factor, Setting

RANGE_EXPLAINED = "The range in brackets would contain the true change in 95 of 100 such studies."
MINUS = "\N{MINUS SIGN}"

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
    """Return what is spoken of: "the tile", "the dry rub grade", "resistance"."""
    if spec.kind in _MOVES:
        return "the tile"
    return f"the {spec.label}" if spec.kind == "grade" else spec.label


def moves(spec: ResponseSpec, up: bool) -> str:
    """Return "the tile darkens", "the dry rub grade rises"."""
    if spec.kind in _MOVES:
        return _MOVES[spec.kind][0 if up else 1]
    return f"{subject(spec)} {'rises' if up else 'falls'}"


def makes(spec: ResponseSpec, up: bool) -> str:
    """Return "darkens the tile", "raises the dry rub grade"."""
    if spec.kind in _MAKES:
        return _MAKES[spec.kind][0 if up else 1]
    return f"{'raises' if up else 'lowers'} {subject(spec)}"


def is_more(spec: ResponseSpec, up: bool) -> str:
    """Return "darker", "higher"."""
    return _IS_MORE.get(spec.kind, ("higher", "lower"))[0 if up else 1]


def verb(label: str, one: str, many: str) -> str:
    """Choose the verb for a factor's label: "scrub cycles drive", "strength drives"."""
    return many if label.endswith("s") and not label.endswith("ss") else one


def number(value: float, decimals: int, sign: bool = False) -> str:
    """Write a number with so many decimals and a true minus sign.

    >>> number(-0.04, 1), number(-2.0, 0), number(3.0, 0, sign=True)
    ('0', '−2', '+3')
    """
    text = f"{abs(value):.{decimals}f}"
    if not float(text):
        return "0"
    return (MINUS if value < 0 else "+" if sign else "") + text


def decimals_for(spread: float, value: float = 0.0) -> int:
    """Return decimals that a number with this half-range (or, without one, this size) deserves."""
    size = spread if spread > 0 else abs(value) / 10
    if not size > 0:
        return 0
    return min(max(0, math.ceil(-math.log10(size / 2))), 12)


def unit_of(spec: ResponseSpec) -> str:
    """Return the unit with the space before it, or nothing."""
    return f" {spec.unit}" if spec.unit else ""


def size(value: float, low: float | None, high: float | None, spec: ResponseSpec) -> str:
    """Write the size of a change and its range, both along the direction of the change: "14 L* (9 to 19)"."""
    places = decimals_for((high - low) / 2 if low is not None and high is not None else 0.0, value)
    text = f"{number(abs(value), places)}{unit_of(spec)}"
    if low is None or high is None or low == high:
        return text
    ends = (low, high) if value >= 0 else (-high, -low)
    return f"{text} ({number(ends[0], places)} to {number(ends[1], places)})"


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


def capital(text: str) -> str:
    """Write the first letter large."""
    return text[:1].upper() + text[1:]


def p_text(p: float) -> str:
    """Write a probability: "p = 0.003", "p less than 0.001"."""
    if p < 0.001:
        return "p less than 0.001"
    return f"p = {p:.3f}" if p < 0.0995 else f"p = {p:.2f}"


def main_sentence(found: TermFinding, factor: Factor, spec: ResponseSpec, show: Show, many: int) -> str:
    """Say what one factor does."""
    label = factor.label
    up = found.effect >= 0
    how_much = size(found.effect, found.low, found.high, spec)
    named = isinstance(found.setting_low, str)
    if named:
        low, high = show(found.setting_low, factor), show(found.setting_high, factor)
        change = f"With {high} {subject(spec)} is {_more(how_much, is_more(spec, True))} than with {low}"
    else:
        change = f"{capital(span(found.setting_low, found.setting_high, factor, show))} {moves(spec, up)} by {how_much}"
    if found.verdict == "drives":
        return f"{change}: {label} {verb(label, 'drives', 'drive')} it."
    if found.verdict == "may drive":
        return f"{change}: {label} may drive it, but {found.why}."
    if found.verdict == "cannot tell":
        return f"{_seen(found, how_much, factor, spec, show)}, but {found.why}."
    if found.low is None or found.high is None:
        return f"{capital(label)}: {found.why}."
    places = decimals_for((found.high - found.low) / 2)
    ends = f"{number(found.low, places, True)} and {number(found.high, places, True)}{unit_of(spec)}"
    between = (
        f"the widest gap between its levels ({show(found.setting_high, factor)} against {show(found.setting_low, factor)})"
        if named
        else f"the change {bare_span(found.setting_low, found.setting_high, factor, show)}"
    )
    if named and many == 2:
        between = f"{show(found.setting_high, factor)} against {show(found.setting_low, factor)}"
    return f"No sign that {label} {verb(label, 'matters', 'matter')} for {_short(spec)}: {between} is between {ends}."


def _seen(found: TermFinding, how_much: str, factor: Factor, spec: ResponseSpec, show: Show) -> str:
    """Say what these tiles showed, without claiming that others would."""
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
    return subject(spec) if spec.kind == "grade" else spec.label


def doubling_sentence(found: TermFinding, factor: Factor, spec: ResponseSpec) -> str:
    """Say what each doubling does, or nothing where there is no sign of it."""
    per = found.per_doubling
    if per is None or per.low is None or found.verdict not in ("drives", "may drive"):
        return ""
    return (
        f"Each doubling of {factor.label} {makes(spec, per.value >= 0)} by {size(per.value, per.low, per.high, spec)}."
    )


def bend_sentence(found: TermFinding, middle: Setting, factor: Factor, spec: ResponseSpec, show: Show) -> str:
    """Say that a factor's effect bends, or nothing where there is no sign of it."""
    if found.verdict not in ("drives", "may drive"):
        return ""
    how_much = _more(size(found.effect, found.low, found.high, spec), is_more(spec, found.effect >= 0))
    line = bare_span(found.setting_low, found.setting_high, factor, show)
    end = (
        f"the effect of {factor.label} is not a straight line"
        if found.verdict == "drives"
        else f"the effect of {factor.label} may bend, but {found.why}"
    )
    return f"Halfway, at {show(middle, factor)}, {subject(spec)} is {how_much} than a straight line {line} would have it: {end}."


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
    ways = [change.value >= 0 for change in changes]
    sizes = [size(change.value, change.low, change.high, spec) for change in changes]
    places = [place(a, second, show) for a in at]
    run = bare_span(found.setting_low, found.setting_high, first, show)
    one = f"{run} {moves(spec, ways[0])} by {sizes[0]} {places[0]}"
    again = "by" if ways[0] == ways[1] else f"{moves(spec, ways[1]).removeprefix(subject(spec) + ' ')} by"
    end = "" if found.verdict == "drives" else f", but {found.why}"
    return f"The effect of {first.label} {depends} on {second.label}: {one} and {again} {sizes[1]} {places[1]}{end}."


def place(setting: Setting, factor: Factor, show: Show) -> str:
    """Write "at 9 g/L", "at 4 scrub cycles", "with wax"."""
    text = show(setting, factor)
    if isinstance(setting, str):
        return f"with {text}"
    return f"at {text}" if factor.unit or " " in text else f"at {text} {label_for(text, factor)}"


def noise_sentence(variance: Mapping[str, float | None], spec: ResponseSpec, batch_word: str, batches: int) -> str:
    """Say how far batches made alike and tiles made alike scatter; `batches` is 0 where each held one tile."""
    tile = variance.get("tile")
    batch = variance.get("batch")
    unit = unit_of(spec)
    explain = "(standard deviation: about two in three lie closer to their average than this)"

    def sd(value: float) -> str:
        root = math.sqrt(value)
        return f"{number(root, decimals_for(root))}{unit}"

    alike = plural(batch_word)
    if tile is None:
        return ""
    if batches < 2:
        return f"Tiles made alike scatter by about {sd(tile)} {explain}."
    if batch is None:
        return f"Tiles made alike in one {batch_word} scatter by about {sd(tile)} {explain}."
    if batch <= 1e-6 * tile:
        return (
            f"Tiles made alike in one {batch_word} scatter by about {sd(tile)} {explain}; {alike} made alike show no "
            f"scatter beyond that, though {batches} {alike} can hide some."
        )
    return (
        f"{capital(alike)} made alike scatter by about {sd(batch)}, and tiles made alike in one {batch_word} by about "
        f"{sd(tile)} {explain}."
    )
