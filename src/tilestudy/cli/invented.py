"""Invented bench results for the demonstration study: made up from a made-up truth, with noise, and said to be so.

Nothing here was measured. Dark copper comes from strength, dip time and scrubbing alike; strong quick dips leave a
soot that rubs off; many scrub cycles make the film hold. Baths mixed alike differ, scorers differ, one tile is dropped.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from random import Random

from tilestudy.study.records import Plan, Study, Tile

SCORERS = {"KL": -0.3, "MB": 0.0, "TR": 0.25}
"""Marks of the invented scorers, and how much kinder than the middle each is, in grades."""

_PATH = ((62, 18, 20), (53, 24, 23), (43, 25, 16), (35, 15, 8), (28, 8, 6), (22, 4, 4), (18, 2, 2))


@dataclass(frozen=True)
class Invented:
    """Filled rows of each form, by column name, as a class might have written them."""

    made: list[dict[str, str]]
    batches: list[dict[str, str]]
    colour: list[dict[str, str]]
    rub: list[dict[str, str]]


def session_day(first: date, session: int) -> date:
    """Return the day of a session: sessions are a day apart, two for a bench class."""
    return first + timedelta(days=session - 1)


def invent(study: Study, plan: Plan, first_day: date, spare: str = "", seed: int = 5) -> Invented:
    """Invent a class's results for a plan.

    Parameters
    ----------
    first_day : date
        Day of session 1; colour and rubs follow a week after the last.
    spare : str
        Code of the spare tile that replaces the one that is dropped; "" when none is.
    """
    rng = Random(seed)
    luck = {batch.code: (rng.gauss(0, 0.02), rng.gauss(0, 0.2)) for batch in plan.batches}
    week_later = session_day(first_day, max(batch.session for batch in plan.batches)) + timedelta(days=7)
    dropped = plan.tiles[len(plan.tiles) // 3] if spare else None
    made, colour, rub = [], [], []
    for tile in plan.tiles:
        on = session_day(first_day, tile.session).isoformat()
        actual = float(tile.settings["dip_time"]) + rng.choice((0, 0, 0, 0, 1, 2, 4))
        row = {"tile": tile.code, "batch": tile.batch, "on": on, "by": rng.choice(("MB", "TR"))}
        if actual != tile.settings["dip_time"]:
            row["actual_dip_time"] = f"{actual:g}"
        code = tile.code
        if tile is dropped:
            made.append({**row, "spoiled": "yes", "why": "dropped, face scratched", "replaced_by": spare})
            code, row = spare, {**row, "tile": spare}
        made.append(row)
        shade, hold = _truth(tile, actual)
        shade += luck[tile.batch][0] + rng.gauss(0, 0.025)
        hold += luck[tile.batch][1] + rng.gauss(0, 0.3)
        for spot in (1, 2, 3):
            L, a, b = _on_path(shade + rng.gauss(0, 0.008))
            reading = {"tile": code, "stage": study.stage, "on": week_later.isoformat(), "spot": str(spot)}
            reading |= {"L": f"{L:.1f}", "a": f"{a:.1f}", "b": f"{b:.1f}"}
            colour.append({**reading, "instrument": "hand spectrophotometer", "geometry": "d/8 SCI"})
        for scorer, kinder in SCORERS.items():
            grade = min(5.0, max(1.0, round(2 * (hold + kinder + rng.gauss(0, 0.25))) / 2))
            row = {
                "tile": code,
                "condition": "dry",
                "scorer": scorer,
                "on": week_later.isoformat(),
                "grade": f"{grade:g}",
            }
            rub.append(row | ({"strokes": "10", "broke_through": "no"} if grade >= 3 else _broke(grade)))
    batches = []
    for batch in plan.batches:
        start = datetime.combine(session_day(first_day, batch.session), time(10, 0))
        start += timedelta(minutes=35 * ((batch.order - 1) % 3))
        row = {"batch": batch.code, "made_at": f"{start:%Y-%m-%d %H:%M}", "by": "MB"}
        row["discarded_at"] = f"{start + timedelta(hours=3):%Y-%m-%d %H:%M}"
        if batch.order == 4:
            row |= {
                "actual_strength": f"{float(batch.settings['strength']) * 0.97:.3g}",
                "note": "scale showed a little less",
            }
        batches.append(row)
    return Invented(made, batches, colour, rub)


def _broke(grade: float) -> dict[str, str]:
    return {"strokes": str(round(2 + 2.5 * grade)), "broke_through": "yes"}


def _truth(tile: Tile, dip_s: float) -> tuple[float, float]:
    """Place on the colour path (0 bare to 1 black), and the grade it would hold, of a tile made with average luck."""
    strong = math.log(float(tile.settings["strength"])) / math.log(9)
    long = math.log(dip_s / 10) / math.log(9)
    scrubbed = math.log(float(tile.settings["scrub_cycles"])) / math.log(4)
    shade = 0.14 + 0.30 * strong + 0.23 * long + 0.25 * scrubbed - 0.05 * strong * long
    hold = 4.3 - 1.0 * strong - 0.2 * long + 1.3 * scrubbed - 0.9 * strong * long * (1 - 0.7 * scrubbed)
    return shade, hold


def _on_path(shade: float) -> tuple[float, float, float]:
    place = min(max(shade, 0.0), 0.999) * (len(_PATH) - 1)
    start = int(place)
    part = place - start
    L, a, b = (x + part * (y - x) for x, y in zip(_PATH[start], _PATH[start + 1], strict=True))
    return L, a, b


def fill(form: str, rows: Sequence[Mapping[str, str]], key: Sequence[str]) -> str:
    """Write rows into a blank form by their key columns; rows the form does not have are added at its end."""
    comments = [line for line in form.splitlines() if line.startswith("#")]
    reader = csv.DictReader(line for line in form.splitlines() if not line.startswith("#"))
    columns = list(reader.fieldnames or ())
    waiting = {tuple(row.get(one, "") for one in key): row for row in rows}
    filled = []
    for blank in reader:
        found = waiting.pop(tuple(blank.get(one) or "" for one in key), {})
        filled.append({**blank, **found})
    filled += [dict(row) for row in waiting.values()]
    columns += [name for row in filled for name in row if name not in columns]
    out = io.StringIO()
    writer = csv.DictWriter(out, list(dict.fromkeys(columns)), restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(filled)
    return "".join(f"{line}\n" for line in comments) + out.getvalue()
