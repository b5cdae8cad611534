"""From the light of a tile's pixels to mean, mottle, main colours and glare."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tilestudy.colour.difference import ciede2000
from tilestudy.photo import tile
from tilestudy.photo.noise import Noise, block_covariance, noise_in_lab
from tilestudy.photo.tile import face_of, glare_in, main_colours, mottle, sharpened

PX = 8.0
BROWN, GREEN = np.array([0.12, 0.08, 0.05]), np.array([0.10, 0.22, 0.20])


def face(height: int = 200, width: int = 160) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return an even brown face, all of it measured, nothing clipped."""
    light = np.tile(BROWN.astype(np.float32), (height, width, 1))
    return light, np.ones((height, width), bool), np.zeros((height, width), bool)


def places(count: int, columns: int = 20) -> np.ndarray:
    return np.column_stack([np.arange(count) // columns, np.arange(count) % columns])


def spot(height: int, width: int, y: float, x: float, radius: float) -> np.ndarray:
    """Return a highlight that fades out: 1 in its middle."""
    rows, columns = np.mgrid[0:height, 0:width]
    return np.clip(1.3 - np.hypot(rows - y, columns - x) / radius, 0, 1)[..., None].astype(np.float32)


def test_an_even_tile_is_even() -> None:
    """No glare, no mottle, one colour that is the whole."""
    measured, _ = face_of(*face(), PX)
    np.testing.assert_allclose(measured.light, BROWN, rtol=1e-5)
    assert measured.glare == 0.0
    assert len(measured.blocks) == 30 * 37
    lab = np.tile([30.0, 10, 10], (len(measured.blocks), 1))
    assert mottle(lab, np.array([30.0, 10, 10])) == 0.0
    assert main_colours(lab, measured.places) == ((30.0, 10.0, 10.0, 1.0),)


def test_glare_is_left_out_and_what_lies_beneath_is_filled_in() -> None:
    """Beneath a highlight on a gradient the mean stays that of the gradient within 1 %."""
    light, whole, none = face()
    light *= np.linspace(0.5, 1.5, 200, dtype=np.float32)[:, None, None]
    true = light.mean(axis=(0, 1))
    glare = spot(200, 160, 40, 80, 25)
    lit = light + glare * (1.2 - light)
    measured, hidden = face_of(lit, whole, none, PX)
    assert hidden[glare[..., 0] > 0.2].all()
    assert 0.05 < measured.glare < 0.25
    np.testing.assert_allclose(measured.light, true, rtol=0.01)


def test_a_pale_tile_is_not_taken_for_glare() -> None:
    """Bright bare metal and pale green are as light as paper but no highlight: they are even, or coloured."""
    _, whole, none = face()
    for colour in ((0.8, 0.78, 0.75), (0.95, 0.93, 0.9), (0.55, 0.9, 0.75)):
        light = np.tile(np.float32(colour), (200, 160, 1))
        assert not glare_in(light * (1 + 0.05 * spot(200, 160, 90, 80, 50)), whole, none, PX).any()


def test_mottle_is_the_mean_difference_from_the_mean_without_noise() -> None:
    """Half the blocks 2 CIEDE2000 off one way, half the other: 2; noise is taken off as squares."""
    lab = np.array([[50.0, 0, 0], [54.0, 0, 0]] * 100)
    middle = np.array([52.0, 0, 0])
    raw = mottle(lab, middle)
    assert raw == pytest.approx(float(ciede2000([50, 0, 0], middle)), rel=0.02)
    assert mottle(lab, middle, 0.6 * raw) == pytest.approx(0.8 * raw)
    assert mottle(lab, middle, 2 * raw) == 0.0


@given(st.floats(0.1, 30), st.floats(0.3, 1.2), st.floats(0.3, 1.2), st.floats(0, 0.6))
def test_sharpening_only_raises_and_not_without_end(fine: float, wide: float, high: float, blur: float) -> None:
    """The mottle of a sharp photo is at least that of the blurred one, at most 1.4 times."""
    assert fine <= sharpened(fine, wide * fine, high * fine, blur) * (1 + 1e-9) <= 1.4 * fine * (1 + 1e-6)


@given(st.floats(0.1, 2), st.floats(1.5, 20), st.floats(0.01, 0.15))
def test_sharpening_is_exact_for_scratches_and_round_flecks(across: float, along: float, blur: float) -> None:
    """Where the square of the mottle falls as 1 / sqrt((1 + k A) (1 + l B)), that of the sharp photo comes back."""

    def told(wide_mm: float, high_mm: float, blurred: float) -> float:
        sides = ((wide_mm, across), (high_mm, along))
        return float(np.prod([(1 + (side**2 / 12 + blurred**2) / size**2) ** -0.25 for side, size in sides]))

    block, long = tile.BLOCK_MM, tile.LONG_MM
    seen = [told(*shape, blur) for shape in ((block, block), (long, block), (block, long))]
    assert sharpened(*seen, blur) == pytest.approx(min(told(block, block, 0), 1.4 * seen[0]), rel=1e-6)


def test_blocks_turn_with_the_tile_and_reach_its_ends() -> None:
    """A run of colour along a tile turned by 4 degrees: its blocks show the same spread as those of a straight one."""
    spreads = []
    for turn in (0.0, 4.0):
        y, x = np.mgrid[-150:150, -110:110] + 0.5
        c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        along, across = c * x + s * y, c * y - s * x
        face = (np.abs(along) <= 70) & (np.abs(across) <= 110)
        light = np.repeat((0.4 + 0.002 * along)[..., None], 3, axis=2).astype(np.float32)
        blocks = face_of(light, face, np.zeros_like(face), PX, turn)[0].blocks[:, 0]
        spreads.append(np.ptp(blocks))
        assert len(blocks) == int(140 / PX / tile.BLOCK_MM) * int(220 / PX / tile.BLOCK_MM)
    assert spreads[1] == pytest.approx(spreads[0], rel=0.02)


def test_two_colours_and_their_shares_without_the_blend_between_them() -> None:
    """A tile two thirds brown and one third green, with blocks at the border that mix both: two colours, 67 to 33."""
    columns, rows = 30, 20
    at = places(columns * rows, columns)
    brown, green = np.array([34.0, 13, 15]), np.array([56.0, -20, 2])
    lab = np.where(at[:, 1:] < 20, brown, green)
    border = at[:, 1] == 20
    lab[border] = (brown + green) / 2
    rng = np.random.default_rng(0)
    found = main_colours(lab + 0.3 * rng.standard_normal(lab.shape), at)
    assert len(found) == 2
    np.testing.assert_allclose(found[0][:3], brown, atol=0.3)
    np.testing.assert_allclose(found[1][:3], green, atol=0.3)
    assert found[0][3] == pytest.approx(400 / 580, abs=0.01)
    assert main_colours(lab, at) == main_colours(lab, at)


def test_colours_that_look_alike_are_one_and_three_are_the_most() -> None:
    """Two colours 2 CIEDE2000 apart are one; of five only the three largest are told."""
    at = places(600)
    alike = np.where(at[:, 1:] < 10, [50.0, 0, 0], [52.0, 0, 0])
    assert len(main_colours(alike, at)) == 1
    many = np.array([[20.0, 0, 0], [40, 20, 0], [60, -20, 0], [80, 0, 30], [50, 0, -40]])
    which = np.repeat(np.arange(5), [200, 150, 120, 80, 50])
    told = main_colours(many[which], at)
    np.testing.assert_allclose([colour[3] for colour in told], [200 / 600, 150 / 600, 120 / 600], atol=0.01)


def test_noise_is_learned_from_even_places() -> None:
    """White noise of known size comes back as the covariance of blocks, and as the CIEDE2000 it makes."""
    rng = np.random.default_rng(0)
    light = (1 + 0.02 * rng.standard_normal((240, 240, 3))).astype(np.float32)
    covariance = block_covariance(light, (6.0, 6.0))
    assert covariance is not None
    np.testing.assert_allclose(np.sqrt(np.diag(covariance)), 0.02 / 6, rtol=0.1)
    assert block_covariance(light[:10, :10], (6.0, 6.0)) is None
    noise = Noise(np.array([[10.0, 10.0]]), np.array([1.0]), covariance[None])
    darker = noise.at(np.array([10.0, 10.0]), np.full(3, 0.1))
    assert np.trace(darker) < 0.3 * np.trace(covariance)
    grey = lambda light: np.stack([100 * light[..., 0], 0 * light[..., 0], 0 * light[..., 0]], axis=-1)  # noqa: E731
    made = noise_in_lab(grey, np.full(3, 0.5), np.diag([0.01**2, 0, 0]))
    assert made == pytest.approx(0.8, abs=0.06)  # a normal spread of 1 L* is 0.8 L* off on the mean


def test_without_even_places_no_noise_is_taken_off() -> None:
    """A sheet without bare paper."""
    none = Noise(np.empty((0, 2)), np.empty(0), np.empty((0, 3, 3)))
    assert not none.at(np.zeros(2), np.ones(3)).any()
