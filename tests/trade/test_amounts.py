"""What goes into baths: volumes, weighing, stocks, bottles, what measuring does to the levels, what to buy."""

from __future__ import annotations

import json
import random
import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tilestudy.errors import FaultyFileError
from tilestudy.study.at_hand import AtHand, Cylinder
from tilestudy.study.records import Batch, Factor, Plan, Study, Tile
from tilestudy.study.settings import read_settings
from tilestudy.study.workplace import Added, Workplace
from tilestudy.trade.amounts import Mixing, amounts, lumps_text, mixing
from tilestudy.trade.amounts.dilution import STOCK, Making, Wanted, best_making, each_by_itself, good_enough
from tilestudy.trade.amounts.household import in_spoons
from tilestudy.trade.amounts.measured import weigh
from tilestudy.trade.amounts.volume import bath_volume
from tilestudy.trade.library import BUILT_IN

TOLD = AtHand(told=frozenset({"scale", "cylinders"}))


def strength(*levels: float, got: str = "weighed") -> Factor:
    return Factor("strength", levels, "g/L", "g/L", "geometric", "batch", got)


def mixed(
    factor: Factor,
    litres: float | None = 0.5,
    at_hand: AtHand = TOLD,
    *,
    process: str = "sulfide-dip",
    added: tuple[Added, ...] = (),
    sessions: int = 1,
) -> Mixing:
    """The mixing of a plan with one bath for each level in each session."""
    study = Study("s", "", process, (factor,), batch_litres=litres, workplace=Workplace(added=added))
    settings = [{factor.name: level} for _ in range(sessions) for level in factor.levels]
    batches = tuple(Batch(f"B{n}", 1 + n // len(factor.levels), n + 1, one) for n, one in enumerate(settings))
    tiles = tuple(Tile(f"K{one.order}", one.code, one.session, 1, one.settings) for one in batches)
    return mixing(study, Plan("s", 1, batches, tiles), BUILT_IN, at_hand)


def text(found: Mixing) -> str:
    """All that is said."""
    lines = [f"{one.text} {one.known}" for mix in (*found.stocks, *found.batches) for one in mix.lines]
    return "\n".join([*lines, *found.notes, *(one.text for one in found.buy)])


def test_each_bath_is_weighed_by_itself_where_the_scale_is_fine_enough() -> None:
    """0.5 g on a scale that reads 0.1 g is 0.45 to 0.55 g: 1 g/L may be 0.89 to 1.2, and 3 g/L is still apart."""
    found = mixed(strength(1.0, 3.0, 9.0))
    assert found.stocks == ()
    assert found.notes == ()
    line = found.lines("B0")[0]
    assert line.text == "Potassium polysulfide (concentrate, solid): 0.5 g, in water to make 0.5 L, for 1 g/L."
    assert line.known.startswith(
        "Weighed on a scale that reads 0.1 g: 1 g/L may be 0.89 to 1.12 g/L; the step to 3 g/L is still clear."
    )
    assert (line.amount, line.unit, line.made_ml, line.wanted) == (0.5, "g", 500.0, 1.0)
    assert line.low == pytest.approx(0.45 / 0.505)
    assert line.high == pytest.approx(0.55 / 0.495)


def test_a_scale_that_reads_a_tenth_of_a_gram_cannot_make_1_g_per_l_in_100_ml() -> None:
    """It says so, and pours the baths from a stock whose weighing matters little."""
    found = mixed(strength(1.0, 3.0, 9.0), 0.1, sessions=2)
    assert found.notes[0] == (
        "A scale that reads 0.1 g cannot make 1 g/L in 100 mL well: by itself, 1 g/L may be 0.49 to 1.6 g/L. So baths are "
        "poured from a stock made in one go."
    )
    assert [one.code for one in found.stocks] == ["stock 1", "stock 2"]  # each session has its own
    assert found.stocks[0].lines[0].text == (
        "Potassium polysulfide (concentrate, solid): 2 g, in water to make 100 mL, for 20 g/L."
    )
    assert found.lines("B0")[0].text == (
        "Potassium polysulfide (concentrate, solid): 5 mL (about 1 tsp) of stock 1, in water to make 100 mL, for 1 g/L."
    )
    assert "the steps to 1 g/L and 9 g/L are still clear" in found.lines("B1")[0].known
    assert "About 35 mL of stock 2 is left over: waste of the same kind as the baths" in found.session(2).how[-1]
    assert any("Stock 2 holds 2.2 times as much as the strongest bath" in step for step in found.session(2).how)
    assert not any("stock 1" in step for step in found.session(2).how)
    fine = mixed(strength(1.0, 3.0, 9.0), 0.1, AtHand(scale_g=0.01))
    assert fine.stocks == ()


def test_very_weak_baths_are_poured_from_stronger_ones_in_steps() -> None:
    """A hundredth of the strongest is out of reach of one pour; the bath that goes on is made larger."""
    found = mixed(strength(0.01, 0.1, 1.0), 0.1)
    assert "10 mL (about 2 tsp) of bath B1, in water to make 100 mL, for 0.01 g/L." in found.lines("B0")[0].text
    assert "to make 110 mL, for 0.1 g/L. Before its first tile, pour 10 mL into bath B0." in found.lines("B1")[0].text
    assert "Make all baths of a session that are poured from each other before their first tile." in found.how


@pytest.mark.parametrize(
    ("got", "says"),
    [
        ("spooned", "Spooned, good to about a quarter either way (common practice, no source)"),
        ("lumps", "Counted in lumps of 6 to 8 mm and 1.5 to 2 g/cm³: 1 g/L may be 0.67 to 2.2 g/L"),
        ("by eye", "By eye, half or twice as much (common practice, no source): 1 g/L may be 0.49 to 2.1 g/L"),
        ("", "If weighed on a scale that reads 0.1 g: 1 g/L may be 0.89 to 1.12 g/L"),
    ],
)
def test_how_it_was_measured_decides_how_well_it_is_known(got: str, says: str) -> None:
    """Spoons, lumps and the eye are told as what they are, and weighing is the remedy."""
    found = mixed(strength(1.0, 2.0, got=got))
    assert says in text(found)
    assert ('weigh it, and write got = "weighed"' in text(found)) is bool(got)
    assert "grams down: else the strength means little next month" in text(found)


def test_levels_that_may_be_the_same_are_said_to_be() -> None:
    """By eye, 1 and 2 g/L may be one strength."""
    assert "it may be no different from 2 g/L" in mixed(strength(1.0, 2.0, got="by eye")).lines("B0")[0].known
    finer = mixed(strength(1.0, 1.1), 0.1, AtHand(scale_g=0.05))
    assert "a scale that reads 0.001 g would do" in text(finer) or "measure with something finer" in text(finer)


def test_a_strength_beside_the_levels_tells_its_range_only() -> None:
    """A confirmation's 4.8 g/L is no level: it does not make the steps finer, and what the scale makes of it is told."""
    study = Study("s", "", "sulfide-dip", (strength(1.0, 3.0, 9.0),), batch_litres=0.1)
    line = amounts(study, BUILT_IN, Batch("B1", 1, 1, {"strength": 4.8}), TOLD)[0]
    assert ": 0.5 g, in water to make 100 mL, for 4.8 g/L (it makes 5 g/L: write that down)." in line.text
    assert "4.8 g/L may be 4.4 to 5.6 g/L. Write down" in line.known


def test_one_batch_brings_its_stock_along() -> None:
    """A handout's single bath starts with its stock."""
    study = Study("s", "", "sulfide-dip", (strength(1.0, 3.0, 9.0),), batch_litres=0.1)
    first, second = amounts(study, BUILT_IN, Batch("", 1, 1, {"strength": 1.0}), TOLD)
    assert first.text.startswith("Stock 1: Potassium polysulfide")
    assert "of stock 1, in water to make 100 mL" in second.text


def test_amounts_of_a_factor_the_study_no_longer_has_are_left_out() -> None:
    """An old plan may hold settings of a factor that was renamed since."""
    study = Study("s", "", "sulfide-dip", (Factor("dip", (1.0, 2.0)),), batch_litres=0.5)
    assert amounts(study, BUILT_IN, Batch("B1", 1, 1, {"strength": 3.0}), TOLD) == ()


def test_lumps_check_the_amount_at_hand() -> None:
    """A count for each amount: balls of 6 to 8 mm at 1.5 to 2.0 g/cm3 weigh 0.17 to 0.54 g (computed)."""
    told = [lumps_text(grams, (6, 8), (1.5, 2.0)) for grams in (0.1, 0.5, 1.5, 4.5)]
    assert [one.split(": ")[1].split(" lump")[0] for one in told] == ["1", "1 to 3", "3 to 9", "8 to 27"]
    assert lumps_text(0.01, (6, 8), (1.5, 2.0)) == lumps_text(50, (6, 8), (1.5, 2.0)) == ""


def test_ammonia_is_mixed_from_the_bottle_at_hand() -> None:
    """From 10 %: 51 mL for 5 %, and as it comes for 10 %; from 28 % less; from 5 % not at all; from an unknown bottle it asks."""
    ammonia = Factor("ammonia", (5.0, 10.0), "%", "%", "geometric", "batch")

    def made(**bottles: float) -> Mixing:
        return mixed(ammonia, 0.1, AtHand(bottles=bottles, told=TOLD.told), process="ammonia-salt-fuming")

    weak, strong = (made(ammonia=10.0).lines(code)[0] for code in ("B0", "B1"))
    assert "51 mL (about 3 tbsp and 1 1/2 tsp) from the bottle of 10 %, in water to make 100 mL, for 5 %." in weak.text
    assert "100 mL (about 1/4 cup and 3 tbsp) from the bottle of 10 %, as it comes, no water, for 10 %." in strong.text
    assert strong.high == 10.0
    assert made(ammonia=28.0).lines("B0")[0].amount == pytest.approx(5 * 0.977 / (28 * 0.898) * 100, abs=0.2)
    assert "holds 5 %, too weak for 10 %" in text(made(ammonia=5.0))
    assert 'under [bottles]: "ammonia water" = "... %"' in text(made())
    assert "the water first, then the ammonia" in " ".join(made(ammonia=10.0).how)


def test_further_things_in_the_bath_are_lines_of_their_own() -> None:
    """A recipe's 28 % ammonia from a bottle of 10 % is 2.6 times as much; water fills up at the end; no bath is poured on."""
    added = (Added("28 % ammonia", 20.0, "mL/L"), Added("salt", 1.0, "g/L"), Added("stardust"))
    hand = AtHand(bottles={"Household ammonia": 10.0}, told=TOLD.told)
    found = mixed(strength(0.01, 0.1, 1.0), 0.1, hand, added=added)
    lines = [one.text for one in found.lines("B2")]
    assert lines[1].startswith(
        "28 % ammonia: 5.2 mL (about 1 tsp) from the bottle of 10 % (of the recipe's 28 % it would be 1.98 mL)"
    )
    assert found.lines("B2")[2].known.startswith("Weighed on a scale that reads 0.1 g: 1 g/L may be 0.5 to 1.5 g/L.")
    assert lines[3:] == ["Stardust: as your recipe says.", "Fill up with water to 100 mL."]
    assert not any("of bath" in line.text for mix in found.batches for line in mix.lines)


def test_percent_and_moles_of_solids_and_what_cannot_be_told() -> None:
    """Grams in 100 mL; grams by the molar mass; and a sentence where nobody knows it."""
    part = mixed(strength(1.0, 3.0), added=(Added("salt", 2.0, "%"),)).lines("B0")[1]
    assert part.amount == 10.0
    moles = Factor("strength", (0.01, 0.02), "mol/L", "mol/L", "geometric", "batch", "weighed")
    assert mixed(moles, 2.0).lines("B0")[0].amount == pytest.approx(0.01 * 110.257 * 2, abs=0.05)
    unknown = mixed(strength(1.0, 3.0), added=(Added("stardust", 1.0, "g/L"),))
    assert unknown.lines("B0")[1].text == "Stardust: 0.5 g, for 1 g/L."


def test_what_goes_into_what_is_said_where_it_matters() -> None:
    """Strong acid into water, lye into cold water; table vinegar is weak enough to go in as it comes."""

    def how(what: str) -> str:
        return " ".join(mixed(strength(1.0, 3.0), added=(Added(what, 1.0, "mL/L"),)).how)

    assert "never water into acid" in how("muriatic acid")
    assert "never water onto lye" in how("lye")
    assert "never water into acid" not in how("white vinegar")


def test_too_much_poured_in_is_said() -> None:
    """Vinegar and ammonia together more than the bath."""
    added = (Added("ammonia", 600.0, "mL/L"), Added("rain water", 600.0, "mL/L"))
    assert "what is poured in is more than 0.5 L" in text(mixed(strength(1.0, 3.0), added=added))


def test_a_bath_without_any_of_it() -> None:
    """A level of 0 is none of it."""
    found = mixed(Factor("strength", (0.0, 2.0, 4.0), "g/L", "g/L", "linear", "batch", "weighed"))
    assert found.lines("B0")[0].text == "Potassium polysulfide (concentrate, solid): none of it."
    assert "the step to 2 g/L is still clear" in found.lines("B2")[0].known


def test_the_volume_covers_a_tile_in_its_container() -> None:
    """Asked for, or 70 mm deep in the container, or 1 mL for each cm2; a container that leaves a tile uncovered is told."""
    asked = Study("s", "", "sulfide-dip", (), batch_litres=0.5)
    plain = Study("s", "", "sulfide-dip", ())
    wide = AtHand(container_mm=(200.0, 100.0))
    assert bath_volume(asked, 12, AtHand(), dipped=True).notes == ()
    (note,) = bath_volume(asked, 12, wide, dipped=True).notes
    assert "stands 25 mm deep, which does not cover a hanging tile of 25 x 50 mm" in note
    assert "make 1.4 L" in note
    assert bath_volume(plain, 12, wide, dipped=True).ml == 1400
    assert (
        bath_volume(plain, 12, AtHand(container_mm=(50.0,)), dipped=True).ml == 300
    )  # 12 tiles ask for more than 137 mL
    by_area = bath_volume(plain, 12, AtHand(), dipped=True)
    assert by_area.ml == 300
    assert "Look whether that covers a tile" in by_area.notes[1]
    assert bath_volume(plain, 12, AtHand(), dipped=False).notes[1:] == ()
    assert mixed(strength(1.0, 3.0), None, wide).volume == bath_volume(plain, 1, wide, dipped=True)


def test_what_to_buy_is_what_the_plan_takes_and_the_strongest_once_more() -> None:
    """2 x (0.5 + 1.5 + 4.5) g and 4.5 g more, rounded up to two digits."""
    (buy,) = mixed(strength(1.0, 3.0, 9.0), sessions=2).buy
    assert (buy.needed, buy.have, buy.unit) == (13.0, 18.0, "g")
    assert buy.text.endswith("have 18 g (0.63 oz). 6 baths take 13 g; the rest is for making the strongest once more.")


def test_cups_and_spoons_beside_millilitres() -> None:
    """Within a spoon: 500 mL is 2 cups and 2 tablespoons, 250 mL a cup and a tablespoon."""
    assert [in_spoons(ml)[0] for ml in (500, 250, 20, 5, 1)] == [
        *("2 cups and 2 tbsp", "1 cup and 1 tbsp", "1 tbsp and 1 tsp", "1 tsp", "1/4 tsp")
    ]


@example(ml=52.0)
@given(ml=st.floats(1.3, 2000))
def test_spoons_hold_nearly_what_they_stand_for(ml: float) -> None:
    """Never further off than half of the smallest spoon used."""
    assert abs(in_spoons(ml)[1] - ml) <= max(0.65, min(7.5, 0.1 * ml + 1.3))


hands = st.builds(
    AtHand,
    st.sampled_from([1.0, 0.1, 0.01]),
    st.sampled_from([AtHand().cylinders, (Cylinder(100.0, 1.0),), (Cylinder(20.0, 1.0), Cylinder(1000.0, 10.0))]),
)


def worked(making: Making, hand: AtHand, rng: random.Random) -> dict[str, float]:
    """Make the vessels with instruments that err within what they promise; the true strengths, g/L."""
    true: dict[str, float] = {}
    for vessel in making.vessels:
        takes, made = (
            rng.choice((one.low, one.high, rng.uniform(one.low, one.high))) for one in (vessel.takes, vessel.made)
        )
        if vessel.source:
            true[vessel.code] = true[STOCK if vessel.source == STOCK else vessel.source] * min(1.0, takes / made)
        else:
            true[vessel.code] = takes / made * 1000
    return true


@given(
    levels=st.lists(st.floats(0.05, 20), min_size=1, max_size=5, unique=True),
    ml=st.sampled_from([100.0, 250.0, 450.0, 1000.0]),
    hand=hands,
    seed=st.integers(0, 9),
    alone=st.booleans(),
)
def test_every_bath_lies_within_its_bounds_and_no_vessel_is_overdrawn(
    levels: list[float], ml: float, hand: AtHand, seed: int, alone: bool
) -> None:
    """Whatever the instruments do within what they promise; the way taken is never worse than weighing one by one."""
    baths = [Wanted(f"B{n}", level) for n, level in enumerate(levels)]
    made = best_making(baths, ml, levels, lambda grams: weigh(grams, hand), hand, alone=alone)
    assert {one.code for one in made.baths} == {one.code for one in baths}
    true = worked(made, hand, random.Random(seed))
    for vessel in made.vessels:
        assert vessel.strength.low - 1e-9 <= true[vessel.code] <= vessel.strength.high + 1e-9
        assert vessel.left >= (0 if vessel.code == STOCK else ml - 1e-6)
        drawn = sum(one.takes.value for one in made.vessels if one.source == vessel.code)
        assert drawn + vessel.left == pytest.approx(vessel.made.value)
    single = each_by_itself(baths, ml, lambda grams: weigh(grams, hand), hand)
    assert made.off <= single.off
    assert made.way == "each" or single.off > good_enough(levels)
    assert alone or made.way != "steps"


@given(
    levels=st.lists(st.floats(0.001, 50), min_size=2, max_size=4, unique=True),
    ml=st.sampled_from([10.0, 100.0, 730.0, 20000.0]),
    scale=st.sampled_from([10.0, 1.0, 0.1, 0.001]),
    cylinders=st.sampled_from([(Cylinder(1000.0, 250.0),), (Cylinder(5.0, 0.1),), AtHand().cylinders]),
    got=st.sampled_from(["weighed", "spooned", "lumps", "by eye", ""]),
    unit=st.sampled_from(["g/L", "mL/L", "mol/L", "%"]),
)
def test_whatever_there_is_to_measure_with_the_lines_are_plain(
    levels: list[float], ml: float, scale: float, cylinders: tuple[Cylinder, ...], got: str, unit: str
) -> None:
    """No nan, no infinity, a line for each bath, and plain values for JSON."""
    factor = Factor("strength", tuple(sorted(levels)), unit, unit, "geometric", "batch", got)
    found = mixed(factor, ml / 1000, AtHand(scale_g=scale, cylinders=cylinders))
    assert all(len(mix.lines) == 1 for mix in found.batches)
    assert not re.search(r"\b(nan|inf)\b", text(found))
    json.dumps(found.as_dict(), allow_nan=False)


def test_the_settings_are_read_with_every_fault_at_once() -> None:
    """Scale, cylinders, spoons, container and bottles as people write them."""
    whole = """
[measures]
scale = "0.01 g"
cylinders = ["100 mL by 1 mL", "25 mL by 0.5 mL"]
spoons = ["1 tsp", "1/4 tsp"]
container = "120 x 80 mm"
[bottles]
ammonia = "10 %"
"white vinegar" = "5 %"
"""
    hand = read_settings(whole, "studio.toml").at_hand
    assert (hand.scale_g, [one.ml for one in hand.cylinders], hand.container_mm) == (0.01, [25.0, 100.0], (120.0, 80.0))
    assert dict(hand.bottles) == {"ammonia": 10.0, "white vinegar": 5.0}
    broken = """
[measures]
scale = "fine"
cylinders = ["100 mL"]
container = "1 x 2 x 3 mm"
spoon = 1
[bottles]
ammonia = "200 %"
"""
    with pytest.raises(FaultyFileError) as refused:
        read_settings(broken, "studio.toml")
    assert len(refused.value.faults) == 5
    with pytest.raises(FaultyFileError, match="paper stands at the top of the file, above"):
        read_settings('[bottles]\npaper = "a4"', "studio.toml")
    with pytest.raises(FaultyFileError, match="measures and bottles are tables"):
        read_settings('bottles = "10 %"', "studio.toml")
