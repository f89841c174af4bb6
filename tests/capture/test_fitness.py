"""What makes a photograph unfit; the limits are common practice, no source."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from setstone.capture.fitness import fitness


def _good(depth: type[np.unsignedinteger] = np.uint8) -> NDArray[np.uint8]:
    coarse = np.random.default_rng(2).integers(40, 200, (50, 60, 3)).astype(np.float32)
    smooth = cv2.resize(coarse, (600, 500), interpolation=cv2.INTER_LINEAR)
    return np.asarray(smooth * (np.iinfo(depth).max / 255), depth)


def _codes(pixels: NDArray[np.uint8], inside: NDArray[np.bool_] | None = None) -> list[str]:
    return [flag.code for flag in fitness(pixels, inside)]


@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
def test_good(depth: type[np.unsignedinteger]) -> None:
    assert _codes(_good(depth)) == []


@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
@pytest.mark.parametrize(("share", "code"), [(0.0, "black"), (1.0, "white"), (0.5, "flat")])
def test_uniform(depth: type[np.unsignedinteger], share: float, code: str) -> None:
    pixels = np.full((500, 500, 3), share * np.iinfo(depth).max, depth)
    assert _codes(pixels) == [code]


def test_noise_alone_shows_nothing() -> None:
    noise = np.random.default_rng(4).normal(90, 6, (500, 500, 3))
    assert _codes(np.clip(noise, 0, 255).astype(np.uint8)) == ["flat"]


def test_share_overexposed_is_that_of_the_stone() -> None:
    pixels = _good()
    inside = np.zeros(pixels.shape[:2], bool)
    inside[100:300, 100:300] = True
    pixels[100:200, 100:300, 2] = 255
    (flag,) = fitness(pixels, inside)
    assert flag.code == "clipped"
    assert flag.text.startswith("50% of the stone is overexposed")
    assert _codes(pixels) == []
    assert _codes(pixels, np.zeros_like(inside)) == []


def test_small() -> None:
    assert _codes(_good()[:300]) == ["small"]
    assert _codes(np.zeros((1, 1, 3), np.uint8)) == ["small", "black"]
