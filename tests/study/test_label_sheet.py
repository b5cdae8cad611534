"""Sheets of labels by their dimensions, and the bench's address, as studio.toml tells them."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tilestudy.errors import FaultyFileError
from tilestudy.study import settings
from tilestudy.study.label_sheet import PAGES, LabelSheet, plain_grid
from tilestudy.study.settings import read_settings


def within_and_apart(sheet: LabelSheet) -> None:
    """Every label lies on the page, and none on another."""
    width, height = sheet.label_mm
    corners = [sheet.corner(place) for place in range(sheet.per_page)]
    for x, y in corners:
        assert -0.06 <= x <= sheet.page_mm[0] - width + 0.06
        assert -0.06 <= y <= sheet.page_mm[1] - height + 0.06
    for one, two in pairwise(corners):
        assert two[0] - one[0] >= width - 0.01 or two[1] - one[1] >= height - 0.01


@given(st.sampled_from(sorted(PAGES)), st.floats(10, 150), st.floats(8, 150), st.floats(0, 5), st.floats(0, 5))
def test_labels_lie_on_the_page_and_not_on_one_another(
    page: str, width: float, height: float, across: float, down: float
) -> None:
    """A plain grid to cut, and as many labels of a size, with gaps, as a page holds."""
    within_and_apart(plain_grid(PAGES[page], (width, height)))
    text = (
        f'paper = "{page}"\n[labels]\nsize = "{width:.2f} x {height:.2f} mm"\ngap_across = "{across:.2f} mm"\n'
        f'gap_down = "{down:.2f} mm"'
    )
    sheet = read_settings(text, "studio.toml").labels[""]
    within_and_apart(sheet)
    assert sheet.columns == int((PAGES[page][0] + round(across, 2) + 0.05) // (round(width, 2) + round(across, 2)))


def test_a_sheet_is_read_in_millimetres_or_inches_and_a_kind_may_have_its_own() -> None:
    """30 labels of 2 5/8 by 1 inch on a Letter page, in three columns; bags on another stock."""
    read = read_settings(
        '[labels]\npage = "us-letter"\nsize = "2 5/8 x 1 in"\ncolumns = 3\nrows = 10\nmargin_left = "3/16 in"\n'
        'margin_top = "0.5 in"\ngap_across = "0.125 in"\n[labels.bags]\npage = "100 x 150 mm"\nsize = "96 x 46 mm"\n'
        "outline = true\n",
        "studio.toml",
    ).labels
    assert read[""].per_page == 30
    assert read[""].right == pytest.approx(3 / 16 * 25.4, abs=0.01)  # the layout is symmetric
    assert (read["bags"].columns, read["bags"].rows, read["bags"].outline) == (1, 3, True)


def test_the_sleeping_lines_of_a_new_studio_file_are_good_ones() -> None:
    """Each # taken away, the file is read whole."""
    awake = re.sub(r"^# (?=\[|\w+ = )", "", settings.TEXT, flags=re.MULTILINE)
    read = read_settings(awake, "studio.toml")
    assert read.bench_address == "http://192.168.1.20:8765"
    assert read.labels[""].per_page == 21
    assert read_settings(settings.TEXT, "studio.toml").labels == {}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[labels]\nsize = "80 x 30 mm"\ncolumns = 3', "line 3: 3 columns of labels 80 mm wide need 240 mm"),
        ('[labels]\nsize = "300 x 30 mm"', "line 2: 1 column of labels 300 mm wide need 300 mm"),
        ("[labels]\ncolumns = 3", "line 1: [labels] needs the size of a label"),
        ('[labels]\nsize = "80 mm"', "line 2: size = '80 mm' cannot be read"),
        ('[labels]\nsize = "80 x 30 mm"\nmargin_top = "a bit"', 'line 3: margin_top = "a bit" cannot be read'),
        ('[labels]\nsize = "80 x 30 mm"\npage = "a6"', 'line 3: page = "a6" cannot be read'),
        ('[labels]\nsize = "80 x 30 mm"\ncolumns = 0', "columns = 0 is out of range"),
        ('[labels]\nsize = "80 x 30 mm"\nbrand = "x"', 'line 3: the key "brand" is not known in [labels]'),
        ('[labels]\nsize = "80 x 30 mm"\ntiles = 3', "tiles should be a table: write [labels.tiles]"),
        ("labels = 3", "labels is a table"),
        ('bench_address = "192.168.1.20"', "bench_address = '192.168.1.20' is no address"),
        ('bench_address = "http://"', "is no address"),
        ('bench_address = "http://bench:99999999"', "is no address"),
        ('bench_address = "http://bench:8765/?x=1"', "is no address"),
        ("bench_address = 8765", "is no address"),
    ],
)
def test_a_fault_is_told_with_its_line_and_what_to_write(text: str, says: str) -> None:
    """Never a traceback; the value, and how it should look."""
    with pytest.raises(FaultyFileError) as told:
        read_settings(text, "studio.toml")
    assert says in str(told.value)
