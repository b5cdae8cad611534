"""What is printed on a cut plan: the sheets, how to cut them, and what to stamp on which tile."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from tilestudy.design.cutting.plan import CutPlan, CutSheet
from tilestudy.design.cutting.stamp import Stamp
from tilestudy.design.cutting.words import Step, block_name, length, measuring, name_of, steps
from tilestudy.paper.content import Fact, Masthead
from tilestudy.paper.cut_picture import alt, cut_picture, overview
from tilestudy.study.language import capital, count


@dataclass(frozen=True)
class Mark:
    """A tile of a strip: the code to stamp, and its batch or "spare"."""

    code: str
    batch: str


@dataclass(frozen=True)
class Strip:
    """A strip: its name ("A2"), width, tiles in order, and what is left at its end ("3 blanks, or left whole")."""

    name: str
    width: str
    marks: tuple[Mark, ...]
    rest: str


@dataclass(frozen=True)
class CutPage:
    """One sheet: what it is, how it is cut, its pictures (SVG), and its strips."""

    title: str
    about: str
    steps: tuple[Step, ...]
    overview: str
    picture: str
    alt: str
    strips: tuple[Strip, ...]


@dataclass(frozen=True)
class Heap:
    """Tiles that belong together once they are stamped: the batch (or "spare"), and their codes in run order."""

    name: str
    codes: tuple[str, ...]


@dataclass(frozen=True)
class CutPages:
    """The whole cut plan on paper."""

    masthead: Masthead
    facts: tuple[Fact, ...]
    told: tuple[str, ...]
    measuring: str
    drilling: tuple[str, ...]
    heaps: tuple[Heap, ...]
    pages: tuple[CutPage, ...]


def cut_pages(
    masthead: Masthead,
    plan: CutPlan,
    stamps: Sequence[Stamp],
    *,
    facts: Sequence[Fact],
    told: Sequence[str],
    drilling: Sequence[str],
    heaps: Sequence[tuple[str, Sequence[str]]],
) -> CutPages:
    """Return what is printed.

    Parameters
    ----------
    masthead : Masthead
    plan : CutPlan
    stamps : sequence of Stamp
    facts : sequence of Fact
        Metal, tile, mass, cost.
    told : sequence of str
        The plan in sentences.
    drilling : sequence of str
        How to stamp and drill.
    heaps : sequence of (str, sequence of str)
        Each batch and the codes of its tiles, to sort by.
    """
    pages = []
    for one in plan.sheets:
        mine = [stamp for stamp in stamps if stamp.sheet == one.number]
        pages.append(
            CutPage(
                f"{'Offcut' if one.sheet.offcut else 'Sheet'} {one.number} of {len(plan.sheets)}"
                + (" (an example)" if plan.example else ""),
                f"{capital(name_of(one))}: {count(one.tiles, 'tile')}.",
                tuple(steps(plan, one)),
                overview(one),
                cut_picture(plan, one, mine),
                alt(plan, one),
                strips(one, mine),
            )
        )
    sorted_out = tuple(Heap(name, tuple(codes)) for name, codes in heaps)
    return CutPages(masthead, tuple(facts), tuple(told), measuring(plan), tuple(drilling), sorted_out, tuple(pages))


def strips(one: CutSheet, stamps: Sequence[Stamp]) -> tuple[Strip, ...]:
    """Return the strips of a sheet with their tiles, in the order of cutting; those that stay blank are left out."""
    found = []
    for (block, strip), group in groupby(stamps, key=lambda stamp: (stamp.block, stamp.strip)):
        there = list(group)
        marks = tuple(Mark(stamp.code, stamp.batch or "spare") for stamp in there if stamp.code)
        if marks:
            of = one.pattern.blocks[block - 1]
            width = of.tile[1] if of.lengthwise else of.tile[0]
            blanks = len(there) - len(marks)
            rest = f"{count(blanks, 'blank')}, or left whole" if blanks else ""
            found.append(Strip(f"{block_name(block - 1)}{strip}", f"{length(width)} mm", marks, rest))
    return tuple(found)
