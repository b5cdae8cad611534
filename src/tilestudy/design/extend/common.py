"""What the kinds of addition share: settings of a tile, and settings to count."""

from __future__ import annotations

from collections.abc import Mapping

from tilestudy.study.records import Factor, Setting, Study, Tile

Settings = dict[str, Setting]
Key = tuple[tuple[str, str], ...]


def shared(study: Study) -> list[Factor]:
    """Return the factors that tiles of one batch share: set per batch or per session."""
    return [factor for factor in study.factors if factor.set_per != "tile"]


def of_tile(study: Study, tile: Tile) -> Settings:
    """Return a tile's settings of the factors set per tile."""
    return {factor.name: tile.settings[factor.name] for factor in study.factors_set_per("tile")}


def key_of(settings: Mapping[str, Setting]) -> Key:
    """Return settings as something that can be counted."""
    return tuple(sorted((name, repr(value)) for name, value in settings.items()))
