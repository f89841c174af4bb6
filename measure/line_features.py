"""What can be told of a line in a facetted stone from its shape, its surroundings and both lamps.

Every feature is free of scale and exposure: lengths are shares of the stone's diameter or multiples of
the finest filter, brightnesses multiples of the local grain or of the line's own contrast.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from setstone.measure.light import Plane
from setstone.measure.line_company import company
from setstone.measure.line_edges import Families, crossings, on_segments, turned
from setstone.measure.line_profiles import PROFILE_NAMES, WHITE_PROFILE_NAMES, profile_features
from setstone.measure.lines import Line, local_grain
from setstone.measure.outline import Outline
from setstone.measure.runs import (
    Starts,
    Values,
    across,
    differences_each,
    gradient_each,
    mean_each,
    median_each,
    nearest,
    percentile_each,
    picked,
    positions,
    smooth_each,
    starts_of,
    sum_each,
    unit,
)

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
    *PROFILE_NAMES, *WHITE_PROFILE_NAMES,
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
    families: Families

    @classmethod
    def of(
        cls, plane: Plane, sigma: float, stone: NDArray[np.bool_], outline: Outline, segments: Values
    ) -> "Surroundings":
        """Prepare a picture in encoded grey levels.

        Parameters
        ----------
        plane : (H, W) float32 array
        sigma : float
            Of the finest filter, in pixels.
        stone : (H, W) bool array
        outline : Outline
        segments : (N, 4) float64 array
            Straight edges in it (`setstone.measure.line_edges.straight_edges`).
        """
        grain = local_grain(plane, sigma)
        inside = plane[stone] if stone.any() else plane.ravel()
        return cls(
            plane=cv2.GaussianBlur(plane, (0, 0), 0.7),
            grain=grain,
            ranks=np.percentile(inside, np.linspace(0, 100, 65)),
            grain_median=float(np.median(grain[stone] if stone.any() else grain)),
            segments=segments,
            symmetric=turned(segments, outline),
            families=Families(segments, outline, sigma),
        )


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
    own = _Sampled.of(lines, sigma)
    features = {
        **_shape(own, diameter),
        **_light(own, found_in, clipped),
        **company(own.path, own.tangent, own.starts, own.length, diameter=diameter, sigma=sigma),
        **_girdle(own, outline, diameter),
        **_edges(own, found_in, diameter),
    }
    if white is not None:
        features |= _other_lamp(own, found_in, white)
        features |= {"white_" + name: values for name, values in _edges(own, white, diameter).items()}
    features |= profile_features(
        lines,
        found_in.plane,
        found_in.grain,
        None if white is None else white.plane,
        None if white is None else white.grain,
        sigma=sigma,
    )
    for column, name in enumerate(NAMES):
        if name in features:
            table[:, column] = features[name]
    return table


@dataclass(frozen=True, eq=False)
class _Points:
    """Points of many lines, one line after another (see `setstone.measure.runs`), with directions."""

    path: Values
    tangent: Values
    starts: Starts

    @property
    def normal(self) -> Values:
        return np.stack([-self.tangent[:, 1], self.tangent[:, 0]], axis=1)

    def every(self, steps: NDArray[np.int64]) -> "_Points":
        """Every so manieth point, a number for each line."""
        keep = positions(self.starts) % np.repeat(steps, np.diff(self.starts)) == 0
        return _Points(self.path[keep], self.tangent[keep], picked(keep, self.starts))


@dataclass(frozen=True, eq=False)
class _Sampled(_Points):
    """The lines with what was measured along them, and points before and behind each."""

    unit: float
    width: Values
    contrast: Values
    length: Values
    ahead: tuple[_Points, _Points]

    @classmethod
    def of(cls, lines: Sequence[Line], sigma: float) -> "_Sampled":
        starts = starts_of([line.path for line in lines])
        path = np.concatenate([line.path for line in lines])
        smooth = smooth_each(path, starts, 4 * sigma)
        short = np.repeat(np.diff(starts) <= 8, np.diff(starts))
        smooth[short] = path[short]
        steps, step_starts = differences_each(path, starts)
        length = sum_each(np.hypot(*steps.T), step_starts)
        return cls(
            path=path,
            tangent=unit(gradient_each(smooth, starts)),
            starts=starts,
            unit=sigma,
            width=np.concatenate([line.width_px for line in lines]),
            contrast=np.abs(np.concatenate([line.contrast for line in lines])),
            length=length,
            ahead=(_beyond(path, starts, length, sigma, 0), _beyond(path, starts, length, sigma, 1)),
        )


def _beyond(path: Values, starts: Starts, length: Values, sigma: float, end: int) -> _Points:
    """Points beyond one end of each line along its own direction."""
    first, last = starts[:-1], starts[1:] - 1
    inwards = np.minimum(last - first, np.maximum(12, np.rint(0.4 * length).astype(np.int64)))
    tip, back = (path[last], path[last - inwards]) if end else (path[first], path[first + inwards])
    direction = unit(tip - back)
    reach = np.clip(0.6 * length, 14 * sigma, 40 * sigma)
    counts = np.ceil(reach - 4 * sigma).astype(np.int64)
    new = np.concatenate(([0], np.cumsum(counts)))
    along = np.repeat(direction, counts, axis=0)
    return _Points(np.repeat(tip, counts, axis=0) + (4 * sigma + positions(new))[:, None] * along, along, new)


def _spread(values: Values, starts: Starts, high: float, low: float) -> Values:
    """Difference of two percentiles of each line."""
    above, below = percentile_each(values, starts, [high, low])
    return np.asarray(above - below, np.float64)


def _shape(own: _Sampled, diameter: float) -> dict[str, Values]:
    sigma, starts = own.unit, own.starts
    off, bend = _bent(own.path, starts)
    straight = np.sqrt(mean_each(off**2, starts))
    bent = np.sqrt(mean_each(bend**2, starts))
    turns, turn_starts = differences_each(np.arctan2(own.tangent[:, 1], own.tangent[:, 0]), starts)
    turns = (turns + math.pi) % (2 * math.pi) - math.pi
    slow = smooth_each(own.path, starts, 12 * sigma)
    # The ends, drawn in by the smoothing, do not wander.
    points = np.diff(starts)
    place, sixth = positions(starts), np.repeat(points // 6, points)
    core = (place >= sixth) & (place < np.repeat(points, points) - sixth)
    wander = np.sqrt(mean_each(((own.path - slow)[core] ** 2).sum(axis=1), picked(core, starts)))
    total = sum_each(np.abs(turns), turn_starts)
    return {
        "length": np.log(own.length / diameter),
        "pixels": np.log(own.length / sigma),
        "width": median_each(own.width, starts) / sigma,
        "width_spread": _spread(own.width, starts, 85, 15) / sigma,
        "off_straight": np.log(0.02 + straight / sigma),
        "off_straight_share": np.log(0.001 + straight / own.length),
        "off_parabola": np.log(0.02 + bent / sigma),
        "wander": np.log(0.02 + wander / sigma),
        "turning": total / np.sqrt(own.length / sigma),
        "bend_even": np.abs(sum_each(turns, turn_starts)) / np.maximum(total, 1e-3),
    }


def _bent(path: Values, starts: Starts) -> tuple[Values, Values]:
    """Distance from each line's straight line of best fit, and from the parabola of best fit."""
    points = np.diff(starts)

    def mean(values: Values) -> Values:
        return np.repeat(mean_each(values, starts), points)

    x, y = path[:, 0] - mean(path[:, 0]), path[:, 1] - mean(path[:, 1])
    angle = np.arctan2(2 * mean(x * y), mean(x * x) - mean(y * y)) / 2
    along, off = x * np.cos(angle) + y * np.sin(angle), y * np.cos(angle) - x * np.sin(angle)
    # Linear and quadratic terms made orthogonal: `along` has mean 0 and is uncorrelated with `off`.
    square = along**2 - mean(along**2)
    square -= along * mean(along * square) / np.maximum(mean(along**2), 1e-12)
    bend = off - square * mean(off * square) / np.maximum(mean(square**2), 1e-12)
    return off, np.where(np.repeat(points > 3, points), bend, off)


def _light(own: _Sampled, lamp: Surroundings, clipped: NDArray[np.bool_]) -> dict[str, Values]:
    u, starts = own.unit, own.starts
    grain = np.maximum(nearest(lamp.grain, own.path), 1e-3)
    relative = own.contrast / grain
    middle = median_each(own.contrast, starts)
    normal = own.normal
    profile = across(lamp.plane, own.path, normal, u * np.array([-7, -6, -5, -4, 0, 4, 5, 6, 7]))
    left, right, peak = profile[:, :4].mean(axis=1), profile[:, 5:].mean(axis=1), profile[:, 4]
    step = left - right
    ground = np.minimum(left, right)
    raw = np.abs(peak - ground)
    raw_mean = np.maximum(mean_each(raw, starts), 1e-3)
    jumps, jump_starts = differences_each(raw, starts)
    fine = across(lamp.plane, own.path, normal, u * np.array([-4.0, -2.0, 0.0, 2.0, 4.0]))
    near = np.abs(fine[:, 2] - np.maximum(fine[:, 1], fine[:, 3]))
    sharp = near / np.maximum(np.abs(fine[:, 2] - np.maximum(fine[:, 0], fine[:, 4])), 0.3)
    ahead, ahead_step = [], []
    for beyond in own.ahead:
        values = across(lamp.plane, beyond.path, beyond.normal, u * np.array([-4.0, -3.0, 0.0, 3.0, 4.0]))
        one, other = values[:, :2].mean(axis=1), values[:, 3:].mean(axis=1)
        ahead.append(mean_each(values[:, 2] - np.maximum(one, other), beyond.starts))
        ahead_step.append(np.abs(mean_each(one - other, beyond.starts)))
    level = mean_each(grain, starts)
    usual, quarter = percentile_each(relative, starts, [50, 25])
    step_size = median_each(np.abs(step), starts)
    return {
        "contrast": np.log(np.maximum(usual, 0.1)),
        "weakest_quarter": np.log(np.maximum(quarter, 0.1)),
        "unbroken": mean_each(relative > 2, starts),
        "grey": np.log(np.maximum(middle, 0.2)),
        "dotted": _deviation(jumps, jump_starts) / raw_mean,
        "dotted_range": _spread(raw, starts, 90, 10) / raw_mean,
        "sharp": np.clip(median_each(sharp, starts), 0, 3),
        "sharp_spread": np.clip(_spread(sharp, starts, 80, 20), 0, 3),
        "step": np.log(0.1 + step_size / level),
        "step_to_contrast": np.log(0.01 + step_size / np.maximum(middle, 0.2)),
        "step_one_way": np.abs(mean_each(step, starts)) / np.maximum(mean_each(np.abs(step), starts), 1e-3),
        "ground_range": np.log(0.1 + _spread(ground, starts, 95, 5) / level),
        "ground_rank": _rank(median_each(ground, starts), lamp),
        "grain_rank": np.log(level / max(lamp.grain_median, 1e-3)),
        "clipped": mean_each(nearest(clipped, own.path), starts),
        "ahead_least": np.minimum(*ahead) / level,
        "ahead_most": np.maximum(*ahead) / level,
        "ahead_step": np.log(0.1 + np.maximum(*ahead_step) / level),
    }


def _deviation(values: Values, starts: Starts) -> Values:
    """Standard deviation of each run."""
    rest = values - np.repeat(mean_each(values, starts), np.diff(starts))
    return np.asarray(np.sqrt(mean_each(rest**2, starts)), np.float64)


def _rank(values: Values, lamp: Surroundings) -> Values:
    """Share of the stone that is darker."""
    return np.asarray(np.interp(values, lamp.ranks, np.linspace(0, 1, len(lamp.ranks))), np.float64)


def _other_lamp(own: _Sampled, lamp: Surroundings, white: Surroundings) -> dict[str, Values]:
    u, starts = own.unit, own.starts
    profile = across(white.plane, own.path, own.normal, u * np.array([-7, -5, -3, -0.7, 0, 0.7, 3, 5, 7]))
    level = np.maximum(mean_each(nearest(white.grain, own.path), starts), 1e-3)
    left, right = profile[:, :3].mean(axis=1), profile[:, 6:].mean(axis=1)
    step = left - right
    near_left, near_right = profile[:, 2], profile[:, 6]
    centre = profile[:, 3:6].mean(axis=1)
    bright = mean_each(centre - np.maximum(near_left, near_right), starts)
    dark = mean_each(np.minimum(near_left, near_right) - centre, starts)
    own_level = np.maximum(mean_each(nearest(lamp.grain, own.path), starts), 1e-3)
    blue = np.maximum(median_each(own.contrast, starts) / own_level, 0.1)
    ground = np.minimum(left, right)
    sides = np.array([1, 1, 1, -1, -1, -1]) / 3
    ahead = [
        np.abs(
            mean_each(
                across(white.plane, p.path, p.normal, u * np.array([-6.0, -4.0, -2.0, 2.0, 4.0, 6.0]))
                @ sides,
                p.starts,
            )
        )
        for p in own.ahead
    ]
    even = np.abs(step) > 3 * np.repeat(level, np.diff(starts))
    return {
        "white_step": np.log(0.1 + median_each(np.abs(step), starts) / level),
        "white_step_one_way": np.abs(mean_each(step, starts))
        / np.maximum(mean_each(np.abs(step), starts), 1e-3),
        "white_step_even": mean_each(even, starts),
        "white_bright": bright / level,
        "white_dark": dark / level,
        "white_ratio": np.maximum(bright, dark) / level / blue,
        "white_ground_range": np.log(0.1 + _spread(ground, starts, 95, 5) / level),
        "white_ground_rank": _rank(median_each(ground, starts), white),
        "white_grain_rank": np.log(level / max(white.grain_median, 1e-3)),
        "white_ahead_step": np.log(0.1 + np.maximum(*ahead) / level),
    }


def _edges(own: _Sampled, lamp: Surroundings, diameter: float) -> dict[str, Values]:
    """Shares of the lines, and of their continuations, that lie on straight edges, and on turned ones."""
    sigma, starts = own.unit, own.starts
    on, longest = on_segments(own.path, own.tangent, starts, lamp.segments, 2.5 * sigma)
    ahead = [
        mean_each(on_segments(p.path, p.tangent, p.starts, lamp.segments, 3 * sigma)[0], p.starts)
        for p in own.ahead
    ]
    few = own.every(np.maximum(1, np.diff(starts) // 24))
    crossed = crossings(own.path, starts, lamp.segments, max(1, round(2 * sigma)), 6 * sigma)
    on_turned, _ = on_segments(few.path, few.tangent, few.starts, lamp.symmetric, 0.012 * diameter)
    return {
        "edges": mean_each(on, starts),
        "edges_ahead": np.maximum(*ahead),
        "edges_long": longest / diameter,
        "symmetry": mean_each(on_turned, few.starts),
        "family": lamp.families.share(few.path, few.tangent, few.starts),
        "crossed": crossed / np.maximum(1.0, own.length / (0.1 * diameter)),
    }


def _girdle(own: _Sampled, outline: Outline, diameter: float) -> dict[str, Values]:
    """Where the lines lie within the outline."""
    closed = np.concatenate([outline.points, outline.points[:1]])
    at = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))))
    where = np.linspace(0, at[-1], 721)[:-1]
    points = np.stack([np.interp(where, at, closed[:, 0]), np.interp(where, at, closed[:, 1])], axis=1)
    tangent = unit(np.roll(points, -2, axis=0) - np.roll(points, 2, axis=0))
    found, nearest = cKDTree(points).query(own.path)
    distance = np.asarray(found, np.float64)
    outward = unit(own.path - np.array(outline.centre))
    along = mean_each(np.abs((tangent[nearest] * own.tangent).sum(axis=1)), own.starts)
    inside = median_each(distance, own.starts) / diameter
    return {
        "inside": inside,
        "inside_least": np.minimum.reduceat(distance, own.starts[:-1]) / diameter,
        "along_girdle": along,
        "ring": along * np.exp(-inside / 0.05),
        "radial": mean_each(np.abs((outward * own.tangent).sum(axis=1)), own.starts),
    }


def _diameter(outline: Outline) -> float:
    x, y = outline.points.T
    return 2 * math.sqrt(abs(float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())) / 2 / math.pi)
