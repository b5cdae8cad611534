"""The camera's noise: how much of what scatters from block to block is not the tile.

It is learned where the sheet is even, on bare paper and on the reference patches of the same photo, in blocks of the same
size, so that whatever the phone and JPEG did to it is in it. Shot noise grows with the light (its variance in proportion),
a little noise is there without light, and JPEG flattens noise of light places more than of dark ones: places about as
light as a tile speak most for it, and the paper near it tells how much noisier that corner of the photo is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from tilestudy.colour.difference import ciede2000
from tilestudy.photo.needs import opencv

Floats = npt.NDArray[np.float64]

DARK = 0.05
"""Light, paper = 1, whose shot noise equals the noise that is there without light (a usual phone; from memory)."""
NEAR_MM = 50.0
ALIKE = 0.4
"""How alike, in the logarithm of light, two places must be to be as noisy."""


@dataclass(frozen=True)
class Noise:
    """The noise of blocks at even places.

    Attributes
    ----------
    places : (n, 2) array
        mm on the sheet.
    light : (n,) array
        Mean light there, paper = 1.
    covariances : (n, 3, 3) array
        Of the blocks' light.
    """

    places: Floats
    light: Floats
    covariances: Floats

    def at(self, mm: Floats, light: Floats) -> Floats:
        """Return the covariance (3, 3) to expect at a place (2,) of the sheet and a light (3,)."""
        if not len(self.light):
            return np.zeros((3, 3))
        wanted = max(float(light.mean()), 0.0)
        alike = np.exp(-(np.log((self.light + 0.02) / (wanted + 0.02)) ** 2) / (2 * ALIKE**2)) + 1e-9
        grown = (wanted + DARK) / (self.light + DARK)
        dimmer = self._paper(mm) / np.maximum(self._paper_at_places, 1e-12)
        factor = grown * np.clip(dimmer, 0.5, 2.0) * alike / alike.sum()
        return np.asarray(np.tensordot(factor, self.covariances, axes=1))

    @cached_property
    def _paper_at_places(self) -> Floats:
        return np.array([self._paper(place) for place in self.places])

    def _paper(self, mm: Floats) -> float:
        """Return the noise of paper near a place."""
        paper = self.light > 0.8
        if not paper.any():
            return 1.0
        near = np.exp(-((self.places[paper] - mm) ** 2).sum(axis=1) / (2 * NEAR_MM**2)) + 1e-6
        return float((near @ np.trace(self.covariances[paper], axis1=1, axis2=2)) / near.sum())


def block_covariance(light: npt.NDArray[np.float32], block_px: tuple[float, float]) -> Floats | None:
    """Return the covariance (3, 3) of the means of the blocks of an even place; None when it is too small.

    Parameters
    ----------
    light : (h, w, 3) array
    block_px : (float, float)
        Width and height of a block, pixels of `light`.
    """
    cv2 = opencv()
    size = tuple(int(n / side) for n, side in zip(light.shape[1::-1], block_px, strict=True))
    if min(size) < 4:
        return None
    fit = tuple(round(n * side) for n, side in zip(size, block_px, strict=True))
    blocks = cv2.resize(light[: fit[1], : fit[0]], size, interpolation=cv2.INTER_AREA).astype(float).reshape(-1, 3)
    x, y = (v.ravel() for v in np.meshgrid(np.linspace(-1, 1, size[0]), np.linspace(-1, 1, size[1])))
    smooth = np.column_stack([np.ones(x.size), x, y, x * x, x * y, y * y])
    rest = blocks - smooth @ np.linalg.lstsq(smooth, blocks, rcond=None)[0]
    far = (np.abs(rest) / np.maximum(1.4826 * np.median(np.abs(rest), axis=0), 1e-9)).max(axis=1)
    kept = rest[far < 4]
    return np.asarray(kept.T @ kept / max(1, len(kept) - 6)) if len(kept) > 8 else None


def noise_in_lab(lab: Callable[[Any], Any], light: Floats, covariance: Floats) -> float:
    """Return the mean CIEDE2000 that noise of a covariance (3, 3) makes around a light (3,)."""
    values, axes = np.linalg.eigh(covariance)
    few = np.random.default_rng(0).standard_normal((300, 3)) * np.sqrt(np.maximum(values, 0)) @ axes.T
    return float(ciede2000(lab(np.maximum(light + few, 0.0)), lab(light)).mean())
