"""The small network against general-purpose libraries: each of its layers, and all of it put together otherwise."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.ndimage import correlate

from setstone.measure.network import Layer, Network, applied, read_network

Planes = NDArray[np.float32]


def layer(text: str, name: str) -> Layer:
    return read_network(text)[name]


def random_network(channels: tuple[int, ...], seed: int) -> Network:
    """A network of as many levels, of random weights."""
    rng = np.random.default_rng(seed)

    def random_layer(many: int, before: int, side: int) -> Layer:
        kernel = rng.normal(0, 1 / side / before**0.5, (many, before, side, side)).astype(np.float32)
        return Layer(kernel, rng.normal(0, 0.1, many).astype(np.float32))

    network = {}
    for level, many in enumerate(channels):
        network[f"down_{level}a"] = random_layer(many, channels[level - 1] if level else 3, 3)
        network[f"down_{level}b"] = random_layer(many, many, 3)
    for level, many in enumerate(channels[:-1]):
        network[f"up_{level}a"] = random_layer(many, many + channels[level + 1], 1)
        network[f"up_{level}b"] = random_layer(many, many, 3)
    network["out"] = random_layer(1, channels[0], 1)
    return network


def by_scipy(network: Network, planes: Planes) -> NDArray[np.float64]:
    """The same network by scipy.ndimage.correlate and cv2.resize."""

    def made(name: str, planes: NDArray[np.float64], step: int = 1) -> NDArray[np.float64]:
        kernel, bias = network[name]
        side = kernel.shape[2]
        wide = np.zeros((*kernel.shape[:2], step * (side - 1) + 1, step * (side - 1) + 1))
        wide[:, :, ::step, ::step] = kernel
        out = [
            sum(correlate(p, k, mode="constant") for p, k in zip(planes, ks, strict=True)) + b
            for ks, b in zip(wide, bias, strict=True)
        ]
        return np.array(out) if name == "out" else np.maximum(out, 0)

    def resized(planes: NDArray[np.float64], how: int, factor: float) -> NDArray[np.float64]:
        return np.stack([cv2.resize(p, None, fx=factor, fy=factor, interpolation=how) for p in planes])

    last = sum(name.startswith("down") for name in network) // 2 - 1
    near, seen = planes.astype(np.float64), []
    for level in range(last + 1):
        near = made(f"down_{level}a", near)
        seen.append(made(f"down_{level}b", near, 2 if level == last else 1))
        near = resized(seen[-1], cv2.INTER_AREA, 0.5) if level < last else seen[-1]
    for level in reversed(range(last)):
        near = np.concatenate([seen[level], resized(near, cv2.INTER_NEAREST_EXACT, 2)])
        near = made(f"up_{level}b", made(f"up_{level}a", near))
    return made("out", near)[0]


def test_weights_are_read_from_plain_text() -> None:
    kernel, bias = layer("down_0a 2 1 1 2\n0.5 0.1 1 -2 -1 0.01 99 0", "down_0a")
    np.testing.assert_allclose(kernel.ravel(), [0.1, -0.2, 0.99, 0], rtol=1e-6)
    np.testing.assert_allclose(bias, [0.5, -1])


@settings(max_examples=15, deadline=None)
@given(st.integers(1, 3), st.integers(1, 5), st.integers(1, 5), st.integers(0, 1000))
def test_a_network_says_what_the_same_sums_by_scipy_say(
    levels: int, rows: int, columns: int, seed: int
) -> None:
    """Source: scipy.ndimage.correlate and cv2.resize."""
    network = random_network((3, 4, 5, 6)[: levels + 1], seed)
    side = 2**levels
    planes = np.random.default_rng(seed).normal(0, 1, (3, rows * side, columns * side)).astype(np.float32)
    np.testing.assert_allclose(applied(network, planes), by_scipy(network, planes), atol=1e-4)


@pytest.mark.parametrize("shape", [(40, 40), (33, 47), (1, 1)])
def test_any_size_is_made_up_with_nothing_and_cut_off_again(shape: tuple[int, int]) -> None:
    network = random_network((3, 4, 5), 1)
    planes = np.random.default_rng(2).normal(0, 1, (3, *shape)).astype(np.float32)
    height, width = shape
    whole = np.zeros((3, -(-height // 4) * 4, -(-width // 4) * 4), np.float32)
    whole[:, :height, :width] = planes
    said = applied(network, planes)
    assert said.shape == shape
    np.testing.assert_array_equal(said, applied(network, whole)[:height, :width])
