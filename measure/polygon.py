"""A convex polygon through edge points of which some lie on something else: step cuts, squares, baguettes.

Straight stretches of the points give its sides. Sides that are hardly seen, under claws or among bright facets, are taken
from their mirror images: cut stones are symmetric.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import HalfspaceIntersection, QhullError

from setstone.measure.rings import Curve, Mask
from setstone.measure.robust import TUKEY, biweight

#: Shortest side that is looked for by itself, sag of a side, and distance from all points at which two sides do not meet
#: but have a corner cut off between them, as shares of the diameter.
SHORTEST_SIDE, SAG, FAR = 0.08, 0.006, 0.015
#: Share of a side that must be seen for it to count, and share of its points that its mirror image may cost elsewhere.
SEEN, COST = 0.5, 0.3
#: Most sides of a polygon.
MOST = 12
#: By how little the normals of parallel sides differ, and of two sides of which only one can be real (less than those of
#: neighbours in a regular polygon of the most sides), in radians.
PARALLEL, SAME = np.radians(6), 0.9 * 2 * np.pi / MOST

Vector = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Line:
    """A line through a point, with its unit normal out of the stone."""

    point: Vector
    normal: Vector

    def away(self, points: Curve) -> Vector:
        """Distance of points (N, 2) from the line, outward positive."""
        return np.asarray((points - self.point) @ self.normal, np.float64)

    def faces(self, other: "Line", within: float) -> bool:
        """Whether it has the normal of another line, up to an angle."""
        return bool(self.normal @ other.normal > np.cos(within))


def polygon_through(points: Curve, known: Mask, diameter: float, tolerance: float) -> Curve | None:
    """Corners of the polygon that straight stretches of the points form.

    Parameters
    ----------
    points : (N, 2) float64 array
        In order around the stone, in pixels.
    known : (N,) bool array
        Which of them rest on an edge in the photograph.
    diameter, tolerance : float
        Of the stone, and of points on a side, in pixels.

    Returns
    -------
    (M, 2) float64 array or None
        In order; None where the points have no such shape.
    """
    middle = points.mean(axis=0)
    lines = _across_corners(_sides(points, known, diameter, tolerance), points, diameter, tolerance)
    if not 3 <= len(lines) <= MOST:
        return None
    corners = enclosed(_completed(lines, points, known, tolerance), middle)
    if corners is None or np.abs(corners - middle).max() > diameter:
        return None
    return corners


def enclosed(lines: list[Line], middle: Vector) -> Curve | None:
    """Corners, in order, of what lies within all lines; None where it is empty or has no end."""
    planes = np.array([[*line.normal, float(line.away(middle))] for line in lines])
    if planes[:, 2].max() >= 0:
        return None
    try:
        with np.errstate(divide="ignore", invalid="ignore"):  # corners at infinity, where there is no end
            corners = HalfspaceIntersection(planes, np.zeros(2)).intersections
    except QhullError:
        return None
    if not np.isfinite(corners).all():
        return None
    return np.asarray(middle + corners[np.argsort(np.arctan2(*corners.T[::-1]))], np.float64)


def _sides(points: Curve, known: Mask, diameter: float, tolerance: float) -> list[Line]:
    """Lines through the longer straight stretches (Douglas & Peucker 1973), in order."""
    even = np.round(points * 16).astype(np.int32)
    corners = np.asarray(cv2.approxPolyDP(even, SAG * diameter * 16, True)).reshape(-1, 2) / 16
    at = [int(np.hypot(*(points - c).T).argmin()) for c in corners]
    lines: list[Line] = []
    n = len(points)
    for start, end in zip(at, at[1:] + at[:1], strict=True):
        length = (end - start) % n
        if np.hypot(*(points[end] - points[start])) < SHORTEST_SIDE * diameter or length > n / 2:
            continue
        side = (start + np.arange(length + 1)) % n
        side = side[length // 8 : length + 1 - length // 8]
        side = side[known[side]]
        if len(side) >= 8:
            lines.append(_line(points[side], points.mean(axis=0), tolerance))
    return [
        line
        for line, before in zip(lines, lines[-1:] + lines[:-1], strict=True)
        if not line.faces(before, PARALLEL)
    ]


def _across_corners(lines: list[Line], points: Curve, diameter: float, tolerance: float) -> list[Line]:
    """Lines, with one more along the points wherever two would cross far from all of them: a small cut corner.

    It is too short, or too little of it is seen, to be straight by itself.
    """
    kept: list[Line] = []
    n = len(points)
    for one, other in zip(lines, lines[1:] + lines[:1], strict=True):
        kept.append(one)
        normals = np.array([one.normal, other.normal])
        if abs(np.linalg.det(normals)) < np.sin(PARALLEL):
            continue
        vertex = np.linalg.solve(normals, [one.normal @ one.point, other.normal @ other.point])
        away = np.hypot(*(points - vertex).T)
        if away.min() < FAR * diameter:
            continue
        around = np.roll(np.arange(n), n // 2 - int(away.argmin()))  # the nearest point in the middle
        beside = np.flatnonzero(
            np.minimum(*(np.abs(line.away(points[around])) for line in (one, other))) < tolerance
        )
        first, end = beside[beside < n // 2].max(initial=-1) + 1, beside[beside >= n // 2].min(initial=n)
        trim = (end - first) // 8
        if end - first - 2 * trim >= 8 and end - first < n // 4:
            kept.append(_line(points[around[first + trim : end - trim]], points.mean(axis=0), tolerance))
    return kept


def _completed(lines: list[Line], points: Curve, known: Mask, tolerance: float) -> list[Line]:
    """Lines that are well seen, then mirror images of them in free places, then the others where places are left.

    An image stands where it costs few of the points explained so far: of one that is right hardly any.
    """
    middle = points.mean(axis=0)
    corners = enclosed(lines, middle)
    if corners is None:
        return lines
    edges = points[known]
    support = np.array([(np.abs(line.away(edges)) < tolerance).sum() for line in lines])
    expected = np.array([_length(line, corners) for line in lines]) * (len(points) / _perimeter(corners))
    order = np.argsort(-support, kind="stable")
    found = [i for i in order if support[i] > SEEN * expected[i] > 0]
    now = [lines[i] for i in found]
    centre = _centre(now, support[found])
    if centre is not None:
        for i in found:
            for image in _images(lines[i], centre, now[0].normal):
                if not any(image.faces(line, SAME) for line in now):
                    before, after = (
                        _on(edges, enclosed(some, middle), tolerance) for some in (now, [*now, image])
                    )
                    if after >= before - COST * support[i]:
                        now.append(image)
    for i in order:
        if not any(lines[i].faces(line, SAME) for line in now):
            now.append(lines[i])
    return now


def _centre(lines: list[Line], weights: NDArray[np.int64]) -> Vector | None:
    """Point midway between parallel sides on opposite sides of the stone; None where there are not two pairs."""
    rows, places = [], []
    for i, one in enumerate(lines):
        for j, other in enumerate(lines[:i]):
            if one.normal @ other.normal < -np.cos(PARALLEL):
                weight = min(weights[i], weights[j])
                rows.append(weight * one.normal)
                places.append(weight * one.normal @ (one.point + other.point) / 2)
    if len(rows) < 2:
        return None
    centre, _, rank, _ = np.linalg.lstsq(np.array(rows), np.array(places), rcond=0.1)
    return np.asarray(centre, np.float64) if rank == 2 else None


def _images(line: Line, centre: Vector, axis: Vector) -> list[Line]:
    """A line turned by half a turn about the centre, and mirrored along and across an axis."""
    mirror = np.eye(2) - 2 * np.outer(axis, axis)
    return [
        Line(centre + turn @ (line.point - centre), turn @ line.normal)
        for turn in (-np.eye(2), mirror, -mirror)
    ]


def _length(line: Line, corners: Curve) -> float:
    """Length of the side that lies on a line, 0 where none does."""
    on = corners[np.abs(line.away(corners)) < 1e-6 * _perimeter(corners)]
    return float(np.hypot(*np.ptp(on, axis=0))) if len(on) > 1 else 0.0


def _perimeter(corners: Curve) -> float:
    return float(np.hypot(*(np.roll(corners, -1, axis=0) - corners).T).sum())


def _on(points: Curve, corners: Curve | None, tolerance: float) -> int:
    """How many points lie on a polygon."""
    if corners is None:
        return 0
    side = np.roll(corners, -1, axis=0) - corners
    from_corner = points[:, None] - corners
    along = np.clip((from_corner * side).sum(axis=2) / np.maximum((side**2).sum(axis=1), 1e-9), 0, 1)
    away = np.hypot(*np.moveaxis(from_corner - along[..., None] * side, 2, 0)).min(axis=1)
    return int((away < tolerance).sum())


def _line(points: Curve, middle: Vector, tolerance: float) -> Line:
    """Line by Tukey-weighted total least squares."""
    weight = np.ones(len(points))
    for _ in range(6):
        centre = weight @ points / weight.sum()
        moved = points - centre
        normal = np.linalg.eigh((weight[:, None] * moved).T @ moved)[1][:, 0]
        residual = moved @ normal
        spread = max(1.48 * float(np.median(np.abs(residual))), tolerance / 4)
        weight = biweight(residual, TUKEY * spread) + 1e-6
    return Line(centre, normal * np.sign((centre - middle) @ normal))
