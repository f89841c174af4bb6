"""The crop a stone is judged in, on pictures whose every pixel is known."""

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from setstone.measure.candidates import Candidate
from setstone.measure.frame import WORKING, Frame
from setstone.measure.outline import Outline


def disc(x: float, y: float, diameter: float) -> Outline:
    turn = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    points = np.column_stack([x + diameter / 2 * np.cos(turn), y + diameter / 2 * np.sin(turn)])
    return Outline(points, np.ones(360, np.bool_), 1.0)


def line(*points: tuple[float, float]) -> Candidate:
    return Candidate("line", np.array(points), "white", 0.5, (), 1.0)


def ramp(height: int, width: int) -> NDArray[np.uint8]:
    """Red grows with x, green with y; averages of both stay on the ramps."""
    y, x = np.mgrid[:height, :width]
    return np.stack([x * 250 / width, y * 250 / height, np.zeros_like(x)], axis=-1).round().astype(np.uint8)


def test_a_stone_as_wide_as_those_trained_on_is_cut_out_as_it_is() -> None:
    picture = np.random.default_rng(0).integers(0, 256, (1300, 1300, 3)).astype(np.uint8)
    frame = Frame.around(disc(650, 640, 1100), picture.shape)
    assert frame.px == 1
    np.testing.assert_array_equal(frame.cut(picture), picture[frame.y0 : frame.y1, frame.x0 : frame.x1])


@given(
    diameter=st.floats(100, 6000),
    x=st.floats(0, 6000),
    y=st.floats(0, 6000),
    at=st.tuples(st.floats(0, 6000), st.floats(0, 6000)),
)
def test_what_is_mapped_into_the_crop_comes_back_to_its_place(
    diameter: float, x: float, y: float, at: tuple[float, float]
) -> None:
    frame = Frame.around(disc(x, y, diameter), (6001, 6001))
    here = np.array([at])
    there = frame.into(Outline(here, np.ones(1, np.bool_), 1.0)).points
    np.testing.assert_allclose(frame.back(line(tuple(there[0]))).path, here, atol=1e-6)
    assert frame.px >= 1
    assert max(frame.width, frame.height) <= 1.1 * max(1.0, WORKING / diameter) * diameter + 4


def test_a_pixel_of_a_reduced_crop_shows_its_own_place() -> None:
    picture = ramp(3000, 4000)
    frame = Frame.around(disc(2000, 1500, 2600), picture.shape)
    assert frame.px == pytest.approx(2600 / WORKING, rel=0.002)
    cut = frame.cut(picture)
    assert cut.shape == (frame.height, frame.width, 3)
    place = frame.back(line((100, 200), (700, 900))).path
    shown = np.array([cut[200, 100, :2], cut[900, 700, :2]], np.float64)
    np.testing.assert_allclose(shown / 250 * [4000, 3000], place, atol=10)  # half a grey level is 8 px


@pytest.mark.parametrize("zoom", [0.5, 1.0, 1.3])
def test_another_photograph_is_laid_onto_the_same_crop(zoom: float) -> None:
    picture = cv2.GaussianBlur(
        np.random.default_rng(1).integers(0, 256, (2600, 2600, 3)).astype(np.uint8), (0, 0), 8
    )
    picture = cv2.convertScaleAbs(picture.astype(np.float32) - 127, alpha=12)
    other = cv2.resize(picture, None, fx=zoom, fy=zoom, interpolation=cv2.INTER_AREA)
    onto = np.array([[1 / zoom, 0, 0.5 / zoom - 0.5], [0, 1 / zoom, 0.5 / zoom - 0.5], [0, 0, 1]])
    frame = Frame.around(disc(1300, 1300, 2000), picture.shape)
    apart = frame.cut(picture).astype(float) - frame.cut_moved(np.asarray(other, np.uint8), onto)
    assert np.abs(apart).mean() < 1.5
