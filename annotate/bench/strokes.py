"""Lines as triangles: what a graphics card draws in one go, whatever their widths and colours."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]

#: A corner of a line stands out by at most so many half widths.
_MITRE = 2.0


class Stroke(NamedTuple):
    """A line of one width and one ink.

    Parameters
    ----------
    points : (N, 2) float64 array
        Its vertices, at least two; the first again at the end where it is closed.
    width : float
        In the unit of the points.
    ink : int
        Place of its colour in a table.
    """

    points: Points
    width: float
    ink: int


def triangles(
    strokes: Sequence[Stroke],
) -> tuple[NDArray[np.float32], NDArray[np.int64], NDArray[np.float32]]:
    """Make triangles of lines; the later ones lie on the earlier ones.

    Returns
    -------
    tuple of arrays
        Vertices (V, 2) float32, triangles (T, 3) int64 of their numbers, and the ink of each vertex (V,) float32.

    Examples
    --------
    >>> vertices, faces, inks = triangles([Stroke(np.array([[0.0, 0], [4, 0]]), 2.0, 3)])
    >>> vertices.tolist(), faces.tolist(), inks.tolist()
    ([[0.0, 1.0], [0.0, -1.0], [4.0, 1.0], [4.0, -1.0]], [[0, 1, 2], [1, 2, 3]], [3.0, 3.0, 3.0, 3.0])
    """
    if not strokes:
        return np.zeros((3, 2), np.float32), np.array([[0, 1, 2]]), np.zeros(3, np.float32)
    counts = np.array([len(s.points) for s in strokes])
    points = np.concatenate([s.points for s in strokes])
    of = np.repeat(np.arange(len(strokes)), counts)
    half = np.repeat([s.width / 2 for s in strokes], counts)
    on = of[1:] == of[:-1]  # segments within one line
    along = np.diff(points, axis=0)
    along /= np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    along[~on] = 0.0
    into = np.concatenate([np.zeros((1, 2)), along])
    out = np.concatenate([along, np.zeros((1, 2))])
    first = np.concatenate([[0], np.cumsum(counts)[:-1]])
    last = first + counts - 1
    closed = np.all(points[first] == points[last], axis=1)
    into[first[closed]], out[last[closed]] = into[last[closed]], out[first[closed]]
    # At a corner the edges of both segments meet on the line that halves their angle.
    way = into + out
    way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    straight = np.abs((way * np.where(np.any(out, axis=1)[:, None], out, into)).sum(axis=1))
    aside = (half / np.maximum(straight, 1 / _MITRE))[:, None] * np.column_stack([-way[:, 1], way[:, 0]])
    vertices = np.stack([points + aside, points - aside], axis=1).reshape(-1, 2)
    begin = 2 * np.flatnonzero(on)
    faces = (begin[:, None, None] + np.array([[0, 1, 2], [1, 2, 3]])).reshape(-1, 3)
    inks = np.repeat([float(s.ink) for s in strokes], 2 * counts)
    return vertices.astype(np.float32), faces, inks.astype(np.float32)


def dashes(path: Points, dash: float, gap: float) -> list[Points]:
    """Cut a path into dashes; the first begins where the path does.

    Parameters
    ----------
    path : (N, 2) float64 array
    dash, gap : float
        Their lengths.

    Returns
    -------
    list of (M, 2) float64 array

    Examples
    --------
    >>> [d.tolist() for d in dashes(np.array([[0.0, 0], [3, 0], [9, 0]]), 4.0, 2.0)]
    [[[0.0, 0.0], [3.0, 0.0], [4.0, 0.0]], [[6.0, 0.0], [9.0, 0.0]]]
    """
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    pieces = []
    for begin in np.arange(0.0, along[-1], dash + gap):
        end = min(begin + dash, float(along[-1]))
        at = np.concatenate([[begin], along[(along > begin) & (along < end)], [end]])
        pieces.append(np.column_stack([np.interp(at, along, path[:, 0]), np.interp(at, along, path[:, 1])]))
    return pieces
