"""The girdle as seen: a closed outline, and its diameters in millimetres."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull
from scipy.spatial.distance import pdist

from setstone.measure.quantity import Quantity, combine
from setstone.measure.scale import Scale

Shape = Literal["ellipse", "polygon", "free"]

#: Greatest tilt of a girdle out of the focal plane, in radians: 3 degrees. Common practice, no source.
TILT = math.radians(3)
#: By how much such a tilt shortens a length across its axis, as a relative standard uncertainty: root mean square of 1 - cos for
#: tilts evenly up to the greatest.
SHORTENING = TILT**2 / 2 / math.sqrt(5)
#: Least tilt worth a word, in radians, and the least ratio of axes of a stone that may be round: round stones cut by hand
#: are out of round by a per cent or two, ovals are longer than wide by a fifth at least. Common practice, no source.
LEANING, ROUNDEST = math.radians(10), 0.88


@dataclass(frozen=True, eq=False)
class Outline:
    """A closed outline in pixels; (0, 0) is the centre of the first pixel.

    Parameters
    ----------
    points : (N, 2) float64 array
        Vertices x, y in order around the stone; the last joins the first.
    seen : (N,) bool array
        Where an edge was seen; elsewhere (claw, bezel, glare) the outline is extrapolated.
    u_px : float
        Standard uncertainty of the mean position of the edge, common to all vertices, in pixels.
    shape : {"ellipse", "polygon", "free"}
        What explains the edges: an ellipse (round and oval stones), straight sides, or neither.
    """

    points: NDArray[np.float64]
    seen: NDArray[np.bool_]
    u_px: float
    shape: Shape = "free"

    @property
    def centre(self) -> tuple[float, float]:
        """Centroid of the enclosed area, in pixels."""
        x, y = self.points.T
        cross = x * np.roll(y, -1) - np.roll(x, -1) * y
        area = cross.sum() / 2
        cx = float(((x + np.roll(x, -1)) * cross).sum() / (6 * area))
        cy = float(((y + np.roll(y, -1)) * cross).sum() / (6 * area))
        return cx, cy

    def shifted(self, dx: float, dy: float) -> "Outline":
        """Return the same outline moved by (dx, dy) pixels."""
        return Outline(self.points + np.array([dx, dy]), self.seen, self.u_px, self.shape)


@dataclass(frozen=True)
class Diameters:
    """Calliper (Feret) widths of the girdle over all directions, in millimetres."""

    mean: Quantity
    least: Quantity
    greatest: Quantity


def diameters(outline: Outline, scale: Scale) -> Diameters:
    """Mean, least and greatest calliper width of an outline.

    Calliper widths are those of the convex hull (Feret 1930). Their mean over all directions is its
    perimeter divided by pi (Cauchy 1832), the least stands on one of its sides (Houle & Toussaint
    1988), the greatest joins two of its corners. The uncertainty combines (JCGM 100:2008, 5.1.2) the
    edge, twice because it lies at both ends; the sag of a curve between vertices; the stone's tilt,
    which shortens what is seen; and the scale.

    Parameters
    ----------
    outline : Outline
    scale : Scale

    Returns
    -------
    Diameters
        In millimetres.
    """
    hull, (mean, least, greatest) = _widths(outline)
    edge = _u_width(outline, hull)
    mm_per_px = scale.um_per_px / 1000

    def quantity(width_px: float, tilt: float) -> Quantity:
        u = combine(edge, width_px * tilt, width_px * scale.relative_u)
        return Quantity(width_px * mm_per_px, u * mm_per_px, "mm")

    # A tilt shortens the widths across its axis in full, along it not at all: half in the mean.
    return Diameters(
        mean=quantity(mean, SHORTENING / 2),
        least=quantity(least, SHORTENING),
        greatest=quantity(greatest, SHORTENING),
    )


def tilt_if_round(outline: Outline) -> Quantity | None:
    """How far the girdle plane leans away from the camera, should the stone be round.

    A circle seen aslant is an ellipse whose axes are as the cosine of the tilt. Hand-cut round stones are
    themselves out of round by a few per cent (common practice, no source), so it is a question to a person.

    Parameters
    ----------
    outline : Outline

    Returns
    -------
    Quantity or None
        Tilt in degrees; None for other shapes, for stones longer than `ROUNDEST` allows, and where the axes
        differ by less than a tilt of `LEANING` and their uncertainty (k = 2) explain.
    """
    if outline.shape != "ellipse":
        return None
    hull, (_, least, greatest) = _widths(outline)
    ratio = least / greatest
    u = math.sqrt(2) * _u_width(outline, hull) / greatest
    if not ROUNDEST <= ratio < math.cos(LEANING) - 2 * u:
        return None
    tilt = math.acos(ratio)
    return Quantity(math.degrees(tilt), math.degrees(u / math.sin(tilt)), "°")


def _widths(outline: Outline) -> tuple[NDArray[np.float64], tuple[float, float, float]]:
    """Convex hull, and mean, least and greatest calliper width in pixels."""
    hull = outline.points[ConvexHull(outline.points).vertices]
    sides = np.roll(hull, -1, axis=0) - hull
    lengths = np.hypot(*sides.T)
    normals = np.column_stack([-sides[:, 1], sides[:, 0]]) / lengths[:, None]
    across = hull @ normals.T
    least = float((across.max(axis=0) - across.min(axis=0)).min())
    return hull, (float(lengths.sum()) / math.pi, least, float(pdist(hull).max()))


def _u_width(outline: Outline, hull: NDArray[np.float64]) -> float:
    """Standard uncertainty of one width in pixels: an edge at both ends, and the sag between vertices."""
    return 2 * combine(outline.u_px, _sag(hull) / math.sqrt(3) if outline.shape != "polygon" else 0.0)


def _sag(hull: NDArray[np.float64]) -> float:
    """Mean height of a smooth curve over its chords, in pixels: a chord's length times a turn's eighth."""
    chords = np.roll(hull, -1, axis=0) - hull
    heading = np.arctan2(chords[:, 1], chords[:, 0])
    turns = np.abs((heading - np.roll(heading, 1) + np.pi) % (2 * np.pi) - np.pi)
    lengths = np.hypot(*chords.T)
    return float((lengths * turns).sum() / 8 / len(hull))
