"""White rub cloths with a dark stain in their middle, and the grade such a stain has."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from tests.synthetic.spectra import Floats, of_lab
from tests.synthetic.surfaces import PER_MM, smooth_noise

WHITE: Floats = of_lab((93.5, -0.3, 2.6))
STAIN: Floats = of_lab((30.0, 4.0, 7.0))
STAINED_MM = 16.0
"""Diameter of the stain (ISO 105-X12: the rubbing finger is 16 mm wide)."""


def grade(stain: Sequence[float] | Floats, clean: Sequence[float] | Floats) -> float:
    """Return the staining grade, continuous, of two L*a*b* (ISO 105-A04:1989).

    >>> round(grade((50.0, 0.0, 0.0), (54.3, 0.0, 0.0)), 3)
    3.985
    """
    difference = np.asarray(stain, dtype=float) - np.asarray(clean, dtype=float)
    total = float(np.sqrt(difference @ difference))
    if total == 0:
        return 5.0
    grey = total - 0.4 * np.sqrt(max(total**2 - difference[0] ** 2, 0.0))
    found = 6.1 - 1.45 * np.log(grey)
    return float(max(1.0, found if found <= 4 else min(5.0, 5 - 0.23 * grey)))


def stain_map(strength: float, width: float, height: float, seed: int) -> Floats:
    """Return the share of stain (h, w) on a cloth of a size in mm: even within the rubbed circle, soft at its edge."""
    rng = np.random.default_rng(seed)
    h, w = round(height * PER_MM), round(width * PER_MM)
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    radius = np.hypot(x - (w - 1) / 2, y - (h - 1) / 2) / PER_MM
    inside = np.clip((STAINED_MM / 2 - radius) / 1.0, 0, 1)
    uneven = 1 + 0.06 * smooth_noise(rng, (h, w), 20)
    return np.asarray(np.clip(strength * inside * uneven, 0, 1))


def weave(width: float, height: float, seed: int) -> Floats:
    """Return the cloth's weave (h, w) as a factor on its light, about 1."""
    rng = np.random.default_rng(seed + 1)
    h, w = round(height * PER_MM), round(width * PER_MM)
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    threads = 0.012 * (np.cos(x * 2 * np.pi / 4.3) + np.cos(y * 2 * np.pi / 4.7))
    return np.asarray(1 - np.abs(threads) + 0.004 * cv2.GaussianBlur(rng.standard_normal((h, w)), (0, 0), 1))


def middle(size: tuple[int, int], diameter: float = 12.0) -> Floats:
    """Return which pixels (h, w) lie in the measured circle of a cloth."""
    y, x = np.mgrid[0 : size[0], 0 : size[1]]
    return np.asarray(np.hypot(x - (size[1] - 1) / 2, y - (size[0] - 1) / 2) <= diameter / 2 * PER_MM)
