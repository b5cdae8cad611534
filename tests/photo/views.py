"""Quick pictures of a bare sheet in many views: no colours, only where things lie."""

from __future__ import annotations

import cv2
import numpy as np

from tests.synthetic.scene import Scene, random_scene
from tests.synthetic.sheets import drawn
from tests.synthetic.view import View, view_of
from tilestudy.photo.picture import Picture
from tilestudy.tray.sheet import Sheet

PER_MM = 6.0


def seen(
    sheet: Sheet, scene: Scene, rng: np.random.Generator, page: np.ndarray | None = None, noise: float = 2.0
) -> tuple[Picture, View]:
    """Return a picture of the sheet (or of a page, `PER_MM`) on a brownish table, and the view."""
    page = paper(sheet) if page is None else page
    view = view_of(scene, sheet.width, sheet.height)
    w, h = scene.size
    step = 8
    x, y = np.meshgrid(
        (np.arange(-1, w // step + 2) + 0.5) * step - 0.5, (np.arange(-1, h // step + 2) + 0.5) * step - 0.5
    )
    mm = view.to_mm(np.column_stack([x.ravel(), y.ravel()])).reshape(*x.shape, 2) * PER_MM - 0.5
    grown = cv2.resize(mm.astype(np.float32), (x.shape[1] * step, x.shape[0] * step), interpolation=cv2.INTER_LINEAR)
    at = grown[step : step + h, step : step + w]
    grey = cv2.remap(page, at, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=110)
    grey = cv2.GaussianBlur(grey, (0, 0), scene.blur) if scene.blur else grey
    shot = grey[..., None] * np.array([1.0, 0.97, 0.9]) + noise * rng.standard_normal((h, w, 1))
    return Picture("tray.jpg", np.clip(np.rint(shot), 0, 255).astype(np.uint8)), view


def paper(sheet: Sheet) -> np.ndarray:
    """Return the printed page in grey, `PER_MM`."""
    return np.asarray(225 - 190 * drawn(sheet, PER_MM), np.float32)


def anyhow(rng: np.random.Generator, size: tuple[int, int]) -> Scene:
    """Return a random scene: tilt to 25 degrees, k1 from -0.08 to 0.08."""
    return random_scene(rng, size=size)
