"""Tiles from a rectangle against the best packings known of pallets, which need not be cut by straight cuts."""

import pytest

from tests.published.reading import rows
from tilestudy.design.cutting.guillotine import Ways, area_bound, most_tiles


@pytest.mark.parametrize("row", rows("pallets.csv"), ids=lambda row: "-".join(row.values()))
def test_straight_cuts_come_within_two_boxes_of_the_best_packing_birgin2010(row: dict[str, str]) -> None:
    """These are the hard ones: the best packings reach the area bound or nearly, and take patterns no shears can cut."""
    X, Y, a, b, optimum = (int(row[key]) for key in ("X", "Y", "a", "b", "optimum"))
    ways = Ways(((a, b), (b, a)))
    assert optimum - 2 <= most_tiles(X, Y, ways) <= optimum <= area_bound(X, Y, ways)


def test_the_pallet_of_49_by_28_gives_56_by_straight_cuts_birgin2010() -> None:
    """Five-block patterns, which straight cuts are among, give 56 at best; 57 is the optimum."""
    assert most_tiles(49, 28, Ways(((8, 3), (3, 8)))) == 56
