"""The appraisal: what a plan can and cannot tell, in numbers that hold and in words that say so."""

from collections import defaultdict
from dataclasses import replace

import numpy as np
import pytest

from tests.design.test_layout import CLOCK, PLAQUES
from tilestudy.design import appraisal_words, words
from tilestudy.design.appraise import Noise, appraise
from tilestudy.design.full_appraisal import appraise_fully
from tilestudy.design.layout import choose_size, lay_out
from tilestudy.design.power import needed_noncentrality, smallest_effect
from tilestudy.study.records import Factor, Limits, Plan

NOISE = Noise(3.0, 2.0, "L*", "lightness")


def test_effects_in_a_balanced_split_plot_have_the_textbook_standard_errors() -> None:
    """Var of a per-batch contrast is 4(s_b^2 + s_t^2/m)/B, of a per-tile one 4 s_t^2/n (two levels; Yates 1935)."""
    two = replace(PLAQUES.factor("strength"), levels=(1.0, 9.0))
    study = replace(PLAQUES, factors=(two, PLAQUES.factor("scrub_cycles")), limits=Limits(), batches_each=3)
    found = {one.factor: one for one in appraise(study, lay_out(study, CLOCK, 1), NOISE).factors}
    batch_se = np.sqrt(4 * (3.0**2 + 2.0**2 / 2) / 6)
    tile_se = np.sqrt(4 * 2.0**2 / 12)
    assert found["strength"].df == 4
    assert found["strength"].smallest == pytest.approx(smallest_effect(batch_se, 4), rel=1e-6)
    assert found["scrub_cycles"].smallest == pytest.approx(smallest_effect(tile_se, found["scrub_cycles"].df), rel=1e-6)


def test_a_tile_alone_in_its_batch_carries_the_luck_of_both() -> None:
    """Two strengths, six baths of one tile: the variance of the change is 4(s_b^2 + s_t^2)/6 on 4 (the two-sample t test)."""
    study = replace(
        PLAQUES, factors=(replace(PLAQUES.factor("strength"), levels=(1.0, 9.0)),), limits=Limits(), batches_each=3
    )
    (term,) = appraise(study, lay_out(study, CLOCK, 1), NOISE).terms
    assert term.smallest == pytest.approx(smallest_effect(np.sqrt(4 * (3.0**2 + 2.0**2) / 6), 4), rel=1e-6)


def test_claimed_power_is_what_simulation_finds() -> None:
    """Simulated on the cell means: a strength effect of the claimed size is found in about 80 of 100 studies."""
    two = replace(PLAQUES.factor("strength"), levels=(1.0, 9.0))
    study = replace(PLAQUES, factors=(two, PLAQUES.factor("scrub_cycles")), limits=Limits(), batches_each=3)
    plan = lay_out(study, CLOCK, 1)
    claim = appraise(study, plan, NOISE).factors[0].smallest
    assert claim is not None
    rng = np.random.default_rng(1)
    strong = np.array([batch.settings["strength"] == 9.0 for batch in plan.batches])
    means = rng.normal(0, np.sqrt(9 + 4 / 2), (20_000, 6)) + claim * strong
    difference = means[:, strong].mean(1) - means[:, ~strong].mean(1)
    spread = np.sqrt((means[:, strong].var(1, ddof=1) + means[:, ~strong].var(1, ddof=1)) / 2 * 2 / 3)
    assert np.mean(np.abs(difference / spread) > 2.776445) == pytest.approx(0.80, abs=0.01)  # t(0.975; 4), R qt


def test_one_bath_for_each_strength_is_called_what_it_is() -> None:
    """Strength cannot be told from bath luck, and the cost of two baths is shown."""
    study = replace(PLAQUES, limits=Limits(batches=3))
    plan = lay_out(study, CLOCK, 1)
    found = appraise(study, plan, NOISE)
    assert found.factors[0].smallest is None
    said = [
        *words.tell(study, found, plan, "bath"),
        *words.cost_of_replicating(study, *choose_size(study, CLOCK), "bath"),
    ]
    assert (
        "Strength cannot be told from bath luck: with 3 baths for 3 levels no two baths were made alike, so nothing shows "
        "how much baths differ by chance."
    ) in said
    assert (
        "The limits allow no second bath for a setting and each combination only once. The full layout (2 baths for each "
        "setting) would take 36 tiles in 6 baths over 1 session: 18 more tiles and 3 more baths than this plan. Raise "
        "[limits] to get it."
    ) in said


def test_factors_that_change_together_are_named() -> None:
    """Tiles taken in where dip time and scrubbing always went together cannot tell them apart."""
    plan = lay_out(replace(PLAQUES, limits=Limits()), CLOCK, 1)
    tiles = tuple(t for t in plan.tiles if (t.settings["dip_time"] == 90.0) == (t.settings["scrub_cycles"] == 4.0))
    tiles = tuple(t for t in tiles if t.settings["dip_time"] != 30.0)
    together = Plan("plaques", 1, plan.batches, tiles, taken_in=True)
    found = appraise(PLAQUES, together, NOISE)
    assert found.same_as == (("dip_time", "scrub_cycles"),)
    assert "Dip time cannot be told from scrub cycles: in these tiles they change together." in words.tell(
        PLAQUES, found, together, "bath"
    )


def test_a_half_fraction_says_in_words_what_hides_behind_what() -> None:
    """2^(3-1) with scrub = strength x dip: each factor is aliased with the pair of the others (Box, Hunter & Hunter 2005)."""
    factors = tuple(Factor(name, (1.0, 2.0)) for name in ("strength", "dip_time", "scrub_cycles"))
    study = replace(PLAQUES, factors=factors, limits=Limits(), batches_each=2)
    whole = lay_out(study, CLOCK, 1)
    half = tuple(t for t in whole.tiles if sum(int(v) for v in t.settings.values() if isinstance(v, float)) % 2)
    full = appraise_fully(study, replace(whole, tiles=half), lambda one: lay_out(one, CLOCK, 1), NOISE, CLOCK, "bath")
    (said,) = (some for heading, some in appraisal_words.blocks(full) if heading == "What could be mistaken for what")
    assert said == [
        "Scrub cycles cannot be told from strength x dip time.",
        "Dip time cannot be told from strength x scrub cycles.",
        "Strength cannot be told from dip time x scrub cycles.",
    ]


def test_three_levels_taken_one_by_one_are_judged_by_the_hardest_pair() -> None:
    """Two of k levels apart by d, the rest between: noncentrality n d^2 / (2 s^2) on k - 1 (Cohen 1988, section 8.2, pattern 1)."""
    metal = Factor("metal", ("brass", "bronze", "copper"), spacing="steps")
    study = replace(PLAQUES, factors=(metal,), limits=Limits(), batches_each=4)
    (term,) = appraise(study, lay_out(study, CLOCK, 1), NOISE).terms
    assert term.df == 12 - 3 - 3
    assert term.smallest == pytest.approx(2.0 * np.sqrt(2 * needed_noncentrality(2, 6) / 4), rel=1e-6)


def test_more_baths_never_see_less() -> None:
    """A further bath for each strength lowers the smallest effect that is seen."""
    seen = defaultdict(list)
    for each in (2, 3, 4):
        study = replace(PLAQUES, limits=Limits(), batches_each=each)
        for one in appraise(study, lay_out(study, CLOCK, 1), NOISE).factors:
            seen[one.factor].append(one.smallest)
    assert all(sizes == sorted(sizes, reverse=True) for sizes in seen.values())
