"""Random plans to start from: shared settings drawn once for each session and batch, nothing forbidden."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tilestudy.design.optimal.exchange import Layout
from tilestudy.design.optimal.model import Floats, Ints, Model, grid
from tilestudy.design.optimal.problem import Problem
from tilestudy.errors import PlanError


def random_starts(
    problem: Problem, model: Model, layout: Layout, levels: Sequence[Floats], many: int, rng: np.random.Generator
) -> Floats:
    """Return coordinates (many, n, k) drawn from `levels`, those of made tiles as they are.

    Raises PlanError when some tile has no admissible combination left.
    """
    n, k = len(layout.batch), len(model.axes)
    pinned = _pinned(problem, model, layout)
    if problem.forbidden is None:
        at = np.empty((many, n, k))
        for j, one in enumerate(model.axes):
            place = (rng.random((many, n)) * len(levels[j])).astype(np.int64)
            label = {"tile": np.arange(n), "batch": layout.batch, "session": layout.session}[one.factor.set_per]
            first = np.unique(label, return_index=True)[1]
            at[:, :, j] = levels[j][place][:, first[label]]
        return np.where(np.isnan(pinned), at, pinned)
    draw = _Draw(problem, model, levels, rng)
    return np.stack([draw.plan(layout, pinned) for _ in range(many)])


def _pinned(problem: Problem, model: Model, layout: Layout) -> Floats:
    """(n, k) coordinates that are settled by tiles made already, NaN where free."""
    at = np.full((len(layout.batch), len(model.axes)), np.nan)
    used: dict[int, int] = {}
    for tile in problem.made:
        i = int(np.flatnonzero(layout.batch == tile.batch)[used.get(tile.batch, 0)])
        used[tile.batch] = used.get(tile.batch, 0) + 1
        for j, one in enumerate(model.axes):
            value = one.code(tile.settings[one.factor.name])
            at[i, j] = value
            if one.factor.set_per == "batch":
                at[layout.batch == tile.batch, j] = value
            elif one.factor.set_per == "session":
                at[layout.session == layout.session[i], j] = value
    return at


class _Draw:
    """Draws admissible combinations: the session's settings first, then the batch's, then the tile's."""

    def __init__(self, problem: Problem, model: Model, levels: Sequence[Floats], rng: np.random.Generator):
        self.problem, self.model, self.levels, self.rng = problem, model, levels, rng
        per = [one.factor.set_per for one in model.axes]
        self.session = np.array([one == "session" for one in per])
        self.shared = np.array([one != "tile" for one in per])
        self.known: dict[tuple[float, ...], Floats] = {}

    def plan(self, layout: Layout, pinned: Floats) -> Floats:
        at = pinned.copy()
        for session in range(int(layout.session.max()) + 1):
            self._settle(at, np.flatnonzero(layout.session == session), self.session)
        for batch in range(int(layout.batch.max()) + 1):
            self._settle(at, np.flatnonzero(layout.batch == batch), self.shared)
        for i in np.flatnonzero(~layout.made):
            self._settle(at, np.array([i]), np.ones(len(self.shared), dtype=bool))
        return at

    def _settle(self, at: Floats, rows: Ints, which: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> None:
        """Draw the factors `which` of these rows together, given what is settled."""
        if not which.any() or not np.isnan(at[rows][:, which]).any():
            return
        # what the rows share: of a tile of its own everything, of a batch only the shared factors
        given = np.where(self.shared | which, at[rows[0]], np.nan)
        choices = np.unique(self._options(given)[:, which], axis=0)
        pick = choices[int(self.rng.random() * len(choices))]
        at[np.ix_(rows, np.flatnonzero(which))] = pick

    def _options(self, given: Floats) -> Floats:
        key = tuple(np.nan_to_num(given, nan=9e9).tolist())
        if key not in self.known:
            levels = [self.levels[j] if np.isnan(value) else given[j : j + 1] for j, value in enumerate(given)]
            rows = grid(levels)
            rows = rows[~self.model.banned(self.problem, rows)]
            if not len(rows):
                raise PlanError(_nothing_left(self.problem, self.model, given))
            self.known[key] = rows
        return self.known[key]


def _nothing_left(problem: Problem, model: Model, given: Floats) -> str:
    with_settings = [
        f"{one.factor.label} {one.shown(given[j : j + 1])[0]}"
        for j, one in enumerate(model.axes)
        if not np.isnan(given[j])
    ]
    if with_settings:
        return (
            f"Tiles made already fix {' and '.join(with_settings)}, and with that every combination of the other "
            "settings is forbidden. Put the new tiles into other batches, or forbid less."
        )
    return (
        "Every combination of the settings is forbidden, so no tile can be planned. "
        "Forbid less: leave at least as many combinations as the model has terms."
    )
