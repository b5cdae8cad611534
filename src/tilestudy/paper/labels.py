"""What is printed on labels: for tiles, for their bags, for baths and for rubbed cloths, on sheets given by their dimensions."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from urllib.parse import quote

from tilestudy.errors import WrongRequestError
from tilestudy.paper.content import Fact, Masthead, Protection
from tilestudy.paper.pack_content import BatchLabel, Due, Face, LabelBlock, Placed, RubSheet
from tilestudy.paper.qr import Symbol, least_side, qr_symbol
from tilestudy.study.label_sheet import PAGES, LabelKind, LabelSheet, plain_grid
from tilestudy.study.language import listed
from tilestudy.study.records import Study, Tile
from tilestudy.study.units import plain_number
from tilestudy.trade.library import Process

SIZES: Mapping[LabelKind, tuple[float, float]] = {
    "tiles": (48.0, 22.0),
    "bags": (64.0, 34.0),
    "baths": (96.0, 84.0),
    "cloths": (32.0, 14.0),
}
"""Width and height of a label on a plain grid to cut, mm."""
LEAST: Mapping[LabelKind, tuple[float, float]] = {
    "tiles": (25.0, 12.0),
    "bags": (46.0, 28.0),
    "baths": (85.0, 60.0),
    "cloths": (18.0, 9.0),
}
"""The least that the words of a label can be read on, mm."""
PACK_SIZES: Mapping[LabelKind, tuple[float, float]] = {"tiles": (44.0, 22.0), "bags": (58.0, 34.0)}
"""The same in a bench pack: four or three across on its page."""
CLEAR = 1.0
"""Between a label's edge and the white around its code, mm: a printer's feed drifts."""
WORDS = 14.0
"""Least width for the words beside a code, mm."""
STRIP = 9.0
"""A margin at the top or bottom of the page as high as this is printed on, mm."""


@dataclass(frozen=True)
class Labels:
    """All labels of one kind.

    Attributes
    ----------
    kind : LabelKind
    what : str
        "tile labels", as the pages are headed.
    page, label : (float, float)
        Width and height, mm.
    outline : bool
        Draw lines to cut along.
    head_y, foot_y : float or None
        Where the running lines' middles stand, mm; None where the margin is too small for them.
    pages : tuple of tuple of Placed
    """

    masthead: Masthead
    kind: LabelKind
    what: str
    page: tuple[float, float]
    label: tuple[float, float]
    outline: bool
    head_y: float | None
    foot_y: float | None
    pages: tuple[tuple[Placed, ...], ...]


def tile_address(bench_address: str, code: str) -> str:
    """Return what a tile's QR code carries: the tile's page at the bench, or the code itself without an address.

    >>> tile_address("http://192.168.1.20:8765", "A34"), tile_address("", "A34")
    ('http://192.168.1.20:8765/tile/A34', 'A34')
    """
    return f"{bench_address}/tile/{quote(code, safe='')}" if bench_address else code


def tile_faces(tiles: Sequence[Tile], word: str, carries: Callable[[str], str]) -> list[Face]:
    """Return a label for each tile: its code, batch and place in the run order.

    >>> tile_faces([Tile("A34", "B2", 1, 3)], "bath", str)[0].lines
    ('bath B2, no. 3', 'session 1')
    """
    return [
        Face(
            tile.code,
            (
                f"{word} {tile.batch}, no. {tile.order}",
                f"session {tile.session}" + (f", for {tile.replaces}" if tile.replaces else ""),
            ),
            carries=carries(tile.code),
        )
        for tile in tiles
    ]


def bag_faces(codes: Sequence[str], due: Sequence[Due], carries: Callable[[str], str]) -> list[Face]:
    """Return a label for each tile's bag: its code, what falls due when; nothing of how it was made, for scorers see it.

    >>> due = [Due("colour", "a week after making", "before any rub"), Due("rub test, dry", "a week after making")]
    >>> face = bag_faces(["A34"], due, str)[0]
    >>> face.blanks
    ('made on', 'a week after making: colour; rub test, dry')
    >>> face.lines
    ('colour: before any rub',)
    """
    days = [
        f"{when}: {'; '.join(one.what for one in together)}"
        for when, together in groupby(
            sorted(due, key=lambda one: [each.when for each in due].index(one.when)), lambda one: one.when
        )
    ]
    lines = tuple(f"{one.what}: {one.which}" for one in due if one.which)
    return [Face(code, lines, ("made on", *days), carries(code)) for code in codes]


def bath_faces(
    batches: Sequence[tuple[int, BatchLabel]],
    inside: Fact,
    hazards: Sequence[str],
    protection: Sequence[Protection],
) -> list[Face]:
    """Return a label for each batch.

    Parameters
    ----------
    batches : sequence of (session, BatchLabel)
    inside : Fact
        What is in it: `contents`.
    hazards : sequence of str
        What it can do to people, where the batch itself tells nothing.
    protection : sequence of Protection
        What to wear at each step; told together.
    """
    worn = dict.fromkeys(each.strip() for one in protection for each in re.split(r"[,;]", one.protection))
    return [
        Face(
            batch.code,
            (f"session {session}",),
            batch.blanks,
            batch=batch,
            facts=tuple(
                fact
                for fact in (
                    inside,
                    Fact("Hazards", _short(batch.hazards or hazards)),
                    Fact("Protection", ", ".join(worn)),
                )
                if fact.value
            ),
        )
        for session, batch in batches
    ]


def _short(texts: Sequence[str], most: int = 260) -> str:
    """As many whole sentences as a label holds, and where the others are.

    >>> _short(["Hydrogen sulfide. Any acid sets it free.", "The nose tires of it."], 45)
    'Hydrogen sulfide. Any acid sets it free. More on the hazard page of the bench pack.'
    """
    sentences = re.split(r"(?<=[.!?])\s+", " ".join(texts).strip())
    kept = sentences[:1]
    for one in sentences[1:]:
        if len(" ".join([*kept, one])) > most:
            return " ".join([*kept, "More on the hazard page of the bench pack."])
        kept.append(one)
    return " ".join(kept)


def contents(study: Study, process: Process) -> Fact:
    """Say what is in a batch: the process, and what the study adds to it.

    >>> from tilestudy.study.workplace import Added, Workplace
    >>> from tilestudy.trade.library import BUILT_IN
    >>> study = Study("s", "", "sulfide-dip", (), workplace=Workplace(added=(Added("salt", 5.0, "g/L"), Added("ammonia"))))
    >>> contents(study, BUILT_IN.process("sulfide-dip")).value
    'Sulfide dip (potassium polysulfide), with salt 5 g/L and ammonia'
    """
    added = [
        f"{one.what} {plain_number(one.amount)} {one.unit}" if one.amount is not None else one.what
        for one in study.workplace.added
    ]
    what = f"{process.label}, with {listed(added)}" if added else process.label
    return Fact("Contents" if process.wet else "Process", what)


def cloth_faces(sheets: Sequence[RubSheet]) -> list[Face]:
    """Return a label for each cloth, in the order and with the numbers of the rub sheets.

    >>> cloth_faces([RubSheet("cloth", "dry", (), ("K7", "A34"))])[1].lines
    ('dry, no. 2',)
    """
    return [
        Face(code, (f"{sheet.condition}, no. {number}",))
        for sheet in sheets
        for number, code in enumerate(sheet.tiles, start=1)
    ]


def label_pages(
    masthead: Masthead, kind: LabelKind, what: str, sheet: LabelSheet, faces: Sequence[Face], start: int = 1
) -> Labels:
    """Place labels on their sheets.

    Parameters
    ----------
    what : str
        "tile labels": the heading.
    faces : sequence of Face
        At least one.
    start : int
        First free label of a part-used sheet, from 1, counted along the rows.

    Raises
    ------
    WrongRequestError
        The labels are too small, or the first page has no such label.
    """
    if not 1 <= start <= sheet.per_page:
        raise WrongRequestError(
            f"--start {start}: a page holds {sheet.per_page} labels ({sheet.columns} across, {sheet.rows} down), counted along "
            f"the rows. Give the first free one, 1 to {sheet.per_page}."
        )
    if wrong := too_small(kind, sheet, faces):
        raise WrongRequestError(wrong)
    room = _room(kind, sheet)
    placed: list[list[Placed]] = []
    for place, face in enumerate(faces, start - 1):
        page, cell = divmod(place, sheet.per_page)
        if page == len(placed):
            placed.append([])
        x, y = sheet.corner(cell)
        placed[page].append(Placed(x, y, face, _symbol(face, room)))
    return Labels(
        masthead,
        kind,
        what,
        sheet.page_mm,
        sheet.label_mm,
        sheet.outline,
        sheet.top / 2 if sheet.top >= STRIP else None,
        sheet.page_mm[1] - sheet.bottom / 2 if sheet.bottom >= STRIP else None,
        tuple(tuple(page) for page in placed),
    )


def _symbol(face: Face, room: float) -> Symbol | None:
    return qr_symbol(face.carries, room, f"QR code of tile {face.code}") if face.carries else None


def label_block(kind: LabelKind, what: str, faces: Sequence[Face]) -> LabelBlock:
    """Return labels to be set one beside the other on a page of the bench pack; where a code finds no room, without it."""
    sheet = plain_grid(PAGES["a4"], PACK_SIZES[kind])
    room = 0.0 if too_small(kind, sheet, faces) else _room(kind, sheet)
    placed = (Placed(0.0, 0.0, face, _symbol(face, room) if room else None) for face in faces)
    return LabelBlock(kind, what, PACK_SIZES[kind], tuple(placed))


def too_small(kind: LabelKind, sheet: LabelSheet, faces: Sequence[Face]) -> str:
    """Say why labels of this size cannot be read; "" where they can."""
    (width, height), least = sheet.label_mm, LEAST[kind]
    size = f"{plain_number(width, 5)} x {plain_number(height, 5)} mm"
    if width < least[0] or height < least[1]:
        return f"Labels of {size} are too small for {kind}: these need {least[0]:g} x {least[1]:g} mm or more."
    longest = max((face.carries for face in faces), key=len)
    room = _room(kind, sheet)
    if longest and (need := least_side(longest)) > room:
        shorter = ", or give a shorter bench_address" if "/" in longest else ""
        return (
            f"Labels of {size} are too small for {kind}: a QR code that a phone can read needs {need:.1f} mm there, and "
            f"{max(0.0, room):.1f} mm are left for it. Use larger labels{shorter}."
        )
    return ""


def _room(kind: LabelKind, sheet: LabelSheet) -> float:
    """Side of the square that a QR code may take up, mm."""
    width, height = sheet.label_mm
    return min(width - WORDS - CLEAR, height - 2 * CLEAR if kind == "tiles" else 0.62 * height)


def heading(kind: LabelKind, word: str) -> str:
    """Return how the labels of a kind are called.

    >>> heading("baths", "load"), heading("tiles", "bath")
    ('load labels', 'tile labels')
    """
    return f"{ {'tiles': 'tile', 'bags': 'bag', 'baths': word, 'cloths': 'cloth'}[kind] } labels"
