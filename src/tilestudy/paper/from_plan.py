"""From a study and its plan to the bench pack's content. Computes nothing but amounts and dates in words."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import date
from random import Random

from tilestudy.paper.content import (
    BatchCard,
    BenchPack,
    Caution,
    Due,
    Fact,
    Masthead,
    Protection,
    RubSheet,
    RunBatch,
    RunRow,
    Session,
)
from tilestudy.study.records import Batch, Factor, Plan, Study
from tilestudy.study.units import plain_number, show, show_number, show_unit
from tilestudy.trade.amounts import amounts, volume_text
from tilestudy.trade.hazards import hazards, unanswered
from tilestudy.trade.library import Process, metal_line, protocols

FIRST_AID = (
    "Splash in the eye: rinse with running water at once and get medical help. Feeling unwell or dizzy: out into fresh "
    "air, help at once. Burn: cool with water. Have the safety data sheet at hand when you call. Local emergency number:"
)


def fingerprint(plan: Plan) -> str:
    """Return a short fingerprint of the plan, stand-ins left out: sheets with different ones do not belong together."""
    told = [
        (tile.code, tile.batch, tile.session, tile.order, sorted((k, str(v)) for k, v in tile.settings.items()))
        for tile in plan.tiles
        if not tile.replaces
    ]
    return hashlib.sha256(repr(told).encode()).hexdigest()[:6]


def masthead(study: Study, plan: Plan, studio: str, printed: date) -> Masthead:
    """Return what every page of a study carries."""
    title = study.name.replace("-", " ").replace("_", " ")
    return Masthead(
        study=study.name,
        title=title[0].upper() + title[1:],
        question=study.question,
        studio=studio,
        fingerprint=fingerprint(plan),
        printed=printed,
        invented=study.invented,
    )


def metal_text(study: Study) -> str:
    """Write the metal and the size of a tile in one line."""
    width, height = (plain_number(side) for side in study.tile_mm)
    return f"{metal_line(study.metal)}, tiles {width} × {height} mm"


def head(factor: Factor) -> str:
    """Head a column with a factor's name and unit: ``dip time, s``."""
    return f"{factor.label}, {show_unit(factor.shown)}" if factor.shown else factor.label


def cautions(study: Study, process: Process) -> tuple[Caution, ...]:
    """Return the cautions of the process and the warnings that concern this study."""
    listed = [Caution(one["title"], one["text"], one["source"]) for one in process.data.get("caution", ())]
    listed += [Caution("Note for this metal and process", one.says, one.source) for one in hazards(study)]
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
    process: Process,
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
        metal=metal_text(study),
        process=process.label,
        sessions=tuple(sessions),
        spares=tuple(spares),
        can_tell=tuple(can_tell),
        open_questions=tuple(question.text for question in unanswered(study)),
        opening=(
            "Protection for each step lies ready (table below); extraction runs; first aid and safety data sheets at hand.",
            "Tiles cut, drilled and stamped on the back with the codes of this session, spares too.",
            *steps(process)[:1],
            "This run sheet, a pen that writes on wet paper, a clock with seconds.",
        ),
        closing=(
            "Tiles dry, each beside its code; nothing waxed or lacquered yet.",
            "Waste in closed jars, labelled with contents and date. Follow local rules and the safety data sheet.",
            "Tools rinsed; sulfide and acid tools kept apart.",
            "Blanks on the run sheet filled; spoiled tiles marked; sheet handed to whoever types it in.",
        ),
        cautions=cautions(study, process),
        protection=protection(process),
        first_aid=FIRST_AID,
        rub_sheets=_rub_sheets(study, plan),
        due=_due(study),
        back=f'Type the sheet into experiments/{study.name}/ (made.csv, batches.csv, rub.csv), then "tilestudy enter '
        f'{study.name}".',
    )


def _card(study: Study, plan: Plan, process: Process, batch: Batch, word: str) -> BatchCard:
    mix = process.data.get("mix", {})
    goes_in = amounts(study, process, batch)
    settings = [
        Fact(study.factor(name).label, show(value, study.factor(name))) for name, value in batch.settings.items()
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
    )


def _rows(study: Study, plan: Plan, batch: Batch) -> tuple[RunRow, ...]:
    factors = study.factors_set_per("tile")
    return tuple(
        RunRow(
            tile.order,
            tile.code,
            tuple(show_number(tile.settings[factor.name], factor) for factor in factors),
            tile.reference,
            tile.replaces,
        )
        for tile in plan.tiles
        if tile.batch == batch.code
    )


def _rub_sheets(study: Study, plan: Plan) -> tuple[RubSheet, ...]:
    if study.rub is None:
        return ()
    protocol = protocols()[study.rub.protocol]
    sheets = []
    for number, condition in enumerate(study.rub.conditions):
        codes = [tile.code for tile in plan.tiles]
        Random(plan.seed + number + 1).shuffle(codes)
        sheets.append(
            RubSheet(
                protocol.label,
                condition,
                protocol.lines,
                tuple(codes),
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
