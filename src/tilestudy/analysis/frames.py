"""From records to the frames the models take: one row an observation, settings as they really were.

Columns: tile, batch, session, reference, order, one per factor (stored units or names), and the response. Spoiled tiles are left out;
a tile without a making record counts as made as planned.
"""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from tilestudy.errors import NotEnoughError
from tilestudy.study.records import BatchLog, Made, Plan, Reading, Rub, Setting, Study, Value


def tiles_as_made(study: Study, plan: Plan, made: Iterable[Made], logs: Iterable[BatchLog]) -> pd.DataFrame:
    """Return one row for each tile that was not spoiled, with its actual settings where they are known.

    Columns: tile, batch, session, reference, order (in the batch), and each factor. A factor compared level by level keeps its planned level
    unless the actual one is another of its levels. Raises NotEnoughError when the plan knows nothing of a factor.
    """
    how = {one.tile: one for one in made}
    log = {one.batch: one for one in logs}
    rows = []
    for tile in plan.tiles:
        record = how.get(tile.code)
        if record is not None and record.spoiled:
            continue
        batch = plan.batch(record.batch if record and record.batch else tile.batch)
        row: dict[str, object] = {
            "tile": tile.code,
            "batch": batch.code,
            "session": batch.session,
            "reference": tile.reference,
            "order": tile.order,
        }
        for factor in study.factors:
            planned = batch.settings.get(factor.name, tile.settings.get(factor.name))
            if planned is None:
                raise NotEnoughError(
                    f"The study file has the factor {factor.label}, and the plan was made without it. Write the factors "
                    f'into the file as they were when the tiles were planned, or plan anew with "tilestudy plan {study.name}".'
                )
            setting: Setting = planned
            for actual in (log[batch.code].actual if batch.code in log else {}, record.actual if record else {}):
                if factor.name in actual and (factor.scaled or actual[factor.name] in factor.levels):
                    setting = actual[factor.name]
            row[factor.name] = setting
        rows.append(row)
    return pd.DataFrame(
        rows, columns=["tile", "batch", "session", "reference", "order", *(f.name for f in study.factors)]
    )


def colour_frame(tiles: pd.DataFrame, readings: Iterable[Reading], stage: str) -> pd.DataFrame:
    """Return one row a tile with L, a, b at one stage: the mean colour of its spots, and how many `spots`."""
    rows = [(one.tile, one.L, one.a, one.b) for one in readings if one.stage == stage]
    frame = pd.DataFrame(rows, columns=["tile", "L", "a", "b"])
    mean = frame.groupby("tile", as_index=False).agg(
        L=("L", "mean"), a=("a", "mean"), b=("b", "mean"), spots=("L", "size")
    )
    return tiles.merge(mean, on="tile", how="inner", sort=False)


def value_frame(tiles: pd.DataFrame, values: Iterable[Value], response: str) -> pd.DataFrame:
    """Return one row for each recorded value of a declared response, in column ``y``."""
    rows = [(one.tile, one.value) for one in values if one.response == response]
    return tiles.merge(pd.DataFrame(rows, columns=["tile", "y"]), on="tile", how="inner", sort=False)


def rub_frame(tiles: pd.DataFrame, rubs: Iterable[Rub], condition: str, round: int = 1) -> pd.DataFrame:
    """Return one row for each score under one condition in one round: the grade in ``y``, and the `scorer`."""
    rows = [(one.tile, one.scorer, one.grade) for one in rubs if (one.condition, one.round) == (condition, round)]
    return tiles.merge(pd.DataFrame(rows, columns=["tile", "scorer", "y"]), on="tile", how="inner", sort=False)


def strokes_frame(tiles: pd.DataFrame, rubs: Iterable[Rub], condition: str, round: int = 1) -> pd.DataFrame:
    """Return one row for each count of strokes under one condition in one round.

    The strokes are in ``y``; ``came`` is True where bare metal showed at that stroke, False where it had not come by then.
    Where that was not noted the strokes are taken as those to bare metal.
    """
    rows = [
        (one.tile, one.scorer, one.strokes, one.broke_through is not False)
        for one in rubs
        if (one.condition, one.round) == (condition, round) and one.strokes
    ]
    counts = pd.DataFrame(rows, columns=["tile", "scorer", "y", "came"])
    return tiles.merge(counts, on="tile", how="inner", sort=False)
