"""Power, sheet gauge and unit conversions against published values."""

import pytest

from tests.published.reading import rows
from tilestudy.design.power import f_power, needed_noncentrality, smallest_effect, t_power
from tilestudy.study.units import parse_quantity
from tilestudy.trade.library import BUILT_IN


@pytest.mark.parametrize(
    "row", rows("two_level_power.csv"), ids=lambda row: f"{row['runs']}-{row['params']}-{row['ratio']}"
)
def test_power_of_one_effect_matches_r(row: dict[str, str]) -> None:
    """Non-central t power of one effect of a two-level design, computed in R 4.2.2 with pt(ncp=)."""
    assert t_power(float(row["ncp"]), int(row["df_error"])) == pytest.approx(float(row["power"]), abs=1e-6)


def test_power_matches_the_worked_example_of_r() -> None:
    """R, ?power.t.test: n = 20 a group, delta = 1, sd = 1 gives power 0.8689528."""
    assert t_power((20 / 2) ** 0.5, 38) == pytest.approx(0.8689528, abs=1e-6)


def test_smallest_effect_has_the_power_it_claims() -> None:
    """Cohen (1988), Table 2.4.1: with 64 a group, d = 0.5 has power 0.80 (two-sided, 5 %)."""
    assert smallest_effect((2 / 64) ** 0.5, 126) == pytest.approx(0.5, abs=0.005)


@pytest.mark.parametrize("row", rows("anova_sample_size.csv"), ids=lambda row: f"{row['k']}-{row['f']}-{row['power']}")
def test_group_sizes_match_r_and_cohen1988_table_8_4_4(row: dict[str, str]) -> None:
    """One-way analysis of variance: k groups of n, noncentrality k n f^2; the power at n, and that n - 1 is too few."""
    k, n, f = int(row["k"]), int(row["n_per_group"]), float(row["f"])
    assert f_power(k * n * f**2, k - 1, k * (n - 1)) == pytest.approx(float(row["power_at_n"]), abs=1e-6)
    needed = needed_noncentrality(k - 1, k * (n - 2), power=float(row["power"]))
    assert k * (n - 1) * f**2 < needed
    exact = float(row["n_exact"])
    needed = needed_noncentrality(k - 1, k * (exact - 1), power=float(row["power"]))
    assert needed == pytest.approx(k * exact * f**2, rel=1e-5)


def test_power_of_several_groups_matches_worked_examples() -> None:
    """R, ?power.anova.test (4 groups of 5, variances 1 and 3): 0.3535594; Cohen (1988), exercise 8.1: 0.5149793."""
    assert f_power(4 * 5 * (1 / 3) * (3 / 4), 3, 16) == pytest.approx(0.3535594, abs=1e-6)
    assert f_power(4 * 20 * 0.28**2, 3, 76) == pytest.approx(0.5149793, abs=1e-6)
    # exercise 8.10, as in the help of R's pwr.anova.test: n = 35.75789 in each of 4 groups for power 0.80
    assert needed_noncentrality(3, 4 * 34.75789) == pytest.approx(4 * 35.75789 * 0.28**2, rel=1e-5)


@pytest.mark.parametrize("row", rows("sheet_gauge.csv"), ids=lambda row: row["gauge"])
def test_sheet_gauge_matches_astm_b258(row: dict[str, str]) -> None:
    """ASTM B258: 0.127 mm at gauge 36, a ratio of 92 over 39 steps; and a jewellers' table to its rounding."""
    found = BUILT_IN.thickness_mm(f"{row['gauge']} ga", "C11000")
    assert found == pytest.approx(float(row["mm"]), abs=1e-6)
    if row["gauge"] != "36":  # the jewellers' table rounds this one, 0.127, up to 0.13
        assert found == pytest.approx(float(row["rounded_table_mm"]), abs=0.003)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        # NIST SP 811 (2008), Appendix B.8: cup 236.5882 mL, teaspoon 4.928922 mL, ounce 28.34952 g, gallon 3.785412 L
        ("1 cup", 236.5882, "mL"),
        ("1 tsp", 4.928922, "mL"),
        ("1 tbsp", 14.78676, "mL"),
        ("1 oz", 28.34952, "g"),
        ("1 gallon", 3785.412, "mL"),
        ("1/4 tsp per cup", 1000 * 4.928922 / 4 / 236.5882, "mL/L"),
        ("2 oz per gallon", 2 * 28.34952 / 3.785412, "g/L"),
        # NIST SP 811 (2008), B.8: t/degC = (t/degF - 32)/1.8; inch 25.4 mm
        ("350 degF", 176.6667, "degC"),
        ("1 in", 25.4, "mm"),
    ],
)
def test_kitchen_units_match_nist_sp811(text: str, value: float, unit: str) -> None:
    """Units as a class writes them, to the digits that NIST SP 811 prints."""
    found = parse_quantity(text)
    assert found.unit == unit
    assert found.value == pytest.approx(value, rel=2e-6)
