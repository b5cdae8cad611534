"""The rows of one response that can be reckoned with: what falls out, and what is refused with the tile's name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from tilestudy.analysis import wording
from tilestudy.analysis.findings import ResponseSpec
from tilestudy.analysis.numbers import significant
from tilestudy.errors import NotEnoughError
from tilestudy.study.language import listed
from tilestudy.study.records import Factor


@dataclass(frozen=True)
class Usable:
    """The usable rows, the tiles among them, and what fell out."""

    rows: pd.DataFrame
    tiles: pd.DataFrame
    notes: tuple[str, ...]

    def count(self, column: str) -> int:
        """How many batches, sessions or scorers there are."""
        return int(self.rows[column].nunique())


LARGEST = 1e100
"""Largest size of a value that is reckoned with; squares of larger ones do not fit into a number."""


def usable(frame: pd.DataFrame, factors: Sequence[Factor], response: ResponseSpec, study: str = "NAME") -> Usable:
    """Keep the rows that have a value and every setting.

    The rows also get `reference` (False where the frame says nothing) and, where the frame has it, `order`.

    Raises
    ------
    NotEnoughError
        When fewer than two tiles are left, a value is too large to reckon with, or a factor of doublings has a setting
        of nought or below.
    """
    wanted = ["tile", "batch", "session", *(factor.name for factor in factors), "y"]
    absent = [name for name in wanted if name not in frame.columns]
    if absent:
        raise NotEnoughError(
            f"The values of {response.label} come without {listed(absent)}, so nothing can be compared."
        )
    kept = [*wanted, *(["scorer"] if "scorer" in frame.columns else [])]
    rows = frame.loc[:, kept]
    finite = np.isfinite(pd.to_numeric(rows["y"], errors="coerce").to_numpy(dtype=float))
    whole = finite & rows.drop(columns="y").notna().all(axis=1).to_numpy()
    notes = []
    if not whole.all():
        lost = int((~whole).sum())
        notes.append(
            f"{lost} {'row has' if lost == 1 else 'rows have'} no value or no setting and {'was' if lost == 1 else 'were'} left out."
        )
    rows = rows.assign(reference=frame["reference"].eq(True) if "reference" in frame.columns else False)
    if "order" in frame.columns:
        rows = rows.assign(order=frame["order"])
    rows = rows.loc[whole].reset_index(drop=True)
    tiles = rows.drop_duplicates("tile").reset_index(drop=True)
    if len(tiles) < 2:
        what, enter = wording.value_of(response), wording.where_to_enter(response, study)
        raise NotEnoughError(
            f"No tile has {what} yet, and it takes several to compare. Enter them with {enter}."
            if tiles.empty
            else f"Only one tile ({tiles['tile'].iloc[0]}) has {what}, and it takes several to compare. Enter the others "
            f"with {enter}."
        )
    _refuse_impossible(rows, factors, response, study)
    return Usable(rows, tiles, tuple(notes))


def _refuse_impossible(rows: pd.DataFrame, factors: Sequence[Factor], response: ResponseSpec, study: str) -> None:
    y = rows["y"].to_numpy(dtype=float)
    for i in np.flatnonzero(np.abs(y) > LARGEST)[:1]:
        raise NotEnoughError(
            f"Tile {rows['tile'].iloc[i]} has {significant(y[i])} for {response.spoken}, which is too large to reckon with. "
            f"Correct it with {wording.where_to_enter(response, study)}."
        )
    spread = float(np.ptp(y))
    if 0 < spread < 1.0 / LARGEST:
        odd = rows["tile"].iloc[int(np.abs(y - np.median(y)).argmax())]
        raise NotEnoughError(
            f"The values of {response.spoken} differ by {significant(spread)} at most (tile {odd}), which is too little to "
            f"reckon with. State the values in a smaller unit, or correct them with "
            f"{wording.where_to_enter(response, study)}."
        )
    for factor in factors:
        if factor.spacing != "geometric" or not factor.numeric or min(float(level) for level in factor.levels) <= 0:
            continue
        settings = rows[factor.name].to_numpy(dtype=float)
        at_nought = list(dict.fromkeys(rows["tile"].iloc[i] for i in np.flatnonzero(settings <= 0)))
        if not at_nought:
            continue
        one = len(at_nought) == 1
        worst = float(settings[settings <= 0][0])
        unit = f" {factor.unit}" if factor.unit else ""
        where = (
            f"--batch {rows['batch'].iloc[int((settings <= 0).argmax())]}" if factor.set_per != "tile" else at_nought[0]
        )
        raise NotEnoughError(
            f"{'Tile' if one else 'Tiles'} {listed([str(code) for code in at_nought])} {'was' if one else 'were'} made at "
            f"{factor.label} {significant(worst)}{unit}, and {factor.label} is compared by doublings, which start above 0. "
            f"Enter what was really used: tilestudy made {study} {where} "
            f'--actual "{factor.name}={significant(float(factor.levels[0]))}{unit}" (with your number), or mark '
            f"{'the tile' if one else 'the tiles'} spoiled: tilestudy made {study} {at_nought[0]} --spoiled."
        )
