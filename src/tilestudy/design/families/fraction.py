"""Two-level fractional factorials of minimum aberration, and their fold-over.

Generators of Box, Hunter & Hunter (1978), Statistics for Experimenters, Table 12.15 (also NIST/SEMATECH e-Handbook,
5.3.3.4.7). That table skips 12 to 14 factors: theirs are the best of all subsets in 16 tiles, and of all even plans in
32, where for more than 10 factors every plan of resolution IV is even (Bruen, Haddad & Wehlau 1998). Minimum aberration:
Fries & Hunter (1980), Technometrics 22:601. Fold-over: Box & Hunter (1961), Technometrics 3:311.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from tilestudy.design.families.aliasing import aliases_of_words, blurred, effects_up_to, group, strength
from tilestudy.design.families.family import Family, Word
from tilestudy.design.families.full import two_level_factorial
from tilestudy.errors import PlanError

LETTERS = "ABCDEFGHJKLMNOP"
ROMAN = {3: "III", 4: "IV", 5: "V", 6: "VI", 7: "VII"}
SOURCE = "Box, Hunter & Hunter (1978), Statistics for Experimenters, Table 12.15"
OWN = "minimum aberration (Fries & Hunter 1980), found by trying all subsets"

_BHH = {
    (3, 4): "C=AB",
    (4, 8): "D=ABC",
    (5, 16): "E=ABCD",
    (5, 8): "D=AB E=AC",
    (6, 32): "F=ABCDE",
    (6, 16): "E=ABC F=BCD",
    (6, 8): "D=AB E=AC F=BC",
    (7, 64): "G=ABCDEF",
    (7, 32): "F=ABCD G=ABDE",
    (7, 16): "E=ABC F=BCD G=ACD",
    (7, 8): "D=AB E=AC F=BC G=ABC",
    (8, 64): "G=ABCD H=ABEF",
    (8, 32): "F=ABC G=ABD H=BCDE",
    (8, 16): "E=BCD F=ACD G=ABC H=ABD",
    (9, 128): "H=ACDFG J=BCEFG",
    (9, 64): "G=ABCD H=ACEF J=CDEF",
    (9, 32): "F=BCDE G=ACDE H=ABDE J=ABCE",
    (9, 16): "E=ABC F=BCD G=ACD H=ABD J=ABCD",
    (10, 128): "H=ABCG J=BCDE K=ACDF",
    (10, 64): "G=BCDF H=ACDF J=ABDE K=ABCE",
    (10, 32): "F=ABCD G=ABCE H=ABDE J=ACDE K=BCDE",
    (10, 16): "E=ABC F=BCD G=ACD H=ABD J=ABCD K=AB",
    (11, 128): "H=ABCG J=BCDE K=ACDF L=ABCDEFG",
    (11, 64): "G=CDE H=ABCD J=ABF K=BDEF L=ADEF",
    (11, 32): "F=ABC G=BCD H=CDE J=ACD K=ADE L=BDE",
    (11, 16): "E=ABC F=BCD G=ACD H=ABD J=ABCD K=AB L=AC",
    (15, 16): "E=AB F=AC G=AD H=BC J=BD K=CD L=ABC M=ABD N=ACD O=BCD P=ABCD",
}
_FOUND = {
    (12, 16): "E=ABC F=BCD G=ACD H=ABD J=ABCD K=AB L=AC M=AD",
    (13, 16): "E=ABC F=BCD G=ACD H=ABD J=ABCD K=AB L=AC M=AD N=BC",
    (14, 16): "E=ABC F=BCD G=ACD H=ABD J=ABCD K=AB L=AC M=AD N=BC O=BD",
    (12, 32): "F=ABC G=ABD H=ACD J=BCD K=ABE L=ACE M=ADE",
    (13, 32): "F=ABC G=ABD H=ACD J=BCD K=ABE L=ACE M=ADE N=BCE",
    (14, 32): "F=ABC G=ABD H=ACD J=BCD K=ABE L=ACE M=ADE N=BCE O=BDE",
    (15, 32): "F=ABC G=ABD H=ACD J=BCD K=ABE L=ACE M=ADE N=BCE O=BDE P=CDE",
}
GENERATORS = {size: tuple(text.split()) for size, text in (_BHH | _FOUND).items()}
"""Generators by (factors, tiles)."""


def tile_counts(columns: int) -> list[int]:
    """Return how many tiles the fractions for so many factors have, rising.

    >>> tile_counts(6)
    [8, 16, 32]
    """
    return sorted(tiles for factors, tiles in GENERATORS if factors == columns)


def from_generators(columns: int, generators: Collection[str], source: str) -> Family:
    """Return the two-level fraction of these generators (``D=ABC``, ``D=-ABC``) for so many factors.

    Raises
    ------
    PlanError
        When a generator cannot be read, or does not define a column of its own from the basic columns.
    """
    basic = columns - len(generators)
    matrix = np.zeros((2**basic, columns))
    matrix[:, :basic] = two_level_factorial(basic).matrix
    words: list[Word] = []
    for generator in generators:
        new, _, text = generator.partition("=")
        sign, text = (-1, text[1:]) if text.startswith("-") else (1, text)
        place = LETTERS.find(new) if len(new) == 1 else -1
        parts = [LETTERS.find(letter) for letter in text]
        if not (basic <= place < columns and text and min(parts) >= 0 and max(parts) < basic) or matrix[:, place].any():
            raise PlanError(
                f'The generator "{generator}" does not define one of the columns {LETTERS[basic:columns]} from '
                f"{LETTERS[:basic]}. Write one for each, as {LETTERS[basic]}={LETTERS[:basic]}."
            )
        matrix[:, place] = sign * np.prod(matrix[:, parts], axis=1)
        words.append((sum(1 << part for part in parts) | 1 << place, sign))
    relation = group(words)
    resolution = relation[0][0].bit_count()
    name = f"2^({columns}-{len(words)}) fraction, resolution {ROMAN.get(resolution, resolution)}, {2**basic} tiles"
    return Family(
        name,
        matrix,
        source,
        generators=tuple(generators),
        words=relation,
        resolution=resolution,
        aliases=aliases_of_words(relation, columns),
    )


def fraction(columns: int, tiles: int) -> Family:
    """Return the minimum-aberration fraction of so many factors in so many tiles.

    Raises
    ------
    PlanError
        When the table has none; the nearest that exist are named.

    >>> plan = fraction(7, 16)
    >>> plan.resolution, plan.word_lengths
    (4, (0, 7, 0, 0, 0))
    """
    if (columns, tiles) not in GENERATORS:
        raise PlanError(f"There is no two-level fraction of {columns} factors in {tiles} tiles. {_offer(columns)}")
    source = SOURCE if (columns, tiles) in _BHH else OWN
    return from_generators(columns, GENERATORS[columns, tiles], source)


def fraction_of_resolution(columns: int, resolution: int) -> Family:
    """Return the smallest fraction of so many factors with at least this resolution (3, 4, 5 ...).

    Raises
    ------
    PlanError
        When the table has none.

    >>> fraction_of_resolution(7, 4).tiles
    16
    """
    found = [fraction(columns, tiles) for tiles in tile_counts(columns)]
    for family in found:
        if (family.resolution or 0) >= resolution:
            return family
    wanted = ROMAN.get(resolution, str(resolution))
    best = max(found, key=lambda family: family.resolution or 0, default=None)
    at_best = f"; the highest here is {ROMAN[best.resolution or 3]}, with {best.tiles} tiles" if best else ""
    raise PlanError(
        f"No two-level fraction of {columns} factors here has resolution {wanted}{at_best}. {_offer(columns)}"
    )


def _offer(columns: int) -> str:
    if counts := tile_counts(columns):
        listed = ", ".join(map(str, counts))
        return f"Fractions exist with {listed} tiles, and the full factorial has {2**columns}."
    if 0 < columns < 3:
        return f"So few factors need no fraction: make all {2**columns} combinations."
    return f"Fractions exist here for 3 to {len(LETTERS)} factors: leave some out, or hold them at one setting."


def fold_over(family: Family, columns: Collection[int] | None = None) -> Family:
    """Return a two-level plan and its mirror image, in two blocks; the second half has the signs of these columns turned.

    With all columns turned (the default) the main effects of a plan of resolution III come clear of interactions of two;
    with one turned, that factor and all its interactions come clear.

    Raises
    ------
    PlanError
        When the plan is not a two-level one.

    >>> fold_over(fraction(7, 8)).resolution
    4
    """
    if family.coding != "scale" or not np.isin(family.matrix, (-1.0, 1.0)).all():
        raise PlanError(
            f"Only a two-level plan can be folded over, and this is a {family.name}. Start from a fraction."
        )
    turned = sorted(range(family.columns) if columns is None else columns)
    mirror = family.matrix.copy()
    mirror[:, turned] *= -1
    matrix = np.vstack([family.matrix, mirror])
    mask = sum(1 << column for column in turned)
    words = tuple(word for word in family.words if (word[0] & mask).bit_count() % 2 == 0)
    blocks = (1,) * family.tiles + (2,) * family.tiles
    what = "fold-over" if columns is None else f"fold-over on {''.join(LETTERS[c] for c in turned)}"
    resolution: int | None
    if family.words:
        resolution = words[0][0].bit_count() if words else None
        aliases = aliases_of_words(words, family.columns)
    else:
        reach = strength(matrix, min(4, family.columns))
        resolution = reach + 1 if reach < family.columns else None
        mains, pairs = effects_up_to(family.columns, 1), effects_up_to(family.columns, 2)[family.columns :]
        aliases = blurred(matrix, mains, pairs) or (blurred(matrix, pairs, pairs) if pairs else ())
    return Family(
        f"{family.name}, with its {what} = {len(matrix)} tiles",
        matrix,
        f"{family.source}; fold-over: Box & Hunter (1961)",
        words=words,
        resolution=resolution,
        aliases=aliases,
        blocks=blocks,
    )
