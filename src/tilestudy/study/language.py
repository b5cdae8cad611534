"""Small pieces of language that sentences everywhere share: lists, counts, plurals, capitals. Pure."""

from __future__ import annotations

from collections.abc import Sequence


def plural(word: str) -> str:
    """Return a bench word for many: baths, batches, heats.

    >>> plural("bath"), plural("batch"), plural("load")
    ('baths', 'batches', 'loads')
    """
    return word + ("es" if word.endswith(("ch", "sh", "s", "x")) else "s")


def count(number: int, word: str) -> str:
    """Write a count with its word: 1 bath, 2 baths, 3 batches.

    >>> count(1, "bath"), count(3, "batch"), count(2, "tile")
    ('1 bath', '3 batches', '2 tiles')
    """
    return f"{number} {word if number == 1 else plural(word)}"


def listed(words: Sequence[str], joined: str = "and") -> str:
    """Write "a, b and c"; nothing for no words.

    >>> listed(["1 g/L", "3 g/L", "9 g/L"], "or")
    '1 g/L, 3 g/L or 9 g/L'
    """
    return f" {joined} ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else list(words))


def columns(rows: Sequence[Sequence[str]]) -> list[str]:
    """Return the lines of a table: cells padded to their column, two blanks between.

    >>> columns([["tile", "grade"], ["K7", "4.5"]])
    ['tile  grade', 'K7    4.5']
    """
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return ["  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip() for row in rows]


def capital(text: str) -> str:
    """Write the first letter large.

    >>> capital("dip time")
    'Dip time'
    """
    return text[:1].upper() + text[1:]


def title_of(study: str) -> str:
    """Return a study's name for people to read.

    >>> title_of("house-number_plaques")
    'House number plaques'
    """
    return capital(study.replace("-", " ").replace("_", " "))
