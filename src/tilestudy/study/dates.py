"""Dates and times as people write them.

ISO 8601 dates are always read; other orders by the studio's setting. A date that could be two days is never guessed,
and a date after today is never taken: both show what they might mean. Two-digit years are 20xx.
"""

from __future__ import annotations

import difflib
import re
from datetime import date, datetime, time, timedelta
from typing import Literal

from tilestudy.errors import WrongRequestError

DateOrder = Literal["day first", "month first"] | None
"""How the studio writes 3/4/2026; None when it has not said."""

_MONTHS = (
    *("january", "february", "march", "april", "may", "june"),
    *("july", "august", "september", "october", "november", "december"),
)
_ISO = re.compile(r"(\d{4})([-/.])(\d{1,2})\2(\d{1,2})")
_NUMBERS = re.compile(r"(\d{1,2})\s?([-/.])\s?(\d{1,2})\s?\2\s?(\d{4}|\d{2})")
_DAY_MONTH = re.compile(r"(\d{1,2})(?:st|nd|rd|th|\.)?[\s-]*([a-z]{3,9})\.?[\s,-]*(\d{4}|\d{2})")
_MONTH_DAY = re.compile(r"([a-z]{3,9})\.?[\s-]*(\d{1,2})(?:st|nd|rd|th)?[\s,-]+(\d{4}|\d{2})")
_WEEKDAY = re.compile(r"^(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*\.?,?\s+")
_CLOCK = re.compile(r"(\d{1,2})(?:\s?[:.h]\s?(\d{2})(?:[:.](\d{2})(?:[.,]\d+)?)?)?\s*([ap])?\.?\s?(?:m\.?)?", re.ASCII)


class DateError(WrongRequestError):
    """A date or time that cannot be read, could be two, or lies in the future."""


def read_date(text: str, today: date, order: DateOrder = None) -> date:
    """Read a date.

    Parameters
    ----------
    text : str
        "2026-11-24", "24.11.2026", "11/24/26", "24 Nov 2026"; a time behind it is left away.
    today : date
        Later dates are refused.
    order : "day first", "month first" or None

    Raises
    ------
    DateError
        With what to write instead.

    Examples
    --------
    >>> read_date("24.11.2026", date(2026, 12, 1))
    datetime.date(2026, 11, 24)
    >>> read_date("3/4/26", date(2026, 12, 1), "month first")
    datetime.date(2026, 3, 4)
    """
    day, rest = _split(text, today, order)
    if day is None:
        raise DateError(f'"{text.strip()}" has no date. Write it like {today.isoformat()}.')
    if rest and not _CLOCK.fullmatch(rest):
        raise DateError(f'"{text.strip()}" is more than a date. Write only the date, like {day.isoformat()}.')
    return _not_after(text, day, today)


def read_moment(text: str, today: date, order: DateOrder = None, day: date | None = None) -> datetime:
    """Read a date with a time of day (local); a time alone is on `day`.

    Raises DateError as `read_date` does, and when there is no time.

    >>> read_moment("24.11.2026 10.15", date(2026, 12, 1))
    datetime.datetime(2026, 11, 24, 10, 15)
    >>> read_moment("10:15 pm", date(2026, 12, 1), day=date(2026, 11, 24))
    datetime.datetime(2026, 11, 24, 22, 15)
    """
    example = f"{today.isoformat()} 10:15"
    found, rest = _split(text, today, order)
    if found is None:
        if day is None:
            raise DateError(f'"{text.strip()}" has no date. Write date and time, like {example}.')
        found = day
    if not rest:
        raise DateError(f'"{text.strip()}" has no time of day. Write date and time, like {example}.')
    return datetime.combine(_not_after(text, found, today), _clock(text, rest, example))


def _not_after(text: str, day: date, today: date) -> date:
    if day > today:
        raise DateError(
            f'"{text.strip()}" ({_spoken(day)}) is in the future: today is {_spoken(today)}. Check day, month and year.'
        )
    return day


def _spoken(day: date) -> str:
    return f"{day.day} {_MONTHS[day.month - 1].capitalize()} {day.year:04d}"


def _year(text: str) -> int:
    return int(text) if len(text) == 4 else 2000 + int(text)


def _split(text: str, today: date, order: DateOrder) -> tuple[date | None, str]:
    """Return the date at the start of the text, or None when it starts with a time, and what follows it."""
    plain = _WEEKDAY.sub("", " ".join(text.split()).casefold())
    shown = text.strip()
    for pattern in (_ISO, _NUMBERS, _DAY_MONTH, _MONTH_DAY):
        found = pattern.match(plain)
        if not found or ((rest := plain[found.end() :]) and not re.match(r"^(?:t(?=\d)|,?\s)", rest)):
            continue
        rest = re.sub(r"^(?:t|,?\s*(?:at )?)", "", plain[found.end() :]).strip()
        if pattern is _ISO:
            return _whole(shown, _year(found[1]), int(found[3]), int(found[4])), rest
        if pattern is _NUMBERS:
            return _in_order(shown, int(found[1]), int(found[3]), _year(found[4]), order), rest
        day, month = (found[1], found[2]) if pattern is _DAY_MONTH else (found[2], found[1])
        return _whole(shown, _year(found[3]), _month(shown, month), int(day)), rest
    if _CLOCK.fullmatch(plain) and (":" in plain or plain.endswith("m") or re.fullmatch(r"\d{1,2}[.h]\d{2}", plain)):
        return None, plain
    if re.fullmatch(r"[34]\d{4}(?:[.,]\d+)?", plain):
        day = date(1899, 12, 30) + timedelta(days=int(plain[:5]))
        raise DateError(
            f'"{shown}" is a spreadsheet\'s day number (for {_spoken(day)}). Format the cells as dates, or write '
            f"{day.isoformat()}."
        )
    if re.fullmatch(r"\d{1,2}[-/.]\d{1,2}\.?", plain) or re.fullmatch(
        r"\d{1,2}\.? ?[a-z]{3,9}|[a-z]{3,9} ?\d{1,2}", plain
    ):
        raise DateError(f'"{shown}" has no year. Write the date like {today.isoformat()}.')
    raise DateError(f'"{shown}" is not a date. Write it like {today.isoformat()}.')


def _whole(shown: str, year: int, month: int, day: int) -> date:
    try:
        return date(year, month, day)
    except ValueError:
        raise DateError(f'"{shown}" is not a day of the calendar. Check day, month and year.') from None


def _month(shown: str, word: str) -> int:
    word = "sep" if word == "sept" else word
    for number, month in enumerate(_MONTHS, start=1):
        if word in (month, month[:3]):
            return number
    near = difflib.get_close_matches(word, [*_MONTHS, *(month[:3] for month in _MONTHS)], n=1, cutoff=0.65)
    hint = f" Did you mean {near[0].capitalize()}?" if near else " Write the month in English or as a number."
    raise DateError(f'"{shown}" names a month that is not known.{hint}')


def _in_order(shown: str, first: int, second: int, year: int, order: DateOrder) -> date:
    readings: dict[str, date] = {}
    for name, month, day in (("day first", second, first), ("month first", first, second)):
        try:
            readings[name] = date(year, month, day)
        except ValueError:
            continue
    if not readings:
        raise DateError(f'"{shown}" is not a day of the calendar. Check day, month and year.')
    if order is not None:
        if order in readings:
            return readings[order]
        (other,) = readings.values()
        raise DateError(
            f'"{shown}" is no date when read {order}, the order of this studio. If it is {_spoken(other)}, write '
            f"{other.isoformat()}, and check the other dates of this file."
        )
    if len(set(readings.values())) == 1:
        return next(iter(readings.values()))
    day_first, month_first = readings["day first"], readings["month first"]
    raise DateError(
        f'"{shown}" could be {_spoken(day_first)} or {_spoken(month_first)}. Write {day_first.isoformat()} or '
        f"{month_first.isoformat()}, or set the studio's date order."
    )


def _clock(text: str, rest: str, example: str) -> time:
    if re.search(r"(?:z|[+-]\d{2}:?\d{2})$", rest) and re.search(r"\d", rest):
        raise DateError(f'"{text.strip()}" carries a time zone. Write the local time without it, like {example}.')
    found = _CLOCK.fullmatch(rest)
    if found and (found[2] or found[4]):
        hour, minute, second = int(found[1]), int(found[2] or 0), int(found[3] or 0)
        if not found[4]:
            good = hour <= 23
        else:
            good = 1 <= hour <= 12
            hour = hour % 12 + (12 if found[4] == "p" else 0)
        if good and minute <= 59 and second <= 59:
            return time(hour, minute, second)
    raise DateError(f'"{text.strip()}" has no time of day that can be read. Write date and time, like {example}.')
