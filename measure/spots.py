"""Spots: compact bodies darker (or brighter) than what surrounds them, found at every size.

Finding is generous and judging is done elsewhere: what is returned here is every compact body that
stands out from its surroundings on all sides, on dark facets as on inclusions.

Method. A Laplacian-of-Gaussian pyramid proposes places and sizes (Lindeberg 1998, Feature
detection with automatic scale selection, IJCV 30:79; image halved every octave, three sizes per
octave). Each proposal is then flooded from its darkest pixel in order of darkness, as in a
component tree (Salembier et al. 1998, IEEE TIP 7:555; Vincent 1993, area closing): the level at which the
flood runs away is the pass to the surroundings, and what has been flooded half way up to it is the
body. A line, an edge or a corner runs away at once, since it goes on beside the proposal.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numba import njit
from numpy.typing import NDArray

from setstone.measure.contours import extent, longest_contour
from setstone.measure.light import Plane

#: A blurred disc smaller than this has no shape of its own any more.
SMALLEST_PX = 3.0
SIZES_PER_OCTAVE = 3
#: Blur of a sharp edge in a good photograph (lens, pixel and demosaicing together), standard deviation.
SHARPEST_PX = 0.7
#: Least response in spreads of the grain; a disc answers with 0.74 of its contrast, and the chance
#: maxima of white noise stay below 1.6.
ABOVE_GRAIN = 2.5
#: No picture is taken to be freer of noise than half a step of eight bits, as a share of its range.
GRAIN_OF_RANGE = 0.002
#: The pass to the surroundings stands at least this share of the contrast above the body. Lines and
#: corners stay below 0.1; a body that lies across the edge of a facet can come down to 0.3.
LEAST_PASS = 0.25
#: Rows done at a time, and the rows beside them that blurring needs; multiples of four.
STRIP, STRIP_MARGIN = 256, 32
#: What outlines are drawn on is blurred so much, in pixels: noise would fray them.
EDGE_BLUR = 0.6
LONGEST = 4.0  # elongation: longer ones are lines


@dataclass(frozen=True, eq=False)
class Spot:
    """A compact body, in pixels; (0, 0) is the centre of the first pixel.

    Parameters
    ----------
    centre : (float, float)
        Centroid x, y of the body, in pixels.
    diameter_px : float
        Diameter of the disc of equal area, in pixels.
    elongation : float
        Longest by shortest axis of the ellipse of equal second moments, 1 or more.
    contrast : float
        Difference to the surroundings in units of the plane; positive for what was looked for.
    outline : (M, 2) float64 array
        Closed outline x, y half way between body and surroundings; the last vertex joins the first.
    edge : float
        Median slope across the outline, in units of the plane per pixel: small for a vague shade.
    """

    centre: tuple[float, float]
    diameter_px: float
    elongation: float
    contrast: float
    outline: NDArray[np.float64]
    edge: float


def find_spots(
    plane: Plane,
    *,
    um_per_px: float,
    smallest_um: float = 10.0,
    largest_um: float = 250.0,
    dark: bool = True,
    mask: NDArray[np.bool_] | None = None,
) -> tuple[Spot, ...]:
    """Find compact bodies of all sizes in a picture, most contrasting first.

    Parameters
    ----------
    plane : (H, W) float32 array
        One channel or a mixture, in any unit.
    um_per_px : float
        Size of a pixel in micrometres. Give 1 to state the sizes in pixels.
    smallest_um, largest_um : float
        Range of diameters looked for, in micrometres. Below three pixels nothing is looked for.
    dark : bool
        Look for what is darker than its surroundings (else for what is brighter).
    mask : (H, W) bool array, optional
        Centres lie inside it.

    Returns
    -------
    tuple of Spot
        Empty where nothing stands out.
    """
    least = max(smallest_um / um_per_px, SMALLEST_PX)
    most = largest_um / um_per_px
    if most < least or min(plane.shape) < 8:
        return ()
    base = np.asarray(plane, np.float32) if dark else -np.asarray(plane, np.float32)
    pyramid = _pyramid(base, least, most)
    smooth = [np.asarray(cv2.GaussianBlur(level, (0, 0), EDGE_BLUR), np.float32) for level in pyramid]
    visible = 2 * GRAIN_OF_RANGE * float(np.ptp(base))
    found: list[Spot] = []
    for octave, level in enumerate(pyramid):
        reduction = 2**octave
        smallest = max(SMALLEST_PX, least / reduction) if octave == 0 else SMALLEST_PX
        seeds = _seeds(level, smallest, most / reduction)
        if mask is not None:
            seeds = seeds[_inside(mask, _to_finer(seeds[:, :2], reduction))]
        # Bodies are outlined one octave finer than they were found: 6 to 12 pixels across.
        finer = max(octave - 1, 0)
        ratio = reduction / 2**finer
        places, diameters = _to_finer(seeds[:, :2], ratio), seeds[:, 2] * ratio
        outlines, measured = _outlined(pyramid[finer], smooth[finer], places, diameters)
        if finer:
            size = 2**finer
            outlines = [_to_finer(outline, size) for outline in outlines]
            measured[:, :2] = _to_finer(measured[:, :2], size)
            measured *= 1, 1, size, 1, 1, 1 / size
        for outline, (x, y, diameter, elongation, contrast, edge) in zip(
            outlines, measured.tolist(), strict=True
        ):
            if contrast > visible and diameter <= 1.3 * most:
                found.append(Spot((x, y), diameter, elongation, contrast, outline, edge))
    return _each_once(found)


def _to_finer(coordinates: NDArray[np.float64], ratio: float) -> NDArray[np.float64]:
    """Coordinates in a picture that is `ratio` times larger; pixel centres are whole numbers."""
    return (coordinates + 0.5) * ratio - 0.5


def _inside(mask: NDArray[np.bool_], points: NDArray[np.float64]) -> NDArray[np.bool_]:
    columns, rows = np.rint(points).astype(np.intp).T
    return mask[rows.clip(0, mask.shape[0] - 1), columns.clip(0, mask.shape[1] - 1)]


def _pyramid(base: Plane, least: float, most: float) -> list[Plane]:
    """Halve the picture as often as there are octaves of size."""
    levels = [base]
    widest = 2 * max(SMALLEST_PX, least)
    while widest < most and min(levels[-1].shape) >= 12:
        # An odd last row or column goes: it would stretch the rest by a part of a pixel.
        height, width = (n // 2 for n in levels[-1].shape)
        even = levels[-1][: 2 * height, : 2 * width]
        half = cv2.resize(even, (width, height), interpolation=cv2.INTER_AREA)
        levels.append(np.asarray(half, np.float32))
        widest = SMALLEST_PX * 2 ** len(levels)
    return levels


def _seeds(level: Plane, smallest: float, most: float) -> NDArray[np.float64]:
    """Peaks of the scale-normalised Laplacian over one octave of sizes: (N, 3), x, y and diameter.

    Done in strips of rows, so that all that is held fits the processor's cache.
    """
    threshold = _threshold(level)
    peaks: list[tuple[float, float, float]] = []
    height = level.shape[0]
    for top in range(0, height, STRIP):
        first, last = max(0, top - STRIP_MARGIN), min(height, top + STRIP + STRIP_MARGIN)
        for x, y, diameter in _strip_seeds(level[first:last], threshold[first // 4 :], smallest, most):
            if top <= y + first < top + STRIP:
                peaks.append((x, y + first, diameter))
    return np.array(peaks).reshape(-1, 3)


def _strip_seeds(
    strip: Plane, threshold: Plane, smallest: float, most: float
) -> list[tuple[float, float, float]]:
    """Peaks x, y, diameter within some rows of a picture."""
    step = 2 ** (1 / SIZES_PER_OCTAVE)
    diameters = [smallest * step**k for k in range(-1, SIZES_PER_OCTAVE + 1)]
    blurred = strip
    has = 0.5  # a camera's picture is never sharper than this, in pixels
    responses: list[Plane] = []
    peaks: list[tuple[float, float, float]] = []
    for index, diameter in enumerate(diameters):
        sigma = diameter / (2 * math.sqrt(2))
        if sigma > has:
            further = math.sqrt(sigma**2 - has**2)
            blurred = np.asarray(cv2.GaussianBlur(blurred, (0, 0), further), np.float32)
            has = sigma
        responses.append(_laplacian(blurred, sigma**2))
        if index < 2:
            continue
        below, here, above = responses[-3:]
        middle = diameters[index - 1]
        if middle > most:
            break
        for x, y, scale in _peaks(below, here, above, threshold, step):
            peaks.append((x, y, middle * scale))
        responses = responses[-2:]
    return peaks


def local_grain(level: Plane) -> Plane:
    """Spread of noise and fine grain around each place, blind to edges and spots.

    The median, over some 28 px, of what a slight blur takes away.

    Parameters
    ----------
    level : (H, W) float32 array

    Returns
    -------
    (H, W) float32 array
        Standard deviation, in units of the picture.
    """
    height, width = level.shape
    return np.asarray(
        cv2.resize(_coarse_grain(level), (width, height), interpolation=cv2.INTER_LINEAR), np.float32
    )


def _coarse_grain(level: Plane) -> Plane:
    """`local_grain` at a quarter of the size, shape (ceil(H/4), ceil(W/4))."""
    fine = _unlike_blurred(level, cv2.getGaussianKernel(9, 1.0, cv2.CV_32F).ravel())
    # The fast median filter knows 256 steps: 1/32 of the picture's own middle, up to eight times it.
    least = GRAIN_OF_RANGE * float(np.ptp(level)) + 1e-12
    step = max(float(np.median(fine)), least) / 32
    coarse = cv2.medianBlur(cv2.convertScaleAbs(fine, alpha=1 / step), 7)
    # 1.4826: median to standard deviation; 1.2: the blur leaves 1/1.2 of white noise out.
    return np.asarray(np.maximum(coarse * np.float32(1.4826 * 1.2 * step), least), np.float32)


@njit(cache=True, nogil=True)
def _unlike_blurred(level: Plane, weights: Plane) -> Plane:  # pragma: no cover - compiled
    """What a blur takes away, at every fourth row and column; the border is reflected."""
    height, width = level.shape
    reach = len(weights) // 2
    out = np.empty(((height + 3) // 4, (width + 3) // 4), np.float32)
    rows = np.empty(width + 2 * reach, np.float32)
    for i in range(out.shape[0]):
        rows[:] = np.float32(0)
        middle = rows[reach : reach + width]
        for k in range(len(weights)):
            source = level[_reflected(4 * i + k - reach, height)]
            weight = weights[k]
            for j in range(width):
                middle[j] += weight * source[j]
        for k in range(1, reach + 1):
            rows[reach - k] = middle[_reflected(-k, width)]
            rows[reach + width - 1 + k] = middle[_reflected(width - 1 + k, width)]
        here = level[4 * i]
        for j in range(out.shape[1]):
            blurred = np.float32(0)
            for k in range(len(weights)):
                blurred += weights[k] * rows[4 * j + k]
            out[i, j] = abs(here[4 * j] - blurred)
    return out


@njit(cache=True, nogil=True)
def _reflected(at: int, size: int) -> int:  # pragma: no cover - compiled
    """Index mirrored at the first and last pixel, which are not repeated."""
    while at < 0 or at >= size:
        at = -at if at < 0 else 2 * (size - 1) - at
    return at


def _threshold(level: Plane) -> Plane:
    return _coarse_grain(level) * np.float32(ABOVE_GRAIN)


@njit(cache=True, nogil=True)
def _laplacian(blurred: Plane, scale: float) -> Plane:  # pragma: no cover - compiled
    height, width = blurred.shape
    out = np.zeros((height, width), np.float32)
    for i in range(1, height - 1):
        for j in range(1, width - 1):
            out[i, j] = np.float32(scale) * (
                blurred[i - 1, j]
                + blurred[i + 1, j]
                + blurred[i, j - 1]
                + blurred[i, j + 1]
                - np.float32(4) * blurred[i, j]
            )
    return out


@njit(cache=True, nogil=True)
def _peaks(
    below: Plane, here: Plane, above: Plane, threshold: Plane, step: float
) -> list[tuple[float, float, float]]:  # pragma: no cover - compiled
    """Maxima among 26 neighbours, set between pixels by parabolas in x, y and the logarithm of size."""
    found = []
    height, width = here.shape
    limit = np.empty(width, np.float32)
    # Looked through eight at a time: few pixels stand out.
    eights = np.zeros((width + 7) // 8, np.uint64)
    stands_out = eights.view(np.uint8)
    for i in range(2, height - 2):
        row, before, after, limits = here[i], here[i - 1], here[i + 1], threshold[i // 4]
        if i % 4 == 0 or i == 2:
            for j in range(width):
                limit[j] = limits[j >> 2]
        # Without a branch, so that many pixels are compared at once.
        for j in range(2, width - 2):
            v = row[j]
            stands_out[j] = (
                (v > limit[j]) & (v >= row[j - 1]) & (v > row[j + 1]) & (v >= before[j]) & (v > after[j])
            )
        for eight in range(len(eights)):
            if not eights[eight]:
                continue
            for j in range(8 * eight, 8 * eight + 8):
                if stands_out[j] and _is_peak(below, here, above, i, j):
                    v = row[j]
                    x = j + _vertex(row[j - 1], v, row[j + 1])
                    y = i + _vertex(before[j], v, after[j])
                    found.append((x, y, step ** _vertex(below[i, j], v, above[i, j])))
    return found


@njit(cache=True, nogil=True)
def _is_peak(below: Plane, here: Plane, above: Plane, i: int, j: int) -> bool:  # pragma: no cover - compiled
    v = here[i, j]
    if v < below[i, j] or v <= above[i, j]:
        return False
    for row in range(i - 1, i + 2):
        for column in range(j - 1, j + 2):
            if below[row, column] > v or above[row, column] > v or here[row, column] > v:
                return False
    return True


@njit(cache=True, nogil=True)
def _vertex(before: float, at: float, after: float) -> float:  # pragma: no cover - compiled
    curvature = before - 2 * at + after
    if curvature >= 0:
        return 0.0
    return min(0.5, max(-0.5, 0.5 * (before - after) / curvature))


@njit(cache=True, nogil=True)
def _flood(
    window: Plane, raw: Plane, column: float, row: float, radius: float, limit: int, inside: NDArray[np.uint8]
) -> tuple[float, float]:  # pragma: no cover - compiled
    """Flood from the darkest pixel within half a radius of a place; return body and pass levels.

    Pixels are taken in order of darkness from the border of what is flooded (a heap), until more
    than `limit` are or the border of the window is reached. `inside` becomes 1 for the body, which
    is what lies half way below the pass and hangs together with the start.
    """
    height, width = window.shape
    start_i, start_j = -1, -1
    lowest = np.inf
    reach = max(1.0, radius / 2)
    for i in range(max(1, int(row - reach)), min(height - 1, int(row + reach) + 2)):
        for j in range(max(1, int(column - reach)), min(width - 1, int(column + reach) + 2)):
            if (i - row) ** 2 + (j - column) ** 2 <= reach**2 + 1 and window[i, j] < lowest:
                lowest = window[i, j]
                start_i, start_j = i, j
    inside[:] = 0
    if start_i < 0:
        return 0.0, 0.0
    values = np.empty(height * width, np.float32)
    places = np.empty(height * width, np.int32)
    taken = np.empty(limit + 1, np.int32)
    seen = np.zeros(height * width, np.uint8)
    size = 1
    values[0] = window[start_i, start_j]
    places[0] = start_i * width + start_j
    seen[places[0]] = 1
    water = window[start_i, start_j]
    count = 0
    while size > 0:
        value = values[0]
        place = places[0]
        size -= 1
        hole = 0  # sift the last entry down
        last, last_place = values[size], places[size]
        while True:
            child = 2 * hole + 1
            if child >= size:
                break
            if child + 1 < size and values[child + 1] < values[child]:
                child += 1
            if values[child] >= last:
                break
            values[hole], places[hole] = values[child], places[child]
            hole = child
        values[hole], places[hole] = last, last_place
        if value > water:
            water = value
        i, j = place // width, place % width
        if count >= limit or i == 0 or j == 0 or i == height - 1 or j == width - 1:
            break
        taken[count] = place
        count += 1
        for k in range(4):
            ni = i + (k == 0) - (k == 1)
            nj = j + (k == 2) - (k == 3)
            near = ni * width + nj
            if seen[near]:
                continue
            seen[near] = 1
            hole = size  # sift the new entry up
            size += 1
            new = window[ni, nj]
            while hole > 0:
                parent = (hole - 1) // 2
                if values[parent] <= new:
                    break
                values[hole], places[hole] = values[parent], places[parent]
                hole = parent
            values[hole], places[hole] = new, near
    darkest = max(1, min(count, int(0.6 * radius * radius)))
    body = 0.0
    for k in range(darkest):
        body += raw[taken[k] // width, taken[k] % width]
    body /= darkest
    middle = (window[start_i, start_j] + water) / 2
    # `taken` is in order of flooding: the body is what came before the water first passed the middle.
    for k in range(count):
        i, j = taken[k] // width, taken[k] % width
        if window[i, j] > middle:
            break
        inside[i, j] = 1
    return body, water


@njit(cache=True, nogil=True)
def _outlined(
    level: Plane, smooth: Plane, places: NDArray[np.float64], diameters: NDArray[np.float64]
) -> tuple[list[NDArray[np.float64]], NDArray[np.float64]]:  # pragma: no cover - compiled
    """Outline the bodies around proposals; those through which the surroundings run are left out.

    All in one call: there are thousands of proposals in a photograph. Beside the outlines, a row of each: centre x, y,
    diameter, elongation, contrast and slope of the edge.
    """
    outlines = [np.zeros((0, 2)) for _ in range(0)]
    measured = np.empty((len(places), 6))
    for place, diameter in zip(places, diameters):  # noqa: B905 unknown to the compiler
        radius = diameter / 2
        reach = math.ceil(1.5 * diameter) + 5
        column, row = int(np.rint(place[0])), int(np.rint(place[1]))
        left, top = max(0, column - reach), max(0, row - reach)
        raw = level[top : row + reach + 1, left : column + reach + 1].copy()
        window = smooth[top : row + reach + 1, left : column + reach + 1].copy()
        if min(raw.shape) < 5:
            continue
        limit = math.ceil(math.pi * (1.6 * radius + 2) ** 2)
        (found, body, contrast, around, area, cx, cy, elongation), rimmed = _body(
            window, raw, place[0] - left, place[1] - top, radius, limit
        )
        if not found or elongation > LONGEST:
            continue
        outline = longest_contour(window, rimmed, (body + around) / 2)
        if not len(outline):
            continue
        edge = _slope(window, outline)
        outline[:, 0] += left
        outline[:, 1] += top
        size = undimmed(2 * math.sqrt(area / math.pi))
        measured[len(outlines)] = (cx + left, cy + top, size, elongation, contrast, edge)
        outlines.append(outline)
    return outlines, measured[: len(outlines)]


@njit(cache=True, nogil=True)
def _body(
    window: Plane, raw: Plane, column: float, row: float, radius: float, limit: int
) -> tuple[
    tuple[bool, float, float, float, float, float, float, float], NDArray[np.uint8]
]:  # pragma: no cover - compiled
    """Flood a body and weigh it.

    Returns whether it is one, its level and what `_weighed` returns, and the body with one pixel around it.
    """
    inside = np.zeros(window.shape, np.uint8)
    body, water = _flood(window, raw, column, row, radius, limit, inside)
    count = int(inside.sum())
    if water <= body or count < 4:
        return (False, body, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0), inside
    # Surroundings: a ring that keeps clear of the body's own blurred edge. There is nothing to see beyond it.
    clear, wide = 2, max(2, int(np.rint(0.5 * math.sqrt(count / math.pi))))
    top, bottom, left, right = extent(inside)
    top, left = max(0, top - clear - wide), max(0, left - clear - wide)
    part = slice(top, bottom + clear + wide), slice(left, right + clear + wide)
    small = inside[part].copy()
    near = _widened(small, clear)
    far = _widened(near, wide)
    found, contrast, around, area, cx, cy, elongation = _weighed(raw[part], near, far, body, water)
    inside[part] = _widened(small, 1)
    return (found, body, contrast, around, area, cx + left, cy + top, elongation), inside


@njit(cache=True, nogil=True)
def _widened(mask: NDArray[np.uint8], radius: int) -> NDArray[np.uint8]:  # pragma: no cover - compiled
    """Dilate a small mask by a disc, run of pixels by run."""
    height, width = mask.shape
    out = np.zeros(mask.shape, np.uint8)
    for i in range(height):
        j = 0
        while j < width:
            if not mask[i, j]:
                j += 1
                continue
            first = j
            while j < width and mask[i, j]:
                j += 1
            for row in range(max(0, i - radius), min(height, i + radius + 1)):
                half = int(np.rint(math.sqrt(radius**2 - (row - i) ** 2)))
                for k in range(max(0, first - half), min(width, j + half)):
                    out[row, k] = 1
    return out


@njit(cache=True, nogil=True)
def _weighed(
    raw: Plane, near: NDArray[np.uint8], far: NDArray[np.uint8], body: float, water: float
) -> tuple[bool, float, float, float, float, float, float]:  # pragma: no cover - compiled
    """Weigh a body against its surroundings (what is `far` and not `near`), pixel by pixel.

    Returns whether it is one, its contrast, the level around it, area, centroid x, y and elongation.
    """
    none = (False, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0)
    height, width = raw.shape
    ring = np.empty(height * width, np.float32)
    size = 0
    for i in range(height):
        for j in range(width):
            if far[i, j] and not near[i, j]:
                ring[size] = raw[i, j]
                size += 1
    if size < 8:
        return none
    values = np.sort(ring[:size])
    around = float((values[(size - 1) // 2] + values[size // 2]) / np.float32(2))
    contrast = around - body
    if contrast <= 0 or water - body < LEAST_PASS * contrast:
        return none
    # Each pixel counts by the share of it that is body; beyond the pass it is none of it.
    level = min(around, water) if water < body + 0.8 * contrast else around
    top, depth = np.float32(level), np.float32(level - body)
    area = sx = sy = 0.0
    for i in range(height):
        for j in range(width):
            if near[i, j]:
                share = float(min(max((top - raw[i, j]) / depth, np.float32(0)), np.float32(1)))
                area += share
                sx += share * j
                sy += share * i
    if area < 3:
        return none
    cx, cy = sx / area, sy / area
    sxx = syy = sxy = 0.0
    for i in range(height):
        for j in range(width):
            if near[i, j]:
                share = float(min(max((top - raw[i, j]) / depth, np.float32(0)), np.float32(1)))
                # 1/12: a pixel has an extent of its own.
                sxx += share * ((j - cx) ** 2 + 1 / 12)
                syy += share * ((i - cy) ** 2 + 1 / 12)
                sxy += share * (j - cx) * (i - cy)
    sxx, syy, sxy = sxx / area, syy / area, sxy / area
    spread = math.hypot((sxx - syy) / 2, sxy)
    elongation = math.sqrt(((sxx + syy) / 2 + spread) / max((sxx + syy) / 2 - spread, 1e-3))
    return True, contrast, level, area, cx, cy, elongation


@njit(cache=True, nogil=True)
def _slope(window: Plane, outline: NDArray[np.float64]) -> float:  # pragma: no cover - compiled
    """Median slope of a window along an outline, per pixel."""
    slopes = np.empty(len(outline), np.float32)
    for k in range(len(outline)):
        i = min(max(int(np.rint(outline[k, 1])), 1), window.shape[0] - 2)
        j = min(max(int(np.rint(outline[k, 0])), 1), window.shape[1] - 2)
        slopes[k] = math.hypot(window[i, j + 1] - window[i, j - 1], window[i + 1, j] - window[i - 1, j])
    slopes.sort()
    n = len(slopes)
    return float((slopes[(n - 1) // 2] + slopes[n // 2]) / np.float32(2)) / 2


@njit(cache=True, nogil=True)
def undimmed(diameter: float) -> float:  # pragma: no cover - compiled
    """Diameter of a disc whose middle is dimmed by blur, which made its depth too small.

    Blur by sigma leaves the share 1 - exp(-r^2 / 2 sigma^2) of a disc's depth at its centre, so that
    area by depth comes out larger by its inverse.
    """
    true = diameter
    for _ in range(4):
        true = diameter * math.sqrt(1 - math.exp(-(true**2) / (8 * SHARPEST_PX**2)))
    return true


def _each_once(spots: list[Spot]) -> tuple[Spot, ...]:
    """Of proposals that ran into the same body, the most contrasting."""
    if not spots:
        return ()
    centres = np.array([s.centre for s in spots])
    diameters, contrasts = np.array([(s.diameter_px, s.contrast) for s in spots]).T
    best_first = np.lexsort((centres[:, 1], centres[:, 0], -diameters, -contrasts))
    kept = _first_of_each(centres[best_first], diameters[best_first])
    return tuple(spots[k] for k in best_first[kept])


@njit(cache=True, nogil=True)
def _first_of_each(
    centres: NDArray[np.float64], diameters: NDArray[np.float64]
) -> NDArray[np.bool_]:  # pragma: no cover - compiled
    """Tell which spots have none before them that lies on the same body."""
    count = len(centres)
    kept = np.zeros(count, np.bool_)
    # Those kept are held in cells of 32 px, each cell a chain.
    cells = (np.maximum(centres, 0.0) // 32).astype(np.int64)
    last = np.full((cells[:, 1].max() + 3, cells[:, 0].max() + 3), -1)
    before = np.full(count, -1)
    for k in range(count):
        column, row = cells[k, 0] + 1, cells[k, 1] + 1
        alone = True
        for i in range(row - 1, row + 2):
            for j in range(column - 1, column + 2):
                other = last[i, j]
                while other >= 0 and alone:
                    small = min(diameters[other], diameters[k])
                    large = max(diameters[other], diameters[k])
                    apart = math.hypot(centres[other, 0] - centres[k, 0], centres[other, 1] - centres[k, 1])
                    alone = apart >= 0.35 * small + 0.35 * min(large, 3.0)
                    other = before[other]
        if alone:
            kept[k] = True
            before[k] = last[row, column]
            last[row, column] = k
    return kept
