"""The first study file: commented, valid at once, short enough to read."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from tilestudy.trade.library import Library
from tilestudy.trade.records import Process


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _many(word: str) -> str:
    """Return a bench word for several: baths, batches."""
    return word + ("es" if word.endswith(("ch", "s", "x")) else "s")


def study_text(name: str, library: Library, process_id: str, uns: str, *, gauge: str = "20 ga", lot: str = "") -> str:
    """Return the text of a new study.toml with the process's defaults.

    >>> from tilestudy.trade.library import BUILT_IN
    >>> "strength" in study_text("plaques", BUILT_IN, "sulfide-dip", "C11000")
    True
    """
    process, protocols = library.process(process_id), list(library.protocols)
    data = process.data
    lines = [
        "# A tilestudy study file. Change what you like; lines starting with # are notes.",
        f'# Next: "tilestudy plan {name}".',
        f"name = {_quoted(name)}",
        f"question = {_quoted(data['question'])}",
        f"process = {_quoted(process.id)}",
    ]
    if "batch_volume" in data:
        lines.append(f'batch_volume = {_quoted(data["batch_volume"])}   # of one {process.batch_word}; or "2 cups"')
    lines += [
        f"reference_tiles = false   # true: the same middling tile first, middle and last in each {process.batch_word}",
        "",
        "[metal]",
        f"uns = {_quoted(uns)}   # the alloy's UNS number, not its trade name",
        f'gauge = {_quoted(gauge)}   # or "0.8 mm"',
        f"lot = {_quoted(lot)}   # what the supplier's label says; keep to one sheet lot if you can",
        "",
        "[tile]",
        'size = "25 x 50 mm"',
    ]
    for factor in data["factor"]:
        lines += ["", *_factor_lines(factor, process)]
    lines += [
        "",
        "[limits]   # what is at hand; leave a line out where there is no limit",
        "tiles = 40",
        f"batches = 8   # {_many(process.batch_word)} in the whole study",
        f"batches_each = 2   # fresh {_many(process.batch_word)} for each per-batch setting; with 1, luck looks like an effect",
        f'minutes = {process.session_minutes:g}   # a session, setting up and clearing up included; or "2.5 h"',
        "",
        "[colour]",
        f'target = {_quoted(data["target"])}   # a plain name, [L, a, b], or "as dark as possible"',
        "tolerance = 5   # CIEDE2000: 1 is just visible side by side, 5 is plain to see",
        'stage = "cured"   # the stage whose colour counts: fresh, cured, sealed or aged',
        "after_days = 7",
        "",
        "[rub]",
        f"protocol = {_quoted(protocols[0])}   # or {', '.join(protocols[1:])}",
        'conditions = ["dry"]   # "wet" too only where the colour stands water',
        "passing = 4   # lowest grade that passes; 5 = no stain on the cloth, 1 = heavy",
        "after_days = 7",
        "",
        "# Any further number you want to record for each tile:",
        "# [[response]]",
        '# name = "gloss"',
        '# unit = "GU"',
        "",
        "[noise]   # assumed while planning, in L*: how much alike-made baths and tiles differ",
        "batch_sd = 3",
        "tile_sd = 3",
        "",
        '[bench]   # answer "yes" or "no" before you print the bench pack',
    ]
    for ask in data.get("ask", ()):
        lines += [f"# {ask['text']}", f'{ask["key"]} = "not checked"']
    lines += ["", *_workplace_lines(process)]
    return "\n".join(lines) + "\n"


def _workplace_lines(process: Process) -> list[str]:
    order = ", ".join(step.do for step in process.sequence)
    return [
        "# The bench, for the hazard check, the cut plan and the timetable. Take the # away from what you fill in.",
        "# [room]",
        '# volume = "50 m3"   # or "5 x 4 x 2.5 m"',
        "# people = 8",
        "# extraction = true   # false: there is none, or it does not work",
        "# [session]",
        '# start = "18:30"',
        "# hands = 1   # pairs of hands that make tiles",
        "# [[sheet]]   # one for each size and lot of sheet at hand",
        '# size = "300 x 600 mm"',
        "# count = 1",
        f"# [[sequence]]   # one for each step of yours; with none: {order}",
        '# do = "pickle"',
        '# with = "white vinegar"',
    ]


def _factor_lines(factor: Mapping[str, Any], process: Process) -> list[str]:
    levels = ", ".join(_quoted(one) if isinstance(one, str) else f"{one:g}" for one in factor["levels"])
    lines = ["[[factor]]", f"name = {_quoted(factor['name'])}"]
    if factor.get("note"):
        lines[0] += f"   # {factor['note']}"
    if factor["unit"]:
        lines.append(f"unit = {_quoted(factor['unit'])}")
    spacing = {
        "linear": "equal steps",
        "geometric": "each level so many times the one before; the trade doubles",
        "steps": "levels compared one by one",
    }[factor["spacing"]]
    where = (
        f"one {process.batch_word}, one setting" if factor["set_per"] == "batch" else "free to change from tile to tile"
    )
    lines += [
        f"levels = [{levels}]",
        f"spacing = {_quoted(factor['spacing'])}   # {spacing}",
        f"set_per = {_quoted(factor['set_per'])}   # {where}",
    ]
    if factor.get("got"):
        lines.append(f'got = {_quoted(factor["got"])}   # or "spooned", "lumps", "by eye"')
    return lines
