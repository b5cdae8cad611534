"""The bench pack and the forms to fill."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import islice
from pathlib import Path
from random import Random

from tilestudy.errors import HazardError, WrongRequestError
from tilestudy.outcomes import PackDone
from tilestudy.studio.folder import Paper, write_whole
from tilestudy.studio.planning import Planning
from tilestudy.study import forms
from tilestudy.study.records import (
    Plan,
    Study,
    tiles_that_count,
)
from tilestudy.trade.hazards import check, unanswered


class Packing(Planning):
    """Prints what the bench needs."""

    def pack(self, name: str, paper: Paper | None = None, sessions: Sequence[int] = ()) -> PackDone:
        """Print the bench pack of each session, or of those given, and write the blank forms.

        Raises HazardError while a blocking hazard stands.
        """
        study, plan = self.planned(name)
        there = sorted({batch.session for batch in plan.batches})
        if unknown := [one for one in sessions if one not in there]:
            raise WrongRequestError(
                f"{name} has no session {unknown[0]}; its plan has sessions {there[0]} to {there[-1]}."
            )
        self._refuse_hazards(study)
        from tilestudy.paper.pack_from_plan import bench_pack_content
        from tilestudy.paper.typeset import bench_pack

        settings = self.settings()
        spares, tells = self._spares(plan), self._report(study, plan, ()).sentences
        pdfs = []
        for number in sorted(set(sessions)) or there:
            content = bench_pack_content(
                study,
                plan,
                number,
                self.library,
                word=self.word(study),
                can_tell=tells if number == there[0] else (),
                spares=spares[number],
                studio=settings.studio,
                printed=self.today,
                at_hand=settings.at_hand,
            )
            pdf = bench_pack(content, paper or settings.paper)
            pdfs.append(self._print(name, f"bench-pack-session-{number}.pdf", pdf))
        written, kept = self._write_forms(study, plan)
        open_questions = unanswered(study, self.library)
        notes = []
        if open_questions:
            several = len(open_questions) > 1
            notes.append(
                f"{f'{len(open_questions)} hazard questions are' if several else 'A hazard question is'} not answered yet in "
                f"study.toml, [bench]; {'they are printed as boxes' if several else 'it is printed as a box'} to tick before "
                "starting."
            )
        notes += [f"Caution: {one.says}" for one in check(study, self.library)]
        return PackDone(tuple(pdfs), tuple(written), tuple(kept), tuple(notes))

    def _refuse_hazards(self, study: Study) -> None:
        blocking = [one for one in check(study, self.library) if one.level == "block"]
        if blocking:
            listed = "\n".join(f"  {one.says} {one.next}." for one in blocking)
            path = self.study_folder(study.name) / "study.toml"
            raise HazardError(
                f"The bench pack of {study.name} was not printed: {'a hazard stands' if len(blocking) == 1 else 'hazards stand'}.\n"
                f"{listed}\nResolve it at the bench, change the answer in {path}, then pack again. Safety data sheets, local "
                "codes and licensed practice come first."
            )

    def _spares(self, plan: Plan) -> dict[int, list[str]]:
        """Deal codes for spare tiles: two a session or more, other ones for each."""
        from tilestudy.design.codes import deal_codes

        with self.book() as book:
            taken = book.codes()
        each = Counter(batch.session for batch in plan.batches)
        codes = iter(deal_codes(sum(max(2, many // 2) for many in each.values()), taken, Random(plan.seed + 1)))
        return {session: list(islice(codes, max(2, each[session] // 2))) for session in sorted(each)}

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
