"""Does a factor move the colour at all? One permutation test of L*, a* and b* together, true to the batches.

If a factor did nothing, its settings could be dealt out anew among the units they were dealt to, and colours would
differ as much as they do. So: measure how far apart the settings are (pseudo-F, the sums of squares of the three
channels added up), deal them out anew many times, and count how often chance alone gets as far apart.

Only what the making could have exchanged is exchanged. A factor set per tile changes places within each batch; a
factor set per batch takes its whole batch along, within a session where a session holds several settings of it. All
other terms are taken out first and the residuals dealt out (Freedman & Lane 1983). Where batches are the units, each
counts by its colour adjusted for the tiles it holds (Anderson & ter Braak 2003), so tiles do not pass for batches.

Sources: Anderson (2001), Austral Ecology 26:32, and McArdle & Anderson (2001), Ecology 82:290 (pseudo-F); Freedman &
Lane (1983), J. Bus. Econ. Statist. 1:292; Anderson & ter Braak (2003), J. Stat. Comput. Simul. 73:85.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from math import factorial
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tilestudy.analysis.mixed import Array
from tilestudy.analysis.model import CodedModel, Term, indicators
from tilestudy.study.records import SetPer

Indices = NDArray[np.intp]

DRAWS = 999
"""Random arrangements tried where there are too many for all of them."""

ALL_UP_TO = 2000
"""Largest number of arrangements that are all tried."""

_TIE = 1e-9  # share by which two values of the statistic may differ and still be one


@dataclass(frozen=True)
class ColourTest:
    """A permutation test of one term or several on the whole colour.

    Attributes
    ----------
    set_per : "tile", "batch" or "session"
        The unit that changed places.
    within : "batch", "session" or ""
        What the units stayed inside; "" when they changed places freely.
    F : float
        Pseudo-F: sum of squares for each column of the terms, against that for each spare unit.
    p : float
        Share of the arrangements, the true one among them, that get at least as far apart.
    least_p : float
        The smallest p that these units could have given.
    arrangements : int
        How many different ways there are to deal the settings out.
    exact : bool
        True when all of them were tried.
    """

    set_per: SetPer
    within: Literal["batch", "session", ""]
    F: float
    p: float
    least_p: float
    arrangements: int
    exact: bool

    def as_dict(self) -> dict[str, Any]:
        """Return the test as plain values, ready for JSON."""
        return {
            "set_per": self.set_per,
            "within": self.within,
            "F": self.F,
            "p": self.p,
            "least_p": self.least_p,
            "arrangements": self.arrangements,
            "exact": self.exact,
        }


def colour_tests(frame: pd.DataFrame, model: CodedModel, rng: np.random.Generator) -> dict[str, ColourTest | None]:
    """Test each factor (its main effect and bend together) on L*, a* and b* at once.

    Parameters
    ----------
    frame : frame
        One row a tile: `batch`, `session`, the factors, and `L`, `a`, `b`.
    model : CodedModel
        Learned from these tiles.
    rng : Generator
        Deals out settings where there are too many arrangements to try all.

    Returns
    -------
    mapping of str to ColourTest or None
        By factor, in the model's order. None where there is no noise to judge it by.
    """
    alone = [term for term in model.terms if term.kind in ("main", "bend")]
    return {
        name: term_test(frame, model, [term for term in alone if term.factors == (name,)], rng)
        for name in dict.fromkeys(term.factors[0] for term in alone)
    }


def term_test(
    frame: pd.DataFrame, model: CodedModel, terms: Sequence[Term], rng: np.random.Generator
) -> ColourTest | None:
    """Test some terms of one stratum together; see `colour_tests`.

    Returns None where the terms cannot be told from the luck of batches or sessions, or no noise is left to judge by.
    """
    stratum = terms[0].set_per
    X = model.matrix(frame if stratum == "tile" else _levelled(frame, model))
    Y = frame[["L", "a", "b"]].to_numpy(dtype=float)
    codes = {stratum: pd.factorize(frame[stratum])[0].astype(np.intp) for stratum in ("batch", "session")}
    columns = [column for term in terms for column in term.columns]
    others = [0, *(column for term in model.terms for column in term.columns if column not in columns)]
    if stratum != "tile" and model.spare[stratum] < 1:
        return None
    if stratum == "tile" and len(np.unique(codes["batch"])) < len(X):
        Z = np.hstack([X[:, others], indicators(codes["batch"])])
        return permuted(Y, Z, X[:, columns], codes["batch"], rng, stratum, "batch")
    units = np.arange(len(X)) if stratum == "tile" else codes[stratum]
    smaller = [t for t in model.terms if t not in terms and _is_smaller(t.set_per, stratum)]
    smaller_columns = [column for term in smaller for column in term.columns]
    others = [column for column in others if column not in smaller_columns]
    Y = np.linalg.lstsq(np.hstack([indicators(units), X[:, smaller_columns]]), Y, rcond=1e-9)[0][: units.max() + 1]
    first = np.unique(units, return_index=True)[1]
    X, sessions = X[first], codes["session"][first]
    if stratum != "session" and len(np.unique(sessions)) > 1:
        Z = np.hstack([X[:, others], indicators(sessions)])
        if _new(X[:, columns], Z) == _new(X[:, columns], X[:, others]):
            found = permuted(Y, Z, X[:, columns], sessions, rng, stratum, "session")
            if found is not None:
                return found
    return permuted(Y, X[:, others], X[:, columns], np.zeros(len(X), dtype=np.intp), rng, stratum, "")


def permuted(
    Y: Array,
    Z: Array,
    T: Array,
    blocks: Indices,
    rng: np.random.Generator,
    set_per: SetPer = "tile",
    within: Literal["batch", "session", ""] = "",
) -> ColourTest | None:
    """Test columns by dealing out residuals within blocks (Freedman & Lane 1983).

    Parameters
    ----------
    Y : (n, 3) float
        Colours of the units.
    Z : (n, q) float
        What is taken out first; spans the constant of each block.
    T : (n, r) float
        Columns to test.
    blocks : (n,) int
        Units change places within a block.

    Returns
    -------
    ColourTest or None
        None when Z explains T, or Z and T leave nothing of Y.

    Examples
    --------
    >>> Y, T = np.arange(12.0).reshape(4, 3) ** 2, np.array([[-1.0], [-1.0], [1.0], [1.0]])
    >>> found = permuted(Y, np.ones((4, 1)), T, np.zeros(4, dtype=int), np.random.default_rng(1))
    >>> found.arrangements, round(found.p, 4), round(found.least_p, 4)
    (6, 0.3333, 0.3333)
    """
    q_z = _basis(Z)
    q_t = _basis(T - q_z @ (q_z.T @ T), float(np.linalg.norm(T)))
    spare = len(Y) - q_z.shape[1] - q_t.shape[1]
    E = Y - q_z @ (q_z.T @ Y)
    total = float((E**2).sum())
    if not q_t.shape[1] or spare < 1 or total <= 1e-18 * max(float((Y**2).sum()), 1.0):
        return None
    alike = np.unique(np.round(np.hstack([Z, T]), 9), axis=0, return_inverse=True)[1].reshape(-1)
    many = _arrangements(alike, blocks)
    exact = many <= ALL_UP_TO
    order = np.array(list(_all(alike, blocks))) if exact else _drawn(blocks, rng)
    dealt = E[order]
    told = ((q_t.T @ dealt) ** 2).sum(axis=(1, 2))
    left = np.maximum(total - ((q_z.T @ dealt) ** 2).sum(axis=(1, 2)) - told, 1e-12 * total)
    ratios = told / left * (spare / q_t.shape[1])
    true = float(((q_t.T @ E) ** 2).sum())
    seen = true / max(total - true, 1e-12 * total) * (spare / q_t.shape[1])
    as_far = ratios >= seen - _TIE * seen
    if exact:
        p, least = float(as_far.mean()), float((ratios >= ratios.max() * (1.0 - _TIE)).mean())
    else:
        p, least = (1.0 + float(as_far.sum())) / (1.0 + DRAWS), 1.0 / (1.0 + DRAWS)
    return ColourTest(set_per, within, seen, p, least, many, exact)


def _levelled(frame: pd.DataFrame, model: CodedModel) -> pd.DataFrame:
    """Move settings wider than a tile to their levels: a bath measured a little weak is no setting of its own."""
    wide = {term.factors[0] for term in model.terms if term.kind == "main" and term.set_per != "tile"}
    moved = {}
    for name in wide:
        coding = model.codings[name]
        moved[name] = [coding.levels[i] for i in coding.nearest(frame[name].tolist())]
    return frame.assign(**moved)


def _is_smaller(stratum: SetPer, than: SetPer) -> bool:
    size = {"tile": 0, "batch": 1, "session": 2}
    return size[stratum] < size[than]


def _basis(X: Array, size: float = 0.0) -> Array:
    """Orthonormal columns that span X; what is small beside `size` (the largest column, if not given) is nought."""
    u, s, _ = np.linalg.svd(X, full_matrices=False)
    limit = 1e-7 * max(size, float(s[0]) if len(s) else 0.0)
    return np.asarray(u[:, s > limit])


def _new(T: Array, Z: Array) -> int:
    q = _basis(Z)
    return int(_basis(T - q @ (q.T @ T), float(np.linalg.norm(T))).shape[1])


def _arrangements(alike: Indices, blocks: Indices) -> int:
    """Count the different ways to deal units of these kinds out within blocks."""
    many = 1
    for block in np.unique(blocks):
        kinds = Counter(alike[blocks == block].tolist())
        ways = factorial(sum(kinds.values()))
        for count in kinds.values():
            ways //= factorial(count)
        many *= ways
    return many


def _all(alike: Indices, blocks: Indices) -> Iterator[Indices]:
    """Every different arrangement, as the row each unit gets its residual from."""
    places = [np.flatnonzero(blocks == block) for block in np.unique(blocks)]
    ways = [list(_ways(alike[place].tolist())) for place in places]
    for dealt in product(*ways):
        order = np.arange(len(alike))
        for place, kinds in zip(places, dealt, strict=True):
            # residual k of the block goes to the next free unit of the kind it drew
            free = np.argsort(alike[place], kind="stable")
            order[place[free]] = place[np.argsort(kinds, kind="stable")]
        yield order


def _ways(kinds: list[int]) -> Iterator[tuple[int, ...]]:
    """Distinct orders of a list with repeats."""
    if not kinds:
        yield ()
    for kind in dict.fromkeys(kinds):
        rest = list(kinds)
        rest.remove(kind)
        for tail in _ways(rest):
            yield (kind, *tail)


def _drawn(blocks: Indices, rng: np.random.Generator) -> Indices:
    """Random arrangements within blocks: (DRAWS, n)."""
    keys = rng.random((DRAWS, len(blocks))) + blocks
    order = np.argsort(keys, axis=1)
    place = np.argsort(blocks, kind="stable")
    dealt = np.empty_like(order)
    dealt[:, place] = order
    return dealt
