"""Dates and times as people write them."""

from __future__ import annotations

from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tilestudy.study.dates import DateError, DateOrder, read_date, read_moment

TODAY = date(2026, 12, 1)
DAY = date(2026, 11, 24)


@pytest.mark.parametrize(
    "text",
    [
        *("2026-11-24", " 2026-11-24 ", "2026/11/24", "24.11.2026", "24. 11. 2026", "24/11/2026", "11/24/26"),
        *("24 Nov 2026", "24-Nov-26", "24. November 2026", "24th Nov, 2026", "Nov 24, 2026", "Tue 24 November 2026"),
        *("2026-11-24 00:00:00", "2026-11-24T10:15", "24.11.2026 10.15"),
    ],
)
def test_it_reads_dates_that_can_be_only_one_day(text: str) -> None:
    """ISO, dotted, slashed, with the month in words, with a time behind."""
    assert read_date(text, TODAY) == DAY


@pytest.mark.parametrize(("order", "day"), [("day first", date(2026, 4, 3)), ("month first", date(2026, 3, 4))])
def test_it_reads_the_order_of_the_studio(order: DateOrder, day: date) -> None:
    """3/4 is the third of April or the fourth of March, by the studio's setting."""
    assert read_date("3/4/2026", TODAY, order) == read_date("3.4.26", TODAY, order) == day
    assert read_date("2026-04-03", TODAY, order) == date(2026, 4, 3)
    assert read_date("4/4/2026", TODAY) == date(2026, 4, 4)


@pytest.mark.parametrize(
    ("text", "order", "message"),
    [
        (
            *("3/4/2026", None),
            '"3/4/2026" could be 3 April 2026 or 4 March 2026. Write 2026-04-03 or 2026-03-04, or set the studio\'s date '
            "order.",
        ),
        (
            *("11/24/26", "day first"),
            '"11/24/26" is no date when read day first, the order of this studio. If it is 24 November 2026, write '
            "2026-11-24, and check the other dates of this file.",
        ),
        (
            *("24.11.2027", None),
            '"24.11.2027" (24 November 2027) is in the future: today is 1 December 2026. Check day, month and year.',
        ),
        ("31/31/2026", None, '"31/31/2026" is not a day of the calendar. Check day, month and year.'),
        ("2026-02-30", None, '"2026-02-30" is not a day of the calendar. Check day, month and year.'),
        ("24 Nvo 2026", None, '"24 Nvo 2026" names a month that is not known. Did you mean Nov?'),
        (
            *("24 Brumaire 26", None),
            '"24 Brumaire 26" names a month that is not known. Write the month in English or as a number.',
        ),
        (
            *("46350", None),
            '"46350" is a spreadsheet\'s day number (for 24 November 2026). Format the cells as dates, or write '
            "2026-11-24.",
        ),
        ("24 Nov", None, '"24 Nov" has no year. Write the date like 2026-12-01.'),
        ("10:15", None, '"10:15" has no date. Write it like 2026-12-01.'),
        ("2026-11-24 or so", None, '"2026-11-24 or so" is more than a date. Write only the date, like 2026-11-24.'),
        ("yesterday", None, '"yesterday" is not a date. Write it like 2026-12-01.'),
        ("²/4/2026", None, '"²/4/2026" is not a date. Write it like 2026-12-01.'),
    ],
)
def test_it_says_what_to_write_instead(text: str, order: DateOrder, message: str) -> None:
    """A doubtful date is never guessed."""
    with pytest.raises(DateError) as caught:
        read_date(text, TODAY, order)
    assert str(caught.value) == message


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2026-11-24 10:15", datetime(2026, 11, 24, 10, 15)),
        ("24.11.2026 10.15", datetime(2026, 11, 24, 10, 15)),
        ("2026-11-24T10:15:30", datetime(2026, 11, 24, 10, 15, 30)),
        ("24 Nov 2026, 12:05 am", datetime(2026, 11, 24, 0, 5)),
        ("11/24/26 at 1:05 p.m.", datetime(2026, 11, 24, 13, 5)),
        ("9h30", datetime(2026, 11, 23, 9, 30)),
        ("10.15", datetime(2026, 11, 23, 10, 15)),
        ("3 pm", datetime(2026, 11, 23, 15, 0)),
    ],
)
def test_it_reads_times_of_day(text: str, moment: datetime) -> None:
    """A date with a time, or a time alone on the day it belongs to."""
    assert read_moment(text, TODAY, day=date(2026, 11, 23)) == moment


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("2026-11-24", '"2026-11-24" has no time of day. Write date and time, like 2026-12-01 10:15.'),
        ("10:15", '"10:15" has no date. Write date and time, like 2026-12-01 10:15.'),
        (
            "2026-11-24T10:15Z",
            '"2026-11-24T10:15Z" carries a time zone. Write the local time without it, like 2026-12-01 10:15.',
        ),
        (
            "2026-11-24 25:00",
            '"2026-11-24 25:00" has no time of day that can be read. Write date and time, like 2026-12-01 10:15.',
        ),
    ],
)
def test_it_says_what_is_wrong_with_a_time(text: str, message: str) -> None:
    """No time is guessed either."""
    with pytest.raises(DateError) as caught:
        read_moment(text, TODAY)
    assert str(caught.value) == message


@given(st.text(max_size=20) | st.from_regex(r"[0-9]{1,4}[-/. ][0-9a-z]{1,9}[-/. ][0-9]{1,4}.{0,9}", fullmatch=True))
def test_it_never_fails_otherwise(text: str) -> None:
    """Whatever is typed, there is a date not after today or a DateError."""
    for read in (read_date, read_moment):
        try:
            found = read(text, TODAY)
        except DateError:
            continue
        assert (found.date() if isinstance(found, datetime) else found) <= TODAY


@given(st.dates(min_value=date(2000, 1, 1), max_value=TODAY))
def test_it_reads_back_what_was_written(day: date) -> None:
    """The ISO date, the day-first and the month-first date of a day are that day."""
    assert read_date(day.isoformat(), TODAY) == day
    assert read_date(f"{day:%d.%m.%Y}", TODAY, "day first") == day
    assert read_date(f"{day:%m/%d/%y}", TODAY, "month first") == day
    assert read_date(f"{day:%d %b %Y}", TODAY) == day
