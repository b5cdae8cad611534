"""Before the session: `hazards`."""

from __future__ import annotations

import click

from tilestudy.cli.app import cli, studio_of, tell, tell_json, tell_sentences


@cli.command()
@click.argument("name")
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON.")
@click.pass_context
def hazards(ctx: click.Context, name: str, as_json: bool) -> None:
    """Check what a study uses, in which order and where, against the hazard rules.

    It reads the recipe, the order of steps, shared tools, buckets, jars and places, metal and solder, the room, and the
    batch logs. Exit code 1 while something stops the bench pack.

    Example: tilestudy hazards plaques
    """
    found = studio_of(ctx).hazards(name)
    if as_json:
        tell_json(found.as_dict())
    else:
        tell_sentences([found.verdict])
        for heading, sentences in found.blocks():
            tell()
            tell(heading)
            tell_sentences(sentences, indent="  ")
        tell()
        tell_sentences([found.first])
    if found.blocking:
        ctx.exit(1)
