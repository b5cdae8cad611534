"""Stage along the path against computed colours of growing films."""

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.stats import spearmanr

from tests.published.reading import rows
from tilestudy.analysis.colour.path import path_through
from tilestudy.colour.difference import ciede2000

NOISE = 2.0
"""Root mean square CIEDE2000 of a tile from the colour of its film."""


def film(system):
    """Smooth curve through the computed colours of a film, by thickness in nm."""
    found = [row for row in rows("film_colours.csv") if row["system"] == system]
    return CubicSpline([float(row["thickness_nm"]) for row in found], [[float(row[k]) for k in "Lab"] for row in found])


def scattered(labs, rng):
    """Move each colour in a random direction by as much as makes its CIEDE2000, root mean square over many, `NOISE`."""
    moved = []
    for lab in labs:
        step = rng.normal(size=3)
        wanted = NOISE * float(np.linalg.norm(step)) / np.sqrt(3.0)
        lengths = np.linspace(0.0, 30.0, 1201)[:, None]
        apart = ciede2000(lab, lab + lengths * step / np.linalg.norm(step))
        moved.append(lab + lengths[int(np.abs(apart - wanted).argmin())] * step / np.linalg.norm(step))
    return np.array(moved)


@pytest.mark.parametrize("system", ["TiO2 on Ti", "Fe3O4 on Fe"])
@pytest.mark.parametrize(("tiles", "off"), [(24, 7.0), (48, 10.0)])
def test_thickness_order_is_recovered_within_one_colour_order(system, tiles, off):
    """0 to 100 nm at random; guide: the thickness, off by 7 or 10 nm (one SD). Rank correlation >= 0.97 for each of ten seeds.

    The guide alone has 0.90 to 0.97. Source of the colours: see data/film_colours.csv.
    """
    curve = film(system)
    for seed in range(10):
        rng = np.random.default_rng([seed, tiles])
        thickness = rng.uniform(0, 100, tiles)
        found = path_through(scattered(curve(thickness), rng), thickness + off * rng.normal(size=tiles))
        assert spearmanr(found.stages, thickness)[0] >= 0.97, seed
        assert found.turn <= 360.0


def test_more_than_one_colour_order_is_warned_of():
    """0 to 220 nm of TiO2 go round the hues more than once; 0 to 100 nm do not (second order from about 120 nm on)."""
    curve, rng = film("TiO2 on Ti"), np.random.default_rng(3)
    thickness = np.linspace(0, 220, 48)
    found = path_through(scattered(curve(thickness), rng), thickness + 10.0 * rng.normal(size=48))
    assert found.orders
    assert spearmanr(found.stages, thickness)[0] >= 0.97
