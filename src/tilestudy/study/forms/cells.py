"""One cell to a value, and the words for what is wrong with it."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Collection, Iterable, Sequence
from itertools import islice

from tilestudy.errors import WrongRequestError

_YES, _NO = ("yes", "y", "x", "1", "true", "✓", "✔"), ("no", "n", "0", "false", "-", "–")
_LOOKS = str.maketrans("OQDILZSBGU", "0001125860")  # letters taken for digits when stamped or written by hand


class CellError(Exception):
    """What is wrong with a cell, in words that follow the name of its column."""


def quoted(text: str) -> str:
    """Return a text in quotation marks."""
    return f'"{text}"'


def listing(parts: Sequence[str], word: str = "and") -> str:
    """Return a list as a phrase; `parts` is not empty.

    >>> listing(["L", "a", "b"], "or")
    'L, a or b'
    """
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} {word} {parts[-1]}"


def nearest_codes(code: str, known: Iterable[str]) -> tuple[str, ...]:
    """Return the known codes that a wrong one may stand for: look-alike characters first, then the nearest spelling.

    >>> nearest_codes("K0", ["KO", "K7", "A3"]), nearest_codes("A 3", ["A3", "C4"])
    (('KO',), ('A3',))
    """
    codes = list(dict.fromkeys(known))
    alike = [one for one in codes if _look(one) == _look(code)]
    if alike:
        return tuple(alike[:3])
    by_spelling = {one.casefold(): one for one in codes}
    likeness = {
        one: difflib.SequenceMatcher(None, code.casefold(), folded).ratio()
        for folded, one in islice(by_spelling.items(), 5000)  # a long list should not keep anyone waiting
    }
    best = max(likeness.values(), default=0.0)
    return tuple(one for one, ratio in likeness.items() if ratio == best and best >= 0.5)[:3]


def _look(code: str) -> str:
    return re.sub(r"[\W_]", "", code).upper().translate(_LOOKS)


def not_known(what: str, text: str, known: Collection[str], otherwise: str) -> str:
    """Say that a name is not known, with the nearest known ones, or else the sentence `otherwise`."""
    near = nearest_codes(text, known)
    hint = f"Did you mean {listing(near, 'or')}?" if near else otherwise
    return f"{what} {quoted(text)} is not known. {hint}"


def check_comma(text: str, delimiter: str) -> None:
    """Refuse 1,234 in a file that separates by commas: there it could be either number."""
    found = re.match(r"[+-]?[1-9]\d{0,2},\d{3}(?!\d)", text.replace(" ", ""))
    if found and delimiter == ",":
        raise CellError(
            f"{quoted(text)} could be {found[0].replace(',', '.')} or {found[0].replace(',', '')}. "
            "Write it without the comma."
        )


def read_number(text: str, delimiter: str, example: str = "12.5") -> float:
    """Read a finite number with decimal point or comma; raises CellError.

    >>> read_number("1.234,5", ";"), read_number("−2,5", ",")
    (1234.5, -2.5)
    """
    check_comma(text, delimiter)
    plain = text.replace("\N{MINUS SIGN}", "-").replace(" ", "").replace("\u202f", "").replace("'", "")
    if "," in plain and "." in plain:
        thousands = "," if plain.rindex(",") < plain.rindex(".") else "."
        plain = plain.replace(thousands, "")
    plain = plain.replace(",", ".")
    if not re.fullmatch(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?", plain):
        raise CellError(f"{quoted(text)} is not a number. Write it like {example}.")
    value = float(plain)
    if not abs(value) <= 1e12:
        raise CellError(f"{quoted(text)} is too large a number to have been measured. Check it, or use a larger unit.")
    return value


def read_whole(text: str, delimiter: str, lowest: int) -> int:
    """Read a whole number from `lowest` to a million; raises CellError."""
    example = str(max(lowest, 1))
    value = read_number(text, delimiter, example)
    if value != int(value):
        raise CellError(f"{quoted(text)} is not a whole number. Write it like {example}.")
    if value < lowest:
        raise CellError(f"{quoted(text)} is too small: it should be {lowest} or more.")
    if value > 1_000_000:
        raise CellError(f"{quoted(text)} is too large: it should be below a million.")
    return int(value)


def read_yes(text: str) -> bool:
    """Read yes or no, also as a tick or a cross; raises CellError.

    >>> read_yes("Y"), read_yes("✓"), read_yes("no")
    (True, True, False)
    """
    word = text.casefold()
    if word in _YES:
        return True
    if word in _NO:
        return False
    raise CellError(f"{quoted(text)} is neither yes nor no. Write yes or no, or leave it empty.")


def read_grade(text: str) -> float:
    """Read a rub grade: 1 to 5 in half steps; "4-5" is 4.5, as the half grades of the staining scale are written.

    Raises WrongRequestError that says what to write.

    >>> read_grade("4-5"), read_grade("3,5")
    (4.5, 3.5)
    """
    plain = text.strip().replace("–", "-").replace("/", "-").replace(" ", "").replace(",", ".")
    pair = re.fullmatch(r"([1-5])-([1-5])", plain)
    if pair and int(pair[2]) - int(pair[1]) == 1:
        return int(pair[1]) + 0.5
    if re.fullmatch(r"(?i)\d{1,2}-[a-z]{3}(-\d+)?|[a-z]{3}-?\d{1,2}|\d{4}-\d\d-\d\d.*", plain):
        raise WrongRequestError(
            f'grade "{text}" has become a date in the spreadsheet. For the grade between 4 and 5 write 4.5.'
        )
    if not re.fullmatch(r"[+-]?[0-9]{1,6}(?:\.[0-9]{0,6})?", plain):
        raise WrongRequestError(
            f'grade "{text}" is not a number. Write 1 to 5 in half steps, such as 4 or 4.5 ("4-5" is read as 4.5).'
        )
    grade = float(plain)
    if not 1 <= grade <= 5:
        raise WrongRequestError(
            f"grade {text} is outside the scale, which runs from 1 (heavy stain) to 5 (no stain). Look at the cloth "
            "again, or check the typing."
        )
    if grade * 2 != int(grade * 2):
        below = math.floor(grade * 2) / 2
        raise WrongRequestError(f"grade {text} is not a half step. Write {below:g} or {below + 0.5:g}.")
    return grade


def scorer_mark(text: str) -> str:
    """Return a scorer's initials or mark in capitals, so that kl and KL are one person.

    Raises WrongRequestError when there is none or it is longer than 12 characters.

    >>> scorer_mark(" kl ")
    'KL'
    """
    mark = " ".join(text.split()).upper()
    if not mark:
        raise WrongRequestError("there is no scorer. Write the initials or mark of whoever graded the cloth.")
    if len(mark) > 12:
        raise WrongRequestError(
            f'scorer "{text.strip()}" is longer than 12 characters. Write initials or a mark, not a name.'
        )
    return mark
