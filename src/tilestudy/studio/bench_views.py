"""What the bench page shows: today, the run sheet and the rub sheet as they stand, the board, a tile."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from math import log
from random import Random
from statistics import fmean, median

from tilestudy.colour.srgb import lab_to_hex
from tilestudy.design.sessions.dips import planned_dips
from tilestudy.errors import NotEnoughError, TilestudyError, WrongRequestError
from tilestudy.outcomes.bench import (
    Board,
    BoardRow,
    BoardTile,
    Dip,
    RubTask,
    RubTile,
    Run,
    RunBatch,
    RunTile,
    Setting,
    TilePage,
    ToDo,
)
from tilestudy.store.bench import BenchRows, DipRow
from tilestudy.studio.preparing import Preparing
from tilestudy.studio.recording import Recording
from tilestudy.studio.timing import Timing
from tilestudy.study.arrange import board_rows
from tilestudy.study.due import owed
from tilestudy.study.forms import cells_of
from tilestudy.study.language import capital, count, listed, title_of
from tilestudy.study.records import (
    STAGES,
    Batch,
    BatchLog,
    Kept,
    Lab,
    Made,
    Plan,
    Reading,
    Rub,
    Study,
    Tile,
    tiles_that_count,
)
from tilestudy.study.records import Setting as Value
from tilestudy.study.units import show, show_number

SOON = timedelta(hours=1)
"""So long before its end a bath is told of (assumed, no source)."""


class BenchViews(Timing, Preparing, Recording):
    """Shows studies to the people at the bench."""

    _starts: tuple[tuple[str, Plan, str], dict[str, str]] | None = None
    _paths: tuple[tuple[object, ...], tuple[str, ...]] | None = None

    def bench_studies(self) -> tuple[str, ...]:
        """Return the studies that have a plan, the youngest first."""
        with self.book() as book:
            names = [name for name in book.studies() if book.plan(name) is not None]
        return tuple(name for name in reversed(names) if (self.experiments / name / "study.toml").is_file())

    def bench_state(self, name: str) -> tuple[int, int, str]:
        """Return what changes whenever a study's findings may: its entries, its tiles, its file.

        Raises NotEnoughError when it has no plan.
        """
        _, plan = self.planned(name)
        with self.book() as book:
            return book.entries(name), len(plan.tiles), self._text(name)

    # --- today ------------------------------------------------------------------------------------------------------

    def bench_today(self, today: date | None = None) -> tuple[ToDo, ...]:
        """Return what a day asks for, late things first: sessions, baths near their end, what is to be read or rubbed.

        A study whose file cannot be read is told of in its place.
        """
        day = today or self.today
        found: list[ToDo] = []
        for name in self.bench_studies():
            try:
                found += self._todo_of(name, day)
            except TilestudyError as error:
                found.append(ToDo(name, "session", "This study cannot be shown", str(error), "next"))
        order = {"late": 0, "today": 1, "next": 2}
        return tuple(sorted(found, key=lambda one: order[one.when]))

    def _todo_of(self, name: str, day: date) -> list[ToDo]:
        study, plan = self.planned(name)
        word, (made, logs, readings, values, rubs) = self.word(study), self._records(name)
        found = [] if plan.taken_in else self._sessions_to_do(study, plan, made, word)
        found += self._baths_to_do(study, plan, logs, word)
        by_kind: dict[tuple[str, str], list[str]] = defaultdict(list)
        for one in owed(study, plan, made, readings, values, rubs, day):
            if one.late_days >= 0:
                by_kind[one.what, "late" if one.late_days else "today"].append(one.tile)
        for (what, when), tiles in by_kind.items():
            kind = "rub" if what.startswith("rub (") else "colour" if what.startswith("colour (") else "values"
            inside = what.partition("(")[2].rstrip(")")
            title = {"rub": f"Rub test, {inside}", "colour": f"Colour, {inside}"}.get(kind, capital(what))
            found.append(
                ToDo(
                    name,
                    kind,  # type: ignore[arg-type]
                    title,
                    f"{count(len(tiles), 'tile')}: {' '.join(tiles)}",
                    when,  # type: ignore[arg-type]
                    tuple(tiles),
                    condition=inside if kind == "rub" else "",
                    stage=inside if kind == "colour" else "",
                )
            )
        return found

    def _sessions_to_do(self, study: Study, plan: Plan, made: Iterable[Made], word: str) -> list[ToDo]:
        done = {one.tile for one in made}
        found = []
        for number in sorted({batch.session for batch in plan.batches}):
            tiles = [tile.code for tile in tiles_that_count(plan).tiles if tile.session == number]
            left = [code for code in tiles if code not in done]
            if not left:
                continue
            batches = len({tile.batch for tile in plan.tiles if tile.session == number})
            begun = len(left) < len(tiles)
            says = f"{count(len(tiles), 'tile')} in {count(batches, word)}"
            if begun:
                says = f"Begun: {count(len(left), 'tile')} of {len(tiles)} left"
            found.append(
                ToDo(
                    study.name,
                    "session",
                    f"Session {number}",
                    says,
                    "today" if begun else "next",
                    tuple(left),
                    session=number,
                )
            )
            if not begun:
                break  # the sessions after it wait for it
        return found

    def _baths_to_do(self, study: Study, plan: Plan, logs: Iterable[BatchLog], word: str) -> list[ToDo]:
        life, now = self.library.process(study.process).life_h, self._local_now()
        batches = {batch.code: batch for batch in plan.batches}
        found = []
        for log_ in logs:
            if life is None or log_.made_at is None or log_.discarded_at is not None or log_.batch not in batches:
                continue
            until = log_.made_at + timedelta(hours=life)
            if now < until - SOON:
                continue
            over = now >= until
            says = (
                f"past its life since {_when(until, now)}: put it out of use" if over else f"good until {until:%H:%M}"
            )
            found.append(
                ToDo(
                    study.name,
                    "bath",
                    f"{capital(word)} {log_.batch}",
                    capital(says),
                    "late" if over else "today",
                    session=batches[log_.batch].session,
                    batch=log_.batch,
                )
            )
        return found

    def _local_now(self) -> datetime:
        return self.now().astimezone().replace(tzinfo=None)

    # --- the run sheet --------------------------------------------------------------------------------------------------

    def bench_run(self, name: str, session: int) -> Run:
        """Return the run sheet of a session as it stands.

        Raises WrongRequestError for a session that the study does not have.
        """
        study, plan = self.planned(name)
        sessions = tuple(sorted({batch.session for batch in plan.batches}))
        if session not in sessions:
            raise WrongRequestError(f"{name} has no session {session}; it has {listed(list(map(str, sessions)))}.")
        process, check = self.library.process(study.process), self.hazards(name)
        with self.book() as book:
            made = {kept.record.key[0]: kept for kept in book.current(name, "made")}
            logs = {kept.record.key[0]: kept for kept in book.current(name, "batches")}
            dips: dict[str, list[DipRow]] = defaultdict(list)
            for dip in BenchRows(book).dips(name):
                dips[dip.tile].append(dip)
        starts = self._start_times(name, plan)
        mix = process.data.get("mix", {})
        return Run(
            name,
            title_of(name),
            session,
            sessions,
            self.word(study),
            study.invented,
            tuple(
                self._run_batch(study, plan, batch, made, logs.get(batch.code), dips, starts)
                for batch in plan.batches
                if batch.session == session and any(tile.batch == batch.code for tile in plan.tiles)
            ),
            never=mix.get("never", ""),
            discard=mix.get("discard", ""),
            spent=mix.get("spent", ""),
            cautions=tuple(one.says for one in check.findings if one.level != "block"),
            blocked=tuple(f"{one.says}{f' {one.next}.' if one.next else ''}" for one in check.blocking),
        )

    def _run_batch(
        self,
        study: Study,
        plan: Plan,
        batch: Batch,
        made: Mapping[str, Kept],
        kept: Kept | None,
        dips: Mapping[str, Sequence[DipRow]],
        starts: Mapping[str, str],
    ) -> RunBatch:
        life = self.library.process(study.process).life_h
        log_ = kept.record if kept is not None and isinstance(kept.record, BatchLog) else BatchLog(batch.code)
        use_by = log_.made_at + timedelta(hours=life) if log_.made_at is not None and life is not None else None
        return RunBatch(
            batch.code,
            _settings(study, batch.settings, per_tile=False),
            tuple(
                _run_tile(study, tile, made.get(tile.code), dips.get(tile.code, ()), starts.get(tile.code, ""))
                for tile in plan.tiles
                if tile.batch == batch.code
            ),
            log_.made_at,
            use_by,
            log_.discarded_at,
            log_.note,
            None if kept is None else kept.id,
            log_.by,
        )

    def _start_times(self, name: str, plan: Plan) -> dict[str, str]:
        """When each tile goes in by the timetable, for a study that says when a session starts; kept while the plan stays."""
        state = (name, plan, self._text(name))
        if self._starts is None or self._starts[0] != state:
            found: dict[str, str] = {}
            if not plan.taken_in and self.study(name).workplace.hours.start is not None:
                try:
                    for one in self.timetable(name, whole=True).sessions:
                        found |= {code: one.clock(times.start, False) for code, times in one.tiles.items()}
                except TilestudyError:  # then the page goes without
                    found = {}
            self._starts = (state, found)
        return self._starts[1]

    # --- the rub sheet --------------------------------------------------------------------------------------------------

    def bench_rub(self, name: str, condition: str, scorer: str) -> RubTask:
        """Return a scorer's own sheet: tiles in an order of the scorer's, with nobody else's grades.

        Raises
        ------
        WrongRequestError
            No rub test is asked for, or not under this condition.
        NotEnoughError
            No tile is made yet.
        """
        from tilestudy.paper.pack_from_plan import shuffled

        study, plan = self.planned(name)
        if study.rub is None or condition not in study.rub.conditions:
            asked = listed(study.rub.conditions) if study.rub else "no rub test at all"
            raise WrongRequestError(f"{name} asks for no {condition} rub test; it asks for {asked}.")
        protocol = self.library.protocols[study.rub.protocol]
        with self.book() as book:
            made = {
                kept.record.tile: kept.record
                for kept in book.current(name, "made")
                if isinstance(kept.record, Made) and not kept.record.spoiled
            }
            own = {
                kept.record.tile: kept
                for kept in book.current(name, "rub")
                if isinstance(kept.record, Rub)
                and (kept.record.scorer, kept.record.condition) == (scorer, condition)
                and kept.record.protocol == study.rub.protocol
                and kept.record.round == 1
            }
        turn = study.rub.conditions.index(condition) + 1
        numbers: dict[str, int] = {}
        for session in sorted({batch.session for batch in plan.batches}):
            codes = [tile.code for tile in tiles_that_count(plan).tiles if tile.session == session]
            numbers |= {code: place for place, code in enumerate(shuffled(plan, session, codes, turn), start=1)}
        tiles = [code for code in numbers if code in made]
        if not tiles:
            raise NotEnoughError(f"No tile of {name} is made yet, so there is nothing to rub.")
        Random(f"{plan.seed} {scorer} {condition}").shuffle(tiles)
        early = defaultdict(list)
        for code in tiles:
            due = made[code].on + timedelta(days=study.rub.wait_days)
            if due > self.today:
                early[due].append(code)
        return RubTask(
            name,
            title_of(name),
            scorer,
            condition,
            study.rub.conditions,
            protocol.label,
            protocol.lines(condition, study.rub.conditions),
            study.rub.passing,
            tuple(_rub_tile(code, numbers[code], own.get(code)) for code in tiles),
            tuple(f"Due on {day.isoformat()} only: {' '.join(sorted(codes))}." for day, codes in sorted(early.items())),
            study.invented,
        )

    def bench_to_grade(self, name: str, scorer: str) -> tuple[str, ...]:
        """Return the conditions of a study's rub test for which a scorer has to stay blind.

        That is while some of the tiles wait for this scorer's grade, who has begun, or for anybody's. Tiles not made yet wait
        too.
        """
        study, plan = self.planned(name)
        if study.rub is None:
            return ()
        made, _, _, _, rubs = self._records(name)
        spoiled = {one.tile for one in made if one.spoiled}
        tiles = {tile.code for tile in tiles_that_count(plan).tiles} - spoiled
        first = [one for one in rubs if one.protocol == study.rub.protocol and one.round == 1]
        found = []
        for condition in study.rub.conditions:
            graded = [one for one in first if one.condition == condition]
            own = {one.tile for one in graded if one.scorer == scorer}
            if tiles - (own or {one.tile for one in graded}):
                found.append(condition)
        return tuple(found)

    # --- the board ------------------------------------------------------------------------------------------------------

    def bench_board(self, name: str, stage: str = "", by: str = "factors") -> Board:
        """Return the sample board at a stage (the study's own by default), arranged by factors or along the path.

        Raises WrongRequestError for another stage or arrangement.
        """
        study, plan = self.planned(name)
        if by not in ("factors", "path"):
            raise WrongRequestError(f'A board is arranged by "factors" or by "path", not by "{by}".')
        made, logs, every, _, rubs = self._records(name)
        readings = [one for one in every if not one.series]
        stages = tuple(one for one in STAGES if one == study.stage or any(r.stage == one for r in readings))
        if stage and stage not in stages:
            raise WrongRequestError(f"No colour of {name} was read {stage}. There are: {listed(list(stages))}.")
        stage = stage or study.stage
        tiles = self._board_tiles(study, plan, made, logs, readings, rubs, stage)
        says = []
        if any(one.relative for one in tiles.values()):
            says.append(
                "Colours from photos without reference patches compare tiles of one photo; they are no true colours."
            )
        if missing := [one.code for one in tiles.values() if not one.colour and not one.spoiled]:
            says.append(f"Not read yet: {' '.join(missing)}.")
        if len(readings) < len(every) and not any(tile.colour for tile in tiles.values()):
            says.append("Colours are there in a series of another name only; the board shows the study's own.")
        rows: tuple[BoardRow, ...] = ()
        if by == "path":
            try:
                order = self._path(study, plan, tiles)
                rows = (BoardRow("From the earliest to the furthest", tuple(tiles[code] for code in order)),)
            except NotEnoughError as error:
                says.append(f"{error} They stand by their settings instead.")
        return Board(
            name,
            title_of(name),
            study.invented,
            self.library.metal_line(study.metal),
            stage,
            stages,
            "path" if rows else "factors",
            rows or _by_factors(study, plan, tiles, self.word(study)),
            tuple(says),
        )

    def _path(self, study: Study, plan: Plan, tiles: Mapping[str, BoardTile]) -> tuple[str, ...]:
        """The codes along the path of their colours; kept while the colours stay."""
        state = (study, plan, tuple((one.code, one.lab) for one in tiles.values()))
        if self._paths is None or self._paths[0] != state:
            self._paths = (state, tuple(one.code for one in _along_path(study, plan, tiles)))
        return self._paths[1]

    def _board_tiles(
        self,
        study: Study,
        plan: Plan,
        made: Iterable[Made],
        logs: Iterable[BatchLog],
        readings: Iterable[Reading],
        rubs: Iterable[Rub],
        stage: str,
    ) -> dict[str, BoardTile]:
        """The swatches of all tiles that count, at a stage."""
        of_tile = {one.tile: one for one in made}
        of_batch = {one.batch: one for one in logs}
        read: dict[str, list[Reading]] = defaultdict(list)
        for one in readings:
            if one.stage == stage:
                read[one.tile].append(one)
        grades = _grades(study, rubs)
        found = {}
        for tile in tiles_that_count(plan).tiles:
            log_, done = of_batch.get(tile.batch), of_tile.get(tile.code)
            really = {**tile.settings, **(log_.actual if log_ else {}), **(done.actual if done else {})}
            swatch = _swatch(study, tile, really, read.get(tile.code, []), grades.get(tile.code, {}))
            found[tile.code] = replace(swatch, spoiled=done is not None and done.spoiled)
        return found

    # --- a tile ---------------------------------------------------------------------------------------------------------

    def bench_tile(self, code: str) -> TilePage:
        """Return all of one tile, of whichever study has it.

        Raises WrongRequestError when no study has it.
        """
        for name in self.bench_studies():
            with self.book() as book:
                plan = book.plan(name)
            known = {tile.code.casefold(): tile for tile in plan.tiles} if plan is not None else {}
            if code.casefold() in known:
                return self._tile_page(name, known[code.casefold()])
        raise WrongRequestError(f'No study here has a tile "{code}". Look at the code on the back of the tile again.')

    def _tile_page(self, name: str, tile: Tile) -> TilePage:
        study, plan = self.planned(name)
        made, _, readings, values, rubs = self._records(name)
        mine = [one for one in readings if one.tile == tile.code and not one.series]
        at = {stage: [one for one in mine if one.stage == stage] for stage in STAGES}
        colours = [(stage, lab_to_hex(lab), lab) for stage, here in at.items() if (lab := _mean(here)) is not None]
        last = at[colours[-1][0]] if colours else []
        swatch = _swatch(study, tile, tile.settings, last, _grades(study, rubs).get(tile.code, {}))
        spoiled = any(one.spoiled for one in made if one.tile == tile.code)
        return TilePage(
            name,
            study.invented,
            replace(swatch, spoiled=spoiled),
            tile.session,
            tuple(reversed(self.history(name, tile.code).splitlines()[1:])),
            tuple(colours),
            tuple(
                (one.what, one.on)
                for one in owed(study, plan, made, readings, values, rubs, self.today)
                if one.tile == tile.code
            ),
        )


def _settings(study: Study, settings: Mapping[str, Value], *, per_tile: bool = True) -> tuple[Setting, ...]:
    """The settings for reading, in the study's order; without `per_tile` those of the batch and session only."""
    return tuple(
        Setting(one.name, one.label, show(settings[one.name], one), show_number(settings[one.name], one))
        for one in study.factors
        if one.name in settings and (per_tile or one.set_per != "tile")
    )


def _run_tile(study: Study, tile: Tile, kept: Kept | None, dips: Sequence[DipRow], start_at: str) -> RunTile:
    made = kept.record if kept is not None and isinstance(kept.record, Made) else None
    seconds, cycles = planned_dips(study, tile)
    if made is not None:
        state = "spoiled" if made.spoiled else "made"
    else:
        state = "in" if any(one.stopped is None for one in dips) else "between" if dips else "to make"
    return RunTile(
        tile.code,
        tile.order,
        _settings(study, tile.settings),
        tile.reference,
        tile.replaces,
        state,  # type: ignore[arg-type]
        seconds,
        cycles,
        tuple(Dip(one.cycle, one.started, one.stopped, one.stopped_by or one.started_by) for one in dips),
        start_at,
        None if kept is None else kept.id,
        made.by if made is not None else "",
        None if made is None else {key: value for key, value in cells_of(made, study).items() if value},
    )


def _rub_tile(code: str, number: int, kept: Kept | None) -> RubTile:
    if kept is None or not isinstance(kept.record, Rub):
        return RubTile(code, number)
    rub = kept.record
    return RubTile(code, number, rub.grade, rub.strokes, rub.broke_through, kept.id)


def _mean(readings: Sequence[Reading]) -> Lab | None:
    """The mean colour of readings under D65; None of none."""
    from tilestudy.analysis.colour.series import to_d65

    brought = [to_d65(one) for one in readings]
    if not brought:
        return None
    return (fmean(one.L for one in brought), fmean(one.a for one in brought), fmean(one.b for one in brought))


def _swatch(
    study: Study, tile: Tile, settings: Mapping[str, Value], readings: Sequence[Reading], grades: Mapping[str, float]
) -> BoardTile:
    """One tile as a swatch, from its readings at one stage."""
    lab = _mean(readings)
    mottles = [one.mottle for one in readings if one.mottle is not None]
    return BoardTile(
        tile.code,
        tile.batch,
        _settings(study, settings),
        lab_to_hex(lab) if lab else "",
        lab,
        grades,
        fmean(mottles) if mottles else None,
        relative=any(one.relative for one in readings),
    )


def _grades(study: Study, rubs: Iterable[Rub]) -> dict[str, dict[str, float]]:
    """The median grade of each tile under each condition, of the study's protocol and the first round: never pooled."""
    given: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for one in rubs:
        if study.rub is not None and one.protocol == study.rub.protocol and one.round == 1:
            given[one.tile][one.condition].append(one.grade)
    return {
        tile: {condition: median(many) for condition, many in sorted(conditions.items())}
        for tile, conditions in given.items()
    }


def _by_factors(study: Study, plan: Plan, tiles: Mapping[str, BoardTile], word: str) -> tuple[BoardRow, ...]:
    """A row for each per-batch setting, its tiles by their own settings, then by batch."""
    planned = {tile.code: tile.settings for tile in plan.tiles if tile.code in tiles}
    return tuple(
        BoardRow(heading, tuple(tiles[code] for code in codes))
        for heading, codes in board_rows(study, plan, planned, word)
    )


def _along_path(study: Study, plan: Plan, tiles: Mapping[str, BoardTile]) -> list[BoardTile]:
    """Tiles with a colour, in order along the smooth path through their colours; stronger, longer and more lies further on."""
    import numpy as np

    from tilestudy.analysis.colour.path import path_through

    seen = [tile for tile in tiles_that_count(plan).tiles if tile.code in tiles and tiles[tile.code].lab is not None]
    guide = np.zeros(len(seen))
    for factor in study.factors:
        numbers = [tile.settings.get(factor.name) for tile in seen]
        if not all(isinstance(one, int | float) for one in numbers) or len(set(numbers)) < 2:
            continue
        place: Callable[[float], float] = log if factor.spacing == "geometric" else float
        scale = np.array([place(float(one)) for one in numbers])  # type: ignore[arg-type]
        guide += (scale - scale.min()) / np.ptp(scale)
    path = path_through(np.array([tiles[tile.code].lab for tile in seen]), guide)
    order = np.argsort(path.stages, kind="stable")
    return [tiles[seen[place].code] for place in order]


def _when(at: datetime, now: datetime) -> str:
    return f"{at:%H:%M}" if at.date() == now.date() else f"{at:%Y-%m-%d %H:%M}"
