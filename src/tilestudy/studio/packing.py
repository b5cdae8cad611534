"""The bench pack and the forms to fill."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from itertools import islice
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

from tilestudy.errors import HazardError, WrongRequestError
from tilestudy.outcomes import PackDone
from tilestudy.studio.folder import Paper, write_whole
from tilestudy.studio.mixing import Mixes
from tilestudy.studio.preparing import Preparing
from tilestudy.studio.timing import Timing
from tilestudy.study import forms
from tilestudy.study.language import listed
from tilestudy.study.records import Plan, Study, tiles_that_count

if TYPE_CHECKING:
    from tilestudy.design.sessions import Timetable
    from tilestudy.paper.pack_content import BenchPack
    from tilestudy.trade.hazards.report import HazardReport


class Packing(Timing, Mixes, Preparing):
    """Prints what the bench needs."""

    def pack(self, name: str, paper: Paper | None = None, sessions: Sequence[int] = ()) -> PackDone:
        """Print the bench pack of each session, or of those given, and write the blank forms.

        Raises HazardError while a blocking hazard stands.
        """
        study, plan = self.planned(name)
        check = self.hazards(name)
        if check.blocking:
            raise HazardError(self._refusal(check))
        from tilestudy.paper.typeset import bench_pack

        settings, pdfs = self.settings(), []
        times = None if plan.taken_in else self.timetable(name, whole=True)
        for number, content in self._packs(
            study, plan, sessions, times=times, tells=self._report(study, plan, ()).sentences
        ).items():
            pdf = bench_pack(content, paper or settings.paper)
            pdfs.append(self._print(name, f"bench-pack-session-{number}.pdf", pdf))
        written, kept = self._write_forms(study, plan)
        notes = []
        if check.questions:
            several = len(check.questions) > 1
            notes.append(
                f"{f'{len(check.questions)} hazard questions are' if several else 'A hazard question is'} not answered yet in "
                f"study.toml, [bench]; {'they are printed as boxes' if several else 'it is printed as a box'} to tick before "
                "starting."
            )
        notes += [f"Signed off: {one.text}" for one in check.findings if one.level == "signed"]
        notes += [f"Caution: {one.says}" for one in check.findings if one.level == "warn"]
        return PackDone(tuple(pdfs), tuple(written), tuple(kept), tuple(notes))

    def _refusal(self, check: HazardReport) -> str:
        """Say why no pack is printed, and what to do next."""
        stands = "a hazard stands" if len(check.blocking) == 1 else "hazards stand"
        found = [f"  {one.id}: {one.says}{f' {one.next}.' if one.next else ''}" for one in check.blocking]
        sign = [one.id for one in check.blocking if one.may_sign]
        lines = [
            f"The bench pack of {check.study} was not printed: {stands}.",
            *found,
            f"Resolve it at the bench, bring {self.study_folder(check.study) / 'study.toml'} up to date, then pack again.",
            f"A person may answer for {listed(sign)} with initials and a reason: [[signed]] in that file."
            if sign
            else "",
            check.first,
        ]
        return "\n".join(line for line in lines if line)

    def _packs(
        self,
        study: Study,
        plan: Plan,
        sessions: Sequence[int],
        *,
        times: Timetable | None = None,
        tells: Sequence[str] = (),
    ) -> dict[int, BenchPack]:
        """Return what the bench packs say, by session: all of them when none is asked for.

        Without `times` no clock times stand in them, and without `tells` nothing of what the plan can tell.
        """
        from tilestudy.design.lots import lots, lots_of_spares
        from tilestudy.paper.labels import tile_address
        from tilestudy.paper.pack_from_plan import bench_pack_content

        there = sorted({batch.session for batch in tiles_that_count(plan).batches})
        if unknown := [one for one in sessions if one not in there]:
            known = f"session {there[0]}" if len(there) == 1 else f"sessions {there[0]} to {there[-1]}"
            raise WrongRequestError(f"{study.name} has no session {unknown[0]}; its plan has {known}.")
        settings = self.settings()
        check, mixing, spares = self.hazards(study.name), self.mixing(study.name), self._spares(plan)
        codes = [code for of_session in spares.values() for code in of_session]
        spare_lots = lots_of_spares(study, plan, codes) if len(lots(study)) > 1 else {}
        return {
            number: bench_pack_content(
                study,
                plan,
                number,
                self.library,
                mixing=mixing.session(number),
                check=check,
                times=times.session(number) if times else None,
                hands=times.hands if times else 1,
                word=self.word(study),
                can_tell=tells if number == there[0] else (),
                spares=spares[number],
                spare_lots=spare_lots,
                studio=settings.studio,
                printed=self.today,
                carries=partial(tile_address, settings.bench_address),
            )
            for number in sorted(set(sessions)) or there
        }

    def _spares(self, plan: Plan) -> dict[int, list[str]]:
        """Deal codes for spare tiles: two a session or more, other ones for each."""
        from tilestudy.design.codes import deal_codes
        from tilestudy.design.lots import spares_by_session

        with self.book() as book:
            taken = book.codes()
        each = spares_by_session(plan)
        codes = iter(deal_codes(sum(each.values()), taken, Random(plan.seed + 1)))
        return {session: list(islice(codes, many)) for session, many in sorted(each.items())}

    def _write_forms(self, study: Study, plan: Plan) -> tuple[list[Path], list[tuple[Path, int]]]:
        kinds = ["made", "batches"]
        kinds += ["colour"] if study.target else []
        kinds += ["values"] if study.responses else []
        kinds += ["rub"] if study.rub else []
        written: list[Path] = []
        kept: list[tuple[Path, int]] = []
        for kind in kinds:
            path = self.study_folder(study.name) / f"{kind}.csv"
            blank = forms.write_form(kind, study, tiles_that_count(plan))
            if path.exists() and not self._is_blank(kind, study, plan, path):
                text, added = forms.add_rows(forms.decode(path.read_bytes()), blank)
                if added:
                    write_whole(path, text)
                kept.append((path, added))
                continue
            write_whole(path, blank)
            written.append(path)
        return written, kept

    def _is_blank(self, kind: str, study: Study, plan: Plan, path: Path) -> bool:
        text = forms.decode(path.read_bytes())
        reading = forms.read_form(kind, text, path.name, study, plan, self.today, **self._reader_options(study))
        return not reading.records and not reading.bad_rows
