"""A studio with a small study whose tiles wait to be rubbed: invented."""

import re
from datetime import timedelta
from pathlib import Path

from tilestudy.studio import Studio
from tilestudy.study.records import Rub

STUDY = "plaques"


def rub_ready(folder: Path) -> list[str]:
    """Make a study of six tiles in two baths, made ten days ago, to be rubbed dry and wet; returns their codes."""
    studio = Studio(folder)
    path = studio.new(STUDY, "sulfide-dip", "C11000")
    text = path.read_text(encoding="utf-8").replace("levels = [1, 3, 9]", "levels = [1, 9]")
    text = re.sub(r'\[\[factor\]\] [^\[]*name = "scrub_cycles"[^\[]*levels = \[1, 4\][^\[]*', "", text)
    text = text.replace("batches_each = 2", "batches_each = 1").replace(
        'conditions = ["dry"]', 'conditions = ["dry", "wet"]'
    )
    path.write_text(text.replace('name = "plaques"', 'name = "plaques"\ninvented = true'), encoding="utf-8")
    studio.plan(STUDY, seed=7)
    _, plan = studio.planned(STUDY)
    for tile in plan.tiles:
        on = (studio.today - timedelta(days=10)).isoformat()
        studio.record("made", STUDY, {"tile": tile.code, "on": on})
    return [tile.code for tile in plan.tiles]


def grades(studio: Studio, scorer: str) -> dict[str, tuple[float, int | None, bool | None]]:
    """Return what stands of a scorer's dry rubs: grade, strokes, and whether bare metal showed, by tile."""
    with studio.book() as book:
        kept = [one.record for one in book.current(STUDY, "rub")]
    return {
        one.tile: (one.grade, one.strokes, one.broke_through)
        for one in kept
        if isinstance(one, Rub) and one.scorer == scorer and one.condition == "dry"
    }


def said_of(studio: Studio, tile: str) -> list[str]:
    """Return every grade that a tile was ever given, first one first."""
    with studio.book() as book:
        kept = [one.record for one in book.history(STUDY, tile)]
    return [f"{one.scorer} {one.grade}" for one in kept if isinstance(one, Rub)]
