"""How far the model of one response can be trusted: frozen records, plain values, and tables for the curious."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import pandas as pd

from tilestudy.analysis.findings import Verdict
from tilestudy.study.records import Setting


@dataclass(frozen=True)
class TileTrust:
    """One tile beside the model.

    Attributes
    ----------
    tile, batch : str
    predicted, observed : float
        Unit of the response; `predicted` from its settings and the luck of its batch, session and scorers.
    residual : float
        `observed` less `predicted`.
    apart : float or None
        `observed` less what all the *other* tiles predict; None where no other tile tells.
    standardised : float or None
        `apart` in standard errors: about 19 in 20 tiles lie between -2 and 2.
    p : float or None
        How often chance alone puts a tile so far off, corrected for all tiles (Bonferroni); None where it lies too near to ask.
    moves : mapping of str to float
        By term: how far leaving the tile out moves the effect, in half-widths of its range.
    mirror : str
        The one other tile that departs just as far the other way, so that nobody can tell which of them is off; or "".
    """

    tile: str
    batch: str
    predicted: float
    observed: float
    residual: float
    apart: float | None
    standardised: float | None
    p: float | None
    moves: Mapping[str, float]
    mirror: str = ""


@dataclass(frozen=True)
class BatchTrust:
    """One batch beside the others.

    Attributes
    ----------
    batch : str
    tiles : int
    luck : float
        Its predicted luck, shrunken towards nought; unit of the response.
    apart : float or None
        How far it lies from what the other batches predict at its settings; None where no other batch tells.
    standardised, p, moves, mirror
        As for tiles.
    """

    batch: str
    tiles: int
    luck: float
    apart: float | None
    standardised: float | None
    p: float | None
    moves: Mapping[str, float]
    mirror: str = ""


@dataclass(frozen=True)
class Influence:
    """What becomes of one term when one tile or batch is left out, everything fitted anew.

    `effect`, `low`, `high`, `verdict` are with it; `effect_without` and so on without; None where it alone tells the term.
    """

    kind: Literal["tile", "batch"]
    code: str
    term: str
    effect: float
    low: float | None
    high: float | None
    verdict: Verdict
    effect_without: float | None
    low_without: float | None
    high_without: float | None
    verdict_without: Verdict | None


@dataclass(frozen=True)
class LackOfFit:
    """Whether the model describes the means of tiles made alike, judged by how these scatter within batches.

    `df` and `pure_df` belong to F; `settings` are the levels at which the tiles lie farthest off, by `apart` (unit of the
    response), `tiles` of them.
    """

    df: int
    pure_df: int
    F: float
    p: float
    settings: Mapping[str, Setting]
    apart: float
    tiles: int


@dataclass(frozen=True)
class SpreadGroup:
    """Tiles of one level, third or batch, and their standard deviation about the model (unit of the response)."""

    label: str
    tiles: int
    sd: float


@dataclass(frozen=True)
class Spread:
    """Whether groups of tiles scatter alike: `by` a factor's name, "predicted" or "batch".

    `p` is for this grouping alone, `p_all` corrected for all groupings looked at.
    """

    by: str
    groups: tuple[SpreadGroup, ...]
    p: float
    p_all: float


@dataclass(frozen=True)
class Said:
    """A sentence, and what it is about: "tile" K7, "batch" B4, "lack of fit" or "spread"; `size` orders the like of it."""

    kind: Literal["tile", "batch", "lack of fit", "spread"]
    code: str
    text: str
    size: float


@dataclass(frozen=True)
class Trust:
    """How far the model of one response can be trusted.

    Attributes
    ----------
    name, label, unit, spoken : str
        As in `ResponseFindings`.
    batch_word : str
    tiles, batches : tuple
    influences : tuple of Influence
        Tiles and batches that were left out and the model fitted anew: only those that a quick look found to matter.
    lack_of_fit : LackOfFit or None
        None where no tiles were made alike within batches.
    spreads : tuple of Spread
    envelope : tuple of (float, float, float)
        For each tile in order of its standardised departure: the normal quantile, and the ends between which 95 of 100
        studies put it when the model holds.
    said : tuple of Said
        Only what changes what the reader should do.
    """

    name: str
    label: str
    unit: str
    spoken: str
    batch_word: str
    tiles: tuple[TileTrust, ...]
    batches: tuple[BatchTrust, ...]
    influences: tuple[Influence, ...]
    lack_of_fit: LackOfFit | None
    spreads: tuple[Spread, ...]
    envelope: tuple[tuple[float, float, float], ...]
    said: tuple[Said, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """The sentences, the most pressing first; none when the model can be trusted as it is."""
        return tuple(one.text for one in self.said)

    def as_dict(self) -> dict[str, Any]:
        """Return all of it as plain values, ready for JSON; keys are stable."""
        fit = self.lack_of_fit
        return {
            "name": self.name,
            "label": self.label,
            "unit": self.unit,
            "tiles": [{**vars(one), "moves": dict(one.moves)} for one in self.tiles],
            "batches": [{**vars(one), "moves": dict(one.moves)} for one in self.batches],
            "influences": [dict(vars(one)) for one in self.influences],
            "lack_of_fit": None if fit is None else {**vars(fit), "settings": dict(fit.settings)},
            "spreads": [{**vars(one), "groups": [dict(vars(group)) for group in one.groups]} for one in self.spreads],
            "sentences": list(self.sentences),
        }

    def tile_table(self) -> pd.DataFrame:
        """Return one row a tile; the moves of each effect in half-widths of its range follow in columns of their own."""
        rows = [
            {
                "tile": one.tile,
                self.batch_word: one.batch,
                "observed": one.observed,
                "predicted": one.predicted,
                "residual": one.residual,
                "off_the_other_tiles": one.apart,
                "in_standard_errors": one.standardised,
                "p_corrected": one.p,
                "mirror": one.mirror,
                **{f"moves {term}": move for term, move in one.moves.items()},
            }
            for one in self.tiles
        ]
        return pd.DataFrame(rows)

    def batch_table(self) -> pd.DataFrame:
        """Return one row a batch."""
        words = f"off_the_other_{self.batch_word}s" if self.batch_word != "batch" else "off_the_other_batches"
        rows = [
            {
                self.batch_word: one.batch,
                "tiles": one.tiles,
                "luck": one.luck + 0.0,
                words: one.apart,
                "in_standard_errors": one.standardised,
                "p_corrected": one.p,
                "mirror": one.mirror,
                **{f"moves {term}": move for term, move in one.moves.items()},
            }
            for one in self.batches
        ]
        return pd.DataFrame(rows)

    def influence_table(self) -> pd.DataFrame:
        """Return one row for each term and tile or batch that was left out and all fitted anew."""
        columns = list(Influence.__dataclass_fields__)
        return pd.DataFrame([vars(one) for one in self.influences], columns=columns)

    def check_table(self) -> pd.DataFrame:
        """Return the checks of the model: lack of fit, and the scatter of each group of tiles."""
        columns = ["check", "group", "tiles", "sd", "df", "pure_df", "F", "p", "p_corrected"]
        rows: list[dict[str, Any]] = []
        if (fit := self.lack_of_fit) is not None:
            rows.append({"check": "lack of fit", "df": fit.df, "pure_df": fit.pure_df, "F": fit.F, "p": fit.p})
        for spread in self.spreads:
            for group in spread.groups:
                by = self.batch_word if spread.by == "batch" else spread.by
                what = {"check": f"scatter by {by}", "p": spread.p, "p_corrected": spread.p_all}
                rows.append({**what, "group": group.label, "tiles": group.tiles, "sd": group.sd})
        return pd.DataFrame(rows, columns=columns)
