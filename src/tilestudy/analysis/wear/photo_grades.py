"""Cloths graded by photo beside the scorers' grades of the same rub tests: how far the two agree.

A photo's grade is a number without steps, a scorer's a rank in half steps; they are compared tile by tile and never pooled.
What drives durability is told from the scorers' grades alone.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from statistics import median
from typing import Any

from tilestudy.analysis.numbers import number
from tilestudy.study.language import count
from tilestudy.study.records import Cloth, Rub

CLOSE = 0.5
"""Grades, one half step, beyond which a cloth should be looked at again (common practice, no source)."""


@dataclass(frozen=True)
class PhotoGrades:
    """Cloths of one rub condition and round.

    Attributes
    ----------
    condition : str
    cloths : int
        Tiles with a cloth graded by photo.
    both : int
        Those of them that scorers graded too.
    middle, largest : float
        Median and largest difference between the photo's grade and the scorers' median, without sign; 0 where nobody scored.
    tile : str
        Where it is largest.
    """

    condition: str
    cloths: int
    both: int = 0
    middle: float = 0.0
    largest: float = 0.0
    tile: str = ""

    def sentences(self) -> list[str]:
        """Say how far photo and scorers agree, or that nobody has scored yet."""
        many = count(self.cloths, "cloth")
        if not self.both:
            are = "is" if self.cloths == 1 else "are"
            return [
                f"{many} of the {self.condition} rub {are} graded by photo only; no scorer yet, so what drives durability is not "
                "told."
            ]
        of = many if self.both == self.cloths else f"{self.both} of {many}"
        said = (
            f"The photo's grades of {of} lie {_grades(self.middle)} from the scorers' median at the middle tile and "
            f"{_grades(self.largest)} at most (tile {self.tile}); findings rest on the scorers alone."
        )
        if self.largest > CLOSE:
            said += " Look at the cloths that differ by more than half a grade again."
        return [said]

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain values with stable keys."""
        return {
            "condition": self.condition,
            "cloths": self.cloths,
            "both": self.both,
            "middle": self.middle,
            "largest": self.largest,
            "tile": self.tile,
        }


def photo_grades(
    cloths: Iterable[Cloth], rubs: Iterable[Rub], tiles: Collection[str], condition: str, round: int = 1
) -> PhotoGrades | None:
    """Compare cloths graded by photo with the scorers' grades.

    Parameters
    ----------
    cloths, rubs : iterables of Cloth, Rub
        Those of the condition and round count.
    tiles : collection of str
        Codes of the tiles that count.

    Returns
    -------
    PhotoGrades or None
        None where no cloth was graded.

    Examples
    --------
    >>> from datetime import date
    >>> day = date(2026, 1, 12)
    >>> cloths = [Cloth("K7", day, 3.9, (80, 2, 3), (94, 0, 1)), Cloth("K8", day, 4.4, (90, 0, 2), (94, 0, 1))]
    >>> found = photo_grades(cloths, [Rub("K7", "MB", day, 4.0), Rub("K7", "KL", day, 4.5)], {"K7", "K8"}, "dry")
    >>> found.cloths, found.both, round(found.largest, 2), found.tile
    (2, 1, 0.35, 'K7')
    """
    graded = {one.tile: one.grade for one in cloths if (one.condition, one.round) == (condition, round)}
    graded = {tile: grade for tile, grade in graded.items() if tile in tiles}
    if not graded:
        return None
    scored: dict[str, list[float]] = {}
    for rub in rubs:
        if rub.tile in graded and (rub.condition, rub.round) == (condition, round):
            scored.setdefault(rub.tile, []).append(rub.grade)
    if not scored:
        return PhotoGrades(condition, len(graded))
    off = {tile: abs(graded[tile] - median(grades)) for tile, grades in scored.items()}
    worst = max(off, key=lambda tile: off[tile])
    return PhotoGrades(condition, len(graded), len(off), float(median(off.values())), off[worst], worst)


def _grades(size: float) -> str:
    return f"{number(size, 1)} of a grade" if size < 1 else f"{number(size, 1)} grades"
