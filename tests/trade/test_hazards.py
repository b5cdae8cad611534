"""The hazard check: every rule trips and passes, no order and no name hides a meeting, gas, baths, sign-offs, questions."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tilestudy.study.records import Batch, BatchLog, Factor, Made, Metal, Plan, RubPlan, Study, Tile
from tilestudy.study.workplace import Added, BenchStep, Room, SignOff, Workplace
from tilestudy.trade.hazards import Hazard, check, gases, unanswered
from tilestudy.trade.hazards.bench import read_bench
from tilestudy.trade.hazards.report import report
from tilestudy.trade.library import BUILT_IN, Library

COPPER = Study("s", "", "sulfide-dip", (), metal=Metal("C11000"))
NITRATE = replace(COPPER, process="hot-nitrate")
FUMING = replace(COPPER, process="ammonia-salt-fuming")
LOW = replace(COPPER, process="low-heat")
HIGH = replace(COPPER, process="high-heat")
OWN = replace(COPPER, process="other")


def step(do: str, *things: str, **where: Any) -> BenchStep:
    return BenchStep(do, things, **where)


def order(study: Study, *steps: BenchStep, near: tuple[BenchStep, ...] = ()) -> Study:
    return replace(study, workplace=replace(study.workplace, sequence=steps, nearby=near))


def near(*things: str, **where: Any) -> BenchStep:
    return BenchStep("keep", things, **where)


def mixed(study: Study, *things: str) -> Study:
    return replace(study, workplace=replace(study.workplace, added=tuple(Added(one) for one in things)))


def beside(study: Study, *things: str, **where: Any) -> Study:
    return replace(study, workplace=replace(study.workplace, nearby=(near(*things, **where),)))


def asked(study: Study, **answers: str) -> Study:
    return replace(study, bench=answers)


def metal(study: Study, uns: str = "C11000", **more: str) -> Study:
    return replace(study, metal=Metal(uns, **more))


def hot(study: Study, *degrees: float) -> Study:
    return replace(study, factors=(Factor("temperature", degrees, "degC", "degC", "linear", "batch"),))


def found(study: Study, rule: str, **more: Any) -> list[Hazard]:
    return [one for one in check(study, BUILT_IN, **more) if one.id == rule]


HOOD = {"place": "fume hood"}
SINK = step("rinse", "water", place="sink")
BUCKET = replace(SINK, bucket="grey")
RINSED = (
    step("pickle", "citric acid", place="pickle table"),
    step("rinse", "water", place="sink"),
    step("dip", **HOOD),
    step("rinse", "water", place="sink"),
)
BARE = (step("pickle", "citric acid", place="pickle table"), step("dip", **HOOD))
SEALED = (step("dip"), step("rinse"), step("dry"), step("wax"))

# The rules of the trade, by number: id, what it does, studies that trip it, studies that pass.
RULES: list[tuple[int, str, str, list[Study], list[Study]]] = [
    (1, "sulfide-acid", "block", [mixed(COPPER, "white vinegar"), order(COPPER, *BARE), beside(COPPER, "pickle"),
        asked(COPPER, acid_at_the_same_place="yes"),
        order(COPPER, step("pickle", place="a", tools=("tongs",)), SINK, step("dip", place="b", tools=("Tongs",)), SINK),
        order(COPPER, step("pickle", place="a", jar="waste"), SINK, step("dip", place="b", jar="Waste"), SINK),
        order(COPPER, step("pickle", place="a"), BUCKET, step("dip", **HOOD), BUCKET),
        order(COPPER, step("pickle", place="bench"), SINK, step("dip"), SINK),
        order(COPPER, step("pickle", "water", place="a"), step("dip", **HOOD), SINK),
        order(COPPER, SINK, near=(near("vinegar"),)),
        mixed(order(OWN, step("dip")), "liver of sulphur", "ferric chloride")],
        [COPPER, order(COPPER, *RINSED), order(COPPER, step("pickle", place="a", tools=("tongs",), jar="acid"), BUCKET,
            step("dip", place="b", tools=("hook",), jar="sulfide"), replace(BUCKET, bucket="blue", tools=("tongs",))),
         asked(COPPER, acid_at_the_same_place="no"), mixed(COPPER, "salt")]),
    (2, "ammonia-bleach", "block", [beside(FUMING, "bleach", place="under the sink"), asked(FUMING, bleach_in_the_room="yes")],
        [FUMING, beside(FUMING, "washing soda")]),
    (3, "acid-bleach", "block", [beside(order(COPPER, *RINSED), "bleach", place="cupboard")], [beside(COPPER, "bleach")]),
    (4, "nitrate-fuel", "block", [beside(NITRATE, "beeswax"), order(NITRATE, step("wipe", "paper towel"), step("brush")),
        beside(NITRATE, "sawdust"), beside(NITRATE, "acetone"), asked(NITRATE, fuel_near_nitrate="yes")],
        [NITRATE, beside(NITRATE, "beeswax", place="wax bench")]),
    (5, "nitrate-sulfide", "block", [beside(NITRATE, "liver of sulfur"), mixed(COPPER, "potassium nitrate"),
        asked(NITRATE, sulfide_bath_near="yes")], [NITRATE, COPPER]),
    (6, "silver-ammonia", "block", [beside(FUMING, "silver nitrate"), beside(OWN, "silver nitrate", "ammonia"),
        asked(FUMING, silver_nitrate_with_ammonia="yes")], [FUMING, beside(FUMING, "silver nitrate", place="safe")]),
    (7, "ammonium-alkali", "warn", [mixed(OWN, "ammonium chloride", "lye")], [mixed(OWN, "ammonium chloride", "salt")]),
    (8, "solvent-heat", "block", [beside(LOW, "dichloromethane", place="shelf"),
        order(COPPER, step("degrease", "trichloroethylene"), step("rinse"), step("torch"), step("dip")),
        asked(LOW, solvent_near_heat="yes")], [LOW, beside(LOW, "detergent"), beside(COPPER, "dichloromethane")]),
    (9, "unknown-alloy-heat", "block", [metal(LOW, coating="plated"), metal(LOW, coating="galvanised"),
        asked(LOW, unknown_or_coated_metal="yes")], [LOW, metal(LOW, coating="none"), metal(COPPER, coating="plated")]),
    (9, "unstated-metal-heat", "block", [metal(LOW, ""), metal(LOW, "C99999"), order(metal(COPPER, ""), step("torch"), step("dip"))],
        [LOW, metal(COPPER, "")]),
    (9, "lead-cadmium-heat", "block", [metal(LOW, "C35300")], [metal(LOW, "C26000"), metal(COPPER, "C35300")]),
    (9, "soft-solder-heat", "block", [metal(LOW, solder="soft"), metal(LOW, solder="unknown")],
        [metal(LOW, solder="hard"), metal(COPPER, solder="soft")]),
    (10, "listed-poison", "block", [mixed(OWN, "mercuric chloride"), mixed(OWN, "potassium cyanide"), mixed(OWN, "white arsenic"),
        mixed(OWN, "butter of antimony"), mixed(OWN, "lead acetate"), mixed(OWN, "potassium dichromate"),
        asked(OWN, listed_poison="yes")], [mixed(OWN, "salt"), COPPER]),
    (11, "closed-tub-heated", "block", [asked(FUMING, tub_heated="yes"), hot(FUMING, 20, 60),
        order(FUMING, step("heat", closed=True))], [FUMING, hot(FUMING, 18, 24)]),
    (12, "soda-closed", "block", [order(OWN, step("neutralise", "citric acid", "washing soda", closed=True)),
        order(OWN, step("pickle", jar="w"), SINK, step("neutralise", jar="w")),
        beside(order(OWN, step("pickle", bucket="b"), SINK), "chalk", bucket="B", closed=True)],
        [order(OWN, step("neutralise", "citric acid", "washing soda")), order(OWN, step("pickle", jar="w")),
        beside(order(OWN, step("pickle", bucket="b"), SINK), "chalk", bucket="B")]),
    (13, "bronze-chloride", "warn", [metal(FUMING, "C51000"), metal(mixed(OWN, "ferric chloride"), "C51000"),
        order(metal(COPPER, "C65500"), step("dip"), step("scrub", "salt"))], [FUMING, metal(COPPER, "C51000")]),
    (14, "bare-patina", "warn", [COPPER, LOW, OWN], [order(COPPER, *SEALED)]),
    (15, "high-heat-copper-only", "block", [metal(HIGH, "C26000"), metal(hot(LOW, 200, 600), "C26000")],
        [HIGH, metal(hot(LOW, 200, 300), "C26000"), hot(LOW, 200, 600)]),
    (15, "high-heat-solder", "block", [metal(HIGH, solder="hard"), asked(HIGH, soldered_pieces="yes")],
        [HIGH, metal(HIGH, solder="none"), metal(LOW, solder="hard")]),
    (16, "brass-zinc", "warn", [metal(LOW, "C26000"), order(metal(COPPER, "C26000"), step("torch"), step("dip"))],
        [LOW, metal(COPPER, "C26000")]),
    (17, "sulfide-on-brass", "warn", [metal(COPPER, "C26000"), metal(mixed(OWN, "liver of sulfur"), "C26000")],
        [COPPER, metal(FUMING, "C26000")]),
    (19, "wet-rub-on-heat", "warn", [replace(LOW, rub=RubPlan("cloth-10", ("dry", "wet")))],
        [LOW, replace(LOW, rub=RubPlan("cloth-10")), replace(COPPER, rub=RubPlan("cloth-10", ("wet",)))]),
    (20, "food-oven", "block", [asked(LOW, oven_used_for_food="yes")], [LOW, asked(LOW, oven_used_for_food="no")]),
]  # fmt: skip


@pytest.mark.parametrize(
    ("number", "rule", "level", "trips", "passes"), RULES, ids=[f"{one[0]}-{one[1]}" for one in RULES]
)
def test_each_rule_trips_and_passes(
    number: int, rule: str, level: str, trips: list[Study], passes: list[Study]
) -> None:
    """Each rule of the trade has studies that trip it and studies that do not (number 18 has tests of its own below)."""
    for study in trips:
        (one,) = found(study, rule)
        assert (one.level, one.id) == (level, rule)
    for study in passes:
        assert found(study, rule) == []


MADE_AT = datetime(2026, 11, 24, 10, 0)
LOG = BatchLog("B1", MADE_AT, datetime(2026, 11, 24, 12, 0))
PLAN = Plan("s", 1, (Batch("B1", 1, 1),), (Tile("K7", "B1", 1, 1), Tile("K8", "B1", 1, 2)))


@pytest.mark.parametrize(
    ("logs", "made", "now", "tripped"),
    [
        ([LOG], [], None, False),
        ([replace(LOG, discarded_at=datetime(2026, 11, 24, 19, 0))], [], None, True),
        ([LOG], [Made("K7", date(2026, 11, 25))], None, True),
        ([LOG], [Made("K7", date(2026, 11, 24))], None, False),
        ([replace(LOG, discarded_at=None)], [Made("K7", date(2026, 11, 24))], datetime(2026, 11, 25, 9, 0), True),
        ([replace(LOG, discarded_at=None)], [Made("K7", date(2026, 11, 24))], datetime(2026, 11, 24, 11, 0), False),
        (
            [replace(LOG, discarded_at=None)],
            [Made("K7", date(2026, 11, 24)), Made("K8", date(2026, 11, 24))],
            datetime(2026, 12, 25),
            False,
        ),
    ],
)
def test_rule_18_a_bath_past_its_life(
    logs: list[BatchLog], made: list[Made], now: datetime | None, tripped: bool
) -> None:
    """A bath lives some hours; one that stood longer, or that tiles still wait for, is told, a finished one is not."""
    assert bool(found(COPPER, "old-bath", logs=logs, made=made, now=now, plan=PLAN)) is tripped


@pytest.mark.parametrize(
    ("note", "tripped"),
    [
        ("went CLOUDY after 40 min", True),
        ("milky", True),
        ("not cloudy", False),
        ("no longer cloudy", False),
        ("clear", False),
    ],
)
def test_rule_18_a_cloudy_bath(note: str, tripped: bool) -> None:
    """Cloudy is spent; a note that says it was not is none."""
    assert bool(found(COPPER, "cloudy-bath", logs=[BatchLog("B1", note=note)])) is tripped
    assert bool(found(COPPER, "cloudy-bath", made=[Made("K7", date(2026, 11, 24), note=note)])) is tripped


ACIDS = [
    *(
        "white vinegar",
        "Essig and mystery",
        "PICKLE",
        "sodium bisulfate",
        "Citric-Acid",
        "lemon juice",
        "muriatic acid",
        "HCl",
    ),
    *(
        "nitric acid 10 %",
        "ferric nitrate",
        "Cupric Nitrate solution",
        "ferric chloride",
        "copper sulphate",
        "no idea",
        "x",
    ),
]
SULFIDES = [
    "liver of sulfur",
    "Liver-of-Sulphur gel",
    "potassium polysulfide",
    "lime sulfur",
    "ammonium sulfide",
    "K2S",
    "??",
]
QUIET = [
    step("degrease"),
    step("scrub"),
    step("dry"),
    step("brush", "pumice"),
    step("spray", "salt"),
    step("wipe", "cloth"),
]


def styled(text: str) -> st.SearchStrategy[str]:
    """The same name in other capitals, with blanks and hyphens as people put them."""
    ways = [
        str,
        str.upper,
        str.title,
        str.swapcase,
        lambda one: one.replace(" ", "-"),
        lambda one: f"  {one.replace(' ', '  ')} ",
    ]
    return st.sampled_from(ways).map(lambda way: way(text))


@given(st.sampled_from(ACIDS).flatmap(styled), st.sampled_from(SULFIDES).flatmap(styled), st.data())
def test_no_order_of_steps_and_no_name_lets_sulfide_meet_acid_unseen(
    acid: str, sulfide: str, data: st.DataObject
) -> None:
    """In any order, by any name: a sulfide and an acid without a water rinse between them stop the pack, unsigned."""
    steps = [step("dip", sulfide, place="hood"), step("soak", acid, place="table")]
    steps += data.draw(st.lists(st.sampled_from([replace(one, place="sink") for one in QUIET]), max_size=4))
    mixed_up = data.draw(st.permutations(steps))
    signed = tuple(SignOff(rule, "KL", "I know") for rule in ("sulfide-acid", "unknown-ingredient", "nitrate-sulfide"))
    study = order(replace(OWN, workplace=Workplace(signed=signed)), *mixed_up)
    assert any(one.level == "block" for one in check(study, BUILT_IN))


def names_of(hazard_class: str) -> list[str]:
    return [name for one in BUILT_IN.ingredients.values() if hazard_class in one.classes for name in one.names]


def test_every_name_of_every_acid_and_sulfide_in_the_data_is_seen() -> None:
    """As written, in capitals and with hyphens; the other one is in the bath already."""
    for study, names in ((COPPER, names_of("acid")), (mixed(OWN, "vinegar"), names_of("sulfide"))):
        for name in names:
            for text in (name, name.upper(), name.replace(" ", "-")):
                added = (*study.workplace.added, Added(text))
                brought = replace(study, workplace=replace(study.workplace, added=added))
                assert any(one.level == "block" and not one.may_sign for one in check(brought, BUILT_IN)), text


@given(st.sampled_from(ACIDS).flatmap(styled), st.sampled_from(["mix", "level", "near", "tool", "jar", "bucket"]))
def test_no_way_of_bringing_acid_to_a_sulfide_bath_goes_unseen(acid: str, way: str) -> None:
    """Added to the bath, as a level of a factor, kept near, on a shared tool, in a shared jar or rinse bucket."""
    ends = (SINK, step("dip", place="hood", tools=("tongs",), jar="j"), SINK)
    study = {
        "mix": mixed(COPPER, acid),
        "level": replace(mixed(COPPER, acid), factors=(Factor("additive", ("none", acid)),)),
        "near": beside(COPPER, acid),
        "tool": order(COPPER, step("soak", acid, place="table", tools=("the Tongs",)), *ends),
        "jar": order(COPPER, step("soak", acid, place="table", jar="J"), *ends),
        "bucket": order(COPPER, step("soak", acid, place="table"), replace(BUCKET, bucket="Grey"), ends[1], BUCKET),
    }[way]
    assert any(one.level == "block" and not one.may_sign for one in check(study, BUILT_IN))


@given(st.text("pdrq", min_size=2, max_size=7).filter(lambda word: "p" in word and "d" in word))
def test_an_order_of_pickle_dip_rinse_and_quiet_steps_is_judged_by_its_rinses(word: str) -> None:
    """Three places, no shared tool: only rinses keep the two apart, with the order going round, and its end back to the bath."""
    parts = {
        "p": step("pickle", place="table"),
        "d": step("dip", **HOOD),
        "r": step("rinse", "water", place="sink"),
        "q": step("dry", place="rack"),
    }
    blocked = bool(found(order(COPPER, *(parts[letter] for letter in word)), "sulfide-acid"))
    acts = word.replace("q", "")
    left = acts.rpartition("r")[2]  # what the tile carries at the end
    assert blocked is ("pd" in acts + acts or "dp" in acts + acts or "p" in left)


@pytest.mark.parametrize(
    "rinse", ["white vinegar", "water with vinegar", "pickle", "detergent", "nobody knows", "salt water"]
)
def test_a_rinse_in_something_else_than_water_is_no_rinse(rinse: str) -> None:
    """Only water takes off what a tile carries."""
    study = order(COPPER, step("pickle", place="table"), step("rinse", rinse, place="sink"), step("dip", **HOOD), SINK)
    assert any(one.level == "block" for one in check(study, BUILT_IN))


def test_a_tile_that_goes_back_into_the_bath_is_seen() -> None:
    """Dip, rinse, scrub with lemon juice: the next cycle meets the bath with acid on the tile, though the order ends there."""
    start = step("rinse", "water", place="sink")
    scrubbed = order(COPPER, start, step("dip", **HOOD), start, step("scrub", "lemon juice", place="table"))
    (one,) = found(scrubbed, "sulfide-acid")
    assert "goes back into the bath" in one.says
    assert found(order(COPPER, *scrubbed.workplace.sequence, start), "sulfide-acid") == []


def test_an_unknown_thing_counts_as_everything_that_reacts_and_asks_for_its_classes() -> None:
    """It stops the pack where it meets something; alone it is only told."""
    (one,) = found(mixed(COPPER, "grandfather's secret"), "unknown-ingredient")
    assert (one.level, one.may_sign) == ("block", False)
    assert "potassium polysulfide and grandfather's secret are in one bath" in one.says
    assert "experiments/trade/ingredients.toml" in one.next
    (alone,) = found(mixed(OWN, "grandfather's secret"), "unknown-ingredient")
    assert alone.level == "warn"
    assert {one.level for one in found(mixed(OWN, "this and that"), "unknown-ingredient")} == {"block"}


def test_a_bath_that_the_order_of_steps_leaves_out_is_held_against_every_step() -> None:
    """A sequence without a dip does not hide the acid in it."""
    study = order(COPPER, step("pickle", place="table"), step("rinse"), step("dry"))
    assert found(study, "sulfide-acid")
    assert found(study, "order-not-said")


def test_a_studio_s_own_data_add_to_the_rules_and_never_weaken_what_nobody_may_sign(tmp_path: Path) -> None:
    """Vinegar stays an acid and sulfide with acid stays forbidden, whatever a studio's files say."""
    (tmp_path / "ingredients.toml").write_text(
        '[[ingredient]]\nid = "vinegar"\nnames = ["vinegar", "white vinegar"]\nform = "liquid"\nclasses = ["inert"]\nsource = "x"\n'
        '[[ingredient]]\nid = "tea"\nnames = ["black tea"]\nform = "liquid"\nclasses = ["inert"]\nsource = "x"\n'
    )
    (tmp_path / "hazards.toml").write_text(
        '[[rule]]\nid = "sulfide-acid"\nlevel = "warn"\nmeet = ["sulfide", "acid"]\nsays = "Fine."\nnext = ""\nsource = "x"\n'
        '[[rule]]\nid = "no-salt"\nlevel = "warn"\nhas = ["chloride"]\nsays = "No salt here."\nnext = ""\nsource = "house rule"\n'
    )
    (tmp_path / "bench_steps.toml").write_text(
        '[[step]]\nid = "pickle"\nlabel = "pickle"\nthings = ["water"]\nrinses = true\n'
        '[[step]]\nid = "dry"\nlabel = "dry"\nthings = ["water"]\nrinses = true\n'
    )
    library = Library(tmp_path)
    for steps in (
        (step("pickle", place="a"), step("dip")),
        (step("pickle", place="a"), step("dry"), step("dip"), step("rinse")),
    ):
        assert [one.id for one in check(order(COPPER, *steps), library) if one.level == "block"] == ["sulfide-acid"]
    assert [one.level for one in check(mixed(COPPER, "white vinegar"), library) if one.id == "sulfide-acid"] == [
        "block",
        "warn",
    ]
    assert {one.id for one in check(mixed(COPPER, "black tea", "salt"), library)} >= {"no-salt"}
    assert "unknown-ingredient" not in {one.id for one in check(mixed(COPPER, "black tea"), library)}


def test_places_are_the_same_however_they_are_written() -> None:
    """A step without a place is at the bench; capitals, articles and plurals make no other place or tool."""
    for one, other in (("", "the Bench"), ("workbench", ""), ("Fume  Hood", "the fume-hood"), ("sinks", "Sink")):
        study = order(COPPER, step("pickle", place=one), step("rinse"), step("dip", place=other), step("rinse"))
        assert found(study, "sulfide-acid"), (one, other)
    assert found(order(COPPER, step("pickle", place="A"), SINK, step("dip"), SINK), "sulfide-acid") == []


def test_a_strength_that_is_named_after_an_ingredient_is_that_ingredient() -> None:
    """A study of its own process, with factors "liver_of_sulfur" and "vinegar" in g/L, says what is in the bath."""
    factors = tuple(Factor(name, (1.0, 9.0), "g/L") for name in ("liver_of_sulfur", "vinegar"))
    study = replace(OWN, factors=factors, batch_litres=0.5)
    assert found(study, "sulfide-acid")
    assert round(gases(read_bench(study, BUILT_IN))[0].ppm) == 20


def test_two_baths_one_after_the_other_are_kept_apart_by_rinse_and_place() -> None:
    """A sulfide dip, then ferric nitrate brushed on: two baths, unless the order or a shared place brings them together."""
    rinse, last = step("rinse", "water", place="sink"), step("rinse", "water", place="sink")
    apart = (step("dip", **HOOD), rinse, step("brush", "ferric nitrate", place="hot bench"), last)
    for study in (order(COPPER, *apart), order(OWN, step("dip", "liver of sulfur", **HOOD), *apart[1:])):
        assert [one.id for one in check(study, BUILT_IN) if one.level == "block"] == []
        assert found(study, "extraction-not-said") or study.process == "sulfide-dip"
    assert found(order(COPPER, apart[0], apart[2], last), "sulfide-acid")
    assert found(order(COPPER, step("dip", "ferric nitrate"), last), "sulfide-acid")  # the only bath there is
    assert found(order(OWN, step("dip", "liver of sulfur")), "gas-not-reckoned")


def test_a_preparation_that_is_compared_stands_in_its_step_and_an_additive_in_the_bath() -> None:
    """A pickle set tile by tile, rinsed off in the order of steps, is not in the bath; set per batch it is."""
    study = order(COPPER, *RINSED)
    prepared = replace(study, factors=(Factor("preparation", ("citric acid", "pumice")),))
    assert found(prepared, "sulfide-acid") == []
    assert found(replace(prepared, factors=(replace(prepared.factors[0], set_per="batch"),)), "sulfide-acid")
    assert found(replace(COPPER, factors=prepared.factors), "sulfide-acid")


@given(st.text(min_size=1, max_size=12), st.text(max_size=12), st.text(max_size=12))
def test_any_text_is_read_without_falling_over(thing: str, place: str, tool: str) -> None:
    """Braces, blanks, signs of any script in names of things, places and tools."""
    study = order(
        COPPER, step("dip", place=place, tools=(tool,)), step("soak", thing, place=place, tools=(tool,), jar=thing)
    )
    assert report(replace(study, workplace=replace(study.workplace, added=(Added(thing),))), BUILT_IN).as_dict()[
        "findings"
    ]


def test_brass_as_a_level_of_a_factor_is_seen() -> None:
    """The metal may be what is varied."""
    assert found(replace(HIGH, factors=(Factor("alloy", ("C11000", "brass")),)), "high-heat-copper-only")


@pytest.mark.parametrize("m3", [None, 50.0])
def test_worst_case_gas_is_that_of_the_ideal_gas_law(m3: float | None) -> None:
    """10 g/L x 1 L as K2S (110.26 g/mol) x 24.45 L/mol in 50 m3 is 44 ppm; 5 x 0.5 is 11, 20 x 2 is 177 (computed by hand)."""
    for g_per_l, litres, ppm, over in ((5, 0.5, 11, 10), (10, 1, 44, 10), (20, 2, 177, 100), (4, 0.5, 9, None)):
        strength = Factor("strength", (1.0, float(g_per_l)), "g/L", "g/L", "geometric", "batch")
        study = replace(COPPER, factors=(strength,), batch_litres=litres, workplace=Workplace(Room(m3)))
        (gas,) = gases(read_bench(study, BUILT_IN))
        assert (gas.agent, round(gas.ppm), gas.over, gas.assumed) == ("hydrogen sulfide", ppm, over, m3 is None)
        assert ("assumed" in gas.says) is (m3 is None)
        told = found(study, "gas-hydrogen-sulfide")
        assert bool(told) is (over is not None)
        if told:
            assert "PMC5777517" in told[0].source
            assert f"below {over} ppm" in told[0].next
    assert pytest.approx(44.35, abs=0.01) == 1e6 * 10 / 110.26 * 24.45 / (1000 * 50)


def test_what_would_lower_the_gas_does() -> None:
    """A bath as small, as weak or a room as big as told gives less than the limit."""
    strength = Factor("strength", (1.0, 20.0), "g/L", "g/L", "geometric", "batch")
    study = replace(COPPER, factors=(strength,), batch_litres=2.0)
    (gas,) = gases(read_bench(study, BUILT_IN))
    litres, percent, m3 = [float(word) for word in gas.lower.split() if word.replace(".", "").isdigit()][:3]
    assert max(litres / 2.0, percent / 100, 50.0 / m3) * gas.ppm < 100


def test_ammonia_of_a_tub_is_reckoned_too_and_a_missing_volume_is_said() -> None:
    """0.1 L of 10 % taken as 10 g of NH3 (17.031 g/mol): 287 ppm of 50 m3, below the IDLH of 300 (computed by hand)."""
    ammonia = Factor("ammonia", (5.0, 10.0), "%", "%", "geometric", "batch")
    study = replace(FUMING, factors=(ammonia,), batch_litres=0.1)
    (gas,) = gases(read_bench(study, BUILT_IN))
    assert (gas.agent, round(gas.ppm), gas.over) == ("ammonia", 287, 25)
    strong = replace(OWN, batch_litres=0.1, workplace=Workplace(added=(Added("28 % ammonia", 100.0, "mL/L"),)))
    assert round(gases(read_bench(strong, BUILT_IN))[0].ppm, 1) == pytest.approx(28 / 10 * 287 * 0.096, rel=0.01)
    (one,) = found(replace(study, batch_litres=None), "gas-not-reckoned")
    assert "batch_volume" in one.says


def signed(study: Study, *rules: str, people: int | None = None) -> Study:
    sign = tuple(SignOff(rule, "KL", "outdoors, with the fire officer") for rule in rules)
    return replace(study, workplace=replace(study.workplace, signed=sign, room=Room(people=people)))


def test_a_person_may_answer_for_a_finding_which_then_stays_and_says_so() -> None:
    """It no longer blocks; initials and reason stand with it."""
    (one,) = found(signed(beside(NITRATE, "beeswax"), "nitrate-fuel"), "nitrate-fuel")
    assert (one.level, one.by, one.reason) == ("signed", "KL", "outdoors, with the fire officer")
    assert one.text.endswith("Signed off by KL: outdoors, with the fire officer.")


@pytest.mark.parametrize(
    ("study", "rule"),
    [
        (mixed(COPPER, "vinegar"), "sulfide-acid"),
        (beside(FUMING, "bleach"), "ammonia-bleach"),
        (beside(order(COPPER, *RINSED), "bleach"), "acid-bleach"),
        (mixed(OWN, "white arsenic"), "listed-poison"),
        (mixed(COPPER, "mystery"), "unknown-ingredient"),
    ],
)
def test_what_nobody_may_sign_off_goes_on_blocking(study: Study, rule: str) -> None:
    """And the sign-off is told to count for nothing."""
    assert found(signed(study, rule), rule)[0].level == "block"
    assert "counts for nothing" in found(signed(study, rule), "sign-off")[0].says


def test_a_listed_poison_is_a_matter_of_classes() -> None:
    """One who works alone may answer for it; in a class nobody may."""
    poison = mixed(OWN, "lead acetate")
    assert found(signed(poison, "listed-poison", people=1), "listed-poison")[0].level == "signed"
    assert found(signed(poison, "listed-poison", people=8), "listed-poison")[0].level == "block"
    assert "alone" in found(signed(poison, "listed-poison", people=8), "sign-off")[0].says


@pytest.mark.parametrize(
    ("rule", "why"),
    [
        ("nitrate-feul", 'Did you mean "nitrate-fuel"?'),
        ("food-oven", "nothing trips that rule"),
        ("bare-patina", "only a warning"),
    ],
)
def test_a_sign_off_that_counts_for_nothing_is_told(rule: str, why: str) -> None:
    """An unknown rule, one that does not trip, one that only warns."""
    (one,) = found(signed(NITRATE, rule), "sign-off")
    assert why in one.says


def test_questions_stay_until_they_are_answered_or_the_study_file_tells() -> None:
    """An unanswered question is neither yes nor no; [room] and [metal] answer some."""
    keys = [one.key for one in unanswered(COPPER, BUILT_IN)]
    assert keys == ["acid_at_the_same_place", "extraction_missing"]
    assert unanswered(asked(COPPER, acid_at_the_same_place="no", extraction_missing="no"), BUILT_IN) == []
    room = replace(COPPER, workplace=Workplace(Room(extraction=True)))
    assert [one.key for one in unanswered(room, BUILT_IN)] == ["acid_at_the_same_place"]
    assert "soldered_pieces" in [one.key for one in unanswered(HIGH, BUILT_IN)]
    told = metal(HIGH, solder="none", coating="none")
    assert [one.key for one in unanswered(told, BUILT_IN)] == ["solvent_near_heat"]
    whole = order(
        room,
        step("pickle", place="table", tools=("tongs",), jar="acid"),
        step("rinse", bucket="grey"),
        step("dip", place="hood", tools=("hook",), jar="sulfide"),
        step("rinse", bucket="blue"),
    )
    assert unanswered(whole, BUILT_IN) == []
    assert found(replace(room, workplace=Workplace(Room(extraction=False))), "no-extraction")[0].level == "block"


def test_the_report_tells_what_was_read_and_nothing_tells_anybody_to_pour_anything_away() -> None:
    """Blocking first; the bath, the order, the room; disposal is a matter of local rules."""
    told = report(mixed(COPPER, "vinegar"), BUILT_IN)
    headings = [heading for heading, _ in told.blocks()]
    assert headings[0] == "Stops the bench pack"
    assert "Bath: potassium polysulfide and vinegar." in told.read
    assert told.verdict == "1 finding stops the bench pack of s."
    assert told.as_dict()["blocked"] is True
    for rule in BUILT_IN.rules:
        text = f"{rule['says']} {rule.get('next', '')}".casefold()
        assert not any(word in text for word in ("pour", "drain", "flush", "throw", "empty")), rule["id"]
        assert rule["source"]


def test_printed_temperatures_stand_in_both_scales() -> None:
    """What people read has °C and °F; degC is a unit to type."""
    (zinc,) = found(metal(LOW, "C26000"), "brass-zinc")
    assert "907 °C, 1665 °F" in zinc.says
    assert not any("degC" in str(rule["says"]) for rule in BUILT_IN.rules)
