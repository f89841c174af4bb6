"""Closed edges that run around one centre: the tool with which the girdle is found.

A set stone is a family of closed curves, one inside the other: girdle, bezel lip, rows of beads.
Seen together they have a centre of symmetry, and each is the best closed path in a picture unrolled
around that centre.
"""

import math
from dataclasses import dataclass

import cv2
import numba
import numpy as np
import scipy.fft
from numpy.typing import NDArray

from setstone.measure.light import Plane

Curve = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Gradient:
    """Colour gradient of a picture.

    Parameters
    ----------
    strength : (H, W) float32 array
        Root of the summed squared derivatives of all channels, per pixel.
    direction : (H, W) complex64 array
        Unit vector at *twice* the angle across the edge, so that both signs of an edge agree.
    """

    strength: Plane
    direction: NDArray[np.complex64]


def gradient(image: Plane, sigma: float) -> Gradient:
    """Gradient of a colour picture by its structure tensor (Di Zenzo 1986).

    Parameters
    ----------
    image : (H, W, 3) float32 array
    sigma : float
        Gaussian smoothing before derivation, in pixels.

    Returns
    -------
    Gradient
    """
    smooth = cv2.GaussianBlur(image, (0, 0), sigma)
    gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=1 / 8)
    gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=1 / 8)
    xx, xy, yy = ((a * b).sum(axis=2) for a, b in ((gx, gx), (gx, gy), (gy, gy)))
    double = (xx - yy) + 2j * xy
    return Gradient(np.sqrt(xx + yy), double / np.maximum(np.abs(double), 1e-6))


def compressed(strength: Plane) -> Plane:
    """Edge strength squeezed to 0..1 with the picture's own median as the yardstick."""
    return strength / (strength + 2 * np.median(strength) + 0.5)


def symmetry_centre(edges: Gradient) -> tuple[float, float]:
    """Point about which the edges best agree with themselves turned by 180 degrees.

    The autocorrelation of the edge directions with their own mirror image, as one product of
    spectra. Rings of any oval or polygonal setting agree; texture and scale bars do not.

    Returns
    -------
    x, y : float
        In pixels, to half a pixel.
    """
    height, width = edges.strength.shape
    field = compressed(edges.strength) * edges.direction
    size = [scipy.fft.next_fast_len(2 * n) for n in (height, width)]
    spectrum = scipy.fft.fft2(field, size)
    mirrored = scipy.fft.fft2(np.conj(field), size)
    agreement = scipy.fft.ifft2(spectrum * mirrored).real[: 2 * height - 1, : 2 * width - 1]
    agreement = cv2.GaussianBlur(agreement.astype(np.float32), (0, 0), 1.5)
    y, x = np.unravel_index(int(agreement.argmax()), agreement.shape)
    return float(x) / 2, float(y) / 2


def best_ring(edges: Gradient, centre: tuple[float, float], rays: int = 240) -> tuple[Curve, float]:
    """Closed curve around a centre along which edges are strongest and cross the rays.

    Returns
    -------
    ring : (rays, 2) float64 array
        Points x, y, in pixels.
    completeness : float
        Mean compressed edge strength along it, 0..1.
    """
    height, width = edges.strength.shape
    radii = np.arange(0.08 * min(height, width), 0.5 * math.hypot(height, width))
    angles = np.arange(rays) * (2 * np.pi / rays)
    x = (centre[0] + np.outer(np.cos(angles), radii)).astype(np.float32)
    y = (centre[1] + np.outer(np.sin(angles), radii)).astype(np.float32)

    def along_rays(plane: Plane) -> Plane:
        return cv2.remap(plane, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)

    double = np.exp(2j * angles)[:, None]
    direction = (
        along_rays(edges.direction.real) * double.real + along_rays(edges.direction.imag) * double.imag
    )
    score = along_rays(compressed(edges.strength)) * (0.5 + 0.5 * np.clip(direction, -1, 1))
    path = closed_path(score, reach=3, stiffness=0.15)
    ring = np.array(centre) + radii[path, None] * np.column_stack([np.cos(angles), np.sin(angles)])
    return ring, float(score[np.arange(rays), path].mean())


def closed_path(score: Plane, reach: int, stiffness: float) -> NDArray[np.int64]:
    """Closed path of the greatest score through an unrolled picture, by dynamic programming.

    The path is sought over two turns and the middle turn is kept, which closes it (for a survey of
    minimal closed paths see Cohen & Kimmel 1997, IJCV 24:57).

    Parameters
    ----------
    score : (T, R) float32 array
        One row per ray, one column per distance.
    reach : int
        Greatest step between neighbouring rays, in columns.
    stiffness : float
        Cost of a step of one column.

    Returns
    -------
    (T,) int64 array
        Column of the path in every ray.
    """
    path: NDArray[np.int64] = _closed_path(
        np.ascontiguousarray(score, np.float32), reach, np.float32(stiffness)
    )
    return path


@numba.njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def _closed_path(score: Plane, reach: int, stiffness: np.float32) -> NDArray[np.int64]:
    rays, columns = score.shape
    half = rays // 2
    best = score[half].copy()
    following = np.empty_like(best)
    steps = np.zeros((2 * rays, columns), np.int8)
    for i in range(1, 2 * rays):
        row = score[(half + i) % rays]
        for r in range(columns):
            top = np.float32(-1e30)
            for step in range(max(-reach, -r), min(reach, columns - 1 - r) + 1):
                value = best[r + step] - stiffness * abs(step)
                if value > top:
                    top = value
                    steps[i, r] = step
            following[r] = top + row[r]
        best[:] = following
    path = np.empty(2 * rays, np.int64)
    r = best.argmax()
    for i in range(2 * rays - 1, -1, -1):
        path[i] = r
        r += steps[i, r]
    return path[rays - half : 2 * rays - half]


def resampled(curve: Curve, n: int) -> Curve:
    """Return a closed curve with `n` points at equal steps along it, in pixels."""
    closed = np.vstack([curve, curve[:1]])
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    at = np.linspace(0, length[-1], n, endpoint=False)
    return np.column_stack([np.interp(at, length, closed[:, 0]), np.interp(at, length, closed[:, 1])])


def normals(curve: Curve) -> Curve:
    """Outward unit normals of a closed curve with equal steps, (N, 2)."""
    k = max(1, len(curve) // 150)
    tangent = np.roll(curve, -k, axis=0) - np.roll(curve, k, axis=0)
    tangent /= np.hypot(*tangent.T)[:, None]
    normal = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    outward: Curve = normal * np.sign(((curve - curve.mean(axis=0)) * normal).sum())
    return outward


def unrolled(image: Plane, curve: Curve, offsets: NDArray[np.float64]) -> tuple[Plane, NDArray[np.bool_]]:
    """Picture along the normals of a closed curve.

    Parameters
    ----------
    image : (H, W, 3) float32 array
    curve : (T, 2) float64 array
    offsets : (R,) float64 array
        Distances from the curve, outward positive, in pixels.

    Returns
    -------
    strip : (T, R, 3) float32 array
    inside : (T, R) bool array
        False where the photograph does not reach.
    """
    at = (curve[:, None] + offsets[None, :, None] * normals(curve)[:, None]).astype(np.float32)
    strip = cv2.remap(image, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    height, width = image.shape[:2]
    inside = (at >= 0).all(axis=2) & (at[..., 0] <= width - 1) & (at[..., 1] <= height - 1)
    return strip, inside
