"""Before the bench: `cut`."""

from __future__ import annotations

import click

from tilestudy.cli.app import Paper, cli, note, studio_of, tell, tell_json, tell_sentences


@cli.command()
@click.argument("name")
@click.option("--paper", type=click.Choice(["a4", "us-letter"]), help="Paper size.  [default: the studio's, else a4]")
@click.option("--json", "as_json", is_flag=True, help="Print the cut plan as JSON.")
@click.pass_context
def cut(ctx: click.Context, name: str, paper: Paper | None, as_json: bool) -> None:
    """Plan how the tiles are cut from sheets and offcuts, what is stamped on each, what the metal weighs and costs.

    Reads [[sheet]] and [cutting] of the study file; tiles that are made already are left out, spares come on top.

    Example: tilestudy cut plaques
    """
    done = studio_of(ctx).cut_plan(name, paper)
    if as_json:
        tell_json(done.as_dict())
        return
    for text in done.notes:
        note(text)
    tell_sentences(done.sentences)
    tell()
    for line in done.how():
        tell(line)
    tell()
    tell_sentences(
        [f'Cut plan and stamp list: {done.pdf}. Next: print it, cut, stamp and drill, then "tilestudy pack {name}".']
    )
