"""Sheets for tests: trays of tiles with references, drawn by the project's own layout."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from tests.synthetic.chart import stated_labs
from tests.synthetic.spectra import Floats
from tilestudy.tray.layout import lay_out
from tilestudy.tray.references import References, RefPatch
from tilestudy.tray.sheet import Sheet


def references_of(
    kind: str | None,
    *,
    illuminant: str = "D50",
    observer: int = 2,
    error: float = 0.0,
    rng: np.random.Generator | None = None,
    pitch: float = 13.0,
    loose: bool = False,
) -> References | None:
    """Return the reference file's content for "24" (on a card of 6 x 4 patches, `pitch` mm apart, or loose), "6" or "grey".

    The six patches and the grey card are loose, 20 mm wide. None for None.
    """
    if kind is None:
        return None
    stated = stated_labs(kind, illuminant, observer, error, rng or np.random.default_rng(0))
    if kind != "24" or loose:
        side = 12.0 if kind == "24" else 20.0
        patches = tuple(RefPatch(name, lab, size_mm=side) for name, lab in stated)
        return References(patches, illuminant, str(observer))
    patches = tuple(
        RefPatch(name, lab, (at % 6 + 0.65) * pitch, (at // 6 + 0.65) * pitch, round(0.8 * pitch, 1))
        for at, (name, lab) in enumerate(stated)
    )
    return References(patches, illuminant, str(observer), (6.3 * pitch, 4.3 * pitch))


def pitch_of(sheet: Sheet) -> float:
    """Return the distance (mm) between patches of the 24-patch card on a sheet; 13 when there is none."""
    return 13.0 if sheet.card is None else round(max(sheet.card.width, sheet.card.height) / 6.3, 3)


def tray(
    codes: Sequence[str] | int,
    references: str | None = "24",
    *,
    tile_mm: tuple[float, float] = (25, 50),
    number: int = 1,
    paper: str = "a4",
    cloths: Sequence[str] = (),
    loose: bool = False,
    pitch: float = 13.0,
) -> Sheet:
    """Return the first sheet for tiles (codes, or how many: A1, A2...), or for cloths when there are no tiles."""
    named = [f"A{at + 1}" for at in range(codes)] if isinstance(codes, int) else list(codes)
    found = references_of(references, loose=loose, pitch=pitch)
    return lay_out("plaques", tile_mm, named, first_number=number, paper=paper, references=found, cloths=cloths)[0]


def tray_24(references: str | None = "24", *, number: int = 1) -> Sheet:
    """Return an A4 sheet of 24 tiles of 20 x 36 mm with references beside them."""
    return tray(24, references, tile_mm=(20, 30) if references == "24" else (20, 36), number=number)


def drawn(sheet: Sheet, per_mm: float) -> Floats:
    """Return the share of black ink (h, w) of a sheet: markers, ticks at the corners of places, codes beneath them."""
    page = np.zeros((round(sheet.height * per_mm), round(sheet.width * per_mm)), np.float32)
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, sheet.dictionary))
    cells = dictionary.markerSize + 2
    for marker in sheet.markers:
        bits = cv2.aruco.generateImageMarker(dictionary, marker.number, cells)
        box = marker.box
        # pixels are filled by their share under the marker, so that an edge between two pixels stays where it is
        to_px = np.array([[box.width / cells, 0, box.x], [0, box.height / cells, box.y]]) * per_mm
        h, w = page.shape
        x0, y0 = int(box.x * per_mm) - 1, int(box.y * per_mm) - 1
        x1, y1 = min(w, int((box.x + box.width) * per_mm) + 2), min(h, int((box.y + box.height) * per_mm) + 2)
        fine = 6
        xs = ((np.arange(max(x0, 0) * fine, x1 * fine) + 0.5) / fine - to_px[0, 2]) / to_px[0, 0]
        ys = ((np.arange(max(y0, 0) * fine, y1 * fine) + 0.5) / fine - to_px[1, 2]) / to_px[1, 1]
        inside = ((ys >= 0) & (ys < cells))[:, None] & ((xs >= 0) & (xs < cells))[None, :]
        picked = bits[np.clip(ys.astype(int), 0, cells - 1)[:, None], np.clip(xs.astype(int), 0, cells - 1)[None, :]]
        black = ((picked == 0) & inside).astype(np.float32)
        page[max(y0, 0) : y1, max(x0, 0) : x1] = cv2.resize(
            black, (x1 - max(x0, 0), y1 - max(y0, 0)), interpolation=cv2.INTER_AREA
        )
    words = np.zeros(page.shape, np.uint8)
    for cell in (*sheet.tiles, *sheet.cloths, *sheet.patches):
        box = cell.box
        if cell not in sheet.patches or sheet.card is None:
            for x in (box.x, box.x + box.width):
                for y in (box.y, box.y + box.height):
                    out = np.array([-1.0 if x == box.x else 1.0, -1.0 if y == box.y else 1.0])
                    start, end = (np.array([x, y]) + out * 0.6) * per_mm, (np.array([x, y]) + out * 1.6) * per_mm
                    ends = [tuple(int(v) for v in point * 16) for point in (start, end)]
                    cv2.line(words, ends[0], ends[1], 255, max(1, round(0.15 * per_mm)), cv2.LINE_AA, 4)
            at = (int(box.x * per_mm), int((box.y + box.height + 4.6) * per_mm))
            cv2.putText(words, cell.code, at, cv2.FONT_HERSHEY_SIMPLEX, 0.1 * per_mm, 255, 1, cv2.LINE_AA)
    return np.maximum(page, words / np.float32(255))
