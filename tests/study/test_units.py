"""Quantities: what is written can be read back, and nonsense is a clear error."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tilestudy.errors import UnitError
from tilestudy.study.records import Factor
from tilestudy.study.units import convert, parse_quantity, parse_setting, plain_number, show, show_number

SHOWN = [("g/L", "g/L"), ("s", "min"), ("s", "h"), ("degC", "degF"), ("mm", "in"), ("", "")]


@given(st.sampled_from(SHOWN), st.integers(1, 9999))
def test_a_setting_shown_and_read_back_is_the_same(units: tuple[str, str], digits: int) -> None:
    """To the four digits that are shown, in every unit."""
    stored, shown = units
    factor = Factor("one", (1.5, 9e6), unit=stored, shown=shown)
    value = convert(digits / 10, shown, stored) if stored else digits / 10
    back = parse_setting(show(value, factor).replace("°", "deg"), factor)
    assert show_number(back, factor) == show_number(value, factor)


@given(st.text(max_size=12))
def test_any_text_gives_a_quantity_or_a_clear_error(text: str) -> None:
    """No text, however odd, ends in anything but a number or a UnitError."""
    try:
        quantity = parse_quantity(text)
    except UnitError:
        return
    assert isinstance(quantity.value, float)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a lump", '"a lump" does not start with a number. Write it like "45 s" or "1/4 tsp per cup".'),
        ("1 lump", '"lump" is not a unit tilestudy knows. Write one such as g/L, mL/L, s, min, degC or mm.'),
        ("1/0 s", '"1/0" divides by nothing.'),
    ],
)
def test_nonsense_says_what_to_write(text: str, says: str) -> None:
    """The message names the text and gives an example."""
    with pytest.raises(UnitError) as caught:
        parse_quantity(text)
    assert str(caught.value) == says


def test_a_time_is_no_strength() -> None:
    """A setting in the wrong kind of unit is refused, not converted."""
    with pytest.raises(UnitError) as caught:
        parse_setting("45 s", Factor("strength", (1.0, 9.0), "g/L", "g/L"))
    assert str(caught.value) == '"45 s" is not a setting of strength, which is given in g/L.'


@given(st.floats(1e-6, 1e9))
def test_plain_numbers_have_no_powers_of_ten(value: float) -> None:
    """Numbers for people are written out."""
    assert "e" not in plain_number(value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "0 s",
            '"0 s" cannot stand on the scale of doublings of dip time: it must be above 0. If the tile was not treated, mark it '
            "as spoiled and say why.",
        ),
        (
            "90 h",
            '"90 h" is more than a hundred times the highest dip time of the study, 90 s. Check the number and its unit.',
        ),
    ],
)
def test_a_setting_that_cannot_be_meant_is_refused(text: str, says: str) -> None:
    """Nought on a scale of doublings, or a unit slipped by hours."""
    with pytest.raises(UnitError) as caught:
        parse_setting(text, Factor("dip_time", (10.0, 90.0), "s", "s", "geometric"))
    assert str(caught.value) == says


def test_stop_watch_times_and_counts_are_read_as_they_are_written() -> None:
    """1:30 is ninety seconds, or an hour and a half where hours are the unit; half a scrub cycle is none."""
    assert parse_setting("1:30", Factor("dip_time", (10.0, 90.0), "s", "s")) == 90.0
    assert parse_setting("1:30", Factor("hours", (3600.0, 36000.0), "s", "h")) == 5400.0
    with pytest.raises(UnitError) as caught:
        parse_setting("2.5", Factor("scrub_cycles", (1.0, 4.0)))
    assert str(caught.value) == '"2.5" is not a whole number, and scrub cycles is counted.'
