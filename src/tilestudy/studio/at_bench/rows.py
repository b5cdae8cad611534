"""A row of a form, entered at the bench: checked as a filled form is, and never written over what the writer had not seen."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from datetime import date
from random import Random
from typing import Any

from tilestudy.studio.at_bench.desk import SOURCE, Desk, Done, TurnedAwayError, owner, refused
from tilestudy.studio.recording import (
    corrected,
    follows_making,
    made_after_measured,
    measured_before_made,
    perhaps_another_round,
    replacements,
)
from tilestudy.study import forms
from tilestudy.study.forms.table import column_name
from tilestudy.study.language import capital, listed
from tilestudy.study.records import BatchLog, Kept, Made, Measured, Plan, Record, Rub

NEW = "new"
"""In the cell `replaced_by`: deal a code for the stand-in."""
NOW = "now"
"""In the cells `made_at` and `discarded_at`: when it was entered."""
_CLEARED: dict[str, Any] = {
    **{"note": "", "why": "", "replaced_by": "", "spoiled": False},
    **{"strokes": None, "broke_through": None, "made_at": None, "discarded_at": None},
}
"""What a cell says that was emptied by somebody who saw what stood in it."""


def store_row(desk: Desk) -> Done:
    """Store the record, or the records, of a row."""
    kind, keeper = desk.entry.kind, desk.writer.keeper
    cells = {_field(column): " ".join(cell.split()) for column, cell in desk.entry.cells.items()}
    given = {column: cell for column, cell in cells.items() if cell}
    whose = "scorer" if kind == "rub" else "by"
    if not keeper or (kind == "rub" and not given.get("scorer")):
        given[whose] = desk.writer.mark
    if given.get("replaced_by", "").casefold() == NEW:
        given["replaced_by"] = _stand_in(desk)
    for column in ("made_at", "discarded_at"):
        if given.get(column, "").casefold() == NOW:
            given[column] = f"{desk.at:%Y-%m-%d %H:%M:%S}"
    dated = given if kind == "batches" or "on" in given else {**given, "on": desk.at.date().isoformat()}
    reading = forms.read_entry(kind, dated, desk.study, desk.plan, desk.today, **desk.reading)
    if reading.faults:
        raise refused(*(capital(fault.what) for fault in reading.faults))
    if not reading.records:
        raise refused("Nothing was given to store.")
    if kind == "values":
        given["value"] = "given"  # perhaps in a column of the response's own name
    olds, records = [], []
    for new, _ in reading.records:
        if isinstance(new, Made | BatchLog) and "by" not in given:
            new = replace(new, by=desk.writer.mark)
        old = desk.standing(kind, new)
        emptied = {one for one, cell in cells.items() if not cell} if old and old.id == desk.entry.saw else set()
        record = new if old is None else _upon(desk, old, new, given, emptied)
        _check_days(desk, record)
        olds.append(old)
        records.append(record)
    notes = [note for old, record in zip(olds, records, strict=True) for note in _stand_ins(desk, old, record)]
    outcome = desk.book.record(desk.study.name, kind, [(one, None) for one in records], SOURCE, desk.now)
    now = desk.standing(kind, records[-1])
    assert now is not None
    if not outcome.added and not outcome.corrected:
        return Done(desk.answer("unchanged", kept=now))
    notes += _spoiled(desk, outcome.added) + perhaps_another_round(outcome)
    return Done(desk.answer("stored", *notes, kept=now), now.id)


def _field(column: str) -> str:
    name = column_name(column)[0]
    return "L" if name == "l" else name


def _stand_in(desk: Desk) -> str:
    """Return the code of the tile's stand-in: the one that it has, or a fresh one."""
    from tilestudy.design.codes import deal_codes

    made = desk.made(desk.tile())
    if made is not None and isinstance(made.record, Made) and made.record.replaced_by:
        return made.record.replaced_by
    return deal_codes(1, desk.book.codes(), Random(0))[0]


# --- what stands already -------------------------------------------------------------------------------------------------


def _upon(desk: Desk, old: Kept, new: Record, given: dict[str, str], emptied: Collection[str]) -> Record:
    """Return the record as corrected; raises TurnedAwayError where that would take away what others, or others' eyes, put there."""
    mine = desk.may_change(owner(old.record))
    if not mine:
        given = {column: cell for column, cell in given.items() if column != "by"}
    record = _emptied(corrected(old.record, new, given), emptied)
    altered = _altered(old.record, record)
    if not mine and (altered or not isinstance(record, Made | BatchLog) or _spoils(old.record, record)):
        by = owner(old.record) or "somebody else"
        says = f"This was entered by {by}, and only {by} or a keeper can change it."
        raise TurnedAwayError(desk.answer("refused", says, kept=old))
    if altered and old.id != desk.entry.saw:
        says = f"Another record stands already: {listed(altered)} would change. Look at both and say which is right."
        raise TurnedAwayError(desk.answer("other", says, kept=old))
    if record != old.record and isinstance(record, BatchLog | Rub):  # the parts may be right, and the whole not
        cells = forms.cells_of(record, desk.study)
        whole = forms.read_entry(desk.entry.kind, cells, desk.study, desk.plan, desk.today, **desk.reading)
        if whole.faults:
            raise refused(*(capital(fault.what) for fault in whole.faults))
    return record


def _emptied(record: Record, columns: Collection[str]) -> Record:
    changes = {column: _CLEARED[column] for column in columns if column in _CLEARED and hasattr(record, column)}
    if changes.get("spoiled") is False:
        changes |= {"why": "", "replaced_by": ""}
    if isinstance(record, Made | BatchLog):
        gone = {column.removeprefix("actual_") for column in columns if column.startswith("actual_")}
        changes["actual"] = {name: setting for name, setting in record.actual.items() if name not in gone}
    return replace(record, **changes)


def _spoils(old: Record, new: Record) -> bool:
    return isinstance(old, Made) and isinstance(new, Made) and new.spoiled and not old.spoiled


def _altered(old: Record, new: Record) -> list[str]:
    """Return the columns, as words, in which something that stood would be gone."""
    found = []
    for name, before in vars(old).items():
        after = getattr(new, name)
        if name == "actual":
            found += [one for one, setting in before.items() if after.get(one) != setting]
        elif before not in ("", None, False) and name not in ("mottle", "error", "detail") and after != before:
            found.append("whose it is" if name == "by" else name)
    return [one.replace("_", " ") for one in found]


# --- days, stand-ins, spoiled tiles ----------------------------------------------------------------------------------------


def _check_days(desk: Desk, record: Record) -> None:
    """Refuse a measurement dated before its tile was made, and a making dated after what was measured of the tile."""
    if follows_making(record):
        made = desk.standing("made", Made(record.tile, record.on))
        if made is not None and isinstance(made.record, Made) and record.on < made.record.on:
            raise refused(capital(measured_before_made([record.tile], made.record.on, record.on)))
    elif isinstance(record, Made):
        first = _first_measured(desk, record.tile)
        if first is not None and record.on > first:
            raise refused(capital(made_after_measured(record.tile, first, record.on)))


def _first_measured(desk: Desk, tile: str) -> date | None:
    kept = desk.book.standing_of(desk.study.name, tile)
    return min((one.on for one in (each.record for each in kept) if follows_making(one)), default=None)


def _stand_ins(desk: Desk, old: Kept | None, record: Record) -> list[str]:
    """Plan the stand-in of a spoiled tile, and take one out of the plan that is no longer asked for."""
    if not isinstance(record, Made):
        return []
    had = old.record.replaced_by if old is not None and isinstance(old.record, Made) else ""
    if had and had.casefold() != record.replaced_by.casefold():
        drop_stand_in(desk, had)
    plan: Plan = desk.book.plan(desk.study.name) or desk.plan
    notes = []
    for tile in replacements(plan, [record]):
        if desk.book.add_tile(desk.study.name, tile, desk.now):
            notes.append(f"Tile {tile.code} stands in for {tile.replaces}. Stamp {tile.code} on a blank.")
    return notes


def drop_stand_in(desk: Desk, code: str) -> None:
    """Take a stand-in out of the plan; raises TurnedAwayError when it was used already."""
    if not desk.book.withdraw_stand_in(desk.study.name, code, desk.now):
        raise refused(
            f"{code} stands in for this tile and has been used, so the tile cannot count again beside it. "
            f"Take back what was entered of {code} first."
        )


def _spoiled(desk: Desk, added: Collection[Record]) -> list[str]:
    measured = [one for one in added if isinstance(one, Measured)]
    made = [desk.standing("made", Made(one.tile, one.on)) for one in measured]
    gone = {one.record.tile for one in made if one is not None and isinstance(one.record, Made) and one.record.spoiled}
    return [f"Marked as spoiled, so kept but not used: what was measured of {listed(sorted(gone))}."] if gone else []
