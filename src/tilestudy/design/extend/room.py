"""What the limits leave beside the plan there is, and how new batches fall into sessions."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from tilestudy.design.layout import REFERENCES, Clock, Load, batches_in_session
from tilestudy.errors import PlanError
from tilestudy.study.language import count
from tilestudy.study.records import Limits, Plan, Setting, Study


@dataclass(frozen=True)
class Room:
    """What the limits leave beside the plan there is."""

    study: Study
    clock: Clock
    plan: Plan
    word: str

    @property
    def references(self) -> int:
        """Reference tiles in a batch."""
        return REFERENCES if self.study.reference_tiles else 0

    def in_session(self, tiles: int) -> int:
        """Batches of so many tiles (reference tiles not counted) that fit a session."""
        fits = batches_in_session(self.study, self.clock, tiles + self.references)
        if fits == 0:
            raise PlanError(
                f"One {self.word} of {count(tiles + self.references, 'tile')} does not fit a session of "
                f"{self.study.limits.minutes:g} minutes. Raise minutes under [limits] in the study file."
            )
        return fits or 10**6

    def days(self, loads: Sequence[Load]) -> list[list[Load]]:
        """Share loads over sessions, those of one per-session setting together, in their order and about equally many."""
        fits = self.in_session(max(len(share) for _, share in loads))
        names = [factor.name for factor in self.study.factors_set_per("session")]
        groups: dict[tuple[Setting, ...], list[Load]] = defaultdict(list)
        for load in loads:
            groups[tuple(load[0][name] for name in names)].append(load)
        days = []
        for group in groups.values():
            parts = math.ceil(len(group) / fits)
            cuts = [len(group) * part // parts for part in range(parts + 1)]
            days += [group[low:high] for low, high in pairwise(cuts)]
        return days

    def broken(self, days: Sequence[Sequence[Load]]) -> list[tuple[str, int, int]]:
        """Limits that the plan with these days would break: name, what it would take, limit."""
        limits: Limits = self.study.limits
        shares = [len(share) + self.references for day in days for _, share in day]
        takes = (
            ("tiles", len(self.plan.tiles) + sum(shares), limits.tiles),
            ("batches", len(self.plan.batches) + len(shares), limits.batches),
            ("sessions", len({batch.session for batch in self.plan.batches}) + len(days), limits.sessions),
            ("tiles_per_batch", max(shares, default=0), limits.tiles_per_batch),
        )
        return [(name, need, limit) for name, need, limit in takes if limit is not None and need > limit]

    def check(self, days: Sequence[Sequence[Load]], nearest: str = "") -> None:
        """Raise PlanError naming each limit to raise."""
        found = self.broken(days)
        if found:
            words = {
                "tiles": "tiles",
                "batches": "batches",
                "sessions": "sessions",
                "tiles_per_batch": "tiles in a batch",
            }
            what = " and ".join(f"{need} {words[name]} (limit {limit})" for name, need, limit in found)
            remedy = " and ".join(f"{name} to {need}" for name, need, _ in found)
            raise PlanError(
                f"With what you ask for the study would come to {what}. Raise {remedy} under [limits] in the study file"
                f"{f', or ask for the nearest that fits: {nearest}' if nearest else ''}. Nothing was added."
            )
