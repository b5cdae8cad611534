"""Makes anew what the project keeps of the code's own making: ``python -m tilestudy.cli.remake`` in the project's folder.

The reference pages of the commands and of the trade's data; the demo study in experiments/ and its printed sample.
"""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import click

from tilestudy.cli.app import COMMANDS, cli
from tilestudy.cli.demo import NAME, walk_through
from tilestudy.trade.library import BUILT_IN

MADE = "<!-- Made by python -m tilestudy.cli.remake; change the code or the data, not this page. -->\n"


def commands_page() -> str:
    """Return the reference of all commands, from their own help."""
    top = click.Context(cli, info_name="tilestudy", terminal_width=100, **cli.context_settings)
    parts = [MADE, "# Commands\n", _block(cli.get_help(top))]
    for name in COMMANDS:
        command = cli.commands[name]
        inside = click.Context(command, info_name=name, parent=top, terminal_width=100)
        parts += [f"## {name}\n", _block(command.get_help(inside))]
    parts.append(
        "Exit codes: 0 done, 1 could not (a hazard stands, records are missing), 2 asked wrongly (nothing was done).\n"
    )
    return "\n".join(parts)


def _block(text: str) -> str:
    return "```text\n" + "\n".join(line.rstrip() for line in text.splitlines()) + "\n```\n"


def trade_page() -> str:
    """Return what the trade's data files hold: processes, hazard rules, rub protocols, with their sources."""
    parts = [
        MADE,
        "# What the trade data hold\n",
        "Local rules, safety data sheets and licensed practice come first.\n",
    ]
    for process_id in BUILT_IN.process_ids:
        one = BUILT_IN.process(process_id)
        data = one.data
        parts += [f"## {process_id}\n", f"{one.label}. A batch is a {one.batch_word}. Source: {data['source']}.\n"]
        parts.append(_table(("factor", "levels", "set per", "note"), [_factor(factor) for factor in data["factor"]]))
        cautions = [(c["title"], c["text"], c["source"]) for c in data["caution"]]
        parts.append(_table(("caution", "text", "source"), cautions))
    listed = [
        (rule["id"], {"block": "stops the pack", "warn": "is printed"}[rule["level"]], rule["says"], rule["source"])
        for rule in BUILT_IN.rules
    ]
    parts += ["## Hazard rules\n", _table(("rule", "effect", "says", "source"), listed)]
    parts += [
        "## Rub protocols\n",
        _table(("id", "label", "source"), [(p.id, p.label, p.source) for p in BUILT_IN.protocols.values()]),
    ]
    return "\n".join(parts)


def _factor(factor: Mapping[str, Any]) -> tuple[str, str, str, str]:
    levels = ", ".join(str(level) for level in factor["levels"])
    return factor["name"], f"{levels} {factor['unit']}".strip(), factor["set_per"], factor.get("note", "")


def _table(head: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    lines = [f"| {' | '.join(head)} |", f"|{'---|' * len(head)}"]
    lines += [f"| {' | '.join(str(cell).replace('|', '/') for cell in row)} |" for row in rows]
    return "\n".join(lines) + "\n"


PAGES = {"commands.md": commands_page, "trade.md": trade_page}
"""The pages made from the code, by file name."""


DEMO_DAY = date(2026, 11, 24)
"""The day on which the demo study of the project was made."""


def main() -> None:
    """Write the reference pages, and the demo study with its printed sample, into the project's folder."""
    for name, page in PAGES.items():
        Path("docs", "reference", name).write_text(page(), encoding="utf-8")
    with TemporaryDirectory() as folder:
        walk_through(Path(folder), DEMO_DAY)
        shutil.rmtree(Path("experiments", NAME), ignore_errors=True)
        shutil.copytree(Path(folder, "experiments", NAME), Path("experiments", NAME))
        for pdf in Path(folder, "reports", NAME).glob("*.pdf"):
            shutil.copy(pdf, Path("reports", NAME, pdf.name))


if __name__ == "__main__":
    main()
