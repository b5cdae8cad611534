"""The one series of colour readings that findings rest on, as measured and brought to D65.

Series are never pooled: the study's own counts, or the one asked for. Names of colours, targets and swatches are those of D65,
so readings under another light (photos: D50) are adapted here, before anything is reckoned: Bradford's transform
(`tilestudy.colour.adaptation`). What 2 and 10 degree observers see differently is not converted.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from statistics import median
from typing import Any

import numpy as np

from tilestudy.analysis.colour.photo_error import covariance, sd_of, share_of_change
from tilestudy.analysis.mixed import Array
from tilestudy.analysis.numbers import significant
from tilestudy.colour.adaptation import adapt
from tilestudy.colour.difference import lab_of
from tilestudy.colour.xyz import CHROMATICITY
from tilestudy.errors import WrongRequestError
from tilestudy.study.language import count, listed
from tilestudy.study.records import PHOTO, Reading

LIGHT, OBSERVER = "D65", "10"
"""Illuminant and observer (degrees) of the names, targets and swatches."""

COARSE = "grey card"
"""Geometry of a photo with nothing but a grey card beside the tiles."""


@dataclass(frozen=True)
class Series:
    """How the colours of the findings were measured.

    Attributes
    ----------
    name : str
        Of the series; "" for the study's own.
    instrument, geometry, illuminant, observer : str
        As measured.
    stage : str
    error : float or None
        Median expected CIEDE2000 error of the measurement; None where it is small or not known.
    relative : bool
        True for photos without reference patches.
    adapted : bool
        True when the colours were brought to D65.
    photos : int
        Trays or photos that relative readings come from.
    instead : bool
        True when it stands in for the study's own series, which has no reading of this stage.
    mottle_by_photo : bool
        True when photos told how uneven the tiles are.
    """

    name: str = ""
    instrument: str = ""
    geometry: str = ""
    illuminant: str = LIGHT
    observer: str = "10"
    stage: str = ""
    error: float | None = None
    relative: bool = False
    adapted: bool = False
    photos: int = 0
    instead: bool = False
    mottle_by_photo: bool = False

    @property
    def photo(self) -> bool:
        """True when the colours come from photos."""
        return self.instrument == PHOTO

    @property
    def coarse(self) -> bool:
        """True for photos with a grey card only."""
        return self.photo and self.geometry == COARSE

    def sentences(self) -> list[str]:
        """Say what a reader has to know of how the colours were measured; nothing of an instrument's D65 readings."""
        said = []
        if self.instead:
            said.append(
                f'The study\'s own series has no {self.stage} colours, so those of series "{self.name}" are used.'
            )
        elif self.name:
            said.append(f'Colours are those of series "{self.name}".')
        if self.relative:
            said.append(
                "Colours are relative: the photo had no reference patches, so they compare tiles of one photo, and neither "
                "their names nor their numbers are true colours. How near a tile is to a wanted colour is not told. "
                "Photograph the tray with reference patches to know."
            )
            if self.photos > 1:
                said.append(
                    f"These tiles are in {count(self.photos, 'photo')}, each with a light of its own, so a difference between "
                    "tiles of two photos may be the light's."
                )
        elif self.error is not None:
            said.append(self._error_told())
        return [*said, *(() if self.relative else self._light_told())]

    def _light_told(self) -> list[str]:
        """Say under which light it was measured and what was made of that, where names and targets are of another."""
        said = []
        if self.illuminant != LIGHT and self.adapted:
            said.append("adapted to D65 (Bradford)")
        elif self.illuminant != LIGHT:
            said.append(
                f"not adapted, since the white of {self.illuminant} is not known here: names and targets are of D65"
            )
        if self.observer != OBSERVER:
            said.append(f"what a {OBSERVER} degree observer sees differently (about 1.4 CIEDE2000) is not converted")
        return [f"Measured under {self.illuminant}, {self.observer} degrees; {'; '.join(said)}."] if said else []

    def _error_told(self) -> str:
        error = self.error or 0.0
        off = significant(error, 2)
        if self.coarse:
            return (
                f"Colours come from a photo with a grey card only and are coarse: each is off by about {off} CIEDE2000, and "
                f"its difference from a wanted one is sure to about {self._reach(1.0)} only. Photograph the tiles with reference patches "
                "before you settle on a colour."
            )
        return (
            f"Colours come from {'a photo' if self.photo else 'a measurement'}; its own error is about {off} CIEDE2000 and "
            f"alike for like colours, so a difference smaller than {self._reach(math.sqrt(2.0))} between unlike colours may be the "
            f"{'camera' if self.photo else 'instrument'}'s, and one from a wanted colour is sure to about {self._reach(1.0)}."
        )

    def _reach(self, colours: float) -> str:
        """Write how far the error moves `colours` times one colour in one direction, 19 times in 20 (CIEDE2000)."""
        return significant(1.96 * colours * sd_of(self.error or 0.0), 2)

    def scale_errors(self, labs: Array) -> dict[str, float]:
        """By response: the share of a change by which the measurement of these colours (n, 3) may have it wrong; empty without."""
        if self.error is None or not len(labs):
            return {}
        middle = labs.mean(axis=0)
        C = covariance(middle, self.error)
        outward = np.array([0.0, *middle[1:]]) / max(float(np.hypot(*middle[1:])), 1e-9)
        sds = {**dict(zip("Lab", np.sqrt(np.diag(C)), strict=True)), "chroma": np.sqrt(outward @ C @ outward)}
        return {name: share_of_change(float(sd)) for name, sd in {**sds, "to_target": sd_of(self.error)}.items()}

    def told(self) -> str:
        """Say it in a few words, for the facts of a handout: "photo, 24 patches, D50 2°, adapted to D65"."""
        how = ", ".join(part for part in (self.instrument, self.geometry) if part) or "instrument not stated"
        light = f"{how}, {self.illuminant}, {self.observer}°"
        return f"{light}, adapted to {LIGHT}" if self.adapted else light

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain values with stable keys."""
        return {
            "name": self.name,
            "instrument": self.instrument,
            "geometry": self.geometry,
            "illuminant": self.illuminant,
            "observer": self.observer,
            "adapted_to": LIGHT if self.adapted else None,
            "error": self.error,
            "relative": self.relative,
        }


def one_series(
    readings: Iterable[Reading], stage: str, asked: str | None = None, study: str = "NAME"
) -> tuple[list[Reading], Series]:
    """Return the readings of one series, brought to D65, and how they were measured.

    Parameters
    ----------
    readings : iterable of Reading
        Of any series and stage.
    stage : str
        The stage that counts.
    asked : str, optional
        The series wanted; without it the study's own, or the only one there is at this stage.
    study : str
        For messages that say what to type.

    Raises
    ------
    WrongRequestError
        When the series asked for has no reading, or the study's own has none at this stage and several others have.

    Examples
    --------
    >>> from datetime import date
    >>> photo = Reading("K7", "cured", date(2026, 1, 9), 40.0, 10.0, 12.0, series="tray", illuminant="D50", observer="2")
    >>> [adapted], series = one_series([photo], "cured")
    >>> series.name, series.adapted, adapted.illuminant
    ('tray', True, 'D65')
    """
    every = list(readings)
    here = sorted({one.series for one in every if one.stage == stage})
    name = asked or ""
    if asked and asked not in {one.series for one in every}:
        names = listed([_called(one) for one in sorted({one.series for one in every})])
        there = f"There are readings of {names}." if names else "No colour was read yet."
        raise WrongRequestError(f'{study} has no colour readings of a series "{asked}". {there}')
    instead = not asked and bool(here) and "" not in here
    if instead:
        if len(here) > 1:
            raise WrongRequestError(
                f"The own series of {study} has no {stage} colours, and several others have: "
                f'{listed([_called(one) for one in here])}. Series are never mixed: say which, with "--series {here[0]}".'
            )
        name = here[0]
    kept = [one for one in every if one.series == name]
    if not kept:
        return [], Series(name)
    now = [one for one in kept if one.stage == stage]
    first = (now or kept)[0]
    errors = [one.error for one in now if one.error is not None]
    relative = any(one.relative for one in now)
    photos = {str(one.detail.get("photo", one.detail.get("tray", one.on))) for one in now} if relative else set()
    brought = [to_d65(one) for one in kept]
    return brought, Series(
        name,
        *first.conditions,
        stage=stage,
        error=None if relative or not errors else float(median(errors)),
        relative=relative,
        adapted=first.illuminant != LIGHT and (brought[kept.index(first)].illuminant == LIGHT),
        photos=len(photos),
        instead=instead,
        mottle_by_photo=any(one.mottle is not None for one in now),
    )


def to_d65(reading: Reading) -> Reading:
    """Return a reading as D65 would show it, its main colours too; one under D65, or under a light whose white is not known, as it is."""
    light = (reading.illuminant, reading.observer)
    if reading.illuminant == LIGHT or light not in CHROMATICITY:
        return reading
    L, a, b = lab_of(adapt((reading.L, reading.a, reading.b), *light))
    detail = dict(reading.detail)
    if colours := detail.get("colours"):
        detail["colours"] = [[*adapt(one[:3], *light).tolist(), one[3]] for one in colours]
    return replace(reading, L=L, a=a, b=b, illuminant=LIGHT, detail=detail)


def main_colours(readings: Iterable[Reading], stage: str) -> dict[str, tuple[tuple[float, float, float, float], ...]]:
    """Return the main colours (L*, a*, b*, share) that photos saw on each tile at a stage, the largest first."""
    found = {}
    for one in readings:
        colours = [(float(L), float(a), float(b), float(share)) for L, a, b, share in one.detail.get("colours", ())]
        if one.stage == stage and len(colours) > 1:
            found[one.tile] = tuple(sorted(colours, key=lambda colour: -colour[3]))
    return found


def _called(name: str) -> str:
    return f'"{name}"' if name else "the study's own series"
