"""From a study's findings to the handout's content, and to the charts of `drivers`."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date

from tilestudy.analysis.choice.choice import right_told
from tilestudy.analysis.choice.confirm import Confirmation
from tilestudy.analysis.findings import InteractionGrid, ResponseFindings
from tilestudy.analysis.study_findings import BESIDE, StudyFindings, TileSeen
from tilestudy.analysis.wording import place
from tilestudy.colour.names import name_of
from tilestudy.colour.srgb import lab_to_hex
from tilestudy.design.words import levels_in_words
from tilestudy.paper.content import (
    Best,
    Board,
    BoardRow,
    Drivers,
    Fact,
    Handout,
    Interaction,
    Level,
    Line,
    MainEffects,
    Panel,
    Recipe,
    Swatch,
    TilePoint,
)
from tilestudy.paper.from_plan import cautions, first_aid, masthead, metal_text, protection, steps
from tilestudy.study.arrange import board_rows, in_order, ranker
from tilestudy.study.at_hand import AtHand
from tilestudy.study.language import capital, count, listed, plural
from tilestudy.study.records import Batch, Factor, Plan, Reading, Rub, Setting
from tilestudy.study.units import convert, plain_number, show, show_number, show_settings, show_unit
from tilestudy.trade.amounts import amounts
from tilestudy.trade.hazards import check
from tilestudy.trade.library import Library


def handout_content(
    found: StudyFindings,
    library: Library,
    readings: Sequence[Reading],
    rubs: Sequence[Rub],
    *,
    studio: str,
    printed: date,
    made_on: Sequence[date],
    confirmations: Sequence[Confirmation] = (),
    at_hand: AtHand | None = None,
) -> Handout:
    """Return the content of the handout; confirmed settings are its recipe, and what it says how to repeat."""
    study, process = found.study, library.process(found.study.process)
    recipes = [one for one in reversed(confirmations) if one.verdict == "confirmed"]
    again: tuple[str, Mapping[str, Setting]] | None = None  # whose settings are told how to repeat
    if recipes:
        again = ("the recipe", recipes[0].claim.option.settings)
    elif found.best is not None:
        again = (f"tile {found.best.tile}", found.best.settings)
    published = found.plan.taken_in and bool(
        study.source
    )  # figures out of a book: nothing here to make or to guard from
    return Handout(
        masthead=masthead(study, found.plan, studio, printed),
        summary=_summary(found, recipes),
        done=_done(found, library, study.source if published else process.label, readings, rubs, made_on),
        board=_board(found),
        drivers=_drivers(found),
        recipes=tuple(_recipe(found, one) for one in recipes),
        best=None if recipes else _best(found),
        unknown=(*_unconfirmed(found, confirmations), *found.unknown()),
        mixing=() if published else _mixing(found, library, again[1] if again else None, at_hand or AtHand()),
        repeat=() if published else _repeat(found, library, again),
        repeat_heading="How to repeat it" if again else "How these tiles were made",
        cautions=() if published else cautions(process, check(study, library)),
        protection=() if published else protection(process),
        first_aid="" if published else first_aid(process),
        sources=tuple(source for source in (study.source,) if source),
    )


def _recipe(found: StudyFindings, one: Confirmation) -> Recipe:
    """Return confirmed settings with the evidence behind them."""
    study = found.study
    colour = None
    if one.mean is not None:
        colour = Swatch("", lab_to_hex(one.mean), f"{one.mean[0]:.0f}", (name_of(one.mean),))
    return Recipe(
        tuple(
            Fact(capital(factor.label), show(one.claim.option.settings[factor.name], factor))
            for factor in study.factors
            if factor.name in one.claim.option.settings
        ),
        (
            right_told(study, one.claim.right, one.claim.conditions, one.claim.stage),
            *one.sentences(study, found.word),
        ),
        colour,
    )


def _unconfirmed(found: StudyFindings, confirmations: Sequence[Confirmation]) -> tuple[str, ...]:
    """Say which claims wait, failed or are undecided."""
    said = []
    for one in confirmations:
        if one.verdict == "confirmed":
            continue
        state = {
            "waiting": "are to be confirmed; no recipe yet",
            "undecided": f"are not confirmed yet: {one.right} of {count(one.judged, 'tile')} right",
            "not confirmed": f"were not confirmed: {one.right} of {count(one.judged, 'tile')} right",
        }[one.verdict]
        said.append(f"{capital(show_settings(one.claim.option.settings, found.study))} {state}.")
    return tuple(said)


def _summary(found: StudyFindings, recipes: Sequence[Confirmation] = ()) -> tuple[str, ...]:
    """Answer in a sentence or two: which factors clearly drive what, and the recipe or the best tile."""
    driven: dict[tuple[str, ...], list[str]] = {}
    for one in found.responses.values():
        names = tuple(found.study.factor(name).label for name in one.drivers)
        if names and one.name not in ("a", "b", *BESIDE) and one.kind != "strokes":
            what = {"lightness": "lightness", "grade": one.label.replace("grade", "resistance")}.get(
                one.kind, one.label
            )
            driven.setdefault(names, []).append(what)
    clear = [
        f"{listed(names)} {'drives' if len(names) == 1 and not names[0].endswith('s') else 'drive'} {listed(what)}"
        for names, what in driven.items()
    ]
    said = [f"{capital('; '.join(clear))}." if clear else "No factor stands out from the noise yet."]
    if recipes:
        said.append(f"Recipe, confirmed: {show_settings(recipes[0].claim.option.settings, found.study)}.")
    elif found.best is not None and found.study.target is not None:
        said.append(f"Best tile seen: {found.best.tile}, {found.how_close(found.best)}.")
    return tuple(said)


def _done(
    found: StudyFindings,
    library: Library,
    process: str,
    readings: Sequence[Reading],
    rubs: Sequence[Rub],
    made_on: Sequence[date],
) -> tuple[Fact, ...]:
    study, plan = found.study, found.plan
    facts = [Fact("Metal", metal_text(study, library))] if study.metal.uns else []
    facts.append(Fact("Process", process))
    for factor in study.factors:
        where = {"tile": "tile by tile", "batch": f"per {found.word}", "session": "per session"}[factor.set_per]
        facts.append(Fact(capital(factor.label), f"{_levels_in_words(factor, plan)}, set {where}"))
    sessions = len({batch.session for batch in plan.batches})
    facts.append(
        Fact(
            "Made",
            f"{count(len(found.tiles), 'tile')} in {count(len(plan.batches), found.word)}, {count(sessions, 'session')}{_when(made_on)}",
        )
    )
    here = [one for one in readings if (one.stage, one.series) == (found.stage, found.series.name)]
    if here:
        spots = max(one.spot for one in here)
        facts.append(
            Fact(
                "Colour",
                f"{found.stage} tiles, {count(spots, 'spot')} each, {found.series.told()}{_when([r.on for r in here])}",
            )
        )
    if rubs and study.rub:
        marks = sorted({one.scorer for one in rubs})
        facts.append(
            Fact(
                "Rub test",
                f"{library.protocols[study.rub.protocol].label}; scored by {listed(marks)}{_when([r.on for r in rubs])}",
            )
        )
    return tuple(facts)


def _levels_in_words(factor: Factor, plan: Plan) -> str:
    """Write the settings that the plan's tiles have, which need not be those that the study file names now."""
    levels = tuple(in_order({t.settings[factor.name] for t in plan.tiles if factor.name in t.settings}, factor))
    return levels_in_words(replace(factor, levels=levels)) if len(levels) > 1 else show((*levels, "")[0], factor)


def _when(days: Sequence[date]) -> str:
    if not days:
        return ""
    first, last = min(days), max(days)
    return f", {first.isoformat()}" if first == last else f", {first.isoformat()} to {last.isoformat()}"


def _swatch(found: StudyFindings, tile: TileSeen) -> Swatch:
    factors = [factor for factor in found.study.factors if factor.set_per == "tile"]
    return Swatch(
        code=tile.tile,
        colour=lab_to_hex(tile.lab) if tile.lab else "",
        lightness=f"{tile.lab[0]:.0f}" if tile.lab else "",
        settings=tuple(_on_swatch(tile.settings[factor.name], factor) for factor in factors),
        grade="/".join(plain_number(grade) for grade in tile.grades.values()),
        note=", ".join(
            [
                *(["reference"] if tile.reference else []),
                *(
                    f"{response.label} {plain_number(tile.values[response.name])}{_beside(response.unit)}"
                    for response in found.study.responses
                    if response.name in tile.values
                ),
            ]
        ),
    )


def _short(value: Setting, factor: Factor) -> str:
    """Write a setting in few words that still say what it is: 30 s, 1 scrub cycle, wax."""
    return place(value, factor, show).removeprefix("at ").removeprefix("with ")


LONGEST_BESIDE = 5
"""Letters of a unit that still stands beside each number on the board; a longer one is told once, in the caption."""


def _beside(unit: str) -> str:
    """Return a short unit with the space before it."""
    return f" {show_unit(unit)}" if unit and len(show_unit(unit)) <= LONGEST_BESIDE else ""


def _on_swatch(value: Setting, factor: Factor) -> str:
    """Write a setting for under a swatch; the name stands in for a long unit, which the caption tells."""
    if isinstance(value, str) or len(show_unit(factor.shown)) <= LONGEST_BESIDE:
        return _short(value, factor)
    return f"{factor.label} {show_number(value, factor)}"


def _board_caption(found: StudyFindings) -> str:
    measured = any(tile.lab for tile in found.tiles)
    units = [
        (factor.label, show_unit(factor.shown)) for factor in found.study.factors_set_per("tile") if factor.numeric
    ]
    units += [(one.label, show_unit(one.unit)) for one in found.study.responses]
    long = [f"{label} in {unit}" for label, unit in units if len(unit) > LONGEST_BESIDE]
    told = [
        *([f"Colour of the {found.stage} tiles."] if measured else []),
        *([capital("; ".join(long)) + "."] if long else []),
    ]
    return " ".join(told)


def _board(found: StudyFindings) -> Board:
    """Arrange the tiles by their per-batch settings, then by their own, as the plan has them."""
    seen = {tile.tile: tile for tile in found.tiles}
    planned = {code: {**tile.settings, **found.plan.tile(code).settings} for code, tile in seen.items()}
    rows = [
        BoardRow(title, tuple(_swatch(found, seen[code]) for code in codes))
        for title, codes in board_rows(found.study, found.plan, planned, found.word)
    ]
    return Board(tuple(rows), _board_caption(found))


def _drivers(found: StudyFindings) -> tuple[Drivers, ...]:
    blocks = []
    if "L" in found.responses:
        one = found.responses["L"]
        blocks.append(
            Drivers(
                "What drives the colour",
                tuple(dict.fromkeys([*(found.colour.brief() if found.colour is not None else ()), *one.brief])),
                main_effects_chart(found, "L"),
                interaction_chart(found, "L"),
            )
        )
    for name, one in found.responses.items():
        if name in ("L", "a", "b", *BESIDE) or one.kind == "strokes":
            continue  # told on the screen; a handout answers the questions that were asked
        title = f"What drives durability ({one.label})" if one.kind == "grade" else f"What drives {one.label}"
        blocks.append(
            Drivers(
                title,
                one.brief,
                main_effects_chart(found, name),
                interaction_chart(found, name)
                if len(blocks) < 2
                else None,  # a third response would not fit four pages
            )
        )
    return tuple(blocks)


def _places(settings: Iterable[Setting], factor: Factor) -> Callable[[Setting], float]:
    """Return where each of these settings stands on a chart's axis: its number as shown, or its turn among the steps."""
    steps = in_order(set(settings), factor)

    def at(value: Setting) -> float:
        if isinstance(value, str) or factor.spacing == "steps":
            return float(steps.index(value))
        return convert(value, factor.unit, factor.shown) if factor.unit != factor.shown else value

    return at


def _panel(found: StudyFindings, name: str, factor: Factor) -> Panel:
    """One factor of a main-effects chart: the predicted means, and each tile that has a value."""
    value = _tile_value(found, name)
    means = found.responses[name].main_effects[factor.name]
    seen = [(tile, y) for tile in found.tiles if (y := value(tile)) is not None]
    at = _places([*(mean.setting for mean in means), *(tile.settings[factor.name] for tile, _ in seen)], factor)
    return Panel(
        factor.label,
        show_unit(factor.shown),
        factor.spacing,
        tuple(
            Level(show_number(mean.setting, factor), at(mean.setting), mean.value, mean.low, mean.high)
            for mean in means
        ),
        tuple(
            TilePoint(tile.tile, at(tile.settings[factor.name]), y, lab_to_hex(tile.lab) if tile.lab else "")
            for tile, y in seen
        ),
    )


def _response_label(one: ResponseFindings) -> str:
    if one.chances is not None:
        return f"chance to pass the {one.label.removesuffix(' grade')}, %"
    label = {"lightness": "lightness L*", "redness": "redness a*", "yellowness": "yellowness b*"}.get(
        one.kind, one.label
    )
    unit = show_unit(one.unit)
    return f"{label}, {unit}" if unit and one.kind == "number" else label


def _limits(one: ResponseFindings) -> tuple[float, float] | None:
    return (0.0, 100.0) if one.chances is not None else None


def main_effects_chart(found: StudyFindings, name: str) -> MainEffects | None:
    """Return the main-effects chart of one response, or None when it has no factor to show."""
    one = found.responses[name]
    factors = [factor for factor in found.study.factors if factor.name in one.main_effects]
    if not factors:
        return None
    panels = tuple(_panel(found, name, factor) for factor in factors)
    told = "; ".join(
        f"{factor.label}: "
        + ", ".join(
            f"{show(mean.setting, factor)} {plain_number(mean.value)}" for mean in one.main_effects[factor.name]
        )
        for factor in factors
    )
    label = _response_label(one)
    predicted = "Predicted means" if one.chances is None else "Predicted chances"
    return MainEffects(
        label,
        panels,
        alt=f"Chart of {label} against each factor. {predicted}: {told}.",
        toward={"lightness": "lower is darker"}.get(one.kind, ""),
        caption=_effects_caption(panels, one),
        limits=_limits(one),
    )


def _effects_caption(panels: Sequence[Panel], one: ResponseFindings) -> str:
    chances = one.chances
    middle, what = {
        "grade": ("predicted chances to pass", "chance's difference from"),
        "strokes": ("the strokes that half of the tiles stand", "level's ratio to"),
    }.get(one.kind, ("predicted means", "mean's difference from"))
    told = [f"Diamonds: {middle}."]
    points = [point for panel in panels for point in panel.points]
    if any(level.low is not None for panel in panels for level in panel.levels):
        told.append(
            f"Bars: the 95 % range of each {what} the average of its panel; they are for comparing levels"
            + (", and single tiles stray farther." if points and chances is None else ".")
        )
    if points:
        dots = (
            "Dots: the tiles, in their own colour where it was read"
            if any(p.colour for p in points)
            else "Dots: the tiles"
        )
        if chances is not None:
            passed = f"those that passed (median grade {plain_number(chances.grade)} or better)"
            dots += f"; at the top {passed}, at the bottom the others"
        told.append(f"{dots}.")
    return " ".join(told)


def _tile_value(found: StudyFindings, name: str) -> Callable[[TileSeen], float | None]:
    axis = {"L": 0, "a": 1, "b": 2}.get(name)

    def value(tile: TileSeen) -> float | None:
        if axis is not None:
            return None if tile.lab is None else tile.lab[axis]
        chances = found.responses[name].chances
        if chances is not None:
            grade = tile.grades.get(name.removeprefix("rub_"))
            return None if grade is None else 100.0 if grade >= chances.grade - 1e-9 else 0.0
        if name == "to_target":
            return tile.distance
        return tile.values.get(name)

    return value


PAIR_CAPTIONS = {
    "drives": "The lines are not parallel: what one factor does depends on the other.",
    "may drive": "The lines may not be parallel: what one factor does may depend on the other.",
    "not settled": "Not settled by these tiles: what one factor does may depend on the other by enough to matter, or not.",
    "no sign": "No sign that one factor's effect depends on the other: lines differ by no more than noise would do.",
    "cannot tell": "These tiles cannot tell whether what one factor does depends on the other.",
}
"""What to read from an interaction chart, by the verdict on the pair of factors."""


def interaction_chart(found: StudyFindings, name: str) -> Interaction | None:
    """Return the chart of the strongest interaction of one response, or None when there is none."""
    one = found.responses[name]
    grid: InteractionGrid | None = one.strongest_interaction
    if grid is None:
        return None
    across, along = found.study.factor(grid.first), found.study.factor(grid.second)
    rows, columns, cells = grid.first_levels, grid.second_levels, grid.cells
    if len(rows) > len(columns):  # the longer side runs along the axis, the shorter gives the lines
        across, along = along, across
        rows, columns = columns, rows
        cells = tuple(zip(*cells, strict=True))
    place_of = _places(columns, along)
    lines = tuple(
        Line(
            _short(setting, across),
            tuple(
                Level(show_number(at, along), place_of(at), cell.value, cell.low, cell.high)
                for at, cell in zip(columns, row, strict=True)
            ),
        )
        for setting, row in zip(rows, cells, strict=True)
    )
    label = _response_label(one)
    verdict = grid.finding.verdict if grid.finding else "no sign"
    caption = PAIR_CAPTIONS.get(verdict, PAIR_CAPTIONS["cannot tell"])
    if any(level.low is not None for line in lines for level in line.levels):
        what = "mean" if one.chances is None else "chance"
        caption += f" Bars: the 95 % range of each {what}'s difference from the average of all {what}s here."
    told = "; ".join(
        f"{line.label}: " + ", ".join(f"{p.shown} {plain_number(p.mean)}" for p in line.levels) for line in lines
    )
    return Interaction(
        label,
        along.label,
        show_unit(along.shown),
        along.spacing,
        across.label,
        lines,
        alt=f"Chart of {label} against {along.label}, a line for each {across.label}. {told}.",
        caption=caption,
        limits=_limits(one),
    )


def _best(found: StudyFindings) -> Best | None:
    sentences = found.best_sentences()
    if not sentences:
        return None
    if found.best is None:
        return Best(tuple(sentences))
    study, best = found.study, found.best
    target = study.target
    wanted = None
    if target is not None and target.lab is not None:
        wanted = Swatch("wanted", lab_to_hex(target.lab), f"{target.lab[0]:.0f}", (name_of(target.lab),))
    return Best(
        tuple(sentences),
        _swatch(found, best),
        tuple(Fact(study.factor(name).label, show(value, study.factor(name))) for name, value in best.settings.items()),
        wanted,
        found.how_close(best),
    )


def _mixing(
    found: StudyFindings, library: Library, again: Mapping[str, Setting] | None, at_hand: AtHand
) -> tuple[Fact, ...]:
    """Return what goes into a batch of the settings to repeat, or into each kind of batch where there are none."""
    study = found.study
    fixed = [factor for factor in study.factors if factor.set_per != "tile"]
    if again is not None:
        batch = Batch("", 1, 1, {factor.name: again[factor.name] for factor in fixed})
        return tuple(Fact(f"One {found.word}", amount.text) for amount in amounts(study, library, batch, at_hand))
    batches = [one for one in found.plan.batches if all(factor.name in one.settings for factor in fixed)]
    kind_of = ranker([batch.settings for batch in batches], fixed)
    listed = []
    for kind in sorted({kind_of(batch.settings) for batch in batches}):
        alike = [one for one in batches if kind_of(one.settings) == kind]
        which = f"{found.word if len(alike) == 1 else plural(found.word)} {', '.join(one.code for one in alike)}"
        listed += [Fact(capital(which), amount.text) for amount in amounts(study, library, alike[0], at_hand)]
    return tuple(listed)


def _repeat(found: StudyFindings, library: Library, again: tuple[str, Mapping[str, Setting]] | None) -> tuple[str, ...]:
    """Return the steps to settings again, or, where there are none to repeat, how these tiles were made."""
    study, process = found.study, library.process(found.study.process)
    metal = (
        [f"{'Use the same' if again else 'The'} metal and finish: {metal_text(study, library)}."]
        if study.metal.uns
        else []
    )
    if again is None:
        given = "Settings: those of each tile on the sample board."
        last = f"The colour was due {study.stage_days} days after making (the days of making and reading stand on page 1), the rub test after that."
        asked = study.target is not None and study.rub is not None
        return (
            *metal,
            *process.data.get("mix", {}).get("lines", ()),
            given,
            *steps(process),
            *([last] if asked else []),
        )
    whose, settings = again
    told = listed([f"{study.factor(name).label} {show(value, study.factor(name))}" for name, value in settings.items()])
    wait = "" if study.stage_days == 0 else f"Wait {count(study.stage_days, 'day')}, then r"
    read = f"{wait or 'R'}ead the colour{', then rub' if study.rub else ''}."
    return (
        *metal,
        *process.data.get("mix", {}).get("lines", ()),
        f"Settings of {whose}: {told}.",
        *steps(process),
        f"{read} Make at least two tiles, in two separate {plural(found.word)}.",
    )
