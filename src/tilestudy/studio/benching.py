"""The bench page's one way in: an entry is stored once, with who entered it, or told why not."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from tilestudy.errors import BookError, FaultyFileError, NotEnoughError, WrongRequestError
from tilestudy.outcomes.bench import Answer, Entry, Writer
from tilestudy.store.bench import BenchRows, Received
from tilestudy.studio.at_bench.desk import Desk, Done, TurnedAwayError, refused
from tilestudy.studio.at_bench.dips import start_dip, stop_dip
from tilestudy.studio.at_bench.rows import store_row
from tilestudy.studio.at_bench.undo import undo
from tilestudy.studio.recording import Recording
from tilestudy.study.forms import scorer_mark
from tilestudy.study.records import Study

if TYPE_CHECKING:
    from tilestudy.store.book import StudyBook

LONGEST = 1000
"""Letters of one cell."""
OLDEST = timedelta(days=31)
"""An entry may have waited on its device for so long."""
_DOES: Mapping[str, Callable[[Desk], Done]] = {
    **dict.fromkeys(("made", "batches", "colour", "values", "rub"), store_row),
    **{"start": start_dip, "stop": stop_dip, "undo": undo},
}


class _Queue:
    """Lets one writer of this program in at a time, in the order they came.

    SQLite would let them sleep and try again, and a plain lock may let the last one in first.
    """

    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._waiting: deque[threading.Lock] = deque()
        self._busy = False

    def __enter__(self) -> None:
        with self._guard:
            if not self._busy:
                self._busy = True
                return
            turn = threading.Lock()
            turn.acquire()
            self._waiting.append(turn)
        turn.acquire()

    def __exit__(self, *_: object) -> None:
        with self._guard:
            if self._waiting:
                self._waiting.popleft().release()
            else:
                self._busy = False


_ONE_AT_A_TIME = _Queue()


class Benching(Recording):
    """Takes in what people enter at the bench."""

    def bench_enter(self, entry: Entry, writer: Writer) -> Answer:
        """Store one entry, whole or not at all, and once however often it is sent.

        A cell left out says nothing; an empty one takes back what stood in it, if the writer saw that record (`saw`). What
        somebody else's cell left open may be added to; what would take away another's word is answered "other" or "refused"
        with what stands. In `replaced_by`, "new" deals a code for the stand-in; in `made_at` and `discarded_at`, "now" is when
        it was entered. A stop takes `last` ("yes", "no") where the
        tile comes out for good before, or not yet, after the planned number of times. An undo names the `entry`, or the
        `record` by its number.

        Parameters
        ----------
        entry : Entry
        writer : Writer
            Somebody who is not a keeper enters in the own name, and changes only what is the own.

        Returns
        -------
        Answer
            Answers "other" and "refused" store nothing and are not remembered: sent again, such an entry is looked at anew.

        Raises
        ------
        BookError
            When the study book cannot be written just now: nothing was stored, and the entry should be sent again.
        FaultyFileError
            When the study file, or the studio's, cannot be read: likewise.
        """
        try:
            with _ONE_AT_A_TIME, self.book() as book, book.transaction():
                return self._enter_once(book, entry, writer)
        except TurnedAwayError as turned:
            return turned.answer
        except (BookError, FaultyFileError):
            raise
        except (WrongRequestError, NotEnoughError) as error:
            return Answer("refused", (str(error),))

    def _enter_once(self, book: StudyBook, entry: Entry, writer: Writer) -> Answer:
        _check_shape(entry, writer)
        writer = replace(writer, mark=scorer_mark(writer.mark) if writer.mark.strip() or not writer.keeper else "")
        rows = BenchRows(book)
        before = rows.received(entry.id)
        if before is not None:
            same = (before.study, before.kind, dict(before.said)) == (entry.study, entry.kind, dict(entry.cells))
            if not same or before.mark != writer.mark:
                raise refused(
                    "Another entry came under the same number already, so this one was not stored. Enter it again."
                )
            return _again(before)
        desk = self._desk(book, entry, writer)
        done = _DOES[entry.kind](desk)
        received = Received(
            *(entry.id, entry.study, entry.kind, dict(entry.cells), writer.device, writer.mark, done.answer.as_dict()),
            *(done.record, done.dip, done.undoes),
        )
        rows.receive(received, desk.now)
        return done.answer

    def _desk(self, book: StudyBook, entry: Entry, writer: Writer) -> Desk:
        study = self.study(entry.study)
        plan = book.plan(study.name)
        if plan is None:
            raise NotEnoughError(f'Study {study.name} has no plan yet. Type "tilestudy plan {study.name}".')
        self._check_factors(study, plan)
        now = self.now().astimezone()
        at = _happened(entry, now)
        tile = next((cell for column, cell in entry.cells.items() if column.casefold() == "tile"), "")
        return Desk(book, study, plan, entry, writer, now, at, self._what_to_know(book, study, entry.kind, tile))

    def _what_to_know(self, book: StudyBook, study: Study, kind: str, tile: str) -> dict[str, Any]:
        if kind == "colour":
            return self._reader_options(study, correcting=tile.strip())
        return {
            "date_order": self.settings().date_order,
            "parse": self._parse(study),
            "protocols": list(self.library.protocols),
            "taken": book.codes(),
        }


def _check_shape(entry: Entry, writer: Writer) -> None:
    """Refuse what no page of ours sends."""
    if not 1 <= len(entry.id) <= 64:
        raise refused("The entry has no number of its own, so it could be stored twice. Enter it again.")
    if entry.kind not in _DOES:
        raise refused(f'There is no entry of the kind "{entry.kind}". Kinds: {", ".join(_DOES)}.')
    for column, cell in entry.cells.items():
        if not isinstance(cell, str) or not isinstance(column, str):
            raise refused(f"{column} should be text.")
        if len(cell) > LONGEST or len(column) > LONGEST:
            raise refused(f"{column[:40]} is longer than {LONGEST} letters. Write less.")
    try:
        "".join((entry.id, entry.study, writer.mark, writer.device, *entry.cells, *entry.cells.values())).encode()
    except UnicodeEncodeError:
        raise refused("There are letters in it that cannot be kept. Type it again.") from None


def _happened(entry: Entry, now: datetime) -> datetime:
    """Return when it happened, never later than now; a device whose clock is far behind is refused."""
    if entry.at is None:
        return now
    try:
        at = entry.at.astimezone(now.tzinfo)
    except (OverflowError, OSError):
        at = now - 2 * OLDEST
    if at < now - OLDEST:
        raise refused(
            f"By this device's clock that was more than {OLDEST.days} days ago. Set its clock and enter it again."
        )
    return min(at, now)


def _again(before: Received) -> Answer:
    answer = before.answer
    return Answer("again", tuple(answer["says"]), answer["record"], answer["now"], answer["by"])
