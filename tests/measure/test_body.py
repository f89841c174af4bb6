"""The rough sight of a stone: on drawn stones the network has not learnt from, and on pictures of anything."""

import cv2
import numpy as np
import pytest
from drawn_stone import Radius, cushion, ellipse, marquise, octagon, pear, set_stone, true_outline
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from setstone.measure.body import body_of
from setstone.measure.light import Pixels
from setstone.measure.view import Pyramid


def overlap(one: NDArray[np.float64], other: NDArray[np.float64], size: tuple[int, int]) -> float:
    """Area two outlines share, as a share of what both cover."""
    both = [np.zeros(size, np.uint8) for _ in range(2)]
    for mask, outline in zip(both, (one, other), strict=True):
        cv2.fillPoly(mask, [np.rint(outline).astype(np.int32)], 1)
    return float((both[0] & both[1]).sum() / (both[0] | both[1]).sum())


@pytest.mark.parametrize(
    "radius",
    [
        ellipse(180, 180),
        ellipse(215, 150),
        cushion(185, 165),
        octagon(190, 150),
        marquise(215, 130),
        pear(185),
    ],
    ids=["round", "oval", "cushion", "step", "marquise", "pear"],
)
def test_the_body_of_a_stone_is_seen_in_a_setting_never_learnt(radius: Radius) -> None:
    """Source: the outline it is drawn with."""
    seen = body_of(Pyramid(set_stone(radius, (304.0, 297.0), 0.3)))
    assert seen is not None
    assert overlap(seen, true_outline(radius, (304.0, 297.0), 0.3).points, (600, 600)) > 0.9


@settings(max_examples=6, deadline=None)
@given(st.sampled_from([1, 2, 3]), st.booleans())
def test_it_turns_with_the_photograph(quarters: int, mirrored: bool) -> None:
    pixels = set_stone(octagon(190, 150), (310.0, 290.0))

    def turned(picture: Pixels) -> NDArray[np.uint8]:
        quarter = np.rot90(picture, quarters)
        return np.ascontiguousarray(quarter[:, ::-1] if mirrored else quarter, np.uint8)

    first, second = body_of(Pyramid(pixels)), body_of(Pyramid(turned(pixels)))
    assert first is not None
    assert second is not None
    mask = np.zeros((600, 600, 1), np.uint8)
    cv2.fillPoly(mask, [np.rint(first).astype(np.int32)], (1,))
    contours, _ = cv2.findContours(turned(mask)[..., 0], cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    assert overlap(second, contours[0][:, 0].astype(np.float64), (600, 600)) > 0.9


def test_it_is_the_same_at_16_bits_and_at_any_size() -> None:
    pixels = set_stone(ellipse(180, 180))
    large = np.ascontiguousarray(pixels.repeat(3, 0).repeat(3, 1))
    seen, deep, finer = (body_of(Pyramid(p)) for p in (pixels, pixels.astype(np.uint16) * 257, large))
    assert seen is not None
    assert deep is not None
    assert finer is not None
    assert overlap(deep, seen, (600, 600)) > 0.98
    assert overlap((finer + 0.5) / 3 - 0.5, seen, (600, 600)) > 0.98


@pytest.mark.parametrize("shape", [(1, 1), (1, 40), (7, 5), (64, 2000)])
@pytest.mark.parametrize("level", [0, 128, 255])
def test_even_pictures_of_any_form_are_borne(shape: tuple[int, int], level: int) -> None:
    seen = body_of(Pyramid(np.full((*shape, 3), level, np.uint8)))
    assert seen is None or np.isfinite(seen).all()
