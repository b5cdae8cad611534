"""How far each tile's colour moved between two stages: the grade of change in colour, ISO 105-A05, with CIEDE2000 and names.

The spots of a tile are averaged in L*a*b*, which one series allows; each tile's grade comes from its two means. Grades are
never averaged: the middle and the ends of them are told.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from statistics import median
from typing import Any

import numpy as np

from tilestudy.colour.adaptation import adapt
from tilestudy.colour.difference import ciede2000, lab_of
from tilestudy.colour.grades import change_difference, change_grade, change_half_grade, written
from tilestudy.colour.names import name_of
from tilestudy.errors import NotEnoughError, WrongRequestError
from tilestudy.study.language import capital, columns, listed
from tilestudy.study.records import STAGES, Lab, Reading


@dataclass(frozen=True)
class Change:
    """One tile at two stages.

    Attributes
    ----------
    tile : str
    before, after : Lab
        Mean colours under D65.
    grade : float
        ISO 105-A05, 1 to 5, between the half grades too.
    half_grade : float
        As reported.
    ciede2000 : float
    """

    tile: str
    before: Lab
    after: Lab
    grade: float
    half_grade: float
    ciede2000: float


@dataclass(frozen=True)
class Changes:
    """The tiles measured at two stages, in run order; `missing` are those measured at one of them only.

    `error` is the expected CIEDE2000 error of one colour, None where it is small or not known.
    """

    study: str
    first: str
    second: str
    tiles: tuple[Change, ...]
    missing: tuple[str, ...] = ()
    error: float | None = None

    def text(self) -> str:
        """Return a table, a line a tile, and what to know of it."""
        head = ("tile", "grade", "half grade", "CIEDE2000", self.first, self.second)
        rows = [
            (
                one.tile,
                f"{one.grade:.1f}",
                written(one.half_grade),
                f"{one.ciede2000:.1f}",
                name_of(one.before),
                name_of(one.after),
            )
            for one in self.tiles
        ]
        lines = [f"Change in colour from {self.first} to {self.second}, ISO 105-A05 (5 = no change, 1 = the most):"]
        lines += [f"  {line}" for line in columns((head, *rows))]
        halves = sorted(one.half_grade for one in self.tiles)
        if len(halves) > 2:
            middle = halves[(len(halves) - 1) // 2]
            lines.append(
                f"The middle tile has grade {written(middle)}, the most changed {written(halves[0])}, the least "
                f"{written(halves[-1])}."
            )
        if self.error is not None:
            lines.append(
                f"The photos tell a colour to about {self.error:.1f} CIEDE2000, so a change below "
                f"{self.error * 2**0.5:.1f} may be theirs and not the tile's."
            )
        if self.missing:
            lines.append(f"Measured at one of the two stages only: {listed(self.missing)}.")
        return "\n".join(lines)

    def as_dict(self) -> dict[str, Any]:
        """Return it with stable keys."""
        return {
            "study": self.study,
            "between": [self.first, self.second],
            "error": self.error,
            "tiles": [
                {**asdict(one), "name_before": name_of(one.before), "name_after": name_of(one.after)}
                for one in self.tiles
            ],
            "missing": list(self.missing),
        }


def changes(
    study: str, order: Iterable[str], readings: Iterable[Reading], first: str, second: str, series: str = ""
) -> Changes:
    """Return how far the tiles' colours moved from one stage to another.

    Parameters
    ----------
    study : str
        Its name, for messages.
    order : iterable of str
        Tile codes in run order; others are left out.
    readings : iterable of Reading
    first, second : str
        Stages.
    series : str
        Which series of readings; "" for the study's own.

    Raises
    ------
    WrongRequestError
        For a stage that there is not, the same one twice, or a light that is not known.
    NotEnoughError
        When no tile was measured at both stages in that series, or the readings of the two cannot be compared.

    Examples
    --------
    >>> from datetime import date
    >>> seen = [Reading("K7", stage, date(2026, 11, 24), L, 20, 25) for stage, L in (("cured", 40), ("sealed", 36.6))]
    >>> changes("plaques", ["K7"], seen, "cured", "sealed").tiles[0].half_grade
    3.0
    """
    for stage in (first, second):
        if stage not in STAGES:
            raise WrongRequestError(f'There is no stage "{stage}". Stages: {", ".join(STAGES)}.')
    if first == second:
        raise WrongRequestError(f"The two stages are the same, {first}. Name two, such as --between cured sealed.")
    every = list(readings)
    here = [one for one in every if one.series.casefold() == series.casefold() and one.stage in (first, second)]
    conditions = {tuple(part.casefold() for part in one.conditions) for one in here}
    if len(conditions) > 1:
        raise NotEnoughError(
            f"The readings of {study} at {first} and {second} come from different instruments or viewing conditions, and are "
            "never compared. Measure both stages alike."
        )
    if any(one.relative for one in here):
        raise NotEnoughError(
            f"The colours of {study} come from photos without reference patches, and two such photos cannot be compared. "
            f'Photograph the tiles with references: "tilestudy photo {study} PHOTO --references FILE".'
        )
    means: dict[tuple[str, str], Lab] = {}
    for tile in order:
        for stage in (first, second):
            labs = [
                adapt([one.L, one.a, one.b], one.illuminant, one.observer)
                for one in here
                if (one.tile, one.stage) == (tile, stage)
            ]
            if labs:
                means[tile, stage] = lab_of(np.mean(labs, axis=0))
    both = [tile for tile in dict.fromkeys(tile for tile, _ in means) if {(tile, first), (tile, second)} <= set(means)]
    if not both:
        raise NotEnoughError(_none_of_both(study, every, first, second, series))
    found = []
    for tile in both:
        before, after = means[tile, first], means[tile, second]
        d = change_difference(before, after)
        found.append(
            Change(
                tile,
                before,
                after,
                float(change_grade(d)),
                float(change_half_grade(d)),
                float(ciede2000(before, after)),
            )
        )
    missing = tuple(dict.fromkeys(tile for tile, _ in means if tile not in both))
    errors = [one.error for one in here if one.error is not None]
    return Changes(study, first, second, tuple(found), missing, median(errors) if errors else None)


def _none_of_both(study: str, every: list[Reading], first: str, second: str, series: str) -> str:
    whose = f'in the series "{series}"' if series else "in its own series"
    others = sorted({one.series for one in every} - {series})
    hint = ""
    if others:
        hint = f" There are also the series {listed([one or 'own' for one in others])}: name one with --series."
    there = sorted({one.stage for one in every if one.series == series}, key=STAGES.index)
    has = f"There are readings at {listed(there)}" if there else "There are no readings"
    return capital(f"no tile of {study} was measured both {first} and {second} {whose}. {has}.{hint}")
