"""What can be told of a line in a facetted stone from its shape, its surroundings and both lamps.

Every feature is free of scale and exposure: lengths are shares of the stone's diameter or multiples of
the finest filter, brightnesses multiples of the local grain or of the line's own contrast.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, map_coordinates
from scipy.spatial import cKDTree

from setstone.measure.light import Plane
from setstone.measure.lines import Line, local_grain
from setstone.measure.outline import Outline

Values = NDArray[np.float64]

#: What stands in for every feature of a lamp that is not there.
ABSENT = -9.0

#: Names of the columns `line_features` returns, in order.
NAMES = (
    "contrast", "weakest_quarter", "unbroken", "grey", "length", "pixels", "width", "width_spread",
    "off_straight", "off_straight_share", "off_parabola", "turning", "bend_even",
    "dotted", "dotted_range",
    "sharp", "sharp_spread", "wander", "step", "step_to_contrast", "step_one_way", "ground_range", "ground_rank", "grain_rank", "clipped",
    "ahead_least", "ahead_most", "ahead_step",
    "collinear", "parallel", "crowd", "met_least", "met_most",
    "edges", "edges_ahead", "edges_long", "symmetry", "family", "crossed", "ring",
    "inside", "inside_least", "along_girdle", "radial",
    "white_step", "white_step_one_way", "white_step_even", "white_bright", "white_dark", "white_ratio",
    "white_ground_range", "white_ground_rank", "white_grain_rank",
    "white_edges", "white_edges_ahead", "white_edges_long", "white_ahead_step", "white_symmetry", "white_family", "white_crossed",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Surroundings:
    """One lamp's picture with what the features of all lines share."""

    plane: Plane
    grain: Plane
    ranks: Values
    grain_median: float
    segments: Values
    symmetric: Values
    families: "_Families"

    @classmethod
    def of(cls, plane: Plane, sigma: float, stone: NDArray[np.bool_], outline: Outline) -> "Surroundings":
        """Prepare a picture in encoded grey levels; `sigma` is that of the finest filter, in pixels."""
        grain = local_grain(plane, sigma)
        inside = plane[stone] if stone.any() else plane.ravel()
        segments = straight_edges(plane, stone, 0.04 * _diameter(outline))
        return cls(
            plane=cv2.GaussianBlur(plane, (0, 0), 0.7),
            grain=grain,
            ranks=np.percentile(inside, np.linspace(0, 100, 65)),
            grain_median=float(np.median(grain[stone] if stone.any() else grain)),
            segments=segments,
            symmetric=_turned(segments, outline),
            families=_Families(segments, outline, sigma),
        )


def any_of(found: Any) -> NDArray[np.int64]:
    """Give all numbers that occur in lists of neighbours, as `cKDTree.query_ball_point` gives them, once each."""
    return np.array(sorted({j for several in found for j in several}), np.int64)


def straight_edges(plane: Plane, stone: NDArray[np.bool_], least: float) -> Values:
    """Straight steps of brightness inside the stone (LSD; von Gioi et al. 2010).

    Parameters
    ----------
    plane : (H, W) float32 array
        Encoded grey levels 0..255.
    stone : (H, W) bool array
    least : float
        Shortest of interest, in pixels.

    Returns
    -------
    (N, 4) float64 array
        Ends x0, y0, x1, y1.
    """
    detector = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD)
    found = detector.detect(np.clip(plane, 0, 255).astype(np.uint8))[0]
    if found is None or len(found) == 0:
        return np.zeros((0, 4))
    ends = np.asarray(found, np.float64).reshape(-1, 4)
    middle = np.rint((ends[:, :2] + ends[:, 2:]) / 2).astype(int)
    x = np.clip(middle[:, 0], 0, plane.shape[1] - 1)
    y = np.clip(middle[:, 1], 0, plane.shape[0] - 1)
    length = np.hypot(*(ends[:, 2:] - ends[:, :2]).T)
    return ends[stone[y, x] & (length >= least)]


def line_features(
    lines: Sequence[Line],
    found_in: Surroundings,
    white: Surroundings | None,
    *,
    clipped: NDArray[np.bool_],
    outline: Outline,
    sigma: float,
) -> Values:
    """Describe each line.

    Parameters
    ----------
    lines : sequence of Line
        As found in `found_in`.
    found_in : Surroundings
        The picture the lines were found in.
    white : Surroundings or None
        The picture under the other lamp, aligned.
    clipped : (H, W) bool array
        Where the picture of `found_in` is saturated.
    outline : Outline
    sigma : float
        Of the finest filter, in pixels; the unit of lengths across.

    Returns
    -------
    (len(lines), len(NAMES)) float64 array
    """
    table = np.full((len(lines), len(NAMES)), ABSENT)
    if not lines:
        return table
    diameter = _diameter(outline)
    around = _Around(lines, diameter, sigma)
    girdle = _Girdle(outline, diameter)
    for row, line in enumerate(lines):
        own = _Sampled(line, sigma)
        features = {
            **_shape(line, own, diameter, sigma),
            **_light(line, own, found_in, clipped),
            **around.features(row, own),
            **girdle.features(own),
        }
        features |= _edges(own, found_in, sigma, diameter)
        if white is not None:
            features |= _other_lamp(line, own, found_in, white)
            for name, value in _edges(own, white, sigma, diameter).items():
                features["white_" + name] = value
        table[row] = [features.get(name, ABSENT) for name in NAMES]
    return table


class _Sampled:
    """Points along a line and before and behind it, with directions."""

    def __init__(self, line: Line, sigma: float) -> None:
        self.path = line.path
        self.unit = sigma
        smooth = (
            gaussian_filter1d(self.path, 4 * sigma, axis=0, mode="nearest")
            if len(self.path) > 8
            else self.path
        )
        tangent = np.gradient(smooth, axis=0)
        self.tangent = tangent / np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
        self.normal = np.stack([-self.tangent[:, 1], self.tangent[:, 0]], axis=1)
        self.length = line.length_px
        self.ahead = [self._extension(end) for end in (0, 1)]

    def _extension(self, end: int) -> tuple[Values, Values]:
        """Points beyond an end along its own direction, and their normal."""
        path = self.path[::-1] if end else self.path
        back = path[min(len(path) - 1, max(12, round(0.4 * self.length)))]
        direction = path[0] - back
        direction = direction / max(math.hypot(*direction), 1e-9)
        reach = float(np.clip(0.6 * self.length, 14 * self.unit, 40 * self.unit))
        points = path[0] + np.arange(4 * self.unit, reach, 1.0)[:, None] * direction
        return points, np.array([-direction[1], direction[0]])


def _across(plane: Plane, points: Values, normal: Values, offsets: Values) -> Values:
    """Values at each point and offset across, shape (len(points), len(offsets))."""
    at = points[:, None, :] + offsets[None, :, None] * np.broadcast_to(normal, points.shape)[:, None, :]
    return np.asarray(map_coordinates(plane, [at[..., 1], at[..., 0]], order=1, mode="nearest"), np.float64)


def _at(plane: Plane, points: Values) -> Values:
    x = np.clip(np.rint(points[:, 0]).astype(int), 0, plane.shape[1] - 1)
    y = np.clip(np.rint(points[:, 1]).astype(int), 0, plane.shape[0] - 1)
    return np.asarray(plane[y, x], np.float64)


def _shape(line: Line, own: _Sampled, diameter: float, sigma: float) -> dict[str, float]:
    centred = own.path - own.path.mean(axis=0)
    _, _, axes = np.linalg.svd(centred, full_matrices=False)
    along, off = centred @ axes[0], centred @ axes[1]
    parabola = np.polyfit(along, off, 2) if len(along) > 3 else np.zeros(3)
    straight = float(np.sqrt(np.mean(off**2)))
    bent = float(np.sqrt(np.mean((off - np.polyval(parabola, along)) ** 2)))
    heading = np.unwrap(np.arctan2(own.tangent[:, 1], own.tangent[:, 0]))
    turns = np.diff(heading)
    slow = gaussian_filter1d(own.path, 12 * sigma, axis=0, mode="nearest")
    core = slice(len(slow) // 6, len(slow) - len(slow) // 6)
    wander = float(np.sqrt(np.mean(np.sum((own.path - slow)[core] ** 2, axis=1))))
    total = float(np.abs(turns).sum())
    return {
        "length": math.log(own.length / diameter),
        "pixels": math.log(own.length / sigma),
        "width": float(np.median(line.width_px)) / sigma,
        "width_spread": float(np.subtract(*np.percentile(line.width_px, [85, 15]))) / sigma,
        "off_straight": math.log(0.02 + straight / sigma),
        "off_straight_share": math.log(0.001 + straight / own.length),
        "off_parabola": math.log(0.02 + bent / sigma),
        "wander": math.log(0.02 + wander / sigma),
        "turning": total / math.sqrt(own.length / sigma),
        "bend_even": abs(float(turns.sum())) / max(total, 1e-3),
    }


def _light(line: Line, own: _Sampled, lamp: Surroundings, clipped: NDArray[np.bool_]) -> dict[str, float]:
    u = own.unit
    grain = np.maximum(_at(lamp.grain, own.path), 1e-3)
    contrast = np.abs(line.contrast)
    relative = contrast / grain
    middle = float(np.median(contrast))
    profile = _across(lamp.plane, own.path, own.normal, u * np.array([-7, -6, -5, -4, 0, 4, 5, 6, 7]))
    left, right, peak = profile[:, :4].mean(axis=1), profile[:, 5:].mean(axis=1), profile[:, 4]
    step = left - right
    ground = np.minimum(left, right)
    raw = np.abs(peak - ground)
    fine = _across(lamp.plane, own.path, own.normal, u * np.array([-4.0, -2.0, 0.0, 2.0, 4.0]))
    near = np.abs(fine[:, 2] - np.maximum(fine[:, 1], fine[:, 3]))
    sharp = near / np.maximum(np.abs(fine[:, 2] - np.maximum(fine[:, 0], fine[:, 4])), 0.3)
    ahead = []
    for points, normal in own.ahead:
        beyond = _across(lamp.plane, points, normal, u * np.array([-4.0, -3.0, 0.0, 3.0, 4.0]))
        higher = np.maximum(beyond[:, :2].mean(axis=1), beyond[:, 3:].mean(axis=1))
        ahead.append(
            (
                float(np.mean(beyond[:, 2] - higher)),
                abs(float(np.mean(beyond[:, :2]) - np.mean(beyond[:, 3:]))),
            )
        )
    level = float(np.mean(grain))
    return {
        "contrast": math.log(max(float(np.median(relative)), 0.1)),
        "weakest_quarter": math.log(max(float(np.percentile(relative, 25)), 0.1)),
        "unbroken": float(np.mean(relative > 2)),
        "grey": math.log(max(middle, 0.2)),
        "dotted": float(np.std(np.diff(raw)) / max(float(np.mean(raw)), 1e-3)),
        "dotted_range": float(np.subtract(*np.percentile(raw, [90, 10]))) / max(float(np.mean(raw)), 1e-3),
        "sharp": float(np.clip(np.median(sharp), 0, 3)),
        "sharp_spread": float(np.clip(np.subtract(*np.percentile(sharp, [80, 20])), 0, 3)),
        "step": math.log(0.1 + float(np.median(np.abs(step))) / level),
        "step_to_contrast": math.log(0.01 + float(np.median(np.abs(step))) / max(middle, 0.2)),
        "step_one_way": abs(float(np.mean(step))) / max(float(np.mean(np.abs(step))), 1e-3),
        "ground_range": math.log(0.1 + float(np.subtract(*np.percentile(ground, [95, 5]))) / level),
        "ground_rank": float(np.interp(np.median(ground), lamp.ranks, np.linspace(0, 1, len(lamp.ranks)))),
        "grain_rank": math.log(level / max(lamp.grain_median, 1e-3)),
        "clipped": float(_at(clipped.astype(np.float32), own.path).mean()),
        "ahead_least": min(a for a, _ in ahead) / level,
        "ahead_most": max(a for a, _ in ahead) / level,
        "ahead_step": math.log(0.1 + max(s for _, s in ahead) / level),
    }  # fmt: skip


def _other_lamp(line: Line, own: _Sampled, lamp: Surroundings, white: Surroundings) -> dict[str, float]:
    u = own.unit
    profile = _across(white.plane, own.path, own.normal, u * np.array([-7, -5, -3, -0.7, 0, 0.7, 3, 5, 7]))
    level = max(float(np.mean(_at(white.grain, own.path))), 1e-3)
    left, right = profile[:, :3], profile[:, 6:]
    step = left.mean(axis=1) - right.mean(axis=1)
    near_left, near_right = profile[:, 2], profile[:, 6]
    centre = profile[:, 3:6].mean(axis=1)
    bright = float(np.mean(centre - np.maximum(near_left, near_right)))
    dark = float(np.mean(np.minimum(near_left, near_right) - centre))
    blue = max(
        float(np.median(np.abs(line.contrast))) / max(float(np.mean(_at(lamp.grain, own.path))), 1e-3), 0.1
    )
    ground = np.minimum(left.mean(axis=1), right.mean(axis=1))
    ahead = [
        abs(
            float(
                np.mean(
                    _across(white.plane, points, normal, u * np.array([-6.0, -4.0, -2.0, 2.0, 4.0, 6.0]))
                    @ sides
                )
            )
        )
        for points, normal in own.ahead
        for sides in [np.array([1, 1, 1, -1, -1, -1]) / 3]
    ]
    return {
        "white_step": math.log(0.1 + float(np.median(np.abs(step))) / level),
        "white_step_one_way": abs(float(np.mean(step))) / max(float(np.mean(np.abs(step))), 1e-3),
        "white_step_even": float(np.mean(np.abs(step) > 3 * level)),
        "white_bright": bright / level,
        "white_dark": dark / level,
        "white_ratio": max(bright, dark) / level / blue,
        "white_ground_range": math.log(0.1 + float(np.subtract(*np.percentile(ground, [95, 5]))) / level),
        "white_ground_rank": float(
            np.interp(np.median(ground), white.ranks, np.linspace(0, 1, len(white.ranks)))
        ),
        "white_grain_rank": math.log(level / max(white.grain_median, 1e-3)),
        "white_ahead_step": math.log(0.1 + max(ahead) / level),
    }


def _edges(own: _Sampled, lamp: Surroundings, sigma: float, diameter: float) -> dict[str, float]:
    """Shares of the line, and of its continuations, that lie on straight edges, and on turned ones."""
    on, length = _on_segments(own.path, own.tangent, lamp.segments, 2.5 * sigma)
    ahead = [
        float(_on_segments(points, np.broadcast_to([normal[1], -normal[0]], points.shape), lamp.segments, 3 * sigma)[0].mean())
        for points, normal in own.ahead
    ]  # fmt: skip
    few = slice(None, None, max(1, len(own.path) // 24))
    crossings = _crossings(own.path[:: max(1, round(2 * sigma))], lamp.segments, 6 * sigma)
    turned, _ = _on_segments(own.path[few], own.tangent[few], lamp.symmetric, 0.012 * diameter)
    return {
        "edges": float(on.mean()),
        "edges_ahead": max(ahead),
        "edges_long": length / diameter,
        "symmetry": float(turned.mean()),
        "family": lamp.families.share(own.path[few], own.tangent[few]),
        "crossed": crossings / max(1.0, own.length / (0.1 * diameter)),
    }


def _on_segments(
    points: Values, tangent: Values, segments: Values, reach: float
) -> tuple[NDArray[np.bool_], float]:
    """Which points lie on a segment of their own direction, and the length of the longest such segment."""
    if not len(segments):
        return np.zeros(len(points), np.bool_), 0.0
    start, vector = segments[:, :2], segments[:, 2:] - segments[:, :2]
    length = np.maximum(np.hypot(*vector.T), 1e-9)
    unit = vector / length[:, None]
    middle = points.mean(axis=0)
    radius = float(np.hypot(*(points - middle).T).max()) + reach
    closest = np.clip(((middle - start) * unit).sum(axis=1), 0, length)
    near = np.hypot(*(start + closest[:, None] * unit - middle).T) < radius
    if not near.any():
        return np.zeros(len(points), np.bool_), 0.0
    start, unit, length = start[near], unit[near], length[near]
    offset = points[:, None, :] - start[None]
    along = (offset * unit).sum(axis=2)
    off = np.abs(offset[..., 0] * unit[:, 1] - offset[..., 1] * unit[:, 0])
    same_way = np.abs(tangent @ unit.T) > math.cos(math.radians(9))
    hit = (off < reach) & (along > -reach) & (along < length + reach) & same_way
    longest = float(length[hit.sum(axis=0) > 0.3 * len(points)].max(initial=0.0))
    return np.asarray(hit.any(axis=1)), longest


def _turned(segments: Values, outline: Outline) -> Values:
    """Segments turned by half a turn about the centre of the outline, stones being cut symmetrically."""
    if not len(segments):
        return segments
    cx, cy = outline.centre
    return np.asarray(2 * np.array([cx, cy, cx, cy]) - segments, np.float64)


def _crossings(path: Values, segments: Values, reach: float) -> float:
    """How many straight edges the line crosses, not counting what happens near its ends."""
    if len(path) < 4 or not len(segments):
        return 0.0
    at = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))))
    inner = (at[:-1] > reach) & (at[1:] < at[-1] - reach)
    p, d = path[:-1][inner], np.diff(path, axis=0)[inner]
    if not len(p):
        return 0.0
    q, e = segments[:, :2], segments[:, 2:] - segments[:, :2]
    cross = d[:, None, 0] * e[None, :, 1] - d[:, None, 1] * e[None, :, 0]
    sine = np.abs(cross) / np.maximum(np.hypot(*d.T)[:, None] * np.hypot(*e.T)[None], 1e-9)
    safe = np.where(sine > 0.4, cross, np.inf)
    gap = q[None] - p[:, None]
    t = (gap[..., 0] * e[None, :, 1] - gap[..., 1] * e[None, :, 0]) / safe
    s = (gap[..., 0] * d[:, None, 1] - gap[..., 1] * d[:, None, 0]) / safe
    hit = (sine > 0.4) & (t >= 0) & (t < 1) & (s >= -0.05) & (s <= 1.05)
    return float(hit.any(axis=0).sum())


class _Families:
    """Straight edges by distance from the centre and slant: a cut repeats each edge all round the stone.

    The distance is a share of the girdle's in the same direction, so that ovals are as good as rounds.
    """

    SECTORS = 24
    DISTANCE, SLANT = 0.02, math.radians(6)

    def __init__(self, segments: Values, outline: Outline, sigma: float) -> None:
        self.centre = np.array(outline.centre)
        rim = outline.points - self.centre
        angle = np.arctan2(rim[:, 1], rim[:, 0])
        order = np.argsort(angle)
        self.rim_angle, self.rim_radius = angle[order], np.hypot(*rim[order].T)
        if len(segments):
            parts = [
                (
                    np.linspace(a, b, max(2, round(math.dist(a, b) / (3 * sigma)))),
                    (b - a) / max(math.dist(a, b), 1e-9),
                )
                for a, b in zip(segments[:, :2], segments[:, 2:], strict=True)
            ]
            points = np.concatenate([p for p, _ in parts])
            directions = np.concatenate([np.broadcast_to(d, p.shape) for p, d in parts])
            place, self.sector = self._place(points, directions)
            self.tree: cKDTree | None = cKDTree(place)
        else:
            self.tree = None

    def share(self, points: Values, directions: Values) -> float:
        """Share of the sectors round the stone where an edge lies as far out and as slanting as here."""
        if self.tree is None:
            return 0.0
        place, sector = self._place(points, directions)
        counts = []
        for near, own in zip(self.tree.query_ball_point(place, 1.0), sector, strict=True):
            others = np.unique(self.sector[near])
            apart = np.abs((others - own + self.SECTORS // 2) % self.SECTORS - self.SECTORS // 2)
            counts.append(float((apart > 1).sum()) / self.SECTORS)
        return float(np.median(counts))

    def _place(self, points: Values, directions: Values) -> tuple[Values, NDArray[np.int64]]:
        out = points - self.centre
        angle = np.arctan2(out[:, 1], out[:, 0])
        radius = np.hypot(*out.T)
        rim = np.interp(angle, self.rim_angle, self.rim_radius, period=2 * math.pi)
        slant = np.arccos(np.clip(np.abs((out * directions).sum(axis=1)) / np.maximum(radius, 1e-9), 0, 1))
        sector = np.floor((angle / (2 * math.pi)) % 1 * self.SECTORS).astype(np.int64)
        return np.stack([radius / rim / self.DISTANCE, slant / self.SLANT], axis=1), sector


class _Around:
    """Where the other lines are."""

    def __init__(self, lines: Sequence[Line], diameter: float, sigma: float) -> None:
        self.reach = 0.06 * diameter
        self.sigma = sigma
        self.diameter = diameter
        self.points = np.concatenate([line.path for line in lines])
        self.owner = np.repeat(np.arange(len(lines)), [len(line.path) for line in lines])
        directions = []
        for line in lines:
            d = np.gradient(line.path, axis=0)
            directions.append(d / np.maximum(np.hypot(*d.T), 1e-9)[:, None])
        self.direction = np.concatenate(directions)
        self.tree = cKDTree(self.points)

    def features(self, index: int, own: _Sampled) -> dict[str, float]:
        path = own.path
        near = any_of(self.tree.query_ball_point(path[::8], self.reach))
        near = near[self.owner[near] != index]
        crowd = len(near) / (len(path) + 2 * self.reach)
        close = (
            cKDTree(self.points[near]).query(path, distance_upper_bound=7 * self.sigma) if len(near) else None
        )
        parallel = 0.0
        if close is not None:
            found = np.isfinite(close[0])
            same = (
                np.abs((self.direction[near[np.asarray(close[1])[found]]] * own.tangent[found]).sum(axis=1))
                > 0.94
            )
            parallel = float(same.sum()) / len(path)
        met = []
        for end in (0, -1):
            around = self.tree.query_ball_point(path[end], 5 * self.sigma)
            met.append(float(len(set(self.owner[around]) - {index})))
        # Pieces of one straight edge lie on one straight line.
        chord = path[-1] - path[0]
        size = max(math.hypot(*chord), 1e-9)
        chord = chord / size
        rel = self.points - path.mean(axis=0)
        off = np.abs(rel[:, 0] * chord[1] - rel[:, 1] * chord[0])
        along = np.abs(rel @ chord)
        same_line = (
            (self.owner != index) & (off < 2 * self.sigma + 0.01 * along) & (along < size / 2 + 0.25 * self.diameter)
            & (np.abs(self.direction @ chord) > math.cos(math.radians(10)))
        )  # fmt: skip
        return {
            "collinear": math.log(0.02 + float(same_line.sum()) / own.length),
            "parallel": parallel,
            "crowd": crowd,
            "met_least": min(met),
            "met_most": max(met),
        }


class _Girdle:
    """Where the line lies within the outline."""

    def __init__(self, outline: Outline, diameter: float) -> None:
        points = outline.points
        closed = np.concatenate([points, points[:1]])
        at = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))))
        where = np.linspace(0, at[-1], 721)[:-1]
        self.points = np.stack(
            [np.interp(where, at, closed[:, 0]), np.interp(where, at, closed[:, 1])], axis=1
        )
        tangent = np.roll(self.points, -2, axis=0) - np.roll(self.points, 2, axis=0)
        self.tangent = tangent / np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
        self.tree = cKDTree(self.points)
        self.centre = np.array(outline.centre)
        self.diameter = diameter

    def features(self, own: _Sampled) -> dict[str, float]:
        distance, index = self.tree.query(own.path)
        outward = own.path - self.centre
        outward = outward / np.maximum(np.hypot(*outward.T), 1e-9)[:, None]
        parallel = float(np.mean(np.abs((self.tangent[index] * own.tangent).sum(axis=1))))
        inside = float(np.median(distance)) / self.diameter
        return {
            "inside": inside,
            "inside_least": float(np.min(distance)) / self.diameter,
            "along_girdle": parallel,
            "ring": parallel * math.exp(-inside / 0.05),
            "radial": float(np.mean(np.abs((outward * own.tangent).sum(axis=1)))),
        }


def _diameter(outline: Outline) -> float:
    x, y = outline.points.T
    return 2 * math.sqrt(abs(float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())) / 2 / math.pi)
