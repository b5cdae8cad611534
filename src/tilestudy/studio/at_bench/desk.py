"""What one entry has to work with, and how it is answered or turned away."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from tilestudy.errors import TilestudyError
from tilestudy.outcomes.bench import Answer, Entry, Status, Writer
from tilestudy.store.bench import BenchRows
from tilestudy.study import forms
from tilestudy.study.language import capital
from tilestudy.study.records import Kept, Made, Plan, Record, Rub, Study, Tile

if TYPE_CHECKING:
    from tilestudy.store.book import StudyBook

SOURCE = "bench page"
"""The source of records that were entered on it."""


class TurnedAwayError(TilestudyError):
    """An entry that was not stored: it met another record, or cannot be stored. Nothing of it is kept."""

    def __init__(self, answer: Answer) -> None:
        self.answer = answer
        super().__init__(" ".join(answer.says))


@dataclass(frozen=True)
class Done:
    """An answer, and what the entry did: the record it made, the time in the bath it started or stopped, what it took back."""

    answer: Answer
    record: int | None = None
    dip: int | None = None
    undoes: str | None = None


@dataclass(frozen=True)
class Desk:
    """What one entry has to work with.

    Attributes
    ----------
    book : StudyBook
        In a transaction.
    study, plan : Study, Plan
    entry : Entry
    writer : Writer
        The mark as it is kept, in capitals.
    now, at : datetime
        When it was received, and when it happened: local time with its zone.
    reading : mapping
        What the reader of forms has to know beside the cells.
    """

    book: StudyBook
    study: Study
    plan: Plan
    entry: Entry
    writer: Writer
    now: datetime
    at: datetime
    reading: Mapping[str, Any]

    @property
    def rows(self) -> BenchRows:
        """What the book keeps of the bench."""
        return BenchRows(self.book)

    @property
    def today(self) -> date:
        """The day where the studio is."""
        return self.now.date()

    @property
    def cells(self) -> dict[str, str]:
        """The cells as typed, by column in small letters."""
        return {column.strip().casefold(): " ".join(cell.split()) for column, cell in self.entry.cells.items()}

    def tile(self) -> Tile:
        """Return the entry's tile; raises TurnedAwayError for a code that the plan does not have."""
        code = self.cells.get("tile", "")
        codes = {one.code.casefold(): one for one in self.plan.tiles}
        if code.casefold() in codes:
            return codes[code.casefold()]
        if not code:
            raise refused("There is no tile code. Write the code stamped on its back.")
        otherwise = f"Look at the stamp again; the study has {len(codes)} tiles."
        raise refused(capital(forms.not_known("tile", code, [one.code for one in self.plan.tiles], otherwise)))

    def made(self, tile: Tile) -> Kept | None:
        """Return the record of a tile's making that stands."""
        return self.standing("made", Made(tile.code, self.today))

    def standing(self, kind: str, record: Record) -> Kept | None:
        """Return what stands for the same thing as a record."""
        last = self.book.last(self.study.name, kind, record)
        return None if last is None or last.withdrawn else last

    def may_change(self, whose: str) -> bool:
        """A keeper may change everything, everybody else what is theirs."""
        return self.writer.keeper or whose.strip().upper() == self.writer.mark != ""

    def answer(self, status: Status, *says: str, kept: Kept | None = None) -> Answer:
        """Return an answer that tells what stands now."""
        if kept is None:
            return Answer(status, says)
        return Answer(status, says, kept.id, forms.cells_of(kept.record, self.study), owner(kept.record))


def owner(record: Record) -> str:
    """Return whose a record is: the scorer's, or by whom."""
    return record.scorer if isinstance(record, Rub) else record.by


def refused(*says: str) -> TurnedAwayError:
    """Return what is raised for an entry that cannot be stored."""
    return TurnedAwayError(Answer("refused", says))
