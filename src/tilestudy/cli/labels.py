"""Before the bench: `labels`."""

from __future__ import annotations

import click

from tilestudy.cli.app import cli, note, studio_of, tell_sentences
from tilestudy.study.label_sheet import LABEL_KINDS, LabelKind


@cli.command()
@click.argument("name")
@click.option(
    "--kind",
    "kinds",
    type=click.Choice(LABEL_KINDS),
    multiple=True,
    help="What the labels are for; may be given again.  [default: all that the study has]",
)
@click.option("--session", "sessions", type=int, multiple=True, help="Only this session.  [default: all]")
@click.option("--tiles", default="", help="Only these tiles: codes with commas between.  [default: all not spoiled]")
@click.option(
    "--start",
    type=int,
    help="First free label of a part-used sheet, counted along the rows; for one kind.  [default: 1]",
)
@click.pass_context
def labels(
    ctx: click.Context,
    name: str,
    kinds: tuple[LabelKind, ...],
    sessions: tuple[int, ...],
    tiles: str,
    start: int | None,
) -> None:
    """Print labels for tiles, for their bags, for baths and for rubbed cloths.

    Sheets of labels are described by their dimensions in experiments/studio.toml, [labels]; without it, they come on a
    plain grid to cut.

    \b
    Examples:
      tilestudy labels plaques
      tilestudy labels plaques --kind tiles --session 1 --start 5
    """
    wanted = [code.strip() for code in tiles.split(",") if code.strip()]
    done = studio_of(ctx).labels(name, kinds, sessions, wanted, start)
    for text in done.notes:
        note(text)
    tell_sentences(done.sentences)
