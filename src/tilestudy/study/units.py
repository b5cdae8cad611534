"""Quantities as people write them, kept in one unit each.

"1/4 tsp per cup", "350 degF", "1.5 min" and "5 g/L" become a number in the stored unit: g/L, mL/L, s, degC, mm, g,
mL or N. The conversions are those of pint (which follows NIST SP 811, 2008, Appendix B). A drop is taken as 0.05 mL
(20 drops to a millilitre: common practice, no source).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from tilestudy.errors import UnitError
from tilestudy.study.records import Factor, Setting, Study

_FRACTIONS = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅓": "1/3", "⅔": "2/3", "⅛": "1/8"}
_NUMBER = re.compile(
    r"^\s*(?P<whole>[-+]?\d+)\s+(?P<num>\d+)\s*/\s*(?P<den>\d+)(?P<rest>.*)$"
    r"|^\s*(?P<num2>[-+]?\d+)\s*/\s*(?P<den2>\d+)(?P<rest2>.*)$"
    r"|^\s*(?P<plain>[-+]?(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:[eE][-+]?\d+)?)(?P<rest3>.*)$",
    re.DOTALL,
)
_STORED = {
    "[mass] / [length] ** 3": "g/L",
    "[time]": "s",
    "[temperature]": "degC",
    "[length]": "mm",
    "[mass]": "g",
    "[length] ** 3": "mL",
    "[length] * [mass] / [time] ** 2": "N",
}
_DISPLAY = {"degC": "°C", "degF": "°F", "delta_degC": "°C"}
_SPOKEN = {
    **dict.fromkeys(("litre", "litres", "l", "L"), "liter"),
    **dict.fromkeys(("sec", "secs", "s"), "s"),
    **dict.fromkeys(("mins", "min"), "min"),
    **dict.fromkeys(("hr", "hrs", "h"), "hour"),
    **dict.fromkeys(("°c", "c", "degc"), "degC"),
    **dict.fromkeys(("°f", "f", "degf"), "degF"),
    **dict.fromkeys(("gram", "grams", "g"), "g"),
    **{"drops": "drop", "tablespoons": "tbsp", "teaspoons": "tsp", "cups": "cup"},
    **{"per": "/", "ml": "mL", "oz": "ounce", "in": "inch", "K": "kelvin"},
}


@dataclass(frozen=True)
class Quantity:
    """A number in its stored `unit`, and the unit it was `shown` in."""

    value: float
    unit: str
    shown: str


@cache
def _registry() -> Any:
    import pint

    registry: Any = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    registry.define("drop = 0.05 * milliliter")
    return registry


def _tidy(unit: str) -> str:
    text = unit.strip().replace("°", " °").replace("·", "*").replace("µ", "u")
    words = re.findall(r"°?[A-Za-z_]+|[/*^%]|\d+|[()]", text)
    return " ".join(_SPOKEN.get(word, _SPOKEN.get(word.lower(), word)) for word in words)


@cache
def stored_unit(shown: str) -> str:
    """Return the unit in which quantities written in `shown` are kept.

    Raises UnitError when `shown` is no unit.

    >>> stored_unit("degF"), stored_unit("min"), stored_unit("tsp per cup"), stored_unit("")
    ('degC', 's', 'mL/L', '')
    """
    if shown.strip() in ("", "%"):
        return shown.strip()
    try:
        units = _registry().parse_units(_tidy(shown))
    except Exception as error:  # pint raises many kinds for nonsense
        raise UnitError(
            f'"{shown}" is not a unit tilestudy knows. Write one such as g/L, mL/L, s, min, degC or mm.'
        ) from error
    dimension = str(units.dimensionality)
    if dimension == "dimensionless":
        return "mL/L" if "/" in _tidy(shown) else ""
    return _STORED.get(dimension, shown.strip())


@cache
def _scale(source: str, target: str) -> tuple[float, float]:
    """Factor and offset of the straight-line conversion value * factor + offset."""
    if source == target:
        return 1.0, 0.0
    registry = _registry()
    source_unit, target_unit = registry.parse_units(_tidy(source)), registry.parse_units(_tidy(target))
    if source_unit.dimensionality != target_unit.dimensionality:
        raise UnitError(f'"{source}" cannot be turned into {target}: they measure different things.')
    if str(source_unit.dimensionality) == "[temperature]":
        zero, one = (float(registry.Quantity(x, source_unit).to(target_unit).magnitude) for x in (0.0, 1.0))
        return one - zero, zero
    # a ratio of two plain factors, so that 1 min is 60 s to the last digit
    return float(registry.Quantity(1, source_unit).to(target_unit).magnitude), 0.0


def convert(value: float, source: str, target: str) -> float:
    """Turn a number from one unit into another; raises UnitError when they measure different things.

    >>> round(convert(350, "degF", "degC"), 2)
    176.67
    """
    factor, offset = _scale(source, target)
    result = value * factor + offset
    return round(result, 10) if result else 0.0


def split_number(text: str) -> tuple[float, str]:
    """Split "1 1/2 tsp per cup" into 1.5 and "tsp per cup"; raises UnitError when no number leads.

    >>> split_number("1/4 tsp per cup")
    (0.25, 'tsp per cup')
    """
    for mark, plain in _FRACTIONS.items():
        text = text.replace(mark, f" {plain}")
    found = _NUMBER.match(text.replace("\N{MINUS SIGN}", "-"))
    if not found:
        raise UnitError(f'"{text.strip()}" does not start with a number. Write it like "45 s" or "1/4 tsp per cup".')
    if found["whole"] is not None:
        number, rest = int(found["whole"]) + _ratio(found["num"], found["den"]), found["rest"]
    elif found["num2"] is not None:
        number, rest = _ratio(found["num2"], found["den2"]), found["rest2"]
    else:
        number, rest = float(found["plain"].replace(",", ".")), found["rest3"]
    return number, rest.strip()


def _ratio(top: str, bottom: str) -> float:
    if int(bottom) == 0:
        raise UnitError(f'"{top}/{bottom}" divides by nothing.')
    return int(top) / int(bottom)


def parse_quantity(text: str, default_unit: str = "", density_g_per_ml: float | None = None) -> Quantity:
    """Read a quantity as people write it.

    Parameters
    ----------
    text : str
        A number (fractions and decimal commas welcome) and a unit.
    default_unit : str
        Unit of a bare number.
    density_g_per_ml : float, optional
        Bulk density of a spooned solid, g/mL: turns a volume in a volume ("1/4 tsp per cup") into g/L.

    Raises
    ------
    UnitError
        When there is no number, or the unit is unknown.

    Examples
    --------
    >>> parse_quantity("350 degF")
    Quantity(value=176.6666666667, unit='degC', shown='degF')
    >>> round(parse_quantity("1/4 tsp per cup", density_g_per_ml=1.0).value, 2)
    5.21
    """
    number, unit_text = split_number(text)
    shown = unit_text or default_unit
    unit = stored_unit(shown)
    value = convert(number, shown, unit) if unit else number
    if unit == "mL/L" and density_g_per_ml is not None:
        return Quantity(round(value * density_g_per_ml, 10), "g/L", "g/L")
    return Quantity(value, unit, shown)


def parse_setting(
    text: str, factor: Factor, density_g_per_ml: float | None = None, *, makeable: bool = True
) -> Setting:
    """Read one setting of a factor; a bare number is in the factor's shown unit.

    `makeable` refuses settings that cannot be meant for a tile; a bound of a rule may be any.

    Raises UnitError when it cannot be read, or measures something else than the factor.

    >>> parse_setting("1.5 min", Factor("dip_time", (10.0, 90.0), unit="s", shown="s"))
    90.0
    """
    text = text.strip()
    if not factor.numeric:
        for level in factor.levels:
            if str(level).casefold() == text.casefold():
                return level
        raise UnitError(
            f'"{text}" is not a level of {factor.label}; the study file has {", ".join(map(str, factor.levels))}.'
        )
    clock = re.fullmatch(r"(\d{1,3}):([0-5]\d)", text)
    if clock and factor.unit == "s":  # 1:30 on a stop watch; hours and minutes where the factor is given in hours
        return (int(clock[1]) * 60.0 + int(clock[2])) * (60.0 if convert(1, factor.shown, "s") >= 3600 else 1.0)
    quantity = parse_quantity(text, factor.shown, density_g_per_ml if factor.unit == "g/L" else None)
    if quantity.unit != factor.unit:
        wanted = factor.shown or "a bare number"
        raise UnitError(f'"{text}" is not a setting of {factor.label}, which is given in {wanted}.')
    return _checked(quantity.value, text, factor) if makeable else quantity.value


def _checked(value: float, text: str, factor: Factor) -> float:
    """Refuse a setting that cannot be meant: nought on a scale of doublings, half a cycle, a hundred times the plan."""
    numbers = [level for level in factor.levels if not isinstance(level, str)]
    if factor.spacing == "geometric" and value <= 0:
        raise UnitError(
            f'"{text}" cannot stand on the scale of doublings of {factor.label}: it must be above 0. '
            "If the tile was not treated, mark it as spoiled and say why."
        )
    if not factor.unit and all(level == int(level) for level in numbers) and value != int(value):
        raise UnitError(f'"{text}" is not a whole number, and {factor.label} is counted.')
    furthest = max(abs(level) for level in numbers)
    if abs(value) > 100 * furthest and furthest > 0:
        raise UnitError(
            f'"{text}" is more than a hundred times the highest {factor.label} of the study, {show(max(numbers), factor)}. '
            "Check the number and its unit."
        )
    return value


def plain_number(value: float, digits: int = 3) -> str:
    """Write a number to so many significant digits, without trailing noughts or powers of ten.

    >>> plain_number(1234.5), plain_number(0.30000004), plain_number(9.0)
    ('1230', '0.3', '9')
    """
    if value == 0:
        return "0"
    rounded = float(f"{value:.{digits}g}")
    text = f"{rounded:.10f}".rstrip("0").rstrip(".")
    return text.replace("-", "\N{MINUS SIGN}")


def show_number(value: Setting, factor: Factor, digits: int = 4) -> str:
    """Write a setting's number in the factor's shown unit, without the unit.

    >>> show_number(600.0, Factor("dwell", (60.0, 600.0), unit="s", shown="min"))
    '10'
    """
    if isinstance(value, str):
        return value
    if factor.unit and factor.unit != factor.shown:
        value = convert(value, factor.unit, factor.shown)
    return plain_number(value, digits)


def show_unit(unit: str) -> str:
    """Write a unit for reading: °C for degC."""
    return _DISPLAY.get(unit, unit)


def show(value: Setting, factor: Factor) -> str:
    """Write a setting with its unit, as people of this study read it.

    >>> show(600.0, Factor("dwell", (60.0, 600.0), unit="s", shown="min"))
    '10 min'
    """
    number = show_number(value, factor)
    return number if isinstance(value, str) or not factor.shown else f"{number} {show_unit(factor.shown)}"


def show_settings(settings: Mapping[str, Setting], study: Study) -> str:
    """Write the settings of several factors, in the study's order: strength 3 g/L, dip time 30 s."""
    return ", ".join(f"{f.label} {show(settings[f.name], f)}" for f in study.factors if f.name in settings)


def show_exactly(value: Setting, factor: Factor) -> str:
    """Write a setting with its unit, in as few digits as reading needs to give the same setting again.

    >>> show_exactly(5.2083333333, Factor("strength", (1.0, 9.0), unit="g/L", shown="g/L"))
    '5.2083333333 g/L'
    >>> show_exactly(convert(350, "degF", "degC"), Factor("oven", (100.0, 300.0), unit="degC", shown="degF"))
    '350 °F'
    """
    text = show(value, factor)
    for digits in range(5, 18):
        try:
            if isinstance(value, str) or parse_setting(text, factor) == value:
                break
        except UnitError:  # a setting that would be refused today is still written as it is
            pass
        text = f"{show_number(value, factor, digits)} {show_unit(factor.shown)}".rstrip()
    return text
