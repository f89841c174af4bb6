"""Photographs of one stone from two days, laid on one another; against exact motions and a general-purpose library."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from skimage.registration import phase_cross_correlation

from setstone.capture.open import open_photograph
from setstone.measure.align import warp
from setstone.measure.errors import MeasurementError
from setstone.measure.girdle import find_girdle
from setstone.measure.light import Pixels, Plane
from setstone.measure.register import Registration, register
from setstone.sample_images import sample_stones

Points = NDArray[np.float64]


def photographs(stone: int, occasion: str) -> tuple[Pixels, Pixels]:
    folder = sample_stones()[stone].folder
    white, blue = (open_photograph(folder / f"{occasion}_{lamp}.jpg").pixels for lamp in ("white", "blue"))
    return white, blue


def girdle(stone: int, occasion: str) -> Points:
    found = find_girdle(photographs(stone, occasion)[0])
    assert found is not None
    return np.asarray(found.points, np.float64)


def turned(pixels: Pixels, degrees: float, zoom: float) -> tuple[Pixels, Points]:
    """A photograph turned and zoomed about its middle into a larger one, and the motion."""
    side = round(1.5 * max(pixels.shape[:2]) * zoom)
    motion = np.eye(3)
    height, width = pixels.shape[:2]
    motion[:2] = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), degrees, zoom)
    motion[:2, 2] += (side - width) / 2, (side - height) / 2
    return warp(pixels, motion, (side, side)), motion


def moved(matrix: Points, points: Points) -> Points:
    return points @ matrix[:2, :2].T + matrix[:2, 2]


def off(found: Registration, motion: Points, outline: Points) -> float:
    """Root mean square distance at the girdle, px of the fixed photograph."""
    apart = moved(found.matrix @ motion, outline) - outline
    return float(np.sqrt((apart**2).sum(1).mean()))


@pytest.mark.parametrize(("degrees", "zoom"), [(0.0, 1.0), (180.0, 0.8), (311.5, 1.2)])
def test_any_turn_and_zoom_is_found(degrees: float, zoom: float) -> None:
    white, blue = photographs(0, "before")
    outline = girdle(0, "before")
    moving, motion = turned(white, degrees, zoom)
    moving_blue, _ = turned(blue, degrees, zoom)
    found = register(
        [moving, moving_blue], [white, blue], moving_outline=moved(motion, outline), fixed_outline=outline
    )
    assert found.reliable
    assert off(found, motion, outline) < 0.3
    assert abs((found.turned_deg - degrees + 180) % 360 - 180) < 0.1
    assert found.residual_px < 0.5


def test_darker_lit_otherwise_with_other_glare_and_rim() -> None:
    white, _ = photographs(0, "before")
    outline = girdle(0, "before")
    moving, motion = turned(white, 141.0, 1.0)
    there = moved(motion, outline)
    inside = np.zeros(moving.shape[:2], np.uint8)
    cv2.fillPoly(inside, [np.round((there - there.mean(0)) * 0.93 + there.mean(0)).astype(np.int32)], 1)
    other = (moving * 0.5).astype(np.uint8)
    other[inside == 0] = np.random.default_rng(3).integers(0, 255, (int((inside == 0).sum()), 3), np.uint8)
    cv2.circle(other, tuple(np.round(there.mean(0) + 60).astype(int).tolist()), 40, (255, 255, 255), -1)
    found = register([other], [white], moving_outline=there, fixed_outline=outline)
    assert found.reliable
    assert off(found, motion, outline) < 0.5


def test_two_days_agree_with_features_of_a_general_library() -> None:
    """SIFT (Lowe 2004) with RANSAC (Fischler & Bolles 1981), both of OpenCV, on lid-5 before and after the work."""
    before, after = photographs(1, "before")[0], photographs(1, "after")[0]
    outline, outline_after = girdle(1, "before"), girdle(1, "after")
    found = register([after], [before], moving_outline=outline_after, fixed_outline=outline)
    assert found.reliable
    sift = cv2.SIFT.create(enable_precise_upscale=True)
    (p, a), (q, b) = (
        sift.detectAndCompute(cv2.cvtColor(i, cv2.COLOR_RGB2GRAY), None) for i in (after, before)
    )
    pairs = [m for m, n in cv2.BFMatcher().knnMatch(a, b, k=2) if m.distance < 0.75 * n.distance]
    inside = [
        m for m in pairs if cv2.pointPolygonTest(outline.astype(np.float32), q[m.trainIdx].pt, False) > 0
    ]
    source, target = (
        np.array([p[m.queryIdx].pt for m in inside]),
        np.array([q[m.trainIdx].pt for m in inside]),
    )
    reference, _ = cv2.estimateAffinePartial2D(source, target, method=cv2.RANSAC, ransacReprojThreshold=2)
    apart = moved(found.matrix, outline_after) - moved(np.vstack([reference, [0, 0, 1]]), outline_after)
    assert np.sqrt((apart**2).sum(1).mean()) < 2.0


def test_the_shift_agrees_with_phase_correlation_and_ecc_of_general_libraries() -> None:
    """Phase correlation (Guizar-Sicairos et al. 2008, scikit-image) and ECC (Evangelidis & Psarakis 2008, OpenCV)."""
    white, _ = photographs(0, "before")
    outline = girdle(0, "before")
    motion = np.array([[1, 0, 6.4], [0, 1, -3.7], [0, 0, 1.0]])
    moving = warp(white, motion, white.shape[:2])
    found = register([moving], [white], moving_outline=moved(motion, outline), fixed_outline=outline)
    assert found.reliable
    assert off(found, motion, outline) < 0.3
    there, here = (cv2.cvtColor(p, cv2.COLOR_RGB2GRAY).astype(np.float32) for p in (moving, white))
    x, y = np.round(outline.mean(axis=0)).astype(int)
    middle = np.s_[y - 128 : y + 128, x - 128 : x + 128]
    window = np.outer(np.hanning(256), np.hanning(256))
    down, right = phase_cross_correlation(here[middle] * window, there[middle] * window, upsample_factor=20)[
        0
    ]
    _, back = cv2.findTransformECC(here, there, np.eye(2, 3, dtype=np.float32), cv2.MOTION_TRANSLATION)
    centre = outline.mean(axis=0)
    ours = moved(found.matrix, centre) - centre
    assert ours == pytest.approx((right, down), abs=0.3)
    assert ours == pytest.approx(-back[:, 2], abs=0.3)


def test_another_stone_is_refused() -> None:
    found = register(
        photographs(0, "after"),
        photographs(1, "before"),
        moving_outline=girdle(0, "after"),
        fixed_outline=girdle(1, "before"),
    )
    assert not found.reliable
    assert "agree on how it lies" in found.reason
    assert found.residual_px == float("inf")


def alike_twice() -> tuple[Plane, Points]:
    """A made-up stone that is the same after half a turn, and its girdle."""
    rng = np.random.default_rng(5)
    half = cv2.GaussianBlur(rng.normal(0, 1, (600, 600)).astype(np.float32), (0, 0), 4)
    angle = np.linspace(0, 2 * np.pi, 100, endpoint=False)
    outline = 299.5 + 280 * np.column_stack([np.cos(angle), np.sin(angle)])
    return np.clip(128 + 400 * (half + half[::-1, ::-1]), 0, 255), outline


def marked(grey: Plane, *, turned: bool = False, seed: int = 7) -> Pixels:
    """The stone with many fine flaws, or with the same after half a turn, and with grain."""
    rng = np.random.default_rng(seed)
    flaws = grey.copy()
    for x, y in np.random.default_rng(9).integers(80, 500, (40, 2)).tolist():
        cv2.line(flaws, (x, y), (x + 25, y + 12), (255,), 2, cv2.LINE_AA)
    flaws = flaws[::-1, ::-1] if turned else flaws
    noisy = np.clip(flaws + rng.normal(0, 3, flaws.shape), 0, 255).astype(np.uint8)
    return np.ascontiguousarray(noisy[..., None].repeat(3, axis=2))


def test_a_stone_that_looks_alike_twice_is_refused() -> None:
    grey, outline = alike_twice()
    pixels = grey.astype(np.uint8)[..., None].repeat(3, axis=2)
    found = register([pixels] * 2, [pixels] * 2, moving_outline=outline, fixed_outline=outline)
    assert not found.reliable
    assert "its facets look alike" in found.reason


@pytest.mark.parametrize("turned", [False, True])
def test_its_flaws_tell_which_way_it_was_set(turned: bool) -> None:
    """What differs after half a turn is the same in both lights and on both days."""
    grey, outline = alike_twice()
    moving = [marked(grey, turned=turned, seed=k) for k in (1, 2)]
    fixed = [marked(grey, seed=k) for k in (3, 4)]
    found = register(moving, fixed, moving_outline=outline, fixed_outline=outline)
    assert found.reliable
    assert "what differs between the two speaks for this one" in found.reason
    assert abs((found.turned_deg - 180 * turned + 180) % 360 - 180) < 0.1
    alone = register(moving[:1], fixed[:1], moving_outline=outline, fixed_outline=outline)
    assert not alone.reliable


def test_a_lamp_that_was_not_turned_does_not_tell_it() -> None:
    """Under one light the flaws have turned with the stone, under the other what is seen stayed."""
    grey, outline = alike_twice()
    moving = [marked(grey, turned=True, seed=1), marked(grey, seed=2)]
    fixed = [marked(grey, seed=k) for k in (3, 4)]
    found = register(moving, fixed, moving_outline=outline, fixed_outline=outline)
    assert not found.reliable
    assert "its facets look alike" in found.reason


def test_what_cannot_be_laid_on_is_said() -> None:
    white, blue = photographs(0, "before")
    outline = girdle(0, "before")
    with pytest.raises(MeasurementError, match="as many photographs"):
        register([white], [white, blue], moving_outline=outline, fixed_outline=outline)
    with pytest.raises(MeasurementError, match="no area"):
        register([white], [white], moving_outline=outline[:2], fixed_outline=outline)
