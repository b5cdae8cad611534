"""Measurements that come from photos and instrument files, not from forms."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tilestudy.errors import FaultyFileError
from tilestudy.studio import Studio
from tilestudy.study.records import Cloth, Reading

TELLS = {
    "glare": 0.031,
    "tray": 4,
    "photo": ["IMG_1.jpg", "IMG_2.jpg"],
    "colours": [[31.0, 9.0, 8.0, 1.0]],
    "residual": 0.71,
}


def seen(studio: Studio, places: slice = slice(None), **more: object) -> list[Reading]:
    """Readings of a study's tiles in a photo of today."""
    _, plan = studio.planned("plaques")
    one = Reading(
        *("", "cured", studio.today, 31.2, 8.4, 9.9, 1, "photo", "24 patches", "D50", "2"),
        mottle=1.42,
        error=0.83,
        detail=TELLS,
    )
    return [replace(one, tile=tile.code, **more) for tile in plan.tiles[places]]  # type: ignore[arg-type]


def told(caught: pytest.ExceptionInfo[FaultyFileError]) -> list[str]:
    return [fault.what for fault in caught.value.faults]


def test_a_photo_is_stored_once_and_its_history_is_readable(run: Run, planned: Path, tmp_path: Path) -> None:
    """The same photo again changes nothing, with better references it corrects; history says what it told, without raw data."""
    studio = Studio(tmp_path)
    lower = [replace(one, tile=one.tile.lower()) for one in seen(studio)]
    assert len(studio.store_measured("plaques", "colour", lower, "IMG_1.jpg").outcomes["colour"].added) == len(lower)
    assert studio.store_measured("plaques", "colour", lower, "IMG_1.jpg").text().startswith("Nothing new")
    better = seen(studio, L=30.0, geometry="6 patches")
    assert len(studio.store_measured("plaques", "colour", better, "IMG_7.jpg").outcomes["colour"].corrected) == len(
        lower
    )
    typed = run("colour", "plaques", better[0].tile, "-L", "31", "-a", "8", "-b", "9")
    assert (typed.exit_code, "measured in photos" in typed.output) == (2, True)
    text = run("history", "plaques", better[0].tile).output
    assert (
        "mottle 1.4, expected error 0.83, glare 3 %, fit residual 0.71, photo IMG_1.jpg and IMG_2.jpg, tray 4; from"
        in text
    )
    assert "[[" not in text


def test_what_a_photo_says_of_the_wrong_tiles_is_refused_with_every_fault(planned: Path, tmp_path: Path) -> None:
    """Unknown tiles, days, doubles, ranges and stages are told together, and nothing is stored."""
    studio = Studio(tmp_path)
    good = seen(studio, slice(4))
    bad = [
        replace(good[0], tile="ZZZZ9"),
        replace(good[1], on=studio.today + timedelta(days=1)),
        replace(good[2], L=-20.0, stage="cooked"),
        *(good[3], good[3]),
    ]
    with pytest.raises(FaultyFileError) as caught:
        studio.store_measured("plaques", "colour", bad, "IMG_1.jpg")
    found = "\n".join(told(caught))
    for part in ("ZZZZ9", "later than today", "is out of range", '"cooked" is not known', "is there twice"):
        assert part in found
    assert len(caught.value.faults) == 5
    with studio.book() as book:
        assert book.current("plaques", "colour") == []


def test_a_photo_is_never_mixed_with_another_instrument(run: Run, planned: Path, tmp_path: Path) -> None:
    """Neither beside its readings nor in their place; as a series of its own it stands beside them, and only there."""
    studio = Studio(tmp_path)
    tile = seen(studio)[0].tile
    typed = ("-L", "31", "-a", "8", "-b", "9", "--instrument", "sphere 1")
    assert run("colour", "plaques", tile, *typed).exit_code == 0
    with pytest.raises(FaultyFileError) as caught:
        studio.store_measured("plaques", "colour", seen(studio, slice(1)), "IMG_1.jpg")
    (what,) = told(caught)
    assert all(f'{one} "' in what for one in ("instrument", "geometry", "illuminant", "observer"))
    assert "--series NAME" in what
    studio.store_measured("plaques", "colour", seen(studio, series="Phone"), "IMG_1.jpg")
    paper = seen(studio, slice(2, 4), series="phone", geometry="paper only")
    with pytest.raises(FaultyFileError) as caught:
        studio.store_measured("plaques", "colour", paper, "IMG_1.jpg")
    assert 'as the other readings of the series "Phone" have it' in told(caught)[0]
    with studio.book() as book:
        both = [kept.record for kept in book.current("plaques", "colour")]
    assert {(one.series, one.instrument) for one in both if isinstance(one, Reading)} == {
        ("", "sphere 1"),
        ("Phone", "photo"),
    }


def test_nothing_is_measured_before_it_was_made(run: Run, planned: Path, tmp_path: Path) -> None:
    """A photo or cloth dated before the making is a fault, and so is a making dated after a cloth."""
    studio = Studio(tmp_path)
    first, second = (one.tile for one in seen(studio, slice(2)))
    run("made", "plaques", first, "--on", studio.today.isoformat())
    early = studio.today - timedelta(days=2)
    cloth = Cloth(first, early, 4.4, (90.0, 1.0, 3.0), (94.0, 0.0, 2.0))
    for kind, record in (("cloths", cloth), ("colour", replace(seen(studio, slice(1))[0], on=early))):
        with pytest.raises(FaultyFileError, match="was made on"):
            studio.store_measured("plaques", kind, [record], "IMG_1.jpg")  # type: ignore[arg-type]
    studio.store_measured("plaques", "cloths", [replace(cloth, tile=second)], "IMG_1.jpg")
    with studio.book() as book:
        (kept,) = book.current("plaques", "cloths")
    study, _ = studio.planned("plaques")
    assert study.rub is not None
    assert kept.record == replace(cloth, tile=second, protocol=study.rub.protocol)
    assert "was measured on" in run("made", "plaques", second, "--on", studio.today.isoformat()).output
    text = run("history", "plaques", second).output
    assert "cloth: on" in text
    assert "grade 4.4, stain 90.0 1.0 3.0, clean 94.0 0.0 2.0" in text
    assert "rub" not in {item.what.split(" ")[0] for item in studio.due("plaques").items}  # nothing is due yet


def test_a_cloth_that_cannot_be_is_refused(planned: Path, tmp_path: Path) -> None:
    """Grade, condition and protocol are checked."""
    studio = Studio(tmp_path)
    cloth = Cloth(seen(studio)[0].tile, studio.today, 5.5, (90.0, 1.0, 3.0), (94.0, 0.0, 2.0), "damp", "cloth-99")
    with pytest.raises(FaultyFileError) as caught:
        studio.store_measured("plaques", "cloths", [cloth], "IMG_1.jpg")
    assert len(told(caught)) == 3
