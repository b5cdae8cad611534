"""The reference patches as they are in the picture: mean light, how even, how much of it clipped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tilestudy.photo.flat import CLIPPED
from tilestudy.photo.rectified import Rectified
from tilestudy.tray.sheet import Box

Floats = npt.NDArray[np.float64]

USED = 0.55
"""Share of a patch's side that is measured: its middle."""


@dataclass(frozen=True)
class Seen:
    """One patch.

    Attributes
    ----------
    name : str
    box : Box
        Where the whole patch lies, mm on the sheet.
    nominal : (3,) array
        Mean nominal linear light.
    uneven : float
        Standard deviation of encoded means over squares of about 1 mm, the worst channel.
    clipped : float
        Share of pixels with a channel at the top of its range.
    """

    name: str
    box: Box
    nominal: Floats
    uneven: float
    clipped: float


def read_patches(image: Rectified, names: Sequence[str], middles: Floats, sizes: Floats) -> tuple[Seen, ...]:
    """Read the middles of patches that lie at given places (n, 2) with given sides (n, 2), mm."""
    scale, found = image.px_per_mm, []
    stored = np.linspace(0, 1, len(image.decode))
    for name, middle, size in zip(names, middles, sizes, strict=True):
        low, high = (middle - USED * size / 2) * scale, (middle + USED * size / 2) * scale
        left, top = np.maximum(np.rint(low).astype(int), 0)
        right, bottom = np.maximum(np.rint(high).astype(int), (left + 1, top + 1))
        part = image.image[top:bottom, left:right].astype(float)
        box = Box(float(middle[0] - size[0] / 2), float(middle[1] - size[1] / 2), float(size[0]), float(size[1]))
        if not part.size or not np.isfinite(part).all():
            found.append(Seen(name, box, np.zeros(3), 1.0, 0.0))
            continue
        step = max(1, round(scale))
        rows, columns = max(1, part.shape[0] // step), max(1, part.shape[1] // step)
        trimmed = part[: rows * step, : columns * step]
        squares = trimmed.reshape(rows, -1, columns, trimmed.shape[1] // columns, 3).mean(axis=(1, 3))
        nominal = np.interp(part, stored, image.decode).reshape(-1, 3).mean(axis=0)
        found.append(
            Seen(
                name,
                box,
                nominal,
                float(squares.reshape(-1, 3).std(axis=0).max()),
                float((part >= CLIPPED).any(axis=-1).mean()),
            )
        )
    return tuple(found)
