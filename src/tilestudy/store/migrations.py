"""The tables of the study book, built in short named steps.

Each step runs once, together with the record that it ran (sqlite-utils keeps those in `_sqlite_migrations`). All
steps still missing from a file run in one transaction under the write lock: two people opening a new book at once
build it once, and a step that fails leaves the file as it was. Never change a step that was released; add one.

Tables are for keeping, views for reading: `tiles_now`, and for each kind of record `..._history` (every row, with what
superseded it) and `..._now` (what counts). Dates are ISO; times ending in +00:00 are UTC; settings are JSON objects
with numbers in the stored units (g/L, mL/L, s, degC, mm).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence

SET = "tilestudy"
"""Name under which sqlite-utils records our steps."""

Step = Callable[[sqlite3.Connection], None]


def plans_and_tiles(conn: sqlite3.Connection) -> None:
    """Studies, each planning of them, and the batches and tiles asked for."""
    _run(
        conn,
        """
CREATE TABLE studies (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL COLLATE NOCASE UNIQUE CHECK (name <> '')
) STRICT""",
        """
CREATE TABLE plans ( -- one row each time a study was planned; the last one counts
  id INTEGER PRIMARY KEY,
  study_id INTEGER NOT NULL REFERENCES studies (id),
  seed INTEGER NOT NULL, -- makes the same run order again
  taken_in INTEGER NOT NULL CHECK (taken_in IN (0, 1)), -- 1: the tiles existed already
  study_file TEXT NOT NULL, -- the study file (TOML) as it was then
  planned_at TEXT NOT NULL CHECK (datetime(planned_at) IS NOT NULL)
) STRICT""",
        "CREATE INDEX plans_of_study ON plans (study_id)",
        """
CREATE TABLE batches ( -- a bath or a load
  id INTEGER PRIMARY KEY,
  study_id INTEGER NOT NULL REFERENCES studies (id),
  plan_id INTEGER NOT NULL REFERENCES plans (id), -- the planning that added it
  code TEXT NOT NULL COLLATE NOCASE CHECK (code <> ''),
  session INTEGER NOT NULL CHECK (session >= 1),
  run_order INTEGER NOT NULL CHECK (run_order >= 1),
  settings TEXT NOT NULL CHECK (json_valid(settings)), -- as planned: {"factor": number or level}
  withdrawn_at TEXT CHECK (withdrawn_at IS NULL OR datetime(withdrawn_at) IS NOT NULL) -- a later plan dropped it
) STRICT""",
        "CREATE UNIQUE INDEX batch_codes ON batches (study_id, code) WHERE withdrawn_at IS NULL",
        """
CREATE TABLE tiles (
  id INTEGER PRIMARY KEY,
  study_id INTEGER NOT NULL REFERENCES studies (id),
  plan_id INTEGER NOT NULL REFERENCES plans (id), -- the planning that added it
  batch_id INTEGER NOT NULL REFERENCES batches (id),
  code TEXT NOT NULL COLLATE NOCASE CHECK (code <> ''), -- stamped on the back
  session INTEGER NOT NULL CHECK (session >= 1),
  run_order INTEGER NOT NULL CHECK (run_order >= 1), -- place within the batch
  settings TEXT NOT NULL CHECK (json_valid(settings)), -- as planned: {"factor": number or level}
  reference INTEGER NOT NULL CHECK (reference IN (0, 1)),
  replaces TEXT NOT NULL, -- code of the spoiled tile it stands in for, or ''
  added_at TEXT NOT NULL CHECK (datetime(added_at) IS NOT NULL),
  withdrawn_at TEXT CHECK (withdrawn_at IS NULL OR datetime(withdrawn_at) IS NOT NULL) -- a later plan dropped it
) STRICT""",
        "CREATE UNIQUE INDEX tile_codes ON tiles (code) WHERE withdrawn_at IS NULL",
        "CREATE INDEX tiles_of_study ON tiles (study_id)",
        "CREATE INDEX tiles_of_batch ON tiles (batch_id)",
    )


def records(conn: sqlite3.Connection) -> None:
    """What was recorded: one row in `entries` for each record, and its content in the table of its kind."""
    _run(
        conn,
        """
CREATE TABLE entries ( -- the diary of the book; nothing is ever changed or removed here
  id INTEGER PRIMARY KEY,
  study_id INTEGER NOT NULL REFERENCES studies (id),
  kind TEXT NOT NULL CHECK (kind IN ('made', 'batches', 'colour', 'values', 'rub')),
  record_key TEXT NOT NULL CHECK (json_valid(record_key)), -- what two rows about the same thing share
  entered_at TEXT NOT NULL CHECK (datetime(entered_at) IS NOT NULL),
  source TEXT NOT NULL, -- file name, or how it was typed in
  source_line INTEGER CHECK (source_line >= 1),
  supersedes INTEGER UNIQUE REFERENCES entries (id) CHECK (supersedes < id) -- the entry this one corrects
) STRICT""",
        "CREATE UNIQUE INDEX first_entries ON entries (study_id, kind, record_key) WHERE supersedes IS NULL",
        "CREATE INDEX entries_by_key ON entries (study_id, kind, record_key)",
        """
CREATE TABLE made (
  entry_id INTEGER PRIMARY KEY REFERENCES entries (id),
  tile_id INTEGER NOT NULL REFERENCES tiles (id),
  made_on TEXT NOT NULL CHECK (date(made_on) IS made_on),
  batch_id INTEGER REFERENCES batches (id), -- only when it was not the planned one
  actual TEXT NOT NULL CHECK (json_valid(actual)), -- settings that differed from the plan or were measured
  spoiled INTEGER NOT NULL CHECK (spoiled IN (0, 1)),
  why TEXT NOT NULL,
  replaced_by TEXT NOT NULL,
  made_by TEXT NOT NULL, -- initials or a mark
  note TEXT NOT NULL
) STRICT""",
        """
CREATE TABLE batch_logs (
  entry_id INTEGER PRIMARY KEY REFERENCES entries (id),
  batch_id INTEGER NOT NULL REFERENCES batches (id),
  made_at TEXT CHECK (made_at IS NULL OR datetime(made_at) IS NOT NULL), -- local time
  discarded_at TEXT CHECK (discarded_at IS NULL OR datetime(discarded_at) IS NOT NULL), -- local time
  actual TEXT NOT NULL CHECK (json_valid(actual)), -- settings as measured
  made_by TEXT NOT NULL,
  note TEXT NOT NULL
) STRICT""",
        """
CREATE TABLE colour_readings ( -- CIE L*, a*, b*
  entry_id INTEGER PRIMARY KEY REFERENCES entries (id),
  tile_id INTEGER NOT NULL REFERENCES tiles (id),
  stage TEXT NOT NULL CHECK (stage IN ('bare', 'fresh', 'cured', 'sealed', 'aged', 'rubbed')),
  read_on TEXT NOT NULL CHECK (date(read_on) IS read_on),
  spot INTEGER NOT NULL CHECK (spot >= 1),
  L REAL NOT NULL CHECK (L BETWEEN -20 AND 200),
  a REAL NOT NULL CHECK (a BETWEEN -1000 AND 1000),
  b REAL NOT NULL CHECK (b BETWEEN -1000 AND 1000),
  instrument TEXT NOT NULL,
  geometry TEXT NOT NULL,
  illuminant TEXT NOT NULL,
  observer TEXT NOT NULL,
  read_by TEXT NOT NULL
) STRICT""",
        """
CREATE TABLE response_values (
  entry_id INTEGER PRIMARY KEY REFERENCES entries (id),
  tile_id INTEGER NOT NULL REFERENCES tiles (id),
  response TEXT NOT NULL CHECK (response <> ''), -- its unit stands in the study file
  measured_on TEXT NOT NULL CHECK (date(measured_on) IS measured_on),
  value REAL NOT NULL CHECK (abs(value) < 9e999),
  repeat_number INTEGER NOT NULL CHECK (repeat_number >= 1),
  measured_by TEXT NOT NULL
) STRICT""",
        """
CREATE TABLE rub_grades (
  entry_id INTEGER PRIMARY KEY REFERENCES entries (id),
  tile_id INTEGER NOT NULL REFERENCES tiles (id),
  scorer TEXT NOT NULL CHECK (scorer <> ''), -- initials or a mark
  rubbed_on TEXT NOT NULL CHECK (date(rubbed_on) IS rubbed_on),
  grade REAL NOT NULL CHECK (grade BETWEEN 1 AND 5 AND grade * 2 = round(grade * 2)), -- 5 = no stain; half steps
  condition TEXT NOT NULL CHECK (condition IN ('dry', 'wet')),
  protocol TEXT NOT NULL,
  strokes INTEGER CHECK (strokes >= 0), -- to first bare metal, or rubbed in all
  broke_through INTEGER CHECK (broke_through IN (0, 1)) -- 0: bare metal never came; empty: not noted
) STRICT""",
        *(
            f"CREATE INDEX {table}_of_tile ON {table} (tile_id)"
            for table in ("made", "colour_readings", "response_values", "rub_grades")
        ),
        "CREATE INDEX made_in_batch ON made (batch_id)",
        "CREATE INDEX batch_logs_of_batch ON batch_logs (batch_id)",
    )


def form_memory(conn: sqlite3.Connection) -> None:
    """What each row of each form last said, so that a form read again changes nothing."""
    _run(
        conn,
        """
CREATE TABLE form_rows (
  study_id INTEGER NOT NULL REFERENCES studies (id),
  source TEXT NOT NULL, -- the form's file name
  kind TEXT NOT NULL,
  record_key TEXT NOT NULL CHECK (json_valid(record_key)),
  said TEXT NOT NULL CHECK (json_valid(said)), -- the record as the form last gave it
  read_at TEXT NOT NULL CHECK (datetime(read_at) IS NOT NULL),
  PRIMARY KEY (study_id, source, kind, record_key)
) STRICT""",
    )


VIEWS = {
    "made": "t.code AS tile, k.made_on, coalesce(b.code, '') AS batch, k.actual, k.spoiled, k.why, k.replaced_by, "
    "k.made_by, k.note",
    "batch_logs": "b.code AS batch, k.made_at, k.discarded_at, k.actual, k.made_by, k.note",
    "colour_readings": "t.code AS tile, k.stage, k.read_on, k.spot, k.L, k.a, k.b, k.instrument, k.geometry, "
    "k.illuminant, k.observer, k.read_by",
    "response_values": "t.code AS tile, k.response, k.measured_on, k.value, k.repeat_number, k.measured_by",
    "rub_grades": "t.code AS tile, k.scorer, k.rubbed_on, k.grade, k.condition, k.protocol, k.strokes, k.broke_through",
}


def views_for_readers(conn: sqlite3.Connection) -> None:
    """Views with codes in place of numbers, for this program and for anybody with an SQLite tool."""
    for table, columns in VIEWS.items():
        _record_views(conn, table, columns)
    _run(
        conn,
        """
CREATE VIEW tiles_now AS
SELECT s.name AS study, t.code AS tile, b.code AS batch, t.session, b.run_order AS batch_order, t.run_order,
  t.settings, t.reference, t.replaces, t.added_at
FROM tiles t
JOIN batches b ON b.id = t.batch_id
JOIN studies s ON s.id = t.study_id
WHERE t.withdrawn_at IS NULL""",
    )


def rub_rounds(conn: sqlite3.Connection) -> None:
    """Rub tests of one tile are numbered; what a book held before were first ones, and their keys now say so."""
    _run(
        conn,
        "ALTER TABLE rub_grades ADD COLUMN round_number INTEGER NOT NULL DEFAULT 1 CHECK (round_number >= 1)",
        "DROP VIEW rub_grades_now",
        "DROP VIEW rub_grades_history",
    )
    _record_views(conn, "rub_grades", f"{VIEWS['rub_grades']}, k.round_number")
    first_round = "record_key = substr(record_key, 1, length(record_key) - 1) || ', \"1\"]'"  # keys are JSON lists
    _run(
        conn,
        f"UPDATE entries SET {first_round} WHERE kind = 'rub'",
        f"UPDATE form_rows SET {first_round}, said = substr(said, 1, length(said) - 1) || ', \"round\": 1}}' "
        "WHERE kind = 'rub'",
    )


def claims(conn: sqlite3.Connection) -> None:
    """What was claimed of settings when confirmation tiles were planned; never changed afterwards."""
    _run(
        conn,
        """
CREATE TABLE claims (
  id INTEGER PRIMARY KEY,
  study_id INTEGER NOT NULL REFERENCES studies (id),
  stated_at TEXT NOT NULL CHECK (datetime(stated_at) IS NOT NULL),
  content TEXT NOT NULL CHECK (json_valid(content)) -- settings, what counts as right, the chance, the tiles
) STRICT""",
        "CREATE INDEX claims_of_study ON claims (study_id)",
    )


def photo_readings(conn: sqlite3.Connection) -> None:
    """What a photo tells of a tile's colour, and series of readings; readings of before are in the study's own series."""
    _run(
        conn,
        "ALTER TABLE colour_readings ADD COLUMN series TEXT NOT NULL DEFAULT ''",  # '' is the study's own
        "ALTER TABLE colour_readings ADD COLUMN mottle REAL CHECK (mottle >= 0)",  # mean CIEDE2000 of blocks
        "ALTER TABLE colour_readings ADD COLUMN error REAL CHECK (error >= 0)",  # expected CIEDE2000 of the measuring
        "ALTER TABLE colour_readings ADD COLUMN detail TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(detail))",
        "DROP VIEW colour_readings_now",
        "DROP VIEW colour_readings_history",
        "UPDATE form_rows SET said = substr(said, 1, length(said) - 1) || "
        """', "series": "", "mottle": null, "error": null, "detail": "{}"}' WHERE kind = 'colour'""",
    )
    more = "k.series, k.mottle, k.error, k.detail"
    _record_views(conn, "colour_readings", f"{VIEWS['colour_readings']}, {more}")


def cloths(conn: sqlite3.Connection) -> None:
    """Cloths graded in photos. The diary takes their kind: SQLite can only build a table with another CHECK anew."""
    _run(
        conn,
        "PRAGMA defer_foreign_keys = ON",  # until the commit: the rows that others point at are away for a moment
        "CREATE TABLE entries_before AS SELECT * FROM entries",
        "DROP TABLE entries",
        """
CREATE TABLE entries ( -- the diary of the book; nothing is ever changed or removed here
  id INTEGER PRIMARY KEY,
  study_id INTEGER NOT NULL REFERENCES studies (id),
  kind TEXT NOT NULL CHECK (kind IN ('made', 'batches', 'colour', 'values', 'rub', 'cloths')),
  record_key TEXT NOT NULL CHECK (json_valid(record_key)), -- what two rows about the same thing share
  entered_at TEXT NOT NULL CHECK (datetime(entered_at) IS NOT NULL),
  source TEXT NOT NULL, -- file name, or how it was typed in
  source_line INTEGER CHECK (source_line >= 1),
  supersedes INTEGER UNIQUE REFERENCES entries (id) CHECK (supersedes < id) -- the entry this one corrects
) STRICT""",
        "INSERT INTO entries SELECT * FROM entries_before ORDER BY id",
        "DROP TABLE entries_before",
        "CREATE UNIQUE INDEX first_entries ON entries (study_id, kind, record_key) WHERE supersedes IS NULL",
        "CREATE INDEX entries_by_key ON entries (study_id, kind, record_key)",
        """
CREATE TABLE cloth_grades ( -- beside rub_grades, which people gave
  entry_id INTEGER PRIMARY KEY REFERENCES entries (id),
  tile_id INTEGER NOT NULL REFERENCES tiles (id),
  photo_on TEXT NOT NULL CHECK (date(photo_on) IS photo_on),
  grade REAL NOT NULL CHECK (grade BETWEEN 1 AND 5), -- ISO 105-A04, without steps; 5 = no stain
  stain TEXT NOT NULL CHECK (json_array_length(stain) IS 3), -- CIE [L*, a*, b*] of the rubbed cloth
  clean TEXT NOT NULL CHECK (json_array_length(clean) IS 3), -- and of clean ones
  condition TEXT NOT NULL CHECK (condition IN ('dry', 'wet')),
  protocol TEXT NOT NULL,
  round_number INTEGER NOT NULL CHECK (round_number >= 1),
  error REAL CHECK (error >= 0), -- expected, of the grade
  photo_by TEXT NOT NULL,
  detail TEXT NOT NULL CHECK (json_valid(detail))
) STRICT""",
        "CREATE INDEX cloth_grades_of_tile ON cloth_grades (tile_id)",
    )
    graded = "k.photo_on, k.grade, k.stain, k.clean, k.condition, k.protocol, k.round_number"
    _record_views(conn, "cloth_grades", f"t.code AS tile, {graded}, k.error, k.photo_by, k.detail")


def trays(conn: sqlite3.Connection) -> None:
    """Printed tray sheets; a number is never given twice, since sheets with it may lie about."""
    _run(
        conn,
        """
CREATE TABLE trays (
  id INTEGER PRIMARY KEY AUTOINCREMENT, -- the number that the sheet's markers carry
  study_id INTEGER NOT NULL REFERENCES studies (id),
  laid_at TEXT NOT NULL CHECK (datetime(laid_at) IS NOT NULL),
  content TEXT NOT NULL CHECK (json_valid(content)) -- what lies where on the sheet
) STRICT""",
        "CREATE INDEX trays_of_study ON trays (study_id)",
    )


def withdrawals(conn: sqlite3.Connection) -> None:
    """Records that were taken back: a later entry says again what they said, and is marked; then nothing stands."""
    _run(
        conn,
        """
CREATE TABLE withdrawals (
  entry_id INTEGER PRIMARY KEY REFERENCES entries (id) -- an entry that takes back what it supersedes
) STRICT""",
    )
    more = {"colour_readings": "k.series, k.mottle, k.error, k.detail", "rub_grades": "k.round_number"}
    graded = "k.photo_on, k.grade, k.stain, k.clean, k.condition, k.protocol, k.round_number"
    columns = {table: ", ".join((said, *filter(None, [more.get(table)]))) for table, said in VIEWS.items()}
    columns["cloth_grades"] = f"t.code AS tile, {graded}, k.error, k.photo_by, k.detail"
    for table, said in columns.items():
        _run(conn, f"DROP VIEW {table}_now", f"DROP VIEW {table}_history")
        _record_views(conn, table, said, withdrawn=True)


def dips(conn: sqlite3.Connection) -> None:
    """When a tile went in and came out. A time once written stays; what was entered by mistake is marked as undone."""
    _run(
        conn,
        """
CREATE TABLE dips (
  id INTEGER PRIMARY KEY,
  study_id INTEGER NOT NULL REFERENCES studies (id),
  tile_id INTEGER NOT NULL REFERENCES tiles (id),
  cycle INTEGER NOT NULL CHECK (cycle >= 1), -- which time in
  started_at TEXT NOT NULL CHECK (datetime(started_at) IS NOT NULL), -- UTC
  started_by TEXT NOT NULL,
  stopped_at TEXT CHECK (stopped_at IS NULL OR julianday(stopped_at) >= julianday(started_at)), -- UTC; NULL: it is in
  stopped_by TEXT NOT NULL DEFAULT '',
  undone_at TEXT CHECK (undone_at IS NULL OR datetime(undone_at) IS NOT NULL) -- taken back: it does not count
) STRICT""",
        "CREATE UNIQUE INDEX dips_of_tile ON dips (tile_id, cycle) WHERE undone_at IS NULL",
        "CREATE UNIQUE INDEX tiles_that_are_in ON dips (tile_id) WHERE stopped_at IS NULL AND undone_at IS NULL",
        "CREATE INDEX dips_of_study ON dips (study_id)",
        """
CREATE TRIGGER dips_stay BEFORE UPDATE ON dips
WHEN OLD.undone_at IS NOT NULL OR (OLD.stopped_at IS NOT NULL AND NEW.stopped_at IS NOT OLD.stopped_at)
  OR (OLD.stopped_at IS NOT NULL AND NEW.stopped_by <> OLD.stopped_by)
  OR (OLD.id, OLD.study_id, OLD.tile_id, OLD.cycle, OLD.started_at, OLD.started_by)
    <> (NEW.id, NEW.study_id, NEW.tile_id, NEW.cycle, NEW.started_at, NEW.started_by)
BEGIN SELECT raise(ABORT, 'a time in the bath is never changed'); END""",
        """
CREATE TRIGGER dips_never_go BEFORE DELETE ON dips
BEGIN SELECT raise(ABORT, 'a time in the bath is never removed'); END""",
        """
CREATE VIEW dips_now AS
SELECT s.name AS study, t.code AS tile, d.cycle, d.started_at, d.started_by, d.stopped_at, d.stopped_by, d.id AS dip
FROM dips d
JOIN tiles t ON t.id = d.tile_id
JOIN studies s ON s.id = d.study_id
WHERE d.undone_at IS NULL""",
    )


def received(conn: sqlite3.Connection) -> None:
    """What devices at the bench sent and what they were answered, so that what is sent again is not stored again."""
    _run(
        conn,
        """
CREATE TABLE received (
  id TEXT PRIMARY KEY CHECK (length(id) BETWEEN 1 AND 64), -- made on the device
  study_id INTEGER NOT NULL REFERENCES studies (id),
  kind TEXT NOT NULL,
  said TEXT NOT NULL CHECK (json_valid(said)), -- the cells as sent
  device TEXT NOT NULL,
  mark TEXT NOT NULL, -- initials or a mark of who entered it
  received_at TEXT NOT NULL CHECK (datetime(received_at) IS NOT NULL),
  answer TEXT NOT NULL CHECK (json_valid(answer)),
  record INTEGER REFERENCES entries (id), -- that it made
  dip INTEGER REFERENCES dips (id), -- that it started or stopped
  undoes TEXT UNIQUE REFERENCES received (id) -- what it took back
) STRICT""",
        "CREATE INDEX received_records ON received (record)",
        """
CREATE TRIGGER received_stays BEFORE UPDATE ON received
BEGIN SELECT raise(ABORT, 'what was received is never changed'); END""",
        """
CREATE TRIGGER received_never_goes BEFORE DELETE ON received
BEGIN SELECT raise(ABORT, 'what was received is never removed'); END""",
    )


STEPS: tuple[Step, ...] = (
    *(plans_and_tiles, records, form_memory, views_for_readers, rub_rounds, claims),
    *(photo_readings, cloths, trays, withdrawals, dips, received),
)


def _record_views(conn: sqlite3.Connection, table: str, columns: str, withdrawn: bool = False) -> None:
    """Make `..._history` and `..._now` of one kind of record; `k` is the record's row, `t` its tile, `b` its batch.

    `withdrawn` tells of what was taken back, and leaves it out of what counts; books of before have no such thing.
    """
    taken_back = ", e.id IN (SELECT entry_id FROM withdrawals) AS withdrawn" if withdrawn else ""
    counts = "superseded_by IS NULL AND NOT withdrawn" if withdrawn else "superseded_by IS NULL"
    tiles = "JOIN tiles t ON t.id = k.tile_id" if "t.code" in columns else ""
    batches = "LEFT JOIN batches b ON b.id = k.batch_id" if "b.code" in columns else ""
    _run(
        conn,
        f"""
CREATE VIEW {table}_history AS
SELECT s.name AS study, {columns},
  e.id AS entry, e.kind, e.entered_at, e.source, e.source_line, e.supersedes, later.id AS superseded_by{taken_back}
FROM {table} k
JOIN entries e ON e.id = k.entry_id
JOIN studies s ON s.id = e.study_id
{tiles} {batches}
LEFT JOIN entries later ON later.supersedes = e.id""",
        f"CREATE VIEW {table}_now AS SELECT * FROM {table}_history WHERE {counts}",
    )


def _run(conn: sqlite3.Connection, *statements: str) -> None:
    for statement in statements:  # not executescript: it would commit the transaction
        conn.execute(statement.strip())


def applied(conn: sqlite3.Connection) -> list[str] | None:
    """Return the names of the steps the file has had, or None when the file is empty.

    A file with tables that are not ours gives an empty list.
    """
    tables = {row[0] for row in conn.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    if not tables:
        return None
    if "_sqlite_migrations" not in tables:
        return []
    rows = conn.execute("SELECT name FROM _sqlite_migrations WHERE migration_set = ? ORDER BY id", [SET])
    return [row[0] for row in rows]


def apply(conn: sqlite3.Connection, steps: Sequence[Step]) -> None:
    """Run the steps the file has not had; the caller holds the write lock in an open transaction."""
    from sqlite_utils import Database, Migrations  # slow to import, and needed only for a new or old file

    ours = Migrations(SET)
    for step in steps:
        ours(name=step.__name__)(lambda db, step=step: step(db.conn))
    ours.apply(Database(conn, execute_plugins=False))
