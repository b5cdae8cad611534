"""Growing a study: what is there stays, batches are numbered on, and each kind of addition is what it says."""

from collections import Counter, defaultdict
from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tilestudy.design.appraise import Noise, appraise
from tilestudy.design.extend import Extension, Request, asked, bought, extend, marks, middle_of, usable
from tilestudy.design.families import fold_over, fraction
from tilestudy.design.layout import Clock, lay_out
from tilestudy.design.optimal import MadeTile, Problem, appraise_settings
from tilestudy.errors import PlanError, WrongRequestError
from tilestudy.study.records import Batch, BatchLog, Bound, Factor, Limits, Made, Plan, Setting, Study, Tile

CLOCK = Clock(setup=45, clear=15, batch=6, tile=1, cycle=0.5)
NOISE = Noise(3.0, 3.0, "L*", "lightness")
DAY = date(2026, 11, 24)
STRENGTH = Factor("strength", (1.0, 3.0, 9.0), "g/L", "g/L", "geometric", "batch")
DIP = Factor("dip_time", (10.0, 30.0, 90.0), "s", "s", "geometric", "tile")
SCRUB = Factor("scrub_cycles", (1.0, 4.0), spacing="geometric", set_per="tile")
PLAQUES = Study("plaques", "", "sulfide-dip", (STRENGTH, DIP, SCRUB), limits=Limits(minutes=150))
TWO = replace(
    PLAQUES, factors=(replace(STRENGTH, levels=(2.0, 8.0)), replace(DIP, levels=(15.0, 60.0)), SCRUB), batches_each=2
)
WISHES = [
    Request("batches", 1),
    Request("batches", 4),
    Request("mirror"),
    Request("middle"),
    Request("ends"),
    Request("repair", batch="b2"),
    Request("tiles", 2, 5),
    Request("tiles", None, 3),
]

factors = st.lists(
    st.tuples(st.integers(2, 3), st.sampled_from(["tile", "tile", "batch", "session"]), st.sampled_from("sgn")),
    min_size=1,
    max_size=3,
).map(
    lambda made: tuple(
        Factor(f"f{i}", tuple("abc"[:count]), spacing="steps", set_per=where)
        if how == "n"
        else Factor(
            f"f{i}",
            tuple(10.0 * 3.0**n for n in range(count)) if how == "g" else tuple(10.0 + 20.0 * n for n in range(count)),
            "s",
            "s",
            "geometric" if how == "g" else "linear",
            where,
        )
        for i, (count, where, how) in enumerate(made)
    )
)


def grown(study: Study, plan: Plan, *wishes: Request, made: tuple[Made, ...] = ()) -> tuple[Plan, Extension]:
    """Extend a plan by one request after another."""
    for one in wishes:
        more = extend(study, CLOCK, plan, one, NOISE, made, taken={tile.code for tile in plan.tiles})
        plan = more.grown(plan)
    return plan, more


@pytest.mark.parametrize("wanted", WISHES, ids=lambda one: one.kind)
@settings(max_examples=15, deadline=None)
@given(made=factors, references=st.booleans(), seed=st.integers(0, 99), data=st.data())
def test_whatever_is_added_what_is_there_stays(
    wanted: Request, made: tuple[Factor, ...], references: bool, seed: int, data: st.DataObject
) -> None:
    """Old tiles stay, codes are new, per-batch and per-session settings hold, order is a permutation, range is kept."""
    study = Study("s", "", "other", made, reference_tiles=references)
    plan = lay_out(study, CLOCK, seed)
    spoiled = tuple(
        Made(code, DAY, spoiled=True) for code in data.draw(st.sets(st.sampled_from([t.code for t in plan.tiles])))
    )
    try:
        first, _ = grown(study, plan, wanted, made=spoiled)
    except PlanError as error:
        refused = str(error)
    else:
        refused = ""
    if refused:
        assert wanted.kind in ("mirror", "middle", "ends", "tiles")
        assert "Nearest" in refused or "Nothing was added" in refused
        return
    again = Request("repair", batch=first.batches[-1].code) if wanted.kind == "repair" else wanted
    second, more = grown(study, first, again, made=spoiled)
    assert second.batches[: len(plan.batches)] == plan.batches
    assert second.tiles[: len(first.tiles)] == first.tiles
    assert first.tiles[: len(plan.tiles)] == plan.tiles
    assert len({tile.code for tile in second.tiles}) == len(second.tiles)
    assert len({batch.code for batch in second.batches}) == len(second.batches)
    assert [batch.order for batch in second.batches] == list(range(1, len(second.batches) + 1))
    assert min(batch.session for batch in more.batches) == max(batch.session for batch in first.batches) + 1
    of_session: dict[tuple[int, str], set[Setting]] = defaultdict(set)
    orders = defaultdict(list)
    for tile in second.tiles:
        batch = second.batch(tile.batch)
        orders[tile.batch].append(tile.order)
        assert (tile.session, set(tile.settings)) == (batch.session, {factor.name for factor in made})
        for factor in made:
            value = tile.settings[factor.name]
            if factor.set_per != "tile":
                assert batch.settings[factor.name] == value
            if factor.set_per == "session":
                of_session[batch.session, factor.name].add(value)
            assert value in factor.levels if not factor.scaled else factor.levels[0] <= value <= factor.levels[-1]
    assert all(len(found) == 1 for found in of_session.values())
    assert all(sorted(order) == list(range(1, len(order) + 1)) for order in orders.values())
    assert extend(study, CLOCK, first, again, NOISE, spoiled, taken={t.code for t in first.tiles}) == more


def test_further_batches_go_to_the_setting_with_the_fewest() -> None:
    """After a bath of each strength but 9 g/L is added, the next is of 9 g/L; each repeats the whole share."""
    plan = lay_out(PLAQUES, CLOCK, 7)
    every, more = grown(PLAQUES, plan, Request("batches", 3))
    assert sorted(float(batch.settings["strength"]) for batch in more.batches) == [1.0, 3.0, 9.0]
    assert len(more.tiles) == 18
    lost = tuple(
        Made(t.code, DAY, spoiled=True) for t in every.tiles if t.settings["strength"] == 9.0 and t.session == 1
    )
    _, more = grown(PLAQUES, every, Request("batches", 1), made=lost)
    assert [dict(batch.settings) for batch in more.batches] == [{"strength": 9.0}]
    assert any("alone in its session" in sentence for sentence in more.says)
    halves = replace(PLAQUES, limits=Limits(tiles=20))
    plan = lay_out(halves, CLOCK, 7)
    _, more = grown(replace(halves, limits=Limits()), plan, Request("batches", 6))
    shares = Counter((t.settings["strength"], t.settings["dip_time"], t.settings["scrub_cycles"]) for t in more.tiles)
    assert len(shares) == 18
    assert set(shares.values()) == {1}


def test_the_mirror_of_a_fraction_is_its_fold_over() -> None:
    """The tiles of a half fraction and its mirror are those of Box & Hunter's (1961) fold-over of it."""
    family = fraction(3, 4)
    names = [factor.name for factor in TWO.factors]
    ends = {factor.name: dict(zip((-1.0, 1.0), factor.levels, strict=True)) for factor in TWO.factors}

    def made_of(matrix: object) -> list[dict[str, Setting]]:
        return [{name: ends[name][float(code)] for name, code in zip(names, row, strict=True)} for row in matrix]  # type: ignore[attr-defined]

    batches, tiles = [], []
    for place, settings_of in enumerate(made_of(family.matrix), start=1):
        batches.append(Batch(f"B{place}", 1, place, {"strength": settings_of["strength"]}))
        tiles.append(Tile(f"X{place}", f"B{place}", 1, 1, settings_of))
    plan, more = grown(TWO, Plan("plaques", 1, tuple(batches), tuple(tiles)), Request("mirror"))
    key = lambda one: sorted(one.items())  # noqa: E731
    assert sorted(map(key, (t.settings for t in plan.tiles))) == sorted(map(key, made_of(fold_over(family).matrix)))
    assert any("tell each factor from the pairs" in sentence for sentence in more.says)
    _, more = grown(TWO, plan, Request("middle"), Request("mirror"))
    assert len(more.tiles) == 8  # those beside the centre tiles lie in the middle of the strengths
    assert any("8 tiles between the ends have no mirror image" in sentence for sentence in more.says)


def test_centre_and_star_tiles_over_fresh_batches() -> None:
    """Two centre batches with both ends beside; star batches at both ends and twice in the middle."""
    plan = lay_out(TWO, CLOCK, 7)
    _, more = grown(TWO, plan, Request("middle"))
    assert [batch.settings["strength"] for batch in more.batches] == [4.0, 4.0]
    each = Counter((t.batch, t.settings["dip_time"], t.settings["scrub_cycles"]) for t in more.tiles)
    for batch in more.batches:
        assert {key[1:]: n for key, n in each.items() if key[0] == batch.code} == {(30, 2): 2, (15, 1): 1, (60, 4): 1}
    _, more = grown(TWO, plan, Request("ends"))
    assert sorted(float(batch.settings["strength"]) for batch in more.batches) == [2.0, 4.0, 4.0, 8.0]
    for tile in more.tiles:
        off = [f for f in TWO.factors if tile.settings[f.name] in f.levels]
        assert len(off) <= 1
    at_ends = {(f.name, t.settings[f.name]) for t in more.tiles for f in TWO.factors if t.settings[f.name] in f.levels}
    assert at_ends == {(f.name, level) for f in TWO.factors for level in f.levels}


@pytest.mark.parametrize(
    ("factor", "middle"),
    [
        (STRENGTH, 3.0),
        (replace(DIP, levels=(15.0, 60.0)), 30.0),
        (replace(DIP, levels=(15.0, 90.0)), 40.0),  # 36.7 s is no setting for a stop watch
        (replace(DIP, levels=(15.0, 90.0), workable=(15.0, 20.0, 45.0, 90.0)), 45.0),
        (replace(DIP, levels=(15.0, 90.0), workable=(16.0, 85.0)), None),
        (Factor("dwell", (60.0, 600.0), "s", "min"), 330.0),  # 5.5 min
        (Factor("heat", (176.6666666667, 287.7777777778), "degC", "degF"), 232.2222222222),
        (Factor("cycles", (1.0, 2.0)), None),
        (Factor("cycles", (1.0, 6.0)), 4.0),
        (Factor("finish", ("brushed", "sanded"), spacing="steps"), None),
        (Factor("grit", (120.0, 240.0, 400.0), spacing="steps"), None),
    ],
)
def test_the_middle_is_a_setting_the_bench_can_make(factor: Factor, middle: float | None) -> None:
    """A level or workable setting near it, else a round number in the unit people use."""
    found = middle_of(factor)
    assert found == (pytest.approx(middle) if middle is not None else None)


def test_repair_makes_the_batch_again_and_marks_what_failed() -> None:
    """Every tile anew in a fresh bath; unmade and spoiled ones are replaced, good ones stay."""
    plan = lay_out(PLAQUES, CLOCK, 7)
    old = [tile for tile in plan.tiles if tile.batch == "B3"]
    made = (Made(old[0].code, DAY, by="KL"), Made(old[1].code, DAY, spoiled=True, why="dropped", by="KL"))
    after, more = grown(PLAQUES, plan, Request("repair", batch="B3"), made=made)
    assert len(more.batches) == 1
    assert more.batches[0].settings == plan.batch("B3").settings
    assert set(more.replaced) == {tile.code for tile in old[1:]}
    for code, new in more.replaced.items():
        assert after.tile(new).settings == plan.tile(code).settings
        assert after.tile(new).replaces == code
    assert sum(not tile.replaces for tile in more.tiles) == 1
    found = {one.tile: one for one in marks(more, made, DAY, "bath")}
    assert found[old[1].code] == replace(made[1], replaced_by=more.replaced[old[1].code])
    assert found[old[2].code].why == "bath failed, made again as B7"
    assert len(usable(after, [*made, *found.values()]).tiles) == 37
    for batch, error in (("B3", "was made again as B7"), ("B9", 'has no bath "B9". There are: B1')):
        with pytest.raises(WrongRequestError, match=error):
            extend(PLAQUES, CLOCK, after, Request("repair", batch=batch), NOISE, made, word="bath")
    good = tuple(Made(tile.code, DAY) for tile in plan.tiles)
    with pytest.raises(WrongRequestError, match="nothing to mend"):
        extend(PLAQUES, CLOCK, plan, Request("repair", batch="B3"), NOISE, good)


def test_chosen_tiles_tell_more_than_a_batch_repeated() -> None:
    """Six tiles in two baths chosen beside those made predict better than the two rarest settings in three tiles each."""
    plan = lay_out(replace(PLAQUES, limits=Limits(tiles=20)), CLOCK, 3)
    logs = (BatchLog("B1", actual={"strength": 2.0}),)
    more = extend(PLAQUES, CLOCK, plan, Request("tiles", 2, 6), NOISE, (), logs)
    rest = extend(PLAQUES, CLOCK, plan, Request("batches", 2), NOISE, (), logs)
    assert (len(more.tiles), len(more.batches)) == (6, 2)

    def average(extension: Extension) -> float:
        whole = extension.grown(plan)
        made, order = [], [batch.code for batch in whole.batches]
        for tile in whole.tiles:
            actual = {"strength": 2.0} if tile.batch == "B1" else {}
            made.append(MadeTile(order.index(tile.batch), {**tile.settings, **actual}))
        problem = Problem(
            PLAQUES.factors,
            tuple(sum(tile.batch == code for tile in whole.tiles) for code in order),
            sessions=tuple(batch.session for batch in whole.batches),
            workable={f.name: tuple(map(float, f.levels)) for f in PLAQUES.factors},
            discrete=frozenset(f.name for f in PLAQUES.factors),
        )
        return appraise_settings(problem, [[one.settings[f.name] for f in PLAQUES.factors] for one in made])[0]

    assert average(more) < average(rest)


def test_forbidden_combinations_are_never_added() -> None:
    """Rules of the study hold for every kind."""
    never = ((Bound("strength", "above", 5.0), Bound("dip_time", "above", 40.0)),)
    for study in (replace(PLAQUES, never=never), replace(TWO, never=never)):
        plan = lay_out(study, CLOCK, 2)
        for one in WISHES:
            if one.kind == "mirror" and study.factors == PLAQUES.factors:
                continue
            _, more = grown(study, plan, one)
            assert all(study.allows(tile.settings) for tile in more.tiles), one


@pytest.mark.parametrize(
    ("limits", "wanted", "message"),
    [
        (Limits(tiles=50), Request("batches", 3), "54 tiles (limit 50). Raise tiles to 54 under [limits]"),
        (Limits(tiles=50), Request("batches", 3), "the nearest that fits: --batches 2"),
        (Limits(batches=6), Request("middle"), "8 batches (limit 6). Raise batches to 8"),
        (Limits(sessions=1), Request("ends"), "2 sessions (limit 1). Raise sessions to 2"),
        (Limits(tiles=40), Request("tiles", 2, 6), "nearest that fits: --tiles 4 --batches 2"),
        (Limits(tiles_per_batch=6), Request("tiles", 1, 8), "Nearest: --tiles 8 --batches 2"),
        (Limits(), Request("tiles", 4, 2), "2 tiles cannot fill 4 baths. Nearest: --tiles 4 --batches 4"),
        (Limits(), Request("mirror"), "Strength is made at 3 settings (1 g/L, 3 g/L, 9 g/L), and a mirror image"),
        (Limits(minutes=70), Request("batches", 1), "does not fit a session of 70 minutes. Raise minutes"),
    ],
)
def test_what_does_not_fit_says_which_limit_and_the_nearest_that_does(
    limits: Limits, wanted: Request, message: str
) -> None:
    """Limits of the study hold; the message names the one to raise."""
    plan = lay_out(replace(PLAQUES, limits=Limits()), CLOCK, 7)
    with pytest.raises(PlanError) as caught:
        extend(replace(PLAQUES, limits=limits), CLOCK, plan, wanted, NOISE, word="bath")
    assert message in str(caught.value)


@pytest.mark.parametrize("options", [{}, {"mirror": True, "middle": True}, {"ends": True, "batches": 2}, {"tiles": 0}])
def test_one_kind_at_a_time(options: dict[str, int | bool]) -> None:
    """None, two, or nothing to add is asked wrongly."""
    with pytest.raises(WrongRequestError):
        asked(**options)  # type: ignore[arg-type]


def test_what_it_buys_is_said_from_the_appraisals() -> None:
    """Before and after in the noise's unit; a factor that could not be told before is named so."""
    study = replace(PLAQUES, factors=(replace(STRENGTH, levels=(1.0, 9.0)), DIP), batches_each=1)
    plan = lay_out(study, CLOCK, 1)
    after, _ = grown(study, plan, Request("batches", 2))
    first, second = appraise(study, plan, NOISE), appraise(study, after, NOISE)
    said = bought(study, first, second)
    assert first.factors[0].smallest is None
    assert any(one.startswith("Strength: could not be told before; now a change of") for one in said)
    assert any(one.startswith("Dip time: the smallest change likely seen") for one in said)
    assert bought(study, second, second) == ["Strength and dip time: the smallest change likely seen stays as it was."]


def test_a_star_batch_is_no_share_of_the_grid() -> None:
    """After star tiles, a further batch still repeats the grid of its strength."""
    plan, _ = grown(PLAQUES, lay_out(PLAQUES, CLOCK, 7), Request("ends"))
    _, more = grown(PLAQUES, plan, Request("batches", 3))
    assert len(more.tiles) == 18


def test_a_factor_set_per_session_gets_sessions_of_its_own() -> None:
    """Star tiles over a warmth set per session: one session at each end and the middle."""
    warmth = Factor("warmth", (10.0, 40.0), "degC", "degC", set_per="session")
    study = replace(PLAQUES, factors=(warmth, replace(SCRUB, levels=(1.0, 5.0)), DIP))
    plan = lay_out(study, CLOCK, 1)
    _, more = grown(study, plan, Request("ends"))
    warmths = {(batch.session, batch.settings["warmth"]) for batch in more.batches}
    assert sorted(value for _, value in warmths) == [10.0, 25.0, 40.0]
