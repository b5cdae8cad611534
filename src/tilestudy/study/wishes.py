"""What a wish of the study file may be about, and how its values are read. Pure."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence

from tilestudy.errors import UnitError
from tilestudy.study.language import listed
from tilestudy.study.records import Factor, Response
from tilestudy.study.units import convert, parse_setting, split_number

MOTTLE = Response("mottle")
"""Unevenness of a tile's colour, CIEDE2000; needs several spots a tile."""


def wish_about(of: str, factors: Sequence[Factor], responses: Sequence[Response]) -> Factor | Response | str:
    """Return the factor or response a wish is about, or what is wrong with it.

    >>> wish_about("mottle", (), ())
    Response(name='mottle', unit='', better='', after_days=7, batch_sd=None, tile_sd=None)
    >>> wish_about("dip_tme", (Factor("dip_time", (10.0, 90.0), "s", "s"),), ())
    'of = "dip_tme" is nothing that can be wished for. Did you mean "dip_time"?'
    """
    known: dict[str, Factor | Response] = {"mottle": MOTTLE}
    known |= {one.name: one for one in responses}
    known |= {one.name: one for one in factors if one.numeric}
    if of in known:
        return known[of]
    if not of:
        return f"a wish has to say of what: write of = {_quoted(known)}."
    if any(one.name == of for one in factors):
        return f'of = "{of}" is a factor with named levels, which have no better or worse. Wish for a number instead.'
    near = difflib.get_close_matches(of, known, n=1)
    hint = f'Did you mean "{near[0]}"?' if near else f"Write {_quoted(known)}, or declare a [[response]] of that name."
    return f'of = "{of}" is nothing that can be wished for. {hint}'


def wish_value(raw: object, about: Factor | Response, density_g_per_ml: float | None = None) -> float:
    """Read the value of a wish, bare or with its unit: in the stored unit of a factor, in the own one of a response.

    Raises UnitError when it cannot be read or measures something else.

    >>> wish_value("1.5 min", Factor("dip_time", (10.0, 90.0), "s", "s")), wish_value("40 GU", Response("gloss", "GU"))
    (90.0, 40.0)
    """
    if isinstance(raw, bool) or not isinstance(raw, int | float | str) or str(raw) in ("nan", "inf", "-inf"):
        raise UnitError(f"{raw!r} is no value. Write a number, or a number with its unit in quotes.")
    if isinstance(about, Factor):
        return float(parse_setting(str(raw), about, density_g_per_ml, makeable=False))
    number, unit = split_number(str(raw))
    if not unit or unit.casefold() == about.unit.casefold():
        return number
    try:
        return convert(number, unit, about.unit)
    except Exception as error:  # pint raises many kinds for nonsense; and a response's own unit may be no unit to it
        wanted = about.unit or "a bare number"
        raise UnitError(f'"{raw}" is not a value of {about.label}, which is given in {wanted}.') from error


def _quoted(names: Iterable[str]) -> str:
    return listed([f'"{name}"' for name in names], "or")
