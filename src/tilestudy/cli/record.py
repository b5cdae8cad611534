"""What really happened: `made`, `colour`, `values`, `rub`, `enter`; what is owed: `due`; what was said: `history`.

Each recording command takes a file (--from), one entry by options, or asks tile by tile. All three go through the same
form reader, so a typed entry is checked exactly as a filled form is.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import click

from tilestudy.cli.app import cli, note, studio_of, tell, tell_json
from tilestudy.errors import TilestudyError, WrongRequestError


def _common(command: Callable[..., None]) -> Callable[..., None]:
    for option in (
        click.pass_context,
        click.option("--keep-good", is_flag=True, help="Store the good rows; write the bad ones to a file to mend."),
        click.option(
            "--from",
            "file",
            type=click.Path(exists=True, dir_okay=False, allow_dash=True, path_type=Path),
            help="A filled form (CSV); - for standard input.",
        ),
        click.argument("tile", required=False),
        click.argument("name"),
    ):
        command = option(command)
    return command


def _record(
    ctx: click.Context,
    kind: str,
    name: str,
    tile: str | None,
    file: Path | None,
    keep_good: bool,
    cells: Mapping[str, str | None],
    ask: Mapping[str, str],
) -> None:
    """Store from a file, from options, or by asking tile by tile."""
    studio = studio_of(ctx)
    given = {key: value for key, value in cells.items() if value not in (None, "")}
    if file is not None:
        if tile or given:
            raise WrongRequestError("Give either a form with --from, or one tile and its values, not both.")
        if str(file) == "-":
            raw = sys.stdin.buffer.read()
            tell(studio.read_form_text(kind, name, raw, keep_good=keep_good).text())
        else:
            tell(studio.read_form(kind, name, file, keep_good=keep_good).text())
    elif tile or given:
        tell(studio.record(kind, name, {"tile": tile or "", **given}).text())
    else:
        _ask_tile_by_tile(ctx, kind, name, ask)


def _ask_tile_by_tile(ctx: click.Context, kind: str, name: str, ask: Mapping[str, str]) -> None:
    """Ask for one tile after another until an empty code; a value that cannot be read is asked again."""
    studio = studio_of(ctx)
    waiting = studio.waiting(kind, name)
    if waiting:
        note(f"Still without an entry: {', '.join(waiting)}.")
    note("An empty tile code ends; an empty answer leaves that blank.")
    kept: dict[str, str] = {}
    while True:
        tile = click.prompt("Tile", default="", show_default=False, err=True).strip()
        if not tile:
            return
        cells: dict[str, str] = {"tile": tile}
        for column, question in ask.items():
            sticky = column in ("on", "by", "scorer", "condition", "instrument", "geometry")
            default = kept.get(column, "") if sticky else ""
            answer = str(click.prompt(question, default=default, show_default=bool(default), err=True)).strip()
            if answer:
                cells[column] = answer
                kept[column] = answer
        try:
            tell(studio.record(kind, name, cells).text())
        except TilestudyError as error:
            note(str(error))
            note("Nothing was stored for this tile; enter it again.")


_ON = click.option("--on", help="Day it was done, such as 2026-11-24.  [default: today]")
_BY = click.option("--by", help="Initials or a mark, no names.")


@cli.command()
@_common
@click.option("--batch", help="Batch, when not the planned one; without a tile: the batch to note times for.")
@click.option("--actual", multiple=True, metavar="FACTOR=VALUE", help='What was really done, such as "dip_time=35 s".')
@click.option("--spoiled/--not-spoiled", default=None, help="The tile is spoiled; or it is good after all.")
@click.option("--why", help="Why it is spoiled.")
@click.option("--replace", is_flag=True, help="Plan a new tile in place of the spoiled one.")
@click.option("--replaced-by", help="Code of the spare tile that took its place.")
@click.option("--made-at", help='When the batch was made up, such as "2026-11-24 10:15".')
@click.option("--discarded-at", help="When the batch was discarded.")
@click.option("--note", "remark", help="A remark.")
@_ON
@_BY
def made(
    ctx: click.Context,
    name: str,
    tile: str | None,
    file: Path | None,
    keep_good: bool,
    batch: str | None,
    actual: tuple[str, ...],
    spoiled: bool | None,
    replace: bool,
    made_at: str | None,
    discarded_at: str | None,
    remark: str | None,
    **cells: Any,
) -> None:
    """Record what was done to a tile or a batch.

    \b
    Examples:
      tilestudy made plaques K7 --actual "dip_time=35 s"
      tilestudy made plaques K7 --spoiled --why "dropped" --replace
      tilestudy made plaques --batch B2 --made-at "2026-11-24 10:15"
      tilestudy made plaques --from made.csv
    """
    for pair in actual:
        factor, equals, value = pair.partition("=")
        if not equals:
            raise WrongRequestError(f'--actual "{pair}" cannot be read; write it like --actual "dip_time=35 s".')
        cells[f"actual_{factor.strip()}"] = value.strip()
    cells["note"] = remark
    if replace and (file is not None or not tile):
        raise WrongRequestError("--replace goes with one spoiled tile: tilestudy made NAME TILE --spoiled --replace.")
    if batch and not tile and file is None:
        for stray in ("on", "why", "replaced_by"):
            if cells.get(stray):
                raise WrongRequestError(f"--{stray.replace('_', '-')} goes with a tile, not with a batch alone.")
        times = {"made_at": made_at, "discarded_at": discarded_at}
        stored = {key: value for key, value in {**cells, **times, "batch": batch}.items() if value}
        tell(studio_of(ctx).record("batches", name, stored).text())
        return
    if made_at or discarded_at:
        raise WrongRequestError("--made-at and --discarded-at go with --batch and no tile.")
    if tile:
        if spoiled and replace and not cells.get("replaced_by"):
            cells["replaced_by"] = studio_of(ctx).spare_code(name, tile)
        cells["spoiled"] = {True: "yes", False: "no", None: None}[spoiled]
    ask = {
        "on": "Made on (empty for today)",
        "spoiled": "Spoiled? (yes, or empty)",
        "note": "Note",
        "by": "By (initials)",
    }
    _record(ctx, "made", name, tile, file, keep_good, {**cells, "batch": batch}, ask)


@cli.command()
@_common
@click.option("-L", "L", help="CIE L*.")
@click.option("-a", "a", help="CIE a*.")
@click.option("-b", "b", help="CIE b*.")
@click.option("--spot", help="Number of the spot on the tile, from 1.")
@click.option("--stage", help="Stage of the tile: fresh, cured, sealed ...  [default: the study's]")
@click.option("--instrument", help="Instrument; one in a series.")
@click.option("--geometry", help="Geometry, such as 45/0, d/8 SCI or d/8 SCE.")
@click.option("--illuminant", help="Illuminant.  [default: D65; of an instrument's file: as it says]")
@click.option("--observer", help="Observer, degrees.  [default: 10; of an instrument's file: as it says]")
@click.option("--series", help="Keep the readings apart as a series of this name.  [default: the study's own]")
@click.option(
    "--between",
    nargs=2,
    metavar="STAGE STAGE",
    help="Record nothing; show how far each tile's colour moved between two stages (ISO 105-A05).",
)
@click.option("--json", "as_json", is_flag=True, help="With --between: print as JSON.")
@_ON
@_BY
def colour(
    ctx: click.Context,
    name: str,
    tile: str | None,
    file: Path | None,
    keep_good: bool,
    between: tuple[str, str] | None,
    as_json: bool,
    **cells: str | None,
) -> None:
    """Record colour readings (L*a*b*), from an instrument's file too.

    Such a file is CSV or CGATS text. What it leaves open is asked for by naming the option that answers it.

    \b
    Examples:
      tilestudy colour plaques K7 -L 31.2 -a 8.4 -b 9.9
      tilestudy colour plaques --from colour.csv
      tilestudy colour plaques --from export.txt --geometry "d/8 SCI" --on 2026-11-24
      tilestudy colour plaques --between cured sealed
    """
    if between:
        series = cells.pop("series") or ""
        if tile or file or any(cells.values()):
            raise WrongRequestError("--between goes with --series and --json only: it shows, and records nothing.")
        found = studio_of(ctx).colour_change(name, *between, series=series)
        if as_json:
            tell_json(found.as_dict())
        else:
            tell(found.text())
        return
    if as_json:
        raise WrongRequestError("--json goes with --between.")
    if file is not None:
        _from_colour_file(ctx, name, tile, file, keep_good, {key: value for key, value in cells.items() if value})
        return
    ask = {
        "L": "L*",
        "a": "a*",
        "b": "b*",
        "spot": "Spot (empty for 1)",
        "on": "Read on (empty for today)",
        "instrument": "Instrument",
        "by": "By (initials)",
    }
    _record(ctx, "colour", name, tile, file, keep_good, cells, ask)


def _from_colour_file(
    ctx: click.Context, name: str, tile: str | None, file: Path, keep_good: bool, given: Mapping[str, str]
) -> None:
    """Store a colour form or an instrument's file; options fill in what it does not say."""
    from tilestudy.studio.instruments import Stated

    single = [f"-{key}" if len(key) == 1 else f"--{key}" for key in given if key in ("L", "a", "b", "spot")]
    if tile or single:
        raise WrongRequestError("Give either a file with --from, or one tile and its values, not both.")
    stated = Stated(**given)
    studio = studio_of(ctx)
    if str(file) == "-":
        raw = sys.stdin.buffer.read()
        tell(studio.read_form_text("colour", name, raw, keep_good=keep_good, stated=stated).text())
    else:
        tell(studio.read_form("colour", name, file, keep_good=keep_good, stated=stated).text())


@cli.command()
@_common
@click.option("--response", help="Which of the study's responses.  [default: the only one]")
@click.option("--value", help="The number.")
@click.option("--repeat", help="Number of the repeat, from 1.")
@_ON
@_BY
def values(
    ctx: click.Context, name: str, tile: str | None, file: Path | None, keep_good: bool, **cells: str | None
) -> None:
    """Record numbers of a response that the study declares.

    \b
    Examples:
      tilestudy values plaques K7 --response gloss --value 43
      tilestudy values plaques --from values.csv
    """
    ask = {"response": "Response (empty for the only one)", "value": "Value", "on": "On (empty for today)"}
    _record(ctx, "values", name, tile, file, keep_good, cells, ask)


@cli.command()
@_common
@click.option("--grade", help="1 to 5 in half steps; 5 = no stain.")
@click.option("--scorer", help="The scorer's initials or mark.")
@click.option("--condition", help="dry or wet.  [default: the study's only one]")
@click.option("--protocol", help="Rub protocol.  [default: the study's]")
@click.option("--strokes", help="Strokes to first bare metal, or those made without it.")
@click.option("--broke-through", help="yes or no: did bare metal show?")
@click.option("--round", help="Which rub test of this tile: 1, or 2 when it is tested again later.  [default: 1]")
@_ON
def rub(
    ctx: click.Context, name: str, tile: str | None, file: Path | None, keep_good: bool, **cells: str | None
) -> None:
    """Record rub grades.

    \b
    Examples:
      tilestudy rub plaques K7 --grade 4.5 --scorer KL
      tilestudy rub plaques K7 --grade 4 --scorer KL --round 2
      tilestudy rub plaques --from rub-KL.csv
    """
    ask = {
        "scorer": "Scorer's mark",
        "grade": "Grade (1 to 5 in half steps)",
        "condition": "dry or wet (empty for the study's only one)",
        "on": "On (empty for today)",
        "strokes": "Strokes to bare metal",
    }
    _record(ctx, "rub", name, tile, file, keep_good, cells, ask)


@cli.command()
@click.argument("name")
@click.option("--keep-good", is_flag=True, help="Store the good rows; write the bad ones to a file to mend.")
@click.pass_context
def enter(ctx: click.Context, name: str, keep_good: bool) -> None:
    """Read all filled forms in the study's folder in one go.

    Running it again changes nothing; a row that was changed in a form since is taken as a correction.

    Example: tilestudy enter plaques
    """
    tell(studio_of(ctx).enter(name, keep_good=keep_good).text())


@cli.command()
@click.argument("name", required=False)
@click.option("--on", "on", help="Day to look at, such as 2026-12-01.  [default: today]")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
@click.pass_context
def due(ctx: click.Context, name: str | None, on: str | None, as_json: bool) -> None:
    """List what is to be rub-tested or measured today, and what is late.

    Example: tilestudy due --on 2026-12-01
    """
    report = studio_of(ctx).due(name, on)
    if as_json:
        tell_json(report.as_dict())
    else:
        tell(report.text())


@cli.command()
@click.argument("name")
@click.argument("tile")
@click.pass_context
def history(ctx: click.Context, name: str, tile: str) -> None:
    """Show everything recorded of a tile, corrections and the values they superseded included.

    Example: tilestudy history plaques K7
    """
    tell(studio_of(ctx).history(name, tile))
