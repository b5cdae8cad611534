"""A studio in a fresh folder, and the command line run in it."""

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from tilestudy.cli import cli
from tilestudy.studio import Studio

Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Run a command in the studio's folder; words are given one by one."""

    def command(*words: str, stdin: str | None = None) -> Result:
        result = CliRunner().invoke(cli, ["--folder", str(tmp_path), *words], input=stdin, prog_name="tilestudy")
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
        assert "Traceback" not in result.output
        return result

    return command


@pytest.fixture
def planned(run: Run, tmp_path: Path) -> Path:
    """A planned study "plaques" with its blank forms; returns its folder."""
    assert run("new", "plaques", "--process", "sulfide-dip", "--metal", "C11000").exit_code == 0
    assert run("plan", "plaques", "--seed", "7").exit_code == 0
    for kind in ("made", "batches", "colour", "rub"):
        study, plan = Studio(tmp_path).planned("plaques")
        from tilestudy.study.forms import write_form

        (tmp_path / "experiments" / "plaques" / f"{kind}.csv").write_text(write_form(kind, study, plan))
    return tmp_path / "experiments" / "plaques"
