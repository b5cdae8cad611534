"""What bench pack and handout both say of a study, its plan and its process."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import date

from tilestudy.paper.content import Caution, Masthead, Protection
from tilestudy.study.language import title_of
from tilestudy.study.records import Factor, Plan, Study
from tilestudy.study.units import plain_number, show_unit
from tilestudy.trade.hazards import Hazard
from tilestudy.trade.library import Library, Process

_SPLASH = "Splash in the eye: rinse with running water at once and get medical help. "
_BURN = "Burn: cool with running water at once and get medical help. "
_CALL = "Have the safety data sheet at hand when you call. Local emergency number:"
SPOTS = 3
"""Spots of a tile that the sheet for colour readings has room for."""


def first_aid(process: Process) -> str:
    """Return the first-aid line: splashes where liquids are used, burns first where metal is heated."""
    burn, splash = _BURN, _SPLASH if process.wet else ""
    harm = burn + splash if process.heat else splash + burn
    return f"{harm}Feeling unwell or dizzy: out into fresh air, help at once. {_CALL}"


def fingerprint(plan: Plan) -> str:
    """Return a short fingerprint of the plan: sheets with different ones do not belong together.

    A stand-in made in the batch of the tile it replaces leaves it as it was; anything else changes it.
    """
    home = {tile.code: tile.batch for tile in plan.tiles}
    told = [
        (tile.code, tile.batch, tile.session, tile.order, sorted((k, str(v)) for k, v in tile.settings.items()))
        for tile in plan.tiles
        if not tile.replaces or home.get(tile.replaces) != tile.batch
    ]
    return hashlib.sha256(repr(told).encode()).hexdigest()[:6]


def masthead(study: Study, plan: Plan, studio: str, printed: date) -> Masthead:
    """Return what every page of a study carries."""
    return Masthead(
        study=study.name,
        title=title_of(study.name),
        question=study.question,
        studio=studio,
        fingerprint=fingerprint(plan),
        printed=printed,
        invented=study.invented,
    )


def metal_text(study: Study, library: Library) -> str:
    """Write the metal and the size of a tile in one line."""
    width, height = (plain_number(side) for side in study.tile_mm)
    return f"{library.metal_line(study.metal)}, tiles {width} × {height} mm"


def head(factor: Factor) -> str:
    """Head a column with a factor's name and unit: ``dip time, s``."""
    return f"{factor.label}, {show_unit(factor.shown)}" if factor.shown else factor.label


def cautions(process: Process, findings: Sequence[Hazard]) -> tuple[Caution, ...]:
    """Return the cautions of the process, and the warnings of the hazard check."""
    listed = [Caution(one["title"], one["text"], one["source"]) for one in process.data.get("caution", ())]
    warnings = [one for one in findings if one.level == "warn"]
    listed += [
        Caution(
            one.title or "Note for this metal and process",
            f"{one.says}{f' {one.next}.' if one.next else ''}",
            one.source,
        )
        for one in warnings
    ]
    return tuple(listed)


def protection(process: Process) -> tuple[Protection, ...]:
    """Return what to wear at each step."""
    return tuple(Protection(one["step"], one["wear"], one["why"]) for one in process.data.get("protection", ()))


def steps(process: Process) -> tuple[str, ...]:
    """Return how to make a tile, a step a line."""
    return tuple(f"{one['step']}: {one['do']}" for one in process.data.get("step", ()))
