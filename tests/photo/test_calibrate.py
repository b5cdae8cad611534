"""Calibration of a photo by its paper and reference patches, and everything it refuses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.photo.painted import PX_PER_MM, TILES, Phone, light_of, paint, photographed
from tests.synthetic import references_of, tray
from tilestudy.colour.difference import ciede2000
from tilestudy.errors import PhotoError
from tilestudy.photo.beliefs import beliefs
from tilestudy.photo.calibrate import Calibrated, calibrate
from tilestudy.photo.card import seat
from tilestudy.photo.colour_map import fit_map, light_to_xyz, scaling
from tilestudy.photo.rectified import Rectified


def errors(image: Rectified, calibrated: Calibrated) -> np.ndarray:
    """CIEDE2000 of each tile's middle from what was painted."""
    found = []
    for cell in image.sheet.tiles:
        x, y = cell.box.middle
        rows = slice(int((y - 5) * PX_PER_MM), int((y + 5) * PX_PER_MM))
        columns = slice(int((x - 5) * PX_PER_MM), int((x + 5) * PX_PER_MM))
        at = np.stack(np.meshgrid(np.arange(columns.start, columns.stop), np.arange(rows.start, rows.stop)), axis=-1)
        light = calibrated.light(image.image[rows, columns], (at + 0.5) / PX_PER_MM)
        found.append(ciede2000(calibrated.lab(light.reshape(-1, 3).mean(axis=0)), TILES[cell.code]))
    return np.array(found)


def fault(image: Rectified, references: object) -> str:
    """What a photo is refused for."""
    with pytest.raises(PhotoError) as caught:
        calibrate(image, references)  # type: ignore[arg-type]
    return "\n".join(caught.value.faults)


@pytest.mark.parametrize(("kind", "most"), [("24", 1.0), ("6", 1.2), ("grey", 5.0)])
def test_it_finds_the_colours_of_tiles_in_light_that_falls_off_two_to_one(kind: str, most: float) -> None:
    """Tiles come out as painted, better with more patches, and patches as their reference says."""
    image, references = paint(kind, Phone(uneven=2.0))
    calibrated = calibrate(image, references)
    assert calibrated.illuminant == "D50"
    assert calibrated.observer == "2"
    assert errors(image, calibrated).max() < most
    assert references is not None
    assert calibrated.kind == references.kind
    assert [patch.name for patch in calibrated.patches] == [patch.name for patch in references.patches]
    assert calibrated.residual < 1


def test_it_states_a_larger_error_with_fewer_patches() -> None:
    """24, 6, a grey card, paper alone: each is told to be worse than the one before."""
    stated = [calibrate(*paint(kind, Phone())).error for kind in ("24", "6", "grey", None)]
    assert stated == sorted(stated)
    assert stated[0] > 0.2


def test_it_gives_relative_colours_by_the_paper_alone() -> None:
    """Without references paper is taken for plain office paper."""
    image, _ = paint(None, Phone())
    calibrated = calibrate(image, None)
    assert calibrated.kind == "paper only"
    assert calibrated.patches == ()
    assert ciede2000(calibrated.lab([1.0, 1.0, 1.0]), [94, 0.5, -2]) < 1


@settings(max_examples=8, deadline=None)
@given(st.floats(0.35, 0.7), st.floats(1.0, 2.0), st.sampled_from(["srgb", "gentle", "lifted", "bright"]))
def test_it_sees_paper_as_one_everywhere(exposure: float, uneven: float, curve: str) -> None:
    """Bare paper is light 1 in all channels, wherever it lies and however the light falls."""
    image, _ = paint(None, Phone(exposure, curve, uneven=uneven))
    places = np.array([[60.0, 12.0], [150.0, 12.0], [60.0, 285.0], [150.0, 285.0]])
    calibrated = calibrate(image, None)
    for x, y in places:
        part = image.image[
            int((y - 2) * PX_PER_MM) : int((y + 2) * PX_PER_MM), int((x - 2) * PX_PER_MM) : int((x + 2) * PX_PER_MM)
        ]
        light = calibrated.light(part, np.broadcast_to([x, y], (*part.shape[:2], 2)))
        assert np.abs(light.mean(axis=(0, 1)) - 1).max() < 0.02


def test_it_leaves_what_the_photo_does_not_show_unknown() -> None:
    """NaN in, NaN out, and nothing else becomes NaN."""
    image, references = paint("6", Phone())
    calibrated = calibrate(image, references)
    light = calibrated.light(np.array([[0.5, 0.5, 0.5], [np.nan] * 3]), np.array([[50.0, 50.0], [60.0, 60.0]]))
    assert np.isfinite(light[0]).all()
    assert np.isnan(light[1]).all()


def test_it_refuses_overexposed_paper_in_plain_words() -> None:
    """The dangerous fault: the patches still fit."""
    told = fault(*paint("6", Phone(exposure=1.3)))
    assert "of the paper is overexposed" in told
    assert "make the picture darker" in told


def test_it_names_an_overexposed_patch() -> None:
    """White at the top of the range, paper not yet."""
    image, references = paint("6", Phone(exposure=0.8), {"white": (100.0, 0.0, 12.0)})
    at = next(cell.box for cell in image.sheet.patches if cell.code == "white")
    rows = slice(int(at.y * PX_PER_MM), int((at.y + at.height) * PX_PER_MM))
    columns = slice(int(at.x * PX_PER_MM), int((at.x + at.width) * PX_PER_MM))
    image.image[rows, columns] = 1.0
    assert "Reference patch white is overexposed" in fault(image, references)


def test_it_names_a_patch_that_is_not_there_and_one_that_is_covered() -> None:
    """Paper in a patch's place; something over half of a patch."""
    image, references = paint("6", Phone(), {"brown": (94.0, 0.5, -2.0)})
    assert "Reference patch brown is missing" in fault(image, references)
    image, references = paint("6", Phone())
    box = next(cell.box for cell in image.sheet.patches if cell.code == "orange")
    image.image[int(box.y * PX_PER_MM) : int((box.y + box.height) * PX_PER_MM), int(box.x * PX_PER_MM) :][:, :30] = 0.2
    assert "orange is not of one colour" in fault(image, references)


def test_it_names_the_patches_that_changed_places() -> None:
    """Two of six, and two of 24."""
    labs = {patch.name: patch.lab for patch in references_of("6").patches}  # type: ignore[union-attr]
    told = fault(*paint("6", Phone(), {"brown": labs["orange"], "orange": labs["brown"]}))
    assert "brown and orange seem to lie in each other's places" in told
    told = fault(*paint("6", Phone(), {"grey": labs["black"], "black": labs["grey"]}))
    assert "grey and black" in told
    assert "lie in each other's places" in told
    labs = {patch.name: patch.lab for patch in references_of("24").patches}  # type: ignore[union-attr]
    told = fault(*paint("24", Phone(), {"3": labs["14"], "14": labs["3"]}))
    assert "3 and 14 seem to lie in each other's places" in told


def test_it_tells_a_chart_that_is_turned_round() -> None:
    """The card upside down."""
    named = [(patch.name, patch.lab) for patch in references_of("24").patches]  # type: ignore[union-attr]
    turned = {name: lab for (name, _), (_, lab) in zip(named, reversed(named), strict=True)}
    told = fault(*paint("24", Phone(), turned))
    assert "turned by 180 degrees" in told
    assert "where 0 belongs lies 23" in told


def test_it_refuses_two_kinds_of_light() -> None:
    """A lamp from the right that is redder by half."""
    assert "two kinds of light" in fault(*paint("6", Phone(exposure=0.5, second=(0.4, 0.0, -0.4))))


@pytest.mark.parametrize("kind", ["24", "6", "grey"])
def test_it_refuses_a_linear_file(kind: str) -> None:
    """Without a tone curve the greys are too light beside the paper."""
    assert "raw or linear file" in fault(*paint(kind, Phone(curve="linear")))


def test_it_refuses_patches_that_are_not_those_of_the_file() -> None:
    """Six colours that are none of the file's."""
    others = {
        "brown": (60.0, -30.0, 30.0),
        "blue-green": (35.0, 40.0, 10.0),
        "orange": (40.0, 10.0, -40.0),
        "grey": (56.0, 5.0, 40.0),
    }
    assert "do not have the colours of the reference file" in fault(*paint("6", Phone(), others))


def test_it_refuses_a_reference_file_with_another_number_of_patches() -> None:
    """A tray printed for six, a file of 24."""
    image, _ = paint("6", Phone())
    assert "printed for the patches white, grey, black, brown, blue-green and orange" in fault(
        image, references_of("24")
    )


def test_it_refuses_a_sheet_without_paper() -> None:
    """Nothing but NaN."""
    image, references = paint("6", Phone())
    assert "Hardly any bare paper" in fault(replace(image, image=np.full_like(image.image, np.nan)), references)


def test_it_finds_a_card_that_is_shifted_and_turned() -> None:
    """By 5 mm and 3 degrees, to half a millimetre."""
    sheet, references = tray(4, "24"), references_of("24")
    middles = np.array([cell.box.middle for cell in sheet.patches])
    sizes = np.array([(cell.box.width, cell.box.height) for cell in sheet.patches])
    angle, pivot = np.radians(3.0), middles.mean(axis=0)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    true = (middles - pivot) @ turn.T + pivot + (4.0, -3.0)
    h, w = round(sheet.height * PX_PER_MM), round(sheet.width * PX_PER_MM)
    y, x = (np.mgrid[0:h, 0:w] + 0.5) / PX_PER_MM
    on_card = (np.stack([x, y], axis=-1) - pivot - (4.0, -3.0)) @ turn
    page = np.tile(light_of((94.0, 0.0, 0.0)), (h, w, 1))
    assert sheet.card is not None
    assert references is not None
    card = np.abs(on_card) < np.array([sheet.card.width, sheet.card.height]) / 2
    page[card.all(axis=-1)] = light_of((12.0, 0.0, 0.0))
    for patch, middle, size in zip(references.patches, middles, sizes, strict=True):
        page[(np.abs(on_card - (middle - pivot)) < size / 2).all(axis=-1)] = light_of(patch.lab)
    image = photographed(sheet, page, Phone())
    found = seat(image.image, PX_PER_MM, middles, sizes)
    assert np.abs(found.middles - true).max() < 0.8
    assert abs(found.turn_deg - 3) <= 0.5


@given(st.lists(st.floats(0.02, 1), min_size=3, max_size=3), st.floats(0.1, 2), st.integers(0, 2**31))
def test_its_map_of_colours_does_not_depend_on_brightness(light: list[float], factor: float, seed: int) -> None:
    """Root-polynomials: twice the light is twice the XYZ (Finlayson, Mackiewicz & Hurlbert 2015)."""
    values = 0.2 * np.random.default_rng(seed).standard_normal((1, 23))
    here = light_to_xyz(values, np.array([[light]]), np.eye(3))
    assert np.allclose(light_to_xyz(values, factor * np.array([[light]]), np.eye(3)), factor * here)


def test_its_scaling_follows_ciede2000() -> None:
    """Small steps have the length of their CIEDE2000, give or take what its turning and hue terms add."""
    rng = np.random.default_rng(1)
    lab = np.column_stack([rng.uniform(10, 90, 2000), rng.uniform(-40, 40, 2000), rng.uniform(-40, 40, 2000)])
    step = 0.3 * rng.standard_normal((2000, 3))
    length = np.linalg.norm(np.einsum("nij,nj->ni", scaling(lab), step), axis=1)
    low, middle, high = np.quantile(length / ciede2000(lab, lab + step), [0.02, 0.5, 0.98])
    assert low > 0.8
    assert 0.95 < middle < 1.05
    assert high < 1.3


def test_its_left_out_differences_are_those_of_a_fit_without_the_patch() -> None:
    """The closed form against fitting 24 times."""
    rng = np.random.default_rng(4)
    lab = np.array([patch.lab for patch in references_of("24").patches])  # type: ignore[union-attr]
    light = np.clip([light_of(one) for one in lab], 0.004, 1) / light_of((94.0, 0.0, 0.0))
    nominal = 0.6 * light * np.exp(0.04 * rng.standard_normal(light.shape))
    paper = np.full_like(nominal, 0.6)
    image, _ = paint(None, Phone())
    space = (image.to_xyz, np.array([0.9643, 1.0, 0.8251]))
    whole = fit_map(nominal, paper, lab, *space, beliefs("24 patches"))
    refitted = []
    for n in range(24):
        rest = np.arange(24) != n
        fitted = fit_map(nominal[rest], paper[rest], lab[rest], *space, [whole.held]).colour_map
        refitted.append(ciede2000(fitted.lab_of_patches(nominal[[n]], paper[[n]]), lab[[n]])[0])
    assert np.median(whole.left_out) == pytest.approx(np.median(refitted), rel=0.2)
    assert np.median(whole.left_out) > np.median(whole.left_in)
