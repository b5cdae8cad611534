"""The whole hazard check of a study, as text for people and as plain values for JSON."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tilestudy.study.language import capital, count, listed
from tilestudy.study.records import BatchLog, Made, Plan, Study
from tilestudy.study.units import plain_number
from tilestudy.trade.hazards.bench import Bench, Stop, read_bench
from tilestudy.trade.hazards.check import check
from tilestudy.trade.hazards.finding import Hazard, Question
from tilestudy.trade.hazards.gas import Gas, gases
from tilestudy.trade.hazards.questions import unanswered
from tilestudy.trade.library import Library


@dataclass(frozen=True)
class HazardReport:
    """What the check found, the questions that are open, the worst cases in the air, and what was read.

    `read` holds a line for each thing that was read: bath, order of steps, things nearby, room, the studio's own data; `first` says what comes
    before all of it.
    """

    study: str
    findings: tuple[Hazard, ...]
    questions: tuple[Question, ...]
    gases: tuple[Gas, ...]
    read: tuple[str, ...]
    first: str = (
        "Safety data sheets, local codes and licensed practice come first; this check reads only what is written."
    )

    @property
    def blocking(self) -> tuple[Hazard, ...]:
        """What stops the bench pack."""
        return tuple(one for one in self.findings if one.level == "block")

    def blocks(self) -> Iterator[tuple[str, Sequence[str]]]:
        """Yield the parts of the report: a heading and its sentences."""
        for heading, level in (("Stops the bench pack", "block"), ("Signed off", "signed"), ("Cautions", "warn")):
            found = [_line(one) for one in self.findings if one.level == level]
            if found:
                yield heading, found
        if self.questions:
            yield (
                'To be answered in study.toml, [bench] ("no" is safe)',
                [f"{one.key}: {one.text}" for one in self.questions],
            )
        below = [one.says for one in self.gases if one.over is None]
        if below:
            yield "Worst case in the air", below
        yield "What was read", self.read

    @property
    def verdict(self) -> str:
        """The outcome in one sentence."""
        blocking, signed = len(self.blocking), sum(one.level == "signed" for one in self.findings)
        if blocking:
            return f"{capital(count(blocking, 'finding'))} {'stops' if blocking == 1 else 'stop'} the bench pack of {self.study}."
        tail = f"; {count(signed, 'finding')} signed off" if signed else ""
        left = f"; {count(len(self.questions), 'question')} not answered yet" if self.questions else ""
        return f"Nothing that was read stops the bench pack of {self.study}{tail}{left}."

    def as_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return {
            "study": self.study,
            "blocked": bool(self.blocking),
            "findings": [one.as_dict() for one in self.findings],
            "questions": [{"key": one.key, "text": one.text, "safe": one.safe} for one in self.questions],
            "gases": [one.as_dict() for one in self.gases],
            "read": list(self.read),
        }


def report(
    study: Study,
    library: Library,
    logs: Sequence[BatchLog] = (),
    made: Sequence[Made] = (),
    now: datetime | None = None,
    plan: Plan | None = None,
) -> HazardReport:
    """Check a study (see `check`), with its open questions, its gases, and what was read."""
    bench = read_bench(study, library)
    return HazardReport(
        study.name,
        check(study, library, logs, made, now, plan),
        tuple(unanswered(study, library)),
        gases(bench),
        tuple(_read(bench, len(logs))),
    )


def _line(one: Hazard) -> str:
    sign = " A person may sign it off." if one.level == "block" and one.may_sign else ""
    never = " It cannot be signed off." if one.level == "block" and not one.may_sign else ""
    return f"{one.id}: {one.text}{sign}{never}"


def _read(bench: Bench, logs: int) -> Iterator[str]:
    room = bench.study.workplace.room
    yield f"Bath: {listed([thing.text for thing in bench.bath]) or 'nothing named'}."
    order = ", ".join(_step(stop) for stop in bench.steps) or "no steps"
    whose = "the study's" if bench.own_sequence else "the usual one of the process; [[sequence]] tells yours"
    yield f"Order of steps ({whose}): {order}."
    near = [thing.text for stop in bench.near for thing in stop.things]
    yield f"Nearby: {listed(near)}." if near else "Nearby: nothing is named; [[nearby]] tells what else is in the room."
    size = "not said" if room.m3 is None else f"{plain_number(room.m3)} m³"
    people = "not said" if room.people is None else str(room.people)
    extraction = {True: "works", False: "none", None: "not said"}[room.extraction]
    yield f"Room: {size}; people: {people}; extraction: {extraction}."
    yield from bench.library.told
    if logs:
        yield f"Records: {count(logs, 'batch log')}."


def _step(stop: Stop) -> str:
    used = "bath" if stop.bath else listed([thing.text for thing in stop.things])
    return f"{stop.do} ({used})" if used and used != stop.do else stop.do
