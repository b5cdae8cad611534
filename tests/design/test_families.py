"""The textbook families: what they promise, what they say, and what they refuse."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tilestudy.design.families import (
    Family,
    aliases_in_words,
    box_behnken,
    candidates,
    central_composite,
    constrained_grid,
    definitive_screening,
    fold_over,
    fraction,
    fraction_of_resolution,
    from_generators,
    full_factorial,
    orthogonal_array,
    plackett_burman,
    screening,
    settings_of,
    two_level_factorial,
)
from tilestudy.design.families.aliasing import aliases_of_words, blurred, effects_up_to
from tilestudy.design.families.fraction import GENERATORS
from tilestudy.errors import PlanError
from tilestudy.study.records import Factor

STRENGTH = Factor("strength", (1.0, 3.0, 9.0), "g/L", "g/L", "geometric", "batch")
DIP = Factor("dip_time", (10.0, 30.0, 90.0), "s", "s", "geometric")
SCRUB = Factor("scrub_cycles", (1.0, 4.0))
FINISH = Factor("finish", ("brushed", "sanded", "waxed"), spacing="steps")

small = st.sampled_from(sorted(size for size in GENERATORS if size[1] <= 64))
plans = small.map(lambda size: fraction(*size))


@settings(max_examples=30, deadline=None)
@given(plans)
def test_resolution_means_no_aliasing_of_shorter_words(family: Family) -> None:
    """Products of fewer columns than the resolution sum to nothing; some product of that many does not."""
    resolution = family.resolution
    assert resolution is not None
    X = family.matrix
    assert (family.tiles * np.eye(family.columns) == X.T @ X).all()
    for size in range(1, min(resolution, 5)):
        for chosen in combinations(range(family.columns), size):
            assert np.prod(X[:, chosen], axis=1).sum() == 0
    mask, sign = family.words[0]
    assert np.prod(X[:, [n for n in range(family.columns) if mask >> n & 1]], axis=1).sum() == sign * family.tiles


@settings(max_examples=30, deadline=None)
@given(plans, st.data())
def test_aliases_of_words_are_those_of_the_columns(family: Family, data: st.DataObject) -> None:
    """The group arithmetic and the correlations of the columns agree, for a fraction with signs as drawn."""
    signed = [g.replace("=", "=-") if data.draw(st.booleans()) else g for g in family.generators]
    family = from_generators(family.columns, signed, "")
    effects = effects_up_to(family.columns, 2)
    by_columns = {
        (alias.effect, other): share
        for alias in blurred(family.matrix, effects, effects)
        for other, share in zip(alias.others, alias.shares, strict=True)
    }
    by_words = {}
    for alias in family.aliases:
        members = dict(zip((alias.effect, *alias.others), (1.0, *alias.shares), strict=True))
        by_words |= {(one, two): members[one] * members[two] for one in members for two in members if one != two}
    assert by_words == by_columns


@settings(max_examples=20, deadline=None)
@given(plans, st.randoms(use_true_random=False))
def test_relabelling_changes_nothing(family: Family, random) -> None:
    """The same columns in another order have the same aliases, in other words."""
    order = list(range(family.columns))
    random.shuffle(order)
    place = {old: new for new, old in enumerate(order)}
    words = [(sum(1 << place[n] for n in order if mask >> n & 1), sign) for mask, sign in family.words]
    renamed = aliases_of_words(words, family.columns)

    def sets(aliases, name) -> set:
        return {frozenset(tuple(sorted(map(name, e))) for e in (a.effect, *a.others)) for a in aliases}

    assert sets(renamed, lambda n: n) == sets(family.aliases, place.get)


@settings(max_examples=20, deadline=None)
@given(st.sampled_from([size for size in sorted(GENERATORS) if fraction(*size).resolution == 3]))
def test_fold_over_of_resolution_iii_gives_iv(size: tuple[int, int]) -> None:
    """Box & Hunter (1961); or the full factorial, from half of the three-factor one."""
    folded = fold_over(fraction(*size))
    assert folded.tiles == 2 * size[1]
    assert folded.resolution == (None if size == (3, 4) else 4)
    assert not any(len(alias.effect) == 1 for alias in folded.aliases)
    assert (folded.matrix.T @ np.array(folded.blocks) == 0).all()


@pytest.mark.parametrize("tiles", [12, 20, 24])
def test_folded_screening_plans_clear_the_main_effects(tiles: int) -> None:
    """Resolution IV, each main effect free of every interaction of two."""
    folded = fold_over(plackett_burman(tiles, 7))
    assert folded.resolution == 4
    assert aliases_in_words(folded, list("abcdefg"))[0] == (
        "Every factor can be told from every other, and from every interaction of two."
    )


def test_fold_over_on_one_factor_clears_it() -> None:
    """One column turned: that factor and its interactions come clear (Box & Hunter 1961)."""
    folded = fold_over(fraction(7, 8), [0])
    aliased = {effect for alias in folded.aliases for effect in (alias.effect, *alias.others)}
    assert not any(0 in effect for effect in aliased)
    assert folded.name.endswith("with its fold-over on A = 16 tiles")


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(2, 4), min_size=1, max_size=4))
def test_a_full_factorial_holds_each_combination_once(levels: list[int]) -> None:
    """Mixed levels, first factor fastest."""
    family = full_factorial(levels)
    assert len({tuple(row) for row in family.matrix}) == family.tiles == np.prod(levels)
    assert list(family.levels) == levels
    assert (family.matrix[: levels[0], 0] == range(levels[0])).all()


@settings(max_examples=40, deadline=None)
@given(st.sets(st.tuples(st.sampled_from(STRENGTH.levels), st.sampled_from(DIP.levels)), max_size=8))
def test_forbidden_settings_are_never_planned(barred: set[tuple[float, float]]) -> None:
    """What is forbidden is out, everything else is in, and what that costs is told."""

    def forbidden(tile) -> bool:
        return (tile["strength"], tile["dip_time"]) in barred

    left = {(s, d) for s in STRENGTH.levels for d in DIP.levels} - barred
    if min(len({s for s, _ in left}), len({d for _, d in left})) < 2:
        with pytest.raises(PlanError, match="only the level"):
            constrained_grid([STRENGTH, DIP, SCRUB], forbidden)
        return
    grid = constrained_grid([STRENGTH, DIP, SCRUB], forbidden)
    planned = settings_of(grid, [STRENGTH, DIP, SCRUB])
    assert grid.tiles == len(planned) == 18 - 2 * len(barred)
    assert not any(map(forbidden, planned))
    # the interaction suffers unless whole levels went
    assert ((0, 1) in grid.lost) == (len(left) < len({s for s, _ in left}) * len({d for _, d in left}))


def test_a_constrained_grid_says_what_it_cannot_tell() -> None:
    """Missing corners cost the interaction; factors that must change together cannot be told apart."""
    grid = constrained_grid([STRENGTH, DIP], lambda tile: tile["dip_time"] >= 60 and tile["strength"] > 5)
    assert grid.name == "full factorial less 1 forbidden = 8 tiles"
    assert aliases_in_words(grid, ["strength", "dip time"]) == [
        "Strength x dip time can be judged in part at most, since combinations are missing."
    ]
    tied = constrained_grid(
        [STRENGTH, DIP], lambda tile: STRENGTH.levels.index(tile["strength"]) != DIP.levels.index(tile["dip_time"])
    )
    assert aliases_in_words(tied, ["strength", "dip time"])[0] == (
        "Strength cannot wholly be told from the other factors, since combinations are missing."
    )


def test_aliases_are_told_with_the_studys_labels() -> None:
    """Half of three factors, a screening plan, a definitive one and a composite one."""
    labels = ["strength", "dip", "scrub"]
    assert aliases_in_words(fraction(3, 4), labels)[2] == "Scrub cannot be told from strength x dip."
    assert aliases_in_words(orthogonal_array([3, 3, 3], 9), labels)[0] == "Strength cannot be told from dip x scrub."
    assert aliases_in_words(plackett_burman(12, 3), labels) == [
        "Part (33 %) of every interaction of two other factors adds to or takes from each factor's own effect: "
        "a strong interaction can pass for a factor."
    ]
    assert aliases_in_words(central_composite(3), labels) == [
        "Every factor, every interaction of two and the bend of every factor can be told apart."
    ]
    assert aliases_in_words(definitive_screening(6), [*labels, "heat", "dwell", "wax"]) == [
        "Every factor can be told from every other, and from every bend and every interaction of two.",
        "Bends and interactions of two are told from one another only in part; the closest, strength x dip and scrub x heat, "
        "have correlation 0.50 (0: free of each other, 1: one and the same).",
    ]
    assert len(aliases_in_words(orthogonal_array([3] * 4, 27), [*labels, "heat"])) == 6


def test_a_plan_that_claims_no_aliases_can_fit_its_model() -> None:
    """Where the words say everything can be told apart, interactions and (three levels) bends are estimable together."""
    for family in (
        two_level_factorial(3),
        fraction(5, 16),
        *(central_composite(k) for k in range(2, 9)),
        box_behnken(5),
    ):
        assert family.aliases == ()
        k, X = family.columns, family.matrix
        columns = [np.ones(family.tiles), *X.T, *(X[:, i] * X[:, j] for i, j in combinations(range(k), 2))]
        columns += list((X**2).T) if min(family.levels) > 2 else []
        assert np.linalg.matrix_rank(np.column_stack(columns)) == len(columns)


def test_candidates_fit_levels_limit_and_batches() -> None:
    """Three factors along a scale: every family within 18 tiles, fewest first, within the range."""
    found = candidates([STRENGTH, DIP, SCRUB], 18)
    assert [(one.tiles, one.family.name.split(",")[0], one.batch_settings) for one in found] == [
        (4, "2^(3-1) fraction", 2),
        (8, "full two-level factorial", 2),
        (9, "definitive screening", 3),
        (15, "Box-Behnken", 3),
        (17, "central composite (face-centred", 3),
        (17, "central composite (rotatable", 5),
        (18, "full factorial", 3),
    ]
    assert found[0].says == (
        "It uses only the lowest and highest level of strength, dip time, so it shows no bend there.",
    )
    assert found[2].says == ("It asks for settings that are not among the levels: scrub cycles 2.5.",)
    for one in found:
        for factor in (STRENGTH, DIP, SCRUB):
            values = [tile[factor.name] for tile in one.settings]
            assert (min(values), max(values)) == (factor.levels[0], factor.levels[-1])


def test_candidates_for_named_levels_are_grids_and_arrays() -> None:
    """A named factor of three levels has no ends and no middle."""
    found = candidates([STRENGTH, DIP, FINISH])
    assert [one.family.name for one in found] == [
        "orthogonal array, 9 tiles",
        "orthogonal array, 18 tiles",
        "full factorial, 3 x 3 x 3 = 27 tiles",
    ]
    assert {tile["finish"] for tile in found[0].settings} == set(FINISH.levels)


def test_candidates_leave_out_plans_with_a_forbidden_tile() -> None:
    """A corner forbidden: no two-level plan with that corner, but Box-Behnken (no corners) and the grid less the corner."""
    found = candidates(
        [STRENGTH, DIP, SCRUB],
        forbidden=lambda tile: tile["strength"] == 9 and tile["dip_time"] == 90 and tile["scrub_cycles"] == 4,
    )
    assert [one.tiles for one in found] == [9, 15, 17, 17]
    assert found[-1].family.name == "full factorial less 1 forbidden = 17 tiles"
    (grid,) = (
        one for one in candidates([STRENGTH, DIP], forbidden=lambda tile: tile["strength"] == 3) if one.tiles == 6
    )
    assert grid.says == ("The forbidden settings leave no tile at strength 3 g/L.",)


REFUSED = {
    "There is no two-level fraction of 7 factors in 20 tiles. Fractions exist with 8, 16, 32, 64 tiles, and the full factorial "
    "has 128.": lambda: fraction(7, 20),
    "There is no two-level fraction of 2 factors in 2 tiles. So few factors need no fraction: make all 4 combinations.": (
        lambda: fraction(2, 2)
    ),
    "No two-level fraction of 12 factors here has resolution V; the highest here is IV, with 32 tiles. Fractions exist with 16, "
    "32 tiles, and the full factorial has 4096.": lambda: fraction_of_resolution(12, 5),
    "No screening plan of 18 tiles here takes 6 factors. Ask for 8, 12, 16, 20, 24, 32 tiles.": lambda: screening(
        6, 18
    ),
    "A plan of 12 tiles screens 1 to 11 factors, not 12. Ask for 16, 20, 24, 32 tiles.": lambda: plackett_burman(
        12, 12
    ),
    "Box-Behnken plans here take 3 to 7 factors, and 9 were asked for. Screen first and keep the strongest few.": (
        lambda: box_behnken(9)
    ),
    "4 centre tiles cannot be shared equally by 3 blocks. Ask for 6.": lambda: box_behnken(4, 4),
    "3 centre tiles cannot be shared equally by two cube blocks. Ask for 4.": (
        lambda: central_composite(4, "orthogonal blocks", 3, 2, 2)
    ),
    "The cube of 16 tiles for 5 factors cannot be split in two blocks without losing an interaction of two factors. Make it in "
    "one block.": lambda: central_composite(5, "orthogonal blocks", 4, 2, 2),
    "Definitive screening takes 3 to 18 factors, and 2 were asked for. Make the full grid instead.": (
        lambda: definitive_screening(2)
    ),
    "There is no array of 18 tiles for factors of 3 x 3 x 4 levels. Make the full grid, or drop levels.": (
        lambda: orthogonal_array([3, 3, 4], 18)
    ),
    'The generator "D=AX" does not define one of the columns D from ABC. Write one for each, as D=ABC.': (
        lambda: from_generators(4, ["D=AX"], "")
    ),
    "All 6 combinations of the levels are forbidden, so there is no tile to make. Take back a forbidden rule, or add a level "
    "that the rules allow.": lambda: constrained_grid([STRENGTH, SCRUB], lambda tile: True),
    "The smallest textbook plan for these factors has 9 tiles (orthogonal array, 9 tiles), and the limit is 6. Raise tiles "
    "under [limits], or drop a level or a factor.": lambda: candidates([STRENGTH, DIP, FINISH], 6),
}


@pytest.mark.parametrize("message", REFUSED)
def test_impossible_requests_get_the_reason_and_the_nearest_possible(message: str) -> None:
    """The whole message, as the bench reads it."""
    with pytest.raises(PlanError) as caught:
        REFUSED[message]()
    assert str(caught.value) == message
