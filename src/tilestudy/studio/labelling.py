"""Labels for tiles, bags, baths and cloths, on sheets of labels or a plain grid to cut."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from tilestudy.errors import NotEnoughError, WrongRequestError
from tilestudy.outcomes import LabelsDone, LabelsPrinted
from tilestudy.studio.packing import Packing
from tilestudy.study import forms
from tilestudy.study.label_sheet import LABEL_KINDS, PAGES, LabelKind, LabelSheet, plain_grid
from tilestudy.study.language import capital, listed
from tilestudy.study.records import Plan, Study, tiles_that_count
from tilestudy.study.settings import StudioSettings

if TYPE_CHECKING:
    from tilestudy.paper.pack_content import Face

ADDRESS = (
    "The QR codes carry the tile's code only. For codes that open a tile on the bench page, write where that page runs into "
    'experiments/studio.toml, above its first [table]: bench_address = "http://192.168.1.20:8765". Then print again.'
)


class Labelling(Packing):
    """Prints labels."""

    def labels(
        self,
        name: str,
        kinds: Sequence[LabelKind] = (),
        sessions: Sequence[int] = (),
        tiles: Sequence[str] = (),
        start: int | None = None,
    ) -> LabelsDone:
        """Print labels of the kinds, sessions and tiles asked for, a file for each kind; all that count when not told.

        Parameters
        ----------
        start : int, optional
            First free label of a part-used sheet, from 1; for one kind only.

        Raises
        ------
        NotEnoughError
            No plan, or no tile that counts.
        WrongRequestError
            Unknown session or tile, no rub test for cloths, labels too small, `start` beyond the page or for several kinds.
        """
        from tilestudy.paper.from_plan import masthead
        from tilestudy.paper.labels import heading, label_pages
        from tilestudy.paper.typeset import labels

        study, plan = self.planned(name)
        settings = self.settings()
        wanted = _kinds(study, kinds, tiles)
        if start is not None and len(wanted) > 1:
            raise WrongRequestError(
                f'--start is for one sheet of labels. Add one kind: "tilestudy labels {name} --kind tiles --start {start}".'
            )
        faces = self._faces(study, plan, settings, sessions, tiles)
        head = masthead(study, plan, settings.studio, self.today)
        named = [str(one) for one in sorted(set(sessions))]
        which = "-".join(named)
        where = f", {'session' if len(named) == 1 else 'sessions'} {listed(named)}" if named else ""
        first = 1 if start is None else start
        notes, laid = [], []
        for kind in wanted:
            sheet, note = _sheet(settings, kind, faces[kind])
            notes += [note] if note else []
            what = heading(kind, self.word(study))
            laid.append((sheet, label_pages(head, kind, what + where, sheet, faces[kind], first)))
        if not settings.bench_address and {"tiles", "bags"} & set(wanted):
            notes.append(ADDRESS)
        printed = []
        for sheet, content in laid:
            file = f"labels-{content.kind}{f'-session-{which}' if which else ''}.pdf"
            pdf = self._print(name, file, labels(content))
            many = len(faces[content.kind])
            printed.append(LabelsPrinted(capital(content.what), pdf, many, sheet, len(content.pages), first))
        return LabelsDone(tuple(printed), tuple(notes))

    def _faces(
        self, study: Study, plan: Plan, settings: StudioSettings, sessions: Sequence[int], asked: Sequence[str]
    ) -> dict[LabelKind, list[Face]]:
        """What each label says, by kind, for the sessions and tiles asked for."""
        from tilestudy.paper import labels as paper

        packs = self._packs(study, plan, sessions)
        spoiled = self._spoiled(study.name)
        every = [one for one in tiles_that_count(plan).tiles if one.session in packs and one.code not in spoiled]
        if not every:
            raise NotEnoughError(
                f'Every tile of {study.name} is spoiled, so there is none to label. "tilestudy made {study.name} CODE --spoiled '
                '--replace" deals a stand-in.'
            )
        wanted = _named(study.name, asked, [one.code for one in every])
        tiles = [one for one in every if one.code in wanted]
        carries = partial(paper.tile_address, settings.bench_address)
        due = next(iter(packs.values())).due
        process = self.library.process(study.process)
        caution = next(iter(process.data.get("caution", ())), None)
        return {
            "tiles": paper.tile_faces(tiles, self.word(study), carries),
            "bags": paper.bag_faces([one.code for one in tiles], due, carries),
            "baths": paper.bath_faces(
                [(number, batch.label) for number, pack in packs.items() for batch in pack.session.batches],
                paper.contents(study, process),
                (f"{caution['title']}. {caution['text']}",) if caution else (),
                next(iter(packs.values())).protection,
            ),
            "cloths": [
                face for pack in packs.values() for face in paper.cloth_faces(pack.rub_sheets) if face.code in wanted
            ],
        }


def _kinds(study: Study, asked: Sequence[LabelKind], tiles: Sequence[str]) -> tuple[LabelKind, ...]:
    """The kinds asked for; all that there are when none was, without baths where tiles were named."""
    if "cloths" in asked and study.rub is None:
        raise WrongRequestError(
            f"Study {study.name} asks for no rub test, so it has no rubbed cloths. Add [rub] to its study.toml, or leave out "
            "--kind cloths."
        )
    left_out = {"cloths"} if study.rub is None else set()
    left_out |= {"baths"} if tiles else set()
    return tuple(dict.fromkeys(asked)) or tuple(kind for kind in LABEL_KINDS if kind not in left_out)


def _sheet(settings: StudioSettings, kind: LabelKind, faces: Sequence[Face]) -> tuple[LabelSheet, str]:
    """The sheet for one kind, and why it is not that of all kinds."""
    from tilestudy.paper.labels import SIZES, too_small

    grid = plain_grid(PAGES[settings.paper], SIZES[kind])
    sheet = settings.labels.get(kind) or settings.labels.get("") or grid
    why = too_small(kind, sheet, faces)
    if not why or kind in settings.labels:
        return sheet, ""
    told = (
        f"{why} So they are printed on a plain grid to cut; [labels.{kind}] in experiments/studio.toml gives them a sheet of "
        "their own."
    )
    return grid, told


def _named(study: str, asked: Sequence[str], there: Sequence[str]) -> set[str]:
    """The codes that were asked for, all of them when none was; raises WrongRequestError for one that gets no label."""
    by_look = {code.casefold(): code for code in there}
    for code in asked:
        if code.casefold() not in by_look:
            near = forms.nearest_codes(code, there)
            hint = f"Did you mean {listed(near, 'or')}?" if near else f"There are: {' '.join(there)}."
            raise WrongRequestError(f'{study} has no tile "{code}" to label in the sessions asked for. {hint}')
    return {by_look[code.casefold()] for code in asked} or set(there)
