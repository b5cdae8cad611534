"""Lenth's (1989) margins on six published sets of effects.

Lenth (1989), Technometrics 31:469. The sets and their sources stand in data/lenth_effects.csv; the margins, computed in R from
the definition, in data/lenth_margins.csv.
"""

from itertools import product

import pandas as pd
import pytest

from tests.published.reading import rows
from tilestudy.analysis.findings import ResponseSpec
from tilestudy.analysis.trust.lenth import lenth, unreplicated
from tilestudy.study.records import Factor

SETS = {row["set"]: row for row in rows("lenth_margins.csv")}
# Montgomery, Design and Analysis of Experiments, Example 6.2, standard order
FILTRATION = [45, 71, 48, 65, 68, 60, 80, 65, 43, 100, 45, 104, 75, 86, 70, 96]


def effects_of(name):
    return {row["effect"]: float(row["value"]) for row in rows("lenth_effects.csv") if row["set"] == name}


@pytest.mark.parametrize("name", SETS)
def test_margins_match_lenth1989(name):
    """s0, PSE, ME and SME to all digits given."""
    found, published = lenth(effects_of(name)), SETS[name]
    assert found.m == int(published["m"])
    for mine, key in ((found.s0, "s0"), (found.pse, "pse"), (found.me, "me"), (found.sme, "sme")):
        assert mine == pytest.approx(float(published[key]), rel=1e-6)


def test_filtration_effects_come_from_the_sixteen_runs():
    """From the runs to Montgomery's effects and margins (PSE 2.625, ME 6.75, SME 13.70), whatever the order of the rows."""
    runs = [dict(zip("DCBA", setting, strict=True)) for setting in product((-1.0, 1.0), repeat=4)]
    frame = pd.DataFrame(runs).assign(tile=range(16), batch="B1", session=1, y=[float(y) for y in FILTRATION])
    found = unreplicated(frame[::-1], [Factor(name, (-1.0, 1.0)) for name in "ABCD"], ResponseSpec("rate", "rate"))
    assert found.lenth is not None
    assert {k.replace(" x ", ":"): v for k, v in found.effects.items()} == pytest.approx(effects_of("filtration_2_4"))
    assert (found.lenth.pse, round(found.lenth.me, 2), round(found.lenth.sme, 2)) == (2.625, 6.75, 13.70)
    assert found.lenth.stands_out == ("A", "A x C", "A x D", "D")
    assert found.lenth.may == ("C",)
