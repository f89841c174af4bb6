"""Many lines at once: their values in one array, one run after another.

Where a run begins is told by `starts`, (R + 1,) int64: run i is ``values[starts[i] : starts[i + 1]]``. One
compiled loop over all runs takes the place of thousands of small array operations.
"""

import math
from collections.abc import Sequence

import numpy as np
from numba import njit
from numpy.typing import NDArray

from setstone.measure.light import Plane

Values = NDArray[np.float64]
Starts = NDArray[np.int64]


def starts_of(runs: Sequence[NDArray[np.float64]]) -> Starts:
    """Where each run begins once they are concatenated, and where the last one ends."""
    return np.concatenate(([0], np.cumsum([len(run) for run in runs]))).astype(np.int64)


def positions(starts: Starts) -> NDArray[np.int64]:
    """Index of each value within its own run, (N,) int64."""
    return np.arange(starts[-1]) - np.repeat(starts[:-1], np.diff(starts))


def picked(keep: NDArray[np.bool_], starts: Starts) -> Starts:
    """Starts of what is left when only the marked values are kept; each run must keep one."""
    return np.concatenate(([0], np.cumsum(np.add.reduceat(keep.astype(np.int64), starts[:-1]))))


def sum_each(values: NDArray[np.generic], starts: Starts) -> Values:
    """Sum of each run, none of them empty: (N,) to (R,)."""
    return np.asarray(np.add.reduceat(values.astype(np.float64), starts[:-1]), np.float64)


def mean_each(values: NDArray[np.generic], starts: Starts) -> Values:
    """Mean of each run, none of them empty: (N,) to (R,)."""
    return np.asarray(sum_each(values, starts) / np.diff(starts), np.float64)


def percentile_each(values: Values, starts: Starts, shares: Sequence[float]) -> Values:
    """Percentiles of each run, interpolated as `numpy.percentile` does: (len(shares), R)."""
    return np.asarray(_percentiles(values, starts, np.array(shares, np.float64)), np.float64)


def median_each(values: Values, starts: Starts) -> Values:
    """Median of each run: (N,) to (R,)."""
    return np.asarray(percentile_each(values, starts, [50])[0], np.float64)


def differences_each(values: Values, starts: Starts) -> tuple[Values, Starts]:
    """Differences of successive values within each run of two and more, and where they start."""
    inner = np.ones(len(values) - 1, np.bool_)
    inner[starts[1:-1] - 1] = False
    return np.diff(values, axis=0)[inner], starts - np.arange(len(starts))


def gradient_each(points: Values, starts: Starts) -> Values:
    """Central differences within each run of two and more, one-sided at its ends, as `numpy.gradient`."""
    out = np.empty_like(points)
    out[1:-1] = (points[2:] - points[:-2]) / 2
    first, last = starts[:-1], starts[1:] - 1
    out[first] = points[first + 1] - points[first]
    out[last] = points[last] - points[last - 1]
    return out


def smooth_each(values: Values, starts: Starts, sigma: float) -> Values:
    """Gaussian smoothing within each run, its ends repeated: (N, K) to (N, K)."""
    return np.asarray(_smoothed(values, starts, _gaussian(sigma)), np.float64)


def smooth_paths(points: Values, starts: Starts, sigma: float) -> Values:
    """Smooth paths without drawing in their ends (reflected at a point, not at a line): (N, 2) to (N, 2)."""
    return np.asarray(_smoothed_paths(points, starts, _gaussian(sigma)), np.float64)


def evenly(points: Values, starts: Starts) -> tuple[Values, Starts]:
    """Points about every pixel along each path, ends kept, and where the paths start now."""
    at = _travelled(points, starts)
    counts = np.maximum(2, np.rint(at[starts[1:] - 1]).astype(np.int64) + 1)
    new = np.concatenate(([0], np.cumsum(counts)))
    return np.asarray(_evenly(points, at, starts, new), np.float64), new


def unit(vectors: Values) -> Values:
    """Vectors of length one: (N, 2) to (N, 2)."""
    return np.asarray(vectors / np.maximum(np.hypot(*vectors.T), 1e-9)[:, None], np.float64)


def across(plane: Plane, points: Values, normals: Values, offsets: Values) -> Values:
    """Grey values beside points, bilinear, the border repeated.

    Parameters
    ----------
    plane : (H, W) float32 array
    points, normals : (N, 2) float64 arrays
        x, y.
    offsets : (K,) float64 array
        How far along the normal, in pixels.

    Returns
    -------
    (N, K) float64 array
    """
    return np.asarray(_across(plane, points, normals, np.asarray(offsets, np.float64)), np.float64)


def nearest(plane: Plane | NDArray[np.bool_], points: Values) -> Values:
    """Value of the pixel nearest to each point x, y, the border repeated: (N, 2) to (N,)."""
    x = np.clip(np.rint(points[:, 0]).astype(int), 0, plane.shape[1] - 1)
    y = np.clip(np.rint(points[:, 1]).astype(int), 0, plane.shape[0] - 1)
    return np.asarray(plane[y, x], np.float64)


def _gaussian(sigma: float) -> Values:
    """Weights as `scipy.ndimage.gaussian_filter1d` takes them, cut at four sigma."""
    radius = int(4 * sigma + 0.5)
    weights = np.exp(-0.5 * (np.arange(-radius, radius + 1) / sigma) ** 2)
    return np.asarray(weights / weights.sum(), np.float64)


@njit(cache=True, nogil=True)
def _percentiles(values, starts, shares):  # type: ignore[no-untyped-def] # pragma: no cover
    out = np.empty((len(shares), len(starts) - 1))
    for i in range(len(starts) - 1):
        run = np.sort(values[starts[i] : starts[i + 1]])
        for k in range(len(shares)):
            at = shares[k] / 100 * (len(run) - 1)
            below = int(math.floor(at))  # noqa: RUF046 -- compiled, a float
            above = min(below + 1, len(run) - 1)
            out[k, i] = run[below] + (at - below) * (run[above] - run[below])
    return out


@njit(cache=True, nogil=True)
def _smoothed(values, starts, weights):  # type: ignore[no-untyped-def] # pragma: no cover
    out = np.zeros_like(values)
    radius = len(weights) // 2
    for i in range(len(starts) - 1):
        first, last = starts[i], starts[i + 1] - 1
        for n in range(first, last + 1):
            target = out[n]
            for k in range(len(weights)):
                source = values[min(max(n + k - radius, first), last)]
                for column in range(values.shape[1]):
                    target[column] += weights[k] * source[column]
    return out


@njit(cache=True, nogil=True)
def _smoothed_paths(points, starts, weights):  # type: ignore[no-untyped-def] # pragma: no cover
    out = np.zeros_like(points)
    radius = len(weights) // 2
    for i in range(len(starts) - 1):
        first, last = starts[i], starts[i + 1] - 1
        beyond = min(last - first, radius)
        for n in range(first, last + 1):
            for k in range(len(weights)):
                at = n + k - radius
                # A run shorter than the weights is reflected again, at the ends of its reflections.
                while at < first - beyond or at > last + beyond:
                    if at < first - beyond:
                        at = 2 * (first - beyond) - 1 - at
                    else:
                        at = 2 * (last + beyond) + 1 - at
                for column in range(2):
                    if at < first:
                        value = 2 * points[first, column] - points[2 * first - at, column]
                    elif at > last:
                        value = 2 * points[last, column] - points[2 * last - at, column]
                    else:
                        value = points[at, column]
                    out[n, column] += weights[k] * value
    return out


@njit(cache=True, nogil=True)
def _travelled(points, starts):  # type: ignore[no-untyped-def] # pragma: no cover
    """Way along its path up to each point."""
    at = np.zeros(len(points))
    for i in range(len(starts) - 1):
        for n in range(starts[i] + 1, starts[i + 1]):
            at[n] = at[n - 1] + math.hypot(points[n, 0] - points[n - 1, 0], points[n, 1] - points[n - 1, 1])
    return at


@njit(cache=True, nogil=True)
def _evenly(points, at, starts, new):  # type: ignore[no-untyped-def] # pragma: no cover
    out = np.empty((new[-1], 2))
    for i in range(len(starts) - 1):
        last = starts[i + 1] - 1
        n = starts[i]
        count = new[i + 1] - new[i]
        for k in range(count):
            where = at[last] * k / (count - 1)
            while n < last - 1 and at[n + 1] < where:
                n += 1
            step = at[n + 1] - at[n] if n < last else 0.0
            share = min((where - at[n]) / step, 1.0) if step > 0 else 0.0
            target = min(n + 1, last)
            for column in range(2):
                out[new[i] + k, column] = points[n, column] + share * (
                    points[target, column] - points[n, column]
                )
    return out


@njit(cache=True, nogil=True)
def _across(plane, points, normals, offsets):  # type: ignore[no-untyped-def] # pragma: no cover
    out = np.empty((len(points), len(offsets)))
    height, width = plane.shape
    for n in range(len(points)):
        for k in range(len(offsets)):
            x = min(max(points[n, 0] + offsets[k] * normals[n, 0], 0.0), width - 1.0)
            y = min(max(points[n, 1] + offsets[k] * normals[n, 1], 0.0), height - 1.0)
            j, i = min(int(x), width - 2), min(int(y), height - 2)
            u, v = x - j, y - i
            out[n, k] = (plane[i, j] * (1 - u) + plane[i, j + 1] * u) * (1 - v) + (
                plane[i + 1, j] * (1 - u) + plane[i + 1, j + 1] * u
            ) * v
    return out
