"""A table of an instrument's file, with what stood above it."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from tilestudy.colour.instrument.words import Conditions, component_of, geometry, key_of, light, plain


@dataclass(frozen=True)
class Said:
    """What keywords or lines above a table say; `date` as it is written, "" when there is none."""

    conditions: Conditions = field(default_factory=Conditions)
    date: str = ""
    filter: str = ""
    per_cent: bool | None = None

    def and_also(self, key: str, value: str) -> Said:
        """Return this with one keyword and its value added; what was said before of the same thing gives way.

        >>> Said().and_also("OBSERVER_ANGLE", "10").and_also("Illuminant", "D65").conditions.illuminant
        'D65'
        """
        value = " ".join(value.strip().strip('"').split())
        about = key_of(key)
        if about == "filter" and component_of(value):
            about = "geometry"  # some call SCI and SCE the mode of measuring
        if not about and re.search(r"reflectan|spectral", key.casefold()) and "%" in f"{key} {value}":
            return replace(self, per_cent=True)
        if plain(key).casefold() in ("measurement source", "measurementsource"):
            said = self
            for part, its in re.findall(r"(\w+) ?= ?([^=]*?)(?=\s+\w+ ?=|$)", plain(value)):
                name = {"observerangle": "observer", "lightsource": "illuminant"}.get(part.casefold(), part)
                said = said.and_also(name, its)
            return said
        if about in ("illuminant", "observer"):
            illuminant, observer = light(value)
            now = self.conditions
            return replace(
                self,
                conditions=replace(now, illuminant=illuminant or now.illuminant, observer=observer or now.observer),
            )
        if about == "geometry" and value:
            gloss = {"included": "SCI", "excluded": "SCE"}.get(value.casefold(), value)
            shape, before = geometry(gloss), self.conditions.geometry
            merged = before if shape == "d/8" and before.startswith("d/8") else shape
            return replace(self, conditions=replace(self.conditions, geometry=merged))
        if about == "instrument" and value:
            return replace(self, conditions=replace(self.conditions, instrument=value))
        if about == "date" and value:
            return replace(self, date=value)
        if about == "filter":
            if value.casefold() in ("", "no", "none", "off", "-", "m0", "uvinc", "uv included"):
                return self
            yes = value.casefold() in ("yes", "on", "true")
            return replace(self, filter="polarising" if yes and "polari" in key.casefold() else value)
        return self

    def and_line(self, text: str) -> Said:
        """Return this with what a line without a keyword says of light and geometry: "D65/10°, SCI".

        >>> Said().and_line("Measured D65/10°, d/8 SCI").conditions
        Conditions(illuminant='D65', observer='10', geometry='d/8 SCI', instrument='')
        """
        said = self
        found = re.search(r"(?i)\b(?:d(?:50|55|65|75)|fl?(?:2|11)|[ac])\s*[/,-]\s*(?:2|10)\b|\b(?:2|10)\s*°?\s*[/,-]\s*"
                          r"(?:d(?:50|55|65|75)|fl?(?:2|11)|[ac])\b", plain(text))  # fmt: skip
        if found:
            said = said.and_also("illuminant", found[0])
        shape = re.search(
            r"(?i)(?<![\w/])(?:45\s*°?[acx]?\s*[/:]\s*0|0\s*°?\s*[/:]\s*45|d[ie]?\s*[/:]\s*8)(?!\d)", text
        )
        gloss = {found.upper() for found in re.findall(r"(?i)(?<![a-z])(sc[ie])(?![a-z])", text)}
        if shape or len(gloss) == 1:
            words = [shape[0]] if shape else []
            said = said.and_also("geometry", " ".join([*words, *gloss] if len(gloss) == 1 else words))
        return said


@dataclass(frozen=True)
class Block:
    """One table: its headings, its rows as (line, cells), and what was said above it; `faults` are (line, what)."""

    line: int
    headings: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    said: Said = field(default_factory=Said)
    faults: tuple[tuple[int | None, str], ...] = ()
