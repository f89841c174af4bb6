"""Shapes as people drag them: ellipses by the corners of their box, paths split and joined."""

import numpy as np
from numpy.typing import NDArray

from setstone.record.errors import BookError

Points = NDArray[np.float64]

#: Vertices of an outline made from an ellipse: the sag between them is below 0.01 % of its diameter.
VERTICES = 360


def ellipse_corners(points: Points) -> Points:
    """Corners of the box around the ellipse with the area and the axes of a closed outline.

    The ellipse has the outline's second moments of area (Green's theorem), so one fitted to an ellipse
    gives it back.

    Parameters
    ----------
    points : (N, 2) float64 array
        Vertices x, y in order.

    Returns
    -------
    (4, 2) float64 array
        Corners in order around the box.

    Examples
    --------
    >>> corners = np.array([[0.0, 0], [8, 0], [8, 4], [0, 4]])
    >>> np.ptp(ellipse_corners(ellipse_points(corners)), axis=0).round(2).tolist()
    [8.0, 4.0]
    """
    centre = points.mean(axis=0)
    x, y = (points - centre).T
    u, v = np.roll(x, -1), np.roll(y, -1)
    cross = x * v - u * y
    area = float(cross.sum()) / 2
    if abs(area) < 1e-9:
        half = np.maximum(np.ptp(points, axis=0) / 2, 0.5)
        return centre + half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    cx, cy = float((cross * (x + u)).sum()) / 6 / area, float((cross * (y + v)).sum()) / 6 / area
    xx = float((cross * (x * x + x * u + u * u)).sum()) / 12 / area - cx * cx
    yy = float((cross * (y * y + y * v + v * v)).sum()) / 12 / area - cy * cy
    xy = float((cross * (x * v + 2 * x * y + 2 * u * v + u * y)).sum()) / 24 / area - cx * cy
    spread, axes = np.linalg.eigh(np.array([[xx, xy], [xy, yy]]))
    half = 2 * np.sqrt(np.maximum(spread, 1e-6))  # of a full ellipse
    # The same area too, so that the disc of equal area keeps its diameter.
    half *= np.sqrt(abs(area) / (np.pi * half[0] * half[1]))
    along, across = half[1] * axes[:, 1], half[0] * axes[:, 0]
    corners = [-along - across, along - across, along + across, across - along]
    return centre + np.array([cx, cy]) + np.array(corners)


def ellipse_points(corners: Points, vertices: int = VERTICES) -> Points:
    """Vertices of the ellipse in a box given by its corners in order.

    Parameters
    ----------
    corners : (4, 2) float64 array
    vertices : int

    Returns
    -------
    (vertices, 2) float64 array
    """
    centre = corners.mean(axis=0)
    across, down = (corners[1] - corners[0]) / 2, (corners[3] - corners[0]) / 2
    angle = np.linspace(0, 2 * np.pi, vertices, endpoint=False)[:, None]
    return np.asarray(centre + np.cos(angle) * across + np.sin(angle) * down, np.float64)


def thinned(points: Points, most: int) -> Points:
    """Every n-th point, so that at most `most` are left to be dragged; the ends stay."""
    if len(points) <= most:
        return points
    return points[np.linspace(0, len(points) - 1, most).round().astype(int)]


def split_path(
    path: NDArray[np.float64], at: tuple[float, float]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Split a path at its vertex nearest to a point; both parts hold that vertex.

    Parameters
    ----------
    path : (N, 2) float64 array
    at : (float, float)

    Returns
    -------
    tuple of (M, 2) float64 array

    Raises
    ------
    BookError
        When the point is at one of its ends.

    Examples
    --------
    >>> split_path(np.array([[0.0, 0], [5, 0], [9, 0]]), (5, 1))[1].tolist()
    [[5.0, 0.0], [9.0, 0.0]]
    """
    if len(path) == 2:  # nothing between the ends: split on the line itself
        along = path[1] - path[0]
        share = float((np.array(at) - path[0]) @ along / (along @ along))
        path = np.array([path[0], path[0] + min(1, max(0, share)) * along, path[1]])
        nearest = 1 if 0.01 < share < 0.99 else 0
    else:
        nearest = int(np.hypot(*(path - at).T).argmin())
    if nearest in (0, len(path) - 1):
        raise BookError("There is nothing to split at the end of a line; point at its middle.")
    return path[: nearest + 1], path[nearest:]


def join_paths(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
    """Join two paths at their nearest ends.

    Examples
    --------
    >>> join_paths(np.array([[0.0, 0], [1, 0]]), np.array([[5.0, 0], [2, 0]])).tolist()
    [[0.0, 0.0], [1.0, 0.0], [2.0, 0.0], [5.0, 0.0]]
    """
    ways = [np.concatenate([x, y]) for x in (a, a[::-1]) for y in (b, b[::-1])]
    gaps = [float(np.hypot(*(x[-1] - y[0]))) for x in (a, a[::-1]) for y in (b, b[::-1])]
    return ways[int(np.argmin(gaps))]
