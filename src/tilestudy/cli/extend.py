"""After the first results: `extend` adds tiles to a study that has a plan."""

from __future__ import annotations

import click

from tilestudy.cli.app import cli, studio_of, tell, tell_json, tell_sentences


@cli.command()
@click.argument("name")
@click.option("--batches", type=int, help="Add so many freshly made batches of settings there are, the rarest first.")
@click.option("--mirror", is_flag=True, help="Add the mirror image of each tile: every factor at its other end.")
@click.option("--middle", is_flag=True, help="Add centre tiles: every factor in the middle of its range.")
@click.option(
    "--ends", is_flag=True, help="Add star tiles: each factor at its two ends, with the others in the middle."
)
@click.option("--repair", metavar="BATCH", default="", help="Make a failed batch again, its tiles with new codes.")
@click.option(
    "--tiles",
    type=int,
    help="Add the so many tiles that teach most beside those there; with --batches, in so many batches.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the grown plan as JSON, as plan does.")
@click.pass_context
def extend(
    ctx: click.Context,
    name: str,
    batches: int | None,
    mirror: bool,
    middle: bool,
    ends: bool,
    repair: str,
    tiles: int | None,
    as_json: bool,
) -> None:
    """Add tiles to a study that has a plan, one kind at a time.

    Existing tiles keep their codes and records. New batches are numbered on, in new sessions.

    \b
    Examples:
      tilestudy extend plaques --batches 3
      tilestudy extend plaques --repair B3
      tilestudy extend plaques --tiles 8 --batches 2
    """
    done = studio_of(ctx).extend(
        name, batches=batches, mirror=mirror, middle=middle, ends=ends, repair=repair, tiles=tiles
    )
    if as_json:
        tell_json(done.report.as_dict())
        return
    tell_sentences(done.sentences)
    tell()
    tell(done.table())
    tell()
    tell(f'Next: "{done.next_pack()}" prints the bench pack of these tiles and adds their rows to the forms.')
