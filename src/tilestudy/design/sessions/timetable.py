"""A timetable as records: sessions, their batches and tiles, and every event in the order of the clock.

Times are whole seconds from the start of the session.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import time
from typing import Any, Literal

Kind = Literal["prepare", "make up", "heat", "in", "out", "finish", "clear up"]
"""What is done: prepare; make up or heat a batch; a tile goes in, comes out (rinse and scrub included), is finished; clear up."""


@dataclass(frozen=True)
class Event:
    """One thing that is done.

    Attributes
    ----------
    at, lasts : int
        Seconds from the start of the session; seconds it takes.
    kind : Kind
    batch, tile : str
        Codes; "" where it is of no batch or tile.
    cycle, cycles : int
        Which time in of how many, from 1; 0 where it is no going in or coming out.
    hands : int
        The pair of hands, from 1; 0 where nobody has to stand by (an oven heating up, all of them preparing).
    """

    at: int
    lasts: int
    kind: Kind
    batch: str = ""
    tile: str = ""
    cycle: int = 0
    cycles: int = 0
    hands: int = 0


@dataclass(frozen=True)
class TileTimes:
    """When one tile goes in and comes out (each cycle), and when it is done; seconds from the start of the session.

    `order` is its place in the batch as planned. `outs` may lie long after the session for a tile that is left by itself.
    """

    tile: str
    batch: str
    order: int
    ins: tuple[int, ...]
    outs: tuple[int, ...]
    done: int

    @property
    def start(self) -> int:
        """When it first goes in."""
        return self.ins[0]


@dataclass(frozen=True)
class BatchTimes:
    """When one batch is begun (mixed or heated), ready, and when its last tile is out; its tiles in run order.

    `use_by` is the end of its life, or None where none is known.
    """

    code: str
    begun: int
    ready: int
    last_out: int
    tiles: tuple[TileTimes, ...]
    use_by: int | None = None


@dataclass(frozen=True)
class Dropped:
    """A tile that may be left out, after those before it in the list: the batch it is in, and what that costs.

    `growth` is by how much the smallest change likely seen grows at most (1.08: by 8 %), with all before it left out too.
    """

    tile: str
    batch: str
    growth: float


@dataclass(frozen=True)
class SessionTimes:
    """One class slot.

    Attributes
    ----------
    number : int
    start : time or None
        Of day; None counts from 0:00.
    ends : int
        When all is cleared up, seconds from the start.
    at_least : int
        No order of the same work could end before this.
    allowed : int or None
        Length of the slot.
    events : tuple of Event
        In the order of the clock.
    batches : tuple of BatchTimes
    may_drop : tuple of Dropped
        What to leave out first when time runs out, in order.
    says : tuple of str
        What the reader should do otherwise because of this session: it does not fit, a bath dies.
    """

    number: int
    start: time | None
    ends: int
    at_least: int
    allowed: int | None
    events: tuple[Event, ...]
    batches: tuple[BatchTimes, ...]
    may_drop: tuple[Dropped, ...] = ()
    says: tuple[str, ...] = ()

    @property
    def fits(self) -> bool:
        """True when it ends within the slot, or no slot is stated."""
        return self.allowed is None or self.ends <= self.allowed

    @property
    def tiles(self) -> dict[str, TileTimes]:
        """The tiles' times by code."""
        return {one.tile: one for batch in self.batches for one in batch.tiles}

    def clock(self, at: int, seconds: bool = True) -> str:
        """Write a time as the clock shows it, or from 0:00, without seconds rounded up; later days say so.

        >>> SessionTimes(1, time(18, 30), 0, 0, None, (), ()).clock(3725)
        '19:32:05'
        >>> SessionTimes(1, None, 0, 0, None, (), ()).clock(3725, seconds=False)
        '1:03'
        >>> SessionTimes(1, time(18, 30), 0, 0, None, (), ()).clock(36 * 3600, seconds=False)
        '06:30, 2 days later'
        """
        begin = 0 if self.start is None else self.start.hour * 3600 + self.start.minute * 60
        at = at if seconds else -(-at // 60) * 60
        days, rest = divmod(begin + at, 86400) if self.start is not None else (0, at)
        hours, left = divmod(rest, 3600)
        text = f"{hours:02d}" if self.start is not None else str(hours)
        text += f":{left // 60:02d}" + (f":{left % 60:02d}" if seconds else "")
        return text + ("" if not days else ", the next day" if days == 1 else f", {days} days later")


@dataclass(frozen=True)
class Timetable:
    """The sessions of a study by the clock.

    Attributes
    ----------
    study, word : str
        What the bench calls a batch is `word`.
    hands : int
        Pairs of hands.
    sessions : tuple of SessionTimes
        Those asked for.
    says : tuple of str
        What concerns all of it: what is made already, what the clock costs the random order.
    """

    study: str
    word: str
    hands: int
    sessions: tuple[SessionTimes, ...]
    says: tuple[str, ...] = ()

    def session(self, number: int) -> SessionTimes | None:
        """Return the session of that number, or None."""
        return next((one for one in self.sessions if one.number == number), None)

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain values with stable keys; times in seconds from the start of the session."""
        return {
            "study": self.study,
            "hands": self.hands,
            "sessions": [_session_as_dict(one) for one in self.sessions],
            "sentences": list(self.says),
        }


def _session_as_dict(session: SessionTimes) -> dict[str, Any]:
    return {
        "session": session.number,
        "start": None if session.start is None else session.start.strftime("%H:%M"),
        "ends": session.ends,
        "at_least": session.at_least,
        "allowed": session.allowed,
        "fits": session.fits,
        "batches": [
            {
                "batch": batch.code,
                "begun": batch.begun,
                "ready": batch.ready,
                "last_out": batch.last_out,
                "use_by": batch.use_by,
                "tiles": [
                    {"tile": one.tile, "order": one.order, "in": list(one.ins), "out": list(one.outs), "done": one.done}
                    for one in batch.tiles
                ],
            }
            for batch in session.batches
        ],
        "events": [
            {
                "at": one.at,
                "lasts": one.lasts,
                "what": one.kind,
                "batch": one.batch,
                "tile": one.tile,
                "cycle": one.cycle,
                "cycles": one.cycles,
                "hands": one.hands,
            }
            for one in session.events
        ],
        "may_drop": [
            {"tile": one.tile, "batch": one.batch, "growth": round(one.growth, 4)} for one in session.may_drop
        ],
        "sentences": list(session.says),
    }
