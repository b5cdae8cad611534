"""Synthetic photos of tray sheets with spectral truth, for tests and benchmarks.

>>> import numpy as np
>>> from tests.synthetic import photograph, random_scene, tray
>>> sheet, rng = tray(4, "6"), np.random.default_rng(1)
>>> photo = photograph(sheet, random_scene(rng, size=(600, 800)), rng, references="6")
>>> photo.encoded.shape, sorted(photo.tiles), photo.references.kind
((800, 600, 3), ['A1', 'A2', 'A3', 'A4'], '6 patches')
"""

from tests.synthetic.photo import ClothTruth, Photo, TileTruth
from tests.synthetic.render import photograph
from tests.synthetic.scene import IDEAL, Scene, random_scene
from tests.synthetic.sheets import references_of, tray, tray_24
from tests.synthetic.surfaces import Glare, Tile, random_tile, random_tiles

__all__ = [
    "IDEAL",
    "ClothTruth",
    "Glare",
    "Photo",
    "Scene",
    "Tile",
    "TileTruth",
    "photograph",
    "random_scene",
    "random_tile",
    "random_tiles",
    "references_of",
    "tray",
    "tray_24",
]
