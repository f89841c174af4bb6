"""Sharpness from the width of edges, against edges of exactly known blur and movement."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import erf

from setstone.capture.focus import focus, noise_of, tenengrad

Picture = NDArray[np.uint8]


def discs(sigma: float | NDArray[np.float64], noise: float = 2.0, side: int = 600) -> Picture:
    """Discs whose edges are error functions of a known sigma, px."""
    y, x = np.mgrid[:side, :side].astype(np.float64)
    grey = np.full((side, side), 60.0)
    for cy in range(60, side, 120):
        for cx in range(60, side, 120):
            away = np.hypot(x - cx, y - cy) - 40
            grey += 60 * (1 - erf(away / np.sqrt(2) / sigma))
    grey += np.random.default_rng(1).normal(0, noise, grey.shape)
    return np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2)


@pytest.mark.parametrize("sigma", [1.2, 2.0, 3.0, 5.0])
def test_blur_of_known_edges(sigma: float) -> None:
    """A pixel itself adds a box of variance 1/12."""
    assert focus(discs(sigma)).best_px == pytest.approx(np.hypot(sigma, 12**-0.5), rel=0.12)


def test_sharp_edges_are_told_from_blurred_ones_at_any_depth() -> None:
    deep = discs(2.0).astype(np.uint16) * 257
    assert focus(deep).best_px == pytest.approx(2.0, rel=0.12)
    assert focus(discs(0.5)).best_px < 1.0


def test_where_it_is_sharp() -> None:
    x = np.linspace(0, 1, 600)
    found = focus(discs(1.0 + 5 * x[None, :] * np.ones((600, 1))))
    assert found.sharpest is not None
    assert found.sharpest[0] < 0.35
    assert np.nanmedian(found.blur_px[:, 0]) < 0.5 * np.nanmedian(found.blur_px[:, -2])


def test_inside_the_stone_only() -> None:
    pixels = discs(4.0)
    pixels[:, :300] = discs(1.0)[:, :300]
    inside = np.zeros(pixels.shape[:2], bool)
    inside[:, 330:] = True
    assert focus(pixels).best_px < 1.5
    assert focus(pixels, inside).best_px > 3


@pytest.mark.parametrize("angle", [0, 45, 90, 120])
def test_shake(angle: float) -> None:
    """A uniform movement of length L has a standard deviation of L / sqrt(12)."""
    length, size = 15, 31
    kernel = np.zeros((size, size), np.float32)
    for t in np.linspace(-length / 2, length / 2, 400):
        a = np.deg2rad(angle)
        kernel[round(size // 2 + t * np.sin(a)), round(size // 2 + t * np.cos(a))] += 1
    moved = focus(cv2.filter2D(discs(0.8), -1, kernel / kernel.sum()))
    assert moved.shake_px == pytest.approx(length / np.sqrt(12), rel=0.5)
    assert (moved.shake_deg - angle + 90) % 180 - 90 == pytest.approx(0, abs=5)
    assert focus(discs(2.0)).shake_px == 0


def test_nothing_to_judge() -> None:
    found = focus(np.full((300, 400, 3), 90, np.uint8))
    assert not found.is_known
    assert found.sharpest is None


def test_noise_estimate_and_focusing_figure() -> None:
    grey = np.random.default_rng(2).normal(100, 5, (400, 400)).astype(np.float32)
    assert noise_of(grey) == pytest.approx(5, rel=0.03)
    assert tenengrad(discs(1.0)[..., 0]) > 1.5 * tenengrad(discs(3.0)[..., 0])
