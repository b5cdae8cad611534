"""A plan told in plain sentences: what it is, what it can tell, what it cannot, and what would mend that."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from tilestudy.design.appraise import Appraisal, FactorPower, Noise
from tilestudy.design.layout import Size
from tilestudy.study.language import capital, count, listed, plural
from tilestudy.study.records import Factor, Plan, Study, study_as_planned
from tilestudy.study.units import plain_number, show, show_number, show_unit


def levels_in_words(factor: Factor) -> str:
    """Write a factor's levels: ``1, 3 and 9 g/L``."""
    numbers = [show_number(level, factor) for level in factor.levels]
    return f"{listed(numbers)} {show_unit(factor.shown)}".rstrip()


def describe(study: Study, plan: Plan, word: str) -> list[str]:
    """Say what the plan is: tiles, batches, sessions, what changes where."""
    if plan.taken_in:
        study = study_as_planned(study, plan)
    made = plan.tiles
    references = sum(tile.reference for tile in made)
    per_batch = Counter(tile.batch for tile in made)
    least, most = min(per_batch.values()), max(per_batch.values())
    sessions = len({batch.session for batch in plan.batches})
    size = str(most) if least == most else f"{least} to {most}"
    sentences = [
        f"{count(len(made), 'tile')} in {count(len(plan.batches), word)} of {size}, over {count(sessions, 'session')}"
        + (f"; {references} of them are reference tiles, first, middle and last in each {word}." if references else ".")
    ]
    for factor in study.factors:
        where = {
            "tile": f"set tile by tile within a {word}",
            "batch": f"set once for each {word}; {_batches_each(factor, plan, word)}",
            "session": "set once for each session",
        }[factor.set_per]
        label = capital(factor.label)
        sentences.append(f"{label} ({levels_in_words(factor)}): {where}.")
    if not plan.taken_in:
        sentences.append(f"The order is random within these limits, from seed {plan.seed}; keep to it as printed.")
    return sentences


def _batches_each(factor: Factor, plan: Plan, word: str) -> str:
    each = Counter(batch.settings.get(factor.name) for batch in plan.batches)
    without = [show(level, factor) for level in factor.levels if level not in each]
    least, most = min(each.values()), max(each.values())
    many = count(least, f"freshly made {word}") if least == most else f"{least} to {most} freshly made {plural(word)}"
    if without:
        return f"no {word} has {' or '.join(without)}, each other level gets {many}"
    return f"each level gets {many}"


def tell(study: Study, appraisal: Appraisal, plan: Plan, word: str) -> list[str]:
    """Say what the plan can tell, and what it cannot and why."""
    study = study_as_planned(study, plan)
    noise = appraisal.noise
    sentences = [_assumed(noise, word)]
    for one in appraisal.factors:
        factor = study.factor(one.factor)
        label = capital(factor.label)
        if one.smallest is None:
            sentences.append(_cannot(factor, one, appraisal, plan, word))
            continue
        judged = {
            "batch": f"judged from {word} to {word}, {_degrees(one, word)}",
            "session": f"judged from session to session, {_degrees(one, 'session')}",
            "tile": f"judged from tile to tile within {plural(word)}",
        }[one.set_per]
        span = f"from {show_number(factor.levels[0], factor)} to {show(factor.levels[-1], factor)}"
        if not factor.scaled and len(factor.levels) > 2:
            span = "between any two levels"
        if noise.unit == "L*" and one.smallest > HOPELESS_L:
            sentences.append(
                f"{label}: this plan is all but blind to it: only a change of {amount(one.smallest, noise)} or more {span} would "
                f"likely be seen, and bare metal to black is about 60; {judged}."
            )
        else:
            sentences.append(
                f"{label}: a change of {amount(one.smallest, noise)} or more {span} would likely be seen (in 80 of 100 such "
                f"studies); {judged}."
            )
    return sentences


HOPELESS_L = 40.0
"""A smallest visible change in L* above this tells nothing: bare copper to black is about 60 (common practice, no source)."""


def _assumed(noise: Noise, word: str) -> str:
    if not noise.of:
        return (
            f"No noise is stated for the response, so {plural(word)} made alike are assumed to differ as much as tiles of one "
            f"{word} do, and changes are given as multiples of that. Write batch_sd and tile_sd under [[response]] for figures "
            "in its own unit."
        )
    known = f"Measured in {' and '.join(noise.learned_from)}" if noise.learned_from else "Assumed"
    return (
        f"{known}: {plural(word)} made alike differ by about {amount(noise.batch, noise)} in {noise.of}, tiles of one {word} by "
        f"about {amount(noise.tile, noise)} (standard deviations: about two in three fall closer than that)."
    )


def amount(value: float, noise: Noise) -> str:
    """Write an effect in the noise's unit, or as so many times the difference between tiles made alike."""
    if not noise.of:
        return f"{plain_number(value, 2)} times the difference between tiles made alike"
    return f"{plain_number(value, 2)} {noise.unit}".rstrip()


def _degrees(one: FactorPower, word: str) -> str:
    sessions = (
        f" ({count(one.spent_on_sessions, word)}' worth goes to telling the sessions apart)"
        if one.spent_on_sessions
        else ""
    )
    sessions = sessions.replace(f"1 {word}' worth", f"1 {word}'s worth")
    few = ": few, so a small change will be missed" if one.df < 4 else ""
    return f"with {one.df} to spare for the noise{sessions}{few}"


def _cannot(factor: Factor, one: FactorPower, appraisal: Appraisal, plan: Plan, word: str) -> str:
    label = capital(factor.label)
    if one.why == "constant":
        return f"{label}: the same on every tile, so nothing can be said of it."
    if one.why == "confounded":
        others = {name for pair in appraisal.same_as if factor.name in pair for name in pair} - {factor.name}
        return f"{label} cannot be told from {' or '.join(sorted(others)).replace('_', ' ')}: in these tiles they change together."
    if factor.set_per == "session":
        return (
            f"{label} cannot be told from the luck of the day: no level of it gets a second session with its other settings "
            "kept. Make each level in two sessions; batches_per_session under [limits] spreads batches over more of them."
        )
    if factor.set_per == "batch":
        batches = len(plan.batches)
        kinds = {tuple(sorted((k, str(v)) for k, v in batch.settings.items())) for batch in plan.batches}
        if len(kinds) < batches:
            return (
                f"{label} cannot be told from {word} luck: what the {plural(word)} made alike could show of it goes to telling "
                f"the sessions apart. Make more {plural(word)}, or more of them in one session."
            )
        return (
            f"{label} cannot be told from {word} luck: with {count(batches, word)} for {len(factor.levels)} levels no two "
            f"{plural(word)} were made alike, so nothing shows how much {plural(word)} differ by chance."
        )
    return f"{label} cannot be judged: no tiles are left over to show the noise within a {word}. Make more tiles."


def cost_of_replicating(study: Study, size: Size, wanted: Size, word: str) -> list[str]:
    """Say what the limits cost, and what the wanted layout would need; empty when nothing was given up."""
    if size == wanted:
        return []
    lost = []
    if size.batches_each < study.batches_each:
        each = "no" if size.batches_each == 1 else f"only {size.batches_each}"
        lost.append(f"no second {word} for a setting" if each == "no" else f"{each} {plural(word)} for each setting")
    if size.batches_each // size.parts < wanted.batches_each // wanted.parts:
        lost.append(f"each combination only {_times(size.batches_each // size.parts)}")
    why = f"The limits allow {' and '.join(lost)}." if lost else f"The limits call for smaller {plural(word)}."
    more_batches, more_tiles = wanted.batches - size.batches, wanted.tiles - size.tiles
    return [
        f"{why} The full layout ({wanted.batches_each} {plural(word)} for each setting) would take "
        f"{count(wanted.tiles, 'tile')} in {count(wanted.batches, word)} over {count(wanted.sessions, 'session')}: "
        f"{' and '.join(_more(number, of) for number, of in ((more_tiles, 'tile'), (more_batches, word)) if number)} than "
        "this plan. Raise [limits] to get it."
    ]


def _times(number: int) -> str:
    return {1: "once", 2: "twice"}.get(number, f"{number} times")


def _more(number: int, word: str) -> str:
    return (
        f"{count(number, word).replace(' ', ' more ', 1)}"
        if number >= 0
        else f"{count(-number, word).replace(' ', ' fewer ', 1)}"
    )


def beyond(study: Study, plan: Plan) -> str:
    """Say what this plan cannot tell whatever comes out."""
    study = study_as_planned(study, plan)
    spans: Sequence[str] = [
        f"{factor.label} {show_number(factor.levels[0], factor)} to {show(factor.levels[-1], factor)}"
        for factor in study.factors
        if factor.scaled and len(factor.levels) > 1
    ]
    inside = f"within {', '.join(spans)}" if spans else "for the levels tried"
    lot = f"sheet lot{'s' if ',' in study.metal.lot else ''} {study.metal.lot}" if study.metal.lot else "one sheet lot"
    return f"Whatever comes out holds {inside}, on {study.metal.uns or 'this material'} from {lot}; not beyond."


def longer_sessions(study: Study, now: Appraisal, longer: Appraisal, minutes: int, word: str) -> list[str]:
    """Say what sessions that hold one batch of each setting would buy a per-batch factor, where they buy much."""
    said = []
    for here, there in zip(now.factors, longer.factors, strict=True):
        if here.set_per != "batch" or there.smallest is None or (here.smallest or 1e9) < 1.2 * there.smallest:
            continue
        said.append(
            f"Sessions of {minutes} minutes would each hold one {word} of every setting; the change that is likely seen for "
            f"{study.factor(here.factor).label} would then be {amount(there.smallest, now.noise)}, with the same tiles."
        )
    return said


def one_more_batch(study: Study, now: Appraisal, bigger: Appraisal, plan: Plan, grown: Plan, word: str) -> list[str]:
    """Say what one more batch for each setting would buy a per-batch factor, where it buys much."""
    noise = now.noise
    said = []
    for here, there in zip(now.factors, bigger.factors, strict=True):
        if here.set_per != "batch" or there.smallest is None or (here.smallest or 1e9) < 1.3 * there.smallest:
            continue
        said.append(
            f"One more {word} for each setting ({count(len(grown.tiles), 'tile')} in {count(len(grown.batches), word)}) would "
            f"bring the change that is likely seen for {study.factor(here.factor).label} down to {amount(there.smallest, noise)}."
        )
    return said
