"""CGATS text (ISO 28178:2009): keywords, BEGIN_DATA_FORMAT ... END_DATA_FORMAT, BEGIN_DATA ... END_DATA, to blocks."""

from __future__ import annotations

import re
from collections.abc import Sequence

from tilestudy.colour.instrument.block import Block, Said
from tilestudy.colour.instrument.separated import lines_of
from tilestudy.study.language import count

_TOKEN = re.compile(r'"((?:[^"]|"")*)"|(\S+)')
_Line = tuple[int, str]


def is_cgats(text: str) -> bool:
    """Return whether a text has the data format of CGATS.

    >>> is_cgats("CGATS.17\\nBEGIN_DATA_FORMAT\\n"), is_cgats("tile,on,L,a,b\\n")
    (True, False)
    """
    return re.search(r"(?m)^[ \t]*BEGIN_DATA(?:_FORMAT)?[ \t]*\r?$", text) is not None


def blocks_of(text: str) -> tuple[list[Block], list[tuple[int | None, str]]]:
    """Return the tables of a CGATS text, and what is wrong with the text itself as (line, what).

    A further table without a format of its own, or without its own keywords, keeps those of the table before it.

    >>> text = "BEGIN_DATA_FORMAT\\nSAMPLE_ID LAB_L LAB_A LAB_B\\nEND_DATA_FORMAT\\nBEGIN_DATA\\nK7 31 8 9\\nEND_DATA\\n"
    >>> blocks_of(text)[0][0].rows
    ((5, ('K7', '31', '8', '9')),)
    """
    found: list[Block] = []
    faults: list[tuple[int | None, str]] = []
    said = Said()
    fields: tuple[str, ...] = ()
    counts: dict[str, tuple[int, str]] = {}
    numbered = [(number, line) for number, line in enumerate(lines_of(text), 1)]
    place = 0
    while place < len(numbered):
        number, line = numbered[place]
        word = line.split()[0].upper() if line.split() else ""
        place += 1
        if word in ("BEGIN_DATA_FORMAT", "BEGIN_DATA"):
            inside, place, closed = _until(numbered, place, word.replace("BEGIN", "END"))
            if not closed:
                end = word.replace("BEGIN", "END")
                faults.append((number, f"{word} is not closed by {end}: the file breaks off. Export it again."))
            if word == "BEGIN_DATA_FORMAT":
                fields = tuple(token for _, text_ in inside for token in _tokens(text_))
            elif not fields:
                faults.append((number, "the data have no BEGIN_DATA_FORMAT above them, so no column has a name."))
            else:
                block = _block(number, fields, inside, said, counts)
                found.append(block)
                counts = {}
            continue
        tokens = _tokens(line)
        if tokens and tokens[0].upper() in ("NUMBER_OF_FIELDS", "NUMBER_OF_SETS") and len(tokens) > 1:
            counts[tokens[0].upper()] = (number, tokens[1])
        elif tokens and tokens[0].upper() == "KEYWORD":
            continue
        elif len(tokens) > 1:
            said = said.and_also(tokens[0], " ".join(tokens[1:]))
        elif line.lstrip().startswith("#"):
            said = said.and_line(line)
    if not found and not faults:
        faults.append(
            (None, "there is no BEGIN_DATA in this file, so it holds no samples. Export it again with its data.")
        )
    return found, faults


def _tokens(line: str) -> list[str]:
    """Return the words of a line, those in quotes whole; a number sign at its start makes it a comment."""
    if line.lstrip().startswith("#"):
        return []
    return [found[1].replace('""', '"') if found[2] is None else found[2] for found in _TOKEN.finditer(line)]


def _until(lines: Sequence[_Line], place: int, end: str) -> tuple[list[_Line], int, bool]:
    """Return the lines up to one that says `end`, the place behind it, and whether there is one."""
    inside: list[_Line] = []
    for later in range(place, len(lines)):
        first = lines[later][1].split()[:1]
        if first and first[0].upper() == end:
            return inside, later + 1, True
        if lines[later][1].strip():
            inside.append(lines[later])
    return inside, len(lines), False


def _block(
    line: int, fields: tuple[str, ...], lines: Sequence[_Line], said: Said, counts: dict[str, tuple[int, str]]
) -> Block:
    faults: list[tuple[int | None, str]] = []
    rows: list[tuple[int, tuple[str, ...]]] = []
    split = [(number, _row(text, len(fields))) for number, text in lines if not text.lstrip().startswith("#")]
    if split and all(len(cells) < len(fields) for _, cells in split):
        split = _unfolded(split, len(fields))
    for number, cells in split:
        if len(cells) == len(fields):
            rows.append((number, tuple(cells)))
        else:
            what = f"this row has {count(len(cells), 'value')}, and the format names {count(len(fields), 'field')}."
            faults.append((number, f"{what} Put names with blanks in quotation marks, and leave no value out."))
    for keyword, there, things in (
        ("NUMBER_OF_FIELDS", len(fields), "field"),
        ("NUMBER_OF_SETS", len(split), "row"),
    ):
        if keyword in counts and counts[keyword][1] != str(there):
            number, stated = counts[keyword]
            what = f"{keyword} says {stated}, but there {'is' if there == 1 else 'are'} {count(there, things)}. The file is not whole, or was edited. Export it again."
            faults.append((number, what))
    return Block(line, *_without_pairs(fields, tuple(rows)), said, tuple(faults))


def _row(text: str, fields: int) -> list[str]:
    """Split a row at blanks, or at tabs where that alone gives a cell for each field (empty cells, names with blanks)."""
    tokens = _tokens(text)
    tabbed = [cell.strip().strip('"') for cell in text.split("\t")]
    return tabbed if len(tokens) != fields and len(tabbed) == fields else tokens


def _unfolded(split: Sequence[tuple[int, list[str]]], fields: int) -> list[tuple[int, list[str]]]:
    """Join rows that are broken over several lines; a row keeps the line it starts on."""
    whole: list[tuple[int, list[str]]] = []
    for number, cells in split:
        if whole and len(whole[-1][1]) + len(cells) <= fields:
            whole[-1] = (whole[-1][0], [*whole[-1][1], *cells])
        else:
            whole.append((number, list(cells)))
    return whole


def _without_pairs(
    fields: tuple[str, ...], rows: tuple[tuple[int, tuple[str, ...]], ...]
) -> tuple[tuple[str, ...], tuple[tuple[int, tuple[str, ...]], ...]]:
    """Turn fields in pairs, SPECTRAL_NM and SPECTRAL_PCT (or SPECTRAL_DEC), into a field for each wavelength."""
    waves = [place for place, name in enumerate(fields) if name.upper() == "SPECTRAL_NM"]
    if not waves or not rows or any(place + 1 >= len(fields) for place in waves):
        return fields, rows
    at = [rows[0][1][place].split(".")[0] for place in waves]
    if any([cells[place].split(".")[0] for place in waves] != at for _, cells in rows):
        return fields, rows
    named = list(fields)
    for place, nm in zip(waves, at, strict=True):
        named[place], named[place + 1] = "", f"{fields[place + 1]} {nm}"
    return tuple(named), rows
