"""When Kenward & Roger's test is timid: few batches that hardly differ, so a real effect is easily missed.

A factor set per batch is judged with the degrees of freedom of the batches, as it must be. Where the batches hardly
differ, the noise it is judged by is in truth that of all tiles, known far better than those few degrees of freedom say:
the limit of F(1, 2) is 18.5, which F(1, 20) passes by chance 3 times in 10,000 and not 5 in 100. Simulated: 0.0 to 0.5 %
false alarms with four batches (docs/explanation/baths.md). The test errs on the safe side; the price is power.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import fdtrc, fdtri

from tilestudy.analysis.findings import ALPHA
from tilestudy.analysis.mixed import MixedFit
from tilestudy.analysis.work import Work
from tilestudy.study.language import listed, plural
from tilestudy.study.records import SetPer

TIMID = 0.01
"""Share of false alarms, where 5 % are meant, below which a test is called timid."""

LITTLE = 0.5
"""Batches hardly differ when their standard deviation is at most this share of that of tiles."""

_LARGER = {"batch": ("session", "scorer"), "session": ("scorer",)}


def timid(fit: MixedFit, L: ArrayLike, unit: str = "batch") -> bool:
    """Tell whether the test of L beta = 0 found nothing and was too timid to be expected to.

    Parameters
    ----------
    fit : MixedFit
    L : (l, p) or (p,) float
        The coefficients tested; all of one factor set per `unit`.
    unit : "batch" or "session"
        The group whose few levels it is judged by.

    Returns
    -------
    bool
        True when p is above 0.05, the levels of `unit` scatter at most half as much as what lies within them, and
        chance alone, were there no scatter of `unit` at all, would pass the limit of the test less than 1 time in 100.

    Examples
    --------
    Four batches, each with the same six tiles:

    >>> import numpy as np
    >>> from tilestudy.analysis.mixed import fit_mixed
    >>> batch = np.repeat(np.arange(4), 6)
    >>> fit = fit_mixed(np.tile([1.0, 5, 2, 4, 3, 6], 4), np.column_stack([np.ones(24), batch % 2]), {"batch": batch})
    >>> timid(fit, [0.0, 1.0])
    True
    """
    if fit.perfect or unit not in fit.variance:
        return False
    within = sum(v for name, v in fit.variance.items() if name != unit and name not in _LARGER[unit])
    if fit.variance[unit] > LITTLE**2 * within:
        return False
    test = fit.test(L)
    if test.p is None or test.p <= ALPHA or test.ddf >= fit.residual_df:
        return False
    limit = float(fdtri(test.df, test.ddf, 1.0 - ALPHA))
    return bool(fdtrc(test.df, fit.residual_df, limit) < TIMID)


def timid_sentence(names: Sequence[str], unit: str) -> str:
    """Say for which factors the test was timid, and what helps.

    >>> timid_sentence(["strength"], "bath").split(":")[0]
    'With so few baths that differ so little, the test for strength is timid'
    """
    tests, are, its = ("tests", "are", "they allow") if len(names) > 1 else ("test", "is", "it allows")
    return (
        f"With so few {plural(unit)} that differ so little, the {tests} for {listed(names)} {are} timid: {its} for far more "
        f"{unit} luck than was seen, so ranges are wide and a real effect is easily missed. Every further {unit} helps."
    )


def too_timid(work: Work, unit: SetPer) -> list[str]:
    """Name the factors set per `unit` whose test was timid."""
    fit, eye = work.fit, np.eye(work.model.width)
    mains = [term for term in work.model.terms if term.kind == "main" and term.set_per == unit]
    return [work.labels[t.factors[0]] for t in mains if fit is not None and timid(fit, eye[list(t.columns)], unit)]
