"""The hazard check: which rules concern a study's process, metal, rub conditions and bench answers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from tilestudy.study.records import Study
from tilestudy.trade.library import Library


@dataclass(frozen=True)
class Hazard:
    """One finding: a rule's id, "block" or "warn", what it says, what to do next, its source; a warning's title."""

    id: str
    level: Literal["block", "warn"]
    says: str
    next: str
    source: str
    title: str = ""


@dataclass(frozen=True)
class Question:
    """A bench question that nobody has answered yet; `safe` states what holds when the answer is a safe "no"."""

    key: str
    text: str
    safe: str


def hazards(study: Study, library: Library) -> tuple[Hazard, ...]:
    """Return the hazards that stand for this study, blocking ones first.

    >>> from tilestudy.study.records import Metal
    >>> from tilestudy.trade.library import BUILT_IN
    >>> brass = Study("s", "", "high-heat", metal=Metal("C26000"), factors=())
    >>> hazards(brass, BUILT_IN)[0].id
    'high-heat-copper-only'
    """
    family = library.metal_family(study.metal.uns)
    found = [
        Hazard(rule["id"], rule["level"], rule["says"], rule["next"], rule["source"], rule.get("title", ""))
        for rule in library.rules
        if _applies(rule, study, family)
    ]
    return tuple(sorted(found, key=lambda hazard: hazard.level != "block"))


def _applies(rule: Mapping[str, Any], study: Study, family: str) -> bool:
    conditions = study.rub.conditions if study.rub else ()
    return (
        ("processes" not in rule or study.process in rule["processes"])
        and ("families" not in rule or family in rule["families"])
        and ("not_families" not in rule or family not in rule["not_families"])
        and ("conditions" not in rule or any(one in rule["conditions"] for one in conditions))
        and ("answer" not in rule or study.bench.get(rule["answer"]) == "yes")
    )


def unanswered(study: Study, library: Library) -> Sequence[Question]:
    """Return the bench questions of the process that are still "not checked"."""
    return [
        Question(ask["key"], ask["text"], ask["safe"])
        for ask in library.process(study.process).data.get("ask", ())
        if study.bench.get(ask["key"], "not checked") == "not checked"
    ]
