"""The command group: errors become messages and exit codes, commands are listed in the job's order."""

from __future__ import annotations

import json
import os
import shutil
import sys
import textwrap
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Literal

import click

from tilestudy.errors import TilestudyError
from tilestudy.study.progress import Progress, no_progress

if TYPE_CHECKING:
    from tilestudy.studio import Studio

Paper = Literal["a4", "us-letter"]

COMMANDS = (
    *(
        "demo",
        "new",
        "plan",
        "appraise",
        "hazards",
        "cut",
        "mix",
        "timetable",
        "pack",
        "labels",
        "bench",
        "tray",
        "made",
        "colour",
        "photo",
        "values",
        "rub",
        "enter",
        "due",
        "history",
        "extend",
        "drivers",
        "choose",
        "confirm",
        "next",
        "handout",
    ),
)
"""The commands in the job's order, as the help lists them."""


class JobOrder(click.Group):
    """A group that lists its commands in the job's order and turns our errors into messages and exit codes."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the job's order."""
        return list(COMMANDS)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; a TilestudyError is told on stderr, never as a traceback."""
        try:
            return super().invoke(ctx)
        except TilestudyError as error:
            click.echo(str(error), err=True)
            ctx.exit(error.exit_code)
        except (click.ClickException, click.exceptions.Exit, BrokenPipeError):
            raise
        except (click.Abort, KeyboardInterrupt, EOFError):
            click.echo("\nStopped. What was stored before stays; nothing of an unfinished entry was stored.", err=True)
            ctx.exit(1)
        except OSError as error:
            what = f"The file or folder {error.filename}" if error.filename else "The output"
            click.echo(f"{what} could not be used: {error.strerror}.", err=True)
            ctx.exit(1)
        except Exception as error:
            if os.environ.get("TILESTUDY_TRACEBACK"):
                raise
            click.echo(
                f"tilestudy itself failed ({type(error).__name__}: {error}). Your records are as they were before this "
                "command. Please report it with the command you typed; TILESTUDY_TRACEBACK=1 shows where.",
                err=True,
            )
            ctx.exit(1)


@click.group(
    cls=JobOrder,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Caution: patination can hurt people. Follow local rules, the safety data sheets and licensed practice.",
)
@click.version_option(package_name="tilestudy")
@click.option(
    "--folder",
    type=click.Path(file_okay=False),
    default=".",
    show_default="this folder",
    help="The studio's folder, which holds experiments/ and reports/.",
)
@click.pass_context
def cli(ctx: click.Context, folder: str) -> None:
    """From small patina test tiles to recipes that repeat, survive wear and fit on a handout.

    Start with "tilestudy demo", or with "tilestudy new plaques --process sulfide-dip --metal C11000".
    """
    ctx.meta[CLOCK] = ctx.obj  # the demonstration hands in a clock of its own
    ctx.obj = folder


CLOCK = "tilestudy.clock"


def studio_of(ctx: click.Context) -> Studio:
    """Return the studio of the folder the command was called with."""
    from tilestudy.studio import Studio

    clock = ctx.meta.get(CLOCK)
    return Studio(ctx.obj, now=clock) if clock is not None else Studio(ctx.obj)


def tell(text: str = "") -> None:
    """Print a line of results."""
    click.echo(text)


def note(text: str) -> None:
    """Print a message beside the results, on stderr."""
    click.echo(text, err=True)


@contextmanager
def bar(label: str) -> Iterator[Progress]:
    """Show a progress bar on stderr, where somebody is watching; hand out what is told the share that is done."""
    if not sys.stderr.isatty():
        yield no_progress
        return
    with click.progressbar(length=100, label=label, file=sys.stderr, show_eta=False) as shown:

        def progress(share: float) -> None:
            shown.update(max(0, round(100 * share) - shown.pos))

        yield progress


def tell_sentences(sentences: Iterable[str], indent: str = "") -> None:
    """Print sentences one a line, wrapped for reading."""
    width = min(shutil.get_terminal_size((96, 24)).columns, 100)
    for sentence in sentences:
        tell(
            textwrap.fill(
                sentence,
                width,
                initial_indent=indent,
                subsequent_indent=indent + "  ",
                break_on_hyphens=False,
                break_long_words=False,
            )
        )


def tell_json(data: object) -> None:
    """Print results as JSON with stable keys."""
    tell(json.dumps(data, ensure_ascii=False, indent=1, default=str))
