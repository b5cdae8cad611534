"""What is printed, as frozen dataclasses of plain, ready-to-print values.

Strings and numbers arrive already in the users' units and words: nothing in this room computes a finding. An empty
string or tuple (or None) leaves its part of the page out. Text is data, never markup.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

Paper = Literal["a4", "us-letter"]
PAPERS: tuple[Paper, ...] = ("a4", "us-letter")
"""The paper sizes, by the names users type."""


# --- shared by bench pack and handout --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Masthead:
    """What every page carries.

    Attributes
    ----------
    study : str
        The name people type: ``house-plaques``.
    title, question : str
        The study for people to read; the question in one sentence. An empty title takes the name.
    studio : str
        Whose sheet it is; may be "".
    fingerprint : str
        Short fingerprint of the plan: two sheets with different ones do not belong together.
    printed : date
        Date printed on the pages and stored as the date of the document.
    invented : bool
        True prints "invented data" on every page.
    """

    study: str
    title: str
    question: str
    studio: str
    fingerprint: str
    printed: date
    invented: bool = False


@dataclass(frozen=True)
class Fact:
    """A labelled value: ``Fact("Metal", "copper C11000, 24 gauge")``."""

    label: str
    value: str


@dataclass(frozen=True)
class Caution:
    """A warning: a short title, one or two sentences, and where they come from (may be "")."""

    title: str
    text: str
    source: str = ""


@dataclass(frozen=True)
class Protection:
    """What to wear or switch on at a step, and why."""

    step: str
    protection: str
    why: str = ""


# --- charts ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Level:
    """One setting in a chart: tick text, place on the scale, predicted mean and its 95 % range.

    `at` is the number in the shown unit; for named levels any rising numbers (0, 1, 2...). `low` and `high` are
    None when there is no range to show.
    """

    shown: str
    at: float
    mean: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class TilePoint:
    """One tile in a chart: its code, place on the scale, its value, its sRGB colour ("#4a2c1f"; "" not measured)."""

    code: str
    at: float
    value: float
    colour: str = ""


@dataclass(frozen=True)
class Panel:
    """One factor of a main-effects chart. Geometric spacing gets a log axis with the levels as ticks."""

    label: str
    unit: str
    spacing: Literal["linear", "geometric", "steps"]
    levels: tuple[Level, ...]
    points: tuple[TilePoint, ...] = ()


@dataclass(frozen=True)
class MainEffects:
    """Small multiples, one panel a factor, one shared upright axis.

    `response` names it with its unit ("lightness L*"); `toward` says what up or down means ("lower is darker", may be
    ""); `alt` is the chart in words; `limits` fixes the upright axis (chances: (0, 100)) or None; `line` marks a level
    worth a dashed line, with its text: (55.0, "wanted").
    """

    response: str
    panels: tuple[Panel, ...]
    alt: str
    toward: str = ""
    caption: str = ""
    limits: tuple[float, float] | None = None
    line: tuple[float, str] | None = None


@dataclass(frozen=True)
class Line:
    """One line of an interaction chart: the other factor's setting, as printed at its end ("9 g/L")."""

    label: str
    levels: tuple[Level, ...]


@dataclass(frozen=True)
class Interaction:
    """How one factor's effect depends on another: `lines_label` names the factor the lines stand for."""

    response: str
    label: str
    unit: str
    spacing: Literal["linear", "geometric", "steps"]
    lines_label: str
    lines: tuple[Line, ...]
    alt: str
    caption: str = ""
    limits: tuple[float, float] | None = None


# --- the handout -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Swatch:
    """One tile on the sample board.

    `colour` is "#rrggbb" (sRGB) or "" when it was not measured; `lightness` the L* as printed ("31"); `settings` a
    few short texts ("10 s", "4 cycles"); `grade` the rub grade as printed ("4-5", or ""); `note` short ("reference",
    "spoiled").
    """

    code: str
    colour: str
    lightness: str
    settings: tuple[str, ...]
    grade: str = ""
    note: str = ""


@dataclass(frozen=True)
class BoardRow:
    """Tiles that share something, under one heading: "Strength 3 g/L (baths B2, B5)"."""

    title: str
    swatches: tuple[Swatch, ...]


@dataclass(frozen=True)
class Board:
    """The sample board. `caption` is given whole (stage, instrument, conditions); the page adds the screen caution."""

    rows: tuple[BoardRow, ...]
    caption: str = ""


@dataclass(frozen=True)
class Drivers:
    """What drives one response: heading ("What drives the colour"), sentences, and its charts.

    `sure` is one plain sentence on how far to trust it (batch luck, baths counted); may be "".
    """

    heading: str
    sentences: tuple[str, ...]
    effects: MainEffects | None = None
    interaction: Interaction | None = None
    sure: str = ""


@dataclass(frozen=True)
class Best:
    """The best settings seen.

    `target` shows the wanted colour beside the tile, when it has one; `close` says how near in plain words with the
    CIEDE2000 number; `sentences` follow (why this one, confirmed or not). `tile` None: nothing passed, and the
    sentences say so.
    """

    sentences: tuple[str, ...]
    tile: Swatch | None = None
    settings: tuple[Fact, ...] = ()
    target: Swatch | None = None
    close: str = ""


@dataclass(frozen=True)
class Recipe:
    """Confirmed settings: what they are, the colour they gave on average, and the evidence in sentences."""

    settings: tuple[Fact, ...]
    evidence: tuple[str, ...]
    colour: Swatch | None = None


@dataclass(frozen=True)
class Handout:
    """What a class takes home: 2 to 4 pages.

    Attributes
    ----------
    masthead : Masthead
    summary : tuple of str
        The answer in one to three sentences, printed under the question.
    done : tuple of Fact
        What was done: metal, process, each factor with its levels, batches, tiles, who measured what and when.
    board : Board or None
    drivers : tuple of Drivers
        Colour, durability, then other responses.
    recipes : tuple of Recipe
        Confirmed settings, the latest first.
    best : Best or None
    unknown : tuple of str
        What we do not know.
    mixing : tuple of Fact
        Amounts: ``Fact("3 g/L bath", "1.5 g potassium polysulfide in 0.5 L cool water")``.
    repeat : tuple of str
        Numbered steps.
    repeat_heading : str
        Heading over mixing and steps.
    cautions : tuple of Caution
    protection : tuple of Protection
    first_aid : str
    sources : tuple of str
    """

    masthead: Masthead
    done: tuple[Fact, ...]
    summary: tuple[str, ...] = ()
    board: Board | None = None
    drivers: tuple[Drivers, ...] = ()
    recipes: tuple[Recipe, ...] = ()
    best: Best | None = None
    unknown: tuple[str, ...] = ()
    mixing: tuple[Fact, ...] = ()
    repeat: tuple[str, ...] = ()
    repeat_heading: str = "How to repeat it"
    cautions: tuple[Caution, ...] = ()
    protection: tuple[Protection, ...] = ()
    first_aid: str = ""
    sources: tuple[str, ...] = ()
