"""What a photo is taken of, with what and in what light: all knobs of the generator."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from tests.synthetic.cameras import CAMERAS, TONES, top_light


@dataclass(frozen=True)
class Scene:
    """One photo's circumstances. The defaults make a plain good photo.

    Attributes
    ----------
    size : (int, int)
        Width and height of the picture, pixels.
    light, kelvin : str, float
        Kind (`lights.KINDS`, or "D50", "D65") and colour temperature.
    second, second_kelvin, second_share : str, float, float
        Another light from one side; at that side it gives this share of the light, at the other none.
    uneven, uneven_direction, falloff : float
        Brightest to darkest place of the page; degrees; share of the unevenness that is a soft spot, not a slope.
    camera : str
        One of `cameras.CAMERAS`, or "ideal".
    balance : (float, float, float)
        White balance: gains over the right ones.
    saturation, tone, tone_strength, tone_skew
        The camera's taste: 1 is neutral; a name of `cameras.TONES` or "linear"; how far it goes (1 is as named); how
        unlike the channels' curves are.
    exposure : float
        Linear light of the paper (the camera's green) at the brightest place; 1 is white.
    clipped : float or None
        Share of the page's area where a channel of the paper is stored at its top, instead of `exposure`.
    noise : float
        Standard deviation at paper white, share of it (shot noise; the read noise is a fifth of it).
    flare, vignetting : float
        Stray light, share of paper white; loss of light in the corners.
    tilt, tilt_direction, turn : float
        Degrees from straight above; the direction of the tilt; of the page in the picture.
    fill, off_centre, focal, k1
        Share of the frame the page fills; where its middle lies, shares of the frame; focal length over the picture's
        long side; radial distortion.
    blur : float
        Standard deviation, pixels of the picture.
    table, paper_tint : (float, float, float)
        L*a*b* (D50) of the table and of the paper.
    off_mm, off_degrees : float
        How far at most a tile lies off its cell, and is turned in it.
    card_mm, card_degrees : float
        The same for the card of reference patches.
    chart_error : float
        Standard deviation of the reference file's L*, a* and b* from the truth.
    shadow : float
        Depth of the shadow beside a tile.
    bits, profile, orientation
        8 or 16; "" (none), "sRGB" or "p3": the embedded profile and the picture's colour space; EXIF orientation 1 to 8.
    illuminant, observer : str, int
        For which the truth and the references are stated.
    """

    size: tuple[int, int] = (1536, 2048)
    light: str = "daylight"
    kelvin: float = 5500.0
    second: str = ""
    second_kelvin: float = 2800.0
    second_share: float = 0.6
    uneven: float = 1.2
    uneven_direction: float = 30.0
    falloff: float = 0.3
    camera: str = "north"
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    saturation: float = 1.0
    tone: str = "srgb"
    tone_strength: float = 1.0
    tone_skew: tuple[float, float, float] = (0.0, 0.0, 0.0)
    exposure: float = 0.8
    clipped: float | None = None
    noise: float = 0.006
    flare: float = 0.0
    vignetting: float = 0.08
    tilt: float = 4.0
    tilt_direction: float = 60.0
    turn: float = 1.0
    fill: float = 0.94
    off_centre: tuple[float, float] = (0.0, 0.0)
    focal: float = 0.78
    k1: float = 0.0
    blur: float = 0.6
    table: tuple[float, float, float] = (42.0, 8.0, 16.0)
    paper_tint: tuple[float, float, float] = (95.0, 0.1, -0.6)
    off_mm: float = 1.0
    off_degrees: float = 2.0
    card_mm: float = 1.0
    card_degrees: float = 1.0
    chart_error: float = 0.0
    shadow: float = 0.15
    bits: Literal[8, 16] = 8
    profile: Literal["", "sRGB", "p3"] = ""
    orientation: int = 1
    illuminant: str = "D50"
    observer: int = 2


IDEAL = Scene(
    light="D50", camera="ideal", tone="linear", uneven=1.0, vignetting=0.0, noise=0.0, tilt=0.0, turn=0.0, blur=0.3,
    exposure=0.9, off_mm=0.0, off_degrees=0.0, card_mm=0.0, card_degrees=0.0, shadow=0.0, bits=16,
)  # fmt: skip
"""A colorimeter of a camera in even D50 light: what it shows is the truth."""


def random_scene(rng: np.random.Generator, **fixed: Any) -> Scene:
    """Return a varied scene as a careful but plain user makes one; keywords fix what should not vary.

    Tilt to 25 degrees, unevenness to 2:1, lights of 2,700 to 6,500 K, one clean light, nothing clipped. A page lies along
    the picture, upside down now and then.
    """
    size = fixed.get("size", Scene.size if rng.random() < 0.9 else Scene.size[::-1])
    light = str(rng.choice(["daylight", "tungsten", "led", "led-red", "fluorescent", "fluorescent-old"]))
    low, high = {"daylight": (4500, 6500), "tungsten": (2700, 3200)}.get(light, (2700, 6500))
    scene = Scene(
        size=size,
        light=light,
        kelvin=float(rng.uniform(low, high)),
        uneven=float(2 ** rng.uniform(0.05, 1)),
        uneven_direction=float(rng.uniform(0, 360)),
        falloff=float(rng.uniform(0, 0.7)),
        camera=str(rng.choice(CAMERAS)),
        balance=tuple(float(v) for v in np.clip(rng.normal(1, 0.04, 3), 0.91, 1.1)),  # type: ignore[arg-type]
        saturation=float(rng.uniform(0.95, 1.15)),
        tone=str(rng.choice(TONES)),
        tone_strength=float(rng.uniform(0.6, 1.4)),
        tone_skew=tuple(float(v) for v in rng.choice([0, 1]) * rng.normal(0, 0.02, 3)),  # type: ignore[arg-type]
        noise=float(rng.uniform(0.002, 0.012)),
        flare=float(rng.uniform(0, 0.002)),
        vignetting=float(rng.uniform(0, 0.2)),
        tilt=float(25 * rng.beta(1, 1.5)),
        tilt_direction=float(rng.uniform(0, 360)),
        turn=float(rng.normal(0, 4) + rng.choice([0, 180], p=[0.8, 0.2]) + (90 if size[0] > size[1] else 0)),
        fill=float(rng.uniform(0.82, 0.96)),
        off_centre=(float(rng.uniform(-0.015, 0.015)), float(rng.uniform(-0.015, 0.015))),
        focal=float(rng.uniform(0.7, 1.1)),
        k1=float(rng.uniform(-0.08, 0.08)),
        blur=float(rng.uniform(0.4, 1.0)),
        table=(float(rng.uniform(15, 75)), float(rng.uniform(-12, 20)), float(rng.uniform(-15, 30))),
        paper_tint=(float(rng.uniform(93, 96.5)), float(rng.uniform(-0.6, 1.2)), float(rng.uniform(-4, 2.5))),
        off_mm=1.5,
        off_degrees=4.0,
        card_mm=1.5,
        card_degrees=1.5,
        shadow=float(rng.uniform(0, 0.3)),
    )
    scene = replace(scene, **fixed)
    if "exposure" not in fixed:
        cast = max(scene.balance) / float(np.mean(scene.balance))
        top = top_light(scene.tone, scene.tone_strength) / (1.06 * cast)
        scene = replace(scene, exposure=top * float(rng.uniform(0.6, 0.93)))
    return scene
