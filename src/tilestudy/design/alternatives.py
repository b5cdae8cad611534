"""Other plans for the same study, dearer and cheaper, side by side: what each costs and what it would see.

Each is what `plan` makes when its counts stand under [limits] in the study file; nothing here is told that cannot be had.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass, replace
from math import ceil, prod

from tilestudy.design.appraise import Appraisal, Noise, appraise
from tilestudy.design.layout import REFERENCES, Clock
from tilestudy.design.sessions.pace import batch_minutes
from tilestudy.errors import PlanError
from tilestudy.study.records import Batch, Choice, Plan, Setting, Study, Tile

Make = Callable[[Study], Plan]
MOST, MOST_EACH = 5, 8
WORTH_L, WORTH_TILES = 10.0, 3.0


def worth_seeing(noise: Noise) -> float:
    """Return the change that a study should see: 10 L* for lightness, else three standard deviations between tiles.

    Bare copper to black is about 60 L* (common practice, no source); a plan blind to a sixth of that tells little.
    """
    return WORTH_L if noise.unit == "L*" else WORTH_TILES * noise.tile


@dataclass(frozen=True)
class Alternative:
    """One plan: what it is, the study with the limits that give it, what it would see, and minutes at the bench.

    `adequate` is True when it sees what is worth seeing of every factor; `cheapest` marks the adequate one that takes the
    fewest minutes; `current` the plan that is appraised. `choose` is what
    the study file must say in place of what it says, or "".
    """

    what: str
    study: Study
    plan: Plan
    appraisal: Appraisal
    minutes: float
    adequate: bool
    cheapest: bool = False
    current: bool = False
    choose: str = ""

    @property
    def counts(self) -> tuple[int, int, int]:
        """Tiles, batches, sessions."""
        return counts(self.plan)

    @property
    def options(self) -> str:
        """The options of `appraise` that look at it."""
        tiles, batches, sessions = self.counts
        return f"--tiles {tiles} --batches {batches} --sessions {sessions}{f' --choose {self.choose}' if self.choose else ''}"

    @property
    def edit(self) -> str:
        """The lines under [limits] that give it."""
        tiles, batches, sessions = self.counts
        each = self.study.batches_each
        return f"tiles = {tiles}, batches = {batches}, sessions = {sessions}, batches_each = {each}"


def counts(plan: Plan) -> tuple[int, int, int]:
    """Return tiles (spares not counted), batches, sessions of a plan."""
    return (
        sum(not tile.replaces for tile in plan.tiles),
        len(plan.batches),
        len({batch.session for batch in plan.batches}),
    )


def settings_of_batches(study: Study) -> int:
    """Return how many kinds of batches the grid has: combinations of what is set per batch or session."""
    return prod(len(factor.levels) for factor in study.factors if factor.set_per != "tile")


def within(
    study: Study,
    tiles: int | None = None,
    batches: int | None = None,
    sessions: int | None = None,
    choose: Choice | None = None,
) -> Study:
    """Return the study under other limits; batches are shared equally over what is set per batch."""
    limits = study.limits
    changed = replace(
        limits,
        tiles=limits.tiles if tiles is None else tiles,
        batches=limits.batches if batches is None else batches,
        sessions=limits.sessions if sessions is None else sessions,
    )
    each = study.batches_each if batches is None else max(1, batches // settings_of_batches(study))
    chosen = study.choose if choose is None else choose
    return replace(study, limits=changed, batches_each=each, choose=chosen)


def minutes_at_the_bench(study: Study, plan: Plan, clock: Clock) -> float:
    """Return the minutes of all sessions of a plan."""
    tiles, batches, sessions = counts(plan)
    in_one = [-(-tiles // batches), tiles // batches]  # as equal as they can be
    larger = tiles - in_one[1] * batches
    making = sum(
        many * batch_minutes(study, clock, size) for many, size in zip((larger, batches - larger), in_one, strict=True)
    )
    return sessions * clock.around + making


def alternatives(study: Study, plan: Plan, make: Make, noise: Noise, clock: Clock, worth: float) -> list[Alternative]:
    """Lay out three to five plans at different cost and appraise them.

    Parameters
    ----------
    study, plan : Study, Plan
        The plan appraised; it is one of those returned.
    make : callable
        Lays out a study as `plan` does.
    noise : Noise
    clock : Clock
    worth : float
        Change worth seeing, in the noise's unit.

    Returns
    -------
    list of Alternative
        From the fewest to the most minutes; fewer than three when the limits of a batch or session allow no more.
    """
    found: dict[tuple[int, int, int], Alternative] = {}

    def keep(asked: Study, made: Plan, current: bool) -> None:
        seen = appraise(study, made, noise)
        enough = seen.worst is not None and seen.worst <= worth
        minutes = minutes_at_the_bench(study, made, clock)
        other = asked.choose if asked.choose != study.choose else ""
        what = combinations_in_words(study, made)
        one = Alternative(what, asked, made, seen, minutes, enough, current=current, choose=other)
        found.setdefault(one.counts, one)

    def consider(tiles: int, batches: int, choose: Choice) -> None:
        # what the file says is kept where it can give such a plan
        kept = study.choose in ("", "best", choose)
        wider = replace(study, limits=replace(study.limits, sessions=None), choose=study.choose if kept else choose)
        try:
            # made anew under the counts found, so that these counts give this very plan
            asked = within(wider, *counts(make(within(wider, tiles, batches))))
            keep(asked, make(asked), current=False)
        except PlanError:
            return  # not to be had within what a batch or a session holds

    grid = prod(len(factor.levels) for factor in study.factors)
    kinds = settings_of_batches(study)
    extra = REFERENCES if study.reference_tiles else 0
    each = max(study.batches_each, 2)
    keep(study, plan, current=True)
    fewer = max(ceil(2 * grid / 3), 8)
    if fewer < grid:
        consider(fewer + kinds * each * extra, kinds * each, "best")
    for times in (1, *range(each, MOST_EACH + 1)):
        if times > each + 2 and any(one.adequate for one in found.values()):
            break
        if kinds > 1:
            consider(
                grid + kinds * times * extra, kinds * times, "grid"
            )  # each combination once, shared over the batches
        consider((grid + kinds * extra) * times, kinds * times, "grid")  # the whole grid in each
    return _choose(list(found.values()))


def combinations_in_words(study: Study, plan: Plan) -> str:
    """Say which combinations of the levels a plan makes, and how often: "all 18, twice"."""
    grid = prod(len(factor.levels) for factor in study.factors)
    made = Counter(
        tuple(t.settings[f.name] for f in study.factors) for t in plan.tiles if not (t.reference or t.replaces)
    )
    least, most = min(made.values()), max(made.values())
    times = {(1, 1): "once", (2, 2): "twice", (1, 2): "once or twice"}.get(
        (least, most), f"{least} times" if least == most else f"{least} to {most} times"
    )
    return f"{'all' if len(made) == grid else f'{len(made)} of'} {grid}, {times}"


def _choose(found: list[Alternative]) -> list[Alternative]:
    """Keep the current plan, the cheapest adequate one and the cheapest of all; then those that nothing betters for less."""

    def worst(one: Alternative) -> float:
        return one.appraisal.worst or float("inf")

    def bettered(one: Alternative) -> bool:
        return any(o.minutes <= one.minutes and worst(o) <= worst(one) for o in found if o is not one)

    found = sorted(found, key=lambda one: (one.minutes, one.counts))
    best = next((one for one in found if one.adequate), None)
    first = [*(one for one in found if one.current or one is best), *found[:1]]
    kept = list(
        {one.counts: one for one in [*first, *sorted(found, key=lambda one: (bettered(one), one.minutes))]}.values()
    )[:MOST]
    return [replace(one, cheapest=one is best) for one in sorted(kept, key=lambda one: (one.minutes, one.counts))]


# --- the same tiles in more or fewer batches -------------------------------------------------------------------------


@dataclass(frozen=True)
class Trade:
    """The same tiles, grouped otherwise: batches, most tiles in one, and what would be seen."""

    batches: int
    tiles_in_each: int
    appraisal: Appraisal


def trades(study: Study, plan: Plan, noise: Noise) -> list[Trade]:
    """Appraise the same tiles in half, as many, and twice as many batches; empty when nothing is set per batch.

    Half: batches made alike are put together in one. Twice: each is parted in two fresh ones.
    """
    if not study.factors_set_per("batch"):
        return []
    settings = [tuple(sorted(batch.settings.items())) for batch in plan.batches]
    if len(set(settings)) == len(settings) or min(Counter(tile.batch for tile in plan.tiles).values()) < 2:
        return []
    merged = {batch.code: str(settings.index(one)) for batch, one in zip(plan.batches, settings, strict=True)}
    whole = regrouped(plan, lambda tile: merged[tile.batch])
    place = {
        factor.name: {level: i for i, level in enumerate(factor.levels)} for factor in study.factors_set_per("tile")
    }
    halves: dict[str, str] = {}
    for batch in plan.batches:  # neighbouring combinations go to different halves
        tiles = [tile for tile in plan.tiles if tile.batch == batch.code]
        odd = {t.code: sum(levels.get(t.settings[name], 0) for name, levels in place.items()) % 2 for t in tiles}
        for number, tile in enumerate(sorted(tiles, key=lambda tile: odd[tile.code])):
            halves[tile.code] = f"{batch.code} {2 * number // len(tiles)}"
    found = []
    for one in (whole, plan, regrouped(plan, lambda tile: halves[tile.code])):
        sizes = Counter(tile.batch for tile in one.tiles)
        found.append(Trade(len(sizes), max(sizes.values()), appraise(study, one, noise)))
    return found


def regrouped(plan: Plan, group: Callable[[Tile], str]) -> Plan:
    """Return the tiles in other batches: `group` names the batch of a tile. Sessions follow each new batch's first tile."""
    names: dict[str, list[Tile]] = defaultdict(list)
    for tile in plan.tiles:
        names[group(tile)].append(tile)
    batches, tiles = [], []
    for order, (code, of) in enumerate(names.items(), start=1):
        first = of[0]
        settings: dict[str, Setting] = dict(plan.batch(first.batch).settings)
        batches.append(Batch(code, first.session, order, settings))
        tiles += [replace(tile, batch=code, session=first.session, order=n) for n, tile in enumerate(of, start=1)]
    return replace(plan, batches=tuple(batches), tiles=tuple(tiles))
