"""From the laid page to the stored picture: light across the page, lens, noise, colour matrix, tone curve."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from tests.synthetic.cameras import tone, top_light
from tests.synthetic.scene import Scene
from tests.synthetic.spectra import Floats
from tests.synthetic.view import View

_STEP = 16
"""Pixels between the places at which the lens and the light are worked out; between them they are interpolated."""


@dataclass(frozen=True)
class Shot:
    """A laid page (one (h, w, 3) image of balanced camera colour for each light) before the camera."""

    scene: Scene
    view: View
    size_mm: tuple[float, float]
    canvas: list[npt.NDArray[np.float32]]
    per_mm: float


def brightness(scene: Scene, mm: Floats, size_mm: tuple[float, float]) -> Floats:
    """Return the light at places (n, 2) of the page: 1 at the brightest, 1 / `uneven` at the darkest."""
    angle = np.radians(scene.uneven_direction)
    towards = np.array([np.cos(angle), np.sin(angle)])
    half = np.array(size_mm) / 2

    def raw(points: Floats) -> Floats:
        at = (points - half) / half.max()
        spot = np.exp(-((at - 0.4 * towards) ** 2).sum(axis=1) / 0.8)
        return np.asarray((1 - scene.falloff) * at @ towards / 2 + scene.falloff * spot)

    x, y = np.meshgrid(np.linspace(0, size_mm[0], 40), np.linspace(0, size_mm[1], 40))
    page = raw(np.column_stack([x.ravel(), y.ravel()]))
    share = (raw(mm) - page.min()) / np.ptp(page)
    return np.asarray(scene.uneven ** (np.clip(share, -0.5, 1.2) - 1))


def second_share(scene: Scene, mm: Floats, size_mm: tuple[float, float]) -> Floats:
    """Return the share of the second light at places (n, 2): none at the left edge, `second_share` at the right."""
    run = np.clip(mm[:, 0] / size_mm[0], 0, 1)
    return np.asarray(scene.second_share * run**2 * (3 - 2 * run))


def _vignette(scene: Scene, px: Floats) -> Floats:
    half = np.array(scene.size) / 2
    return np.asarray(1 - scene.vignetting * (((px - half) ** 2).sum(axis=1) / (half**2).sum()))


def _spread(values: Floats, shape: tuple[int, int], rows: int, columns: int) -> npt.NDArray[np.float32]:
    """Interpolate values known at the middles of blocks of `_STEP` pixels (one row of blocks more on every side)."""
    coarse = values.reshape(rows, columns).astype(np.float32)
    fine = cv2.resize(coarse, (columns * _STEP, rows * _STEP), interpolation=cv2.INTER_LINEAR)
    return np.asarray(fine[_STEP : _STEP + shape[0], _STEP : _STEP + shape[1]], np.float32)


def exposure_of(shot: Shot, paper: Floats) -> float:
    """Return the factor on brightness so that the paper has the scene's exposure, or is clipped where it should be.

    `paper` is its colour in the picture (3,), linear, when the camera's green is 1.
    """
    x, y = np.meshgrid(np.linspace(0, shot.size_mm[0], 60), np.linspace(0, shot.size_mm[1], 80))
    mm = np.column_stack([x.ravel(), y.ravel()])
    reached = brightness(shot.scene, mm, shot.size_mm) * _vignette(shot.scene, shot.view.to_px(mm))
    if shot.scene.clipped is None:
        return float(shot.scene.exposure / reached.max())
    top = top_light(shot.scene.tone, shot.scene.tone_strength)
    return float(top / paper.max() / np.quantile(reached, 1 - shot.scene.clipped))


def _curves(scene: Scene) -> list[npt.NDArray[Any]]:
    """Stored value for each square root of light, 0 to 1 in 65,536 steps; one curve a channel."""
    light = (np.arange(65536) / 65535) ** 2
    top, kind = (255, np.uint8) if scene.bits == 8 else (65535, np.uint16)
    return [
        np.rint(np.clip(tone(scene.tone, light, skew, scene.tone_strength), 0, 1) * top).astype(kind)
        for skew in scene.tone_skew
    ]


def developed(
    shot: Shot, paper: tuple[Floats, ...], table: tuple[Floats, ...], matrix: Floats, rng: np.random.Generator
) -> npt.NDArray[np.uint8] | npt.NDArray[np.uint16]:
    """Return the stored picture (h, w, 3)."""
    scene, (w, h) = shot.scene, shot.scene.size
    rows, columns = -(-h // _STEP) + 2, -(-w // _STEP) + 2
    px_x, px_y = np.meshgrid((np.arange(columns) - 0.5) * _STEP - 0.5, (np.arange(rows) - 0.5) * _STEP - 0.5)
    px = np.column_stack([px_x.ravel(), px_y.ravel()])
    mm = shot.view.to_mm(px)
    exposure = exposure_of(shot, matrix @ paper[0] / paper[0][1])
    field = brightness(scene, mm, shot.size_mm) * _vignette(scene, px) * exposure
    field = field / paper[0][1]
    share = _spread(second_share(scene, mm, shot.size_mm), (h, w), rows, columns) if scene.second else None
    at_x, at_y = (_spread(mm[:, axis] * shot.per_mm - 0.5, (h, w), rows, columns) for axis in (0, 1))
    bright = _spread(field, (h, w), rows, columns)
    canvas = shot.canvas
    if scene.blur > 0:
        steps = shot.view.to_px(np.array(shot.size_mm) / 2 + np.array([[0, 0], [1, 0], [0, 1]]))
        scale = np.sqrt(abs(np.linalg.det(steps[1:] - steps[0])))
        sigma = scene.blur * shot.per_mm / scale
        canvas = [np.asarray(cv2.GaussianBlur(image, (0, 0), sigma), np.float32) for image in canvas]
    grain = cv2.resize(rng.standard_normal((40, 12)).astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC)
    curves = _curves(scene)
    stored = np.empty((h, w, 3), np.uint8 if scene.bits == 8 else np.uint16)
    gain = np.sqrt(np.array([1.3, 1.0, 1.5], np.float32))  # red and blue are amplified more than green
    outside = shot.canvas[0].shape[1], shot.canvas[0].shape[0]
    for top in range(0, h, 256):
        rows_here = slice(top, min(top + 256, h))
        x, y = at_x[rows_here], at_y[rows_here]
        seen = [
            cv2.remap(
                image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=tuple(map(float, back))
            )
            for image, back in zip(canvas, table, strict=True)
        ]
        light = seen[0] if share is None else seen[0] + share[rows_here][..., None] * (seen[1] - seen[0])
        beyond = (x < 0) | (y < 0) | (x > outside[0]) | (y > outside[1])
        lit = bright[rows_here] * np.where(beyond, 1 + 0.12 * grain[rows_here], 1)
        light = light * lit[..., None] + np.float32(scene.flare)
        if scene.noise > 0:
            sd = scene.noise * gain * np.sqrt(np.maximum(light, 0) + 0.04)
            light = light + sd * rng.standard_normal(light.shape, dtype=np.float32)
        np.minimum(light, 1.0, out=light)
        picture = cv2.transform(light.astype(np.float32, copy=False), matrix.astype(np.float32))
        index = (np.sqrt(np.clip(picture, 0, 1)) * 65535 + 0.5).astype(np.uint16)
        for channel, curve in enumerate(curves):
            stored[rows_here, :, channel] = curve[index[..., channel]]
    return stored
