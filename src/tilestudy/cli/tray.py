"""Before the photo: `tray`."""

from __future__ import annotations

from pathlib import Path

import click

from tilestudy.cli.app import Paper, cli, note, studio_of, tell_sentences


@cli.command()
@click.argument("name")
@click.option(
    "--references",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="CSV of the reference patches that lie beside the tiles: patch,L,a,b.",
)
@click.option("--cloths", is_flag=True, help="Sheets for rubbed cloth swatches instead of tiles.")
@click.option("--tiles", default="", help="Only these tiles: codes with commas between.  [default: all not spoiled]")
@click.option("--paper", type=click.Choice(["a4", "us-letter"]), help="Paper size.  [default: the studio's, else a4]")
@click.pass_context
def tray(ctx: click.Context, name: str, references: Path | None, cloths: bool, tiles: str, paper: Paper | None) -> None:
    """Print the sheets on which tiles are photographed, so that "photo" can measure their colours.

    The squares in a sheet's corners carry its number, under which the study book keeps what lies where. The same
    request again prints the same sheets.

    \b
    Examples:
      tilestudy tray plaques --references patches.csv
      tilestudy tray plaques --cloths --references patches.csv
    """
    wanted = [code.strip() for code in tiles.split(",") if code.strip()]
    done = studio_of(ctx).tray_sheets(name, references, cloths=cloths, tiles=wanted, paper=paper)
    for text in done.notes:
        note(text)
    tell_sentences(done.sentences)
