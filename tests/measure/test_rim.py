"""Bands beside the paths of a strip, against plain sums; and which lamp is lit."""

import cv2
import numpy as np
import pytest
from drawn_stone import ellipse, set_stone
from hypothesis import given
from hypothesis import strategies as st

from setstone.measure.girdle import candidate_rings
from setstone.measure.rim import _Bands, under_blue_light
from setstone.measure.rings import PER_CENT


@given(st.integers(0, 2**32 - 1), st.floats(-6, 5), st.floats(0, 6))
def test_a_band_sums_the_columns_beside_a_path(seed: int, inner: float, width: float) -> None:
    outer = min(inner + width, 6.0)
    chance = np.random.default_rng(seed)
    plane = chance.random((5, 60)).astype(np.float32)
    columns = chance.integers(0, 60, (3, 5))
    beside = np.arange(round(inner * PER_CENT), round(outer * PER_CENT) + 1)
    plain = plane[np.arange(5)[:, None], np.clip(columns[..., None] + beside, 0, 59)].sum(axis=2)
    np.testing.assert_allclose(_Bands(plane)(columns, inner, outer), plain, rtol=1e-5, atol=1e-5)


@pytest.mark.parametrize(("lamp", "blue"), [((1.0, 1.0, 1.0), False), ((0.1, 0.2, 1.0), True)])
def test_a_blue_stone_in_metal_is_not_taken_for_one_under_blue_light(
    lamp: tuple[float, float, float], blue: bool
) -> None:
    pixels = set_stone(ellipse(180, 180))
    stone = np.zeros(pixels.shape[:2], np.uint8)
    cv2.circle(stone, (300, 300), 181, (1,), -1)
    pixels = np.where(stone[..., None] > 0, pixels[..., ::-1], pixels)
    rings = next(candidate_rings(np.rint(pixels * np.array(lamp)).astype(np.uint8)))
    assert under_blue_light(rings.strip) == blue
