"""How far the model of one response can be trusted: tiles and batches that lie far off or carry a finding alone, lack of
fit, uneven scatter.

A sentence is made only where it changes what the reader should do; everything else stays in the tables. The rules:

- A **tile lies far off** when a shift of that tile alone, tested by Kenward & Roger's F among all tiles, has a corrected p
  (Bonferroni: times the number of tiles) of at most `TILE_ALPHA`.
- A **batch lies far off** when the same holds of a batch among the batches, at `BATCH_ALPHA`; at `PAIR_ALPHA` where batches come
  in twos, of which each is the other's only check: they are few, and the test is timid then.
- A tile or batch **carries a finding alone** when all of `drivers`, done anew without it, no longer calls a driver what it
  called one, or turns its direction, and the effect moves by a good part (`CARRIES`) of the half-width of its range.
- **Lack of fit** is told at p of at most `CHECK_ALPHA` when the tiles lie off by what matters; **uneven scatter** at the same
  (corrected for all groupings looked at) when the noisier group scatters by what matters, and clearly more than the calmer.

The last two are asked without the tiles that lie far off, which would answer for all the others. How often each speaks where
all is well was simulated: docs/explanation/trust.md.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pandas as pd
from scipy.special import ndtri

from tilestudy.analysis.findings import ResponseFindings, ResponseSpec
from tilestudy.analysis.mixed import Array, MixedFit, fit_mixed
from tilestudy.analysis.naming import Show, show_plainly
from tilestudy.analysis.trust import wording as trust_wording
from tilestudy.analysis.trust.checks import lack_of_fit, spreads
from tilestudy.analysis.trust.influence import Asked, Shift, carries, moved_by, moves, shifts, suspects, without
from tilestudy.analysis.trust.records import (
    BatchTrust,
    Said,
    Spread,
    SpreadGroup,
    TileTrust,
    Trust,
)
from tilestudy.analysis.trust.residuals import Departures, Residuals
from tilestudy.analysis.usable import usable
from tilestudy.errors import NotEnoughError
from tilestudy.study.records import Factor

TILE_ALPHA = 0.005
BATCH_ALPHA, PAIR_ALPHA = 0.02, 0.05
CHECK_ALPHA = 0.01

DRAWS = 999
"""Studies drawn, in which the model holds, to compare the scatter with."""

# standard errors from which a shift is worth testing; the departures of few batches are never large
_ASK_TILE, _ASK_BATCH = 2.5, 1.2


def trust(
    found: ResponseFindings,
    frame: pd.DataFrame,
    factors: Sequence[Factor],
    response: ResponseSpec,
    *,
    rng: np.random.Generator,
    show: Show = show_plainly,
    batch_word: str = "batch",
    level: float = 0.95,
    study: str = "NAME",
) -> Trust | None:
    """Find out how far the model of a response can be trusted.

    Parameters
    ----------
    found : ResponseFindings
        Of the very same frame, factors and response.
    frame, factors, response, show, batch_word, level, study
        As given to `tilestudy.analysis.drivers.analyse`.
    rng : Generator
        For the studies drawn to compare the scatter with.

    Returns
    -------
    Trust or None
        None where the model leaves nothing to look at: every value the same, no noise seen, or rub grades, whose linear
        model is a working approximation.

    Examples
    --------
    >>> from tilestudy.analysis.drivers import analyse
    >>> from tilestudy.analysis.findings import colour_spec
    >>> tiles = pd.DataFrame({"tile": [f"T{i}" for i in range(16)], "batch": list("1122334411223344"), "session": 1,
    ...     "dip_time": [10.0, 90.0] * 8, "y": [50.0, 42, 51, 43, 49, 41, 50, 42, 50.5, 42.4, 51, 42, 49, 41.5, 50, 70]})
    >>> dip_time, spec = Factor("dip_time", (10.0, 90.0), "s", "s"), colour_spec("L")
    >>> found = analyse(tiles, [dip_time], spec, batch_word="bath")
    >>> trust(found, tiles, [dip_time], spec, rng=np.random.default_rng(1), batch_word="bath").sentences[0]
    'Tile T15 (bath 4) came out 28.1 L* lighter (26.5 to 29.6) than its settings and its bath say: check its reading and its \
record (tilestudy history NAME T15). Only if they show a fault, mark it spoiled (tilestudy made NAME T15 --spoiled); without \
it dip time would be called a driver.'
    """
    if found.fit is None or found.fit.perfect or found.fit.no_residual or response.kind == "grade":
        return None
    data = usable(frame, factors, response, study)
    case = _Case(found, data, factors, response, show, batch_word, level, study)
    return case.trust(rng)


@dataclass(frozen=True)
class _Case(Asked):
    """How the trust in one response is put together."""

    def trust(self, rng: np.random.Generator) -> Trust:
        found, rows = self.found, self.data.rows
        X = found.model.matrix(rows)
        z = (rows["y"].to_numpy(dtype=float) - found.shift) / found.scale
        plain = self._residuals(z, X)
        tile, batch = rows["tile"].astype(str).tolist(), rows["batch"].astype(str).tolist()
        tiles, batches = plain.departures(tile), plain.departures(batch)
        tile_p = shifts(self, z, X, tile, tiles, np.abs(tiles.t) >= _ASK_TILE)
        seems = np.abs(batches.standardised) >= _ASK_BATCH
        batch_p = shifts(self, z, X, batch, batches, seems) if 2 < len(batches.codes) < len(tiles.codes) else {}
        off = [code for code, one in tile_p.items() if one.p <= TILE_ALPHA]
        off = [code for code in off if (other := tiles.mirror(code)) not in off or code < other]
        spoiled = [
            code for code, one in batch_p.items() if one.p <= (PAIR_ALPHA if batches.mirror(code) else BATCH_ALPHA)
        ]
        spoiled = [code for code in spoiled if (other := batches.mirror(code)) not in spoiled or code < other]

        extra = np.array([[float(one == code) for code in off] for one in tile]).reshape(len(tile), len(off))
        cleaned = self._cleaned(z, np.hstack([X, extra])) if off else plain
        if cleaned is None:  # without them nothing would be left to look at
            cleaned, extra = plain, extra[:, :0]
        clean = tiles if cleaned is plain else cleaned.departures(tile)
        drawn = cleaned.simulated(clean, rng, DRAWS)
        moved = {"tile": moves(found, tiles), "batch": moves(found, batches)}
        influences = [
            one
            for code in suspects(found, tiles, moved["tile"], _with_mirrors(tiles, off))
            for one in without(self, "tile", code)
        ] + [
            one
            for code in suspects(found, batches, moved["batch"], _with_mirrors(batches, spoiled))
            for one in without(self, "batch", code)
        ]
        fit = lack_of_fit(found.model, rows, z, extra)
        trusted = Trust(
            name=found.name,
            label=found.label,
            unit=found.unit,
            spoken=found.spoken or found.label,
            batch_word=self.word,
            tiles=self._tiles(plain, tiles, tile_p, moved["tile"]),
            batches=self._batches(plain, batches, batch_p, moved["batch"]),
            influences=tuple(influences),
            lack_of_fit=None if fit is None else replace(fit, apart=fit.apart * found.scale),
            spreads=self._spreads(cleaned, clean, drawn),
            envelope=_envelope(tiles, plain.simulated(tiles, rng, DRAWS) if off else drawn),
            said=(),
        )
        return replace(trusted, said=tuple(self._said(trusted, tile_p, batch_p, off, spoiled)))

    # --- numbers ---------------------------------------------------------------------------------------------------------

    def _residuals(self, z: Array, X: Array, fit: MixedFit | None = None) -> Residuals:
        """The left-over at the variance ratios of a fit, that of the findings where none is given."""
        variance = (fit or self.fit).variance
        groups = self.groups()
        ratio = {name: variance.get(name, 0.0) / variance["residual"] for name in groups}
        return Residuals(z, X, groups, ratio)

    def _cleaned(self, z: Array, X: Array) -> Residuals | None:
        """The left-over with further columns, fitted anew; None where they leave no noise."""
        try:
            fit = fit_mixed(z, X, self.groups())
        except NotEnoughError:
            return None
        return None if fit.perfect or fit.no_residual else self._residuals(z, X, fit)

    def _tiles(
        self, plain: Residuals, one: Departures, off: Mapping[str, Shift], moved: list[dict[str, float]]
    ) -> tuple[TileTrust, ...]:
        found, rows = self.found, self.data.rows
        predicted = found.shift + found.scale * plain.predicted(without="tile")
        by_tile = pd.DataFrame(
            {"tile": rows["tile"].astype(str), "batch": rows["batch"].astype(str), "y": rows["y"], "p": predicted}
        )
        told = []
        for i, (code, its) in enumerate(by_tile.groupby("tile", sort=False)):
            seen, expected = float(its["y"].mean()), float(its["p"].mean())
            known = bool(one.told[i])
            told.append(
                TileTrust(
                    str(code), str(its["batch"].iloc[0]), expected, seen, seen - expected,
                    found.scale * float(one.apart[i]) if known else None,
                    float(one.standardised[i]) if known else None,
                    off[str(code)].p if str(code) in off else None, moved[i], one.mirror(str(code)),
                )
            )  # fmt: skip
        return tuple(told)

    def _batches(
        self, plain: Residuals, one: Departures, off: Mapping[str, Shift], moved: list[dict[str, float]]
    ) -> tuple[BatchTrust, ...]:
        found = self.found
        luck = plain.luck("batch") if "batch" in plain.Z else {}
        tiles = self.data.tiles.assign(batch=self.data.tiles["batch"].astype(str))
        told = []
        for i, code in enumerate(one.codes):
            known = bool(one.told[i]) and len(one.codes) > 1
            told.append(
                BatchTrust(
                    code, int((tiles["batch"] == code).sum()), found.scale * luck.get(code, 0.0),
                    found.scale * float(one.apart[i]) if known else None,
                    float(one.standardised[i]) if known else None,
                    off[code].p if code in off else None, moved[i], one.mirror(code),
                )
            )  # fmt: skip
        return tuple(told)

    def _spreads(self, plain: Residuals, one: Departures, drawn: Array) -> tuple[Spread, ...]:
        """Compare the scatter at the levels of each factor, over the predicted values, and between batches."""
        found, told = self.found, one.told
        tiles = self.data.tiles[told]
        if len(tiles) < 8:
            return ()
        groupings: dict[str, list[str]] = {}
        for name, coding in found.model.codings.items():
            levels = [coding.levels[i] for i in coding.nearest(tiles[name].tolist())]
            groupings[name] = [self.show(level, coding.factor) for level in levels]
        predicted = found.shift + found.scale * plain.X @ plain.beta
        first = self.data.rows.assign(predicted=predicted).groupby("tile", sort=False)["predicted"].mean()
        expected = first.to_numpy()[told]
        half = float(np.median(expected))
        groupings["predicted"] = ["upper half" if one >= half else "lower half" for one in expected]
        if tiles["batch"].nunique() > 1:
            groupings["batch"] = tiles["batch"].astype(str).tolist()
        rows_each = len(self.data.rows) / len(self.data.tiles)
        noise = plain.variance * (plain.ratio.get("tile", 0.0) + 1.0 / rows_each)
        return spreads(groupings, one.standardised[told], drawn[:, told], found.scale * float(np.sqrt(noise)))

    # --- what is worth saying ----------------------------------------------------------------------------------------------

    def _said(
        self,
        trusted: Trust,
        tile_shift: Mapping[str, Shift],
        batch_shift: Mapping[str, Shift],
        off: Sequence[str],
        spoiled: Sequence[str],
    ) -> list[Said]:
        by_name = {factor.name: factor for factor in self.factors}
        several = self.data.count("batch") > 1
        words = trust_wording.Words(self.spec, by_name, self.show, self.word, self.study, several)
        terms = {term.term: term for term in self.found.terms}
        said: list[Said] = []
        done: set[tuple[str, str]] = set()
        tiles = {one.tile: one for one in trusted.tiles}
        batches = {one.batch: one for one in trusted.batches}
        far: tuple[tuple[Literal["batch", "tile"], Sequence[str], Mapping[str, Shift]], ...] = (
            ("batch", spoiled, batch_shift),
            ("tile", off, tile_shift),
        )
        for kind, codes, shift in far:
            all_of_them: Mapping[str, BatchTrust | TileTrust] = batches if kind == "batch" else tiles
            for code in sorted(codes, key=lambda code: -abs(all_of_them[code].standardised or 0.0)):
                one = all_of_them[code]
                gained, lost = self._changed(trusted, kind, code)
                if one.mirror:  # nobody can tell which of the two is off: only what holds without either
                    both = self._changed(trusted, kind, one.mirror)
                    gained, lost = (
                        [t for t in mine if t in its] for mine, its in zip((gained, lost), both, strict=True)
                    )
                    text = words.either_off(kind, code, one.mirror, shift[code], gained, lost)
                elif kind == "tile":
                    text = words.tile_off(code, tiles[code].batch, shift[code], gained, lost)
                else:
                    text = words.batch_off(code, shift[code], gained, lost)
                said.append(Said(kind, code, text, abs(one.standardised or 0.0)))
                done |= {(kind, code), (kind, one.mirror)}
        for kind, code in dict.fromkeys((one.kind, one.code) for one in trusted.influences):
            its = [one for one in trusted.influences if (one.kind, one.code) == (kind, code)]
            carried = [one for one in its if carries(one)]
            alone = [one for one in its if one.verdict in ("drives", "may drive") and one.effect_without is None]
            if carried and (kind, code) not in done:
                said.append(Said(kind, code, words.carries(carried, terms), max(moved_by(one) for one in carried)))
            elif alone and kind == "tile" and tiles[code].apart is None:
                said.append(Said(kind, code, words.alone(code, [terms[one.term] for one in alone]), 1.0))
        fit, matters = trusted.lack_of_fit, self.spec.smallest_that_matters or 0.0
        uneven = [one for one in trusted.spreads if _uneven(one, matters)]
        if fit is not None and fit.p <= CHECK_ALPHA and abs(fit.apart) >= matters:
            said.append(Said("lack of fit", "", words.lack_of_fit(fit), abs(fit.apart)))
        elif uneven:  # a model that does not fit scatters unevenly for that reason alone
            calm, wild = _ends(uneven[0])
            said.append(Said("spread", uneven[0].by, words.spread(uneven[0], calm, wild), wild.sd))
        return said

    def _changed(self, trusted: Trust, kind: str, code: str) -> tuple[list[str], list[str]]:
        """Terms that would newly be called drivers without that tile or batch, and those that no longer would."""
        its = [one for one in trusted.influences if one.kind == kind and one.code == code]
        gained = [one.term for one in its if one.verdict != "drives" and one.verdict_without == "drives"]
        return gained, [one.term for one in its if carries(one)]


def _with_mirrors(one: Departures, codes: Sequence[str]) -> list[str]:
    return [each for code in codes for each in (code, one.mirror(code)) if each]


def _ends(spread: Spread) -> tuple[SpreadGroup, SpreadGroup]:
    """Return the calmest and the noisiest group."""
    by_sd = sorted(spread.groups, key=lambda group: group.sd)
    return by_sd[0], by_sd[-1]


def _uneven(spread: Spread, matters: float) -> bool:
    calm, wild = _ends(spread)
    return spread.p_all <= CHECK_ALPHA and wild.sd >= 1.5 * calm.sd and 2.0 * wild.sd >= matters


def _envelope(one: Departures, drawn: Array) -> tuple[tuple[float, float, float], ...]:
    """For each tile in order: the normal quantile, and the ends between which 95 of 100 drawn studies put it."""
    k = int(one.told.sum())
    if not k:
        return ()
    ordered = np.sort(drawn[:, one.told], axis=1)
    low, high = np.quantile(ordered, [0.025, 0.975], axis=0)
    normal = ndtri((np.arange(1, k + 1) - 0.375) / (k + 0.25))
    return tuple(zip(normal.tolist(), low.tolist(), high.tolist(), strict=True))
