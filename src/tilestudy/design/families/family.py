"""The record every textbook family comes in: a coded matrix, and what cannot be told apart in it.

Terms as in Box, Hunter & Hunter (2005), Statistics for Experimenters, 2nd ed., chapters 5 to 8 and 12.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

Effect = tuple[int, ...]
"""Columns of an effect, rising: () the mean, (0,) a main effect, (0, 2) an interaction, (1, 1) the bend of column 1."""

Word = tuple[int, int]
"""A word of a defining relation: bit i of the first number stands for column i; the second is its sign, 1 or -1."""


@dataclass(frozen=True)
class Alias:
    """One effect and the others it cannot be told from, or not wholly.

    `shares` has one number for each of `others`: the correlation of the two columns. 1 or -1: the two cannot be told
    apart (the effect estimated is their sum or difference); 1/3: a third of the other adds to this one's estimate.
    For factors of more than two levels it has no sign: the root of the part of the effect's variation that lies in the
    other's.
    """

    effect: Effect
    others: tuple[Effect, ...]
    shares: tuple[float, ...]

    @property
    def inseparable(self) -> tuple[Effect, ...]:
        """The others that cannot be told from the effect at all."""
        return tuple(o for o, share in zip(self.others, self.shares, strict=True) if abs(share) > 1 - 1e-9)


@dataclass(frozen=True, eq=False)
class Family:
    """A textbook plan for one tile each row.

    Attributes
    ----------
    name : str
        The field's name, with the number of tiles.
    matrix : (tiles, columns) float
        Coded settings, in the source's standard order, not randomised; read-only.
    source : str
        Author, year.
    coding : "scale" or "levels"
        "scale": -1 the low and 1 the high setting, numbers between and (star tiles) beyond; "levels": level numbers
        from 0.
    generators : tuple of str
        Of a regular fraction, or of the cube of a composite plan, in letters (I left out): ``D=ABC``.
    words : tuple of Word
        The defining relation, shortest first, the mean left out.
    resolution : int or None
        Length of the shortest word; for an irregular two-level plan the strength plus one. None: no such word.
    aliases : tuple of Alias
        Among main effects, interactions of two and bends. Where main effects themselves are blurred by interactions, only
        theirs are listed.
    lost : tuple of Effect
        Effects that can be judged only in part or not at all since combinations are missing; in an array whose main effects
        are blurred, not listed.
    blocks : tuple of int
        Block of each row from 1, or empty; blocks are orthogonal to the effects the family is for.
    """

    name: str
    matrix: Floats
    source: str
    coding: Literal["scale", "levels"] = "scale"
    generators: tuple[str, ...] = ()
    words: tuple[Word, ...] = ()
    resolution: int | None = None
    aliases: tuple[Alias, ...] = ()
    lost: tuple[Effect, ...] = ()
    blocks: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        """Keep an own, read-only copy of the matrix."""
        matrix = np.array(self.matrix, dtype=float) + 0.0  # no -0
        matrix.flags.writeable = False
        object.__setattr__(self, "matrix", matrix)

    @property
    def tiles(self) -> int:
        """Number of tiles."""
        return int(self.matrix.shape[0])

    @property
    def columns(self) -> int:
        """Number of factors it has a column for."""
        return int(self.matrix.shape[1])

    @property
    def levels(self) -> tuple[int, ...]:
        """Number of different settings in each column."""
        return tuple(len(np.unique(self.matrix[:, column].round(9))) for column in range(self.columns))

    @property
    def word_lengths(self) -> tuple[int, ...]:
        """Word-length pattern: how many words have 3, 4, 5 ... letters, up to the number of columns."""
        lengths = [mask.bit_count() for mask, _ in self.words]
        return tuple(lengths.count(length) for length in range(3, self.columns + 1))
