"""The study file: TOML text to a `Study`, with every fault listed at its line.

Reading is strict: a key nobody knows is a fault with the nearest known key, because a misspelt limit that is silently
ignored costs a class its metal.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal, cast, get_args

from tilestudy.errors import Fault, FaultyFileError, UnitError
from tilestudy.study.reader import KEYS, Reader
from tilestudy.study.records import (
    COATINGS,
    SOLDERS,
    STAGES,
    Bound,
    Choice,
    Factor,
    Lab,
    Limits,
    Metal,
    ModelName,
    Response,
    RubPlan,
    SetPer,
    Setting,
    Spacing,
    Study,
    Target,
    Wish,
)
from tilestudy.study.units import parse_quantity, parse_setting, plain_number, split_number, stored_unit
from tilestudy.study.wishes import wish_about, wish_value
from tilestudy.study.workplace_file import read_workplace

_NAME = re.compile(r"^[a-z][a-z0-9_]{0,30}$")
_STUDY_NAME = re.compile(r"^[a-z0-9][a-z0-9_-]{0,40}$")
DARKEST = "as dark as possible"


def check_study_name(name: str) -> str | None:
    """Return what is wrong with a study name, or None.

    >>> check_study_name("door-plaques") is None
    True
    """
    if name == "trade":
        return (
            '"trade" cannot name a study: experiments/trade/ holds the studio\'s own trade data. Choose another name.'
        )
    if _STUDY_NAME.match(name):
        return None
    return f'"{name}" cannot name a study: use small letters, digits and hyphens, such as door-plaques.'


def read_study(
    text: str,
    file: str,
    name: str,
    *,
    processes: Sequence[str],
    protocols: Sequence[str],
    colour_named: Callable[[str], Lab | None],
    thickness_of: Callable[[str, str], float | None],
    density_of: Callable[[str], float | None] = lambda process: None,
    questions_of: Callable[[str], Sequence[str]] | None = None,
    steps: Sequence[str] = (),
) -> Study:
    """Read a study file.

    Parameters
    ----------
    text, file : str
        The TOML text, and its name for messages.
    name : str
        Name of the study's folder; the file's own ``name`` must agree.
    processes, protocols : sequence of str
        Known process and rub protocol ids.
    colour_named : callable
        L*a*b* of a plain colour name, or None when it is not known.
    thickness_of : callable
        Sheet thickness in mm from the gauge as written and the UNS number, or None when it cannot be read.
    density_of : callable
        Bulk density, g/mL, of a process's spooned solid, or None.
    questions_of : callable, optional
        Keys of a process's bench questions; with it, any other key under [bench] is a fault.
    steps : sequence of str
        Ids of the trade's bench steps; with none, a sequence may name any.

    Raises
    ------
    FaultyFileError
        With every fault of the file.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        where = re.search(r"\(at line (\d+)", str(error))
        what = re.sub(r"\s*\(at .*\)$", "", str(error))
        raise FaultyFileError(
            [
                Fault(
                    file, int(where[1]) if where else None, f"not readable as TOML: {what}. Check quotes and brackets."
                )
            ],
            after="The study was not read.",
        ) from error
    reader = Reader(text, file)
    reader.unknown(data, "")
    study_name = reader.text(data, "name", name)
    if study_name != name:
        reader.fault(f'name = "{study_name}" differs from its folder "{name}"; make them the same.', "", "name")
    process = reader.text(data, "process")
    if process not in processes:
        near = difflib.get_close_matches(process, processes, n=1)
        hint = f'Did you mean "{near[0]}"?' if near else f"Known: {', '.join(processes)}."
        reader.fault(f'process = "{process}" is not known. {hint}', "", "process")
    factors = _factors(reader, reader.tables(data, "factor"), density_of(process))
    limits = reader.table(data, "limits")
    noise = reader.table(data, "noise")
    batch_sd, tile_sd = (reader.number(noise, key, 3.0, "noise") or 0.0 for key in ("batch_sd", "tile_sd"))
    if tile_sd <= 0:
        reader.fault("tile_sd must be above 0: no two tiles come out exactly alike.", "noise", "tile_sd")
    colour = reader.table(data, "colour")
    responses = _responses(reader, reader.tables(data, "response"))
    study = Study(
        name=name,
        question=reader.text(data, "question"),
        process=process,
        metal=_metal(reader, reader.table(data, "metal"), thickness_of),
        factors=factors,
        tile_mm=_tile(reader, reader.table(data, "tile")),
        limits=Limits(
            **{key: reader.whole(limits, key, None, "limits", low=1) for key in KEYS["limits"][:2]},
            **{key: reader.whole(limits, key, None, "limits", low=1) for key in KEYS["limits"][3:6]},
            minutes=reader.minutes(limits, "minutes", "limits"),
        ),
        batches_each=reader.whole(limits, "batches_each", 2, "limits", low=1) or 2,
        reference_tiles=reader.flag(data, "reference_tiles"),
        stage=reader.choice(colour, "stage", "cured", STAGES, "colour"),
        stage_days=reader.whole(colour, "after_days", 7, "colour") or 0,
        target=_target(reader, colour, colour_named) if "colour" in data else None,
        rub=_rub(reader, reader.table(data, "rub"), protocols) if "rub" in data else None,
        responses=responses,
        wishes=_wishes(reader, reader.tables(data, "wish"), factors, responses, density_of(process)),
        batch_litres=_volume(reader, data),
        bench=_bench(reader, reader.table(data, "bench"), questions_of(process) if questions_of else None),
        batch_word=reader.text(data, "batch_word"),
        choose=cast(Choice, reader.choice(data, "choose", "", get_args(Choice), "")),
        model=cast("ModelName | Literal['']", reader.choice(data, "model", "", ("", *get_args(ModelName)), "")),
        never=_never(reader, reader.tables(data, "never"), factors, density_of(process)),
        noise=(batch_sd, tile_sd),
        invented=reader.flag(data, "invented"),
        source=reader.text(data, "source"),
        workplace=read_workplace(reader, data, steps),
    )
    names = [factor.name for factor in factors] + [response.name for response in study.responses]
    for twice in sorted({one for one in names if names.count(one) > 1}):
        place = [i for i, one in enumerate(factors) if one.name == twice][-1:]
        reader.fault(
            f'the name "{twice}" is used twice; each factor and response needs a name of its own.',
            "factor",
            "name",
            *place,
        )
    if not factors:
        reader.fault("there is no [[factor]]: a study varies at least one thing.")
    if reader.faults:
        reader.faults.sort(key=lambda fault: fault.line or 0)
        raise FaultyFileError(reader.faults, after="The study was not read.")
    return study


def _factors(reader: Reader, tables: Sequence[Mapping[str, Any]], density: float | None) -> tuple[Factor, ...]:
    return tuple(
        factor for index, table in enumerate(tables) if (factor := _factor(reader, table, index, density)) is not None
    )


def _factor(reader: Reader, data: Mapping[str, Any], index: int, density: float | None) -> Factor | None:
    def fault(what: str, key: str | None = None) -> None:
        reader.fault(what, "factor", key, index)

    before = len(reader.faults)
    name = _checked_name(reader, data, "factor", index)
    shown = reader.text(data, "unit", "", "factor", index)
    set_per = reader.choice(data, "set_per", "tile", ("tile", "batch", "session"), "factor", index)
    spacing = reader.choice(data, "spacing", "linear", ("linear", "geometric", "steps"), "factor", index)
    got = reader.choice(data, "got", "", ("", "weighed", "spooned", "lumps", "by eye"), "factor", index)
    unit = ""
    try:
        unit = stored_unit(shown)
    except UnitError as error:
        fault(str(error), "unit")
    spooned = unit == "mL/L" and density is not None and got == "spooned"
    if spooned:
        unit = "g/L"

    def setting(raw: Any, key: str) -> Setting | None:
        if isinstance(raw, bool) or not isinstance(raw, int | float | str):
            fault(f"{key} holds {raw!r}; write numbers or text in quotes.", key)
            return None
        if isinstance(raw, str) and not shown:
            return raw.strip()
        try:
            quantity = parse_quantity(str(raw), shown, density if unit == "g/L" else None)
        except UnitError as error:
            fault(str(error), key)
            return None
        if quantity.unit != unit:
            fault(f'"{raw}" is not in {shown or "a bare number"}, the unit of {name}.', key)
            return None
        return quantity.value

    levels: list[Setting] = []
    if "levels" in data:
        raw_levels = data["levels"]
        for key in ("low", "high", "count"):
            if key in data:
                fault(f"give either levels or low, high and count, not both: {key} is too much here.", key)
        if not isinstance(raw_levels, list):
            fault("levels should be a list in square brackets, such as levels = [1, 3, 9].", "levels")
            return None
        levels = [one for raw in raw_levels if (one := setting(raw, "levels")) is not None]
    elif "low" in data and "high" in data:
        low, high = setting(data["low"], "low"), setting(data["high"], "high")
        count = reader.whole(data, "count", 3, "factor", index, low=2) or 3
        if isinstance(low, float) and isinstance(high, float):
            if low >= high:
                fault(f"low = {data['low']} is not below high = {data['high']}; swap them.", "low")
            elif spacing == "geometric" and low <= 0:
                fault("a geometric factor multiplies from level to level, so low must be above 0.", "low")
            else:
                levels = list(_spread(low, high, count, spacing))
        elif low is not None and high is not None:
            fault("low and high need a unit or bare numbers; for named levels write levels = [...].", "low")
    else:
        fault(f'"{name}" has no levels: write levels = [1, 3, 9], or low and high.')
    if len(reader.faults) > before:
        return None
    names = [one for one in levels if isinstance(one, str)]
    if names and len(names) < len(levels):
        fault("levels mixes names and numbers; write either all in quotes or all without.", "levels")
    elif names and spacing != "steps" and all(_is_quantity(one) for one in names):
        fault(
            f'levels such as "{names[0]}" look like quantities, but the factor has no unit. '
            'Add unit = "...", or spacing = "steps" to take them as names.',
            "levels",
        )
    elif len(set(levels)) < len(levels):
        fault("levels names the same level twice.", "levels")
    elif len(levels) < 2:
        fault("a factor needs at least two levels; what does not vary belongs in the question.", "levels")
    elif not names and sorted(levels) != levels:
        fault(f"levels {data.get('levels')} should rise from the lowest to the highest.", "levels")
    elif not names and spacing == "geometric" and cast(float, levels[0]) <= 0:
        fault("a geometric factor multiplies from level to level, so every level must be above 0.", "levels")
    if len(reader.faults) > before:
        return None
    workable: list[float] = []
    if "workable" in data:
        raw_workable = data["workable"]
        read = [setting(raw, "workable") for raw in raw_workable] if isinstance(raw_workable, list) else []
        workable = [one for one in read if isinstance(one, float)]
        if names or spacing == "steps":
            fault(
                "workable settings go with levels along a scale; named levels and steps have none between.", "workable"
            )
        elif len(workable) < 2 or sorted(set(workable)) != workable:
            fault(
                "workable should be a rising list of two or more settings, such as workable = [1, 2, 3, 6, 9].",
                "workable",
            )
        elif workable[0] < cast(float, levels[0]) or workable[-1] > cast(float, levels[-1]):
            fault("workable settings should lie between the lowest and the highest level.", "workable")
    if len(reader.faults) > before:
        return None
    return Factor(
        name,
        tuple(levels),
        unit="" if names else unit,
        shown="" if names else ("g/L" if spooned else shown),
        spacing="steps" if names else cast(Spacing, spacing),
        set_per=cast(SetPer, set_per),
        got=got,
        workable=tuple(workable),
    )


def _never(
    reader: Reader, tables: Sequence[Mapping[str, Any]], factors: Sequence[Factor], density: float | None
) -> tuple[tuple[Bound, ...], ...]:
    """Read the combinations that are never made: [[never]] with a condition for each of some factors."""
    known = {factor.name: factor for factor in factors}
    rules = []
    for index, table in enumerate(tables):
        bounds = []
        for key, value in table.items():
            if key not in known:
                near = difflib.get_close_matches(key, known, n=1)
                hint = f'Did you mean "{near[0]}"?' if near else f"Factors: {', '.join(known)}."
                reader.fault(f'"{key}" under [[never]] is no factor of this study. {hint}', "never", key, index)
                continue
            relation, _, rest = str(value).strip().partition(" ")
            if relation not in ("above", "below"):
                relation, rest = "at", str(value)
            try:
                setting = parse_setting(rest, known[key], density, makeable=False)
            except UnitError as error:
                reader.fault(
                    f'{error} A condition is "above ...", "below ..." or one setting, in the unit of {known[key].label}.',
                    "never",
                    key,
                    index,
                )
                continue
            bounds.append(Bound(key, cast(Literal["above", "below", "at"], relation), setting))
        if bounds:
            rules.append(tuple(bounds))
    return tuple(rules)


def _checked_name(reader: Reader, data: Mapping[str, Any], table: str, index: int) -> str:
    name = reader.text(data, "name", "", table, index)
    reserved = (
        "tile",
        "batch",
        "session",
        "order",
        "reference",
        "on",
        "by",
        "note",
        "scorer",
        "y",
        "value",
        "response",
    )
    if not _NAME.match(name):
        what = f'"{name}" cannot name a {table}' if name else f"a {table} has no name"
        reader.fault(f"{what}: use small letters, digits and underscores, such as dip_time.", table, "name", index)
    elif name in reserved:
        reader.fault(f'"{name}" is a word the forms need themselves; choose another name.', table, "name", index)
    return name


def _is_quantity(text: str) -> bool:
    try:
        return bool(split_number(text)[1]) and parse_quantity(text).unit != ""
    except UnitError:
        return False


def _spread(low: float, high: float, count: int, spacing: str) -> tuple[float, ...]:
    share = [step / (count - 1) for step in range(count)]
    if spacing == "geometric":
        return tuple(
            float(f"{low * (high / low) ** part:.3g}") if 0 < part < 1 else (high if part else low) for part in share
        )
    return tuple(round(low + (high - low) * part, 6) for part in share)


def _metal(reader: Reader, data: Mapping[str, Any], thickness_of: Callable[[str, str], float | None]) -> Metal:
    uns = reader.text(data, "uns", "", "metal").upper()
    gauge = reader.text(data, "gauge", "", "metal")
    if uns and not re.fullmatch(r"[A-Z]\d{5}", uns):
        reader.fault(f'uns = "{uns}" is not a UNS number: a letter and five digits, such as C11000.', "metal", "uns")
    thickness = thickness_of(gauge, uns) if gauge else None
    if gauge and thickness is None:
        reader.fault(f'gauge = "{gauge}" cannot be read; write it like "20 ga" or "0.8 mm".', "metal", "gauge")
    return Metal(
        uns,
        gauge,
        thickness,
        reader.text(data, "lot", "", "metal"),
        reader.choice(data, "solder", "", SOLDERS, "metal"),
        reader.choice(data, "coating", "", COATINGS, "metal"),
    )


def _tile(reader: Reader, data: Mapping[str, Any]) -> tuple[float, float]:
    size = reader.text(data, "size", "25 x 50 mm", "tile")
    found = re.match(r"^\s*([\d.,]+)\s*(?:[a-z]+)?\s*[x×]\s*([\d.,]+)\s*([A-Za-z]+)\s*$", size)
    if found:
        try:
            sides = [parse_quantity(f"{side} {found[3]}") for side in (found[1], found[2])]
            if all(side.unit == "mm" and side.value > 0 for side in sides):
                return (sides[0].value, sides[1].value)
        except UnitError:
            pass
    reader.fault(f'size = "{size}" cannot be read; write it like "25 x 50 mm" or "1 x 2 in".', "tile", "size")
    return (25.0, 50.0)


def _volume(reader: Reader, data: Mapping[str, Any]) -> float | None:
    if "batch_volume" not in data:
        return None
    text = reader.text(data, "batch_volume")
    try:
        quantity = parse_quantity(text)
        if quantity.unit == "mL" and quantity.value > 0:
            return quantity.value / 1000
    except UnitError:
        pass
    reader.fault(f'batch_volume = "{text}" cannot be read; write it like "0.5 L" or "2 cups".', "", "batch_volume")
    return None


def _target(reader: Reader, data: Mapping[str, Any], colour_named: Callable[[str], Lab | None]) -> Target:
    tolerance = reader.number(data, "tolerance", 5.0, "colour", low=0.1, high=100) or 5.0
    asked = data.get("target", DARKEST)
    if isinstance(asked, list):
        numbers = [one for one in asked if isinstance(one, int | float) and not isinstance(one, bool)]
        if len(asked) != 3 or len(numbers) != 3 or not 0 <= numbers[0] <= 100:
            reader.fault(
                f"target = {asked} should be three numbers L*, a*, b* with L* from 0 to 100.", "colour", "target"
            )
            return Target(DARKEST, None, tolerance)
        lab = (float(numbers[0]), float(numbers[1]), float(numbers[2]))
        return Target("L*a*b* " + ", ".join(plain_number(one) for one in lab), lab, tolerance)
    if not isinstance(asked, str):
        reader.fault(f"target = {asked!r} should be a colour name in quotes or [L, a, b].", "colour", "target")
        return Target(DARKEST, None, tolerance)
    if asked.strip().casefold() == DARKEST:
        return Target(DARKEST, None, tolerance)
    found = colour_named(asked)
    if found is None:
        reader.fault(
            f'target = "{asked}" is not a colour name tilestudy knows. Write a plain one such as "dark reddish brown" '
            f'(the 267 names of ISCC-NBS), [L, a, b] numbers, or "{DARKEST}".',
            "colour",
            "target",
        )
    return Target(asked.strip(), found, tolerance)


def _rub(reader: Reader, data: Mapping[str, Any], protocols: Sequence[str]) -> RubPlan:
    protocol = reader.choice(data, "protocol", protocols[0], protocols, "rub")
    conditions = data.get("conditions", ["dry"])
    if not isinstance(conditions, list) or not conditions or any(one not in ("dry", "wet") for one in conditions):
        reader.fault(f'conditions = {conditions!r} should be ["dry"], ["wet"] or ["dry", "wet"].', "rub", "conditions")
        conditions = ["dry"]
    passing = reader.number(data, "passing", 4.0, "rub", low=1, high=5) or 4.0
    if passing * 2 != int(passing * 2):
        reader.fault(f"passing = {passing} should be a grade in half steps, such as 3.5 or 4.", "rub", "passing")
    days = reader.whole(data, "after_days", 7, "rub")
    return RubPlan(protocol, tuple(conditions), passing, 7 if days is None else days)


def _responses(reader: Reader, tables: Sequence[Mapping[str, Any]]) -> tuple[Response, ...]:
    responses = []
    for index, data in enumerate(tables):
        days = reader.whole(data, "after_days", 7, "response", index)
        better = reader.choice(data, "better", "", ("", "higher", "lower"), "response", index)
        responses.append(
            Response(
                _checked_name(reader, data, "response", index),
                reader.text(data, "unit", "", "response", index),
                cast(Literal["higher", "lower", ""], better),
                7 if days is None else days,
                reader.number(data, "batch_sd", None, "response", index),
                reader.number(data, "tile_sd", None, "response", index),
            )
        )
    return tuple(responses)


def _wishes(
    reader: Reader,
    tables: Sequence[Mapping[str, Any]],
    factors: Sequence[Factor],
    responses: Sequence[Response],
    density: float | None,
) -> tuple[Wish, ...]:
    """Read what is wished for beside colour and durability: [[wish]] with a good and a useless value."""
    wishes: list[Wish] = []
    for index, data in enumerate(tables):
        before = len(reader.faults)
        of = reader.text(data, "of", "", "wish", index)
        weight = reader.number(data, "weight", 1.0, "wish", index) or 0.0
        if weight <= 0:
            reader.fault("weight must be above 0; leave out a wish that does not count.", "wish", "weight", index)
        about = wish_about(of, factors, responses)
        if isinstance(about, str):
            reader.fault(about, "wish", "of", index)
        elif any(one.of == of for one in wishes):
            reader.fault(f'"{of}" has a wish already; give one for each thing wished.', "wish", "of", index)
        ends: dict[str, tuple[float, ...]] = {}
        for key, most in (("good", 1), ("useless", 2)):
            raw = data.get(key)
            several = raw if isinstance(raw, list) else [raw]
            if key not in data:
                reader.fault(
                    f"a wish needs {key}, such as {key} = {'1.0' if key == 'good' else '4.0'}.", "wish", "of", index
                )
            elif not 1 <= len(several) <= most:
                pair = ", or two values in square brackets, below and above good" if most == 2 else ""
                reader.fault(f"{key} = {raw!r} should be one value{pair}.", "wish", key, index)
            elif not isinstance(about, str):
                try:
                    ends[key] = tuple(wish_value(one, about, density) for one in several)
                except UnitError as error:
                    reader.fault(f"{key}: {error}", "wish", key, index)
        if len(reader.faults) > before:
            continue
        (good,), useless = ends["good"], ends["useless"]
        if good in useless:
            reader.fault(f"good and useless are the same, {data['good']}; they must differ.", "wish", "useless", index)
        elif len(useless) == 2 and not useless[0] < good < useless[1]:
            reader.fault(
                f"useless = {data['useless']} should hold one value below good and one above it, lower first.",
                "wish",
                "useless",
                index,
            )
        else:
            wishes.append(Wish(of, good, useless[0] if len(useless) == 1 else (useless[0], useless[1]), weight))
    return tuple(wishes)


def _bench(reader: Reader, data: Mapping[str, Any], questions: Sequence[str] | None) -> Mapping[str, str]:
    """Read the answers to the hazard questions; a misspelt question would silence its hazard, so it is a fault."""
    answers = {}
    for key, value in data.items():
        if questions is not None and key not in questions:
            near = difflib.get_close_matches(key, questions, n=1)
            hint = (
                f'Did you mean "{near[0]}"?'
                if near
                else f"Questions of this process: {', '.join(questions) or 'none'}."
            )
            reader.fault(f'"{key}" is no bench question of this process. {hint}', "bench", key)
            continue
        said = "yes" if value is True else "no" if value is False else value
        answers[key] = reader.choice({key: said}, key, "not checked", ("yes", "no", "not checked"), "bench")
    return answers
