"""Optimal plans against exhaustive searches, determinant bounds and the best values known."""

import importlib.util
import math
from pathlib import Path

import numpy as np
import pytest

from tests.published import reading
from tilestudy.design.optimal import Problem, bound, optimise
from tilestudy.study.records import Factor

HERE = Path(__file__).parent
SPEC = importlib.util.spec_from_file_location("designs", HERE.parent / "benchmarks" / "designs.py")
assert SPEC is not None
assert SPEC.loader is not None
designs = importlib.util.module_from_spec(SPEC)  # its evaluator shares nothing with the search
SPEC.loader.exec_module(designs)


def rows(name: str) -> list[dict[str, str]]:
    return reading.rows(f"optimal_{name}.csv")


def label(row: dict[str, str]) -> str:
    return "-".join(list(row.values())[:3])


def numbered(count: int, levels: tuple[float, ...]) -> tuple[Factor, ...]:
    return tuple(Factor(f"x{j}", levels) for j in range(count))


def coded_columns(settings: tuple[tuple[object, ...], ...]) -> np.ndarray:
    """Mean, factors, pairs, squares."""
    x = np.array(settings, dtype=float)
    pairs = [x[:, i] * x[:, j] for i in range(x.shape[1]) for j in range(i)]
    return np.column_stack([np.ones(len(x)), x, *pairs, x**2])


@pytest.mark.parametrize("row", rows("quadratic"), ids=label)
def test_quadratic_plans_reach_the_largest_determinant(row: dict[str, str]) -> None:
    """Two factors: exhaustive; Box & Draper (1971), 6 tiles. Three factors: best known. See the data file."""
    factors, n = numbered(int(row["factors"]), (-1.0, 0.0, 1.0)), int(row["n"])
    grid = Problem(factors, (n,), criterion="D", eta=0.0, discrete=frozenset(one.name for one in factors))
    X = coded_columns(optimise(grid, np.random.default_rng(4), starts=200).settings)
    assert np.linalg.det(X.T @ X) == pytest.approx(float(row["grid"]), rel=1e-6)
    if row["free"]:
        free = Problem(factors, (n,), criterion="D", eta=0.0)
        X = coded_columns(optimise(free, np.random.default_rng(4)).settings)
        assert np.linalg.det(X.T @ X) == pytest.approx(float(row["free"]), rel=1e-4)


@pytest.mark.parametrize("row", rows("split_plot"), ids=label)
def test_split_plots_reach_the_exhaustive_optimum(row: dict[str, str]) -> None:
    """Goos & Vandebroek (2001), criterion; values by exhaustive enumeration."""
    factors = (Factor("w", (-1.0, 0.0, 1.0), set_per="batch"), Factor("s", (-1.0, 0.0, 1.0)))
    batches, tiles, eta = int(row["batches"]), int(row["tiles"]), float(row["eta"])
    asked = Problem(factors, (tiles,) * batches, criterion="D", eta=eta, discrete=frozenset("ws"))
    X = coded_columns(optimise(asked, np.random.default_rng(1)).settings)
    V = np.eye(batches * tiles) + eta * np.kron(np.eye(batches), np.ones((tiles, tiles)))
    found = np.linalg.det(X.T @ np.linalg.inv(V) @ X)
    assert found == pytest.approx(float(row["det"]), rel=1e-8)


@pytest.mark.parametrize("row", rows("max_determinant")[1:], ids=lambda row: row["n"])
def test_saturated_two_level_plans_reach_the_largest_determinant(row: dict[str, str]) -> None:
    """OEIS A003433."""
    n = int(row["n"])
    factors = numbered(n - 1, (-1.0, 1.0))
    names = frozenset(one.name for one in factors)
    asked = Problem(factors, (n,), model="main effects", criterion="D", eta=0.0, discrete=names)
    plan = optimise(asked, np.random.default_rng(2), starts=300 if n > 14 else 80)
    X = np.column_stack([np.ones(n), np.array(plan.settings, dtype=float)])
    assert abs(np.linalg.det(X)) == pytest.approx(int(row["max_det"]), rel=1e-9)


@pytest.mark.parametrize("row", rows("main_effects"), ids=label)
def test_main_effects_plans_attain_their_bound(row: dict[str, str]) -> None:
    """Hadamard's bound; Cheng (1980); Ehlich (1964), Payne (1974)."""
    n, factors = int(row["n"]), numbered(int(row["factors"]), (-1.0, 1.0))
    names = frozenset(one.name for one in factors)
    asked = Problem(factors, (n,), model="main effects", criterion="D", eta=0.0, discrete=names)
    X = np.column_stack([np.ones(n), np.array(optimise(asked, np.random.default_rng(3)).settings, dtype=float)])
    assert np.linalg.det(X.T @ X) == pytest.approx(float(row["bound"]), rel=1e-9)


@pytest.mark.parametrize("criterion", ["I", "D"])
@pytest.mark.parametrize("row", rows("best_known"), ids=lambda row: row["problem"])
def test_plans_are_as_good_as_the_best_known(row: dict[str, str], criterion: str) -> None:
    """At least 99.0 % (99.4 % split plots, 100 % where orthogonal) for each of two seeds; values in the data file."""
    name = row["problem"]
    least = {"a": 0.99, "b": 0.99, "c": 0.994, "d": 1 - 1e-6}[name[0]]
    for seed in (1, 2):
        plan = optimise(designs.problem(name, criterion), np.random.default_rng(seed))
        d, i = designs.evaluate(name, plan.settings)
        reached = math.exp(d - float(row["best_D"])) if criterion == "D" else float(row["best_I"]) / i
        assert least <= reached < 1.0001
        # what the plan says of itself is what the evaluator finds
        assert math.log(plan.information) == pytest.approx(d, abs=1e-9)
        assert plan.average_variance == pytest.approx(i, rel=1e-9)


@pytest.mark.parametrize(("factors", "determinant"), [(2, 0.011426998668460666), (3, 0.0005783126556324169)])
def test_bound_of_the_quadratic_is_the_continuous_optimum(factors: int, determinant: float) -> None:
    """Largest |M| of weighted settings, computed by another program (multiplicative algorithm, 3^k grid); 1e-6."""
    found = bound(Problem(numbered(factors, (-1.0, 1.0)), (1,), criterion="D", eta=0.0))
    p = (factors + 1) * (factors + 2) // 2
    assert found.information**p == pytest.approx(determinant, rel=2e-6)


def test_best_weights_of_two_factors_match_atkinson_and_donev_1992() -> None:
    """Atkinson & Donev (1992), chapter 11, from memory: corners 0.1458, edges 0.0802, centre 0.0962."""
    found = bound(Problem(numbered(2, (-1.0, 1.0)), (1,), criterion="D", eta=0.0))
    want = {2: 0.1458, 1: 0.0802, 0: 0.0962}
    for at, weight in zip(found.settings, found.weights, strict=True):
        assert weight == pytest.approx(want[int(np.abs(at).sum())], abs=1e-4)


@pytest.mark.parametrize("row", rows("best_known"), ids=lambda row: row["problem"])
def test_no_best_known_plan_passes_its_bound(row: dict[str, str]) -> None:
    """A bound that some plan passes is none; d32, orthogonal, attains it (Hadamard)."""
    for criterion in ("I", "D"):
        found = bound(designs.problem(row["problem"], criterion))
        assert float(row["best_I"]) >= found.average_variance * (1 - 1e-5)
        assert math.exp(float(row["best_D"])) <= found.information * (1 + 1e-5)
    if row["problem"] == "d32":
        assert found.information == pytest.approx(32, rel=1e-6)
