"""Before the session: `new`, `plan`, `pack`."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import click

from tilestudy.cli.app import Paper, cli, note, studio_of, tell, tell_json, tell_sentences
from tilestudy.study.records import Choice


@cli.command()
@click.argument("name")
@click.option("--process", "process_id", required=True, help="Process, such as sulfide-dip or low-heat.")
@click.option(
    "--metal", required=True, help="UNS number of the sheet, such as C11000 (copper) or C26000 (yellow brass)."
)
@click.option("--gauge", default="20 ga", show_default=True, help='Sheet thickness: "20 ga" or "0.8 mm".')
@click.option("--lot", default="", help="Sheet lot, as the supplier's label has it.")
@click.pass_context
def new(ctx: click.Context, name: str, process_id: str, metal: str, gauge: str, lot: str) -> None:
    """Start a study: write its study file, ready to plan.

    Example: tilestudy new plaques --process sulfide-dip --metal C11000
    """
    path = studio_of(ctx).new(name, process_id, metal, gauge=gauge, lot=lot)
    tell(f"Wrote {path}.")
    tell(f'Read it and change what you like, then "tilestudy plan {name}".')


@cli.command()
@click.argument("name")
@click.option("--anew", is_flag=True, help="Add a whole new plan beside tiles that have records.")
@click.option("--seed", type=click.IntRange(0, 2**31), help="Seed of the random order; kept with the plan.")
@click.option(
    "--from",
    "tiles_file",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Take in tiles that exist already: a CSV with tile, batch and a column for each factor.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the plan as JSON.")
@click.pass_context
def plan(ctx: click.Context, name: str, anew: bool, seed: int | None, tiles_file: Path | None, as_json: bool) -> None:
    """Lay the tiles out over batches and sessions, and say what they will tell.

    Planning again keeps every tile that has records.

    Example: tilestudy plan plaques
    """
    studio = studio_of(ctx)
    report = studio.take_in(name, tiles_file) if tiles_file else studio.plan(name, seed, anew=anew)
    if as_json:
        tell_json(report.as_dict())
        return
    tell_sentences(report.sentences)
    tell()
    tell(report.table())
    tell()
    for line in report.kept:
        note(line)
    checked = studio.hazards(name)
    if checked.blocking:
        note(f'{checked.verdict} "tilestudy hazards {name}" says which.')
    if report.plan.taken_in:
        tell(
            f'Next: "tilestudy pack {name}" writes the forms to fill (and prints a bench pack), then "tilestudy enter {name}".'
        )
    else:
        tell(f'Next: "tilestudy pack {name}" prints the bench pack.')


@cli.command()
@click.argument("name")
@click.option("--tiles", type=click.IntRange(1), help="Try a plan of at most so many tiles.")
@click.option("--batches", type=click.IntRange(1), help="Try a plan of at most so many batches.")
@click.option("--sessions", type=click.IntRange(1), help="Try a plan of at most so many sessions.")
@click.option(
    "--choose",
    type=click.Choice([one for one in get_args(Choice) if one]),
    help="Try another kind of plan than the study file asks for.",
)
@click.option(
    "--worth",
    type=click.FloatRange(0, min_open=True),
    help="Change worth seeing, in the response's unit.  [default: 10 L* for colour, else 3 times the noise between tiles]",
)
@click.option("--chart/--no-chart", default=True, show_default=True, help="Draw how sure predictions would be.")
@click.option("--json", "as_json", is_flag=True, help="Print the appraisal as JSON.")
@click.pass_context
def appraise(
    ctx: click.Context,
    name: str,
    tiles: int | None,
    batches: int | None,
    sessions: int | None,
    choose: Choice | None,
    worth: float | None,
    chart: bool,
    as_json: bool,
) -> None:
    """Say all that a plan can and cannot tell, and what other plans would cost.

    Without limits given, the stored plan; with them, the plan that would be made. Nothing is stored.

    Example: tilestudy appraise plaques --tiles 24 --batches 6
    """
    from tilestudy.design import appraisal_words

    studio = studio_of(ctx)
    full = studio.appraise(name, tiles, batches, sessions, choose, worth)
    if as_json:
        tell_json(full.as_dict(appraisal_words.sentences(full)))
        return
    made = studio.tiles_with_records(name)
    if made:
        tell_sentences(
            [
                f"{made} {'tile' if made == 1 else 'tiles'} of {name} {'has' if made == 1 else 'have'} records, so its plan "
                'stands: other plans below are for a new study. To add to this one, see "tilestudy extend --help".'
            ]
        )
        tell()
    elif not full.stored:
        note(f'This plan is only tried, nothing is stored; "tilestudy plan {name}" makes one.')
    for heading, sentences in appraisal_words.blocks(full):
        tell(heading)
        tell_sentences(sentences, indent="  ")
        tell()
    if full.alternatives:
        tell("Other plans")
        tell(appraisal_words.table(full))
        tell()
        tell_sentences(appraisal_words.how_to_get_them(full), indent="  ")
    if chart and (path := studio.prediction_chart(full)):
        tell()
        tell(f"Chart: {path}")


@cli.command()
@click.argument("name")
@click.option("--paper", type=click.Choice(["a4", "us-letter"]), help="Paper size.  [default: the studio's, else a4]")
@click.option("--session", "sessions", type=int, multiple=True, help="Only this session.  [default: all]")
@click.pass_context
def pack(ctx: click.Context, name: str, paper: Paper | None, sessions: tuple[int, ...]) -> None:
    """Print the bench pack: batch cards, run sheet, rub sheet, cautions; and write the forms to fill.

    It refuses while a blocking hazard stands.

    \b
    Examples:
      tilestudy pack plaques --paper us-letter
      tilestudy pack plaques --session 3
    """
    done = studio_of(ctx).pack(name, paper, sessions)
    for text in done.notes:
        note(text)
    for pdf in done.pdfs:
        tell(f"Bench pack: {pdf}")
    for form in done.forms:
        tell(f"Form to fill: {form}")
    for form, added in done.forms_kept:
        rows = f", {added} {'row' if added == 1 else 'rows'} for new tiles added at its end" if added else ""
        tell(f"Form kept as it is, it holds entries{rows}: {form}")
    tell(f'After the session: fill the forms, then "tilestudy enter {name}".')
