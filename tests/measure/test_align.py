"""Alignment against known motions: on computed edges, and on the ray-traced stones under both lamps."""

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import scipy.special
from numpy.typing import NDArray
from PIL import Image
from skimage.registration import phase_cross_correlation

from setstone.measure.align import align, warp
from setstone.measure.errors import MeasurementError

STONES = Path(__file__).parents[3] / "shared" / "stones"
needs_stones = pytest.mark.skipif(not STONES.is_dir(), reason="the test stones are not beside the checkout")

Matrix = NDArray[np.float64]


def facets(seed: int, motion: Matrix, size: int = 480) -> NDArray[np.uint8]:
    """A disc cut into facets of random brightness, each pixel computed at its place before `motion`.

    The cuts are the same for every seed, the brightness is not: another lamp on one stone.
    """
    y, x = np.mgrid[:size, :size].astype(np.float64)
    x, y, _ = np.tensordot(np.linalg.inv(motion), np.stack([x, y, np.ones_like(x)]), 1)
    cuts = np.random.default_rng(0)
    angles, offsets = cuts.uniform(0, np.pi, 14), cuts.uniform(-150, 150, 14)
    light = np.random.default_rng(seed)
    picture = np.full((size, size), 90.0)
    inside = edge(180 - np.hypot(x - size / 2, y - size / 2))
    for angle, offset, step in zip(angles, offsets, light.uniform(-60, 60, 14), strict=True):
        distance = (x - size / 2) * np.cos(angle) + (y - size / 2) * np.sin(angle) - offset
        picture += step * edge(distance) * inside
    noise = np.random.default_rng([seed, *np.round(1e3 * np.abs(motion)).astype(int).ravel()])
    picture += light.uniform(30, 60) * inside + noise.normal(0, 2, picture.shape)
    return np.repeat(np.clip(picture, 0, 255).astype(np.uint8)[..., None], 3, 2)


def edge(distance: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(scipy.special.expit(1.7 * distance), np.float64)


def motion(turn_deg: float, zoom: float, dx: float, dy: float, middle: float = 239.5) -> Matrix:
    matrix = np.eye(3)
    matrix[:2] = cv2.getRotationMatrix2D((middle, middle), turn_deg, zoom)
    matrix[:2, 2] += dx, dy
    return matrix


def inverse(matrix: Matrix) -> Matrix:
    return np.asarray(np.linalg.inv(matrix), np.float64)


def off_px(found: Matrix, true: Matrix, points: Matrix) -> float:
    """Root mean square distance of the points moved by both matrices."""
    ends = np.c_[points, np.ones(len(points))] @ (found - true).T
    return float(np.sqrt((ends[:, :2] ** 2).sum(1).mean()))


RIM = 239.5 + 180 * np.array([[np.cos(a), np.sin(a)] for a in np.linspace(0, 6, 24)])


@pytest.mark.parametrize("moved", [(0, 1, 0, 0), (0, 1, 7.3, -4.6), (2.3, 1.02, 5, 9), (-4, 0.96, -11, 6)])
def test_finds_a_known_motion_under_another_lamp(moved: tuple[float, float, float, float]) -> None:
    true = motion(*moved)
    found = align(facets(2, inverse(true)), facets(1, np.eye(3)))
    assert found.reliable, found.reason
    assert off_px(found.matrix, true, RIM) < 0.5


def test_stays_where_it_is_when_nothing_moved() -> None:
    found = align(facets(3, np.eye(3)), facets(1, np.eye(3)))
    np.testing.assert_array_equal(found.matrix, np.eye(3))
    assert found.residual_px < 1


def test_agrees_with_phase_correlation_and_ecc_under_one_lamp() -> None:
    """General-purpose references: scikit-image phase_cross_correlation, OpenCV findTransformECC."""
    fixed, moving = facets(1, np.eye(3)), facets(1, motion(0, 1, 6.4, -3.7))
    shift = align(moving, fixed).matrix[:2, 2]
    grey = fixed[..., 0], moving[..., 0]
    y, x = phase_cross_correlation(*grey, upsample_factor=50, normalization=None)[0]
    np.testing.assert_allclose(shift, (x, y), atol=0.15)
    start = np.array([[1, 0, 6], [0, 1, -4]], np.float32)
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 50, 1e-6)
    mask = np.full(fixed.shape[:2], 255, np.uint8)
    _, ecc = cv2.findTransformECC(
        fixed[..., 0], moving[..., 0], start, cv2.MOTION_TRANSLATION, criteria, mask, 3
    )
    np.testing.assert_allclose(shift, -ecc[:, 2], atol=0.15)


def test_half_resolution_maps_pixel_centres() -> None:
    """Pixel centres are integers: x at half size is 2 x + 0.5 at full size."""
    small = cv2.resize(facets(2, np.eye(3)), None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    found = align(np.asarray(small, np.uint8), facets(1, np.eye(3)))
    assert found.reliable
    assert off_px(found.matrix, np.array([[2, 0, 0.5], [0, 2, 0.5], [0, 0, 1]]), (RIM - 0.5) / 2) < 0.3


def test_pictures_that_share_nothing_are_not_forced_together() -> None:
    noise = np.random.default_rng(5).integers(0, 255, (480, 480, 3), np.uint8)
    plain = np.full((480, 480, 3), 128, np.uint8)
    for other in (noise, plain, np.roll(facets(2, np.eye(3)), (200, 230), (0, 1))):
        found = align(other, facets(1, np.eye(3)))
        assert not found.reliable
        np.testing.assert_array_equal(found.matrix, np.eye(3))
        assert "agree on how it lies" in found.reason


def test_a_label_burned_in_does_not_hold_the_picture_back() -> None:
    fixed, moving = facets(1, np.eye(3)), facets(2, motion(0, 1, 12, -9))
    label = (slice(400, 470), slice(20, 300))
    bars = np.kron(
        np.random.default_rng(6).integers(0, 2, (7, 28), np.uint8), np.full((10, 10), 255, np.uint8)
    )
    for picture in (fixed, moving):
        picture[label] = bars[..., None]
    usable = np.ones((480, 480), np.bool_)
    usable[label] = False
    found = align(moving, fixed, usable=usable)
    assert found.reliable
    assert off_px(found.matrix, motion(0, 1, -12, 9), RIM) < 0.3


def test_refuses_a_mask_of_another_size() -> None:
    picture = facets(1, np.eye(3))
    with pytest.raises(MeasurementError, match="give a mask of the photograph's height and width"):
        align(picture, picture, usable=np.ones((10, 10), np.bool_))


def test_does_not_change_what_it_is_given() -> None:
    fixed, moving = facets(1, np.eye(3)), facets(2, motion(0, 1, 5, 5))
    copies = fixed.copy(), moving.copy()
    warp(moving, align(moving, fixed).matrix, (480, 480))
    np.testing.assert_array_equal(fixed, copies[0])
    np.testing.assert_array_equal(moving, copies[1])


def test_warp_brings_the_picture_to_its_place() -> None:
    true = motion(3, 1.01, 8, -5)
    back = warp(facets(1, inverse(true)), true, (480, 480))
    difference = cv2.blur(back.astype(np.float32) - facets(1, np.eye(3)), (5, 5))[60:-60, 60:-60]
    assert float(np.abs(difference).mean()) < 1.0  # grey levels; the noise differs


def test_warp_keeps_depth_and_untouched_pixels() -> None:
    deep = facets(1, np.eye(3)).astype(np.uint16) * 257
    assert warp(deep, np.eye(3), (480, 480)) is deep
    small = warp(deep, np.diag([0.5, 0.5, 1]), (240, 240))
    assert small.dtype == np.uint16
    assert small.shape == (240, 240, 3)
    assert float(small[120, 120].mean()) == pytest.approx(float(deep[236:246, 236:246].mean()), rel=0.1)


def photograph(case: str, lamp: str) -> NDArray[np.uint8]:
    file = STONES / case / truth(case)["images"][lamp]["image"]
    return np.asarray(Image.open(file).convert("RGB"), np.uint8)


def truth(case: str) -> dict[str, Any]:
    content: dict[str, Any] = json.loads((STONES / case / "truth.json").read_text())
    return content


@needs_stones
@pytest.mark.parametrize("case", ["s06", "s09", "s12", "s14"])
def test_stones_under_both_lamps_share_the_camera(case: str) -> None:
    """Source: the test stones' README, "White and blue photographs share one camera position"."""
    outline = np.array(truth(case)["stone"]["outline_px"])
    found = align(photograph(case, "blue"), photograph(case, "white"))
    assert found.reliable, found.reason
    assert off_px(found.matrix, np.eye(3), outline) < 0.3


@needs_stones
@pytest.mark.parametrize("case", ["s13", "s24"])
def test_stones_moved_on_purpose_are_brought_back(case: str) -> None:
    blue, white = photograph(case, "blue"), photograph(case, "white")
    outline = np.array(truth(case)["stone"]["outline_px"])
    size = white.shape[1::-1]
    middle = (white.shape[1] - 1) / 2
    for true in (motion(0, 1, 23.4, -15.7, middle), motion(2.2, 1.013, 11, 7, middle)):
        moved = cv2.warpPerspective(blue, np.linalg.inv(true), size, flags=cv2.INTER_CUBIC)
        found = align(np.asarray(moved, np.uint8), white)
        assert found.reliable, found.reason
        assert off_px(found.matrix, true, outline) < 1.0
