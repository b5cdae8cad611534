"""What an optimal plan is asked for: factors, model, batches, sessions, and what is ruled out or made already.

The words follow Goos & Jones (2011), Optimal Design of Experiments, chapters 2, 4, 5, 7 and 10: the batch is the whole
plot, sessions are blocks, a factor set per session makes a third stratum.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from tilestudy.study.records import Factor, Setting

Term = tuple[str, ...]
"""A model term as the factors multiplied: ``("dip",)``, ``("dip", "strength")``, or ``("dip", "dip")`` for a bend."""

Forbidden = Callable[[Mapping[str, npt.NDArray[Any]]], npt.NDArray[np.bool_]]
"""Given arrays of settings by factor name, all of one shape, return True where the combination may not be planned."""


@dataclass(frozen=True)
class MadeTile:
    """A tile that is there already: the batch it was made in (counted from 0) and its settings."""

    batch: int
    settings: Mapping[str, Setting]


@dataclass(frozen=True)
class Problem:
    """What is asked.

    Attributes
    ----------
    factors : tuple of Factor
        `levels` span the region: from the lowest to the highest for a scaled factor, the named levels for one in steps.
    batch_sizes : tuple of int
        Tiles in each batch, tiles made already included. ``(n,)`` with `eta` 0 is a plain plan without batches.
    model : "main effects", "interactions", "quadratic", or tuple of Term
        Interactions are all pairs besides main effects; quadratic adds a bend for each scaled factor. The mean is always
        in the model.
    criterion : "I" or "D"
        I: smallest average prediction variance over the region. D: largest information on the coefficients.
    eta : float
        Variance between batches over variance between tiles of one batch.
    sessions : tuple of int
        The session of each batch, counted from 0; () for one session.
    eta_session : float
        Variance between sessions over variance between tiles; used only when a factor is set per session (otherwise
        sessions are blocks, and their differences do not count).
    workable : mapping of str to tuple of float
        The settings the bench can make of a scaled factor. One not named here may take any value of its range.
    discrete : frozenset of str
        Scaled factors that have no values between their workable settings (or levels): a count, a fixed set of sheets.
    forbidden : callable or None
        See `Forbidden`.
    made : tuple of MadeTile
        Kept as they are, and counted in.
    near : tuple of mapping of str to float or str
        Settings at which predictions are wanted, each naming every factor; () for the whole region.
    unsure : tuple of Term
        Terms of the model whose own size is wanted. With `near` or `unsure`, criterion I is the average prediction variance
        at `near` plus the average variance of these terms' coefficients.
    """

    factors: tuple[Factor, ...]
    batch_sizes: tuple[int, ...]
    model: Literal["main effects", "interactions", "quadratic"] | tuple[Term, ...] = "quadratic"
    criterion: Literal["I", "D"] = "I"
    eta: float = 1.0
    sessions: tuple[int, ...] = ()
    eta_session: float = 1.0
    workable: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    discrete: frozenset[str] = frozenset()
    forbidden: Forbidden | None = None
    made: tuple[MadeTile, ...] = ()
    near: tuple[Mapping[str, Setting], ...] = ()
    unsure: tuple[Term, ...] = ()

    @property
    def tiles(self) -> int:
        """Number of tiles, those made already included."""
        return sum(self.batch_sizes)
