"""Optimal plans: what holds for every one of them."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tilestudy.design.optimal import MadeTile, OptimalPlan, Problem, appraise_settings, optimise
from tilestudy.design.optimal.check import sound
from tilestudy.design.optimal.exchange import Exchange, lay
from tilestudy.design.optimal.model import build
from tilestudy.design.optimal.search import figures
from tilestudy.design.optimal.starts import random_starts
from tilestudy.errors import PlanError
from tilestudy.study.records import Factor

STRENGTH = Factor("strength", (1.0, 9.0), "g/L", spacing="geometric", set_per="batch")
DIP = Factor("dip", (10.0, 60.0), "s")
SCRUB = Factor("scrub", (0.0, 4.0))
METAL = Factor("metal", ("copper", "brass", "bronze"), spacing="steps")
ROOM = Factor("room", (15.0, 30.0), "degC", set_per="session")
WORKABLE = {"strength": (1.0, 2.0, 3.0, 5.0, 9.0), "dip": (10.0, 20.0, 35.0, 45.0, 60.0)}
FEW = settings(max_examples=12, deadline=None)
BATCHES = st.lists(st.integers(2, 5), min_size=5, max_size=7).map(tuple)
SEEDS = st.integers(0, 2**32 - 1)


def plan_of(problem: Problem, seed: int = 1, starts: int = 6) -> OptimalPlan:
    return optimise(problem, np.random.default_rng(seed), starts, rounding=False)


def batches_of(plan: OptimalPlan) -> dict[int, list[tuple[object, ...]]]:
    found: dict[int, list[tuple[object, ...]]] = {}
    for batch, row in zip(plan.batch, plan.settings, strict=True):
        found.setdefault(batch, []).append(row)
    return found


@FEW
@given(sizes=BATCHES, seed=SEEDS, criterion=st.sampled_from("ID"), eta=st.floats(0, 20))
def test_per_batch_factors_are_constant_within_a_batch(
    sizes: tuple[int, ...], seed: int, criterion: str, eta: float
) -> None:
    """One setting of strength in each batch, and only workable settings of everything; batch sizes as asked."""
    asked = Problem((STRENGTH, DIP), sizes, criterion=criterion, eta=eta, workable=WORKABLE)
    plan = plan_of(asked, seed)
    for batch, rows in batches_of(plan).items():
        assert len(rows) == sizes[batch]
        assert len({row[0] for row in rows}) == 1
        assert all(row[0] in WORKABLE["strength"] and row[1] in WORKABLE["dip"] for row in rows)


def test_per_session_factors_are_constant_within_a_session() -> None:
    """The third stratum: one setting for all batches of a session."""
    asked = Problem(
        (ROOM, STRENGTH, DIP), (3,) * 8, model="interactions", workable=WORKABLE, sessions=(0, 0, 1, 1, 2, 2, 3, 3)
    )
    plan = plan_of(asked)
    for session in range(4):
        assert len({row[0] for row, of in zip(plan.settings, plan.session, strict=True) if of == session}) == 1
    assert len({row[0] for row in plan.settings}) > 1


@FEW
@given(seed=SEEDS, most=st.sampled_from([20.0, 35.0, 45.0]), above=st.sampled_from([1.5, 4.0]), free=st.booleans())
def test_forbidden_settings_are_never_planned(seed: int, most: float, above: float, free: bool) -> None:
    """No long dips in strong baths, with stated settings or with any value of the ranges."""
    asked = Problem(
        (STRENGTH, DIP, METAL),
        (4,) * 6,
        workable={} if free else WORKABLE,
        forbidden=lambda s: (s["dip"] > most) & (s["strength"] > above) & (s["metal"] != "brass"),
    )
    plan = plan_of(asked, seed)
    assert not any(row[1] > most and row[0] > above and row[2] != "brass" for row in plan.settings)
    assert any(row[1] > most for row in plan.settings)


@FEW
@given(seed=SEEDS, criterion=st.sampled_from("ID"), eta=st.sampled_from([0.0, 1.0, 10.0]), blocks=st.booleans())
def test_the_criterion_never_falls_during_exchange(seed: int, criterion: str, eta: float, blocks: bool) -> None:
    """Sweep by sweep for every start; and the running value is the one worked out afresh."""
    asked = Problem((STRENGTH, DIP, METAL), (3, 4, 5, 4, 3, 4), eta=eta, sessions=(0, 0, 0, 1, 1, 1) if blocks else ())
    model, layout = build(asked), lay(asked)
    levels = [one.levels for one in model.axes]
    at = random_starts(asked, model, layout, levels, 8, np.random.default_rng(seed))
    state = Exchange(asked, model, layout, at, criterion)
    keep = np.flatnonzero(sound(state.information()))
    state.keep(keep)
    values = [state.value.copy()]
    for step in (None, None, None, 0.1, 0.02):
        state.sweep(levels, step)
        values.append(state.value.copy())
    for before, after in pairwise(values):
        assert (after <= before + 1e-9 * np.abs(before)).all()
    fresh = Exchange(asked, model, layout, state.at, criterion)
    np.testing.assert_allclose(state.value, fresh.value, rtol=1e-9)
    np.testing.assert_allclose(state.X, fresh.X, atol=1e-12)
    if criterion == "I":
        average, _ = figures(model, layout, state.at[0])
        assert average == pytest.approx(state.value[0], rel=1e-9)


@pytest.mark.parametrize("criterion", ["I", "D"])
@pytest.mark.parametrize("where", ["tile", "batch"])
def test_one_exchange_finds_the_best_level_that_trying_them_all_would(criterion: str, where: str) -> None:
    """Two ranks for a tile and the small matrix for a batch against a plain inverse for each level."""
    asked = Problem((STRENGTH, DIP, METAL), (3, 4, 5, 4, 3, 4), eta=2.0)
    model, layout = build(asked), lay(asked)
    levels = [one.levels for one in model.axes]
    at = random_starts(asked, model, layout, levels, 5, np.random.default_rng(3))
    state = Exchange(asked, model, layout, at, criterion)
    j, rows = (0, np.flatnonzero(layout.batch == 2)) if where == "batch" else (1, np.array([6]))
    tried = np.repeat(at[:, None], len(levels[j]), axis=1)
    tried[:, :, rows, j] = levels[j][None, :, None]
    X = model.columns(tried)
    M = X.swapaxes(2, 3) @ layout.K @ X
    value = (
        -np.linalg.slogdet(M)[1] if criterion == "D" else np.trace(np.linalg.inv(M) @ model.moments, axis1=2, axis2=3)
    )
    if where == "batch":
        state._exchange_whole(rows, state.moves[j], levels[j])
    else:
        state._exchange_tile(6, state.moves[j], levels[j])
    state.refresh()
    np.testing.assert_allclose(state.value, value.min(axis=1), rtol=1e-9)


@FEW
@given(seed=SEEDS)
def test_the_same_seed_gives_the_same_plan(seed: int) -> None:
    """All of it, figures included."""
    asked = Problem((STRENGTH, DIP, METAL), (4,) * 6, workable=WORKABLE)
    assert plan_of(asked, seed) == plan_of(asked, seed)


@FEW
@given(seed=SEEDS, eta=st.floats(0, 10), batch=st.integers(0, 5), dip=st.floats(10, 60), blocks=st.booleans())
def test_adding_a_tile_never_lowers_information(seed: int, eta: float, batch: int, dip: float, blocks: bool) -> None:
    """Whatever the tile, whichever the batch: D no smaller, average prediction variance no larger."""
    asked = Problem((STRENGTH, DIP), (3,) * 6, eta=eta, sessions=(0, 0, 0, 1, 1, 1) if blocks else ())
    plan = plan_of(asked, seed)
    rows = list(plan.settings)
    place = 3 * (batch + 1)
    rows.insert(place, (rows[place - 1][0], dip))
    bigger = replace(asked, batch_sizes=tuple(3 + (one == batch) for one in range(6)))
    average, information = appraise_settings(bigger, rows)
    assert average <= plan.average_variance * (1 + 1e-9)
    assert information >= plan.information * (1 - 1e-9)


def test_relabelling_changes_nothing() -> None:
    """Other names of factors and levels, another unit: the same plan, setting by setting."""
    asked = Problem((STRENGTH, DIP, METAL), (4,) * 6, workable=WORKABLE)
    plan = plan_of(asked)
    minutes = replace(DIP, name="b", levels=tuple(float(one) / 60 for one in DIP.levels))
    other = Problem(
        (replace(STRENGTH, name="z"), minutes, replace(METAL, name="a", levels=("K", "M", "Z"))),
        (4,) * 6,
        workable={"z": WORKABLE["strength"], "b": tuple(one / 60 for one in WORKABLE["dip"])},
    )
    renamed = plan_of(other)
    names = dict(zip(METAL.levels, ("K", "M", "Z"), strict=True))
    assert renamed.settings == tuple((row[0], row[1] / 60, names[row[2]]) for row in plan.settings)
    assert renamed.average_variance == pytest.approx(plan.average_variance, rel=1e-9)


def test_the_order_of_factors_and_batches_changes_no_figure() -> None:
    """A plan's figures, tiles and factors taken in another order."""
    asked = Problem((STRENGTH, DIP, METAL), (3, 4, 5, 4, 3, 4), workable=WORKABLE)
    plan = plan_of(asked)
    turned = [tuple(reversed(row)) for batch in reversed(batches_of(plan).values()) for row in batch]
    figures_turned = appraise_settings(Problem((METAL, DIP, STRENGTH), (4, 3, 4, 5, 4, 3)), turned)
    assert figures_turned == pytest.approx((plan.average_variance, plan.information), rel=1e-9)


@FEW
@given(seed=SEEDS, dip=st.floats(10, 60), strength=st.floats(1, 9), metal=st.sampled_from(METAL.levels))
def test_tiles_made_already_are_kept_exactly(seed: int, dip: float, strength: float, metal: str) -> None:
    """Even off the workable settings; the rest of their batch takes its strength from them."""
    made = (
        MadeTile(4, {"strength": 2.0, "dip": 20.0, "metal": "bronze"}),
        MadeTile(1, {"strength": strength, "dip": dip, "metal": metal}),
    )
    plan = plan_of(Problem((STRENGTH, DIP, METAL), (4,) * 6, workable=WORKABLE, made=made), seed)
    rows = batches_of(plan)
    assert rows[1][0] == (strength, dip, metal)
    assert rows[4][0] == (2.0, 20.0, "bronze")
    assert [row[0] for row in rows[1]] == [pytest.approx(strength)] * 4
    assert {row[0] for row in rows[4]} == {2.0}


def test_tiles_made_already_are_made_use_of() -> None:
    """With three of four corners there, the tile to add for straight lines is the fourth."""
    x, y = Factor("x", (0.0, 1.0)), Factor("y", (0.0, 1.0))
    corners = ((0.0, 0.0), (0.0, 1.0), (1.0, 0.0))
    made = tuple(MadeTile(0, {"x": a, "y": b}) for a, b in corners)
    asked = Problem((x, y), (4,), model="main effects", criterion="D", eta=0.0, made=made)
    assert plan_of(asked).settings == (*corners, (1.0, 1.0))


def test_a_stated_list_of_terms_is_the_model() -> None:
    """A bend of one factor only, and one pair."""
    asked = Problem((DIP, SCRUB, METAL), (12,), model=(("dip",), ("scrub",), ("dip", "dip"), ("dip", "metal")), eta=0.0)
    plan = plan_of(asked)
    assert plan.terms == ((), ("dip",), ("scrub",), ("dip", "dip"), ("dip", "metal"), ("dip", "metal"))
    assert {row[0] for row in plan.settings} > {10.0, 60.0}


def test_sessions_as_blocks_are_estimated_with_the_model() -> None:
    """Figures against generalised least squares with the sessions' columns written out."""
    asked = Problem((STRENGTH, DIP), (3, 4, 3, 3, 4, 5), eta=1.5, sessions=(0, 0, 1, 1, 2, 2), workable=WORKABLE)
    plan = plan_of(asked)
    s = np.log([row[0] for row in plan.settings]) / np.log(9) * 2 - 1
    d = (np.array([row[1] for row in plan.settings]) - 35) / 25
    session = np.array(plan.session)
    blocks = np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, -1.0]])[session]
    X = np.column_stack([np.ones(22), s, d, s * d, s * s, d * d, blocks])
    batch = np.array(plan.batch)
    V = np.eye(22) + 1.5 * (batch[:, None] == batch)
    C = np.linalg.inv(X.T @ np.linalg.solve(V, X))[:6, :6]
    t = np.linspace(-1, 1, 2001)
    u, v = np.meshgrid((t[1:] + t[:-1]) / 2, (t[1:] + t[:-1])[::40] / 2 + 0.0195)
    u, v = u.ravel(), v.ravel()
    F = np.column_stack([np.ones_like(u), u, v, u * v, u * u, v * v])
    assert plan.average_variance == pytest.approx(float(((F @ C) * F).sum(1).mean()), rel=1e-3)


def test_workable_settings_cost_something_and_it_is_said() -> None:
    """Only the ends and a lopsided middle: much less than with any value, and the note says how much."""
    asked = Problem((DIP, SCRUB), (9,), eta=0.0, workable={"dip": (10.0, 20.0, 60.0)})
    plan = optimise(asked, np.random.default_rng(1), 20)
    assert plan.efficiency is not None
    assert 0.5 < plan.efficiency < 0.9
    assert plan.notes == (
        f"Keeping to workable settings costs {100 * (1 - plan.efficiency):.1f} % of what the tiles could tell.",
    )
    anywhere = optimise(replace(asked, workable={}), np.random.default_rng(1), 20)
    assert anywhere.efficiency == 1.0
    assert plan.efficiency == pytest.approx(anywhere.average_variance / plan.average_variance, rel=2e-3)


def test_a_region_of_stated_settings_is_averaged_over_those_alone() -> None:
    """A count has no values between its settings; a forbidden corner is left out of the average."""
    count = replace(SCRUB, levels=(0.0, 1.0, 4.0))
    model = build(Problem((count, METAL), (8,), discrete=frozenset({"scrub"})))
    at = np.array([[s, m] for s in (-1.0, -0.5, 1.0) for m in (0.0, 1.0, 2.0)])
    columns = model.columns(at)
    np.testing.assert_allclose(model.moments, columns.T @ columns / 9, atol=1e-12)
    asked = Problem(
        (count, METAL),
        (8,),
        discrete=frozenset({"scrub"}),
        forbidden=lambda s: (s["scrub"] == 4) & (s["metal"] == "bronze"),
    )
    columns = columns[:-1]
    np.testing.assert_allclose(build(asked).moments, columns.T @ columns / 8, atol=1e-12)


PLAIN = Problem((replace(STRENGTH, set_per="tile"), DIP, SCRUB), (12,), eta=0.0)


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (
            replace(PLAIN, batch_sizes=(8,)),
            "8 tiles cannot show 10 things: the mean, strength, dip, scrub, strength × dip, strength × scrub, "
            "dip × scrub, strength (bend), dip (bend), scrub (bend). Nearest: at least 10 tiles, or the model "
            "“interactions”, which takes 7.",
        ),
        (
            replace(PLAIN, model="main effects", batch_sizes=(3,)),
            "3 tiles cannot show 4 things: the mean, strength, dip, scrub. Nearest: at least 4 tiles, or fewer factors.",
        ),
        (
            Problem((STRENGTH, DIP), (12,), model="main effects"),
            "1 batch cannot show 2 things: the mean, strength. Nearest: at least 2 batches, or a model without some of "
            "these, or set the factor per tile.",
        ),
        (
            Problem((ROOM, DIP), (6, 6), model="main effects"),
            "1 session cannot show 2 things: the mean, room. Nearest: at least 2 sessions, or a model without some of "
            "these, or set the factor per batch.",
        ),
        (
            replace(PLAIN, forbidden=lambda s: s["dip"] > 0),
            "Every combination of the settings is forbidden, so no tile can be planned. Forbid less: leave at least as "
            "many combinations as the model has terms.",
        ),
        (
            replace(PLAIN, model="main effects", workable=WORKABLE, forbidden=lambda s: s["dip"] != 20),
            "No plan within these settings, batches and forbidden combinations can tell apart: the mean, dip. Allow more "
            "settings, more batches or fewer terms.",
        ),
        (
            replace(PLAIN, workable={"dip": (10.0, 75.0)}),
            "dip runs from 10 to 60 s, and [75.0] lies outside. Widen its levels or drop the setting.",
        ),
        (
            Problem(
                (STRENGTH, DIP),
                (2, 2, 2),
                made=(MadeTile(0, {"strength": 9.0, "dip": 10.0}), MadeTile(0, {"strength": 1.0, "dip": 10.0})),
            ),
            "Tiles made already in one batch differ in strength, which is set per batch. Put them into two.",
        ),
        (
            Problem((DIP,), (1, 5), made=(MadeTile(0, {"dip": 10.0}), MadeTile(0, {"dip": 60.0}))),
            "Batch 0 is to hold 1 in all, and 2 are made already. Raise its size to 2.",
        ),
    ],
)
def test_impossible_requests_get_the_reason_and_the_nearest_that_can_be_met(asked: Problem, message: str) -> None:
    """The whole message."""
    with pytest.raises(PlanError) as caught:
        plan_of(asked)
    assert str(caught.value) == message


def test_a_plan_that_cannot_estimate_the_model_is_not_given_a_figure() -> None:
    """Dip and scrub change together; the error names them."""
    rows = [(1.0, 10.0, 0.0), (9.0, 60.0, 4.0)] * 6
    with pytest.raises(PlanError) as caught:
        appraise_settings(replace(PLAIN, model="main effects"), rows)
    assert (
        str(caught.value) == "These tiles cannot tell apart: strength, dip, scrub. Change their settings or add tiles."
    )


def test_saturated_plans_start_from_singular_ones_and_get_out() -> None:
    """As many tiles as terms, two levels: nearly every random start is singular."""
    two = tuple(Factor(f"f{j}", (-1.0, 1.0)) for j in range(7))
    asked = Problem(two, (8,), model="main effects", criterion="D", eta=0.0, discrete=frozenset(f.name for f in two))
    assert plan_of(asked, 5, 40).information == pytest.approx(8.0)
