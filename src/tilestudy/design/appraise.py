"""What a plan can and cannot tell, before any metal is cut.

For each term of the model that the analysis will fit (`tilestudy.design.terms`): the stratum it is judged in, its residual
degrees of freedom, and the smallest effect that the plan would see in 80 of 100 such studies (F test at 5 %, non-central F;
Cohen 1988, chapters 2 and 8; the split plot by generalised least squares, Goos & Jones 2011, chapter 10). The noise is
assumed, or learned from earlier studies, and said to be.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from tilestudy.design.power import needed_noncentrality
from tilestudy.design.terms import Floats, Kind, LeftOut, Model, Term, model_of, rank
from tilestudy.study.records import Plan, SetPer, Study, study_as_planned


@dataclass(frozen=True)
class Noise:
    """Standard deviations between alike-made batches and tiles, in `unit`; `of` names the response.

    `learned_from` names the earlier studies they were measured in; empty when they are assumed.
    """

    batch: float
    tile: float
    unit: str
    of: str
    learned_from: tuple[str, ...] = ()


@dataclass(frozen=True)
class FactorPower:
    """What the plan can tell of one factor.

    `df` is the residual degrees of freedom of its stratum; `smallest` the smallest change, lowest to highest level (between
    any two levels, for a factor taken level by level), seen with 80 % power, in the noise's unit, or None when the plan
    cannot tell; `why` then says why not ("constant", "confounded", "unreplicated"). `spent_on_sessions` counts the batches'
    worth that goes to telling sessions apart.
    """

    factor: str
    set_per: SetPer
    df: int
    smallest: float | None
    why: str = ""
    spent_on_sessions: int = 0


@dataclass(frozen=True)
class TermPower:
    """What the plan can tell of one term: main effect, bend or pair.

    `smallest` is the effect seen with 80 % power, in the noise's unit, or None without replication: a change from the lowest
    to the highest level (main), the middle's distance from the straight line (bend), or how much the change by one factor
    differs between the ends of the other (pair). `df` counts whole units to spare in the stratum (0: nothing to judge by);
    `ddf` are the degrees of freedom of the test, which may rest on more than one stratum.
    """

    term: str
    kind: Kind
    factors: tuple[str, ...]
    set_per: SetPer
    df: int
    smallest: float | None
    ddf: float | None = None


@dataclass(frozen=True)
class Appraisal:
    """The noise, a `FactorPower` for each factor, pairs of factors that cannot be told apart, and every term.

    `left_out` are the terms the tiles cannot tell, with what each would be mistaken for.
    """

    noise: Noise
    factors: tuple[FactorPower, ...]
    same_as: tuple[tuple[str, str], ...]
    terms: tuple[TermPower, ...] = ()
    left_out: tuple[LeftOut, ...] = ()

    @property
    def worst(self) -> float | None:
        """The largest of the factors' smallest effects, or None when a factor that varies cannot be told."""
        seen = [one.smallest for one in self.factors if one.why != "constant"]
        known = [one for one in seen if one is not None]
        return max(known) if known and len(known) == len(seen) else None


@dataclass(frozen=True)
class Fit:
    """Generalised least squares of a model under a stated noise.

    `covariance` is that of the coefficients, (columns, columns), in the noise's unit squared; `slopes` its derivative by
    each variance (tile, batch, session where there are any); `information` the expected information on those variances.
    """

    covariance: Floats
    slopes: tuple[Floats, ...]
    information: Floats

    def ddf(self, contrast: Floats) -> float:
        """Return the degrees of freedom of a contrast: twice its squared variance over the variance of that variance.

        Satterthwaite (1946), Biometrics 2:110, with the expected information, as Kenward & Roger (1997) for one contrast;
        in balanced plans these are the units beyond what is fitted in the contrast's stratum.
        """
        gradient = np.array([contrast @ slope @ contrast for slope in self.slopes])
        spread = float(gradient @ np.linalg.pinv(self.information, hermitian=True) @ gradient)
        return float(2 * (contrast @ self.covariance @ contrast) ** 2 / spread)


def fit_of(model: Model, noise: Noise, session_sd: float) -> Fit:
    """Work out what generalised least squares will be worth on these tiles."""
    n = len(model.X)
    alone = model.batch.shape[1] == n  # a batch each tile: one and the same luck
    parts = [(np.hypot(noise.tile, noise.batch) if alone else noise.tile, np.eye(n))]
    if 1 < model.batch.shape[1] < n:
        parts.append((noise.batch, model.batch @ model.batch.T))
    if model.session.shape[1] > 1:
        parts.append((session_sd, model.session @ model.session.T))
    # variances in units of the tiles' own, and none quite nought: a variance near nought is estimated all the same
    scaled = [(max(sd / noise.tile, 1e-3) ** 2, part) for sd, part in parts]
    V_inverse = np.linalg.inv(sum((size * part for size, part in scaled), np.zeros((n, n))))
    weighed = V_inverse @ model.X
    phi = np.linalg.pinv(model.X.T @ weighed, hermitian=True)
    P = V_inverse - weighed @ phi @ weighed.T
    bent = [(size * part, P @ (size * part)) for size, part in scaled]
    information = np.array([[0.5 * float((one * other.T).sum()) for _, other in bent] for _, one in bent])
    slopes = tuple(noise.tile**2 * phi @ (weighed.T @ part @ weighed) @ phi for part, _ in bent)
    return Fit(np.asarray(noise.tile**2 * phi, dtype=np.float64), slopes, information)


def block_sd(model: Model, noise: Noise) -> float:
    """Return a session's standard deviation so large that only comparisons within sessions count."""
    return 0.0 if model.session.shape[1] < 2 else 10 * (noise.batch + noise.tile)


def appraise(study: Study, plan: Plan, noise: Noise) -> Appraisal:
    """Appraise a plan.

    Sessions are blocks, whose differences do not count, unless a factor is set per session: then they are its noise, taken
    as large as that between batches.
    """
    study = study_as_planned(study, plan)
    model = model_of(study, plan)
    blocks = fit_of(model, noise, block_sd(model, noise))
    wide = blocks if all(term.set_per != "session" for term in model.terms) else fit_of(model, noise, noise.batch)
    terms = tuple(_power(model, term, wide if term.set_per == "session" else blocks, noise) for term in model.terms)
    same = _cannot_separate(model)
    by_name = {term.term: term for term in terms}
    out = {one.name: one for one in model.left_out}
    factors = []
    for factor in study.factors:
        found = by_name.get(factor.name)
        if found is None or any(factor.name in pair for pair in same):
            why = "constant" if factor.name in out and out[factor.name].why == "constant" else "confounded"
            factors.append(FactorPower(factor.name, factor.set_per, 0, None, why))
            continue
        spent = model.spent if found.set_per == "batch" else 0
        why = "unreplicated" if found.smallest is None else ""
        factors.append(FactorPower(factor.name, found.set_per, found.df, found.smallest, why, spent))
    return Appraisal(noise, tuple(factors), same, terms, model.left_out)


def _power(model: Model, term: Term, fit: Fit, noise: Noise) -> TermPower:
    """Find the smallest effect of a term that its F test sees, for the least favourable pattern of that size."""
    df = model.spare[term.set_per]
    if df < 1:
        return TermPower(term.name, term.kind, term.factors, term.set_per, df, None)
    hardest, strength = least_favourable(model, term, fit)
    contrast = np.zeros(model.X.shape[1])
    contrast[list(term.columns)] = hardest
    ddf = max(fit.ddf(contrast), 1.0)
    wider = _sessions_against_batches(model, noise) if term.set_per == "batch" else (0, 1.0)
    smallest = float(np.sqrt(needed_noncentrality(len(term.columns), round(ddf, 2), *wider) / strength))
    return TermPower(term.name, term.kind, term.factors, term.set_per, df, smallest, ddf)


def _sessions_against_batches(model: Model, noise: Noise) -> tuple[int, float]:
    """Degrees of freedom between sessions, and their expected mean square over that between batches.

    Sessions are taken to differ as batches do: enough to matter, and little enough that some studies see no difference.
    """
    sessions, batches = model.session.shape[1], model.batch.shape[1]
    df = model.spent if all(term.set_per != "session" for term in model.terms) else model.spare["session"]
    if sessions < 2 or df < 1:
        return 0, 1.0
    own = noise.batch**2 + noise.tile**2 * batches / len(model.X)
    return df, round(1 + batches / sessions * noise.batch**2 / own, 2)


def least_favourable(model: Model, term: Term, fit: Fit) -> tuple[Floats, float]:
    """Return the contrast that tests the pattern hardest to see, (term's columns,), and its noncentrality for an effect of 1."""
    own = fit.covariance[np.ix_(term.columns, term.columns)]
    found = [(np.asarray(np.linalg.solve(own, one), dtype=np.float64), one) for one in model.patterns(term)]
    contrast, pattern = min(found, key=lambda both: float(both[0] @ both[1]))
    return contrast, float(contrast @ pattern)


def _cannot_separate(model: Model) -> tuple[tuple[str, str], ...]:
    """Pairs of factors whose columns carry the same information in this plan."""
    mains = {
        name: model.X[:, list(term.columns)] for term in model.terms if term.kind == "main" for name in term.factors
    }
    pairs = []
    for one in model.left_out:
        if one.kind == "main" and one.why == "confounded":
            pairs += [(name, one.name) for name, share in one.partners if name in mains and share > 0.5]
    ones = np.ones((len(model.X), 1))
    for a, b in combinations(mains, 2):
        if rank(ones, mains[a], mains[b]) < 1 + mains[a].shape[1] + mains[b].shape[1]:
            pairs.append((a, b))
    return tuple(pairs)


def leverages(model: Model) -> Floats:
    """Return each tile's leverage, (tiles,): how far its own value pulls its own prediction, from 0 to 1.

    The mean is columns over tiles; twice that stands out (Hoaglin & Welsch 1978, Am. Stat. 32:17).
    """
    left, size, _ = np.linalg.svd(model.X, full_matrices=False)
    return np.asarray((left[:, size > 1e-9 * size.max()] ** 2).sum(axis=1))
