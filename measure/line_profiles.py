"""The mean cut across a line, under both lamps: what stands on either side of it, and whether it lasts.

A fissure is a ridge on one ground, bright under blue light; where a facet ends, the ground has two levels;
a worn edge is both. The cuts are read once for all lines.
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.light import Plane
from setstone.measure.lines import Line
from setstone.measure.runs import Values, nearest

#: Distances from the centre line at which a cut is read, in multiples of the finest filter's sigma.
ACROSS = (1.5, 3.0, 4.5, 6.5, 9.0, 12.0)
OFFSETS = np.array([-o for o in reversed(ACROSS)] + [0.0, *ACROSS])
CENTRE = len(ACROSS)
#: The nearest and the further flanks.
NEAR, FAR = (2, 3), (4, 5)
#: Parts of the line that are looked at one by one.
PARTS = 4

PROFILE_NAMES = (
    *(f"cut_bright_{k}" for k in range(len(ACROSS))),
    *(f"cut_dark_{k}" for k in range(len(ACROSS))),
    "part_least", "part_spread", "part_step", "strength", "strength_rank", "grey_rank", "far_step", "outshone",
)  # fmt: skip
WHITE_PROFILE_NAMES = (
    *(f"white_cut_bright_{k}" for k in range(len(ACROSS))),
    *(f"white_cut_dark_{k}" for k in range(len(ACROSS))),
    "white_part_least", "white_part_most", "white_same_side", "white_far_step",
)  # fmt: skip


def profile_features(
    lines: Sequence[Line],
    plane: Plane,
    grain: Plane,
    white: Plane | None,
    white_grain: Plane | None,
    *,
    sigma: float,
) -> dict[str, Values]:
    """Describe the cuts across each line.

    Parameters
    ----------
    lines : sequence of Line
        At least one.
    plane, white : (H, W) float32 array
        The picture the lines were found in and the one under the other lamp, encoded grey levels.
    grain, white_grain : (H, W) float32 array
        Their local grain (`setstone.measure.lines.local_grain`).
    sigma : float
        Of the finest filter, in pixels.

    Returns
    -------
    dict of (N,) float64 array
        By the names in `PROFILE_NAMES` and, with a white picture, `WHITE_PROFILE_NAMES`.
    """
    n = len(lines)
    points, normal, starts = _stations(lines, sigma)
    counts = np.diff(np.append(starts, len(points)))
    owner = np.repeat(np.arange(n), counts)
    part = owner * PARTS + (np.arange(len(points)) - starts[owner]) * PARTS // counts[owner]

    cuts = _cuts(plane, points, normal, sigma)
    mean, level, parts = _levels(cuts, nearest(grain, points), owner, part, n)
    # The brighter side always comes first: a line has no direction.
    flip = mean[:, :CENTRE].mean(axis=1) < mean[:, CENTRE + 1 :].mean(axis=1)
    contrast, whole, step = _contrast(parts), np.maximum(np.abs(_contrast(mean)), 0.3), _step(parts, NEAR)
    length = np.array([line.length_px for line in lines]) / sigma
    strength = np.log(np.maximum(np.abs(_contrast(mean)) / level, 0.1)) + 0.5 * np.log(length)
    further = [CENTRE - 1 - k for k in FAR] + [CENTRE + 1 + k for k in FAR]
    outshone = (cuts[:, further].max(axis=1) > cuts[:, CENTRE]).astype(np.float64)
    columns = [
        *_rises(mean, level, flip).T,
        contrast.min(axis=1) / whole,
        contrast.std(axis=1) / whole,
        np.abs(step.mean(axis=1)) / np.maximum(np.abs(step).mean(axis=1), 0.1),
        strength,
        _rank(strength),
        _rank(np.array([np.median(np.abs(line.contrast)) for line in lines])),
        np.arcsinh(np.abs(_step(mean, FAR)) / level),
        _means(outshone[:, None], owner, n)[:, 0],
    ]
    features = dict(zip(PROFILE_NAMES, columns, strict=True))
    if white is None or white_grain is None:
        return features
    cuts = _cuts(white, points, normal, sigma)
    mean, level, parts = _levels(cuts, nearest(white_grain, points), owner, part, n)
    signed = _contrast(parts) / level[:, None]
    columns = [
        *_rises(mean, level, flip).T,
        np.arcsinh(signed.min(axis=1)),
        np.arcsinh(signed.max(axis=1)),
        np.arcsinh(_step(mean, FAR) * np.where(flip, -1, 1) / level),
        np.arcsinh(np.abs(_step(mean, FAR)) / level),
    ]
    return features | dict(zip(WHITE_PROFILE_NAMES, columns, strict=True))


def _levels(
    cuts: Values, grain: Values, owner: NDArray[np.int64], part: NDArray[np.int64], count: int
) -> tuple[Values, Values, Values]:
    """Mean cut, grain, and mean cuts of the parts, of each line."""
    level = np.maximum(_means(grain[:, None], owner, count)[:, 0], 1e-3)
    return _means(cuts, owner, count), level, _means(cuts, part, count * PARTS).reshape(count, PARTS, -1)


def _rises(mean: Values, level: Values, flip: NDArray[np.bool_]) -> Values:
    """How far the line stands above the places beside it, from the brighter side's nearest on; in grain."""
    left, right = mean[:, CENTRE - 1 :: -1], mean[:, CENTRE + 1 :]
    sides = [np.where(flip[:, None], right, left), np.where(flip[:, None], left, right)]
    return np.asarray(np.arcsinh((mean[:, CENTRE, None] - np.concatenate(sides, axis=1)) / level[:, None]))


def _stations(lines: Sequence[Line], sigma: float) -> tuple[Values, Values, NDArray[np.int64]]:
    """Points along all lines, about two sigma apart, their normals, and where each line begins."""
    step = max(1, round(1.5 * sigma))
    points, normals, starts, total = [], [], [], 0
    for line in lines:
        path = line.path
        reach = max(2, round(4 * sigma))
        at = np.arange(0, len(path), step)
        if len(at) < PARTS:
            at = np.linspace(0, len(path) - 1, PARTS).astype(int)
        way = path[np.minimum(at + reach, len(path) - 1)] - path[np.maximum(at - reach, 0)]
        way = way / np.maximum(np.hypot(*way.T), 1e-9)[:, None]
        points.append(path[at])
        normals.append(np.stack([-way[:, 1], way[:, 0]], axis=1))
        starts.append(total)
        total += len(at)
    return np.concatenate(points), np.concatenate(normals), np.array(starts, np.int64)


def _cuts(plane: Plane, points: Values, normal: Values, sigma: float) -> Values:
    """Grey levels across the line at each station; (len(points), len(OFFSETS))."""
    smooth = cv2.GaussianBlur(plane, (0, 0), max(0.7, 0.6 * sigma))
    at = points[:, None] + (OFFSETS * sigma)[None, :, None] * normal[:, None]
    pieces = [
        cv2.remap(
            smooth, np.ascontiguousarray(some[..., 0], np.float32), np.ascontiguousarray(some[..., 1], np.float32),
            cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE,
        )
        for some in np.array_split(at, range(30000, len(at), 30000))
    ]  # fmt: skip
    return np.concatenate(pieces).astype(np.float64)


def _means(values: Values, owner: NDArray[np.int64], count: int) -> Values:
    total = np.stack([np.bincount(owner, column, count) for column in values.T], axis=1)
    return np.asarray(total / np.maximum(np.bincount(owner, minlength=count), 1)[:, None])


def _flanks(cut: Values, distances: tuple[int, ...]) -> tuple[Values, Values]:
    left = np.mean([cut[..., CENTRE - 1 - k] for k in distances], axis=0)
    right = np.mean([cut[..., CENTRE + 1 + k] for k in distances], axis=0)
    return np.asarray(left), np.asarray(right)


def _contrast(cut: Values) -> Values:
    """Height of the line above its higher near flank."""
    return np.asarray(cut[..., CENTRE] - np.maximum(*_flanks(cut, NEAR)))


def _step(cut: Values, distances: tuple[int, ...]) -> Values:
    left, right = _flanks(cut, distances)
    return left - right


def _rank(values: Values) -> Values:
    """Share of the others that are smaller."""
    return np.asarray(np.searchsorted(np.sort(values), values) / max(len(values) - 1, 1), np.float64)
