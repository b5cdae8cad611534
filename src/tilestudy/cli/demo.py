"""`demo`: the whole job on an invented study, each step shown with the command that a user would type."""

from __future__ import annotations

import re
import shlex
import shutil
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tilestudy.cli.app import cli, note, tell
from tilestudy.errors import TilestudyError, WrongRequestError

if TYPE_CHECKING:
    from tilestudy.study.records import Plan

NAME = "plaques"
FIRST_SESSION_DAYS_AGO = 24


@cli.command()
@click.option(
    "--into",
    default="tilestudy-demo",
    show_default=True,
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder to make; it must not exist yet, or be an earlier demo.",
)
@click.pass_context
def demo(ctx: click.Context, into: Path) -> None:
    """Run the whole job on an invented study, from plan to handout.

    Copper house-number plaques in a sulfide dip: strength per bath, dip time and scrub cycles per tile. All results are
    invented.
    """
    folder = _fresh(Path(ctx.obj) / into)
    tell("The whole job on an invented study: copper house-number plaques in a sulfide dip. All results are made up.")
    tell(f"Folder: {folder}. Each line after $ is what you would type there.")
    walk_through(folder, date.today())
    tell()
    for pdf in sorted((folder / "reports" / NAME).glob("bench-pack-*.pdf")):
        tell(f"Bench pack: {pdf}")
    tell(f"Handout:    {folder / 'reports' / NAME / 'handout.pdf'}")


def _fresh(folder: Path) -> Path:
    mark = folder / "experiments" / NAME / "study.toml"
    if folder.exists() and any(folder.iterdir()):
        if not mark.is_file() or "invented = true" not in mark.read_text(encoding="utf-8-sig"):
            raise WrongRequestError(f"{folder} is there and is not an earlier demo. Name another folder with --into.")
        shutil.rmtree(folder)
        note(f"An earlier demo in {folder} was replaced.")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def walk_through(folder: Path, today: date) -> None:
    """Run every step in a folder, on days up to today; what the class does in between is invented."""
    from tilestudy.cli.invented import invent, session_day
    from tilestudy.studio import Studio

    day = today - timedelta(days=FIRST_SESSION_DAYS_AGO + 3)
    studio = Studio(folder, now=lambda: _at_noon(day))
    study_folder = folder / "experiments" / NAME

    def run(*words: str) -> None:
        tell()
        tell(f"$ tilestudy {shlex.join(words)}")
        _command(folder, words, day)

    def later(text: str) -> None:
        tell()
        tell(f"  ({text})")

    run("new", NAME, "--process", "sulfide-dip", "--metal", "C11000", "--lot", "2026-A")
    study_file = study_folder / "study.toml"
    study_file.write_text(_edited(study_file.read_text(encoding="utf-8-sig")), encoding="utf-8")
    tell("  (In the study file: marked as invented, the bench questions answered; room, hours and a sheet filled in.)")
    run("plan", NAME, "--seed", "7")
    run("hazards", NAME)
    run("cut", NAME)
    run("mix", NAME, "--session", "1")
    run("timetable", NAME, "--session", "1")
    run("pack", NAME)

    study, plan = studio.planned(NAME)
    first = today - timedelta(days=FIRST_SESSION_DAYS_AGO)
    results = invent(study, plan, first, studio.spare_code(NAME, ""))
    last = day = session_day(first, max(batch.session for batch in plan.batches))
    later("Two sessions later somebody has typed the run sheets into made.csv and batches.csv.")
    fill_form(study_folder, "made", results.made, ("tile",))
    fill_form(study_folder, "batches", results.batches, ("batch",))
    run("enter", NAME)
    run("due", "--on", (last + timedelta(days=7)).isoformat())
    day = last + timedelta(days=7)
    later("A week after making, the colours were read; three scorers rubbed the tiles, each with a copy of rub.csv.")
    fill_form(study_folder, "colour", results.colour, ("tile", "stage", "spot"))
    share_out(study_folder, results.rub)
    run("enter", NAME)
    wrong = results.rub[0]
    better = min(5.0, float(wrong["grade"]) + 0.5) if float(wrong["grade"]) < 5 else 4.5
    later(f"Scorer {wrong['scorer']} finds a slip of the pen.")
    run("rub", NAME, wrong["tile"], "--grade", f"{better:g}", "--scorer", wrong["scorer"], "--on", wrong["on"])
    run("history", NAME, wrong["tile"])
    run("drivers", NAME)
    run("choose", NAME)
    run("confirm", NAME)
    run("pack", NAME, "--session", "3")

    added = replace(plan, **_beyond(plan, studio.planned(NAME)[1]))
    day = today - timedelta(days=8)
    shift = min(batch.session for batch in added.batches) - 1
    more = invent(study, added, day - timedelta(days=shift), seed=6)
    day = today - timedelta(days=1)
    later("The confirmation tiles were made on a new day, read and rubbed a week later, and everything was typed in.")
    fill_form(study_folder, "made", more.made, ("tile",))
    fill_form(study_folder, "batches", more.batches, ("batch",))
    fill_form(study_folder, "colour", more.colour, ("tile", "stage", "spot"))
    share_out(study_folder, more.rub)
    run("enter", NAME)
    run("confirm", NAME)
    day = today
    run("handout", NAME)


def _at_noon(day: date) -> datetime:
    return datetime.combine(day, time(12, 0), tzinfo=UTC)


def _beyond(plan: Plan, grown: Plan) -> dict[str, Any]:
    """Return the batches and tiles that were added to a plan."""
    had = {tile.code for tile in plan.tiles}
    tiles = tuple(tile for tile in grown.tiles if tile.code not in had and not tile.replaces)
    return {"tiles": tiles, "batches": tuple(b for b in grown.batches if b.code in {tile.batch for tile in tiles})}


def fill_form(folder: Path, kind: str, rows: list[dict[str, str]], key: tuple[str, ...]) -> None:
    """Fill a form in, as somebody typing would."""
    from tilestudy.cli.invented import fill

    path = folder / f"{kind}.csv"
    path.write_text(fill(path.read_text(encoding="utf-8-sig"), rows, key), encoding="utf-8-sig")


def share_out(folder: Path, rows: list[dict[str, str]]) -> None:
    """Give each scorer a copy of the rub form, filled in; scorers who have one already go on in it."""
    from tilestudy.cli.invented import SCORERS, fill

    blank = folder / "rub.csv"
    for scorer in SCORERS:
        path = folder / f"rub-{scorer}.csv"
        text = (path if path.exists() else blank).read_text(encoding="utf-8-sig")
        mine = [row for row in rows if row["scorer"] == scorer]
        path.write_text(fill(text, mine, ("tile", "condition")), encoding="utf-8-sig")
    blank.unlink(missing_ok=True)


def _command(folder: Path, words: tuple[str, ...], day: date) -> None:
    """Run one of our own commands in a folder, in this process, on a day."""
    code = cli.main(
        ["--folder", str(folder), *words],
        prog_name="tilestudy",
        standalone_mode=False,
        obj=lambda: _at_noon(day),
    )
    if code:
        raise TilestudyError("The demonstration stopped at this step.")


def _edited(text: str) -> str:
    """Do what a user does in an editor after `new`."""
    text = text.replace('name = "plaques"', 'name = "plaques"\ninvented = true   # made-up data for the demonstration')
    before, bench = text.replace('"not checked"', '"no"').split("# [room]")
    room, own_sequence = f"# [room]{bench}".split("# [[sequence]]")
    told = re.sub(r"^# ", "", room, flags=re.MULTILINE)
    return f"{before}{told}# [[sequence]]{own_sequence}"
