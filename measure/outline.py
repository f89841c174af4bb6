"""The girdle as seen: a closed outline, and its diameters in millimetres."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from setstone.measure.quantity import Quantity, combine
from setstone.measure.scale import Scale

Shape = Literal["ellipse", "polygon", "free"]


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

    The widths are projections of the convex hull (Feret 1930). Their uncertainty combines the edge
    (twice, once at each side), and the scale (JCGM 100:2008, 5.1.2).

    Parameters
    ----------
    outline : Outline
    scale : Scale

    Returns
    -------
    Diameters
        In millimetres.
    """
    theta = np.linspace(0, math.pi, 360, endpoint=False)
    projections = outline.points @ np.array([np.cos(theta), np.sin(theta)])
    widths = projections.max(axis=0) - projections.min(axis=0)
    mm_per_px = scale.um_per_px / 1000

    def quantity(width_px: float) -> Quantity:
        u = combine(2 * outline.u_px * mm_per_px, width_px * mm_per_px * scale.relative_u)
        return Quantity(width_px * mm_per_px, u, "mm")

    return Diameters(
        mean=quantity(float(widths.mean())),
        least=quantity(float(widths.min())),
        greatest=quantity(float(widths.max())),
    )
