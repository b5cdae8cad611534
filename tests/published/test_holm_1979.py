"""Holm's (1979) correction against R's p.adjust (R 4.2.2). Holm (1979), Scand. J. Statist. 6:65."""

import pytest

from tilestudy.analysis.work import holm

CASES = {
    "equal steps": ([0.01, 0.02, 0.03, 0.04, 0.05], [0.05, 0.08, 0.09, 0.09, 0.09]),
    "ten": (
        [0.01, 0.013, 0.014, 0.19, 0.35, 0.5, 0.63, 0.67, 0.75, 0.81],
        [0.1, 0.117, 0.117, 1, 1, 1, 1, 1, 1, 1],
    ),
    "ties": ([0.02, 0.02, 0.001, 0.3, 0.02], [0.08, 0.08, 0.005, 0.3, 0.08]),
    "one": ([0.03], [0.03]),
    "none": ([], []),
}


@pytest.mark.parametrize("case", CASES)
def test_holm_matches_holm1979_by_r(case):
    """Ties share one corrected value, which never exceeds 1 and never falls."""
    p, corrected = CASES[case]
    assert holm(p) == pytest.approx(corrected, abs=1e-12)
