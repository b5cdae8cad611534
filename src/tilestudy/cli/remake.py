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
from tilestudy.study.workplace import BenchStep
from tilestudy.trade.ingredients import CLASSES
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
    """Return what the trade's data files hold, with their sources: processes, metals, ingredients, steps, rules, rub tests."""
    parts = [
        MADE,
        "# What the trade data hold\n",
        "Local rules, safety data sheets and licensed practice come first. A studio may add its own, or put them in the place "
        "of these: [how](../how-to/own-process.md), [the files](trade-files.md).\n",
        *(part for process_id in BUILT_IN.process_ids for part in _process(process_id)),
        *_metals(),
        *_ingredients(),
    ]
    steps = [
        (one.id, one.label, ", ".join(one.things), ", ".join(word for word in _DOES if getattr(one, word)))
        for one in BUILT_IN.bench_steps.values()
    ]
    parts += ["## Bench steps\n", "Common practice, no source.\n", _table(("id", "label", "done with", "does"), steps)]
    effects = {"block": "stops the pack", "warn": "is printed"}
    rules = [(rule["id"], effects[rule["level"]], rule["says"], rule["source"]) for rule in BUILT_IN.rules]
    parts += ["## Hazard rules\n", _table(("rule", "effect", "says", "source"), rules)]
    protocols = [(one.id, one.label, one.source) for one in BUILT_IN.protocols.values()]
    parts += ["## Rub protocols\n", _table(("id", "label", "source"), protocols)]
    return "\n".join(parts)


_DOES = ("bath", "rinses", "heats", "flame", "closed", "stores")


def _process(process_id: str) -> list[str]:
    one = BUILT_IN.process(process_id)
    data = one.data
    told = f"{one.label}. A batch is a {one.batch_word}. Source: {data['source']}."
    if one.recipe:
        goes = "; ".join(f"{part.name} ({' or '.join(part.ids)})" for part in one.recipe)
        told += f" What goes in: {goes}."
    if one.life_h is not None:
        told += f" Good for {one.life_h:g} h: {one.life_source}."
    if one.sequence:
        told += f" Usual order of steps: {', '.join(_step(step) for step in one.sequence)}."
    cautions = [(c["title"], c["text"], c["source"]) for c in data["caution"]]
    return [
        f"## {process_id}\n",
        f"{told}\n",
        _table(("factor", "levels", "set per", "note"), [_factor(factor) for factor in data["factor"]]),
        _table(("caution", "text", "source"), cautions),
    ]


def _step(step: BenchStep) -> str:
    return f"{step.do} ({', '.join(step.things)})" if step.things else step.do


def _metals() -> list[str]:
    rows = [
        (
            *(uns, one["label"], one["family"], one["composition"]),
            *(f"{one['density']:g}", one["density_source"], ", ".join(one["gauges"])),
        )
        for uns, one in BUILT_IN.metals.items()
    ]
    head = ("UNS", "label", "family", "composition, %", "density, g/cm³", "source of the density", "usual gauges")
    return ["## Metals\n", "UNS numbers, names and compositions: from memory.\n", _table(head, rows)]


def _ingredients() -> list[str]:
    rows = [
        (
            *(one.id, ", ".join(one.names), ", ".join(one.poison or name for name in sorted(one.classes)), one.form),
            *("" if one.molar_mass is None else f"{one.formula}, {one.molar_mass:.2f}", one.note, one.source),
        )
        for one in BUILT_IN.ingredients.values()
    ]
    limits = [
        (one.agent, one.niosh, one.osha, one.source + (f" (read {one.read})" if one.read else ""))
        for one in BUILT_IN.limits.values()
    ]
    return [
        "## Classes of ingredients\n",
        _table(("class", "meaning"), list(CLASSES.items())),
        "## Ingredients\n",
        'Capitals, hyphens, plurals, strengths and words such as "warm" make no difference to a name.\n',
        _table(("id", "names", "classes", "form", "formula, g/mol", "note", "source"), rows),
        "## Limits of exposure\n",
        "Limits change: see the safety data sheet.\n",
        _table(("agent", "NIOSH", "OSHA", "source"), limits),
    ]


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
