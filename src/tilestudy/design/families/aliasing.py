"""What cannot be told apart: exactly, from a defining relation; and for any plan, from its columns.

Regular fractions: Box & Hunter (1961), Technometrics 3:311, the group of words. Irregular two-level plans: resolution is
the strength plus one (Hedayat, Sloane & Stufken 1999, Orthogonal Arrays, chapter 11). Estimability is judged by rank.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from itertools import combinations

import numpy as np

from tilestudy.design.families.family import Alias, Effect, Floats, Word


def group(generating: Iterable[Word]) -> tuple[Word, ...]:
    """Return the defining relation: every product of the generating words, shortest first, the mean left out.

    >>> [bin(mask) for mask, sign in group([(0b01011, 1), (0b10101, 1)])]
    ['0b1011', '0b10101', '0b11110']
    """
    words: list[Word] = [(0, 1)]
    for mask, sign in generating:
        words += [(mask ^ other, sign * its) for other, its in words]
    return tuple(sorted(words[1:], key=lambda word: (word[0].bit_count(), word[0])))


def effects_up_to(columns: int, order: int, bends: bool = False) -> list[Effect]:
    """Return main effects and interactions up to an order, and (after the main effects) the bends if asked."""
    effects: list[Effect] = [(column,) for column in range(columns)]
    if bends:
        effects += [(column, column) for column in range(columns)]
    for size in range(2, order + 1):
        effects += combinations(range(columns), size)
    return effects


def aliases_of_words(words: Sequence[Word], columns: int, order: int = 2) -> tuple[Alias, ...]:
    """Return the sets of effects up to an order that a regular fraction cannot tell apart, exactly.

    Effects are aliased when their product is a word. Those aliased with the mean (words no longer than `order`) come
    first, as the aliases of ().
    """
    relation: list[Word] = [(0, 1), *words]
    masks = np.array([mask for mask, _ in relation], dtype=np.int64)
    sets: dict[int, list[tuple[Effect, int]]] = defaultdict(list)
    for effect in [(), *effects_up_to(columns, order)]:
        coset = masks ^ sum(1 << column for column in effect)
        place = int(np.argmin(coset))
        sets[int(coset[place])].append((effect, relation[place][1]))
    return tuple(
        Alias(members[0][0], tuple(e for e, _ in members[1:]), tuple(float(members[0][1] * s) for _, s in members[1:]))
        for members in sets.values()
        if len(members) > 1
    )


def columns_of(matrix: Floats, effects: Sequence[Effect]) -> Floats:
    """Return the (tiles, effects) columns of a plan coded on a scale: products of coded settings."""
    return np.column_stack([np.prod(matrix[:, list(effect)], axis=1) for effect in effects]).astype(np.float64)


def strength(matrix: Floats, most: int) -> int:
    """Return up to which number of columns a two-level plan holds every combination equally often, at most `most`."""
    for size in range(1, most + 1):
        if any(np.prod(matrix[:, list(chosen)], axis=1).sum() for chosen in combinations(range(matrix.shape[1]), size)):
            return size - 1
    return most


def blurred(matrix: Floats, effects: Sequence[Effect], others: Sequence[Effect]) -> tuple[Alias, ...]:
    """Return, for each effect of a plan coded on a scale, the others whose (centred) columns are correlated with its own."""
    one, two = (columns_of(matrix, which) for which in (effects, others))
    one, two = one - one.mean(axis=0), two - two.mean(axis=0)
    scale = np.sqrt(np.outer((one**2).sum(axis=0), (two**2).sum(axis=0)))
    shares = np.divide(one.T @ two, scale, out=np.zeros_like(scale), where=scale > 1e-9)
    found = []
    for row, effect in enumerate(effects):
        met = [n for n, other in enumerate(others) if other != effect and abs(shares[row, n]) > 1e-9]
        if met:
            found.append(Alias(effect, tuple(others[n] for n in met), tuple(float(shares[row, n]) for n in met)))
    return tuple(found)


def contrasts(matrix: Floats, effect: Effect) -> Floats:
    """Return the centred (tiles, df) columns of an effect of factors taken level by level."""
    block = np.ones((len(matrix), 1))
    for column in effect:
        levels = np.unique(matrix[:, column])
        one = (matrix[:, [column]] == levels[None, :]).astype(float)[:, 1:] - 1 / len(levels)
        block = (block[:, :, None] * one[:, None, :]).reshape(len(matrix), -1)
    return np.asarray(block - block.mean(axis=0))


def blurred_levels(matrix: Floats) -> tuple[Alias, ...]:
    """Return, for each main effect, the interactions of two other factors that share in it, all taken level by level."""
    bases = {effect: _basis(contrasts(matrix, effect)) for effect in effects_up_to(matrix.shape[1], 2)}
    found = []
    for effect in (effect for effect in bases if len(effect) == 1):
        own = bases[effect]
        met = {
            other: float(np.sqrt(((own.T @ basis) ** 2).sum() / own.shape[1]))
            for other, basis in bases.items()
            if len(other) == 2 and effect[0] not in other
        }
        met = {other: share for other, share in met.items() if share > 1e-9}
        if met:
            found.append(Alias(effect, tuple(met), tuple(met.values())))
    return tuple(found)


def _basis(block: Floats) -> Floats:
    left, size, _ = np.linalg.svd(block, full_matrices=False)
    return np.asarray(left[:, size > 1e-9 * max(1.0, size.max(initial=0.0))])


def lost_effects(matrix: Floats) -> tuple[Effect, ...]:
    """Return the main effects and interactions of two that cannot wholly be estimated, factors taken level by level.

    A main effect is judged among the main effects, an interaction among everything up to interactions of two.
    """
    mains, all_effects = effects_up_to(matrix.shape[1], 1), effects_up_to(matrix.shape[1], 2)
    lost = []
    for within, judged in ((mains, mains), (all_effects, all_effects[len(mains) :])):
        blocks = {effect: contrasts(matrix, effect) for effect in within}
        whole = _rank(list(blocks.values()))
        for effect in judged:
            without = _rank([block for other, block in blocks.items() if other != effect])
            if whole - without < blocks[effect].shape[1]:
                lost.append(effect)
    return tuple(lost)


def _rank(blocks: Sequence[Floats]) -> int:
    return int(np.linalg.matrix_rank(np.hstack(blocks), tol=1e-8)) if blocks else 0
