"""The records of a study, as frozen dataclasses.

Numbers are stored in one unit each (g/L, mL/L, s, degC, mm, g, N); `Factor.shown` and `Response.unit` keep the
unit people write. The words are those of docs/reference/words.md.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from types import MappingProxyType
from typing import Any, Literal

from tilestudy.study.workplace import Workplace

Setting = float | str
"""One setting of a factor: a number in the stored unit, or a named level."""

Lab = tuple[float, float, float]
"""One colour: CIE L*, a*, b*."""

SetPer = Literal["tile", "batch", "session"]
Spacing = Literal["linear", "geometric", "steps"]

STAGES = ("bare", "fresh", "cured", "sealed", "aged", "rubbed")
"""Stages of a tile, in order. A reading belongs to one; stages are never pooled."""


@dataclass(frozen=True)
class Factor:
    """What is varied.

    Attributes
    ----------
    name : str
        Lower-case word with underscores, unique in the study: ``dip_time``.
    levels : tuple of float or str
        At least two. Numbers in `unit`, rising; or names.
    unit : str
        Stored unit ("g/L", "s", "degC", "" for a count or for named levels).
    shown : str
        Unit the study's people use ("g/L", "min", "degF"); numbers are shown in it.
    spacing : "linear", "geometric" or "steps"
        How the analysis treats the levels: along a straight scale, along a log scale (doublings), or each level
        by itself (named levels are always steps; numbers may be).
    set_per : "tile", "batch" or "session"
        Where the factor is set.
    got : str
        How a strength was got: "weighed", "spooned", "lumps", "by eye", or "".
    workable : tuple of float
        Further settings within the levels' span that the bench can make and a chosen plan may use.
    """

    name: str
    levels: tuple[Setting, ...]
    unit: str = ""
    shown: str = ""
    spacing: Spacing = "linear"
    set_per: SetPer = "tile"
    got: str = ""
    workable: tuple[float, ...] = ()

    @property
    def label(self) -> str:
        """The name as people read it: ``dip time``."""
        return self.name.replace("_", " ")

    @property
    def numeric(self) -> bool:
        """True when every level is a number."""
        return all(not isinstance(level, str) for level in self.levels)

    @property
    def scaled(self) -> bool:
        """True when the factor is analysed along a scale (linear or geometric), not level by level."""
        return self.spacing != "steps"


@dataclass(frozen=True)
class Bound:
    """One condition of a combination that is never made: a factor above, below or at a setting."""

    factor: str
    relation: Literal["above", "below", "at"]
    setting: Setting

    def holds(self, setting: Setting) -> bool:
        """Return whether a setting meets the condition.

        >>> Bound("dip_time", "above", 30.0).holds(90.0)
        True
        """
        if self.relation == "at" or isinstance(setting, str) or isinstance(self.setting, str):
            return setting == self.setting
        return setting > self.setting if self.relation == "above" else setting < self.setting


Choice = Literal[
    "",
    "grid",
    "best",
    "two-level grid",
    "fraction",
    "screening",
    "definitive screening",
    "array",
    "composite",
    "box-behnken",
]
"""Which combinations of the levels to make."""

ModelName = Literal["main effects", "interactions", "quadratic"]
"""What a chosen plan has to tell: each factor; pairs of factors too; and bends."""


SOLDERS = ("", "none", "hard", "soft", "unknown")
"""Solder of joints, if any: hard (silver) or soft (tin, maybe lead); "" is not said."""
COATINGS = ("", "none", "plated", "galvanised", "lacquered", "painted", "unknown")
"""What is on the sheet; "" is not said."""


@dataclass(frozen=True)
class Metal:
    """Sheet the tiles are cut from: UNS number, gauge as written, thickness (mm, None if unknown), sheet lot.

    `solder` is one of SOLDERS, `coating` one of COATINGS.
    """

    uns: str
    gauge: str = ""
    thickness_mm: float | None = None
    lot: str = ""
    solder: str = ""
    coating: str = ""


@dataclass(frozen=True)
class Target:
    """The wanted colour.

    `asked` is what the study file says ("as dark as possible", "dark brown", or "L a b" numbers); `lab` is the
    CIE L*a*b* (D65, 10 degree) it stands for, or None for "as dark as possible"; `tolerance` is the CIEDE2000
    difference that is still right.
    """

    asked: str
    lab: Lab | None = None
    tolerance: float = 5.0

    @property
    def darkest(self) -> bool:
        """True when the wish is "as dark as possible"."""
        return self.lab is None


@dataclass(frozen=True)
class RubPlan:
    """The rub test asked for.

    `protocol` is an id of the trade data, `conditions` "dry" and "wet", `passing` the lowest grade that passes.
    """

    protocol: str
    conditions: tuple[str, ...] = ("dry",)
    passing: float = 4.0
    wait_days: int = 7


@dataclass(frozen=True)
class Response:
    """A further number the study records for each tile.

    `better` is "higher", "lower" or "" (no preference); `batch_sd` and `tile_sd` are the noise assumed while
    planning, in `unit`, or None; `after_days` is when it falls due, days after making.
    """

    name: str
    unit: str = ""
    better: Literal["higher", "lower", ""] = ""
    after_days: int = 7
    batch_sd: float | None = None
    tile_sd: float | None = None

    @property
    def label(self) -> str:
        """The name as people read it."""
        return self.name.replace("_", " ")


@dataclass(frozen=True)
class Wish:
    """One thing wished for beside colour and durability, weighed against the others when settings are chosen.

    `of` is a declared response, "mottle" or a numeric factor; `good` is the value at which the wish is wholly met, and
    `useless` the one at which it is not met at all (a pair of them, below and above `good`, where both sides are bad),
    in the stored unit. Which way is better follows from the numbers. `weight` is how much it counts beside the others.
    """

    of: str
    good: float
    useless: float | tuple[float, float]
    weight: float = 1.0


@dataclass(frozen=True)
class Limits:
    """What is at hand. None means no limit stated. `minutes` is per session, set-up and clearing up included."""

    tiles: int | None = None
    batches: int | None = None
    tiles_per_batch: int | None = None
    batches_per_session: int | None = None
    sessions: int | None = None
    minutes: float | None = None


@dataclass(frozen=True)
class Study:
    """One question asked of one set of tiles.

    Attributes
    ----------
    name, question, process : str
        `process` is the id of a process file (trade data).
    invented : bool
        True for made-up demonstration data; printed on every page.
    metal : Metal
    tile_mm : (float, float)
        Width and height of a tile, mm.
    factors : tuple of Factor
    limits : Limits
    reference_tiles : bool
        Ask for reference tiles first, middle and last in each batch.
    stage : str
        The stage whose colour the findings use (one of STAGES); `stage_days` days after making it falls due.
    target : Target or None
        None when the study does not ask about colour.
    rub : RubPlan or None
        None when the study does not ask about wear.
    responses : tuple of Response
    wishes : tuple of Wish
    batch_litres : float or None
        Volume of one bath, L.
    bench : mapping of str to str
        Answers to the hazard questions of the process: "yes", "no" or "not checked".
    batches_each : int
        Freshly made batches wanted for each per-batch setting.
    batch_word : str
        What the bench calls a batch ("bath", "load", "heat"); "" takes the process's word.
    choose : Choice
        Make the whole grid, the most telling tiles within the limits, or a textbook family; "" takes the grid where it
        fits, else the most telling tiles.
    model : ModelName or ""
        What a chosen plan has to tell; "" takes the richest that the limits carry.
    never : tuple of tuple of Bound
        Combinations that are never made: all conditions of one rule together.
    noise : (float, float)
        Bath-to-bath and tile-to-tile standard deviation of L* assumed while planning.
    source : str
        For published data: author, year, table.
    workplace : Workplace
        Room, bench, order of steps, sheets, hours and hands.
    """

    name: str
    question: str
    process: str
    factors: tuple[Factor, ...]
    metal: Metal = Metal("")
    tile_mm: tuple[float, float] = (25.0, 50.0)
    limits: Limits = Limits()
    reference_tiles: bool = False
    stage: str = "cured"
    stage_days: int = 7
    target: Target | None = None
    rub: RubPlan | None = None
    responses: tuple[Response, ...] = ()
    wishes: tuple[Wish, ...] = ()
    batch_litres: float | None = None
    bench: Mapping[str, str] = field(default_factory=dict)
    batches_each: int = 2
    batch_word: str = ""
    choose: Choice = ""
    model: ModelName | Literal[""] = ""
    never: tuple[tuple[Bound, ...], ...] = ()
    noise: tuple[float, float] = (3.0, 3.0)
    invented: bool = False
    source: str = ""
    workplace: Workplace = field(default_factory=Workplace)

    def factor(self, name: str) -> Factor:
        """Return the factor of that name; raises KeyError."""
        for factor in self.factors:
            if factor.name == name:
                return factor
        raise KeyError(name)

    def allows(self, settings: Mapping[str, Setting]) -> bool:
        """Return whether a combination may be made; a rule that names a factor not given does not apply yet."""
        return not any(
            all(bound.factor in settings and bound.holds(settings[bound.factor]) for bound in rule)
            for rule in self.never
        )

    def factors_set_per(self, where: SetPer) -> tuple[Factor, ...]:
        """Return the factors set per tile, batch or session, in the file's order."""
        return tuple(factor for factor in self.factors if factor.set_per == where)


def tiles_that_count(plan: Plan) -> Plan:
    """Return the plan without the tiles that a stand-in has replaced, and without batches that have no tile left."""
    replaced = {tile.replaces for tile in plan.tiles}
    tiles = tuple(tile for tile in plan.tiles if tile.code not in replaced)
    used = {tile.batch for tile in tiles}
    return replace(plan, tiles=tiles, batches=tuple(batch for batch in plan.batches if batch.code in used))


def study_as_planned(study: Study, plan: Plan) -> Study:
    """Return the study with each factor's levels as they occur in the plan: what tiles that exist already can speak of.

    A factor that is the same on every tile keeps that one level.
    """
    factors = []
    for factor in study.factors:
        found = {tile.settings[factor.name] for tile in plan.tiles}
        known = [level for level in factor.levels if level in found]
        levels = known if len(known) == len(found) else sorted(found, key=lambda one: (isinstance(one, str), one))
        factors.append(replace(factor, levels=tuple(levels)))
    return replace(study, factors=tuple(factors))


@dataclass(frozen=True)
class Batch:
    """A bath (liquid) or a load (oven, kiln, tub): the whole plot.

    `settings` holds its per-batch and per-session factors; `order` counts the batches of the study from 1.
    """

    code: str
    session: int
    order: int
    settings: Mapping[str, Setting] = field(default_factory=dict)


@dataclass(frozen=True)
class Tile:
    """The experimental unit.

    `code` is stamped on its back; `order` is its place in the batch's run order, from 1; `settings` holds every
    factor as planned; `replaces` names the spoiled tile it stands in for, or "".
    """

    code: str
    batch: str
    session: int
    order: int
    settings: Mapping[str, Setting] = field(default_factory=dict)
    reference: bool = False
    replaces: str = ""


@dataclass(frozen=True)
class Plan:
    """The tiles of a study in run order, with the seed that made the order.

    `taken_in` is True for tiles that existed already.
    """

    study: str
    seed: int
    batches: tuple[Batch, ...]
    tiles: tuple[Tile, ...]
    taken_in: bool = False

    def tile(self, code: str) -> Tile:
        """Return the tile of that code; raises KeyError."""
        for tile in self.tiles:
            if tile.code == code:
                return tile
        raise KeyError(code)

    def batch(self, code: str) -> Batch:
        """Return the batch of that code; raises KeyError."""
        for batch in self.batches:
            if batch.code == code:
                return batch
        raise KeyError(code)


# --- what was recorded. Each record has a `key`: a second record with the same key corrects the first. -------------


@dataclass(frozen=True)
class Made:
    """What was done to a tile.

    `actual` holds only settings known to differ from the plan or to be measured; `batch` is "" for the planned one.
    """

    tile: str
    on: date
    batch: str = ""
    actual: Mapping[str, Setting] = field(default_factory=dict)
    spoiled: bool = False
    why: str = ""
    replaced_by: str = ""
    by: str = ""
    note: str = ""

    @property
    def key(self) -> tuple[str, ...]:
        """A tile is made once."""
        return (self.tile,)


@dataclass(frozen=True)
class BatchLog:
    """What happened to a batch: made up and discarded (local time), settings as measured."""

    batch: str
    made_at: datetime | None = None
    discarded_at: datetime | None = None
    actual: Mapping[str, Setting] = field(default_factory=dict)
    by: str = ""
    note: str = ""

    @property
    def key(self) -> tuple[str, ...]:
        """One log for each batch."""
        return (self.batch,)


PHOTO = "photo"
"""Instrument of a reading from a photo."""

PAPER_ONLY = (PHOTO, "paper only")
"""Instrument and geometry of a reading from a photo without reference patches."""


@dataclass(frozen=True)
class Reading:
    """One colour measurement: CIE L*, a*, b* at one spot of a tile at one stage, with the viewing conditions.

    Attributes
    ----------
    series : str
        "" for the study's own series; a name for readings kept apart beside it (another instrument).
    mottle : float or None
        How uneven the tile is, by a photo: the mean CIEDE2000 of its 0.67 mm blocks from their mean.
    error : float or None
        Expected (median) CIEDE2000 error of the measurement itself; None where it is not known or small (instruments).
    detail : mapping
        What else a photo tells, as plain data for JSON: median colour, main colours and their shares, glare, residual, photo.
    """

    tile: str
    stage: str
    on: date
    L: float
    a: float
    b: float
    spot: int = 1
    instrument: str = ""
    geometry: str = ""
    illuminant: str = "D65"
    observer: str = "10"
    by: str = ""
    series: str = ""
    mottle: float | None = None
    error: float | None = None
    detail: Mapping[str, Any] = field(default_factory=dict)

    @property
    def key(self) -> tuple[str, ...]:
        """One reading for each tile, stage and spot, in each series."""
        key = (self.tile, self.stage, str(self.spot))
        return (*key, self.series) if self.series else key

    @property
    def conditions(self) -> tuple[str, str, str, str]:
        """What may not be mixed in a series: instrument, geometry, illuminant, observer."""
        return (self.instrument, self.geometry, self.illuminant, self.observer)

    @property
    def relative(self) -> bool:
        """True for a photo without reference patches: good for comparing tiles of that photo, no colour to choose by."""
        return (self.instrument, self.geometry) == PAPER_ONLY


@dataclass(frozen=True)
class Value:
    """One number of a declared response; `repeat` counts repeated measurements of one tile from 1."""

    tile: str
    response: str
    on: date
    value: float
    repeat: int = 1
    by: str = ""

    @property
    def key(self) -> tuple[str, ...]:
        """One value for each tile, response and repeat."""
        return (self.tile, self.response, str(self.repeat))


@dataclass(frozen=True)
class Rub:
    """One scorer's judgement of one rub test.

    `grade` is 1 to 5 in half steps (5 = no stain); `strokes` the strokes to first bare metal, None if not counted;
    `broke_through` False when bare metal never came (the strokes are then a lower bound), None if not noted; `round`
    counts the rub tests of one tile from 1 (2 = tested again, say after a further month).
    """

    tile: str
    scorer: str
    on: date
    grade: float
    condition: str = "dry"
    protocol: str = ""
    strokes: int | None = None
    broke_through: bool | None = None
    round: int = 1

    @property
    def key(self) -> tuple[str, ...]:
        """One grade for each tile, protocol, condition, scorer and round."""
        return (self.tile, self.protocol, self.condition, self.scorer, str(self.round))


@dataclass(frozen=True)
class Cloth:
    """The stain on a rubbed cloth as a photo measured it: beside the scorers' grades of the same rub test, never among them.

    Attributes
    ----------
    tile : str
    on : date
        Day of the photo.
    grade : float
        1 to 5 without steps (5 = no stain), from the colour difference of the cloth and a clean one: ISO 105-A04.
    stain, clean : (L, a, b)
        CIE L*, a*, b* of the rubbed cloth and of the clean ones beside it in the same photo.
    condition : "dry" or "wet"
    protocol : str
    round : int
        Which rub test of the tile, from 1.
    error : float or None
        Expected (median) error of `grade`; None where it is not known.
    detail : mapping
        What else the photo tells, as plain data for JSON.
    """

    tile: str
    on: date
    grade: float
    stain: Lab
    clean: Lab
    condition: str = "dry"
    protocol: str = ""
    round: int = 1
    error: float | None = None
    by: str = ""
    detail: Mapping[str, Any] = field(default_factory=dict)

    @property
    def key(self) -> tuple[str, ...]:
        """One cloth for each tile, protocol, condition and round."""
        return (self.tile, self.protocol, self.condition, str(self.round))


Measured = Reading | Value | Rub | Cloth
"""What is measured of a tile once it is made."""

Record = Made | BatchLog | Measured
KINDS: Mapping[str, type] = MappingProxyType(
    {"made": Made, "batches": BatchLog, "colour": Reading, "values": Value, "rub": Rub, "cloths": Cloth}
)
"""Kind of record by its name, which is that of its form and command; cloths come from photos and have no form."""


@dataclass(frozen=True)
class Kept:
    """A record as the book keeps it: numbered, with when and from where it came, and what it superseded.

    `withdrawn` is True for an entry that takes back the record it supersedes: it says the same, and nothing stands.
    """

    id: int
    kind: str
    record: Record
    entered: datetime
    source: str
    supersedes: int | None = None
    superseded_by: int | None = None
    withdrawn: bool = False
