"""Sentences about chances to pass."""

from __future__ import annotations

from collections.abc import Sequence

from tilestudy.analysis.findings import ResponseSpec
from tilestudy.analysis.mixed import Estimate
from tilestudy.study.language import listed, plural

LOWEST, HIGHEST = 1.0, 5.0


def percent(chance: float) -> str:
    """Write a chance: whole percent, and never 0 or 100.

    >>> percent(86.4), percent(99.8), percent(0.2)
    ('86 %', 'over 99 %', 'under 1 %')
    """
    if chance > 99.5:
        return "over 99 %"
    return f"{chance:.0f} %" if chance >= 0.5 else "under 1 %"


def chance_range(found: Estimate) -> str:
    """Write a chance with its range.

    >>> chance_range(Estimate(86.0, low=61.0, high=96.0)), chance_range(Estimate(97.0, low=74.0, high=99.9))
    ('86 % (61 to 96 %)', '97 % (74 % or more)')
    """
    if found.low is None or found.high is None:
        return percent(found.value)
    low, high = percent(found.low), percent(found.high)
    if found.high > 99.5:
        return f"{percent(found.value)} ({low if found.low < 99.5 else '99 %'} or more)"
    if found.low < 0.5:
        return f"{percent(found.value)} (up to {high})"
    return f"{percent(found.value)} ({low.removesuffix(' %')} to {high})"


def opening(spec: ResponseSpec, batch_word: str, batches: int, scorers: int) -> str:
    """Say what passes, and whose chance is told."""
    new = f" from a new {batch_word}" if batches > 1 else ""
    judged = ", judged by a scorer of average strictness" if scorers > 1 else ""
    return (
        f"A tile passes with a {spec.label} of {spec.passing:g} or better. Chances are those of one new tile{new}{judged}; "
        "1 point is 1 tile in 100."
    )


def luck_sentence(low: float, high: float, word: str) -> str:
    """Say how far the luck of a batch moves the chance to pass of a middling tile."""
    return (
        f"The luck of the {word} alone moves the chance of a middling tile between about {percent(low)} and {percent(high)} "
        f"(two {plural(word)} in three lie within that)."
    )


def best_sentence(where: Sequence[str], found: Estimate, spec: ResponseSpec) -> str:
    """Say which of the settings made passes most often, and how often."""
    first, *others = where
    settings = listed([first, *(one.removeprefix("at ") if first.startswith("at ") else one for one in others)])
    head, bracket, span = chance_range(found).partition(" (")
    return (
        f"Of the settings made, tiles do best {settings}: {head} of them would score {spec.passing:g} or better"
        f"{bracket}{span}."
    )


def all_alike(tiles: int, grade: float, spec: ResponseSpec) -> str:
    """Say that all grades are the same, at which end of the scale, and what would tell more."""
    alike = f"All {tiles} tiles are graded {grade:g}, so these grades cannot tell whether any factor matters"
    if grade >= HIGHEST:
        return (
            f"{alike}: 5 is the top of the scale, where differences hide. A harder rub, or more strokes, may show them."
        )
    if grade <= LOWEST:
        return f"{alike}: 1 is the bottom of the scale, where differences hide. A gentler rub may show them."
    return f"{alike}. A harder or gentler rub may show differences."
