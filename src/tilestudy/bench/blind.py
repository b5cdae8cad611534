"""Who may see what: while a study's rub tests wait to be graded, scorers see neither its settings nor its results."""

from __future__ import annotations

import re

from tilestudy.outcomes.bench import Writer
from tilestudy.studio import Studio


def to_grade(studio: Studio, study: str, writer: Writer) -> tuple[str, ...]:
    """Return the conditions for whose rub tests a scorer has to stay blind; none for a keeper."""
    return () if writer.keeper else studio.bench_to_grade(study, writer.mark)


_LINE = re.compile(r"^#\d+\s+[\d-]+ [\d:]+ UTC\s+(?P<kind>\w+)(?: \([^)]*\))?: (?P<says>.*)$", re.DOTALL)


def own_lines(lines: tuple[str, ...], writer: Writer, *, blind: bool) -> tuple[str, ...]:
    """Return the lines of a tile's history that a visitor may see: a scorer sees no one else's grades, and while blind only the own.

    A line that cannot be read for what it is, is shown to keepers only.

    >>> lines = (
    ...     "#4  2026-11-08 12:00 UTC  rub (corrects #3): scorer KL, on 2026-11-08, grade 4",
    ...     "#2  2026-11-08 12:00 UTC  rub: scorer MB, on 2026-11-08, grade 3",
    ...     "#1  2026-11-01 12:00 UTC  made: actual dip time 34 s, by MB, note strong, said scorer KL, ok",
    ... )
    >>> [line[:2] for line in own_lines(lines, Writer("KL"), blind=True)]
    ['#4']
    >>> [line[:2] for line in own_lines(lines, Writer("KL"), blind=False)]
    ['#4', '#1']
    >>> len(own_lines(lines, Writer("AB", keeper=True), blind=False))
    3
    """
    if writer.keeper:
        return lines

    def shown(line: str) -> bool:
        found = _LINE.match(line)
        if found is None:
            return False
        if found["kind"] == "rub":
            return found["says"].startswith(f"scorer {writer.mark},")
        return not blind and found["kind"] in ("made", "batch", "colour", "value")

    return tuple(line for line in lines if shown(line))
