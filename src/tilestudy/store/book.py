"""The study book: plans and records of all studies of a studio, in one SQLite file.

Records are append-only: a second record with the same key supersedes the first, and both are kept. A form may be read
again and again: a row that still says what it said when it was last read is never applied a second time, even when the
record was corrected elsewhere since; a row that was edited is a correction.

Several people may write at once (write-ahead log, one writer at a time, the others wait up to ten seconds), and a
power cut loses nothing that was committed. One `StudyBook` belongs to one thread.
"""

from __future__ import annotations

import json
import os
import re
import sqlite3
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from tilestudy.errors import BookError
from tilestudy.store import migrations, rows
from tilestudy.study.records import KINDS, Batch, BatchLog, Cloth, Kept, Made, Plan, Reading, Record, Tile

BUSY_SECONDS = 10.0


@dataclass(frozen=True)
class PlanSaved:
    """What saving a plan did.

    `plan` is what holds now; `added`, `withdrawn` and `kept` are tile codes: new in the book, dropped because nothing
    was recorded for them, and kept although the new plan does not ask for them. `changed` is False when the book held
    just this plan already.
    """

    plan: Plan
    added: tuple[str, ...] = ()
    withdrawn: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()
    changed: bool = True


@dataclass(frozen=True)
class Outcome:
    """What recording did: new records, corrections (what stood there, what stands now), and how many said nothing new.

    >>> Outcome() + Outcome(unchanged=2)
    Outcome(added=(), corrected=(), unchanged=2)
    """

    added: tuple[Record, ...] = ()
    corrected: tuple[tuple[Kept, Record], ...] = ()
    unchanged: int = 0

    def __add__(self, other: Outcome) -> Outcome:
        return Outcome(self.added + other.added, self.corrected + other.corrected, self.unchanged + other.unchanged)


class StudyBook:
    """The study book in a file, made when it is not there yet.

    Parameters
    ----------
    path : path or str
        The SQLite file; its folder must exist.

    Raises
    ------
    BookError
        When the file is no study book, is of a newer tilestudy, is locked by another program, or cannot be written.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder, StudyBook(Path(folder) / "book.sqlite") as book:
    ...     book.studies()
    ()
    """

    def __init__(self, path: Path | str) -> None:
        self.path = Path(path)
        with self._clear_errors():
            self.read_only = self.path.exists() and not (
                os.access(self.path, os.W_OK) and os.access(self.path.parent, os.W_OK)
            )
            place = f"{self.path.resolve().as_uri()}?immutable=1" if self.read_only else str(self.path)
            self._conn = sqlite3.connect(place, timeout=BUSY_SECONDS, isolation_level=None, uri=self.read_only)
        try:
            with self._clear_errors():
                self._conn.row_factory = sqlite3.Row
                self._open()
        except BaseException:
            self._conn.close()
            raise

    def _open(self) -> None:
        self._conn.execute("PRAGMA foreign_keys = ON")
        self._conn.execute("PRAGMA synchronous = FULL")
        missing = self._missing_steps()
        if self.read_only:
            if missing:
                raise BookError(
                    f"{self.path} is of an older tilestudy and cannot be brought up to date: allow writing to it."
                )
            return
        self._use_write_ahead_log()
        if missing:
            with self.transaction():
                if missing := self._missing_steps():  # another may have built the tables meanwhile
                    migrations.apply(self._conn, migrations.STEPS)

    def _missing_steps(self) -> list[str]:
        known = [step.__name__ for step in migrations.STEPS]
        had = migrations.applied(self._conn)
        if had == []:
            raise BookError(
                f"{self.path} is an SQLite file, but not a study book. Nothing was changed. "
                "Move it away, or give the study book another name."
            )
        if strange := [name for name in had or () if name not in known]:
            raise BookError(
                f"{self.path} was written by a newer tilestudy (it has had the step {strange[-1]}). "
                'Nothing was changed. Install the newer version: "pip install --upgrade tilestudy".'
            )
        return [name for name in known if name not in (had or ())]

    def _use_write_ahead_log(self) -> None:
        until = time.monotonic() + BUSY_SECONDS
        while self._conn.execute("PRAGMA journal_mode").fetchone()[0] not in ("wal", "memory"):
            try:
                self._conn.execute("PRAGMA journal_mode = WAL")
                return  # some network drives have no write-ahead log; the book works there too, one at a time
            except sqlite3.OperationalError as error:  # SQLite does not wait by itself here
                if "locked" not in str(error) or time.monotonic() > until:
                    raise
                time.sleep(0.05)

    def close(self) -> None:
        """Close the file; what was not committed is undone."""
        with self._clear_errors():
            self._conn.close()

    def __enter__(self) -> StudyBook:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # --- plumbing -----------------------------------------------------------------------------------------------

    @contextmanager
    def _clear_errors(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise BookError(_plainly(self.path, error)) from error

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All or nothing: when the block ends with an error, nothing it wrote is kept. Blocks may nest."""
        nested = self._conn.in_transaction
        start, finish, undo = (
            ("SAVEPOINT nested", "RELEASE nested", "ROLLBACK TO nested; RELEASE nested")
            if nested
            else ("BEGIN IMMEDIATE", "COMMIT", "ROLLBACK")
        )
        with self._clear_errors():
            self._conn.execute(start)
            try:
                yield
                self._conn.execute(finish)
            except BaseException:
                if self._conn.in_transaction:  # a full disk may have ended it already
                    for statement in undo.split("; "):
                        self._conn.execute(statement)
                raise

    def _write(self, sql: str, *values: Any) -> int:
        return self._execute(sql, values).lastrowid or 0

    def _rows(self, sql: str, *values: Any) -> list[sqlite3.Row]:
        with self._clear_errors():
            return self._execute(sql, values).fetchall()

    def _execute(self, sql: str, values: Sequence[Any]) -> sqlite3.Cursor:
        try:
            return self._conn.execute(sql, values)
        except (OverflowError, UnicodeEncodeError) as error:
            raise BookError(f"{self.path} cannot keep one of the values: {error}. Nothing was stored.") from error

    def _study_id(self, study: str) -> int | None:
        found = self._rows("SELECT id FROM studies WHERE name = ?", study)
        return int(found[0]["id"]) if found else None

    # --- plans --------------------------------------------------------------------------------------------------

    def studies(self) -> tuple[str, ...]:
        """Return the names of all studies in the book, oldest first."""
        return tuple(row["name"] for row in self._rows("SELECT name FROM studies ORDER BY id"))

    def codes(self) -> frozenset[str]:
        """Return every tile code ever used in the studio, those of withdrawn tiles too."""
        return frozenset(row["code"] for row in self._rows("SELECT DISTINCT code FROM tiles"))

    def study_text(self, study: str) -> str | None:
        """Return the study file (TOML) as it was when the study was last planned, or None."""
        found = self._last_plan(study)
        return None if found is None else str(found["study_file"])

    def plan(self, study: str) -> Plan | None:
        """Return the batches and tiles that hold now, in run order, or None when the study was never planned."""
        last = self._last_plan(study)
        if last is None:
            return None
        batches = self._batches(last["study_id"])
        tiles = self._tiles(last["study_id"])
        return Plan(
            study, last["seed"], tuple(batches.values()), tuple(tiles.values()), taken_in=bool(last["taken_in"])
        )

    def _last_plan(self, study: str) -> sqlite3.Row | None:
        found = self._rows(
            "SELECT p.* FROM plans p JOIN studies s ON s.id = p.study_id WHERE s.name = ? ORDER BY p.id DESC LIMIT 1",
            study,
        )
        return found[0] if found else None

    def _batches(self, study_id: int) -> dict[int, Batch]:
        found = self._rows(
            "SELECT * FROM batches WHERE study_id = ? AND withdrawn_at IS NULL ORDER BY session, run_order, id",
            study_id,
        )
        return {
            row["id"]: Batch(row["code"], row["session"], row["run_order"], json.loads(row["settings"]))
            for row in found
        }

    def _tiles(self, study_id: int) -> dict[int, Tile]:
        found = self._rows(
            "SELECT t.*, b.code AS batch FROM tiles t JOIN batches b ON b.id = t.batch_id "
            "WHERE t.study_id = ? AND t.withdrawn_at IS NULL ORDER BY b.session, b.run_order, b.id, t.run_order, t.id",
            study_id,
        )
        return {
            row["id"]: Tile(
                row["code"],
                row["batch"],
                row["session"],
                row["run_order"],
                json.loads(row["settings"]),
                bool(row["reference"]),
                row["replaces"],
            )
            for row in found
        }

    def _numbers(self, table: str, study_id: int) -> dict[str, int]:
        found = self._rows(f"SELECT id, code FROM {table} WHERE study_id = ? AND withdrawn_at IS NULL", study_id)
        return {row["code"]: row["id"] for row in found}

    def has_records(self, study: str) -> bool:
        """Return True when anything was ever recorded for the study."""
        return bool(
            self._rows("SELECT 1 FROM entries e JOIN studies s ON s.id = e.study_id WHERE s.name = ? LIMIT 1", study)
        )

    def entries(self, study: str) -> int:
        """Return the number of the last entry of a study's diary; 0 of none."""
        found = self._rows(
            "SELECT max(e.id) AS last FROM entries e JOIN studies s ON s.id = e.study_id WHERE s.name = ?", study
        )
        return int(found[0]["last"] or 0)

    def tiles_with_records(self, study: str) -> frozenset[str]:
        """Return the codes of the tiles that planning again keeps: anything was recorded for them or names them."""
        study_id = self._study_id(study)
        return frozenset() if study_id is None else frozenset(self._recorded(study_id)[0].values())

    def batches_with_records(self, study: str) -> frozenset[str]:
        """Return the codes of the batches that planning again keeps: with a log, or with a tile that is kept."""
        study_id = self._study_id(study)
        return frozenset() if study_id is None else frozenset(self._recorded(study_id)[1].values())

    def _recorded(self, study_id: int) -> tuple[dict[int, str], dict[int, str]]:
        tiles = self._rows(
            "SELECT id, code FROM tiles WHERE study_id = ?1 AND withdrawn_at IS NULL AND ("
            "id IN (SELECT tile_id FROM made UNION SELECT tile_id FROM colour_readings"
            " UNION SELECT tile_id FROM response_values UNION SELECT tile_id FROM rub_grades"
            " UNION SELECT tile_id FROM cloth_grades UNION SELECT tile_id FROM dips WHERE undone_at IS NULL)"
            " OR code IN (SELECT replaced_by FROM made k JOIN entries e ON e.id = k.entry_id WHERE e.study_id = ?1))",
            study_id,
        )
        batches = self._rows(
            "SELECT id, code FROM batches WHERE study_id = ? AND withdrawn_at IS NULL AND id IN ("
            "SELECT batch_id FROM batch_logs UNION SELECT batch_id FROM made UNION SELECT batch_id FROM tiles"
            f" WHERE id IN ({', '.join(str(row['id']) for row in tiles)}))",
            study_id,
        )
        return {row["id"]: row["code"] for row in tiles}, {row["id"]: row["code"] for row in batches}

    def save_plan(self, study: str, plan: Plan, study_text: str, now: datetime) -> PlanSaved:
        """Store a plan; planning again never discards or alters what has records.

        Tiles and batches of the old plan with records stay as they are; the others are withdrawn (kept in the book,
        marked) unless the new plan has them just so. Batches of a new plan come after the kept ones: sessions and
        batches are numbered on, and a batch code already taken gets the next free number. Tiles taken in (which
        existed already) keep their batch codes, so a tile list read again changes nothing.

        Parameters
        ----------
        study : str
        plan : Plan
        study_text : str
            The study file (TOML) as used.
        now : datetime
            With time zone.

        Raises
        ------
        BookError
            When a tile code is used in another study, or a list of existing tiles alters what has records.
        """
        at = _utc(now)
        with self.transaction():
            study_id = self._study_id(study) or self._write("INSERT INTO studies (name) VALUES (?)", study)
            last = self._last_plan(study)
            old_tiles, old_batches = self._tiles(study_id), self._batches(study_id)
            fixed_tiles, fixed_batches = self._recorded(study_id)
            self._check_plan(study, study_id, plan)
            if plan.taken_in:
                self._check_unaltered(
                    plan, [old_tiles[i] for i in fixed_tiles], [old_batches[i] for i in fixed_batches]
                )
            elif last is None or plan != replace(self._held(study), study=plan.study):
                plan = _carried_on(plan, old_tiles, old_batches, fixed_batches.values())
                fixed = {old_tiles[number].code.casefold(): old_tiles[number] for number in fixed_tiles}
                if used := [tile.code for tile in plan.tiles if fixed.get(tile.code.casefold(), tile) != tile]:
                    raise BookError(
                        f"Tile code {used[0]} already has records in this study, so the new plan cannot use it again. "
                        "Deal out codes that are not yet used."
                    )
            taken_in = plan.taken_in
            batches = {batch.code.casefold(): batch for batch in plan.batches}
            tiles = {tile.code.casefold(): tile for tile in plan.tiles}
            stay_batches = {
                batch.code.casefold(): number
                for number, batch in old_batches.items()
                if number in fixed_batches or batches.get(batch.code.casefold()) == batch
            }
            stay_tiles = {
                tile.code.casefold(): number
                for number, tile in old_tiles.items()
                if number in fixed_tiles
                or (tiles.get(tile.code.casefold()) == tile and tile.batch.casefold() in stay_batches)
            }
            withdrawn = [tile for tile in old_tiles.values() if tile.code.casefold() not in stay_tiles]
            added = [tile for tile in plan.tiles if tile.code.casefold() not in stay_tiles]
            new_batches = [batch for batch in plan.batches if batch.code.casefold() not in stay_batches]
            gone_batches = [batch for batch in old_batches.values() if batch.code.casefold() not in stay_batches]
            same = last is not None and (last["seed"], last["taken_in"], last["study_file"]) == (
                *(plan.seed, int(taken_in), study_text),
            )
            if same and not (withdrawn or added or new_batches or gone_batches):
                return PlanSaved(self._held(study), changed=False, kept=self._beside(old_tiles.values(), tiles))
            plan_id = self._write(
                "INSERT INTO plans (study_id, seed, taken_in, study_file, planned_at) VALUES (?, ?, ?, ?, ?)",
                *(study_id, plan.seed, int(taken_in), study_text, at),
            )
            for gone, table in ((withdrawn, "tiles"), (gone_batches, "batches")):
                for one in gone:
                    self._write(
                        f"UPDATE {table} SET withdrawn_at = ? WHERE study_id = ? AND code = ? AND withdrawn_at IS NULL",
                        *(at, study_id, one.code),
                    )
            for batch in new_batches:
                stay_batches[batch.code.casefold()] = self._add_batch(study_id, plan_id, batch)
            for tile in added:
                self._add_tile(study_id, plan_id, stay_batches[tile.batch.casefold()], tile, at)
            return PlanSaved(
                self._held(study),
                added=tuple(tile.code for tile in added),
                withdrawn=tuple(tile.code for tile in withdrawn),
                kept=self._beside((old_tiles[number] for number in stay_tiles.values()), tiles),
            )

    def _held(self, study: str) -> Plan:
        plan = self.plan(study)
        assert plan is not None
        return plan

    @staticmethod
    def _beside(held: Iterable[Tile], asked: Mapping[str, Tile]) -> tuple[str, ...]:
        return tuple(tile.code for tile in held if tile.code.casefold() not in asked)

    def _check_plan(self, study: str, study_id: int, plan: Plan) -> None:
        for what, codes in (
            ("tile", [tile.code for tile in plan.tiles]),
            ("batch", [batch.code for batch in plan.batches]),
        ):
            folded = [code.casefold() for code in codes]
            if twice := sorted({code for code in codes if folded.count(code.casefold()) > 1}):
                raise BookError(f"The plan has the {what} {twice[0]} twice. Each {what} needs a code of its own.")
        known = {batch.code.casefold() for batch in plan.batches}
        if lost := [tile for tile in plan.tiles if tile.batch.casefold() not in known]:
            raise BookError(f"Tile {lost[0].code} belongs to batch {lost[0].batch}, which the plan does not have.")
        elsewhere = self._used_elsewhere(study_id)
        if taken := [tile.code for tile in plan.tiles if tile.code.casefold() in elsewhere]:
            code = taken[0]
            others = f" (and {len(taken) - 1} more)" if len(taken) > 1 else ""
            raise BookError(
                f"Tile code {code}{others} is already used in the study {elsewhere[code.casefold()]}, and a code means "
                f"one tile in the whole studio. Give the tiles of {study} codes of their own."
            )

    def _used_elsewhere(self, study_id: int) -> dict[str, str]:
        found = self._rows(
            "SELECT t.code, s.name FROM tiles t JOIN studies s ON s.id = t.study_id WHERE t.study_id <> ?", study_id
        )
        return {row["code"].casefold(): row["name"] for row in found}

    @staticmethod
    def _check_unaltered(plan: Plan, tiles: Sequence[Tile], batches: Sequence[Batch]) -> None:
        new_tiles = {tile.code.casefold(): tile for tile in plan.tiles}
        new_batches = {batch.code.casefold(): batch for batch in plan.batches}
        altered = [
            f"batch {batch.code}"
            for batch in batches
            if (new := new_batches.get(batch.code.casefold()))
            and (new.session, new.settings) != (batch.session, batch.settings)
        ] + [
            f"tile {tile.code}"
            for tile in tiles
            if (now := new_tiles.get(tile.code.casefold()))
            and (now.batch.casefold(), now.session, now.settings, now.reference)
            != (tile.batch.casefold(), tile.session, tile.settings, tile.reference)
        ]
        if altered:
            raise BookError(
                f"The tile list would alter {', '.join(altered)}, for which results are already recorded. Nothing was "
                "stored. Put the tile list back as it was; what was really done goes into the made or batches form "
                "(columns actual_...)."
            )

    def add_tile(self, study: str, tile: Tile, now: datetime) -> bool:
        """Add one tile to a planned study, such as the replacement of a spoiled one; False when it is there already.

        Raises BookError when the study, or the tile's batch, is not known, or the code is used.
        """
        at = _utc(now)
        with self.transaction():
            last = self._last_plan(study)
            if last is None:
                raise BookError(f'Study {study} has no plan yet. Plan it first: "tilestudy plan {study}".')
            study_id = last["study_id"]
            here = {one.code.casefold(): one for one in self._tiles(study_id).values()}
            if (there := here.get(tile.code.casefold())) is not None:
                if there == tile:
                    return False
                raise BookError(f"Tile code {tile.code} is already used in this study. Choose a code not yet used.")
            if (other := self._used_elsewhere(study_id).get(tile.code.casefold())) is not None:
                raise BookError(f"Tile code {tile.code} is already used in the study {other}. Choose another code.")
            batches = {batch.code.casefold(): number for number, batch in self._batches(study_id).items()}
            if tile.batch.casefold() not in batches:
                raise BookError(f"Tile {tile.code} belongs to batch {tile.batch}, which study {study} does not have.")
            self._add_tile(study_id, last["id"], batches[tile.batch.casefold()], tile, at)
            return True

    def add_batches(self, study: str, batches: Iterable[Batch], tiles: Iterable[Tile], now: datetime) -> Plan:
        """Add batches with their tiles to a planned study and return the plan as it is then; all or nothing.

        What is there stays as it is: batches and tiles with their codes, settings, order and records.

        Raises
        ------
        BookError
            When the study has no plan, a code is used already, or a tile belongs to a batch that is not added.
        """
        at, new, their = _utc(now), tuple(batches), tuple(tiles)
        with self.transaction():
            last = self._last_plan(study)
            if last is None:
                raise BookError(f'Study {study} has no plan yet. Plan it first: "tilestudy plan {study}".')
            study_id = last["study_id"]
            self._check_plan(study, study_id, Plan(study, last["seed"], new, their))
            for what, there, codes in (
                ("Batch", [one.code for one in self._batches(study_id).values()], [one.code for one in new]),
                ("Tile", [one.code for one in self._tiles(study_id).values()], [one.code for one in their]),
            ):
                known = {code.casefold() for code in there}
                if used := [code for code in codes if code.casefold() in known]:
                    raise BookError(
                        f"{what} code {used[0]} is already used in this study; somebody may have added to it meanwhile. "
                        "Nothing was added. Try again."
                    )
            numbers = {batch.code.casefold(): self._add_batch(study_id, last["id"], batch) for batch in new}
            for tile in their:
                self._add_tile(study_id, last["id"], numbers[tile.batch.casefold()], tile, at)
            return self._held(study)

    def _add_batch(self, study_id: int, plan_id: int, batch: Batch) -> int:
        return self._write(
            "INSERT INTO batches (study_id, plan_id, code, session, run_order, settings) VALUES (?, ?, ?, ?, ?, ?)",
            *(study_id, plan_id, batch.code, batch.session, batch.order, _settings(batch)),
        )

    def _add_tile(self, study_id: int, plan_id: int, batch_id: int, tile: Tile, at: str) -> None:
        self._write(
            "INSERT INTO tiles (study_id, plan_id, batch_id, code, session, run_order, settings, reference, replaces, "
            "added_at) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            *(study_id, plan_id, batch_id, tile.code, tile.session, tile.order, _settings(tile)),
            *(int(tile.reference), tile.replaces, at),
        )

    # --- records ------------------------------------------------------------------------------------------------

    def record(
        self,
        study: str,
        kind: str,
        records: Iterable[tuple[Record, int | None]],
        source: str,
        now: datetime,
        is_form: bool = False,
    ) -> Outcome:
        """Enter records of one kind, all or none of them.

        Parameters
        ----------
        study : str
        kind : str
            One of KINDS.
        records : iterable of (record, line)
            The line of the source the record stands on, or None.
        source : str
            Where it comes from: a file name, or "command line".
        now : datetime
            With time zone.
        is_form : bool
            True for a file that will be read again: rows that still say what they said are not applied again, and
            blanks do not undo what another source said.

        Raises
        ------
        BookError
            When the study, a tile or a batch is not known.
        """
        at = _utc(now)
        with self.transaction():
            study_id = self._study_id(study)
            if study_id is None:
                raise BookError(f'Study {study} has no plan yet. Plan it first: "tilestudy plan {study}".')
            tile_numbers, batch_numbers = self._numbers("tiles", study_id), self._numbers("batches", study_id)
            tiles, batches = ({code.casefold(): code for code in known} for known in (tile_numbers, batch_numbers))
            outcome = Outcome()
            for given, line in records:
                record = _plain(_with_codes(study, given, tiles, batches))
                key = rows.key_text(record)
                try:
                    says = rows.said(kind, record)
                except ValueError as error:
                    raise BookError(f"A number that is not finite cannot be recorded ({key}). {error}") from error
                last = self._last(study_id, kind, key)
                old = None if last is None or last.withdrawn else last
                if is_form:
                    before = self._form_said(study_id, source, kind, key, says, at)
                    if before == says:
                        outcome += Outcome(unchanged=1)
                        continue
                    if old is not None:
                        record = _blanks_filled(old.record, record, json.loads(before or "{}"))
                if old is not None and old.record == record:
                    outcome += Outcome(unchanged=1)
                    continue
                after = None if last is None else last.id
                number = self._add_entry(study_id, kind, record, source, at, line, after, tile_numbers, batch_numbers)
                if old is None:
                    outcome += Outcome(added=(record,))
                else:
                    outcome += Outcome(corrected=((replace(old, superseded_by=number), record),))
            return outcome

    def _add_entry(
        self,
        study_id: int,
        kind: str,
        record: Record,
        source: str,
        at: str,
        line: int | None,
        supersedes: int | None,
        tiles: Mapping[str, int],
        batches: Mapping[str, int],
    ) -> int:
        number = self._write(
            "INSERT INTO entries (study_id, kind, record_key, entered_at, source, source_line, supersedes) "
            "VALUES (?, ?, ?, ?, ?, ?, ?)",
            *(study_id, kind, rows.key_text(record), at, source, line, supersedes),
        )
        sql, values = rows.insert(kind, record, number, tiles, batches)
        self._write(sql, *values)
        return number

    def _last(self, study_id: int, kind: str, key: str) -> Kept | None:
        """Return the last entry about a key, also one that takes back what stood."""
        last = self._rows(
            "SELECT e.id FROM entries e LEFT JOIN entries later ON later.supersedes = e.id "
            "WHERE e.study_id = ? AND e.kind = ? AND e.record_key = ? AND later.id IS NULL",
            *(study_id, kind, key),
        )
        return self._kept(kind, last[0]["id"]) if last else None

    def _kept(self, kind: str, number: int) -> Kept:
        table, _ = rows.TABLES[kind]
        return rows.kept(kind, self._rows(f"SELECT * FROM {table}_history WHERE entry = ?", number)[0])

    def last(self, study: str, kind: str, record: Record) -> Kept | None:
        """Return the last entry about what a record is about (its key), or None; `withdrawn` where that took it back."""
        study_id = self._study_id(study)
        return None if study_id is None else self._last(study_id, kind, rows.key_text(record))

    def standing_of(self, study: str, tile: str) -> list[Kept]:
        """Return what stands of one tile, of every kind."""
        return [
            rows.kept(kind, row)
            for kind, (table, _) in rows.TABLES.items()
            if kind != "batches"
            for row in self._rows(f"SELECT * FROM {table}_now WHERE study = ? AND tile = ?", study, tile)
        ]

    def entry(self, number: int) -> Kept | None:
        """Return the entry of a number, or None."""
        found = self._rows("SELECT kind FROM entries WHERE id = ?", number)
        return self._kept(found[0]["kind"], number) if found else None

    def withdraw(self, study: str, kept: Kept, source: str, now: datetime) -> int:
        """Take back a record that stands, so that nothing does, and return the number of the entry that says so.

        The record stays in the history, and a later one about the same thing follows after it.

        Raises
        ------
        BookError
            When the record stands no longer.
        """
        at = _utc(now)
        with self.transaction():
            study_id = self._study_id(study)
            last = None if study_id is None else self._last(study_id, kept.kind, rows.key_text(kept.record))
            if study_id is None or last is None or last.id != kept.id or last.withdrawn:
                raise BookError(f"Entry #{kept.id} of {study} stands no longer, so it cannot be taken back.")
            tiles, batches = self._numbers("tiles", study_id), self._numbers("batches", study_id)
            number = self._add_entry(study_id, kept.kind, kept.record, source, at, None, kept.id, tiles, batches)
            self._write("INSERT INTO withdrawals (entry_id) VALUES (?)", number)
            return number

    def withdraw_stand_in(self, study: str, code: str, now: datetime) -> bool:
        """Take a replacement tile out of the plan; False, and nothing changed, when it was used already.

        The code stays taken: it may be stamped on a piece of metal.
        """
        at = _utc(now)
        views = [f"{table}_now" for kind, (table, _) in rows.TABLES.items() if kind != "batches"]
        used = " UNION ".join(f"SELECT tile FROM {view} WHERE study = ?1" for view in (*views, "dips_now"))
        with self.transaction():
            found = self._rows(
                "SELECT t.id FROM tiles t JOIN studies s ON s.id = t.study_id WHERE s.name = ?1 AND t.code = ?2 "
                f"AND t.withdrawn_at IS NULL AND t.replaces <> '' AND t.code NOT IN ({used})",
                *(study, code),
            )
            if found:
                self._write("UPDATE tiles SET withdrawn_at = ? WHERE id = ?", at, found[0]["id"])
            return bool(found)

    def _form_said(self, study_id: int, source: str, kind: str, key: str, says: str, at: str) -> str | None:
        """Note what a form says of a key, and return what it said of it last time."""
        place = (study_id, source, kind, key)
        found = self._rows(
            "SELECT said FROM form_rows WHERE study_id = ? AND source = ? AND kind = ? AND record_key = ?", *place
        )
        before = str(found[0]["said"]) if found else None
        if before != says:
            self._write(
                "INSERT INTO form_rows (study_id, source, kind, record_key, said, read_at) VALUES (?, ?, ?, ?, ?, ?) "
                "ON CONFLICT DO UPDATE SET said = excluded.said, read_at = excluded.read_at",
                *(*place, says, at),
            )
        return before

    # --- claims -------------------------------------------------------------------------------------------------

    def add_claim(self, study: str, content: Mapping[str, Any], now: datetime) -> None:
        """Keep what was claimed of settings, for comparing with what comes of it; raises BookError without a plan."""
        with self.transaction():
            if (study_id := self._study_id(study)) is None:
                raise BookError(f"{study} was never planned, so nothing can be claimed of it.")
            text = json.dumps(content, ensure_ascii=False, sort_keys=True)
            self._write("INSERT INTO claims (study_id, stated_at, content) VALUES (?, ?, ?)", study_id, _utc(now), text)

    def claims(self, study: str) -> list[dict[str, Any]]:
        """Return what was claimed of a study's settings, oldest first."""
        found = self._rows(
            "SELECT c.content FROM claims c JOIN studies s ON s.id = c.study_id WHERE s.name = ? ORDER BY c.id", study
        )
        return [json.loads(row["content"]) for row in found]

    # --- trays --------------------------------------------------------------------------------------------------

    def add_tray(self, study: str, content: Mapping[str, Any], now: datetime) -> int:
        """Keep a tray sheet and return its number in the studio; the same content again returns the number it has.

        `content` is plain data for JSON, without the number. Numbers are never given twice.
        """
        text = json.dumps(content, ensure_ascii=False, sort_keys=True)
        with self.transaction():
            study_id = self._study_id(study) or self._write("INSERT INTO studies (name) VALUES (?)", study)
            there = self._rows("SELECT id FROM trays WHERE study_id = ? AND content = ?", study_id, text)
            if there:
                return int(there[0]["id"])
            return self._write(
                "INSERT INTO trays (study_id, laid_at, content) VALUES (?, ?, ?)", study_id, _utc(now), text
            )

    def trays(self, study: str) -> list[tuple[int, dict[str, Any]]]:
        """Return the tray sheets of a study with their numbers, oldest first."""
        found = self._rows(
            "SELECT t.id, t.content FROM trays t JOIN studies s ON s.id = t.study_id WHERE s.name = ? ORDER BY t.id",
            study,
        )
        return [(row["id"], json.loads(row["content"])) for row in found]

    def tray_of(self, number: int) -> tuple[str, dict[str, Any]] | None:
        """Return the study of a tray and what lies on it, or None when no tray has the number."""
        found = self._rows(
            "SELECT s.name, t.content FROM trays t JOIN studies s ON s.id = t.study_id WHERE t.id = ?", number
        )
        return (found[0]["name"], json.loads(found[0]["content"])) if found else None

    # --- what counts --------------------------------------------------------------------------------------------

    def current(self, study: str, kind: str) -> list[Kept]:
        """Return the records of one kind that hold now, in order of entry."""
        table, _ = rows.TABLES[kind]
        found = self._rows(f"SELECT * FROM {table}_now WHERE study = ? ORDER BY entry", study)
        return [rows.kept(kind, row) for row in found]

    def history(self, study: str, tile: str) -> list[Kept]:
        """Return everything ever recorded about a tile and its batch, corrections and what they corrected, oldest first.

        `tile` is compared without case; an unknown tile has no history.
        """
        found: list[Kept] = []
        batches = {
            row["code"]
            for row in self._rows(
                "SELECT b.code FROM tiles t JOIN batches b ON b.id = t.batch_id JOIN studies s ON s.id = t.study_id "
                "WHERE s.name = ?1 AND t.code = ?2 "
                "UNION SELECT batch FROM made_history WHERE study = ?1 AND tile = ?2",
                *(study, tile),
            )
        }
        for kind in KINDS:
            table, _ = rows.TABLES[kind]
            column, codes = ("batch", sorted(batches)) if kind == "batches" else ("tile", [tile])
            for code in codes:
                found += [
                    rows.kept(kind, row)
                    for row in self._rows(
                        f"SELECT * FROM {table}_history WHERE study = ? AND {column} = ?", study, code
                    )
                ]
        return sorted(found, key=lambda kept: kept.id)


def _blanks_filled(old: Record, new: Record, form_said: Mapping[str, Any]) -> Record:
    """Return a form's record with its blanks filled from the record it corrects: an empty cell says nothing.

    Only where the form itself said something last time (`form_said`) does emptying the cell take it back.
    """
    said: dict[str, Any] = {}
    for one in fields(new):
        before, now = getattr(old, one.name), getattr(new, one.name)
        if one.name in ("mottle", "error", "detail"):
            continue  # of the very photo that measured the colour, never of another one
        taken_back = form_said.get(one.name) not in (None, "", 0, "{}")
        if isinstance(now, Mapping):
            said[one.name] = now if taken_back else {**before, **now}
        elif not taken_back and (now in ("", None) or (one.name == "spoiled" and not now)):
            said[one.name] = before
    return replace(new, **said)


def _plain(record: Record) -> Record:
    """Return the record with its detail as it is read back from JSON, so that the two compare equal."""
    if not isinstance(record, Reading | Cloth) or not record.detail:
        return record
    return replace(record, detail=json.loads(json.dumps(record.detail)))


def _utc(now: datetime) -> str:
    if now.tzinfo is None:
        raise ValueError("now needs a time zone: datetime.now(UTC)")
    return now.astimezone(UTC).isoformat()


def _settings(of: Batch | Tile) -> str:
    try:
        return rows.settings_text(of.settings)
    except ValueError as error:
        raise BookError(f"A setting of {of.code} is not a finite number. {error}") from error


def _with_codes(study: str, record: Record, tiles: Mapping[str, str], batches: Mapping[str, str]) -> Record:
    """Return the record with tile and batch codes spelt as the plan spells them."""

    def known(what: str, code: str, codes: Mapping[str, str]) -> str:
        if code.casefold() in codes:
            return codes[code.casefold()]
        raise BookError(
            f"The plan of {study} has no {what} {code} (it may have been withdrawn when the study was planned again). "
            f'Nothing was stored. See the plan with "tilestudy plan {study}".'
        )

    if isinstance(record, BatchLog):
        return replace(record, batch=known("batch", record.batch, batches))
    if isinstance(record, Made) and record.batch:
        record = replace(record, batch=known("batch", record.batch, batches))
    return replace(record, tile=known("tile", record.tile, tiles))


def _carried_on(
    plan: Plan, old_tiles: Mapping[int, Tile], old_batches: Mapping[int, Batch], fixed: Iterable[str]
) -> Plan:
    """Return the plan with its new batches numbered on from those that stay because they have records."""
    fixed_codes = {code.casefold() for code in fixed}
    if not fixed_codes:
        return plan
    held = [batch for batch in old_batches.values() if batch.code.casefold() in fixed_codes]
    old = {tile.code.casefold(): tile for tile in old_tiles.values()}
    same = {  # the very batch that has records: same settings, no new tile
        batch.code
        for batch in plan.batches
        if batch in held
        and all(old.get(tile.code.casefold()) == tile for tile in plan.tiles if tile.batch == batch.code)
    }
    fresh = [batch for batch in plan.batches if batch.code not in same]
    last_session = max(batch.session for batch in held)
    last_order = max(batch.order for batch in held)
    taken = fixed_codes | {code.casefold() for code in same}
    renamed: dict[str, Batch] = {}
    for batch in fresh:
        code, stem, number = batch.code, re.sub(r"\d+$", "", batch.code), 1
        while code.casefold() in taken:
            code, number = f"{stem}{number}", number + 1
        taken.add(code.casefold())
        renamed[batch.code] = replace(
            batch, code=code, session=batch.session + last_session, order=batch.order + last_order
        )
    return replace(
        plan,
        batches=tuple(renamed.get(batch.code, batch) for batch in plan.batches),
        tiles=tuple(
            replace(tile, batch=renamed[tile.batch].code, session=renamed[tile.batch].session)
            if tile.batch in renamed
            else tile
            for tile in plan.tiles
        ),
    )


def _plainly(path: Path, error: sqlite3.Error) -> str:
    """Say in plain words what SQLite could not do."""
    text = str(error)
    if "not a database" in text or "malformed" in text:
        return (
            f"{path} is not a study book, or it is damaged ({text}). Nothing was changed. "
            "Put a copy from your backup in its place, or move it away to start a new book."
        )
    if "locked" in text or "busy" in text:
        return (
            f"{path} has been in use by another program for more than {BUSY_SECONDS:g} seconds. Nothing was stored. "
            "Close the program that holds it (an SQLite viewer, a backup) and try again."
        )
    if "readonly" in text or "read-only" in text:
        return (
            f"{path} cannot be written: the file or its folder is read-only. Nothing was stored. Allow writing to it."
        )
    if "unable to open" in text:
        return (
            f"{path} cannot be opened. Check that the folder {path.parent} exists and that you may write there, "
            "and try again."
        )
    if "full" in text:
        return f"{path} cannot grow: the disk is full. Nothing was stored. Free some space and try again."
    if isinstance(error, sqlite3.IntegrityError):
        return f"{path} does not take this entry ({text}). Nothing was stored. Check its values and enter it again."
    return f"{path} could not be read or written ({text}). Nothing was stored. Check the disk and try again."
