"""The study file: valid from the start, strict about what it does not know, every fault at its line."""

import pytest

from tilestudy.colour.names import colour_named
from tilestudy.errors import FaultyFileError
from tilestudy.study.file import read_study
from tilestudy.study.records import Study, Wish
from tilestudy.trade.library import BUILT_IN
from tilestudy.trade.template import study_text

FIRST = study_text("plaques", BUILT_IN, "sulfide-dip", "C11000")


def read(text: str) -> Study:
    return read_study(
        text,
        "study.toml",
        "plaques",
        processes=BUILT_IN.process_ids,
        protocols=list(BUILT_IN.protocols),
        colour_named=colour_named,
        thickness_of=BUILT_IN.thickness_mm,
        density_of=lambda one: BUILT_IN.process(one).density_g_per_ml if one in BUILT_IN.process_ids else None,
    )


def faults(text: str) -> list[str]:
    with pytest.raises(FaultyFileError) as caught:
        read(text)
    return [str(fault) for fault in caught.value.faults]


def line_of(text: str, beginning: str) -> int:
    return next(n for n, line in enumerate(text.splitlines(), start=1) if line.startswith(beginning))


@pytest.mark.parametrize("process_id", BUILT_IN.process_ids)
@pytest.mark.parametrize("uns", list(BUILT_IN.metals))
def test_a_new_study_file_is_valid_at_once(process_id: str, uns: str) -> None:
    """What `new` writes can be read back for every process and metal, and is short enough to read."""
    text = study_text("plaques", BUILT_IN, process_id, uns)
    study = read(text)
    assert study.process == process_id
    assert study.factors
    assert len(text.splitlines()) < 90


def test_units_as_people_write_them_are_stored_in_one_unit() -> None:
    """Minutes are stored in seconds, Fahrenheit in Celsius, and both are still shown as written."""
    text = FIRST.replace('unit = "s"\nlevels = [10, 30, 90]', 'unit = "min"\nlevels = ["30 s", 1, "1 1/2"]')
    dip = read(text).factor("dip_time")
    assert (dip.levels, dip.unit, dip.shown) == ((30.0, 60.0, 90.0), "s", "min")
    heat = FIRST.replace('name = "strength"', 'name = "oven"').replace('unit = "g/L"', 'unit = "degF"')
    heat = heat.replace("levels = [1, 3, 9]", "low = 300\nhigh = 400\ncount = 3").replace(
        'spacing = "geometric"', 'spacing = "linear"', 1
    )
    assert read(heat).factor("oven").levels == pytest.approx((148.888889, 176.666667, 204.444444))


def test_a_spooned_strength_becomes_grams_per_litre() -> None:
    """1/4 teaspoon of crumbs in a cup of water is 5.2 g/L at 1 g/mL, the bulk density in the process file."""
    text = FIRST.replace('unit = "g/L"\nlevels = [1, 3, 9]', 'unit = "tsp per cup"\nlevels = ["1/16", "1/4"]')
    strength = read(text.replace('got = "weighed"', 'got = "spooned"')).factor("strength")
    assert strength.levels == pytest.approx((1.302, 5.208), abs=0.001)
    assert (strength.unit, strength.shown) == ("g/L", "g/L")


def test_a_plain_colour_name_is_a_target() -> None:
    """The target may be a plain name, three numbers, or the darkest there is."""
    target = read(FIRST.replace('target = "as dark as possible"', 'target = "Dark Reddish-Brown"')).target
    assert target is not None
    assert target.lab == colour_named("dark reddish brown")
    numbers = read(FIRST.replace('target = "as dark as possible"', "target = [32, 8, 10.5]")).target
    assert numbers is not None
    assert numbers.lab == (32.0, 8.0, 10.5)
    darkest = read(FIRST).target
    assert darkest is not None
    assert darkest.darkest


def test_every_fault_is_listed_at_its_line() -> None:
    """Seven faults in one file come out together, in the order of the lines, each with value and remedy."""
    text = (
        FIRST.replace("levels = [1, 3, 9]", "low = 9\nhigh = 1")
        .replace('set_per = "batch"', 'set_per = "bath"')
        .replace("levels = [10, 30, 90]", 'levels = ["10 s", "30 furlongs"]')
        .replace("tiles = 40", "tils = 40")
        .replace('target = "as dark as possible"', 'target = "gorgeous brown"')
        .replace("passing = 4 ", "passing = 3.25 ")
        .replace('acid_at_the_same_place = "not checked"', 'acid_at_the_same_place = "perhaps"')
    )
    found = faults(text)
    assert found == [
        f"study.toml, line {line_of(text, 'low = 9')}: low = 9 is not below high = 1; swap them.",
        f'study.toml, line {line_of(text, "set_per")}: set_per = "bath" is not one of "tile", "batch", "session".',
        f'study.toml, line {line_of(text, "levels")}: "30 furlongs" is not in s, the unit of dip_time.',
        f'study.toml, line {line_of(text, "tils")}: the key "tils" is not known in [limits]. Did you mean "tiles"?',
        f'study.toml, line {line_of(text, "target")}: target = "gorgeous brown" is not a colour name tilestudy knows. Write a '
        'plain one such as "dark reddish brown" (the 267 names of ISCC-NBS), [L, a, b] numbers, or "as dark as possible".',
        f"study.toml, line {line_of(text, 'passing')}: passing = 3.25 should be a grade in half steps, such as 3.5 or 4.",
        f'study.toml, line {line_of(text, "acid_at")}: acid_at_the_same_place = "perhaps" is not one of "yes", "no", "not checked".',
    ]


@pytest.mark.parametrize(
    ("change", "to", "says"),
    [
        ('process = "sulfide-dip"', 'process = "sulphide-dip"', 'process = "sulphide-dip" is not known. Did you mean "sulfide-dip"?'),
        ('size = "25 x 50 mm"', 'size = "small"', 'size = "small" cannot be read; write it like "25 x 50 mm" or "1 x 2 in".'),
        ('gauge = "20 ga"', 'gauge = "thin"', 'gauge = "thin" cannot be read; write it like "20 ga" or "0.8 mm".'),
        ("levels = [1, 3, 9]", "levels = [9, 3, 1]", "levels [9, 3, 1] should rise from the lowest to the highest."),
        ("levels = [1, 3, 9]", "levels = [3]", "a factor needs at least two levels; what does not vary belongs in the question."),
        ("levels = [1, 3, 9]", "levels = [0, 3, 9]", "a geometric factor multiplies from level to level, so every level must be above 0."),
        ('name = "dip_time"', 'name = "Dip time"', '"Dip time" cannot name a factor: use small letters, digits and underscores, such as dip_time.'),
        ('name = "dip_time"', 'name = "strength"', 'the name "strength" is used twice; each factor and response needs a name of its own.'),
        ("tile_sd = 3", "tile_sd = 0", "tile_sd must be above 0: no two tiles come out exactly alike."),
        ("minutes = 150", 'minutes = "long"', 'minutes = "long" cannot be read; write minutes = 150, or "2.5 h".'),
        ('conditions = ["dry"]', 'conditions = ["damp"]', 'conditions = [\'damp\'] should be ["dry"], ["wet"] or ["dry", "wet"].'),
        ('batch_volume = "0.5 L"', 'batch_volume = "a bucket"', 'batch_volume = "a bucket" cannot be read; write it like "0.5 L" or "2 cups".'),
        ("tolerance = 5", "tolerance = true", "tolerance = True should be a number, without quotes."),
        ('name = "plaques"', 'name = "drawer-pulls"', 'name = "drawer-pulls" differs from its folder "plaques"; make them the same.'),
    ],
)  # fmt: skip
def test_a_fault_says_what_to_do(change: str, to: str, says: str) -> None:
    """Each wrong value gets one message that names it and the remedy."""
    assert change in FIRST
    assert [fault.partition(": ")[2] for fault in faults(FIRST.replace(change, to, 1))] == [says]


def test_broken_toml_is_told_with_its_line() -> None:
    """A missing quote is a fault like any other."""
    broken = FIRST.replace('process = "sulfide-dip"', 'process = "sulfide-dip')
    line = line_of(broken, "process")
    assert faults(broken)[0].startswith(f"study.toml, line {line}: not readable as TOML")


def test_quantities_without_a_unit_are_not_taken_for_names() -> None:
    """levels = ["15 s", "45 s"] without a unit would make two names of two times."""
    text = FIRST.replace('unit = "s"\nlevels = [10, 30, 90]', 'levels = ["15 s", "45 s"]')
    assert faults(text)[0].endswith(
        'levels such as "15 s" look like quantities, but the factor has no unit. Add unit = "...", or spacing = "steps" to take them as names.'
    )


WISHES = """
[[response]]
name = "gloss"
unit = "GU"
[[wish]]
of = "mottle"
good = 1
useless = 4.0
[[wish]]
of = "dip_time"
good = "0.5 min"
useless = 90
weight = 0.5
[[wish]]
of = "gloss"
good = "40 GU"
useless = [20, 60]
"""


def test_wishes_are_read_in_the_units_of_what_they_are_about() -> None:
    """A factor's in its stored unit, whatever the unit written; a pair where both sides are worse."""
    assert read(FIRST + WISHES).wishes == (
        Wish("mottle", 1.0, 4.0),
        Wish("dip_time", 30.0, 90.0, 0.5),
        Wish("gloss", 40.0, (20.0, 60.0)),
    )
    assert read(FIRST).wishes == ()


@pytest.mark.parametrize(
    ("wish", "line", "says"),
    [
        ('of = "glos"\ngood = 1\nuseless = 2', 2, 'of = "glos" is nothing that can be wished for. Did you mean "gloss"?'),
        ("good = 1\nuseless = 2", 1, 'a wish has to say of what: write of = "mottle", "gloss", "strength", "dip_time" or "scrub_cycles".'),
        ('of = "gloss"\ngood = 1', 2, "a wish needs useless, such as useless = 4.0."),
        ('of = "gloss"\ngood = 2\nuseless = 2', 4, "good and useless are the same, 2; they must differ."),
        ('of = "gloss"\ngood = 70\nuseless = [20, 60]', 4, "useless = [20, 60] should hold one value below good and one above it, lower first."),
        ('of = "gloss"\ngood = [1, 2]\nuseless = 2', 3, "good = [1, 2] should be one value."),
        ('of = "gloss"\ngood = true\nuseless = 2', 3, "good: True is no value. Write a number, or a number with its unit in quotes."),
        ('of = "gloss"\ngood = "4 mm"\nuseless = 2', 3, 'good: "4 mm" is not a value of gloss, which is given in GU.'),
        ('of = "dip_time"\ngood = 30\nuseless = "4 mm"', 4, 'useless: "4 mm" is not a setting of dip time, which is given in s.'),
        ('of = "gloss"\ngood = 1\nuseless = 2\nweight = 0', 5, "weight must be above 0; leave out a wish that does not count."),
        ('of = "gloss"\nbad = 1\ngood = 1\nuseless = 2', 3, 'the key "bad" is not known in [wish]. Known here: of, good, useless, weight.'),
        ('of = "gloss"\ngood = 1\nuseless = 2\n[[wish]]\nof = "gloss"\ngood = 1\nuseless = 2', 6, '"gloss" has a wish already; give one for each thing wished.'),
    ],
)  # fmt: skip
def test_a_faulty_wish_is_told_at_its_line(wish: str, line: int, says: str) -> None:
    """What is wrong, where, and what to write."""
    text = FIRST + '[[response]]\nname = "gloss"\nunit = "GU"\n[[wish]]\n' + wish + "\n"
    first = line_of(text, "[[wish]]")
    assert faults(text) == [f"study.toml, line {first + line - 1}: {says}"]


def test_wishes_need_numbers_to_be_about() -> None:
    """Named levels have no better or worse."""
    text = FIRST.replace('unit = "s"\nlevels = [10, 30, 90]\nspacing = "geometric"', 'levels = ["short", "long"]')
    told = faults(text + '[[wish]]\nof = "dip_time"\ngood = 1\nuseless = 2\n')
    assert told[0].endswith("is a factor with named levels, which have no better or worse. Wish for a number instead.")
