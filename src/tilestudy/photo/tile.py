"""The colour of one tile from the light of its pixels: glare left out, mean, mottle, main colours.

Mottle is told for blocks of 0.67 mm. A photo is a little blurred and so has averaged already; how much that takes from
the mottle is told by how much blocks take that are longer one way (`sharpened`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tilestudy.colour.difference import ciede2000
from tilestudy.photo.needs import opencv

Floats = npt.NDArray[np.float64]

BLOCK_MM = 2 / 3
SAME_COLOUR = 3.0
"""CIEDE2000 under which two main colours are one."""
LEAST_SHARE = 0.05
"""Of a main colour."""
MOST_COLOURS = 3

LONG_MM = 1.0
"""Longer side of the blocks, otherwise of 0.67 mm, that tell how fine the tile's pattern is along each way: scratches of a
brush are fine across and coarse along."""
SHAPES_MM = ((BLOCK_MM, BLOCK_MM), (LONG_MM, BLOCK_MM), (BLOCK_MM, LONG_MM))
"""Width and height of the blocks."""
WHOLE = 0.9
"""Share of a block on the face, clear of glare, from which on it counts."""
FINER = 3
"""Steps to a pixel when a turned tile is laid straight: without interpolation, which would blur its pattern."""
MOST_GAIN = 1.4

# glare
CLEAR_MM = 1.6
"""Blocks keep so far from glare: JPEG spreads its colour over 16 pixels."""
MIRROR = 0.85
"""Light, paper = 1, from which on a neutral pixel may be a mirror reflection of the lamp."""
ABOVE_BODY = 0.2
"""How much lighter than the tile's darker half glare is."""
SKIRT = 0.04
SKIRT_MM = 2.5
"""Glare fades out; so far from its middle, pixels that are lighter than the body by `SKIRT` or more belong to it."""


@dataclass(frozen=True)
class Face:
    """What the face of a tile shows, edges left out.

    Attributes
    ----------
    light : (3,) array
        Mean of the linear light without glare; beneath glare, of what lies around it.
    blocks : (n, 3) array
        Mean light of the blocks of 0.67 mm that hold no glare.
    places : (n, 2) int array
        Row and column of each block.
    wide, high : (m, 3) arrays
        Mean light of blocks of 1 x 0.67 mm, lying and standing.
    glare : float
        Share of the face, 0 to 1.
    pixels : int
        Pixels measured.
    """

    light: Floats
    blocks: Floats
    places: npt.NDArray[np.int64]
    wide: Floats
    high: Floats
    glare: float
    pixels: int


def face_of(
    light: npt.NDArray[np.float32],
    face: npt.NDArray[np.bool_],
    clipped: npt.NDArray[np.bool_],
    px_per_mm: float,
    turn_deg: float = 0.0,
) -> tuple[Face, npt.NDArray[np.bool_]]:
    """Measure the light of a face.

    Parameters
    ----------
    light : (h, w, 3) array
        Linear light, paper = 1.
    face : (h, w) bool array
        Pixels of the face.
    clipped : (h, w) bool array
        Pixels as light as the picture can hold.
    px_per_mm : float
    turn_deg : float
        Of the tile, clockwise as seen.

    Returns
    -------
    Face, and the pixels of glare (h, w)
    """
    glare = glare_in(light, face, clipped, px_per_mm)
    use = face & ~glare
    share = float(glare.sum() / max(1, face.sum()))
    clear = use
    if share > 0:  # the last of a highlight's skirt would count as mottle
        away = opencv().distanceTransform((~glare).astype(np.uint8), opencv().DIST_L2, 3)
        clear = use & (away > CLEAR_MM * px_per_mm)
    (means, places), (wide, _), (high, _) = (
        _blocks(light, clear, (px_per_mm * width, px_per_mm * height), turn_deg) for width, height in SHAPES_MM
    )
    mean = light[use].mean(axis=0, dtype=float) if use.any() else np.zeros(3)
    if 0 < share < 1 and use.any():
        mean = (1 - share) * mean + share * _beneath(light, use, glare, px_per_mm)
    return Face(mean, means, places, wide, high, share, int(use.sum())), glare


def _beneath(
    light: npt.NDArray[np.float32], use: npt.NDArray[np.bool_], glare: npt.NDArray[np.bool_], px_per_mm: float
) -> Floats:
    """Return the mean light that lies beneath the glare, by what lies around it: else a gradient would lose its one end."""
    cv2 = opencv()
    size = tuple(max(2, round(n / px_per_mm / BLOCK_MM)) for n in use.shape[::-1])
    weight = use.astype(np.float32)
    covered, hidden = (cv2.resize(v, size, interpolation=cv2.INTER_AREA) for v in (weight, glare.astype(np.float32)))
    summed = cv2.resize(light * weight[..., None], size, interpolation=cv2.INTER_AREA)
    filled, told = np.zeros_like(summed), np.zeros_like(covered)
    for wide in (2.0, 4.0, 8.0, 64.0):  # as near as there is anything to see
        near = cv2.GaussianBlur(covered, (0, 0), wide, borderType=cv2.BORDER_CONSTANT)
        around = cv2.GaussianBlur(summed, (0, 0), wide, borderType=cv2.BORDER_CONSTANT)
        new = (told == 0) & (near > 0.05)
        filled[new] = around[new] / near[new][:, None]
        told[new] = 1
    weights = hidden * told
    if weights.sum() <= 0:
        return np.asarray(light[use].mean(axis=0, dtype=float))
    return np.asarray((filled * weights[..., None]).sum(axis=(0, 1), dtype=float) / weights.sum(dtype=float))


def _blocks(
    light: npt.NDArray[np.float32], use: npt.NDArray[np.bool_], sides: tuple[float, float], turn_deg: float
) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Return the mean light of the blocks of a width and height, px, that lie in `use`, and their rows and columns.

    The blocks are turned with the tile: upright ones would leave out a toothed margin of a turned one, and with it the ends
    of a colour that runs from edge to edge.
    """
    cv2 = opencv()
    y, x = np.nonzero(use)
    if not len(y):
        return np.empty((0, 3)), np.empty((0, 2), dtype=np.int64)
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    along, across = c * x + s * y, c * y - s * x
    size = tuple(int((np.ptp(one) + 1) / side) for one, side in zip((along, across), sides, strict=True))
    if min(size) < 1:
        return np.empty((0, 3)), np.empty((0, 2), dtype=np.int64)
    fit = tuple(round(n * side * FINER) for n, side in zip(size, sides, strict=True))
    u, v = ((one.min() + one.max()) / 2 for one in (along, across))
    step = 1 / FINER
    left, top = ((1 - n) / 2 * step for n in fit)
    turned = np.array([[c, -s], [s, c]])
    offset = turned @ np.array([u + left, v + top])
    matrix = np.column_stack([turned * step, offset])
    weight = use.astype(np.float32)

    def laid(image: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
        straight = cv2.warpAffine(image, matrix, fit, flags=flags, borderMode=cv2.BORDER_CONSTANT)
        return np.asarray(cv2.resize(straight, size, interpolation=cv2.INTER_AREA)).reshape(size[1], size[0], -1)

    covered = laid(weight)[..., 0]
    whole = covered > WHOLE
    return (laid(light * weight[..., None])[whole] / covered[whole][:, None]).astype(float), np.argwhere(whole)


def glare_in(
    light: npt.NDArray[np.float32], face: npt.NDArray[np.bool_], clipped: npt.NDArray[np.bool_], px_per_mm: float
) -> npt.NDArray[np.bool_]:
    """Return which pixels of a face show a mirror reflection of the lamp.

    Its core is about as light as paper or more, or clipped, neutral, and much lighter than the darker half of the face; its
    skirt is what lies around the core and is lighter than the body, more neutrally so than the body itself varies.
    """
    cv2 = opencv()
    none = np.zeros(face.shape, dtype=bool)
    bright = light.mean(axis=-1)
    if not face.any():
        return none
    inside = bright[face]
    low = float(np.quantile(inside, 0.25))
    least = light.min(axis=-1)
    core = face & ((least > MIRROR * 0.8) & (bright > MIRROR) | clipped) & (bright > low + ABOVE_BODY)
    if low > 0.95:  # most of it mirrors the lamp: there is no darker half
        core = face & (least > MIRROR)
    if core.sum() < max(3.0, 0.05 * px_per_mm**2):
        return none
    near = face & (cv2.distanceTransform((~core).astype(np.uint8), cv2.DIST_L2, 3) <= SKIRT_MM * px_per_mm)
    ring = face & ~near
    if ring.sum() < 0.1 * face.sum():
        return np.asarray(near if ring.sum() < 0.02 * face.sum() else core | (near & (bright > low + ABOVE_BODY)))
    body = np.median(light[ring], axis=0)
    scatter = 1.4826 * np.median(np.abs(light[ring] - body), axis=0)
    lifted = ((light - body) > np.maximum(SKIRT, 3 * scatter)).all(axis=-1)
    some = round(0.8 * px_per_mm)
    grown = cv2.dilate((core | (near & lifted)).astype(np.uint8), np.ones((2 * some + 1, 2 * some + 1), np.uint8))
    return np.asarray(grown.astype(bool) & face)


def mottle(lab: Floats, middle: Floats, noise: float = 0.0) -> float:
    """Return the mean CIEDE2000 of blocks (n, 3) from the colour of the mean light, the camera's noise taken off.

    `noise` is the mean CIEDE2000 that the noise alone would make; the two add as squares.

    >>> round(mottle(np.array([[50.0, 0, 0], [52.0, 0, 0]]), np.array([51.0, 0, 0])), 2)
    1.0
    """
    raw = float(ciede2000(lab, middle).mean())
    return float(np.sqrt(max(raw**2 - noise**2, 0.0)))


def sharpened(fine: float, wide: float, high: float, blur_mm: float) -> float:
    """Return the mottle that a sharp photo would show in blocks of 0.67 mm.

    The mean square of a pattern averaged over an aperture falls as 1 / sqrt((1 + k A) (1 + l B)) with the variances A and B of
    the aperture along its two sides (exactly so for a normal aperture over a pattern whose correlation falls off
    normally along them). Blur adds its variance to those of the blocks, a twelfth of their side squared; blocks that are
    longer one way tell k and l apart, which a larger square would mix: too little would be given back to scratches.

    Parameters
    ----------
    fine, wide, high : float
        Mottle in blocks of 0.67 mm, and of 1 x 0.67 mm lying and standing, as photographed.
    blur_mm : float
        Standard deviation of the blur.

    Examples
    --------
    >>> round(sharpened(5.0, 4.4, 5.0, 0.1), 2), sharpened(5.0, 4.4, 5.0, 0.0)
    (5.2, 5.0)
    """
    block, longer = BLOCK_MM**2 / 12, LONG_MM**2 / 12
    finest = block / (block + blur_mm**2)  # a pattern finer than any blur: k without end
    left = 1.0
    for long in (wide, high):
        if 0 < long < fine:
            left *= max(1 - ((fine / long) ** 4 - 1) * blur_mm**2 / (longer - block), finest)
    return float(fine * min(MOST_GAIN, left**-0.25))


def main_colours(lab: Floats, places: npt.NDArray[np.int64]) -> tuple[tuple[float, float, float, float], ...]:
    """Return up to three main colours of a face with their shares, the largest first.

    Hills of the blocks' density in L*a*b* are climbed (mean shift: Fukunaga & Hostetler 1975, IEEE Trans. Inf. Theory
    21(1):32-40); hills closer than CIEDE2000 3 are one. Blocks that mix two colours because an edge runs through them are
    not counted.

    Parameters
    ----------
    lab : (n, 3) array
        Of the blocks.
    places : (n, 2) int array
        Their rows and columns.

    Returns
    -------
    tuple of (L, a, b, share)
        Shares of the counted blocks; they add up to 1 or less.
    """
    if not len(lab):
        return ()
    hills = _hills(lab)
    which = np.argmin(np.linalg.norm(lab[:, None] - hills[None], axis=-1), axis=1)
    hills, which = _merged(lab, hills, which)
    blend = _blends(hills, which, places)
    counted = ~np.isin(which, blend)
    found = []
    for n in range(len(hills)):
        share = float((which == n)[counted].sum() / counted.sum())
        if n not in blend and share >= LEAST_SHARE:
            own = lab[which == n]
            near = own[
                np.linalg.norm(own - hills[n], axis=1) <= np.median(np.linalg.norm(own - hills[n], axis=1)) + 1e-9
            ]
            L, a, b = near.mean(axis=0)
            found.append((float(L), float(a), float(b), share))
    return tuple(sorted(found, key=lambda colour: -colour[3])[:MOST_COLOURS])


def _hills(lab: Floats, width: float = 3.0, grain: float = 1.5) -> Floats:
    bins, which = np.unique(np.round(lab / grain).astype(int), axis=0, return_inverse=True)
    weight = np.bincount(which.ravel()).astype(float)
    centre = np.stack([np.bincount(which.ravel(), lab[:, k]) for k in range(3)], axis=1) / weight[:, None]
    if len(bins) > 500:
        most = np.argsort(-weight, kind="stable")[:500]
        weight, centre = weight[most], centre[most]
    at = centre.copy()
    for _ in range(30):
        far = ((at[:, None] - centre[None]) ** 2).sum(axis=-1)
        pull = np.exp(-far / (2 * width**2)) * weight
        moved = pull @ centre / pull.sum(axis=1, keepdims=True)
        still = np.abs(moved - at).max() < 0.02
        at = moved
        if still:
            break
    hills: list[Floats] = []
    for n in np.argsort(-weight, kind="stable"):
        if all(np.linalg.norm(at[n] - hill) > 1.0 for hill in hills):
            hills.append(at[n])
    return np.array(hills)


def _merged(lab: Floats, hills: Floats, which: npt.NDArray[np.int64]) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Join the closest two colours until none are closer than `SAME_COLOUR`."""
    while True:
        size = np.bincount(which, minlength=len(hills))
        kept = np.flatnonzero(size)
        hills = np.array([lab[which == n].mean(axis=0) if size[n] > 0 else hills[n] for n in kept])
        which = np.searchsorted(kept, which)
        if len(hills) < 2:
            return hills, which
        apart = ciede2000(hills[:, None], hills[None])
        apart[np.diag_indices(len(hills))] = np.inf
        i, j = np.unravel_index(int(np.argmin(apart)), apart.shape)
        if apart[i, j] >= SAME_COLOUR:
            return hills, which
        which = np.where(which == j, i, which)


def _blends(hills: Floats, which: npt.NDArray[np.int64], places: npt.NDArray[np.int64]) -> list[int]:
    """Return the colours that lie between two larger ones and whose blocks border on both."""
    size = np.bincount(which, minlength=len(hills))
    shape = places.max(axis=0) + 3
    on = np.full(shape, -1)
    on[places[:, 0] + 1, places[:, 1] + 1] = which
    blends = []
    for n in range(len(hills)):
        for i in range(len(hills)):
            for j in range(i):
                if n in (i, j) or min(size[i], size[j]) < size[n] or i in blends or j in blends:
                    continue
                line = hills[j] - hills[i]
                along = float((hills[n] - hills[i]) @ line / (line @ line))
                off = float(np.linalg.norm(hills[i] + along * line - hills[n]))
                if not 0.1 < along < 0.9 or off > 0.2 * float(np.linalg.norm(line)):
                    continue
                rows, columns = np.argwhere(on == n).T
                beside = [
                    np.any([on[rows + y, columns + x] == k for y in (-1, 0, 1) for x in (-1, 0, 1)], axis=0)
                    for k in (i, j)
                ]
                if float((beside[0] & beside[1]).mean()) > 0.6 and n not in blends:
                    blends.append(n)
    return blends
