"""Where each place of the page lies in the picture: tilt, turn, distance, lens distortion."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.synthetic.scene import Scene
from tests.synthetic.spectra import Floats


@dataclass(frozen=True)
class View:
    """A pinhole camera with radial distortion over a flat page; call `to_px` with mm (n, 2)."""

    page_to_camera: Floats
    """(3, 3): page mm (x, y, 1) to a direction seen by the camera."""
    focal: float
    middle: Floats
    k1: float

    def to_px(self, mm: npt.ArrayLike) -> Floats:
        """Turn mm on the page (n, 2) into pixels; the middle of the first pixel is (0, 0)."""
        points = np.asarray(mm, dtype=float)
        seen = np.concatenate([points, np.ones((len(points), 1))], axis=1) @ self.page_to_camera.T
        flat = seen[:, :2] / seen[:, 2:]
        stretched = flat * (1 + self.k1 * (flat**2).sum(axis=1, keepdims=True))
        return np.asarray(stretched * self.focal + self.middle)

    def to_mm(self, px: npt.ArrayLike) -> Floats:
        """Turn pixels (n, 2) into mm on the page."""
        bent = (np.asarray(px, dtype=float) - self.middle) / self.focal
        radius = np.linalg.norm(bent, axis=1, keepdims=True)
        straight = radius.copy()
        for _ in range(8):  # Newton's rule for r (1 + k1 r^2) = radius
            straight -= (straight * (1 + self.k1 * straight**2) - radius) / (1 + 3 * self.k1 * straight**2)
        flat = bent * np.where(radius > 1e-12, straight / np.maximum(radius, 1e-12), 1.0)
        seen = np.concatenate([flat, np.ones((len(flat), 1))], axis=1) @ np.linalg.inv(self.page_to_camera).T
        return np.asarray(seen[:, :2] / seen[:, 2:])


def view_of(scene: Scene, width: float, height: float) -> View:
    """Return the view of a page of the given size (mm): as near as `scene.fill` says, its middle where it should be."""
    w, h = scene.size
    lens = scene.focal * max(w, h)
    lean, towards, turn = np.radians([scene.tilt, scene.tilt_direction, scene.turn])

    def about_z(angle: float) -> Floats:
        return np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])

    tipped = np.array([[1, 0, 0], [0, np.cos(lean), -np.sin(lean)], [0, np.sin(lean), np.cos(lean)]])
    rotation = about_z(towards) @ tipped @ about_z(-towards) @ about_z(turn)
    corners = np.array([[0, 0], [width, 0], [0, height], [width, height]], dtype=float)
    frame = np.array([w, h], dtype=float)
    wanted = frame * (0.5 + np.array(scene.off_centre)) - 0.5
    shift = np.array([0.0, 0.0, max(width, height) * lens / (0.9 * max(w, h))])
    for _ in range(60):
        page = rotation @ np.array([[1, 0, -width / 2], [0, 1, -height / 2], [0, 0, 0]]) + np.array(
            [[0, 0, shift[0]], [0, 0, shift[1]], [0, 0, shift[2]]]
        )
        view = View(page, lens, frame / 2 - 0.5, scene.k1)
        px = view.to_px(corners)
        filled = float(np.max(np.ptp(px, axis=0) / frame))
        shift[:2] += 0.7 * (wanted - (px.max(axis=0) + px.min(axis=0)) / 2) * shift[2] / lens
        shift[2] *= (filled / scene.fill) ** 0.7
    return view
