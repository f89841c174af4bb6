"""A lens through edge points: two arcs of circles that meet in points, the outline of a marquise.

The points are lost first: claws lie over them, and edges found near them stray. The long arcs beside them tell where they are.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from setstone.measure.rings import Curve, Mask
from setstone.measure.robust import TUKEY, biweight

Vector = NDArray[np.float64]

#: Where along the length, from tip to tip, an arc is begun: on the one of these parts that most of its edges agree with.
_PARTS = ((0.2, 0.8), (0.1, 0.45), (0.55, 0.9))
#: Most rounds of the fit; least edge points of an arc; and a move of the tips, px, after which all has settled.
_ROUNDS, _LEAST, _SETTLED = 25, 20, 0.01
#: Least and greatest angle of a tip, in radians: two arcs of a lens half as wide as long meet at 106 degrees.
_SHARP, _BLUNT = math.radians(40), math.radians(140)


class _Circle(NamedTuple):
    centre: Vector
    radius: float

    def off(self, points: Curve) -> Vector:
        """Distances of points from it."""
        return np.asarray(np.abs(np.hypot(*(points - self.centre).T) - self.radius), np.float64)


def lens_through(points: Curve, known: Mask, tolerance: float) -> Curve | None:
    """Fit two arcs to edge points around a stone, so that those that stray have no say (Beaton & Tukey 1974).

    Parameters
    ----------
    points : (N, 2) float64 array
        In order around the stone, in pixels.
    known : (N,) bool array
        Which of them rest on an edge in the photograph.
    tolerance : float
        Of points on an arc, in pixels.

    Returns
    -------
    (M, 2) float64 array or None
        About as many points along the lens, both tips among them; None where no two arcs meet sharply.
    """
    tips = _ends(points)
    begun = [_begun(points, known & side, tips, tolerance) for side in _sides(points, tips)]
    if begun[0] is None or begun[1] is None:
        return None
    arcs = [begun[0], begun[1]]
    for _ in range(_ROUNDS):
        meeting = _meeting(arcs[0], arcs[1], tips)
        if meeting is None:
            return None
        moved = float(np.hypot(*(meeting - tips).T).max())
        tips = meeting
        if moved < _SETTLED:
            break
        sides = [known & side for side in _sides(points, tips)]
        if min(side.sum() for side in sides) < _LEAST:
            return None
        arcs = [
            _circle(points, _say(arc.off(points), side, tolerance))
            for arc, side in zip(arcs, sides, strict=True)
        ]
    return np.vstack(
        [
            _arc(arc, start, end, len(points) // 2)
            for arc, start, end in zip(arcs, tips, tips[::-1], strict=True)
        ]
    )


def _ends(points: Curve) -> Curve:
    """Both ends of the longest axis (of inertia)."""
    centre = points.mean(axis=0)
    axis = np.linalg.eigh(np.cov((points - centre).T))[1][:, 1]
    along = (points - centre) @ axis
    return np.asarray(centre + np.outer([along.min(), along.max()], axis))


def _sides(points: Curve, tips: Curve) -> tuple[Mask, Mask]:
    """Which points lie on either side of the line through the tips."""
    axis = tips[1] - tips[0]
    across = (points - tips[0]) @ np.array([-axis[1], axis[0]])
    return across > 0, across <= 0


def _begun(points: Curve, side: Mask, tips: Curve, tolerance: float) -> _Circle | None:
    """Arc through that part of a side's edges with which most of them agree; None through too few."""
    axis = tips[1] - tips[0]
    along = (points - tips[0]) @ axis / (axis @ axis)
    parts = [side & (along > low) & (along < high) for low, high in _PARTS]
    tried = [_circle(points, part.astype(np.float64)) for part in parts if part.sum() >= _LEAST]
    return max(tried, key=lambda arc: (arc.off(points)[side] < tolerance).sum(), default=None)


def _say(off: Vector, side: Mask, tolerance: float) -> Vector:
    """Weight of each point by how far off it lies."""
    # No more than the tolerance: half of a side may stray.
    spread = float(np.clip(1.48 * np.median(off[side]), tolerance / 4, tolerance))
    return np.asarray(side * biweight(off, TUKEY * spread))


def _circle(points: Curve, weight: Vector) -> _Circle:
    """Circle by linear least squares (Kåsa 1976)."""
    root = np.sqrt(weight)
    origin = points.mean(axis=0)  # of small numbers
    near = points - origin
    table = np.column_stack([2 * near, np.ones(len(near))]) * root[:, None]
    x, y, rest = np.linalg.lstsq(table, (near**2).sum(axis=1) * root)[0]
    return _Circle(origin + np.array([x, y]), math.sqrt(max(rest + x * x + y * y, 0.0)))


def _meeting(one: _Circle, other: _Circle, tips: Curve) -> Curve | None:
    """Where two circles meet, in the order of the tips so far; None unless they meet sharply."""
    between = other.centre - one.centre
    apart = float(np.hypot(*between))
    if not abs(one.radius - other.radius) < apart < one.radius + other.radius:
        return None
    foot = (one.radius**2 - other.radius**2 + apart**2) / (2 * apart)
    half = math.sqrt(max(one.radius**2 - foot**2, 0.0))
    # The angle between the radii to a tip is what is left of two right angles at the tip.
    radii = math.acos(
        np.clip((one.radius**2 + other.radius**2 - apart**2) / (2 * one.radius * other.radius), -1, 1)
    )
    if not _SHARP < math.pi - radii < _BLUNT:
        return None
    along, across = between / apart, np.array([-between[1], between[0]]) / apart
    found = one.centre + foot * along + np.outer([-half, half], across)
    return found if (found[1] - found[0]) @ (tips[1] - tips[0]) > 0 else found[::-1]


def _arc(circle: _Circle, start: Vector, end: Vector, many: int) -> Curve:
    """Points along the shorter way around a circle from one tip up to the other."""
    first, last = (math.atan2(*(tip - circle.centre)[::-1]) for tip in (start, end))
    turn = (last - first + math.pi) % (2 * math.pi) - math.pi
    angle = first + np.arange(many) / many * turn
    return np.asarray(circle.centre + circle.radius * np.column_stack([np.cos(angle), np.sin(angle)]))
