"""What the records tell of baths: used past their life, or gone cloudy."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, timedelta

from tilestudy.study.records import BatchLog, Made, Plan
from tilestudy.study.units import plain_number

_CLOUDY = re.compile(
    r"\b(?:cloud(?:y|ed|s|ing)?|milky|murky|turbid|whitish|(?:bath|is|was|looks?|looked|went) spent|spent bath)\b",
    re.IGNORECASE,
)
_NOT = re.compile(r"\b(?:not?|never|no longer|without|isn't|wasn't|before it)\s+(?:\w+\s+)?$", re.IGNORECASE)


def past_life(
    life_h: float | None,
    logs: Sequence[BatchLog],
    made: Sequence[Made],
    plan: Plan | None,
    now: datetime | None,
    word: str,
) -> tuple[str, ...]:
    """Say which baths were in use, or are still to be used, for longer than they live.

    A bath counts from the time it was made to the time it was taken out of use; one that is not out of use counts to
    `now` (local time) while tiles of it are still to be made, and to the day its tiles were made.
    """
    if life_h is None:
        return ()
    found = []
    for log in logs:
        if log.made_at is None:
            continue
        end = log.made_at + timedelta(hours=life_h)
        tiles = [one.tile for one in made if _batch_of(one, plan) == log.batch and one.on > end.date()]
        hours = plain_number(life_h)
        if log.discarded_at is not None and log.discarded_at > end:
            used = plain_number((log.discarded_at - log.made_at).total_seconds() / 3600, 2)
            found.append(f"{word} {log.batch} stood {used} h before it was taken out of use, its life is {hours} h")
        elif tiles:
            found.append(
                f"tiles were made in {word} {log.batch} after the day its life of {hours} h ended: {' '.join(tiles)}"
            )
        elif log.discarded_at is None and now is not None and now > end and _waiting(log.batch, made, plan):
            found.append(
                f"{word} {log.batch} was made at {log.made_at:%Y-%m-%d %H:%M}, past its life of {hours} h, and tiles wait for it"
            )
    return tuple(found)


def _batch_of(made: Made, plan: Plan | None) -> str:
    if made.batch or plan is None:
        return made.batch
    return next((tile.batch for tile in plan.tiles if tile.code == made.tile), "")


def _waiting(batch: str, made: Sequence[Made], plan: Plan | None) -> bool:
    done = {one.tile for one in made}
    return plan is None or any(tile.batch == batch and tile.code not in done for tile in plan.tiles)


def cloudy(logs: Sequence[BatchLog], made: Sequence[Made], word: str) -> tuple[str, ...]:
    """Say which notes call a bath cloudy or spent.

    >>> cloudy([BatchLog("B1", note="clouded after 40 min"), BatchLog("B2", note="never cloudy")], [], "bath")
    ('bath B1: "clouded after 40 min"',)
    """
    notes = [(f"{word} {log.batch}", log.note) for log in logs] + [
        (f"tile {one.tile}", one.note or one.why) for one in made
    ]
    return tuple(f'{whose}: "{note}"' for whose, note in notes if _says_cloudy(note))


def _says_cloudy(note: str) -> bool:
    return any(not _NOT.search(note[: found.start()]) for found in _CLOUDY.finditer(note))
