"""After the readings are in: `drivers`, `handout`."""

from __future__ import annotations

import click

from tilestudy.cli.app import Paper, bar, cli, note, studio_of, tell, tell_json, tell_sentences


@cli.command()
@click.argument("name")
@click.option("--stage", help="Stage of the colour readings.  [default: the study's]")
@click.option("--series", help="Name of the series of colour readings.  [default: the study's own]")
@click.option("--charts/--no-charts", default=True, show_default=True, help="Draw the charts.")
@click.option("--deeper", is_flag=True, help="Write what stands behind the findings into a folder as well.")
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON.")
@click.pass_context
def drivers(
    ctx: click.Context, name: str, stage: str | None, series: str | None, charts: bool, deeper: bool, as_json: bool
) -> None:
    """Say which factors drive colour and durability, how much, and how sure that is.

    Example: tilestudy drivers plaques
    """
    studio = studio_of(ctx)
    with bar("Analysing") as progress:
        findings = studio.drivers(name, stage, progress, series=series)
    if as_json:
        tell_json(findings.as_dict())
        return
    for block in findings.blocks():
        tell(block.heading)
        tell_sentences(block.sentences, indent="  ")
        tell()
    tell(findings.table())
    tell()
    if charts:
        for path in studio.charts(findings):
            tell(f"Chart: {path}")
    if deeper:
        tell(f"Behind the findings (residuals, influence, checks): {studio.deeper(findings)}")
    choose = f'"tilestudy choose {name}", or ' if findings.study.target or findings.study.rub else ""
    note(f'Next: {choose}"tilestudy handout {name}". For the curious: --deeper.')


@cli.command()
@click.argument("name")
@click.option("--paper", type=click.Choice(["a4", "us-letter"]), help="Paper size.  [default: the studio's, else a4]")
@click.option("--series", help="Name of the series of colour readings.  [default: the study's own]")
@click.pass_context
def handout(ctx: click.Context, name: str, paper: Paper | None, series: str | None) -> None:
    """Print the handout for a class.

    Example: tilestudy handout plaques --paper us-letter
    """
    with bar("Analysing") as progress:
        path = studio_of(ctx).handout(name, paper, progress, series=series)
    tell(f"Handout: {path}")
