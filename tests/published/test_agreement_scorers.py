"""Agreement of scorers: Cohen's (1968) weighted kappa, Krippendorff's (2011) alpha."""

import math

import pytest

from tilestudy.analysis.wear.reliability import krippendorff_alpha, weighted_kappa

NONE = math.nan


def test_weighted_kappa_matches_cohen1968():
    """Cohen (1968), Psychological Bulletin 70:213: 0.492 without weights and 0.348 with his; all digits from R's psych."""
    shares = [[0.44, 0.07, 0.09], [0.05, 0.20, 0.05], [0.01, 0.03, 0.06]]
    alike = [[0, 1, 1], [1, 0, 1], [1, 1, 0]]
    weights = [[0, 1, 3], [1, 0, 6], [3, 6, 0]]
    assert weighted_kappa(shares, alike) == pytest.approx(0.4915254237288, abs=1e-10)
    assert weighted_kappa(shares, weights) == pytest.approx(0.3478260869565, abs=1e-10)


# Krippendorff (2011), Computing Krippendorff's Alpha-Reliability, section C: observers A to D, units 1 to 12
FOUR_OBSERVERS = [
    [1, 2, 3, 3, 2, 1, 4, 1, 2, NONE, NONE, NONE],
    [1, 2, 3, 3, 2, 2, 4, 1, 2, 5, NONE, 3],
    [NONE, 3, 3, 3, 2, 3, 4, 2, 2, 5, 1, NONE],
    [1, 2, 3, 3, 2, 4, 4, 1, 2, 5, 1, NONE],
]
# the table of 3 coders and 15 units that the krippendorff package for Python ships as its sample; figures from version 0.9.0
THREE_CODERS = [
    [NONE, NONE, NONE, NONE, NONE, 3, 4, 1, 2, 1, 1, 3, 3, NONE, 3],
    [1, NONE, 2, 1, 3, 3, 4, 3, NONE, NONE, NONE, NONE, NONE, NONE, NONE],
    [NONE, NONE, 2, 1, 3, 4, 4, NONE, 2, 1, 1, 3, 3, NONE, 4],
]


@pytest.mark.parametrize(
    ("metric", "published", "computed"),
    [
        ("nominal", 0.743, 0.743421052631579),
        ("ordinal", 0.815, 0.8153875037548814),
        ("interval", 0.849, 0.8491071428571428),
        ("ratio", 0.797, 0.7974027747116121),
    ],
)
def test_alpha_matches_krippendorff2011_section_c(metric, published, computed):
    """Four observers, twelve units, missing data, four kinds of difference."""
    alpha = krippendorff_alpha(FOUR_OBSERVERS, metric)
    assert alpha == pytest.approx(published, abs=5e-4)
    assert alpha == pytest.approx(computed, abs=1e-12)


@pytest.mark.parametrize(
    ("metric", "computed"),
    [("nominal", 0.691358024691358), ("ordinal", 0.8067214199413153), ("interval", 0.8108448928121059)],
)
def test_alpha_matches_a_second_table_with_many_gaps(metric, computed):
    """Three coders, fifteen units, two thirds of them scored."""
    assert krippendorff_alpha(THREE_CODERS, metric) == pytest.approx(computed, abs=1e-12)
