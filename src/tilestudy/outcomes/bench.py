"""What the bench page shows and answers: today, the run sheet as it goes, rub sheets, the board, and what became of an entry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Literal

from tilestudy.study.records import Lab

Status = Literal["stored", "again", "unchanged", "other", "refused"]
"""An entry was stored; had been stored before (the same id came twice); says what stands already; meets another record that
its writer had not seen; or cannot be stored."""


@dataclass(frozen=True)
class Entry:
    """One thing that somebody enters at the bench.

    Attributes
    ----------
    id : str
        Made on the device: the same entry sent twice is stored once.
    study : str
    kind : str
        "made", "batches", "colour", "values", "rub" (a row of that form), "start" or "stop" (a dip), "undo".
    cells : mapping of str to str
        Columns of the form's row, as typed; for "start" and "stop" `tile` and `cycle`, and with a stop perhaps `last`, "yes"
        or "no": out for good, or not yet, whatever was planned; for "undo" the `entry` to take back, or the `record` by its
        number. `replaced_by` = "new" has a code dealt; `made_at` and `discarded_at` = "now" are when it was entered. A cell
        left out says nothing; an empty one takes back what stood in it, if the writer `saw` that record.
    saw : int or None
        Number of the record that the writer saw standing for the same thing; 0 for none, None for not asked.
    at : datetime or None
        When it happened by the device, put right by the difference of its clock from ours; None for now.
    """

    id: str
    study: str
    kind: str
    cells: Mapping[str, str]
    saw: int | None = None
    at: datetime | None = None


@dataclass(frozen=True)
class Writer:
    """Who enters: initials or a mark, whether as keeper, and a name for the device."""

    mark: str
    keeper: bool = False
    device: str = ""


@dataclass(frozen=True)
class Answer:
    """What became of an entry.

    Attributes
    ----------
    status : Status
    says : tuple of str
        In sentences; faults where it was refused.
    record : int or None
        Number of the record that now stands.
    now : mapping of str to str
        What stands now, in the columns of the form; of a dip `tile`, `cycle`, and `started` and `stopped` (ISO, UTC).
    by : str
        And whose that is, where it may be told.
    """

    status: Status
    says: tuple[str, ...] = ()
    record: int | None = None
    now: Mapping[str, str] | None = None
    by: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return it with stable keys."""
        return {
            "status": self.status,
            "says": list(self.says),
            "record": self.record,
            "now": dict(self.now) if self.now is not None else None,
            "by": self.by,
        }


@dataclass(frozen=True)
class ToDo:
    """One thing that a day asks for.

    `kind` is "session", "bath" (near its end or past it), "colour", "values" or "rub"; `when` "late", "today", "next" (a session
    not yet begun). `session`, `batch`, `condition`, `stage` say which; `tiles` are those concerned.
    """

    study: str
    kind: Literal["session", "bath", "colour", "values", "rub"]
    title: str
    says: str
    when: Literal["late", "today", "next"]
    tiles: tuple[str, ...] = ()
    session: int = 0
    batch: str = ""
    condition: str = ""
    stage: str = ""


@dataclass(frozen=True)
class Dip:
    """One time that a tile was in: cycle from 1, times with time zone; `stopped` None while it is in."""

    cycle: int
    started: datetime
    stopped: datetime | None = None
    by: str = ""

    @property
    def seconds(self) -> float | None:
        """How long it was in; None while it is."""
        return None if self.stopped is None else (self.stopped - self.started).total_seconds()


@dataclass(frozen=True)
class Setting:
    """One setting for reading: the factor's name, its label, its text with unit ("30 s"), and the number shown."""

    name: str
    label: str
    text: str
    value: str


@dataclass(frozen=True)
class RunTile:
    """One tile of the run sheet, as it stands.

    Attributes
    ----------
    state : "to make", "in", "between", "made" or "spoiled"
        "between" after a cycle that is not the last.
    dip_seconds : float or None
        Planned time in, of each cycle; None where nothing is timed in seconds to hours.
    cycles : int
        Planned times in, 1 or more.
    start_at : str
        Clock time of the plan, or "".
    record, by : int or None, str
        The record of its making, and who entered it.
    made : mapping
        Its cells as they stand: actual settings, note, why.
    """

    code: str
    order: int
    settings: tuple[Setting, ...]
    reference: bool
    replaces: str
    state: Literal["to make", "in", "between", "made", "spoiled"]
    dip_seconds: float | None
    cycles: int
    dips: tuple[Dip, ...] = ()
    start_at: str = ""
    record: int | None = None
    by: str = ""
    made: Mapping[str, str] | None = None


@dataclass(frozen=True)
class RunBatch:
    """One bath or load of the run sheet, as it stands; times local. `use_by` is the end of its life, where that is known."""

    code: str
    settings: tuple[Setting, ...]
    tiles: tuple[RunTile, ...]
    made_at: datetime | None = None
    use_by: datetime | None = None
    discarded_at: datetime | None = None
    note: str = ""
    record: int | None = None
    by: str = ""


@dataclass(frozen=True)
class Run:
    """The run sheet of one session as it stands; `never` and `cautions` are what must be read there."""

    study: str
    title: str
    session: int
    sessions: tuple[int, ...]
    word: str
    invented: bool
    batches: tuple[RunBatch, ...]
    never: str = ""
    discard: str = ""
    spent: str = ""
    cautions: tuple[str, ...] = ()
    blocked: tuple[str, ...] = ()


@dataclass(frozen=True)
class RubTile:
    """One tile on a scorer's sheet: the scorer's own grade only. `record` is 0 where nothing stands yet."""

    code: str
    number: int
    grade: float | None = None
    strokes: int | None = None
    broke_through: bool | None = None
    record: int = 0


@dataclass(frozen=True)
class RubTask:
    """A scorer's sheet for one condition: tiles in an order of the scorer's own, blind to settings and to other scorers."""

    study: str
    title: str
    scorer: str
    condition: str
    conditions: tuple[str, ...]
    protocol: str
    steps: tuple[str, ...]
    passing: float
    tiles: tuple[RubTile, ...]
    early: tuple[str, ...] = ()
    invented: bool = False

    @property
    def done(self) -> int:
        """Tiles that the scorer has graded."""
        return sum(one.grade is not None for one in self.tiles)


@dataclass(frozen=True)
class BoardTile:
    """One swatch.

    Attributes
    ----------
    settings : tuple of Setting
        As really made, where that is known.
    colour, lab : str, Lab or None
        sRGB "#4a2c1f" ("" where it was not measured), and L*a*b*.
    grades : mapping of str to float
        Median grade under each condition of the study's own rub test, first round.
    mottle : float or None
    spoiled : bool
    relative : bool
        True where the colour is of a photo without reference patches.
    """

    code: str
    batch: str
    settings: tuple[Setting, ...]
    colour: str = ""
    lab: Lab | None = None
    grades: Mapping[str, float] = field(default_factory=dict)
    mottle: float | None = None
    spoiled: bool = False
    relative: bool = False


@dataclass(frozen=True)
class BoardRow:
    """Tiles side by side under one heading ("strength 3 g/L"), each column under its own; None leaves a gap."""

    heading: str
    tiles: tuple[BoardTile, ...]


@dataclass(frozen=True)
class Board:
    """The sample board of a study at one stage, arranged by factors or along the path of the film's growth."""

    study: str
    title: str
    invented: bool
    metal: str
    stage: str
    stages: tuple[str, ...]
    arranged: Literal["factors", "path"]
    rows: tuple[BoardRow, ...]
    says: tuple[str, ...] = ()


@dataclass(frozen=True)
class TilePage:
    """All of one tile: what it is, what was said of it (newest first), and its colour at each stage."""

    study: str
    invented: bool
    tile: BoardTile
    session: int
    history: tuple[str, ...]
    colours: tuple[tuple[str, str, Lab], ...] = ()
    due: tuple[tuple[str, date], ...] = ()
