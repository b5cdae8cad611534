"""From a study and its plan to the bench pack's content. Computes nothing but amounts and dates in words."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import date
from random import Random

from tilestudy.design.lots import lot_of_tiles
from tilestudy.paper.content import (
    BatchCard,
    BenchPack,
    Caution,
    Due,
    Fact,
    Masthead,
    MeasureSheet,
    Protection,
    RubSheet,
    RunBatch,
    RunRow,
    Session,
)
from tilestudy.study.language import capital
from tilestudy.study.records import Batch, Factor, Plan, Study
from tilestudy.study.units import plain_number, show, show_number, show_unit
from tilestudy.trade.amounts import amounts, volume_text
from tilestudy.trade.hazards import hazards, unanswered
from tilestudy.trade.library import Library, Process

_SPLASH = "Splash in the eye: rinse with running water at once and get medical help. "
_BURN = "Burn: cool with running water at once and get medical help. "
_CALL = "Have the safety data sheet at hand when you call. Local emergency number:"
SPOTS = 3
"""Spots of a tile that the sheet for colour readings has room for."""


def first_aid(process: Process) -> str:
    """Return the first-aid line: splashes where liquids are used, burns first where metal is heated."""
    burn, splash = _BURN, _SPLASH if process.wet else ""
    harm = burn + splash if process.heat else splash + burn
    return f"{harm}Feeling unwell or dizzy: out into fresh air, help at once. {_CALL}"


def fingerprint(plan: Plan) -> str:
    """Return a short fingerprint of the plan: sheets with different ones do not belong together.

    A stand-in made in the batch of the tile it replaces leaves it as it was; anything else changes it.
    """
    home = {tile.code: tile.batch for tile in plan.tiles}
    told = [
        (tile.code, tile.batch, tile.session, tile.order, sorted((k, str(v)) for k, v in tile.settings.items()))
        for tile in plan.tiles
        if not tile.replaces or home.get(tile.replaces) != tile.batch
    ]
    return hashlib.sha256(repr(told).encode()).hexdigest()[:6]


def masthead(study: Study, plan: Plan, studio: str, printed: date) -> Masthead:
    """Return what every page of a study carries."""
    title = study.name.replace("-", " ").replace("_", " ")
    return Masthead(
        study=study.name,
        title=capital(title),
        question=study.question,
        studio=studio,
        fingerprint=fingerprint(plan),
        printed=printed,
        invented=study.invented,
    )


def metal_text(study: Study, library: Library) -> str:
    """Write the metal and the size of a tile in one line."""
    width, height = (plain_number(side) for side in study.tile_mm)
    return f"{library.metal_line(study.metal)}, tiles {width} × {height} mm"


def head(factor: Factor) -> str:
    """Head a column with a factor's name and unit: ``dip time, s``."""
    return f"{factor.label}, {show_unit(factor.shown)}" if factor.shown else factor.label


def cautions(study: Study, library: Library) -> tuple[Caution, ...]:
    """Return the cautions of the process and the warnings that concern this study."""
    data = library.process(study.process).data
    listed = [Caution(one["title"], one["text"], one["source"]) for one in data.get("caution", ())]
    listed += [
        Caution(one.title or "Note for this metal and process", one.says, one.source) for one in hazards(study, library)
    ]
    return tuple(listed)


def protection(process: Process) -> tuple[Protection, ...]:
    """Return what to wear at each step."""
    return tuple(Protection(one["step"], one["wear"], one["why"]) for one in process.data.get("protection", ()))


def steps(process: Process) -> tuple[str, ...]:
    """Return how to make a tile, a step a line."""
    return tuple(f"{one['step']}: {one['do']}" for one in process.data.get("step", ()))


def bench_pack_content(
    study: Study,
    plan: Plan,
    library: Library,
    *,
    word: str,
    can_tell: Sequence[str],
    spares: Sequence[str],
    studio: str,
    printed: date,
) -> BenchPack:
    """Return the content of the bench pack.

    Parameters
    ----------
    word : str
        What the bench calls a batch.
    can_tell : sequence of str
        The plan in sentences.
    spares : sequence of str
        Codes to stamp on spare tiles.
    printed : date
        Date on the pages.
    """
    process = library.process(study.process)
    tile_factors = study.factors_set_per("tile")
    sessions = []
    for number in dict.fromkeys(batch.session for batch in plan.batches):
        batches = [batch for batch in plan.batches if batch.session == number]
        sessions.append(
            Session(
                number,
                tuple(head(factor) for factor in tile_factors),
                tuple(
                    RunBatch(_card(study, plan, process, batch, word), _rows(study, plan, batch)) for batch in batches
                ),
                tuple(f"actual {head(factor)}" for factor in tile_factors),
            )
        )
    return BenchPack(
        masthead=masthead(study, plan, studio, printed),
        metal=metal_text(study, library),
        process=process.label,
        sessions=tuple(sessions),
        spares=tuple(spares),
        can_tell=tuple(can_tell),
        to_confirm=tuple(question.safe for question in unanswered(study, library)),
        opening=(
            "Protection for each step lies ready (table below); extraction runs; first aid and safety data sheets at hand.",
            "Tiles cut, drilled and stamped on the back with the codes of this session, spares too.",
            *steps(process)[:1],
            f"This run sheet, {process.words.bring}.",
        ),
        closing=(
            *process.words.closing,
            "Blanks on the run sheet filled; spoiled tiles marked; sheet handed to whoever types it in.",
        ),
        cautions=cautions(study, library),
        protection=protection(process),
        first_aid=first_aid(process),
        measure_sheets=_measure_sheets(study, plan),
        rub_sheets=_rub_sheets(study, plan, library),
        due=_due(study),
        back=f'Type the sheets into the forms in experiments/{study.name}/ ({", ".join(forms_of(study))}), then "tilestudy '
        f'enter {study.name}".',
        mishaps=process.words.mishaps,
        waste=process.words.waste,
    )


def _card(study: Study, plan: Plan, process: Process, batch: Batch, word: str) -> BatchCard:
    mix = process.data.get("mix", {})
    goes_in = amounts(study, process, batch)
    fixed = [factor for factor in study.factors if factor.set_per != "tile"]
    settings = [
        Fact(factor.label, show(batch.settings[factor.name], factor))
        for factor in fixed
        if factor.name in batch.settings
    ]
    if study.batch_litres is not None:
        settings.append(Fact("volume", volume_text(study)))
    return BatchCard(
        code=batch.code,
        kind=word,
        tiles=sum(tile.batch == batch.code for tile in plan.tiles),
        settings=tuple(settings),
        mix=(*(one.text for one in goes_in), *mix.get("lines", ())),
        discard=mix.get("discard", ""),
        known=" ".join(one.known for one in goes_in),
        live=mix.get("live", ""),
        spent=mix.get("spent", ""),
        never=mix.get("never", ""),
        blanks=(*process.words.blanks, *(blank for factor in fixed for blank in _actual_blanks(factor, process))),
        make=process.words.make,
        out=process.words.out,
        went_in="what went in, weighed how" if goes_in else "",
    )


def _actual_blanks(factor: Factor, process: Process) -> list[str]:
    """Label the blanks for a per-batch setting as it really was: what the form calls actual."""
    if factor.unit == "degC":
        return [f"measured {factor.label}{f' {when}' if when else ''}, °C / °F" for when in process.words.measured]
    return [f"actual {head(factor)}"]


def _rows(study: Study, plan: Plan, batch: Batch) -> tuple[RunRow, ...]:
    factors, lot = study.factors_set_per("tile"), lot_of_tiles(study, plan)
    return tuple(
        RunRow(
            tile.order,
            tile.code,
            tuple(
                show_number(tile.settings[factor.name], factor) if factor.name in tile.settings else ""
                for factor in factors
            ),
            tile.reference,
            tile.replaces,
            lot.get(tile.code, ""),
        )
        for tile in plan.tiles
        if tile.batch == batch.code
    )


def forms_of(study: Study) -> tuple[str, ...]:
    """Return the names of the forms that this study has."""
    asked = {"colour.csv": study.target is not None, "values.csv": bool(study.responses), "rub.csv": bool(study.rub)}
    return ("made.csv", "batches.csv", *(name for name, wanted in asked.items() if wanted))


def _shuffled(plan: Plan, number: int) -> tuple[str, ...]:
    """The tile codes, without those that have a stand-in, in a random order that stays the same each time it is printed."""
    replaced = {tile.replaces for tile in plan.tiles}
    codes = [tile.code for tile in plan.tiles if tile.code not in replaced]
    Random(plan.seed + number).shuffle(codes)
    return tuple(codes)


def _measure_sheets(study: Study, plan: Plan) -> tuple[MeasureSheet, ...]:
    """A sheet for colour readings, and one for each day on which declared responses fall due."""
    sheets = []
    if study.target is not None:
        sheets.append(
            MeasureSheet(
                f"Colour readings, {study.stage}",
                "Colour readings",
                (
                    "CIE L*, a*, b* as the instrument shows them, to one decimal. Read before any rub.",
                    f"One spot is enough; up to {SPOTS} spots average out an uneven film. Keep to one instrument and one "
                    "illuminant for the whole study.",
                ),
                ("date", "by", "instrument", "geometry (d/8 ...)", "illuminant, observer"),
                tuple((f"spot {spot}", ("L*", "a*", "b*")) for spot in range(1, SPOTS + 1)),
                _shuffled(plan, 101),
                f"{_days(study.stage_days)} after making",
            )
        )
    for number, days in enumerate(sorted({one.after_days for one in study.responses}), start=102):
        asked = [one for one in study.responses if one.after_days == days]
        names = [f"{one.label}, {show_unit(one.unit)}" if one.unit else one.label for one in asked]
        sheets.append(
            MeasureSheet(
                f"Values: {', '.join(one.label for one in asked)}",
                "Values",
                ("Write each value in the unit at the head of its column.",),
                ("date", "by", "instrument"),
                tuple(("", (name,)) for name in names),
                _shuffled(plan, number),
                f"{_days(days)} after making",
            )
        )
    return tuple(sheets)


def _rub_sheets(study: Study, plan: Plan, library: Library) -> tuple[RubSheet, ...]:
    if study.rub is None:
        return ()
    protocol = library.protocols[study.rub.protocol]
    sheets = []
    for number, condition in enumerate(study.rub.conditions):
        sheets.append(
            RubSheet(
                protocol.label,
                condition,
                protocol.lines(condition, study.rub.conditions),
                _shuffled(plan, number + 1),
                due=f"{_days(study.rub.wait_days)} after making",
            )
        )
    return tuple(sheets)


def _days(days: int) -> str:
    return {0: "the same day", 1: "1 day", 7: "a week"}.get(days, f"{days} days")


def _due(study: Study) -> tuple[Due, ...]:
    listed = []
    if study.target:
        listed.append(
            Due(f"colour reading ({study.stage})", f"{_days(study.stage_days)} after making", "before any rub")
        )
    listed += [Due(one.label, f"{_days(one.after_days)} after making") for one in study.responses]
    if study.rub:
        listed += [
            Due(f"rub test, {one}", f"{_days(study.rub.wait_days)} after making") for one in study.rub.conditions
        ]
    return tuple(listed)
