"""How much of one colour's photo error does the difference of two colours keep? Simulated, beside what findings take.

Five invented cameras under nine lights (tests/synthetic) see patches of known spectra and tiles of one process at a time: from
bare metal through brown to black, from brown to green, and under a film that grows. The camera is mapped to colour by a linear
(6 patches) or root-polynomial (24 patches) least squares fit. Errors are counted in units of the local CIEDE2000 metric; `ours`
is the root mean square of the difference of two tiles' errors over that of one tile's, by how far apart the two are, and `foil`
what `photo_error.kept` takes it to be. Wanted: within 0.3.

    python tests/benchmarks/shared_error.py [--quick] [--json]
"""

# ruff: noqa: E402 (the imports need the path)
from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parent)]

import itertools

import printing
from tests.synthetic import surfaces
from tests.synthetic.cameras import CAMERAS, sensitivities
from tests.synthetic.chart import patches
from tests.synthetic.lights import light
from tests.synthetic.spectra import lab_of, lab_of_xyz, weights

from tilestudy.analysis.colour.photo_error import MEDIAN_LENGTH, covariance, kept
from tilestudy.colour.difference import ciede2000

LIGHTS = (
    ("tungsten", 2700), ("daylight", 5000), ("daylight", 6500), ("led", 2700), ("led", 4000), ("led", 5500),
    ("led-red", 3000), ("led-red", 5000), ("fluorescent", 4000),
)  # fmt: skip
EDGES = np.array([0, 2, 4, 7, 10, 15, 20, 30, 45])
NEAR = 0.3


def process(rng: np.random.Generator) -> np.ndarray:
    """Reflectances (n, 31) of tiles of one process, from the least to the most of it."""
    kind = rng.integers(3)
    bare = surfaces.metal(str(rng.choice(["copper", "brass"])), rng.uniform(0.35, 0.62))
    if kind == 0:
        thickness = np.linspace(rng.uniform(10, 40), rng.uniform(60, 130), 14)
        return surfaces.film(thickness, bare, rng.uniform(2.2, 2.7), rng.uniform(0.3, 0.6))
    brown = surfaces._patina(rng, "brown")
    if kind == 1:
        return np.vstack(
            [surfaces._between(bare, brown, 7), surfaces._between(brown, surfaces._patina(rng, "black"), 7)[1:]]
        )
    return surfaces._between(brown, surfaces._patina(rng, "green"), 14)


def seen(rgb: np.ndarray, kind: str) -> np.ndarray:
    """Columns of the map from white-balanced camera light (n, 3) to XYZ."""
    if kind == "6":
        return rgb
    r, g, b = rgb.T
    return np.column_stack([rgb, np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)])


def errors(spectra: np.ndarray, kind: str) -> np.ndarray:
    """Errors (cameras x lights, n, 3) of tiles' L*a*b*, in units of CIEDE2000 at their colours."""
    true, known = lab_of(spectra), patches(kind).spectra
    wanted = known @ weights("D50")
    heavy = 1 / (wanted[:, 1:2] + 0.05)
    units = [np.linalg.inv(np.linalg.cholesky(covariance(lab, MEDIAN_LENGTH))) for lab in true]
    found = []
    for camera in CAMERAS:
        for lamp in LIGHTS:
            response = light(*lamp)[:, None] * sensitivities(camera)
            response = response / response.sum(axis=0)
            columns = seen(known @ response, kind) * heavy
            ridge = columns.T @ columns + 1e-3 * np.eye(columns.shape[1])
            to_xyz = np.linalg.solve(ridge, columns.T @ (wanted * heavy))
            told = lab_of_xyz(np.maximum(seen(spectra @ response, kind) @ to_xyz, 1e-6))
            found.append(np.einsum("nij,nj->ni", units, told - true))
    return np.array(found)


def run(quick: bool) -> printing.Rows:
    """Rows by references and distance."""
    rng = np.random.default_rng(8)
    processes = [process(rng) for _ in range(20 if quick else 200)]
    rows: printing.Rows = []
    for kind in ("24", "6"):
        total, apart, many = (np.zeros(len(EDGES) - 1) for _ in range(3))
        for spectra in processes:
            off, lab = errors(spectra, kind), lab_of(spectra)
            i, j = np.triu_indices(len(lab), 1)
            D = ciede2000(lab[i], lab[j])
            share = ((off[:, i] - off[:, j]) ** 2).sum(axis=2).mean(axis=0) / (off**2).sum(axis=2).mean()
            place = np.digitize(D, EDGES) - 1
            inside = place < len(EDGES) - 1
            for values, into in ((share, total), (D, apart), (np.ones_like(D), many)):
                np.add.at(into, place[inside], values[inside])
        for n, (low, high) in enumerate(itertools.pairwise(EDGES)):
            ours, taken = float(np.sqrt(total[n] / many[n])), kept(float(apart[n] / many[n]))
            name = f"{kind} patches, tiles {low} to {high} apart: kept of one error"
            ok = bool(abs(ours - taken) <= NEAR)
            rows.append({"name": name, "ours": ours, "foil": taken, "ratio": ours / taken, "floor": NEAR, "ok": ok})
    return rows


if __name__ == "__main__":
    printing.main(__doc__, run)
