"""Whether a batch drifts while it is used: its reference tiles, all of one treatment, compared from first to last.

Each batch keeps a level of its own (so its luck does not count), and one slope from first (-1) to last (1) is shared by all
batches; the noise is what the reference tiles scatter about that. It is a check of the making, asked once for each response,
and not among the questions that Holm's correction counts.
"""

from __future__ import annotations

import numpy as np

from tilestudy.analysis.findings import LEAST_DF, Drift, rescaled
from tilestudy.analysis.mixed import fit_mixed
from tilestudy.analysis.model import indicators
from tilestudy.analysis.usable import Usable


def drift_within(data: Usable, smallest: float | None, level: float = 0.95) -> Drift | None:
    """Estimate the drift from the first to the last reference tile of a batch.

    Parameters
    ----------
    data : Usable
        Its rows say which tiles are for reference; several rows of one tile are averaged.
    smallest : float or None
        Smallest change that matters.
    level : float
        Coverage of the range.

    Returns
    -------
    Drift or None
        None when no batch has two reference tiles.
    """
    rows = data.rows[data.rows["reference"]]
    if rows.empty:
        return None
    by_tile = rows.groupby(["batch", "tile"], sort=False)
    tiles = by_tile["y"].mean().reset_index()
    tiles["at"] = (
        by_tile["order"].first().to_numpy(dtype=float) if "order" in rows else np.arange(len(tiles), dtype=float)
    )
    first, last = (tiles.groupby("batch")["at"].transform(end) for end in ("min", "max"))
    tiles = tiles.assign(place=2.0 * (tiles["at"] - first) / (last - first).where(last > first) - 1.0).dropna()
    if tiles.empty:
        return None
    y = tiles["y"].to_numpy(dtype=float)
    batches = int(tiles["batch"].nunique())
    X = np.column_stack([indicators(tiles["batch"].factorize()[0]), tiles["place"].to_numpy(dtype=float)])
    middle = float(np.median(y))
    scale = float(np.abs(y - middle).max())
    if len(y) - X.shape[1] < 1:
        slope = float(np.linalg.lstsq(X, (y - middle) / (scale or 1.0), rcond=None)[0][-1])
        return Drift(2.0 * slope * (scale or 1.0), None, None, batches, "cannot tell")
    if scale == 0.0:
        return Drift(0.0, 0.0, 0.0, batches, "no sign" if smallest else "not settled")
    fit = fit_mixed((y - middle) / scale, X)
    found = rescaled(fit.contrast(np.append(np.zeros(batches), 2.0), level), scale)
    if fit.perfect or found.low is None or found.high is None or (found.ddf is not None and found.ddf < LEAST_DF):
        return Drift(found.value, None, None, batches, "cannot tell")
    if found.low > 0 or found.high < 0:
        return Drift(
            found.value, found.low, found.high, batches, "drifts", smallest is not None and abs(found.value) < smallest
        )
    settled = smallest is not None and max(-found.low, found.high) <= smallest
    return Drift(found.value, found.low, found.high, batches, "no sign" if settled else "not settled")
