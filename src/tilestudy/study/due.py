"""What is due: colour readings, rub tests and declared responses, by the days since a tile was made. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from tilestudy.study.records import Made, Plan, Reading, Rub, Study, Value


@dataclass(frozen=True)
class Due:
    """One thing to do: `what` ("rub (dry)", "colour (cured)", "gloss") for a tile, `on` which day, how many days late."""

    study: str
    tile: str
    what: str
    on: date
    late_days: int


def owed(
    study: Study,
    plan: Plan,
    made: Iterable[Made],
    readings: Iterable[Reading],
    values: Iterable[Value],
    rubs: Iterable[Rub],
    on: date,
) -> list[Due]:
    """Return what is not yet recorded of tiles that were made, with the days it is late on a day (negative: days to go).

    The earliest due first, then in run order. Spoiled tiles owe nothing; neither do tiles that nobody has made yet.
    """
    # tiles compared by a photo without reference patches still need a colour
    done = {(reading.tile, f"colour ({reading.stage})") for reading in readings if not reading.relative}
    done |= {(value.tile, value.response) for value in values}
    done |= {(rub.tile, f"rub ({rub.condition})") for rub in rubs}
    asked: list[tuple[str, int]] = []
    if study.target:
        asked.append((f"colour ({study.stage})", study.stage_days))
    asked += [(response.name, response.after_days) for response in study.responses]
    if study.rub:
        asked += [(f"rub ({condition})", study.rub.wait_days) for condition in study.rub.conditions]
    place = {tile.code: number for number, tile in enumerate(plan.tiles)}
    found = []
    for one in made:
        if one.spoiled or one.tile not in place:
            continue
        for what, days in asked:
            day = one.on + timedelta(days=days)
            if (one.tile, what) not in done:
                found.append(Due(study.name, one.tile, what, day, (on - day).days))
    return sorted(found, key=lambda item: (item.on, item.what, place[item.tile]))
