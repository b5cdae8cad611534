"""Before the session: new studies, plans, appraisals, and studies that grow."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from tilestudy.errors import (
    PlanError,
    TilestudyError,
    WrongRequestError,
)
from tilestudy.outcomes import Extended, PlanReport
from tilestudy.study.file import check_study_name
from tilestudy.study.forms import write_tiles
from tilestudy.study.language import count
from tilestudy.study.records import (
    Plan,
    Study,
    Tile,
    tiles_that_count,
)
from tilestudy.study.settings import TEXT as SETTINGS_TEXT
from tilestudy.trade.template import study_text

if TYPE_CHECKING:
    from tilestudy.analysis.choice.confirm import Claim
    from tilestudy.design.appraise import Appraisal, Noise
    from tilestudy.design.extend import Request
    from tilestudy.design.full_appraisal import FullAppraisal
    from tilestudy.design.layout import Clock
    from tilestudy.study.records import Choice

from tilestudy.studio.findings import Findings
from tilestudy.studio.folder import COMMAND_LINE, taken_in, write_whole


class Planning(Findings):
    """Plans tiles and says what they will tell."""

    def new(self, name: str, process_id: str, uns: str, *, gauge: str = "20 ga", lot: str = "") -> Path:
        """Write a new study file with the process's defaults and return its path."""
        wrong = check_study_name(name)
        if wrong:
            raise WrongRequestError(wrong)
        self.library.process(process_id)
        uns = uns.upper()
        if self.library.metal_family(uns) == "unknown":
            raise WrongRequestError(
                f'"{uns}" is not a metal tilestudy knows. Give the UNS number: {", ".join(self.library.metals)}.'
            )
        if self.library.thickness_mm(gauge, uns) is None:
            raise WrongRequestError(f'--gauge "{gauge}" cannot be read; write it like "20 ga" or "0.8 mm".')
        path = self.experiments / name / "study.toml"
        if path.exists():
            raise WrongRequestError(f"{path} is there already and was left as it is. Choose another name, or edit it.")
        path.parent.mkdir(parents=True, exist_ok=True)
        settings = self.experiments / "studio.toml"
        if not settings.exists():
            write_whole(settings, SETTINGS_TEXT)
        write_whole(path, study_text(name, self.library, process_id, uns, gauge=gauge, lot=lot))
        return path

    def plan(self, name: str, seed: int | None = None, *, anew: bool = False) -> PlanReport:
        """Lay the study's grid out, store the plan and say what it will tell.

        Tiles with records are never discarded. Planning an unchanged study again changes nothing; planning a changed one
        whose tiles have records adds a whole plan beside them, and only when told to (`anew`).
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
                or _same_layout(self._ordered(study, old.seed, book.codes() - ours), old)
            ):
                if again == old.seed:
                    return self._report(
                        study, old, ("The plan stays as it was: the study file asks for the same tiles.",)
                    )
                if recorded:
                    raise WrongRequestError(
                        f"{count(len(recorded), 'tile')} of {name} {'has' if len(recorded) == 1 else 'have'} records, so the "
                        f"order is not drawn anew. The plan stays that of seed {old.seed}."
                    )
            fresh = self._ordered(study, again, book.codes() - (ours - recorded))
            if recorded and not anew:
                raise WrongRequestError(
                    f"{count(len(recorded), 'tile')} of {name} {'has' if len(recorded) == 1 else 'have'} records and "
                    f"{'stays' if len(recorded) == 1 else 'stay'}; the changed study file would add a whole plan of "
                    f'{count(len(fresh.tiles), "tile")} beside them. To add to what is made, see "tilestudy extend --help"; to '
                    f'add that plan all the same, type "tilestudy plan {name} --anew".'
                )
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

    def _ordered(self, study: Study, seed: int, taken: frozenset[str]) -> Plan:
        """Lay out, in a run order that ends in time where there is one."""
        from tilestudy.design.sessions.order import in_time

        return in_time(study, self._lay_out(study, seed, taken), self._clock(study))

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

    def take_in(self, name: str, file: Path) -> PlanReport:
        """Take in tiles that exist already, from a CSV: codes, batches, settings."""
        study = self.study(name)
        plan = self._read_tiles(study, file)
        with self.book() as book:
            saved = book.save_plan(name, plan, self._text(name), self.now())
        if file.resolve().parent != self.study_folder(name).resolve():
            self._write_tile_list(study, saved.plan)
        note = f"{taken_in(saved)}." if saved.changed else "These tiles were taken in before; nothing changed."
        return self._report(study, saved.plan, (note,))

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

        wanted = extend.asked(batches=batches, mirror=mirror, middle=middle, ends=ends, repair=repair, tiles=tiles)
        study, plan = self.planned(name)
        return self._add(study, plan, wanted)

    def _add(
        self,
        study: Study,
        plan: Plan,
        wanted: Request,
        claimed: Callable[[Sequence[Tile]], Claim] | None = None,
    ) -> Extended:
        """Add what is asked for to a plan, and say what it buys; a request that only looks adds nothing.

        What is `claimed` of the added tiles is kept with them, both or neither.
        """
        from tilestudy.design import extend
        from tilestudy.design.appraise import appraise
        from tilestudy.design.sessions.order import in_time

        name = study.name
        self._check_growing(plan, name)
        noise, word, (made, logs, *_) = self._noise(study), self.word(study), self._records(name)
        with self.book() as book:
            taken = book.codes()
        clock = self._clock(study)
        more = extend.extend(study, clock, plan, wanted, noise, made, logs, taken, word)
        alone = replace(plan, seed=more.seed, batches=more.batches, tiles=more.tiles)
        more = replace(more, tiles=in_time(study, alone, clock).tiles)
        marks = extend.marks(more, made, self.today, word)
        old, new = (extend.usable(one, [*made, *marks]) for one in (plan, more.grown(plan)))
        if wanted.near or wanted.unsure:
            buys = extend.bought_near(study, old, new, noise, wanted.near, wanted.unsure, word)
        else:
            before = appraise(study, old, noise) if old.tiles else None
            buys = extend.bought(study, before, appraise(study, new, noise))
        report = self._report(study, more.grown(plan), ())
        if not wanted.look:
            with self.book() as book, book.transaction():
                grown = book.add_batches(name, more.batches, more.tiles, self.now())
                book.record(name, "made", [(mark, None) for mark in marks], COMMAND_LINE, self.now())
                if claimed is not None:
                    book.add_claim(name, claimed(more.tiles).as_dict(), self.now())
            self._write_tile_list(study, grown)
        added = replace(plan, seed=more.seed, batches=more.batches, tiles=more.tiles)
        return Extended(report, added, (*more.says, *buys))

    def _check_growing(self, plan: Plan, name: str) -> None:
        if plan.taken_in:
            raise PlanError(
                f"The tiles of {name} were taken in from a list, and the list says which there are. Add a row for each new "
                f'tile to it, with a batch of its own for what is made afresh, then type "tilestudy plan {name} --from FILE".'
            )

    def _clock(self, study: Study) -> Clock:
        from tilestudy.design.layout import Clock

        process, hours = self.library.process(study.process), study.workplace.hours
        minutes = process.minutes
        return Clock(
            float(minutes["setup"] if hours.prepare is None else hours.prepare),
            float(minutes["clear"] if hours.clear_up is None else hours.clear_up),
            float(minutes["batch"]),
            float(minutes["tile"]),
            float(minutes.get("cycle", 0)),
            float(minutes.get("cool", 0)),
            int(process.data.get("together", 0)),
            heats=process.heat and not process.wet,
            life=None if process.life_h is None else 60 * process.life_h,
            hands=hours.hands,
        )

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
            plan = self._ordered(wished, seed, frozenset())
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
        from tilestudy.design.sessions.build import by_the_clock
        from tilestudy.design.textbook import KINDS as TEXTBOOK
        from tilestudy.design.textbook import lay_out_textbook, textbook_in_words

        word, noise, whole, plan = self.word(study), self._noise(study), plan, tiles_that_count(plan)
        appraisal = appraise(study, plan, noise)
        sentences = [*words.describe(study, plan, word), *words.tell(study, appraisal, plan, word)]
        if not plan.taken_in and self._whole_grid(study):
            sentences += self._what_more_would_buy(study, plan, appraisal, noise, word)
        elif not plan.taken_in and study.choose in TEXTBOOK:
            sentences += textbook_in_words(study, lay_out_textbook(study, self._clock(study), plan.seed))
        elif not plan.taken_in:
            sentences += chosen_in_words(study, lay_out_best(study, self._clock(study), plan.seed))
        sentences += by_the_clock(study, plan, self._clock(study), word)
        sentences += lots_in_words(study, plan)
        sentences.append(words.beyond(study, plan))
        return PlanReport(study, whole, word, appraisal, tuple(sentences), kept)

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
        write_whole(path, write_tiles(study, plan))


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
