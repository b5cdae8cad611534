"""Blank forms to fill at the bench."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from tilestudy.errors import WrongRequestError
from tilestudy.study.forms.kinds import FORM_KINDS
from tilestudy.study.forms.table import csv_text, read_table
from tilestudy.study.records import Factor, Plan, Setting, Study
from tilestudy.study.units import show

Show = Callable[[Setting, Factor], str]


def write_form(kind: str, study: Study, plan: Plan, show: Show = show, *, scorer: str = "", spots: int = 1) -> str:
    """Return a blank form as CSV text: a row for each tile (or batch) in run order.

    Parameters
    ----------
    kind : str
        "made", "batches", "colour", "values" or "rub".
    study : Study
    plan : Plan
        Leave out of it the tiles that need no row (spoiled ones).
    show : callable
        Writes a setting with its unit.
    scorer : str
        Filled into a rub form for one scorer.
    spots : int
        Rows for each tile of a colour form.

    Examples
    --------
    >>> from tilestudy.study.records import Batch, Factor, Plan, Study, Tile
    >>> study = Study("s", "", "other", (Factor("dip", (5.0, 9.0), "s", "s"),))
    >>> plan = Plan("s", 1, (Batch("B1", 1, 1),), (Tile("A3", "B1", 1, 1, {"dip": 5.0}),))
    >>> print(write_form("made", study, plan), end="")
    tile,batch,session,order,planned_dip,on,actual_dip,spoiled,why,replaced_by,by,note
    A3,B1,1,1,5 s,,,,,,,
    """
    batch_factors = [factor for factor in study.factors if factor.set_per != "tile"]
    tile_factors = study.factors_set_per("tile")

    def planned(factors: Iterable[Factor], settings: Mapping[str, Setting]) -> list[str]:
        return [show(settings[one.name], one) if one.name in settings else "" for one in factors]

    rows: list[list[str]]
    if kind == "made":
        header = [
            *("tile", "batch", "session", "order"),
            *(f"planned_{factor.name}" for factor in study.factors),
            "on",
            *(f"actual_{factor.name}" for factor in tile_factors),
            *("spoiled", "why", "replaced_by", "by", "note"),
        ]
        rows = [
            [tile.code, tile.batch, str(tile.session), str(tile.order), *planned(study.factors, tile.settings)]
            for tile in plan.tiles
        ]
    elif kind == "batches":
        header = [
            *("batch", "session"),
            *(f"planned_{factor.name}" for factor in batch_factors),
            *("made_at", "discarded_at"),
            *(f"actual_{factor.name}" for factor in batch_factors),
            *("by", "note"),
        ]
        rows = [[batch.code, str(batch.session), *planned(batch_factors, batch.settings)] for batch in plan.batches]
    elif kind == "colour":
        header = [
            *("tile", "stage", "spot", "on", "L", "a", "b"),
            *("instrument", "geometry", "illuminant", "observer", "by"),
        ]
        rows = [[tile.code, study.stage, str(spot)] for tile in plan.tiles for spot in range(1, spots + 1)]
    elif kind == "values":
        header = ["tile", "response", "on", "value", "repeat", "by"]
        rows = [[tile.code, response.name, "", "", "1"] for tile in plan.tiles for response in study.responses]
    elif kind == "rub":
        header = ["tile", "condition", "protocol", "scorer", "on", "grade", "strokes", "broke_through"]
        conditions = () if study.rub is None else study.rub.conditions
        protocol = "" if study.rub is None else study.rub.protocol
        rows = [[tile.code, condition, protocol, scorer] for tile in plan.tiles for condition in conditions]
    else:
        raise WrongRequestError(f'There is no form "{kind}" to fill. Forms: {", ".join(FORM_KINDS[1:])}.')
    padded = [[*row, *[""] * (len(header) - len(row))] for row in rows]
    return csv_text([header, *padded])


def add_rows(text: str, blank: str) -> tuple[str, int]:
    """Add to a form that holds entries the rows of a blank form whose tile (or batch) it does not have yet.

    Returns the text, what was there untouched and the new rows at its end in the form's own columns, and how many.

    >>> add_rows("tile;on\\nA3;2026-11-24\\n", "tile,stage,on\\nA3,cured,\\nC4,cured,\\n")
    ('tile;on\\nA3;2026-11-24\\nC4;\\n', 1)
    """
    there, asked = read_table(text), read_table(blank)
    key = "tile" if "tile" in asked.names else "batch"
    known = {row[key].casefold() for row in there.rows}
    new = [[row[name] for name in there.names] for row in asked.rows if row[key].casefold() not in known]
    if not new or key not in there.names:
        return text, 0
    ending = "\r\n" if "\r\n" in text else "\n"
    start = text if text.endswith(("\n", "\r")) else text + ending
    return start + csv_text(new, there.delimiter).replace("\n", ending), len(new)
