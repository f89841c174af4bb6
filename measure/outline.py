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
    hull = outline.points[ConvexHull(outline.points).vertices]
    sides = np.roll(hull, -1, axis=0) - hull
    lengths = np.hypot(*sides.T)
    normals = np.column_stack([-sides[:, 1], sides[:, 0]]) / lengths[:, None]
    across = hull @ normals.T
    mean = float(lengths.sum()) / math.pi
    least = float((across.max(axis=0) - across.min(axis=0)).min())
    greatest = float(pdist(hull).max())

    edge = 2 * combine(outline.u_px, _sag(hull) / math.sqrt(3) if outline.shape != "polygon" else 0.0)
    shortening = TILT**2 / 2 / math.sqrt(5)  # root mean square of 1 - cos for tilts evenly up to TILT
    mm_per_px = scale.um_per_px / 1000

    def quantity(width_px: float, tilt: float) -> Quantity:
        u = combine(edge, width_px * tilt, width_px * scale.relative_u)
        return Quantity(width_px * mm_per_px, u * mm_per_px, "mm")

    # A tilt shortens the widths across its axis in full, along it not at all: half in the mean.
    return Diameters(
        mean=quantity(mean, shortening / 2),
        least=quantity(least, shortening),
        greatest=quantity(greatest, shortening),
    )


def _sag(hull: NDArray[np.float64]) -> float:
    """Mean height of a smooth curve over its chords, in pixels: a chord's length times a turn's eighth."""
    chords = np.roll(hull, -1, axis=0) - hull
    heading = np.arctan2(chords[:, 1], chords[:, 0])
    turns = np.abs((heading - np.roll(heading, 1) + np.pi) % (2 * np.pi) - np.pi)
    lengths = np.hypot(*chords.T)
    return float((lengths * turns).sum() / 8 / len(hull))
