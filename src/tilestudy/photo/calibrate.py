"""What a photo's colours are: paper for the light, reference patches for the phone, and everything that can be wrong.

`calibrate` fits; `Calibrated` turns the picture into light over paper and light into L*a*b*. A photo that cannot be
trusted is refused with all its faults at once; the limits stand in `suspect`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tilestudy.colour.adaptation import bradford
from tilestudy.colour.xyz import white
from tilestudy.errors import PhotoError
from tilestudy.photo import suspect
from tilestudy.photo.beliefs import STRAY, beliefs
from tilestudy.photo.card import seat
from tilestudy.photo.colour_map import ColourMap, Fitted, fit_map
from tilestudy.photo.flat import Flat, paper_light
from tilestudy.photo.needs import opencv
from tilestudy.photo.patches import Seen, read_patches
from tilestudy.photo.rectified import Rectified
from tilestudy.study.records import PAPER_ONLY, Lab
from tilestudy.tray.references import References
from tilestudy.tray.sheet import Box, Cell, Sheet

Floats = npt.NDArray[np.float64]

GRID_MM = 4.0
LEVELS = 16384
WIDE, MOST_ROWS = 1024, 16384
PAPER_LAB = (94.0, 0.5, -2.0)
"""What paper is taken for where no patch tells: plain office paper, roughly, from memory."""

ERROR = {"24 patches": (0.9, 0.3), "6 patches": (0.7, 0.7), "grey card": (0.0, 2.6), PAPER_ONLY[1]: (0.0, 4.0)}
"""Expected error of a tile: a share of the patches' median when left out, and what is added to it in quadrature.
tests/benchmarks/photo_accuracy.py compares it with the error of invented tiles; on the six real photos it is too small
with 6 patches by half, for most of a chart's colours are stronger than a patina's."""


@dataclass(frozen=True)
class Patch:
    """A reference patch as found.

    Attributes
    ----------
    name : str
    box : Box
        Where it was measured, mm on the sheet.
    measured, reference : (L, a, b)
        As the fitted photo tells it, and as the reference file does.
    left_out : float
        CIEDE2000 between the two, had the patch not been used to fit (roughly).
    used : bool
        False when it was left out for being clipped.
    """

    name: str
    box: Box
    measured: Lab
    reference: Lab
    left_out: float
    used: bool = True


@dataclass(frozen=True)
class Calibrated:
    """A photo whose colours are known.

    Attributes
    ----------
    kind : "24 patches", "6 patches", "grey card" or "paper only"
    illuminant, observer : str
        Those of `lab`.
    residual : float
        Median CIEDE2000 of the patches from their reference values.
    error : float
        Expected (median) CIEDE2000 of a tile from an instrument's value.
    notes : tuple of str
        Sentences for the person.
    patches : tuple of Patch
    """

    kind: str
    illuminant: str
    observer: str
    residual: float
    error: float
    notes: tuple[str, ...]
    patches: tuple[Patch, ...]
    colour_map: ColourMap = field(repr=False)
    _levels: npt.NDArray[np.float32] = field(repr=False)
    _paper: npt.NDArray[np.float32] = field(repr=False)

    def light(self, encoded: npt.ArrayLike, mm: npt.ArrayLike) -> npt.NDArray[np.float32]:
        """Turn the rectified picture's values (..., 3) at places (..., 2), mm, into light over that of bare paper (...,
        3).

        NaN where the picture is NaN.
        """
        values = np.asarray(encoded, dtype=np.float32)
        index = np.nan_to_num(values * np.float32(LEVELS - 1) + np.float32(0.5)).clip(0, LEVELS - 1).astype(np.int32)
        light = np.take(self._levels, index)
        light /= _between(self._paper, np.asarray(mm, dtype=np.float32))
        stray = np.float32(self.colour_map.values[STRAY])
        light -= stray
        light *= 1 / (1 - stray)
        np.maximum(light, np.float32(1e-5), out=light)
        light[~np.isfinite(values)] = np.nan
        return np.asarray(light)

    def lab(self, light: npt.ArrayLike) -> Floats:
        """Turn light over paper (..., 3) into L*a*b* (..., 3) under the references' illuminant."""
        return self.colour_map.lab(light)


def _between(grid: npt.NDArray[np.float32], places: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Bilinear values of a grid whose nodes lie `GRID_MM` apart from 0, 0."""
    cv2 = opencv()
    flat = places.reshape(-1, 2) / np.float32(GRID_MM)
    many = -(-len(flat) // WIDE)
    padded = np.zeros((many * WIDE, 2), np.float32)
    padded[: len(flat)] = flat
    x, y = (np.ascontiguousarray(padded[:, axis]).reshape(many, WIDE) for axis in (0, 1))
    parts = [
        cv2.remap(
            grid, x[at : at + MOST_ROWS], y[at : at + MOST_ROWS], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        for at in range(0, many, MOST_ROWS)
    ]
    found = np.concatenate(parts).reshape(-1, 3)[: len(flat)] if parts else np.zeros((0, 3), np.float32)
    return np.asarray(found.reshape(*places.shape[:-1], 3), dtype=np.float32)


def calibrate(image: Rectified, references: References | None) -> Calibrated:
    """Find out what a photo's colours are.

    Parameters
    ----------
    image : Rectified
    references : References or None
        What lies in the sheet's patch cells; None: by the paper alone, and the colours are relative.

    Raises
    ------
    PhotoError
        With all that is wrong: clipped paper or patches, mixed light, patches missing, swapped or turned, a linear
        file, patches that do not fit.
    """
    sheet = image.sheet
    filed = [patch.name for patch in references.patches] if references else []
    if others := suspect.references([cell.code for cell in sheet.patches], filed):
        raise PhotoError(image.name, others)
    flat = paper_light(
        image.image, image.px_per_mm, image.decode, (sheet.width, sheet.height),
        [*(marker.box for marker in sheet.markers), *([sheet.card] if sheet.card else [])],
        [cell.box for cell in _cells(sheet)],
    )  # fmt: skip
    if flat is None:
        raise PhotoError(image.name, suspect.NO_PAPER)
    faults = suspect.paper(flat)
    if references is None:
        held = beliefs("grey card")
        to_xyz, here = _space(image, "D50", "2")
        one = np.ones((1, 3))
        fitted = fit_map(one * 0.5, one * 0.5, np.array([PAPER_LAB]), to_xyz, here, held)
        faults += suspect.light(flat, fitted.colour_map)
        if faults:
            raise PhotoError(image.name, faults)
        return _calibrated(PAPER_ONLY[1], "D50", "2", fitted, flat, image, (), ())
    to_xyz, here = _space(image, references.illuminant, references.observer)
    seen = _seen(image, references)
    paper = flat.at(np.array([one.box.middle for one in seen]))
    lab = np.array([patch.lab for patch in references.patches])
    order = suspect.Order(
        np.array([one.nominal for one in seen]), paper, lab, to_xyz, here, references.kind,
        [one.name for one in seen], _turned(seen),
    )  # fmt: skip
    hidden, gone = suspect.hidden(seen), suspect.gone(seen, paper, lab)
    if hidden or gone:
        raise PhotoError(image.name, [*faults, *(hidden or order.faults() or gone)])
    kind = references.kind
    use = np.array([one.clipped < suspect.CLIPPED_PATCH for one in seen])
    clipped = [one.name for one, good in zip(seen, use, strict=True) if not good]
    if clipped and suspect.too_many_clipped(kind, lab[~use]):
        raise PhotoError(image.name, [*faults, suspect.clipped_patches(clipped)])
    if faults:
        raise PhotoError(image.name, faults)
    nominal = np.array([one.nominal for one in seen])
    fitted = fit_map(nominal[use], paper[use], lab[use], to_xyz, here, beliefs(kind))
    names = [one.name for one, good in zip(seen, use, strict=True) if good]
    places = order.faults() if suspect.doubtful(fitted) else []
    faults = places or suspect.greys(order) or suspect.curve(order)
    faults = (faults or suspect.fit(fitted, kind, names)) + suspect.light(flat, fitted.colour_map)
    if faults:
        raise PhotoError(image.name, faults)
    left_out = np.full(len(seen), np.nan)
    left_out[use] = fitted.left_out
    measured = fitted.colour_map.lab_of_patches(nominal, paper)
    patches = tuple(
        Patch(one.name, one.box, _lab(measured[n]), _lab(lab[n]), float(left_out[n]), bool(use[n]))
        for n, one in enumerate(seen)
    )
    notes = (suspect.clipped_note(clipped),) if clipped else ()
    return _calibrated(kind, references.illuminant, references.observer, fitted, flat, image, patches, notes)


def _cells(sheet: Sheet) -> tuple[Cell, ...]:
    loose = () if sheet.card else sheet.patches
    return (*sheet.tiles, *sheet.cloths, *loose)


def _lab(values: Floats) -> Lab:
    return float(values[0]), float(values[1]), float(values[2])


def _space(image: Rectified, illuminant: str, observer: str) -> tuple[Floats, Floats]:
    here = white(illuminant, observer)
    return bradford(white("D65", "2"), here) @ image.to_xyz, here


def _seen(image: Rectified, references: References) -> tuple[Seen, ...]:
    sheet = image.sheet
    boxes = [cell.box for cell in sheet.patches]
    middles = np.array([box.middle for box in boxes])
    sizes = np.array([(box.width, box.height) for box in boxes])
    if sheet.card is not None:
        middles = seat(image.image, image.px_per_mm, middles, sizes).middles
    names = [patch.name for patch in references.patches]
    return read_patches(image, names, middles, sizes)


def _turned(seen: tuple[Seen, ...]) -> npt.NDArray[np.int64] | None:
    """For each patch, the one in whose place it lies when the patches are turned by 180 degrees together."""
    middles = np.array([one.box.middle for one in seen])
    opposite = middles.min(axis=0) + middles.max(axis=0) - middles
    away = np.linalg.norm(opposite[:, None] - middles[None], axis=2)
    found = away.argmin(axis=1)
    side = min(one.box.width for one in seen)
    return found if len(set(found)) == len(found) and float(away.min(axis=1).max()) < side else None


def _calibrated(
    kind: str, illuminant: str, observer: str, fitted: Fitted, flat: Flat, image: Rectified,
    patches: tuple[Patch, ...], notes: tuple[str, ...],
) -> Calibrated:  # fmt: skip
    colour_map = fitted.colour_map
    stored = np.linspace(0, 1, LEVELS)
    levels = colour_map.curve(np.interp(stored, np.linspace(0, 1, len(image.decode)), image.decode))
    x = np.arange(0, image.sheet.width + 2 * GRID_MM, GRID_MM)
    y = np.arange(0, image.sheet.height + 2 * GRID_MM, GRID_MM)
    paper = colour_map.curve(flat.at(np.stack(np.meshgrid(x, y), axis=-1)))
    share, floor = ERROR[kind]
    error = float(np.hypot(share * np.median(fitted.left_out), floor))
    return Calibrated(
        kind, illuminant, observer, float(np.median(fitted.left_in)) if patches else 0.0, error, notes, patches,
        colour_map, np.maximum.accumulate(levels).astype(np.float32), paper.astype(np.float32),
    )  # fmt: skip
