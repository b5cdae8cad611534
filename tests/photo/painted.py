"""Flat pictures of a tray for tests of calibration: patches and tiles of one colour, seen by a phone known exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.synthetic import references_of, tray
from tests.synthetic.cameras import tone
from tilestudy.colour.adaptation import bradford
from tilestudy.colour.srgb import RGB_TO_XYZ
from tilestudy.colour.xyz import lab_to_xyz, white
from tilestudy.photo.rectified import Rectified
from tilestudy.tray.references import References
from tilestudy.tray.sheet import Box, Sheet

PX_PER_MM = 3.0
PAPER = (94.0, 0.5, -2.0)
TILES = {"A1": (38.0, 12.0, 14.0), "A2": (52.0, -14.0, 4.0), "A3": (24.0, 2.0, 3.0), "A4": (61.0, 6.0, 22.0)}
_LEVELS = np.linspace(0, 1, 256)
DECODE = np.where(_LEVELS <= 0.04045, _LEVELS / 12.92, ((_LEVELS + 0.055) / 1.055) ** 2.4)


@dataclass(frozen=True)
class Phone:
    """A phone and its light: the paper's exposure, tone curve, gains, mixing of channels, unevenness, a second
    light."""

    exposure: float = 0.6
    curve: str = "phone"
    gains: tuple[float, float, float] = (1.05, 1.0, 0.92)
    mixing: float = 0.06
    uneven: float = 1.0
    second: tuple[float, float, float] = (0.0, 0.0, 0.0)


def light_of(lab: tuple[float, float, float]) -> np.ndarray:
    """Linear sRGB of a colour under D50."""
    space = bradford(white("D65", "2"), white("D50", "2")) @ RGB_TO_XYZ
    return np.linalg.solve(space, lab_to_xyz(lab, white("D50", "2")))


def paint(
    kind: str | None, phone: Phone, labs: dict[str, tuple[float, float, float]] | None = None, seed: int = 0
) -> tuple[Rectified, References | None]:
    """Paint a tray of four tiles; `labs` are colours of patches that are not what the reference file says."""
    sheet, references = tray(4, kind), references_of(kind)
    h, w = round(sheet.height * PX_PER_MM), round(sheet.width * PX_PER_MM)
    page = np.tile(light_of(PAPER), (h, w, 1))
    for marker in sheet.markers:
        _fill(page, marker.box, light_of((15, 0, 0)))
    if sheet.card:
        _fill(page, sheet.card, light_of((12, 0, 0)))
    for cell in sheet.tiles:
        _fill(page, cell.box, light_of(TILES[cell.code]))
    known = {} if references is None else {patch.name: patch.lab for patch in references.patches}
    for cell in sheet.patches:
        _fill(page, cell.box, light_of((labs or {}).get(cell.code, known[cell.code])))
    return photographed(sheet, page, phone, seed), references


def photographed(sheet: Sheet, page: np.ndarray, phone: Phone, seed: int = 0) -> Rectified:
    """What the phone stores of a page of linear sRGB light."""
    h, w = page.shape[:2]
    mixing = (1 - phone.mixing) * np.eye(3) + phone.mixing / 3
    across = np.linspace(0, 1, w)[None, :, None] + 0 * np.linspace(0, 1, h)[:, None, None]
    field = phone.uneven**-across * phone.exposure / light_of(PAPER)[1]
    lit = page @ mixing.T * np.array(phone.gains) * field * (1 + across * np.array(phone.second))
    lit = lit + 0.004 * np.sqrt(np.maximum(lit, 0)) * np.random.default_rng(seed).standard_normal(lit.shape)
    stored = np.rint(tone(phone.curve, np.clip(lit, 0, 1)) * 255) / 255
    return Rectified(stored.astype(np.float32), PX_PER_MM, sheet, DECODE, np.asarray(RGB_TO_XYZ))


def _fill(page: np.ndarray, box: Box, light: np.ndarray) -> None:
    top, left = round(box.y * PX_PER_MM), round(box.x * PX_PER_MM)
    page[top : round((box.y + box.height) * PX_PER_MM), left : round((box.x + box.width) * PX_PER_MM)] = light
