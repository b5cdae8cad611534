"""Which settings most probably give the wanted colour AND survive, over the studied region only.

Settings are ranked by the chance that one new tile from a new batch is right (`tilestudy.analysis.choice.chance`), with one set of
plausible truths; the chances told are then reckoned with a fresh set, so that the best is not the luckiest draw. Alternatives
are settings that differ from those before them by a quarter of some factor's span at least. The price of each wish is the best
chance there would be with that wish relaxed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from tilestudy.analysis.choice.chance import Judge, Right, colour_chance, in_100, in_range, normal_nodes, right_share
from tilestudy.analysis.choice.colours import ColourModel, fit_colours
from tilestudy.analysis.choice.region import candidates, code, gap
from tilestudy.analysis.colour.path import Stages
from tilestudy.analysis.mixed import Array
from tilestudy.analysis.model import CodedModel
from tilestudy.colour.difference import lab_of
from tilestudy.colour.names import name_of
from tilestudy.errors import NotEnoughError
from tilestudy.study.records import Lab, Setting, Study

DISTINCT = 0.25
"""Least difference of an alternative, as a share of some factor's span."""

MOST_OPTIONS = 3
_LOOK, _TELL = 300, 600
_SHORT_LIST = 40
_ROUGH_NODES, _MORE_NODES, _NODES = 6, 24, 64


@dataclass(frozen=True)
class Option:
    """Settings, and what one new tile made so in a new batch would be.

    Attributes
    ----------
    settings : mapping of str to float or str
        By factor, stored units.
    chance, low, high : float
        Chance of being right, with its 90 % range.
    colour, durable : float or None
        Chance of the right colour, and of passing the rub test; None where that is not asked for.
    lab : (float, float, float) or None
        Predicted mean colour.
    lab_low, lab_high : (float, float, float) or None
        90 % range of L*, a* and b* of one new tile, each by itself.
    off : float or None
        How far the predicted mean colour is off (CIEDE2000, or L* above the darkest).
    chances : tuple of float
        21 evenly spread plausible values of the chance.
    """

    settings: Mapping[str, Setting]
    chance: float
    low: float
    high: float
    colour: float | None
    durable: float | None
    lab: Lab | None
    lab_low: Lab | None
    lab_high: Lab | None
    off: float | None
    chances: tuple[float, ...] = ()

    def chance_told(self, verb: str = "") -> str:
        """Say the chance: "67 of 100 such tiles are right (90 % range 31 to 92)"."""
        right = f"{verb} right" if verb else "right"
        return f"{in_100(self.chance)} of 100 such tiles {right} (90 % range {in_100(self.low)} to {in_100(self.high)})"

    def colour_told(self) -> str:
        """Say the colour to expect: "dark greyish brown, L* 23 (single tiles 20 to 26)"; "" where none is predicted."""
        if self.lab is None or self.lab_low is None or self.lab_high is None:
            return ""
        ends = f"{self.lab_low[0]:.0f} to {self.lab_high[0]:.0f}"
        return f"{name_of(self.lab)}, L* {self.lab[0]:.0f} (single tiles {ends})"

    def as_dict(self) -> dict[str, Any]:
        """Return the option as plain values, ready for JSON."""
        return {
            "settings": dict(self.settings),
            "chance": self.chance,
            "low": self.low,
            "high": self.high,
            "colour": self.colour,
            "durable": self.durable,
            "lab": None if self.lab is None else list(self.lab),
            "lab_low": None if self.lab_low is None else list(self.lab_low),
            "lab_high": None if self.lab_high is None else list(self.lab_high),
            "off": self.off,
        }


@dataclass(frozen=True)
class Price:
    """The best chance there would be if one wish were relaxed, and where."""

    tolerance: float
    passing: float | None
    chance: float
    settings: Mapping[str, Setting]


@dataclass(frozen=True)
class Evidence:
    """What settings are chosen from: the tiles' colours and their model, and a judge for each rub condition.

    Attributes
    ----------
    study : Study
    tiles : frame
        One row a tile: tile, batch, session, each factor, and L, a, b where a colour is wanted.
    model : CodedModel
        Of the colours, or of the first rub condition where no colour is wanted.
    right : Right
    judges : mapping of str to (CodedModel, Judge)
        By rub condition.
    along : Stages or None
        The path through the tiles' colours.
    error : float or None
        Median CIEDE2000 error of the colour measurement itself.
    """

    study: Study
    tiles: pd.DataFrame
    model: CodedModel
    right: Right
    judges: Mapping[str, tuple[CodedModel, Judge]] = field(default_factory=dict)
    along: Stages | None = None
    error: float | None = None


class Chooser:
    """Reckons chances at settings, from evidence and a source of random numbers."""

    def __init__(self, evidence: Evidence, rng: np.random.Generator) -> None:
        self.evidence, self.rng = evidence, rng
        self.fit: ColourModel | None = None
        model = evidence.model
        rows = model.matrix(evidence.tiles)
        self.settings = candidates(evidence.study, model, evidence.tiles, rows)
        self.rows = code(model, self.settings)
        self.right = evidence.right
        if self.right.asks_colour:
            # "as dark as possible" compares tiles with tiles, which share the error: only a wanted colour meets it
            error = None if self.right.lab is None else evidence.error
            self.fit = fit_colours(evidence.tiles, model, luck(evidence.tiles), evidence.along, error)
            if self.right.lab is None:
                self.right = replace(self.right, darkest=float(self.fit.mean(self.rows)[:, 0].min()))
        self._coded = self._for_judges(self.settings)
        self._look = None if self.fit is None else self.fit.truths(rng, _LOOK)
        self._tell = None if self.fit is None else self.fit.truths(rng, _TELL)
        self._off: Array | None = None  # how far rough new tiles are off, (n, m, nodes): the same for every tolerance
        if self._look is not None:
            nodes = normal_nodes(rng, _ROUGH_NODES)
            off = [self.right.off(self._look.new_tiles(row, nodes)) for row in self.rows]
            self._off = np.asarray(np.stack(off, axis=1))

    def _for_judges(self, settings: Sequence[Mapping[str, Setting]]) -> list[Array]:
        """Code settings as each judge has them: (m, p), without the constant."""
        return [code(model, settings)[:, 1:] for model, _ in self.evidence.judges.values()]

    def _durable(self, coded: Sequence[Array], right: Right, many: int) -> Array:
        """Chance of passing every rub condition, in `many` plausible truths: (many, m); 1 where none is asked for."""
        if right.passing is None or not coded:
            return np.ones((many, 1))
        judges = [judge for _, judge in self.evidence.judges.values()]
        parts = [
            judge.pass_draws(rows, right.passing, self.rng, many) for judge, rows in zip(judges, coded, strict=True)
        ]
        return np.asarray(np.prod(parts, axis=0))

    def ranked(self, right: Right) -> tuple[Array, list[int]]:
        """Return the rough chance at every candidate (m,), and the candidates' places from the best on."""
        places = list(range(len(self.settings)))
        colour = np.ones((_LOOK, len(places))) if self._off is None else (self._off <= right.tolerance).mean(axis=2)
        mean = (colour * self._durable(self._coded, right, _LOOK)).mean(axis=0)
        return mean, self._in_order(mean, places, right)

    def _in_order(self, chance: Array, places: Sequence[int], right: Right) -> list[int]:
        """Order candidates by their chances; where all is equally (un)likely, the one predicted nearest comes first."""
        near = np.zeros(len(chance)) if self.fit is None else right.off(self.fit.mean(self.rows[places]))
        return [places[i] for i in np.lexsort((near, -np.round(chance, 3)))]

    def options(self, settings: Sequence[Mapping[str, Setting]], right: Right) -> list[Option]:
        """Tell what one new tile in a new batch would be at each of these settings."""
        durable = self._durable(self._for_judges(settings), right, _TELL)
        colour: Array | None = None
        labs: Array | None = None
        span: Array | None = None
        if self._tell is not None and self.fit is not None:
            rows, nodes = code(self.evidence.model, settings), normal_nodes(self.rng, _NODES)
            tiles = [self._tell.new_tiles(row, nodes) for row in rows]
            colour = np.stack([right_share(one, right) for one in tiles], axis=1)
            labs = self.fit.mean(rows)
            span = np.stack([np.quantile(one, [0.05, 0.95], axis=(0, 1)) for one in tiles], axis=1)
        both = np.ones((_TELL, len(settings))) * durable if colour is None else colour * durable
        found = []
        for j, one in enumerate(settings):
            chance = float(both[:, j].mean())
            low, high = in_range(both[:, j])
            found.append(
                Option(
                    settings=one,
                    chance=chance,
                    low=min(low, chance),
                    high=max(high, chance),
                    colour=None if colour is None else float(colour[:, j].mean()),
                    durable=float(durable[:, j].mean()) if self._coded and right.passing is not None else None,
                    lab=None if labs is None else lab_of(labs[j]),
                    lab_low=None if span is None else lab_of(span[0, j]),
                    lab_high=None if span is None else lab_of(span[1, j]),
                    off=None if labs is None else float(right.off(labs[j])),
                    chances=tuple(round(float(p), 4) for p in np.quantile(both[:, j], (np.arange(21) + 0.5) / 21)),
                )
            )
        return found

    def best(self, many: int = MOST_OPTIONS, right: Right | None = None) -> list[Option]:
        """Return the settings most likely right, and distinct alternatives, the best first."""
        right = right or self.right
        _, order = self.ranked(right)
        short = order[:_SHORT_LIST]
        for i in order[_SHORT_LIST:]:  # keep some that differ, so that there are alternatives to tell
            if len(short) >= _SHORT_LIST + many * 4:
                break
            if all(gap(self.settings[i], self.settings[j], self.evidence.model) >= DISTINCT for j in short[::8]):
                short.append(i)
        kept: list[int] = []
        for i in self._in_order(self._middling(short, right), short, right):
            if all(gap(self.settings[i], self.settings[j], self.evidence.model) >= DISTINCT for j in kept):
                kept.append(i)
            if len(kept) == many:
                break
        return sorted(self.options([self.settings[i] for i in kept], right), key=lambda one: -one.chance)

    def _middling(self, places: Sequence[int], right: Right) -> Array:
        """Chance at these candidates, reckoned more closely than for all."""
        colour = np.ones((_LOOK, len(places)))
        if self._look is not None:
            colour = colour_chance(self._look, self.rows[places], right, normal_nodes(self.rng, _MORE_NODES))
        durable = self._durable([rows[places] for rows in self._coded], right, _LOOK)
        return np.asarray((colour * durable).mean(axis=0))

    def prices(self) -> list[Price]:
        """Return the best chance with each wish relaxed: the tolerance by half, the passing grade by half a step and one."""
        found, relaxed = [], []
        if self.right.asks_colour:
            relaxed.append(replace(self.right, tolerance=1.5 * self.right.tolerance))
        if self.right.passing is not None and self.evidence.judges:
            relaxed += [
                replace(self.right, passing=self.right.passing - less)
                for less in (0.5, 1.0)
                if self.right.passing - less >= 1.0
            ]
        for right in relaxed:
            try:
                best = self.options([self.settings[self.ranked(right)[1][0]]], right)[0]
            except NotEnoughError:
                continue  # no grade was given on one side of the relaxed one
            found.append(Price(right.tolerance, right.passing, best.chance, best.settings))
        return found


def luck(tiles: pd.DataFrame) -> dict[str, Array]:
    """Return the sources of luck among tiles: batches, and sessions where one holds several batches."""
    batch, session = (tiles[name].factorize()[0] for name in ("batch", "session"))
    several = 0 < session.max() < batch.max()
    return {"batch": batch, **({"session": session} if several else {})}
