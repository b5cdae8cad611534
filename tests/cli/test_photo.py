"""The command photo: from a printed tray and its picture to readings, grades and findings; what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from tests.cli.conftest import Run
from tests.docs.test_docs import DOCS, paths
from tests.synthetic import Photo, photograph, random_scene, references_of
from tests.synthetic.printed import printed
from tilestudy.colour.difference import ciede2000
from tilestudy.studio import Studio
from tilestudy.study.records import Cloth, Reading
from tilestudy.tray.references import References
from tilestudy.tray.sheet import Sheet


def written(references: References, path: Path) -> Path:
    """Write a reference file."""
    on_card = references.card_mm is not None
    rows = [["patch", "L", "a", "b", *(("x_mm", "y_mm", "size_mm") if on_card else ())]]
    for one in references.patches:
        place = (one.x_mm, one.y_mm, one.size_mm) if on_card else ()
        rows.append([one.name, *(f"{value:.3f}" for value in one.lab), *map(str, place)])
    path.write_text("\n".join(",".join(row) for row in rows) + "\n", encoding="utf-8")
    return path


def taken(sheet: Sheet, path: Path, references: str | None, seed: int = 1) -> Photo:
    """Photograph a printed sheet in good light and write the picture."""
    rng = np.random.default_rng(seed)
    scene = random_scene(rng, size=(1500, 2000), light="daylight", tilt=8.0, uneven=1.3)
    photo = photograph(sheet, scene, rng, references=references, page=printed(sheet))
    photo.write(path)
    return photo


def test_a_printed_tray_goes_through_a_photo_into_the_findings(run: Run, planned: Path, tmp_path: Path) -> None:
    """36 tiles on two sheets, 24 patches: colours near the truth, stored once, drawn, analysed with the photo's own error."""
    patches = written(references_of("24"), tmp_path / "patches.csv")
    sheets = Studio(tmp_path).tray_sheets("plaques", patches).sheets
    files = [tmp_path / f"IMG_{sheet.number}.jpg" for sheet in sheets]
    truth = {}
    for sheet, file in zip(sheets, files, strict=True):
        truth |= taken(sheet, file, "24", seed=sheet.number).tiles
    words = ["photo", "plaques", *map(str, files), "--references", str(patches)]
    said = run(*words)
    assert said.exit_code == 0, said.output
    assert "corrected by 24 patches: expect a colour to be off by about" in " ".join(said.stdout.split())
    assert f"Stored: {len(truth)} colour readings." in said.stdout
    assert all((tmp_path / f"IMG_{sheet.number}-measured.jpg").stat().st_size > 50_000 for sheet in sheets)
    with Studio(tmp_path).book() as book:
        kept = [one.record for one in book.current("plaques", "colour")]
    readings = [one for one in kept if isinstance(one, Reading)]
    assert {one.tile for one in readings} == set(truth)
    off = [float(ciede2000((one.L, one.a, one.b), truth[one.tile].lab)) for one in readings]
    assert np.median(off) < 1.2
    assert all(one.conditions == ("photo", "24 patches", "D50", "2") and one.mottle is not None for one in readings)
    assert f"Nothing new: {len(truth)} rows" in run(*words).stdout
    found = run("drivers", "plaques", "--no-charts")
    assert found.exit_code == 0, found.output
    assert "Colours come from a photo; its own error is about" in " ".join(found.stdout.split())


def test_cloths_are_graded_beside_the_scorers(run: Run, planned: Path, tmp_path: Path) -> None:
    """Six patches: every grade within half a step of the truth, as a record of its own kind."""
    patches = written(references_of("6"), tmp_path / "patches.csv")
    codes = [tile.code for tile in Studio(tmp_path).planned("plaques")[1].tiles[:8]]
    (sheet,) = Studio(tmp_path).tray_sheets("plaques", patches, cloths=True, tiles=codes).sheets
    photo = taken(sheet, tmp_path / "cloths.jpg", "6")
    said = run("photo", "plaques", str(tmp_path / "cloths.jpg"), "--references", str(patches), "--cloths", "--json")
    assert said.exit_code == 0, said.output
    graded = json.loads(said.stdout)["cloths"]
    assert {one["cloth"] for one in graded} == {f"{code} dry" for code in codes}
    assert all(abs(one["grade"] - photo.cloths[one["cloth"]].grade) <= 0.5 for one in graded)
    with Studio(tmp_path).book() as book:
        kept = [one.record for one in book.current("plaques", "cloths")]
        assert list(book.current("plaques", "rub")) == []
    assert {one.tile for one in kept if isinstance(one, Cloth)} == set(codes)


def test_an_empty_place_is_told_and_a_spoiled_tile_is_not_missed(run: Run, planned: Path, tmp_path: Path) -> None:
    """A missing tile stops the photo; named with --empty, or spoiled since the sheet was printed, it does not."""
    patches = written(references_of("6"), tmp_path / "patches.csv")
    codes = [tile.code for tile in Studio(tmp_path).planned("plaques")[1].tiles[:6]]
    (sheet,) = Studio(tmp_path).tray_sheets("plaques", patches, tiles=codes).sheets
    rng = np.random.default_rng(3)
    scene = random_scene(rng, size=(1200, 1600), light="daylight", tilt=3.0)
    gone, broken = codes[1], codes[4]
    photograph(sheet, scene, rng, references="6", missing=(gone, broken), page=printed(sheet)).write(tmp_path / "a.jpg")
    words = ["photo", "plaques", str(tmp_path / "a.jpg"), "--references", str(patches)]
    refused = run(*words)
    assert refused.exit_code == 1
    assert gone in refused.stderr
    assert broken in refused.stderr
    assert "Nothing was stored." in refused.stderr
    assert not (tmp_path / "a-measured.jpg").exists()
    assert run("made", "plaques", broken, "--spoiled").exit_code == 0
    found = json.loads(run(*words, "--empty", gone.lower(), "--json").stdout)
    assert [len(tray["tiles"]) for tray in found["trays"]] == [4]
    again = tmp_path / "b.jpg"
    again.write_bytes((tmp_path / "a.jpg").read_bytes())
    assert "b.jpg is the same photo as a.jpg" in run(*words, str(again)).stderr
    photograph(sheet, scene, rng, references="6", missing=(gone, broken), page=printed(sheet)).write(again)
    other = run(*words, str(again), "--empty", gone)  # other tiles on the same sheet
    assert other.exit_code == 1
    assert "another colour in each of these photos" in other.stderr
    anew = run("photo", "plaques", str(again), "--references", str(patches), "--empty", gone)
    assert "Measured anew: 4 readings take the place of earlier photos'" in " ".join(anew.stdout.split())
    assert anew.stdout.count("Corrected") == 0
    section = (DOCS / "reference" / "json.md").read_text(encoding="utf-8").split("\n## `tilestudy photo ")[1]
    assert all(f"| `{key}`" in section for key in paths(found))
    assert "There is no place" in run(*words, "--empty", "zz9").stderr


def test_what_cannot_be_measured_is_said_for_every_photo_at_once(run: Run, planned: Path, tmp_path: Path) -> None:
    """No sheet printed; no picture; a tray of another study; the file of patches forgotten or another one."""
    nothing = tmp_path / "notes.jpg"
    nothing.write_text("no picture", encoding="utf-8")
    assert 'Type "tilestudy tray plaques".' in run("photo", "plaques", str(nothing)).stderr
    patches = written(references_of("6"), tmp_path / "patches.csv")
    studio = Studio(tmp_path)
    codes = [tile.code for tile in studio.planned("plaques")[1].tiles[:4]]
    studio.new("pulls", "low-heat", "C26000")
    studio.plan("pulls", seed=5)
    theirs = [tile.code for tile in studio.planned("pulls")[1].tiles[:4]]
    (ours,) = studio.tray_sheets("plaques", patches, tiles=codes).sheets
    (other,) = studio.tray_sheets("pulls", tiles=theirs).sheets
    taken(ours, tmp_path / "ours.jpg", "6")
    taken(other, tmp_path / "other.jpg", None)
    said = run("photo", "plaques", str(nothing), str(tmp_path / "other.jpg"), "--references", str(patches))
    assert said.exit_code == 1
    assert "notes.jpg: This is not a picture" in said.stderr
    assert "other.jpg" in said.stderr
    assert "is of the study pulls" in said.stderr
    greys = tmp_path / "greys.csv"
    greys.write_text("patch,L,a,b\nwhite,95,0,1\nmiddle,50,0,0\n", encoding="utf-8")
    for words, says in (
        ([], "--references"),
        (["--references", str(greys)], "white, grey, black"),
        (["--references", str(nothing)], "no column"),
    ):
        refused = run("photo", "plaques", str(tmp_path / "ours.jpg"), *words)
        assert refused.exit_code in (1, 2), words
        assert says in refused.stderr, words


def test_a_photo_is_kept_apart_from_an_instrument(run: Run, planned: Path, tmp_path: Path) -> None:
    """It is said before anything is measured, with the option that keeps both."""
    tile = Studio(tmp_path).planned("plaques")[1].tiles[0].code
    run("colour", "plaques", tile, "-L", "31", "-a", "8", "-b", "9", "--instrument", "sphere 1")
    file = tmp_path / "a.jpg"
    file.write_bytes(b"")
    refused = run("photo", "plaques", str(file))
    assert refused.exit_code == 2
    assert "has colours of sphere 1" in refused.stderr
    assert "add --series phone" in refused.stderr


@pytest.mark.parametrize("words", [["--cloths", "--stage", "cured"], ["--round", "2"], ["--stage", "shiny"]])
def test_options_that_do_not_go_together_are_refused(run: Run, planned: Path, tmp_path: Path, words: list[str]) -> None:
    """Before any photo is opened."""
    file = tmp_path / "a.jpg"
    file.write_bytes(b"")
    assert run("photo", "plaques", str(file), *words).exit_code == 2
