"""A tile goes in and comes out: times by the clock, and the record of its making out of them."""

from __future__ import annotations

from datetime import datetime, timedelta

from tilestudy.design.sessions.dips import differing_settings, planned_dips
from tilestudy.errors import WrongRequestError
from tilestudy.outcomes.bench import Answer, Status
from tilestudy.store.bench import DipRow
from tilestudy.studio.at_bench.desk import SOURCE, Desk, Done, TurnedAwayError, refused
from tilestudy.study.forms.cells import CellError, read_whole, read_yes
from tilestudy.study.records import Made, Tile
from tilestudy.study.units import plain_number, show

CLOCKS_DIFFER = timedelta(seconds=5)
"""Two devices' clocks may differ by so much (assumed, no source)."""


def start_dip(desk: Desk) -> Done:
    """Write that a tile went in."""
    tile = desk.tile()
    made = desk.made(tile)
    if made is not None and isinstance(made.record, Made):
        if made.record.spoiled:
            other = made.record.replaced_by
            raise refused(f"{tile.code} is marked as spoiled{f'; {other} stands in for it' if other else ''}.")
        raise refused(f"{tile.code} is recorded as made. If it is to go in once more, take that back first.")
    dips = desk.rows.dips(desk.study.name, tile.code)
    inside = next((one for one in dips if one.stopped is None), None)
    last = max((one.cycle for one in dips), default=0)
    cycle = _cycle(desk, inside.cycle if inside else last + 1)
    same = next((one for one in dips if one.cycle == cycle), None)
    if same is not None and same.stopped is None:
        return Done(_told(desk, "unchanged", same, f"{tile.code} has been in since {_clock(same.started)}."))
    if same is not None:
        says = f"{tile.code} has been in already{_turn(same)}: {_span(same)}."
        raise TurnedAwayError(_told(desk, "other", same, says))
    if inside is not None:
        raise refused(f"{tile.code} is in{_turn(inside)}, since {_clock(inside.started)}. Take it out first.")
    if cycle < last:
        raise refused(f"{tile.code} has been in {last} times already, so time {cycle} cannot begin now.")
    at = _not_before(desk.at, max((one.stopped for one in dips if one.stopped), default=None), f"{tile.code} came out")
    number = desk.rows.start_dip(desk.study.name, tile.code, cycle, at, desk.writer.mark)
    begun = desk.rows.dip(number)
    assert begun is not None
    return Done(_told(desk, "stored", begun), dip=number)


def stop_dip(desk: Desk) -> Done:
    """Write that a tile came out; after its last time (by the plan, or the cell `last`) it is made."""
    tile = desk.tile()
    dips = desk.rows.dips(desk.study.name, tile.code)
    inside = next((one for one in dips if one.stopped is None), None)
    cycle = _cycle(desk, inside.cycle if inside else max((one.cycle for one in dips), default=1))
    one = next((one for one in dips if one.cycle == cycle), None)
    if one is None:
        raise refused(f"{tile.code} is not in: nobody entered that it went in. Start it, or enter it as made.")
    if one.stopped is not None:
        enough = desk.cells.get("last", "") != "" and _is_last(desk, tile, cycle)
        if enough and cycle == max(each.cycle for each in dips) and desk.made(tile) is None:
            after_all = _make(desk, tile, one)
            return Done(after_all.answer, after_all.record)  # its times stand: only the record can be taken back
        return Done(_told(desk, "unchanged", one, f"{tile.code} came out already: {_span(one)}."))
    at = _not_before(desk.at, one.started, f"{tile.code} went in")
    desk.rows.stop_dip(one.number, at, desk.writer.mark)
    done = desk.rows.dip(one.number)
    assert done is not None
    if not _is_last(desk, tile, cycle):
        return Done(_told(desk, "stored", done), dip=one.number)
    if (made := desk.made(tile)) is not None:
        return Done(_told(desk, "stored", done, record=made.id), dip=one.number)
    return _make(desk, tile, done)


def _make(desk: Desk, tile: Tile, done: DipRow) -> Done:
    times = [one.seconds for one in desk.rows.dips(desk.study.name, tile.code) if one.seconds is not None]
    seconds = sum(times) / len(times)
    actual = differing_settings(desk.study, tile, seconds, done.cycle)
    made = Made(tile.code, desk.at.date(), actual=actual, by=desk.writer.mark)
    desk.book.record(desk.study.name, "made", [(made, None)], SOURCE, desk.now)
    kept = desk.made(tile)
    assert kept is not None
    says = [
        f"{one.label} {show(actual[one.name], one)} where {show(tile.settings[one.name], one)} was planned"
        for one in desk.study.factors
        if one.name in actual
    ]
    planned, _ = planned_dips(desk.study, tile)
    if len(times) > 1 and planned is not None and "s" in {one.unit for one in desk.study.factors if one.name in actual}:
        says.append(f"times in: {', '.join(plain_number(one) for one in times)} s")
    told = [f"{tile.code} is made: {'; '.join(says)}."] if says else []
    return Done(_told(desk, "stored", done, *told, record=kept.id), kept.id, done.number)


def _is_last(desk: Desk, tile: Tile, cycle: int) -> bool:
    written = desk.cells.get("last", "")
    if not written:
        return cycle >= planned_dips(desk.study, tile)[1]
    try:
        return read_yes(written)
    except CellError as error:
        raise refused(f"Last {error}") from error


def _cycle(desk: Desk, otherwise: int) -> int:
    written = desk.cells.get("cycle", "")
    if not written:
        return otherwise
    try:
        cycle = read_whole(written, ";", 1)
    except (CellError, WrongRequestError) as error:
        raise refused(f"Cycle {error}") from error
    if cycle > 1000:
        raise refused(f"No tile goes in {cycle} times. Check the cycle.")
    return cycle


def _not_before(at: datetime, earliest: datetime | None, what: str) -> datetime:
    """Return the time, or the earliest possible one where clocks differ a little; far off it is refused."""
    if earliest is None or at >= earliest:
        return at
    if earliest - at <= CLOCKS_DIFFER:
        return earliest
    raise refused(
        f"{what} at {_clock(earliest)}, so this cannot have been at {_clock(at)}. Check the clock of this device."
    )


def _told(desk: Desk, status: Status, dip: DipRow, *says: str, record: int | None = None) -> Answer:
    now = {
        **{"tile": dip.tile, "cycle": str(dip.cycle), "started": dip.started.isoformat()},
        "stopped": dip.stopped.isoformat() if dip.stopped else "",
    }
    return Answer(status, says, record, now, dip.started_by)


def _turn(dip: DipRow) -> str:
    return f" (time {dip.cycle})" if dip.cycle > 1 else ""


def _span(dip: DipRow) -> str:
    by = f" ({dip.started_by})" if dip.started_by else ""
    return f"{_clock(dip.started)} to {_clock(dip.stopped) if dip.stopped else 'now'}{by}"


def _clock(at: datetime) -> str:
    return f"{at.astimezone():%H:%M:%S}"
