"""Coordinate exchange, all random starts in lock step.

Source: Meyer & Nachtsheim (1995), Technometrics 37:60-69 (the exchange); Jones & Goos (2007), Applied Statistics
56:347-364 (split plots); the formulas below are theirs or follow from them by the determinant lemma. With V = I + eta Z Z'
and K its inverse, the information is M = X' K X. A tile whose row changes by d changes it by
kappa d d' + d u' + u d', where kappa = K[i, i] and u = X' K[:, i]: two ranks, so that with a = d' P d, b = d' P u,
c = u' P u and P the inverse of M

    |M_new| / |M| = (1 + b)^2 + a (kappa - c)
    tr(P_new W) = tr(P W) + ((c - kappa) a_W - 2 (1 + b) b_W + a c_W) / ratio      (a_W, b_W, c_W with P W P for P).

A whole batch changes in the columns E that hold the factor exchanged; the rest N of M stays, so |M_new| and
tr(P_new W) follow from the Schur complement of N, a small matrix for each level tried.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tilestudy.design.optimal.model import Floats, Ints, Model
from tilestudy.design.optimal.problem import Problem

Bools = npt.NDArray[np.bool_]
LEAST_GAIN = 1e-8
"""An exchange must better the criterion by this share. Scores are rounded to a tenth of it, so that ties fall to the
first level tried whatever the processor's last digits: the same seed gives the same plan everywhere."""
_DIGITS = 9


@dataclass(frozen=True)
class Layout:
    """Where the tiles are.

    `batch` and `session` (n,) of each tile; `K` (n, n) the inverse of the variance of tiles, in units of that between
    tiles of a batch; `near` the tiles with which each tile shares an entry of K, `groups` the same as a partition, ()
    when no two do; `blocks` (n, s) sum-to-zero columns of the sessions; `made` (n,) True for tiles that stay as they are.
    """

    batch: Ints
    session: Ints
    K: Floats
    near: tuple[Ints, ...]
    blocks: Floats
    made: Bools
    groups: tuple[Ints, ...]


def lay(problem: Problem) -> Layout:
    """Return the layout of a problem: tiles batch by batch, in each the tiles made already first."""
    batch = np.repeat(np.arange(len(problem.batch_sizes)), problem.batch_sizes)
    of_batch = np.unique(np.array(problem.sessions or (0,) * len(problem.batch_sizes)), return_inverse=True)[1]
    session = of_batch[batch]
    n, kinds = len(batch), int(session.max()) + 1
    V = np.eye(n) + problem.eta * (batch[:, None] == batch[None, :])
    blocks = np.zeros((n, 0))
    if any(factor.set_per == "session" for factor in problem.factors):
        V = V + problem.eta_session * (session[:, None] == session[None, :])
    elif kinds > 1:
        blocks = np.vstack([np.eye(kinds - 1), -np.ones(kinds - 1)])[session]
    linked = V != 0
    K = np.where(linked, np.linalg.inv(V), 0.0)
    made = np.zeros(n, dtype=bool)
    for one in range(len(problem.batch_sizes)):
        many = sum(tile.batch == one for tile in problem.made)
        made[np.flatnonzero(batch == one)[:many]] = True
    near = tuple(np.flatnonzero(row) for row in linked)
    alone = all(len(one) == 1 for one in near)
    groups = () if alone else tuple(one for i, one in enumerate(near) if one[0] == i)
    return Layout(batch, session, K, near, blocks, made, groups)


@dataclass(frozen=True)
class _Move:
    """A coordinate: factor `j`, the columns `E` that hold it and the rest `N`; `uses`, its function in each of E; and
    `others`, the functions of the other factors there."""

    j: int
    E: Ints
    N: Ints
    uses: Ints
    others: tuple[tuple[int, Ints], ...]


class Exchange:
    """The state of all starts: coordinates `at` (S, n, k), columns `X` (S, n, p), `P` = inverse information (S, p, p).

    `value` (S,) is the criterion, to be lowered: -log|M| for D, average prediction variance for I.
    """

    def __init__(self, problem: Problem, model: Model, layout: Layout, at: Floats, criterion: str, ridge: float = 0.0):
        self.problem, self.model, self.layout, self.criterion = problem, model, layout, criterion
        p, s = len(model.use), layout.blocks.shape[1]
        self.W = np.zeros((p + s, p + s))
        self.W[:p, :p] = model.moments
        self.ridge = ridge * np.eye(p + s)
        self.moves = [self._move(j, p + s) for j in range(len(model.axes))]
        self.at = at.copy()
        self.of = [one.functions(self.at[:, :, j]) for j, one in enumerate(model.axes)]
        blocks = np.broadcast_to(layout.blocks, (len(at), *layout.blocks.shape))
        self.X = np.concatenate([model.columns(self.at), blocks], axis=-1)
        self.refresh()

    def _move(self, j: int, p: int) -> _Move:
        use = self.model.use
        inside = np.flatnonzero(use[:, j] > 0)
        others = tuple((f, use[inside, f]) for f in range(use.shape[1]) if f != j and (use[inside, f] > 0).any())
        return _Move(j, inside, np.setdiff1d(np.arange(p), inside), use[inside, j], others)

    def information(self) -> Floats:
        """Return X' K X, (S, p, p)."""
        return self.X.swapaxes(1, 2) @ self._weighted(self.X) + self.ridge

    def _weighted(self, X: Floats) -> Floats:
        if not self.layout.groups:
            return np.asarray(X * np.diag(self.layout.K)[:, None])
        out = np.empty_like(X)
        for rows in self.layout.groups:
            out[:, rows] = self.layout.K[np.ix_(rows, rows)] @ X[:, rows]
        return out

    def refresh(self) -> None:
        """Work everything out afresh from the columns, so that rounding never piles up."""
        self.M = self.information()
        self.P = np.asarray(np.linalg.inv(self.M), dtype=float)
        self._finish(slice(None))

    def _finish(self, which: slice | Ints) -> None:
        P = self.P[which]
        if self.criterion == "I":
            PW = P @ self.W
            if isinstance(which, slice):
                self.Q = PW @ P
                self.value = np.trace(PW, axis1=1, axis2=2)
            else:
                self.Q[which] = PW @ P
                self.value[which] = np.trace(PW, axis1=1, axis2=2)
        elif isinstance(which, slice):
            self.value = -np.linalg.slogdet(self.M)[1]

    def keep(self, which: Ints) -> None:
        """Go on with these starts only."""
        self.at, self.X, self.P, self.M, self.value = (
            one[which] for one in (self.at, self.X, self.P, self.M, self.value)
        )
        self.of = [one[which] for one in self.of]
        if self.criterion == "I":
            self.Q = self.Q[which]

    def sweep(self, levels: Sequence[Floats], step: float | None = None) -> Bools:
        """Try every coordinate once; return which starts changed.

        `levels` holds the coordinates (C,) to try of each factor; with a `step`, a factor that may take any value tries
        a step and half a step either side of where each start has it instead.
        """
        changed = np.zeros(len(self.at), dtype=bool)
        layout = self.layout
        per = [one.factor.set_per for one in self.model.axes]
        for where, label in (("session", layout.session), ("batch", layout.batch)):
            coarse = [j for j, one in enumerate(per) if one == where and len(self.moves[j].E)]
            for group in range(int(label.max()) + 1) if coarse else ():
                rows = np.flatnonzero(label == group)
                if layout.made[rows].any():
                    continue
                for j in coarse:
                    changed |= self._exchange_whole(rows, self.moves[j], self._tried(j, int(rows[0]), levels, step))
        if "session" in per or "batch" in per:
            self.refresh()
        fine = [j for j, one in enumerate(per) if one == "tile" and len(self.moves[j].E)]
        for i in np.flatnonzero(~layout.made):
            for j in fine:
                changed |= self._exchange_tile(int(i), self.moves[j], self._tried(j, int(i), levels, step))
        self.refresh()
        return changed

    def _tried(self, j: int, i: int, levels: Sequence[Floats], step: float | None) -> Floats:
        if step is None or not self.model.axes[j].free:
            return levels[j]
        around = self.at[:, i, j, None] + step * np.array([-1.0, -0.5, 0.5, 1.0])
        return np.clip(around, -1.0, 1.0)

    def _exchange_tile(self, i: int, move: _Move, levels: Floats) -> Bools:
        axis, E = self.model.axes[move.j], move.E
        x = self.X[:, i]
        other = self._other(i, move)
        new = axis.functions(levels)[..., move.uses] * other[:, None, :]
        d = new - x[:, None, E]
        near = self.layout.near[i]
        kappa = self.layout.K[i, i]
        u = kappa * x if len(near) == 1 else (self.layout.K[i, near] @ self.X[:, near])
        P = self.P
        y = (P @ u[:, :, None])[:, :, 0]
        c = (y * u).sum(-1)[:, None]
        b1 = 1.0 + (d @ y[:, E, None])[:, :, 0]
        a = ((d @ P[:, E[:, None], E]) * d).sum(-1)
        ratio = b1 * b1 + a * (kappa - c)
        if self.criterion == "D":
            gain = ratio - 1.0
        else:
            Q = self.Q
            z = (Q @ u[:, :, None])[:, :, 0]
            cW = (z * u).sum(-1)[:, None]
            bW = (d @ z[:, E, None])[:, :, 0]
            aW = ((d @ Q[:, E[:, None], E]) * d).sum(-1)
            safe = np.maximum(ratio, 1e-10)
            gain = ((kappa - c) * aW + 2 * b1 * bW - a * cW) / (safe * self.value[:, None])
            gain[ratio < 1e-10] = -1.0
        if self.problem.forbidden is not None:
            there = np.repeat(self.at[:, None, i], gain.shape[1], axis=1)
            there[..., move.j] = levels
            gain[self.model.banned(self.problem, there)] = -1.0
        best = np.round(gain, _DIGITS).argmax(1)
        every = np.arange(len(best))
        moved: Bools = gain[every, best] > LEAST_GAIN
        if not moved.any():
            return moved
        who = np.flatnonzero(moved)
        to = best[who]
        # P_new = P - [v y] S [v y]' with v = P d
        step = d[who, to]
        v = (P[who][:, :, E] @ step[:, :, None])[:, :, 0]
        r, bb, aa, cc = ratio[who, to], b1[who, to], a[who, to], c[who, 0] - kappa
        vy = np.stack([v, y[who]], axis=-1)
        core = np.stack([np.stack([cc, -bb], -1), np.stack([-bb, aa], -1)], -2) / r[:, None, None]
        self.P[who] = P[who] + vy @ core @ vy.swapaxes(1, 2)
        self._set(who, np.array([i]), move, levels[to] if levels.ndim == 1 else levels[who, to])
        self.X[who[:, None], i, E] = new[who, to]
        risky = who[(r > 100) | (r < 0.01)]
        if len(risky):  # far from where it was: rounding would show
            X = self.X[risky]
            self.P[risky] = np.linalg.inv(X.swapaxes(1, 2) @ self._weighted(X) + self.ridge)
        self._finish(who)
        return moved

    def _exchange_whole(self, rows: Ints, move: _Move, levels: Floats) -> Bools:
        axis, E, N = self.model.axes[move.j], move.E, move.N
        near = np.flatnonzero(self.layout.K[rows].any(axis=0))
        K, inner = self.layout.K[np.ix_(rows, near)], self.layout.K[np.ix_(rows, rows)]
        U = K @ self.X[:, near]
        old = self.X[:, rows[:, None], E]
        other = self._other(rows, move)
        if other.ndim == 2:
            other = np.broadcast_to(other[:, None, :], old.shape)
        to_other = other.swapaxes(1, 2)
        outside = U[:, :, E] - inner @ old
        half = old.swapaxes(1, 2) @ (outside + 0.5 * (inner @ old))
        base = self.M[:, E[:, None], E] - half - half.swapaxes(1, 2)
        f = axis.functions(levels)[..., move.uses]  # (C, e) or (S, C, e)
        fe = f if f.ndim == 3 else f[None]
        T = fe[..., :, None] * (to_other @ outside)[:, None]
        EE = (
            base[:, None]
            + T
            + T.swapaxes(2, 3)
            + fe[..., :, None] * fe[..., None, :] * (to_other @ inner @ other)[:, None]
        )
        NE = (self.M[:, N[:, None], E] - U[:, :, N].swapaxes(1, 2) @ old)[:, None] + (
            U[:, :, N].swapaxes(1, 2) @ other
        )[:, None] * fe[..., None, :]
        inverse = np.linalg.inv(self.M[:, N[:, None], N])
        lead = inverse[:, None] @ NE
        schur = EE - NE.swapaxes(2, 3) @ lead
        if self.criterion == "D":
            sign, log = np.linalg.slogdet(schur)
            now = -self.value - np.linalg.slogdet(self.M[:, N[:, None], N])[1]
            gain = np.where(sign > 0, log - now[:, None], -1.0)
        else:
            W = self.W
            far = lead.swapaxes(2, 3) @ W[np.ix_(N, E)]
            Q = lead.swapaxes(2, 3) @ W[np.ix_(N, N)] @ lead - far - far.swapaxes(2, 3) + W[np.ix_(E, E)]
            # a level at which columns (nearly) coincide has no trustworthy inverse: it is not taken
            size = np.sqrt(np.diagonal(self.M, axis1=1, axis2=2)[:, None, E])
            fine = np.linalg.det(schur / size[..., None, :] / size[..., :, None]) > 1e-12
            schur[~fine] = np.eye(len(E))
            fixed = (inverse * W[np.ix_(N, N)]).sum((1, 2))
            varies = (np.linalg.inv(schur) * Q).sum((2, 3))
            gain = np.where(fine & (varies > 0), 1.0 - (fixed[:, None] + varies) / self.value[:, None], -1.0)
        if self.problem.forbidden is not None:
            there = np.repeat(self.at[:, None, rows], gain.shape[1], axis=1)
            there[..., move.j] = levels[..., None]
            gain[self.model.banned(self.problem, there).any(-1)] = -1.0
        best = np.round(gain, _DIGITS).argmax(1)
        moved: Bools = gain[np.arange(len(best)), best] > LEAST_GAIN
        who = np.flatnonzero(moved)
        if not len(who):
            return moved
        to = best[who]
        self._set(who, rows, move, levels[to] if levels.ndim == 1 else levels[who, to])
        here = f[to] if f.ndim == 2 else f[who, to]
        self.X[who[:, None, None], rows[:, None], E] = here[:, None, :] * other[who]
        self.M[who[:, None, None], E[:, None], E] = EE[who, to]
        self.M[who[:, None, None], N[:, None], E] = NE[who, to]
        self.M[who[:, None, None], E[:, None], N] = NE[who, to].swapaxes(1, 2)
        g = gain[who, to]
        self.value[who] = self.value[who] - g if self.criterion == "D" else self.value[who] * (1 - g)
        return moved

    def _other(self, rows: int | Ints, move: _Move) -> Floats:
        """Product of the other factors' functions in the columns E: (S, e) for one row, (S, m, e) for rows."""
        out: Floats | None = None
        for f, use in move.others:
            one = self.of[f][:, rows][..., use]
            out = one if out is None else out * one
        return np.ones((len(self.at), len(move.E))) if out is None else out

    def _set(self, who: Ints, rows: Ints, move: _Move, coordinate: Floats) -> None:
        self.at[who[:, None], rows, move.j] = coordinate[:, None]
        functions = self.model.axes[move.j].functions(coordinate)
        self.of[move.j][who[:, None], rows] = functions[:, None, :]
