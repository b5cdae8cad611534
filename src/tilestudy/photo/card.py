"""Where the patches of a reference card really lie: it may be shifted and turned a little in its place on the sheet.

The card is sought by what makes a patch a patch: within it the colour is even. Over a grid of shifts and turns the
unevenness inside all patches is summed up (each patch counts up to a limit, so that one covered patch does not lead the
rest astray), and the best place is refined with a little stretch in either direction, for a card thicker than the sheet
is seen somewhat larger. Sums over upright boxes come from summed-area tables (Crow 1984, SIGGRAPH 18:207-212).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

PX_PER_MM = 2.0
SHIFT_MM, TURN_DEG, STRETCHES = 8.0, 5.0, (-0.03, 0.0, 0.03)
USED, TIGHT = 0.8, 0.94
"""Share of a patch's side that is compared while seeking, and in the end; less is measured (`patches`)."""
MOST_UNEVEN = 0.08
"""Standard deviation inside a patch, of encoded 0 to 1, beyond which it counts no more."""


@dataclass(frozen=True)
class Seat:
    """How a card lies: its turn (degrees, clockwise as seen), shift (mm), stretch, and the middles of its patches
    (mm)."""

    turn_deg: float
    shift: tuple[float, float]
    stretch: tuple[float, float]
    middles: Floats
    unevenness: float


class _Sums:
    """Summed-area tables of an image and its square, for the standard deviation inside upright boxes."""

    def __init__(self, image: Floats) -> None:
        self.height, self.width = image.shape[:2]
        seen: npt.NDArray[np.bool_] = np.asarray(np.isfinite(image).all(axis=-1))
        filled = np.where(seen[..., None], image, 0.0)
        layers = np.concatenate([filled, filled**2, seen[..., None]], axis=-1)
        self.table = np.zeros((self.height + 1, self.width + 1, layers.shape[-1]))
        self.table[1:, 1:] = layers.cumsum(axis=0).cumsum(axis=1)

    def unevenness(self, middles: Floats, half: Floats) -> Floats:
        """Standard deviation inside boxes given by middles (..., 2) and half sides (..., 2), px; outside counts as
        most."""
        x0, y0 = np.moveaxis(np.rint(middles - half).astype(int), -1, 0)
        x1, y1 = np.moveaxis(np.rint(middles + half).astype(int), -1, 0)
        inside = (x0 >= 0) & (y0 >= 0) & (x1 <= self.width) & (y1 <= self.height)
        x0, x1 = np.clip(x0, 0, self.width), np.clip(x1, 0, self.width)
        y0, y1 = np.clip(y0, 0, self.height), np.clip(y1, 0, self.height)
        area = np.maximum((x1 - x0) * (y1 - y0), 1)
        sums = self.table[y1, x1] - self.table[y0, x1] - self.table[y1, x0] + self.table[y0, x0]
        inside &= sums[..., -1] >= 0.98 * area
        mean, square = sums[..., :3] / area[..., None], sums[..., 3:6] / area[..., None]
        spread = np.sqrt(np.maximum(square - mean**2, 0).mean(axis=-1))
        return np.where(inside, np.minimum(spread, MOST_UNEVEN), MOST_UNEVEN)


def seat(image: npt.NDArray[np.float32], px_per_mm: float, middles: Floats, sizes: Floats) -> Seat:
    """Find where the patches of a card lie.

    Parameters
    ----------
    image : (h, w, 3) array
        The rectified sheet, encoded 0 to 1.
    px_per_mm : float
    middles, sizes : (n, 2) arrays
        Of the patches as printed on the sheet, mm.

    Returns
    -------
    Seat
    """
    step = max(1, round(px_per_mm / PX_PER_MM))
    rows, columns = image.shape[0] // step, image.shape[1] // step
    small = image[: rows * step, : columns * step].reshape(rows, step, columns, step, 3).mean(axis=(1, 3), dtype=float)
    scale = px_per_mm / step
    sums = _Sums(small)
    pivot = middles.mean(axis=0)

    def score(shifts: Floats, turn: float, stretch: Floats, used: float) -> Floats:
        here = (pivot + ((middles - pivot) * stretch) @ _turned(turn).T) + shifts[:, None]
        narrow = used * sizes / 2 * (1 - np.tan(np.radians(abs(turn))))
        return np.asarray(sums.unevenness(here * scale, narrow * scale).mean(axis=-1))

    def best_of(
        around: Floats, reach: float, by: float, turns: Floats, stretch: Floats, used: float
    ) -> tuple[float, Floats, float]:
        steps = np.arange(-reach, reach + by / 2, by)
        shifts = around + np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
        found = [(score(shifts, turn, stretch, used), turn) for turn in turns]
        values, turn = min(found, key=lambda each: float(each[0].min()))
        low = values <= values.min() + 1e-9
        return float(values.min()), shifts[low].mean(axis=0), float(turn)

    one = np.ones(2)
    _, shift, turn = best_of(np.zeros(2), SHIFT_MM, 1.0, np.arange(-TURN_DEG, TURN_DEG + 0.5, 1.0), one, USED)
    stretch, value = one, np.inf
    around, about = shift, turn
    for wide, tall in ((1.0, 1.0), *((1 + x, 1 + y) for x in STRETCHES for y in STRETCHES)):
        tried = np.array([wide, tall])
        again = best_of(around, 1.5, 0.5, about + np.arange(-1.0, 1.1, 0.5), tried, TIGHT)
        if again[0] < value - 1e-5:
            value, shift, turn = again
            stretch = tried
    here = (pivot + ((middles - pivot) * stretch) @ _turned(turn).T) + shift
    return Seat(turn, (float(shift[0]), float(shift[1])), (float(stretch[0]), float(stretch[1])), here, value)


def _turned(degrees: float) -> Floats:
    angle = np.radians(degrees)
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
