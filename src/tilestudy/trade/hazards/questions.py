"""The bench questions: what no file can tell, asked of a person."""

from __future__ import annotations

from collections.abc import Sequence

from tilestudy.study.records import Study
from tilestudy.trade.hazards.bench import Bench, read_bench
from tilestudy.trade.hazards.finding import Question
from tilestudy.trade.library import Library

_APART = {
    "acid_at_the_same_place": frozenset({"acid", "sulfide"}),
    "sulfide_bath_near": frozenset({"acid", "sulfide", "nitrate"}),
    "fuel_near_nitrate": frozenset({"nitrate", "fuel"}),
}


def unanswered(study: Study, library: Library) -> Sequence[Question]:
    """Return the bench questions of the process that are still "not checked" and that the study file does not tell.

    >>> from tilestudy.study.workplace import Room, Workplace
    >>> from tilestudy.trade.library import BUILT_IN
    >>> told = Study("s", "", "sulfide-dip", (), workplace=Workplace(Room(extraction=True)))
    >>> [one.key for one in unanswered(told, BUILT_IN)]
    ['acid_at_the_same_place']
    """
    bench = read_bench(study, library)
    return [
        Question(ask["key"], ask["text"], ask["safe"])
        for ask in bench.process.data.get("ask", ())
        if study.bench.get(ask["key"], "not checked") == "not checked" and not _told(ask["key"], bench)
    ]


def _told(key: str, bench: Bench) -> bool:
    """Return whether the study file itself tells what a question asks; the rules then read that."""
    study = bench.study
    if key == "extraction_missing":
        return study.workplace.room.extraction is not None
    if key == "soldered_pieces":
        return study.metal.solder not in ("", "unknown")
    if key == "unknown_or_coated_metal":
        return "unknown" not in bench.families and study.metal.coating not in ("", "unknown")
    return key in _APART and bench.own_sequence and _kept_apart_in_writing(bench, _APART[key])


def _kept_apart_in_writing(bench: Bench, classes: frozenset[str]) -> bool:
    """Return whether each step with a thing of these classes names its place, tools and jar, and each rinse its bucket."""
    return all(
        stop.place and (stop.near or (stop.tools and stop.jar))
        for stop in bench.stops
        if any(thing.classes & classes for thing in stop.things)
    ) and all(stop.bucket for stop in bench.steps if stop.rinse)
