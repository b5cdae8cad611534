"""From a study's findings to the handout's content, and to the charts of `drivers`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

from tilestudy.analysis.findings import InteractionGrid, LevelMean, ResponseFindings
from tilestudy.analysis.study_findings import StudyFindings, TileSeen
from tilestudy.analysis.wording import place
from tilestudy.colour.names import name_of
from tilestudy.colour.srgb import lab_to_hex
from tilestudy.design.words import count, levels_in_words
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
    Swatch,
    TilePoint,
)
from tilestudy.paper.from_plan import FIRST_AID, cautions, masthead, metal_text, protection, steps
from tilestudy.study.records import Batch, Factor, Reading, Rub, Setting
from tilestudy.study.units import convert, plain_number, show, show_number, show_unit
from tilestudy.trade.amounts import amounts
from tilestudy.trade.library import Process, protocols


def handout_content(
    found: StudyFindings,
    process: Process,
    readings: Sequence[Reading],
    rubs: Sequence[Rub],
    *,
    studio: str,
    printed: date,
    made_on: Sequence[date],
) -> Handout:
    """Return the content of the handout."""
    study = found.study
    return Handout(
        masthead=masthead(study, found.plan, studio, printed),
        summary=_summary(found),
        done=_done(found, process, readings, rubs, made_on),
        board=_board(found),
        drivers=_drivers(found),
        best=_best(found),
        unknown=tuple(found.unknown()),
        mixing=_mixing(found, process),
        repeat=_repeat(found, process),
        cautions=cautions(study, process) if study.process != "other" else (),
        protection=protection(process) if study.process != "other" else (),
        first_aid=FIRST_AID if study.process != "other" else "",
        sources=tuple(source for source in (study.source,) if source),
    )


def _summary(found: StudyFindings) -> tuple[str, ...]:
    """Answer in a sentence or two: which factors clearly drive what, and the best tile."""
    driven: dict[tuple[str, ...], list[str]] = {}
    for one in found.responses.values():
        names = tuple(found.study.factor(t.term).label for t in one.terms if t.kind == "main" and t.verdict == "drives")
        if names and one.name not in ("a", "b"):
            what = {"lightness": "lightness", "grade": one.label.replace("grade", "resistance")}.get(
                one.kind, one.label
            )
            driven.setdefault(names, []).append(what)
    clear = [
        f"{_listed(names)} {'drives' if len(names) == 1 and not names[0].endswith('s') else 'drive'} {_listed(what)}"
        for names, what in driven.items()
    ]
    said = [f"{clear[0][0].upper()}{'; '.join(clear)[1:]}." if clear else "No factor stands out from the noise yet."]
    if found.best is not None and found.study.target is not None:
        said.append(f"Best tile seen: {found.best.tile}, {found.how_close(found.best)}.")
    return tuple(said)


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _done(
    found: StudyFindings, process: Process, readings: Sequence[Reading], rubs: Sequence[Rub], made_on: Sequence[date]
) -> tuple[Fact, ...]:
    study, plan = found.study, found.plan
    facts = [Fact("Metal", metal_text(study))] if study.metal.uns else []
    facts.append(Fact("Process", process.label if study.process != "other" else study.source or "not a studio process"))
    for factor in study.factors:
        where = {"tile": "tile by tile", "batch": f"per {found.word}", "session": "per session"}[factor.set_per]
        facts.append(Fact(factor.label[0].upper() + factor.label[1:], f"{levels_in_words(factor)}, set {where}"))
    sessions = len({batch.session for batch in plan.batches})
    facts.append(
        Fact(
            "Made",
            f"{count(len(found.tiles), 'tile')} in {count(len(plan.batches), found.word)}, {count(sessions, 'session')}{_when(made_on)}",
        )
    )
    here = [one for one in readings if one.stage == found.stage]
    if here:
        spots = max(one.spot for one in here)
        how = ", ".join(part for part in (here[0].instrument, here[0].geometry) if part) or "instrument not stated"
        light = f"{here[0].illuminant}, {here[0].observer}°"
        facts.append(
            Fact(
                "Colour",
                f"{found.stage} tiles, {count(spots, 'spot')} each, {how}, {light}{_when([r.on for r in here])}",
            )
        )
    if rubs and study.rub:
        marks = sorted({one.scorer for one in rubs})
        facts.append(
            Fact(
                "Rub test",
                f"{protocols()[study.rub.protocol].label}; scored by {_listed(marks)}{_when([r.on for r in rubs])}",
            )
        )
    return tuple(facts)


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
        settings=tuple(_short(tile.settings[factor.name], factor) for factor in factors),
        grade="/".join(plain_number(grade) for grade in tile.grades.values()),
        note=", ".join(
            [
                *(["reference"] if tile.reference else []),
                *(
                    f"{response.label} {plain_number(tile.values[response.name])}"
                    for response in found.study.responses
                    if response.name in tile.values
                ),
            ]
        ),
    )


def _short(value: Setting, factor: Factor) -> str:
    """Write a setting in few words that still say what it is: 30 s, 1 scrub cycle, wax."""
    return place(value, factor, show).removeprefix("at ").removeprefix("with ")


def _board(found: StudyFindings) -> Board:
    """Arrange the tiles by their per-batch settings, then by their own."""
    study, plan = found.study, found.plan
    fixed = [factor for factor in study.factors if factor.set_per != "tile"]
    free = [factor for factor in study.factors if factor.set_per == "tile"]
    planned = {tile.code: tile.settings for tile in plan.tiles}

    def place(tile: TileSeen, factors: Sequence[Factor]) -> tuple[int, ...]:
        return tuple(factor.levels.index(planned[tile.tile][factor.name]) for factor in factors)

    rows = []
    for key in sorted({place(tile, fixed) for tile in found.tiles}):
        tiles = sorted((t for t in found.tiles if place(t, fixed) == key), key=lambda t: (place(t, free), t.batch))
        settings = ", ".join(
            f"{factor.label} {show(factor.levels[number], factor)}" for factor, number in zip(fixed, key, strict=True)
        )
        batches = [batch.code for batch in plan.batches if any(tile.batch == batch.code for tile in tiles)]
        word = found.word if len(batches) == 1 else count(2, found.word).removeprefix("2 ")
        title = f"{settings[0].upper()}{settings[1:]} ({word} {', '.join(batches)})" if settings else "All tiles"
        rows.append(BoardRow(title, tuple(_swatch(found, tile) for tile in tiles)))
    measured = any(tile.lab for tile in found.tiles)
    return Board(tuple(rows), f"Colour of the {found.stage} tiles." if measured else "")


def _drivers(found: StudyFindings) -> tuple[Drivers, ...]:
    blocks = []
    if "L" in found.responses:
        one = found.responses["L"]
        blocks.append(
            Drivers(
                "What drives the colour",
                (*found.colour_change_sentences(), *one.brief),
                main_effects_chart(found, "L"),
                interaction_chart(found, "L"),
            )
        )
    for name, one in found.responses.items():
        if name in ("L", "a", "b"):
            continue
        title = f"What drives durability ({one.label})" if one.kind == "grade" else f"What drives {one.label}"
        blocks.append(
            Drivers(
                title,
                one.brief,
                main_effects_chart(found, name),
                interaction_chart(found, name),
            )
        )
    return tuple(blocks)


def _at(value: Setting, factor: Factor) -> float:
    if isinstance(value, str) or factor.spacing == "steps":
        return float(factor.levels.index(value)) if value in factor.levels else 0.0
    return convert(value, factor.unit, factor.shown) if factor.unit != factor.shown else value


def _level(mean: LevelMean, factor: Factor) -> Level:
    return Level(show_number(mean.setting, factor), _at(mean.setting, factor), mean.value, mean.low, mean.high)


def _response_label(one: ResponseFindings) -> str:
    label = {"lightness": "lightness L*", "redness": "redness a*", "yellowness": "yellowness b*"}.get(
        one.kind, one.label
    )
    unit = show_unit(one.unit)
    return f"{label}, {unit}" if unit and one.kind == "number" else label


def _limits(one: ResponseFindings) -> tuple[float, float] | None:
    return (1.0, 5.0) if one.kind == "grade" else None


def main_effects_chart(found: StudyFindings, name: str) -> MainEffects | None:
    """Return the main-effects chart of one response, or None when it has no factor to show."""
    one = found.responses[name]
    factors = [factor for factor in found.study.factors if factor.name in one.main_effects]
    if not factors:
        return None
    value = _tile_value(found, name)
    panels = tuple(
        Panel(
            factor.label,
            show_unit(factor.shown),
            factor.spacing,
            tuple(_level(mean, factor) for mean in one.main_effects[factor.name]),
            tuple(
                TilePoint(
                    tile.tile, _at(tile.settings[factor.name], factor), y, lab_to_hex(tile.lab) if tile.lab else ""
                )
                for tile in found.tiles
                if (y := value(tile)) is not None
            ),
        )
        for factor in factors
    )
    told = "; ".join(
        f"{factor.label}: "
        + ", ".join(
            f"{show(mean.setting, factor)} {plain_number(mean.value)}" for mean in one.main_effects[factor.name]
        )
        for factor in factors
    )
    label = _response_label(one)
    passing = found.study.rub.passing if found.study.rub and one.kind == "grade" else None
    return MainEffects(
        label,
        panels,
        alt=f"Chart of {label} against each factor. Predicted means: {told}.",
        toward={"lightness": "lower is darker", "grade": "5 = no stain"}.get(one.kind, ""),
        caption="Line and bars: predicted mean and its 95 % range. Points: tiles, in their own colour where it was read.",
        limits=_limits(one),
        line=(passing, "passes") if passing is not None else None,
    )


def _tile_value(found: StudyFindings, name: str) -> Callable[[TileSeen], float | None]:
    axis = {"L": 0, "a": 1, "b": 2}.get(name)

    def value(tile: TileSeen) -> float | None:
        if axis is not None:
            return None if tile.lab is None else tile.lab[axis]
        if name.startswith("rub_"):
            return tile.grades.get(name.removeprefix("rub_"))
        if name == "to_target":
            return tile.distance
        return tile.values.get(name)

    return value


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
    lines = tuple(
        Line(
            _short(setting, across),
            tuple(
                Level(show_number(at, along), _at(at, along), cell.value, cell.low, cell.high)
                for at, cell in zip(columns, row, strict=True)
            ),
        )
        for setting, row in zip(rows, cells, strict=True)
    )
    label = _response_label(one)
    verdict = grid.finding.verdict if grid.finding else "no sign"
    caption = {
        "drives": "The lines are not parallel: what one factor does depends on the other.",
        "may drive": "The lines may not be parallel: what one factor does may depend on the other.",
    }.get(
        verdict, "No sign that one factor's effect depends on the other: lines differ by no more than noise would do."
    )
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


def _settings_to_repeat(found: StudyFindings) -> tuple[Batch, TileSeen] | None:
    if found.best is None:
        return None
    fixed = {
        factor.name: found.best.settings[factor.name] for factor in found.study.factors if factor.set_per != "tile"
    }
    return Batch(found.best.batch, 1, 1, fixed), found.best


def _mixing(found: StudyFindings, process: Process) -> tuple[Fact, ...]:
    to_repeat = _settings_to_repeat(found)
    if to_repeat is None:
        return ()
    return tuple(Fact(f"One {found.word}", amount.text) for amount in amounts(found.study, process, to_repeat[0]))


def _repeat(found: StudyFindings, process: Process) -> tuple[str, ...]:
    to_repeat = _settings_to_repeat(found)
    if to_repeat is None or found.study.process == "other":
        return ()
    study, (_, best) = found.study, to_repeat
    settings = _listed(
        [f"{study.factor(name).label} {show(value, study.factor(name))}" for name, value in best.settings.items()]
    )
    mix = process.data.get("mix", {})
    return (
        f"Use the same metal and finish: {metal_text(study)}.",
        *mix.get("lines", ()),
        f"Settings of tile {best.tile}: {settings}.",
        *steps(process),
        f"Wait {study.stage_days} days, read the colour, then rub. Make at least two tiles in two fresh {count(2, found.word).removeprefix('2 ')}.",
    )
