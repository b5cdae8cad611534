"""Before the session: `mix`."""

from __future__ import annotations

import click

from tilestudy.cli.app import cli, studio_of, tell, tell_json, tell_sentences


@cli.command()
@click.argument("name")
@click.option("--session", type=click.IntRange(min=1), help="Only this session.  [default: all]")
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
@click.pass_context
def mix(ctx: click.Context, name: str, session: int | None, as_json: bool) -> None:
    """Say what goes into each batch, how well that is known, and what to buy.

    Each batch is measured by itself where the scale is fine enough; where it is not, baths are poured from a stock
    solution. What the studio measures with stands in experiments/studio.toml under [measures] and [bottles].

    \b
    Examples:
      tilestudy mix plaques
      tilestudy mix plaques --session 2
    """
    found = studio_of(ctx).mixing(name, session)
    if as_json:
        tell_json(found.as_dict())
        return
    if not any(one.lines for one in found.batches):
        tell(f"Nothing is mixed for {name}: its process lists no ingredient, and its study file adds none.")
        if found.how:
            tell(f"How to set up a {found.word}:")
            tell_sentences(found.how, "  ")
        return
    if found.volume is not None:
        tell(f"Each {found.word}: {found.volume.text}.")
    tell_sentences(found.notes)
    for one in (*found.stocks, *found.batches):
        tell()
        head = one.code if one in found.stocks else f"{found.word} {one.code}"
        tell(f"{head[:1].upper()}{head[1:]} (session {one.session}){f': {one.settings}' if one.settings else ''}")
        for line in one.lines:
            tell_sentences([line.text], "  ")
            if line.known:
                tell_sentences([line.known], "    ")
    if found.how:
        tell()
        tell("How:")
        tell_sentences(found.how, "  ")
    if found.buy:
        tell()
        tell("To have in the house, for the whole study:")
        tell_sentences([one.text for one in found.buy], "  ")
