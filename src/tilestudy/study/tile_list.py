"""The tile list of a study as a CSV, so that its folder can be handed on by itself. `forms.read_tiles` reads it back."""

from __future__ import annotations

import csv
import io

from tilestudy.study.records import Plan, Study
from tilestudy.study.units import show


def write_tiles(study: Study, plan: Plan) -> str:
    """Return the tiles with batch, session, order and every planned setting, as CSV text in run order.

    Examples
    --------
    >>> from tilestudy.study.records import Batch, Factor, Tile
    >>> study = Study("s", "", "other", (Factor("dip", (5.0, 9.0), "s", "s"),))
    >>> print(write_tiles(study, Plan("s", 1, (Batch("B1", 1, 1),), (Tile("A3", "B1", 1, 1, {"dip": 5.0}),))), end="")
    tile,batch,session,order,dip,reference
    A3,B1,1,1,5 s,
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["tile", "batch", "session", "order", *(factor.name for factor in study.factors), "reference"])
    for tile in plan.tiles:
        if not tile.replaces:
            settings = [show(tile.settings[factor.name], factor) for factor in study.factors]
            reference = "yes" if tile.reference else ""
            writer.writerow([tile.code, tile.batch, tile.session, tile.order, *settings, reference])
    return out.getvalue()
