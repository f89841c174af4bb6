"""Decoding against the standard and general-purpose libraries."""

import colour as colour_science
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from setstone.measure.light import Pixels, encoded_plane, linear, srgb_to_linear


def test_decoding_agrees_with_colour_science() -> None:
    """IEC 61966-2-1 as in colour-science."""
    encoded = np.linspace(0, 1, 1001)
    np.testing.assert_allclose(srgb_to_linear(encoded), colour_science.eotf(encoded, "sRGB"), atol=1e-12)


def test_the_grey_card() -> None:
    """18 % reflectance is code 117.6 of 255 (computed from IEC 61966-2-1 in a compilation)."""
    assert float(srgb_to_linear(np.array(117.6 / 255))) == pytest.approx(0.18, abs=3e-4)


def test_the_two_pieces_of_the_curve_meet() -> None:
    """0.04045 is where the straight piece ends (IEC 61966-2-1); the standard leaves a gap below 1e-7."""
    below, above = srgb_to_linear(np.array([0.04045, np.nextafter(0.04045, 1)]))
    assert above == pytest.approx(below, abs=1e-7)


@given(st.integers(0, 255))
def test_eight_and_sixteen_bits_are_one_light(code: int) -> None:
    eight = linear(np.full((2, 3, 3), code, np.uint8))
    sixteen = linear(np.full((2, 3, 3), code * 257, np.uint16))
    assert eight.dtype == sixteen.dtype == np.float32
    assert eight.shape == sixteen.shape == (2, 3, 3)
    np.testing.assert_allclose(eight, sixteen, atol=1e-7)
    np.testing.assert_allclose(eight, srgb_to_linear(np.array(code / 255)), atol=1e-7)


@pytest.mark.parametrize("shape", [(4, 5, 3), (4, 5), (7, 3)])
def test_any_shape_is_decoded(shape: tuple[int, ...]) -> None:
    pixels = np.random.default_rng(1).integers(0, 256, shape, np.uint8)
    found = linear(pixels)
    assert found.shape == shape
    np.testing.assert_allclose(found, srgb_to_linear(pixels / 255), atol=1e-6)


@pytest.mark.parametrize(("dtype", "top"), [(np.uint8, 255), (np.uint16, 65535)])
def test_a_plane_is_the_weighted_sum_in_grey_levels(dtype: type, top: int) -> None:
    pixels: Pixels = np.random.default_rng(2).integers(0, top + 1, (6, 4, 3)).astype(dtype)
    plane = encoded_plane(pixels, (0.25, 0.5, 0.25))
    assert plane.shape == (6, 4)
    assert plane.dtype == np.float32
    np.testing.assert_allclose(plane, pixels @ np.array([0.25, 0.5, 0.25]) * (255 / top), rtol=1e-5)
