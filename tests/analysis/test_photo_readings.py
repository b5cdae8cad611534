"""Colours read by photo: their light, their series, their error, and cloths graded beside the scorers."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from tilestudy.analysis.choice.chance import Right, normal_nodes
from tilestudy.analysis.choice.choice import choose
from tilestudy.analysis.choice.chooser import Option
from tilestudy.analysis.choice.colours import fit_colours
from tilestudy.analysis.choice.confirm import Claim, claim_from, compare
from tilestudy.analysis.colour.photo_error import covariance
from tilestudy.analysis.colour.series import main_colours, one_series
from tilestudy.analysis.find import find, outcomes_of
from tilestudy.analysis.model import build_model
from tilestudy.colour.adaptation import adapt
from tilestudy.colour.difference import ciede2000, lab_of
from tilestudy.errors import NotEnoughError, WrongRequestError
from tilestudy.study.records import Batch, Cloth, Factor, Plan, Reading, Rub, RubPlan, Study, Target, Tile

ON = date(2026, 1, 12)
STRENGTH = Factor("strength", (1.0, 9.0), "g/L", "g/L", "geometric", "batch")
DIP = Factor("dip_time", (10.0, 30.0, 90.0), "s", "s", "geometric")
WANTED = (38.0, 12.0, 14.0)
PHOTO = {"instrument": "photo", "geometry": "24 patches", "illuminant": "D50", "observer": "2", "error": 1.3}
BATHS = (1.0, 9.0, 9.0, 1.0)


def study(tolerance=5.0, **more):
    return Study("plaques", "What?", "other", (STRENGTH, DIP), target=Target("dark brown", WANTED, tolerance), **more)


def plan():
    batches = tuple(Batch(f"B{i}", 1, i + 1, {"strength": s}) for i, s in enumerate(BATHS))
    tiles = tuple(
        Tile(f"T{i}", f"B{i // 6}", 1, i % 6 + 1, {"strength": BATHS[i // 6], "dip_time": (10.0, 30.0, 90.0)[i % 3]})
        for i in range(24)
    )
    return Plan("plaques", 1, batches, tiles)


def readings(seed=1, **more):
    rng = np.random.default_rng(seed)
    found = []
    for tile in plan().tiles:
        dark = 6 * (tile.settings["strength"] == 9.0) + 5 * np.log(tile.settings["dip_time"] / 10) / np.log(3)
        L, a, b = np.array([48.0, 16.0, 18.0]) - dark * np.array([1.0, 0.4, 0.5]) + rng.normal(0, 0.8, 3)
        found.append(Reading(tile.code, "cured", ON, L, a, b, **more))
    return found


def found_of(readings, rubs=(), cloths=(), series=None, **more):
    return find(study(**more), plan(), "bath", (), (), readings, (), rubs, cloths=cloths, series=series)


def told(found):
    return " ".join(sentence for block in found.blocks() for sentence in block.sentences)


def test_readings_under_d50_are_adapted_before_they_meet_a_target():
    """Targets and names are of D65; a D50 colour as it stands would be compared with another colour."""
    found = found_of(readings(**PHOTO))
    tile, raw = found.tiles[0], readings()[0]
    there = adapt((raw.L, raw.a, raw.b), "D50", "2")
    assert tile.lab == pytest.approx(there)
    assert tile.lab != pytest.approx((raw.L, raw.a, raw.b), abs=0.1)
    assert tile.distance == pytest.approx(float(ciede2000(there, WANTED)))
    assert found.series.told() == "photo, 24 patches, D50, 2°, adapted to D65"
    assert found.colours.loc[0, "L"] == pytest.approx(there[0])
    assert (
        "Measured under D50, 2 degrees; adapted to D65 (Bradford); what a 10 degree observer sees differently (about 1.4 "
        "CIEDE2000) is not converted."
    ) in found.unknown()
    assert (
        found.as_dict()["series"] | {"error": 1.3, "adapted_to": "D65", "illuminant": "D50"}
        == found.as_dict()["series"]
    )


def test_a_light_whose_white_is_not_known_is_left_alone_and_said():
    """Nothing is guessed."""
    found = found_of(readings(illuminant="MY LAMP"))
    assert found.tiles[0].lab == lab_of([getattr(readings()[0], one) for one in "Lab"])
    assert "the white of MY LAMP is not known here" in told(found)


def test_series_are_never_pooled():
    """The study's own counts; the one asked for; the only other one, with a note; several are an error that names them."""
    own, tray, bench = readings(), readings(2, series="tray", **PHOTO), readings(3, series="bench")
    assert one_series([*own, *tray], "cured")[0] == own
    assert one_series([*own, *tray], "cured", "tray")[1].name == "tray"
    alone, series = one_series([*own, *(replace(one, stage="sealed") for one in tray)], "sealed")
    assert len(alone) == len(tray)
    assert series.sentences()[0] == (
        'The study\'s own series has no sealed colours, so those of series "tray" are used.'
    )
    with pytest.raises(WrongRequestError) as caught:
        one_series([*tray, *bench], "cured", None, "plaques")
    assert str(caught.value) == (
        'The own series of plaques has no cured colours, and several others have: "bench" and "tray". Series are never mixed: '
        'say which, with "--series bench".'
    )
    with pytest.raises(
        WrongRequestError, match=r'plaques has no colour readings of a series "try"\. There are readings of "tray"'
    ):
        one_series(tray, "cured", "try", "plaques")


def test_mottle_by_photo_is_never_mixed_with_that_of_spots():
    """One number a tile, from the photo; a tile with two spots beside it has none."""
    some = [replace(one, mottle=1.0 + 0.1 * i) for i, one in enumerate(readings(**PHOTO))][:20]
    spots = [replace(one, spot=n) for one in readings(**PHOTO)[20:] for n in (1, 2)]
    found = found_of([*some, *spots])
    assert found.responses["mottle"].n_tiles == 20
    assert found.series.mottle_by_photo


def test_the_error_of_a_colour_has_the_median_stated():
    """Conversion from a median CIEDE2000 to L*, a*, b*, for brown, grey and blue."""
    rng = np.random.default_rng(1)
    for lab in ((30.0, 12.0, 14.0), (40.0, 0.0, 0.0), (30.0, 10.0, -50.0)):  # brown, grey, blue
        off = np.linalg.cholesky(covariance(lab, 2.0)) @ rng.standard_normal((3, 20000))
        assert np.median(ciede2000(np.array(lab) + off.T, lab)) == pytest.approx(2.0, abs=0.1)


def test_the_photos_error_widens_ranges_and_leaves_tests_alone():
    """Tiles of one photo share it, so p is the same; how far apart two unlike colours are is less sure."""
    exact, photo = found_of(readings()), found_of(readings(error=3.0))
    for name in ("strength", "dip_time"):
        for one in "Lab":
            a, b = exact.responses[one].term(name), photo.responses[one].term(name)
            assert (a.p, a.effect) == (b.p, b.effect)
            assert b.low < a.low < a.high < b.high
            assert (b.low > 0) == (a.low > 0)
        a, b = exact.colour.effect(name), photo.colour.effect(name)
        assert a.p == b.p
        assert b.change.low < a.change.low < a.change.high < b.change.high


def test_what_the_error_means_is_said_once():
    """Nothing for an instrument; a sentence for a photo; a stronger one for a grey card."""
    assert found_of(readings()).series.sentences() == []
    assert (
        told(found_of(readings(**PHOTO))).count("Colours come from a photo; its own error is about 1.3 CIEDE2000") == 1
    )
    coarse = readings(**{**PHOTO, "geometry": "grey card", "error": 3.2})
    assert "with a grey card only and are coarse: each is off by about 3.2 CIEDE2000" in told(found_of(coarse))


def test_a_best_tile_near_the_limit_of_the_tolerance_is_told_so():
    """Within or outside is said with care where the photo's error may decide it."""
    away = found_of(readings(**PHOTO)).best.distance
    near, far = (found_of(readings(**PHOTO), tolerance=away + by) for by in (0.5, 3.0))
    doubt = "(the measurement's own error of about 1.3 may decide that)"
    assert [doubt in one.best_sentences()[0] for one in (near, far)] == [True, False]


def test_relative_readings_compare_tiles_and_choose_nothing():
    """A photo without reference patches: drivers yes, target and choice no."""
    paper = {"instrument": "photo", "geometry": "paper only", "illuminant": "D50", "observer": "2"}
    some = [replace(one, detail={"photo": f"{i // 12}.jpg"}) for i, one in enumerate(readings(**paper))]
    found = found_of(some)
    assert "dip_time" in found.colour.drivers
    assert "to_target" not in found.responses
    assert found.best is None
    assert "Colours are relative" in told(found)
    assert "These tiles are in 2 photos" in told(found)
    with pytest.raises(
        NotEnoughError, match=r'Photograph the tray again with reference patches in it .*"tilestudy colour plaques"'
    ):
        choose(found, np.random.default_rng(1))


def test_a_tile_of_several_colours_is_told_so():
    """The main colours of the photo, adapted as the tile's colour is."""
    best = found_of(readings(**PHOTO)).best.tile
    mixed = {"colours": [[60.0, -20.0, 0.0, 0.3], [30.0, 12.0, 14.0, 0.7]]}
    some = [replace(one, detail=mixed if one.tile == best else {}) for one in readings(**PHOTO)]
    adapted = main_colours(one_series(some, "cured")[0], "cured")[best]
    assert adapted[0][:3] == pytest.approx(adapt((30.0, 12.0, 14.0), "D50", "2"))
    assert adapted[0][3] == 0.7
    sentence = next(one for one in found_of(some).best_sentences() if one.startswith("It is not of one colour: "))
    assert "(70 %) and" in sentence
    assert sentence.endswith("(30 %) in the photo.")


def test_choose_has_the_photos_error_in_its_ranges():
    """A new tile's true colour is as unsure as luck and photo together; without an error nothing changes."""
    tiles = found_of(readings()).colours
    model = build_model(tiles, (STRENGTH, DIP))
    row, nodes = model.matrix(tiles)[0], normal_nodes(np.random.default_rng(2), 64)

    def spread(error):
        fit = fit_colours(tiles, model, {"batch": tiles["batch"].factorize()[0]}, None, error)
        return fit.truths(np.random.default_rng(3), 2000).new_tiles(row, nodes).std(axis=(0, 1))

    at = np.array([48.0, 16.0, 18.0])
    expected = np.sqrt(spread(None) ** 2 + np.diag(covariance(at, 3.0)))
    assert spread(3.0) == pytest.approx(expected, rel=0.06)
    said = " ".join(choose(found_of(readings(**{**PHOTO, "error": 3.0})), np.random.default_rng(1)).sentences())
    assert (
        "Colours were measured to about 3 CIEDE2000; these chances are of the true colour and have that in them."
        in said
    )


def test_confirmation_counts_the_claims_series_and_names_tiles_at_the_limit():
    """A colour 0.4 inside a tolerance, by a photo sure to 1.3, may be wrong."""
    option = Option({"strength": 9.0}, 0.8, 0.6, 0.9, None, None, WANTED, WANTED, WANTED, 0.0, (0.6, 0.8, 0.9))
    claim = Claim(option, Right(WANTED, None, 5.0), "cured", (), ("T0", "T1"), ON, "tray")
    assert claim_from(claim.as_dict()) == claim
    at_limit = Reading("T0", "cured", ON, 43.3, 12.0, 14.0, series="tray", error=1.3)
    others = [Reading("T0", "cured", ON, 10.0, 0.0, 0.0), Reading("T1", "cured", ON, 38.0, 12.0, 14.0)]
    outcomes = outcomes_of(study(), plan(), claim, (), (), [at_limit, *others], (), ())
    assert [one.lab for one in outcomes] == [(43.3, 12.0, 14.0), None]
    compared = compare(claim, outcomes)
    assert compared.near_limit == ("T0",)
    assert "The photo's own error may decide whether T0 has the right colour" in " ".join(
        compared.sentences(study(), "bath")
    )


def test_cloths_by_photo_stand_beside_the_scorers():
    """Compared tile by tile with the scorers' median; alone they judge nothing."""
    rub = RubPlan("a", ("dry",), 4.0)
    grades = [4.0, 4.5, 3.5, 3.0, 4.0, 4.5]
    rubs = [Rub(f"T{i}", mark, ON, grades[i % 6]) for i in range(24) for mark in ("KL", "MB")]
    cloths = [Cloth(f"T{i}", ON, grades[i] - (0.2, 0.8, 0.1)[i % 3], (80, 1, 2), (94, 0, 1)) for i in range(5)]
    both, alone = found_of(readings(), rubs, cloths, rub=rub), found_of(readings(), (), cloths[:1], rub=rub)
    assert (
        "The photo's grades of 5 cloths lie 0.2 of a grade from the scorers' median at the middle tile and 0.8 of a grade at "
        "most (tile T1); findings rest on the scorers alone. Look at the cloths that differ by more than half a grade again."
    ) in told(both)
    without = found_of(readings(), rubs, rub=rub).responses["rub_dry"]
    assert both.responses["rub_dry"].sentences == without.sentences
    assert "1 cloth of the dry rub is graded by photo only; no scorer yet" in told(alone)
