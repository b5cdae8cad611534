"""The library of the trade's data: names are found or not, never guessed; a studio's own data are read strictly."""

import re
from datetime import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tilestudy.errors import FaultyFileError
from tilestudy.studio import Studio
from tilestudy.study.file import check_study_name
from tilestudy.trade.check import check
from tilestudy.trade.ingredients import CLASSES
from tilestudy.trade.keys import TABLES
from tilestudy.trade.library import BUILT_IN, Library, shipped

# CIAAW standard atomic weights (periodictable 2.1.0), g/mol.
WEIGHTS = {"H": 1.008, "C": 12.011, "N": 14.007, "O": 15.999, "Na": 22.98976928, "S": 32.06, "Cl": 35.45, "K": 39.0983}
WEIGHTS |= {"Fe": 55.845, "Cu": 63.546, "Ag": 107.8682, "Pb": 207.2, "Bi": 208.9804, "Ca": 40.078, "Ba": 137.327}


def molar_mass(formula: str) -> float:
    """Add up the atomic weights of a formula with brackets."""
    while "(" in formula:
        formula = re.sub(r"\(([^()]*)\)(\d*)", lambda found: found[1] * int(found[2] or 1), formula)
    return sum(WEIGHTS[atom] * int(many or 1) for atom, many in re.findall(r"([A-Z][a-z]?)(\d*)", formula))


def own(folder: Path, **texts: str) -> Path:
    """Write a studio's own files: `processes__tea` is processes/tea.toml."""
    for name, text in texts.items():
        path = folder / f"{name.replace('__', '/')}.toml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder


def test_the_files_that_come_with_tilestudy_pass_the_check_of_users_files() -> None:
    """Every key known, every value of its kind, every id there, a source for each fact, no name that means two things."""
    texts = {name: text for name, text in shipped().items() if name != "liquids.toml"}  # no file of a studio's own
    assert [str(one) for one in check(texts, {})[1]] == []


def test_molar_masses_are_those_of_the_atomic_weights() -> None:
    """To 0.02 g/mol, 0.1 with lead: the tolerance of rounding and of natural lead."""
    having = [one for one in BUILT_IN.ingredients.values() if one.molar_mass is not None]
    assert len(having) >= 30
    for one in having:
        assert one.molar_mass == pytest.approx(molar_mass(one.formula), abs=0.1 if "Pb" in one.formula else 0.02), (
            one.id
        )


def test_what_studios_have_is_known_by_its_class() -> None:
    """The table of what people name: every one has the class that the hazard rules need."""
    told = {
        "acid": "pickle, white vinegar, citric, lemon juice, muriatic acid, ferric nitrate, cupric chloride, bisulfate",
        "sulfide": "liver of sulphur, polysulfide gel, lime sulfur, potassium sulphide, ammonium sulfide, K2S, lump sulphur",
        "ammonia": "household ammonia, 28 % ammonia, ammonium hydroxide, ammonium carbonate",
        "ammonium": "sal ammoniac, ammonium sulphate",
        "hypochlorite": "bleach, chlorine bleach, Javel water, pool chlorine",
        "nitrate": "ferric nitrate, saltpetre, nitric acid, silver nitrate",
        "silver_nitrate": "AgNO3",
        "fuel": "beeswax, acetone, rubbing alcohol, sawdust, paper towels, linseed oil, lacquer",
        "strong_alkali": "lye, caustic soda, slaked lime",
        "carbonate": "baking soda, washing soda, soda",
        "chlorinated_solvent": "methylene chloride, trichloroethylene, solvent",
        "chloride": "sea salt, salt water, ferric chloride",
        "poison": "white arsenic, potassium cyanide, quicksilver, butter of antimony, sugar of lead, potassium dichromate",
        "water": "tap water, distilled water, hot water",
        "inert": "pumice, dish soap",
    }
    assert set(told) | {"oxidiser"} == set(CLASSES)
    for wanted, names in told.items():
        for name in names.split(", "):
            found = BUILT_IN.ingredient(name)
            assert found is not None, name
            assert wanted in found.classes, name


def test_metals_weigh_what_the_table_says() -> None:
    """Densities, g/cm3: C26000 diversifiedbronze.com (read 2026); the others CDA and ASM handbook values, from memory."""
    table = {"C11000": 8.94, "C26000": 8.53, "C23000": 8.75, "C22000": 8.80, "C51000": 8.86, "C65500": 8.53}
    table |= {"C75200": 8.73, "P07931": 10.36}
    for uns, density in table.items():
        assert BUILT_IN.metals[uns]["density"] == pytest.approx(density, abs=0.05)
    for metal in BUILT_IN.metals.values():
        assert all(BUILT_IN.thickness_mm(gauge, metal["uns"]) for gauge in metal["gauges"])


NAMES = [(name, one.id) for one in BUILT_IN.ingredients.values() for name in one.names]


@given(st.sampled_from(NAMES), st.data())
def test_spelling_does_not_hide_an_ingredient(named: tuple[str, str], data: st.DataObject) -> None:
    """Capitals, hyphens, extra blanks, a strength before it, a plural: the same ingredient."""
    name, wanted = named
    cased = "".join(data.draw(st.sampled_from([one.upper(), one.lower()])) for one in name)
    joined = re.sub(" ", lambda _: data.draw(st.sampled_from([" ", "  ", "-", "_", "\t"])), cased)
    plural = joined + data.draw(st.sampled_from(["", "s"] if name[-1].isalpha() and name[-1] not in "sSi)" else [""]))
    strength = data.draw(st.sampled_from(["", "5 % ", "28% ", "10 g/L ", "dilute ", "warm "]))
    found = BUILT_IN.ingredient(strength + plural)
    if len(name.split()[-1]) > 3 or plural == joined:  # "KOHs" is nobody's plural
        assert found is not None
        assert found.id == wanted


@pytest.mark.parametrize(
    "text", ["no vinegar", "vinegar-free cleaner", "mystery patina", "", "5 %", "used water", "the"]
)
def test_what_nobody_knows_stays_unknown(text: str) -> None:
    """It never guesses, nor finds a name within another."""
    assert BUILT_IN.ingredient(text) is None
    assert BUILT_IN.things(text) == (None,) * len(BUILT_IN.things(text))


def test_a_text_of_several_names_is_taken_apart() -> None:
    """Each of them known, or None in its place."""
    found = BUILT_IN.things("White vinegar, salt and something blue")
    assert [one and one.id for one in found] == ["vinegar", "salt", None]


def test_every_fault_of_a_studio_s_own_data_is_told_at_its_line(tmp_path: Path) -> None:
    """All files, all faults, at once; nothing is read."""
    folder = own(
        tmp_path,
        ingredients="""[[ingredient]]
id = "tea"
names = ["tea", "white vinegar"]
form = "solid"
classes = ["acidic"]
""",
        bench_steps='[[step]]\nid = "bury"\nlabel = "bury"\nheat = true\n',
        metals='[[metal]]\nuns = "copper"\nlabel = "c"\nfamily = "copper"\ndensity = "heavy"\nsource = "x"\n',
        hazards='[[rule]]\nid = "r"\nlevel = "stop"\nsays = "s"\nmeet = ["acid"]\nsource = "x"\n',
        ingredient="",
        processes__tea="""label = "Tea"
heat = "no"
wet = true
wet_rub = true
target = "nice brown"
source = "x"
[[factor]]
name = "tea"
levels = [1, 2]
spacing = "geometrical"
set_per = "batch"
[[ingredient]]
id = "tee"
name = "tea"
factor = "strength"
""",
        processes__broken='label = "x\n',
    )
    with pytest.raises(FaultyFileError) as caught:
        Library(folder)
    told = str(caught.value).replace(f"{folder}/", "")
    for line in (
        'bench_steps.toml, line 4: the key "heat" is not known in [[step]]. Did you mean "heats"?',
        'ingredients.toml, line 5: classes: "acidic" is not known. Did you mean "acid"?',
        'ingredients.toml, line 1: source is missing in [[ingredient]] (write "common practice, no source" where there is none).',
        "metals.toml, line 5: density = 'heavy' should be a number, without quotes.",
        'hazards.toml, line 3: level: "stop" is not known. Known: block, warn.',
        'ingredient.toml: not a file of trade data. Is it "ingredients.toml"?',
        "processes/tea.toml, line 2: heat = 'no' should be true or false, without quotes.",
        'processes/tea.toml, line 10: spacing: "geometrical" is not known. Did you mean "geometric"?',
        'processes/tea.toml, line 13: id: "tee" is not known. Did you mean "tea"?',
        'processes/tea.toml, line 15: factor: "strength" is not known. Known: tea.',
        "processes/broken.toml, line 1: not readable as TOML: Illegal character '\\n'. Check quotes and brackets.",
    ):
        assert line in told, told
    assert "The studio's own trade data were not read." in told


PROCESS = 'label = "x"\nsource = "x"\nheat = true\nwet = true\nwet_rub = true\n'
FACTOR = '[[factor]]\nname = "dip"\nset_per = "tile"\nlevels = '
FACTORS = [
    (FACTOR + '[2, 1]\nspacing = "linear"', "line 9: levels holds two or more numbers that rise"),
    (FACTOR + '[1, "2"]\nspacing = "linear"', "line 9: levels holds two or more numbers that rise"),
    (FACTOR + '[0, 1]\nspacing = "geometric"', "line 9: with geometric spacing every level is above 0"),
    (FACTOR + '["a", "b"]\nspacing = "linear"', "line 10: names have no scale"),
    (FACTOR.replace("dip", "Dip time") + '[1, 2]\nspacing = "linear"', "line 7: name holds small letters"),
    (FACTOR + '[1, 2]\nspacing = "linear"\nunit = "blorp"', "line 11: "),
    ("", "line 1: there is no [[factor]]"),
]


@pytest.mark.parametrize(
    ("file", "text", "fault"),
    [
        (
            "ingredients",
            '[[ingredient]]\nid = "tea"\nnames = ["White vinegars"]\nform = "solid"\nclasses = ["acid"]\nsource = "x"',
            'line 3: the name "White vinegars" is that of "vinegar" already; leave it out, or write id = "vinegar" to take',
        ),
        (
            "ingredients",
            '[[ingredient]]\nid = "t"\nnames = ["tt"]\nform = "solid"\nclasses = ["poison"]\nsource = "x"',
            'line 5: what has the class "poison" says which',
        ),
        (
            "hazards",
            '[[rule]]\nid = "r"\nlevel = "warn"\nsays = "s"\nmeet = ["acid", "sulphide"]\nsource = "x"',
            "line 5: meet holds two classes",
        ),
        (
            "metals",
            '[[metal]]\nuns = "copper"\nlabel = "c"\nfamily = "f"\nsource = "x"',
            'line 2: "copper" is no UNS number',
        ),
        (
            "metals",
            '[[gauge]]\nlabel = "g"\nfamilies = ["zinc"]\ninch = { a = 1 }\nsource = "x"',
            "line 4: inch holds gauge numbers and inches",
        ),
        (
            "rub_protocols",
            '[[protocol]]\nid = "p"\nlabel = "l"\nsource = "x"\nsteps = { dry = ["rub"] }\nboth = { dry = "d" }',
            "line 2: a protocol has steps.dry",
        ),
        ("bench_steps", "step = 1", "line 1: write [[step]] on a line of its own"),
        (
            "bench_steps",
            '[[step]]\nid = "a"\nlabel = "a"\n[[step]]\nid = "a"\nlabel = "b"',
            'line 5: the id "a" is there twice',
        ),
        (
            "metals",
            '[[metal]]\nuns = "C10200"\nlabel = "c"\nfamily = "copper"\ndensity = 8.9\nsource = "x"',
            "line 5: density needs density_source",
        ),
        *(("processes__x", PROCESS + text, fault) for text, fault in FACTORS),
        (
            "processes__x",
            "life_h = 4\n" + PROCESS + FACTOR + '[1, 2]\nspacing = "linear"',
            "line 1: life_h needs life_source",
        ),
        (
            "processes__x",
            'label = "x"\nsource = "x"\nheat = true\nwet = true\nwet_rub = true\ntarget = "nice"',
            'line 6: target = "nice" is no colour name',
        ),
        (
            "processes__x",
            'label = "x"\nsource = "x"\nheat = true\nwet = true\nwet_rub = true\n'
            '[[ingredient]]\nid = "salt"\nname = "salt"\namount = "a pinch"',
            'line 9: amount should be so much in each litre, such as "20 mL/L"',
        ),
    ],
)
def test_what_does_not_hang_together_is_a_fault(tmp_path: Path, file: str, text: str, fault: str) -> None:
    """Beyond single values: names taken, poisons without a name, amounts that are none."""
    with pytest.raises(FaultyFileError) as caught:
        Library(own(tmp_path, **{file: text + "\n"}))
    assert fault in str(caught.value)


def test_a_file_that_is_not_utf8_is_told(tmp_path: Path) -> None:
    """A word from the editor, no traceback."""
    (tmp_path / "metals.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(FaultyFileError, match="not UTF-8 text"):
        Library(tmp_path)


def test_a_studio_s_own_entry_takes_the_place_of_ours_and_is_told(tmp_path: Path) -> None:
    """The same id: its own density, its own process; what a process leaves out is that of "other"."""
    folder = own(
        tmp_path,
        metals="""[[metal]]
uns = "C11000"
label = "our copper"
family = "copper"
density = 8.9
density_source = "weighed here"
source = "weighed here"
[[metal]]
uns = "A91100"
label = "aluminium"
family = "aluminium"
source = "x"
[[gauge]]
label = "our zinc"
families = ["aluminium"]
inch = { "9" = 0.028 }
source = "x"
""",
        processes__sulfide_dip='label = "y"\nsource = "x"\nheat = false\nwet = true\nwet_rub = true\n'
        '[words]\nmake = "Brew"\n[[factor]]\nname = "s"\nlevels = [1, 2]\nspacing = "linear"\nset_per = "batch"\n',
    )
    (folder / "processes/sulfide_dip.toml").rename(folder / "processes/sulfide-dip.toml")
    library = Library(folder)
    assert library.told == (
        f"{folder}/metals.toml adds A91100 and our zinc and takes the place of what tilestudy holds on C11000.",
        f'{folder}/processes/sulfide-dip.toml takes the place of the process "sulfide-dip".',
    )
    assert library.metals["C11000"]["density"] == 8.9
    assert library.metals["C26000"]["density"] == 8.53
    assert library.thickness_mm("9 ga", "A91100") == pytest.approx(0.7112)
    dip, other = library.process("sulfide-dip"), BUILT_IN.process("other")
    assert (dip.words.make, dip.words.closing) == ("Brew", other.words.closing)
    assert (dip.batch_word, dip.sequence) == ("batch", other.sequence)
    assert BUILT_IN.process("sulfide-dip").batch_word == "bath"


def test_no_study_can_be_called_trade() -> None:
    """Its folder holds the studio's own trade data."""
    assert "own trade data" in str(check_study_name("trade"))


def test_the_page_on_trade_files_names_every_key_and_class() -> None:
    """docs/reference/trade-files.md against the keys that the check knows; none is missing, none is made up."""
    page = (Path(__file__).parents[2] / "docs" / "reference" / "trade-files.md").read_text(encoding="utf-8")
    first = re.compile(r"^\| `([\w\[\]]+)` \|(.*)$", re.MULTILINE)
    assert [one for one, _ in first.findall(page.split("## Classes")[1].split("\n## ")[0])] == list(CLASSES)
    for file, tables in TABLES.items():
        section = page.split(f"\n## `{file}{'/NAME.toml' if file == 'processes' else ''}`")[1].split("\n## ")[0]
        shown = dict(first.findall(section))
        for table, keys in tables.items():
            for key, what in keys.items():
                told = shown.get(table, section) if file == "processes" and table else section
                assert f"`{key}`" in told, (file, table, key)
                if key in shown and file != "processes":
                    assert shown[key].endswith("| yes |") == what.needed, (file, key)
        if file not in ("processes", "rub_protocols.toml"):
            assert set(shown) == {key for keys in tables.values() for key in keys}, file


@pytest.mark.parametrize("process_id", BUILT_IN.process_ids)
def test_what_the_first_study_file_keeps_asleep_is_valid_when_woken(process_id: str, tmp_path: Path) -> None:
    """The lines on the room, the session, a sheet and a step are read as they stand, without their #."""
    studio = Studio(tmp_path)
    path = studio.new("trial", process_id, "C11000")
    text = path.read_text(encoding="utf-8")
    head, asleep = text.split("# The bench, for the hazard check")
    woken = "\n".join(line.removeprefix("# ") for line in asleep.split("\n")[1:])
    path.write_text(head + woken, encoding="utf-8")
    workplace = studio.study("trial").workplace
    assert workplace.room.m3 == pytest.approx(50)
    assert (workplace.room.people, workplace.hours.start) == (8, time(18, 30))
    assert [step.do for step in workplace.sequence] == ["pickle"]
    assert workplace.sheets[0].mm == (300, 600)
    path.write_text(head + woken.replace('do = "pickle"', 'do = "pickel"'), encoding="utf-8")
    with pytest.raises(FaultyFileError, match=r'do = "pickel" is no step of the bench\. Did you mean "pickle"'):
        studio.study("trial")
