"""The sheet is found by its markers, and every cell is placed within a millimetre."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from tests.photo.views import PER_MM, anyhow, paper, seen
from tests.synthetic import tray
from tests.synthetic.scene import Scene
from tilestudy.errors import PhotoError, WrongTrayError
from tilestudy.photo.find import corners_of, find, rectify
from tilestudy.tray.layout import lay_out
from tilestudy.tray.sheet import Sheet

SHEET = tray(12, None, number=9)
PLAIN = Scene(size=(900, 1200), blur=0.6)


def worst_mm(sheet: Sheet, scene: Scene, seed: int, page: np.ndarray | None = None) -> float:
    picture, view = seen(sheet, scene, np.random.default_rng(seed), page)
    placed = find(picture, [sheet])
    mm = np.vstack([corners_of(cell.box) for cell in sheet.tiles])
    return float((np.hypot(*(placed.to_picture(mm) - view.to_px(mm)).T) / placed.view.px_per_mm(mm)).max())


def test_cells_are_placed_within_a_millimetre_in_random_views() -> None:
    """Tilted to 25 degrees, turned, with lens distortion to 0.08 either way; the benchmark photo_accuracy looks at 200."""
    for seed in range(12):
        scene = anyhow(np.random.default_rng(seed), (1125, 1500))
        assert worst_mm(SHEET, scene, seed) < 0.5, scene


@pytest.mark.parametrize("hidden", range(4))
def test_three_markers_of_four_suffice(hidden: int) -> None:
    """With any one corner hidden the cells are still placed within a millimetre, and the person is told which."""
    page, box = paper(SHEET), SHEET.markers[hidden].box
    x, y, side = (round(v * PER_MM) for v in (box.x, box.y, box.width))
    page[y : y + side, x : x + side] = 225
    scene = replace(PLAIN, tilt=12.0, k1=0.05)
    assert worst_mm(SHEET, scene, 1, page) < 1.0
    corner = ("top left", "top right", "bottom left", "bottom right")[hidden]
    notes = find(seen(SHEET, scene, np.random.default_rng(1), page)[0], [SHEET]).notes
    assert notes == (f"The {corner} marker was not seen; the tray was placed by the other three.",)


def test_the_sheet_is_known_by_its_markers() -> None:
    """Among several sheets the one in the picture is taken."""
    sheets = lay_out("plaques", (25, 50), [f"A{n}" for n in range(40)], first_number=8, paper="a4")
    picture, _ = seen(sheets[1], PLAIN, np.random.default_rng(0))
    assert find(picture, sheets).sheet == sheets[1]


def test_laid_flat_each_millimetre_is_in_its_place() -> None:
    """In the flat picture a marker's corners lie at their mm times the scale, from fine pictures as from coarse."""
    for size in ((1050, 1400), (1950, 2600)):
        scene = replace(PLAIN, size=size, tilt=15.0, k1=-0.06)
        picture, _ = seen(SHEET, scene, np.random.default_rng(0))
        flat = rectify(picture, find(picture, [SHEET]), 5.0)
        assert flat.image.shape == (1485, 1050, 3)
        grey = cv2.cvtColor(np.nan_to_num(flat.image * 255).astype(np.uint8), cv2.COLOR_RGB2GRAY)
        detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000))
        corners, numbers, _ = detector.detectMarkers(grey)
        boxes = {marker.number: marker.box for marker in SHEET.markers}
        for square, number in zip(corners, numbers.ravel(), strict=True):
            off = (square[0] + 0.5) / 5.0 - corners_of(boxes[int(number)])
            assert np.abs(off).max() < 0.4


def refusal(
    scene: Scene, page: np.ndarray | None = None, sheets: tuple[Sheet, ...] = (SHEET,), flip: bool = False
) -> str:
    picture, _ = seen(SHEET, scene, np.random.default_rng(0), page)
    if flip:
        picture = replace(picture, pixels=np.ascontiguousarray(picture.pixels[:, ::-1]))
    with pytest.raises(PhotoError) as caught:
        find(picture, sheets)
    return str(caught.value)


def test_wrong_trays_are_named() -> None:
    """A tray of another study is told by its number, so that the program can say whose it is."""
    picture, _ = seen(SHEET, PLAIN, np.random.default_rng(0))
    with pytest.raises(
        WrongTrayError, match=r"tray.jpg: This is tray 9, which is not one of the trays asked for\."
    ) as caught:
        find(picture, [tray(12, None, number=3)])
    assert caught.value.tray == 9


def test_what_hides_the_sheet_is_said() -> None:
    """No markers, too few, a mirrored picture, a bent sheet, too far away, blur, cells outside: each its own sentence."""
    page = paper(SHEET)
    few = page.copy()
    few[: round(60 * PER_MM)] = 225
    assert refusal(PLAIN, few) == (
        "tray.jpg: Only 2 corner markers of tray 9 can be seen; three are needed. Not seen: top left and top right. "
        "They are covered or outside the picture, or the photo is blurred. Take it again, sharp, with all four corners of the "
        "sheet free and in the picture."
    )
    assert refusal(PLAIN, np.full_like(page, 225)) == (
        "tray.jpg: No tray sheet can be seen: none of its corner markers was found. They are outside the picture, or it is "
        "blurred or too dark. Take the photo from above, sharp and well lit, with all four black squares in it."
    )
    assert refusal(PLAIN, flip=True) == (
        "tray.jpg: The picture is mirrored. Take it with the main camera, or switch mirroring off."
    )
    assert "The tray is too small in the picture (2.0 pixels for each mm; 3 are the least)." in refusal(
        replace(PLAIN, size=(600, 800), fill=0.8)
    )
    assert refusal(replace(PLAIN, size=(1050, 1400), blur=3.0)).startswith(
        "tray.jpg: The photo is blurred: edges spread over "
    )
    askew = replace(SHEET.markers[3], box=replace(SHEET.markers[3].box, y=SHEET.markers[3].box.y - 8))
    bent = refusal(PLAIN, sheets=(replace(SHEET, markers=(*SHEET.markers[:3], askew)),))
    assert bent.startswith("tray.jpg: The corner markers do not lie as on a flat sheet (off by ")
    assert bent.endswith("Lay the sheet flat, print it at full size (100 %), and take the photo again.")
    assert refusal(replace(PLAIN, size=(1050, 1400), turn=12.0, fill=1.0, off_centre=(-0.1, -0.05))) == (
        "tray.jpg: The place of A9 lies partly outside the picture. Take the photo again with the whole sheet in it."
    )


def test_two_sheets_in_one_picture_are_refused() -> None:
    """Which of two is meant cannot be known."""
    first, second = (seen(tray(12, None, number=n), PLAIN, np.random.default_rng(n))[0] for n in (3, 9))
    both = replace(first, pixels=np.hstack([first.pixels, second.pixels]))
    with pytest.raises(PhotoError, match=r"Two tray sheets lie in the picture. Take a photo of each sheet on its own."):
        find(both, [tray(12, None, number=3), SHEET])
