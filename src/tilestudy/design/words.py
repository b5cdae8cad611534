"""A plan told in plain sentences: what it is, what it can tell, what it cannot, and what would mend that."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from tilestudy.design.appraise import Appraisal, FactorPower
from tilestudy.design.layout import Size
from tilestudy.study.records import Factor, Plan, Study
from tilestudy.study.units import plain_number, show, show_number, show_unit


def count(number: int, word: str) -> str:
    """Write a count with its word: 1 bath, 2 baths, 3 batches.

    >>> count(1, "bath"), count(3, "batch"), count(2, "tile")
    ('1 bath', '3 batches', '2 tiles')
    """
    return f"{number} {word if number == 1 else plural(word)}"


def plural(word: str) -> str:
    """Return the plural of a bench word."""
    return word + ("es" if word.endswith(("ch", "s", "x")) else "s")


def levels_in_words(factor: Factor) -> str:
    """Write a factor's levels: ``1, 3 and 9 g/L``."""
    numbers = [show_number(level, factor) for level in factor.levels]
    listed = f"{', '.join(numbers[:-1])} and {numbers[-1]}"
    return f"{listed} {show_unit(factor.shown)}".rstrip()


def describe(study: Study, plan: Plan, word: str) -> list[str]:
    """Say what the plan is: tiles, batches, sessions, what changes where."""
    made = [tile for tile in plan.tiles if not tile.replaces]
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
        label = factor.label[0].upper() + factor.label[1:]
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
    noise = appraisal.noise
    unit = f" {noise.unit}" if noise.unit else ""
    sentences = [
        f"Assumed: {plural(word)} made alike differ by about {plain_number(noise.batch)}{unit} in {noise.of}, tiles of one "
        f"{word} by about {plain_number(noise.tile)}{unit} (standard deviations: about two in three fall closer than that)."
    ]
    for one in appraisal.factors:
        factor = study.factor(one.factor)
        if one.smallest is not None:
            low, high = show_number(factor.levels[0], factor), show(factor.levels[-1], factor)
            judged = {
                "batch": f"judged from {word} to {word}, {_degrees(one.df)}",
                "session": f"judged from session to session, {_degrees(one.df)}",
                "tile": f"judged from tile to tile within {plural(word)}",
            }[one.set_per]
            sentences.append(
                f"{factor.label[0].upper()}{factor.label[1:]}: a change of {plain_number(one.smallest, 2)}{unit} or more from "
                f"{low} to {high} would likely be seen (in 80 of 100 such studies); {judged}."
            )
        else:
            sentences.append(_cannot(factor, one, appraisal, plan, word))
    return sentences


def _degrees(df: int) -> str:
    return f"with {df} to spare for the noise" + (": few, so a small change will be missed" if df < 4 else "")


def _cannot(factor: Factor, one: FactorPower, appraisal: Appraisal, plan: Plan, word: str) -> str:
    label = f"{factor.label[0].upper()}{factor.label[1:]}"
    if one.why == "constant":
        return f"{label} does not vary in these tiles, so they tell nothing about it."
    if one.why == "confounded":
        others = {name for pair in appraisal.same_as if factor.name in pair for name in pair} - {factor.name}
        return f"{label} cannot be told from {' or '.join(sorted(others)).replace('_', ' ')}: in these tiles they change together."
    if factor.set_per == "session":
        return (
            f"{label} cannot be told from the luck of the day: no level of it gets a second session with its other settings "
            "kept. Make each level in two sessions."
        )
    if factor.set_per == "batch":
        batches = len(plan.batches)
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


def beyond(study: Study) -> str:
    """Say what no plan of this study can tell."""
    spans: Sequence[str] = [
        f"{factor.label} {show_number(factor.levels[0], factor)} to {show(factor.levels[-1], factor)}"
        for factor in study.factors
        if factor.scaled
    ]
    inside = f"within {', '.join(spans)}" if spans else "for the levels tried"
    lot = f"sheet lot {study.metal.lot}" if study.metal.lot else "one sheet lot"
    return f"Whatever comes out holds {inside}, on {study.metal.uns or 'this material'} from {lot}; not beyond."


def one_more_batch(study: Study, now: Appraisal, bigger: Appraisal, plan: Plan, grown: Plan, word: str) -> list[str]:
    """Say what one more batch for each setting would buy a per-batch factor, where it buys much."""
    noise = now.noise
    unit = f" {noise.unit}" if noise.unit else ""
    said = []
    for here, there in zip(now.factors, bigger.factors, strict=True):
        if here.set_per != "batch" or there.smallest is None or (here.smallest or 1e9) < 1.3 * there.smallest:
            continue
        said.append(
            f"One more {word} for each setting ({count(len(grown.tiles), 'tile')} in {count(len(grown.batches), word)}) would "
            f"bring the change that is likely seen for {study.factor(here.factor).label} down to {plain_number(there.smallest, 2)}{unit}."
        )
    return said
