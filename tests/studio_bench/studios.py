"""A small studio for the bench: two baths of four tiles, nothing entered yet."""

from __future__ import annotations

import atexit
import shutil
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

from tilestudy.outcomes.bench import Answer, Entry, Writer
from tilestudy.studio import Studio
from tilestudy.study.records import Plan, Study

STUDY = """
name = "plaques"
invented = true
process = "sulfide-dip"
reference_tiles = false
[metal]
uns = "C11000"
[[factor]]
name = "strength"
unit = "g/L"
levels = [1, 9]
spacing = "geometric"
set_per = "batch"
[[factor]]
name = "dip_time"
unit = "s"
levels = [10, 90]
[[factor]]
name = "scrub_cycles"
levels = [1, 2]
[limits]
batches_each = 1
[rub]
protocol = "cloth-10"
conditions = ["dry", "wet"]
[[response]]
name = "gloss"
unit = "GU"
[[response]]
name = "mass_loss"
unit = "g"
"""
EVENING = datetime(2026, 11, 24, 18, 30, tzinfo=UTC)
KL, MB, KEEPER = Writer("KL", device="phone 1"), Writer("MB", device="tablet"), Writer("FW", keeper=True)


class Bench:
    """A studio with a clock that stands until it is moved, and entries numbered as they come."""

    def __init__(self, folder: Path) -> None:
        shutil.copytree(_made_once(), folder, dirs_exist_ok=True)
        self.folder = folder
        self.clock = EVENING
        self.studio = Studio(folder, now=lambda: self.clock)
        plan = self.studio.planned("plaques")[1]
        self.plan = plan
        self.codes = [tile.code for tile in plan.tiles]
        self.count = 0

    def later(self, seconds: float) -> None:
        """Let time pass."""
        self.clock += timedelta(seconds=seconds)

    def enter(
        self, kind: str, cells: Mapping[str, str], who: Writer = KL, *, saw: int | None = None, number: str = ""
    ) -> Answer:
        """Enter something as a device would; `number` sends an entry again."""
        self.count += not number
        return self.studio.bench_enter(Entry(number or f"entry-{self.count}", "plaques", kind, dict(cells), saw), who)

    @property
    def last(self) -> str:
        """The number of the last entry."""
        return f"entry-{self.count}"

    def tile_of(self, dip: float, cycles: float) -> str:
        """Return a tile with these settings."""
        return next(
            one.code
            for one in self.plan.tiles
            if (one.settings["dip_time"], one.settings["scrub_cycles"]) == (dip, cycles)
        )

    def standing(self, kind: str) -> list[dict[str, object]]:
        """Return what stands of one kind, as plain fields."""
        with self.studio.book() as book:
            return [vars(kept.record) for kept in book.current("plaques", kind)]


@cache
def planned() -> tuple[Study, Plan]:
    """Return the study and its plan."""
    return Studio(_made_once(), now=lambda: EVENING).planned("plaques")


@cache
def _made_once() -> Path:
    folder = Path(mkdtemp(prefix="bench-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    study = folder / "experiments" / "plaques" / "study.toml"
    study.parent.mkdir(parents=True)
    study.write_text(STUDY, encoding="utf-8")
    Studio(folder, now=lambda: EVENING).plan("plaques", seed=7)
    return folder
