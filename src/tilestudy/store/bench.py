"""What devices at the bench sent, each once, and when tiles went in and came out: rows of the study book.

A time once written stays: a start or stop by mistake is marked as undone, and the right one is a new row.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from tilestudy.errors import BookError

if TYPE_CHECKING:
    from tilestudy.store.book import StudyBook


@dataclass(frozen=True)
class Received:
    """What was received once.

    Attributes
    ----------
    id : str
        Made on the device.
    study, kind : str
    said : mapping
        The cells as sent.
    device, mark : str
        Where it came from, and whose it is.
    answer : mapping
        What was answered.
    record, dip : int or None
        Number of the record that it made, and of the time in the bath that it started or stopped.
    undoes : str or None
        What it took back.
    """

    id: str
    study: str
    kind: str
    said: Mapping[str, Any]
    device: str
    mark: str
    answer: Mapping[str, Any]
    record: int | None = None
    dip: int | None = None
    undoes: str | None = None


@dataclass(frozen=True)
class DipRow:
    """One time that a tile was in, as the book keeps it; times are UTC, `stopped` None while it is in."""

    number: int
    tile: str
    cycle: int
    started: datetime
    started_by: str
    stopped: datetime | None
    stopped_by: str

    @property
    def seconds(self) -> float | None:
        """How long it was in; None while it is."""
        return None if self.stopped is None else (self.stopped - self.started).total_seconds()


class BenchRows:
    """What the study book keeps of the bench; every writing method belongs into the book's transaction.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> from tilestudy.store.book import StudyBook
    >>> with TemporaryDirectory() as folder, StudyBook(Path(folder) / "book.sqlite") as book:
    ...     BenchRows(book).received("k-1") is None
    True
    """

    def __init__(self, book: StudyBook) -> None:
        self._book = book

    # --- entries, each once -----------------------------------------------------------------------------------------

    def received(self, number: str) -> Received | None:
        """Return what was received under a number, or None."""
        return self._one_received("r.id = ?", number)

    def that_took_back(self, number: str) -> Received | None:
        """Return what took back the entry of this number, or None."""
        return self._one_received("r.undoes = ?", number)

    def that_made(self, record: int) -> Received | None:
        """Return what made a record (a number of the diary), or None where it did not come from the bench."""
        return self._one_received("r.record = ?", record)

    def _one_received(self, which: str, value: str | int) -> Received | None:
        found = self._book._rows(
            f"SELECT r.*, s.name AS study FROM received r JOIN studies s ON s.id = r.study_id WHERE {which}", value
        )
        return _received(found[0]) if found else None

    def receive(self, one: Received, now: datetime) -> None:
        """Keep that something was received and what was answered; raises BookError where the number is taken."""
        book = self._book
        said, answer = (json.dumps(dict(each), ensure_ascii=False, sort_keys=True) for each in (one.said, one.answer))
        with book.transaction():
            book._write(
                "INSERT INTO received (id, study_id, kind, said, device, mark, received_at, answer, record, dip, undoes) "
                "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                *(one.id, self._study(one.study), one.kind, said, one.device, one.mark, _utc(now), answer),
                *(one.record, one.dip, one.undoes),
            )

    # --- times in the bath ------------------------------------------------------------------------------------------

    def dips(self, study: str, tile: str | None = None) -> list[DipRow]:
        """Return the times that tiles were in, by tile and cycle; those of one tile where its code is given."""
        one = "" if tile is None else " AND tile = ?"
        found = self._book._rows(
            f"SELECT * FROM dips_now WHERE study = ?{one} ORDER BY tile, cycle",
            study,
            *([] if tile is None else [tile]),
        )
        return [_dip(row) for row in found]

    def dip(self, number: int) -> DipRow | None:
        """Return one time by its number, or None where it was taken back."""
        found = self._book._rows("SELECT * FROM dips_now WHERE dip = ?", number)
        return _dip(found[0]) if found else None

    def standing_dip(self, number: int) -> DipRow | None:
        """Return the time that stands for the same going in as a row, perhaps itself; None where the start was taken back."""
        found = self._book._rows(
            "SELECT n.* FROM dips d JOIN dips now ON now.tile_id = d.tile_id AND now.cycle = d.cycle "
            "AND now.started_at = d.started_at JOIN dips_now n ON n.dip = now.id WHERE d.id = ?",
            number,
        )
        return _dip(found[0]) if found else None

    def start_dip(self, study: str, tile: str, cycle: int, at: datetime, by: str) -> int:
        """Write that a tile went in, and return the number of the row."""
        book = self._book
        with book.transaction():
            found = book._rows(
                "SELECT id FROM tiles WHERE study_id = ? AND code = ? AND withdrawn_at IS NULL",
                self._study(study),
                tile,
            )
            if not found:
                raise BookError(f"The plan of {study} has no tile {tile}. Nothing was stored.")
            return book._write(
                "INSERT INTO dips (study_id, tile_id, cycle, started_at, started_by) VALUES (?, ?, ?, ?, ?)",
                *(self._study(study), found[0]["id"], cycle, _utc(at), by),
            )

    def stop_dip(self, number: int, at: datetime, by: str) -> None:
        """Write that a tile came out; raises BookError where that stands already, or it went in later."""
        with self._book.transaction():
            self._book._write("UPDATE dips SET stopped_at = ?, stopped_by = ? WHERE id = ?", _utc(at), by, number)

    def undo_start(self, number: int, now: datetime) -> None:
        """Mark a time as taken back."""
        with self._book.transaction():
            self._book._write("UPDATE dips SET undone_at = ? WHERE id = ?", _utc(now), number)

    def undo_stop(self, number: int, now: datetime) -> int:
        """Take back that a tile came out, so that it is still in since it went in, and return the new row's number."""
        with self._book.transaction():
            self.undo_start(number, now)
            return self._book._write(
                "INSERT INTO dips (study_id, tile_id, cycle, started_at, started_by) "
                "SELECT study_id, tile_id, cycle, started_at, started_by FROM dips WHERE id = ?",
                number,
            )

    def _study(self, study: str) -> int:
        number = self._book._study_id(study)
        if number is None:
            raise BookError(f'Study {study} has no plan yet. Plan it first: "tilestudy plan {study}".')
        return number


def _received(row: sqlite3.Row) -> Received:
    return Received(
        *(row["id"], row["study"], row["kind"], json.loads(row["said"]), row["device"], row["mark"]),
        *(json.loads(row["answer"]), row["record"], row["dip"], row["undoes"]),
    )


def _dip(row: sqlite3.Row) -> DipRow:
    stopped = None if row["stopped_at"] is None else datetime.fromisoformat(row["stopped_at"])
    started = datetime.fromisoformat(row["started_at"])
    return DipRow(row["dip"], row["tile"], row["cycle"], started, row["started_by"], stopped, row["stopped_by"])


def _utc(at: datetime) -> str:
    if at.tzinfo is None:
        raise ValueError("a time at the bench needs a time zone: datetime.now(UTC)")
    return at.astimezone(UTC).isoformat()
