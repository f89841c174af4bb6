"""A clean closed outline through edge points of which some lie on something else.

Two forms are tried: an ellipse with a few low harmonics (round, oval, cushion stones) and a polygon
(step-cut stones). Each is fitted so that points far off have no say. Where neither explains most of
the points, the points themselves stand, lightly smoothed (pear, marquise, heart).
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree

from setstone.measure.rings import Curve, Mask, resampled

#: Points this near a form lie on it, as a share of the diameter.
TOLERANCE = 0.002
#: A form explains the points when this share of them lies on it.
ENOUGH = 0.6
#: Harmonics on top of the ellipse, and the stiffness against each (times its order to the fourth).
HARMONICS = 8
STIFFNESS = 2e-4
#: Shortest side of a polygon and greatest sag of its sides, as shares of the diameter.
SHORTEST_SIDE, SAG = 0.08, 0.006
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
    form: str


def fit_silhouette(points: Curve, known: Mask) -> Silhouette:
    """Fit a clean outline to edge points around a stone.

    Parameters
    ----------
    points : (N, 2) float64 array
        Edge points in order around the stone, in pixels.
    known : (N,) bool array
        Which of them rest on an edge in the photograph.

    Returns
    -------
    Silhouette
    """
    diameter = float(np.ptp(points, axis=0).mean())
    best = None
    for form, fit in (("ellipse", _ellipse_with_harmonics), ("polygon", _polygon)):
        outline = fit(points, known, diameter)
        if outline is not None:
            near = known & (_distance(points, outline) < TOLERANCE * diameter)
            explained = float(near.sum() / max(known.sum(), 1))
            if best is None or explained > best.explained:
                best = Silhouette(outline, near[_nearest(outline, points)], explained, form)
    if best is not None and best.explained >= ENOUGH:
        return best
    return Silhouette(gaussian_filter1d(points, 3.0, axis=0, mode="wrap"), known, 1.0, "free")


def _nearest(points: Curve, among: Curve) -> NDArray[np.int64]:
    return np.asarray(cKDTree(among).query(points)[1], np.int64)


def _distance(points: Curve, outline: Curve) -> NDArray[np.float64]:
    """Distance of points from a closed outline."""
    dense = resampled(outline, 16 * len(outline))
    return np.asarray(cKDTree(dense).query(points)[0], np.float64)


def _tukey(residuals: NDArray[np.float64], scale: float) -> NDArray[np.float64]:
    return np.clip(1 - (residuals / (TUKEY * scale)) ** 2, 0, None) ** 2


def _ellipse_with_harmonics(points: Curve, known: Mask, diameter: float) -> Curve | None:
    """Ellipse (Fitzgibbon et al. 1999 for the start) with low harmonics, Tukey-weighted."""
    used = known.copy()
    for _ in range(4):
        if used.sum() < 20:
            return None
        (cx, cy), axes, turn = cv2.fitEllipseDirect(points[used].astype(np.float32))
        half = np.array(axes) / 2
        if not np.isfinite(half).all() or half.min() < 0.1 * diameter:
            return None
        c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        axis = np.array([[c, -s], [s, c]])
        unit = ((points - (cx, cy)) @ axis) / half
        off = np.abs(np.hypot(*unit.T) - 1)
        used = known & (off < max(3 * float(np.median(off[known])), 0.004))
    angle, radius = np.arctan2(unit[:, 1], unit[:, 0]), np.hypot(*unit.T)
    orders = np.arange(1, HARMONICS + 1)
    waves = np.hstack(
        [np.ones((len(points), 1)), np.cos(np.outer(angle, orders)), np.sin(np.outer(angle, orders))]
    )
    stiffness = len(points) * STIFFNESS * np.concatenate([[0.0], orders**4.0, orders**4.0]) / HARMONICS**4
    weight = used.astype(float)
    for _ in range(8):
        normal = waves.T @ (weight[:, None] * waves) + np.diag(stiffness + 1e-9)
        fitted = 1 + waves @ np.linalg.solve(normal, waves.T @ (weight * (radius - 1)))
        residual = radius - fitted
        spread = 1.48 * float(np.median(np.abs(residual[used])))
        weight = known * _tukey(residual, max(spread, TOLERANCE / 4))
    shape = fitted[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    curve: Curve = (shape * half) @ axis.T + (cx, cy)
    return curve


def _polygon(points: Curve, known: Mask, diameter: float) -> Curve | None:
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
            lines.append(_line(points[side], diameter))
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
    corner = np.array(vertices)
    if np.abs(corner - points.mean(axis=0)).max() > diameter:
        return None
    sides = np.roll(corner, -1, axis=0) - corner
    steps = np.maximum(np.round(n * np.hypot(*sides.T) / np.hypot(*sides.T).sum()), 1).astype(int)
    return np.vstack(
        [c + np.arange(k)[:, None] / k * side for c, side, k in zip(corner, sides, steps, strict=True)]
    )


def _line(points: Curve, diameter: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Point and direction of a line, by Tukey-weighted total least squares."""
    weight = np.ones(len(points))
    for _ in range(6):
        centre = weight @ points / weight.sum()
        moved = points - centre
        direction = np.linalg.eigh((weight[:, None] * moved).T @ moved)[1][:, 1]
        residual = moved @ np.array([-direction[1], direction[0]])
        spread = 1.48 * float(np.median(np.abs(residual)))
        weight = _tukey(residual, max(spread, TOLERANCE / 4 * diameter)) + 1e-6
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
