"""Find the girdle of a set stone: the outline in which stone and setting meet.

Three stages. On a small copy, the centre of symmetry and the strongest closed edge around it, which
is one of the rings of the setting or the girdle itself. In a picture unrolled along that ring, the
best few closed paths as candidates. Of these the girdle is the one within which brightness changes
from facet to facet while outside it runs evenly around.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from setstone.measure.light import Pixels, Plane
from setstone.measure.outline import Outline
from setstone.measure.rings import (
    Curve,
    best_ring,
    closed_path,
    gradient,
    normals,
    resampled,
    symmetry_centre,
    unrolled,
)

#: Longest side of the small copy on which the ring is first looked for, in pixels.
SMALL = 256
#: Width to which a stone is reduced for the rest, in pixels: 0.05 px of it are 0.006 % of the diameter.
WORKING = 900.0
RAYS = 720
CANDIDATES = 8
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
    small, reduction = _small(pixels)
    edges = gradient(small, 1.0)
    ring, completeness = best_ring(edges, symmetry_centre(edges))
    if completeness < LEAST_RING:
        return None
    view = _view(pixels, (ring + 0.5) / reduction - 0.5)
    base = view.ring
    diameter = float(np.ptp(base, axis=0).mean())
    offsets = np.arange(-0.16 * diameter, 0.08 * diameter, diameter / 700)
    strip, inside = unrolled(view.image, base, offsets)
    strength = _radial_edge(strip, inside)
    paths = _paths(strength, inside)
    best = max(paths, key=lambda path: _likeness(strip, inside, strength, path, paths))
    distance = offsets[best] + _subpixel(strength, best) * (offsets[1] - offsets[0])
    distance = gaussian_filter1d(distance, 2.0, mode="wrap")
    points = view.back(base + distance[:, None] * normals(base))
    seen = inside[np.arange(RAYS), best]
    return Outline(points, seen, 0.5 / view.scale)


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
    smooth = gaussian_filter1d(resampled(ring, RAYS), 6.0, axis=0, mode="wrap")
    in_view = resampled((smooth - corner + 0.5) * scales - 0.5, RAYS)
    return _View(image * np.float32(255 / np.iinfo(pixels.dtype).max), in_view, corner.astype(float), scales)


def _radial_edge(strip: Plane, inside: NDArray[np.bool_]) -> Plane:
    smooth = cv2.GaussianBlur(strip, (0, 0), sigmaX=1.2, sigmaY=1.0)
    strength = np.sqrt((np.gradient(smooth, axis=1) ** 2).sum(axis=2))
    strength[cv2.erode(inside.astype(np.uint8), np.ones((3, 7))) == 0] = 0
    return strength.astype(np.float32)


def _paths(strength: Plane, inside: NDArray[np.bool_]) -> list[NDArray[np.int64]]:
    score = strength / (strength + 1.5 * np.median(strength[inside]) + 0.3)
    score[~inside] = 0.3
    paths = []
    columns = np.arange(score.shape[1])
    for _ in range(CANDIDATES):
        path = closed_path(score, reach=1, stiffness=0.35)
        paths.append(path)
        score[np.abs(columns[None] - path[:, None]) <= 4] = 0
    return paths


def _aligned(strip: Plane, path: NDArray[np.int64], reach: int) -> Plane:
    columns = np.clip(path[:, None] + np.arange(-reach, reach + 1), 0, strip.shape[1] - 1)
    return strip[np.arange(len(strip))[:, None], columns]


def _likeness(
    strip: Plane,
    inside: NDArray[np.bool_],
    strength: Plane,
    path: NDArray[np.int64],
    paths: list[NDArray[np.int64]],
) -> float:
    per_cent = 7
    around = _aligned(strip, path, 4 * per_cent)
    seen = _aligned(inside, path, 4 * per_cent)
    turns = np.concatenate([around] * 3)
    rays = len(around)
    band = cv2.GaussianBlur(turns, (0, 0), sigmaX=1, sigmaY=rays / 250) - cv2.GaussianBlur(
        turns, (0, 0), sigmaX=1, sigmaY=rays / 16
    )
    uneven = np.sqrt((band[rays : 2 * rays] ** 2).sum(axis=2))
    uneven[~seen] = np.nan
    rows = np.nanmedian(uneven, axis=0)
    middle = 4 * per_cent
    within = np.median(rows[middle - 3 * per_cent : middle - 3])
    beyond = np.median(rows[middle + 3 : middle + per_cent + 3])

    def peak(p: NDArray[np.int64]) -> float:
        return float(np.log(np.median(strength[np.arange(rays), p]) + 0.3))

    deeper = [peak(p) for p in paths if np.median(p) < np.median(path) - 3]
    return float(
        4.0 * np.log((within + 1) / (beyond + 1))
        + 0.5 * peak(path)
        - 1.5 * (max(deeper, default=-1.2) - peak(path))
    )


def _subpixel(strength: Plane, path: NDArray[np.int64]) -> NDArray[np.float64]:
    rays = np.arange(len(path))
    low, mid, high = (
        strength[rays, np.clip(path + k, 0, strength.shape[1] - 1)].astype(float) for k in (-1, 0, 1)
    )
    curvature = low - 2 * mid + high
    return np.where(curvature < 0, np.clip(0.5 * (low - high) / np.minimum(curvature, -1e-6), -0.5, 0.5), 0.0)
