"""Recording: by options, by forms, by questions; corrections, spoiled tiles, bad input."""

import json
import re
from datetime import date, timedelta
from pathlib import Path

import pytest

from tests.cli.conftest import Run


def codes(planned: Path) -> list[str]:
    return [row.split(",")[0] for row in (planned / "tiles.csv").read_text(encoding="utf-8-sig").splitlines()[1:]]


def days_ago(days: int) -> str:
    return (date.today() - timedelta(days=days)).isoformat()


def test_a_correction_keeps_the_old_value_and_what_was_not_given(run: Run, planned: Path) -> None:
    """A grade typed again supersedes the first; its strokes stay; history shows both."""
    tile = codes(planned)[0]
    assert (
        "Stored: 1 rub grade." in run("rub", "plaques", tile, "--grade", "3", "--scorer", "KL", "--strokes", "8").output
    )
    result = run("rub", "plaques", tile, "--grade", "3.5", "--scorer", "KL")
    assert result.output == f"Corrected: tile {tile}, dry rub by KL: grade 3 to 3.5. The old value is kept.\n"
    told = run("history", "plaques", tile.lower()).output
    assert "grade 3," in told
    assert "[superseded by #2]" in told
    assert "(corrects #1)" in told
    assert told.count("strokes 8") == 2
    assert "Nothing new" in run("rub", "plaques", tile, "--grade", "3.5", "--scorer", "kl").output


def test_a_second_rub_test_stands_beside_the_first(run: Run, planned: Path) -> None:
    """With its round both are kept; without it the tool asks whether it was one, and says how to put it right."""
    tile = codes(planned)[0]
    first = ("rub", "plaques", tile, "--grade", "4.5", "--scorer", "KL", "--on", days_ago(30))
    run(*first)
    forgotten = run("rub", "plaques", tile, "--grade", "3", "--scorer", "KL", "--on", days_ago(0))
    assert f"The rub test of {tile} is dated anew ({days_ago(30)} became {days_ago(0)})." in forgotten.output
    assert "--round 2" in forgotten.output
    run(*first)
    again = run("rub", "plaques", tile, "--grade", "3", "--scorer", "KL", "--round", "2")
    assert again.output == "Stored: 1 rub grade.\n"
    mended = run("rub", "plaques", tile, "--grade", "2.5", "--scorer", "KL", "--round", "2")
    assert mended.output.startswith(f"Corrected: tile {tile}, dry rub by KL, round 2: grade 3 to 2.5.")
    told = run("history", "plaques", tile).output
    assert told.count("round 2") == 2
    assert "round 1" not in told


def test_a_spoiled_tile_gets_a_stand_in_with_its_settings(run: Run, planned: Path) -> None:
    """--replace plans a new tile in the same batch; it falls due, the spoiled one does not."""
    tile = codes(planned)[0]
    result = run("made", "plaques", tile, "--spoiled", "--why", "dropped", "--replace", "--on", days_ago(7))
    assert result.exit_code == 0
    found = re.search(r"Tile (\w+) stands in for (\w+), at its settings in batch B1\.", result.output)
    assert found
    assert found[2] == tile
    assert run("made", "plaques", found[1], "--on", days_ago(8)).exit_code == 0
    due = json.loads(run("due", "--json").output)["due"]
    assert {(one["tile"], one["what"], one["late_days"]) for one in due} == {
        (found[1], "colour (cured)", 1),
        (found[1], "rub (dry)", 1),
    }
    assert set(due[0]) == {"study", "tile", "what", "on", "late_days"}
    assert f"It stands in for {tile}" in run("history", "plaques", found[1]).output


def test_due_falls_silent_when_everything_is_recorded(run: Run, planned: Path) -> None:
    """A tile made a week ago owes a reading and a rub until both are there."""
    tile = codes(planned)[0]
    run("made", "plaques", tile, "--on", days_ago(7))
    assert f"plaques: rub (dry), due today, 1 tile: {tile}" in run("due", "plaques").output
    run("colour", "plaques", tile, "-L", "31", "-a", "8", "-b", "9")
    run("rub", "plaques", tile, "--grade", "4-5", "--scorer", "MB")
    assert run("due").output.startswith("Nothing is due on")
    later = run("due", "--on", (date.today() + timedelta(days=30)).isoformat())
    assert later.exit_code == 0


def test_questions_tile_by_tile_store_and_survive_a_slip(run: Run, planned: Path) -> None:
    """Without options the command asks; a wrong grade is told and the tile asked again; an empty code ends."""
    one, two = codes(planned)[:2]
    answers = [one, "KL", "6", "", "", "", one, "", "4", "", "", "", two, "", "3.5", "", "", "", ""]
    result = run("rub", "plaques", stdin="\n".join(answers) + "\n")
    assert result.exit_code == 0, result.output
    assert "Nothing was stored for this tile; enter it again." in result.output
    assert result.output.count("Stored: 1 rub grade.") == 2


def test_batch_times_and_measured_settings_are_recorded(run: Run, planned: Path) -> None:
    """A batch has a log of its own; its measured strength counts in the analysis."""
    result = run(
        "made", "plaques", "--batch", "B1", "--made-at", f"{days_ago(1)} 10:15", "--actual", "strength=0.97 g/L"
    )
    assert result.output == "Stored: 1 batch log.\n"
    tile = codes(planned)[0]
    assert "actual strength 0.97 g/L" in run("history", "plaques", tile).output


def test_enter_lists_every_fault_and_stores_nothing(run: Run, planned: Path) -> None:
    """Unknown code, wrong grades, a future and an ambiguous date, a doubled row: each with its line; then --keep-good."""
    one, two, three, four, five, six = codes(planned)[:6]
    ahead = (date.today() + timedelta(days=3)).isoformat()
    rub = planned / "rub.csv"
    rub.write_text(
        "\ufefftile;scorer;on;grade;condition;\r\n"
        f"{one};KL;{days_ago(1)};4,5;dry;\r\n"
        f"{two};KL;{days_ago(1)};6;dry;\r\n"
        f"{three};KL;{days_ago(1)};3.25;dry;\r\n"
        f"{four};KL;{days_ago(1)};four;dry;\r\n"
        f"{five};KL;{ahead};4;dry;\r\n"
        f"{six};KL;3/4/2026;4;dry;\r\n"
        f"Q9;KL;{days_ago(1)};4;dry;\r\n"
        f"{one};MB;{days_ago(1)};4;dry;\r\n"
        f"{one};MB;{days_ago(1)};3;dry;\r\n"
        ";;;;;\r\n",
        encoding="utf-8",
    )
    result = run("enter", "plaques")
    assert result.exit_code == 2
    for line in (3, 4, 5, 6, 7, 8, 10):
        assert f"rub.csv, line {line}: " in result.output
    assert "rub.csv, line 2: " not in result.output
    assert "Nothing was stored." in result.output
    assert "Nothing is recorded of it yet." in run("history", "plaques", one).output
    kept = run("enter", "plaques", "--keep-good")
    assert kept.exit_code == 0
    assert "Stored: 1 rub grade." in kept.output
    aside = (planned / "rub.mend.csv").read_text(encoding="utf-8-sig").splitlines()
    assert len(aside) == 9  # the header, six rows with a fault, and both of the doubled row
    again = run("enter", "plaques")
    assert "Not read: rub.mend.csv holds rows to mend" in again.output or again.exit_code == 2


def test_two_forms_that_contradict_each_other_are_a_fault(run: Run, planned: Path) -> None:
    """The same scorer's grade for the same tile in two files: keep one."""
    tile = codes(planned)[0]
    for name, grade in (("rub-a.csv", "4"), ("rub-b.csv", "3")):
        (planned / name).write_text(f"tile,scorer,on,grade\n{tile},KL,{days_ago(1)},{grade}\n")
    result = run("enter", "plaques")
    assert result.exit_code == 2
    assert "rub-b.csv, line 2: says otherwise than rub-a.csv, line 2" in result.output


def test_an_old_form_does_not_undo_a_later_correction(run: Run, planned: Path) -> None:
    """A correction typed at the command line stays when the same form is read again; an edited form counts."""
    tile = codes(planned)[0]
    form = planned / "rub-KL.csv"
    form.write_text(f"tile,scorer,on,grade\n{tile},KL,{days_ago(1)},4\n")
    run("enter", "plaques")
    run("rub", "plaques", tile, "--grade", "3", "--scorer", "KL")
    assert "Nothing new" in run("enter", "plaques").output
    form.write_text(f"tile,scorer,on,grade\n{tile},KL,{days_ago(1)},4.5\n")
    assert "grade 3 to 4.5" in run("enter", "plaques").output


def test_a_second_instrument_is_refused_with_the_reason(run: Run, planned: Path) -> None:
    """Instruments are never mixed in one study."""
    one, two = codes(planned)[:2]
    assert run("colour", "plaques", one, "-L", "30", "-a", "5", "-b", "6", "--instrument", "sphere").exit_code == 0
    result = run("colour", "plaques", two, "-L", "30", "-a", "5", "-b", "6", "--instrument", "phone")
    assert result.exit_code == 2
    assert "phone" in result.output
    assert "sphere" in result.output


def test_a_file_that_is_no_form_is_named_not_skipped_in_silence(run: Run, planned: Path) -> None:
    """Nobody's rows are passed over without a word."""
    (planned / "shopping.csv").write_text("what,how many\npumice,2\n")
    assert "Not read: shopping.csv is no form" in run("enter", "plaques").output


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("plan", "plaque"), 'Did you mean "plaques"?'),
        (
            ("new", "Door Plaques", "--process", "sulfide-dip", "--metal", "C11000"),
            "use small letters, digits and hyphens",
        ),
        (("new", "doors", "--process", "acid", "--metal", "C11000"), 'There is no process "acid". Known:'),
        (("new", "doors", "--process", "low-heat", "--metal", "brass"), '"BRASS" is not a metal tilestudy knows.'),
        (("new", "plaques", "--process", "low-heat", "--metal", "C26000"), "is there already and was left as it is"),
        (("history", "plaques", "ZZ9"), 'has no tile "ZZ9"'),
        (("drivers", "plaques", "--stage", "old"), 'There is no stage "old". Stages: bare, fresh'),
        (("made", "plaques", "--made-at", "10:15"), "go with --batch and no tile"),
        (("rub", "plaques", "E3", "--grade", "5"), "scorer"),
        (("due", "--on", "some day"), "some day"),
        (("pack", "plaques", "--paper", "a5"), "a5"),
        (("nonsense",), "No such command"),
    ],
)
def test_a_wrong_request_is_told_and_exits_with_2(run: Run, planned: Path, words: tuple[str, ...], says: str) -> None:
    """What was wrong, and what to type next."""
    result = run(*words)
    assert result.exit_code == 2, result.output
    assert says in " ".join(result.output.split())


def test_what_cannot_be_done_yet_exits_with_1(run: Run, planned: Path) -> None:
    """Findings without readings: a clear word, not a traceback."""
    result = run("drivers", "plaques")
    assert result.exit_code == 1
    assert "No tile has a value of L*" in result.output
    assert run("handout", "plaques").exit_code == 1


def test_nothing_in_an_empty_folder_is_a_clear_word(run: Run) -> None:
    """The first thing a new user may type."""
    assert run("due").output.startswith("Nothing is due")
    result = run("plan", "plaques")
    assert result.exit_code == 2
    assert 'Start one with "tilestudy new plaques --process sulfide-dip --metal C11000"' in result.output
    assert "--folder" in result.output


def test_mended_rows_are_stored_once_and_then_leave_enter_in_peace(run: Run, planned: Path) -> None:
    """A file of mended rows is renamed when all of it is stored; standard input is read likewise."""
    one, two = codes(planned)[:2]
    form = planned / "rub-KL.csv"
    form.write_text(f"tile,scorer,on,grade\n{one},KL,{days_ago(1)},4\n{two},KL,{days_ago(1)},9\n")
    assert run("enter", "plaques", "--keep-good").exit_code == 0
    mend = planned / "rub-KL.mend.csv"
    mend.write_text(mend.read_text(encoding="utf-8-sig").replace(",9", ",4.5"))
    assert "Stored: 1 rub grade." in run("rub", "plaques", "--from", str(mend)).output
    assert not mend.exists()
    assert (planned / "rub-KL.mended.csv").exists()
    form.unlink()
    assert "Not read" not in run("enter", "plaques").output
    piped = run("rub", "plaques", "--from", "-", stdin=f"tile,scorer,on,grade\n{two},MB,{days_ago(1)},4\n")
    assert "Stored: 1 rub grade." in piped.output


def test_a_faulty_form_keeps_the_tile_list_out_too(run: Run, planned: Path) -> None:
    """Nothing was stored means nothing: a new tile list waits until its forms are whole."""
    board = planned.with_name("board")
    board.mkdir()
    text = (planned / "study.toml").read_text(encoding="utf-8").replace('name = "plaques"', 'name = "board"')
    (board / "study.toml").write_text(text, encoding="utf-8")
    (board / "tiles.csv").write_text("tile,batch,strength,dip_time,scrub_cycles\nOLD1,A,1,10,1\nOLD2,B,9,10,1\n")
    (board / "rub.csv").write_text(f"tile,scorer,on,grade\nOLD1,KL,{days_ago(9)},7\n")
    assert run("enter", "board").exit_code == 2
    assert run("history", "board", "OLD1").exit_code == 1
    (board / "rub.csv").write_text(f"tile,scorer,on,grade\nOLD1,KL,{days_ago(9)},3\n")
    assert "Tile list: 2 tiles taken in." in run("enter", "board").output


def test_a_misspelt_hazard_question_is_a_fault(run: Run, planned: Path) -> None:
    """Or the hazard it asks about would be passed over."""
    study = planned / "study.toml"
    study.write_text(
        study.read_text().replace('acid_at_the_same_place = "not checked"', 'acid_at_the_same_plac = "yes"')
    )
    result = run("pack", "plaques")
    assert result.exit_code == 2
    assert (
        '"acid_at_the_same_plac" is no bench question of this process. Did you mean "acid_at_the_same_place"?'
        in result.output
    )


def filled(form: Path, tile: str, **cells: str) -> None:
    """Fill cells of one row of a form."""
    lines = form.read_text(encoding="utf-8-sig").splitlines()
    names = lines[0].split(",")
    for place, line in enumerate(lines):
        row = line.split(",")
        if row[0] == tile:
            for name, value in cells.items():
                row[names.index(name)] = value
            lines[place] = ",".join(row)
    form.write_text("\n".join(lines) + "\n", encoding="utf-8")


def test_an_empty_cell_does_not_undo_what_was_typed(run: Run, planned: Path) -> None:
    """A tile spoiled and a setting measured at the command line stay so when the form brings only the dates."""
    one, two = codes(planned)[:2]
    run("made", "plaques", one, "--spoiled", "--why", "dropped", "--replace", "--on", days_ago(9))
    run("made", "plaques", two, "--actual", "scrub_cycles=2", "--on", days_ago(9))
    for tile in (one, two):
        filled(planned / "made.csv", tile, on=days_ago(8), by="MB")
    result = run("enter", "plaques")
    assert f"tile {one}: on {days_ago(9)} to {days_ago(8)}, by blank to MB. The old value" in result.output
    told = run("history", "plaques", one).output.splitlines()[-1]
    assert "spoiled yes" in told or "spoiled yes" in run("history", "plaques", one).output
    assert "actual scrub cycles 2" in run("history", "plaques", two).output
    assert "spoiled yes to no" in run("made", "plaques", one, "--not-spoiled").output


def test_packing_again_adds_rows_for_new_tiles_to_forms_that_hold_entries(run: Run, planned: Path) -> None:
    """A stand-in gets its row in every form; what was typed is untouched."""
    one, two = codes(planned)[:2]
    filled(planned / "made.csv", two, on=days_ago(2))
    result = run("made", "plaques", one, "--spoiled", "--replace", "--on", days_ago(2))
    stand_in = re.search(r"Tile (\w+) stands in", result.output)
    assert stand_in
    packed = run("pack", "plaques")
    assert "1 row for new tiles added at its end" in packed.output
    made = (planned / "made.csv").read_text(encoding="utf-8-sig")
    assert made.splitlines()[-1].startswith(f"{stand_in[1]},B1,1,7,")
    assert days_ago(2) in made
    again = run("made", "plaques", one, "--spoiled", "--replace")
    assert again.exit_code == 2
    assert f"{stand_in[1]} already stands in for {one}." in again.output


def test_a_per_batch_setting_is_not_taken_for_a_tile(run: Run, planned: Path) -> None:
    """The strength belongs to the bath."""
    result = run("made", "plaques", codes(planned)[0], "--actual", "strength=2 g/L")
    assert result.exit_code == 2
    assert "strength is set for a whole batch" in result.output


def test_a_measurement_before_the_making_is_a_fault(run: Run, planned: Path) -> None:
    """One of the two dates is wrong; a measurement of a spoiled tile is kept, and said not to count."""
    one, two = codes(planned)[:2]
    run("made", "plaques", one, "--on", days_ago(3))
    early = run("rub", "plaques", one, "--grade", "4", "--scorer", "KL", "--on", days_ago(5))
    assert early.exit_code == 2
    assert f"tile {one} was made on {days_ago(3)}, so a measurement of {days_ago(5)} cannot be right." in early.output
    run("made", "plaques", two, "--spoiled", "--on", days_ago(3))
    late = run("rub", "plaques", two, "--grade", "4", "--scorer", "KL")
    assert f"Marked as spoiled, so kept but not used: what was measured of {two}." in late.output


def test_a_reading_without_its_instrument_can_be_mended(run: Run, planned: Path) -> None:
    """The first entry forgot the instrument; correcting it is no second series; the same fault is told once."""
    one, two, three = codes(planned)[:3]
    reading = ("-L", "30", "-a", "5", "-b", "6")
    assert run("colour", "plaques", one, *reading).exit_code == 0
    form = planned / "colour.csv"
    form.write_text("tile,on,L,a,b,instrument\n" + "".join(f"{t},{days_ago(1)},30,5,6,sphere\n" for t in (two, three)))
    refused = run("enter", "plaques")
    assert refused.exit_code == 2
    assert "colour.csv, lines 2 to 3: " in refused.output
    assert "instrument blank to sphere" in run("colour", "plaques", one, "--instrument", "sphere", *reading).output
    assert "Stored: 2 colour readings." in run("enter", "plaques").output


def test_rows_being_mended_are_not_written_over(run: Run, planned: Path) -> None:
    """--keep-good a second time leaves the file that somebody is mending alone."""
    one = codes(planned)[0]
    (planned / "rub-KL.csv").write_text(f"tile,scorer,on,grade\n{one},KL,{days_ago(1)},9\n")
    run("enter", "plaques", "--keep-good")
    mend = planned / "rub-KL.mend.csv"
    mend.write_text(mend.read_text(encoding="utf-8-sig").replace(",9", ",2"))
    run("enter", "plaques", "--keep-good")
    assert ",2" in mend.read_text()
    assert (planned / "rub-KL-2.mend.csv").exists()


def test_forms_with_other_endings_are_read_or_named(run: Run, planned: Path) -> None:
    """.CSV is CSV; a spreadsheet's own file is named with what to do."""
    one = codes(planned)[0]
    (planned / "rub-KL.CSV").write_text(f"tile,scorer,on,grade\n{one},KL,{days_ago(1)},4\n")
    (planned / "rub-MB.xlsx").write_bytes(b"PK")
    result = run("enter", "plaques")
    assert "Stored: 1 rub grade." in result.output
    assert "Not read: rub-MB.xlsx is not a CSV file. Save it as CSV in your spreadsheet" in result.output


def test_a_mistyped_folder_does_not_say_that_all_is_well(run: Run, tmp_path: Path) -> None:
    """Nothing is due in a folder that does not exist is no answer."""
    result = run("--folder", str(tmp_path / "nowhere"), "due")
    assert result.exit_code == 2
    assert "There is no folder" in result.output


def test_a_study_file_with_other_factors_than_its_records_is_refused(run: Run, planned: Path) -> None:
    """A renamed factor after records is one clear sentence in every command."""
    run("made", "plaques", codes(planned)[0])
    study = planned / "study.toml"
    study.write_text(study.read_text().replace('name = "dip_time"', 'name = "soak"'))
    for command in ("plan", "pack", "drivers", "handout", "enter"):
        result = run(command, "plaques")
        assert result.exit_code == 2, command
        assert (
            "The study file of plaques has soak, which its plan does not, and has no dip_time, which its plan has. Put the "
            "factors back as they were (tiles were recorded with them), or start a new study."
        ) in result.output


def test_planning_again_keeps_to_the_limits(run: Run, planned: Path) -> None:
    """With records, a new seed is refused and a changed grid must fit beside what was made."""
    run("made", "plaques", codes(planned)[0])
    seed = run("plan", "plaques", "--seed", "99")
    assert seed.exit_code == 2
    assert "1 tile of plaques has records, so the order is not drawn anew." in seed.output
    study = planned / "study.toml"
    study.write_text(
        study.read_text().replace("levels = [1, 4]", "levels = [1, 2]").replace("tiles = 40", "tiles = 36")
    )
    result = run("plan", "plaques", "--anew")
    assert result.exit_code == 1
    assert "the new grid would add 36 tiles: 37 in all, limit 36." in result.output
