"""Who may see what: a scorer with rub tests still to grade sees neither settings nor results of that study."""

from __future__ import annotations

import re

from tilestudy.errors import NotEnoughError
from tilestudy.outcomes.bench import Writer
from tilestudy.studio import Studio


def to_grade(studio: Studio, study: str, writer: Writer) -> tuple[str, ...]:
    """Return the conditions under which a scorer has tiles of a study left to grade; none for a keeper."""
    asked = studio.study(study).rub
    if writer.keeper or asked is None:
        return ()
    left = []
    for condition in asked.conditions:
        try:
            task = studio.bench_rub(study, condition, writer.mark)
        except NotEnoughError:  # nothing is made yet
            continue
        if task.done < len(task.tiles):
            left.append(condition)
    return tuple(left)


def own_lines(lines: tuple[str, ...], writer: Writer, *, blind: bool) -> tuple[str, ...]:
    """Return the lines of a tile's history that a visitor may see: a scorer sees no one else's grades, and while blind no settings.

    >>> lines = ("#3 rub: scorer KL, grade 4", "#2 rub: scorer MB, grade 3", "#1 made: actual dip time 34 s, by MB")
    >>> own_lines(lines, Writer("KL"), blind=True)
    ('#3 rub: scorer KL, grade 4',)
    >>> len(own_lines(lines, Writer("AB", keeper=True), blind=False))
    3
    """
    if writer.keeper:
        return lines
    mine = re.compile(rf"\bscorer {re.escape(writer.mark)}(,|$|;)")
    grade = re.compile(r"\brub\b|\bcloth", re.IGNORECASE)
    return tuple(one for one in lines if mine.search(one) or (not blind and not grade.search(one)))
