"""Colour as one thing in sentences: what moves it, how much of its variation goes with what, what to keep in mind."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from tilestudy.analysis import wording
from tilestudy.analysis.colour.change import VISIBLE
from tilestudy.analysis.findings import ALPHA, ResponseSpec
from tilestudy.analysis.numbers import significant
from tilestudy.colour.names import name_of
from tilestudy.study.language import capital, listed, plural

if TYPE_CHECKING:
    from tilestudy.analysis.colour.as_one import ColourEffect, ColourFindings

EXPLAINED = "CIEDE2000 is a scale of how different two colours look: 1 is just visible side by side, 5 is plain to see."

LOOPED = 8.0
"""Mean CIEDE2000 of the tiles from their predicted colours above which a loop is suspected (common practice, no source)."""

_SHARES = "Of all colour variation between these tiles"
_NOTHING = 0.005  # CIEDE2000 too small to be told
_MANY = 3  # factors not settled that are told in one sentence

_SPEC = ResponseSpec("colour", "colour", "CIEDE2000", smallest_that_matters=VISIBLE, of_colour=True)


def told_as(value: float) -> str:
    """Write a CIEDE2000 to two digits."""
    return significant(value, 2)


def sentences(found: ColourFindings) -> list[str]:
    """Say what moves the colour, the clearest first, and how much of its variation goes with what."""
    if found.shares is None:
        return [
            "All tiles have one and the same colour, so these readings cannot tell whether any factor matters: a finer "
            "measurement may show more."
        ]
    said: list[str] = []
    unsettled = [e for e in found.effects if e.verdict == "not settled" and e.change.high is not None]
    for effect in found.effects:
        if effect.verdict == "cannot tell" and effect.change.difference < _NOTHING:
            continue
        if effect in unsettled and len(unsettled) >= _MANY:
            if effect is not unsettled[0]:
                continue
            names = listed([found.factors[one.factor].label for one in unsettled])
            most = max(one.change.high or 0.0 for one in unsettled)
            sentence = f"Whether {names} matter for the colour is not settled: moves up to {told_as(most)} CIEDE2000 fit these tiles."
        else:
            sentence = _sentence(found, effect)
        said.append(sentence)
        if "CIEDE2000" in sentence and EXPLAINED not in said:
            said.append(EXPLAINED)
        in_brackets = effect.change.low is not None and effect.verdict in ("drives", "may drive")
        if in_brackets and wording.RANGE_EXPLAINED not in said:
            said.append(wording.RANGE_EXPLAINED)
    said += _shared(found)
    return said + (found.stages.sentences() if found.stages else [])


def brief(found: ColourFindings) -> list[str]:
    """Return the few sentences that fit a handout: what moves the colour, or may."""
    told = [effect for effect in found.effects if effect.verdict in ("drives", "may drive", "cannot tell")]
    return [one for one in sentences(replace(found, effects=tuple(told), stages=None)) if not one.startswith(_SHARES)]


def cautions(found: ColourFindings) -> list[str]:
    """Say where units were too few to judge the colour as a whole, and where a lucky session may stand behind it."""
    said = []
    few: dict[tuple[str, int], list[str]] = {}
    for effect in found.effects:
        test, label = effect.test, found.factors[effect.factor].label
        if test is None:
            continue
        if effect.by == "channels":
            unit = found.word if test.set_per == "batch" else test.set_per
            few.setdefault((plural(unit), round(100 * test.least_p)), []).append(label)
        across = test.set_per == "batch" and not test.within and 1 < found.sessions < found.batches
        if across and effect.verdict in ("drives", "may drive"):
            said.append(
                f"The settings of {label} were compared across sessions, so a lucky session may stand behind it. Make "
                f"{plural(found.word)} of different {label} in one session to tell."
            )
    if found.rest > LOOPED and (found.stages is None or not found.stages.useful):
        said.append(
            f"The settings foretell the colour of a tile only to about {found.rest:.0f} CIEDE2000. Either tiles made alike "
            "differ as much, or the colours run round a loop, as those of thin films do, which no straight or bent line "
            f"follows. Make two tiles alike in one {found.word} to tell; if they match, study a narrower range."
        )
    for (units, least), labels in few.items():
        said.append(
            f"With so few {units} even the strongest effect of {listed(labels, 'or')} on the whole colour would come up by "
            f"chance {least} times in 100, so it is judged by L*, a* and b* one by one. More {units} would let the "
            "colour be judged as a whole."
        )
    return said


def rows(found: ColourFindings) -> list[tuple[str, ...]]:
    """Rows for the table of tests: response, term, judged by, change, range, df, ddf, F, p, verdict."""
    rows: list[tuple[str, ...]] = []
    for effect in found.effects:
        change, test = effect.change, effect.test
        span = "" if change.low is None or change.high is None else f"{told_as(change.low)} to {told_as(change.high)}"
        judged = "" if test is None else found.word if test.set_per == "batch" else test.set_per
        p = "" if effect.p is None else f"{effect.p:.3f}" if effect.p >= 0.0005 else "<0.001"
        rows.append(
            (
                "colour (L*a*b*)",
                effect.factor.replace("_", " "),
                judged,
                f"{told_as(change.difference)} CIEDE2000",
                span,
                "",
                "",
                "" if test is None else f"{test.F:.2f}",
                p,
                effect.verdict,
            )
        )
    return rows


def _sentence(found: ColourFindings, effect: ColourEffect) -> str:
    change, factor = effect.change, found.factors[effect.factor]
    label = factor.label
    run = wording.span(change.setting_low, change.setting_high, factor, found.show)
    bare = wording.bare_span(change.setting_low, change.setting_high, factor, found.show)
    if effect.verdict == "no sign":
        matters = wording.verb(label, "matters", "matter")
        return (
            f"No sign that {label} {matters} for the colour: {bare} it moves by {told_as(change.high or 0.0)} CIEDE2000 at "
            f"most, and {VISIBLE:g} would just be visible."
        )
    if effect.verdict == "not settled" and change.high is not None:
        matters = wording.verb(label, "matters", "matter")
        how = f"any move up to {told_as(change.high)} CIEDE2000 fits these tiles"
        return f"Whether {label} {matters} for the colour is not settled: {bare} {how}."
    before, after = name_of(change.lab_low), name_of(change.lab_high)
    names = f"from {before} to {after}" if before != after else f"within {before}"
    how_far = wording.size(change.difference, change.low, change.high, _SPEC, VISIBLE)
    moved = f"{capital(run)} the predicted colour moves {names}, by {how_far}"
    if change.ends is not None:
        first, last = (found.show(setting, factor) for setting in change.ends[:2])
        moved += f", while {first} and {last} look more alike ({told_as(change.ends[2])})"
    if effect.verdict == "drives":
        return f"{moved}: {label} {wording.verb(label, 'drives', 'drive')} the colour."
    if effect.verdict == "may drive" and effect.p_holm is not None and effect.p_holm <= ALPHA:
        return f"{moved}: {label} {wording.verb(label, 'moves', 'move')} it, but by {effect.why}."
    if effect.verdict == "may drive":
        return f"{moved}: {label} may drive the colour, but {effect.why}."
    return f"{moved}, but {effect.why}."


def _shared(found: ColourFindings) -> list[str]:
    """Say how much of the colour variation goes with each factor, with batches and with tiles."""
    if found.shares is None or not any(effect.verdict in ("drives", "may drive") for effect in found.effects):
        return []
    luck = f"{found.word} luck"
    parts = []
    for effect in sorted(found.effects, key=lambda effect: -(effect.share or 0.0)):
        label = found.factors[effect.factor].label
        wide = effect.test.set_per != "tile" if effect.test else found.factors[effect.factor].set_per != "tile"
        moving = effect.verdict in ("drives", "may drive")
        parts.append((effect.share or 0.0, label if moving else f"{label} or {luck if wide else 'chance'}"))
    parts.append((found.shares.pairs, "what factors do together"))
    told = [f"{100 * share:.0f} % goes with {what}" for share, what in parts if share >= 0.005]
    if not told:
        return []
    told = [told[0], *(one.replace(" goes with ", " with ") for one in told[1:])]
    noise = ((found.shares.batches, luck), (found.shares.tiles, "scatter from tile to tile"))
    told += [f"{100 * share:.0f} % is {what}" for share, what in noise if share >= 0.005]
    return [f"{_SHARES} {listed(told)}."]
