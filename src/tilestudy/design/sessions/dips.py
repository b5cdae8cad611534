"""How long and how often a tile is to be in, as the bench counts it, and what was really done in the words of the plan."""

from __future__ import annotations

from tilestudy.design.sessions.work import timed
from tilestudy.study.records import Setting, Study, Tile

SLACK_S, SLACK = 1.0, 0.05
"""A time in that differs from the plan by no more than a second, or by no more than a twentieth, is as planned: what two taps
on a screen can tell (assumed, no source)."""


def planned_dips(study: Study, tile: Tile) -> tuple[float | None, int]:
    """Return the seconds of each time in (None where nothing is timed), and how often.

    >>> from tilestudy.study.records import Factor
    >>> study = Study("s", "", "p", (Factor("dip", (10.0, 60.0), "s"), Factor("scrub_cycles", (1.0, 4.0))))
    >>> planned_dips(study, Tile("K7", "B1", 1, 1, {"dip": 60.0, "scrub_cycles": 4.0}))
    (60.0, 4)
    """
    seconds, cycles = None, 1
    for factor in timed(study):
        setting = tile.settings.get(factor.name)
        if setting is None or isinstance(setting, str):
            continue
        if factor.unit == "s":
            seconds = (seconds or 0.0) + float(setting)
        else:
            cycles *= max(1, round(setting))
    return seconds, cycles


def differing_settings(study: Study, tile: Tile, seconds: float, cycles: int) -> dict[str, Setting]:
    """Return the tile's own settings that turned out otherwise than planned, by factor.

    `seconds` is the mean of its times in. Nothing is said where several factors share the time or the count, or the
    bath decides them: then the times themselves are all there is.

    >>> from tilestudy.study.records import Factor
    >>> study = Study("s", "", "p", (Factor("dip", (10.0, 60.0), "s"), Factor("scrub_cycles", (1.0, 4.0))))
    >>> differing_settings(study, Tile("K7", "B1", 1, 1, {"dip": 60.0, "scrub_cycles": 4.0}), 66.2, 3)
    {'dip': 66.0, 'scrub_cycles': 3.0}
    >>> differing_settings(study, Tile("K7", "B1", 1, 1, {"dip": 60.0, "scrub_cycles": 4.0}), 62.9, 4)
    {}
    """
    times = [one for one in timed(study) if one.unit == "s" and one.name in tile.settings]
    counts = [one for one in timed(study) if one.unit != "s" and one.name in tile.settings]
    planned_s, planned_cycles = planned_dips(study, tile)
    found: dict[str, Setting] = {}
    if len(times) == 1 and times[0].set_per == "tile" and planned_s is not None:
        off = abs(seconds - planned_s)
        rounded = float(round(seconds)) if seconds >= 10 else round(seconds, 1)
        if off > SLACK_S and off > SLACK * planned_s and rounded > 0:
            found[times[0].name] = rounded
    if len(counts) == 1 and counts[0].set_per == "tile" and cycles != planned_cycles:
        found[counts[0].name] = float(cycles)
    return found
