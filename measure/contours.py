"""The outline of a dark body between the pixels: marching squares (Lorensen & Cline 1987), compiled."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from setstone.measure.light import Plane


@njit(cache=True, nogil=True)
def longest_contour(
    window: Plane, body: NDArray[np.uint8], level: float
) -> NDArray[np.float64]:  # pragma: no cover - compiled
    """Longest contour of a dark body at a level.

    Parameters
    ----------
    window : (H, W) float32 array
        Darker inside the body than around it.
    body : (H, W) uint8 array
        Not 0 on the body and one pixel around it; beyond that the picture counts as brighter than `level`.
    level : float
        In units of the picture.

    Returns
    -------
    (N, 2) float64 array
        Closed; x, y from pixel centre to pixel centre, the last joins the first. The same points as
        ``skimage.measure.find_contours`` gives. Empty where nothing is darker than the level.
    """
    # Beyond the body there is only wall: its own rows and columns are enough.
    top_row, bottom_row, left_column, right_column = extent(body)
    height, width = bottom_row - top_row, right_column - left_column
    wall = max(window.max(), np.float32(level + 1))
    wide = np.full((height + 2, width + 2), np.float64(wall))
    for i in range(height):
        for j in range(width):
            if body[top_row + i, left_column + j]:
                wide[i + 1, j + 1] = window[top_row + i, left_column + j]
    # Edges of the grid of pixel centres: along the rows first, then along the columns.
    rows, columns = height + 2, width + 2
    following = np.full(2 * rows * columns, -1, np.int32)
    order = np.empty(2 * rows * columns, np.int32)
    first_edges = np.empty(rows * columns, np.int32)
    count = 0
    for i in range(rows - 1):
        for j in range(columns - 1):
            case = (
                (wide[i, j] > level)
                + 2 * (wide[i, j + 1] > level)
                + 4 * (wide[i + 1, j] > level)
                + 8 * (wide[i + 1, j + 1] > level)
            )
            if case == 0 or case == 15:
                continue
            top, bottom = i * columns + j, (i + 1) * columns + j
            left, right = rows * columns + i * columns + j, rows * columns + i * columns + j + 1
            # The brighter side lies to the right of the way; a saddle keeps its brighter corners apart.
            if case == 1 or case == 9:
                a, b = top, left
            elif case == 2 or case == 6:
                a, b = right, top
            elif case == 3:
                a, b = right, left
            elif case == 4:
                a, b = left, bottom
            elif case == 5:
                a, b = top, bottom
            elif case == 7:
                a, b = right, bottom
            elif case == 8:
                a, b = bottom, right
            elif case == 10:
                a, b = bottom, top
            elif case == 11:
                a, b = bottom, left
            elif case == 12:
                a, b = left, right
            elif case == 13:
                a, b = top, right
            else:
                a, b = left, top
            following[a], order[a], first_edges[count] = b, count, a
            count += 1
            if case == 6 or case == 9:
                a, b = (left, bottom) if case == 6 else (bottom, right)
                following[a], order[a], first_edges[count] = b, count, a
                count += 1
    # Of the closed ways the longest; it begins where the last of its segments ends.
    done = np.zeros(2 * rows * columns, np.uint8)
    best, best_length = -1, 0
    for k in range(count):
        begin = first_edges[k]
        if done[begin]:
            continue
        edge, length, last = begin, 0, begin
        while not done[edge]:
            done[edge] = 1
            length += 1
            if order[edge] > order[last]:
                last = edge
            edge = following[edge]
        if length > best_length:
            best, best_length = following[last], length
    points = np.empty((best_length, 2))
    edge = best
    for k in range(best_length):
        along_row = edge < rows * columns
        place = edge if along_row else edge - rows * columns
        i, j = place // columns, place % columns
        here, there = wide[i, j], wide[i, j + 1] if along_row else wide[i + 1, j]
        part = (level - here) / (there - here)
        points[k, 0] = left_column + j - 1 + (part if along_row else 0.0)
        points[k, 1] = top_row + i - 1 + (0.0 if along_row else part)
        edge = following[edge]
    return points


@njit(cache=True, nogil=True)
def extent(mask: NDArray[np.uint8]) -> tuple[int, int, int, int]:  # pragma: no cover - compiled
    """First row and column of a mask, and those after its last: top, bottom, left, right; zeros where it is empty."""
    height, width = mask.shape
    top, bottom, left, right = height, 0, width, 0
    for i in range(height):
        for j in range(width):
            if mask[i, j]:
                top, bottom = min(top, i), i + 1
                left, right = min(left, j), max(right, j + 1)
    return (top, bottom, left, right) if bottom else (0, 0, 0, 0)
