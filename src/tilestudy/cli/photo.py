"""From a photo to colours: `photo`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tilestudy.cli.app import bar, cli, note, studio_of, tell, tell_json, tell_sentences
from tilestudy.errors import WrongRequestError

if TYPE_CHECKING:
    from tilestudy.outcomes import ClothsDone, PhotoDone

_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@cli.command()
@click.argument("name")
@click.argument("photos", nargs=-1, required=True, type=_FILE, metavar="PHOTO [PHOTO...]")
@click.option("--references", type=_FILE, help="CSV of the reference patches on the tray: patch,L,a,b.")
@click.option("--cloths", is_flag=True, help="Grade rubbed cloth swatches on a sheet for cloths, instead of tiles.")
@click.option(
    "--round", "number", type=click.IntRange(1), help="With --cloths: which rub test of the tiles.  [default: 1]"
)
@click.option("--stage", help="Stage of the tiles: fresh, cured, sealed ...  [default: the study's]")
@click.option("--empty", default="", help="Places left empty on purpose: codes with commas between.")
@click.option(
    "--series", default="", help="Keep the readings apart as a series of this name.  [default: the study's own]"
)
@click.option("--on", help="Day of the photo.  [default: as the picture says, else today]")
@click.option("--by", default="", help="Initials or a mark of who took it.")
@click.option("--json", "as_json", is_flag=True, help="Print the measured tiles as JSON.")
@click.pass_context
def photo(
    ctx: click.Context,
    name: str,
    photos: tuple[Path, ...],
    references: Path | None,
    cloths: bool,
    number: int | None,
    stage: str | None,
    empty: str,
    series: str,
    on: str | None,
    by: str,
    as_json: bool,
) -> None:
    """Measure and record the colours of tiles in a photo of a tray sheet.

    Two or three photos of one tray are averaged. Beside each photo a picture shows what was measured. When anything is
    wrong with a photo, nothing is stored.

    \b
    Examples:
      tilestudy photo plaques IMG_0412.jpg --references patches.csv
      tilestudy photo plaques IMG_0412.jpg IMG_0413.jpg --references patches.csv --stage sealed
      tilestudy photo plaques IMG_0420.jpg --references patches.csv --cloths
    """
    if cloths and (stage or series):
        raise WrongRequestError("--stage and --series are about the colour of tiles; leave them out with --cloths.")
    if number and not cloths:
        raise WrongRequestError("--round goes with --cloths.")
    left_out = [code.strip() for code in empty.split(",") if code.strip()]
    studio = studio_of(ctx)
    done: PhotoDone | ClothsDone
    with bar("Measuring") as progress:
        if cloths:
            done = studio.grade_cloths(
                name, photos, references, number=number or 1, on=on, by=by, empty=left_out, progress=progress
            )
        else:
            looked = studio.look_at(
                name,
                photos,
                references,
                stage=stage,
                on=on,
                by=by,
                series=series,
                empty=left_out,
                progress=progress,
            )
            done = studio.keep_looked(looked, photos)
    if as_json:
        tell_json(done.as_dict())
        return
    for text in done.notes:
        note(text)
    tell_sentences(done.sentences)
    tell()
    tell(done.table())
    tell()
    tell(done.kept)
    for path in done.drawn:
        tell(f"What was measured: {path}")
