"""Three-level and response-surface families against published constants and properties."""

from itertools import combinations

import numpy as np
import pytest

from tilestudy.design.families import (
    block_alpha,
    box_behnken,
    central_composite,
    conference_matrix,
    definitive_screening,
    orthogonal_alpha,
    orthogonal_array,
    rotatable_alpha,
)


def quadratic(matrix: np.ndarray) -> np.ndarray:
    """Return the full quadratic model matrix: mean, main effects, interactions, squares."""
    k = matrix.shape[1]
    pairs = [matrix[:, i] * matrix[:, j] for i, j in combinations(range(k), 2)]
    return np.column_stack([np.ones(len(matrix)), matrix, *pairs, matrix**2])


def test_rotatable_distances_match_nist_5_3_3_6_1_table_3_23() -> None:
    """NIST/SEMATECH e-Handbook Table 3.23, three decimals (from memory; equal to the formula there)."""
    published = {2: 1.414, 3: 1.682, 4: 2.000, 5: 2.000, 6: 2.378}  # 5 and 6: the half fractions
    for k, alpha in published.items():
        assert central_composite(k).matrix.max() == pytest.approx(alpha, abs=5e-4)
    # full cubes of 5 and 6
    assert [rotatable_alpha(32), rotatable_alpha(64)] == pytest.approx([2.378, 2.828], abs=5e-4)


@pytest.mark.parametrize("k", range(2, 9))
def test_a_rotatable_plan_predicts_equally_well_at_equal_distance(k: int) -> None:
    """Box & Hunter (1957): fourth moments 3 : 1, odd moments none; so the variance depends on the distance only."""
    matrix = central_composite(k).matrix
    fourth, mixed = (matrix[:, 0] ** 4).sum(), (matrix[:, 0] ** 2 * matrix[:, 1] ** 2).sum()
    assert fourth == pytest.approx(3 * mixed)
    information = np.linalg.inv(quadratic(matrix).T @ quadratic(matrix))
    around = np.random.default_rng(5).normal(size=(20, k))
    at = quadratic(around / np.linalg.norm(around, axis=1, keepdims=True))
    variance = np.einsum("ij,jk,ik->i", at, information, at)
    assert variance == pytest.approx(variance[0])


def test_orthogonal_distances_match_khuri_cornell1987() -> None:
    """Khuri & Cornell (1987): 2 factors and 1 or 5 centres, 3 and 1 or 6, 4 and 1; computed from their formula."""
    cases = [
        (2, 4, 1, 1.0),
        (2, 4, 5, 1.2671034983),
        (3, 8, 1, 1.2154116895),
        (3, 8, 6, 1.5246492450),
        (4, 16, 1, 2**0.5),
    ]
    for k, cube, centre, alpha in cases:
        assert orthogonal_alpha(k, cube, centre) == pytest.approx(alpha, abs=1e-9)
        squares = central_composite(k, "orthogonal", star_centre=centre).matrix ** 2
        assert np.corrcoef(squares.T)[0, 1] == pytest.approx(0, abs=1e-9)


def test_block_distances_match_box_hunter1957() -> None:
    """4 + 3 | 4 + 3 tiles: 1.414 (Lenth 2009, JSS 32(7)); 3 factors, cube in two blocks of 4 + 2, star 6 + 2: 1.633."""
    assert block_alpha(2, 4, 3, 3) == pytest.approx(2**0.5)
    # Box & Hunter (1957), Table 4, from memory
    assert central_composite(3, "orthogonal blocks", 4, 2, 2).matrix.max() == pytest.approx(1.633, abs=5e-4)


BLOCKED = [central_composite(k, "orthogonal blocks", 4, 2) for k in range(2, 7)]
BLOCKED += [central_composite(k, "orthogonal blocks", 4, 2, 2) for k in (3, 4, 6)]
BLOCKED += [box_behnken(k) for k in (4, 5, 6, 7)]


@pytest.mark.parametrize("family", BLOCKED, ids=lambda family: f"{family.columns} {family.name}")
def test_blocks_are_orthogonal_to_the_quadratic(family) -> None:
    """Each block's mean of every main effect, interaction and square is the whole plan's (Box & Hunter 1957)."""
    X, blocks = quadratic(family.matrix), np.array(family.blocks)
    assert len(blocks) == family.tiles
    assert len(set(family.blocks)) > 1
    for block in set(family.blocks):
        assert X[blocks == block].mean(axis=0) == pytest.approx(X.mean(axis=0), abs=1e-12)


def test_box_behnken_of_3_factors_matches_box_behnken1960() -> None:
    """15 tiles: the twelve middles of the cube's edges and three centres (NIST e-Handbook 5.3.3.6.2); |X'X| = 2^23 x 3."""
    matrix = box_behnken(3).matrix
    printed = [(a, b, 0) for a in (-1, 1) for b in (-1, 1)]
    printed += [(a, 0, b) for a, _, b in [(-1, 0, -1), (-1, 0, 1), (1, 0, -1), (1, 0, 1)]]
    printed += [(0, a, b) for a in (-1, 1) for b in (-1, 1)] + [(0, 0, 0)] * 3
    assert sorted(map(tuple, matrix)) == sorted(tuple(map(float, row)) for row in printed)
    X = quadratic(matrix)
    assert np.linalg.det(X.T @ X) == pytest.approx(25165824, rel=1e-9)


def test_box_behnken_sizes_match_box_behnken1960() -> None:
    """Box & Behnken (1960), Table 4: 15, 27, 46, 54, 62 tiles; 4 and 7 factors are rotatable."""
    assert [box_behnken(k).tiles for k in range(3, 8)] == [15, 27, 46, 54, 62]
    for k in range(3, 8):
        matrix = box_behnken(k).matrix
        assert np.linalg.matrix_rank(quadratic(matrix)) == (k + 1) * (k + 2) // 2
        assert np.array_equal(matrix.sum(axis=0), np.zeros(k))
        if k in (4, 7):
            assert (matrix[:, 0] ** 4).sum() == 3 * (matrix[:, 0] ** 2 * matrix[:, 1] ** 2).sum()


@pytest.mark.parametrize("order", range(4, 19, 2))
def test_conference_matrices_are_what_paley1933_says(order: int) -> None:
    """Nothing on the diagonal, 1 or -1 elsewhere, C'C = (order - 1) I."""
    C = conference_matrix(order)
    assert (np.diag(C) == 0).all()
    assert (np.abs(C) + np.eye(order) == 1).all()
    assert ((order - 1) * np.eye(order) == C.T @ C).all()


@pytest.mark.parametrize("k", range(3, 19))
def test_definitive_screening_keeps_jones_nachtsheim2011(k: int) -> None:
    """Main effects orthogonal to each other and to all second-order effects; every bend estimable; 2k + 1 tiles, even k.

    Two bends have correlation 1/3 - 1/(m - 1), m the order (Jones & Nachtsheim 2011, from memory): 0.13 for 6 factors.
    """
    family = definitive_screening(k)
    matrix, order = family.matrix, k + k % 2
    assert family.tiles == 2 * order + 1
    assert (matrix.T @ matrix == 2 * (order - 1) * np.eye(k)).all()
    X = quadratic(matrix)
    assert (matrix.T @ np.delete(X, range(1, k + 1), axis=1) == 0).all()
    mains_and_bends = np.column_stack([np.ones(family.tiles), matrix, matrix**2])
    assert np.linalg.matrix_rank(mains_and_bends) == 2 * k + 1
    assert np.corrcoef((matrix**2).T)[0, 1] == pytest.approx(1 / 3 - 1 / (order - 1))


@pytest.mark.parametrize(
    ("levels", "tiles"),
    [([3] * 4, 9), ([3] * 7, 18), ([2] + [3] * 7, 18), ([3, 2, 3, 3], 18), ([3] * 13, 27), ([3] * 5, 27)],
)
def test_arrays_have_strength_two(levels: list[int], tiles: int) -> None:
    """Bose & Bush (1952): any two columns hold each pair of levels equally often."""
    family = orthogonal_array(levels, tiles)
    assert list(family.levels) == levels
    for one, other in combinations(range(len(levels)), 2):
        _, counts = np.unique(family.matrix[:, [one, other]], axis=0, return_counts=True)
        assert set(counts) == {tiles // (levels[one] * levels[other])}
