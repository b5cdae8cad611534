"""The commands, one module per stage of the job.

Heavy libraries are imported inside the commands, so that ``tilestudy --help`` answers at once.
"""

from __future__ import annotations

import sys
from io import TextIOWrapper

from tilestudy.cli import choosing, demo, extend, photo, prepare, record, results, tray
from tilestudy.cli.app import cli

__all__ = ["choosing", "cli", "demo", "extend", "main", "photo", "prepare", "record", "results", "tray"]


def main() -> None:
    """Run the command line."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")  # a console without the sign × shows ? instead of a traceback
    cli()
