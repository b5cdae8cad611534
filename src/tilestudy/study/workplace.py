"""What a study says of the place where it is made: room, bench, order of steps, sheets of metal, hours and hands.

Everything may be left out; what is not said is empty or None. Lengths in mm, volumes in m3, times in minutes.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import time
from typing import Literal

Grain = Literal["along", "across", "any"]


@dataclass(frozen=True)
class Room:
    """Where the work is done: its volume (m3), how many people are in it, whether extraction runs."""

    m3: float | None = None
    people: int | None = None
    extraction: bool | None = None


@dataclass(frozen=True)
class Added:
    """A further thing in every bath, beside what the process says: `amount` in `unit` ("g/L", "mL/L", "%"), or None."""

    what: str
    amount: float | None = None
    unit: str = ""


@dataclass(frozen=True)
class BenchStep:
    """One step that a tile goes through, in order; or, with `do` "keep", a thing used or stored nearby.

    Attributes
    ----------
    do : str
        An id of the trade's bench steps: "pickle", "rinse", "dip", ...
    things : tuple of str
        What it is done with, as people call it: "white vinegar", "pumice".
    place : str
        Where; steps with the same place share one spot and its extraction. "" is the bench itself.
    tools : tuple of str
    bucket, jar : str
        The rinse bucket and the waste jar that it uses.
    closed : bool
        True where it is done in a closed vessel.
    """

    do: str
    things: tuple[str, ...] = ()
    place: str = ""
    tools: tuple[str, ...] = ()
    bucket: str = ""
    jar: str = ""
    closed: bool = False


@dataclass(frozen=True)
class SignOff:
    """A hazard finding that a person answers for: the rule's id, initials or a mark, and the reason."""

    rule: str
    by: str
    reason: str


@dataclass(frozen=True)
class Sheet:
    """Sheets or offcuts of one size to cut tiles from.

    Attributes
    ----------
    mm : (float, float)
        Length and width.
    count : int
    lot : str
        Sheet lot, or "" for the study's own.
    grain : "along", "across" or "any"
        Whether the rolling marks run along the first side, across it, or do not show.
    price : float or None
        Of one sheet, in the money of `Cutting`.
    offcut : bool
        True for a left-over: it is used up first.
    """

    mm: tuple[float, float]
    count: int = 1
    lot: str = ""
    grain: Grain = "any"
    price: float | None = None
    offcut: bool = False


@dataclass(frozen=True)
class Cutting:
    """How tiles are cut.

    Attributes
    ----------
    kerf_mm : float
        What a cut takes away (0 for shears).
    trim_mm : float
        What is cut off each edge of a whole sheet first.
    grain : "along", "across" or "any"
        Whether the grain runs along the tile's height (its second side), across it, or does not matter.
    money : str
        What prices are in, "EUR"; may be "".
    """

    kerf_mm: float = 0.0
    trim_mm: float = 0.0
    grain: Grain = "any"
    money: str = ""


@dataclass(frozen=True)
class Hours:
    """The class slot: when it starts, pairs of hands, and minutes to prepare and to clear up (None: those of the process)."""

    start: time | None = None
    hands: int = 1
    prepare: float | None = None
    clear_up: float | None = None


@dataclass(frozen=True)
class Workplace:
    """All of it. An empty `sequence` takes the order of steps of the process file."""

    room: Room = Room()
    added: tuple[Added, ...] = ()
    sequence: tuple[BenchStep, ...] = ()
    nearby: tuple[BenchStep, ...] = ()
    signed: tuple[SignOff, ...] = ()
    sheets: tuple[Sheet, ...] = ()
    cutting: Cutting = Cutting()
    hours: Hours = Hours()
