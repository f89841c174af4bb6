"""Where the other lines are: around each line, beside it, at its ends, and in the same straight line."""

import math

import numpy as np
from numba import njit

from setstone.measure.grid import cells_near, grid_of, rows_near
from setstone.measure.runs import Starts, Values, gradient_each, mean_each, unit

#: Other lines count as around within this share of the diameter, px counted at every eighth point.
AROUND, EVERY = 0.06, 8
#: As beside within so many sigmas, and as met at an end within so many.
BESIDE_SIGMAS, MET_SIGMAS = 7.0, 5.0


def company(
    path: Values, tangent: Values, starts: Starts, length: Values, *, diameter: float, sigma: float
) -> dict[str, Values]:
    """Features that tell of the other lines.

    Parameters
    ----------
    path, tangent : (N, 2) float64 arrays
        Points of all lines and smoothed unit directions there.
    starts : (L + 1,) int64 array
        Where each line begins.
    length : (L,) float64 array
    diameter, sigma : float
        Of the stone and of the finest filter, in pixels.

    Returns
    -------
    dict
        (L,) float64 arrays by name.
    """
    reach = AROUND * diameter
    direction = unit(gradient_each(path, starts))
    owner = np.repeat(np.arange(len(starts) - 1), np.diff(starts))
    grid = grid_of(path, max(BESIDE_SIGMAS * sigma, reach / 8))
    around, beside, met = _around(
        path, tangent, direction, owner, starts, grid, reach, BESIDE_SIGMAS * sigma, MET_SIGMAS * sigma
    )
    points = np.diff(starts)
    first, last = path[starts[:-1]], path[starts[1:] - 1]
    chord = last - first
    size = np.maximum(np.hypot(*chord.T), 1e-9)
    chord /= size[:, None]
    middle = np.stack([mean_each(path[:, 0], starts), mean_each(path[:, 1], starts)], axis=1)
    radius = np.sqrt(np.maximum.reduceat(((path - middle[owner]) ** 2).sum(axis=1), starts[:-1]))
    in_line = _in_line(path, direction, starts, middle, radius, chord, size / 2 + 0.25 * diameter, 2 * sigma)
    return {
        "collinear": np.log(0.02 + in_line / length),
        "parallel": beside / points,
        "crowd": around / (points + 2 * reach),
        "met_least": met.min(axis=1),
        "met_most": met.max(axis=1),
    }


@njit(cache=True, nogil=True)
def _around(path, tangent, direction, owner, starts, grid, reach, close, met_reach):  # type: ignore[no-untyped-def] # pragma: no cover
    """Count points of others around, own points with a parallel one beside, and lines met at either end."""
    lines = len(starts) - 1
    around, beside, met = np.zeros(lines), np.zeros(lines), np.zeros((lines, 2))
    seen = np.full(len(path), -1)
    seen_line = np.full(lines, -1)
    for i in range(lines):
        for p in range(starts[i], starts[i + 1], EVERY):
            for row in rows_near(grid, path[p, 1], reach):
                for at in cells_near(grid, row, path[p, 0], reach):
                    q = grid.order[at]
                    if owner[q] == i or seen[q] == i:
                        continue
                    if (path[q, 0] - path[p, 0]) ** 2 + (path[q, 1] - path[p, 1]) ** 2 <= reach**2:
                        seen[q] = i
                        around[i] += 1
        for p in range(starts[i], starts[i + 1]):
            nearest, best = -1, close**2
            for row in rows_near(grid, path[p, 1], close):
                for at in cells_near(grid, row, path[p, 0], close):
                    q = grid.order[at]
                    apart = (path[q, 0] - path[p, 0]) ** 2 + (path[q, 1] - path[p, 1]) ** 2
                    if seen[q] == i and apart < best:
                        nearest, best = q, apart
            if nearest >= 0:
                cosine = direction[nearest, 0] * tangent[p, 0] + direction[nearest, 1] * tangent[p, 1]
                beside[i] += abs(cosine) > 0.94
        for end in range(2):
            p = starts[i + 1] - 1 if end else starts[i]
            for row in rows_near(grid, path[p, 1], met_reach):
                for at in cells_near(grid, row, path[p, 0], met_reach):
                    q = grid.order[at]
                    if owner[q] == i or seen_line[owner[q]] == 2 * i + end:
                        continue
                    if (path[q, 0] - path[p, 0]) ** 2 + (path[q, 1] - path[p, 1]) ** 2 <= met_reach**2:
                        seen_line[owner[q]] = 2 * i + end
                        met[i, end] += 1
    return around, beside, met


@njit(cache=True, nogil=True)
def _in_line(path, direction, starts, middle, radius, chord, limit, off_least):  # type: ignore[no-untyped-def] # pragma: no cover
    """Count points of other lines that go on in the straight line of each: pieces of one edge do."""
    lines = len(starts) - 1
    count = np.zeros(lines)
    same = math.cos(math.radians(10))
    for i in range(lines):
        for j in range(lines):
            if j == i:
                continue
            dx, dy = middle[j, 0] - middle[i, 0], middle[j, 1] - middle[i, 1]
            off = abs(dx * chord[i, 1] - dy * chord[i, 0])
            along = abs(dx * chord[i, 0] + dy * chord[i, 1])
            if along - radius[j] > limit[i] or off - radius[j] > off_least + 0.01 * limit[i]:
                continue
            for q in range(starts[j], starts[j + 1]):
                dx, dy = path[q, 0] - middle[i, 0], path[q, 1] - middle[i, 1]
                off = abs(dx * chord[i, 1] - dy * chord[i, 0])
                along = abs(dx * chord[i, 0] + dy * chord[i, 1])
                cosine = abs(direction[q, 0] * chord[i, 0] + direction[q, 1] * chord[i, 1])
                count[i] += off < off_least + 0.01 * along and along < limit[i] and cosine > same
    return count
