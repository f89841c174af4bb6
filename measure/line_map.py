"""Map of where lines are, of many widths and over their whole width, in pictures of any kind.

No sub-pixel lines come of it (see `lines.find_lines`), but a value for every pixel: by it the lines found in a stone are
judged (`judge_lines`), and it is what open data sets measure (benchmarks/line_sets.py). Method: the picture is made even
in contrast; at each scale and in each of sixteen directions an elongated filter of Gaussian profile is held
against both flanks (matched filter: Chaudhuri et al. 1989); then each direction is asked whether the line goes
on, by the *geometric* mean of the same answers along it, which a dot or the corner of a texture does not survive
(B-COSFIRE: Azzopardi, Strisciuglio, Vento & Petkov 2015, Med. Image Anal. 19, 46; orientation scores: Franken &
Duits 2009, IJCV 85, 253). The best direction counts, and scales are added up. Nothing is learnt.
"""

import math

import cv2
import numpy as np
from numba import njit
from numpy.typing import NDArray

from setstone.measure.light import Plane
from setstone.measure.lines import FWHM_PER_SIGMA
from setstone.measure.ridges import DIRECTIONS, taps, to_flank

#: Widths looked for: the narrowest and three more, each this much wider than the last.
SCALES, RATIO = 4, 1.6
#: The neighbourhood for even contrast, in widest sigmas.
REACH = 5.0
#: Half length of the first average along the line, and of the second that asks whether it goes on, in sigmas.
ELONGATION, GOES_ON = 4.0, 8.0
#: Distance of the flanks, in sigmas.
FLANK = 2.5
#: How much more the weaker flank counts at each wider scale: beside a step, wide filters see most.
WEAKER_FLANK = 0.2
#: Wider filters answer over more pixels; they count by the width to this power.
BY_WIDTH = -0.3
#: The pixel's own darkness counts as one more scale, by this (Nguyen et al. 2013, Pattern Recognit. 46, 703).
OWN = 0.4
#: What counts as no answer in the geometric mean, in spreads of the picture.
NONE = 0.01
#: Filters wider than this, in pixels, are applied to a reduced picture.
REDUCE_FROM = 1.2
#: Rows done at a time.
BAND = 128


def line_map(
    plane: Plane, *, narrowest_px: float, bright: bool = True, mask: NDArray[np.bool_] | None = None
) -> Plane:
    """How much each pixel looks like part of a line, of any width from the narrowest to some four times it.

    Parameters
    ----------
    plane : (H, W) float32 array
        Any units.
    narrowest_px : float
        Full width at half maximum of the thinnest lines of interest.
    bright : bool
        Bright lines on dark ground; False for dark lines.
    mask : (H, W) bool array, optional
        Where there is a picture; its rim is no line.

    Returns
    -------
    (H, W) float32 array
        0 or more, in spreads of the picture around each place.
    """
    sigmas = [narrowest_px / FWHM_PER_SIGMA * RATIO**k for k in range(SCALES)]
    # The square root makes the noise of photons alike in light and shade (Anscombe 1948).
    picture = np.sqrt(np.asarray(plane, np.float32) - min(0.0, float(plane.min())))
    even = even_contrast(picture, REACH * sigmas[-1], mask)
    if not bright:
        even = -even
    own = cv2.GaussianBlur(even, (0, 0), 0.7 * sigmas[0], borderType=cv2.BORDER_REFLECT)
    total = np.float32(OWN) * np.maximum(own, np.float32(0))
    for k, sigma in enumerate(sigmas):
        factor = max(1, int(sigma // REDUCE_FROM))
        size = (math.ceil(plane.shape[1] / factor), math.ceil(plane.shape[0] / factor))
        small = even if factor == 1 else cv2.resize(even, size, interpolation=cv2.INTER_AREA)
        # The mean over factor x factor pixels has blurred already.
        left = math.sqrt(sigma**2 - (factor**2 - 1) / 12) / factor
        found = _at_scale(np.asarray(small, np.float32), left, WEAKER_FLANK * k)
        if factor > 1:
            found = np.asarray(
                cv2.resize(found, plane.shape[::-1], interpolation=cv2.INTER_LINEAR), np.float32
            )
        total += np.float32(RATIO ** (k * BY_WIDTH)) * found
    return np.asarray(total, np.float32)


def _at_scale(plane: Plane, sigma: float, weaker: float) -> Plane:
    """Answer of one scale, `weaker` of it from the weaker flank and the rest from the mean of both."""
    along, weights = taps(sigma, ELONGATION)
    further, further_weights = taps(sigma, GOES_ON)
    share, further_share = ((w / w.sum()).astype(np.float32) for w in (weights, further_weights))
    across = to_flank(FLANK * sigma)
    reach = int(np.abs(along).max() + np.abs(across).max())
    room = int(np.abs(further).max())
    blurred = cv2.GaussianBlur(plane, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
    pad = reach + room
    padded = cv2.copyMakeBorder(blurred, pad, pad, pad, pad, cv2.BORDER_REFLECT)
    out = np.zeros_like(plane)
    for top in range(0, plane.shape[0], BAND):
        height = min(BAND, plane.shape[0] - top)
        rows = np.ascontiguousarray(padded[top : top + height + 2 * pad])
        mean = np.empty_like(rows)
        answers = np.empty((DIRECTIONS, height + 2 * room, plane.shape[1] + 2 * room), np.float32)
        for t, answer in enumerate(answers):
            _answer(rows, mean, reach, along[t], share, across[t], np.float32(weaker), answer)
            np.log(answer, out=answer)
        _widened(answers)
        _going_on(answers, room, further, further_share, out[top : top + height])
    return np.asarray(np.maximum(np.exp(out) - np.float32(NONE), 0), np.float32)


def even_contrast(plane: Plane, reach: float, mask: NDArray[np.bool_] | None = None) -> Plane:
    """Take off the local mean and divide by the local spread, so that one threshold serves everywhere.

    The variance divided by is half the local one, half the usual (median) one: where there is nothing,
    the grain does not become a picture.

    Parameters
    ----------
    plane : (H, W) float32 array
    reach : float
        Standard deviation in pixels of the neighbourhood for the mean; 1.5 times this for the spread.
    mask : (H, W) bool array, optional
        Where there is a picture; the rest is filled from its rim, so that the rim is no line.

    Returns
    -------
    (H, W) float32 array
    """
    picture = np.asarray(plane, np.float32) if mask is None else _filled(plane, mask)
    rest = picture - _wide_blur(picture, reach)
    spread = _wide_blur(rest * rest, 1.5 * reach)
    usual = float(np.median(spread if mask is None or not mask.any() else spread[mask]))
    return np.asarray(rest / np.sqrt(spread + usual + 1e-12), np.float32)


def _wide_blur(plane: Plane, sigma: float) -> Plane:
    """Gaussian blur through a reduced picture: nothing finer than sigma is left anyway."""
    factor = max(1, int(sigma // 3))
    size = (math.ceil(plane.shape[1] / factor), math.ceil(plane.shape[0] / factor))
    small = cv2.GaussianBlur(
        cv2.resize(plane, size, interpolation=cv2.INTER_AREA),
        (0, 0),
        sigma / factor,
        borderType=cv2.BORDER_REFLECT,
    )
    return np.asarray(cv2.resize(small, plane.shape[::-1], interpolation=cv2.INTER_LINEAR), np.float32)


def _filled(plane: Plane, mask: NDArray[np.bool_]) -> Plane:
    """Grow the picture outwards from its mask by ever wider averages of what is known."""
    known = cv2.erode(mask.astype(np.uint8), np.ones((5, 5), np.uint8), borderValue=0) > 0
    if not known.any():
        return np.asarray(plane, np.float32)
    picture = np.where(known, plane, 0).astype(np.float32)
    for sigma in (3.0, 6.0, 12.0, 25.0, 50.0, 100.0):
        weight = _wide_blur(known.astype(np.float32), sigma)
        new = ~known & (weight > 0.05)
        picture[new] = _wide_blur(picture, sigma)[new] / weight[new]
        known |= new
    picture[~known] = picture[known].mean()
    return picture


@njit(cache=True, nogil=True)
def _answer(rows, mean, reach, along, weights, across, weaker, answer):  # type: ignore[no-untyped-def] # pragma: no cover
    """Height, never below `NONE`, of the average along a direction above its flanks; `rows` has `reach` px more on every side."""
    height, width = answer.shape
    dy, dx = across
    qy, qx = abs(dy), abs(dx)
    left, right = reach - qx, reach + width + qx
    for y in range(reach - qy, reach + height + qy):
        target = mean[y, left:right]
        target[:] = np.float32(0)
        for k in range(len(along)):
            shift = along[k, 1]
            source = rows[y + along[k, 0], left + shift : right + shift]
            weight = weights[k]
            for x in range(right - left):
                target[x] += weight * source[x]
    for y in range(height):
        here = mean[y + reach, reach : reach + width]
        one = mean[y + reach + dy, reach + dx : reach + dx + width]
        other = mean[y + reach - dy, reach - dx : reach - dx + width]
        row = answer[y]
        for x in range(width):
            first, second = here[x] - one[x], here[x] - other[x]
            both = np.float32(0.5) * (first + second)
            value = both + weaker * (min(first, second) - both)
            row[x] = max(value, np.float32(0)) + np.float32(NONE)


@njit(cache=True, nogil=True)
def _widened(answers):  # type: ignore[no-untyped-def] # pragma: no cover
    """Let each direction answer for its two neighbours as well, in place."""
    last = answers.shape[0] - 1
    row = np.empty((last + 1, answers.shape[2]), np.float32)
    for y in range(answers.shape[1]):
        row[:] = answers[:, y]
        for t in range(last + 1):
            before, here, after = row[t - 1], row[t], row[t + 1 if t < last else 0]
            target = answers[t, y]
            for x in range(len(here)):
                target[x] = max(here[x], max(before[x], after[x]))


@njit(cache=True, nogil=True)
def _going_on(answers, room, along, weights, best):  # type: ignore[no-untyped-def] # pragma: no cover
    """Largest mean along its own direction of the answers, which have `room` px more on every side."""
    height, width = best.shape
    total = np.empty(width, np.float32)
    for y in range(height):
        for t in range(along.shape[0]):
            total[:] = np.float32(0)
            for k in range(along.shape[1]):
                shift = room + along[t, k, 1]
                source = answers[t, y + room + along[t, k, 0], shift : shift + width]
                weight = weights[k]
                for x in range(width):
                    total[x] += weight * source[x]
            for x in range(width):
                if t == 0 or total[x] > best[y, x]:
                    best[y, x] = total[x]
