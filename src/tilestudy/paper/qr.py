"""QR codes as black bars of whole printer dots, for a phone to read from paper."""

from __future__ import annotations

from dataclasses import dataclass

from tilestudy.paper.tray_sheet import bars_of
from tilestudy.tray.sheet import Box

DOT = 25.4 / 300
"""A dot of a 300 dpi printer, mm: squares of whole dots come out alike."""
FEWEST, MOST = 5, 8
"""Dots to a square of a code: 0.42 to 0.68 mm. That phones read 0.4 mm with ease is common practice, no source."""
QUIET = 4
"""Squares left white around a code: ISO/IEC 18004:2015."""


@dataclass(frozen=True)
class Symbol:
    """A QR code: side with the white around it, that white, the black bars in it (mm), and what it is, in words."""

    side: float
    quiet: float
    bars: tuple[Box, ...]
    alt: str


def least_side(text: str) -> float:
    """Return the least side of a QR code of this text, the white around it included, mm.

    >>> round(least_side("A34"), 2), round(least_side("http://192.168.1.20:8765/tile/A34"), 2)
    (12.28, 15.66)
    """
    import segno

    return float((segno.make_qr(text, error="m").symbol_size(border=0)[0] + 2 * QUIET) * FEWEST * DOT)


def qr_symbol(text: str, room: float, alt: str) -> Symbol:
    """Return a QR code as large as the room allows, at most 8 dots a square, of error correction level M or better.

    Parameters
    ----------
    text : str
    room : float
        mm; at least `least_side` of the text.
    alt : str

    Examples
    --------
    >>> code = qr_symbol("A34", 20.0, "")
    >>> round(code.side, 2), round(code.quiet, 2)
    (19.64, 2.71)
    """
    import segno

    code = segno.make_qr(text, error="m")
    rows = [[bool(module) for module in row] for row in code.matrix]
    across = len(rows) + 2 * QUIET
    module = max(FEWEST, min(MOST, int(room / across / DOT + 1e-9))) * DOT
    return Symbol(across * module, QUIET * module, bars_of(rows, len(rows) * module), alt)
