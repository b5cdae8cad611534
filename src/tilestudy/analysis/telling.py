"""What one response's findings say in sentences, the most telling first, and what to keep in mind about them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from tilestudy.analysis import noise_wording, wording
from tilestudy.analysis.findings import ALPHA, Drift, TermFinding, bend_instead
from tilestudy.analysis.naming import speak, together
from tilestudy.analysis.timid import timid_sentence, too_timid
from tilestudy.analysis.wear import wording as chance_wording
from tilestudy.analysis.work import Work
from tilestudy.study.language import listed, plural
from tilestudy.study.records import SetPer

_PASSING = "Tiles that pass"
_RANGE = re.compile(r"\(\S.* to \S.*\)")


def sentences(
    work: Work, terms: tuple[TermFinding, ...], variance: Mapping[str, float | None], drift: Drift | None
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Tell the findings of one response: all sentences, and the few that fit a handout.

    The sentence that explains ranges follows the first range. Doublings, noise and pairs without a sign are left to the
    long telling.
    """
    spec = work.spec
    if work.alike:
        said = tuple(sentence for sentence in (_all_alike(work), _passing(work)) if sentence)
        return said, said
    long: list[str] = []
    brief: list[str] = []

    def say(sentence: str, *, on_handout: bool = True) -> None:
        if sentence:
            long.append(sentence)
            if on_handout:
                brief.append(sentence)

    verdicts = ("drives", "may drive", "cannot tell", "not settled", "no sign")
    kinds = ("main", "bend", "pair")
    instead = {found.term: bend for found in terms if (bend := bend_instead(terms, found))}
    told_with_main = {bend.term for bend in instead.values()}

    def place(found: TermFinding) -> tuple[int, int, float]:
        first = instead.get(found.term, found)
        return verdicts.index(first.verdict), kinds.index(found.kind), -abs(first.effect)

    say(work.opening())
    for found in sorted(terms, key=place):
        if found.term in told_with_main:
            continue
        sentence = _sentence(work, found, instead.get(found.term))
        if not sentence:
            continue
        if found.verdict == "no sign" and _bend_open(terms, found):
            sentence = f"{sentence.removesuffix('.')}; whether its middle does is not settled."
        say(sentence, on_handout=found.kind == "main" or found.verdict == "drives")
        if wording.RANGE_EXPLAINED not in long and found.low is not None and _RANGE.search(sentence):
            say(wording.RANGE_EXPLAINED)
        if found.kind == "main":
            say(wording.doubling_sentence(found, work.factors[found.factors[0]], spec), on_handout=False)
        say(_trap(work, found))
        if found.kind == "main" and (found.verdict in ("drives", "may drive") or found.term in instead):
            counted = any(sentence.startswith(_PASSING) for sentence in brief)  # on paper one count tells enough
            say(_passing(work, found.factors[0]), on_handout=not counted)
    for sentence in _quiet_pairs(work, terms):
        say(sentence, on_handout=False)
    say(_passing(work))
    if any(found.verdict in ("drives", "may drive") for found in terms):
        say(work.best_told())
    if drift is not None:
        say(noise_wording.drift_sentence(drift, spec, work.batch_word), on_handout=drift.verdict == "drifts")
    for sentence in work.noise_sentences(variance):
        say(sentence, on_handout=False)
    return tuple(long), tuple(brief)


def _all_alike(work: Work) -> str:
    """Say that every value is the same, and that this does not show that nothing matters."""
    spec = work.spec
    if spec.kind == "grade":
        return chance_wording.all_alike(work.n_tiles, float(work.y[0]), spec)
    what = "" if spec.unit == spec.label else f"{spec.spoken} "
    alike = f"All {work.n_tiles} tiles have {what}{wording.amount(float(work.y[0]), spec)}"
    return f"{alike}, so these values cannot tell whether any factor matters: a finer measurement may show more."


def _bend_open(terms: Sequence[TermFinding], main: TermFinding) -> bool:
    """Tell whether a factor's middle may still lie off the line by as much as matters."""
    return any(t.kind == "bend" and t.factors == main.factors and t.verdict == "not settled" for t in terms)


def _quiet_pairs(work: Work, terms: Sequence[TermFinding]) -> list[str]:
    """Say of which pairs there is no sign, and of which it is not settled, whether they work on each other."""
    said = []
    pairs = [term for term in terms if term.kind == "pair"]
    none = [together(t.term, work.labels) for t in pairs if t.verdict == "no sign"]
    if none:
        said.append(f"No sign that the effect of one factor depends on another ({listed(none)}).")
    unsettled = [together(t.term, work.labels) for t in pairs if t.verdict == "not settled"]
    if unsettled:
        said.append(f"Whether the effect of one factor depends on another is not settled ({listed(unsettled)}).")
    return said


def _units_at_each_level(work: Work, name: str, stratum: SetPer) -> int:
    """Most batches (sessions) that any level of a factor had."""
    index = work.model.codings[name].nearest(work.data.tiles[name].tolist())
    pairs = {(level, unit) for level, unit in zip(index, work.data.tiles[stratum], strict=True)}
    return max(sum(1 for level, _ in pairs if level == wanted) for wanted in set(index))


def _sentence(work: Work, found: TermFinding, bend: TermFinding | None = None) -> str:
    factor = work.factors[found.factors[0]]
    coding = work.model.codings[factor.name]
    if bend is not None:
        return wording.by_its_middle(found, bend, work.middle(coding), factor, work.spec, work.show)
    if found.kind == "main":
        return wording.main_sentence(found, factor, work.spec, work.show, len(coding.levels), work.ends_told(found))
    if found.kind == "bend":
        return wording.bend_sentence(found, work.middle(coding), factor, work.spec, work.show)
    return _pair_sentence(work, found)


def _pair_sentence(work: Work, found: TermFinding) -> str:
    """Tell a pair as the change by the factor that is measured better (set per tile), at two settings of the other."""
    names = list(found.factors)
    reach = {name: term.set_per for name in names if (term := work.model.term(name))}
    if reach.get(names[0]) != "tile" and reach.get(names[1]) == "tile":
        names.reverse()
    lead, other = (work.model.codings[name] for name in names)
    between = work.every_pair if found.term in work.by_pairs else work.ends
    choices = [(mine, its) for mine in between(lead) for its in between(other)]
    changes = [[work.contrast(work.change(lead.name, *mine, {other.name: at})) for at in its] for mine, its in choices]
    best = max(range(len(choices)), key=lambda i: abs(changes[i][1].value - changes[i][0].value))
    mine, its = choices[best]
    told = replace(found, setting_low=mine[0], setting_high=mine[1])
    both = (changes[best][0], changes[best][1])
    return wording.pair_sentence(told, (lead.factor, other.factor), its, both, work.spec, work.show)


def _trap(work: Work, found: TermFinding) -> str:
    """Warn where taking every tile as independent would have claimed what the batches do not say."""
    if (
        (found.set_per == "tile" and found.term not in work.luck)
        or found.naive_p is None
        or found.naive_p >= ALPHA
        or work.alike
        or work.perfect
    ):
        return ""
    if found.p is not None and found.p <= ALPHA:
        return ""
    units = plural(work.unit(found.set_per))
    things = (
        f"{work.n_rows} scores"
        if work.several and work.n_scorers
        else f"{work.n_rows} measurements"
        if work.several
        else f"{work.n_tiles} tiles"
    )
    name = speak(found.term, work.labels)
    claim = f"Counting the {things} as independent would claim {wording.p_text(found.naive_p)} for {name}"
    meaning = "(p: how often chance alone would show as much)"
    if found.p is None:
        return f"{claim} {meaning}; {work.unit(work.luck.get(found.term, found.set_per))} luck alone can do that."
    return f"{claim}; the {units} say {wording.p_text(found.p).removeprefix('p = ')} {meaning}."


def _passing(work: Work, name: str = "") -> str:
    """Count the tiles that pass: at each level of a factor, or altogether."""
    counts = work.pass_counts()
    if not counts:
        return ""
    passing = f"median grade {work.spec.passing:g} or better"
    if not name and work.data.tiles["reference"].any():
        passing += "; reference tiles are not counted"
    if not name:
        first = next(iter(counts.values()))
        passed, tiles = sum(count.passed for count in first), sum(count.tiles for count in first)
        return f"Altogether {passed} of {tiles} tiles {'passes' if passed == 1 else 'pass'} ({passing})."
    if len({count.passed / count.tiles for count in counts[name] if count.tiles}) < 2:
        return ""
    factor = work.factors[name]
    each = [f"{c.passed} of {c.tiles} {wording.place(c.setting, factor, work.show)}" for c in counts[name] if c.tiles]
    return f"{_PASSING} ({passing}): {listed(each)}."


def cautions(work: Work) -> tuple[str, ...]:
    """Say what to keep in mind: rows lost, single batches, noise that could not be measured, terms left out."""
    said = list(work.data.notes)
    said += [note for note in work.model.notes if note not in said]
    word, words = work.batch_word, plural(work.batch_word)
    if work.n_batches < 2:
        said.append(
            f"All tiles come from one {word}, so whether another {word} would do the same is not known. "
            f"The ranges hold for this {word}."
        )
    for stratum in ("batch", "session"):
        unit = work.unit(stratum)
        lucky = [t.factors[0] for t in work.model.terms if t.kind == "main" and work.luck.get(t.name) == stratum]
        mains = [t.factors[0] for t in work.model.terms if t.kind == "main" and t.set_per == stratum]
        spare = work.model.spare[stratum]
        if lucky:
            names = listed([work.labels[name] for name in lucky])
            once = all(_units_at_each_level(work, name, stratum) == 1 for name in lucky)
            had = (
                f"Each setting of {names} had one {unit} only"
                if once
                else f"The {plural(unit)} are too few or not mixed well enough"
            )
            so = f", so {names} cannot be told from {unit} luck" if once else f" to tell {names} from {unit} luck"
            said.append(f"{had}{so}. Make {work.another(unit)} at each setting.")
        elif work.ranged and (missed := too_timid(work, stratum)):
            said.append(timid_sentence(missed, unit))
        elif mains and spare < 3 and work.ranged:
            names = listed([work.labels[name] for name in mains])
            said.append(
                f"The noise between {plural(unit)} is measured with {spare} {unit if spare == 1 else plural(unit)} beyond "
                f"what the settings of {names} need, so its ranges are wide; every further {unit} narrows them."
            )
    if work.set_aside.get("batch") == "one row each":
        said.append(
            f"Each {word} held one tile, so the noise between {words} and between tiles cannot be told apart; they are judged together."
        )
    if not work.perfect and work.no_residual:
        said.append(
            "Tiles made alike agree to the last digit, which measured tiles seldom do: check that the values were not copied."
        )
    if work.perfect:
        said.append(
            f"The settings explain all {work.n_rows} values to the last digit, so no noise was seen and no range can be given. "
            "Measured tiles seldom do that: check that the values were not computed or copied."
        )
    reasons: dict[str, list[str]] = {}
    for out in work.model.left_out:
        reasons.setdefault(out.why, []).append(speak(out.term, work.labels))
    said += [f"Not looked at: {listed(names)} ({why})." for why, names in reasons.items()]
    return tuple(said)
