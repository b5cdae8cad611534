"""The documentation is true: its links lead somewhere, its commands exist, its examples run, the tutorial says what is printed."""

import json
import re
import shlex
import shutil
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner

from tilestudy.cli import cli
from tilestudy.colour.names import colour_named
from tilestudy.outcomes import DueReport
from tilestudy.study.due import Due
from tilestudy.study.file import read_study
from tilestudy.study.reader import KEYS
from tilestudy.study.records import Study
from tilestudy.trade.library import BUILT_IN

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
PAGES = [page for page in (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(DOCS.rglob("*.md"))) if page.exists()]
BLOCK = re.compile(r"^```(\w*)\n(.*?)^```", re.MULTILINE | re.DOTALL)
STEP = re.compile(r"^<!-- replay: (.*?) -->|^```console\n(.*?)^```", re.MULTILINE | re.DOTALL)


def anchors(page: Path) -> set[str]:
    """Names of a page's headings, as they are linked to."""
    headings = re.findall(r"^#+ (.+)$", BLOCK.sub("", page.read_text(encoding="utf-8")), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_every_relative_link_leads_somewhere(page: Path) -> None:
    """Files exist, and headings linked to are there."""
    text = BLOCK.sub("", page.read_text(encoding="utf-8"))
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        if re.match(r"[a-z]+:", target):
            continue
        file, _, heading = target.partition("#")
        there = (page.parent / file).resolve() if file else page
        assert there.exists(), f"{page.name} links to {target}"
        assert not heading or heading in anchors(there), f"{page.name} links to {target}"


def commands_shown(page: Path) -> list[str]:
    """Lines of code blocks that call tilestudy, without the prompt and what follows a pipe or a note."""
    lines = [line for _, block in BLOCK.findall(page.read_text(encoding="utf-8")) for line in block.splitlines()]
    calls = [line.removeprefix("$ ") for line in lines]
    return [re.split(r"\s(?:#|\||>)\s?", line)[0] for line in calls if line.startswith("tilestudy ")]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_every_command_shown_exists_with_its_options(page: Path) -> None:
    """Each call names a command that exists, options it has, and choices they allow."""
    context = click.Context(cli, info_name="tilestudy")
    for line in commands_shown(page):
        words = shlex.split(line)[1:]
        if words[0] == "--folder":
            words = words[2:]
        command = cli.get_command(context, words[0])
        assert command is not None, line
        options = {name: option for option in command.params for name in (*option.opts, *option.secondary_opts)}
        for word, value in pairwise([*words[1:], ""]):
            assert not word.startswith("-") or word in (*options, "--help", "-h"), line
            kind = options[word].type if word in options else None
            assert not isinstance(kind, click.Choice) or value in kind.choices, line


def study_read(text: str, name: str) -> Study:
    """Read a study file as the program does."""
    return read_study(
        text,
        "study.toml",
        name,
        processes=BUILT_IN.process_ids,
        protocols=list(BUILT_IN.protocols),
        colour_named=colour_named,
        thickness_of=BUILT_IN.thickness_mm,
        density_of=lambda one: BUILT_IN.process(one).density_g_per_ml if one in BUILT_IN.process_ids else None,
    )


def test_the_study_file_page_names_every_key_and_its_example_is_valid() -> None:
    """No key is missing from the tables, none is there that the reader does not know, and the example is read whole."""
    page = (DOCS / "reference" / "study-file.md").read_text(encoding="utf-8")
    (example,) = (block for kind, block in BLOCK.findall(page) if kind == "toml" and "[[factor]]" in block)
    study = study_read(example, "drawer-pulls")
    assert [factor.name for factor in study.factors] == ["temperature", "dwell", "surface"]
    tables = {"": "The top of the file", **{key: f"`[{key}]`" for key in KEYS if key}}
    many = ("factor", "response", "wish", "sheet", "ingredient", "sequence", "nearby", "signed")
    tables |= {key: f"`[[{key}]]`" for key in many}
    for table, heading in tables.items():
        section = page.split(f"\n## {heading}")[1].split("\n## ")[0]
        rows = re.findall(r"^\| `(\w+)` \|", section, re.MULTILINE)
        known = [key for key in KEYS[table] if key not in KEYS and key not in ("bench", "never")]
        assert sorted(rows) == sorted(known), heading


def paths(value: Any, here: str = "") -> set[str]:
    """Dotted paths of the keys in JSON; lists are taken through, names of the study's own become `*`."""
    own = (
        "settings",
        "responses",
        "main_effects",
        "pass_counts",
        "variance",
        "agreement",
        "stages.stages",
        "shares.factors",
    )
    found = set()
    if isinstance(value, dict):
        for key, one in value.items():
            name = "*" if here.endswith(own) else key
            step = f"{here}.{name}" if here else name
            found |= {step} | paths(one, step)
    elif isinstance(value, list):
        for one in value:
            found |= paths(one, here)
    return found


def replay(page: Path, folder: Path) -> list[tuple[str, str, str]]:
    """Run the console blocks of a page in the current folder; returns (command, shown, printed) for each command."""
    study = folder / "experiments" / "plaques"
    done = []
    for step in STEP.finditer(page.read_text(encoding="utf-8")):
        if step[1]:
            copy, change = step[1].split(" = ", 1), re.match(r"(\S+): (.+) => (.+)", step[1])
            if change:
                text = (study / change[1]).read_text(encoding="utf-8")
                assert change[2] in text, step[1]
                (study / change[1]).write_text(text.replace(change[2], change[3]), encoding="utf-8")
            else:
                shutil.copy(DOCS / "tutorial" / copy[1], study / copy[0])
            continue
        for call in re.split(r"^\$ ", step[2], flags=re.MULTILINE)[1:]:
            command, _, shown = call.partition("\n")
            words = shlex.split(command)
            if words[0] == "cp":
                for source in words[1:-1]:
                    shutil.copy(DOCS / source.removeprefix("../docs/"), folder / words[-1])
            else:
                done.append((command, shown, CliRunner().invoke(cli, words[1:], prog_name="tilestudy").output))
    return done


def agrees(shown: str, printed: str) -> bool:
    """True when what is shown is what was printed, `...` standing for anything."""
    parts = [re.escape(part) for part in re.split(r"^\.\.\.\n|\.\.\.", shown, flags=re.MULTILINE)]
    return re.fullmatch(".*?".join(parts), printed, re.DOTALL) is not None


def test_the_tutorial_prints_what_it_says_and_json_has_the_keys_documented(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The whole tutorial is run as its reader would; then the three JSON outputs have exactly the keys on the JSON page."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "96")
    for command, shown, printed in replay(DOCS / "tutorial.md", tmp_path):
        assert agrees(shown, printed), f"$ {command}\nshown:\n{shown}\nprinted:\n{printed}"

    page = (DOCS / "reference" / "json.md").read_text(encoding="utf-8")
    owed = DueReport(date(2026, 1, 20), (Due("plaques", "F3", "rub (dry)", date(2026, 1, 20), 0),), ())
    printed = {"due": owed.as_dict()}
    for command in ("plan", "appraise", "drivers", "choose"):
        printed[command] = json.loads(CliRunner().invoke(cli, [command, "plaques", "--json"]).stdout)
    for command, found in printed.items():
        section = page.split(f"\n## `tilestudy {command} ")[1].split("\n## ")[0]
        documented = set(re.findall(r"^\| `([\w.*]+)` \|", section, re.MULTILINE))
        assert documented - sometimes(section) <= paths(found) <= documented, command


def sometimes(section: str) -> set[str]:
    """Keys that a page marks as there only when there is something to say."""
    return set(re.findall(r"^\| `([\w.*]+)` \|.*\(sometimes\)", section, re.MULTILINE))
