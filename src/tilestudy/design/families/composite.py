"""Central composite plans: a two-level cube, star tiles on the axes, centre tiles; for the full quadratic.

Box & Wilson (1951), J. R. Statist. Soc. B 13:1; rotatable and orthogonally blocked: Box & Hunter (1957), Ann. Math.
Statist. 28:195; distances as in NIST/SEMATECH e-Handbook 5.3.3.6.1 and Khuri & Cornell (1987), Response Surfaces.
"""

from __future__ import annotations

from math import sqrt
from typing import Literal

import numpy as np

from tilestudy.design.families.family import Family, Floats, Word
from tilestudy.design.families.fraction import fraction_of_resolution
from tilestudy.design.families.full import two_level_factorial
from tilestudy.errors import PlanError

Star = Literal["rotatable", "face-centred", "orthogonal", "orthogonal blocks"]
SOURCE = "Box & Wilson (1951), J. R. Statist. Soc. B 13:1; Box & Hunter (1957), Ann. Math. Statist. 28:195"
LARGEST = 8


def rotatable_alpha(cube_tiles: int) -> float:
    """Return the star distance that makes prediction equally good at equal distance: the fourth root of the cube's tiles.

    >>> round(rotatable_alpha(8), 3)
    1.682
    """
    return float(cube_tiles**0.25)


def orthogonal_alpha(columns: int, cube_tiles: int, centre: int) -> float:
    """Return the star distance that makes the bends uncorrelated with one another.

    >>> round(orthogonal_alpha(3, 8, 1), 4)
    1.2154
    """
    tiles = cube_tiles + 2 * columns + centre
    return float(((sqrt(tiles) - sqrt(cube_tiles)) ** 2 * cube_tiles / 4) ** 0.25)


def block_alpha(columns: int, cube_tiles: int, cube_centre: int, star_centre: int) -> float:
    """Return the star distance that makes the cube and the star, made in different blocks, orthogonal to the quadratic.

    >>> round(block_alpha(3, 8, 4, 2), 3)
    1.633
    """
    return sqrt(columns * (1 + star_centre / (2 * columns)) / (1 + cube_centre / cube_tiles))


def central_composite(
    columns: int,
    star: Star = "rotatable",
    cube_centre: int = 0,
    star_centre: int = 3,
    cube_blocks: Literal[1, 2] = 1,
    inscribed: bool = False,
) -> Family:
    """Return a central composite plan of 2 to 8 factors; from 5 factors on the cube is the smallest of resolution V.

    Parameters
    ----------
    columns : int
    star : {"rotatable", "face-centred", "orthogonal", "orthogonal blocks"}
        What the star distance is chosen for; face-centred is distance 1: three levels each.
    cube_centre, star_centre : int
        Centre tiles made with the cube (all its blocks together) and with the star.
    cube_blocks : 1 or 2
        For "orthogonal blocks": the cube in one block or two.
    inscribed : bool
        Shrink the whole so that the star is at -1 and 1, within the stated range.

    Raises
    ------
    PlanError
        For another number of factors, no centre tile, or a cube that cannot be split so.

    >>> plan = central_composite(3, cube_centre=0, star_centre=6)
    >>> plan.tiles, round(float(plan.matrix.max()), 3)
    (20, 1.682)
    """
    if not 2 <= columns <= LARGEST:
        raise PlanError(
            f"Central composite plans here take 2 to {LARGEST} factors, and {columns} were asked for. "
            + (
                "Make a row of evenly spaced levels instead."
                if columns < 2
                else "Screen first and keep the strongest few."
            )
        )
    if min(cube_centre, star_centre) < 0 or cube_centre + star_centre < 1:
        raise PlanError(
            f"A central composite plan needs a centre tile, and {cube_centre} with the cube and {star_centre} with the "
            "star were asked for. Ask for 3 in all, or at least 1."
        )
    base = fraction_of_resolution(columns, 5) if columns >= 5 else two_level_factorial(columns)
    cube = base.matrix
    if star == "orthogonal blocks":
        alpha = block_alpha(columns, len(cube), cube_centre, star_centre)
    elif star == "orthogonal":
        alpha = orthogonal_alpha(columns, len(cube), cube_centre + star_centre)
    else:
        alpha = 1.0 if star == "face-centred" else rotatable_alpha(len(cube))
    arms = np.vstack([sign * alpha * np.eye(columns)[axis] for axis in range(columns) for sign in (-1, 1)])
    parts, blocks, centre = [cube], [], cube_centre + star_centre
    if star == "orthogonal blocks":
        if cube_blocks == 2:
            first = _split(cube, base.words, columns)
            parts = [cube[first], cube[~first]]
        if cube_centre % len(parts):
            raise PlanError(
                f"{cube_centre} centre tiles cannot be shared equally by two cube blocks. Ask for {cube_centre + 1}."
            )
        parts = [np.vstack([part, np.zeros((cube_centre // len(parts), columns))]) for part in parts]
        sizes = [*map(len, parts), 2 * columns + star_centre]
        blocks, centre = [number for number, size in enumerate(sizes, 1) for _ in range(size)], star_centre
    matrix = np.vstack([*parts, arms, np.zeros((centre, columns))])
    if inscribed:
        matrix = matrix / max(alpha, 1.0)
    how = f"{star}, {'inscribed, ' if inscribed and alpha > 1 else ''}star at {alpha:.3f}"
    return Family(
        f"central composite ({how}), {len(matrix)} tiles",
        matrix,
        SOURCE,
        generators=base.generators,
        blocks=tuple(blocks),
    )


def _split(cube: Floats, words: tuple[Word, ...], columns: int) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Split the cube by an interaction of three or more that no interaction of two or main effect is aliased with."""
    for mask in sorted(range(1, 1 << columns), key=lambda m: (-m.bit_count(), m)):
        if min((mask ^ word).bit_count() for word, _ in ((0, 1), *words)) >= 3:
            chosen = [column for column in range(columns) if mask >> column & 1]
            return np.asarray(np.prod(cube[:, chosen], axis=1) < 0)
    raise PlanError(
        f"The cube of {len(cube)} tiles for {columns} factors cannot be split in two blocks without losing an interaction "
        "of two factors. Make it in one block."
    )
