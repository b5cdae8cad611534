"""What a plan can and cannot tell, before any metal is cut.

For each factor: the stratum it is judged in, its residual degrees of freedom (containment: batches less what is fitted
between them, tiles less what is fitted within them), and the smallest change from the lowest to the highest level that
the plan would see in 80 of 100 such studies (two-sided t test at 5 %, non-central t; Cohen 1988, chapter 2). The noise
is assumed, and said to be.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from tilestudy.study.records import Factor, Plan, SetPer, Study, study_as_planned

Floats = npt.NDArray[np.float64]
POWER, ALPHA = 0.80, 0.05


@dataclass(frozen=True)
class Noise:
    """Assumed standard deviations between alike-made batches and tiles, in `unit`; `of` names the response."""

    batch: float
    tile: float
    unit: str
    of: str


@dataclass(frozen=True)
class FactorPower:
    """What the plan can tell of one factor.

    `df` is the residual degrees of freedom of its stratum; `smallest` the smallest change, lowest to highest level,
    seen with 80 % power, in the noise's unit, or None when the plan cannot tell; `why` then says why not ("constant",
    "confounded", "unreplicated"). `spent_on_sessions` counts the batches' worth that goes to telling sessions apart.
    """

    factor: str
    set_per: SetPer
    df: int
    smallest: float | None
    why: str = ""
    spent_on_sessions: int = 0


@dataclass(frozen=True)
class Appraisal:
    """The noise assumed, one `FactorPower` for each factor, and pairs of factors that cannot be told apart."""

    noise: Noise
    factors: tuple[FactorPower, ...]
    same_as: tuple[tuple[str, str], ...]


def t_power(shift: float, df: float, alpha: float = ALPHA) -> float:
    """Return the power of a two-sided t test whose true effect is `shift` standard errors, on `df` degrees of freedom.

    The two-sided t test is the F test on 1 and df degrees of freedom, so the non-central F gives it.

    >>> round(t_power(2.0, 28), 3)
    0.489
    """
    critical = special.stdtrit(df, 1 - alpha / 2)
    return 1 - float(special.ncfdtr(1, df, shift**2, critical**2))


def smallest_effect(se: float, df: int, power: float = POWER, alpha: float = ALPHA) -> float:
    """Return the smallest true effect that a two-sided t test finds with the given power.

    Parameters
    ----------
    se : float
        Standard error of the estimated effect.
    df : int
        Residual degrees of freedom, at least 1.

    Examples
    --------
    >>> round(smallest_effect(1.0, 20), 2)
    2.95
    """

    def short(shift: float) -> float:
        return t_power(shift, df, alpha) - power

    high = 1.0
    while short(high) < 0:
        high *= 2
    return float(optimize.brentq(short, 0.0, high, xtol=1e-6)) * se


def coded(factor: Factor, plan: Plan) -> Floats:
    """Return the coded columns of a factor, (tiles, 1) for a scaled one and (tiles, levels - 1) for steps.

    Scaled factors run from -1 at the lowest to +1 at the highest level (logs for geometric spacing).
    """
    values = [tile.settings[factor.name] for tile in plan.tiles]
    if factor.scaled:
        take = math.log if factor.spacing == "geometric" else float
        numbers = np.array([take(float(value)) for value in values])
        low, high = take(float(factor.levels[0])), take(float(factor.levels[-1]))
        return (2 * (numbers - low) / (high - low) - 1)[:, None]
    contrast = np.vstack([np.eye(len(factor.levels) - 1), -np.ones(len(factor.levels) - 1)])
    return contrast[[factor.levels.index(value) for value in values]]


def appraise(study: Study, plan: Plan, noise: Noise) -> Appraisal:
    """Return what a plan can tell of each factor under the stated noise."""
    n = len(plan.tiles)
    study = study_as_planned(study, plan)
    names = {factor.name: coded(factor, plan) for factor in study.factors if len(factor.levels) > 1}
    batch = _indicator([tile.batch for tile in plan.tiles])
    session = _indicator([str(tile.session) for tile in plan.tiles])
    crossed = [(names[a][:, :, None] * names[b][:, None, :]).reshape(n, -1) for a, b in combinations(names, 2)]
    fixed = np.hstack([np.ones((n, 1)), *names.values()])
    full = np.hstack([fixed, *crossed])
    if np.linalg.matrix_rank(np.hstack([full, batch])) < n - 1:
        fixed = full  # interactions are fitted only where tiles are left to judge them
    same = _cannot_separate(names)
    found = []
    # degrees of freedom are counted with every level free, so that a bend is not mistaken for noise
    free = np.hstack(
        [np.ones((n, 1)), *(_indicator([str(tile.settings[name]) for tile in plan.tiles]) for name in names)]
    )
    blocks = session if session.shape[1] < batch.shape[1] else np.empty((n, 0))  # one batch a session: the same stratum
    for factor in study.factors:
        between = {"batch": batch, "session": session, "tile": np.eye(n)}[factor.set_per]
        fitted = {
            "batch": np.hstack([free, blocks]),
            "session": free,
            "tile": np.hstack([fixed, free, batch]),
        }[factor.set_per]
        df = int(_rank(np.hstack([fitted, between])) - _rank(fitted))
        spent = int(_rank(np.hstack([free, blocks])) - _rank(free)) if factor.set_per == "batch" else 0
        why = _why_not(factor, df, same)
        smallest = None if why else smallest_effect(_effect_se(factor, fixed, names, plan, noise), df)
        found.append(FactorPower(factor.name, factor.set_per, df, smallest, why, spent))
    return Appraisal(noise, tuple(found), same)


def _rank(matrix: Floats) -> int:
    return int(np.linalg.matrix_rank(matrix))


def _indicator(labels: Sequence[str]) -> Floats:
    return np.array([[label == one for one in dict.fromkeys(labels)] for label in labels], dtype=float)


def _cannot_separate(names: dict[str, Floats]) -> tuple[tuple[str, str], ...]:
    """Pairs of factors whose columns carry the same information in this plan."""
    pairs = []
    for a, b in combinations(names, 2):
        ones = np.ones((len(names[a]), 1))
        if _rank(np.hstack([ones, names[a], names[b]])) < 1 + _rank(names[a]) + _rank(names[b]):
            pairs.append((a, b))
    return tuple(pairs)


def _why_not(factor: Factor, df: int, same: Sequence[tuple[str, str]]) -> str:
    if len(factor.levels) < 2:
        return "constant"
    if any(factor.name in pair for pair in same):
        return "confounded"
    return "unreplicated" if df < 1 else ""


def _effect_se(factor: Factor, fixed: Floats, names: dict[str, Floats], plan: Plan, noise: Noise) -> float:
    """Standard error of the change from the lowest to the highest level, by generalised least squares."""
    batch = _indicator([tile.batch for tile in plan.tiles])
    session = _indicator([str(tile.session) for tile in plan.tiles])
    # sessions are blocks whose differences do not count, unless the factor is set per session: then they are its noise,
    # taken as large as that of batches
    one_each = session.shape[1] == batch.shape[1]
    block = noise.batch if factor.set_per == "session" or one_each else 10 * (noise.batch + noise.tile)
    V = noise.batch**2 * batch @ batch.T + noise.tile**2 * np.eye(len(plan.tiles)) + block**2 * session @ session.T
    information = fixed.T @ np.linalg.solve(V, fixed)
    start = 1 + sum(
        columns.shape[1] for name, columns in names.items() if list(names).index(name) < list(names).index(factor.name)
    )
    width = names[factor.name].shape[1]
    contrast = np.zeros(fixed.shape[1])
    if factor.scaled:
        contrast[start] = 2.0
    else:
        contrast[start : start + width] -= 1.0
        contrast[start] -= 1.0
    return float(np.sqrt(contrast @ np.linalg.pinv(information) @ contrast))
