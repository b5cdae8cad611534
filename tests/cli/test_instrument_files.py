"""Colours from files that instruments write, and how far colours moved between stages. All data invented."""

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Run

HEAD = "Instrument: sphere 7\nGeometry;d/8 SCI\n\nSample;Date;L*(D65/10);a*(D65/10);b*(D65/10)\n"
DAY = "2025-11-24"


def codes(planned: Path) -> list[str]:
    return [row.split(",")[0] for row in (planned / "tiles.csv").read_text(encoding="utf-8-sig").splitlines()[1:]]


def export(planned: Path, *rows: str, head: str = HEAD, name: str = "export.csv") -> str:
    path = planned.parents[1] / name
    path.write_text(head + "".join(f"{row}\n" for row in rows))
    return str(path)


def test_an_instrument_file_is_stored_as_measured(run: Run, planned: Path) -> None:
    """Tiles by their codes in any case, spots behind them; rows that are no tile are named; again changes nothing."""
    one, two, *_ = codes(planned)
    rows = (
        f"White tile;{DAY};97;0;0",
        f"{one.lower()};{DAY} 10:11;31,5;8,4;9,9",
        f"{two}-2;{DAY};40;1;2",
        "Mean;;35;4;5",
    )
    file = export(planned, *rows)
    result = run("colour", "plaques", "--from", file)
    assert result.output == (
        'Left out, as no tile or without values: "White tile" (line 5) and "Mean" (line 8).\nStored: 2 colour readings.\n'
    )
    told = run("history", "plaques", two).output
    assert "L 40, a 1, b 2, spot 2, instrument sphere 7, geometry d/8 SCI, illuminant D65, observer 10" in told
    assert "Nothing new: 2 rows were stored before." in run("colour", "plaques", "--from", file).output


def test_a_second_instrument_is_refused_or_kept_apart(run: Run, planned: Path) -> None:
    """CGATS under D50 never joins the series of the first; --series keeps it beside."""
    tile = codes(planned)[0]
    assert run("colour", "plaques", "--from", export(planned, f"{tile};{DAY};31,5;8,4;9,9")).exit_code == 0
    text = (
        f'CGATS.17\nCREATED "{DAY}"\nMEASUREMENT_GEOMETRY "45/0"\nILLUMINATION_NAME "D50"\nOBSERVER_ANGLE "2"\n'
        "BEGIN_DATA_FORMAT\nSAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\nBEGIN_DATA\n"
        f'1 "{tile} 1" 41.2 3.1 -4\nEND_DATA'
    )
    file = export(planned, head=text, name="hand.txt")
    refused = run("colour", "plaques", "--from", file, "--instrument", "hand")
    assert refused.exit_code == 2
    assert "hand.txt, line 10: " in refused.output
    assert '; illuminant "D50" differs from "D65"; ' in refused.output
    assert "--series NAME" in refused.output
    stored = run("colour", "plaques", "--from", file, "--instrument", "hand", "--series", "hand", "--stage", "bare")
    assert stored.output == "Stored: 1 colour reading.\n"
    assert "stage bare" in run("history", "plaques", tile).output


def test_two_instruments_may_call_their_files_alike(run: Run, planned: Path) -> None:
    """A file of a name that was read before is still another instrument's; the same tiles read anew are corrections."""
    one, two, *_ = codes(planned)
    run("colour", "plaques", "--from", export(planned, f"{one};{DAY};31;8;9"))
    head = HEAD.replace("d/8 SCI", "45/0").replace("sphere 7", "hand")
    refused = run("colour", "plaques", "--from", export(planned, f"{two};{DAY};31;8;9", head=head))
    assert 'geometry "45/0" differs from "d/8 SCI"' in refused.output
    again = run("colour", "plaques", "--from", export(planned, f"{one};{DAY};31;8;9", head=head))
    assert "geometry d/8 SCI to 45/0" in again.output


def test_all_faults_come_at_once_and_nothing_is_stored(run: Run, planned: Path) -> None:
    """Tiles that are none, one twice, one without values, no date; --keep-good stores the good rows."""
    one, two, three, four, *_ = codes(planned)
    file = export(
        planned,
        *(f"{one};{DAY};31;8;9", f"{two};{DAY};31;8;9", f"{two};{DAY};32;8;9", f"QQQQ;{DAY};31;8;9"),
        *(f"{three};{DAY};;;", f"{four};;31;8;9", f"{four}-2;{DAY};131;8;9"),
    )
    result = run("colour", "plaques", "--from", file)
    assert result.exit_code == 2
    for says in (
        f"line 7: tile {two}, stage cured, spot 1 is already on line 6.",
        'line 8: tile "QQQQ" is not known.',
        f"line 9: tile {three} has no values.",
        "line 10: the file gives no date of measuring. Add the day with --on, such as",
        "line 11: L 131 is out of range",
    ):
        assert says in result.output
    kept = run("colour", "plaques", "--from", file, "--on", DAY, "--keep-good")
    assert "Stored: 2 colour readings." in kept.output
    assert "export.mend.csv" in kept.output
    assert "L 31, a 8, b 9" in run("history", "plaques", one).output
    assert "L 31" not in run("history", "plaques", two).output


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ((), 'Add --geometry 45/0, --geometry "d/8 SCI" or --geometry "d/8 SCE"'),
        (("--geometry", "45/0", "--illuminant", "lamp"), '--illuminant "lamp" is not known. Write one of A, C, D50'),
        (("--geometry", "45/0", "-L", "3"), "Give either a file with --from, or one tile and its values, not both."),
    ],
)
def test_what_a_file_leaves_open_is_asked(run: Run, planned: Path, options: tuple[str, ...], says: str) -> None:
    """With the option that answers it."""
    file = export(planned, f"{codes(planned)[0]};{DAY};31;8;9", head="Name;Date;L*(D65/10);a*(D65/10);b*(D65/10)\n")
    result = run("colour", "plaques", "--from", file, *options)
    assert result.exit_code == 2
    assert says in result.output


def test_options_fill_the_empty_cells_of_a_form(run: Run, planned: Path) -> None:
    """A form without dates or stages is read with --on and --stage; what it says itself stays."""
    one, two, *_ = codes(planned)
    form = export(planned, f"{one},,31,8,9", f"{two},{DAY},32,8,9", head="tile,on,L,a,b\n", name="colour.csv")
    assert run("colour", "plaques", "--from", form, "--on", "2025-11-20", "--stage", "sealed").exit_code == 0
    assert "stage sealed, on 2025-11-20, L 31" in run("history", "plaques", one).output
    assert f"stage sealed, on {DAY}, L 32" in run("history", "plaques", two).output


def test_enter_names_an_instrument_file_and_its_command(run: Run, planned: Path) -> None:
    """It may have to ask, so it is not taken in with the forms."""
    export(planned, f"{codes(planned)[0]};{DAY};31;8;9", name="experiments/plaques/colour-export.csv")
    result = run("enter", "plaques")
    assert (
        "Not read: colour-export.csv is an instrument's file. Type \"tilestudy colour plaques --from " in result.output
    )
    assert "colour" not in run("history", "plaques", codes(planned)[0]).output


def test_the_change_between_two_stages_is_graded(run: Run, planned: Path) -> None:
    """ISO 105-A05 for each tile: a step of 3.4 in lightness alone is grade 3 (ISO 105-A02)."""
    one, two, *_ = codes(planned)
    for tile, stage, L in ((one, "cured", 40), (one, "sealed", 36.6), (two, "cured", 40)):
        run("colour", "plaques", tile, "-L", str(L), "-a", "0", "-b", "0", "--stage", stage)
    result = run("colour", "plaques", "--between", "cured", "sealed")
    assert [line.split() for line in result.output.splitlines()[1:3]] == [
        ["tile", "grade", "half", "grade", "CIEDE2000", "cured", "sealed"],
        [one, "3.0", "3", "2.9", "dark", "grey", "dark", "grey"],
    ]
    assert result.output.endswith(f"Measured at one of the two stages only: {two}.\n")
    found = json.loads(run("colour", "plaques", "--between", "cured", "sealed", "--json").output)
    assert (found["tiles"][0]["half_grade"], found["missing"]) == (3.0, [two])


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("cured", "shiny"), 'There is no stage "shiny". Stages: bare, fresh, cured, sealed, aged, rubbed.'),
        (("cured", "cured"), "The two stages are the same, cured. Name two, such as --between cured sealed."),
        (("bare", "aged"), "There are readings at cured."),
        (("bare", "aged", "--stage", "cured"), "--between goes with --series and --json only"),
    ],
)
def test_stages_that_cannot_be_compared_are_refused(run: Run, planned: Path, words: tuple[str, ...], says: str) -> None:
    """With what there is."""
    run("colour", "plaques", codes(planned)[0], "-L", "40", "-a", "0", "-b", "0")
    result = run("colour", "plaques", "--between", *words)
    assert result.exit_code in (1, 2)
    assert says in result.output
