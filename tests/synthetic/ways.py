"""Make the table of tilestudy.photo.beliefs.WAYS: how invented cameras differ in mixing and bending channels.

Each of 200 cameras with random sensitivities, under a random light, sees the 24 chart colours, 40 patinas and paper;
the map of tilestudy.photo.colour_map is fitted with a wide prior. Printed are the main directions of its numbers, each
times its standard deviation.

    python -m tests.synthetic.ways
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.synthetic import cameras
from tests.synthetic.chart import patches
from tests.synthetic.lights import light
from tests.synthetic.scene import random_scene
from tests.synthetic.spectra import Floats, lab_of, of_lab, weights
from tests.synthetic.surfaces import random_tile
from tilestudy.colour.adaptation import bradford
from tilestudy.colour.srgb import RGB_TO_XYZ
from tilestudy.colour.xyz import white
from tilestudy.photo.beliefs import MIXING, ROOTS, beliefs
from tilestudy.photo.colour_map import fit_map

CAMERAS, PATINAS, KEPT = 200, 40, 10


def decoded(encoded: Floats) -> Floats:
    """Linear light of sRGB values."""
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def numbers_of(rng: np.random.Generator) -> Floats:
    """Fit one invented camera; return its 23 numbers."""
    scene = random_scene(rng)
    shapes = [(rng.normal(middle, 6), rng.uniform(*short), rng.uniform(*long)) for middle, short, long in _SHAPES]
    cameras._CAMERAS["one of many"] = (shapes[0], shapes[1], shapes[2], float(rng.uniform(0.02, 0.09)))
    cameras.sensitivities.cache_clear()
    chart, power = patches("24").spectra, light(scene.light, scene.kelvin)
    matrix = cameras.develop_matrix(
        "one of many", power, np.vstack([chart, patches("6").spectra]), "sRGB", scene.saturation
    )
    response = power[:, None] * cameras.sensitivities("one of many")
    paper = of_lab(scene.paper_tint)
    tiles = np.stack([random_tile(rng).palette.mean(axis=0) for _ in range(PATINAS)])
    seen = np.vstack([chart, tiles])

    def nominal(reflectance: Floats) -> Floats:
        linear = (reflectance @ response / response.sum(axis=0) * np.array(scene.balance)) @ matrix.T
        linear = np.clip(linear * scene.exposure / (paper @ weights("D65"))[1] + scene.flare, 0, 1)
        stored = [cameras.tone(scene.tone, linear[:, c], scene.tone_skew[c]) for c in range(3)]
        return decoded(np.clip(np.stack(stored, axis=1), 0, 1))

    held = beliefs("24 patches")[-1]
    spread = held.spread.copy()
    spread[MIXING], spread[ROOTS] = 0.3, 0.6
    bare = np.repeat(nominal(paper[None]), len(seen), axis=0)
    here = white("D50", "2")
    to_xyz = bradford(white("D65", "2"), here) @ RGB_TO_XYZ
    wide = replace(held, spread=spread, sizes=(0.3, 0.6))
    return fit_map(nominal(seen), bare, lab_of(seen), to_xyz, here, [wide]).colour_map.values


# middle, width to the short side, width to the long side (nm) of red, green, blue
_SHAPES = (
    (600.0, (24.0, 38.0), (28.0, 40.0)),
    (534.0, (30.0, 42.0), (30.0, 44.0)),
    (458.0, (22.0, 30.0), (22.0, 34.0)),
)


def ways() -> Floats:
    """Return the (KEPT, 15) table."""
    rng = np.random.default_rng(1)
    found = np.array([numbers_of(rng)[MIXING.start :] for _ in range(CAMERAS)])
    share, directions = np.linalg.eigh(np.cov(found.T))
    order = np.argsort(-share)[:KEPT]
    return np.asarray((directions[:, order] * np.sqrt(share[order])).T)


if __name__ == "__main__":
    for row in ways():
        print("        [" + ", ".join(f"{value:.3f}" for value in row) + "],")
