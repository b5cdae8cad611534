"""Everything that can be said of a plan before any metal is cut, gathered; the words are in `appraisal_words`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from tilestudy.design.alternatives import Alternative, Make, Trade, alternatives, counts, trades, worth_seeing
from tilestudy.design.appraise import Appraisal, Noise, appraise, leverages
from tilestudy.design.layout import Clock
from tilestudy.design.prediction import PredictionPicture, prediction_picture
from tilestudy.design.robustness import Robustness, robustness
from tilestudy.design.sessions.build import by_the_clock
from tilestudy.design.terms import model_of
from tilestudy.study.records import Plan, Study, study_as_planned


@dataclass(frozen=True)
class FullAppraisal:
    """A plan, what it can tell, what may go wrong with it, and other plans beside it.

    `leverage` gives each tile's, in the plan's order; `worth` the change worth seeing, in the noise's unit;
    `clock_says` what a session's length costs.
    """

    study: Study
    plan: Plan
    word: str
    appraisal: Appraisal
    leverage: tuple[tuple[str, float], ...]
    robustness: Robustness
    picture: PredictionPicture | None
    trades: Sequence[Trade]
    alternatives: Sequence[Alternative]
    worth: float
    stored: bool
    clock_says: tuple[str, ...] = ()

    def as_dict(self, sentences: Sequence[str]) -> dict[str, Any]:
        """Return it as plain values with stable keys."""
        tiles, batches, sessions = counts(self.plan)
        picture = self.picture
        return {
            "study": self.study.name,
            "seed": self.plan.seed,
            "stored": self.stored,
            "counts": {"tiles": tiles, "batches": batches, "sessions": sessions},
            "noise": asdict(self.appraisal.noise),
            "power": 0.8,
            "factors": [asdict(one) for one in self.appraisal.factors],
            "terms": [asdict(one) for one in self.appraisal.terms],
            "left_out": [
                {
                    "term": one.name,
                    "kind": one.kind,
                    "factors": list(one.factors),
                    "why": one.why,
                    "mistaken_for": [{"term": term, "share": share} for term, share in one.partners],
                }
                for one in self.appraisal.left_out
            ],
            "leverage": [{"tile": code, "leverage": value} for code, value in self.leverage],
            "robustness": {
                "batch": [asdict(one) for one in self.robustness.batch],
                "tiles": [asdict(one) for one in self.robustness.tiles],
                "tiles_lost": self.robustness.tiles_lost,
                "fragile": [{"factor": name, "batches": list(some)} for name, some in self.robustness.fragile.items()],
            },
            "prediction": picture
            and {
                "across": picture.across.name,
                "up": picture.up.name if picture.up else None,
                "best": picture.best,
                "worst": picture.worst,
                "worst_at": list(picture.worst_at),
            },
            "trades": [
                {"batches": one.batches, "tiles_in_each": one.tiles_in_each, "smallest": _smallest(one.appraisal)}
                for one in self.trades
            ],
            "worth": self.worth,
            "alternatives": [
                {
                    "tiles": one.counts[0],
                    "batches": one.counts[1],
                    "sessions": one.counts[2],
                    "batches_each": one.study.batches_each,
                    "choose": one.study.choose,
                    "minutes": one.minutes,
                    "smallest": _smallest(one.appraisal),
                    "adequate": one.adequate,
                    "cheapest": one.cheapest,
                    "current": one.current,
                }
                for one in self.alternatives
            ],
            "sentences": list(sentences),
        }


def _smallest(appraisal: Appraisal) -> list[dict[str, Any]]:
    return [{"factor": one.factor, "smallest": one.smallest} for one in appraisal.factors]


def appraise_fully(
    study: Study,
    plan: Plan,
    make: Make,
    noise: Noise,
    clock: Clock,
    word: str,
    *,
    worth: float | None = None,
    stored: bool = True,
) -> FullAppraisal:
    """Appraise a plan, lose parts of it, and set other plans beside it.

    Parameters
    ----------
    study, plan : Study, Plan
    make : callable
        Lays out a study as `plan` does.
    noise : Noise
    clock : Clock
        Minutes of the process.
    word : str
        What the bench calls a batch.
    worth : float, optional
        Change worth seeing; else `worth_seeing`.
    stored : bool
        False for a plan that is only tried.
    """
    seen = appraise(study, plan, noise)
    worth = worth_seeing(noise) if worth is None else worth
    varied = study_as_planned(study, plan)
    pulls = zip(plan.tiles, leverages(model_of(varied, plan)), strict=True)
    return FullAppraisal(
        study,
        plan,
        word,
        seen,
        tuple((tile.code, round(float(pull), 6)) for tile, pull in pulls),
        robustness(study, plan, seen, plan.seed),
        prediction_picture(study, plan, noise),
        trades(varied, plan, noise),
        [] if plan.taken_in else alternatives(study, plan, make, noise, clock, worth),
        worth,
        stored,
        tuple(by_the_clock(study, plan, clock, word)),
    )
