"""From ridge pixels to chains: thin, trace, cut at corners, join across gaps."""

import itertools
import math

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from skimage.measure import label
from skimage.morphology import skeletonize

from setstone.measure.ridges import Ridges

Chain = NDArray[np.float64]

#: A line that turns by more than this within `CORNER_REACH` px is two lines.
CORNER_DEGREES = 50.0
CORNER_REACH = 6
#: Pieces join end to end when both deviate less than this from the line between their ends.
JOIN_DEGREES = 25.0


def ridge_mask(ridges: Ridges, low: NDArray[np.float32], high: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Crest pixels above `low` that hang together with one above `high` (Canny's hysteresis, 1986).

    Parameters
    ----------
    ridges : Ridges
    low, high : (H, W) float32 arrays
        Thresholds in the units of the response.

    Returns
    -------
    (H, W) bool array
        One pixel wide.
    """
    crest = np.zeros(ridges.response.shape, np.bool_)
    _crest(ridges.response, ridges.angle, low, crest)
    thin = skeletonize(crest)
    parts = label(thin, connectivity=2)
    strong = np.zeros(parts.max() + 1, np.bool_)
    strong[parts[thin & (ridges.response > high)]] = True
    strong[0] = False
    return strong[parts]


def chains(mask: NDArray[np.bool_]) -> list[Chain]:
    """Trace a one-pixel-wide mask into ordered chains of pixel centres, cut at every branching.

    Parameters
    ----------
    mask : (H, W) bool array

    Returns
    -------
    list of (N, 2) float64 arrays
        Columns x, y; N >= 2.
    """
    padded = np.pad(mask, 1)
    points = np.empty((int(mask.sum()) * 2 + 2, 2), np.int64)
    ends = np.empty(int(mask.sum()) + 1, np.int64)
    count = _trace(padded, points, ends)
    starts = np.concatenate(([0], ends[:count]))
    return [points[a:b, ::-1].astype(np.float64) - 1 for a, b in itertools.pairwise(starts) if b - a >= 2]


def cut_at_corners(chain: Chain) -> list[Chain]:
    """Cut a chain of neighbouring pixels where its direction changes at once."""
    reach = CORNER_REACH
    if len(chain) < 2 * reach + 3:
        return [chain]
    before = chain[reach:-reach] - chain[: -2 * reach]
    after = chain[2 * reach :] - chain[reach:-reach]
    cosine = (before * after).sum(axis=1) / np.maximum(np.hypot(*before.T) * np.hypot(*after.T), 1e-9)
    turn = np.degrees(np.arccos(np.clip(cosine, -1, 1)))
    cuts = []
    while turn.max() > CORNER_DEGREES:
        k = int(turn.argmax())
        cuts.append(k + reach)
        turn[max(0, k - reach) : k + reach + 1] = 0
    bounds = [0, *sorted(cuts), len(chain) - 1]
    return [chain[a : b + 1] for a, b in itertools.pairwise(bounds) if b - a >= 2]


def join(pieces: list[Chain], reach: float) -> list[Chain]:
    """Join pieces end to end across gaps, the best-aligned pairs first; each end is used once.

    Parameters
    ----------
    pieces : list of (N, 2) float64 arrays
    reach : float
        Widest gap in pixels.

    Returns
    -------
    list of (N, 2) float64 arrays
    """
    if len(pieces) < 2:
        return list(pieces)
    tips = np.array([p[k] for p in pieces for k in (0, -1)])
    away = np.array([_direction(p, end) for p in pieces for end in (0, 1)])
    pairs = cKDTree(tips).query_pairs(reach, output_type="ndarray")
    pairs = pairs[pairs[:, 0] // 2 != pairs[:, 1] // 2]
    if not len(pairs):
        return list(pieces)
    a, b = pairs.T
    gap = tips[b] - tips[a]
    distance = np.hypot(*gap.T)
    near = distance < 3
    toward = gap / np.maximum(distance, 1e-9)[:, None]
    facing = -(away[a] * away[b]).sum(axis=1)
    # Over a gap of a pixel or two the direction from tip to tip says nothing.
    first = np.where(near, facing, (away[a] * toward).sum(axis=1))
    second = np.where(near, facing, -(away[b] * toward).sum(axis=1))
    bend = np.degrees(np.arccos(np.clip(np.minimum(np.minimum(first, second), facing), -1, 1)))
    allowed = JOIN_DEGREES * np.where(near, 1.6, 1.0)
    good = bend < allowed
    order = np.flatnonzero(good)[np.argsort((distance / reach + bend / JOIN_DEGREES)[good], kind="stable")]
    partner = np.full(len(tips), -1)
    for k in order:
        if partner[a[k]] < 0 and partner[b[k]] < 0 and not _closes_ring(partner, int(a[k]), int(b[k])):
            partner[a[k]], partner[b[k]] = b[k], a[k]
    return [_string_together(pieces, partner, tip) for tip in _first_tips(partner)]


def _direction(piece: Chain, end: int) -> NDArray[np.float64]:
    """Unit vector out of the piece at its first (0) or last (1) point."""
    near = piece[::-1] if end else piece
    d = near[0] - near[: min(len(near), 13)][-1]
    return np.asarray(d / max(math.hypot(*d), 1e-9), np.float64)


def _closes_ring(partner: NDArray[np.int64], tip: int, target: int) -> bool:
    """Whether the far end of the string that ends in `tip` is `target`."""
    other = tip ^ 1
    while partner[other] >= 0:
        other = int(partner[other]) ^ 1
    return other == target


def _first_tips(partner: NDArray[np.int64]) -> list[int]:
    """One free tip of each string."""
    seen = np.zeros(len(partner), np.bool_)
    firsts = []
    for tip in range(len(partner)):
        if partner[tip] >= 0 or seen[tip]:
            continue
        firsts.append(tip)
        other = tip ^ 1
        while partner[other] >= 0:
            other = int(partner[other]) ^ 1
        seen[other] = seen[tip] = True
    return firsts


def _string_together(pieces: list[Chain], partner: NDArray[np.int64], tip: int) -> Chain:
    parts = []
    while tip >= 0:
        piece = pieces[tip // 2]
        parts.append(piece[::-1] if tip % 2 else piece)
        tip = int(partner[tip ^ 1])
    return np.concatenate(parts)


@njit(cache=True, nogil=True)
def _crest(response, angle, low, crest):  # type: ignore[no-untyped-def] # pragma: no cover
    """Pixels not lower than the response one pixel to either side, across the line."""
    for y in range(1, response.shape[0] - 1):
        for x in range(1, response.shape[1] - 1):
            value = response[y, x]
            if value <= low[y, x]:
                continue
            dx, dy = -math.sin(angle[y, x]), math.cos(angle[y, x])
            crest[y, x] = value >= _between(response, y + dy, x + dx) and value >= _between(
                response, y - dy, x - dx
            )


@njit(cache=True, nogil=True)
def _between(plane, y, x):  # type: ignore[no-untyped-def] # pragma: no cover
    """Bilinear value inside the plane."""
    i = min(max(int(math.floor(y)), 0), plane.shape[0] - 2)  # noqa: RUF046 -- compiled, a float
    j = min(max(int(math.floor(x)), 0), plane.shape[1] - 2)  # noqa: RUF046
    v, u = y - i, x - j
    return (plane[i, j] * (1 - u) + plane[i, j + 1] * u) * (1 - v) + (
        plane[i + 1, j] * (1 - u) + plane[i + 1, j + 1] * u
    ) * v


@njit(cache=True, nogil=True)
def _trace(mask, points, ends):  # type: ignore[no-untyped-def] # pragma: no cover
    """Write chains one after another into `points` (y, x) and where each ends into `ends`."""
    steps = ((-1, 0), (0, 1), (1, 0), (0, -1), (-1, -1), (-1, 1), (1, 1), (1, -1))
    height, width = mask.shape
    degree = np.zeros((height, width), np.int64)
    for y in range(1, height - 1):
        for x in range(1, width - 1):
            if mask[y, x]:
                # Crossing number (Rutovitz): runs of set neighbours around the pixel.
                ring = (
                    mask[y - 1, x], mask[y - 1, x + 1], mask[y, x + 1], mask[y + 1, x + 1],
                    mask[y + 1, x], mask[y + 1, x - 1], mask[y, x - 1], mask[y - 1, x - 1],
                )  # fmt: skip
                runs = 0
                for k in range(8):
                    if not ring[k - 1] and ring[k]:
                        runs += 1
                degree[y, x] = max(runs, 1)
    free = mask.copy()
    at, count = 0, 0
    for only_ends in (True, False):
        for y in range(1, height - 1):
            for x in range(1, width - 1):
                if not free[y, x] or degree[y, x] > 2 or (only_ends and not _starts(degree, y, x)):
                    continue
                start, cy, cx = at, y, x
                while True:
                    points[at, 0], points[at, 1] = cy, cx
                    at += 1
                    free[cy, cx] = False
                    found = False
                    for dy, dx in steps:
                        if free[cy + dy, cx + dx] and degree[cy + dy, cx + dx] <= 2:
                            cy, cx, found = cy + dy, cx + dx, True
                            break
                    if not found:
                        break
                if at > start:
                    ends[count] = at
                    count += 1
    return count


@njit(cache=True, nogil=True)
def _starts(degree, y, x):  # type: ignore[no-untyped-def] # pragma: no cover
    """Whether a chain ends here: a free end, or next to a branching."""
    if degree[y, x] == 1:
        return True
    for dy in range(-1, 2):
        for dx in range(-1, 2):
            if degree[y + dy, x + dx] > 2:
                return True
    return False
