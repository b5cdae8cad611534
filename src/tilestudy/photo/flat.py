"""The light that falls on the sheet, told by its bare paper: a smooth surface through the logarithm of the paper's
light.

The sheet is taken in blocks of 2 mm. Blocks of printed things, of tiles, folds, shadows and text are darker than the
paper around them and are left out, first by the layout, then by a robust fit (Tukey's biweight). A quadratic surface of
log light for each channel goes through the rest; what it leaves, a lamp close by for instance, is smoothed over 25 mm
and added where there is paper to tell it. Tukey's biweight: Beaton & Tukey (1974), Technometrics 16(2):147-185.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tilestudy.tray.sheet import Box

Floats = npt.NDArray[np.float64]

BLOCK_MM = 2.0
EDGE_MM = 4.0
"""Paper this close to the edge of the page is left out."""
NEAR_MM = 3.0
"""Paper this close to a marker or card is left out: blurred edges, shadow."""
SMOOTH_MM = 25.0
LEAST_NEAR = 4.0
"""Blocks' worth of paper within the smoothing at which half of what the quadratic leaves is believed."""
LEAST_BLOCKS = 60
TUKEY = 4.685
LEAST_SCALE = 0.004
CLIPPED = 253 / 255


@dataclass(frozen=True)
class Flat:
    """The paper's light over the sheet.

    Attributes
    ----------
    coefficients : (6, 3) array
        Of 1, x, y, x^2, xy, y^2 (x, y from -1 to 1 over the page), for the log of nominal linear light of each channel.
    left : (rows, columns, 3) array
        What the quadratic leaves, smoothed, on a grid of `BLOCK_MM`.
    page : (width, height) in mm
    clipped : float
        Share of the paper's pixels with a channel at the top of its range, 0 to 1.
    blocks : int
        Blocks of paper used.
    scatter : float
        Robust standard deviation of log light about the surface.
    """

    coefficients: Floats
    left: Floats
    page: tuple[float, float]
    clipped: float
    blocks: int
    scatter: float

    def at(self, mm: npt.ArrayLike) -> Floats:
        """Nominal linear light of bare paper at places (..., 2), mm: (..., 3)."""
        places = np.asarray(mm, dtype=float)
        smooth = _terms(places[..., 0], places[..., 1], self.page) @ self.coefficients
        rows, columns = self.left.shape[:2]
        x = np.clip(places[..., 0] / BLOCK_MM - 0.5, 0, columns - 1.001)
        y = np.clip(places[..., 1] / BLOCK_MM - 0.5, 0, rows - 1.001)
        i, j = x.astype(int), y.astype(int)
        u, v = (x - i)[..., None], (y - j)[..., None]
        near = (
            self.left[j, i] * (1 - u) * (1 - v)
            + self.left[j, i + 1] * u * (1 - v)
            + self.left[j + 1, i] * (1 - u) * v
            + self.left[j + 1, i + 1] * u * v
        )
        return np.asarray(np.exp(smooth + near))


def _terms(x: Floats, y: Floats, page: tuple[float, float]) -> Floats:
    u, v = 2 * x / page[0] - 1, 2 * y / page[1] - 1
    return np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=-1)


def paper_light(
    image: npt.NDArray[np.float32],
    px_per_mm: float,
    decode: Floats,
    page: tuple[float, float],
    shut: Iterable[Box],
    covered: Iterable[Box],
) -> Flat | None:
    """Fit the paper's light.

    Parameters
    ----------
    image : (h, w, 3) array
        Rectified, encoded 0 to 1, NaN outside the photo.
    decode : (256,) array
        Nominal linear light of encoded levels.
    page : (width, height), mm
    shut : boxes
        Markers and cards: no paper there nor close by.
    covered : boxes
        Cells in which something may lie: only their outer 2 mm may be paper.

    Returns
    -------
    Flat or None
        None when hardly any paper is seen.
    """
    step = max(1, round(px_per_mm * BLOCK_MM))
    block = step / px_per_mm
    rows, columns = image.shape[0] // step, image.shape[1] // step
    thin = max(1, step // 6)
    picked = image[: rows * step, : columns * step].reshape(rows, step, columns, step, 3)[:, ::thin, :, ::thin]
    many = picked.shape[1] * picked.shape[3]
    pixels = picked.transpose(0, 2, 1, 3, 4).reshape(rows, columns, many, 3)
    middle = np.partition(pixels, many // 2, axis=2)[:, :, many // 2].astype(float)
    seen = np.isfinite(middle).all(axis=-1)
    linear = np.interp(np.nan_to_num(middle), np.linspace(0, 1, 256), decode)
    x = (np.arange(columns) + 0.5) * block
    y = (np.arange(rows) + 0.5) * block
    grid_x, grid_y = np.meshgrid(x, y)
    allowed = (
        seen & (grid_x > EDGE_MM) & (grid_x < page[0] - EDGE_MM) & (grid_y > EDGE_MM) & (grid_y < page[1] - EDGE_MM)
    )
    for box in shut:
        allowed &= ~_inside(grid_x, grid_y, box, NEAR_MM)
    for box in covered:
        allowed &= ~_inside(grid_x, grid_y, box, -2.0)
    log = np.log(np.maximum(linear, 1e-4))
    bright = log.mean(axis=-1)
    if allowed.sum() < LEAST_BLOCKS:
        return None
    paper = allowed & (bright > np.quantile(bright[allowed], 0.9) - 1.1)
    terms = _terms(grid_x, grid_y, page)
    weight = paper.astype(float)
    coefficients, scale = _robust(terms, log, bright, weight)
    if coefficients is None or int((weight > 0).sum()) < LEAST_BLOCKS:
        return None
    away = (log - terms @ coefficients) * (weight > 0)[..., None]
    width = SMOOTH_MM / block
    told = _smooth(weight, width)
    left = _smooth(away * weight[..., None], width) / (told + LEAST_NEAR / (2 * np.pi * width**2))[..., None]
    use = weight > 0.3
    clipped = float((pixels[use] >= CLIPPED).any(axis=-1).mean())
    return Flat(coefficients, left, page, clipped, int(use.sum()), scale)


def _inside(x: Floats, y: Floats, box: Box, more: float) -> npt.NDArray[np.bool_]:
    return (x > box.x - more) & (x < box.x + box.width + more) & (y > box.y - more) & (y < box.y + box.height + more)


def _robust(terms: Floats, log: Floats, bright: Floats, weight: Floats) -> tuple[Floats | None, float]:
    """Fit by iterated weights, kept in `weight`: the first rounds lean to the upper side, for what is not paper is
    darker."""
    everything = weight > 0
    scale = 0.25
    coefficients: Floats | None = None
    for turn in range(12):
        use = weight > 0
        if use.sum() < LEAST_BLOCKS:
            return None, scale
        A, root = terms[use], np.sqrt(weight[use])[:, None]
        coefficients = np.asarray(np.linalg.lstsq(A * root, log[use] * root, rcond=None)[0], dtype=np.float64)
        away = (log - terms @ coefficients)[everything]
        grey = away.mean(axis=-1)
        top = np.quantile(grey, 0.75) if turn < 4 else 0.0
        spread = 1.4826 * float(np.median(np.abs(grey[np.abs(grey - top) < 3 * scale] - top)))
        scale = max(LEAST_SCALE, min(scale, max(spread, 0.5 * scale)))
        worst = np.abs(away - (top if turn < 4 else 0.0)).max(axis=-1) / (TUKEY * scale)
        weight[everything] = np.where(worst < 1, (1 - np.minimum(worst, 1) ** 2) ** 2, 0.0)
    return coefficients, scale


def _smooth(values: Floats, width: float) -> Floats:
    """Gaussian smoothing along both axes, zero outside."""
    reach = int(3 * width)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / width) ** 2)
    kernel /= kernel.sum()
    for axis in (0, 1):
        size = values.shape[axis]
        away = np.arange(size)[:, None] - np.arange(size)[None, :]
        matrix = np.where(np.abs(away) <= reach, kernel[np.clip(away + reach, 0, 2 * reach)], 0.0)
        values = np.moveaxis(np.tensordot(matrix, values, axes=(1, axis)), 0, axis)
    return values
