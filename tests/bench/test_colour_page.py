"""The photo page: looked at, kept or thrown away; what is no photo is refused."""

from __future__ import annotations

import zipfile
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.bench.visitor import Visitor, alone, shared
from tests.cli.test_photo import taken, written
from tests.synthetic import references_of
from tilestudy.colour.difference import ciede2000
from tilestudy.studio import Studio
from tilestudy.study.records import Reading


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    """A planned study."""
    studio = Studio(tmp_path)
    studio.new("plaques", "sulfide-dip", "C11000")
    studio.plan("plaques", seed=7)
    return studio


def readings(studio: Studio) -> dict[str, Reading]:
    with studio.book() as book:
        kept = [one.record for one in book.current("plaques", "colour")]
    return {one.tile: one for one in kept if isinstance(one, Reading)}


def test_a_photo_is_looked_at_before_it_is_kept(studio: Studio, tmp_path: Path) -> None:
    """Nothing is stored before the yes; then colours near the truth, the photo and its drawing in the study's folder."""
    patches = written(references_of("6"), tmp_path / "patches.csv")
    codes = [tile.code for tile in studio.planned("plaques")[1].tiles[:6]]
    (sheet,) = studio.tray_sheets("plaques", patches, tiles=codes).sheets
    photo = taken(sheet, tmp_path / "IMG.jpg", "6")
    data = (tmp_path / "IMG.jpg").read_bytes()
    app, access = shared(tmp_path)
    visitor = Visitor(app, "KL", access.code("scorer"))
    form = {"stage": "cured", "references": "patches.csv"}
    asked = visitor.post("/plaques/colour", **form, photos=(BytesIO(data), "../../../evil.jpg"))
    assert asked.status_code == 302, asked.text
    page = visitor.get(asked.headers["Location"])
    assert page.status_code == 200
    assert all(f"<strong>{code}</strong>" in page.text for code in codes)
    drawing = visitor.get(f"{asked.headers['Location']}/0.jpg")
    assert Image.open(BytesIO(drawing.data)).format == "JPEG"
    assert readings(studio) == {}
    other = Visitor(app, "MB", access.code("scorer"))  # another device neither sees nor keeps it
    assert other.get(asked.headers["Location"]).status_code == 404
    assert other.post(asked.headers["Location"], keep="yes").status_code == 404
    kept = visitor.post(asked.headers["Location"], keep="yes")
    assert "Stored: 6 colour readings" in kept.text
    found = readings(studio)
    assert set(found) == set(codes)
    assert {one.by for one in found.values()} == {"KL"}
    off = [float(ciede2000((one.L, one.a, one.b), photo.tiles[one.tile].lab)) for one in found.values()]
    assert np.median(off) < 2.5
    files = sorted(path.name for path in (tmp_path / "experiments" / "plaques" / "photos").iterdir())
    assert len(files) == 2
    assert not any("evil" in name for name in files)
    assert not list(tmp_path.parent.glob("evil*"))
    assert visitor.post(asked.headers["Location"], keep="yes").status_code == 404  # once only

    again = visitor.post("/plaques/colour", **form, photos=(BytesIO(data), "IMG.jpg"))
    assert visitor.post(again.headers["Location"], keep="no").status_code == 302
    assert visitor.get(again.headers["Location"]).status_code == 404


def picture(width: int, height: int, kind: str = "PNG") -> bytes:
    out = BytesIO()
    Image.new("L", (width, height)).save(out, kind)
    return out.getvalue()


def zipped() -> bytes:
    out = BytesIO()
    with zipfile.ZipFile(out, "w") as bundle:
        bundle.writestr("a.jpg", b"x")
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "could not be read as a picture"),
        (b"not a picture", "could not be read as a picture"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "could not be read as a picture"),
        (zipped(), "could not be read as a picture"),
        (picture(12_000, 12_000), "could not be read as a picture"),
        (picture(900, 900, "GIF"), "could not be read as a picture"),
        (picture(900, 900), "plaques"),  # a picture of nothing: the tray is not found, in plain words
    ],
)
def test_what_is_no_photo_of_a_tray_is_refused_in_words(studio: Studio, tmp_path: Path, data: bytes, says: str) -> None:
    """Nothing of it stays on the server."""
    studio.tray_sheets("plaques", None)
    visitor = Visitor(alone(tmp_path), "KL")
    answer = visitor.post("/plaques/colour", stage="cured", references="", photos=(BytesIO(data), "IMG.jpg"))
    assert answer.status_code == 409
    assert says in answer.text
    assert "Traceback" not in answer.text
    assert not (tmp_path / "experiments" / "plaques" / "photos").exists()
