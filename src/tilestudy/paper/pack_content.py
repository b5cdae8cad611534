"""The bench pack of one session, as frozen dataclasses of plain, ready-to-print values.

As in `content`: texts arrive in the users' units and words, and an empty one leaves its part of the page out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from tilestudy.paper.content import Caution, Fact, Masthead, Protection
from tilestudy.paper.qr import Symbol


@dataclass(frozen=True)
class BatchLabel:
    """What stands beside a bath or load.

    Attributes
    ----------
    code, kind : str
        "B1", "bath" (or "load"). `tiles` is how many pass through it.
    settings : tuple of Fact
        Its per-batch settings: ``Fact("strength", "3 g/L")``; also the volume.
    never : str
        The line that must not be missed: "No acid near this bath."
    hazards : tuple of str
        One line each.
    blanks : tuple of str
        Labels of the blanks to write on, in pairs: "made at (time)", "by", "use until (time)", "out of use at".
    out, discard : str
        What stands before its end ("Out of use"), and when that is ("when cloudy").
    live, spent : str
        Signs of a bath that works, and of one that is done.
    """

    code: str
    kind: str
    tiles: int
    settings: tuple[Fact, ...]
    never: str = ""
    hazards: tuple[str, ...] = ()
    blanks: tuple[str, ...] = ()
    out: str = "Out of use"
    discard: str = ""
    live: str = ""
    spent: str = ""


@dataclass(frozen=True)
class MixLine:
    """One thing to weigh, measure or set, and how well it is then known (may be "")."""

    text: str
    known: str = ""


@dataclass(frozen=True)
class BatchMix:
    """What goes into one batch; `ready` is the time by which it has to be (may be "")."""

    code: str
    settings: str
    lines: tuple[MixLine, ...]
    ready: str = ""


@dataclass(frozen=True)
class Mixing:
    """How the batches are made up.

    Attributes
    ----------
    heading : str
        "Make it", "Set it up".
    stock : tuple of MixLine
        What is made once and shared out: a stock solution.
    batches : tuple of BatchMix
    steps : tuple of str
        What holds for each of them, a step a line.
    went_in : str
        Label of the blank for what really went in; "" leaves it out.
    notes : tuple of str
        What to know before anything is weighed.
    """

    heading: str
    batches: tuple[BatchMix, ...]
    steps: tuple[str, ...]
    stock: tuple[MixLine, ...] = ()
    went_in: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class RunRow:
    """One tile to make: place in its batch, stamped code, settings (one for each column), sheet lot, clock time to start."""

    order: int
    tile: str
    settings: tuple[str, ...]
    reference: bool = False
    replaces: str = ""
    lot: str = ""
    start: str = ""
    end: str = ""


@dataclass(frozen=True)
class RunBatch:
    """A batch of the session: its label and its tiles in run order; `note` is one line beside its head (may be "")."""

    label: BatchLabel
    rows: tuple[RunRow, ...]
    note: str = ""


@dataclass(frozen=True)
class Session:
    """One class or bench day.

    Attributes
    ----------
    number, of : int
        Its number, and how many the study has.
    columns : tuple of str
        Heads of the per-tile settings with their units: ("dip time, s", "cycles").
    batches : tuple of RunBatch
    actual : tuple of str
        Heads of the blanks for what was really done.
    slot : str
        "18:30 to 21:00"; may be "".
    times : tuple of Fact
        The session at a glance: clock time and what happens then.
    ends : bool
        True where a tile's end has a clock time of its own (dwells and hours, not dips of seconds).
    clock : tuple of (str, str, str)
        Each thing to do by the clock: time, tile, what.
    if_late : tuple of str
        What may be left out if time runs out, and how to go on another day.
    """

    number: int
    of: int
    columns: tuple[str, ...]
    batches: tuple[RunBatch, ...]
    actual: tuple[str, ...] = ()
    slot: str = ""
    times: tuple[Fact, ...] = ()
    ends: bool = False
    clock: tuple[tuple[str, str, str], ...] = ()
    if_late: tuple[str, ...] = ()


@dataclass(frozen=True)
class RubSheet:
    """A rub score sheet for one condition. It shows codes only: a scorer must not see the settings.

    Attributes
    ----------
    protocol, condition : str
        Printed name of the protocol, and "dry" or "wet".
    steps : tuple of str
        The protocol, a line each: weight, strokes, cloth.
    tiles : tuple of str
        Codes in the order to be rubbed (random, given).
    due : str
        When, in words.
    """

    protocol: str
    condition: str
    steps: tuple[str, ...]
    tiles: tuple[str, ...]
    due: str = ""


@dataclass(frozen=True)
class MeasureSheet:
    """A sheet for what is measured on each tile. It shows codes only, like a rub sheet.

    Attributes
    ----------
    title, place : str
        Heading ("Colour readings, cured"), and its short form for the running head ("Colour").
    steps : tuple of str
        What to do, a line each.
    blanks : tuple of str
        Labels of the blanks above the table: date, by, instrument.
    groups : tuple of (str, tuple of str)
        Heading over a group of columns ("spot 1", may be "") and their heads ("L*", "a*", "b*").
    tiles : tuple of str
        Codes in the order to be measured (random, given).
    due : str
        When, in words. May be "".
    """

    title: str
    place: str
    steps: tuple[str, ...]
    blanks: tuple[str, ...]
    groups: tuple[tuple[str, tuple[str, ...]], ...]
    tiles: tuple[str, ...]
    due: str = ""


@dataclass(frozen=True)
class Due:
    """What falls due: "rub test, dry" - "a week after making" - "before any rub"."""

    what: str
    when: str
    which: str = ""


@dataclass(frozen=True)
class Face:
    """What one label says.

    Attributes
    ----------
    code : str
        Of the tile or the batch.
    lines : tuple of str
        Below it, a line each.
    blanks : tuple of str
        Labels of what is written in by hand.
    carries : str
        What its QR code carries; "" for no QR code.
    batch : BatchLabel or None
    facts : tuple of Fact
        Contents, hazards, protection.
    """

    code: str
    lines: tuple[str, ...] = ()
    blanks: tuple[str, ...] = ()
    carries: str = ""
    batch: BatchLabel | None = None
    facts: tuple[Fact, ...] = ()


@dataclass(frozen=True)
class Placed:
    """A label: its top left corner, mm, what it says, and its QR code."""

    x: float
    y: float
    face: Face
    symbol: Symbol | None


@dataclass(frozen=True)
class LabelBlock:
    """Labels to cut out: the kind, a line above them, width and height (mm), and what each says."""

    kind: str
    what: str
    label: tuple[float, float]
    labels: tuple[Placed, ...]


@dataclass(frozen=True)
class BenchPack:
    """Everything printed before a session.

    Attributes
    ----------
    masthead : Masthead
    metal, process : str
        "Copper C11000, 24 gauge (0.51 mm), 25 x 50 mm, lot 7"; "Sulfide dip".
    session : Session
    mixing : Mixing
    spares : tuple of str
        Spare codes to stamp, for tiles that are spoiled.
    spare_lots : mapping of str to str
        The sheet lot of each spare, where there are several.
    first : str
        What comes before all that is printed about hazards.
    to_confirm : tuple of str
        What nobody has confirmed yet, stated so that a tick is safe: "Extraction works where the bath stands."
    signed : tuple of str
        Hazards that somebody signed off: what was found, initials and reason.
    opening, closing : tuple of str
        Checklists for setting up and for clearing up.
    making : tuple of str
        How each tile is made, a step a line: it stands on the run sheet.
    cautions : tuple of Caution
    protection : tuple of Protection
    first_aid : str
    measure_sheets : tuple of MeasureSheet
    rub_sheets : tuple of RubSheet
    due : tuple of Due
    back : str
        How the filled sheets get back into the book.
    mishaps : str
        Questions beside the notes of a run sheet: "bath clouded? tile dropped?".
    waste : str
        What is kept until the local rule for it is known ("used baths and rinse water"); "" leaves the waste log out.
    wastes : tuple of str
        Lines of the waste log that are known beforehand, a jar each.
    can_tell : tuple of str
        Sentences about the plan.
    labels : tuple of LabelBlock
        For tiles and for their bags.
    """

    masthead: Masthead
    metal: str
    process: str
    session: Session
    mixing: Mixing
    spares: tuple[str, ...] = ()
    spare_lots: Mapping[str, str] = field(default_factory=dict)
    first: str = ""
    to_confirm: tuple[str, ...] = ()
    signed: tuple[str, ...] = ()
    opening: tuple[str, ...] = ()
    closing: tuple[str, ...] = ()
    making: tuple[str, ...] = ()
    cautions: tuple[Caution, ...] = ()
    protection: tuple[Protection, ...] = ()
    first_aid: str = ""
    measure_sheets: tuple[MeasureSheet, ...] = ()
    rub_sheets: tuple[RubSheet, ...] = ()
    due: tuple[Due, ...] = ()
    back: str = ""
    mishaps: str = ""
    waste: str = ""
    wastes: tuple[str, ...] = ()
    can_tell: tuple[str, ...] = ()
    labels: tuple[LabelBlock, ...] = ()
