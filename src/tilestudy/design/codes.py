"""Tile codes: short, unique in the studio, without look-alike characters.

Common practice, no source: two or three stamped characters. Left out because stamped marks are misread: 0 O Q, 1 I L,
2 Z, 5 S, 8 B, 6 9 G (upside down), U V, M W (upside down). Codes are dealt out at random, so that a code says nothing
about the treatment to whoever scores the tile.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from itertools import product
from random import Random

LETTERS = "ACDEFHJKNPRTXY"
DIGITS = "347"
_SHAPES = ((LETTERS, DIGITS), (LETTERS, DIGITS, DIGITS), (LETTERS, DIGITS, LETTERS), (LETTERS, LETTERS, DIGITS, DIGITS))


def deal_codes(count: int, taken: Collection[str], rng: Random) -> list[str]:
    """Return so many new codes, in random order, none of them in `taken` (compared without case).

    Shorter codes are used up first.

    >>> deal_codes(3, {"A3"}, Random(1))
    ['A7', 'C3', 'A4']
    """
    used = {code.upper() for code in taken}
    fresh: list[str] = []
    for code in _all_codes():
        if len(fresh) == count:
            break
        if code not in used:
            fresh.append(code)
    rng.shuffle(fresh)
    return fresh


def _all_codes() -> Iterator[str]:
    for shape in _SHAPES:
        for characters in product(*shape):
            yield "".join(characters)
