"""Claws that hold a stone: where they reach over its girdle, and what they cover.

A claw is a bar that comes in from the setting without a break: its two sides cross the girdle, and
between them the girdle is not seen. Facet edges end at the girdle instead.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from setstone.measure.light import Plane
from setstone.measure.rings import (
    PER_CENT,
    RAYS,
    Curve,
    edge_strength,
    gradient,
    normals,
    squeezed,
    unrolled,
)

#: Least strength (0..1) of a claw's sides across the girdle, and by how much they are stronger than the
#: girdle between them: for the plainest claws, and for others beside those.
SIDE, PLAINNESS = (0.58, 0.5), (0.15, 0.05)
#: Width of a claw in rays: 1 to 4 % of the turn.
WIDTHS = range(7, 29)
#: How far a claw may reach in, as shares of the diameter.
DEPTHS = np.linspace(0.065, 0.14, 16)
#: How far its middle may lie from that of the sides found, in rays.
SHIFTS = (-4, -2, 0, 2, 4)
#: How far a claw may lean from the girdle's normal, in radians.
TILTS = np.radians([-16, -8, 0, 8, 16])


def claws(image: Plane, girdle: Curve) -> list[Curve]:
    """Outlines of what claws cover.

    Parameters
    ----------
    image : (H, W, 3) float32 array
        Encoded grey levels 0..255, the stone at least some 300 pixels wide.
    girdle : (RAYS, 2) float64 array
        Outline of the stone with equal steps, in pixels.

    Returns
    -------
    list of (N, 2) float64 arrays
        In pixels; fewer than two are taken for none.
    """
    pairs = _crossings(image, girdle)
    plain = [p for p in pairs if p.side > SIDE[0] and p.plainness > PLAINNESS[0]]
    if len(_apart(plain)) < 2:
        return []
    usual = float(np.median([p.width for p in _apart(plain)]))
    alike = [p for p in pairs if 0.7 < p.width / usual < 1.4]
    return _bars(image, girdle, _apart(alike))


@dataclass(frozen=True)
class _Crossing:
    """A pair of sides that cross the girdle: first ray, width in rays, how strong, how plain."""

    start: int
    width: int
    side: float
    plainness: float

    @property
    def middle(self) -> float:
        return self.start + self.width / 2


def _apart(pairs: list[_Crossing]) -> list[_Crossing]:
    """The widest pairs that do not lie on each other: the shine along a claw has sides too."""
    kept: list[_Crossing] = []
    for pair in sorted(pairs, key=lambda p: (p.width, p.plainness), reverse=True):
        away = [abs((pair.middle - k.middle + RAYS / 2) % RAYS - RAYS / 2) for k in kept]
        if all(a > (pair.width + k.width) / 2 for a, k in zip(away, kept, strict=True)):
            kept.append(pair)
    return kept


def _crossings(image: Plane, girdle: Curve) -> list[_Crossing]:
    """Pairs of sides that cross the girdle and between which it is not seen."""
    strip = unrolled(image, girdle, -0.06, 0.03)
    strength, known = edge_strength(strip)
    at = round(-strip.offsets[0] / strip.column)
    along = squeezed(strength, known)[:, at - 1 : at + 2].max(axis=1)

    pad = 9
    turns = np.concatenate([strip.colours[-pad:], strip.colours, strip.colours[:pad]])
    smooth = cv2.GaussianBlur(turns, (0, 0), sigmaX=1.5, sigmaY=0.8)
    change = np.sqrt((np.gradient(smooth, axis=0) ** 2).sum(axis=2))[pad:-pad]
    across = change / (change + 2 * np.median(change[known]) + np.float32(0.5))
    across[~known] = 0
    across = maximum_filter1d(across, 3, axis=0, mode="wrap")
    within = across[:, at - 5 * PER_CENT : at - PER_CENT].mean(axis=1)
    beyond = across[:, at + 2 : at + 2 * PER_CENT].mean(axis=1)
    side = np.minimum(within, beyond)
    sides = np.flatnonzero((side == maximum_filter1d(side, 9, mode="wrap")) & (side > SIDE[1]))
    pairs = []
    for start in sides:
        for end in sides:
            width = int(end - start) % RAYS
            if width in WIDTHS:
                between = float(along[(start + np.arange(2, width - 1)) % RAYS].mean())
                strength_of_sides = float(min(side[start], side[end]))
                if strength_of_sides - between > PLAINNESS[1]:
                    pairs.append(_Crossing(int(start), width, strength_of_sides, strength_of_sides - between))
    return pairs


def _bars(image: Plane, girdle: Curve, found: list[_Crossing]) -> list[Curve]:
    """Bars with round tips along the claws' edges.

    The claws of one setting are taken to be alike in width and depth; each has its own place and
    direction.
    """
    strength = gradient(image, 1.0).strength
    edge = strength / (strength + 2 * np.median(strength) + np.float32(0.5))
    inward = -normals(girdle)
    length = float(np.hypot(*(np.roll(girdle, -1, axis=0) - girdle).T).sum())
    widest = float(np.median([claw.width for claw in found])) / RAYS * length / 2
    frames = [
        (girdle[round(claw.middle + shift) % RAYS], _turned(inward[round(claw.middle) % RAYS], tilt))
        for claw in found
        for shift in SHIFTS
        for tilt in TILTS
    ]
    best, outlines = 0.0, np.empty((0, 0, 2))
    for half in widest * np.array([0.9, 1.05, 1.2]):
        for depth in DEPTHS * float(np.ptp(girdle, axis=0).mean()):
            bars = np.array([_bar(root, axis, half, depth) for root, axis in frames])
            worth = _on_edges(edge, bars).reshape(len(found), -1)
            if worth.max(axis=1).sum() > best:
                best = float(worth.max(axis=1).sum())
                outlines = bars.reshape(*worth.shape, -1, 2)[np.arange(len(found)), worth.argmax(axis=1)]
    return list(outlines)


def _turned(direction: NDArray[np.float64], angle: float) -> NDArray[np.float64]:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([c * direction[0] - s * direction[1], s * direction[0] + c * direction[1]])


def _bar(root: NDArray[np.float64], axis: NDArray[np.float64], half: float, depth: float) -> Curve:
    """Outline of a bar: one side, then the round tip, then the other side, 12 points each."""
    turn = np.linspace(0, np.pi, 12)
    straight = np.linspace(-0.1 * half, max(depth - half, 0), 12)
    along = np.concatenate([straight, straight[-1] + half * np.sin(turn), straight[::-1]])
    beside = half * np.concatenate([np.ones(12), np.cos(turn), -np.ones(12)])
    outline: Curve = root + np.outer(along, axis) + np.outer(beside, (-axis[1], axis[0]))
    return outline


def _on_edges(edge: Plane, bars: NDArray[np.float64]) -> NDArray[np.float64]:
    """How well the weaker side and the tip of each bar lie on edges, 0..2."""
    at = bars.astype(np.float32)
    value = cv2.remap(edge, at[..., 0], at[..., 1], cv2.INTER_LINEAR)
    side = np.minimum(value[:, :12].mean(axis=1), value[:, 24:].mean(axis=1))
    return np.asarray(side + value[:, 12:24].mean(axis=1), np.float64)


def covered(shape: tuple[int, int], outlines: list[Curve]) -> NDArray[np.bool_]:
    """(H, W) mask of what lies within some outlines."""
    mask = np.zeros(shape, np.uint8)
    for outline in outlines:
        cv2.fillPoly(mask, [np.round(outline * 8).astype(np.int32)], 1, shift=3)
    return mask.astype(bool)
