"""A clean closed outline through edge points of which some lie on something else.

Two forms are tried, an ellipse and a polygon, each fitted so that points far off have no say. Where
neither explains the points, the points themselves stand, lightly smoothed (cushion, pear, marquise).
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter
from scipy.spatial import cKDTree

from setstone.measure.outline import Shape
from setstone.measure.rings import Curve, Mask, resampled

#: Points this near a form lie on it: as a share of the diameter, and at the least in pixels.
TOLERANCE, LEAST_TOLERANCE = 0.002, 0.7
#: Share of the points that must lie on a form. Of other outlines an ellipse explains a third at the
#: most, a polygon up to two thirds of a cushion with straight sides.
ENOUGH: dict[Shape, float] = {"ellipse": 0.55, "polygon": 0.75}
#: Share of the turn on which the edge may run steadily beside a form: claws and dirt do so on up to a
#: tenth, another outline on a quarter.
DEPARTURE = 0.15
#: Shortest side of a polygon, sag of a side, and length of a cut corner, as shares of the diameter.
SHORTEST_SIDE, SAG, CUT = 0.08, 0.006, 0.03
#: Tukey's constant for 95 % efficiency on normal residuals (Beaton & Tukey 1974).
TUKEY = 4.685


@dataclass(frozen=True, eq=False)
class Silhouette:
    """A fitted closed outline.

    Parameters
    ----------
    points : (N, 2) float64 array
        In pixels, in order around the stone; all corners are among them.
    seen : (N,) bool array
        Where an edge point lies on it.
    explained : float
        Share of the known edge points that lie on it.
    form : str
        "ellipse", "polygon" or "free".
    """

    points: Curve
    seen: Mask
    explained: float
    form: Shape


def fit_silhouette(points: Curve, known: Mask, absent: Mask | None = None) -> Silhouette:
    """Fit a clean outline to edge points around a stone.

    Parameters
    ----------
    points : (N, 2) float64 array
        Edge points in order around the stone, in pixels.
    known : (N,) bool array
        Which of them rest on an edge in the photograph.
    absent : (N,) bool array, optional
        Where the photograph shows that there is no edge. If given, a polygon's corners are cut off
        where neither side runs up to them.

    Returns
    -------
    Silhouette
    """
    diameter = float(np.ptp(points, axis=0).mean())
    tolerance = max(TOLERANCE * diameter, LEAST_TOLERANCE)
    for form in ENOUGH:
        if form == "ellipse":
            outline = _ellipse(points, known, diameter, tolerance)
        else:
            outline = _polygon(points, known, absent, diameter, tolerance)
        if outline is None:
            continue
        near = known & (_distance(points, outline) < tolerance)
        explained = float(near.sum() / max(known.sum(), 1))
        if explained >= ENOUGH[form] and _departure(points, outline, known, tolerance) < DEPARTURE:
            return Silhouette(outline, near[_nearest(outline, points)], explained, form)
    return Silhouette(gaussian_filter1d(points, 2.0, axis=0, mode="wrap"), known, 1.0, "free")


def _departure(points: Curve, outline: Curve, known: Mask, tolerance: float) -> float:
    """Share of the points that run steadily, not straying, beside an outline."""
    centre = points.mean(axis=0)
    at = outline[_nearest(points, outline)]
    off = (np.hypot(*(points - centre).T) - np.hypot(*(at - centre).T)) / tolerance
    course = median_filter(off, 41, mode="wrap")
    return float((known & (np.abs(off - course) < 1) & (np.abs(course) > 1)).mean())


def _nearest(points: Curve, among: Curve) -> NDArray[np.int64]:
    return np.asarray(cKDTree(among).query(points)[1], np.int64)


def _distance(points: Curve, outline: Curve) -> NDArray[np.float64]:
    """Distance of points from a closed outline."""
    dense = resampled(outline, 16 * len(outline))
    return np.asarray(cKDTree(dense).query(points)[0], np.float64)


def _tukey(residuals: NDArray[np.float64], scale: float) -> NDArray[np.float64]:
    return np.clip(1 - (residuals / (TUKEY * scale)) ** 2, 0, None) ** 2


def _ellipse(points: Curve, known: Mask, diameter: float, tolerance: float) -> Curve | None:
    """Ellipse by direct fit (Fitzgibbon et al. 1999), repeated without the points off it."""
    used = known
    for _ in range(8):
        if used.sum() < 20:
            return None
        centre, axes, turn = cv2.fitEllipseDirect(points[used].astype(np.float32))
        half = np.array(axes) / 2
        if not np.isfinite(half).all() or half.min() < 0.1 * diameter:
            return None
        c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        axis = np.array([[c, -s], [s, c]])
        unit = ((points - centre) @ axis) / half
        radius = np.hypot(*unit.T)
        off = np.abs(radius - 1) * half.mean()
        used = known & (off < max(2.5 * float(np.median(off[used])), tolerance / 2))
    curve: Curve = (unit / radius[:, None] * half) @ axis.T + centre
    return curve


def _polygon(
    points: Curve, known: Mask, absent: Mask | None, diameter: float, tolerance: float
) -> Curve | None:
    """Polygon through the straight stretches of the points."""
    even = np.round(points * 16).astype(np.int32)
    corners = np.asarray(cv2.approxPolyDP(even, SAG * diameter * 16, True)).reshape(-1, 2) / 16
    at = [int(np.hypot(*(points - c).T).argmin()) for c in corners]
    lines: list[tuple[NDArray[np.float64], NDArray[np.float64]]] = []
    n = len(points)
    for start, end in zip(at, at[1:] + at[:1], strict=True):
        length = (end - start) % n
        if np.hypot(*(points[end] - points[start])) < SHORTEST_SIDE * diameter or length > n / 2:
            continue
        side = (start + np.arange(length + 1)) % n
        side = side[length // 8 : length + 1 - length // 8]
        side = side[known[side]]
        if len(side) >= 8:
            lines.append(_line(points[side], tolerance))
    lines = _merged(lines)
    if not 3 <= len(lines) <= 12:
        return None
    vertices = []
    for (p, u), (q, v) in zip(lines, lines[1:] + lines[:1], strict=True):
        crossing = u[0] * v[1] - u[1] * v[0]
        if abs(crossing) < 0.1:
            return None
        along = ((q - p)[0] * v[1] - (q - p)[1] * v[0]) / crossing
        vertices.append(p + along * u)
    if np.abs(np.array(vertices) - points.mean(axis=0)).max() > diameter:
        return None
    corner = np.array(vertices)
    if absent is not None:
        corner = _cut_corners(corner, [u for _, u in lines], points, known, absent, diameter, tolerance)
    sides = np.roll(corner, -1, axis=0) - corner
    steps = np.maximum(np.round(n * np.hypot(*sides.T) / np.hypot(*sides.T).sum()), 1).astype(int)
    return np.vstack(
        [c + np.arange(k)[:, None] / k * side for c, side, k in zip(corner, sides, steps, strict=True)]
    )


def _cut_corners(
    vertices: Curve,
    directions: list[NDArray[np.float64]],
    points: Curve,
    known: Mask,
    absent: Mask,
    diameter: float,
    tolerance: float,
) -> Curve:
    """Vertices, two in place of one where neither side is seen to run up to it.

    `directions[i]` is that of the side that ends at `vertices[i]`.
    """
    corners = []
    for vertex, to, on in zip(vertices, directions, directions[1:] + directions[:1], strict=True):
        gaps = []
        for direction in (-to, on):
            along = (points - vertex) @ direction
            across = np.abs((points - vertex) @ np.array([-direction[1], direction[0]]))
            beside = (across < 8 * tolerance) & (along > 0)
            seen = known & (across < tolerance)
            order = np.argsort(along[beside])
            # The side ends where rays without it no longer outnumber those with it.
            excess = np.cumsum(np.where(seen, -1, np.where(absent | known, 1, 0))[beside][order])
            last = int(excess.argmax()) if len(excess) and excess.max() > 2 else -1
            gaps.append(float(along[beside][order][last]) if last >= 0 else 0.0)
        if min(gaps) > CUT * diameter:
            corners += [vertex - gaps[0] * to, vertex + gaps[1] * on]
        else:
            corners.append(vertex)
    return np.array(corners)


def _line(points: Curve, tolerance: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Point and direction of a line, by Tukey-weighted total least squares."""
    weight = np.ones(len(points))
    for _ in range(6):
        centre = weight @ points / weight.sum()
        moved = points - centre
        direction = np.linalg.eigh((weight[:, None] * moved).T @ moved)[1][:, 1]
        residual = moved @ np.array([-direction[1], direction[0]])
        spread = 1.48 * float(np.median(np.abs(residual)))
        weight = _tukey(residual, max(spread, tolerance / 4)) + 1e-6
    direction = direction * np.sign(direction @ (points[-1] - points[0]))
    return centre, direction


def _merged(
    lines: list[tuple[NDArray[np.float64], NDArray[np.float64]]],
) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Lines without those that go on in the direction of the one before (within 6 degrees)."""
    kept: list[tuple[NDArray[np.float64], NDArray[np.float64]]] = []
    for line in lines:
        if not kept or abs(kept[-1][1][0] * line[1][1] - kept[-1][1][1] * line[1][0]) > 0.1:
            kept.append(line)
    if len(kept) > 1 and abs(kept[-1][1][0] * kept[0][1][1] - kept[-1][1][1] * kept[0][1][0]) < 0.1:
        kept.pop()
    return kept
