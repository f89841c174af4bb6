"""Where numbered tags stand: outside the stone, one beside the other, joined to their flaw by a line.

Boundary labelling (Bekos et al. 2007, "Boundary labeling: models and efficient algorithms for
rectangular maps"): places are spread along a ring, then given to the flaws so that the joining lines
are shortest in total. Lines of least total length do not cross: uncrossing two would shorten them.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import isotonic_regression, linear_sum_assignment

from setstone.annotate.shapes import Points

_STEPS = 720


def tag_places(
    marks: Points,
    *,
    outline: Points | None,
    size: tuple[int, int],
    margin: float,
    spacing: float,
) -> Points:
    """Centres of the tags of some marks, around the stone and inside the picture.

    Parameters
    ----------
    marks : (N, 2) float64 array
        What the tags belong to, in pixels.
    outline : (M, 2) float64 array or None
        The girdle, in pixels; None places the tags along the rim of the picture.
    size : (int, int)
        Width and height of the picture, in pixels.
    margin : float
        Distance of the tags from the girdle and from the rim of the picture, in pixels.
    spacing : float
        Least distance between neighbouring tags, in pixels; less where the ring is too crowded.

    Returns
    -------
    (N, 2) float64 array
    """
    if not len(marks):
        return np.empty((0, 2))
    ring, centre = _ring(outline, size, margin)
    steps = np.hypot(*(np.roll(ring, -1, axis=0) - ring).T)
    along = np.concatenate(([0.0], np.cumsum(steps)))
    angles = np.arctan2(marks[:, 1] - centre[1], marks[:, 0] - centre[0]) % (2 * np.pi)
    wished = np.interp(angles, np.linspace(0, 2 * np.pi, _STEPS + 1), along)
    placed = _spread(wished, float(along[-1]), spacing)
    closed = np.concatenate((ring, ring[:1]))
    places = np.column_stack([np.interp(placed, along, closed[:, axis]) for axis in (0, 1)])
    _, best = linear_sum_assignment(np.hypot(*(marks[:, None] - places).transpose(2, 0, 1)))
    return places[best]


def _ring(outline: Points | None, size: tuple[int, int], margin: float) -> tuple[Points, NDArray[np.float64]]:
    """Draw a closed line around the stone that stays inside the picture; return it and its centre."""
    low, high = np.full(2, margin), np.array(size, np.float64) - 1 - margin
    middle = (low + high) / 2
    centre = middle if outline is None else np.clip(outline.mean(axis=0), low, high)
    angles = np.arange(_STEPS) * (2 * np.pi / _STEPS)
    rays = np.column_stack((np.cos(angles), np.sin(angles)))
    with np.errstate(divide="ignore", invalid="ignore"):
        to_rim = np.where(rays > 0, (high - centre) / rays, (low - centre) / rays)
    to_rim[rays == 0] = np.inf
    reach = to_rim.min(axis=1)
    if outline is not None:
        x, y = (outline - centre).T
        bearing = np.arctan2(y, x) % (2 * np.pi)
        order = np.argsort(bearing)
        girdle = np.interp(angles, bearing[order], np.hypot(x, y)[order], period=2 * np.pi)
        reach = np.minimum(reach, girdle + margin)
    return centre + rays * np.maximum(reach, 0.0)[:, None], centre


def _spread(wished: NDArray[np.float64], length: float, spacing: float) -> NDArray[np.float64]:
    """Places on a closed line of `length`, at least `spacing` apart, as near as may be to those wished.

    Cut open at the widest gap, this is a least-squares problem that isotonic regression solves.
    """
    count = len(wished)
    order = np.argsort(wished, kind="stable")
    gaps = np.diff(wished[order], append=wished[order[0]] + length)
    order = np.roll(order, -int(np.argmax(gaps)) - 1)
    start = wished[order[0]]
    opened = (wished[order] - start) % length
    offsets = np.arange(count) * spacing
    placed = isotonic_regression(opened - offsets).x + offsets
    if count > 1 and placed[0] + length - placed[-1] < spacing:
        placed = np.mean(opened) + (np.arange(count) - (count - 1) / 2) * min(spacing, length / count)
    result = np.empty(count)
    result[order] = (placed + start) % length
    return result
