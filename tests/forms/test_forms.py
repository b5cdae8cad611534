"""The CSV forms."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.strategies import plans, studies

from tilestudy.errors import WrongRequestError
from tilestudy.study.forms import (
    FORM_KINDS,
    FormReading,
    decode,
    header_of,
    kind_of,
    nearest_codes,
    read_entry,
    read_form,
    read_grade,
    read_tiles,
    write_form,
    write_tiles,
)
from tilestudy.study.records import (
    Batch,
    BatchLog,
    Factor,
    Made,
    Plan,
    Reading,
    Response,
    Rub,
    RubPlan,
    Study,
    Tile,
    Value,
)

TODAY = date(2026, 12, 1)
DAY = date(2026, 11, 24)
STUDY = Study(
    "door-plaques",
    "",
    "sulfide-dip",
    (
        Factor("strength", (1.0, 3.0, 9.0), "g/L", "g/L", "geometric", "batch"),
        Factor("dip_time", (10.0, 90.0), "s", "s"),
        Factor("finish", ("brushed", "sanded"), spacing="steps"),
    ),
    rub=RubPlan("cloth-10", ("dry", "wet")),
    responses=(Response("gloss", "GU"),),
)
MILD = {"strength": 3.0, "dip_time": 45.0, "warmth": 20.0}
ONE_RUB = replace(STUDY, rub=RubPlan("cloth-10"))


def tile(code: str, batch: str, order: int, strength: float = 1.0) -> Tile:
    return Tile(code, batch, 1, order, {"strength": strength, "dip_time": 10.0, "finish": "brushed"})


PLAN = Plan(
    "door-plaques",
    1,
    (Batch("B1", 1, 1, {"strength": 1.0}), Batch("B2", 1, 2, {"strength": 9.0})),
    (tile("A3", "B1", 1), tile("KO", "B1", 2), tile("K7", "B2", 1, 9.0)),
)


def read(kind: str, text: str, study: Study = STUDY, plan: Plan = PLAN, **more: object) -> FormReading:
    return read_form(kind, text, "form.csv", study, plan, TODAY, **more)  # type: ignore[arg-type]


def faults(reading: FormReading) -> list[str]:
    return [str(fault) for fault in reading.faults]


# --- messy spreadsheets -----------------------------------------------------------------------------------------


def test_it_reads_a_spreadsheet_as_it_comes() -> None:
    """Byte-order mark, notes, semicolons, CRLF, decimal commas, trailing blanks and columns, odd headings."""
    raw = (
        "\ufeff# tray 2, read in daylight\r\n"
        '"# second note";;;\r\n'
        "\r\n"
        " Tile ;Stage;ON; L* ;a*;b*;Spot;Observer;;\r\n"
        "A3 ;Cured;24.11.2026;45,5 ; −3,25;2;1;10°;;\r\n"
        ";;;;;;;;;\r\n"
        '"ko";;24 Nov 2026;"46";1;2\xa0;2;;;\r\n'
    ).encode()
    reading = read("colour", decode(raw))
    assert faults(reading) == []
    assert reading.records == (
        (Reading("A3", "cured", DAY, 45.5, -3.25, 2.0, 1), 5),
        (Reading("KO", "cured", DAY, 46.0, 1.0, 2.0, 2), 7),
    )
    assert (reading.blank_rows, reading.bad_rows) == (0, "")


def test_it_reads_tabs_old_mac_lines_and_windows_letters() -> None:
    """Tabs, carriage returns alone, and bytes of Windows-1252."""
    raw = "tile\ton\tactual finish\tnote\rA3\t2026-11-24\tSANDED\tcafé brown\r".encode("cp1252")
    reading = read("made", decode(raw))
    assert reading.records == ((Made("A3", DAY, actual={"finish": "sanded"}, note="café brown"), 2),)
    assert decode("tile\nÄ1".encode("utf-16")) == "tile\nÄ1"


def test_it_counts_lines_as_an_editor_shows_them() -> None:
    """A quoted cell of two lines moves the lines below it."""
    text = 'tile,on,note\nA3,2026-11-24,"first\nsecond"\nZ9,2026-11-24,\n'
    reading = read("made", text)
    assert reading.records == ((Made("A3", DAY, note="first second"), 2),)
    assert faults(reading) == [
        'form.csv, line 4: tile "Z9" is not known. Look at the stamp again; the study has 3 tiles.'
    ]
    assert reading.bad_rows == "tile,on,note\nZ9,2026-11-24,\n"


def test_it_keeps_the_rows_below_an_unclosed_quotation_mark() -> None:
    """They cannot be read, but go with the rows to mend."""
    reading = read("made", 'tile,on,note\nK7,2026-11-24,\nA3,2026-11-24,"first\nKO,2026-11-24,\n')
    assert reading.records == ((Made("K7", DAY), 2),)
    assert faults(reading) == [
        "form.csv, line 3: a quotation mark is opened here and not closed, so nothing below can be read. Close it, or "
        "take it away."
    ]
    assert reading.bad_rows == 'tile,on,note\nA3,2026-11-24,"first\nKO,2026-11-24,\n'


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", ["form.csv: the file is empty. Fill it in, or take it away."]),
        (
            "tile,scorer,on,garde\nA3,KL,2026-11-24,4\n",
            [
                'form.csv: the column "grade" is missing. Add it; this form needs tile, scorer, on and grade.',
                'form.csv, line 1: the column "garde" is not known. Did you mean "grade"?',
            ],
        ),
        (
            "tile,scorer,date,grade,on,colour of eyes\nA3,KL,2026-11-24,4,2026-11-24,\n",
            [
                'form.csv, line 1: the column "date" is not known. Did you mean "on"?',
                'form.csv, line 1: the column "colour_of_eyes" is not known. Known here: tile, batch, scorer, on, grade, '
                "condition, protocol, strokes, broke_through, round.",
            ],
        ),
        (
            "tile,scorer,on,grade,Grade\nA3,KL,2026-11-24,4,5\n",
            ['form.csv, line 1: the column "grade" is there twice. Keep one of them.'],
        ),
        (
            "tile,scorer,on,grade\nA3,KL,2026-11-24,4,smudged\n",
            [
                'form.csv, line 2: "smudged" stands in a column without a name. Give the column a name, or move it.',
            ],
        ),
    ],
)
def test_it_lists_what_is_wrong_with_the_columns(text: str, expected: list[str]) -> None:
    """A fault of the header leaves no row good: what stands in an unknown column would be lost."""
    reading = read("rub", text, ONE_RUB)
    assert faults(reading) == expected
    assert reading.records == ()
    assert reading.bad_rows == text


# --- the kinds --------------------------------------------------------------------------------------------------


def test_it_reads_what_was_done_to_tiles() -> None:
    """Actual settings in any unit, spoiled tiles, replacements that have a row of their own, another batch."""
    reading = read(
        "made",
        "tile,batch,planned_dip_time,on,actual_dip_time (min),spoiled,why,replaced_by,by\n"
        "A3,B1,10 s,2026-11-24,1.5,X,fell in,c4,KL\n"
        "c4,B1,10 s,2026-11-24,45 s,,,,\n"
        "KO,B2,10 s,2026-11-24,,no,,,\n"
        "K7,B2,10 s,,,,,,\n",
    )
    assert faults(reading) == []
    assert reading.records == (
        (Made("A3", DAY, "", {"dip_time": 90.0}, True, "fell in", "c4", "KL"), 2),
        (Made("c4", DAY, "", {"dip_time": 45.0}), 3),
        (Made("KO", DAY, "B2"), 4),
    )
    assert reading.blank_rows == 1


def test_it_lists_every_fault_of_a_made_form() -> None:
    """All of them, each with its line."""
    reading = read(
        "made",
        "tile,batch,on,actual_dip_time,actual_finish,spoiled,why,replaced_by\n"
        "A3,B9,2026-11-24,zz,bruhsed,,fell,K7\n"
        "KO,,,-5,,perhaps,,\n"
        "K7,,2026-11-24,45 g,,yes,,K7\n"
        ',,2026-11-24,"1,234",,,,\n'
        "Z9,,,,,,,\n",
        taken={"X3"},
    )
    assert faults(reading) == [
        'form.csv, line 2: actual dip time: "zz" does not start with a number. Write it like "45 s" or "1/4 tsp per '
        'cup".',
        'form.csv, line 2: actual finish: "bruhsed" is not a level of finish; the study file has brushed, sanded.',
        'form.csv, line 2: batch "B9" is not known. Did you mean B1 or B2?',
        "form.csv, line 2: why is filled in, but the tile is not marked as spoiled. Write yes in the column spoiled, or "
        "empty the column why.",
        "form.csv, line 2: replaced by is filled in, but the tile is not marked as spoiled. Write yes in the column "
        "spoiled, or empty the column replaced_by.",
        "form.csv, line 2: tile K7 cannot replace A3: it is a planned tile itself. Take a code not yet used.",
        'form.csv, line 3: spoiled "perhaps" is neither yes nor no. Write yes or no, or leave it empty.',
        "form.csv, line 3: there is no date in the column on. Write it like 2026-12-01.",
        'form.csv, line 3: actual dip time: "-5" is below zero, which dip time cannot be.',
        'form.csv, line 4: actual dip time: "45 g" is not a setting of dip time, which is given in s.',
        "form.csv, line 4: tile K7 cannot replace itself. Write the code of the new tile.",
        "form.csv, line 5: there is no tile code in this row. Write the code stamped on its back.",
        'form.csv, line 5: actual dip time: "1,234" could be 1.234 or 1234. Write it without the comma.',
        'form.csv, line 6: tile "Z9" is not known. Look at the stamp again; the study has 3 tiles.',
    ]
    taken = read("made", "tile,on,spoiled,replaced_by\nA3,2026-11-24,yes,x3\n", taken={"X3"})
    assert faults(taken) == ["form.csv, line 2: tile code x3 is already used in the studio. Take a code not yet used."]


def test_it_reads_batch_logs() -> None:
    """Times of day, a discard time on the day the batch was made, actual settings of per-batch factors."""
    reading = read(
        "batches",
        "batch,session,planned_strength,made_at,discarded_at,actual_strength,by,note\n"
        "b1,1,1 g/L,24.11.2026 10:15,12.40,1.1,KL,clear\n"
        "B2,1,9 g/L,,,,MJ,\n",
    )
    assert reading.records == (
        (
            BatchLog(
                *(
                    "B1",
                    datetime(2026, 11, 24, 10, 15),
                    datetime(2026, 11, 24, 12, 40),
                    {"strength": 1.1},
                    "KL",
                    "clear",
                )
            ),
            2,
        ),
    )
    assert (faults(reading), reading.blank_rows) == ([], 1)


def test_it_lists_every_fault_of_batch_logs() -> None:
    """Unknown batches, times the wrong way round, a per-tile factor."""
    reading = read(
        "batches",
        "batch,made_at,discarded_at,actual_dip_time\n"
        "B1,2026-11-24 10:15,2026-11-24 09:00,\nB1,2026-11-24 10:15,,\nB7,2026-11-24,,\n,,,4\n",
    )
    assert faults(reading) == [
        'form.csv, line 1: the column "actual_dip_time" is not known. dip time is set per tile; write it in the made '
        "form.",
        "form.csv, line 2: discarded at 2026-11-24 09:00 is before made at 2026-11-24 10:15. Correct one of them.",
        "form.csv, line 3: batch B1 is already on line 2. Keep one of the two rows.",
        'form.csv, line 4: batch "B7" is not known. Did you mean B1 or B2?',
        'form.csv, line 4: "2026-11-24" has no time of day. Write date and time, like 2026-12-01 10:15.',
        "form.csv, line 5: there is no batch code in this row. Write it as the plan has it.",
    ]
    assert reading.records == ()


def test_it_lists_every_fault_of_colour_readings() -> None:
    """Ranges, stages, spots, doubles, half-filled rows and a second instrument."""
    reading = read(
        "colour",
        "tile,batch,stage,on,spot,L,a,b,instrument\n"
        "A3,B1,cured,2026-11-24,1,45,3,2,sphere 1\n"
        "A3,B1,cured,2026-11-24,1,46,3,2,\n"
        "KO,B2,cooked,2026-11-24,0,145,3,,sphere 2\n"
        "K7,,,,1.5,x,900,2,\n"
        "K7,,,,,,,,\n",
    )
    assert faults(reading) == [
        "form.csv, line 3: tile A3, stage cured, spot 1 is already on line 2. Keep one of the two rows, or number the "
        "spots in the column spot.",
        "form.csv, line 4: tile KO belongs to batch B1, not B2. Correct the tile or the batch.",
        'form.csv, line 4: stage "cooked" is not known. Write one of bare, fresh, cured, sealed, aged or rubbed.',
        'form.csv, line 4: spot "0" is too small: it should be 1 or more.',
        "form.csv, line 4: L 145 is out of range: L* runs from 0 to 100. Check the typing, and that the columns are not "
        "swapped.",
        "form.csv, line 4: b is empty. A reading needs L, a and b.",
        'form.csv, line 4: instrument "sphere 2" differs from "sphere 1", as the other readings of this study have it. '
        "Readings of different instruments or viewing conditions are not comparable and are never mixed. Correct it, or "
        "enter these readings in a study of their own, or keep them beside the others as a series of their own with "
        "--series NAME (in a form, the column series).",
        "form.csv, line 5: there is no date in the column on. Write it like 2026-12-01.",
        'form.csv, line 5: spot "1.5" is not a whole number. Write it like 1.',
        'form.csv, line 5: L "x" is not a number. Write it like 12.5.',
        "form.csv, line 5: a 900 is out of range: a* runs from -150 to 150. Check the typing, and that the columns are "
        "not swapped.",
    ]
    assert reading.records == ()
    assert reading.blank_rows == 1


def test_it_never_mixes_a_second_series_into_the_study() -> None:
    """Blank conditions are those already known; others are a fault."""
    text = "tile,on,L,a,b,illuminant,observer\nA3,2026-11-24,45,3,2,d65,2 deg\nKO,2026-11-24,45,3,2,,\n"
    known = ("sphere 1", "d/8", "D65", "2")
    reading = read("colour", text, series={"": known})
    assert [record.conditions for record, _ in reading.records if isinstance(record, Reading)] == [known, known]
    other = read("colour", text, series={"": ("sphere 1", "d/8", "D50", "2")})
    assert faults(other) == [
        'form.csv, line 2: illuminant "d65" differs from "D50", as the other readings of this study have it. Readings of '
        "different instruments or viewing conditions are not comparable and are never mixed. Correct it, or enter these "
        "readings in a study of their own, or keep them beside the others as a series of their own with --series NAME (in "
        "a form, the column series)."
    ]


def test_it_keeps_series_apart() -> None:
    """Each series has conditions of its own; names are one whatever their case; "own" is the study's; odd names are faults."""
    text = (
        "tile,on,L,a,b,instrument,illuminant,series\nA3,2026-11-24,45,3,2,,,own\nA3,2026-11-24,46,3,2,strip 2,D50,Old  strip\n"
        "KO,2026-11-24,46,3,2,,,old STRIP\nKO,2026-11-24,46,3,2,,A,\nK7,2026-11-24,46,3,2,sphere 1,d50,old strip\n"
        "K7,2026-11-24,46,3,2,,,../x\n"
    )
    own = ("sphere 1", "d/8", "D65", "10")
    reading = read("colour", text, series={"": own})
    found = [record for record, _ in reading.records if isinstance(record, Reading)]
    strip = ("strip 2", "", "D50", "10")
    assert [(one.tile, one.series, one.conditions) for one in found] == [
        ("A3", "", own),
        ("A3", "Old strip", strip),
        ("KO", "Old strip", strip),
    ]
    assert [fault.line for fault in reading.faults] == [5, 6, 7]
    assert 'as the other readings of the series "Old strip" have it' in reading.faults[1].what
    assert reading.faults[2].what == (
        '"../x" is no name for a series. Write a word or two of letters and digits, such as photo 1, at most 30 letters.'
    )


def test_it_takes_no_typed_reading_for_one_of_a_photo() -> None:
    """In a study measured in photos, a reading without instrument is asked for it."""
    photos = {"": ("photo", "24 patches", "D50", "2")}
    reading = read("colour", "tile,on,L,a,b\nA3,2026-11-24,45,3,2\n", series=photos)
    assert faults(reading) == [
        "form.csv, line 2: the readings of this study were measured in photos, and this one is typed in without its "
        "instrument. Write the instrument, and keep it beside the photos as a series of its own with --series NAME (in a "
        "form, the column series)."
    ]


def test_it_reads_values_long_and_wide() -> None:
    """A row for each response, or a column for each; one response needs no name."""
    two = replace(STUDY, responses=(Response("gloss", "GU"), Response("mass_loss", "g")))
    one = read("values", "tile,on,value,repeat\nA3,2026-11-24,12,\nA3,2026-11-24,13,2\nKO,,,\n")
    assert one.records == ((Value("A3", "gloss", DAY, 12.0), 2), (Value("A3", "gloss", DAY, 13.0, 2), 3))
    assert one.blank_rows == 1
    long = read("values", "tile,response,on,value\nA3,Mass loss,2026-11-24,0.5\n", two)
    assert long.records == ((Value("A3", "mass_loss", DAY, 0.5), 2),)
    wide = read("values", "tile,on,gloss (GU),mass loss\nA3,2026-11-24,12,0.5\nKO,2026-11-24,,0.25\n", two)
    assert wide.records == (
        (Value("A3", "gloss", DAY, 12.0), 2),
        (Value("A3", "mass_loss", DAY, 0.5), 2),
        (Value("KO", "mass_loss", DAY, 0.25), 3),
    )


@pytest.mark.parametrize(
    ("text", "responses", "expected"),
    [
        (
            "tile,on\nA3,2026-11-24\n",
            ("gloss", "mass_loss"),
            ["form.csv: there is no column with values. Add the column value, or a column gloss or mass_loss."],
        ),
        (
            "tile,on,value\nA3,2026-11-24,4\n",
            ("gloss", "mass_loss"),
            [
                'form.csv: the column "response" is missing, and the study has several responses: gloss and mass_loss. '
                "Add it.",
                "form.csv, line 2: there is no response in this row. Write gloss or mass_loss.",
            ],
        ),
        (
            "tile,on,value,gloss\nA3,2026-11-24,4,4\n",
            ("gloss",),
            [
                'form.csv, line 1: there are both the column "gloss" and the columns value or response. Keep one way: a '
                "column for each response, or the columns response and value.",
            ],
        ),
        (
            "tile,on,gloss (percent)\nA3,2026-11-24,4\n",
            ("gloss",),
            [
                "form.csv, line 1: gloss is given in percent, but the study keeps it in GU. Turn the numbers into GU.",
            ],
        ),
        (
            "tile,on,value\nA3,2026-11-24,4\n",
            (),
            ["form.csv: the study declares no response. Add [[response]] with a name to the study file first."],
        ),
        (
            'tile,response,on,value,repeat\nA3,glos,2026-11-24,4,\nA3,gloss,2026-11-24,high,0\nKO,gloss,2026-11-24,"1,234",'
            "\nK7,gloss,2026-11-24,4,\nK7,gloss,2026-11-24,4,\n",
            ("gloss", "mass_loss"),
            [
                'form.csv, line 2: response "glos" is not known. Did you mean gloss?',
                'form.csv, line 3: repeat "0" is too small: it should be 1 or more.',
                'form.csv, line 3: value "high" is not a number. Write it like 12.5.',
                'form.csv, line 4: value "1,234" could be 1.234 or 1234. Write it without the comma.',
                "form.csv, line 6: tile K7, gloss, repeat 1 is already on line 5. Keep one of the two rows, or number "
                "the repeats in the column repeat.",
            ],
        ),
    ],
)
def test_it_lists_every_fault_of_values(text: str, responses: tuple[str, ...], expected: list[str]) -> None:
    """Shape, names, units, numbers, doubles."""
    study = replace(STUDY, responses=tuple(Response(name, "GU" if name == "gloss" else "g") for name in responses))
    reading = read("values", text, study)
    assert faults(reading) == expected
    assert reading.records == ()


def test_it_reads_rub_grades() -> None:
    """Half grades as the staining scale writes them, decimal commas, the study's condition and protocol."""
    reading = read(
        "rub",
        "tile;scorer;on;grade;strokes;broke through\n"
        "A3;kl;24.11.2026;4-5;10;no\nKO;KL;24.11.2026;3,5;7;yes\nK7;KL;24.11.2026;5;;\n",
        ONE_RUB,
    )
    assert faults(reading) == []
    assert [record for record, _ in reading.records] == [
        Rub("A3", "KL", DAY, 4.5, "dry", "cloth-10", 10, False),
        Rub("KO", "KL", DAY, 3.5, "dry", "cloth-10", 7, True),
        Rub("K7", "KL", DAY, 5.0, "dry", "cloth-10"),
    ]


def test_it_keeps_later_rub_tests_of_a_tile_beside_the_first() -> None:
    """The column round numbers them; an empty cell is the first, and a number below 1 is a fault."""
    text = "tile,scorer,on,grade,Round\nA3,KL,2026-10-24,4.5,\nA3,KL,2026-11-24,3,2\n"
    reading = read("rub", text, ONE_RUB)
    assert [(one.on.month, one.grade, one.round) for one, _ in reading.records if isinstance(one, Rub)] == [
        (10, 4.5, 1),
        (11, 3.0, 2),
    ]
    assert faults(read("rub", text.replace("4.5,", "4.5,0"), ONE_RUB)) == [
        'form.csv, line 2: round "0" is too small: it should be 1 or more.'
    ]


def test_it_lists_every_fault_of_rub_grades() -> None:
    """All of them, and the rows to mend with the header."""
    text = (
        "# note\n"
        "Tile;Scorer;On;Grade;condition;strokes;broke through;protocol\n"
        "A3;kl;24.11.2026;4-5;dry;10;no;\n"
        "K0;kl;3/4/2026;6;dry;-1;;\n"
        "K7;KL;1.1.2027;four;dry;;;cloth-1O\n"
        "A3;KL;24.11.2026;3,25;wet;;;\n"
        "a3;KL;24.11.2026;4,5;dry;;;\n"
        "K7;a name of many letters;24.11.2026;4;;x;yes;\n"
        "KO;;24.11.2026;;damp;4;yes;\n"
        "K7;KL;24.11.2026;5;dry;;yes;\n"
    )
    reading = read("rub", text, protocols=("cloth-10", "cloth-50"))
    assert faults(reading) == [
        'form.csv, line 4: tile "K0" is not known. Did you mean KO?',
        'form.csv, line 4: "3/4/2026" could be 3 April 2026 or 4 March 2026. Write 2026-04-03 or 2026-03-04, or set the '
        "studio's date order.",
        "form.csv, line 4: grade 6 is outside the scale, which runs from 1 (heavy stain) to 5 (no stain). Look at the "
        "cloth again, or check the typing.",
        'form.csv, line 4: strokes "-1" is too small: it should be 0 or more.',
        'form.csv, line 5: "1.1.2027" (1 January 2027) is in the future: today is 1 December 2026. Check day, month and '
        "year.",
        'form.csv, line 5: grade "four" is not a number. Write 1 to 5 in half steps, such as 4 or 4.5 ("4-5" is read as '
        "4.5).",
        'form.csv, line 5: protocol "cloth-1O" is not known. Did you mean cloth-10?',
        "form.csv, line 6: grade 3,25 is not a half step. Write 3 or 3.5.",
        "form.csv, line 7: tile A3, dry, scorer KL, round 1 is already on line 3. Keep one of the two rows, or number the "
        "rub tests of the tile in the column round.",
        'form.csv, line 8: scorer "a name of many letters" is longer than 12 characters. Write initials or a mark, not a '
        "name.",
        "form.csv, line 8: there is no condition. Write dry or wet.",
        'form.csv, line 8: strokes "x" is not a number. Write it like 1.',
        "form.csv, line 9: there is no scorer. Write the initials or mark of whoever graded the cloth.",
        "form.csv, line 9: there is no grade. Write 1 to 5 in half steps.",
        'form.csv, line 9: condition "damp" is not known. Write dry or wet.',
        "form.csv, line 10: broke through is yes, but there are no strokes. Write at which stroke bare metal first "
        "showed.",
    ]
    assert reading.records == ()
    assert reading.bad_rows == text.removeprefix("# note\n")
    dry_only = read("rub", "tile,scorer,on,grade,condition\nA3,KL,2026-11-24,4,wet\n", ONE_RUB)
    assert faults(dry_only) == [
        'form.csv, line 2: the study asks for dry rubs only, not for wet ones. Correct it, or add "wet" to conditions '
        "under [rub] in the study file."
    ]
    none = read("rub", "tile,scorer,on,grade,condition\nA3,KL,2026-11-24,4,dry\n", replace(STUDY, rub=None))
    assert faults(none) == [
        "form.csv: the study asks for no rub test. Add [rub] with a protocol to the study file first.",
        "form.csv, line 2: there is no protocol. Write which rub test was done.",
    ]


def test_it_gives_the_good_rows_and_keeps_the_bad_ones_apart() -> None:
    """For storing the good ones and mending the others."""
    reading = read("rub", "tile,scorer,on,grade\nA3,KL,2026-11-24,4\nKO,KL,2026-11-24,6\n", ONE_RUB)
    assert [record.key for record, _ in reading.records] == [("A3", "cloth-10", "dry", "KL", "1")]
    assert reading.bad_rows == "tile,scorer,on,grade\nKO,KL,2026-11-24,6\n"
    mended = read("rub", reading.bad_rows.replace(",6", ",5"), ONE_RUB)
    assert mended.records == ((Rub("KO", "KL", DAY, 5.0, "dry", "cloth-10"), 2),)


@pytest.mark.parametrize(
    ("text", "grade"),
    [("1", 1.0), ("5.0", 5.0), ("4-5", 4.5), ("3/4", 3.5), ("1–2", 1.5), ("2,5", 2.5), (" 4 ", 4.0)],
)
def test_it_reads_grades(text: str, grade: float) -> None:
    """Whole and half grades, however written."""
    assert read_grade(text) == grade


@pytest.mark.parametrize("text", ["05-Apr", "4-May", "Apr-05", "2026-05-04", "04-May-26"])
def test_it_knows_grades_that_became_dates(text: str) -> None:
    """A spreadsheet turns 4-5 into a date; the fault says so."""
    with pytest.raises(WrongRequestError) as caught:
        read_grade(text)
    assert str(caught.value) == (
        f'grade "{text}" has become a date in the spreadsheet. For the grade between 4 and 5 write 4.5.'
    )


@pytest.mark.parametrize("text", ["0", "-3", "3-5", "5-4", "five", "4.75", "1e9", "nan", "4..5", ""])
def test_it_refuses_what_is_no_grade(text: str) -> None:
    """Never rounded, never guessed."""
    with pytest.raises(WrongRequestError):
        read_grade(text)


def test_it_checks_a_typed_entry_by_the_same_rules() -> None:
    """The same faults, without a line; good ones give the record."""
    good = read_entry("rub", {"tile": "a3", "scorer": "kl", "on": "2026-11-24", "grade": "4-5"}, ONE_RUB, PLAN, TODAY)
    assert good.records == ((Rub("A3", "KL", DAY, 4.5, "dry", "cloth-10"), None),)
    bad = read_entry("rub", {"tile": "A4", "grade": "6", "on": "2026-11-24"}, ONE_RUB, PLAN, TODAY, place="--grade")
    assert faults(bad) == [
        '--grade: tile "A4" is not known. Did you mean A3?',
        "--grade: there is no scorer. Write the initials or mark of whoever graded the cloth.",
        "--grade: grade 6 is outside the scale, which runs from 1 (heavy stain) to 5 (no stain). Look at the cloth "
        "again, or check the typing.",
    ]
    for call in (lambda: read_entry("rubs", {}, STUDY, PLAN, TODAY), lambda: read("tiles", ""), lambda: form("tiles")):
        with pytest.raises(WrongRequestError):
            call()


def form(kind: str) -> str:
    return write_form(kind, STUDY, PLAN)


# --- a list of existing tiles -----------------------------------------------------------------------------------


def test_it_takes_in_existing_tiles() -> None:
    """Sessions by name, settings in any unit, orders by place; the per-batch setting goes to the batch."""
    reading = read_tiles(
        "tile,batch,session,Strength,dip time (min),finish,reference\n"
        "A3,heat 2,II,9,1.5,Sanded,\nC4,heat 1,I,1 g/L,10 s,brushed,yes\nE7,HEAT 2,II,9,0.5,sanded,\n",
        "tiles.csv",
        STUDY,
    )
    assert reading.faults == ()
    heat_2, heat_1 = Batch("heat 2", 1, 1, {"strength": 9.0}), Batch("heat 1", 2, 2, {"strength": 1.0})
    assert reading.plan == Plan(
        "door-plaques",
        0,
        (heat_2, heat_1),
        (
            Tile("A3", "heat 2", 1, 1, {"strength": 9.0, "dip_time": 90.0, "finish": "sanded"}),
            Tile("E7", "heat 2", 1, 2, {"strength": 9.0, "dip_time": 30.0, "finish": "sanded"}),
            Tile("C4", "heat 1", 2, 1, {"strength": 1.0, "dip_time": 10.0, "finish": "brushed"}, True),
        ),
        taken_in=True,
    )


def test_it_keeps_numbered_sessions_and_given_orders() -> None:
    """Numbers are kept as written; the run order is the one given."""
    reading = read_tiles(
        "tile,batch,session,order,strength,dip_time,finish\nA3,B1,2,2,1,10,sanded\nC4,B1,2,1,1,20,sanded\n",
        "tiles.csv",
        STUDY,
    )
    assert reading.plan is not None
    assert [(tile.code, tile.session, tile.order) for tile in reading.plan.tiles] == [("C4", 2, 1), ("A3", 2, 2)]


def test_it_lists_every_fault_of_a_tile_list() -> None:
    """Doubles, unreadable settings, unknown levels, two settings in a batch, a batch in two sessions, gaps."""
    reading = read_tiles(
        "tile,batch,session,order,strength,dip_time,finish\n"
        "A3,B1,I,1,1,45 s,brushed\n"
        "a3,B1,I,x,9 g/L,a while,bruhsed\n"
        "C4,b1,II,,9,2,\n"
        ",,,,1,2,sanded\n",
        "tiles.csv",
        STUDY,
    )
    assert reading.plan is None
    assert [str(fault) for fault in reading.faults] == [
        "tiles.csv, line 3: tile a3 is already on line 2. Give each tile a code of its own.",
        'tiles.csv, line 3: dip time: "a while" does not start with a number. Write it like "45 s" or "1/4 tsp per '
        'cup".',
        'tiles.csv, line 3: finish: "bruhsed" is not a level of finish; the study file has brushed, sanded.',
        'tiles.csv, line 3: order "x" is not a number. Write it like 1.',
        "tiles.csv, line 3: strength is set per batch, but batch B1 has 1 g/L (tile A3) and 9 g/L (tiles a3, C4). "
        "Correct the setting, or give what was made apart a batch of its own.",
        "tiles.csv, line 4: finish is empty. Write how it was set for this tile.",
        "tiles.csv, line 4: batch B1 is in session I and here in session II. A batch belongs to one session; correct it, "
        "or give the second batch its own code.",
        "tiles.csv, line 5: there is no session in this row, though the file has that column.",
        "tiles.csv, line 5: there is no tile code in this row. Each tile needs one.",
        "tiles.csv, line 5: there is no batch code in this row. Each tile needs one.",
    ]
    header = read_tiles("tile,batch,strenght,dip_time\n", "tiles.csv", STUDY)
    needs = "Add it; this form needs tile, batch, strength, dip_time and finish."
    assert [str(fault) for fault in header.faults] == [
        f'tiles.csv: the column "strength" is missing. {needs}',
        f'tiles.csv: the column "finish" is missing. {needs}',
        "tiles.csv: there are no tiles in this file. Write one row for each tile.",
        'tiles.csv, line 1: the column "strenght" is not known. Did you mean "strength"?',
    ]


def test_it_wants_one_setting_within_a_session() -> None:
    """A factor set per session differs between sessions only."""
    study = replace(STUDY, factors=(Factor("warmth", (20.0, 65.0), "degC", "degC", set_per="session"),))
    reading = read_tiles("tile,batch,warmth\nA3,B1,20\nC4,B2,65\n", "tiles.csv", study)
    assert [str(fault) for fault in reading.faults] == [
        "tiles.csv, line 3: warmth is set per session, but session 1 has 20 °C (tile A3) and 65 °C (tile C4). Correct the "
        "setting, or give what was made apart a session of its own."
    ]


# --- blank forms, names, whatever is typed ----------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(study=studies(), plan=plans(), kind=st.sampled_from(FORM_KINDS[1:]), spots=st.integers(1, 3))
def test_it_reads_its_own_blank_forms_as_not_yet_filled(study: Study, plan: Plan, kind: str, spots: int) -> None:
    """A blank form has no record and no fault, and a row for each tile, batch, condition or response."""
    text = write_form(kind, study, plan, spots=spots, scorer="KL")
    rows = {
        "made": len(plan.tiles),
        "batches": len(plan.batches),
        "colour": len(plan.tiles) * spots,
        "values": len(plan.tiles) * len(study.responses),
        "rub": 0 if study.rub is None else len(plan.tiles) * len(study.rub.conditions),
    }
    reading = read(kind, text, study, plan)
    assert (reading.records, reading.blank_rows) == ((), rows[kind])
    if (kind != "rub" or study.rub is not None) and (kind != "values" or study.responses):
        assert reading.faults == ()
    assert kind_of("form.csv", header_of(text)) == kind_of(f"{kind}.csv") == kind


def test_it_names_what_is_not_yet_filled() -> None:
    """The tile or batch of each row left blank, as the plan spells it; a row may name none."""
    assert read("colour", "tile,on,L,a,b\na3,,,,\nA3,,,,\nC4,2026-11-24,31,4,5\n,x,,,\n").blank == ("A3", "A3", "")
    assert read("batches", "batch,made_at\nb1,\n").blank == ("B1",)


@settings(max_examples=20, deadline=None)
@given(study=studies(), plan=plans())
def test_it_reads_its_own_tile_list(study: Study, plan: Plan) -> None:
    """Every tile comes back with its batch, session, order, settings and reference mark."""
    plan = replace(plan, tiles=tuple(replace(tile, settings={**MILD, "finish": "sanded"}) for tile in plan.tiles))
    reading = read_tiles(write_tiles(study, plan), "tiles.csv", study)
    if not plan.tiles:
        assert reading.plan is None
    else:
        assert reading.plan is not None, reading.faults
        assert reading.plan.tiles == plan.tiles


cells = st.text(max_size=12) | st.sampled_from(
    ["A3", "K7", "B1", "2026-11-24", "3/4/26", "4-5", "1,234", "-0", "1e400", "45 s", "1/0", '"', "x", "∞", "٣", "²"]
)


@settings(max_examples=150, deadline=None)
@given(
    kind=st.sampled_from(FORM_KINDS),
    header=st.lists(
        st.sampled_from(
            [
                "tile",
                "batch",
                "session",
                "order",
                "on",
                "L",
                "a",
                "b",
                "stage",
                "spot",
                "grade",
                "scorer",
                "value",
                "response",
                "repeat",
                "made_at",
                "actual_dip_time",
                "strength",
                "dip_time",
                "finish",
                "spoiled",
                "replaced_by",
                "strokes",
                "broke_through",
                "condition",
                "instrument",
                "gloss",
            ]
        )
        | cells,
        max_size=12,
    ),
    rows=st.lists(st.lists(cells, max_size=12), max_size=5),
    mark=st.sampled_from(",;\t"),
    noise=st.text(max_size=40),
)
def test_it_never_fails_on_any_text(kind: str, header: list[str], rows: list[list[str]], mark: str, noise: str) -> None:
    """Whatever the file holds there are records or faults, each row is accounted for, and no exception."""
    for text in (noise, "\n".join(mark.join(row) for row in [header, *rows]) + noise):
        assert kind_of("x.csv", header_of(text)) in (None, *FORM_KINDS)
        if kind == "tiles":
            reading = read_tiles(text, "tiles.csv", STUDY)
            assert (reading.plan is None) == bool(reading.faults)
        else:
            found = read(kind, text)
            assert not found.bad_rows or found.faults
            assert found.records or found.blank_rows or found.faults or not text.strip() or not found.bad_rows


@given(st.binary(max_size=60))
def test_it_decodes_any_bytes(raw: bytes) -> None:
    """There is always some text, never an exception."""
    assert isinstance(decode(raw), str)


@pytest.mark.parametrize(
    ("name", "header", "kind"),
    [
        ("rub-KL.csv", (), "rub"),
        ("made 2.csv", (), "made"),
        ("Colour_fresh.CSV", (), "colour"),
        ("color.csv", (), "colour"),
        ("experiments/x/tiles.csv", (), "tiles"),
        ("rubbish.csv", (), None),
        ("export.csv", ("tile", "scorer", "grade"), "rub"),
        ("export.csv", ("tile", "on", "spoiled"), "made"),
        ("export.csv", ("batch", "made at"), "batches"),
        ("export.csv", ("tile", "batch", "strength"), "tiles"),
        ("export.csv", ("tile", "on", "value"), "values"),
        ("export.csv", ("a", "b"), None),
    ],
)
def test_it_knows_which_form_a_file_is(name: str, header: tuple[str, ...], kind: str | None) -> None:
    """By the first word of its name, else by its columns."""
    assert kind_of(name, header) == kind


def test_it_suggests_the_code_that_looks_alike() -> None:
    """A look-alike character goes before a near spelling."""
    assert nearest_codes("K0", ["KO", "K7"]) == ("KO",)
    assert nearest_codes("1A", ["IA", "2A"]) == ("IA",)
    assert nearest_codes("hx-3", ["HX3", "HX4"]) == ("HX3",)
    assert nearest_codes("A8", ["A3", "A4", "C7"]) == ("A3", "A4")
    assert nearest_codes("?", ["A3"]) == ()
