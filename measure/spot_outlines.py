"""What the outline of a spot tells of its shape, compiled: thousands of spots are described in a photograph."""

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray


class OutlineShape(NamedTuple):
    """Shape of a closed outline.

    Parameters
    ----------
    area, length : float
        In square pixels and pixels.
    off_ellipse : float
        Root mean square distance from the ellipse of equal second moments, as a share of the diameter given.
    cornered : float
        Share of a full turn that is made in the three sharpest eighths; a circle's is 3/8, that of a triangle
        nearly 1.
    straight : float
        Longest stretch within 5 % of its own length of its chord, in pixels.
    """

    area: float
    length: float
    off_ellipse: float
    cornered: float
    straight: float


@njit(cache=True, nogil=True)
def outline_shape(
    outline: NDArray[np.float64], diameter: float
) -> OutlineShape:  # pragma: no cover - compiled
    """Describe a closed outline.

    Parameters
    ----------
    outline : (N, 2) float64 array
        x, y in pixels; the last vertex joins the first.
    diameter : float
        Of the spot, in pixels.

    Returns
    -------
    OutlineShape
    """
    area, length = 0.0, 0.0
    for k in range(len(outline)):
        x, y = outline[k]
        next_x, next_y = outline[(k + 1) % len(outline)]
        area += x * next_y - next_x * y
        length += math.hypot(next_x - x, next_y - y)
    points = _evenly(outline, 48)
    return OutlineShape(
        abs(area) / 2,
        length,
        _off_ellipse(points, diameter),
        _cornered(_evenly(outline, 32)),
        _longest_chord(points),
    )


@njit(cache=True, nogil=True)
def _evenly(outline, count):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    """Resample `count` points at even steps along a closed outline."""
    vertices = len(outline)
    along = np.zeros(vertices + 1)
    for k in range(vertices):
        after = outline[(k + 1) % vertices]
        along[k + 1] = along[k] + math.hypot(after[0] - outline[k, 0], after[1] - outline[k, 1])
    points = np.empty((count, 2))
    k = 0
    for n in range(count):
        at = n * (along[-1] / count)
        while k < vertices - 1 and along[k + 1] <= at:
            k += 1
        step = along[k + 1] - along[k]
        share = (at - along[k]) / step if step > 0 else 0.0
        for axis in range(2):
            begin, end = outline[k, axis], outline[(k + 1) % vertices, axis]
            points[n, axis] = begin + share * (end - begin)
    return points


@njit(cache=True, nogil=True)
def _off_ellipse(points, diameter):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    count = len(points)
    mx, my = points[:, 0].mean(), points[:, 1].mean()
    xx = yy = xy = 0.0
    for x, y in points:
        xx += (x - mx) ** 2 / count
        yy += (y - my) ** 2 / count
        xy += (x - mx) * (y - my) / count
    # Eigenvalues of the moments, and the direction of the longer axis.
    half, spread = (xx + yy) / 2, math.hypot((xx - yy) / 2, xy)
    long, short = math.sqrt(2 * max(half + spread, 1e-3)), math.sqrt(2 * max(half - spread, 1e-3))
    angle = math.atan2(2 * xy, xx - yy) / 2
    c, s = math.cos(angle), math.sin(angle)
    total = 0.0
    for x, y in points:
        u, v = (x - mx) * c + (y - my) * s, (y - my) * c - (x - mx) * s
        total += (math.hypot(u / long, v / short) - 1) ** 2
    return math.sqrt(total / count) * math.sqrt(long * short) / diameter


@njit(cache=True, nogil=True)
def _cornered(points):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    count = len(points)
    heading = np.empty(count)
    for k in range(count):
        # Smoothed by 1, 2, 1 quarters, then the step to the next.
        before, here, after, last = points[k - 1], points[k], points[(k + 1) % count], points[(k + 2) % count]
        dx = 0.25 * (here[0] - before[0]) + 0.5 * (after[0] - here[0]) + 0.25 * (last[0] - after[0])
        dy = 0.25 * (here[1] - before[1]) + 0.5 * (after[1] - here[1]) + 0.25 * (last[1] - after[1])
        heading[k] = math.atan2(dy, dx)
    turning = np.empty(count)
    for k in range(count):
        turning[k] = (heading[(k + 1) % count] - heading[k] + math.pi) % (2 * math.pi) - math.pi
    if turning.sum() < 0:
        turning = -turning
    bends = np.empty(count)
    for k in range(count):
        bends[k] = turning[k] + turning[(k + 1) % count] + turning[(k + 2) % count] + turning[(k + 3) % count]
    total = 0.0
    for _ in range(3):
        sharpest = bends.argmax()
        total += bends[sharpest]
        for k in range(-3, 4):
            bends[(sharpest + k) % count] = -np.inf
    return total / (2 * math.pi)


@njit(cache=True, nogil=True)
def _longest_chord(points):  # type: ignore[no-untyped-def] # pragma: no cover - compiled
    total = len(points)
    best = 0.0
    for count in range(6, 30, 2):
        for start in range(total):
            x0, y0 = points[start]
            dx, dy = points[(start + count) % total, 0] - x0, points[(start + count) % total, 1] - y0
            square = dx * dx + dy * dy
            if square <= best * best:
                continue
            fits = True
            for k in range(1, count):
                x, y = points[(start + k) % total]
                if abs(dx * (y - y0) - dy * (x - x0)) > 0.05 * square:
                    fits = False
                    break
            if fits:
                best = math.sqrt(square)
    return best
