"""Aliasing in plain sentences, with the study's own labels. No source: the words are ours, the facts the family's."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from tilestudy.design.families.family import Alias, Effect, Family
from tilestudy.errors import PlanError
from tilestudy.study.language import capital, listed


def aliases_in_words(family: Family, labels: Sequence[str]) -> list[str]:
    """Say what the plan cannot tell apart, among factors, interactions of two and bends; labels in column order.

    Raises
    ------
    PlanError
        When there are not as many labels as columns.

    >>> from tilestudy.design.families.fraction import fraction
    >>> for sentence in aliases_in_words(fraction(3, 4), ["strength", "dip", "scrub"]):
    ...     print(sentence)
    Strength cannot be told from dip x scrub.
    Dip cannot be told from strength x scrub.
    Scrub cannot be told from strength x dip.
    """
    if len(labels) != family.columns:
        raise PlanError(f"The plan has {family.columns} columns and {len(labels)} labels were given; give as many.")

    def name(effect: Effect) -> str:
        if len(set(effect)) < len(effect):
            return f"the bend of {labels[effect[0]]}"
        return " x ".join(labels[column] for column in effect) or "the mean"

    sentences = [_lost(effect, name(effect)) for effect in family.lost]
    mains_clear = not any(len(alias.effect) == 1 for alias in family.aliases)
    if not family.lost and not family.aliases:
        bends = " and the bend of every factor" if family.coding == "scale" and min(family.levels) > 2 else ""
        if family.columns == 1:
            return [f"Nothing stands in the way of judging {labels[0]}."]
        return [f"Every factor{',' if bends else ' and'} every interaction of two{bends} can be told apart."]
    if family.aliases and mains_clear:
        bends = "every bend and " if family.coding == "scale" and min(family.levels) > 2 else ""
        sentences.append(f"Every factor can be told from every other, and from {bends}every interaction of two.")
    for alias in family.aliases:
        if alias.inseparable:
            sentences.append(f"{capital(name(alias.effect))} cannot be told from {_either(alias.inseparable, name)}.")
    partial = [alias for alias in family.aliases if len(alias.inseparable) < len(alias.others)]
    mains = [alias for alias in partial if len(alias.effect) == 1]
    if mains:
        sentences.append(_blurred_mains(family, mains, [name(alias.effect) for alias in mains]))
    elif partial:
        size, one, other = max(
            (
                (abs(s), a.effect, o)
                for a in partial
                for o, s in zip(a.others, a.shares, strict=True)
                if abs(s) < 1 - 1e-9
            ),
            key=lambda found: found[0],
        )
        what = "Bends and interactions" if any(len(set(a.effect)) == 1 for a in partial) else "Interactions"
        sentences.append(
            f"{what} of two are told from one another only in part; the closest, {name(one)} and {name(other)}, have "
            f"correlation {size:.2f} (0: free of each other, 1: one and the same)."
        )
    return sentences


def _lost(effect: Effect, name: str) -> str:
    if len(effect) == 1:
        return f"{capital(name)} cannot wholly be told from the other factors, since combinations are missing."
    return f"{capital(name)} can be judged in part at most, since combinations are missing."


def _blurred_mains(family: Family, mains: Sequence[Alias], names: Sequence[str]) -> str:
    shares = [abs(share) for alias in mains for share in alias.shares if abs(share) < 1 - 1e-9]
    low, high = (f"{100 * share:.0f}" for share in (min(shares), max(shares)))
    size = "" if family.coding == "levels" else f" ({low if low == high else f'{low} to {high}'} %)"
    whom = "each factor's own effect" if len(mains) == family.columns else f"the effect of {listed(names, 'and')}"
    others = (family.columns - 1) * (family.columns - 2) // 2
    each = "every interaction" if all(len(alias.others) == others for alias in mains) else "many interactions"
    return f"Part{size} of {each} of two other factors adds to or takes from {whom}: a strong interaction can pass for a factor."


def _either(effects: Sequence[Effect], name: Callable[[Effect], str]) -> str:
    return listed([name(effect) for effect in effects], "or")
