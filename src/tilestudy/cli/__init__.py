"""The commands, one module per stage of the job.

Heavy libraries are imported inside the commands, so that ``tilestudy --help`` answers at once.
"""

from __future__ import annotations

import sys
from io import TextIOWrapper

from tilestudy.cli import (
    bench,
    choosing,
    cut,
    demo,
    extend,
    hazards,
    labels,
    mix,
    photo,
    prepare,
    record,
    results,
    timetable,
    tray,
)
from tilestudy.cli.app import cli

__all__ = [
    "bench",
    "choosing",
    "cli",
    "cut",
    "demo",
    "extend",
    "hazards",
    "labels",
    "main",
    "mix",
    "photo",
    "prepare",
    "record",
    "results",
    "timetable",
    "tray",
]


def main() -> None:
    """Run the command line."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")  # a console without the sign × shows ? instead of a traceback
    cli()
