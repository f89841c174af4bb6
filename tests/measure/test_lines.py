"""Lines of exactly known course, found again below the pixel."""

import math
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree
from scipy.special import erf

from setstone.measure.errors import MeasurementError
from setstone.measure.line_map import line_map
from setstone.measure.lines import find_lines

CHASE = Path(__file__).parents[3] / "shared" / "realdata" / "lines-retina-chase"


def drawn(
    curve: np.ndarray, sigma: float, contrast: float, *, noise: float = 2.0, seed: int = 0
) -> np.ndarray:
    """Picture of a curve with a Gaussian profile, from exact distances; never drawn by a library."""
    rng = np.random.default_rng(seed)
    shape = (160, 200)
    yy, xx = np.mgrid[: shape[0], : shape[1]]
    nearest = cKDTree(curve).query(np.stack([xx.ravel(), yy.ravel()], axis=1))[0]
    distance = np.reshape(nearest, shape)
    return (30 + contrast * np.exp(-0.5 * (distance / sigma) ** 2) + rng.normal(0, noise, shape)).astype(
        np.float32
    )


def straight(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    return np.linspace([x0, y0], [x1, y1], 20000)


def arc(radius: float, start: float, end: float, cx: float = 100.0, cy: float = 80.0) -> np.ndarray:
    t = np.linspace(start, end, 20000)
    return np.stack([cx + radius * np.cos(t), cy + radius * np.sin(t)], axis=1)


@pytest.mark.parametrize(
    "curve", [straight(30.3, 40.2, 160.8, 97.1), arc(60.0, 0.3, 2.4), straight(100.4, 20, 100.4, 140)]
)
@pytest.mark.parametrize("sigma", [1.0, 1.6])
def test_exact_lines_are_recovered_within_a_third_of_a_pixel(curve: np.ndarray, sigma: float) -> None:
    found = find_lines(drawn(curve, sigma, 25.0), um_per_px=4.0)
    line = found[0]
    off = cKDTree(curve).query(line.path)[0]
    inner = line.path[5:-5]
    assert math.sqrt(np.mean(cKDTree(curve).query(inner)[0] ** 2)) <= 0.3
    assert np.max(off) < 3
    true = np.hypot(*np.diff(curve, axis=0).T).sum()
    assert line.length_px == pytest.approx(true, abs=8)


def test_width_and_contrast_are_those_of_the_profile() -> None:
    line = find_lines(drawn(straight(20, 81.3, 180, 81.3), 1.8, 40.0, noise=0.5), um_per_px=4.0)[0]
    # FWHM of a Gaussian; profiles are read after a blur of 0.7 px.
    assert np.median(line.width_px) == pytest.approx(2.3548 * math.hypot(1.8, 0.7), rel=0.12)
    assert np.median(line.contrast) == pytest.approx(40, rel=0.25)


@pytest.mark.parametrize("sigma", [2.9, 5.8])
def test_a_picture_finer_than_its_lines_is_halved_and_they_stay_as_true(sigma: float) -> None:
    curve = arc(60.0, 0.3, 2.4)
    line = find_lines(drawn(curve, sigma, 25.0), um_per_px=6 / (2.3548 * sigma))[0]
    assert math.sqrt(np.mean(cKDTree(curve).query(line.path[8:-8])[0] ** 2)) <= 0.3
    assert line.length_px == pytest.approx(60 * 2.1, abs=8 + 2 * sigma)
    assert np.median(line.width_px) == pytest.approx(2.3548 * sigma, rel=0.15)
    # A vertex per pixel of the picture given, halved or not.
    assert np.median(np.hypot(*np.diff(line.path, axis=0).T)) == pytest.approx(1, abs=0.1)
    assert len(line.path) == len(line.width_px) == len(line.contrast)


def test_a_gap_is_linked() -> None:
    halves = np.concatenate([straight(20, 70, 90, 70), straight(98, 70, 180, 70)])
    found = find_lines(drawn(halves, 1.2, 30.0), um_per_px=4.0)
    assert found[0].length_px == pytest.approx(160, abs=8)


def test_a_branch_is_a_line_of_its_own() -> None:
    tree = np.concatenate([straight(20, 80, 180, 80), straight(100, 80, 150, 130)])
    found = [line for line in find_lines(drawn(tree, 1.2, 30.0), um_per_px=4.0) if line.length_px > 30]
    assert len(found) == 2
    assert found[0].length_px == pytest.approx(160, abs=10)
    assert found[1].length_px == pytest.approx(70, abs=12)


def test_a_step_edge_gives_no_line() -> None:
    rng = np.random.default_rng(1)
    yy, xx = np.mgrid[:160, :200]
    across = (xx - 100) * 0.8 + (yy - 80) * 0.6
    step = 60 + 40 * erf(across / 1.3) + rng.normal(0, 1.5, across.shape)
    near = [
        line
        for line in find_lines(step.astype(np.float32), um_per_px=4.0)
        if np.median(np.abs((line.path - [100, 80]) @ [0.8, 0.6])) < 4
    ]
    assert not near


def test_nothing_is_found_in_noise_outside_the_mask_or_in_a_tiny_picture() -> None:
    picture = drawn(straight(30, 40, 160, 97), 1.2, 40.0)
    assert find_lines(picture, um_per_px=4.0, mask=np.zeros(picture.shape, np.bool_)) == ()
    assert find_lines(np.zeros((8, 8), np.float32), um_per_px=4.0) == ()


def test_wrong_calls_are_refused() -> None:
    with pytest.raises(MeasurementError, match=r"shape \(H, W\)"):
        find_lines(np.zeros((20, 20, 3), np.float32), um_per_px=4.0)
    with pytest.raises(MeasurementError, match="positive"):
        find_lines(np.zeros((20, 20), np.float32), um_per_px=0.0)


def longest(picture: np.ndarray) -> np.ndarray:
    return find_lines(np.ascontiguousarray(picture, np.float32), um_per_px=4.0)[0].path


@settings(max_examples=8, deadline=None)
@given(dx=st.integers(-12, 12), dy=st.integers(-12, 12))
def test_lines_move_with_the_picture(dx: int, dy: int) -> None:
    picture = drawn(arc(50.0, 0.4, 2.2), 1.3, 40.0, noise=0.3)
    moved = longest(np.roll(picture, (dy, dx), axis=(0, 1)))
    assert np.max(cKDTree(longest(picture) + np.array([dx, dy])).query(moved)[0]) < 1.0


@settings(max_examples=6, deadline=None)
@given(turns=st.integers(1, 3), flip=st.booleans())
def test_lines_turn_with_the_picture(turns: int, flip: bool) -> None:
    picture = drawn(arc(50.0, 0.4, 2.2), 1.3, 40.0, noise=0.3)
    square = picture[:, 20:180]
    turned = np.rot90(square, turns)
    if flip:
        turned = turned[:, ::-1]
    length = find_lines(np.ascontiguousarray(square), um_per_px=4.0)[0].length_px
    assert find_lines(np.ascontiguousarray(turned), um_per_px=4.0)[0].length_px == pytest.approx(
        length, abs=3
    )


@pytest.mark.skipif(not CHASE.exists(), reason="open data set CHASE_DB1 is not beside the project")
def test_vessels_of_a_published_set() -> None:
    # Source: CHASE_DB1 (Fraz et al. 2012, IEEE Trans. Biomed. Eng. 59(9)); unsupervised B-COSFIRE reaches
    # sensitivity 0.7585 at specificity 0.9587 (Azzopardi et al. 2015), Sato's filter 0.618 (README of the set).
    # Here: one picture, a bar between the two. All pictures: benchmarks/line_sets.py.
    name = "Image_01L.png"
    green = cv2.imread(str(CHASE / "images" / name), cv2.IMREAD_COLOR)
    truth = cv2.imread(str(CHASE / "masks" / name), cv2.IMREAD_GRAYSCALE)
    field = cv2.imread(str(CHASE / "fov" / name), cv2.IMREAD_GRAYSCALE)
    assert green is not None
    assert truth is not None
    assert field is not None
    inside, vessel = field > 0, truth > 0
    response = line_map(green[..., 1].astype(np.float32), narrowest_px=3.5, bright=False, mask=inside)
    threshold = np.quantile(response[inside & ~vessel], 0.9587)
    assert (response[inside & vessel] > threshold).mean() > 0.65
