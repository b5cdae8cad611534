"""How far colours moved between two stages: of readings that may be compared, under whatever light."""

from datetime import date

import pytest

from tilestudy.analysis.colour.between import changes
from tilestudy.colour.adaptation import adapt
from tilestudy.errors import NotEnoughError
from tilestudy.study.records import Lab, Reading

DAY = date(2026, 11, 24)
CURED, SEALED = (45.0, 14.0, 20.0), (40.0, 12.0, 16.0)


def reading(stage: str, lab: Lab, *more: str, error: float | None = None) -> Reading:
    return Reading("K7", stage, DAY, *lab, 1, *more, error=error)


def test_colours_under_d50_are_adapted_first() -> None:
    """Measured under D50, the grade is that of the same colours brought to D65; a photo's error is told."""
    photo = ("photo", "24 patches", "D50", "2")
    seen = [reading("cured", CURED, *photo, error=1.2), reading("sealed", SEALED, *photo, error=1.2)]
    found = changes("plaques", ["K7"], seen, "cured", "sealed")
    [one] = found.tiles
    assert one.before == pytest.approx(adapt(CURED, "D50", "2").tolist())
    at_d65 = [reading("cured", one.before), reading("sealed", one.after)]
    assert changes("plaques", ["K7"], at_d65, "cured", "sealed").tiles == (one,)
    assert "a change below 1.7 may be theirs and not the tile's." in found.text()


def test_spots_are_averaged_and_series_kept_apart() -> None:
    """The mean colour of a tile's spots counts; another series changes nothing."""
    spots = [Reading("K7", "cured", DAY, L, 0, 0, spot) for spot, L in ((1, 38.0), (2, 42.0))]
    other = Reading("K7", "sealed", DAY, 80, 0, 0, series="hand", instrument="hand")
    seen = [*spots, other, reading("sealed", (36.6, 0, 0))]
    assert changes("plaques", ["K7"], seen, "cured", "sealed").tiles[0].grade == pytest.approx(3)


@pytest.mark.parametrize(
    ("seen", "says"),
    [
        (
            [reading("cured", CURED, "photo", "paper only"), reading("sealed", SEALED, "photo", "paper only")],
            "come from photos without reference patches",
        ),
        ([reading("cured", CURED, "a"), reading("sealed", SEALED, "b")], "different instruments or viewing conditions"),
        ([reading("cured", CURED)], "No tile of plaques was measured both cured and sealed in its own series."),
    ],
)
def test_colours_that_cannot_be_compared_are_refused(seen: list[Reading], says: str) -> None:
    """With the reason."""
    with pytest.raises(NotEnoughError, match=says):
        changes("plaques", ["K7"], seen, "cured", "sealed")
