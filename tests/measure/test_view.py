"""Reduced copies of a photograph whose every pixel tells its place."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from setstone.measure.light import Pixels
from setstone.measure.view import SMALL, WORKING, Pyramid, View


def ramp(height: int, width: int) -> Pixels:
    """Red is x, green is y, in sixteenths of a level of 16 bits; averages of both stay on the ramps."""
    y, x = np.mgrid[:height, :width]
    return (np.stack([x, y, np.zeros_like(x)], axis=-1) * 16).astype(np.uint16)


def told_place(view: View, x: int, y: int) -> list[float]:
    return [float(view.image[y, x, channel]) * 65535 / 255 / 16 for channel in (0, 1)]


def agrees(view: View) -> None:
    height, width = view.image.shape[:2]
    for x, y in [(1, 1), (width // 2, height // 3), (width - 2, height - 2)]:
        # Halved sizes are whole levels, a sixteenth of a pixel; a pixel drawn from few is off its own middle.
        assert view.back(np.array([[x, y]]))[0] == pytest.approx(
            told_place(view, x, y), abs=0.15 / view.scale.min()
        )


@settings(max_examples=25, deadline=None)
@given(width=st.integers(200, 2100), height=st.integers(200, 2100), share=st.floats(0.1, 0.9))
@example(width=210, height=200, share=0.5)
def test_every_pixel_of_a_view_shows_its_own_place(width: int, height: int, share: float) -> None:
    pyramid = Pyramid(ramp(height, width))
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    extent = share * min(width, height)
    ring = np.column_stack([width / 2 + extent / 2 * np.cos(turn), height / 2 + extent / 2 * np.sin(turn)])
    small, around = pyramid.small(), pyramid.around(ring)
    assert max(small.image.shape) == SMALL
    assert np.ptp(around.into(ring), axis=0).mean() == pytest.approx(min(extent, WORKING), rel=0.01)
    for view in (small, around):
        agrees(view)
        np.testing.assert_allclose(view.back(view.into(ring)), ring, atol=1e-9)


def test_a_view_is_the_mean_of_the_pixels_it_was_reduced_from() -> None:
    picture = np.random.default_rng(0).integers(0, 256, (2048, 2048, 3)).astype(np.uint8)
    means = picture.reshape(256, 8, 256, 8, 3).mean(axis=(1, 3))
    np.testing.assert_allclose(Pyramid(picture).small().image, means, atol=1.0)
