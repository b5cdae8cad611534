"""From findings to a recipe: `choose`, `confirm`, `next`."""

from __future__ import annotations

import click

from tilestudy.cli.app import bar, cli, note, studio_of, tell, tell_json, tell_sentences
from tilestudy.errors import WrongRequestError


@cli.command()
@click.argument("name")
@click.option("--stage", help="Stage of the colour readings.  [default: the study's]")
@click.option("--series", help="Name of the series of colour readings.  [default: the study's own]")
@click.option("--wishes", is_flag=True, help="Weigh every [[wish]] of the study file as well.")
@click.option("--chart/--no-chart", default=True, show_default=True, help="Draw closeness against durability.")
@click.option("--json", "as_json", is_flag=True, help="Print the choice as JSON.")
@click.pass_context
def choose(
    ctx: click.Context, name: str, stage: str | None, series: str | None, wishes: bool, chart: bool, as_json: bool
) -> None:
    """Choose the settings most likely to give the wanted colour and to survive the rub test.

    Only settings within what the tiles covered are looked at.

    Example: tilestudy choose plaques
    """
    studio = studio_of(ctx)
    with bar("Choosing") as progress:
        choice = studio.choose(name, stage=stage, by_wishes=wishes, series=series, progress=progress)
    if as_json:
        tell_json(choice.as_dict())
        return
    tell_sentences(choice.sentences())
    if chart and (path := studio.trade_off_chart(choice)) is not None:
        tell()
        tell(f"Chart: {path}")
    if choice.hopeful:
        note(f'Next: "tilestudy confirm {name}" plans confirmation tiles for choice 1 (--option 2 for another).')


@cli.command()
@click.argument("name")
@click.option("--option", type=int, help="Which of the settings that choose gives.  [default: 1]")
@click.option("--at", "at", multiple=True, metavar="FACTOR=SETTING", help="Settings of your own; others as chosen.")
@click.option("--series", help="Name of the series of colour readings.  [default: the study's own]")
@click.option("--wishes", is_flag=True, help="Choose by every [[wish]] of the study file as well.")
@click.option("--tiles", type=click.IntRange(1, 200), help="How many confirmation tiles.  [default: 4]")
@click.option("--batches", type=click.IntRange(1, 50), help="In how many fresh batches.  [default: 2]")
@click.option("--again", is_flag=True, help="Plan further confirmation tiles though some were planned before.")
@click.option("--json", "as_json", is_flag=True, help="Print the outcome as JSON.")
@click.pass_context
def confirm(
    ctx: click.Context,
    name: str,
    option: int | None,
    at: tuple[str, ...],
    series: str | None,
    wishes: bool,
    tiles: int | None,
    batches: int | None,
    again: bool,
    as_json: bool,
) -> None:
    """Plan confirmation tiles for chosen settings; later, compare how they came out with what was predicted.

    Confirmation tiles are made in fresh batches on a new day. Only confirmed settings become a recipe.

    \b
    Examples:
      tilestudy confirm plaques
      tilestudy confirm plaques --at "strength=4 g/L" --at "dip time=45 s" --tiles 6
    """
    studio = studio_of(ctx)
    asks = again or option is not None or bool(at) or tiles is not None or batches is not None
    if not asks and studio.claimed(name):
        done = studio.confirmations(name)
    else:
        settings = {}
        for text in at:
            key, equals, value = text.partition("=")
            if not equals or not key.strip() or not value.strip():
                raise WrongRequestError(f'--at "{text}" cannot be read; write it like "strength=4 g/L".')
            settings[key.strip()] = value.strip()
        with bar("Choosing") as progress:
            done = studio.confirm(
                name,
                option=1 if option is None else option,
                settings=settings,
                tiles=tiles,
                batches=batches,
                by_wishes=wishes,
                series=series,
                progress=progress,
            )
    if as_json:
        tell_json(done.as_dict())
        return
    tell_sentences(done.sentences())
    if done.planned is not None:
        tell()
        tell(done.planned.table())
        note(
            f'Next: "{done.planned.next_pack()}" prints their bench pack; "tilestudy confirm {name}" compares what came of it.'
        )


@cli.command("next")
@click.argument("name")
@click.option("--tiles", type=click.IntRange(1, 200), required=True, help="How many tiles.")
@click.option("--batches", type=click.IntRange(1, 50), help="In how many fresh batches.")
@click.option("--option", type=int, default=1, show_default=True, help="Near which of the settings that choose gives.")
@click.option("--series", help="Name of the series of colour readings.  [default: the study's own]")
@click.option("--look", is_flag=True, help="Say what they would buy, and add nothing.")
@click.option("--json", "as_json", is_flag=True, help="Print the grown plan as JSON, as plan does.")
@click.pass_context
def next_(
    ctx: click.Context,
    name: str,
    tiles: int,
    batches: int | None,
    option: int,
    series: str | None,
    look: bool,
    as_json: bool,
) -> None:
    """Add the tiles that would teach most about what is undecided: near the choice, or what could not be told apart.

    Example: tilestudy next plaques --tiles 6 --batches 2
    """
    with bar("Choosing") as progress:
        done = studio_of(ctx).next(
            name, tiles=tiles, batches=batches, option=option, look=look, series=series, progress=progress
        )
    if as_json:
        tell_json(done.report.as_dict())
        return
    tell_sentences(done.sentences)
    tell()
    tell(done.table())
    tell()
    if look:
        tell("Nothing was added; leave --look out to add them.")
    else:
        tell(f'Next: "{done.next_pack()}" prints the bench pack of these tiles and adds their rows to the forms.')
