"""XYZ, whites, adaptation, spectra and names under other lights, against published values."""

import json

import numpy as np
import pytest

from tests.published.reading import DATA, rows
from tilestudy.colour.adaptation import CONES, bradford
from tilestudy.colour.names import colour_named, name_under
from tilestudy.colour.spectra import reflectance_to_xyz, white_of
from tilestudy.colour.xyz import CHROMATICITY, white

REFLECTANCE = {
    row["name"]: np.array([float(row[str(nm)]) for nm in range(400, 701, 10)])
    for row in rows("spectra_reflectance.csv")
}


def test_bradford_matches_its_published_matrices() -> None:
    """Cone matrix of Lam (1985); D65 to D50 from the whites of IEC 61966-2-1 and ISO 13655, and with seven-digit whites."""
    published = json.loads((DATA / "bradford_matrices.json").read_text())
    assert CONES.tolist() == published["bradford_cone_matrix"]
    assert bradford(white("D65", "2"), white("D50", "2")) == pytest.approx(
        np.array(published["bradford_D65_to_D50"]), abs=1e-6
    )
    whites = ([0.95047, 1, 1.08883], [0.96422, 1, 0.82521])
    assert bradford(*whites) == pytest.approx(np.array(published["bradford_lindbloom_whites"]), abs=1e-6)
    for name in ("D65", "D50"):
        x, y = published[f"white_{name}_xy"]
        assert CHROMATICITY[name, "2"] == (x, y)


@pytest.mark.parametrize(("illuminant", "observer"), CHROMATICITY)
def test_whites_agree_with_the_sums_over_their_spectra(illuminant: str, observer: str) -> None:
    """The chromaticities of CIE 15 are those of its tables of light and observer, to 0.0003 in x and y."""
    total = white_of(illuminant, observer)
    assert (total / total.sum())[:2] == pytest.approx(CHROMATICITY[illuminant, observer], abs=3e-4)


@pytest.mark.parametrize("row", rows("spectra_xyz.csv"), ids=lambda row: " ".join(list(row.values())[:4]))
def test_spectra_match_a_colour_library(row: dict[str, str]) -> None:
    """XYZ of four reflectances with the weights of ASTM E308 in colour-science 0.4.7, eight lights, two observers."""
    step = int(row["step"])
    found = reflectance_to_xyz(
        REFLECTANCE[row["name"]][:: step // 10], range(400, 701, step), row["illuminant"], row["observer"]
    )
    limit = 1e-4 if step == 10 else 2e-3
    assert found == pytest.approx([float(row[axis]) for axis in "XYZ"], abs=limit)


def test_a_colour_under_d50_gets_the_name_it_has_under_d65() -> None:
    """Kelly (1958): all 267 centroids, measured under D50, are named as themselves once adapted."""
    other = {
        row["name"]: found
        for row in rows("iscc_nbs_d50.csv")
        if (found := name_under([float(row[axis]) for axis in "Lab"], "D50", "2"))
        != row["name"].replace("gray", "grey")
    }
    assert other == {}
    assert colour_named("grayish brown") == colour_named("greyish brown")
