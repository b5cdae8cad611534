"""Photos of tray sheets: measured, stored as colour readings or cloth grades, and drawn so that a person sees what was measured."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from tilestudy.errors import NotEnoughError, PhotoError, TilestudyError, WrongRequestError, WrongTrayError
from tilestudy.outcomes import ClothsDone, PhotoDone, PhotosSeen
from tilestudy.studio.recording import Recording
from tilestudy.study import forms
from tilestudy.study.dates import read_date
from tilestudy.study.forms.measured import series_named
from tilestudy.study.language import listed
from tilestudy.study.measured import series_there
from tilestudy.study.progress import Progress, no_progress
from tilestudy.study.records import PHOTO, STAGES, Cloth, Lab, Reading, Record
from tilestudy.tray.references import References, read_references
from tilestudy.tray.sheet import MOST_TRAYS, Cell, Sheet, cloth_of, sheet_from_dict

if TYPE_CHECKING:
    from tilestudy.photo.cloth import ClothGraded, ClothReading
    from tilestudy.photo.measure import TileMeasured, TrayReading
    from tilestudy.photo.picture import Picture

T = TypeVar("T")

MOST_PHOTOS = 24
"""Photos measured in one call; more are a slip of the keyboard (a whole folder of pictures)."""


@dataclass(frozen=True)
class Looked:
    """What was measured in photos and is not stored yet: as people read it, as records, and a drawing (JPEG) of each photo."""

    seen: PhotosSeen
    records: tuple[Record, ...]
    drawings: tuple[bytes, ...]


class Photographing(Recording):
    """Measures tiles and cloths in photos."""

    def look_at(
        self,
        name: str,
        photos: Sequence[Path],
        references: Path | None = None,
        *,
        stage: str | None = None,
        on: str | None = None,
        by: str = "",
        series: str = "",
        empty: Sequence[str] = (),
        progress: Progress = no_progress,
    ) -> Looked:
        """Measure the colours of the tiles in photos of trays and draw what was measured; nothing is stored yet.

        Photos of one tray are averaged. All is refused unless every photo could be measured.

        Parameters
        ----------
        name : str
        photos : sequence of Path
            One or several trays of this study, up to three photos each.
        references : Path or None
            The file of the reference patches on the tray; None for a tray without any.
        stage : str, optional
            The study's own by default.
        on : str, optional
            Day of the photos; by default the day the pictures themselves tell, else today.
        empty : sequence of str
            Codes of places that were left empty on purpose; spoiled tiles need not be named.

        Raises
        ------
        TilestudyError
            With what is wrong in each photo.
        NotEnoughError
            When no tray sheet was printed.
        """
        study, _ = self.planned(name)
        stage = stage or study.stage
        if stage not in STAGES:
            raise WrongRequestError(f'There is no stage "{stage}". Stages: {", ".join(STAGES)}.')
        from tilestudy.photo.combine import combine
        from tilestudy.photo.draw import draw
        from tilestudy.photo.measure import measure

        self._check_series(name, series)
        sheets, patches = self._sheets(name, empty, cloths=False), _patches(references)
        seen = self._look(photos, lambda one: measure(one, sheets, patches), progress)
        day = self._day(on, [picture for picture, _ in seen])
        trays: list[TrayReading] = []
        records: list[Record] = []
        for number in sorted({reading.sheet.number for _, reading in seen}):
            together = combine([reading for _, reading in seen if reading.sheet.number == number])
            trays.append(together)
            records += [_reading(tile, together, stage, day, by, series, references) for tile in together.tiles]
        return Looked(PhotosSeen(study, stage, day, tuple(trays)), tuple(records), tuple(draw(*one) for one in seen))

    def keep_looked(self, looked: Looked, photos: Sequence[Path]) -> PhotoDone:
        """Store what was measured in these photos, and write the drawings beside them."""
        seen = looked.seen
        stored = self.store_measured(seen.study.name, "colour", looked.records, _source(photos))
        drawn = tuple(_beside(path, picture) for path, picture in zip(photos, looked.drawings, strict=True))
        return PhotoDone(seen.study, seen.stage, seen.day, seen.trays, stored, drawn)

    def grade_cloths(
        self,
        name: str,
        photos: Sequence[Path],
        references: Path | None = None,
        *,
        number: int = 1,
        on: str | None = None,
        by: str = "",
        empty: Sequence[str] = (),
        progress: Progress = no_progress,
    ) -> ClothsDone:
        """Grade the rubbed swatches in photos of cloth sheets by ISO 105-A04 and store the grades beside the scorers'.

        Parameters and errors are those of `look_at`; `number` counts the rub tests of a tile from 1. A second
        photo of a sheet replaces what the first told.
        """
        study, _ = self.planned(name)
        if study.rub is None:
            raise WrongRequestError(f"Study {name} asks for no rub test. Add [rub] to its study.toml first.")
        from tilestudy.photo.cloth import grade_cloths
        from tilestudy.photo.draw import draw

        sheets, patches = self._sheets(name, empty, cloths=True), _patches(references)
        seen = self._look(photos, lambda one: grade_cloths(one, sheets, patches), progress)
        if twice := _twice([reading.sheet.number for _, reading in seen]):
            raise WrongRequestError(f"Two of the photos show tray {twice}. Give one photo of each sheet of cloths.")
        day = self._day(on, [picture for picture, _ in seen])
        records: list[Record] = [
            _cloth(graded, reading, number, day, by, references) for _, reading in seen for graded in reading.cloths
        ]
        stored = self.store_measured(name, "cloths", records, _source(photos))
        drawn = tuple(_beside(path, draw(*one)) for path, one in zip(photos, seen, strict=True))
        return ClothsDone(study, day, tuple(reading for _, reading in seen), stored, drawn)

    def _check_series(self, name: str, series: str) -> None:
        """Refuse before anything is measured what a series of another instrument could not take in."""
        with self.book() as book:
            there = [kept.record for kept in book.current(name, "colour")]
        known = series_there([one for one in there if isinstance(one, Reading)])
        wanted = series_named(series, known)
        instrument = known[wanted][0] if wanted in known else PHOTO
        if instrument.casefold() != PHOTO:
            whose = f'The series "{wanted}" of {name}' if wanted else name
            raise WrongRequestError(
                f"{whose} has colours of {instrument or 'an instrument without a name'}. A photo is another instrument and is "
                "never mixed with them. Keep its colours beside them under a name: add --series "
                f"{'phone' if wanted.casefold() != 'phone' else 'photos'}."
            )

    def _sheets(self, name: str, empty: Sequence[str], *, cloths: bool) -> list[Sheet]:
        """The trays of a study, without the places that are empty: those named, and those of spoiled tiles.

        Sheets of the other kind (cloths, tiles) are among them, so that a photo of one is known for what it is.
        """
        with self.book() as book:
            printed = book.trays(name)
        newest = {(number - 1) % MOST_TRAYS: sheet_from_dict(number, content) for number, content in printed}
        sheets = list(newest.values())
        if not any(bool(one.cloths) == cloths for one in sheets):
            kind, option = ("cloths", " --cloths") if cloths else ("tiles", "")
            raise NotEnoughError(
                f"No tray sheet for {kind} of {name} was printed yet, so nothing in a photo could be told apart. "
                f'Type "tilestudy tray {name}{option}".'
            )
        places = {cell.code.casefold(): cell.code for one in sheets for cell in (*one.tiles, *one.cloths)}
        if unknown := [code for code in empty if code.casefold() not in places]:
            near = forms.nearest_codes(unknown[0], sorted(places.values()))
            hint = f" Did you mean {listed(near, 'or')}?" if near else ""
            raise WrongRequestError(f'There is no place "{unknown[0]}" on the trays of {name}.{hint}')
        gone = {code.casefold() for code in (*empty, *self._spoiled(name))}
        return [
            replace(
                one,
                tiles=tuple(cell for cell in one.tiles if cell.code.casefold() not in gone),
                cloths=tuple(cell for cell in one.cloths if not {cell.code.casefold(), _tile_of(cell)} & gone),
            )
            for one in sheets
        ]

    def _look(
        self, photos: Sequence[Path], measure: Callable[[Picture], T], progress: Progress
    ) -> list[tuple[Picture, T]]:
        """Measure every photo; what is wrong with any of them is told at once."""
        from tilestudy.photo.picture import open_picture

        if len(photos) > MOST_PHOTOS:
            raise WrongRequestError(
                f"{len(photos)} photos are more than are measured at once ({MOST_PHOTOS}). Give those of this study's trays."
            )
        contents: dict[bytes, Path] = {}
        for path in photos:
            same = contents.setdefault(sha256(path.read_bytes()).digest(), path)
            if same is not path:
                raise WrongRequestError(
                    f"{path.name} is the same photo as {same.name}{' given twice' if path == same else ''}; it would count double. "
                    "Give each photo once."
                )
        seen: list[tuple[Picture, T]] = []
        faults: list[str] = []
        for done, path in enumerate(photos):
            try:
                picture = open_picture(path)
                seen.append((picture, measure(picture)))
            except WrongTrayError as error:
                faults.append(f"{error}{self._whose(error.tray)}")
            except PhotoError as error:
                faults.append(str(error))
            progress((done + 1) / len(photos))
        if faults:
            nothing = "Nothing was stored." if len(photos) == 1 else "Nothing was stored, of the other photos neither."
            raise TilestudyError("\n".join([*faults, nothing]))
        return seen

    def _whose(self, tray: int) -> str:
        """Say whose tray it is, where the study book knows."""
        with self.book() as book:
            known = book.tray_of(tray)
        return f" Tray {tray} is of the study {known[0]}." if known else " This study book knows no such tray."

    def _day(self, on: str | None, pictures: Sequence[Picture]) -> date:
        """The day of the photos: as told, else as the pictures tell, else today."""
        if on:
            return read_date(on, self.today, self.settings().date_order)
        taken = {picture.taken for picture in pictures if picture.taken is not None}
        if len(taken) > 1:
            raise WrongRequestError(
                f"The photos were taken on different days ({listed([one.isoformat() for one in sorted(taken)])}). Give those "
                "of one day at a time, or say with --on which day counts."
            )
        return next(iter(taken), self.today)


def _patches(references: Path | None) -> References | None:
    return None if references is None else read_references(forms.decode(references.read_bytes()), references.name)


def _reading(
    tile: TileMeasured,
    tray: TrayReading,
    stage: str,
    day: date,
    by: str,
    series: str,
    references: Path | None,
) -> Reading:
    """One measured tile as a reading; colours rounded to what a photo can tell."""
    how = tray.calibrated
    detail = {
        "median": [round(one, 2) for one in tile.median],
        "colours": [[*(round(one, 1) for one in colour[:3]), round(colour[3], 2)] for colour in tile.colours],
        "glare": round(tile.glare, 3),
        "residual": round(how.residual, 2),
        "spread": None if tile.spread is None else round(tile.spread, 2),
        "photo": list(tray.photos),
        "tray": tray.sheet.number,
        "references": references.name if references else "",
    }
    L, a, b = _rounded(tile.lab)
    return Reading(
        tile.code,
        stage,
        day,
        L,
        a,
        b,
        instrument=PHOTO,
        geometry=how.kind,
        illuminant=how.illuminant,
        observer=how.observer,
        by=by,
        series=series,
        mottle=round(tile.mottle, 2),
        error=round(tray.error, 2),
        detail={key: value for key, value in detail.items() if value not in (None, "")},
    )


def _cloth(
    graded: ClothGraded, reading: ClothReading, number: int, day: date, by: str, references: Path | None
) -> Cloth:
    """One graded swatch as a record."""
    of = cloth_of(graded.code)
    assert of is not None  # clean swatches are not graded
    detail = {"photo": list(reading.photos), "tray": reading.sheet.number, "patches": reading.calibrated.kind}
    return Cloth(
        of[0],
        day,
        round(graded.grade, 2),
        _rounded(graded.stain),
        _rounded(graded.clean),
        condition=of[1],
        round=number,
        error=round(graded.error, 2),
        by=by,
        detail=detail | ({"references": references.name} if references else {}),
    )


def _rounded(lab: Lab) -> Lab:
    L, a, b = (round(one, 2) for one in lab)
    return L, a, b


def _twice(numbers: Sequence[int]) -> int | None:
    return next((one for one in numbers if numbers.count(one) > 1), None)


def _tile_of(cell: Cell) -> str:
    found = cloth_of(cell.code)
    return found[0].casefold() if found else ""


def _source(photos: Sequence[Path]) -> str:
    return ", ".join(sorted(one.name for one in photos))


def _beside(photo: Path, drawn: bytes) -> Path:
    """Write the drawing of what was measured beside a photo."""
    path = photo.with_name(f"{photo.stem}-measured.jpg")
    path.write_bytes(drawn)
    return path
