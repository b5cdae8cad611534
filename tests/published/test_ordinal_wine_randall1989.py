"""The bitterness of wine, graded 1 to 5 by nine judges: fits without any prior against R's ordinal.

Data: Randall (1989), Biometrical Journal 31:781, Table 1. Figures: R 4.2.2 with ordinal 2022.11-16 (clm, clmm) and MASS
7.3-58.2 (polr); the estimates of clm are printed in Christensen's vignette "Cumulative Link Models for Ordinal Regression".
"""

import numpy as np
import pytest

from tests.published.reading import rows
from tilestudy.analysis.wear.likelihood import likeliest
from tilestudy.analysis.wear.links import CLOGLOG, LOGIT
from tilestudy.analysis.wear.ordinal import fit_ordinal, grade_rows
from tilestudy.errors import NotEnoughError

WINE = rows("wine_randall1989.csv")
RATING = np.array([float(one["rating"]) for one in WINE])
X = np.array([[one["temp"] == "warm", one["contact"] == "yes"] for one in WINE], dtype=float)
JUDGE = {"judge": np.array([int(one["judge"]) - 1 for one in WINE], dtype=np.intp)}


def fitted(link, groups, nodes=1, columns=X):
    bare, start = grade_rows(RATING, columns, groups, [2.0, 3.0, 4.0, 5.0], pseudo=0.0)
    return likeliest(bare, link, start, nodes)


@pytest.mark.parametrize(
    ("link", "cuts", "slopes", "loglik"),
    [
        (LOGIT, [-1.344383, 1.250809, 3.466887, 5.006404], [2.503102, 1.527798], -86.491923),
        (CLOGLOG, [-1.740082, 0.296329, 1.728855, 2.596797], [1.605760, 0.859714], -86.634079),
    ],
)
def test_cumulative_link_models_match_randall1989_by_clm(link, cuts, slopes, loglik):
    """rating ~ temp + contact: cuts, slopes, log-likelihood; polr agrees with clm for the logit."""
    fit = fitted(link, {})
    assert fit.cuts == pytest.approx(cuts, abs=1e-5)
    assert fit.slopes == pytest.approx(slopes, abs=1e-5)
    assert fit.loglik == pytest.approx(loglik, abs=1e-6)


def test_the_interaction_matches_randall1989_by_clm():
    """temp, contact 2.3212, 1.3475 and their product 0.3595; log-likelihood -86.4162."""
    fit = fitted(LOGIT, {}, columns=np.column_stack([X, X[:, 0] * X[:, 1]]))
    assert fit.slopes == pytest.approx([2.321184, 1.347460, 0.359549], abs=1e-5)
    assert fit.loglik == pytest.approx(-86.416200, abs=1e-6)


@pytest.mark.parametrize(
    ("nodes", "slopes", "loglik", "variance"),
    [(10, [3.061891, 1.833433], -81.532461, 1.287733), (1, [3.062997, 1.834885], -81.565409, 1.279461)],
)
def test_random_judges_match_randall1989_by_clmm(nodes, slopes, loglik, variance):
    """10-point quadrature, and Laplace: clmm stops its search at a relative 1e-4 or so, hence the tolerance."""
    fit = fitted(LOGIT, JUDGE, nodes)
    assert fit.slopes == pytest.approx(slopes, abs=1e-4)
    assert fit.loglik == pytest.approx(loglik, abs=1e-5)
    assert float(fit.sd[0] ** 2) == pytest.approx(variance, abs=1e-4)


def test_weak_priors_leave_the_published_answer_where_it_is():
    """Coded -1 and 1, slopes are half as large: within a third of a standard error (0.30, 0.26) of clmm's."""
    fit = fit_ordinal(RATING, 2.0 * X - 1.0, {"scorer": JUDGE["judge"]})
    assert fit.slopes == pytest.approx([3.062 / 2, 1.833 / 2], abs=0.085)


def test_separated_rows_have_no_greatest_likelihood():
    """Without a prior the slope would run away: refused, and the fit with priors is finite."""
    grades, column = np.array([1.0, 1.0, 2.0, 4.0, 5.0, 5.0]), np.array([[-1.0], [-1], [-1], [1], [1], [1]])
    bare, start = grade_rows(grades, column, {}, [2.0, 4.0, 5.0], pseudo=0.0)
    with pytest.raises(NotEnoughError, match="separated"):
        likeliest(bare, LOGIT, start)
    assert 1.0 < fit_ordinal(grades, column).slopes[0] < 4.0
