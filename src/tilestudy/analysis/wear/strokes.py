"""From strokes until bare metal shows to what makes a patina stand longer, told as ratios.

Main effects only: strokes are counted on few tiles, and often end with "not yet". Session, batch and tile are random as for
grades; the scorer is not, for bare metal is seen and not judged. Verdicts follow the rule of `tilestudy.analysis.work` on the
logarithm of strokes; no smallest change is stated, so nothing is ever "no sign".
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tilestudy.analysis import wording
from tilestudy.analysis.drivers import gather
from tilestudy.analysis.findings import LEAST_DF, ResponseFindings, ResponseSpec, TermFinding
from tilestudy.analysis.mixed import Array, Estimate, FTest
from tilestudy.analysis.model import CodedModel, Term, build_model
from tilestudy.analysis.naming import Show, show_plainly
from tilestudy.analysis.usable import Usable, usable
from tilestudy.analysis.wear.censored import StrokesFit, fit_strokes
from tilestudy.analysis.wear.durability import DRAWS, SEED
from tilestudy.analysis.wear.latent_fit import widened
from tilestudy.analysis.work import Work
from tilestudy.errors import NotEnoughError
from tilestudy.study.language import count
from tilestudy.study.records import Factor, Setting

LEAST_BROKEN = 3
"""Tiles that must have broken through before strokes are looked at."""

LARGEST = 14.0
"""Largest logarithm of strokes that is reckoned with, about a million."""


@dataclass(frozen=True)
class Standing:
    """The strokes that half of the tiles stand, from draws of the fit; settings not named are averaged over the tiles."""

    model: CodedModel
    fit: StrokesFit = field(repr=False)
    draws: tuple[Array, Array] = field(repr=False)

    def logs(self, settings: Mapping[str, Setting]) -> Array:
        """Draws of the logarithm of the strokes: (n,)."""
        return np.clip(self.fit.log_strokes(self.draws, self.model.row(settings)[None, :])[:, 0], -LARGEST, LARGEST)

    def at(self, settings: Mapping[str, Setting]) -> Array:
        """Draws of the strokes: (n,)."""
        return np.asarray(np.exp(self.logs(settings)))

    def estimate(self, drawn: Array, level: float = 0.95) -> Estimate:
        """Middle and range of the draws."""
        low, value, high = np.quantile(drawn, [0.5 - level / 2.0, 0.5, 0.5 + level / 2.0])
        return Estimate(float(value), None, None, float(low), float(high))

    def compared(self, drawn: list[Array], level: float = 0.95) -> list[Estimate]:
        """Each middle with the range of its ratio to the average (of logarithms) of all."""
        logs = [np.log(one) for one in drawn]
        middle = np.mean(logs, axis=0)
        told = []
        for one in logs:
            if float(np.abs(one - middle).max()) < 1e-6:  # a straight line's middle is its average, whatever the slope
                value = float(np.exp(np.median(one)))
                told.append(Estimate(value, None, None, value, value))
                continue
            apart = self.estimate(np.exp(one - middle + np.median(middle)), level)
            told.append(replace(self.estimate(np.exp(one), level), low=apart.low, high=apart.high))
        return told


class StrokesWork(Work):
    """The fit of the strokes of one condition, on the logarithm of strokes."""

    def _fit(self) -> None:
        rows = self.data.rows
        groups = {name: codes for name, codes in self._groups().items() if name != "scorer"}
        high = self.y
        low = rows["low"].to_numpy(dtype=float)
        ends = np.where(rows["came"].to_numpy(dtype=bool), high, np.inf)
        self.alike = False
        self.strokes: StrokesFit = fit_strokes(low, ends, self.X, groups)
        self.plain = fit_strokes(low, ends, self.X) if self.n_batches > 1 else None
        self.set_aside = self.strokes.latent.set_aside
        draws = self.strokes.latent.draws(np.random.default_rng(SEED), DRAWS)
        self.standing = Standing(self.model, self.strokes, draws)

    def at(self, settings: Mapping[str, Setting], without: Term | None = None) -> Array:
        """Draws of the logarithm of strokes at these settings."""
        return self.standing.logs(settings)

    def contrast(self, row: Array, level: float | None = None) -> Estimate:
        """Tell the logarithm of a ratio."""
        level = level or self.level
        return widened(self.standing.estimate(row, level), level, self.model.spare["tile"])

    def _test(self, term: Term) -> FTest | None:
        if term.name in self.luck or self.model.spare["tile"] < 1:
            return None
        test = self.strokes.test(term.columns, self.model.spare["tile"])
        return None if test.ddf < LEAST_DF else test

    def _naive_p(self, term: Term) -> float | None:
        return None if self.plain is None else self.plain.test(term.columns, self.n_rows - self.model.width).p

    def variance(self, terms: Sequence[TermFinding]) -> dict[str, float | None]:
        """Squared standard deviations of the luck of each group, on the hidden scale."""
        return {name: sd**2 for name, sd in self.strokes.latent.sd.items()}

    def noise_sentences(self, variance: Mapping[str, float | None]) -> list[str]:
        """Nothing: the luck of batches is in the ranges."""
        return []

    def opening(self) -> str:
        """Say on how many tiles bare metal came, and how many strokes the others stood."""
        came = self.data.rows.groupby("tile", sort=False)["came"].any()
        broke, tiles = int(came.sum()), len(came)
        if broke == tiles:
            return f"Bare metal came on all {tiles} tiles, after {self.y.min():g} to {self.y.max():g} strokes."
        stood = self.y[~self.data.rows["came"].to_numpy(dtype=bool)]
        span = f"{stood.min():g}" if stood.min() == stood.max() else f"{stood.min():g} to {stood.max():g}"
        return f"Bare metal came on {broke} of {tiles} tiles; the others stood {span} strokes without it."


def analyse_strokes(
    frame: pd.DataFrame,
    factors: Sequence[Factor],
    spec: ResponseSpec,
    *,
    show: Show = show_plainly,
    batch_word: str = "batch",
    level: float = 0.95,
    study: str = "NAME",
) -> ResponseFindings:
    """Find out which factors drive the strokes that tiles stand before bare metal shows.

    Parameters
    ----------
    frame : frame
        As for `analyse`, with the count of strokes in ``y``, and ``came``: True where bare metal was first seen at that
        stroke, False where it had not come by then (`frames.strokes_frame`).
    factors, show, batch_word, level, study
        As there.
    spec : ResponseSpec
        From `strokes_spec`.

    Returns
    -------
    ResponseFindings
        Effects are ratios, levels and predictions the strokes that half of the tiles stand.

    Raises
    ------
    NotEnoughError
        When no tile broke through, or as `analyse` does.

    Examples
    --------
    >>> from tilestudy.analysis.findings import strokes_spec
    >>> tiles = pd.DataFrame({"tile": list("abcdefghijkl"), "batch": list("111222333444"), "session": 1, "came": True,
    ...     "scrubs": [1.0, 2, 4] * 4, "y": [5.0, 9, 22, 4, 12, 18, 6, 10, 20, 5, 11, 25]})
    >>> scrubs = Factor("scrubs", (1.0, 2.0, 4.0), spacing="geometric")
    >>> analyse_strokes(tiles, [scrubs], strokes_spec("dry")).term("scrubs").verdict
    'drives'
    """
    columns = ["tile", "batch", "session", *(factor.name for factor in factors), "y", "came"]
    frame = frame[frame[columns].notna().all(axis=1)]
    data = usable(frame, factors, spec, study)
    came = frame["came"].to_numpy(dtype=bool)
    _refuse_untold(data, came, spec)
    strokes = data.rows["y"].to_numpy(dtype=float)
    rows = data.rows.assign(came=came, low=np.where(came, np.maximum(strokes - 1.0, 0.0), strokes))
    data = replace(data, rows=rows)
    model = _mains(build_model(data.tiles, factors, show, batch_word, wording.value_of(spec)))
    work = StrokesWork(data, model, {factor.name: factor for factor in factors}, spec, show, batch_word, level)
    found = gather(work, None, work.standing)
    return replace(found, terms=tuple(_as_ratio(term) for term in found.terms))


def _refuse_untold(data: Usable, came: NDArray[np.bool_], spec: ResponseSpec) -> None:
    """Refuse strokes that tell nothing: hardly a tile broke through, or all at once."""
    counts, tiles = data.rows["y"], len(data.tiles)
    broke = int(data.rows["tile"][came].nunique())
    if broke < LEAST_BROKEN:
        which = "No tile" if not broke else f"{count(broke, 'tile')} of {tiles}"
        raise NotEnoughError(
            f"{which} broke through within {counts.max():g} strokes ({spec.label}), so the strokes do not tell which tiles "
            "stand longer; the grades do. To learn more, rub on until bare metal shows."
        )
    if came.all() and counts.nunique() == 1:
        raise NotEnoughError(
            f"Bare metal came at stroke {counts.iloc[0]:g} on all {tiles} tiles ({spec.label}), so the strokes do not tell "
            "which tiles stand longer. A lighter rub may."
        )


def _mains(model: CodedModel) -> CodedModel:
    """Keep the main effects, whose columns come first."""
    terms = tuple(term for term in model.terms if term.kind == "main")
    left = tuple(out for out in model.left_out if out.kind == "main")
    return replace(model, terms=terms, left_out=left, width=1 + sum(len(term.columns) for term in terms))


def _as_ratio(term: TermFinding) -> TermFinding:
    def ratio(log: float | None) -> float | None:
        return None if log is None else float(np.exp(log))

    per = term.per_doubling
    doubled = None if per is None else Estimate(float(np.exp(per.value)), None, None, ratio(per.low), ratio(per.high))
    return replace(
        term,
        effect=float(np.exp(term.effect)),
        low=ratio(term.low),
        high=ratio(term.high),
        unit="times",
        per_doubling=doubled,
    )
