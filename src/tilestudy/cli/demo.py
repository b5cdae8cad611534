"""`demo`: the whole job on an invented study, each step shown with the command that a user would type."""

from __future__ import annotations

import shlex
import shutil
from datetime import date, timedelta
from pathlib import Path

import click

from tilestudy.cli.app import cli, note, tell
from tilestudy.errors import TilestudyError, WrongRequestError

NAME = "plaques"
LAST_SESSION_DAYS_AGO = 8


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
    tell(f"Bench pack: {folder / 'reports' / NAME / 'bench-pack.pdf'}")
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
    """Run every step in a folder; what the class does in between is invented."""
    from tilestudy.cli.invented import SCORERS, fill, invent, session_day
    from tilestudy.studio import Studio

    def run(*words: str) -> None:
        tell()
        tell(f"$ tilestudy {shlex.join(words)}")
        _command(folder, words)

    study_folder = folder / "experiments" / NAME
    run("new", NAME, "--process", "sulfide-dip", "--metal", "C11000", "--lot", "2026-A")
    study_file = study_folder / "study.toml"
    study_file.write_text(_edited(study_file.read_text(encoding="utf-8-sig")), encoding="utf-8")
    tell("  (In the study file: marked as invented, the bench questions answered.)")
    run("plan", NAME, "--seed", "7")
    run("pack", NAME)

    studio = Studio(folder)
    study, plan = studio.planned(NAME)
    sessions = max(batch.session for batch in plan.batches)
    first = today - timedelta(days=LAST_SESSION_DAYS_AGO + sessions - 1)
    results = invent(study, plan, first, studio.spare_code(NAME, ""))

    def fill_form(kind: str, rows: list[dict[str, str]], key: tuple[str, ...]) -> None:
        path = study_folder / f"{kind}.csv"
        path.write_text(fill(path.read_text(encoding="utf-8-sig"), rows, key), encoding="utf-8-sig")

    tell()
    tell("  (Two sessions later somebody has typed the run sheets into made.csv and batches.csv.)")
    fill_form("made", results.made, ("tile",))
    fill_form("batches", results.batches, ("batch",))
    run("enter", NAME)
    last = session_day(first, sessions)
    run("due", "--on", (last + timedelta(days=7)).isoformat())
    tell()
    tell("  (A week after making, the colours were read; three scorers rubbed the tiles, each with a copy of rub.csv.)")
    fill_form("colour", results.colour, ("tile", "stage", "spot"))
    blank = study_folder / "rub.csv"
    for scorer in SCORERS:
        mine = [row for row in results.rub if row["scorer"] == scorer]
        text = fill(blank.read_text(encoding="utf-8-sig"), mine, ("tile", "condition"))
        blank.with_name(f"rub-{scorer}.csv").write_text(text, encoding="utf-8-sig")
    blank.unlink()
    run("enter", NAME)
    wrong = results.rub[0]
    better = min(5.0, float(wrong["grade"]) + 0.5) if float(wrong["grade"]) < 5 else 4.5
    tell()
    tell(f"  (Scorer {wrong['scorer']} finds a slip of the pen.)")
    run("rub", NAME, wrong["tile"], "--grade", f"{better:g}", "--scorer", wrong["scorer"], "--on", wrong["on"])
    run("history", NAME, wrong["tile"])
    run("drivers", NAME)
    run("handout", NAME)


def _command(folder: Path, words: tuple[str, ...]) -> None:
    """Run one of our own commands in a folder, in this process."""
    code = cli.main(["--folder", str(folder), *words], prog_name="tilestudy", standalone_mode=False)
    if code:
        raise TilestudyError("The demonstration stopped at this step.")


def _edited(text: str) -> str:
    """Do what a user does in an editor after `new`."""
    text = text.replace('name = "plaques"', 'name = "plaques"\ninvented = true   # made-up data for the demonstration')
    return text.replace('"not checked"', '"no"')
