"""Confirmation: what was claimed of settings before tiles were made at them, and what came of it.

A claim is fixed when confirmation tiles are planned: settings, what counts as right, the chance of it, and the colour to expect.
Later the tiles, from fresh batches on a day of their own, are counted. The rule, stated beforehand:

- "not confirmed": so few are right that this, or fewer, would come at most once in twenty times if the claim were true; or half
  of four or more tiles, or fewer, are right, whatever was claimed.
- "confirmed": at least four tiles from at least two batches are judged, three quarters of them or more are right, and the first
  condition above does not hold.
- "undecided": anything else; more tiles would tell.

Only settings that are confirmed become a recipe.

Sources: the range of a proportion is Clopper & Pearson's (1934), Biometrika 26:404; the prediction of a count sums the binomial
law over the plausible chances.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

import numpy as np
from scipy.special import bdtr, betaincinv

from tilestudy.analysis.choice.chance import LEVEL, Right
from tilestudy.analysis.choice.chooser import Option
from tilestudy.colour.difference import lab_of
from tilestudy.study.language import capital, count, listed, plural
from tilestudy.study.records import Lab, Study
from tilestudy.study.units import plain_number, show_settings

Verdict = Literal["confirmed", "not confirmed", "undecided", "waiting"]

LEAST_TILES, LEAST_BATCHES, RIGHT_SHARE, TOO_FEW, UNLIKELY = 4, 2, 0.75, 0.5, 0.05


@dataclass(frozen=True)
class Claim:
    """What was claimed of settings before confirmation tiles were made.

    Attributes
    ----------
    option : Option
        The settings, and what is claimed of one tile made so.
    right : Right
    stage : str
        Stage of the colour readings that count.
    conditions : tuple of str
        Rub conditions that must pass.
    tiles : tuple of str
        Codes of the confirmation tiles.
    stated_on : date
    series : str
        Name of the series of colour readings that count; "" for the study's own.
    """

    option: Option
    right: Right
    stage: str
    conditions: tuple[str, ...]
    tiles: tuple[str, ...]
    stated_on: date
    series: str = ""

    def sentences(self, study: Study) -> list[str]:
        """Say what is claimed."""
        one = self.option
        return [
            f"To be confirmed: {show_settings(one.settings, study)}. Claimed: {one.chance_told('are')}.",
            *([f"To expect: {one.colour_told()}."] if one.lab is not None else []),
        ]

    def as_dict(self) -> dict[str, Any]:
        """Return the claim as plain values, to be kept."""
        right = self.right
        return {
            **self.option.as_dict(),
            "chances": list(self.option.chances),
            "lab_wanted": None if right.lab is None else list(right.lab),
            "darkest": right.darkest,
            "tolerance": right.tolerance,
            "passing": right.passing,
            "stage": self.stage,
            "conditions": list(self.conditions),
            "tiles": list(self.tiles),
            "stated_on": self.stated_on.isoformat(),
            "series": self.series,
        }


def claim_from(kept: Mapping[str, Any]) -> Claim:
    """Read a kept claim."""

    def lab(name: str) -> Lab | None:
        return None if kept[name] is None else lab_of(kept[name])

    option = Option(
        settings=dict(kept["settings"]),
        chance=kept["chance"],
        low=kept["low"],
        high=kept["high"],
        colour=kept.get("colour"),
        durable=kept.get("durable"),
        lab=lab("lab"),
        lab_low=lab("lab_low"),
        lab_high=lab("lab_high"),
        off=kept.get("off"),
        chances=tuple(kept["chances"]),
    )
    return Claim(
        option,
        Right(lab("lab_wanted"), kept["darkest"], kept["tolerance"], kept["passing"]),
        kept["stage"],
        tuple(kept["conditions"]),
        tuple(kept["tiles"]),
        date.fromisoformat(kept["stated_on"]),
        kept.get("series", ""),
    )


@dataclass(frozen=True)
class Outcome:
    """How a confirmation tile came out: its batch, its mean colour or None, and its median grade by condition.

    `error` is the median CIEDE2000 error of the colour's measurement, None where there is none to speak of.
    """

    tile: str
    batch: str
    lab: Lab | None
    grades: Mapping[str, float]
    on: date | None = None
    error: float | None = None


@dataclass(frozen=True)
class Confirmation:
    """A claim and what came of it.

    Attributes
    ----------
    judged, right : int
        Tiles with all that is wanted, and those among them that are right.
    batches : int
        Batches of the judged tiles.
    missing : tuple of str
        Tiles that still lack a colour or a grade.
    tail : float
        How often so few, or fewer, would be right if the claim were true.
    low, high : float
        90 % range of the true share, from these tiles alone.
    verdict : "confirmed", "not confirmed", "undecided" or "waiting"
    near_limit : tuple of str
        Judged tiles nearer to the limit of the tolerance than their colour was measured.
    """

    claim: Claim
    judged: int
    right: int
    batches: int
    missing: tuple[str, ...]
    expected: tuple[int, int]
    tail: float
    low: float
    high: float
    verdict: Verdict
    mean: Lab | None = None
    made: tuple[date, ...] = ()
    near_limit: tuple[str, ...] = ()

    def sentences(self, study: Study, word: str) -> list[str]:
        """Say what was claimed, what came of it, and what follows."""
        claim, option = self.claim, self.claim.option
        said = [
            f"Claimed on {claim.stated_on.isoformat()} for {show_settings(option.settings, study)}: "
            f"{option.chance_told()}."
        ]
        if not self.judged:
            return [
                *said,
                f"None of its {count(len(claim.tiles), 'tile')} ({listed(claim.tiles)}) has all that is wanted yet: "
                f"{self._lacking()}.",
            ]
        low, high = self.expected
        expected = f"{low}" if low == high else f"{low} to {high}"
        said.append(
            f"{self.right} of {count(self.judged, 'tile')} from {count(self.batches, 'fresh ' + word)} "
            f"{'is' if self.right == 1 else 'are'} right; {expected} was to be expected."
        )
        if (
            self.mean is not None
            and option.lab is not None
            and option.lab_low is not None
            and option.lab_high is not None
        ):
            said.append(
                f"Their mean lightness is L* {self.mean[0]:.0f}; L* {option.lab[0]:.0f} was predicted, "
                f"single tiles {option.lab_low[0]:.0f} to {option.lab_high[0]:.0f}."
            )
        said.append(self._conclusion(word))
        if self.near_limit:
            which = listed(self.near_limit)
            said.append(
                f"The photo's own error may decide whether {which} {'has' if len(self.near_limit) == 1 else 'have'} the right colour, "
                "and all tiles of a photo share it: measure with an instrument, or with more reference patches, to be sure."
            )
        if self.missing:
            said.append(f"Still without all that is wanted: {listed(self.missing)}.")
        return said

    def _lacking(self) -> str:
        wanted = [
            *(["colour"] if self.claim.right.asks_colour else []),
            *(["rub grades"] if self.claim.conditions else []),
        ]
        return f"make them, then enter their {listed(wanted)}"

    def _conclusion(self, word: str) -> str:
        rate = f"{100 * self.low:.0f} to {100 * self.high:.0f} of 100 would be right, going by these tiles alone"
        if self.verdict == "confirmed":
            return f"Confirmed: this is a recipe now. {capital(rate)} (90 % range)."
        if self.verdict == "not confirmed":
            if self.tail <= UNLIKELY:
                return (
                    f"Not confirmed: if the claim were true, so few would come out right only {_in_hundred(self.tail)}. "
                    'Find out what was different, then "choose" again: these tiles count in it.'
                )
            return (
                "Not confirmed: half of the tiles or fewer are right, which is too few for a recipe, whatever was claimed. "
                '"choose" again (these tiles count in it), or relax a wish.'
            )
        short = []
        if self.judged < LEAST_TILES:
            short.append(f"at least {LEAST_TILES} tiles")
        if self.batches < LEAST_BATCHES:
            short.append(f"at least {LEAST_BATCHES} {plural(word)}")
        need = f" A recipe takes {listed(short)}." if short else ""
        return f"Undecided: {rate} (90 % range), which leaves it open.{need}"

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain values with stable keys."""
        return {
            "claim": self.claim.as_dict(),
            "judged": self.judged,
            "right": self.right,
            "batches": self.batches,
            "missing": list(self.missing),
            "expected": list(self.expected),
            "tail": self.tail,
            "low": self.low,
            "high": self.high,
            "verdict": self.verdict,
        }


def compare(claim: Claim, outcomes: Sequence[Outcome]) -> Confirmation:
    """Compare what came of confirmation tiles with what was claimed.

    Parameters
    ----------
    outcomes : sequence of Outcome
        One for each confirmation tile that was not spoiled (a stand-in counts for the tile it replaces).

    Examples
    --------
    >>> right = Right((40.0, 10.0, 10.0), None, 5.0, 4.0)
    >>> option = Option({}, 0.8, 0.6, 0.9, None, None, None, None, None, None, (0.6, 0.8, 0.9))
    >>> claim = Claim(option, right, "cured", ("dry",), (), date(2026, 12, 1))
    >>> tile = lambda n, grade: Outcome(f"T{n}", f"B{n % 2}", (41.0, 10.0, 10.0), {"dry": grade})
    >>> compare(claim, [tile(n, 4.5) for n in range(4)]).verdict, compare(claim, [tile(n, 2.0) for n in range(4)]).verdict
    ('confirmed', 'not confirmed')
    """
    right = claim.right

    def complete(one: Outcome) -> bool:
        return (one.lab is not None or not right.asks_colour) and all(c in one.grades for c in claim.conditions)

    def good(one: Outcome) -> bool:
        near = one.lab is None or not right.asks_colour or float(right.off(one.lab)) <= right.tolerance
        return near and all(one.grades[c] >= (right.passing or 1.0) - 1e-9 for c in claim.conditions)

    judged = [one for one in outcomes if complete(one)]
    k, s = len(judged), sum(good(one) for one in judged)
    batches = len({one.batch for one in judged})
    chances = np.asarray(claim.option.chances, dtype=float)
    below = np.array([float(bdtr(i, k, chances).mean()) if k else 1.0 for i in range(k + 1)])
    tail = float(below[s]) if k else 1.0
    # the middle 90 % of counts: the least count not too rare from below, the most not too rare from above
    expected = (int((below <= 0.05).sum()), int((below < 0.95).sum())) if k else (0, 0)
    side = (1.0 - LEVEL) / 2.0
    low = float(betaincinv(s, k - s + 1, side)) if s else 0.0
    high = float(betaincinv(s + 1, k - s, 1.0 - side)) if s < k else 1.0
    verdict: Verdict = "undecided"
    if not k:
        verdict = "waiting"
    elif tail <= UNLIKELY or (k >= LEAST_TILES and s <= TOO_FEW * k):
        verdict = "not confirmed"
    elif k >= LEAST_TILES and batches >= LEAST_BATCHES and s >= RIGHT_SHARE * k:
        verdict = "confirmed"
    close = tuple(
        one.tile
        for one in judged
        if right.lab is not None
        and one.lab is not None
        and abs(float(right.off(one.lab)) - right.tolerance) < (one.error or 0.0)
    )
    labs = [one.lab for one in judged if one.lab is not None]
    mean = lab_of(np.mean(labs, axis=0)) if labs else None
    done = {one.tile for one in judged}
    return Confirmation(
        claim,
        k,
        s,
        batches,
        tuple(one.tile for one in outcomes if one.tile not in done),
        expected,
        tail,
        low,
        high,
        verdict,
        mean,
        tuple(sorted({one.on for one in judged if one.on is not None})),
        close,
    )


def _in_hundred(share: float) -> str:
    if share < 0.005:
        return "less than once in 200 times"
    return f"about {plain_number(100 * share, 1)} times in 100"
