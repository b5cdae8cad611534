"""Confirmation: the rule, and the sentences that follow from it."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tilestudy.analysis.choice.chance import Right
from tilestudy.analysis.choice.chooser import Option
from tilestudy.analysis.choice.confirm import Claim, Outcome, claim_from, compare
from tilestudy.study.records import Factor, Study

RIGHT = Right((40.0, 10.0, 10.0), None, 5.0, 4.0)
STUDY = Study("plaques", "", "sulfide-dip", (Factor("dip_time", (10.0, 90.0), "s", "s"),))


def claim(*chances: float) -> Claim:
    middle = sum(chances) / len(chances)
    option = Option(
        {"dip_time": 30.0}, middle, chances[0], chances[-1], None, None,
        (40.0, 10.0, 10.0), (36.0, 8.0, 8.0), (44.0, 12.0, 12.0), 1.0, chances,
    )  # fmt: skip
    return Claim(option, RIGHT, "cured", ("dry",), ("A3", "C4", "E7", "F3"), date(2026, 12, 1))


def tiles(*grades: float, batches: int = 2) -> list[Outcome]:
    return [Outcome(f"T{i}", f"B{i % batches}", (41.0, 10.0, 10.0), {"dry": g}) for i, g in enumerate(grades)]


@pytest.mark.parametrize(
    ("outcomes", "verdict", "says"),
    [
        ([], "waiting", "has all that is wanted yet: make them, then enter their colour and rub grades."),
        (tiles(4.5, 4, 5, 4), "confirmed", "Confirmed: this is a recipe now."),
        (tiles(4.5, 4, 5, 3.5), "confirmed", "3 of 4 tiles from 2 fresh baths are right; 3 to 4 was to be expected."),
        (tiles(4.5, 4, 2, 3), "not confirmed", "if the claim were true, so few would come out right only"),
        (tiles(4.5, 4, 5, 4, batches=1), "undecided", "A recipe takes at least 2 baths."),
        (tiles(4.5, 4), "undecided", "A recipe takes at least 4 tiles."),
    ],
)
def test_the_rule_and_its_words(outcomes: list[Outcome], verdict: str, says: str) -> None:
    """Confirmed, not confirmed, undecided or waiting, by the rule stated beforehand, and what follows."""
    found = compare(claim(0.9, 0.92, 0.94), outcomes)
    assert found.verdict == verdict
    assert says in " ".join(found.sentences(STUDY, "bath"))


def test_what_was_claimed_as_seldom_right_becomes_no_recipe() -> None:
    """Half right, as claimed, is still not a recipe."""
    found = compare(claim(0.4, 0.5, 0.6), tiles(4, 4, 3, 3))
    assert (found.verdict, found.tail > 0.5) == ("not confirmed", True)
    assert "too few for a recipe, whatever was claimed" in " ".join(found.sentences(STUDY, "bath"))


@given(st.integers(1, 12).flatmap(lambda k: st.tuples(st.just(k), st.integers(0, k))))
def test_the_range_of_the_share_is_clopper_and_pearsons(counts: tuple[int, int]) -> None:
    """Against scipy.stats' exact interval (Clopper & Pearson 1934); the tail against its binomial law."""
    k, s = counts
    found = compare(claim(0.7), tiles(*[4.0] * s, *[1.0] * (k - s)))
    exact = stats.binomtest(s, k).proportion_ci(0.9, "exact")
    assert (found.low, found.high) == pytest.approx((exact.low, exact.high), abs=1e-9)
    assert found.tail == pytest.approx(float(stats.binom.cdf(s, k, 0.7)), abs=1e-9)


def test_a_claim_is_read_back_as_it_was_kept() -> None:
    """What the study book keeps says all that was claimed."""
    one = claim(0.5, 0.7, 0.9)
    assert claim_from(one.as_dict()) == one
