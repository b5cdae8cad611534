"""Taking back what was entered: what stood before stands again, and the history tells of all three."""

from __future__ import annotations

from tilestudy.errors import WrongRequestError
from tilestudy.store.bench import DipRow, Received
from tilestudy.studio.at_bench.desk import SOURCE, Desk, Done, TurnedAwayError, owner, refused
from tilestudy.studio.at_bench.rows import drop_stand_in
from tilestudy.studio.recording import replacements
from tilestudy.study.forms.cells import CellError, read_whole
from tilestudy.study.records import Kept, Made


def undo(desk: Desk) -> Done:
    """Take back an entry by its number on the device (cell `entry`), or a record by its number in the book (`record`)."""
    written = desk.entry.cells.get("entry", "").strip()
    if not written:
        kept = _record_asked(desk)
        by = desk.rows.that_made(kept.id)
        if by is None or by.kind != "stop":  # with a stop's record goes the stop
            return _undo_record(desk, kept)
        written = by.id
    entry = desk.rows.received(written)
    if entry is None or entry.study.casefold() != desk.study.name.casefold():
        raise refused("There is no such entry to take back; it never arrived.")
    if not desk.may_change(entry.mark):
        raise refused(f"That was entered by {entry.mark}, and only {entry.mark} or a keeper can take it back.")
    if entry.kind == "undo":
        raise refused("What was taken back cannot be taken back in turn. Enter it again.")
    if desk.rows.that_took_back(entry.id) is not None:
        return Done(desk.answer("unchanged", "That was taken back already."))
    if entry.record is None and entry.dip is None:
        return Done(desk.answer("unchanged", "That entry had changed nothing, so there is nothing to take back."))
    done = Done(desk.answer("stored"))
    if entry.record is not None:
        done = _undo_record(desk, _kept(desk, entry.record))
    dip = None if entry.dip is None else _undo_dip(desk, entry)
    return Done(done.answer, done.record, dip, entry.id)


def _record_asked(desk: Desk) -> Kept:
    written = desk.cells.get("record", "")
    try:
        number = read_whole(written, ";", 1) if written else None
    except (CellError, WrongRequestError) as error:
        raise refused(f"Record {error}") from error
    if number is None:
        raise refused("There is nothing named to take back.")
    return _kept(desk, number)


def _kept(desk: Desk, number: int) -> Kept:
    kept = desk.book.entry(number)
    there = None if kept is None else desk.book.last(desk.study.name, kept.kind, kept.record)
    if kept is None or there is None:
        raise refused(f"There is no record {number} to take back in this study.")
    if not desk.may_change(owner(kept.record)):
        by = owner(kept.record) or "somebody else"
        raise refused(f"That was entered by {by}, and only {by} or a keeper can take it back.")
    return kept


def _undo_record(desk: Desk, kept: Kept) -> Done:
    """Put back what stood before a record, or nothing."""
    study, book = desk.study.name, desk.book
    last = book.last(study, kept.kind, kept.record)
    assert last is not None
    if last.withdrawn and last.record == kept.record:
        return Done(desk.answer("unchanged", "That was taken back already."))
    if last.id != kept.id and not (last.record == kept.record and _put_back(desk, last)):
        says = "It was corrected since, so taking it back would lose the correction. What stands is shown."
        raise TurnedAwayError(desk.answer("other", says, kept=None if last.withdrawn else last))
    before = None if kept.supersedes is None else book.entry(kept.supersedes)
    if before is not None and before.withdrawn:
        before = None
    _stand_ins(desk, last, before)
    if before is None or before.record == last.record:
        number = book.withdraw(study, last, SOURCE, desk.now)
        return Done(desk.answer("stored", "Taken back."), number)
    book.record(study, kept.kind, [(before.record, None)], SOURCE, desk.now)
    now = desk.standing(kept.kind, before.record)
    assert now is not None
    return Done(desk.answer("stored", "Taken back: what stood before stands again.", kept=now), now.id)


def _put_back(desk: Desk, last: Kept) -> bool:
    """True where what stands was put back by taking back a later entry."""
    by = desk.rows.that_made(last.id)
    return by is not None and by.kind == "undo"


def _stand_ins(desk: Desk, now: Kept, before: Kept | None) -> None:
    """Let the plan follow: a stand-in that is no longer asked for leaves it, one that is asked for again comes back."""
    if not isinstance(now.record, Made):
        return
    then = before.record if before is not None and isinstance(before.record, Made) else None
    wanted = then.replaced_by if then is not None else ""
    if now.record.replaced_by and now.record.replaced_by != wanted:
        drop_stand_in(desk, now.record.replaced_by)
    if then is not None and wanted and wanted != now.record.replaced_by:
        for tile in replacements(desk.book.plan(desk.study.name) or desk.plan, [then]):
            desk.book.add_tile(desk.study.name, tile, desk.now)


def _undo_dip(desk: Desk, entry: Received) -> int:
    """Take back a start, or a stop so that the tile is still in since it went in."""
    dip = None if entry.dip is None else desk.rows.standing_dip(entry.dip)
    if dip is None:
        raise refused("That time in the bath was taken back already.")
    later = [one for one in desk.rows.dips(desk.study.name, dip.tile) if one.cycle > dip.cycle]
    if later:
        raise refused(f"{dip.tile} went in again since. Take that back first.")
    if entry.kind == "start":
        return _undo_start(desk, dip)
    if dip.stopped is None:
        raise refused("That time in the bath was taken back already.")
    return desk.rows.undo_stop(dip.number, desk.now)


def _undo_start(desk: Desk, dip: DipRow) -> int:
    if dip.stopped is not None:
        raise refused(f"{dip.tile} came out since. Take that back first.")
    desk.rows.undo_start(dip.number, desk.now)
    return dip.number
