"""What happened: single entries, filled forms, what is due and what was said."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Literal, TypeGuard

from tilestudy.errors import (
    Fault,
    FaultyFileError,
    NotEnoughError,
    WrongRequestError,
    told,
)
from tilestudy.outcomes import DueReport, Entered, history_text
from tilestudy.study import forms
from tilestudy.study.dates import read_date
from tilestudy.study.due import Due, owed
from tilestudy.study.language import listed
from tilestudy.study.measured import checked, series_there
from tilestudy.study.records import (
    KINDS,
    BatchLog,
    Cloth,
    Made,
    Measured,
    Plan,
    Reading,
    Record,
    Rub,
    Study,
    Tile,
)

if TYPE_CHECKING:
    from tilestudy.store.book import Outcome

from tilestudy.studio.folder import COMMAND_LINE, Folder, read_text, taken_in, write_whole
from tilestudy.studio.instruments import NOTHING_STATED, Stated, for_colour_command, read_colour

MEND, MENDED = ".mend.csv", ".mended.csv"
"""Endings of files with rows to mend, and of such files once their rows are stored."""


@dataclass(frozen=True)
class _FormFile:
    """A form to read: its kind, its file, and its bytes where they do not lie in the file."""

    kind: str
    path: Path
    raw: bytes | None = None
    stated: Stated = NOTHING_STATED

    def text(self) -> str:
        return forms.decode(self.path.read_bytes() if self.raw is None else self.raw)


class Recording(Folder):
    """Keeps what really happened."""

    def record(self, kind: str, name: str, cells: Mapping[str, str]) -> Entered:
        """Store one entry given cell by cell, checked exactly as a row of a filled form.

        Where a record with the same key is there already, this corrects it: what is not given stays as it was.
        """
        study, plan = self.planned(name)
        options = self._reader_options(study, correcting=cells.get("tile", ""))
        given = {column: cell for column, cell in cells.items() if cell}
        dated = given if "on" in given or kind == "batches" else {**given, "on": self.today.isoformat()}
        reading = forms.read_entry(kind, dated, study, plan, self.today, place=COMMAND_LINE, **options)
        faults = [*reading.faults, *self._too_early(name, [reading])]
        if faults:
            raise FaultyFileError(faults)
        if not reading.records:
            raise WrongRequestError(f"Nothing was given to store. See tilestudy {kind} --help.")
        with self.book() as book:
            there = {kept.record.key: kept.record for kept in book.current(name, kind)}
        records = [(corrected(there.get(record.key), record, given), None) for record, _ in reading.records]
        return self._store(study, {(kind, COMMAND_LINE, False): records})

    def read_form(
        self, kind: str, name: str, file: Path, *, keep_good: bool = False, stated: Stated = NOTHING_STATED
    ) -> Entered:
        """Store a filled form of one kind, or an instrument's file of colours (`stated`: what it leaves open).

        A file of mended rows is renamed once all of it is stored.
        """
        study, plan = self.planned(name)
        entered = self._enter(study, plan, [_FormFile(kind, file, stated=stated)], keep_good)
        if file.name.endswith(MEND) and not entered.faults:
            file.replace(file.with_name(file.name.removesuffix(MEND) + MENDED))
            form = file.name.removesuffix(MEND)
            note = f"Correct or delete these rows in {form}.csv too, or enter will find them wrong there again."
            return replace(entered, notes=(*entered.notes, note))
        return entered

    def read_form_text(
        self, kind: str, name: str, raw: bytes, *, keep_good: bool = False, stated: Stated = NOTHING_STATED
    ) -> Entered:
        """Store a filled form given as bytes (standard input); rows to mend go into the study's folder."""
        study, plan = self.planned(name)
        file = self.study_folder(name) / f"{kind} from standard input.csv"
        return self._enter(study, plan, [_FormFile(kind, file, raw, stated)], keep_good)

    def enter(self, name: str, *, keep_good: bool = False) -> Entered:
        """Take in the tile list and all filled forms in the study's folder; running it again changes nothing."""
        study = self.study(name)
        folder = self.study_folder(name)
        found, notes = self._sort_out(sorted(one for one in folder.iterdir() if one.is_file()), study)
        lists = [one.path for one in found if one.kind == "tiles"]
        if len(lists) > 1:
            raise FaultyFileError(
                [
                    Fault(one.name, None, "a second tile list; a study has one. Merge them or rename one.")
                    for one in lists[1:]
                ]
            )
        with self.book() as book:
            plan = book.plan(name)
            recorded = book.has_records(name)
        if plan is not None and recorded:
            self._check_factors(study, plan)
        new_plan = None
        if lists:
            taken = self._read_tiles(study, lists[0])
            if plan is not None and not plan.taken_in:
                _check_same_tiles(plan, taken, lists[0])
            else:
                new_plan = taken
                stand_ins = tuple(tile for tile in plan.tiles if tile.replaces) if plan is not None else ()
                plan = replace(taken, tiles=(*taken.tiles, *stand_ins))
        if plan is None:
            raise NotEnoughError(
                f'Study {name} has no plan yet and {folder} no tile list. Type "tilestudy plan {name}".'
            )
        entered = self._enter(study, plan, [one for one in found if one.kind != "tiles"], keep_good, new_plan)
        return replace(entered, notes=(*notes, *entered.notes))

    def store_measured(
        self, name: str, kind: Literal["colour", "cloths"], records: Sequence[Record], source: str
    ) -> Entered:
        """Store measurements that come from no form, checked as a form's are, all or none of them.

        Measured again from the same source, what stayed the same is not stored twice, and what changed is a correction.

        Parameters
        ----------
        name : str
            The study.
        kind : "colour" or "cloths"
        records : sequence of Reading or Cloth
            A cloth without protocol is of the study's.
        source : str
            Names of the photos or of the instrument's file.

        Raises
        ------
        FaultyFileError
            With every fault: a tile that the plan does not have, a date before the making, a second instrument in a series.
        """
        given = [one for one in records if isinstance(one, Reading if kind == "colour" else Cloth)]
        if len(given) < len(records):
            raise TypeError(f"not all of the records are of the kind {kind}")
        study, plan = self.planned(name)
        with self.book() as book:
            there = book.current(name, "colour") if kind == "colour" else []
        good, what = checked(given, study, plan, self.today, source, there, list(self.library.protocols))
        reading = forms.FormReading(kind, source, tuple((record, None) for record in good), ())
        faults = [*(Fault(source, None, one) for one in what), *self._too_early(name, [reading])]
        if faults:
            raise FaultyFileError(faults)
        return self._store(study, {(kind, source, False): reading.records})

    def _sort_out(self, files: Sequence[Path], study: Study) -> tuple[list[_FormFile], list[str]]:
        """Tell which form each CSV is; a file that is none is named, not skipped in silence."""
        found, notes = [], []
        for file in files:
            if for_colour_command(file, study):
                notes.append(
                    f'Not read: {file.name} is an instrument\'s file. Type "tilestudy colour {study.name} --from {file}".'
                )
                continue
            if file.suffix.casefold() != ".csv":
                if forms.kind_of(file.name) is not None or file.suffix.casefold() in (
                    ".xlsx",
                    ".xls",
                    ".ods",
                    ".numbers",
                ):
                    notes.append(
                        f"Not read: {file.name} is not a CSV file. Save it as CSV in your spreadsheet, then enter again."
                    )
                continue
            kind = forms.kind_of(file.name, forms.header_of(forms.decode(file.read_bytes())))
            if file.name.endswith(MENDED):
                continue  # its rows were stored from it
            if file.name.endswith(MEND):
                notes.append(
                    f"Not read: {file.name} holds rows to mend; give it to its command with --from when mended."
                )
            elif kind is None:
                notes.append(
                    f"Not read: {file.name} is no form; its name should begin with {', '.join(forms.FORM_KINDS)}."
                )
            else:
                found.append(_FormFile(kind, file))
        return found, notes

    def _enter(
        self, study: Study, plan: Plan, files: Sequence[_FormFile], keep_good: bool, new_plan: Plan | None = None
    ) -> Entered:
        """Read forms against a plan and store them with it, all or nothing (or, if asked, the good rows)."""
        read_here: list[Reading] = []
        order = {kind: number for number, kind in enumerate(KINDS)}
        read: list[tuple[_FormFile, forms.FormReading]] = []
        notes: list[str] = []
        for one in sorted(files, key=lambda one: order[one.kind]):
            options = self._reader_options(study, one.path.name)
            options["series"] = {**series_there(read_here), **options["series"]}
            if one.kind == "colour":
                earlier = self._read_before(study.name, one.path.name)
                reading, told_of = read_colour(
                    one.text(), one.path.name, study, plan, self.today, one.stated, options, earlier
                )
                notes += told_of
            else:
                reading = forms.read_form(one.kind, one.text(), one.path.name, study, plan, self.today, **options)
            read.append((one, reading))
            if one.kind == "made":
                plan = _with_replacements(plan, [record for record, _ in reading.records])
            read_here += [record for record, _ in reading.records if isinstance(record, Reading)]
        clashes = _clashes([reading for _, reading in read]) + self._too_early(study.name, [r for _, r in read])
        faults = [fault for _, reading in read for fault in reading.faults] + clashes
        if faults and not keep_good:
            mend = "Mend it" if len(faults) == 1 else "Mend them"
            raise FaultyFileError(
                faults,
                after=f"Nothing was stored. {mend}, or add --keep-good to store the good rows and set the others aside.",
            )
        clashing = {(fault.file, fault.line) for fault in clashes}
        rows = {
            (one.kind, one.path.name, True): [
                (r, line) for r, line in reading.records if (one.path.name, line) not in clashing
            ]
            for one, reading in read
        }
        entered = self._store(study, rows, new_plan)
        aside = []
        for one, reading in read:
            if reading.bad_rows:
                aside.append(_set_aside(one.path, reading.bad_rows))
        spoiled = self._spoiled(study.name)
        blank = sum(code not in spoiled for _, reading in read for code in reading.blank)
        return replace(entered, blank_rows=blank, set_aside=aside, faults=told(faults), notes=(*notes, *entered.notes))

    def _read_before(self, name: str, file: str) -> list[Reading]:
        """Return the colour readings that hold now and came from a file of this name."""
        with self.book() as book:
            kept = [one for one in book.current(name, "colour") if one.source == file]
        return [one.record for one in kept if isinstance(one.record, Reading)]

    def _store(
        self,
        study: Study,
        rows: Mapping[tuple[str, str, bool], Sequence[tuple[Record, int | None]]],
        new_plan: Plan | None = None,
    ) -> Entered:
        """Store a tile list and rows of several sources, all or none; a spoiled tile's stand-in is planned with it."""
        outcomes: dict[str, Outcome] = {}
        notes = []
        with self.book() as book, book.transaction():
            if new_plan is not None:
                saved = book.save_plan(study.name, new_plan, self._text(study.name), self.now())
                if saved.changed:
                    notes.append(f"Tile list: {taken_in(saved)}.")
            for (kind, source, is_form), records in rows.items():
                plan = book.plan(study.name)
                if plan is None:
                    raise NotEnoughError(f'Study {study.name} has no plan yet. Type "tilestudy plan {study.name}".')
                for tile in replacements(plan, [record for record, _ in records]):
                    if book.add_tile(study.name, tile, self.now()):
                        notes.append(
                            f"Tile {tile.code} stands in for {tile.replaces}, at its settings in batch {tile.batch}."
                        )
                outcome = book.record(study.name, kind, records, source, self.now(), is_form)
                gone = {
                    k.record.tile
                    for k in book.current(study.name, "made")
                    if isinstance(k.record, Made) and k.record.spoiled
                }
                measured = {r.tile for r in outcome.added if isinstance(r, Measured)} & gone
                if measured:
                    notes.append(
                        f"Marked as spoiled, so kept but not used: what was measured of {', '.join(sorted(measured))}."
                    )
                notes += perhaps_another_round(outcome)
                outcomes[kind] = outcomes[kind] + outcome if kind in outcomes else outcome
        return Entered(study, outcomes, notes=notes)

    def _too_early(self, name: str, readings: Sequence[forms.FormReading]) -> list[Fault]:
        """Find measurements dated before their tile was made, and makings dated after what was measured of the tile."""
        made = {one.tile: one.on for one in self._records(name)[0]}
        made |= {r.tile: r.on for reading in readings for r, _ in reading.records if isinstance(r, Made)}
        early: dict[
            tuple[str, int | None, date, date], list[str]
        ] = {}  # records without a line (of a photo) are told together
        for reading in readings:
            for record, line in reading.records:
                if follows_making(record) and record.tile in made and record.on < made[record.tile]:
                    early.setdefault((reading.file, line, made[record.tile], record.on), []).append(record.tile)
        faults = [
            Fault(
                file,
                line,
                measured_before_made(tiles, making, on),
            )
            for (file, line, making, on), tiles in early.items()
        ]
        first: dict[str, date] = {}
        with self.book() as book:
            every = [kept.record for kind in KINDS for kept in book.current(name, kind)]
        for one in (record for record in every if follows_making(record)):
            first[one.tile] = min(one.on, first.get(one.tile, one.on))
        return faults + [
            Fault(
                reading.file,
                line,
                made_after_measured(record.tile, first[record.tile], record.on),
            )
            for reading in readings
            for record, line in reading.records
            if isinstance(record, Made) and record.tile in first and record.on > first[record.tile]
        ]

    def spare_code(self, name: str, tile: str) -> str:
        """Return a fresh tile code for a replacement of a tile; raises WrongRequestError when it has one already."""
        for one in self._records(name)[0]:
            if one.tile.casefold() == tile.casefold() and one.replaced_by:
                raise WrongRequestError(
                    f"{one.replaced_by} already stands in for {one.tile}. If {one.replaced_by} is spoiled too, type "
                    f'"tilestudy made {name} {one.replaced_by} --spoiled --replace".'
                )
        from tilestudy.design.codes import deal_codes

        with self.book() as book:
            return deal_codes(1, book.codes(), Random(0))[0]

    def waiting(self, kind: str, name: str) -> list[str]:
        """Return the tiles that have no record of a kind yet, in run order; spoiled tiles wait for nothing."""
        _, plan = self.planned(name)
        with self.book() as book:
            done = {getattr(kept.record, "tile", "") for kept in book.current(name, kind)}
            done |= {
                k.record.tile for k in book.current(name, "made") if isinstance(k.record, Made) and k.record.spoiled
            }
        return [tile.code for tile in plan.tiles if tile.code not in done]

    def due(self, name: str | None = None, on: str | None = None) -> DueReport:
        """Return what is due on a day (today by default), in one study or all of them."""
        if not self.folder.is_dir():
            raise WrongRequestError(f"There is no folder {self.folder}. Name the studio's folder with --folder.")
        day = read_date(on, self.today + timedelta(days=3650), self.settings().date_order) if on else self.today
        names = [name] if name else sorted(one.parent.name for one in self.experiments.glob("*/study.toml"))
        items: list[Due] = []
        coming: list[Due] = []
        for one in names:
            study = self.study(one)
            with self.book() as book:
                plan = book.plan(one)
            if plan is None:
                continue
            made, _, readings, values, rubs = self._records(one)
            for item in owed(study, plan, made, readings, values, rubs, day):
                (items if item.late_days >= 0 else coming).append(item)
        return DueReport(day, tuple(items), tuple(coming))

    def history(self, name: str, code: str) -> str:
        """Tell everything recorded of a tile, superseded values included."""
        study, plan = self.planned(name)
        codes = {tile.code.casefold(): tile.code for tile in plan.tiles}
        if code.casefold() not in codes:
            near = difflib.get_close_matches(code.upper(), list(codes.values()), n=3, cutoff=0.4)
            hint = f"Did you mean {' or '.join(near)}?" if near else f'"tilestudy plan {name}" lists the codes.'
            raise WrongRequestError(f'Study {name} has no tile "{code}". {hint}')
        with self.book() as book:
            return history_text(study, plan, codes[code.casefold()], book.history(name, codes[code.casefold()]))


def follows_making(record: Record) -> TypeGuard[Measured]:
    """Return whether a record can only be of a tile that was made: all that is measured but the colour of bare metal."""
    return isinstance(record, Measured) and not (isinstance(record, Reading) and record.stage == "bare")


def measured_before_made(tiles: Sequence[str], making: date, on: date) -> str:
    """Say that tiles cannot have been measured before they were made."""
    were = "were" if len(tiles) > 1 else "was"
    return (
        f"tile{'s' * (len(tiles) > 1)} {listed(tiles)} {were} made on {making.isoformat()}, "
        f"so a measurement of {on.isoformat()} cannot be right. Check both dates."
    )


def made_after_measured(tile: str, first: date, on: date) -> str:
    """Say that a tile cannot have been made after it was first measured."""
    return (
        f"tile {tile} was measured on {first.isoformat()}, so it cannot have been made on "
        f"{on.isoformat()}. Check both dates."
    )


def _set_aside(form: Path, rows: str) -> Path:
    """Write rows to mend beside their form, under a name that no other rows have; what is being mended is never touched."""
    stem = form.name[: -len(form.suffix)].removesuffix(".mend")
    for number in range(1, 1000):
        path = form.with_name(f"{stem}{'' if number == 1 else f'-{number}'}{MEND}")
        if not path.exists():
            write_whole(path, rows)
            return path
        if read_text(path) == rows:
            return path
    raise WrongRequestError(f"There are too many files {stem}-...{MEND} beside {form}. Deal with them first.")


def corrected(old: Record | None, new: Record, given: Mapping[str, str]) -> Record:
    """Take from the new record what was given, and the rest from the one it corrects."""
    if old is None:
        return new
    changes = {field: getattr(new, field) for field in given if hasattr(new, field)}
    if isinstance(old, Made | BatchLog) and isinstance(new, Made | BatchLog):
        changes["actual"] = {**old.actual, **new.actual}
    if isinstance(new, Reading):
        changes |= {"mottle": None, "error": None, "detail": {}}  # those were of the photo that measured the old colour
    if changes.get("spoiled") is False:
        changes |= {"why": "", "replaced_by": ""}
    return replace(old, **changes)


def perhaps_another_round(outcome: Outcome) -> list[str]:
    """Ask whether a rub grade moved to quite another day is a correction, or a second rub test without its round."""
    moved = [
        (old.record, new)
        for old, new in outcome.corrected
        if isinstance(old.record, Rub) and isinstance(new, Rub) and abs((new.on - old.record.on).days) > 3
    ]
    if not moved:
        return []
    before, after = moved[0]
    return [
        f"The rub test of {listed(sorted({new.tile for _, new in moved}))} is dated anew "
        f"({before.on.isoformat()} became {after.on.isoformat()}). If the tile was rubbed again, this took the place of the "
        f"first grade: enter that again as it was, and the new one with --round {after.round + 1} (column round)."
    ]


def _check_same_tiles(plan: Plan, taken: Plan, file: Path) -> None:
    """A tile list beside a laid-out plan must agree with it."""
    ours = {tile.code: (tile.batch, dict(tile.settings)) for tile in plan.tiles}
    faults = []
    for tile in taken.tiles:
        if tile.code not in ours:
            faults.append(Fault(file.name, None, f"tile {tile.code} is not in the plan of this study."))
        elif ours[tile.code] != (tile.batch, dict(tile.settings)):
            faults.append(Fault(file.name, None, f"tile {tile.code} has another batch or settings than in the plan."))
    if faults:
        raise FaultyFileError(
            faults,
            after=f'Nothing was stored. The study book holds the plan; "tilestudy plan {plan.study}" writes {file.name} anew.',
        )


def _clashes(readings: Sequence[forms.FormReading]) -> list[Fault]:
    """Find rows of one file that contradict a row of another read in the same go; both rows are faults."""
    seen: dict[tuple[str, tuple[str, ...]], tuple[Record, str, int | None]] = {}
    faults = []
    for reading in readings:
        for record, line in reading.records:
            first, file, first_line = seen.setdefault((reading.kind, record.key), (record, reading.file, line))
            if first != record:
                key = " ".join(record.key)
                for here, here_line, there, there_line in (
                    (file, first_line, reading.file, line),
                    (reading.file, line, file, first_line),
                ):
                    what = f"says otherwise than {there}, line {there_line} for {key}; keep one of the two."
                    faults.append(Fault(here, here_line, what))
    return faults


def replacements(plan: Plan, records: Sequence[Record]) -> list[Tile]:
    """Tiles that stand in for spoiled ones and are not in the plan yet."""
    from tilestudy.design.layout import replacement

    known = {tile.code for tile in plan.tiles}
    new: list[Tile] = []
    for record in records:
        if isinstance(record, Made) and record.replaced_by and record.replaced_by not in known:
            grown = replace(plan, tiles=(*plan.tiles, *new))
            new.append(replacement(grown, plan.tile(record.tile), record.replaced_by))
            known.add(record.replaced_by)
    return new


def _with_replacements(plan: Plan, records: Sequence[Record]) -> Plan:
    return replace(plan, tiles=(*plan.tiles, *replacements(plan, records)))
