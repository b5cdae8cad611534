"""Molar masses, dilution, ammonia from the bottle at hand and densities of metals against reference values."""

import re

import pytest

from tests.published.reading import rows
from tilestudy.study.at_hand import TEASPOON_ML, AtHand, Cylinder
from tilestudy.trade.amounts.dilution import Wanted, in_steps
from tilestudy.trade.amounts.household import CUP_ML, TABLESPOON_ML
from tilestudy.trade.amounts.measured import weigh
from tilestudy.trade.amounts.recipe import densities
from tilestudy.trade.amounts.solutions import (
    density,
    from_bottle,
    grams_for_moles,
    grams_for_percent,
    take,
    times_as_much,
)
from tilestudy.trade.library import BUILT_IN

AMMONIA = densities(BUILT_IN.ingredient("ammonia"))
FINE = AtHand(scale_g=0.001, cylinders=(Cylinder(500.0, 0.1),))
COPPER_SULFATE = 249.677  # CuSO4(H2O)5, g/mol: molar_masses.csv


def by_formula(formula: str) -> list[float]:
    """The molar masses of all ingredients with a formula."""
    every = BUILT_IN.ingredients.values()
    return [one.molar_mass for one in every if one.formula == formula and one.molar_mass is not None]


def test_molar_masses_match_the_standard_atomic_weights() -> None:
    """Every ingredient whose formula stands in the reference has its molar mass; most of the reference is there."""
    reference = {row["formula"]: float(row["molar_mass"]) for row in rows("molar_masses.csv")}
    found = {formula: by_formula(formula) for formula in reference if by_formula(formula)}
    assert len(found) >= 15
    for formula, masses in found.items():
        assert masses == pytest.approx([reference[formula]] * len(masses), abs=0.1 if "Pb" in formula else 0.02), (
            formula
        )


@pytest.mark.parametrize(
    ("strong", "weak", "ml", "drawn", "water"),
    [
        (10.0, 2.0, 250.0, 50.0, 200.0),
        (20.0, 5.0, 100.0, 25.0, 75.0),
        (1.0, 0.125, 400.0, 50.0, 350.0),
        (1.0, 1 / 5, 500.0, 100.0, 400.0),  # "1:4" is one part and four parts of water
        (1.0, 1 / 11, 220.0, 20.0, 200.0),  # "1:10"
        (1.0, 1 / 2, 60.0, 30.0, 30.0),  # "1:1"
    ],
)
def test_dilution_is_c1_v1_by_hand(strong: float, weak: float, ml: float, drawn: float, water: float) -> None:
    """C1 V1 = C2 V2, worked by hand: the definition, exact."""
    assert take(strong, weak, ml) == pytest.approx(drawn, rel=1e-12)
    assert ml - take(strong, weak, ml) == pytest.approx(water, rel=1e-12)


def test_percent_and_moles_by_hand() -> None:
    """5 % of 200 mL is 10 g; 10 % of copper sulfate is 0.40051746856939163 mol/L; 10 g of it hold 6.392338901861204 g dry."""
    assert grams_for_percent(5, 200) == 10.0
    assert grams_for_moles(0.40051746856939163, COPPER_SULFATE, 100) == pytest.approx(10.0, rel=1e-9)
    assert grams_for_moles(10 / COPPER_SULFATE, 159.602, 1000) == pytest.approx(6.392338901861204, rel=1e-9)


def test_two_fold_serial_dilution_by_hand() -> None:
    """100, 50, 25, 12.5 and 6.25 g/L, each poured from the one before: half of each goes on."""
    wanted = [Wanted(f"B{n}", one) for n, one in enumerate((100, 50, 25, 12.5, 6.25))]
    made = in_steps(wanted, 100, lambda grams: weigh(grams, FINE), FINE)
    assert [one.strength.value for one in made.vessels] == pytest.approx([100, 50, 25, 12.5, 6.25], rel=1e-3)
    assert made.vessels[-1].takes.value == 50.0
    assert made.vessels[-2].made.value == 150.0
    assert made.vessels[0].made.value == pytest.approx(100 * (2 - 1 / 16), abs=0.5)


def test_spoons_and_cups_are_the_exact_ones() -> None:
    """NIST Handbook 44, Appendix C: 4.92892159375, 14.78676478125, 236.5882365 mL."""
    found = [TEASPOON_ML, TABLESPOON_ML, CUP_ML]
    assert found == pytest.approx([4.92892159375, 14.78676478125, 236.5882365], rel=1e-12)


@pytest.mark.parametrize(
    ("percent", "gravity"),
    # Cooley & Tuson (1880), Cyclopaedia of Practical Receipts, 6th ed., vol. I: table of liquid ammonia (at about 15 degC)
    [(28.133, 0.89625), (24.019, 0.91000), (19.691, 0.92500), (10.119, 0.96000), (4.956, 0.98000)],
)
def test_ammonia_densities_lie_near_the_table_of_1880(percent: float, gravity: float) -> None:
    """Within 0.004 g/mL, of which the difference in temperature is a part."""
    assert density(percent, AMMONIA) == pytest.approx(gravity, abs=0.004)


def test_ammonia_of_the_pharmacopoeia() -> None:
    """British Pharmacopoeia, Appendix I A: 25 % by weight weighs 0.91 g/mL and is 13.5 mol/L; 75 mL of it to 1 L make 1 mol/L."""
    assert density(25, AMMONIA) == pytest.approx(0.91, abs=0.005)
    moles = 25 * density(25, AMMONIA) / 100 / 17.031 * 1000
    assert moles == pytest.approx(13.5, rel=0.015)
    assert 75 / 1000 * moles == pytest.approx(1.0, rel=0.015)


def test_a_recipe_for_28_percent_ammonia_takes_2_6_times_as_much_of_10_percent() -> None:
    """By hand: 28 x 0.898 / (10 x 0.9575) = 2.626; and back again."""
    assert times_as_much(28, 10, AMMONIA) == pytest.approx(2.626, abs=0.001)
    assert times_as_much(10, 28, AMMONIA) == pytest.approx(1 / 2.626, abs=0.001)
    assert from_bottle(10, 100, 28, AMMONIA) == pytest.approx(100 / 2.626, abs=0.02)


def test_densities_of_metals_match_the_reference() -> None:
    """Alloys vary by composition: within 0.05 g/cm3."""
    reference = {row["uns"]: float(row["density"]) for row in rows("metal_density.csv") if row["uns"]}
    found = {uns: metal["density"] for uns, metal in BUILT_IN.metals.items() if uns in reference}
    assert len(found) >= 6
    for uns, dense in found.items():
        assert re.fullmatch(r"C\d{5}", uns)
        assert dense == pytest.approx(reference[uns], abs=0.05), uns
