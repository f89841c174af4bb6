"""Stage micrometers: photographs with exact truth, turned, blurred, cut and shaded, and drawn analytically."""

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from ruled import Picture, ruled
from scipy import signal

from setstone.measure.light import Pixels
from setstone.measure.micrometer import MicrometerLines, find_micrometer

STONES = Path(__file__).parents[3] / "shared" / "stones"
CASES = sorted(STONES.glob("m*/truth.json"))

needs_stones = pytest.mark.skipif(not CASES, reason="needs the computed test stones beside the checkout")


def _load(case: Path) -> tuple[Picture, dict[str, Any]]:
    truth = json.loads(case.read_text())
    with Image.open(case.parent / truth["image"]) as image:
        return np.asarray(image.convert("RGB")), truth


def _found(pixels: Pixels) -> MicrometerLines:
    lines = find_micrometer(pixels)
    assert lines is not None
    return lines


def _off(lines: MicrometerLines, period: float) -> float:
    return lines.period_px / period - 1


@needs_stones
@pytest.mark.parametrize("case", CASES, ids=lambda c: c.parent.name)
def test_photographs_of_micrometers(case: Path) -> None:
    pixels, truth = _load(case)
    lines = _found(pixels)
    off = _off(lines, truth["px_per_division"])
    assert abs(off) < 1e-4
    assert abs(off) < 3 * lines.u_period_px / lines.period_px
    assert lines.angle_deg == pytest.approx(truth["angle_deg"], abs=0.15)
    start, stop = np.array(truth["scale_p0"]), np.array(truth["scale_p1"])
    along = (lines.centres - start) @ (stop - start) / np.linalg.norm(stop - start) / truth["px_per_division"]
    # Each line found is one there is.
    assert np.abs(along - np.round(along)).max() < 0.03
    assert len(lines.numbers) > 0.9 * truth["divisions"]
    assert lines.longer_every != 2


@needs_stones
@pytest.mark.parametrize(("case", "angle"), zip(CASES, (17, 45, 73, 90, 136, 158), strict=False), ids=str)
def test_turned_with_black_corners(case: Path, angle: float) -> None:
    pixels, truth = _load(case)
    height, width = pixels.shape[:2]
    side = int(np.hypot(height, width)) + 1
    turn = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), angle, 1)
    turn[:, 2] += [(side - width) / 2, (side - height) / 2]
    lines = _found(cv2.warpAffine(pixels, turn, (side, side), flags=cv2.INTER_CUBIC))
    assert abs(_off(lines, truth["px_per_division"])) < 1e-4
    expected = truth["angle_deg"] - angle
    assert (lines.angle_deg - expected + 90) % 180 - 90 == pytest.approx(0, abs=0.15)


@needs_stones
@pytest.mark.parametrize("case", CASES, ids=lambda c: c.parent.name)
def test_partial_view(case: Path) -> None:
    pixels, truth = _load(case)
    period = truth["px_per_division"]
    x, y = (0.6 * np.array(truth["scale_p0"]) + 0.4 * np.array(truth["scale_p1"])).astype(int)
    half = int(16 * period)
    lines = _found(pixels[max(0, y - half) : y + half, max(0, x - half) : x + half])
    assert abs(_off(lines, period)) < 5e-4
    assert abs(_off(lines, period)) < 3 * lines.u_period_px / period


@needs_stones
@pytest.mark.parametrize("case", CASES, ids=lambda c: c.parent.name)
def test_defocus(case: Path) -> None:
    pixels, truth = _load(case)
    period = truth["px_per_division"]
    for blur in (0.2, 0.25):
        lines = _found(cv2.GaussianBlur(pixels, (0, 0), blur * period))
        assert abs(_off(lines, period)) < 4e-4
        assert abs(_off(lines, period)) < 3 * lines.u_period_px / period


@needs_stones
@pytest.mark.parametrize("case", CASES, ids=lambda c: c.parent.name)
def test_what_is_too_blurred_is_not_mistaken(case: Path) -> None:
    pixels, truth = _load(case)
    for blur in (0.3, 0.35, 0.45):
        lines = find_micrometer(cv2.GaussianBlur(pixels, (0, 0), blur * truth["px_per_division"]))
        if lines is not None:
            found = lines.period_px / truth["px_per_division"]
            assert min(abs(found / n - 1) for n in (1, 5, 10)) < 5e-3


@needs_stones
@pytest.mark.parametrize("case", CASES[:2], ids=lambda c: c.parent.name)
def test_uneven_light_bright_lines_and_deep_pixels(case: Path) -> None:
    pixels, truth = _load(case)
    height, width = pixels.shape[:2]
    shade = np.linspace(1, 0.35, width)[None, :, None] * np.linspace(0.8, 1, height)[:, None, None]
    for changed in ((pixels * shade).astype(np.uint8), 255 - pixels, pixels.astype(np.uint16) * 257):
        assert abs(_off(_found(changed), truth["px_per_division"])) < 1e-4


@needs_stones
@pytest.mark.parametrize("case", CASES, ids=lambda c: c.parent.name)
def test_against_a_general_spectral_estimate(case: Path) -> None:
    """Outside reference: the periodogram of SciPy over rows cut from the straightened picture."""
    pixels, truth = _load(case)
    lines = _found(pixels)
    start, stop = np.array(truth["scale_p0"]), np.array(truth["scale_p1"])
    along = (stop - start) / np.linalg.norm(stop - start)
    across = np.array([-along[1], along[0]])
    u = np.arange(0, np.linalg.norm(stop - start), 0.25)
    profile = np.zeros(len(u))
    # The scales lie on one side of their foot or on both.
    for v in range(-10, 0):
        place = start + u[:, None] * along + v * across
        profile += cv2.remap(
            pixels.mean(axis=2).astype(np.float32),
            place[:, 0].astype(np.float32)[None],
            place[:, 1].astype(np.float32)[None],
            cv2.INTER_CUBIC,
        )[0]
    frequency, power = signal.periodogram(profile, fs=4, window="hann", nfft=1 << 20)
    near = np.abs(frequency * lines.period_px - 1) < 0.2
    best = frequency[near][np.argmax(power[near])]
    assert 1 / best == pytest.approx(lines.period_px, rel=1e-3)


@settings(max_examples=8, deadline=None)
@given(period=st.floats(5, 14), angle=st.floats(-90, 90), sigma=st.floats(0.08, 0.22))
def test_any_period_direction_and_blur(period: float, angle: float, sigma: float) -> None:
    pixels = ruled(period, angle, lines=50, sigma=max(0.7, sigma * period))
    lines = _found(pixels)
    assert abs(_off(lines, period)) < 3e-4
    assert abs(_off(lines, period)) < 4 * lines.u_period_px / period


def test_stated_uncertainty_is_honest() -> None:
    """Over many scales the errors scatter as stated, not more."""
    errors = []
    for i in range(8):
        period = 8 + 0.37 * i
        lines = _found(ruled(period, 13.0 * i, lines=30, noise=8, size=500))
        errors.append((lines.period_px - period) / lines.u_period_px)
    assert np.sqrt(np.mean(np.square(errors))) < 1.5


def test_distortion_is_seen() -> None:
    lines = _found(ruled(12, 20, bend=0.02))
    assert lines.bend.quadratic == pytest.approx(0.02, rel=0.15)
    assert lines.bend.quadratic > 5 * lines.bend.u_quadratic
    even = _found(ruled(12, 20))
    assert abs(even.bend.quadratic) < 5e-4


def test_length_pattern() -> None:
    assert _found(ruled(12, 0)).longer_every == 5


@pytest.mark.parametrize("what", ["noise", "even", "edges"])
def test_no_micrometer(what: str) -> None:
    rng = np.random.default_rng(3)
    pixels = np.full((500, 600, 3), 128, np.uint8)
    if what == "noise":
        pixels = rng.integers(0, 255, pixels.shape).astype(np.uint8)
    if what == "edges":
        for _ in range(30):
            a, b = rng.integers(0, 500, (2, 2)).tolist()
            cv2.line(pixels, a, b, (20, 20, 20), 3, cv2.LINE_AA)
    assert find_micrometer(pixels) is None
