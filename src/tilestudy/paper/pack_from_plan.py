"""From a study and its plan to the bench pack of one session. Computes nothing but amounts and dates in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from random import Random

from tilestudy.design.lots import lot_of_tiles
from tilestudy.design.sessions import SessionTimes
from tilestudy.design.sessions.words import clock_rows, dropping, go_on, hands_in_words
from tilestudy.paper.content import Fact
from tilestudy.paper.from_plan import cautions, first_aid, head, masthead, metal_text, protection, steps
from tilestudy.paper.labels import bag_faces, label_block, tile_faces
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
from tilestudy.study.language import capital, plural
from tilestudy.study.records import Batch, Factor, Plan, Study, tiles_that_count
from tilestudy.study.units import show, show_number, show_unit
from tilestudy.trade import amounts as trade_amounts
from tilestudy.trade.hazards.report import HazardReport
from tilestudy.trade.library import Library, Process

SPOTS = 3
"""Spots of a tile that the sheet for colour readings has room for."""


def bench_pack_content(
    study: Study,
    plan: Plan,
    number: int,
    library: Library,
    *,
    mixing: trade_amounts.Mixing,
    check: HazardReport,
    times: SessionTimes | None,
    hands: int,
    word: str,
    can_tell: Sequence[str],
    spares: Sequence[str],
    spare_lots: Mapping[str, str],
    studio: str,
    printed: date,
    carries: Callable[[str], str],
) -> BenchPack:
    """Return the content of the bench pack of one session.

    Parameters
    ----------
    plan : Plan
        The whole plan: its fingerprint stands on every page.
    number : int
        The session.
    mixing : trade.amounts.Mixing
        What goes into the batches, of this session.
    check : HazardReport
        What the hazard check found; nothing of it blocks.
    times : SessionTimes or None
        The session by the clock; None prints no times.
    hands : int
        Pairs of hands that the times are for.
    word : str
        What the bench calls a batch.
    can_tell : sequence of str
        The plan in sentences.
    spares : sequence of str
        Codes to stamp on spare tiles.
    spare_lots : mapping of str to str
        The sheet lot of each spare; empty where there is one lot.
    printed : date
        Date on the pages.
    carries : callable
        What a tile's QR code carries, from the tile's code.
    """
    process = library.process(study.process)
    needed = tiles_that_count(plan)
    tiles = [tile for tile in needed.tiles if tile.session == number]
    codes = [tile.code for tile in tiles]
    batches = [batch for batch in needed.batches if batch.session == number]
    closed = ", closed and labelled waste jars" if process.words.waste and process.wet else ""
    return BenchPack(
        masthead=masthead(study, plan, studio, printed),
        metal=metal_text(study, library),
        process=process.label,
        session=_session(study, plan, number, batches, process, mixing.volume, times, hands, word),
        mixing=_mixing(mixing, process, batches, times),
        spares=tuple(spares),
        spare_lots=spare_lots,
        first=check.first,
        to_confirm=tuple(question.safe for question in check.questions),
        signed=tuple(one.text for one in check.findings if one.level == "signed"),
        opening=(
            "The page on hazards and protection is read; everybody in the room knows it.",
            "Protection for each step lies ready; extraction runs; safety data sheets and the first aid box are at hand.",
            *steps(process)[:1],
            f"At the bench: run sheet, {process.words.bring}; labels beside the {plural(word)}{closed}.",
        ),
        closing=(
            *process.words.closing,
            "Blanks on the run sheet filled; spoiled tiles marked; sheets handed to whoever types them in.",
        ),
        making=steps(process)[1:] or steps(process),
        cautions=cautions(process, check.findings),
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
        labels=(
            label_block("tiles", "For the tiles:", tile_faces(tiles, word, carries)),
            label_block("bags", "For their bags:", bag_faces(codes, _due(study), carries)),
        ),
    )


def _session(
    study: Study,
    plan: Plan,
    number: int,
    batches: Sequence[Batch],
    process: Process,
    volume: trade_amounts.Volume | None,
    times: SessionTimes | None,
    hands: int,
    word: str,
) -> Session:
    tile_factors = study.factors_set_per("tile")
    alone = any(one.kind == "finish" for one in times.events) if times else False
    return Session(
        number,
        len({batch.session for batch in plan.batches}),
        tuple(head(factor) for factor in tile_factors),
        tuple(
            RunBatch(_label(study, plan, process, batch, volume, word), _rows(study, plan, batch, times))
            for batch in batches
        ),
        tuple(f"actual {head(factor)}" for factor in tile_factors),
        slot=f"{times.clock(0, False)} to {times.clock(times.ends, False)}, {hands_in_words(hands)}" if times else "",
        times=_glance(times, word) if times else (),
        ends=alone,
        clock=tuple(_clock_row(one) for one in clock_rows(times, word, hands)) if times else (),
        if_late=(*times.says, *dropping(times), go_on(word)) if times else (go_on(word),),
    )


def _clock_row(cells: Sequence[str]) -> tuple[str, str, str]:
    """A line of the clock: time, tile, what; with whose hands where there are several pairs."""
    at, tile, *whose, what = cells
    return at, tile, f"{what} (hands {whose[0]})" if whose and whose[0] else what


def _glance(times: SessionTimes, word: str) -> tuple[Fact, ...]:
    """The session at a glance: preparing, each batch, clearing up."""
    said = [(0, "set up")]
    for batch in times.batches:
        said.append((batch.begun, f"{word} {batch.code}: begin; ready {times.clock(batch.ready, False)}"))
    clear = next((one.at for one in times.events if one.kind == "clear up"), times.ends)
    said.append((clear, f"clear up, until {times.clock(times.ends, False)}"))
    return tuple(Fact(times.clock(at, False), text) for at, text in said)


def _settings(study: Study, batch: Batch) -> list[Fact]:
    fixed = [factor for factor in study.factors if factor.set_per != "tile" and factor.name in batch.settings]
    return [Fact(factor.label, show(batch.settings[factor.name], factor)) for factor in fixed]


def _label(
    study: Study, plan: Plan, process: Process, batch: Batch, volume: trade_amounts.Volume | None, word: str
) -> BatchLabel:
    mix = process.data.get("mix", {})
    fixed = [factor for factor in study.factors if factor.set_per != "tile"]
    settings = _settings(study, batch)
    if volume is not None:
        settings.append(Fact("volume", volume.text))
    return BatchLabel(
        code=batch.code,
        kind=word,
        tiles=sum(tile.batch == batch.code for tile in tiles_that_count(plan).tiles),
        settings=tuple(settings),
        never=mix.get("never", ""),
        hazards=tuple(one["text"] for one in process.data.get("caution", ())[:1]),
        blanks=(*process.words.blanks, *(blank for factor in fixed for blank in _actual_blanks(factor, process))),
        out=process.words.out,
        discard=mix.get("discard", ""),
        live=mix.get("live", ""),
        spent=mix.get("spent", ""),
    )


def _mixing(
    found: trade_amounts.Mixing, process: Process, batches: Sequence[Batch], times: SessionTimes | None
) -> Mixing:
    ready = {batch.code: times.clock(batch.ready, False) for batch in times.batches} if times else {}

    def lines(mix: trade_amounts.Mix) -> tuple[MixLine, ...]:
        return tuple(MixLine(one.text, one.known) for one in mix.lines)

    here = {batch.code for batch in batches}
    return Mixing(
        process.words.make,
        tuple(
            BatchMix(one.code, one.settings, lines(one), ready.get(one.code, ""))
            for one in found.batches
            if one.code in here
        ),
        found.how,
        tuple(MixLine(f"{capital(one.code)}: {line.text}", line.known) for one in found.stocks for line in one.lines),
        "what went in, measured how" if any(one.lines for one in found.batches) else "",
        found.notes,
    )


def _actual_blanks(factor: Factor, process: Process) -> list[str]:
    """Label the blanks for a per-batch setting as it really was: what the form calls actual."""
    if factor.unit == "degC":
        return [f"measured {factor.label}{f' {when}' if when else ''}, °C / °F" for when in process.words.measured]
    return [f"actual {head(factor)}"]


def _rows(study: Study, plan: Plan, batch: Batch, times: SessionTimes | None) -> tuple[RunRow, ...]:
    factors, lot = study.factors_set_per("tile"), lot_of_tiles(study, plan)
    by_clock = times.tiles if times else {}
    seconds = any(one.start % 60 for one in by_clock.values())
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
            times.clock(by_clock[tile.code].start, seconds) if times and tile.code in by_clock else "",
            times.clock(by_clock[tile.code].outs[-1], seconds) if times and tile.code in by_clock else "",
        )
        for tile in tiles_that_count(plan).tiles
        if tile.batch == batch.code
    )


def forms_of(study: Study) -> tuple[str, ...]:
    """Return the names of the forms that this study has."""
    asked = {"colour.csv": study.target is not None, "values.csv": bool(study.responses), "rub.csv": bool(study.rub)}
    return ("made.csv", "batches.csv", *(name for name, wanted in asked.items() if wanted))


def shuffled(plan: Plan, session: int, codes: Sequence[str], number: int) -> tuple[str, ...]:
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
                shuffled(plan, session, codes, 101),
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
                shuffled(plan, session, codes, number),
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
                shuffled(plan, session, codes, number + 1),
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
