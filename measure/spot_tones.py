"""How bright a spot and its surroundings are, compiled: thousands of spots are described in a photograph."""

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from setstone.measure.light import Plane

#: From the median absolute deviation to a standard deviation (Hampel 1974).
MAD = 1.4826


class Tones(NamedTuple):
    """Grey levels of a spot's body, of the ring around it, and of what lies between.

    Parameters
    ----------
    around, level : float
        Medians of the ring and of the body.
    spread, grain : float
        Standard deviations, by medians, of the ring and of its fine grain.
    sides_range, weakest : float
        Of the medians of the ring in eight directions: range and least.
    edges : float
        Ninth decile of the slopes in the surroundings, per pixel.
    slope, weak_slope : float
        Median and 15th percentile of the slopes along the outline, per pixel.
    body_spread : float
        Standard deviation of the body.
    glint : float
        Ninth decile right around the outline; that of the ring's median where nothing is there.
    body_rgb, ring_rgb : (float, float, float)
        Medians of the colour channels.
    blue_around, blue_level, blue_spread : float
        `around`, `level` and `spread` under blue light; 0 without.
    """

    around: float
    level: float
    spread: float
    grain: float
    sides_range: float
    weakest: float
    edges: float
    slope: float
    weak_slope: float
    body_spread: float
    glint: float
    body_rgb: tuple[float, float, float]
    ring_rgb: tuple[float, float, float]
    blue_around: float
    blue_level: float
    blue_spread: float


@njit(cache=True, nogil=True)
def tones(
    window: Plane,
    smooth: Plane,
    slope: Plane,
    colour: Plane,
    blue: Plane,
    away: Plane,
    outline: NDArray[np.float64],
    centre: tuple[float, float],
    diameter: float,
) -> Tones:  # pragma: no cover - compiled
    """Measure the tones of one spot.

    Parameters
    ----------
    window, smooth, slope : (H, W) float32 arrays
        The surroundings in grey levels, the same blurred, and its slope per pixel.
    colour : (H, W, 3) float32 array
    blue : (H, W) float32 array
        Under blue light; (0, 0) without.
    away : (H, W) float32 array
        Distance from the outline in pixels, negative inside.
    outline : (N, 2) float64 array
        x, y in pixels of the window.
    centre : (float, float)
        Of the spot, x, y.
    diameter : float
        In pixels.

    Returns
    -------
    Tones
    """
    height, width = window.shape
    distance = away.copy().reshape(-1)
    body = distance <= np.float32(-0.7)
    if body.sum() < 3:
        body = distance <= np.sort(distance)[2]
    ring = (distance >= np.float32(1.5)) & (distance <= np.float32(max(0.5 * diameter, 3.0) + 1.0))
    if ring.sum() < 8:
        ring = distance >= np.float32(1.0)
    inner = (distance >= np.float32(1.0)) & (distance <= np.float32(2.5))
    outer = (distance >= np.float32(3.0)) & (distance <= np.float32(max(0.8 * diameter, 5.0) + 1.0))

    values, blurred = window.copy().reshape(-1), smooth.copy().reshape(-1)
    around, level = float(np.median(values[ring])), float(np.median(values[body]))
    spread = MAD * np.median(np.abs(values[ring] - np.float32(around)))
    grain = MAD * np.median(np.abs(values - blurred)[ring]) * 1.2 + 0.5

    at = np.flatnonzero(ring)
    sector = np.empty(len(at), np.int64)
    for k in range(len(at)):
        turn = math.atan2(at[k] // width - centre[1], at[k] % width - centre[0]) / (2 * math.pi)
        sector[k] = int(turn * 8) % 8
    on_ring = blurred[ring]
    overall = float(np.median(on_ring))
    most, least = -np.inf, np.inf
    for k in range(8):
        side = on_ring[sector == k]
        value = float(np.median(side)) if len(side) >= 2 else overall
        most, least = max(most, value), min(least, value)

    edges = 0.0
    if outer.sum() >= 8:
        edges = _percentile(slope.copy().reshape(-1)[outer], 0.9)
    across = np.empty(len(outline))
    for k in range(len(outline)):
        i = min(max(int(np.rint(outline[k, 1])), 0), height - 1)
        j = min(max(int(np.rint(outline[k, 0])), 0), width - 1)
        across[k] = slope[i, j]

    body_rgb, ring_rgb = np.empty(3), np.empty(3)
    for channel in range(3):
        one = colour[:, :, channel].copy().reshape(-1)
        body_rgb[channel], ring_rgb[channel] = np.median(one[body]), np.median(one[ring])

    blue_around, blue_level, blue_spread = 0.0, 0.0, 0.0
    if blue.size:
        light = blue.copy().reshape(-1)
        blue_around, blue_level = float(np.median(light[ring])), float(np.median(light[body]))
        blue_spread = MAD * np.median(np.abs(light[ring] - np.float32(blue_around)))

    return Tones(
        around,
        level,
        spread,
        grain,
        most - least,
        least,
        edges,
        float(np.median(across)),
        _percentile(across, 0.15),
        float(values[body].astype(np.float64).std()),
        _percentile(values[inner], 0.9) if inner.any() else around,
        (body_rgb[0], body_rgb[1], body_rgb[2]),
        (ring_rgb[0], ring_rgb[1], ring_rgb[2]),
        blue_around,
        blue_level,
        blue_spread,
    )


@njit(cache=True, nogil=True)
def _percentile(values, share):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Interpolate as `numpy.percentile` does."""
    ranked = np.sort(values)
    at = share * (len(ranked) - 1)
    below = int(at)
    above = min(below + 1, len(ranked) - 1)
    return float(ranked[below]) + (at - below) * (float(ranked[above]) - float(ranked[below]))
