"""Tips of an outline: where two arcs meet in a point, as on a pear, a heart, or a marquise whose arcs are no circles.

Edges found near a tip stray, and smoothing rounds it off: so the arcs on both sides are carried on until they meet.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist

from setstone.measure.rings import Curve, Mask
from setstone.measure.robust import TUKEY, biweight

Vector = NDArray[np.float64]

#: Least turn of a tip, in radians, between chords of this share of the diameter on both sides of it. Rendered outlines
#: without tips turn by 14 degrees at most.
TURN, CHORD = np.radians(40), 0.06
#: The arcs are fitted from here to there beside the tip, in diameters.
BEGINS, ENDS = 0.02, 0.12
#: From here on, in diameters, such a share of the edges must lie on the arcs: those of a tip that is
#: rounded in truth leave them earlier.
ROUNDED, AS_SHARP = 0.012, 0.5
#: How far the tip may lie from the outline as found, in diameters, and the share of an arc's edges that must lie on it.
FARTHEST, ON_ARC = 0.012, 0.5
#: Rounds of the fit, in which edges that stray lose their say; and points by which an arc is carried on.
_ROUNDS, _FINE = 6, 400


class _Arc(NamedTuple):
    """A parabola over a chord: its foot, unit vectors along and across, and coefficients of the height."""

    foot: Vector
    frame: NDArray[np.float64]
    height: Vector

    def at(self, along: Vector) -> Curve:
        """Points at places along the chord."""
        return np.asarray(
            self.foot + np.column_stack([along, np.polyval(self.height, along)]) @ self.frame, np.float64
        )


def with_tips(points: Curve, known: Mask, diameter: float, tolerance: float) -> Curve:
    """Outline with its tips drawn out to where the arcs on both sides meet.

    Parameters
    ----------
    points : (N, 2) float64 array
        Edge points at about equal steps around the stone, in pixels.
    known : (N,) bool array
        Which of them rest on an edge in the photograph.
    diameter, tolerance : float
        Of the stone, and of points on an arc, in pixels.

    Returns
    -------
    (N, 2) float64 array
        The same points where no tip is.
    """
    step = float(np.hypot(*(np.roll(points, -1, axis=0) - points).T).mean())
    rounded, near, far = (max(2, round(share * diameter / step)) for share in (ROUNDED, BEGINS, ENDS))
    out = points.copy()
    for tip in _places(points, max(2, round(CHORD * diameter / step))):
        before, after = (tip + sign * np.arange(far, -1, -1) for sign in (-1, 1))
        sides = [points.take(side, axis=0, mode="wrap") for side in (before, after)]
        sure = [known.take(side, mode="wrap") for side in (before, after)]
        drawn = _drawn_out(sides, sure, near, FARTHEST * diameter, tolerance)
        if drawn is None:
            continue
        away = np.concatenate(
            [
                np.hypot(*(side - arc)[far - near : far - rounded].T)[there[far - near : far - rounded]]
                for side, arc, there in zip(sides, drawn, sure, strict=True)
            ]
        )
        if not len(away) or (away < tolerance).mean() >= AS_SHARP:
            for side, arc in zip((before, after), drawn, strict=True):
                out[side[far - near :] % len(points)] = arc[far - near :]
    return out


def _places(points: Curve, reach: int) -> NDArray[np.int64]:
    """Where the outline turns most sharply, and sharply enough."""
    before, after = points - np.roll(points, reach, axis=0), np.roll(points, -reach, axis=0) - points
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn = np.arctan2(cross, (before * after).sum(axis=1))
    turn = turn * np.sign(turn.sum())
    around = np.stack([np.roll(turn, k) for k in range(-2 * reach, 2 * reach + 1)])
    return np.flatnonzero((turn > TURN) & (turn == around.max(axis=0)))


def _drawn_out(
    sides: list[Curve], sure: list[Mask], near: int, farthest: float, tolerance: float
) -> list[Curve] | None:
    """Both sides, each from afar to the tip, on arcs that meet; None where they do not."""
    arcs = [_arc(side[:-near], there[:-near], tolerance) for side, there in zip(sides, sure, strict=True)]
    if arcs[0] is None or arcs[1] is None:
        return None
    both = [arcs[0], arcs[1]]
    begin = [
        float(arc.frame[0] @ (side[-near - 1] - arc.foot)) for arc, side in zip(both, sides, strict=True)
    ]
    ends = [float(arc.frame[0] @ (side[-1] - arc.foot)) for arc, side in zip(both, sides, strict=True)]
    courses = [np.linspace(a, b + farthest, _FINE) for a, b in zip(begin, ends, strict=True)]
    apart = cdist(both[0].at(courses[0]), both[1].at(courses[1]))
    at = np.unravel_index(int(apart.argmin()), apart.shape)
    meeting = [float(course[i]) for course, i in zip(courses, at, strict=True)]
    if apart.min() > tolerance or np.hypot(*(both[0].at(np.array(meeting[:1]))[0] - sides[0][-1])) > farthest:
        return None
    drawn = []
    for arc, side, start, end in zip(both, sides, begin, meeting, strict=True):
        arm = side.copy()
        arm[-near - 1 :] = arc.at(np.linspace(start, end, near + 1))
        drawn.append(arm)
    return drawn


def _arc(points: Curve, known: Mask, tolerance: float) -> _Arc | None:
    """Parabola through points by least squares, those that stray with no say (Beaton & Tukey 1974); None through too few."""
    if known.mean() < ON_ARC:
        return None
    foot = points[0]
    chord = points[-1] - foot
    along = chord / max(float(np.hypot(*chord)), 1e-9)
    frame = np.array([along, [-along[1], along[0]]])
    x, y = ((points - foot) @ frame.T).T
    weight = known.astype(np.float64)
    for _ in range(_ROUNDS):
        height = np.polyfit(x, y, 2, w=np.sqrt(weight) + 1e-9)
        away = np.abs(y - np.polyval(height, x))
        spread = max(1.48 * float(np.median(away[known])), tolerance / 4)
        weight = known * biweight(away, TUKEY * spread)
    if (away[known] < tolerance).mean() < ON_ARC:
        return None
    return _Arc(foot, frame, height)
