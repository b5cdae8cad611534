"""From a study and its plan to the bench pack of one session. Computes nothing but amounts and dates in words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from random import Random

from tilestudy.design.lots import lot_of_tiles
from tilestudy.paper.content import Fact
from tilestudy.paper.from_plan import cautions, first_aid, head, masthead, metal_text, protection, steps
from tilestudy.paper.pack_content import (
    BatchLabel,
    BatchMix,
    BenchPack,
    Due,
    MeasureSheet,
    Mixing,
    MixLine,
    RubSheet,
    RunBatch,
    RunRow,
    Session,
)
from tilestudy.study.at_hand import AtHand
from tilestudy.study.language import capital, plural
from tilestudy.study.records import Batch, Factor, Plan, Study, tiles_that_count
from tilestudy.study.units import show, show_number, show_unit
from tilestudy.trade.amounts import Line, mixing
from tilestudy.trade.amounts import Mixing as Mixed
from tilestudy.trade.hazards import unanswered
from tilestudy.trade.library import Library, Process

SPOTS = 3
"""Spots of a tile that the sheet for colour readings has room for."""


def bench_pack_content(
    study: Study,
    plan: Plan,
    number: int,
    library: Library,
    *,
    word: str,
    can_tell: Sequence[str],
    spares: Sequence[str],
    studio: str,
    printed: date,
    at_hand: AtHand | None = None,
) -> BenchPack:
    """Return the content of the bench pack of one session.

    Parameters
    ----------
    plan : Plan
        The whole plan: its fingerprint stands on every page.
    number : int
        The session.
    word : str
        What the bench calls a batch.
    can_tell : sequence of str
        The plan in sentences.
    spares : sequence of str
        Codes to stamp on spare tiles.
    printed : date
        Date on the pages.
    at_hand : AtHand, optional
        What there is to measure with.
    """
    process = library.process(study.process)
    mixed = mixing(study, plan, library, at_hand or AtHand()).session(number)
    tile_factors = study.factors_set_per("tile")
    needed = {batch.code for batch in tiles_that_count(plan).batches}
    batches = [batch for batch in plan.batches if batch.session == number and batch.code in needed]
    codes = [tile.code for tile in tiles_that_count(plan).tiles if tile.session == number]
    bring = f"run sheet, {process.words.bring}"
    return BenchPack(
        masthead=masthead(study, plan, studio, printed),
        metal=metal_text(study, library),
        process=process.label,
        session=Session(
            number,
            len({batch.session for batch in plan.batches}),
            tuple(head(factor) for factor in tile_factors),
            tuple(RunBatch(_label(study, plan, process, batch, word, mixed), _rows(study, plan, batch)) for batch in batches),
            tuple(f"actual {head(factor)}" for factor in tile_factors),
        ),
        mixing=_mixing(process, mixed),
        spares=tuple(spares),
        to_confirm=tuple(question.safe for question in unanswered(study, library)),
        opening=(
            "The page on hazards and protection is read; everybody in the room knows it.",
            "Protection for each step lies ready; extraction runs; safety data sheets and the first aid box are at hand.",
            *steps(process)[:1],
            f"At the bench: {bring}; labels beside the {plural(word)}{', closed and labelled waste jars' if process.words.waste and process.wet else ''}.",
        ),
        closing=(
            *process.words.closing,
            "Blanks on the run sheet filled; spoiled tiles marked; sheets handed to whoever types them in.",
        ),
        cautions=cautions(study, library),
        protection=protection(process),
        first_aid=first_aid(process),
        measure_sheets=_measure_sheets(study, plan, number, codes),
        rub_sheets=_rub_sheets(study, plan, number, codes, library),
        due=_due(study),
        back=f'Type the sheets into the forms in experiments/{study.name}/ ({", ".join(forms_of(study))}), then "tilestudy '
        f'enter {study.name}".',
        mishaps=process.words.mishaps,
        waste=process.words.waste,
        can_tell=tuple(can_tell),
    )


def _settings(study: Study, batch: Batch) -> list[Fact]:
    fixed = [factor for factor in study.factors if factor.set_per != "tile" and factor.name in batch.settings]
    return [Fact(factor.label, show(batch.settings[factor.name], factor)) for factor in fixed]


def _label(study: Study, plan: Plan, process: Process, batch: Batch, word: str, mixed: Mixed) -> BatchLabel:
    mix = process.data.get("mix", {})
    fixed = [factor for factor in study.factors if factor.set_per != "tile"]
    settings = _settings(study, batch)
    if mixed.volume is not None:
        settings.append(Fact("volume", mixed.volume.text))
    return BatchLabel(
        code=batch.code,
        kind=word,
        tiles=sum(tile.batch == batch.code for tile in plan.tiles),
        settings=tuple(settings),
        never=mix.get("never", ""),
        blanks=(*process.words.blanks, *(blank for factor in fixed for blank in _actual_blanks(factor, process))),
        out=process.words.out,
        discard=mix.get("discard", ""),
        live=mix.get("live", ""),
        spent=mix.get("spent", ""),
    )


def _mixing(process: Process, mixed: Mixed) -> Mixing:
    def lines(many: Sequence[Line]) -> tuple[MixLine, ...]:
        return tuple(MixLine(one.text, one.known) for one in many)

    found = tuple(BatchMix(one.code, one.settings, lines(one.lines)) for one in mixed.batches)
    return Mixing(
        process.words.make,
        found,
        mixed.how,
        stock=tuple(
            MixLine(f"{capital(stock.code)}: {one.text}", one.known) for stock in mixed.stocks for one in stock.lines
        ),
        went_in="what went in, measured how" if any(one.lines for one in found) else "",
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


def _shuffled(plan: Plan, session: int, codes: Sequence[str], number: int) -> tuple[str, ...]:
    """The codes of a session in a random order that stays the same each time it is printed."""
    order = list(codes)
    Random(plan.seed + number + 1000 * session).shuffle(order)
    return tuple(order)


def _measure_sheets(study: Study, plan: Plan, session: int, codes: Sequence[str]) -> tuple[MeasureSheet, ...]:
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
                _shuffled(plan, session, codes, 101),
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
                _shuffled(plan, session, codes, number),
                f"{_days(days)} after making",
            )
        )
    return tuple(sheets)


def _rub_sheets(study: Study, plan: Plan, session: int, codes: Sequence[str], library: Library) -> tuple[RubSheet, ...]:
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
                _shuffled(plan, session, codes, number + 1),
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
