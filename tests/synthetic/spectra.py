"""Spectra at 400 to 700 nm every 10 nm: tables of CIE 15, L*a*b* of a reflectance, a smooth reflectance of an L*a*b*."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.floating[Any]]
NM = np.arange(400, 701, 10)
DATA = Path(__file__).parent / "data"


@cache
def table() -> dict[str, Floats]:
    """Return the columns of data/cie-400-700.csv, each (31,)."""
    lines = [line for line in (DATA / "cie-400-700.csv").read_text().splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    return {name: np.array([float(row[name]) for row in rows]) for name in rows[0] if name != "nm"}


@cache
def weights(illuminant: str = "D50", observer: int = 2) -> Floats:
    """Return the (31, 3) weights that turn a reflectance into XYZ, Y = 1 for a reflectance of one throughout."""
    column = table()
    matching = np.stack([column[f"{axis}{observer}"] for axis in "xyz"], axis=1)
    product = matching * column[illuminant][:, None]
    return np.asarray(product / product[:, 1].sum())


def lab_of_xyz(xyz: npt.ArrayLike, illuminant: str = "D50", observer: int = 2) -> Floats:
    """Turn XYZ (..., 3) into L*a*b*; the white is the one of `weights` (CIE 15)."""
    ratio = np.asarray(xyz, dtype=float) / weights(illuminant, observer).sum(axis=0)
    f = np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def lab_of(reflectance: npt.ArrayLike, illuminant: str = "D50", observer: int = 2) -> Floats:
    """Turn reflectances (..., 31) into L*a*b* (..., 3)."""
    return lab_of_xyz(np.asarray(reflectance, dtype=float) @ weights(illuminant, observer), illuminant, observer)


def _sigmoid(coefficients: Floats) -> Floats:
    t = (NM - 550) / 150
    u = coefficients @ np.stack([np.ones_like(t), t, t**2])
    return np.asarray(0.5 + u / (2 * np.sqrt(1 + u**2)))


@cache
def _of_lab(lab: tuple[float, float, float]) -> Floats:
    target = np.array(lab)
    Y = ((lab[0] + 16) / 116) ** 3
    middle = 2 * np.clip(Y, 0.01, 0.98) - 1
    c, damping = np.array([middle / np.sqrt(1 - middle**2), 0.0, 0.0]), 1e-2
    left = lab_of(_sigmoid(c)) - target
    for _ in range(200):
        slope = np.stack([lab_of(_sigmoid(c + 1e-5 * step)) - left - target for step in np.eye(3)], axis=1) / 1e-5
        normal = slope.T @ slope
        new = c - np.linalg.solve(normal + damping * np.diag(np.diag(normal)), slope.T @ left)
        new_left = lab_of(_sigmoid(new)) - target
        if new_left @ new_left < left @ left:
            c, left, damping = new, new_left, damping / 4
        else:
            damping *= 6
        if left @ left < 1e-8 or damping > 1e12:
            break
    return _sigmoid(c)


def of_lab(lab: npt.ArrayLike) -> Floats:
    """Return a smooth reflectance (31,) whose L*a*b* (D50/2) is the given one, or as near as one can come.

    A sigmoid of a quadratic in wavelength (Jakob & Hanika 2019), solved by damped least squares.
    """
    L, a, b = (float(v) for v in np.asarray(lab, dtype=float))
    return _of_lab((L, a, b)).copy()
