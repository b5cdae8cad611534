"""A studio's folder: its files, settings and study book, and what every stage of the job asks of them."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from tilestudy.colour.names import colour_named
from tilestudy.errors import (
    Fault,
    FaultyFileError,
    NotEnoughError,
    WrongRequestError,
)
from tilestudy.study import forms
from tilestudy.study.file import check_study_name, read_study
from tilestudy.study.language import count
from tilestudy.study.measured import series_there
from tilestudy.study.records import (
    KINDS,
    PHOTO,
    BatchLog,
    Factor,
    Made,
    Plan,
    Reading,
    Rub,
    Setting,
    Study,
    Value,
)
from tilestudy.study.settings import StudioSettings, read_settings
from tilestudy.study.units import parse_setting
from tilestudy.trade.library import Library

if TYPE_CHECKING:
    from tilestudy.store.book import PlanSaved, StudyBook


COMMAND_LINE = "command line"
"""The source of records that were typed in, not read from a form."""
Paper = Literal["a4", "us-letter"]


class Folder:
    """Where a studio keeps its things."""

    def __init__(self, folder: Path | str = ".", now: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self.folder = Path(folder)
        self.experiments = self.folder / "experiments"
        self.reports = self.folder / "reports"
        self.now = now
        self._library: tuple[tuple[tuple[str, int], ...], Library] | None = None
        self._studies: dict[str, tuple[tuple[int, int, Library], Study]] = {}

    @property
    def today(self) -> date:
        """The day where the studio is."""
        return self.now().astimezone().date()

    def settings(self) -> StudioSettings:
        """Return the studio's settings; the defaults when it has none."""
        path = self.experiments / "studio.toml"
        return read_settings(read_text(path), str(path)) if path.exists() else StudioSettings()

    @property
    def library(self) -> Library:
        """What the trade knows, with the studio's own data of experiments/trade/; read anew when one of its files changes."""
        folder = self.experiments / "trade"
        state = tuple((str(path), path.stat().st_mtime_ns) for path in sorted(folder.rglob("*.toml")))
        if self._library is None or self._library[0] != state:
            self._library = (state, Library(folder))
        return self._library[1]

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
        """Read a study file, anew when it has changed; raises FaultyFileError with all its faults."""
        path, library = self.study_folder(name) / "study.toml", self.library
        written = path.stat()
        state = (written.st_mtime_ns, written.st_size, library)
        if name in self._studies and self._studies[name][0] == state:
            return self._studies[name][1]
        study = read_study(
            read_text(path),
            str(path),
            name,
            processes=library.process_ids,
            protocols=list(library.protocols),
            colour_named=colour_named,
            thickness_of=library.thickness_mm,
            questions_of=lambda one: (
                [ask["key"] for ask in library.process(one).data.get("ask", ())] if one in library.process_ids else []
            ),
            density_of=lambda one: library.process(one).density_g_per_ml if one in library.process_ids else None,
            steps=list(library.bench_steps),
        )
        self._studies[name] = (state, study)
        return study

    def word(self, study: Study) -> str:
        """Return what the bench of this study calls a batch."""
        return study.batch_word or self.library.process(study.process).batch_word

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

    def tiles_with_records(self, name: str) -> int:
        """Return how many tiles of a study have records."""
        with self.book() as book:
            return len(book.tiles_with_records(name))

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
        raise WrongRequestError(f"The study file of {study.name} {', and '.join(changed)}. {remedy}")

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

    def _spoiled(self, name: str) -> set[str]:
        made = self._records(name)[0]
        return {one.tile for one in made if one.spoiled}

    def _text(self, name: str) -> str:
        return read_text(self.study_folder(name) / "study.toml")

    def _print(self, name: str, file: str, pdf: bytes) -> Path:
        path = self.reports / name / file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(pdf)
        return path

    def _reader_options(self, study: Study, file: str = "", correcting: str = "") -> dict[str, Any]:
        """What the form reader has to know beside the form: dates, units, protocols, viewing conditions by series, codes in use.

        Readings that came from `file` itself, or are of the tile that is being corrected, do not count, or a mistyped
        illuminant could not be mended; readings from photos always do, since nobody types those.
        """
        with self.book() as book:
            kept = [one for one in book.current(study.name, "colour") if one.source != file]
            every = [one.record for one in kept if isinstance(one.record, Reading)]
            readings = [one for one in every if one.tile.casefold() != correcting.casefold() or one.instrument == PHOTO]
            taken = book.codes()
        return {
            "date_order": self.settings().date_order,
            "parse": self._parse(study),
            "series": series_there(readings),
            "protocols": list(self.library.protocols),
            "taken": taken,
        }

    def _read_tiles(self, study: Study, file: Path) -> Plan:
        reading = forms.read_tiles(forms.decode(file.read_bytes()), file.name, study, parse=self._parse(study))
        if reading.plan is None:
            raise FaultyFileError(reading.faults)
        return reading.plan

    def _parse(self, study: Study) -> Callable[[str, Factor], Setting]:
        density = self.library.process(study.process).density_g_per_ml
        return lambda text, factor: parse_setting(text, factor, density)


def read_text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise FaultyFileError(
            [Fault(str(path), None, "not UTF-8 text. Save it again as UTF-8 in your editor.")], after="It was not read."
        ) from error


def write_whole(path: Path, text: str) -> None:
    """Write a file whole or not at all."""
    beside = path.with_name(path.name + ".part")
    mark = "\ufeff" if path.suffix == ".csv" else ""  # so that spreadsheets read °C as °C
    beside.write_text(mark + text, encoding="utf-8")
    beside.replace(path)


def taken_in(saved: PlanSaved) -> str:
    """Say what a tile list changed: 24 tiles taken in, 2 no longer listed."""
    parts = [f"{count(len(saved.added), 'tile')} taken in"]
    if saved.withdrawn:
        parts.append(f"{count(len(saved.withdrawn), 'tile')} dropped or changed, none of them with records")
    return ", ".join(parts)
