"""The mean cut across a line, under both lamps: what stands on either side of it, and does it last?

A fissure is a ridge on one ground, bright under blue light; where a facet ends, the ground has two levels;
a worn edge is both. The cuts are read once for all lines.
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.light import Plane
from setstone.measure.lines import Line

Values = NDArray[np.float64]

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
    absent: float,
) -> Values:
    """Describe the cuts across each line.

    Parameters
    ----------
    lines : sequence of Line
    plane, white : (H, W) float32 array
        The picture the lines were found in and the one under the other lamp, encoded grey levels.
    grain, white_grain : (H, W) float32 array
        Their local grain (`setstone.measure.lines.local_grain`).
    sigma : float
        Of the finest filter, in pixels.
    absent : float
        Stands in for what the missing lamp would tell.

    Returns
    -------
    (N, len(PROFILE_NAMES) + len(WHITE_PROFILE_NAMES)) float64 array
    """
    n = len(lines)
    table = np.full((n, len(PROFILE_NAMES) + len(WHITE_PROFILE_NAMES)), absent)
    if not n:
        return table
    points, normal, starts = _stations(lines, sigma)
    counts = np.diff(np.append(starts, len(points)))
    owner = np.repeat(np.arange(n), counts)
    part = owner * PARTS + (np.arange(len(points)) - starts[owner]) * PARTS // counts[owner]

    cuts = _cuts(plane, points, normal, sigma)
    mean = _means(cuts, owner, n)
    level = np.maximum(_means(_at(grain, points)[:, None], owner, n)[:, 0], 1e-3)
    # The brighter side always comes first: a line has no direction.
    flip = mean[:, :CENTRE].mean(axis=1) < mean[:, CENTRE + 1 :].mean(axis=1)
    rise = np.arcsinh((mean[:, CENTRE, None] - _sided(mean, flip)) / level[:, None])
    parts = _means(cuts, part, n * PARTS).reshape(n, PARTS, -1)
    contrast = _contrast(parts)
    whole = _contrast(mean)
    length = np.array([line.length_px for line in lines]) / sigma
    strength = np.log(np.maximum(np.abs(whole) / level, 0.1)) + 0.5 * np.log(length)
    grey = np.array([np.median(np.abs(line.contrast)) for line in lines])
    step = _step(parts)
    column = 2 * len(ACROSS)
    table[:, :column] = rise
    table[:, column] = contrast.min(axis=1) / np.maximum(np.abs(whole), 0.3)
    table[:, column + 1] = contrast.std(axis=1) / np.maximum(np.abs(whole), 0.3)
    table[:, column + 2] = np.abs(step.mean(axis=1)) / np.maximum(np.abs(step).mean(axis=1), 0.1)
    table[:, column + 3] = strength
    table[:, column + 4] = _rank(strength)
    table[:, column + 5] = _rank(grey)
    table[:, column + 6] = np.arcsinh(np.abs(_far_step(mean)) / level)
    # Share of stations where something as bright as the line itself lies beside it.
    beside = np.maximum(
        cuts[:, [CENTRE - 1 - k for k in FAR]].max(axis=1), cuts[:, [CENTRE + 1 + k for k in FAR]].max(axis=1)
    )
    table[:, column + 7] = _means((beside > cuts[:, CENTRE])[:, None].astype(np.float64), owner, n)[:, 0]
    if white is None or white_grain is None:
        return table
    cuts = _cuts(white, points, normal, sigma)
    mean = _means(cuts, owner, n)
    level = np.maximum(_means(_at(white_grain, points)[:, None], owner, n)[:, 0], 1e-3)
    column = len(PROFILE_NAMES)
    table[:, column : column + 2 * len(ACROSS)] = np.arcsinh(
        (mean[:, CENTRE, None] - _sided(mean, flip)) / level[:, None]
    )
    column += 2 * len(ACROSS)
    parts = _means(cuts, part, n * PARTS).reshape(n, PARTS, -1)
    signed = _contrast(parts) / level[:, None]
    table[:, column] = np.arcsinh(signed.min(axis=1))
    table[:, column + 1] = np.arcsinh(signed.max(axis=1))
    table[:, column + 2] = np.arcsinh(_far_step(mean) * np.where(flip, -1, 1) / level)
    table[:, column + 3] = np.arcsinh(np.abs(_far_step(mean)) / level)
    return table


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


def _at(plane: Plane, points: Values) -> Values:
    x = np.clip(np.rint(points[:, 0]).astype(int), 0, plane.shape[1] - 1)
    y = np.clip(np.rint(points[:, 1]).astype(int), 0, plane.shape[0] - 1)
    return np.asarray(plane[y, x], np.float64)


def _means(values: Values, owner: NDArray[np.int64], count: int) -> Values:
    total = np.stack([np.bincount(owner, column, count) for column in values.T], axis=1)
    return np.asarray(total / np.maximum(np.bincount(owner, minlength=count), 1)[:, None])


def _sided(mean: Values, flip: NDArray[np.bool_]) -> Values:
    """Levels on the brighter side, from the line outwards, then on the darker one."""
    left, right = mean[:, CENTRE - 1 :: -1], mean[:, CENTRE + 1 :]
    return np.concatenate(
        [np.where(flip[:, None], right, left), np.where(flip[:, None], left, right)], axis=1
    )


def _contrast(cut: Values) -> Values:
    """Height of the line above its higher near flank."""
    left = np.mean([cut[..., CENTRE - 1 - k] for k in NEAR], axis=0)
    right = np.mean([cut[..., CENTRE + 1 + k] for k in NEAR], axis=0)
    return np.asarray(cut[..., CENTRE] - np.maximum(left, right))


def _step(cut: Values) -> Values:
    left = np.mean([cut[..., CENTRE - 1 - k] for k in NEAR], axis=0)
    right = np.mean([cut[..., CENTRE + 1 + k] for k in NEAR], axis=0)
    return np.asarray(left - right)


def _far_step(cut: Values) -> Values:
    left = np.mean([cut[..., CENTRE - 1 - k] for k in FAR], axis=0)
    right = np.mean([cut[..., CENTRE + 1 + k] for k in FAR], axis=0)
    return np.asarray(left - right)


def _rank(values: Values) -> Values:
    """Share of the others that are smaller."""
    return np.asarray(np.searchsorted(np.sort(values), values) / max(len(values) - 1, 1), np.float64)
