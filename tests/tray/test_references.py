"""The reference file: taken as spreadsheets write it, its faults told all at once."""

from __future__ import annotations

from pathlib import Path

import pytest

from tilestudy.errors import FaultyFileError
from tilestudy.tray.references import read_references

SIX = (Path(__file__).parent / "data" / "patches.csv").read_text(encoding="utf-8")


def card(rows: int = 4, columns: int = 6, more: str = "") -> str:
    """A card of patches of 8 mm every 12 mm, the first one 10 mm from the card's edges."""
    lines = [
        f"p{row * columns + column},{20 + 3 * row},{30 - 5 * column},10,{10 + 12 * column},{10 + 12 * row},8{more}"
        for row in range(rows)
        for column in range(columns)
    ]
    return "\n".join(lines)


def faults(text: str) -> str:
    with pytest.raises(FaultyFileError) as caught:
        read_references(text, "patches.csv")
    return str(caught.value)


def test_six_loose_patches() -> None:
    """Name, colour, light and observer; a note line and empty cells of the light are no matter."""
    found = read_references(SIX, "patches.csv")
    assert [patch.name for patch in found.patches] == ["white", "grey", "black", "brown", "blue-green", "orange"]
    assert found.patches[3].lab == (38.3, 13.6, 19.7)
    assert (found.kind, found.illuminant, found.observer, found.card_mm) == ("6 patches", "D50", "2", None)


def test_a_semicolon_file_with_decimal_commas_reads_the_same() -> None:
    """As spreadsheets of half the world write it."""
    assert read_references(SIX.replace(",", ";").replace(".", ","), "x.csv").patches == (
        read_references(SIX, "x.csv").patches
    )


def test_a_card_knows_its_size_or_derives_it() -> None:
    """As wide beyond the last patch as before the first, unless the file says."""
    head = "patch,L,a,b,x_mm,y_mm,size_mm"
    found = read_references(f"{head}\n{card()}", "card.csv")
    assert found.kind == "24 patches"
    assert found.card_mm == (6 + 70 + 4 + 0.0, 6 + 46 + 4 + 0.0)
    assert found.patches[7].box.middle == (22, 22)
    wider = read_references(f"{head},card_width_mm,card_height_mm\n{card(more=',100,90')}", "card.csv")
    assert wider.card_mm == (100, 90)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("patch,L,a,b\ngrey,50,0,0", "grey card"),
        ("patch,L,a,b\n" + "\n".join(f"grey {n},{9 * n},0.5,1" for n in range(1, 9)), "grey card"),
        ("patch,L,a,b\n" + "\n".join(f"p{n},{4 * n},30,{n}" for n in range(1, 18)), "6 patches"),
        ("patch,L,a,b\n" + "\n".join(f"p{n},{4 * n},30,{n}" for n in range(1, 19)), "24 patches"),
    ],
)
def test_what_the_patches_are_good_for(text: str, kind: str) -> None:
    """Greys alone, however many, balance grey only; 5 to 17 with colours carry a straight map, 18 a curved one."""
    assert read_references(text, "x.csv").kind == kind


def test_faults_are_told_all_at_once() -> None:
    """Each at its line, nothing used."""
    told = faults("patch,L,a,b,shade\nwhite,195,0,x\nwhite,95,0,0\n,50,0,0\n")
    for part in ("line 2: L 195 is not between 0 and 100", 'b: "x"', "line 4: no name", '"shade" is not known'):
        assert part in told


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no column patch, L, a, b"),
        ("\x89PNG\r\n\x1a\n\x00,\x00,x\n1,2,3,4,5,6\n", "1 fault found"),
        ("patch,L,a\nwhite,95,0", "no column b"),
        ("patch,L,a,b", "no patch is listed"),
        ("patch,L,a,b\nwhite,95,0,0\nWhite,94,0,0", 'name "white" is there twice'),
        ("patch,L,a,b\nred,50,60,30\nwhite,95,0,0", "too few to correct colours"),
        ("patch,L,a,b\nwhite,0.95,0,0\ngrey,0.5,0,0", "from 0 to 1"),
        ("patch,L,a,b,illuminant\nwhite,95,0,0,D50\ngrey,50,0,0,D65", "illuminant is D50 and D65"),
        ("patch,L,a,b,illuminant\nwhite,95,0,0,A", 'illuminant "A" is not one of'),
        ("patch,L,a,b,x_mm,y_mm,size_mm\ngrey,50,0,0,10,10,8\nwhite,95,0,0,,,", "no whole position for white"),
        ("patch,L,a,b,x_mm,y_mm,size_mm\ngrey,50,0,0,10,10,8\nwhite,95,0,0,15,10,8", "grey and white overlap"),
        ("patch,L,a,b,x_mm,y_mm,size_mm\ngrey,50,0,0,2,10,8", "patch grey reaches beyond its card"),
        ("patch,L,a,b\na name far too long for it,50,0,0", "16 characters or fewer"),
    ],
)
def test_bad_files(text: str, says: str) -> None:
    """Each says what is wrong."""
    assert says in faults(text)


def test_the_example_of_the_documentation_is_this_file() -> None:
    """docs/reference/reference-patches.md shows what is tested here."""
    page = Path(__file__).parents[2] / "docs" / "reference" / "reference-patches.md"
    assert SIX in page.read_text(encoding="utf-8")
