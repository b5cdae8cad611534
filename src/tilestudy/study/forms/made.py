"""Rows of the forms filled at the bench: tiles made, and batches made up and discarded."""

from __future__ import annotations

from tilestudy.study.dates import read_moment
from tilestudy.study.forms.cells import read_yes
from tilestudy.study.forms.reader import Reader, label
from tilestudy.study.records import BatchLog, Made, Tile


def meet_replacements(reader: Reader) -> None:
    """Let the rows of a made form name the replacement tiles that other rows of it introduce."""
    for row in reader.table.rows:
        code, spoiled = row["replaced_by"], reader.tiles.get(row["tile"].casefold())
        if code and spoiled is not None and code.casefold() not in reader.tiles:
            reader.tiles[code.casefold()] = Tile(
                code, spoiled.batch, spoiled.session, spoiled.order, spoiled.settings, replaces=spoiled.code
            )


def made_rows(reader: Reader) -> tuple[Made, ...]:
    """Read that a tile was made: when, with which actual settings, and whether it was spoiled and replaced."""
    row, tile = reader.row, reader.tile()
    spoiled = reader.cell("spoiled", read_yes, False)
    on, actual = reader.on(), reader.actual()
    batch = ""
    if row["batch"] and (found := reader.batch()) is not None and tile is not None and found.code != tile.batch:
        batch = found.code
    for column in ("why", "replaced_by"):
        if row[column] and not spoiled:
            reader.fault(
                f"{label(column)} is filled in, but the tile is not marked as spoiled. Write yes in the column "
                f"spoiled, or empty the column {column}."
            )
    if tile is None:
        return ()
    replaced_by = _replacement(reader, tile)
    return (Made(tile.code, on, batch, actual, spoiled, row["why"], replaced_by, row["by"], row["note"]),)


def _replacement(reader: Reader, tile: Tile) -> str:
    """Return the code of the tile's replacement, "" for none; a code that is taken is a fault."""
    code = reader.row["replaced_by"]
    if not code:
        return ""
    new = reader.tiles.get(code.casefold())
    if code.casefold() == tile.code.casefold():
        reader.fault(f"tile {tile.code} cannot replace itself. Write the code of the new tile.")
    elif new is not None and new.replaces.casefold() != tile.code.casefold():
        role = f"stands in for {new.replaces}" if new.replaces else "is a planned tile itself"
        reader.fault(f"tile {new.code} cannot replace {tile.code}: it {role}. Take a code not yet used.")
    else:
        planned = {one.code.casefold() for one in reader.plan.tiles}
        if code.casefold() in {one.casefold() for one in reader.taken} - planned:
            reader.fault(f"tile code {code} is already used in the studio. Take a code not yet used.")
    return code if new is None else new.code


def batch_rows(reader: Reader) -> tuple[BatchLog, ...]:
    """Read when a batch was made up and discarded, and its actual settings."""
    row, batch = reader.row, reader.batch()
    made_at = reader.cell("made_at", lambda text: read_moment(text, reader.today, reader.date_order), None)
    day = None if made_at is None else made_at.date()
    discarded_at = reader.cell(
        "discarded_at", lambda text: read_moment(text, reader.today, reader.date_order, day), None
    )
    actual = reader.actual()
    if made_at is not None and discarded_at is not None and discarded_at < made_at:
        reader.fault(
            f"discarded at {discarded_at:%Y-%m-%d %H:%M} is before made at {made_at:%Y-%m-%d %H:%M}. Correct one of them."
        )
    if batch is None:
        return ()
    return (BatchLog(batch.code, made_at, discarded_at, actual, row["by"], row["note"]),)
