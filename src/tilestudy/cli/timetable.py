"""Before the session: `timetable`."""

from __future__ import annotations

from datetime import datetime, time

import click

from tilestudy.cli.app import cli, studio_of, tell, tell_json, tell_sentences


@cli.command()
@click.argument("name")
@click.option("--session", "sessions", type=int, multiple=True, help="Only this session.  [default: all not yet made]")
@click.option(
    "--hands", type=click.IntRange(1, 9), help="Try so many pairs of hands.  [default: the study file's, else 1]"
)
@click.option("--start", metavar="HH:MM", help="Try this time of day.  [default: the study file's, else from 0:00]")
@click.option("--all", "whole", is_flag=True, help="All of the plan, tiles made already too.")
@click.option("--json", "as_json", is_flag=True, help="Print the timetable as JSON.")
@click.pass_context
def timetable(
    ctx: click.Context,
    name: str,
    sessions: tuple[int, ...],
    hands: int | None,
    start: str | None,
    whole: bool,
    as_json: bool,
) -> None:
    """Say when each batch is made up and each tile goes in and comes out, by the clock.

    Dips overlap where the hands allow. It says whether a session fits its time, what would make it fit, and what to leave
    out first when time runs out. Nothing is stored.

    \b
    Examples:
      tilestudy timetable plaques --start 18:30
      tilestudy timetable plaques --session 2 --hands 2
    """
    from tilestudy.design.sessions import words

    at = _time_of_day(start)
    found = studio_of(ctx).timetable(name, sessions, hands=hands, start=at, whole=whole)
    if as_json:
        tell_json(found.as_dict())
        return
    tell_sentences(found.says)
    for session in found.sessions:
        if found.says or session is not found.sessions[0]:
            tell()
        tell(words.heading(session, found.hands))
        for line in words.table(session, found.word, found.hands):
            tell(f"  {line}")
        tell_sentences([*session.says, *words.dropping(session)])
    tell()
    tell(f'Next: "tilestudy pack {name}" prints the bench pack.')


def _time_of_day(text: str | None) -> time | None:
    if text is None:
        return None
    try:
        return datetime.strptime(text.strip(), "%H:%M").time()
    except ValueError as error:
        raise click.BadParameter(f'"{text}" is no time of day; write it like 18:30.', param_hint="--start") from error
