"""Where each tile lies in its cell.

A tile is looked for by its known size: of all places and turns near the cell, the one where the rectangle covers most of
what differs from paper and the ring around it least. That holds for tiles nearly as light as paper, whose outline is
broken, and leaves shadows out. What is measured later stays clear of the edges (shadow, burr).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from tilestudy.photo.needs import opencv
from tilestudy.photo.rectified import Rectified
from tilestudy.study.language import capital, listed
from tilestudy.tray.sheet import Box, Cell

Floats = npt.NDArray[np.float64]

PX_PER_MM = 2.0
"""Of the small picture in which tiles are looked for."""
FARTHEST_MM = 3.5
"""A tile whose middle lies farther than this from its cell's is out of its place."""
MOST_TURN_DEG = 9.0
FINE_PX_PER_MM = 8.0
"""Of the piece of it, drawn out larger, in which a tile found is placed finely."""
FINE_MM = 0.75
SOUGHT_MM = 5.0
SOUGHT_DEG = 12.0
RING_MM = 1.5
MARGIN_MM = 7.0
EDGE_MM = 1.25
"""Left out along the edges of a tile."""
DIFFERENT = 12.0
"""CIE 1976 difference from paper that counts in full; more counts no more."""
LEAST_DIFFERENT = 3.5
"""CIE 1976 difference from paper that is not paper."""


ROUGH_LAB = np.array([[24.0, 84.0, 8.0], [110.0, -170.0, 60.0], [36.0, 120.0, -156.0]], np.float32)
"""L*, a*, b* from the cube roots of red, green and blue, good enough to tell a tile from paper (from the matrix of sRGB)."""


@dataclass(frozen=True)
class Outline:
    """Where a tile lies.

    Attributes
    ----------
    code : str
    middle : (2,) array
        mm on the sheet.
    size : (float, float)
        Width and height, mm.
    turn_deg : float
        Clockwise as seen.
    """

    code: str
    middle: Floats
    size: tuple[float, float]
    turn_deg: float

    def corners(self, inside_mm: float = 0.0) -> Floats:
        """Return the corners (4, 2), mm, so far inside the edge."""
        half = np.array(self.size) / 2 - inside_mm
        flat = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
        c, s = np.cos(np.radians(self.turn_deg)), np.sin(np.radians(self.turn_deg))
        return np.asarray(flat @ np.array([[c, s], [-s, c]]) + self.middle)


def segment(rectified: Rectified, light: Callable[[Any, Any], Any]) -> tuple[tuple[Outline, ...], list[str]]:
    """Find each tile of the sheet.

    Parameters
    ----------
    rectified : Rectified
    light : function
        Encoded colours (..., 3) at places (..., 2), mm, to linear light, paper = 1.

    Returns
    -------
    outlines : tuple of Outline
        Of the tiles found, in the order of the sheet.
    faults : list of str
        A sentence for each kind of fault, with the codes.
    """
    differs = _difference(rectified, light)
    found: list[Outline] = []
    faults: dict[str, list[str]] = {}
    for cell in rectified.sheet.tiles:
        outline, fault = _placed(differs, cell)
        if fault:
            faults.setdefault(fault, []).append(cell.code)
        else:
            found.append(outline)
    return tuple(found), [_told(kind, codes) for kind, codes in faults.items()]


def _told(kind: str, codes: list[str]) -> str:
    many = len(codes) > 1
    tiles = f"{'tiles' if many else 'tile'} {listed(codes)}"
    return {
        "missing": f"No tile lies in the {'cells' if many else 'cell'} of {tiles}. "
        "Lay every tile on the sheet in the cell with its code, and take the photo again.",
        "off": f"{capital(tiles)} {'lie' if many else 'lies'} on the line or turned: more than "
        f"{FARTHEST_MM:g} mm or {MOST_TURN_DEG:g} degrees out of the cell. "
        "Lay each tile inside its cell, straight, and take the photo again.",
        "small": f"{capital(tiles)} {'do not fill their cells' if many else 'does not fill its cell'}: laid outside or "
        "across, covered, or not of this study's size. "
        f"Lay {'each' if many else 'it'} inside its cell, upright and free, and take the photo again.",
        "two": f"{capital(tiles)} {'look' if many else 'looks'} larger than the cell: two tiles touch, or a shadow or the tile "
        "beside it lies there. Lay one tile in each cell, and take the photo again.",
    }[kind]


def _difference(rectified: Rectified, light: Callable[[Any, Any], Any]) -> npt.NDArray[np.float32]:
    """Return how far each place of the sheet is from bare paper (about CIE 1976), `PX_PER_MM`."""
    cv2 = opencv()
    sheet = rectified.sheet
    size = (round(sheet.width * PX_PER_MM), round(sheet.height * PX_PER_MM))
    small = cv2.resize(rectified.image, size, interpolation=cv2.INTER_AREA)
    outside = ~np.isfinite(small).all(axis=-1)
    x, y = np.meshgrid(np.arange(size[0]) + 0.5, np.arange(size[1]) + 0.5)
    seen = np.cbrt(light(np.nan_to_num(small, nan=1.0), np.stack([x, y], axis=-1) / PX_PER_MM)) @ ROUGH_LAB.T
    bare = ~outside
    for box in sheet.taken:
        left, top, right, bottom = _bounds(box, 2.0, size)
        bare[top:bottom, left:right] = False
    bright = bare & (seen[..., 0] > np.median(seen[bare][:, 0]) - 5) if bare.any() else bare
    paper = np.median(seen[bright], axis=0) if bright.any() else np.array([116.0, 0.0, 0.0])
    away = np.sqrt(((seen - paper) ** 2).sum(axis=-1))
    away[outside] = 0
    return np.asarray(away, dtype=np.float32)


def _bounds(box: Box, more: float, size: tuple[int, int]) -> tuple[int, int, int, int]:
    left, top = (max(0, int((v - more) * PX_PER_MM)) for v in (box.x, box.y))
    right = min(size[0], int(np.ceil((box.x + box.width + more) * PX_PER_MM)))
    bottom = min(size[1], int(np.ceil((box.y + box.height + more) * PX_PER_MM)))
    return left, top, right, bottom


def _placed(differs: npt.NDArray[np.float32], cell: Cell) -> tuple[Outline, str]:
    """Return where the tile of a cell lies, and what is wrong with it ("" when nothing is)."""
    cv2 = opencv()
    size = (cell.box.width, cell.box.height)
    middle = np.array(cell.box.middle)
    # a piece of the page around the cell, drawn out turned by each angle so that the rectangle stands upright in it
    half = np.array(size) / 2 + SOUGHT_MM + RING_MM + 0.5
    w, h = (int(2 * side * PX_PER_MM) for side in half)
    counted = np.minimum(differs, DIFFERENT)
    best = (-np.inf, 0.0, 0.0, 0.0)
    for turns in (np.arange(-SOUGHT_DEG, SOUGHT_DEG + 1, 3.0), None):
        for turn in turns if turns is not None else best[1] + np.array([-2, -1, -0.5, 0.5, 1, 2]):
            part = _turned(cv2, counted, middle, float(turn), (w, h))
            score, dx, dy = _best_shift(part, size)
            if score > best[0]:
                best = (score, float(turn), dx, dy)
    _, turn, dx, dy = best
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    outline = Outline(cell.code, middle + np.array([c * dx - s * dy, s * dx + c * dy]), size, turn)
    return _finely(cv2, differs, outline), _fault(cv2, differs, outline, middle)


def _finely(cv2: Any, differs: npt.NDArray[np.float32], rough: Outline) -> Outline:
    """Place a tile to parts of a pixel and of a degree.

    Half a millimetre would move the mean of a tile whose colour runs from edge to edge. A pixel that the tile covers in
    part counts in part here, for it differs less than the tile does: on each side by the tile's own difference.
    """
    w, h = (int(2 * (side / 2 + FINE_MM + RING_MM + 0.25) * FINE_PX_PER_MM) for side in rough.size)
    within = _turned(cv2, differs, rough.middle, rough.turn_deg, tuple(int(side * PX_PER_MM) for side in rough.size))
    level = max(LEAST_DIFFERENT, float(np.quantile(within, 0.25)))
    counted = np.minimum(differs * (DIFFERENT / level), DIFFERENT)
    best = (-np.inf, 0.0, 0.0, 0.0)
    for turn in rough.turn_deg + np.arange(-1.0, 1.01, 0.25):
        part = _turned(cv2, counted, rough.middle, float(turn), (w, h), FINE_PX_PER_MM)
        score, dx, dy = _best_shift(part, rough.size, FINE_PX_PER_MM)
        if score > best[0]:
            best = (score, float(turn), dx, dy)
    _, turn, dx, dy = best
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    return Outline(rough.code, rough.middle + np.array([c * dx - s * dy, s * dx + c * dy]), rough.size, turn)


def _fault(cv2: Any, differs: npt.NDArray[np.float32], outline: Outline, middle: Floats) -> str:
    """Judge what lies in and around the outline."""
    size = outline.size
    reach = 4.0
    w, h = (int((side + 2 * reach) * PX_PER_MM) for side in size)
    part = _turned(cv2, differs, outline.middle, outline.turn_deg, (w, h))
    other = part > LEAST_DIFFERENT
    edge = round(reach * PX_PER_MM)
    inside = other[edge : h - edge, edge : w - edge]
    thin = max(1, round(1.0 * PX_PER_MM))
    body = inside[thin:-thin, thin:-thin]
    if body.mean() < 0.25:
        return "missing"
    # whole strips of paper along an edge of the rectangle: less than the tile's size lies there
    bands = [
        _run(inside.mean(axis=1) < 0.3),
        _run(inside.mean(axis=1)[::-1] < 0.3),
        _run(inside.mean(axis=0) < 0.3),
        _run(inside.mean(axis=0)[::-1] < 0.3),
    ]
    if max(bands[0] + bands[1], bands[2] + bands[3]) / PX_PER_MM > 2.5:
        return "small"
    # a ring well outside the edge that is covered along most of a side: something larger than a tile
    far = round((reach - 2.5) * PX_PER_MM)
    sides = (
        other[far, edge : w - edge],
        other[h - 1 - far, edge : w - edge],
        other[edge : h - edge, far],
        other[edge : h - edge, w - 1 - far],
    )
    deep = part > DIFFERENT
    deeps = (
        deep[far, edge : w - edge],
        deep[h - 1 - far, edge : w - edge],
        deep[edge : h - edge, far],
        deep[edge : h - edge, w - 1 - far],
    )
    if max(float(side.mean()) for side in deeps) > 0.6 or min(float(side.mean()) for side in sides) > 0.9:
        return "two"
    if np.abs(outline.middle - middle).max() > FARTHEST_MM or abs(outline.turn_deg) > MOST_TURN_DEG:
        return "off"
    return ""


def _run(flags: npt.NDArray[np.bool_]) -> int:
    """Return how many are true from the beginning on."""
    return int(np.argmin(flags)) if not flags.all() else len(flags)


def _turned(
    cv2: Any,
    image: npt.NDArray[np.float32],
    middle: Floats,
    turn_deg: float,
    size: tuple[int, ...],
    px_per_mm: float = PX_PER_MM,
) -> npt.NDArray[np.float32]:
    """Draw out a piece of the page, turned so that what is turned by `turn_deg` stands upright; its middle is `middle`."""
    c, s = (PX_PER_MM / px_per_mm * wave(np.radians(turn_deg)) for wave in (np.cos, np.sin))
    x0, y0 = middle * PX_PER_MM - 0.5
    cx, cy = (size[0] - 1) / 2, (size[1] - 1) / 2
    matrix = np.array([[c, -s, x0 - c * cx + s * cy], [s, c, y0 - s * cx - c * cy]])
    return np.asarray(
        cv2.warpAffine(
            image, matrix, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_CONSTANT
        )
    )


def _best_shift(
    part: npt.NDArray[np.float32], size: tuple[float, float], px_per_mm: float = PX_PER_MM
) -> tuple[float, float, float]:
    """Return the best score and the shift, mm, of the rectangle's middle from the piece's."""
    h, w = part.shape
    total = np.zeros((h + 1, w + 1))
    total[1:, 1:] = np.cumsum(np.cumsum(part, axis=0, dtype=float), axis=1)
    rw, rh = (round(side * px_per_mm) for side in size)
    ring = round(RING_MM * px_per_mm)

    def sums(width: int, height: int) -> Floats:
        return np.asarray(
            total[height:, width:] - total[:-height, width:] - total[height:, :-width] + total[:-height, :-width]
        )

    outer = sums(rw + 2 * ring, rh + 2 * ring)
    inner = sums(rw, rh)[ring : ring + outer.shape[0], ring : ring + outer.shape[1]]
    area = (rw + 2 * ring) * (rh + 2 * ring) - rw * rh
    score = inner / (rw * rh) - (outer - inner) / area
    rows, columns = score.shape
    y = (np.arange(rows) - (rows - 1) / 2) / px_per_mm
    x = (np.arange(columns) - (columns - 1) / 2) / px_per_mm
    score = score - 0.02 * (np.abs(y)[:, None] + np.abs(x)[None, :])  # undecided: stay in the middle
    at = np.unravel_index(int(np.argmax(score)), score.shape)
    return float(score[at]), float(x[at[1]]), float(y[at[0]])
