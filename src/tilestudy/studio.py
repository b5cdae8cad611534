"""One class, Studio(folder): the whole job as methods. Commands and pages call this and nothing below it.

The folder holds experiments/ (a folder for each study, with its study.toml and forms, and the study book beside them)
and reports/ (what is printed).
"""

from __future__ import annotations

import difflib
import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any, Literal

from tilestudy.colour.names import colour_named
from tilestudy.design.words import count
from tilestudy.errors import (
    Fault,
    FaultyFileError,
    HazardError,
    NotEnoughError,
    PlanError,
    TilestudyError,
    WrongRequestError,
    told,
)
from tilestudy.outcomes import DueReport, Entered, Extended, PackDone, PlanReport, history_text
from tilestudy.study import forms
from tilestudy.study.dates import read_date
from tilestudy.study.due import Due, owed
from tilestudy.study.file import check_study_name, read_study
from tilestudy.study.forms import write_tiles
from tilestudy.study.records import (
    KINDS,
    STAGES,
    BatchLog,
    Factor,
    Made,
    Plan,
    Reading,
    Record,
    Rub,
    Setting,
    Study,
    Tile,
    Value,
    study_as_planned,
)
from tilestudy.study.settings import TEXT as SETTINGS_TEXT
from tilestudy.study.settings import StudioSettings, read_settings
from tilestudy.study.units import parse_setting
from tilestudy.trade import library
from tilestudy.trade.hazards import hazards, unanswered
from tilestudy.trade.template import study_text

if TYPE_CHECKING:
    from tilestudy.analysis.study_findings import StudyFindings
    from tilestudy.design.appraise import Appraisal, Noise
    from tilestudy.design.full_appraisal import FullAppraisal
    from tilestudy.design.layout import Clock
    from tilestudy.store.book import Outcome, PlanSaved, StudyBook
    from tilestudy.study.records import Choice

COMMAND_LINE = "command line"
Paper = Literal["a4", "us-letter"]
Series = tuple[str, str, str, str]
MEND, MENDED = ".mend.csv", ".mended.csv"
"""Endings of files with rows to mend, and of such files once their rows are stored."""


class Studio:
    """A studio's folder and what can be done with it.

    Parameters
    ----------
    folder : path
        Holds experiments/ and reports/; both are made when first needed.
    now : callable
        The clock: returns an aware datetime.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     studio = Studio(folder)
    ...     _ = studio.new("plaques", "sulfide-dip", "C11000")
    ...     len(studio.plan("plaques", seed=7).plan.tiles)
    36
    """

    def __init__(self, folder: Path | str = ".", now: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self.folder = Path(folder)
        self.experiments = self.folder / "experiments"
        self.reports = self.folder / "reports"
        self.now = now

    # --- files and settings --------------------------------------------------------------------------------------

    @property
    def today(self) -> date:
        """The day where the studio is."""
        return self.now().astimezone().date()

    def settings(self) -> StudioSettings:
        """Return the studio's settings; the defaults when it has none."""
        path = self.experiments / "studio.toml"
        return read_settings(_read(path), str(path)) if path.exists() else StudioSettings()

    def book(self) -> StudyBook:
        """Open the study book, made when it is not there yet."""
        from tilestudy.store.book import StudyBook

        if not self.experiments.is_dir():
            self.experiments.mkdir(parents=True)
        return StudyBook(self.experiments / "studybook.db")

    def study_folder(self, name: str) -> Path:
        """Return the folder of a study that exists; raises WrongRequestError when it does not."""
        path = self.experiments / name
        if (path / "study.toml").is_file() and check_study_name(name) is None:
            return path
        there = sorted(one.parent.name for one in self.experiments.glob("*/study.toml"))
        near = difflib.get_close_matches(name, there, n=1)
        if near:
            hint = f'Did you mean "{near[0]}"?'
        elif there:
            hint = f"There are: {', '.join(there)}."
        else:
            hint = f'Start one with "tilestudy new {name} --process sulfide-dip --metal C11000", or name the studio\'s folder with --folder.'
        raise WrongRequestError(f'There is no study "{name}" in {self.experiments}. {hint}')

    def study(self, name: str) -> Study:
        """Read a study file; raises FaultyFileError with all its faults."""
        path = self.study_folder(name) / "study.toml"
        return read_study(
            _read(path),
            str(path),
            name,
            processes=library.process_ids(),
            protocols=list(library.protocols()),
            colour_named=colour_named,
            thickness_of=library.thickness_mm,
            questions_of=lambda one: (
                [ask["key"] for ask in library.process(one).data.get("ask", ())] if one in library.process_ids() else []
            ),
            density_of=lambda one: library.process(one).density_g_per_ml if one in library.process_ids() else None,
        )

    def word(self, study: Study) -> str:
        """Return what the bench of this study calls a batch."""
        return study.batch_word or library.process(study.process).batch_word

    # --- before the session --------------------------------------------------------------------------------------

    def new(self, name: str, process_id: str, uns: str, *, gauge: str = "20 ga", lot: str = "") -> Path:
        """Write a new study file with the process's defaults and return its path."""
        wrong = check_study_name(name)
        if wrong:
            raise WrongRequestError(wrong)
        process = library.process(process_id)
        uns = uns.upper()
        if library.metal_family(uns) == "unknown":
            raise WrongRequestError(
                f'"{uns}" is not a metal tilestudy knows. Give the UNS number: {", ".join(library.known_metals())}.'
            )
        if library.thickness_mm(gauge, uns) is None:
            raise WrongRequestError(f'--gauge "{gauge}" cannot be read; write it like "20 ga" or "0.8 mm".')
        path = self.experiments / name / "study.toml"
        if path.exists():
            raise WrongRequestError(f"{path} is there already and was left as it is. Choose another name, or edit it.")
        path.parent.mkdir(parents=True, exist_ok=True)
        settings = self.experiments / "studio.toml"
        if not settings.exists():
            _write(settings, SETTINGS_TEXT)
        _write(path, study_text(name, process, uns, gauge=gauge, lot=lot))
        return path

    def plan(self, name: str, seed: int | None = None) -> PlanReport:
        """Lay the study's grid out, store the plan and say what it will tell.

        Tiles with records are never discarded. Planning an unchanged study again changes nothing.
        """
        study = self.study(name)
        with self.book() as book:
            old, recorded = book.plan(name), book.tiles_with_records(name)
            if old is not None and recorded:
                self._check_factors(study, old)
            if old is not None and old.taken_in:
                note = f'These tiles were taken in from a list; "tilestudy plan {name} --from FILE" takes in a changed list.'
                return self._report(study, old, (note,))
            again = seed if seed is not None else old.seed if old is not None else secrets.randbelow(10_000)
            ours = {tile.code for tile in old.tiles} if old is not None else set()
            if old is not None and (
                book.study_text(name) == self._text(name)
                or _same_layout(self._lay_out(study, old.seed, book.codes() - ours), old)
            ):
                if again == old.seed:
                    return self._report(study, old, ("This is the plan as it was: the study file has not changed.",))
                if recorded:
                    raise WrongRequestError(
                        f"{count(len(recorded), 'tile')} of {name} {'has' if len(recorded) == 1 else 'have'} records, so the "
                        f"order is not drawn anew. The plan stays that of seed {old.seed}."
                    )
            fresh = self._lay_out(study, again, book.codes() - (ours - recorded))
            _check_room(study, fresh, [tile for tile in old.tiles if tile.code in recorded] if old is not None else [])
            saved = book.save_plan(name, fresh, self._text(name), self.now())
        self._write_tile_list(study, saved.plan)
        notes = []
        if saved.withdrawn:
            many = count(len(saved.withdrawn), "tile")
            notes.append(
                f"{many} of the old plan without records {'was' if len(saved.withdrawn) == 1 else 'were'} withdrawn."
            )
        if saved.kept:
            many, have = count(len(saved.kept), "tile"), "has" if len(saved.kept) == 1 else "have"
            notes.append(
                f"{many} of the old plan {have} records and {'stays' if have == 'has' else 'stay'}: {' '.join(saved.kept)}."
            )
        return self._report(study, saved.plan, tuple(notes))

    def _lay_out(self, study: Study, seed: int, taken: frozenset[str] = frozenset()) -> Plan:
        """Lay out the whole grid where it is asked for or fits, else the most telling tiles within the limits."""
        from tilestudy.design.best import lay_out_best
        from tilestudy.design.layout import lay_out
        from tilestudy.design.textbook import KINDS as TEXTBOOK
        from tilestudy.design.textbook import lay_out_textbook

        if study.choose in TEXTBOOK:
            return lay_out_textbook(study, self._clock(study), seed, taken).plan
        if self._whole_grid(study):
            return lay_out(study, self._clock(study), seed, taken)
        return lay_out_best(study, self._clock(study), seed, taken).plan

    def _whole_grid(self, study: Study) -> bool:
        """Return whether to lay out the whole grid: where it is asked for, or fits with what it is judged by.

        A grid with one batch for each setting gives way to chosen tiles where the limits allow more batches than that.
        """
        from tilestudy.design.layout import choose_size

        if study.choose:
            return study.choose == "grid"
        try:
            size, _ = choose_size(study, self._clock(study))
        except PlanError:
            return False
        more = study.limits.batches is None or study.limits.batches > size.batches
        return size.batches_each > 1 or study.batches_each == 1 or not study.factors_set_per("batch") or not more

    def extend(
        self,
        name: str,
        *,
        batches: int | None = None,
        mirror: bool = False,
        middle: bool = False,
        ends: bool = False,
        repair: str = "",
        tiles: int | None = None,
    ) -> Extended:
        """Add tiles to a study that has a plan; those there and their records stay as they are."""
        from tilestudy.design import extend
        from tilestudy.design.appraise import appraise

        wanted = extend.wish(batches=batches, mirror=mirror, middle=middle, ends=ends, repair=repair, tiles=tiles)
        study, plan = self.planned(name)
        if plan.taken_in:
            raise PlanError(
                f"The tiles of {name} were taken in from a list, and the list says which there are. Add a row for each new "
                f'tile to it, with a batch of its own for what is made afresh, then type "tilestudy plan {name} --from FILE".'
            )
        noise, word, (made, logs, *_) = self._noise(study), self.word(study), self._records(name)
        with self.book() as book:
            taken = book.codes()
        more = extend.extend(study, self._clock(study), plan, wanted, noise, made, logs, taken, word)
        marks = extend.marks(more, made, self.today, word)
        old, new = (extend.usable(one, [*made, *marks]) for one in (plan, more.grown(plan)))
        before = appraise(study, old, noise) if old.tiles else None
        says = (*more.says, *extend.bought(study, before, appraise(study, new, noise)))
        report = self._report(study, more.grown(plan), ())
        with self.book() as book, book.transaction():
            grown = book.add_batches(name, more.batches, more.tiles, self.now())
            book.record(name, "made", [(mark, None) for mark in marks], COMMAND_LINE, self.now())
        self._write_tile_list(study, grown)
        return Extended(report, replace(plan, seed=more.seed, batches=more.batches, tiles=more.tiles), says)

    def take_in(self, name: str, file: Path) -> PlanReport:
        """Take in tiles that exist already, from a CSV: codes, batches, settings."""
        study = self.study(name)
        plan = self._read_tiles(study, file)
        with self.book() as book:
            saved = book.save_plan(name, plan, self._text(name), self.now())
        if file.resolve().parent != self.study_folder(name).resolve():
            self._write_tile_list(study, saved.plan)
        note = f"{_taken_in(saved)}." if saved.changed else "These tiles were taken in before; nothing changed."
        return self._report(study, saved.plan, (note,))

    def _clock(self, study: Study) -> Clock:
        from tilestudy.design.layout import Clock

        return Clock(**{key: float(value) for key, value in library.process(study.process).minutes.items()})

    def _text(self, name: str) -> str:
        return _read(self.study_folder(name) / "study.toml")

    def _noise(self, study: Study) -> Noise:
        from tilestudy.design.appraise import Noise

        if study.target is not None:
            assumed = Noise(*study.noise, unit="L*", of="lightness")
            return assumed if study.noise != Study.noise else self._measured(study, "L", assumed)
        for response in study.responses:
            if response.batch_sd is not None and response.tile_sd:
                return Noise(response.batch_sd, response.tile_sd, response.unit, response.label)
        assumed = Noise(1.0, 1.0, "", "")
        if not study.responses:
            return assumed
        first = study.responses[0]
        return self._measured(study, first.name, assumed, replace(assumed, unit=first.unit, of=first.label))

    def _measured(self, study: Study, response: str, assumed: Noise, named: Noise | None = None) -> Noise:
        """Return the noise that earlier studies of the same process measured, or the assumed one; no other figures were stated."""
        with self.book() as book:
            earlier = [
                one.parent.name
                for one in sorted(self.experiments.glob("*/study.toml"), key=lambda one: one.stat().st_mtime)
                if one.parent.name != study.name and book.has_records(one.parent.name)
            ]
        if not earlier:
            return assumed
        from tilestudy.analysis.earlier import measured_noise

        found = {}
        for name in earlier[-5:]:  # the latest; more would only take time
            try:
                if self.study(name).process == study.process:
                    found[name] = self.drivers(name).responses[response]
            except (TilestudyError, KeyError):
                continue  # a study that cannot be read or analysed yet measures nothing
        noise = measured_noise(found)
        if noise is None:
            return assumed
        return replace(named or assumed, batch=noise.batch, tile=noise.tile, learned_from=noise.studies)

    def appraise(
        self,
        name: str,
        tiles: int | None = None,
        batches: int | None = None,
        sessions: int | None = None,
        choose: Choice | None = None,
        worth: float | None = None,
    ) -> FullAppraisal:
        """Appraise the stored plan, or the one that `plan` would make under the limits given; nothing is stored."""
        from tilestudy.design.alternatives import within
        from tilestudy.design.full_appraisal import appraise_fully

        study = self.study(name)
        with self.book() as book:
            plan = book.plan(name)
        if plan is not None:
            self._check_factors(study, plan)
        seed = plan.seed if plan is not None else 1
        asked = any(one is not None for one in (tiles, batches, sessions, choose))
        tried = asked or plan is None
        wished = within(study, tiles, batches, sessions, choose) if asked else study
        if tried or plan is None:
            plan = self._lay_out(wished, seed)
        return appraise_fully(
            wished,
            plan,
            lambda one: self._lay_out(one, seed),
            self._noise(study),
            self._clock(study),
            self.word(study),
            worth=worth,
            stored=not tried,
        )

    def prediction_chart(self, full: FullAppraisal) -> Path | None:
        """Draw how sure predictions would be, and return the chart's path; None when no factor varies."""
        from tilestudy.paper.variance_chart import prediction_error

        if full.picture is None:
            return None
        noise = full.appraisal.noise
        picture = prediction_error(full.picture, tile_sd=noise.tile, unit=noise.unit)
        return self._print(full.study.name, "prediction-error.svg", picture)

    def _report(self, study: Study, plan: Plan, kept: tuple[str, ...]) -> PlanReport:
        from tilestudy.design import words
        from tilestudy.design.appraise import appraise
        from tilestudy.design.best import chosen_in_words, lay_out_best
        from tilestudy.design.lots import lots_in_words
        from tilestudy.design.textbook import KINDS as TEXTBOOK
        from tilestudy.design.textbook import lay_out_textbook, textbook_in_words

        word, noise = self.word(study), self._noise(study)
        appraisal = appraise(study, plan, noise)
        sentences = [*words.describe(study, plan, word), *words.tell(study, appraisal, plan, word)]
        if not plan.taken_in and self._whole_grid(study):
            sentences += self._what_more_would_buy(study, plan, appraisal, noise, word)
        elif not plan.taken_in and study.choose in TEXTBOOK:
            sentences += textbook_in_words(study, lay_out_textbook(study, self._clock(study), plan.seed))
        elif not plan.taken_in:
            sentences += chosen_in_words(study, lay_out_best(study, self._clock(study), plan.seed))
        sentences += lots_in_words(study, plan)
        sentences.append(words.beyond(study, plan))
        return PlanReport(study, plan, word, appraisal, tuple(sentences), kept)

    def _what_more_would_buy(
        self, study: Study, plan: Plan, appraisal: Appraisal, noise: Noise, word: str
    ) -> list[str]:
        """Say what the limits cost, and what longer sessions or one more batch would buy."""
        from tilestudy.design import words
        from tilestudy.design.appraise import appraise
        from tilestudy.design.layout import choose_size, lay_out, minutes_for_all_settings

        size, wanted = choose_size(study, self._clock(study))
        sentences = words.cost_of_replicating(study, size, wanted, word)
        minutes = minutes_for_all_settings(study, self._clock(study), size)
        if study.limits.minutes is not None and minutes > study.limits.minutes:
            longer = replace(study, limits=replace(study.limits, minutes=float(minutes), batches_per_session=None))
            seen = appraise(study, lay_out(longer, self._clock(study), plan.seed), noise)
            sentences += words.longer_sessions(study, appraisal, seen, minutes, word)
        more = replace(
            study,
            batches_each=size.batches_each // size.parts + 1,
            limits=replace(study.limits, tiles=None, batches=None, sessions=None),
        )
        if size == wanted and size.parts == 1:
            bigger = lay_out(more, self._clock(study), plan.seed)
            sentences += words.one_more_batch(study, appraisal, appraise(study, bigger, noise), plan, bigger, word)
        return sentences

    def _write_tile_list(self, study: Study, plan: Plan) -> None:
        """Keep the tile list beside the study file, so that the folder can be handed on by itself."""
        path = self.study_folder(study.name) / "tiles.csv"
        _write(path, write_tiles(study, plan))

    def planned(self, name: str) -> tuple[Study, Plan]:
        """Return a study and its plan; raises NotEnoughError when it is not planned."""
        study = self.study(name)
        with self.book() as book:
            plan = book.plan(name)
        if plan is None:
            raise NotEnoughError(
                f'Study {name} has no plan yet. Type "tilestudy plan {name}", or "tilestudy enter {name}" if its folder has a tile list.'
            )
        self._check_factors(study, plan)
        return study, plan

    def _check_factors(self, study: Study, plan: Plan) -> None:
        """Refuse to go on when the study file has other factors than the plan and its records."""
        ours = {factor.name for factor in study.factors}
        theirs = {name for tile in plan.tiles for name in tile.settings}
        if ours == theirs:
            return
        new, gone = sorted(ours - theirs), sorted(theirs - ours)
        changed = [f"has {', '.join(new)}, which its plan does not"] if new else []
        changed += [f"has no {', '.join(gone)}, which its plan has"] if gone else []
        with self.book() as book:
            recorded = book.has_records(study.name)
        remedy = (
            "Put the factors back as they were (tiles were recorded with them), or start a new study."
            if recorded
            else f'Type "tilestudy plan {study.name}" to plan it anew.'
        )
        raise WrongRequestError(f"The study file of {study.name} {' and '.join(changed)}. {remedy}")

    def pack(self, name: str, paper: Paper | None = None) -> PackDone:
        """Print the bench pack and write the blank forms; raises HazardError while a blocking hazard stands."""
        study, plan = self.planned(name)
        blocking = [one for one in hazards(study) if one.level == "block"]
        if blocking:
            listed = "\n".join(f"  {one.says} {one.next}." for one in blocking)
            path = self.study_folder(name) / "study.toml"
            raise HazardError(
                f"The bench pack of {name} was not printed: {'a hazard stands' if len(blocking) == 1 else 'hazards stand'}.\n"
                f"{listed}\nResolve it at the bench, change the answer in {path}, then pack again. Safety data sheets, local "
                "codes and licensed practice come first."
            )
        from tilestudy.design.codes import deal_codes
        from tilestudy.paper.from_plan import bench_pack_content
        from tilestudy.paper.typeset import bench_pack

        settings = self.settings()
        with self.book() as book:
            taken = book.codes()
        spares = deal_codes(max(2, len(plan.batches) // 2), taken, Random(plan.seed + 1))
        content = bench_pack_content(
            study,
            plan,
            library.process(study.process),
            word=self.word(study),
            can_tell=self._report(study, plan, ()).sentences,
            spares=spares,
            studio=settings.studio,
            printed=self.today,
        )
        pdf = self._print(name, "bench-pack.pdf", bench_pack(content, paper or settings.paper))
        written, kept = self._write_forms(study, plan)
        open_questions = unanswered(study)
        notes = []
        if open_questions:
            several = len(open_questions) > 1
            notes.append(
                f"{f'{len(open_questions)} hazard questions are' if several else 'A hazard question is'} not answered yet in "
                f"study.toml, [bench]; {'they are printed as boxes' if several else 'it is printed as a box'} to tick before "
                "starting."
            )
        notes += [f"Caution: {one.says}" for one in hazards(study)]
        return PackDone(pdf, tuple(written), tuple(kept), tuple(notes))

    def _write_forms(self, study: Study, plan: Plan) -> tuple[list[Path], list[tuple[Path, int]]]:
        kinds = ["made", "batches"]
        kinds += ["colour"] if study.target else []
        kinds += ["values"] if study.responses else []
        kinds += ["rub"] if study.rub else []
        written: list[Path] = []
        kept: list[tuple[Path, int]] = []
        for kind in kinds:
            path = self.study_folder(study.name) / f"{kind}.csv"
            blank = forms.write_form(kind, study, _without_spoiled(plan))
            if path.exists() and not self._is_blank(kind, study, plan, path):
                text, added = forms.add_rows(forms.decode(path.read_bytes()), blank)
                if added:
                    _write(path, text)
                kept.append((path, added))
                continue
            _write(path, blank)
            written.append(path)
        return written, kept

    def _is_blank(self, kind: str, study: Study, plan: Plan, path: Path) -> bool:
        text = forms.decode(path.read_bytes())
        reading = forms.read_form(kind, text, path.name, study, plan, self.today, **self._reader_options(study))
        return not reading.records and not reading.bad_rows

    def _print(self, name: str, file: str, pdf: bytes) -> Path:
        path = self.reports / name / file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pdf)
        return path

    # --- what happened -------------------------------------------------------------------------------------------

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
        records = [(_corrected(there.get(record.key), record, given), None) for record, _ in reading.records]
        return self._store(study, {(kind, COMMAND_LINE, False): records})

    def read_form(self, kind: str, name: str, file: Path, *, keep_good: bool = False) -> Entered:
        """Store a filled form of one kind; a file of mended rows is renamed once all of it is stored."""
        study, plan = self.planned(name)
        entered = self._enter(study, plan, [_FormFile(kind, file)], keep_good)
        if file.name.endswith(MEND) and not entered.faults:
            file.replace(file.with_name(file.name.removesuffix(MEND) + MENDED))
            form = file.name.removesuffix(MEND)
            note = f"Correct or delete these rows in {form}.csv too, or enter will find them wrong there again."
            return replace(entered, notes=(*entered.notes, note))
        return entered

    def read_form_text(self, kind: str, name: str, raw: bytes, *, keep_good: bool = False) -> Entered:
        """Store a filled form given as bytes (standard input); rows to mend go into the study's folder."""
        study, plan = self.planned(name)
        file = self.study_folder(name) / f"{kind} from standard input.csv"
        return self._enter(study, plan, [_FormFile(kind, file, raw)], keep_good)

    def enter(self, name: str, *, keep_good: bool = False) -> Entered:
        """Take in the tile list and all filled forms in the study's folder; running it again changes nothing."""
        study = self.study(name)
        folder = self.study_folder(name)
        found, notes = self._sort_out(sorted(one for one in folder.iterdir() if one.is_file()))
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
            listed = self._read_tiles(study, lists[0])
            if plan is not None and not plan.taken_in:
                _check_same_tiles(plan, listed, lists[0])
            else:
                new_plan = listed
                stand_ins = tuple(tile for tile in plan.tiles if tile.replaces) if plan is not None else ()
                plan = replace(listed, tiles=(*listed.tiles, *stand_ins))
        if plan is None:
            raise NotEnoughError(
                f'Study {name} has no plan yet and {folder} no tile list. Type "tilestudy plan {name}".'
            )
        entered = self._enter(study, plan, [one for one in found if one.kind != "tiles"], keep_good, new_plan)
        return replace(entered, notes=(*notes, *entered.notes))

    def _sort_out(self, files: Sequence[Path]) -> tuple[list[_FormFile], list[str]]:
        """Tell which form each CSV is; a file that is none is named, not skipped in silence."""
        found, notes = [], []
        for file in files:
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
                notes.append(f"Not read: {file.name} is no form; its name should begin with tiles, {', '.join(KINDS)}.")
            else:
                found.append(_FormFile(kind, file))
        return found, notes

    def _enter(
        self, study: Study, plan: Plan, files: Sequence[_FormFile], keep_good: bool, new_plan: Plan | None = None
    ) -> Entered:
        """Read forms against a plan and store them with it, all or nothing (or, if asked, the good rows)."""
        other_series: Series | None = None
        order = {kind: number for number, kind in enumerate(KINDS)}
        read: list[tuple[_FormFile, forms.FormReading]] = []
        for one in sorted(files, key=lambda one: order[one.kind]):
            options = self._reader_options(study, one.path.name)
            options["series"] = options["series"] or other_series
            reading = forms.read_form(one.kind, one.text(), one.path.name, study, plan, self.today, **options)
            read.append((one, reading))
            if one.kind == "made":
                plan = _with_replacements(plan, [record for record, _ in reading.records])
            read_here = (record.series for record, _ in reading.records if isinstance(record, Reading))
            other_series = other_series or next(read_here, None)
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
        return replace(entered, blank_rows=blank, set_aside=aside, faults=told(faults))

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
                    notes.append(f"Tile list: {_taken_in(saved)}.")
            for (kind, source, is_form), records in rows.items():
                plan = book.plan(study.name)
                if plan is None:
                    raise NotEnoughError(f'Study {study.name} has no plan yet. Type "tilestudy plan {study.name}".')
                for tile in _replacements(plan, [record for record, _ in records]):
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
                measured = {r.tile for r in outcome.added if isinstance(r, Reading | Value | Rub)} & gone
                if measured:
                    notes.append(
                        f"Marked as spoiled, so kept but not used: what was measured of {', '.join(sorted(measured))}."
                    )
                outcomes[kind] = outcomes[kind] + outcome if kind in outcomes else outcome
        return Entered(study, outcomes, notes=notes)

    def _too_early(self, name: str, readings: Sequence[forms.FormReading]) -> list[Fault]:
        """Find measurements dated before their tile was made."""
        made = {one.tile: one.on for one in self._records(name)[0]}
        made |= {r.tile: r.on for reading in readings for r, _ in reading.records if isinstance(r, Made)}
        return [
            Fault(
                reading.file,
                line,
                f"tile {record.tile} was made on {made[record.tile].isoformat()}, so this of {record.on.isoformat()} cannot be "
                "right. Check both dates.",
            )
            for reading in readings
            for record, line in reading.records
            if isinstance(record, Reading | Value | Rub) and record.tile in made and record.on < made[record.tile]
        ]

    def _spoiled(self, name: str) -> set[str]:
        made = self._records(name)[0]
        return {one.tile for one in made if one.spoiled}

    def _reader_options(self, study: Study, file: str = "", correcting: str = "") -> dict[str, Any]:
        """What the form reader has to know beside the form: dates, units, protocols, viewing conditions, codes in use.

        Readings that came from `file` itself, or are of the tile that is being corrected, do not count, or a mistyped
        illuminant could not be mended.
        """
        with self.book() as book:
            kept = [one for one in book.current(study.name, "colour") if one.source != file]
            readings = [
                one.record for one in kept if getattr(one.record, "tile", "").casefold() != correcting.casefold()
            ]
            taken = book.codes()
        return {
            "date_order": self.settings().date_order,
            "parse": self._parse(study),
            "series": next((one.series for one in readings if isinstance(one, Reading)), None),
            "protocols": list(library.protocols()),
            "taken": taken,
        }

    def _read_tiles(self, study: Study, file: Path) -> Plan:
        reading = forms.read_tiles(forms.decode(file.read_bytes()), file.name, study, parse=self._parse(study))
        if reading.plan is None:
            raise FaultyFileError(reading.faults)
        return reading.plan

    def _parse(self, study: Study) -> Callable[[str, Factor], Setting]:
        density = library.process(study.process).density_g_per_ml
        return lambda text, factor: parse_setting(text, factor, density)

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

    def _records(self, name: str) -> tuple[list[Made], list[BatchLog], list[Reading], list[Value], list[Rub]]:
        with self.book() as book:
            every = [kept.record for kind in KINDS for kept in book.current(name, kind)]
        return (
            [one for one in every if isinstance(one, Made)],
            [one for one in every if isinstance(one, BatchLog)],
            [one for one in every if isinstance(one, Reading)],
            [one for one in every if isinstance(one, Value)],
            [one for one in every if isinstance(one, Rub)],
        )

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

    # --- what the tiles say --------------------------------------------------------------------------------------

    def drivers(self, name: str, stage: str | None = None) -> StudyFindings:
        """Analyse everything recorded: which factors drive colour, durability and the declared responses."""
        from tilestudy.analysis.study_findings import find

        if stage is not None and stage not in STAGES:
            raise WrongRequestError(f'There is no stage "{stage}". Stages: {", ".join(STAGES)}.')
        study, plan = self.planned(name)
        seen = study_as_planned(study, plan)  # effects run over the settings that were made, not those once thought of
        factors = [
            made if len(made.levels) > 1 else asked for made, asked in zip(seen.factors, study.factors, strict=True)
        ]
        study = replace(study, factors=tuple(factors))
        return find(study, plan, self.word(study), *self._records(name), stage=stage)

    def charts(self, found: StudyFindings) -> list[Path]:
        """Draw the charts of the findings as SVG files and return their paths."""
        from tilestudy.paper import charts
        from tilestudy.paper.from_findings import interaction_chart, main_effects_chart

        paths = []
        for name in found.responses:
            if name in ("a", "b"):
                continue  # lightness and the swatches show the colour; the two hue axes stand in the table
            effects, crossed = main_effects_chart(found, name), interaction_chart(found, name)
            if effects is not None:
                paths.append(self._print(found.study.name, f"{name}-main-effects.svg", charts.main_effects(effects)))
            if crossed is not None:
                paths.append(self._print(found.study.name, f"{name}-interaction.svg", charts.interaction(crossed)))
        return paths

    def handout(self, name: str, paper: Paper | None = None) -> Path:
        """Print the handout and return its path."""
        from tilestudy.paper.from_findings import handout_content
        from tilestudy.paper.typeset import handout

        found = self.drivers(name)
        made, _, readings, _, rubs = self._records(name)
        settings = self.settings()
        content = handout_content(
            found,
            library.process(found.study.process),
            readings,
            rubs,
            studio=settings.studio,
            printed=self.today,
            made_on=[one.on for one in made],
        )
        return self._print(name, "handout.pdf", handout(content, paper or settings.paper))


# --- small helpers ---------------------------------------------------------------------------------------------------


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise FaultyFileError(
            [Fault(str(path), None, "not UTF-8 text. Save it again as UTF-8 in your editor.")], after="It was not read."
        ) from error


def _write(path: Path, text: str) -> None:
    """Write a file whole or not at all."""
    beside = path.with_name(path.name + ".part")
    mark = "\ufeff" if path.suffix == ".csv" else ""  # so that spreadsheets read °C as °C
    beside.write_text(mark + text, encoding="utf-8")
    beside.replace(path)


@dataclass(frozen=True)
class _FormFile:
    """A form to read: its kind, its file, and its bytes where they do not lie in the file."""

    kind: str
    path: Path
    raw: bytes | None = None

    def text(self) -> str:
        return forms.decode(self.path.read_bytes() if self.raw is None else self.raw)


def _set_aside(form: Path, rows: str) -> Path:
    """Write rows to mend beside their form, under a name that no other rows have; what is being mended is never touched."""
    stem = form.name[: -len(form.suffix)].removesuffix(".mend")
    for number in range(1, 1000):
        path = form.with_name(f"{stem}{'' if number == 1 else f'-{number}'}{MEND}")
        if not path.exists():
            _write(path, rows)
            return path
        if _read(path) == rows:
            return path
    raise WrongRequestError(f"There are too many files {stem}-...{MEND} beside {form}. Deal with them first.")


def _taken_in(saved: PlanSaved) -> str:
    """Say what a tile list changed: 24 tiles taken in, 2 no longer listed."""
    parts = [f"{count(len(saved.added), 'tile')} taken in"]
    if saved.withdrawn:
        parts.append(f"{count(len(saved.withdrawn), 'tile')} dropped or changed, none of them with records")
    return ", ".join(parts)


def _without_spoiled(plan: Plan) -> Plan:
    """Leave out of a plan the tiles that a stand-in has replaced: they need no further row."""
    replaced = {tile.replaces for tile in plan.tiles}
    return replace(plan, tiles=tuple(tile for tile in plan.tiles if tile.code not in replaced))


def _same_layout(fresh: Plan, old: Plan) -> bool:
    """Return whether the old plan is the fresh one, stand-ins and what it was extended by left aside."""
    first = {batch.code for batch in fresh.batches}
    kept = tuple(tile for tile in old.tiles if tile.batch in first and not tile.replaces)
    return fresh.batches == old.batches[: len(first)] and fresh.tiles == kept


def _check_room(study: Study, fresh: Plan, made: Sequence[Tile]) -> None:
    """Refuse a new grid that, with the tiles made already, breaks the limits."""
    batches = {tile.batch for tile in made}
    for what, new, there, limit in (
        ("tile", len(fresh.tiles), len(made), study.limits.tiles),
        ("batch", len(fresh.batches), len(batches), study.limits.batches),
    ):
        if made and limit is not None and new + there > limit:
            raise PlanError(
                f"{count(there, what)} of {study.name} {'has' if there == 1 else 'have'} records and "
                f"{'stays' if there == 1 else 'stay'}; the new grid would add {count(new, what)}: {new + there} in all, limit "
                f"{limit}. Raise [limits], or put the study file back as it was."
            )


def _corrected(old: Record | None, new: Record, given: Mapping[str, str]) -> Record:
    """Take from the new record what was given, and the rest from the one it corrects."""
    if old is None:
        return new
    changes = {field: getattr(new, field) for field in given if hasattr(new, field)}
    if isinstance(old, Made | BatchLog) and isinstance(new, Made | BatchLog):
        changes["actual"] = {**old.actual, **new.actual}
    if changes.get("spoiled") is False:
        changes |= {"why": "", "replaced_by": ""}
    return replace(old, **changes)


def _check_same_tiles(plan: Plan, listed: Plan, file: Path) -> None:
    """A tile list beside a laid-out plan must agree with it."""
    ours = {tile.code: (tile.batch, dict(tile.settings)) for tile in plan.tiles}
    faults = []
    for tile in listed.tiles:
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


def _replacements(plan: Plan, records: Sequence[Record]) -> list[Tile]:
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
    return replace(plan, tiles=(*plan.tiles, *_replacements(plan, records)))
