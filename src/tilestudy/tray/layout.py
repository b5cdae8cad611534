"""Where everything lies on a tray sheet: markers in the corners, references to the bottom right, tiles in a grid around them.

The page is, from the top: a strip with the two upper markers and words between them, the field of tiles and references,
a strip with the two lower markers and words between them. Every thing in the field has a footprint: its place, free paper
around it and room for its code beneath. Footprints never overlap. All lengths mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from tilestudy.errors import WrongRequestError
from tilestudy.study.language import count
from tilestudy.tray.references import References
from tilestudy.tray.sheet import Box, Cell, Marker, Sheet, marker_numbers

PAGES = {"a4": (210.0, 297.0), "us-letter": (215.9, 279.4)}
"""Width and height of a page."""
_NAMES = {"a4": "an A4", "us-letter": "a US Letter"}
MARGIN = 8.0
"""From the page's edge to markers and field; what printers leave white is less."""
MARKER = 18.0
"""Side of a marker: seven modules of 2.57 mm."""
FREE = 6.0
"""Free paper between a tile and the next tile, patch or marker; a photo's light is measured there."""
CLEAR = 3.0
"""Nothing but ticks is printed so near a place."""
CODE = 3.0
"""Height of the line that holds a code."""
MOST_TILES = 24
"""On a sheet."""
CLOTH = 30.0
"""Side of the place of a cloth swatch; its middle 12 mm are measured."""
CLEAN = 2
"""Clean swatches on a sheet of cloths."""

Block = tuple[float, float, tuple[Cell, ...], Box | None]
"""References together: width and height of their footprint, patches in it, the card in it."""


def lay_out(
    study: str,
    tile_mm: tuple[float, float],
    codes: Sequence[str],
    *,
    first_number: int,
    paper: str,
    references: References | None = None,
    cloths: Sequence[str] = (),
) -> list[Sheet]:
    """Lay tiles, and cloths, out on tray sheets.

    Parameters
    ----------
    study : str
        Name of the study.
    tile_mm : (float, float)
        Width and height of a tile. Tiles stand upright; they are turned only where no sheet would hold one otherwise.
    codes : sequence of str
        Tiles in the order in which they are laid, row by row.
    first_number : int
        Tray number of the first sheet; the others follow.
    paper : "a4" or "us-letter"
    references : References or None
        The same on every sheet.
    cloths : sequence of str
        Rubbed swatches (`cloth_code`); they come on sheets of their own, each with clean ones in its first and last place.

    Raises
    ------
    WrongRequestError
        Unknown paper; a tile or a card that no sheet holds.

    Examples
    --------
    >>> sheets = lay_out("plaques", (25, 50), [f"A{one}" for one in range(36)], first_number=7, paper="a4")
    >>> [(sheet.number, len(sheet.tiles)) for sheet in sheets], sheets[0].tiles[0].box.width
    ([(7, 18), (8, 18)], 25.0)
    """
    if paper not in PAGES:
        raise WrongRequestError(f'There is no paper called "{paper}". Use one of: {", ".join(PAGES)}.')
    blocks = list(_blocks(references))
    sheets: list[Sheet] = []
    if codes:
        for chunk, grid in _shared_out(codes, tile_mm, MOST_TILES, paper, blocks, "tile"):
            tiles = tuple(Cell(code, box) for code, box in zip(chunk, grid.boxes, strict=False))
            sheets.append(_sheet(study, first_number + len(sheets), paper, grid, tiles, ()))
    if cloths:
        for chunk, grid in _shared_out(cloths, (CLOTH, CLOTH), MOST_TILES - CLEAN, paper, blocks, "swatch", CLEAN):
            named = ["clean 1", *chunk, "clean 2"]
            swatches = tuple(Cell(code, box) for code, box in zip(named, grid.boxes, strict=False))
            sheets.append(_sheet(study, first_number + len(sheets), paper, grid, (), swatches))
    return sheets


@dataclass(frozen=True)
class _Grid:
    """Places of tiles, row by row, with the references beside them."""

    boxes: tuple[Box, ...]
    gap: float
    patches: tuple[Cell, ...] = ()
    card: Box | None = None


def _sheet(
    study: str, number: int, paper: str, grid: _Grid, tiles: tuple[Cell, ...], cloths: tuple[Cell, ...]
) -> Sheet:
    width, height = PAGES[paper]
    right, bottom = round(width - MARGIN - MARKER, 2), round(height - MARGIN - MARKER, 2)
    corners = ((MARGIN, MARGIN), (right, MARGIN), (MARGIN, bottom), (right, bottom))
    markers = tuple(
        Marker(which, Box(x, y, MARKER, MARKER)) for which, (x, y) in zip(marker_numbers(number), corners, strict=True)
    )
    return Sheet(number, study, paper, width, height, markers, tiles, grid.patches, grid.card, cloths)


def _shared_out(
    codes: Sequence[str],
    size: tuple[float, float],
    most: int,
    paper: str,
    blocks: Sequence[Block],
    word: str,
    more: int = 0,
) -> Iterator[tuple[Sequence[str], _Grid]]:
    """Codes shared out over sheets as evenly as can be, with the roomiest grid that holds them (and `more` places)."""
    for side in (size, (size[1], size[0])):
        grids = [grid for block in blocks for grid in _grids(side, paper, block)]
        room = min(most, max((len(grid.boxes) for grid in grids), default=0) - more)
        if room > 0:
            break
    else:
        beside = " beside these references" if blocks[0][2] else ""
        raise WrongRequestError(
            f"A {word} of {size[0]:g} x {size[1]:g} mm does not fit on {_NAMES[paper]} sheet{beside}, with free paper around it. "
            + ("Use a smaller card or fewer patches." if beside else "Measure such tiles with an instrument.")
        )
    sheets = math.ceil(len(codes) / room)
    least, longer = divmod(len(codes), sheets)
    held = least + (longer > 0) + more
    grid = max((grid for grid in grids if len(grid.boxes) >= held), key=lambda one: one.gap)
    start = 0
    for place in range(sheets):
        end = start + least + (place < longer)
        yield codes[start:end], grid
        start = end


def _field(paper: str) -> Box:
    """Where footprints may stand: between the strips with the markers."""
    width, height = PAGES[paper]
    strip = MARGIN + MARKER + CLEAR
    return Box(MARGIN, strip, width - 2 * MARGIN, height - 2 * strip)


def _grids(size: tuple[float, float], paper: str, block: Block) -> Iterator[_Grid]:
    """Grids of places with one block of references: around it, above it, or left of it."""
    field = _field(paper)
    wide, high, patches, card = block
    if wide > field.width or high > field.height:
        return
    left, top = field.width - wide, field.height - high
    choices = [(field, Box(field.x + left, field.y + top, wide, high))]
    if wide:
        choices += [
            (Box(field.x, field.y, field.width, top), Box(field.x + left / 2, field.y + top, wide, high)),
            (Box(field.x, field.y, left, field.height), Box(field.x + left, field.y + top / 2, wide, high)),
        ]
    width, height = float(size[0]), float(size[1])
    foot = (width + FREE, height + 2 * CLEAR + CODE)
    for region, hole in choices:
        for columns in range(1, int(region.width / foot[0] + 1e-6) + 1):
            for rows in range(1, int(region.height / foot[1] + 1e-6) + 1):
                across, down = region.width / columns, region.height / rows
                boxes = tuple(
                    Box(round(x + FREE / 2, 2), round(y + CLEAR, 2), width, height)
                    for row in range(rows)
                    for column in range(columns)
                    for x, y in [
                        (
                            region.x + column * across + (across - foot[0]) / 2,
                            region.y + row * down + (down - foot[1]) / 2,
                        )
                    ]
                    if not _overlap(Box(x, y, *foot), hole)
                )
                yield _Grid(boxes, min(across - width, down - height - CODE), *_moved(patches, card, hole))


def _overlap(one: Box, other: Box) -> bool:
    slack = 0.01
    return (
        one.x + slack < other.x + other.width
        and other.x + slack < one.x + one.width
        and one.y + slack < other.y + other.height
        and other.y + slack < one.y + one.height
    )


def _moved(patches: Iterable[Cell], card: Box | None, to: Box) -> tuple[tuple[Cell, ...], Box | None]:
    """The references of a block, at its place on the page."""

    def moved(box: Box) -> Box:
        return Box(round(box.x + x, 2), round(box.y + y, 2), box.width, box.height)

    x, y = round(to.x, 2), round(to.y, 2)
    return tuple(Cell(one.code, moved(one.box)) for one in patches), None if card is None else moved(card)


def _blocks(references: References | None) -> Iterator[Block]:
    """Ways to put the references together: loose patches in rows, a card upright or turned to the right."""
    if references is None:
        yield (0.0, 0.0, (), None)
        return
    boxes = [patch.box for patch in references.patches]
    names = [patch.name for patch in references.patches]
    if references.card_mm is not None:
        width, height = references.card_mm
        edge = 2 * CLEAR + CODE  # above the card a line says how it is laid
        for turned in (False, True):
            wide, high = (height, width) if turned else (width, height)
            card = Box(CLEAR, edge - CLEAR, wide, high)
            placed = [Box(wide - box.y - box.height, box.x, box.height, box.width) if turned else box for box in boxes]
            cells = tuple(
                Cell(name, Box(round(card.x + box.x, 2), round(card.y + box.y, 2), box.width, box.height))
                for name, box in zip(names, placed, strict=True)
            )
            yield (wide + 2 * CLEAR, high + edge, cells, card)
        return
    side = max(box.width for box in boxes)
    across, down = side + FREE, side + 2 * CLEAR + CODE
    for columns in range(1, len(boxes) + 1):
        rows = math.ceil(len(boxes) / columns)
        if math.ceil(len(boxes) / rows) < columns:
            continue  # as few columns for so many rows as will do
        cells = tuple(
            Cell(
                name,
                Box(
                    place % columns * across + FREE / 2 + (side - box.width) / 2,
                    place // columns * down + CLEAR + (side - box.height) / 2,
                    box.width,
                    box.height,
                ),
            )
            for place, (name, box) in enumerate(zip(names, boxes, strict=True))
        )
        yield (columns * across, rows * down, cells, None)


def codes_on(sheet: Sheet) -> str:
    """Say what lies on a sheet.

    >>> codes_on(lay_out("plaques", (25, 50), ["A3", "A4"], first_number=1, paper="a4")[0])
    '2 tiles: A3 A4'
    """
    if sheet.tiles:
        return f"{count(len(sheet.tiles), 'tile')}: {' '.join(cell.code for cell in sheet.tiles)}"
    rubbed = [cell.code for cell in sheet.cloths if not cell.code.startswith("clean ")]
    return f"{count(len(rubbed), 'rubbed swatch')} and {CLEAN} clean ones: {', '.join(rubbed)}"
