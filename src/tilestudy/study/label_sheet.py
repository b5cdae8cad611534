"""Sheets of labels by their dimensions, and where the codes printed on labels lead: [labels] and bench_address in studio.toml."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal
from urllib.parse import urlsplit

from tilestudy.errors import Fault
from tilestudy.study.reader import Reader
from tilestudy.study.units import plain_number
from tilestudy.study.workplace_file import lengths_mm

LabelKind = Literal["tiles", "bags", "baths", "cloths"]
LABEL_KINDS: tuple[LabelKind, ...] = ("tiles", "bags", "baths", "cloths")
"""What there are labels for, in the job's order."""
PAGES: Mapping[str, tuple[float, float]] = {"a4": (210.0, 297.0), "us-letter": (215.9, 279.4)}
"""Width and height of a page by its name, mm."""
EDGE = (8.0, 12.0)
"""What a plain grid leaves free at the page's sides, and at its top and bottom, mm."""
ADDRESS_TEXT = '# bench_address = "http://192.168.1.20:8765"   # where the bench page runs: the codes on labels open a tile there\n'
TEXT = """
# [labels]                           # the sheets that labels are printed on; without it, a plain grid to cut
# page = "a4"                        # or "us-letter", or "100 x 150 mm"
# size = "63.5 x 38.1 mm"            # one label; [labels.tiles], .bags, .baths, .cloths if these have sheets of their own
# columns = 3                        # as many as the page holds, unless told
# rows = 7
# margin_left = "7.2 mm"             # page edge to the first label; in the middle of the page, unless told
# margin_top = "15.1 mm"
# gap_across = "2.5 mm"              # between labels
# gap_down = "0 mm"
# outline = false                    # true draws a line to cut along
"""
_KEYS = ("page", "size", "columns", "rows", "margin_left", "margin_top", "gap_across", "gap_down", "outline")
_SLACK = 0.05
"""What a grid may stick out of its page by rounding, mm."""


@dataclass(frozen=True)
class LabelSheet:
    """A page of labels; all lengths in mm.

    Attributes
    ----------
    page_mm, label_mm : (float, float)
        Width and height.
    columns, rows : int
    left, top : float
        From the page's left and top edge to the first label.
    across, down : float
        Gaps between columns and between rows.
    outline : bool
        True draws each label's outline, to cut along.
    """

    page_mm: tuple[float, float]
    label_mm: tuple[float, float]
    columns: int
    rows: int
    left: float
    top: float
    across: float = 0.0
    down: float = 0.0
    outline: bool = False

    @property
    def per_page(self) -> int:
        """How many labels a page holds."""
        return self.columns * self.rows

    @property
    def right(self) -> float:
        """From the last column to the page's right edge."""
        return self.page_mm[0] - self.left - _span(self.columns, self.label_mm[0], self.across)

    @property
    def bottom(self) -> float:
        """From the last row to the page's bottom edge."""
        return self.page_mm[1] - self.top - _span(self.rows, self.label_mm[1], self.down)

    def corner(self, place: int) -> tuple[float, float]:
        """Return the top left corner of a place, counted from 0 along the rows.

        >>> plain_grid(PAGES["a4"], (48.0, 22.0)).corner(5)
        (57.0, 38.5)
        """
        row, column = divmod(place, self.columns)
        return (
            round(self.left + column * (self.label_mm[0] + self.across), 3),
            round(self.top + row * (self.label_mm[1] + self.down), 3),
        )


def plain_grid(page_mm: tuple[float, float], label_mm: tuple[float, float]) -> LabelSheet:
    """Return as many labels as a page holds, edge to edge in its middle, with lines to cut along.

    >>> grid = plain_grid(PAGES["us-letter"], (48.0, 22.0))
    >>> grid.columns, grid.rows, grid.per_page
    (4, 11, 44)
    """
    columns, rows = (max(1, int((page_mm[k] - 2 * EDGE[k]) // label_mm[k])) for k in (0, 1))
    left, top = ((page_mm[0] - columns * label_mm[0]) / 2, (page_mm[1] - rows * label_mm[1]) / 2)
    return LabelSheet(page_mm, label_mm, columns, rows, left, top, outline=True)


def read_label_sheets(
    data: object, text: str, file: str, paper: str
) -> tuple[Mapping[LabelKind | Literal[""], LabelSheet], list[Fault]]:
    """Read [labels] and its tables for each kind; faults are returned, all of them.

    Parameters
    ----------
    data : object
        What the file holds under ``labels``.
    text, file : str
        The file itself, for its lines, and its name.
    paper : str
        Name of the page where none is told.

    Returns
    -------
    mapping
        The sheet by kind; "" is that of all kinds without one of their own.

    Examples
    --------
    >>> found, _ = read_label_sheets({"size": "2.625 x 1 in"}, "", "studio.toml", "us-letter")
    >>> found[""].columns, found[""].rows, found[""].label_mm
    (3, 11, (66.675, 25.4))
    """
    reader = Reader(text, file)
    if not isinstance(data, dict):
        reader.fault("labels is a table: write [labels], and the lines below it.", "", "labels")
        return {}, reader.faults
    sheets: dict[LabelKind | Literal[""], LabelSheet] = {}
    general = {key: value for key, value in data.items() if key not in LABEL_KINDS}
    if general and (sheet := _sheet(reader, general, "labels", paper)):
        sheets[""] = sheet
    for kind in LABEL_KINDS:
        if kind not in data:
            continue
        table = f"labels.{kind}"
        if not isinstance(data[kind], dict):
            reader.fault(f"{kind} should be a table: write [{table}] on a line of its own.", "labels", kind)
        elif sheet := _sheet(reader, data[kind], table, paper):
            sheets[kind] = sheet
    return sheets, reader.faults


def _sheet(reader: Reader, data: Mapping[str, Any], table: str, paper: str) -> LabelSheet | None:
    """One table, or None where it has faults."""
    before = len(reader.faults)
    for key in data:
        if key not in _KEYS:
            known = (*_KEYS, *LABEL_KINDS) if table == "labels" else _KEYS
            reader.fault(f'the key "{key}" is not known in [{table}]. Known here: {", ".join(known)}.', table, key)
    page = _page(reader, data, table, paper)
    size = lengths_mm(reader.text(data, "size", "", table), 2)
    if "size" not in data:
        reader.fault(f'[{table}] needs the size of a label: size = "63.5 x 38.1 mm", width first.', table)
    elif size is None:
        reader.fault(f'size = {data["size"]!r} cannot be read; write it like "63.5 x 38.1 mm".', table, "size")
    across, down = (_length(reader, data, key, table) or 0.0 for key in ("gap_across", "gap_down"))
    margins = [_length(reader, data, key, table) for key in ("margin_left", "margin_top")]
    told = [reader.whole(data, key, None, table, low=1) for key in ("columns", "rows")]
    outline = reader.flag(data, "outline", table)
    if len(reader.faults) > before or size is None or page is None:
        return None
    found = []
    for k, (what, word, gap) in enumerate((("columns", "wide", across), ("rows", "high", down))):
        least = margins[k] or 0.0
        number = told[k] or int((page[k] - least + gap + _SLACK) // (size[k] + gap))
        need = least + _span(number, size[k], gap)
        if number < 1 or need > page[k] + _SLACK:
            need = least + _span(max(1, number), size[k], gap)
            reader.fault(
                f"{max(1, number)} {what[:-1] if number < 2 else what} of labels {plain_number(size[k], 5)} mm {word} need "
                f"{plain_number(need, 5)} mm with margin and gaps, but the page is {plain_number(page[k], 5)} mm {word}. "
                f"Mend size, {what}, margin or gap.",
                table,
                what if what in data else "size",
            )
            return None
        found.append((number, least if margins[k] is not None else (page[k] - need) / 2))
    (columns, left), (rows, top) = found
    return LabelSheet(page, (size[0], size[1]), columns, rows, left, top, across, down, outline)


def _page(reader: Reader, data: Mapping[str, Any], table: str, paper: str) -> tuple[float, float] | None:
    name = reader.text(data, "page", paper, table)
    if name in PAGES:
        return PAGES[name]
    read = lengths_mm(name, 2)
    if read is None or not all(20 <= side <= 1000 for side in read):
        reader.fault(
            f'page = "{name}" cannot be read; write "a4" or "us-letter", or a size like "100 x 150 mm".',
            table,
            "page",
        )
        return None
    return (read[0], read[1])


def _length(reader: Reader, data: Mapping[str, Any], key: str, table: str) -> float | None:
    """A length in mm, which may be 0; None where it is not told."""
    if key not in data:
        return None
    text = reader.text(data, key, "0 mm", table)
    if re.match(r"^0+([.,]0*)?\s*[a-z]*$", text):
        return 0.0
    read = lengths_mm(text, 1)
    if read is None:
        reader.fault(f'{key} = "{text}" cannot be read; write it like "2.5 mm".', table, key)
        return None
    return read[0]


def _span(number: int, side: float, gap: float) -> float:
    return number * side + (number - 1) * gap


def read_address(value: object, text: str, file: str) -> tuple[str, list[Fault]]:
    """Read bench_address: where the bench page runs, without a slash at its end.

    >>> read_address("http://192.168.1.20:8765/", "", "studio.toml")
    ('http://192.168.1.20:8765', [])
    """
    plain = isinstance(value, str) and value.isascii() and value.isprintable() and " " not in value
    try:
        parts = urlsplit(value) if isinstance(value, str) and plain and len(value) <= 100 else None
        good = parts is not None and parts.scheme in ("http", "https") and bool(parts.hostname)
        good = good and parts is not None and not parts.query and not parts.fragment and parts.port != 0
    except ValueError:
        good = False
    if good and isinstance(value, str):
        return value.rstrip("/"), []
    reader = Reader(text, file)
    reader.fault(
        f'bench_address = {value!r} is no address that a phone can open; write it like "http://192.168.1.20:8765", at most 100 '
        "letters.",
        "",
        "bench_address",
    )
    return "", reader.faults
