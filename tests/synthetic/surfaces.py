"""Patina-like tiles: palettes of spectra and maps that say where on the tile which spectrum lies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from tests.synthetic.spectra import NM, Floats, lab_of, of_lab

PER_MM = 9.0
"""Pixels per mm of a tile's own map: six of them make a block of 0.67 mm."""

KINDS = ("even", "mottled", "iridescent", "speckled", "brushed", "black", "bare", "verdigris", "bands")


@dataclass(frozen=True)
class Glare:
    """A mirror reflection of the light: an ellipse at shares of the tile's width and height, half-axes in mm."""

    x: float
    y: float
    wide: float
    high: float
    angle: float
    level: float
    """Light in its middle; paper is 1."""


@dataclass(frozen=True)
class Tile:
    """One tile to lay on the tray.

    Attributes
    ----------
    kind : str
        One of `KINDS`.
    palette : (k, 31) array
        Reflectances; the map's values run from 0 to k - 1 and mix neighbours linearly.
    mottle : float
        How far the map wanders, as a share of the palette.
    fleck : (31,) array or None
        Reflectance of the flecks or streaks laid over it.
    fleck_share : float
        Share of the tile under flecks.
    seed : int
        Of the maps.
    glare : Glare or None
    burr : float
        Width of the bare bright edge, mm.
    """

    kind: str
    palette: Floats
    mottle: float
    fleck: Floats | None
    fleck_share: float
    seed: int
    glare: Glare | None = None
    burr: float = 0.2


@dataclass(frozen=True)
class Texture:
    """Maps of a tile, `PER_MM` pixels a mm: place on the palette, share of fleck, share of bare edge, share of glare."""

    place: Floats
    fleck: Floats
    edge: Floats
    glare: Floats


def metal(name: str, brightness: float = 0.6) -> Floats:
    """Return a bare metal's reflectance, diffuse part: "copper", "brass", "bronze" or "steel" (invented smooth edges)."""
    low, high, edge, width = {
        "copper": (0.45, 1.0, 575, 16),
        "brass": (0.42, 1.0, 508, 22),
        "bronze": (0.5, 1.0, 550, 35),
        "steel": (0.88, 1.0, 560, 80),
    }[name]
    return np.asarray(brightness * (low + (high - low) / (1 + np.exp(-(NM - edge) / width))))


def film(thickness: Sequence[float] | Floats, under: Floats, index: float = 2.6, haze: float = 0.35) -> Floats:
    """Return reflectances (k, 31) of a clear film of the given thicknesses (nm) on a metal, with scattered grey light.

    Two-beam interference with the metal's phase left out (Born & Wolf, Principles of Optics, 7.6).
    """
    t = np.asarray(thickness, dtype=float)[:, None]
    top, bottom = ((index - 1) / (index + 1)) ** 2, np.sqrt(0.8 * under)[None, :] ** 2 * np.exp(-t / 400)
    phase = 4 * np.pi * index * t / NM[None, :] + np.pi
    r1, r2 = np.sqrt(top), np.sqrt(bottom)
    reflected = (r1**2 + r2**2 + 2 * r1 * r2 * np.cos(phase)) / (1 + (r1 * r2) ** 2 + 2 * r1 * r2 * np.cos(phase))
    return np.asarray((1 - haze) * 0.6 * reflected + haze * 0.18)


def _near(rng: np.random.Generator, lab: Sequence[float] | Floats, spread: Sequence[float]) -> Floats:
    wanted = np.array(lab) + rng.uniform(-1, 1, 3) * np.array(spread)
    spectrum = of_lab(np.array([max(wanted[0], 6.0), *wanted[1:]]))
    wave = 1 + 0.05 * np.sin(2 * np.pi * (NM - 400) / rng.uniform(90, 220) + rng.uniform(0, 6.3))
    return np.asarray(np.clip(spectrum * wave, 0.004, 0.98))


_LABS: dict[str, tuple[tuple[tuple[float, float, float], tuple[float, float, float]], ...]] = {
    # browns of copper and brass, from light to nearly black: middle and half range
    "brown": (((34, 13, 15), (12, 8, 8)), ((52, 10, 24), (10, 6, 10)), ((24, 8, 8), (6, 5, 6))),
    "green": (((58, -22, 3), (12, 10, 10)), ((45, -16, -8), (10, 8, 6)), ((70, -14, 4), (8, 8, 8))),
    "black": (((14, 1, 1), (6, 2, 3)), ((20, 2, -2), (5, 2, 4))),
}


def _patina(rng: np.random.Generator, family: str) -> Floats:
    middle, spread = _LABS[family][rng.integers(len(_LABS[family]))]
    return _near(rng, middle, spread)


def _between(first: Floats, last: Floats, count: int = 8) -> Floats:
    share = np.linspace(0, 1, count)[:, None]
    return np.asarray(np.exp((1 - share) * np.log(first) + share * np.log(last)))


def random_tile(rng: np.random.Generator, kind: str | None = None) -> Tile:
    """Return a tile of the given kind, or of any."""
    kind = kind or str(rng.choice(KINDS, p=[0.2, 0.18, 0.14, 0.12, 0.1, 0.08, 0.06, 0.08, 0.04]))
    seed, fleck, share, mottle = int(rng.integers(2**31)), None, 0.0, rng.uniform(0.05, 0.2)
    bare = metal(str(rng.choice(["copper", "brass", "bronze", "steel"])), rng.uniform(0.35, 0.62))
    first = _patina(rng, "brown" if rng.random() < 0.7 else "green")
    if kind == "mottled":
        palette, mottle = _between(first, _near(rng, lab_of(first), (12, 8, 8))), rng.uniform(0.4, 0.9)
    elif kind in ("iridescent", "bands"):
        start, span = rng.uniform(15, 60), rng.uniform(30, 110)
        palette = film(np.linspace(start, start + span, 32), bare, rng.uniform(2.2, 2.7), rng.uniform(0.3, 0.6))
    elif kind == "speckled":
        palette = _between(first, first * rng.uniform(0.8, 0.95))
        fleck, share = _patina(rng, str(rng.choice(["green", "black", "brown"]))), rng.uniform(0.1, 0.5)
    elif kind == "brushed":
        palette = _between(first, first * rng.uniform(0.7, 0.9))
        fleck, share = bare, rng.uniform(0.1, 0.4)
    elif kind == "black":
        palette = _between(_patina(rng, "black"), _patina(rng, "black"))
    elif kind == "bare":
        palette = _between(bare, bare * rng.uniform(0.85, 0.95))
    elif kind == "verdigris":
        palette = _between(_patina(rng, "green"), _patina(rng, "green"))
        mottle = rng.uniform(0.2, 0.6)
    else:
        palette = _between(first, first * rng.uniform(0.85, 0.97))
    return Tile(kind, palette, mottle, fleck, share, seed, burr=rng.uniform(0, 0.35))


def random_glare(rng: np.random.Generator) -> Glare:
    """Return a highlight somewhere on a tile."""
    x, y, wide, high = rng.uniform(0.2, 0.8), rng.uniform(0.15, 0.85), rng.uniform(1.5, 5), rng.uniform(2, 9)
    return Glare(x, y, wide, high, rng.uniform(0, 180), rng.uniform(0.9, 1.8))


def random_tiles(rng: np.random.Generator, codes: Sequence[str], glare: float = 0.1) -> dict[str, Tile]:
    """Return a tile for each code; `glare` is the chance that one shows a mirror reflection."""
    tiles = {}
    for code in codes:
        tile = random_tile(rng)
        tiles[code] = replace(tile, glare=random_glare(rng)) if rng.random() < glare else tile
    return tiles


def smooth_noise(rng: np.random.Generator, shape: tuple[int, int], coarse: float) -> Floats:
    """Return smooth noise (h, w), mean 0 and standard deviation 1, with features of about `coarse` pixels."""
    small = rng.standard_normal((int(shape[0] / coarse) + 4, int(shape[1] / coarse) + 4)).astype(np.float32)
    grown = cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray((grown - grown.mean()) / max(float(grown.std()), 1e-6))


def _place(tile: Tile, rng: np.random.Generator, h: int, w: int) -> Floats:
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    if tile.kind in ("iridescent", "bands"):
        angle = rng.uniform(0, 2 * np.pi)
        run = x / w * np.cos(angle) + y / h * np.sin(angle)
        if tile.kind == "bands":
            run = np.cos(run * rng.uniform(3, 6))
        run = (run - run.min()) / np.ptp(run)
        place = run * 0.8 + 0.1 + 0.06 * smooth_noise(rng, (h, w), 70)
    else:
        fine, broad = smooth_noise(rng, (h, w), 16), smooth_noise(rng, (h, w), 60)
        place = 0.5 + tile.mottle * 0.35 * (0.6 * fine + 0.8 * broad)
    return np.asarray(np.clip(place, 0, 1) * (len(tile.palette) - 1))


def texture(tile: Tile, width: float, height: float) -> Texture:
    """Draw a tile's maps for a size in mm; the same tile and size always give the same maps."""
    rng = np.random.default_rng(tile.seed)
    h, w = max(round(height * PER_MM), 8), max(round(width * PER_MM), 8)
    place = _place(tile, rng, h, w)
    fleck = np.zeros((h, w))
    if tile.fleck is not None:
        noise = smooth_noise(rng, (h, w), 5 if tile.kind == "speckled" else 2)
        if tile.kind == "brushed":
            noise = np.asarray(cv2.blur(noise, (1, 61)), np.float32)
        edge = np.quantile(noise, 1 - tile.fleck_share)
        fleck = np.clip(0.5 + (noise - edge) / (0.4 * noise.std()), 0, 1)
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    from_edge = np.minimum(np.minimum(x + 0.5, w - x - 0.5), np.minimum(y + 0.5, h - y - 0.5)) / PER_MM
    ragged = tile.burr * (1 + 0.6 * smooth_noise(rng, (h, w), 12))
    bare = np.clip((ragged - from_edge) / 0.1, 0, 1) if tile.burr > 0 else np.zeros((h, w))
    glare = np.zeros((h, w))
    if tile.glare is not None:
        g, turn = tile.glare, np.radians(tile.glare.angle)
        dx, dy = (x - g.x * w) / PER_MM, (y - g.y * h) / PER_MM
        along, across = dx * np.cos(turn) + dy * np.sin(turn), dy * np.cos(turn) - dx * np.sin(turn)
        radius = np.sqrt((along / g.wide) ** 2 + (across / g.high) ** 2)
        glare = np.clip((1.15 - radius) / 0.5, 0, 1)
        glare = glare**2 * (3 - 2 * glare)
    return Texture(place, fleck, np.asarray(bare), glare)


def painted(tile: Tile, maps: Texture, colours: Floats, fleck: Floats, bare: Floats) -> Floats:
    """Mix the palette's colours (k, c), the fleck's (c,) and the bare edge's (c,) over the maps: (h, w, c), no glare."""
    low = np.minimum(maps.place.astype(int), len(colours) - 2)
    between = (maps.place - low)[..., None]
    image = colours[low] * (1 - between) + colours[low + 1] * between
    if tile.fleck is not None:
        image = image + maps.fleck[..., None] * (fleck - image)
    return np.asarray(image + maps.edge[..., None] * (bare - image))


def face_xyz(tile: Tile, maps: Texture, to_xyz: Floats) -> Floats:
    """Return XYZ of every pixel of a tile without glare and without its bare edge; to_xyz is (31, 3)."""
    fleck = tile.fleck if tile.fleck is not None else tile.palette[0]
    clean = replace(maps, edge=np.zeros_like(maps.edge))
    return painted(tile, clean, tile.palette @ to_xyz, fleck @ to_xyz, np.zeros(3))


EDGE = metal("copper", 0.55)
"""Bare edge of a cut tile."""
