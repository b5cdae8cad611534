"""What is held of a phone before its reference patches are seen: the prior of the 23 numbers of `colour_map`.

With 24 patches each number has its own spread, wide enough that the patches decide. Two such beliefs are tried, a phone
with the usual curve that bends green and blue, and any phone; the evidence decides. Six patches cannot tell how
channels mix and bend, so there cameras go only where cameras go: `WAYS` are the main directions (times their standard
deviation) in which 200 invented cameras under invented lights differed from their pictures' nominal colours, each
fitted to the 24 chart colours and 40 patinas; tests/synthetic/ways.py makes them again. A grey card sets the gains
alone, with a typical curve, a compromise between the invented phones of tests/synthetic and six real photos. The
spreads for 24 patches were chosen, by hand and by trying a few hundred, on invented photos and on those six;
tests/benchmarks/photo_accuracy.py judges them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

STRAY, COMMON = 3, 4
GAINS, MIXING, ROOTS = slice(5, 8), slice(8, 14), slice(14, 23)
COUNT = 23
"""Numbers: a, k, c of the tone curve; stray light; common gain; three gains; six shares of mixing; nine of the
roots."""

WAYS: Floats = np.array(
    [
        [-0.015, 0.015, 0.002, 0.003, 0.005, -0.019, 0.260, 0.008, -0.071, -0.026, -0.027, 0.015, 0.041, -0.113, 0.019],
        [0.007, 0.010, -0.001, 0.003, -0.000, 0.025, 0.090, -0.037, -0.012, 0.005, -0.029, 0.009, -0.018, 0.202,
        -0.042], [-0.038, 0.017, -0.004, -0.012, -0.004, -0.014, 0.012, -0.126, 0.030, -0.012, 0.088, -0.022, 0.005,
        -0.010, 0.000], [-0.070, -0.006, 0.003, 0.006, -0.006, -0.029, -0.006, 0.006, -0.011, 0.015, -0.016, 0.001,
        -0.004, 0.007, 0.006], [0.014, 0.002, -0.004, 0.005, -0.000, 0.001, 0.007, -0.019, 0.008, 0.055, -0.019, -0.010,
        -0.028, -0.009, 0.015], [-0.000, -0.004, -0.001, -0.002, -0.001, 0.000, 0.004, 0.013, -0.013, -0.006, 0.023,
        -0.004, -0.030, 0.004, 0.017], [-0.008, 0.004, 0.006, -0.000, 0.004, 0.018, -0.001, -0.007, 0.005, -0.012,
        -0.013, 0.007, -0.012, -0.004, 0.005], [-0.007, 0.003, 0.010, 0.001, 0.005, 0.018, 0.000, 0.006, -0.005, 0.012,
        0.010, -0.005, 0.007, -0.000, -0.004], [-0.001, -0.005, 0.006, 0.004, 0.000, -0.002, 0.005, 0.006, 0.016,
        -0.000, 0.003, -0.002, -0.001, 0.001, 0.001], [-0.002, 0.004, -0.005, -0.005, -0.005, 0.002, 0.001, 0.003,
        0.003, 0.000, 0.000, -0.002, -0.005, -0.003, -0.010], ] )  # fmt: skip
"""(10, 15): mixing and roots."""


@dataclass(frozen=True)
class Belief:
    """A normal prior.

    Attributes
    ----------
    middle, spread : (23,) arrays
        Means and standard deviations of the numbers; a spread of 0 fixes one.
    ways : float
        How far mixing and roots go along `WAYS` besides, in their standard deviations.
    sizes : tuple of float
        Sizes of a patch's error (CIEDE2000, about) that are tried.
    """

    middle: Floats
    spread: Floats
    ways: float
    sizes: tuple[float, ...]

    @cached_property
    def free(self) -> npt.NDArray[np.int64]:
        """Which numbers are fitted."""
        return np.flatnonzero(self.spread > 0)

    @cached_property
    def ridge(self) -> Floats:
        """Inverse covariance of the fitted numbers."""
        covariance = np.diag(self.spread**2)
        covariance[MIXING.start :, MIXING.start :] += self.ways**2 * WAYS.T @ WAYS
        return np.asarray(np.linalg.inv(covariance[np.ix_(self.free, self.free)]))


def _belief(
    curve: tuple[float, float], to_stray: tuple[float, ...], gains: tuple[float, float], mixing: npt.ArrayLike,
    roots: npt.ArrayLike, ways: float, sizes: tuple[float, ...],
) -> Belief:  # fmt: skip
    middle, spread = np.zeros(COUNT), np.zeros(COUNT)
    middle[: COMMON + 1] = (*curve, 0.0, 0.003, -0.2)
    spread[:COMMON] = to_stray
    spread[COMMON], spread[GAINS] = gains
    spread[MIXING], spread[ROOTS] = mixing, roots
    return Belief(middle, spread, ways, sizes)


@cache
def beliefs(kind: str) -> tuple[Belief, ...]:
    """Return what may be held, by kind of references: "24 patches", "6 patches"; anything else counts as a grey
    card."""
    sizes = (0.3, 0.5, 0.8, 1.2, 1.8)
    any_curve = (0.3, 0.4, 0.1, 0.003)
    if kind == "24 patches":
        mixing, roots = (0.17, 0.07, 0.07, 0.05, 0.085, 0.17), np.repeat((0.12, 0.45, 0.8), 3)
        usual = _belief((-0.15, 0.45), (0.07, 0.09, 0.05, 0.0035), (0.3, 0.3), mixing, roots, 0.0, sizes)
        return usual, _belief((-0.28, 0.48), any_curve, (0.3, 0.1), 0.15, 0.3, 0.0, sizes)
    if kind == "6 patches":
        return (_belief((-0.3, 0.5), any_curve, (0.3, 0.1), 0.02, 0.02, 1.8, sizes),)
    return (_belief((-0.27, 0.55), (0.0,) * 4, (0.5, 0.3), 0.0, 0.0, 0.0, (0.5,)),)
