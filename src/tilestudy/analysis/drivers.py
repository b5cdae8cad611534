"""From a frame of observations to what drives a response.

Each response is fitted by REML with a random intercept for the batch (when there are several), the session (when
there are several), and the tile (when tiles have several rows). Rub grades and strokes go to `durability` and `strokes`. Tests
and ranges are Kenward & Roger's (`tilestudy.analysis.mixed`).

The rule for a verdict stands in `tilestudy.analysis.work`: "drives" needs both a p of at most 0.05 after Holm's
correction over the response's terms and an effect that is large enough to matter.

Sources: Holm (1979), Scand. J. Statist. 6:65; the batch as whole plot: Yates (1935), J. Roy. Statist. Soc. Suppl. 2:181.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pandas as pd

from tilestudy.analysis import wording
from tilestudy.analysis.drift import drift_within
from tilestudy.analysis.findings import Drift, InteractionGrid, ResponseFindings, ResponseSpec
from tilestudy.analysis.model import build_model
from tilestudy.analysis.naming import Show, show_plainly
from tilestudy.analysis.telling import cautions, sentences
from tilestudy.analysis.usable import usable
from tilestudy.analysis.wear.passing import Drawn
from tilestudy.analysis.work import Work
from tilestudy.study.records import Factor


def analyse(
    frame: pd.DataFrame,
    factors: Sequence[Factor],
    response: ResponseSpec,
    *,
    show: Show = show_plainly,
    batch_word: str = "batch",
    level: float = 0.95,
    study: str = "NAME",
) -> ResponseFindings:
    """Find out which factors drive a response.

    Parameters
    ----------
    frame : frame
        One row for each observation: `tile`, `batch`, `session`, one column for each factor (stored units or names;
        what was really done where that is known), and `y`. Optional: `reference`, True for
        tiles of one and the same treatment made first, middle and last in a batch (they count as tiles, but not among
        those that pass, and tell whether a batch drifts), and `order`, the place in the batch's run order (without it
        the order of the rows is taken).
    factors : sequence of Factor
    response : ResponseSpec
    show : callable
        Writes a setting of a factor for people: ``show(600.0, dwell)`` gives "10 min".
    batch_word : str
        What a batch is called: "bath", "load", "heat".
    level : float
        Coverage of the ranges.
    study : str
        Name of the study, for messages that say what to type.

    Returns
    -------
    ResponseFindings

    Raises
    ------
    NotEnoughError
        When the rows cannot answer anything: no values, one tile, no factor that varies, fewer tiles than main effects;
        or a value or setting cannot be reckoned with (the tile is named).

    Examples
    --------
    >>> from tilestudy.analysis.findings import colour_spec
    >>> tiles = pd.DataFrame({"tile": list("abcdefgh"), "batch": list("11223344"), "session": 1,
    ...     "strength": [1.0, 1, 9, 9, 1, 1, 9, 9], "y": [50.0, 52, 40, 41, 53, 50, 39, 37]})
    >>> strength = Factor("strength", (1.0, 9.0), "g/L", "g/L", set_per="batch")
    >>> analyse(tiles, [strength], colour_spec("L"), batch_word="bath").sentences[0]
    'From 1 to 9 g/L the tile darkens by 12 L* (7 to 17): strength drives it.'
    """
    data = usable(frame, factors, response, study)
    model = build_model(data.tiles, factors, show, batch_word, wording.value_of(response))
    work = Work(data, model, {factor.name: factor for factor in factors}, response, show, batch_word, level)
    return gather(work, drift_within(data, response.smallest_that_matters, level))


def gather(work: Work, drift: Drift | None, drawn: Drawn | None = None) -> ResponseFindings:
    """Judge every term, and put terms, sentences and charts' values together."""
    response, model, level = work.spec, work.model, work.level
    terms = work.terms()
    variance = work.variance(terms)
    long, brief = sentences(work, terms, variance, drift)
    bare = ResponseFindings(
        name=response.name,
        label=response.label,
        unit=response.unit,
        about=response.about,
        kind=response.kind,
        n_rows=work.n_rows,
        n_tiles=work.n_tiles,
        n_batches=work.n_batches,
        n_sessions=work.n_sessions,
        n_scorers=work.n_scorers,
        terms=terms,
        left_out=model.left_out,
        variance=variance,
        sentences=long,
        brief=brief,
        cautions=cautions(work),
        main_effects={},
        strongest_interaction=None,
        pass_counts=work.pass_counts(),
        model=model,
        fit=work.fit,
        constant=work.shift,
        ranged=work.ranged,
        shift=work.shift,
        scale=work.scale,
        drift=drift,
        spoken=response.spoken,
        drawn=drawn,
    )
    return replace(
        bare,
        main_effects={name: bare.level_means(name, level) for name in model.codings},
        strongest_interaction=_strongest(bare),
    )


def _strongest(found: ResponseFindings) -> InteractionGrid | None:
    pairs = [term for term in found.terms if term.kind == "pair"]
    if not pairs or (found.fit is None and found.drawn is None):
        return None
    best = min(pairs, key=lambda term: (term.p if term.p is not None else 2.0, -abs(term.effect)))
    return found.interaction(*best.factors)
