"""A full appraisal in plain sentences under headings: what would be seen, mistaken, lost, and what other plans cost."""

from __future__ import annotations

from tilestudy.design.alternatives import Alternative
from tilestudy.design.appraise import TermPower
from tilestudy.design.full_appraisal import FullAppraisal
from tilestudy.design.robustness import Loss
from tilestudy.design.terms import LeftOut
from tilestudy.design.words import amount, beyond, describe, tell
from tilestudy.study.language import capital, columns, count, listed, plural
from tilestudy.study.records import Factor, Study, study_as_planned
from tilestudy.study.units import plain_number, show, show_number

Blocks = list[tuple[str, list[str]]]


def blocks(full: FullAppraisal) -> Blocks:
    """Return headings with their sentences; the table of other plans is `table`."""
    study = study_as_planned(full.study, full.plan)
    found: Blocks = [
        ("The plan", [*describe(full.study, full.plan, full.word), *full.clock_says]),
        ("What each factor would show", [*tell(full.study, full.appraisal, full.plan, full.word), *_source(full)]),
        ("Bends", _of_kind(full, study, "bend")),
        ("How factors depend on each other", _of_kind(full, study, "pair")),
        ("What could be mistaken for what", _mistaken(full, study)),
        ("Tiles that weigh much", [_leverage(full)]),
        ("If something goes wrong", _losses(full, study)),
        ("How sure predictions would be", _predictions(full, study)),
        (f"The same tiles in other {plural(full.word)}", _trade(full, study)),
        ("Keep in mind", [beyond(full.study, full.plan)]),
    ]
    return [(heading, sentences) for heading, sentences in found if sentences]


def _source(full: FullAppraisal) -> list[str]:
    noise = full.appraisal.noise
    said = []
    if noise.of and not noise.learned_from:
        said.append(
            "No finished study of this process here has measured these differences, so the study file's own figures are used."
        )
    if len({batch.session for batch in full.plan.batches}) > 1:
        said.append(f"Sessions are taken to differ about as much as {plural(full.word)} do.")
    return said


def _named(study: Study, name: str) -> str:
    """Write a term for people: "the bend of dip time", "strength x dip time"."""
    if name.endswith(" (bend)"):
        return f"the bend of {study.factor(name.removesuffix(' (bend)')).label}"
    return " x ".join(study.factor(part).label for part in name.split(" x "))


def _of_kind(full: FullAppraisal, study: Study, kind: str) -> list[str]:
    terms = [one for one in full.appraisal.terms if one.kind == kind]
    said = [_term(full, study, one) for one in terms if one.smallest is not None]
    blind = [_named(study, one.term) for one in terms if one.smallest is None]
    if blind:
        said.append(f"{capital(listed(blind))} would be drawn but not judged: nothing is left to show the noise with.")
    for why, reason in (("few tiles", "tiles"), ("few units", f"{plural(full.word)} or sessions")):
        out = [_named(study, one.name) for one in full.appraisal.left_out if one.kind == kind and one.why == why]
        if out:
            said.append(f"Not looked at, for want of {reason}: {listed(out)}.")
    return said


def _term(full: FullAppraisal, study: Study, one: TermPower) -> str:
    seen, label = amount(one.smallest or 0.0, full.appraisal.noise), capital(_named(study, one.term))
    where = {"batch": f"{full.word} to {full.word}", "session": "session to session", "tile": "tile to tile"}[
        one.set_per
    ]
    if one.kind == "bend":
        return f"{label}: a middle that lies {seen} or more off the straight line would likely be seen, judged from {where}."
    first, second = (study.factor(name) for name in one.factors)
    between = f"between {_either_end(second)}"
    return f"{label}: seen when the change by {first.label} differs by {seen} or more {between}, judged from {where}."


def _either_end(factor: Factor) -> str:
    if not factor.scaled and len(factor.levels) > 2:
        return f"any two levels of {factor.label}"
    return f"{factor.label} {show_number(factor.levels[0], factor)} and {show(factor.levels[-1], factor)}"


def _mistaken(full: FullAppraisal, study: Study) -> list[str]:
    said = []
    for one in full.appraisal.left_out:
        if one.why != "confounded":
            continue
        if not one.partners:
            said.append(f"{capital(_named(study, one.name))}: these tiles hold no combination that shows it.")
        elif len(one.partners) == 1:
            said.append(_same(study, one))
        else:
            said.append(
                f"{capital(_named(study, one.name))} cannot be told from "
                f"{listed([_named(study, name) for name, _ in one.partners])} taken together."
            )
    partly = [
        f"{_named(study, one.name)} for {_named(study, name)} ({100 * share:.0f} % of its size)"
        for one in full.appraisal.left_out
        if one.why not in ("confounded", "constant")
        for name, share in one.partners
        if share >= 0.2 and " x " not in name
    ]
    if partly:
        said.append(f"What is not looked at can pass for something else if it is strong: {listed(partly)}.")
    if not said and len(full.appraisal.terms) > 1 and all(one.why == "constant" for one in full.appraisal.left_out):
        said.append("Nothing: every factor, bend and dependence named above can be told from every other.")
    return said or ["Nothing that is looked at is mixed up with anything else that is looked at."]


def _same(study: Study, one: LeftOut) -> str:
    """A factor is named before what hides behind it: "Scrub cycles cannot be told from strength x dip time"."""
    ((partner, _),) = one.partners
    first, second = (partner, one.name) if one.kind != "main" else (one.name, partner)
    return f"{capital(_named(study, first))} cannot be told from {_named(study, second)}."


def _leverage(full: FullAppraisal) -> str:
    mean = sum(value for _, value in full.leverage) / len(full.leverage)
    if mean > 0.9:
        return (
            "Every tile weighs much: there are hardly more tiles than things to tell, so none can be spared or doubted."
        )
    heavy = sorted((one for one in full.leverage if one[1] > min(2 * mean, 0.95)), key=lambda one: -one[1])
    if not heavy:
        return "No single tile stands out: none pulls the findings twice as hard as the average tile."
    tiles = listed([f"{code} ({plain_number(value, 2)})" for code, value in heavy[:6]])
    more = f" and {len(heavy) - 6} more" if len(heavy) > 6 else ""
    return (
        f"{tiles}{more} pull the findings much harder than the rest (leverage; the average is {plain_number(mean, 2)}, 1 means "
        "the fit follows that tile wherever it goes): make and measure these with special care."
    )


def _losses(full: FullAppraisal, study: Study) -> list[str]:
    lost = full.robustness
    said = []
    for losses, what in (
        (lost.batch if len(full.plan.batches) > 1 else (), f"one {full.word} fails"),
        (lost.tiles, f"{count(lost.tiles_lost, 'tile')} {'is' if lost.tiles_lost == 1 else 'are'} lost"),
    ):
        if losses:
            said.append(
                f"If {what}, the smallest change that would likely be seen grows: "
                f"{', '.join(_growth(study, one) for one in losses)}."
            )
            said += [_gone(study, one, what) for one in losses if one.untellable > 0]
    for name, batches in lost.fragile.items():
        said.append(
            f"Without {full.word} {listed(batches, 'or')}, {study.factor(name).label} could not be told as planned any more; make "
            "up a failed one before the session ends."
        )
    return said


def _growth(study: Study, one: Loss) -> str:
    label = study.factor(one.factor).label
    if one.typical is None or one.worst is None:
        return f"{label} beyond telling"
    typical, worst = (max(0, round(100 * (grown - 1))) for grown in (one.typical, one.worst))
    most = f" ({worst} % at worst)" if worst > max(typical, 4) else ""
    return f"{label} hardly{most}" if typical < 5 else f"{label} by {typical} %{most}"


def _gone(study: Study, one: Loss, what: str) -> str:
    often = (
        "In a few cases when" if one.untellable < 0.05 else f"In about {round(100 * one.untellable)} of 100 cases when"
    )
    often = "Whenever" if one.untellable == 1 else often
    return f"{often} {what}, {study.factor(one.factor).label} can no longer be told at all."


def _predictions(full: FullAppraisal, study: Study) -> list[str]:
    picture = full.picture
    if picture is None:
        return []
    factors = [picture.across, *([picture.up] if picture.up else [])]
    where = listed([f"{f.label} {show(_rounded(at), f)}" for f, at in zip(factors, picture.worst_at, strict=True)])
    noise = full.appraisal.noise
    if picture.worst < 1.02 * picture.best:
        return [
            f"The mean {noise.of or 'response'} to expect would be known to within {amount(picture.worst * noise.tile, noise)} "
            "everywhere (standard error: about two in three fall closer than that). A single fresh tile scatters around that mean."
        ]
    return [
        f"The mean {noise.of or 'response'} to expect would be known best to within {amount(picture.best * noise.tile, noise)}, and "
        f"least, at {where}, to within {amount(picture.worst * noise.tile, noise)} (standard errors: about two in three fall closer "
        "than that). A single fresh tile scatters around that mean."
    ]


def _rounded(value: float | str) -> float | str:
    return value if isinstance(value, str) else float(f"{value:.2g}")


def _trade(full: FullAppraisal, study: Study) -> list[str]:
    said = []
    for factor in study.factors_set_per("batch"):
        parts = []
        for one in full.trades:
            seen = next(f.smallest for f in one.appraisal.factors if f.factor == factor.name)
            size = f"{count(one.batches, full.word)} of {'up to ' if one.batches * one.tiles_in_each > len(full.plan.tiles) else ''}{one.tiles_in_each}"
            parts.append(
                f"as {size} it cannot be told from {full.word} luck"
                if seen is None
                else f"as {size} a change of {amount(seen, full.appraisal.noise)} or more would likely be seen"
            )
        if parts:
            said.append(
                f"{capital(factor.label)}, with these {count(len(full.plan.tiles), 'tile')}: {'; '.join(parts)}."
            )
    return said


def table(full: FullAppraisal) -> str:
    """Return the other plans as an aligned table, the cheapest adequate one marked; "" when there is none."""
    if not full.alternatives:
        return ""
    noise = full.appraisal.noise
    unit = f" ({noise.unit})" if noise.of else ""
    head = [
        "tiles",
        plural(full.word),
        "sessions",
        "hours",
        *(f"{f.label}{unit}" for f in full.study.factors),
        "combinations",
        "",
    ]
    rows = [head]
    for one in full.alternatives:
        smallest = {f.factor: f.smallest for f in one.appraisal.factors}
        seen = [smallest[f.name] for f in full.study.factors]
        rows.append(
            [
                *(str(number) for number in one.counts),
                f"{one.minutes / 60:.1f}",
                *("cannot tell" if value is None else plain_number(value, 2) for value in seen),
                one.what,
                _mark(one),
            ]
        )
    return "\n".join(columns(rows))


def _mark(one: Alternative) -> str:
    marks = (["this plan"] if one.current else []) + (["cheapest enough"] if one.cheapest else [])
    return f"<- {', '.join(marks)}" if marks else ""


def how_to_get_them(full: FullAppraisal) -> list[str]:
    """Say what the table means, which plan is the cheapest that is enough, and what to type for each."""
    if not full.alternatives:
        return []
    name, worth = full.study.name, amount(full.worth, full.appraisal.noise)
    said = [
        f"Under each factor stands the smallest change, from its lowest to its highest level, that would likely be seen. Enough "
        f"means: {worth} or less for every factor. Hours are the process's usual times (common practice), "
        "with the hands that the study file states, dips overlapping."
    ]
    best = next((one for one in full.alternatives if one.cheapest), None)
    if best is None:
        said.append(
            f"None of these sees {worth} of every factor. Fewer levels, steadier {plural(full.word)} or a longer session would help."
        )
    elif best.current:
        said.append("This plan is the cheapest of these that is enough.")
    for one in full.alternatives:
        if not (one.current and full.stored):
            lead = "Cheapest that is enough: to take" if one is best else "To take"
            tiles, batches, _ = one.counts
            said.append(
                f"{lead} the {count(tiles, 'tile')} in {count(batches, full.word)}, write under [limits] {one.edit}{_choose(one)}; then "
                f'"tilestudy plan {name} --seed {full.plan.seed}". To look closer first: "tilestudy appraise {name} {one.options}".'
            )
    return said


def _choose(one: Alternative) -> str:
    return f', and at the top choose = "{one.choose}"' if one.choose else ""


def sentences(full: FullAppraisal) -> list[str]:
    """Return all sentences, headings left out."""
    return [*(one for _, some in blocks(full) for one in some), *how_to_get_them(full)]
