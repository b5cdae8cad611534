"""Numbers as people read them: a true minus sign, the digits a range deserves, powers of ten only where needed."""

from __future__ import annotations

import math

MINUS = "\N{MINUS SIGN}"
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
_PLAIN_BELOW = 1e9
_PLAIN_PLACES = 6


def number(value: float, decimals: int, sign: bool = False) -> str:
    """Write a number with so many decimals (negative: rounded to tens, hundreds ...) and a true minus sign.

    >>> number(-0.04, 1), number(-2.0, 0), number(3.0, 0, sign=True), number(2.34e-12, 13), number(7.1e12, -11)
    ('0', '−2', '+3', '2.3 × 10⁻¹²', '7.1 × 10¹²')
    """
    if rounds_to_nought(value, decimals):
        return "0"
    mark = MINUS if value < 0 else "+" if sign else ""
    size = abs(value)
    if size < _PLAIN_BELOW and decimals <= _PLAIN_PLACES:
        return f"{mark}{size:.{max(decimals, 0)}f}"
    digits = max(0, min(math.floor(math.log10(size)) + decimals, 8))
    return mark + _in_powers(f"{size:.{digits}e}")


def significant(value: float, digits: int = 3) -> str:
    """Write a number to so many significant digits, trailing noughts left out.

    >>> significant(-12.34), significant(0.0500), significant(2.5e-12), significant(3.1416e10), significant(0.0)
    ('−12.3', '0.05', '2.5 × 10⁻¹²', '3.14 × 10¹⁰', '0')
    """
    if value == 0:
        return "0"
    mark = MINUS if value < 0 else ""
    text = f"{abs(value):.{digits - 1}e}"
    rounded = float(text)
    if 1e-4 <= rounded < _PLAIN_BELOW:
        plain = f"{rounded:.10f}"
        return mark + plain.rstrip("0").rstrip(".")
    head, _, power = text.partition("e")
    return mark + _in_powers(f"{head.rstrip('0').rstrip('.') if '.' in head else head}e{power}")


def _in_powers(text: str) -> str:
    head, _, power = text.partition("e")
    return f"{head} × 10{str(int(power)).translate(_RAISED)}"


def rounds_to_nought(value: float, decimals: int) -> bool:
    """Tell whether so many decimals leave nothing of the number."""
    return value == 0 or not float(f"{abs(value) * 10.0 ** min(decimals, 300):.0f}")


def decimals_for(spread: float, value: float = 0.0) -> int:
    """Return decimals that a number with this half-range (or, without one, this size) deserves.

    Negative from a half-range of two million on, where powers of ten take over.

    >>> decimals_for(0.5), decimals_for(40.0), decimals_for(0.0, 3.0)
    (1, 0, 1)
    """
    size = spread if spread > 0 else abs(value) / 10
    if not size > 0:
        return 0
    places = math.ceil(-math.log10(size / 2))
    return places if places <= -_PLAIN_PLACES else max(places, 0)


def decimals_telling(low: float, high: float, *compared: float, limit: float | None = None) -> int:
    """Return decimals for a range: enough that no end falls to 0, and what lies below the limit is seen to do so.

    `compared` are the numbers set against the limit. An end that would take more than three further digits stays 0.

    >>> decimals_telling(-1.0, 0.009), decimals_telling(0.2, 0.7, 0.472), decimals_telling(0.2, 0.7, 0.472, limit=0.5)
    (2, 1, 2)
    """
    fewest = decimals_for((high - low) / 2, max(abs(low), abs(high)))
    enough = fewest
    for places in range(fewest, fewest + 4):
        if all(end == 0 or not rounds_to_nought(end, places) for end in (low, high)):
            enough = places
            break
    if limit is not None:
        below = [abs(one) for one in compared if abs(one) < limit]
        while enough < fewest + 12 and any(round(one, enough) >= limit for one in below):
            enough += 1
    return enough


def end_of_range(value: float, decimals: int, sign: bool = False) -> str:
    """Write one end of a range; an end so near nought that its digits are lost is put in words.

    >>> end_of_range(0.00001, 1), end_of_range(-0.2, 1)
    ('just above 0', '−0.2')
    """
    if value and rounds_to_nought(value, decimals):
        return "just above 0" if value > 0 else "just below 0"
    return number(value, decimals, sign)
