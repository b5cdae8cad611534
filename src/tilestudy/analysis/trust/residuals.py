"""What a mixed fit leaves over, tile by tile and batch by batch, and what each of them does to the fit.

With the variance ratios held as fitted, all of it follows from P = V^-1 - V^-1 X (X' V^-1 X)^-1 X' V^-1, V being the
covariance of the rows at residual variance 1. Let d mark the rows of one tile (or batch). Then d'Py / d'Pd is how far it lies
from what all the others predict, in the unit of y; d'Py / sqrt(s^2 d'Pd) is the same in standard errors; and leaving it out
moves the coefficients by -(X' V^-1 X)^-1 X' V^-1 d times the first.

Source: the mean-shift form of deletion: Cook & Weisberg (1982), Residuals and Influence in Regression, chapter 2; for mixed
models Haslett & Hayes (1998), J. Roy. Statist. Soc. B 60:201.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tilestudy.analysis.mixed import Array
from tilestudy.analysis.model import indicators

_MIRRORED = -0.95  # correlation of departures from which two sets are one question
_NOTHING = 1e-8  # d'Pd below which nothing but the tile itself tells what it should be


@dataclass(frozen=True)
class Departures:
    """How far each of some sets of rows (tiles, batches) lies from what the others predict.

    Attributes
    ----------
    codes : tuple of str
        One for each set, in order of first appearance.
    apart : (k,) float
        Observed less predicted from all the other sets, unit of y; NaN where nothing else tells.
    standardised : (k,) float
        The same in standard errors, the set's own share in the noise included (internally studentised); NaN likewise.
    t : (k,) float
        The same with the noise of the others (externally studentised); NaN likewise.
    moves : (k, p) float
        Change of the coefficients when the set is left out; nought where it cannot be.
    together : (k, k) float
        Correlation of the departures when the model holds.
    """

    codes: tuple[str, ...]
    apart: Array
    standardised: Array
    t: Array
    moves: Array
    together: Array
    _to_r: Array
    _size: Array

    @property
    def told(self) -> np.ndarray:
        """True where other rows tell what the set should be."""
        return np.isfinite(self.apart)

    def mirror(self, code: str) -> str:
        """Return the set that departs just as far the other way, so that nobody can tell which of the two is off; or ""."""
        i = self.codes.index(code)
        mirrors = (
            np.flatnonzero(self.told & (self.together[i] <= _MIRRORED)) if self.told[i] else np.zeros(0, dtype=int)
        )
        return self.codes[int(mirrors[0])] if len(mirrors) == 1 else ""

    @property
    def questions(self) -> int:
        """Number of sets that can be told from each other: of two that mirror each other one counts."""
        told = [code for code, known in zip(self.codes, self.told, strict=True) if known]
        return len({min(code, self.mirror(code) or code) for code in told})


class Residuals:
    """The left-over of y on X with independent groups at given variance ratios.

    Parameters
    ----------
    y : (n,) float
    X : (n, p) float
        Full rank.
    groups : mapping of str to (n,) labels
    ratio : mapping of str to float
        Variance of each group over the residual variance.
    """

    def __init__(self, y: Array, X: Array, groups: Mapping[str, Sequence[str]], ratio: Mapping[str, float]) -> None:
        n = len(y)
        self.y, self.X = y, X
        self.Z = {name: indicators(np.unique(list(labels), return_inverse=True)[1]) for name, labels in groups.items()}
        self.levels = {name: [str(one) for one in np.unique(list(labels))] for name, labels in groups.items()}
        V = np.eye(n)
        for name, Z in self.Z.items():
            V += ratio[name] * (Z @ Z.T)
        self.ratio = dict(ratio)
        self.root = np.linalg.cholesky(V)
        V_inv = np.linalg.inv(V)
        self.phi = np.linalg.inv(X.T @ V_inv @ X)
        self.to_beta = self.phi @ X.T @ V_inv
        self.P = V_inv - V_inv @ X @ self.to_beta
        self.Py = self.P @ y
        self.beta = self.to_beta @ y
        self.df = n - X.shape[1]
        self.variance = float(y @ self.Py) / self.df

    def luck(self, name: str) -> dict[str, float]:
        """Return the prediction of each level's effect (shrunken towards nought), unit of y."""
        return dict(zip(self.levels[name], (self.ratio[name] * (self.Z[name].T @ self.Py)).tolist(), strict=True))

    def predicted(self, without: str = "") -> Array:
        """Return X beta and the luck of every group but one: (n,)."""
        found = self.X @ self.beta
        for name, Z in self.Z.items():
            if name != without:
                found = found + self.ratio[name] * (Z @ (Z.T @ self.Py))
        return np.asarray(found)

    def departures(self, labels: Sequence[str]) -> Departures:
        """Compare each set of rows that share a label with what all the other rows predict."""
        codes = list(dict.fromkeys(labels))
        D = np.array([[1.0 if label == code else 0.0 for code in codes] for label in labels])
        size = np.einsum("nk,nm,mk->k", D, self.P, D)
        told = size > _NOTHING * max(float(size.max()), 1e-300)
        safe = np.where(told, size, 1.0)
        score = D.T @ self.Py
        apart = np.where(told, score / safe, np.nan)
        squared = score**2 / safe
        standardised = np.where(told, score / np.sqrt(self.variance * safe), np.nan)
        left = np.maximum(self.df * self.variance - squared, 1e-12 * self.df * self.variance) / max(self.df - 1, 1)
        t = np.where(told, score / np.sqrt(left * safe), np.nan)
        DPD = D.T @ self.P @ D / np.sqrt(np.outer(safe, safe))
        moves = np.where(told[:, None], -(self.to_beta @ D).T * np.nan_to_num(apart)[:, None], 0.0)
        return Departures(tuple(codes), apart, standardised, t, moves, DPD, D.T @ self.P, safe)

    def simulated(self, one: Departures, rng: np.random.Generator, times: int) -> Array:
        """Draw standardised departures of studies in which the model holds: (times, k)."""
        noise = self.root @ rng.standard_normal((len(self.y), times))
        scale = np.sqrt(np.einsum("ns,ns->s", noise, self.P @ noise) / self.df)
        return np.asarray(((one._to_r @ noise) / np.sqrt(one._size)[:, None] / scale).T)
