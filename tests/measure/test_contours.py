"""Contours against scikit-image's marching squares (`skimage.measure.find_contours`), a general-purpose library."""

import numpy as np
import pytest
from skimage.measure import find_contours

from setstone.measure.contours import longest_contour


@pytest.mark.parametrize("seed", range(40))
def test_the_longest_contour_is_that_of_scikit_image(seed: int) -> None:
    rng = np.random.default_rng(seed)
    window = rng.normal(0, 1, (rng.integers(5, 40), rng.integers(5, 40))).astype(np.float32)
    body = (rng.random(window.shape) < rng.uniform(0.3, 1)).astype(np.uint8)
    level = float(rng.uniform(-0.5, 0.5))
    walled = np.where(body > 0, window, np.float32(max(float(window.max()), level + 1)))
    theirs = max(find_contours(np.pad(walled, 1, constant_values=walled.max()), level), key=len)
    ours = longest_contour(window, body, level)
    np.testing.assert_allclose(ours, theirs[:-1, ::-1] - 1, atol=1e-9)


def test_where_nothing_is_darker_there_is_none() -> None:
    assert len(longest_contour(np.ones((9, 9), np.float32), np.ones((9, 9), np.uint8), 0.5)) == 0


def test_a_disc_has_its_own_radius() -> None:
    y, x = np.mgrid[:60, :60]
    distance = np.hypot(x - 30.2, y - 29.7).astype(np.float32)
    outline = longest_contour(distance, np.ones((60, 60), np.uint8), 20.0)
    np.testing.assert_allclose(np.hypot(*(outline - [30.2, 29.7]).T), 20, atol=0.02)
