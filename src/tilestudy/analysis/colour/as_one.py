"""Colour as one thing: for each factor a test of the whole colour, its share, how far it moves the colour, and a verdict.

The rule, one for all factors:

- "drives": p after Holm's correction over the factors is at most 0.05, and the predicted colour moves by 1 CIEDE2000 or more.
- "may drive": p is at most 0.05, or the range of the difference leaves out nought, but one of the two fails.
- "no sign": the whole range lies below 1 CIEDE2000.
- "not settled": anything else.
- "cannot tell": no noise to judge by, or the factor always changed together with another.

p is that of the permutation test (`tilestudy.analysis.colour.permutation`). Where the units are so few that it could not have come
to 0.05 after Holm's correction whatever the factor does, the Kenward-Roger tests of L*, a* and b* stand in: three times the smallest of their p.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import pandas as pd

from tilestudy.analysis.colour import wording as colour_wording
from tilestudy.analysis.colour.change import VISIBLE, ColourChange, colour_changes
from tilestudy.analysis.colour.path import Stages, stages
from tilestudy.analysis.colour.permutation import ColourTest, colour_tests
from tilestudy.analysis.colour.shares import ColourShares, colour_shares
from tilestudy.analysis.colour.wording import told_as
from tilestudy.analysis.findings import ALPHA, LEAST_DF, ResponseFindings, Verdict
from tilestudy.analysis.model import CodedModel
from tilestudy.analysis.naming import Show
from tilestudy.analysis.work import holm
from tilestudy.colour.difference import ciede2000
from tilestudy.errors import NotEnoughError
from tilestudy.study.records import Factor

_ORDER: tuple[Verdict, ...] = ("drives", "may drive", "cannot tell", "not settled", "no sign")


@dataclass(frozen=True)
class ColourEffect:
    """What the tiles say of one factor and the whole colour.

    Attributes
    ----------
    change : ColourChange
        The two predicted colours, and the CIEDE2000 between them with its range.
    test : ColourTest or None
        The permutation test; None where there is no noise to judge by.
    by : "colour", "channels" or ""
        Whether `p` is of the permutation test or of the tests of L*, a*, b*; "" when there is none.
    p, p_holm : float or None
        Before and after Holm's correction over the factors.
    share : float or None
        Of the colour variation between the tiles, 0 to 1.
    verdict, why : str
    """

    factor: str
    change: ColourChange
    test: ColourTest | None
    by: Literal["colour", "channels", ""]
    p: float | None
    p_holm: float | None
    share: float | None
    verdict: Verdict
    why: str

    def as_dict(self) -> dict[str, Any]:
        """Return the effect as plain values, ready for JSON."""
        change = self.change
        return {
            "factor": self.factor,
            "setting_low": change.setting_low,
            "setting_high": change.setting_high,
            "lab_low": list(change.lab_low),
            "lab_high": list(change.lab_high),
            "difference": change.difference,
            "low": change.low,
            "high": change.high,
            "ends": None if change.ends is None else change.ends[2],
            "p": self.p,
            "p_holm": self.p_holm,
            "p_by": self.by,
            "test": None if self.test is None else self.test.as_dict(),
            "share": self.share,
            "verdict": self.verdict,
            "why": self.why,
        }


@dataclass(frozen=True)
class ColourFindings:
    """What the tiles say of colour as one thing.

    Attributes
    ----------
    effects : tuple of ColourEffect
        The clearest first, then the largest.
    shares : ColourShares or None
    stages : Stages or None
        The path through the colours; None where it could not be drawn or no factor drives the colour.
    factors, show, word, sessions, batches
        For the sentences: the study's factors, how a setting is written, what a batch is called, how many there were.
    rest : float
        Mean CIEDE2000 of the tiles from the colours the model gives them, batches not told apart.
    """

    effects: tuple[ColourEffect, ...]
    shares: ColourShares | None
    stages: Stages | None
    factors: dict[str, Factor]
    show: Show
    word: str
    sessions: int
    batches: int
    rest: float

    def effect(self, name: str) -> ColourEffect:
        """Return what is said of that factor; raises KeyError."""
        for effect in self.effects:
            if effect.factor == name:
                return effect
        raise KeyError(name)

    @property
    def drivers(self) -> tuple[str, ...]:
        """Names of the factors that drive the colour."""
        return tuple(effect.factor for effect in self.effects if effect.verdict == "drives")

    def sentences(self) -> list[str]:
        """Say what moves the colour, the clearest first, and how much of its variation goes with what."""
        return colour_wording.sentences(self)

    def brief(self) -> list[str]:
        """Return the few sentences that fit a handout: what moves the colour, or may."""
        return colour_wording.brief(self)

    def cautions(self) -> list[str]:
        """Say where units were too few, where a lucky session may stand behind it, where the model cannot follow."""
        return colour_wording.cautions(self)

    def rows(self) -> list[tuple[str, ...]]:
        """Rows for the table of tests: response, term, judged by, change, range, df, ddf, F, p, verdict."""
        return colour_wording.rows(self)

    def as_dict(self) -> dict[str, Any]:
        """Return the findings as plain values, ready for JSON; keys are stable."""
        return {
            "effects": [effect.as_dict() for effect in self.effects],
            "shares": None if self.shares is None else self.shares.as_dict(),
            "stages": None if self.stages is None else self.stages.as_dict(),
        }


def colour_as_one(
    colours: pd.DataFrame,
    factors: Sequence[Factor],
    L: ResponseFindings,
    a: ResponseFindings,
    b: ResponseFindings,
    rng: np.random.Generator,
    *,
    show: Show,
    batch_word: str = "batch",
    error: float | None = None,
) -> ColourFindings:
    """Say what drives colour as one thing.

    Parameters
    ----------
    colours : frame
        One row a tile (`frames.colour_frame`): tile, batch, session, the factors, L, a, b.
    factors : sequence of Factor
        Of the study.
    L, a, b : ResponseFindings
        Of these tiles.
    rng : Generator
        Deals out settings where there are too many arrangements to try them all.
    show : callable
        Writes a setting for people.
    batch_word : str
        What a batch is called.
    error : float, optional
        Median CIEDE2000 error of the measurement itself.

    Returns
    -------
    ColourFindings
    """
    whole = np.isfinite(colours[["L", "a", "b"]].to_numpy(dtype=float)).all(axis=1)
    colours = colours.loc[whole & colours[list(L.model.codings)].notna().all(axis=1).to_numpy()].reset_index(drop=True)
    model, channels = L.model, (L, a, b)
    tests = colour_tests(colours, model, rng)
    changes = colour_changes(colours, L, a, b, error=error)
    shares = colour_shares(colours, model)
    drafts = []
    for name, test in tests.items():
        p, by = _p(test, channels, name, ALPHA / len(tests))
        share = None if shares is None else shares.factors.get(name)
        drafts.append(ColourEffect(name, changes[name], test, by, p, None, share, "not settled", ""))
    asked = [i for i, draft in enumerate(drafts) if draft.p is not None]
    for i, p_holm in zip(asked, holm([p for draft in drafts if (p := draft.p) is not None]), strict=True):
        drafts[i] = replace(drafts[i], p_holm=p_holm)
    judged = [_judged(draft, len(asked), L) for draft in drafts]
    judged.sort(key=lambda effect: (_ORDER.index(effect.verdict), -effect.change.difference))
    found = ColourFindings(
        tuple(judged), shares, None, {f.name: f for f in factors}, show, batch_word,
        L.n_sessions, L.n_batches, _rest(colours, model),
    )  # fmt: skip
    try:  # guided by drivers only: a path guided by what does nothing would make it look like a driver
        return replace(found, stages=stages(colours, model, found.drivers))
    except NotEnoughError:
        return found


def _rest(colours: pd.DataFrame, model: CodedModel) -> float:
    """Mean CIEDE2000 of the tiles from what least squares gives them."""
    X, lab = model.matrix(colours), colours[["L", "a", "b"]].to_numpy(dtype=float)
    return float(ciede2000(lab, X @ np.linalg.lstsq(X, lab, rcond=1e-9)[0]).mean())


def _p(
    test: ColourTest | None, channels: tuple[ResponseFindings, ...], name: str, enough: float
) -> tuple[float | None, Literal["colour", "channels", ""]]:
    """p of a factor, and what it rests on: the whole colour where its test could have come to `enough`."""
    if test is None or any(one.fit is not None and one.term(name).p is None for one in channels):
        return None, ""
    if test.least_p <= enough:
        return test.p, "colour"
    found = []
    for one in channels:
        terms = [term for term in one.model.terms if term.kind in ("main", "bend") and term.factors == (name,)]
        if one.fit is None:
            found.append(1.0)
        elif any(one.term(term.name).p is None for term in terms):
            return None, ""
        else:
            columns = [column for term in terms for column in term.columns]
            joint = one.fit.test(np.eye(one.model.width)[columns])
            if joint.p is None or joint.ddf < LEAST_DF:
                return None, ""
            found.append(joint.p)
    return min(1.0, len(found) * min(found)), "channels"


def _judged(draft: ColourEffect, asked: int, L: ResponseFindings) -> ColourEffect:
    verdict, why = _verdict(draft, asked, L)
    return replace(draft, verdict=verdict, why=why)


def _verdict(draft: ColourEffect, asked: int, L: ResponseFindings) -> tuple[Verdict, str]:
    change = draft.change
    others = L.model.together.get(draft.factor, ())
    if draft.p is None or draft.p_holm is None or others:
        why = next((term.why for term in L.terms if term.term == draft.factor and term.verdict == "cannot tell"), "")
        return "cannot tell", why or "the noise it must be judged by was not measured"
    clear = draft.p_holm <= ALPHA
    if clear and change.difference >= VISIBLE:
        return "drives", "chance alone is an unlikely cause"
    if clear:
        return "may drive", f"less than the {VISIBLE:g} CIEDE2000 that would just be visible"
    if draft.p <= ALPHA:
        return "may drive", f"{asked} questions were asked of the same tiles and one such answer can come by chance"
    if change.low is not None and change.low > 0:
        return "may drive", f"chance alone would look as strong in about {100 * draft.p:.0f} of 100 such studies"
    if change.high is not None and change.high <= VISIBLE:
        return (
            "no sign",
            f"any move that fits these tiles is smaller than the {VISIBLE:g} CIEDE2000 that would just be visible",
        )
    if change.high is None:
        return "not settled", "no range could be given"
    return "not settled", f"any move up to {told_as(change.high)} CIEDE2000 fits these tiles"
