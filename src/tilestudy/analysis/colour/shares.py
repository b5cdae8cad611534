"""How much of the colour variation between tiles goes with each factor, with the luck of batches and with single tiles.

Sums of squares of L*, a* and b* added up. Where factors overlap (lost tiles, measured settings) each gets the average of
what it explains over all orders in which they may be asked (Lindeman, Merenda & Gold 1980, Introduction to Bivariate and
Multivariate Analysis, ch. 4), so that the shares add up to 1. A share is what was seen, not a test: a factor set per batch
is credited with the luck that its batches happened to have.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from math import comb
from typing import Any

import numpy as np
import pandas as pd

from tilestudy.analysis.mixed import Array
from tilestudy.analysis.model import CodedModel, indicators

_ALL_ORDERS = 8  # factors up to which all orders are averaged; beyond, the study's order and its reverse are


@dataclass(frozen=True)
class ColourShares:
    """Shares of the colour variation between tiles, 0 to 1; all together they make 1.

    Attributes
    ----------
    factors : mapping of str to float
        Main effect and bend of each factor.
    pairs : float
        Factors working together, beyond what each does alone.
    batches : float
        Luck of batches and sessions: what differs between them beyond the settings.
    tiles : float
        Scatter of tiles made alike within a batch.
    """

    factors: dict[str, float]
    pairs: float
    batches: float
    tiles: float

    def as_dict(self) -> dict[str, Any]:
        """Return the shares as plain values, ready for JSON."""
        return {"factors": dict(self.factors), "pairs": self.pairs, "batches": self.batches, "tiles": self.tiles}


def colour_shares(frame: pd.DataFrame, model: CodedModel) -> ColourShares | None:
    """Split the colour variation of the tiles by source.

    Parameters
    ----------
    frame : frame
        One row a tile: `batch`, `session`, the factors, and `L`, `a`, `b`.
    model : CodedModel
        Learned from these tiles.

    Returns
    -------
    ColourShares or None
        None when all tiles have the same colour.
    """
    X = model.matrix(frame)
    Y = frame[["L", "a", "b"]].to_numpy(dtype=float)
    Y = Y - Y.mean(axis=0)
    total = float((Y**2).sum())
    if total <= 1e-12:
        return None
    constant = np.ones((len(X), 1))
    blocks: dict[str, list[int]] = {}
    for term in model.terms:
        if term.kind in ("main", "bend"):
            blocks.setdefault(term.factors[0], []).extend(term.columns)
    names = list(blocks)
    seen: dict[frozenset[str], float] = {}

    def explained(some: frozenset[str]) -> float:
        if some not in seen:
            seen[some] = _explained(Y, np.hstack([constant, *(X[:, blocks[name]] for name in names if name in some)]))
        return seen[some]

    k = len(names)
    shares = dict.fromkeys(names, 0.0)
    if k <= _ALL_ORDERS:
        for name in names:
            rest = [other for other in names if other != name]
            for size in range(k):
                for some in combinations(rest, size):
                    gain = explained(frozenset({*some, name})) - explained(frozenset(some))
                    shares[name] += gain / (k * comb(k - 1, size))
    else:
        for order in (names, names[::-1]):
            for i, name in enumerate(order):
                shares[name] += (explained(frozenset(order[: i + 1])) - explained(frozenset(order[:i]))) / 2.0
    alone, whole = explained(frozenset(names)), _explained(Y, X)
    luck = indicators(pd.factorize(frame["batch"])[0])
    single = luck.shape[1] == len(X)  # a tile each: its luck is the tile's
    batches = whole if single else _explained(Y, np.hstack([X, luck]))
    return ColourShares(
        {name: max(share / total, 0.0) for name, share in shares.items()},
        max((whole - alone) / total, 0.0),
        max((batches - whole) / total, 0.0),
        max((total - batches) / total, 0.0),
    )


def _explained(Y: Array, X: Array) -> float:
    fitted = X @ np.linalg.lstsq(X, Y, rcond=1e-9)[0]
    return float((fitted**2).sum())
