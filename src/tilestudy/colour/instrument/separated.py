"""Text with a cell a column, separated by commas, semicolons or tabs, to blocks.

The header is the first line whose headings name a whole colour (L*a*b*, L*C*h or XYZ) or wavelengths; what stands above
it is read as keywords; a further such line below starts a further block.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence

from tilestudy.colour.instrument.block import Block, Said
from tilestudy.colour.instrument.words import Heading, heading, key_of

FEWEST_WAVELENGTHS = 5
"""Wavelengths by which a line of numbers is known as a header."""


def blocks_of(text: str) -> list[Block]:
    """Return the tables of a text; none when no line is a header.

    >>> one = blocks_of("Light;D65/10\\n\\nSample;L*;a*;b*\\nK7;31,5;8,4;9,9\\n")[0]
    >>> one.line, one.rows, one.said.conditions.illuminant
    (3, ((4, ('K7', '31,5', '8,4', '9,9')),), 'D65')
    """
    lines = lines_of(text)
    found: list[Block] = []
    said, above = Said(), ""
    place = 0
    while place < len(lines):
        delimiter = _delimiter_of_header(lines[place])
        if delimiter is None:
            said = _understood(said, lines[place])
            above = lines[place] if lines[place].strip(" ,;\t") else above
            place += 1
            continue
        stop = next(
            (later for later in range(place + 1, len(lines)) if _delimiter_of_header(lines[later]) is not None),
            len(lines),
        )
        block, said = _block(lines, place, stop, delimiter, above, said)
        found.append(block)
        place, above = stop, ""
    return found


def lines_of(text: str) -> list[str]:
    """Return the lines of a text, whatever they end in."""
    return text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n")


def names_a_colour(headings: Sequence[Heading]) -> bool:
    """Return whether headings name a whole colour, or wavelengths that rise."""
    there = {one.what for one in headings}
    waves = [one.nm for one in headings if one.nm is not None]
    rising = len(waves) >= FEWEST_WAVELENGTHS and len(set(waves)) >= FEWEST_WAVELENGTHS
    return any(set(kind) <= there for kind in ("Lab", "LCh", "XYZ")) or rising


def _delimiter_of_header(line: str) -> str | None:
    """Return what separates the headings of a line that is a header, else None."""
    if len(line) < 5 or not re.search(r"[LX4]|(?i:\bl\b)", line):
        return None
    for delimiter in sorted("\t;,", key=lambda mark: -line.count(mark)):
        if delimiter in line and names_a_colour([heading(cell) for cell in _cells(line, delimiter)]):
            return delimiter
    return None


def _cells(line: str, delimiter: str) -> tuple[str, ...]:
    try:
        row = next(csv.reader([line], delimiter=delimiter), [])
    except csv.Error:
        row = line.split(delimiter)
    return tuple(" ".join(cell.replace("\xa0", " ").split()) for cell in row)


def _understood(said: Said, line: str) -> Said:
    """Return what was said with what a line above a table adds: "Illuminant: D65", "Illuminant;D65", "D65/10°"."""
    tidy = line.strip().lstrip("#").strip(" \t;,\"'")
    if not tidy:
        return said
    found = re.match(r"[^:=;,\t]+", tidy)
    key = found[0] if found else ""
    rest = tidy[len(key) :].strip(" \t:=;,\"'")
    if rest and (key_of(key) or "%" in rest or key.casefold().startswith("measurement")):
        said = said.and_also(key, re.split(r"[;\t]", rest)[0])
        pieces = re.split(r"[;\t]", rest)[1:]
        return said.and_line(" ".join(pieces)) if pieces else said
    return said.and_line(tidy)


def _block(lines: Sequence[str], start: int, stop: int, delimiter: str, above: str, said: Said) -> tuple[Block, Said]:
    headings = _with_those_above(_cells(lines[start], delimiter), _cells(above, delimiter))
    rows: list[tuple[int, tuple[str, ...]]] = []
    faults: list[tuple[int | None, str]] = []
    reader = csv.reader((line + "\n" for line in lines[start + 1 : stop]), delimiter=delimiter, strict=True)
    place, after = start + 1, said
    try:
        for raw in reader:
            cells = tuple(" ".join(cell.replace("\xa0", " ").split()) for cell in raw)
            filled = [cell for cell in cells if cell]
            if len(filled) == 1 and re.search(r"[:=]|^#", filled[0]):
                after = _understood(after, filled[0])  # a line of words between two tables
            elif len(filled) == 2 and cells[0] and cells[1] and key_of(cells[0]) and len(headings) > 3:
                after = _understood(after, f"{cells[0]}: {cells[1]}")
            elif filled and any(cells[len(headings) :]):
                faults.append((place + 1, _too_many(len(cells), len(headings), delimiter)))
            elif filled:
                rows.append((place + 1, (*cells, *[""] * (len(headings) - len(cells)))[: len(headings)]))
            place = start + 1 + reader.line_num
    except csv.Error:
        what = (
            "a quotation mark is opened here and not closed, so nothing below can be read. Close it, or take it away."
        )
        faults.append((place + 1, what))
    return Block(start + 1, headings, tuple(rows), said, tuple(faults)), after


def _too_many(cells: int, headings: int, delimiter: str) -> str:
    comma = ""
    if delimiter == ",":
        comma = " If the numbers have decimal commas, let the instrument's program separate by semicolons or tabs."
    return f"this row has {cells} cells, and the header {headings} headings. Make them agree.{comma}"


def _with_those_above(headings: tuple[str, ...], above: tuple[str, ...]) -> tuple[str, ...]:
    """Add to headings the words of a line above that holds for several of them: SCI over one L*a*b*, SCE over another."""
    said = [heading(cell) for cell in above]
    if sum(bool(one.component or one.illuminant) for one in said) < 2 or len(above) > len(headings):
        return headings
    carried, full = "", []
    for place, cell in enumerate(headings):
        if place < len(above) and above[place]:
            carried = above[place] if said[place].component or said[place].illuminant else ""
        one = heading(cell)
        full.append(f"{cell} {carried}" if carried and one.what and not one.component and not one.illuminant else cell)
    return tuple(full)
