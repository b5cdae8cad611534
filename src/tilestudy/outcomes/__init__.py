"""What the studio's methods hand back, as text for people and as plain values for JSON."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tilestudy.study.due import Due
from tilestudy.study.label_sheet import LabelSheet
from tilestudy.study.language import columns, count, listed
from tilestudy.study.records import PAPER_ONLY, BatchLog, Cloth, Kept, Made, Plan, Reading, Record, Rub, Study, Value
from tilestudy.study.units import plain_number, show, show_number, show_settings, show_unit
from tilestudy.tray.layout import codes_on
from tilestudy.tray.sheet import Sheet

if TYPE_CHECKING:
    from tilestudy.analysis.choice.confirm import Claim, Confirmation
    from tilestudy.design.appraise import Appraisal
    from tilestudy.photo.cloth import ClothReading
    from tilestudy.photo.measure import TrayReading
    from tilestudy.store.book import Outcome

_KIND_WORDS = {
    "made": ("tile made", "tiles made"),
    "batches": ("batch log", "batch logs"),
    "colour": ("colour reading", "colour readings"),
    "values": ("value", "values"),
    "rub": ("rub grade", "rub grades"),
    "cloths": ("cloth grade from a photo", "cloth grades from photos"),
}


@dataclass(frozen=True)
class PlanReport:
    """A plan, its appraisal and both in sentences; `kept` tells what happened to tiles that were there before."""

    study: Study
    plan: Plan
    word: str
    appraisal: Appraisal
    sentences: tuple[str, ...]
    kept: tuple[str, ...] = ()

    def table(self) -> str:
        """Return the run order, a line a tile, batch by batch."""
        factors = self.study.factors_set_per("tile")
        head = ["run", "tile", *(f"{f.label} {f'({show_unit(f.shown)})' if f.shown else ''}".strip() for f in factors)]
        lines = []
        for batch in self.plan.batches:
            settings = show_settings(batch.settings, self.study)
            lines.append(f"Session {batch.session}, {self.word} {batch.code}{f': {settings}' if settings else ''}")
            rows = [head]
            for tile in self.plan.tiles:
                if tile.batch == batch.code:
                    mark = " (reference)" if tile.reference else f" (for {tile.replaces})" if tile.replaces else ""
                    numbers = [show_number(tile.settings[factor.name], factor) for factor in factors]
                    rows.append([str(tile.order), tile.code + mark, *numbers])
            lines += [f"  {line}" for line in columns(rows)]
        return "\n".join(lines)

    def as_dict(self) -> dict[str, Any]:
        """Return the plan with stable keys."""
        return {
            "study": self.plan.study,
            "seed": self.plan.seed,
            "factors": [
                {"name": f.name, "unit": f.unit, "shown": f.shown, "set_per": f.set_per} for f in self.study.factors
            ],
            "tiles": [
                {
                    "code": tile.code,
                    "batch": tile.batch,
                    "session": tile.session,
                    "order": tile.order,
                    "settings": dict(tile.settings),
                    "reference": tile.reference,
                    "replaces": tile.replaces,
                }
                for tile in self.plan.tiles
            ],
            "batches": [
                {"code": b.code, "session": b.session, "order": b.order, "settings": dict(b.settings)}
                for b in self.plan.batches
            ],
            "appraisal": {
                "noise": asdict(self.appraisal.noise),
                "power": 0.8,
                "factors": [asdict(one) for one in self.appraisal.factors],
                "same_as": [list(pair) for pair in self.appraisal.same_as],
                "sentences": list(self.sentences),
            },
        }


@dataclass(frozen=True)
class Extended:
    """A study that has grown: the whole plan as it is now, what was added to it, and what that buys in sentences."""

    report: PlanReport
    added: Plan
    sentences: tuple[str, ...]

    def table(self) -> str:
        """Return the run order of what was added."""
        return replace(self.report, plan=self.added).table()

    def next_pack(self) -> str:
        """Return the command that prints the bench pack of what was added."""
        sessions = sorted({batch.session for batch in self.added.batches})
        return " ".join([f"tilestudy pack {self.added.study}", *(f"--session {one}" for one in sessions)])


@dataclass(frozen=True)
class Confirming:
    """Confirmation tiles that were planned with their claim, and every earlier claim with what came of it."""

    study: Study
    word: str
    compared: tuple[Confirmation, ...]
    planned: Extended | None = None
    claim: Claim | None = None

    def sentences(self) -> list[str]:
        """Say what is claimed and planned, or what came of each claim."""
        if self.claim is not None and self.planned is not None:
            return [*self.claim.sentences(self.study), *self.planned.sentences]
        return [sentence for one in self.compared for sentence in one.sentences(self.study, self.word)]

    def as_dict(self) -> dict[str, Any]:
        """Return it with stable keys."""
        return {
            "study": self.study.name,
            "claim": None if self.claim is None else self.claim.as_dict(),
            "confirmations": [one.as_dict() for one in self.compared],
            "plan": None if self.planned is None else self.planned.report.as_dict(),
        }


@dataclass(frozen=True)
class PackDone:
    """The bench packs' files, the forms written, forms kept because they hold entries (and rows added to them), and notes."""

    pdfs: tuple[Path, ...]
    forms: tuple[Path, ...]
    forms_kept: tuple[tuple[Path, int], ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class TraysDone:
    """The tray sheets of one call: their file, the paper, what lies on each, and the reference file or None."""

    study: str
    pdf: Path
    paper: str
    sheets: tuple[Sheet, ...]
    references: Path | None

    @property
    def notes(self) -> tuple[str, ...]:
        """What the person should know before printing."""
        if self.references is not None:
            return ()
        return (
            "These sheets have no reference patches, so a photo of them compares tiles with one another but gives no colour to "
            "choose settings by. With a grey card or a colour chart whose L*, a*, b* you know, write a file of them (patch,L,a,b) "
            "and add --references FILE.",
        )

    @property
    def sentences(self) -> tuple[str, ...]:
        """What lies on each sheet, and what to do next."""
        pages = count(len(self.sheets), "page")
        given = f" --references {self.references}" if self.references is not None else ""
        lying = "swatches" if self.sheets[0].cloths else "tiles"
        cloths = " --cloths" if self.sheets[0].cloths else ""
        return (
            f"Tray sheets: {self.pdf} ({pages}, {self.paper}).",
            *(f"Tray {sheet.number}: {codes_on(sheet)}." for sheet in self.sheets),
            f"Next: print at 100 %, measure the bar of 100 mm, lay the {lying} on and take the photo. Then "
            f'"tilestudy photo {self.study} PHOTO{cloths}{given}".',
        )


@dataclass(frozen=True)
class LabelsPrinted:
    """Labels of one kind: what they are called, their file, how many, their sheet, its pages, and the first one used."""

    what: str
    pdf: Path
    number: int
    sheet: LabelSheet
    pages: int
    start: int

    @property
    def text(self) -> str:
        """The file, what is in it, and the first label left free on a sheet that is not cut."""
        sheet = self.sheet
        width, height = (plain_number(side, 5) for side in sheet.label_mm)
        free = (self.start - 1 + self.number) % sheet.per_page + 1
        left = f" The first free label is then number {free}." if free > 1 and not sheet.outline else ""
        return (
            f"{self.what}: {self.pdf} ({self.number} of {width} x {height} mm, {sheet.columns} across and {sheet.rows} down, "
            f"{count(self.pages, 'page')}).{left}"
        )


@dataclass(frozen=True)
class LabelsDone:
    """The labels of one call, and what the person should know before printing."""

    printed: tuple[LabelsPrinted, ...]
    notes: tuple[str, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """What was printed, and what to do next."""
        cut = any(one.sheet.outline for one in self.printed)
        return (
            *(one.text for one in self.printed),
            f"Next: print at 100 %, without fitting to the page{'; cut along the lines' if cut else ''}.",
        )


@dataclass(frozen=True)
class PhotosSeen:
    """The colours of tiles in photos: the study, its stage, the day of the photos, and each tray (its photos averaged)."""

    study: Study
    stage: str
    day: date
    trays: tuple[TrayReading, ...]

    @property
    def notes(self) -> tuple[str, ...]:
        """What the person should know of the photos."""
        return tuple(dict.fromkeys(note for tray in self.trays for note in tray.notes))

    @property
    def sentences(self) -> tuple[str, ...]:
        """How far the colours can be trusted, a tray each."""
        return tuple(_trusted(tray) for tray in self.trays)

    def table(self) -> str:
        """Return a line for each tile: its colour, mottle and glare."""
        from tilestudy.colour.adaptation import adapt
        from tilestudy.colour.names import name_of

        rows = [["tile", "L*", "a*", "b*", "colour", "mottle", "glare"]]
        for tray in self.trays:
            how = tray.calibrated
            for tile in tray.tiles:
                name = "" if how.kind == PAPER_ONLY[1] else name_of(adapt(tile.lab, how.illuminant, how.observer))
                glare = f"{tile.glare:.0%}" if tile.glare >= 0.005 else ""
                rows.append([tile.code, *(_signed(one) for one in tile.lab), name, f"{tile.mottle:.1f}", glare])
        return "\n".join(columns(rows))


@dataclass(frozen=True)
class PhotoDone(PhotosSeen):
    """The same when it is stored: what was stored, and the drawings beside the photos."""

    stored: Entered
    drawn: tuple[Path, ...]

    @property
    def kept(self) -> str:
        """What was stored, and what it took the place of."""
        return _stored(self.stored)

    def as_dict(self) -> dict[str, Any]:
        """Return the measured tiles with stable keys."""
        return {
            "study": self.study.name,
            "stage": self.stage,
            "on": self.day.isoformat(),
            "trays": [
                {
                    "tray": tray.sheet.number,
                    "photos": list(tray.photos),
                    "references": tray.calibrated.kind,
                    "illuminant": tray.calibrated.illuminant,
                    "observer": tray.calibrated.observer,
                    "error": round(tray.error, 2),
                    "spread": None if tray.spread is None else round(tray.spread, 2),
                    "tiles": [
                        {
                            "tile": tile.code,
                            "lab": [round(one, 2) for one in tile.lab],
                            "median": [round(one, 2) for one in tile.median],
                            "mottle": round(tile.mottle, 2),
                            "colours": [[round(one, 3) for one in colour] for colour in tile.colours],
                            "glare": round(tile.glare, 3),
                        }
                        for tile in tray.tiles
                    ],
                }
                for tray in self.trays
            ],
            "notes": list(self.notes),
            "drawn": [str(one) for one in self.drawn],
        }


@dataclass(frozen=True)
class ClothsDone:
    """The grades of rubbed cloths in photos, what was stored, the drawings beside the photos."""

    study: Study
    day: date
    sheets: tuple[ClothReading, ...]
    stored: Entered
    drawn: tuple[Path, ...]

    @property
    def notes(self) -> tuple[str, ...]:
        """What the person should know of the photos."""
        return tuple(dict.fromkeys(note for sheet in self.sheets for note in sheet.notes))

    @property
    def sentences(self) -> tuple[str, ...]:
        """What was graded, how, and how sure that is."""
        graded = [cloth for sheet in self.sheets for cloth in sheet.cloths]
        worst = max(cloth.error for cloth in graded)
        return (
            f"{count(len(graded), 'cloth')} graded by colour against the clean ones beside them (ISO 105-A04: 5 is no stain, 1 "
            f"is heavy); expect a grade to be off by about {worst:.1f} or less. These grades stand beside the scorers', not "
            "among them.",
        )

    @property
    def kept(self) -> str:
        """What was stored, and what it took the place of."""
        return _stored(self.stored)

    def table(self) -> str:
        """Return a line for each cloth."""
        rows = [["cloth", "grade", "as half grade"]]
        for sheet in self.sheets:
            rows += [[one.code, f"{one.grade:.1f}", f"{one.half_grade:g}"] for one in sheet.cloths]
        return "\n".join(columns(rows))

    def as_dict(self) -> dict[str, Any]:
        """Return the graded cloths with stable keys."""
        return {
            "study": self.study.name,
            "on": self.day.isoformat(),
            "cloths": [
                {
                    "cloth": one.code,
                    "tray": sheet.sheet.number,
                    "grade": round(one.grade, 2),
                    "half_grade": one.half_grade,
                    "error": round(one.error, 2),
                    "stain": [round(value, 2) for value in one.stain],
                    "clean": [round(value, 2) for value in one.clean],
                }
                for sheet in self.sheets
                for one in sheet.cloths
            ],
            "notes": list(self.notes),
            "drawn": [str(one) for one in self.drawn],
        }


def _signed(value: float) -> str:
    """One decimal, a true minus sign, no minus nought."""
    return f"{round(value, 1) + 0.0:.1f}".replace("-", "\N{MINUS SIGN}")


def _stored(stored: Entered) -> str:
    """Say what photos stored; measured anew is told in a line, not tile by tile."""
    anew = sum(len(one.corrected) for one in stored.outcomes.values())
    if not anew:
        return stored.text()
    first = replace(stored, outcomes={kind: replace(one, corrected=()) for kind, one in stored.outcomes.items()})
    kept = any(one.added or one.unchanged for one in first.outcomes.values()) or stored.notes
    line = (
        f"Measured anew: {count(anew, 'reading')} {'takes' if anew == 1 else 'take'} the place of earlier photos', which are kept in "
        "the history. Photos that are to be averaged go into one call."
    )
    return "\n".join([*([first.text()] if kept else []), line])


def _trusted(tray: TrayReading) -> str:
    how = tray.calibrated
    photos = count(len(tray.photos), "photo")
    head = f"Tray {tray.sheet.number}, {count(len(tray.tiles), 'tile')} from {photos}"
    agree = "" if tray.spread is None else f" The photos differ from their mean by {tray.spread:.1f} (CIEDE2000)."
    if how.kind == PAPER_ONLY[1]:
        return (
            f"{head}, corrected by the paper only: relative, good for comparing these tiles with one another, no colour to choose "
            f"by.{agree}"
        )
    coarse = ", coarse" if how.kind == "grey card" else ""
    return (
        f"{head}, corrected by {'a ' if how.kind == 'grey card' else ''}{how.kind}{coarse}: expect a colour to be off by about "
        f"{tray.error:.1f} (CIEDE2000; 1 is just visible side by side).{agree}"
    )


@dataclass(frozen=True)
class Entered:
    """What an entry stored, corrected and found unchanged; rows still blank; rows set aside with their file."""

    study: Study
    outcomes: Mapping[str, Outcome]
    blank_rows: int = 0
    set_aside: Sequence[Path] = ()
    faults: Sequence[str] = ()
    notes: Sequence[str] = ()

    def text(self) -> str:
        """Say it in a few lines."""
        added = {kind: len(one.added) for kind, one in self.outcomes.items() if one.added}
        lines = [*self.notes]
        if added:
            lines.append(f"Stored: {', '.join(_counted(number, kind) for kind, number in added.items())}.")
        for outcome in self.outcomes.values():
            lines += [
                f"Corrected: {_correction(old, new, self.study)}. The old value is kept."
                for old, new in outcome.corrected
            ]
        unchanged = sum(one.unchanged for one in self.outcomes.values())
        if unchanged and not added and not any(one.corrected for one in self.outcomes.values()):
            lines.append(f"Nothing new: {unchanged} {'row was' if unchanged == 1 else 'rows were'} stored before.")
        elif unchanged:
            lines.append(f"Unchanged: {unchanged}.")
        if self.blank_rows:
            lines.append(f"Not filled in yet: {self.blank_rows} {'row' if self.blank_rows == 1 else 'rows'}.")
        if self.faults:
            lines.append(
                f"{len(self.faults)} {'fault' if len(self.faults) == 1 else 'faults'}; these rows were not stored:"
            )
            lines += [f"  {fault}" for fault in self.faults]
            lines += [f"Mend them in {path}, then read that file." for path in self.set_aside]
        return "\n".join(lines) or "Nothing to store: no filled row was found."


def _counted(number: int, kind: str) -> str:
    return f"{number} {_KIND_WORDS[kind][0 if number == 1 else 1]}"


def _correction(old: Kept, new: Record, study: Study) -> str:
    before, after = _fields(old.record, study), _fields(new, study)
    changes = [
        f"{name.replace('_', ' ')} {before.get(name) or 'blank'} to {after.get(name) or 'blank'}"
        for name in {**before, **after}
        if before.get(name, "") != after.get(name, "")
    ]
    return f"{_whose(new)}: {', '.join(changes)}"


def _whose(record: Record) -> str:
    if isinstance(record, BatchLog):
        return f"batch {record.batch}"
    if isinstance(record, Rub):
        again = f", round {record.round}" if record.round > 1 else ""
        return f"tile {record.tile}, {record.condition} rub by {record.scorer}{again}"
    if isinstance(record, Reading):
        apart = f', series "{record.series}"' if record.series else ""
        return f"tile {record.tile}, {record.stage} colour, spot {record.spot}{apart}"
    if isinstance(record, Cloth):
        again = f", round {record.round}" if record.round > 1 else ""
        return f"tile {record.tile}, cloth of the {record.condition} rub in a photo{again}"
    if isinstance(record, Value):
        return f"tile {record.tile}, {record.response}"
    return f"tile {record.tile}"


def _fields(record: Record, study: Study) -> dict[str, str]:
    """Return a record's fields as people read them, settings in the study's units."""
    found: dict[str, str] = {}
    for name, value in asdict(record).items():
        if name == "detail":
            found |= _from_photo(value)
            continue
        if name in ("mottle", "error"):
            name, value = "expected error" if name == "error" else name, None if value is None else f"{value:.2g}"
        elif name in ("stain", "clean"):
            value = " ".join(f"{one:.1f}" for one in value)
        elif isinstance(value, Mapping):
            factors = {factor.name: factor for factor in study.factors}
            value = ", ".join(
                f"{key.replace('_', ' ')} {show(one, factors[key]) if key in factors else one}"
                for key, one in value.items()
            )
        elif isinstance(value, bool):
            value = "yes" if value else "no"
        elif isinstance(value, datetime):
            value = f"{value:%Y-%m-%d %H:%M}"
        elif isinstance(value, float):
            value = plain_number(value, 6)
        found[name] = "" if value is None else str(value)
    return found


def _from_photo(detail: Mapping[str, Any]) -> dict[str, str]:
    """Return what a photo tells beside a colour or a grade, as people read it; the colours themselves stay in the book."""
    shown: dict[str, tuple[str, Callable[[Any], str]]] = {
        "glare": ("glare", lambda share: f"{100 * share:.0f} %"),
        "residual": ("fit residual", lambda value: f"{value:.2g}"),
        "spread": ("spread between photos", lambda value: f"{value:.2g}"),
        "photo": ("photo", lambda names: names if isinstance(names, str) else listed(names)),
        "tray": ("tray", str),
        "references": ("references", str),
    }
    return {word: say(detail[key]) for key, (word, say) in shown.items() if detail.get(key) not in (None, "", [])}


@dataclass(frozen=True)
class DueReport:
    """What is due on a day, and the next thing to fall due."""

    on: date
    items: tuple[Due, ...]
    coming: tuple[Due, ...]

    def text(self) -> str:
        """List it by study, thing and day."""
        lines = []
        key = lambda one: (one.study, one.on, one.what)  # noqa: E731
        for (study, day, what), group in groupby(sorted(self.items, key=key), key):
            tiles = [one.tile for one in group]
            late = (self.on - day).days
            when = (
                "due today"
                if late == 0
                else f"late by {late} {'day' if late == 1 else 'days'} (since {day.isoformat()})"
            )
            what = what.replace("_", " ")
            lines.append(
                f"{study}: {what}, {when}, {len(tiles)} {'tile' if len(tiles) == 1 else 'tiles'}: {' '.join(tiles)}"
            )
        if not lines:
            lines.append(f"Nothing is due on {self.on.isoformat()}.")
        if self.coming:
            first = min(self.coming, key=lambda one: one.on)
            many = Counter(one.on for one in self.coming)[first.on]
            lines.append(
                f"Next: {first.on.isoformat()}, {many} {'thing' if many == 1 else 'things'} to do in {first.study}."
            )
        return "\n".join(lines)

    def as_dict(self) -> dict[str, Any]:
        """Return it with stable keys."""
        return {
            "on": self.on.isoformat(),
            "due": [
                {"study": d.study, "tile": d.tile, "what": d.what, "on": d.on.isoformat(), "late_days": d.late_days}
                for d in self.items
            ],
        }


def history_text(study: Study, plan: Plan, code: str, kept: Iterable[Kept]) -> str:
    """Tell everything recorded of a tile, oldest first; a superseded record says what took its place."""
    tile = plan.tile(code)
    planned = show_settings(tile.settings, study)
    lines = [f"Tile {tile.code}, batch {tile.batch}, session {tile.session}, run {tile.order}. Planned: {planned}."]
    if tile.replaces:
        lines.append(f"It stands in for {tile.replaces}, which was spoiled.")
    entries = list(kept)
    for one in entries:
        said = ", ".join(
            f"{name.replace('_', ' ')} {value}"
            for name, value in _fields(one.record, study).items()
            if value and name not in ("tile", "batch") and (name, value) not in (("spoiled", "no"), ("round", "1"))
        )
        mark = f"  [superseded by #{one.superseded_by}]" if one.superseded_by else ""
        does = "takes back" if one.withdrawn else "corrects"
        mend = f" ({does} #{one.supersedes})" if one.supersedes else ""
        what = {Made: "made", BatchLog: "batch", Reading: "colour", Value: "value", Rub: "rub", Cloth: "cloth"}[
            type(one.record)
        ]
        lines.append(f"#{one.id}  {one.entered:%Y-%m-%d %H:%M} UTC  {what}{mend}: {said}; from {one.source}{mark}")
    if not entries:
        lines.append("Nothing is recorded of it yet.")
    return "\n".join(lines)
