"""The mixing of a plan: the volume, stocks where weighing each bath by itself is too coarse, every bath's lines, what to buy."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from tilestudy.errors import WrongRequestError
from tilestudy.study.at_hand import AtHand
from tilestudy.study.language import capital
from tilestudy.study.records import Batch, Plan, Study, tiles_that_count
from tilestudy.study.units import show, show_settings
from tilestudy.trade.amounts.buying import Buy, to_buy
from tilestudy.trade.amounts.lines import Line
from tilestudy.trade.amounts.notes import handling, making_notes, part_notes
from tilestudy.trade.amounts.part_plan import levels_of, plan_part
from tilestudy.trade.amounts.recipe import LITRE_UNITS, Part, order, recipe
from tilestudy.trade.amounts.volume import Volume, bath_volume, volume_words
from tilestudy.trade.library import Library, Process

_TILES = 12
"""Tiles of a batch where no plan tells (common practice: 12 to 20 in a class)."""


@dataclass(frozen=True)
class Mix:
    """What goes into one bath, or into one stock: its code ("B3", "stock 1"), session, settings in words, and lines."""

    code: str
    session: int
    settings: str
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Mixing:
    """All of it.

    Attributes
    ----------
    study : str
    word : str
        What the bench calls a batch.
    volume : Volume or None
        Of one bath; None where nothing is mixed.
    stocks, batches : tuple of Mix
        In the order of making.
    buy : tuple of Buy
    steps, told : tuple of (int, str)
        How to mix; what the person should know before mixing; each with the session that it is about, or 0 for all.
    """

    study: str
    word: str
    volume: Volume | None
    stocks: tuple[Mix, ...]
    batches: tuple[Mix, ...]
    buy: tuple[Buy, ...]
    steps: tuple[tuple[int, str], ...]
    told: tuple[tuple[int, str], ...]

    @property
    def how(self) -> tuple[str, ...]:
        """How to mix: from the process, then what is added to what, then the handling of stocks; each sentence once."""
        return tuple(dict.fromkeys(text for _, text in self.steps))

    @property
    def notes(self) -> tuple[str, ...]:
        """What to know before mixing, each sentence once."""
        return tuple(dict.fromkeys(text for _, text in self.told))

    def lines(self, code: str) -> tuple[Line, ...]:
        """Return the lines of a batch; none for a batch that is not there."""
        return next((one.lines for one in self.batches if one.code == code), ())

    def session(self, number: int) -> Mixing:
        """Return the mixing of one session; what to buy stays that of the whole study."""
        here = [tuple(one for one in many if one.session == number) for many in (self.stocks, self.batches)]
        steps, told = (tuple(one for one in many if one[0] in (0, number)) for many in (self.steps, self.told))
        return replace(self, stocks=here[0], batches=here[1], steps=steps, told=told)

    def as_dict(self) -> dict[str, Any]:
        """Return it with stable keys."""

        def mixes(many: Sequence[Mix], code: str) -> list[dict[str, Any]]:
            return [
                {
                    code: one.code,
                    "session": one.session,
                    "settings": one.settings,
                    "lines": [{key: _plain(value) for key, value in vars(line).items()} for line in one.lines],
                }
                for one in many
            ]

        return {
            "study": self.study,
            "volume_ml": self.volume.ml if self.volume else None,
            "stocks": mixes(self.stocks, "stock"),
            "batches": mixes(self.batches, "batch"),
            "buy": [{key: _plain(value) for key, value in vars(one).items()} for one in self.buy],
            "how": list(self.how),
            "notes": list(self.notes),
        }


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 6) if math.isfinite(value) else None
    return value


def mixing(study: Study, plan: Plan, library: Library, at_hand: AtHand) -> Mixing:
    """Work out how all baths of a plan are mixed.

    Examples
    --------
    >>> from tilestudy.study.records import Factor, Tile
    >>> from tilestudy.trade.library import BUILT_IN
    >>> strength = Factor("strength", (1.0, 3.0), "g/L", "g/L", "geometric", "batch", "weighed")
    >>> plaques = Study("s", "", "sulfide-dip", (strength,), batch_litres=0.1)
    >>> plan = Plan("s", 1, (Batch("B1", 1, 1, {"strength": 1.0}),), (Tile("K7", "B1", 1, 1, {"strength": 1.0}),))
    >>> found = mixing(plaques, plan, BUILT_IN, AtHand())
    >>> [one.lines[0].text for one in found.stocks]
    ['Potassium polysulfide (concentrate, solid): 1 g, in water to make 100 mL, for 10 g/L.']
    >>> found.lines("B1")[0].text
    'Potassium polysulfide (concentrate, solid): 10 mL (about 2 tsp) of stock 1, in water to make 100 mL, for 1 g/L.'
    """
    plan = tiles_that_count(plan)
    tiles = [sum(tile.batch == batch.code for tile in plan.tiles) for batch in plan.batches]
    return _mixing(study, plan.batches, max(tiles, default=1), library, at_hand)


def amounts(study: Study, library: Library, batch: Batch, at_hand: AtHand) -> tuple[Line, ...]:
    """Return the lines of one batch made by itself: those of its stock, where it needs one, then its own.

    >>> from tilestudy.study.records import Factor
    >>> from tilestudy.trade.library import BUILT_IN
    >>> strength = Factor("strength", (1.0, 3.0), "g/L", "g/L", "geometric", "batch", "weighed")
    >>> plaques = Study("s", "", "sulfide-dip", (strength,), batch_litres=0.5)
    >>> amounts(plaques, BUILT_IN, Batch("B1", 1, 1, {"strength": 3.0}), AtHand())[0].text
    'Potassium polysulfide (concentrate, solid): 1.5 g, in water to make 0.5 L, for 3 g/L.'
    """
    found = _mixing(study, (batch,), study.limits.tiles_per_batch or _TILES, library, at_hand)
    stocks = [replace(line, text=f"{capital(one.code)}: {line.text}") for one in found.stocks for line in one.lines]
    return (*stocks, *found.lines(batch.code))


def _mixing(study: Study, batches: Sequence[Batch], tiles: int, library: Library, at_hand: AtHand) -> Mixing:
    process = library.process(study.process)
    parts = recipe(study, library, at_hand)
    word = study.batch_word or process.batch_word
    measured = [part for part in parts if part.unit in LITRE_UNITS]
    volume = None
    if measured or study.batch_litres is not None:
        volume = bath_volume(study, tiles, at_hand, dipped=_dipped(study, process))
    told = [(0, text) for text in volume.notes] if volume else []
    steps = [(0, text) for text in (*process.data.get("mix", {}).get("lines", ()), *order(parts))]
    if not parts and process.wet:
        told.append(
            (
                0,
                f"The process names nothing that goes into a {word}. Write what yours takes under [[ingredient]] of study.toml.",
            )
        )
    stocks: list[Mix] = []
    lines: dict[str, list[Line]] = {batch.code: [] for batch in batches}
    buy: list[Buy] = []
    for part in parts:
        try:
            plan = plan_part(part, batches, volume, at_hand, alone=len(parts) == 1)
        except WrongRequestError as error:
            plan = None
            told.append((0, str(error)))
        if plan is None:
            for batch in batches:
                lines[batch.code] += _unmeasured(part, batch)
            continue
        ml = volume.ml if volume else 0.0
        for making, held in plan.makings:
            stock = making.stock
            label = f"stock {len(stocks) + 1}"
            if stock is not None:
                stocks.append(
                    Mix(label, held[0].session, "", (plan.line(stock, making, part, ml, at_hand, label, word),))
                )
            notes = making_notes(part, making, plan.strengths, levels_of(part), ml, at_hand, word)
            told += [(held[0].session, text) for text in notes]
            steps += [(held[0].session, text) for text in handling(part, making, ml=ml, word=word, stock=label)]
            for batch in held:
                vessel = next((one for one in making.baths if one.code == batch.code), None)
                if vessel is not None:
                    lines[batch.code].append(plan.line(vessel, making, part, ml, at_hand, label, word))
                elif part.strength(batch) == 0:
                    lines[batch.code].append(Line(f"{capital(part.name)}: none of it.", "", part.name, 0.0))
        told += [(0, text) for text in part_notes(part, [one for one, _ in plan.makings], levels_of(part), ml, at_hand)]
        buy.append(to_buy(part, [making for making, _ in plan.makings], ml, word))
    if volume and len(parts) > 1 and measured:
        for one in lines.values():
            one.append(Line(f"Fill up with water to {volume_words(volume.ml)}.", "", "", None, "", "", volume.ml))
        told += [(0, text) for text in _overfull(lines, volume, word)]
    return Mixing(
        study.name,
        word,
        volume,
        tuple(stocks),
        tuple(
            Mix(batch.code, batch.session, show_settings(batch.settings, study), tuple(lines[batch.code]))
            for batch in batches
        ),
        tuple(buy),
        tuple(steps),
        tuple(told),
    )


def _unmeasured(part: Part, batch: Batch) -> list[Line]:
    """The line of a part that is not measured out for a volume."""
    name = capital(part.name)
    if part.factor is None:
        much = f" {part.written(part.amount)}" if part.amount is not None else " as your recipe says"
        return [Line(f"{name}:{much}.", "Write down how much went in.", part.name)]
    setting = batch.settings.get(part.factor.name)
    if setting is None:
        return []
    return [Line(f"{name}: {show(setting, part.factor)}.", "Write down how that was measured.", part.name)]


def _dipped(study: Study, process: Process) -> bool:
    """Whether tiles hang in the bath: the bench's order of steps has a dip."""
    steps = [step.do for step in study.workplace.sequence] or [one["do"] for one in process.data.get("sequence", ())]
    return "dip" in steps


def _overfull(lines: dict[str, list[Line]], volume: Volume, word: str) -> list[str]:
    """Say when what is poured together is more than the bath."""
    over = [
        code
        for code, many in lines.items()
        if sum(line.amount or 0.0 for line in many if line.unit == "mL") > volume.ml * 1.001
    ]
    if not over:
        return []
    return [
        f"In {word} {', '.join(over)} what is poured in is more than {volume_words(volume.ml)}: start from stronger bottles, or "
        "lower the strengths."
    ]
