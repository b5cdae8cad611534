"""Finding a tray sheet in a photo by its corner markers, and laying it flat."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from tilestudy.errors import PhotoError, WrongTrayError
from tilestudy.photo.needs import opencv
from tilestudy.photo.picture import Picture
from tilestudy.photo.rectified import Rectified
from tilestudy.photo.sharp import area, blur_px
from tilestudy.photo.view import Floats, View, fit_view
from tilestudy.study.language import count, listed
from tilestudy.tray.sheet import Box, Sheet, tray_of_marker

CORNERS = ("top left", "top right", "bottom left", "bottom right")
SEARCHED_PX = 1600
"""Longer side of the picture in which the markers are searched first; the corners are then refined at full size."""
FEWEST_PX_PER_MM = 3.0
MOST_BLUR_MM = 0.6
"""Standard deviation of the blur; colours hold until then (edges of 1.25 mm are left out), mottle does not."""
SHARP_MM = 0.3
"""More blur than this takes more than a tenth from the mottle of finely patterned tiles."""
MOST_BEND = 0.02
"""Root mean square distance of the markers' corners from a flat sheet, share of a marker's side."""
STEEP_DEG = 35.0

Found = dict[str, dict[int, Floats]]
"""Corners (4, 2), px, by the markers' dictionary and number."""


@dataclass(frozen=True)
class Placed:
    """A sheet found in a photo.

    Attributes
    ----------
    sheet : Sheet
    view : View
    found : tuple of int
        Numbers of the markers seen.
    px_per_mm : float
        Picture pixels for each mm, the least of the cells.
    usual_px_per_mm : float
        The median of the cells.
    worst_blur_mm : float
        Standard deviation of the blur at the worst marker in the worse direction.
    blur_mm : float
        The same for a usual place of the sheet.
    tilt_deg : float
        Roughly, from straight above.
    notes : tuple of str
    """

    sheet: Sheet
    view: View
    found: tuple[int, ...]
    px_per_mm: float
    usual_px_per_mm: float
    worst_blur_mm: float
    blur_mm: float
    tilt_deg: float
    notes: tuple[str, ...] = ()

    def to_picture(self, mm: npt.ArrayLike) -> Floats:
        """Return where points (n, 2) of the sheet, mm, lie in the picture, px."""
        return self.view.to_picture(mm)


def find(picture: Picture, sheets: Sequence[Sheet], most_blur_mm: float = MOST_BLUR_MM) -> Placed:
    """Find which sheet lies in the picture and how.

    Parameters
    ----------
    picture : Picture
    sheets : sequence of Sheet
        Those it may be.
    most_blur_mm : float
        A photo blurred by more, at its worst corner, is refused.

    Raises
    ------
    WrongTrayError
        When the markers are of a tray that is none of `sheets`.
    PhotoError
        No markers, too few, mirrored, two trays, a bent sheet, too far away, too blurred, or cells outside the photo.
    """
    grey = _grey(picture)
    best, squares = _recognised(picture, grey, sheets)
    size = (grey.shape[1], grey.shape[0])
    markers = [marker for marker in best.markers if marker.number in squares]
    seen = {marker.number: _refined(picture, grey, squares[marker.number], best.dictionary) for marker in markers}
    mm = np.vstack([corners_of(marker.box) for marker in markers])
    px = np.vstack([seen[marker.number] for marker in markers])
    view = fit_view(mm, px, size)
    middles = np.array([cell.box.middle for cell in best.cells] or [(best.width / 2, best.height / 2)])
    scales = view.px_per_mm(middles)
    faults = []
    bend = view.residual_px / float(np.median(scales))
    if bend > MOST_BEND * markers[0].box.width:
        faults.append(
            f"The corner markers do not lie as on a flat sheet (off by {bend:.1f} mm). "
            "Lay the sheet flat, print it at full size (100 %), and take the photo again."
        )
    least = float(scales.min())
    local = view.px_per_mm([marker.box.middle for marker in markers])
    blurs = np.array([blur_px(picture.decode, grey, seen[marker.number]) for marker in markers])
    blur = float((blurs.max(axis=1) / local).max())
    if least < FEWEST_PX_PER_MM:
        faults.append(
            f"The tray is too small in the picture ({np.floor(10 * least) / 10:.1f} pixels for each mm; {FEWEST_PX_PER_MM:.0f} are the least). "
            "Go closer until the sheet fills the picture, at the phone's full size."
        )
    elif blur > most_blur_mm:
        faults.append(
            f"The photo is blurred: edges spread over {2.56 * blur:.1f} mm (at most {2.56 * most_blur_mm:.1f} mm). "
            "Rest the phone on something, tap on the tray to focus, and take the photo again."
        )
    outside = [cell.code for cell in best.cells if not _inside(view, cell.box)]
    if outside and not faults:
        places = "The places of" if len(outside) > 1 else "The place of"
        faults.append(
            f"{places} {listed(outside)} {'lie' if len(outside) > 1 else 'lies'} partly outside the picture. "
            "Take the photo again with the whole sheet in it."
        )
    if faults:
        raise PhotoError(picture.name, faults)
    tilt = view.tilt_deg((best.width / 2, best.height / 2))
    scale = float(np.median(scales))
    return Placed(
        best,
        view,
        tuple(seen),
        least,
        scale,
        blur,
        float(np.median(blurs)) / scale,
        tilt,
        _notes(best, seen, tilt, blur),
    )


def _notes(sheet: Sheet, seen: Iterable[int], tilt: float, blur: float) -> tuple[str, ...]:
    notes = []
    missing = [CORNERS[n] for n, marker in enumerate(sheet.markers) if marker.number not in set(seen)]
    if missing:
        notes.append(f"The {missing[0]} marker was not seen; the tray was placed by the other three.")
    if tilt > STEEP_DEG:
        notes.append(
            f"The photo was taken from the side (about {tilt:.0f} degrees); from above, the colours are surer."
        )
    if blur > SHARP_MM:
        notes.append(
            f"The photo is a little blurred (edges spread over {2.56 * blur:.1f} mm): colours hold, "
            "but fine mottle reads low."
        )
    return tuple(notes)


def corners_of(box: Box) -> Floats:
    """Return the corners of a box, mm: top left, top right, bottom right, bottom left.

    >>> corners_of(Box(1, 2, 10, 20)).tolist()
    [[1.0, 2.0], [11.0, 2.0], [11.0, 22.0], [1.0, 22.0]]
    """
    x, y, right, down = box.x, box.y, box.x + box.width, box.y + box.height
    return np.array([[x, y], [right, y], [right, down], [x, down]], dtype=float)


def rectify(picture: Picture, placed: Placed, px_per_mm: float = 8.0) -> Rectified:
    """Lay the sheet flat.

    Where the picture is finer than asked it is averaged over areas first, so that no pixel is thrown away.
    """
    cv2 = opencv()
    sheet, view = placed.sheet, placed.view
    width, height = round(sheet.width * px_per_mm), round(sheet.height * px_per_mm)
    # the map is smooth: it is computed every `step` pixels and interpolated
    step = 8
    across, down = ((np.arange(-1, -(-n // step) + 1) + 0.5) * step for n in (width, height))
    grid = np.stack(np.meshgrid(across, down), axis=-1).reshape(-1, 2) / px_per_mm
    coarse = view.to_picture(grid).reshape(len(down), len(across), 2)
    low = np.clip(np.floor(coarse.min(axis=(0, 1))).astype(int) - 2, 0, None)
    high = np.clip(np.ceil(coarse.max(axis=(0, 1))).astype(int) + 3, 0, view.size)
    part = picture.pixels[low[1] : high[1], low[0] : high[0]]
    part = part.astype(np.float32)
    part *= np.float32(1 / (255 if picture.bits == 8 else 65535))
    here = coarse - low
    finest = float(view.px_per_mm([(sheet.width / 2, sheet.height / 2)])[0])
    if finest > 1.25 * px_per_mm:
        fewer = tuple(max(1, round(n * 1.1 * px_per_mm / finest)) for n in part.shape[1::-1])
        ratio = np.array(fewer) / part.shape[1::-1]
        part = cv2.resize(part, fewer, interpolation=cv2.INTER_AREA)
        here = (here + 0.5) * ratio - 0.5
    full = cv2.resize(here.astype(np.float32), (len(across) * step, len(down) * step), interpolation=cv2.INTER_LINEAR)[
        step : step + height, step : step + width
    ]
    nothing = (float("nan"),) * 4
    image = cv2.remap(part, full, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=nothing)
    return Rectified(image, px_per_mm, sheet, picture.decode, picture.to_xyz, picture.camera, picture.name)


# ---- markers


def _grey(picture: Picture) -> npt.NDArray[np.uint8]:
    cv2 = opencv()
    pixels = picture.pixels if picture.bits == 8 else (picture.pixels >> 8).astype(np.uint8)
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY))


def _recognised(
    picture: Picture, grey: npt.NDArray[np.uint8], sheets: Sequence[Sheet]
) -> tuple[Sheet, dict[int, Floats]]:
    """Return the sheet that is seen and its markers' corners by number."""
    found: Found = {}
    for share in (SEARCHED_PX / max(grey.shape), 1.0):
        if share > 1.0:
            continue
        small = _reduced(grey, share)
        for dictionary in {sheet.dictionary for sheet in sheets}:
            found[dictionary] = _detected(small, dictionary, share) | found.get(dictionary, {})
        most = sorted(sheets, key=lambda sheet: -_seen(sheet, found))
        if most and _seen(most[0], found) >= 3:
            if len(most) > 1 and _seen(most[1], found) >= 3:
                raise PhotoError(
                    picture.name, "Two tray sheets lie in the picture. Take a photo of each sheet on its own."
                )
            return most[0], found[most[0].dictionary]
    raise _unrecognised(picture, grey, sheets, found)


def _seen(sheet: Sheet, found: Found) -> int:
    return sum(marker.number in found[sheet.dictionary] for marker in sheet.markers)


def _unrecognised(picture: Picture, grey: npt.NDArray[np.uint8], sheets: Sequence[Sheet], found: Found) -> PhotoError:
    """Return what to say when no sheet has three markers in the picture."""
    sheet = max(sheets, key=lambda sheet: _seen(sheet, found), default=None)
    some = _seen(sheet, found) if sheet else 0
    numbers = found.get("DICT_5X5_1000") or _detected(grey, "DICT_5X5_1000", 1.0)
    for tray, seen in Counter(map(tray_of_marker, numbers)).most_common():
        if seen >= 3 and seen > some:
            return WrongTrayError(
                picture.name,
                f"This is tray {tray}, which is not one of the trays asked for. "
                "Give the photo together with the name of that tray's study.",
                tray,
            )
    mirrored: Found = {
        dictionary: _detected(_reduced(grey, min(1.0, SEARCHED_PX / max(grey.shape)))[:, ::-1], dictionary, 1.0)
        for dictionary in {sheet.dictionary for sheet in sheets}
    }
    if any(_seen(one, mirrored) >= 3 for one in sheets):
        return PhotoError(
            picture.name, "The picture is mirrored. Take it with the main camera, or switch mirroring off."
        )
    if sheet and some:
        missing = [CORNERS[n] for n, m in enumerate(sheet.markers) if m.number not in found[sheet.dictionary]]
        return PhotoError(
            picture.name,
            f"Only {count(some, 'corner marker')} of tray {sheet.number} can be seen; three are needed. "
            f"Not seen: {listed(missing)}. They are covered or outside the picture, or the photo is blurred. Take it again, "
            "sharp, with all four corners of the sheet free and in the picture.",
        )
    return PhotoError(
        picture.name,
        "No tray sheet can be seen: none of its corner markers was found. They are outside the picture, or it is blurred or too "
        "dark. Take the photo from above, sharp and well lit, with all four black squares in it.",
    )


def _reduced(grey: npt.NDArray[np.uint8], share: float) -> npt.NDArray[np.uint8]:
    if share >= 1.0:
        return grey
    cv2 = opencv()
    size = (round(grey.shape[1] * share), round(grey.shape[0] * share))
    return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA))


def _detected(grey: npt.NDArray[Any], dictionary: str, share: float) -> dict[int, Floats]:
    """Return the corners (4, 2), px of the full picture, of the markers seen; the largest where a number comes twice."""
    cv2 = opencv()
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, dictionary)))
    corners, numbers, _ = detector.detectMarkers(np.ascontiguousarray(grey))
    squares: dict[int, Floats] = {}
    for square, number in zip(corners, [] if numbers is None else numbers.ravel().tolist(), strict=False):
        here = (square.reshape(4, 2).astype(float) + 0.5) / share - 0.5
        if number not in squares or area(here) > area(squares[number]):
            squares[int(number)] = here
    return squares


def _refined(picture: Picture, grey: npt.NDArray[np.uint8], corners: Floats, dictionary: str) -> Floats:
    """Return corners to a part of a pixel, found in linear light: as stored, blur eats into the black."""
    cv2 = opencv()
    modules = int(dictionary[5]) + 2
    half = max(2, min(15, round(0.6 * np.sqrt(area(corners)) / modules)))
    low = np.clip(np.floor(corners.min(axis=0)).astype(int) - 2 * half - 2, 0, None)
    high = np.ceil(corners.max(axis=0)).astype(int) + 2 * half + 3
    part = picture.decode[grey[low[1] : high[1], low[0] : high[0]]].astype(np.float32)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 0.01)
    start = (corners - low).astype(np.float32).reshape(-1, 1, 2)
    found = cv2.cornerSubPix(part, start.copy(), (half, half), (-1, -1), stop).reshape(4, 2)
    far = np.hypot(*(found - start.reshape(4, 2)).T) > 2 * half
    return np.where(far[:, None], corners, found.astype(float) + low)


def _inside(view: View, box: Box) -> bool:
    px = view.to_picture(corners_of(box))
    return bool((px >= 0).all() and (px <= np.array(view.size) - 1).all())
