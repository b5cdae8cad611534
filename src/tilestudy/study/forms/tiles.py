"""The list of tiles that exist: read to take tiles in, and written so that a study's folder can be handed on by itself."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from tilestudy.errors import Fault
from tilestudy.study.forms.cells import listing, read_yes
from tilestudy.study.forms.kinds import NEEDED, known_columns
from tilestudy.study.forms.reader import Parse, Reader
from tilestudy.study.forms.table import csv_text, read_table
from tilestudy.study.records import Batch, Plan, Setting, Study, Tile
from tilestudy.study.units import parse_setting, show, show_exactly


@dataclass(frozen=True)
class TilesReading:
    """What a list of existing tiles said: the plan, or None when there are faults."""

    plan: Plan | None
    faults: tuple[Fault, ...]


def read_tiles(text: str, file: str, study: Study, *, parse: Parse = parse_setting) -> TilesReading:
    """Read a list of tiles that exist already (an old sample board, a published experiment).

    Parameters
    ----------
    text, file : str
        CSV with the columns tile, batch, one for each factor, and if wanted session, order, reference.
    study : Study
    parse : callable
        Reads one setting of a factor; raises UnitError.

    Examples
    --------
    >>> from tilestudy.study.records import Factor
    >>> study = Study("s", "", "other", (Factor("dip", (5.0, 9.0), "s", "s"),))
    >>> reading = read_tiles("tile,batch,dip (min)\\nA3,B1,1.5\\n", "tiles.csv", study)
    >>> [(tile.code, tile.settings) for tile in reading.plan.tiles]
    [('A3', {'dip': 90.0})]
    """
    reader = Reader("tiles", file, study, read_table(text), date.max, None, parse, Plan(study.name, 0, (), ()))
    rows = reader.table.rows
    if reader.table.header:
        reader.check_header(known_columns("tiles", study), (*NEEDED["tiles"], *(one.name for one in study.factors)))
        if not rows:
            reader.head("there are no tiles in this file. Write one row for each tile.", line=False)
    sessions = _sessions(reader)
    session_names = {sessions[name.casefold()]: name for row in rows if (name := row["session"])}
    batches: dict[str, Batch] = {}
    sizes: Counter[str] = Counter()
    tiles: list[Tile] = []  # one for each row, in their order
    lines: dict[str, int | None] = {}
    for place, row in enumerate(rows):
        reader.place = place
        code = row["tile"]
        for name in NEEDED["tiles"]:
            if name in reader.table.names and not row[name]:
                reader.fault(f"there is no {name} code in this row. Each tile needs one.")
        if code and code.casefold() in lines:
            reader.fault(f"tile {code} is already on line {lines[code.casefold()]}. Give each tile a code of its own.")
        lines.setdefault(code.casefold(), row.line)
        settings = _settings(reader)
        session = sessions.get(row["session"].casefold(), 1)
        batch = batches.get(row["batch"].casefold())
        if batch is None:
            shared = {
                factor.name: settings[factor.name]
                for factor in study.factors
                if factor.set_per != "tile" and factor.name in settings
            }
            batch = Batch(row["batch"], session, len(batches) + 1, shared)
            batches[row["batch"].casefold()] = batch
        elif batch.session != session and row["batch"]:
            reader.fault(
                f"batch {batch.code} is in session {session_names.get(batch.session, batch.session)} and here in session "
                f"{row['session']}. A batch belongs to one session; correct it, or give the second batch its own code."
            )
        sizes[batch.code] += 1
        order = reader.cell("order", reader.whole(1), sizes[batch.code])
        reference = reader.cell("reference", read_yes, False)
        tiles.append(Tile(code, batch.code, batch.session, order, settings, reference))
    places = {batch.code: batch.order for batch in batches.values()}
    by_batch = sorted(range(len(tiles)), key=lambda place: places[tiles[place].batch])
    _check_shared(reader, tiles, by_batch, "batch")
    _check_shared(reader, tiles, by_batch, "session")
    if reader.faults:
        return TilesReading(None, reader.sorted_faults())
    tiles.sort(key=lambda tile: (tile.session, places[tile.batch], tile.order))
    ordered = sorted(batches.values(), key=lambda batch: (batch.session, batch.order))
    return TilesReading(Plan(study.name, 0, tuple(ordered), tuple(tiles), taken_in=True), ())


def _sessions(reader: Reader) -> dict[str, int]:
    """Number the sessions: as written when all are whole numbers, else in order of appearance."""
    if "session" not in reader.table.names:
        return {}
    written = [row["session"] for row in reader.table.rows]
    for place, cell in enumerate(written):
        if not cell:
            reader.fault("there is no session in this row, though the file has that column.", place)
    names = list(dict.fromkeys(cell.casefold() for cell in written if cell))
    if all(re.fullmatch(r"[1-9][0-9]{0,4}", name) for name in names):
        return {name: int(name) for name in names}
    return {name: number for number, name in enumerate(names, start=1)}


def _settings(reader: Reader) -> dict[str, Setting]:
    """Return the settings of the row the reader stands at, by factor."""
    settings: dict[str, Setting] = {}
    for factor in reader.study.factors:
        if factor.name not in reader.table.names:
            continue  # said once, of the header
        if not reader.row[factor.name]:
            reader.fault(f"{factor.label} is empty. Write how it was set for this tile.")
        elif (value := reader.setting(factor.name, factor)) is not None:
            settings[factor.name] = value
    return settings


def _check_shared(
    reader: Reader, tiles: Sequence[Tile], by_batch: Sequence[int], where: Literal["batch", "session"]
) -> None:
    """A factor set per batch is one setting within a batch, one set per session within a session.

    `by_batch` holds the places of the tiles, batch after batch.
    """
    for factor in reader.study.factors_set_per(where):
        groups: dict[str, dict[Setting, list[int]]] = {}
        for place in by_batch:
            tile = tiles[place]
            if factor.name in tile.settings:
                name = tile.batch if where == "batch" else str(tile.session)
                groups.setdefault(name, {}).setdefault(tile.settings[factor.name], []).append(place)
        for name, found in groups.items():
            if len(found) < 2 or not name:
                continue
            each = []
            for value, places in found.items():
                codes = ", ".join(tiles[place].code for place in places)
                each.append(f"{show(value, factor)} ({'tile' if len(places) == 1 else 'tiles'} {codes})")
            second = list(found.values())[1]
            reader.fault(
                f"{factor.label} is set per {where}, but {where} {name} has {listing(each)}. Correct the setting, "
                f"or give what was made apart a {where} of its own.",
                second[0],
            )


def write_tiles(study: Study, plan: Plan) -> str:
    """Return the tiles with batch, session, order and every planned setting, as CSV text in run order.

    Tiles that replace one of their own batch are left out: the made form introduces them. `read_tiles` reads the text back.

    Examples
    --------
    >>> from tilestudy.study.records import Factor
    >>> study = Study("s", "", "other", (Factor("dip", (5.0, 9.0), "s", "s"),))
    >>> print(write_tiles(study, Plan("s", 1, (Batch("B1", 1, 1),), (Tile("A3", "B1", 1, 1, {"dip": 5.0}),))), end="")
    tile,batch,session,order,dip,reference
    A3,B1,1,1,5 s,
    """
    rows = [["tile", "batch", "session", "order", *(factor.name for factor in study.factors), "reference"]]
    batch_of = {tile.code: tile.batch for tile in plan.tiles}
    for tile in plan.tiles:
        if not tile.replaces or batch_of.get(tile.replaces, tile.batch) != tile.batch:
            settings = [show_exactly(tile.settings[factor.name], factor) for factor in study.factors]
            reference = "yes" if tile.reference else ""
            rows.append([tile.code, tile.batch, str(tile.session), str(tile.order), *settings, reference])
    return csv_text(rows)
