"""How the flat sheet lies in a photo: perspective and the lens's radial distortion, fitted to the corners of the markers.

A point (x, y) mm goes through a homography to an undistorted point u, in half diagonals from the picture's middle, and
to the picture as u (1 + k1 |u|^2). Source: the pinhole camera with one radial term, Brown (1971), Photogrammetric
Engineering 37(8):855-866; the middle of the picture is taken for the centre of the lens.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

Floats = npt.NDArray[np.float64]

USUAL_K1 = 0.1
"""Scale of radial distortion held likely beforehand; it only speaks where the corners say nothing."""
CORNER_PX = 0.3
"""Scatter of a corner as found, px."""
USUAL_FOCUS = 1.3
"""Focal length of a phone's main lens in half diagonals (a field of 75 degrees); only for telling the tilt."""


@dataclass(frozen=True)
class View:
    """A fitted view.

    Attributes
    ----------
    homography : (3, 3) float array
        mm on the sheet to half diagonals from the picture's middle, undistorted.
    k1 : float
        Radial distortion at the picture's corner.
    size : tuple of int
        Width and height of the picture, px.
    residual_px : float
        Root mean square distance of the corners from the fit.
    """

    homography: Floats
    k1: float
    size: tuple[int, int]
    residual_px: float

    def to_picture(self, mm: npt.ArrayLike) -> Floats:
        """Return where points of the sheet lie in the picture.

        Parameters
        ----------
        mm : (n, 2) array_like

        Returns
        -------
        (n, 2) ndarray
            px; the middle of the first pixel is (0, 0).
        """
        centre, radius = _frame(self.size)
        return _bent(self.homography, self.k1, np.asarray(mm, dtype=float)) * radius + centre

    def px_per_mm(self, mm: npt.ArrayLike) -> Floats:
        """Return the local scale (root of the area) at points (n, 2) of the sheet."""
        points = np.asarray(mm, dtype=float)
        here = self.to_picture(points)
        right, down = (self.to_picture(points + np.array(step)) - here for step in ((0.5, 0.0), (0.0, 0.5)))
        return np.asarray(2 * np.sqrt(np.abs(right[:, 0] * down[:, 1] - right[:, 1] * down[:, 0])))

    def tilt_deg(self, middle: npt.ArrayLike) -> float:
        """Return roughly how far from straight above the photo was taken at a point of the sheet, degrees."""
        x = np.append(np.asarray(middle, dtype=float), 1.0)
        w = self.homography[2] @ x
        u = self.homography[:2] @ x / w
        jacobian = (self.homography[:2, :2] - np.outer(u, self.homography[2, :2])) / w
        scale = np.sqrt(abs(np.linalg.det(jacobian)))
        sine = USUAL_FOCUS * float(np.hypot(*(self.homography[2, :2] / w))) / scale
        return float(np.degrees(np.arcsin(min(1.0, sine))))


def fit_view(mm: Floats, px: Floats, size: tuple[int, int]) -> View:
    """Fit a view to corners of markers.

    Parameters
    ----------
    mm, px : (n, 2) float arrays
        The corners on the sheet and in the picture, n 4 or more.
    size : tuple of int
        Width and height of the picture, px.
    """
    centre, radius = _frame(size)
    seen = (px - centre) / radius
    middle, spread = mm.mean(axis=0), float(np.abs(mm - mm.mean(axis=0)).max())
    flat = (mm - middle) / spread
    start = np.append(_direct(flat, seen), 0.0)

    def off(p: Floats) -> Floats:
        bent = _bent(np.append(p[:8], 1.0).reshape(3, 3), p[8], flat)
        return np.append((bent - seen).ravel() * radius / CORNER_PX, p[8] / USUAL_K1)

    fitted = least_squares(off, start, x_scale="jac", max_nfev=60)
    unit = np.array([[1 / spread, 0, -middle[0] / spread], [0, 1 / spread, -middle[1] / spread], [0, 0, 1]])
    residual = float(np.sqrt(2 * np.mean(fitted.fun[:-1] ** 2)) * CORNER_PX)
    return View(np.append(fitted.x[:8], 1.0).reshape(3, 3) @ unit, float(fitted.x[8]), size, residual)


def _frame(size: tuple[int, int]) -> tuple[Floats, float]:
    width, height = size
    return np.array([(width - 1) / 2, (height - 1) / 2]), float(np.hypot(width, height) / 2)


def _bent(homography: Floats, k1: float, mm: Floats) -> Floats:
    ideal = mm @ homography[:, :2].T + homography[:, 2]
    u = ideal[:, :2] / ideal[:, 2:]
    return np.asarray(u * (1 + k1 * (u**2).sum(axis=1, keepdims=True)))


def _direct(flat: Floats, seen: Floats) -> Floats:
    """Return the eight numbers of the homography by linear least squares (direct linear transform)."""
    x, y = flat.T
    one, none = np.ones_like(x), np.zeros_like(x)
    rows = [
        np.column_stack([x, y, one, none, none, none, -seen[:, 0] * x, -seen[:, 0] * y]),
        np.column_stack([none, none, none, x, y, one, -seen[:, 1] * x, -seen[:, 1] * y]),
    ]
    return np.asarray(np.linalg.lstsq(np.vstack(rows), seen.T.ravel(), rcond=None)[0])
