"""Differences of lightness, against scikit-image's CIELAB and on photographs made lighter by a known factor."""

import numpy as np
import pytest
from skimage.color import rgb2lab

from setstone.measure.difference import lightness_difference

INSIDE = np.ones((40, 40), bool)


def flat(level: int) -> np.ndarray:
    return np.full((40, 40, 3), level, np.uint8)


@pytest.mark.parametrize(("one", "other"), [(60, 90), (128, 128), (200, 40), (2, 5)])
def test_it_is_the_difference_of_l_star(one: int, other: int) -> None:
    before, after = flat(128), flat(128)
    before[15:25, 15:25], after[15:25, 15:25] = one, other
    expected = rgb2lab(after)[20, 20, 0] - rgb2lab(before)[20, 20, 0]  # scikit-image, CIE 1976
    assert lightness_difference(before, after, INSIDE)[20, 20] == pytest.approx(expected, abs=0.2)


def test_another_exposure_makes_no_difference() -> None:
    rng = np.random.default_rng(3)
    light = rng.uniform(0.02, 0.4, (10, 10)).repeat(4, 0).repeat(4, 1)
    before, after = (
        np.round(255 * np.clip(1.055 * (light * gain)[..., None].repeat(3, -1) ** (1 / 2.4) - 0.055, 0, 1))
        for gain in (1.0, 2.0)
    )
    difference = lightness_difference(before.astype(np.uint8), after.astype(np.uint8), INSIDE)
    assert np.abs(difference).max() < 1


def test_16_bit_says_the_same_and_outside_is_nothing() -> None:
    before, after = flat(90), flat(90)
    after[18:22, 18:22] = 160
    inside = INSIDE.copy()
    inside[:, :20] = False
    eight = lightness_difference(before, after, inside)
    sixteen = lightness_difference(before.astype(np.uint16) * 257, after.astype(np.uint16) * 257, inside)
    assert eight == pytest.approx(sixteen, abs=1e-3)
    assert not eight[:, :20].any()
    assert eight[20, 21] > 20
