"""A clean closed outline through edge points of which some lie on something else.

Three forms are tried, an ellipse, a polygon and a lens of two arcs (marquise), each fitted so that points far off have no say.
Where none explains the points, the points themselves stand, lightly smoothed, with their tips drawn out (cushion, pear).
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter
from scipy.spatial import cKDTree

from setstone.measure.lens import lens_through
from setstone.measure.outline import Shape
from setstone.measure.polygon import polygon_through
from setstone.measure.rings import Curve, Mask, resampled
from setstone.measure.tips import with_tips

Form = Literal["ellipse", "polygon", "lens"]

#: Points this near a form lie on it: as a share of the diameter, and at the least in pixels.
TOLERANCE, LEAST_TOLERANCE = 0.002, 0.7
#: Share of the points that must lie on a form. Of other outlines an ellipse explains a third at the most, a polygon up to two
#: thirds of a cushion with straight sides; a lens explains half of a marquise of which half strays, and of an oval, which departs from it.
ENOUGH: dict[Form, float] = {"ellipse": 0.55, "polygon": 0.75, "lens": 0.5}
#: Share of the turn on which the edge may run steadily beside a form: claws and dirt do so on up to a
#: tenth, another outline on a quarter.
DEPARTURE = 0.15


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
    tolerance = max(TOLERANCE * diameter, LEAST_TOLERANCE)
    for form in ENOUGH:
        outline = _FITS[form](points, known, diameter, tolerance)
        if outline is None:
            continue
        near = known & (_distance(points, outline) < tolerance)
        explained = float(near.sum() / max(known.sum(), 1))
        if explained >= ENOUGH[form] and _departure(points, outline, known, tolerance) < DEPARTURE:
            shape: Shape = "free" if form == "lens" else form
            return Silhouette(outline, near[_nearest(outline, points)], explained, shape)
    smooth = gaussian_filter1d(points, 2.0, axis=0, mode="wrap")
    return Silhouette(with_tips(smooth, known, diameter, tolerance), known, 1.0, "free")


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


def _polygon(points: Curve, known: Mask, diameter: float, tolerance: float) -> Curve | None:
    """Polygon, about as many points along it as were given."""
    corners = polygon_through(points, known, diameter, tolerance)
    if corners is None:
        return None
    sides = np.roll(corners, -1, axis=0) - corners
    length = np.hypot(*sides.T)
    steps = np.maximum(np.round(len(points) * length / length.sum()), 1).astype(int)
    return np.vstack(
        [c + np.arange(k)[:, None] / k * side for c, side, k in zip(corners, sides, steps, strict=True)]
    )


def _lens(points: Curve, known: Mask, _diameter: float, tolerance: float) -> Curve | None:
    return lens_through(points, known, tolerance)


_FITS: dict[Form, Callable[[Curve, Mask, float, float], Curve | None]] = {
    "ellipse": _ellipse,
    "polygon": _polygon,
    "lens": _lens,
}
