"""How much of a bath to make: what the study file asks for, or what covers a tile in its container."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tilestudy.study.at_hand import AtHand
from tilestudy.study.records import Study
from tilestudy.study.units import plain_number
from tilestudy.trade.amounts.household import CUP_ML

ML_PER_CM2 = 1.0
"""Bath for each square centimetre that is dipped into it, both faces of all its tiles (common practice, no source)."""
CLEAR_MM = 10.0
"""Bath above and below a hanging tile (common practice, no source)."""


@dataclass(frozen=True)
class Volume:
    """The volume of one bath, mL, where it comes from in words ("" where it was asked for), and what to know of it."""

    ml: float
    why: str = ""
    notes: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """Metric first, cups beside it.

        >>> Volume(500.0).text
        '0.5 L (about 2.1 cups)'
        """
        return f"{volume_words(self.ml)} (about {plain_number(self.ml / CUP_ML, 2)} cups)"


def volume_words(ml: float) -> str:
    """Write a volume: in mL below a quarter of a litre.

    >>> volume_words(500), volume_words(200)
    ('0.5 L', '200 mL')
    """
    return f"{plain_number(ml / 1000)} L" if ml >= 250 else f"{plain_number(ml)} mL"


def floor_mm2(container_mm: tuple[float, ...]) -> float:
    """Return the area of a container's floor, mm2: round where one measure is given.

    >>> floor_mm2((120.0, 80.0)), round(floor_mm2((90.0,)))
    (9600.0, 6362)
    """
    return math.prod(container_mm) if len(container_mm) > 1 else math.pi / 4 * container_mm[0] ** 2


def bath_volume(study: Study, most_tiles: int, at_hand: AtHand, *, dipped: bool) -> Volume:
    """Return the volume of one bath; all baths of a study get the same.

    Parameters
    ----------
    most_tiles : int
        Tiles of the fullest batch.
    dipped : bool
        True where tiles hang in it: then it has to cover them.

    Examples
    --------
    >>> hand = AtHand(container_mm=(120.0, 80.0))
    >>> bath_volume(Study("s", "", "sulfide-dip", ()), 12, hand, dipped=True).ml
    700.0
    """
    width, height = study.tile_mm
    covers = None
    if dipped and at_hand.container_mm:
        covers = floor_mm2(at_hand.container_mm) * (height + 2 * CLEAR_MM) / 1000
    size = f"{plain_number(width)} x {plain_number(height)} mm"
    if study.batch_litres is not None:
        ml = study.batch_litres * 1000
        return Volume(ml, "", _too_little(ml, covers, size, at_hand))
    area = ML_PER_CM2 * most_tiles * 2 * width * height / 100
    ml = _round_up(max(area, covers or 0.0))
    if covers is not None and covers >= area:
        why = (
            f"what covers a hanging tile of {size} in the container with {plain_number(CLEAR_MM)} mm above and below it"
        )
    else:
        why = (
            f"{plain_number(ML_PER_CM2)} mL for each cm² of both faces of {most_tiles} tiles of {size} (common practice, no "
            "source)"
        )
    told: tuple[str, ...] = (
        f'The study file gives no batch_volume, so each bath is {volume_words(ml)}: {why}. Put batch_volume = "{volume_words(ml)}" '
        "into study.toml to keep it.",
    )
    if dipped and covers is None:
        told += (
            "Look whether that covers a tile in your container; told its size ([measures] container in "
            "experiments/studio.toml), tilestudy reckons it.",
        )
    return Volume(ml, why, told)


def _too_little(ml: float, covers: float | None, size: str, at_hand: AtHand) -> tuple[str, ...]:
    """Say when an asked volume does not cover a hanging tile."""
    if covers is None or ml >= covers:
        return ()
    deep = ml * 1000 / floor_mm2(at_hand.container_mm)
    return (
        f"In the container {volume_words(ml)} stands {plain_number(deep, 2)} mm deep, which does not cover a hanging tile of "
        f"{size} with {plain_number(CLEAR_MM)} mm to spare above and below: make {volume_words(_round_up(covers))}, take a narrower "
        "container, or lay tiles flat in a basket and turn them.",
    )


def _round_up(ml: float) -> float:
    """The next handy volume: to 10 mL below 200 mL, to 50 mL below 1 L, to 100 mL above."""
    step = 10.0 if ml < 200 else 50.0 if ml < 1000 else 100.0
    return math.ceil(ml / step - 1e-9) * step
