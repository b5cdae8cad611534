"""Charts from plain values: sized, repeatable, readable without colour, and leaving matplotlib as it was."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from runpy import run_path
from types import SimpleNamespace

import matplotlib as mpl
import pytest
from matplotlib.image import imread

from tilestudy.paper import charts
from tilestudy.paper.content import Interaction, Level, Line, MainEffects, Panel

sample = SimpleNamespace(**run_path(str(Path(__file__).parent / "sample.py")))
COLOUR, DURABILITY = sample.handout().drivers
EFFECTS: MainEffects = COLOUR.effects
CROSSED: Interaction = COLOUR.interaction


def _texts(svg: bytes) -> list[str]:
    return ["".join(each.itertext()) for each in ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]


def test_the_same_values_give_the_same_bytes() -> None:
    """No date, no random ids."""
    assert charts.main_effects(EFFECTS) == charts.main_effects(EFFECTS)
    assert charts.interaction(CROSSED) == charts.interaction(CROSSED)
    assert charts.main_effects(EFFECTS, kind="png") == charts.main_effects(EFFECTS, kind="png")


def test_main_effects_show_levels_as_ticks_with_units() -> None:
    """Each panel is labelled with its factor and unit; a geometric factor's ticks are its levels."""
    texts = _texts(charts.main_effects(EFFECTS))
    for expected in ("strength, g/L", "dip time, s", "scrub cycles", "lightness L*", "(lower is darker)"):
        assert expected in texts
    for tick in ("1", "3", "9", "10", "30", "90", "4"):
        assert tick in texts


def test_main_effects_draw_each_tile_in_its_own_colour() -> None:
    """The fill of a point is the tile's sRGB colour."""
    svg = charts.main_effects(EFFECTS).decode()
    for tile in sample.TILES:
        assert f"fill: {tile['colour']}" in svg


def test_a_level_line_is_named() -> None:
    """The lowest passing grade is written beside its line."""
    assert "passes" in _texts(charts.main_effects(DURABILITY.effects))


def test_interaction_lines_are_labelled_at_their_ends_and_differ_without_colour() -> None:
    """No legend: each line carries its words; dash and marker differ."""
    svg = charts.interaction(CROSSED)
    texts = _texts(svg)
    assert all(line.label in texts for line in CROSSED.lines)
    assert len({(marker, dash) for marker, dash, _ in charts.STYLES}) == len(charts.STYLES)
    assert svg.decode().count("stroke-dasharray") >= 2


def test_labels_of_close_lines_do_not_overlap() -> None:
    """Labels are moved at least the asked distance apart."""
    moved = charts._apart([5.0, 5.1, 5.05, 9.0], 1.0)
    ordered = sorted(moved)
    assert all(b - a >= 1.0 - 1e-9 for a, b in pairwise(ordered))


def test_size_on_paper_is_the_size_asked_for() -> None:
    """Millimetres to SVG points (1/72 inch), and to pixels."""
    root = ET.fromstring(charts.main_effects(EFFECTS, width_mm=127, height_mm=50.8))
    assert root.get("width") == "360pt"
    assert root.get("height") == "144pt"
    png = charts.interaction(CROSSED, width_mm=127, height_mm=50.8, kind="png", dpi=100)
    assert imread(BytesIO(png)).shape[:2] == (200, 500)


def test_settings_of_matplotlib_are_put_back() -> None:
    """A notebook's own style survives."""
    before = dict(mpl.rcParams)
    charts.main_effects(EFFECTS)
    assert dict(mpl.rcParams) == before


@pytest.mark.parametrize("name", ["$x^2$", "a_b^c \\alpha", "*bold* <b>&amp;</b>"])
def test_names_print_as_they_stand(name: str) -> None:
    """A dollar sign starts no mathematics, angle brackets no markup."""
    panel = Panel(name, "", "steps", (Level("a", 0, 1.0), Level("b", 1, 2.0)))
    assert name in _texts(charts.main_effects(MainEffects("grade", (panel,), "alt")))


def test_named_levels_one_level_and_missing_ranges_are_drawn() -> None:
    """Small or gappy input still gives a chart."""
    one = Panel("surface", "", "steps", (Level("brushed along the grain by hand", 0, 3.0),))
    zero = Panel("salt", "g/L", "geometric", (Level("0", 0, 3.0), Level("5", 5, 3.0, 2.0, 4.0)))
    assert charts.main_effects(MainEffects("grade", (one, zero), "alt"))
    levels = (Level("1", 1, 2.0), Level("2", 2, 2.0))
    crossed = replace(CROSSED, lines=tuple(Line(f"line {n}", levels) for n in range(7)))
    assert charts.interaction(crossed)


def test_a_range_of_no_width_is_not_drawn() -> None:
    """The middle of a straight line is its own average: a bar of no length there would look like certainty."""
    levels = (Level("1", 1, 2.0, 1.5, 2.5), Level("2", 2, 3.0, 3.0, 3.0), Level("3", 3, 4.0, 3.5, 4.5))
    flat = (levels[0], Level("2", 2, 3.0), levels[2])
    drawn, bare = (
        charts.main_effects(MainEffects("grade", (Panel("dip", "s", "linear", one),), "alt")) for one in (levels, flat)
    )
    assert drawn == bare
