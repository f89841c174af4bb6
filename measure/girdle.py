"""Find the girdle of a set stone: the outline in which stone and setting meet.

On a small copy the strongest closed edge around the centre of symmetry is looked for: one of the rings
of the setting, or the girdle itself. The picture is unrolled and straightened along it, every closed
path in it is a candidate, and of these the one is taken that looks most like a girdle.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from setstone.measure.light import Pixels, Plane
from setstone.measure.outline import Outline
from setstone.measure.rim import girdle_probability
from setstone.measure.rings import (
    RAYS,
    Curve,
    Path,
    Strip,
    edge_strength,
    gradient,
    ring_paths,
    settled,
    squeezed,
    strongest_ring,
    unrolled,
    vertex,
)

#: Longest side of the small copy on which the ring is first looked for, in pixels.
SMALL = 256
#: Width to which a stone is reduced for the rest, in pixels: 0.05 px of it are 0.006 % of the diameter.
WORKING = 800.0
#: Rings looked at as candidates.
CANDIDATES = 16
#: Completeness of the strongest ring below which no stone is said to be seen.
LEAST_RING = 0.45


def find_girdle(pixels: Pixels, *, other: Pixels | None = None) -> Outline | None:
    """Outline of the girdle in a photograph of a set stone.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        sRGB-encoded photograph, under white light where there is one.
    other : (H, W, 3) uint8 or uint16 array, optional
        The same stone under the other lamp, aligned.

    Returns
    -------
    Outline or None
        None where no stone is to be seen.
    """
    del other
    rings = candidate_rings(pixels)
    if rings is None:
        return None
    chance = girdle_probability(rings.strip, rings.paths, rings.heart)
    best = int(chance.argmax())
    seen = rings.strip.inside[np.arange(RAYS), rings.paths[best]]
    return Outline(rings.curves[best], seen, 0.5 / rings.scale)


@dataclass(frozen=True, eq=False)
class Rings:
    """Closed edges around a stone, one of which may be the girdle.

    Parameters
    ----------
    strip : Strip
        The picture unrolled and straightened along them.
    paths : list of (RAYS,) int64 arrays
        Their columns in the strip.
    curves : list of (RAYS, 2) float64 arrays
        The same in pixels of the photograph, to a fraction of a pixel.
    heart : (K, 3) float32 array
        Colours from well inside.
    scale : float
        Pixels of the strip's picture per pixel of the photograph.
    """

    strip: Strip
    paths: list[Path]
    curves: list[Curve]
    heart: Plane
    scale: float


def candidate_rings(pixels: Pixels) -> Rings | None:
    """Find the closed edges around the centre of a photograph; None where there are none."""
    small, reduction = _small(pixels)
    ring, completeness = strongest_ring(gradient(small, 1.0))
    if completeness < LEAST_RING:
        return None
    view = _view(pixels, (ring + 0.5) / reduction - 0.5)
    strip = unrolled(view.image, settled(view.image, view.ring), -0.2, 0.1)
    strength, known = edge_strength(strip)
    paths = ring_paths(squeezed(strength, known), CANDIDATES)
    curves = [
        view.back(strip.at(gaussian_filter1d(path + vertex(strength, path), 2.0, mode="wrap")))
        for path in paths
    ]
    return Rings(strip, paths, curves, _heart(view.image, strip.curve), view.scale)


def _heart(image: Plane, ring: Curve) -> Plane:
    """Colours from well inside a ring, evenly over its area, (K, 3)."""
    centre = ring.mean(axis=0)
    shrink = np.sqrt(np.linspace(0.02, 0.5, 16))
    at = (centre + shrink[None, :, None] * (ring[::6, None] - centre)).astype(np.float32)
    smooth = cv2.GaussianBlur(image, (0, 0), 1.2)
    return cv2.remap(smooth, at[..., 0], at[..., 1], cv2.INTER_LINEAR).reshape(-1, 3)


def visible_stone(pixels: Pixels, outline: Outline) -> NDArray[np.bool_]:
    """(H, W) mask of what is seen of the stone, inside the outline and not under claws or bezel."""
    mask = np.zeros(pixels.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(outline.points * 8).astype(np.int32)], 1, shift=3)
    return mask.astype(bool)


@dataclass(frozen=True, eq=False)
class _View:
    """Neighbourhood of the ring, reduced to the working size, and the way back to the photograph."""

    image: Plane
    ring: Curve
    corner: NDArray[np.float64]
    scales: NDArray[np.float64]

    @property
    def scale(self) -> float:
        return float(self.scales.mean())

    def back(self, points: Curve) -> Curve:
        return (points + 0.5) / self.scales - 0.5 + self.corner


def _small(pixels: Pixels) -> tuple[Plane, NDArray[np.float64]]:
    height, width = pixels.shape[:2]
    factor = SMALL / max(height, width)
    size = max(16, round(width * factor)), max(16, round(height * factor))
    small = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    return small * np.float32(255 / np.iinfo(pixels.dtype).max), np.array(size) / (width, height)


def _view(pixels: Pixels, ring: Curve) -> _View:
    extent = np.ptp(ring, axis=0).mean()
    corner = np.maximum(np.floor(ring.min(axis=0) - 0.12 * extent), 0).astype(int)
    x1, y1 = np.ceil(ring.max(axis=0) + 0.12 * extent).astype(int)
    crop = pixels[corner[1] : y1, corner[0] : x1]
    height, width = crop.shape[:2]
    factor = min(1.0, WORKING / extent)
    size = round(width * factor), round(height * factor)
    image = cv2.resize(crop, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    scales = np.array(size) / (width, height)
    in_view = (ring - corner + 0.5) * scales - 0.5
    return _View(image * np.float32(255 / np.iinfo(pixels.dtype).max), in_view, corner.astype(float), scales)
