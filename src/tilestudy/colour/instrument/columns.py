"""Which columns of a block to take: of which geometry, under which light, and in which form the colour stands there."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from tilestudy.colour.instrument.block import Said
from tilestudy.colour.instrument.words import Conditions, Heading, component_of
from tilestudy.study.language import listed

KINDS = ("Lab", "LCh", "XYZ")
"""Forms a colour may stand in, the most wanted first."""
SPECTRUM = "R"


class AskError(Exception):
    """What the file leaves open, and which option answers it."""


@dataclass(frozen=True)
class Columns:
    """The columns to take.

    Attributes
    ----------
    kind : "Lab", "LCh", "XYZ" or "R"
    places : tuple of int
        In the order of L, a, b (and so on), or of the wavelengths.
    wavelengths : tuple of float
        nm, rising; empty unless the kind is "R".
    component, illuminant, observer : str
        As the headings say; "" where they do not.
    per_cent : bool or None
    """

    kind: str
    places: tuple[int, ...]
    component: str = ""
    illuminant: str = ""
    observer: str = ""
    wavelengths: tuple[float, ...] = ()
    per_cent: bool | None = None

    @property
    def light(self) -> str:
        """The light as people write it: D65/10."""
        return "/".join(part for part in (self.illuminant, self.observer) if part)


def columns_in(headings: Sequence[Heading]) -> list[Columns]:
    """Return every whole colour among the headings: by geometry, light and form. Raises AskError for a column there twice."""
    alone = {
        what: next(iter(values))
        for what in ("component", "illuminant", "observer")
        if len(values := {getattr(one, what) for one in headings if one.what} - {""}) == 1
    }  # said of one column, and never otherwise, it holds for all
    groups: dict[tuple[str, str, str], dict[str, int]] = {}
    spectra: dict[str, dict[float, int]] = {}
    for place, one in enumerate(headings):
        component = one.component or alone.get("component", "")
        if one.nm is not None:
            waves = spectra.setdefault(component, {})
            if one.nm in waves:
                raise AskError(f"the reflectance at {one.nm:g} nm is there twice. Keep one of the columns.")
            waves[one.nm] = place
        elif one.what in "LabChXYZ" and one.what:
            key = (component, one.illuminant or alone.get("illuminant", ""), one.observer or alone.get("observer", ""))
            group = groups.setdefault(key, {})
            if one.what in group:
                raise AskError(
                    f"the column {one.what} is there twice and nothing tells them apart. Keep one, or write SCI and SCE, or the "
                    "illuminants, behind the headings."
                )
            group[one.what] = place
    found = [
        Columns(kind, tuple(group[what] for what in kind), *key)
        for key, group in groups.items()
        for kind in KINDS
        if set(kind) <= set(group)
    ]
    for component, waves in spectra.items():
        if len(waves) > 2:
            rising = sorted(waves)
            places = tuple(waves[nm] for nm in rising)
            found.append(
                Columns(SPECTRUM, places, component, wavelengths=tuple(rising), per_cent=headings[places[0]].per_cent)
            )
    return found


def chosen(every: Sequence[Columns], said: Said, asked: Conditions, known: Conditions, row_light: bool) -> Columns:
    """Return the columns to take.

    L*a*b* as it was measured comes first; a reflectance is taken where no colour stands under the wanted light.

    Parameters
    ----------
    every : sequence of Columns
    said : Said
        By keywords, for what the headings leave open.
    asked, known : Conditions
        By options; of the other readings of the series.
    row_light : bool
        Each row says its light itself.

    Raises
    ------
    AskError
        When the file leaves open which to take.
    """
    of_one = _of_one_component(every, said, asked, known)
    colours, spectrum = [one for one in of_one if one.kind != SPECTRUM], [one for one in of_one if one.kind == SPECTRUM]
    if not colours:
        return spectrum[0]
    if row_light:
        return min(colours, key=lambda one: KINDS.index(one.kind))
    wanted = asked.filled_from(known)
    fits = [
        one
        for one in colours
        if _agree(one.illuminant or said.conditions.illuminant, asked.illuminant)
        and _agree(one.observer or said.conditions.observer, asked.observer)
    ]
    if not fits:
        if spectrum:
            return spectrum[0]
        has = listed(
            sorted({one.light or "/".join((said.conditions.illuminant, said.conditions.observer)) for one in colours})
        )
        raise AskError(
            f"the colours in this file are under {has}, not under {'/'.join(filter(None, (asked.illuminant, asked.observer)))} as "
            "--illuminant and --observer say. L*a*b* of one light cannot be turned into another without the reflectance. "
            "Correct the options, or export the file anew."
        )
    lights = {one.light for one in fits}
    if len(lights) > 1:
        same = [one for one in fits if (one.illuminant, one.observer) == (wanted.illuminant, wanted.observer)]
        if not same:
            first = fits[0]
            raise AskError(
                f"the file has colours under {listed(sorted(lights))}. Say which to take: --illuminant {first.illuminant or 'D65'} "
                f"--observer {first.observer or '10'}."
            )
        fits = same
    best = min(fits, key=lambda one: KINDS.index(one.kind))
    full = Conditions(best.illuminant, best.observer).filled_from(said.conditions).filled_from(wanted)
    return spectrum[0] if spectrum and not (full.illuminant and full.observer) else best


def _agree(stated: str, wanted: str) -> bool:
    return not stated or not wanted or stated == wanted


def _of_one_component(every: Sequence[Columns], said: Said, asked: Conditions, known: Conditions) -> Sequence[Columns]:
    components = sorted({one.component for one in every})
    if len(components) < 2:
        return every
    wanted = wanted_component(components, asked, known, said)
    return [one for one in every if one.component == wanted]


def wanted_component(components: Collection[str], asked: Conditions, known: Conditions, said: Said) -> str:
    """Return SCI or SCE, as option, series or keywords say; raises AskError where they do not."""
    geometries = (asked.geometry, known.geometry, said.conditions.geometry)
    wanted = next((found for one in geometries if (found := component_of(one))), "")
    if wanted not in components:
        raise AskError(
            "the file has each sample with gloss included (SCI) and excluded (SCE), which are two geometries and never mixed. "
            'Say which to take: --geometry "d/8 SCI" or --geometry "d/8 SCE".'
        )
    return wanted


def settled(columns: Columns, said: Said, asked: Conditions, known: Conditions, row: Mapping[str, str]) -> Conditions:
    """Return the light of one reading: of its row, its headings, its keywords, the options, the series; "" where none says."""
    stated = (
        Conditions(row.get("illuminant", ""), row.get("observer", ""))
        .filled_from(Conditions(columns.illuminant, columns.observer))
        .filled_from(said.conditions)
    )
    light = asked.filled_from(known) if columns.kind == SPECTRUM else stated.filled_from(asked).filled_from(known)
    return Conditions(light.illuminant, light.observer)
