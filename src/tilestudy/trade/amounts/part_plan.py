"""How one ingredient is measured out for all baths: session by session, with what that does to its strengths."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass

from tilestudy.errors import WrongRequestError
from tilestudy.study.at_hand import AtHand
from tilestudy.study.records import Batch
from tilestudy.trade.amounts.dilution import STOCK, Making, Vessel, Wanted, best_making, each_by_itself
from tilestudy.trade.amounts.lines import Line, part_line
from tilestudy.trade.amounts.ranges import Bounds
from tilestudy.trade.amounts.recipe import LITRE_UNITS, Part
from tilestudy.trade.amounts.volume import Volume


@dataclass(frozen=True)
class PartPlan:
    """How one part is measured out.

    Attributes
    ----------
    makings : tuple
        For each session, how its vessels are made, and its batches.
    strengths : dict
        Asked for, by batch, in the part's unit; a batch without any of it is not there.
    bounds, own : dict
        Of each strength, with and without what vessels poured from one stock share.
    alone : bool
        True where nothing else goes into the baths.
    """

    makings: tuple[tuple[Making, tuple[Batch, ...]], ...]
    strengths: dict[str, float]
    bounds: dict[float, Bounds]
    own: dict[float, Bounds]
    alone: bool

    def line(
        self, vessel: Vessel, making: Making, part: Part, ml: float, at_hand: AtHand, label: str, word: str
    ) -> Line:
        """Return the line of a vessel; a stock's strength is written in the unit of the baths'."""
        first = making.baths[0]
        strength = self.strengths.get(vessel.code)
        if strength is None:
            strength = vessel.wanted * self.strengths[first.code] / first.wanted
        called = label if vessel.source == STOCK else f"{word} {vessel.source}"
        onward = {
            f"{word} {one.code}": one.takes.value
            for one in making.baths
            if one.source == vessel.code and one is not vessel
        }
        return part_line(
            part,
            vessel,
            strength,
            ml,
            at_hand,
            bounds=self.bounds,
            own=self.own,
            label=called,
            goes_on=onward,
            alone=self.alone,
        )


def plan_part(
    part: Part, batches: Sequence[Batch], volume: Volume | None, at_hand: AtHand, *, alone: bool
) -> PartPlan | None:
    """Make the plan of one part; None where it is not measured out for a volume, WrongRequestError where it cannot be."""
    if part.unit not in LITRE_UNITS or volume is None:
        return None
    strengths = {batch.code: found for batch in batches if (found := part.strength(batch))}
    if not strengths:
        return None if part.factor is None else PartPlan((), {}, {}, {}, alone)
    dose = {strength: part.per_litre(strength) for strength in sorted(set(strengths.values()))}
    levels = levels_of(part) or list(dose.values())
    makings = []
    for session in dict.fromkeys(batch.session for batch in batches):
        held = tuple(batch for batch in batches if batch.session == session)
        wanted = [Wanted(batch.code, dose[strengths[batch.code]]) for batch in held if batch.code in strengths]
        measure = part.measure(at_hand)
        if part.factor is None:
            making = each_by_itself(wanted, volume.ml, measure, at_hand)
        else:
            making = best_making(wanted, volume.ml, levels, measure, at_hand, alone=alone)
        makings.append((making, held))
    return PartPlan(
        tuple(makings), strengths, _bounds(part, makings, strengths), _bounds(part, makings, strengths, own=True), alone
    )


def _bounds(
    part: Part,
    makings: Sequence[tuple[Making, tuple[Batch, ...]]],
    strengths: Mapping[str, float],
    *,
    own: bool = False,
) -> dict[float, Bounds]:
    """Between which bounds each strength lies, over all its baths; with `own`, its stock taken as exact."""
    found: dict[float, Bounds] = {}
    for making, _ in makings:
        stock = making.stock.strength if own and making.stock is not None else None
        for vessel in making.baths:
            strength = strengths[vessel.code]
            scale = strength / vessel.wanted
            low, high = vessel.strength.low * scale, vessel.strength.high * scale
            if stock is not None and stock.low > 0 and math.isfinite(stock.high):
                low, high = low * stock.value / stock.low, high * stock.value / stock.high
            before = found.get(strength, (math.inf, 0.0))
            found[strength] = (min(before[0], low), max(before[1], min(high, part.strongest)))
    return found


def levels_of(part: Part) -> list[float]:
    """What a litre takes at the levels of the part's factor, which are to be told apart; those that cannot be made are left out."""
    found = []
    for level in part.factor.levels if part.factor is not None else ():
        if not isinstance(level, str) and level > 0:
            with suppress(WrongRequestError):
                found.append(part.per_litre(level))
    return found
