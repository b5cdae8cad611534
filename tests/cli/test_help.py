"""Help: every command has a sentence, an example where it takes a study, and stands in the reference."""

from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from tilestudy.cli import cli
from tilestudy.cli.app import COMMANDS
from tilestudy.cli.remake import PAGES

DOCS = Path(__file__).parents[2] / "docs"


def test_the_help_lists_the_commands_in_the_order_of_the_job() -> None:
    """And knows no command beside them."""
    assert set(cli.commands) == set(COMMANDS)
    shown = CliRunner().invoke(cli, ["--help"]).output
    places = [shown.index(f"\n  {name} ") for name in COMMANDS]
    assert places == sorted(places)


@pytest.mark.parametrize("name", COMMANDS)
def test_each_command_explains_itself_and_its_options(name: str) -> None:
    """A sentence, -h, help for each option, an example."""
    command = cli.commands[name]
    result = CliRunner().invoke(cli, [name, "-h"])
    assert result.exit_code == 0
    assert command.help
    assert name == "demo" or "Example" in command.help
    for option in command.params:
        assert not isinstance(option, click.Option) or option.help, option.name


@pytest.mark.parametrize("page", PAGES)
def test_the_reference_is_what_the_code_says(page: str) -> None:
    """Made anew by `python -m tilestudy.cli.remake` whenever a command or the trade's data change."""
    assert (DOCS / "reference" / page).read_text(encoding="utf-8") == PAGES[page]()
