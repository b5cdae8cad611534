"""A photo of a tray laid flat: every millimetre of the sheet at its place, colours still as the phone stored them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tilestudy.tray.sheet import Sheet


@dataclass(frozen=True)
class Rectified:
    """The sheet seen from straight above.

    Attributes
    ----------
    image : (h, w, 3) float32 array
        Red, green and blue as stored (encoded), 0 to 1. The middle of pixel (0, 0) lies at (0.5, 0.5) / px_per_mm mm
        from the page's top left corner. Places outside the photo are NaN.
    px_per_mm : float
    sheet : Sheet
        What was printed.
    decode : (256,) float array
        Nominal linear light of each encoded level 0 to 255, the same for the three channels; levels between are
        interpolated.
    to_xyz : (3, 3) float array
        Nominal linear RGB to CIE XYZ (D65, white Y = 1) of the picture's colour space.
    camera : str
        Name of the camera as the file states it; "" when it does not.
    name : str
        Name of the photo's file.
    """

    image: np.ndarray
    px_per_mm: float
    sheet: Sheet
    decode: np.ndarray
    to_xyz: np.ndarray
    camera: str = ""
    name: str = "photo"

    def mm(self, left: int, top: int, shape: tuple[int, ...]) -> np.ndarray:
        """Return where the middles of the pixels of a part (h, w) lie whose corner is the pixel (left, top): (h, w, 2), mm."""
        y, x = np.mgrid[0 : shape[0], 0 : shape[1]] + 0.5
        return np.stack([x + left, y + top], axis=-1) / self.px_per_mm
