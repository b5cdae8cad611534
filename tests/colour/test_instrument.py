"""Files that instruments write: every shape to the same samples, every fault in words. All data invented."""

import numpy as np
import pytest

from tilestudy.colour.instrument import Conditions, InstrumentReading, read_instrument
from tilestudy.colour.spectra import reflectance_to_lab
from tilestudy.colour.xyz import lab_to_xyz, white

LAB = (31.5, 8.4, 9.9)
XYZ = lab_to_xyz(LAB, white("D65", "10")) * 100
C, H = float(np.hypot(8.4, 9.9)), float(np.degrees(np.arctan2(9.9, 8.4)))
NM = range(400, 701, 10)
SPECTRUM = [0.04 + 0.0005 * (nm - 400) for nm in NM]


def spectral(headings: str, of: str, times: float = 1, delimiter: str = ",") -> str:
    head = delimiter.join([of, *(headings.format(nm) for nm in NM)])
    return head + "\n" + delimiter.join(["K7", *(f"{times * value:.6f}" for value in SPECTRUM)]) + "\n"


def cgats(fields: str, row: str, keywords: str = "", after: str = "") -> str:
    return (
        f"CGATS.17\n{keywords}NUMBER_OF_SETS 1\nBEGIN_DATA_FORMAT\n{fields}\nEND_DATA_FORMAT\nBEGIN_DATA\n{row}\n"
        f"END_DATA\n{after}"
    )


def read(text: str, **asked: str) -> InstrumentReading:
    return read_instrument(text, "file", Conditions(**asked))


KEYWORDS = 'ILLUMINATION_NAME "D65"\nOBSERVER_ANGLE "10"\nMEASUREMENT_GEOMETRY "45/0"\n'
OF_LAB = {
    "commas": "Sample,L*(D65/10),a*(D65/10),b*(D65/10)\nK7,31.5,8.4,9.9\n",
    "semicolons, decimal commas": "Name;L* (10°/D65);a* (10°/D65);b* (10°/D65)\r\nK7;31,5;8,4;9,9\r\n",
    "tabs": "Sample ID\tL*\ta*\tb*\tIlluminant\tObserver\nK7\t31.5\t8.4\t9.9\tD65\t10°\n",
    "light in one cell": "Tile,L,a,b,Illuminant/Observer\nK7,31.5,8.4,9.9,D65/10\n",
    "preamble": "Job;patina\nIlluminant;D65\nObserver;10 deg\n\nSample;L*;a*;b*\nK7;31,5;8,4;9,9\n",
    "preamble in words": "# Colour report\n# Conditions: D65/10°\nSample,CIE L*,CIE a*,CIE b*\nK7,31.5,8.4,9.9\n",
    "light said once": "Sample,L*(D65/10°),a*,b*\nK7,31.5,8.4,9.9\n",
    "columns between": "No.,Name,dL*,L*(D65/10),G,a*(D65/10),b*(D65/10),remark\n1,K7,0.3,31.5,2,8.4,9.9,x\n",
    "C and h": f"Sample,L*(D65/10),C*(D65/10),h°(D65/10)\nK7,31.5,{C:.8f},{H:.8f}\n",
    "XYZ": "Sample,X(D65/10),Y(D65/10),Z(D65/10)\nK7," + ",".join(f"{value:.8f}" for value in XYZ) + "\n",
    "rows under two lights": "Sample,L*,a*,b*,Illuminant,Observer\nK7,31.5,8.4,9.9,D65,10\nK7,33,12,14,A,10\n",
    "columns under two lights": "Sample,L*(A/10),a*(A/10),b*(A/10),L*(D65/10),a*(D65/10),b*(D65/10)\n"
    "K7,33,12,14,31.5,8.4,9.9\n",
    "CGATS": cgats("SAMPLE_ID LAB_L LAB_A LAB_B", "K7 31.5 8.4 9.9", KEYWORDS),
    "CGATS, tabs, an empty cell": cgats("SAMPLE_ID\tNOTE\tLAB_L\tLAB_A\tLAB_B", "K7\t\t31.5\t8.4\t9.9", KEYWORDS),
    "CGATS, folded rows": cgats("SAMPLE_ID LAB_L LAB_A LAB_B", "K7 31.5\n8.4 9.9", KEYWORDS),
    "CGATS, LCh": cgats("SAMPLE_NAME LAB_L LAB_C LAB_H", f'"K7" 31.5 {C:.8f} {H:.8f}', KEYWORDS),
    "CGATS, XYZ": cgats("SAMPLE_ID XYZ_X XYZ_Y XYZ_Z", "K7 " + " ".join(f"{x:.8f}" for x in XYZ), KEYWORDS),
    "CGATS, one source line": cgats(
        "SAMPLE_ID LAB_L LAB_A LAB_B",
        "K7 31.5 8.4 9.9",
        'MEASUREMENT_SOURCE "Illumination=D65 ObserverAngle=10 WhiteBase=Abs Filter=No"\n',
    ),
    "CGATS, weighting functions": cgats(
        "SAMPLE_ID LAB_L LAB_A LAB_B",
        "K7 31.5 8.4 9.9",
        'WEIGHTING_FUNCTION "ILLUMINANT, D65"\nWEIGHTING_FUNCTION "OBSERVER, 10 degree"\n',
    ),
    "CGATS, a further table of no colour": cgats(
        "SAMPLE_ID LAB_L LAB_A LAB_B",
        "K7 31.5 8.4 9.9",
        KEYWORDS,
        "BEGIN_DATA_FORMAT\nSAMPLE_ID CMYK_C CMYK_M CMYK_Y CMYK_K\nEND_DATA_FORMAT\nBEGIN_DATA\nK7 0 1 2 3\nEND_DATA\n",
    ),
}


@pytest.mark.parametrize("text", OF_LAB.values(), ids=OF_LAB)
def test_every_shape_gives_the_same_colour(text: str) -> None:
    """CSV and CGATS, L*a*b*, L*C*h or XYZ: K7 under D65, 10 degree, as measured."""
    wanted = {"illuminant": "D65", "observer": "10"} if "A" in text.split("K7")[0] and "A/10" in text else {}
    wanted = {"illuminant": "D65", "observer": "10"} if ",A,10" in text else wanted
    reading = read(text, geometry="45/0", **wanted)
    assert reading.faults == ()
    [sample] = reading.samples
    assert "K7" in sample.names
    assert sample.lab == pytest.approx(LAB, abs=1e-6)
    assert sample.conditions == Conditions("D65", "10", "45/0")


OF_REFLECTANCE = {
    "nm behind": spectral("{} nm", "Sample"),
    "R before": spectral("R{}", "Sample", delimiter=";"),
    "bare numbers": spectral("{}", "Name", delimiter="\t"),
    "per cent": spectral("{}", "Sample", times=100),
    "per cent in the heading": spectral("R {} nm (%)", "Sample", times=100),
    "two names": spectral("SPECTRAL_NM{}", "SAMPLE_NAME"),
    "CGATS": cgats(
        "SAMPLE_ID " + " ".join(f"NM_{nm}" for nm in NM), "K7 " + " ".join(f"{x:.6f}" for x in SPECTRUM), KEYWORDS
    ),
    "CGATS, pairs": cgats(
        "SAMPLE_ID " + " ".join("SPECTRAL_NM SPECTRAL_PCT" for _ in NM),
        "K7 " + " ".join(f"{nm} {100 * x:.4f}" for nm, x in zip(NM, SPECTRUM, strict=True)),
    ),
}


@pytest.mark.parametrize("text", OF_REFLECTANCE.values(), ids=OF_REFLECTANCE)
@pytest.mark.parametrize("light", [("D65", "10"), ("D50", "2")])
def test_reflectance_is_seen_under_the_light_asked_for(text: str, light: tuple[str, str]) -> None:
    """Under D65, 10 degree, when nothing else is asked."""
    asked = {} if light == ("D65", "10") else {"illuminant": light[0], "observer": light[1]}
    [sample] = read(text, geometry="45/0", **asked).samples
    assert sample.lab == pytest.approx(reflectance_to_lab(SPECTRUM, NM, *light).tolist(), abs=1e-3)
    assert sample.conditions == Conditions(*light, "45/0")


@pytest.mark.parametrize(
    "text",
    [
        "Sample;L* SCI;a* SCI;b* SCI;L* SCE;a* SCE;b* SCE\nK7;33;8;9;31,5;8,4;9,9\n",
        "D65/10\n;SCI;;;SCE;;\nSample;L*;a*;b*;L*;a*;b*\nK7;33;8;9;31,5;8,4;9,9\n",
        "Sample;Specular component;L*;a*;b*\nK7;SCI;33;8;9\nK7;SCE;31,5;8,4;9,9\n",
    ],
)
def test_gloss_included_and_excluded_are_told_apart(text: str) -> None:
    """The file is not read until it is said which; the geometry is kept with the reading."""
    light = {"illuminant": "D65", "observer": "10"}
    [fault] = read(text, **light).faults
    assert 'Say which to take: --geometry "d/8 SCI" or --geometry "d/8 SCE".' in fault.what
    [sample] = read(text, geometry="d/8 SCE", **light).samples
    assert (sample.lab, sample.conditions.geometry) == (LAB, "d/8 SCE")


def test_several_tables_give_one_list_of_samples() -> None:
    """Each under its own header; a table of the same samples in another form is left aside, and that is told."""
    one = "Sample,L*(D65/10),a*(D65/10),b*(D65/10)\nK7,31.5,8.4,9.9\n"
    reading = read(one + "\n" + one.replace("K7", "A3"), geometry="45/0")
    assert [sample.names for sample in reading.samples] == [("K7",), ("A3",)]
    again = read(one + "\n" + spectral("{} nm", "Sample"), geometry="45/0")
    assert [sample.lab for sample in again.samples] == [LAB]
    assert again.notes[-1] == "The table at line 4 holds the same samples in another form; it was left aside."


def test_date_spot_instrument_and_filter_are_kept() -> None:
    """As the file writes them; a polarising filter is another geometry."""
    text = cgats(
        "SAMPLE_ID SPOT LAB_L LAB_A LAB_B",
        "K7 2 31.5 8.4 9.9",
        KEYWORDS + 'INSTRUMENTATION "hand 3"\nCREATED "2026-11-24"\nPOLARIZATION "yes"\nFILTER "none"\n',
    )
    [sample] = read(text).samples
    assert (sample.spot, sample.on, sample.line) == ("2", "2026-11-24", 14)
    assert sample.conditions == Conditions("D65", "10", "45/0, filter polarising", "hand 3")


HEAD = "Sample,L*(D65/10),a*(D65/10),b*(D65/10)\n"
FAULTY = {
    "empty": (" \n", "the file is empty"),
    "binary": ("PK\x03\x04", "not a text file"),
    "zeros": ("L\0,a\0", "not a text file"),
    "no header": ("K7,31.5,8.4,9.9\n", "no line of this file names L*, a* and b*"),
    "wavelengths downwards": (
        "nm,K7\n" + "".join(f"{nm},0.1\n" for nm in NM),
        "the wavelengths run down this file. Turn rows and columns round",
    ),
    "no samples": (HEAD, "there are no samples under this header"),
    "no names": ("L*(D65/10),a*(D65/10),b*(D65/10)\n31,8,9\n", "no column names the samples"),
    "NaN": (HEAD + "K7,31.5,NaN,9.9\n", 'line 2: a*(D65/10) "NaN" is not a number'),
    "a cell empty": (HEAD + "K7,31.5,,9.9\n", "line 2: a*(D65/10) is empty"),
    "decimal commas": (HEAD + "K7,31,5,8,4,9,9\n", "let the instrument's program separate by semicolons or tabs"),
    "open quote": (HEAD + 'K7,"31.5,8.4,9.9\nA3,1,2,3\n', "a quotation mark is opened here"),
    "no light": ("Sample,L*,a*,b*\nK7,31.5,8.4,9.9\n", "add --illuminant D65"),
    "no observer": ("Sample,L*(D65),a*(D65),b*(D65)\nK7,31.5,8.4,9.9\n", "add --observer 10"),
    "twice": ("Sample,L*,a*,b*,L*\nK7,31.5,8.4,9.9,3\n", "the column L is there twice"),
    "two lights": ("Sample,L*,a*,b*,Light\nK7,3,1,2,D65/10\nK7,3,1,2,A/10\n", "the rows are under A/10 and D65/10"),
    "short spectrum": (
        "Sample," + ",".join(map(str, range(450, 651, 10))) + "\nK7" + ",0.1" * 21 + "\n",
        "runs from 450 to 650 nm",
    ),
    "reflectance": (spectral("{}", "Sample", times=900), "no surface reflects that"),
    "per cent or not": (spectral("{}", "Sample", times=8), "may be per cent or a fraction of 1"),
    "hue": ("Sample,L(D65/10),C,h\nK7,31,5,400\n", "is no colour: C* is 0 or more, h 0 to 360"),
    "CGATS broken off": (cgats("SAMPLE_ID LAB_L LAB_A LAB_B", "K7 1 2 3", KEYWORDS)[:-9], "is not closed by END_DATA"),
    "CGATS one row less": (
        cgats("SAMPLE_ID LAB_L LAB_A LAB_B", "K7 1 2 3", KEYWORDS).replace("SETS 1", "SETS 3"),
        "line 5: NUMBER_OF_SETS says 3, but there is 1 row",
    ),
    "CGATS name with a blank": (
        cgats("SAMPLE_ID LAB_L LAB_A LAB_B", "white tile 1 2 3", KEYWORDS),
        "this row has 5 values, and the format names 4 fields. Put names with blanks in quotation marks",
    ),
    "CGATS without format": ("BEGIN_DATA\nK7 1 2 3\nEND_DATA\n", "no BEGIN_DATA_FORMAT above them"),
}


@pytest.mark.parametrize(("text", "says"), FAULTY.values(), ids=FAULTY)
def test_a_faulty_file_says_what_is_wrong(text: str, says: str) -> None:
    """At its line."""
    assert says in "\n".join(map(str, read(text, geometry="45/0").faults))


def test_faults_are_told_all_at_once() -> None:
    """Two bad rows are two faults; the good row is still read."""
    reading = read(HEAD + "K7,x,8,9\nA3,31.5,8.4,9.9\nC4,30,,9\n", geometry="45/0")
    assert [fault.line for fault in reading.faults] == [2, 4]
    assert [sample.names[0] for sample in reading.samples] == ["A3"]


def test_options_that_contradict_the_file_are_refused() -> None:
    """L*a*b* of one light is not turned into another; another geometry than the file's is no answer."""
    text = HEAD + "K7,31.5,8.4,9.9\n"
    assert "are under D65/10, not under D50" in read(text, geometry="45/0", illuminant="D50").faults[0].what
    said = read("Geometry: d/8 SCI\n" + text, geometry="45/0").faults[0].what
    assert said == "the file says geometry d/8 SCI, and --geometry 45/0. Leave the option out."


def test_the_series_answers_what_the_file_leaves_open() -> None:
    """A second file of the same instrument need not be asked again."""
    known = Conditions("D50", "2", "45/0", "hand 3")
    reading = read_instrument("Sample,L*,a*,b*\nK7,31.5,8.4,9.9\n", "file", None, known)
    assert reading.samples[0].conditions == known
    assert reading.notes == (
        "Taken as in the other readings, since the file does not say: illuminant D50, observer 2 and geometry 45/0.",
    )
