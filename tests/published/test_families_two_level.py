"""Two-level families against the published tables and worked examples."""

from collections import Counter
from itertools import combinations

import numpy as np
import pytest

from tests.published import reading
from tilestudy.design.families import aliases_in_words, fraction, plackett_burman, screening, two_level_factorial
from tilestudy.design.families.fraction import GENERATORS


def rows(name: str) -> list[dict[str, str]]:
    return reading.rows(f"families_{name}.csv")


FRACTIONS = rows("fractions_bhh1978")


@pytest.mark.parametrize("row", FRACTIONS, ids=[f"{row['k']}-{row['p']}" for row in FRACTIONS])
def test_fractions_match_bhh1978_table_12_15(row: dict[str, str]) -> None:
    """Generators, resolution and word-length pattern of all 27 fractions."""
    family = fraction(int(row["k"]), int(row["runs"]))
    pattern = [int(number) for number in row["wlp_from_3"].split()]
    assert family.generators == tuple(row["generators"].split())
    assert family.resolution == {"III": 3, "IV": 4, "V": 5, "VI": 6, "VII": 7}[row["resolution"]]
    assert list(family.word_lengths) == pattern + [0] * (len(family.word_lengths) - len(pattern))
    assert len(family.words) == 2 ** int(row["p"]) - 1
    assert f"2^({row['k']}-{row['p']})" in family.name


def test_the_table_is_whole_and_only_12_to_14_factors_are_added() -> None:
    """27 of the table; our own for 12 to 14 factors, and 15 in 32 tiles."""
    published = {(int(row["k"]), int(row["runs"])) for row in FRACTIONS}
    assert len(published) == 27
    assert set(GENERATORS) - published == {(k, runs) for k in (12, 13, 14) for runs in (16, 32)} | {(15, 32)}


@pytest.mark.parametrize("k", [12, 13, 14])
def test_added_fractions_are_the_best_of_all_subsets(k: int) -> None:
    """Fewest words of three among all choices of k of the 15 columns in 16 tiles; of four among the even plans in 32.

    The former also by Tang & Wu (1996), Statistica Sinica 6:399: fewest when the columns left out hold most words.
    """

    def words(columns: tuple[int, ...], letters: int) -> int:
        """Count the words: `letters` columns whose product is the mean."""
        times = Counter(one ^ other for one, other in combinations(columns, 2))
        if letters == 3:
            return sum(times[column] for column in columns) // 3
        return sum(count * (count - 1) // 2 for count in times.values()) // 3

    basics, odd = (1, 2, 4, 8, 16), [m for m in range(32) if m.bit_count() % 2 and m.bit_count() > 1]
    assert fraction(k, 16).word_lengths[0] == min(words(chosen, 3) for chosen in combinations(range(1, 16), k))
    fewest = min(words(basics + chosen, 4) for chosen in combinations(odd, k - 5))
    assert fraction(k, 32).word_lengths[:2] == (0, fewest)


def test_plackett_burman_12_matches_plackett_burman1946() -> None:
    """The printed rows; X'X = 12 I; every interaction shares a third with each other main effect."""
    printed = np.array([[float(row[f"x{n}"]) for n in range(1, 12)] for row in rows("plackett_burman_12")])
    family = plackett_burman(12)
    assert (family.matrix == printed).all()
    assert {abs(share) for alias in family.aliases for share in alias.shares} == {4 / 12}
    assert all(len(alias.others) == 45 for alias in family.aliases)
    assert family.resolution == 3


@pytest.mark.parametrize("tiles", [8, 12, 16, 20, 24])
def test_screening_plans_are_orthogonal_and_saturated(tiles: int) -> None:
    """X'X = N I for N - 1 factors, the determinant Hadamard's bound N^(N/2) of a plan with its mean (OEIS A003433)."""
    columns = min(tiles - 1, 15) if tiles == 16 else tiles - 1
    X = np.column_stack([np.ones(tiles), screening(columns, tiles).matrix])
    assert (tiles * np.eye(tiles) == X.T @ X).all()
    # OEIS A003433: 4096 for 8, 2985984 for 12, 4294967296 for 16
    known = {8: 4096.0, 12: 2985984.0, 16: 4294967296.0}.get(tiles, tiles ** (tiles / 2))
    assert abs(np.linalg.det(X)) == pytest.approx(known, rel=1e-9)


def coefficients(matrix: np.ndarray, y: np.ndarray, names: str) -> dict[str, float]:
    """Return half the contrast of each named product of columns, the way the handbook prints effects."""
    found = {}
    for name in names.split():
        column = np.prod(matrix[:, [int(digit) - 1 for digit in name]], axis=1)
        found[name] = float(column @ y / len(y))
    return found


def test_eddy_current_coefficients_match_nist_5_6_1() -> None:
    """NIST/SEMATECH e-Handbook 5.6.1.4 to 5.6.1.6, five decimals printed."""
    data = rows("eddy_current_nist")
    matrix = two_level_factorial(3).matrix
    assert (matrix == [[float(row[x]) for x in ("x1", "x2", "x3")] for row in data]).all()
    y = np.array([float(row["y"]) for row in data])
    printed = dict(
        zip(
            ["1", "2", "3", "12", "13", "23", "123"],
            (1.55125, -0.43375, 0.10625, 0.06375, 0.12375, 0.14875, 0.07125),
            strict=True,
        )
    )
    assert y.mean() == pytest.approx(2.65875, abs=1e-5)
    assert coefficients(matrix, y, " ".join(printed)) == pytest.approx(printed, abs=1e-5)
    # residual standard deviation of the model with x1 and x2, 5 degrees of freedom: 0.30429
    fitted = np.column_stack([np.ones(8), matrix[:, :2]])
    rest = y - fitted @ np.linalg.lstsq(fitted, y, rcond=None)[0]
    assert np.sqrt(rest @ rest / 5) == pytest.approx(0.30429, abs=1e-5)


def test_sonoluminescence_coefficients_and_aliases_match_nist_5_6_2() -> None:
    """NIST/SEMATECH e-Handbook 5.6.2: the same fraction, its x5, x6, x7 our columns F, G, E; all 15 printed coefficients."""
    data = rows("sonoluminescence_nist")
    family = fraction(7, 16)
    order = (0, 1, 2, 3, 5, 6, 4)
    matrix = family.matrix[:, order]
    assert (matrix == [[float(row[f"x{n}"]) for n in range(1, 8)] for row in data]).all()
    y = np.array([float(row["y"]) for row in data])
    printed = {
        **{"2": -39.30625, "7": -39.05625, "13": 35.00625, "1": 33.10625, "3": 31.90625, "17": -31.73125},
        **{"12": -29.78125, "16": -8.16875, "14": -5.24375, "6": -4.51875, "5": 3.74375, "124": 2.91875},
        **{"4": 1.85625, "24": 0.84375, "15": -0.28125},
    }
    assert y.mean() == pytest.approx(110.60625, abs=1e-5)
    assert coefficients(matrix, y, " ".join(printed)) == pytest.approx(printed, abs=1e-5)
    # confounding as in the handbook (from memory): 13 + 27 + 46, and so on, seven sets of three; main effects clear
    labels = ["x1", "x2", "x3", "x4", "x7", "x5", "x6"]
    said = aliases_in_words(family, labels)
    assert said[0] == "Every factor can be told from every other, and from every interaction of two."
    assert "X1 x x3 cannot be told from x2 x x7 or x4 x x6." in said
    assert len(said) == 8
