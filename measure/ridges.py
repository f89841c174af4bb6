"""How line-like each pixel is: ridge response, its direction and its width.

Two answers. `ridge_response` is the classical one from the Hessian (Sato et al. 1998; Lindeberg 1998),
fast and equal to ``skimage.filters.sato``. `oriented_response` averages along each of sixteen directions
before it looks across, and asks that *both* flanks be darker: a step from facet to facet gives nothing
(two-sided test, Koller, Gerig & Székely 1995), and a faint or dotted line gains the whole length of the
average (oriented line detectors: Ricci & Perfetti 2007).

Both work in bands of rows, so that beside picture and result almost no memory is needed.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numba import njit
from numpy.typing import NDArray

from setstone.measure.light import Plane

#: Directions tried by `oriented_response`: 11.25 degrees apart, finer than an average 6 sigma long can resolve.
DIRECTIONS = 16
#: Half length of the directional average in standard deviations of the line's own Gaussian profile.
ELONGATION = 4.0
#: The weaker half of the average must carry at least the inverse of this of the whole, so that a bright
#: point does not grow rays.
HALF_GAIN = 4.0
#: From this scale on (pixels) the Hessian is taken at half size; the blur has made the rest redundant.
HALVE_FROM = 3.0
#: Height of a band of rows.
BAND = 256


@dataclass(frozen=True, eq=False)
class Ridges:
    """Ridge response of a picture.

    Parameters
    ----------
    response : (H, W) float32 array
        How much a line stands out here, in grey levels of the picture; 0 where nothing does.
    angle : (H, W) float32 array
        Direction *along* the line, radians in [0, pi), x towards y.
    sigma : (H, W) float32 array
        Standard deviation of the best-fitting Gaussian profile, in pixels.
    """

    response: Plane
    angle: Plane
    sigma: Plane


def ridge_response(plane: Plane, sigmas: Sequence[float], *, bright: bool = True) -> Ridges:
    """Largest scale-normalised Hessian eigenvalue over several scales (Sato et al. 1998, gamma = 1).

    Parameters
    ----------
    plane : (H, W) float32 array
    sigmas : sequence of float
        Scales in pixels, ascending.
    bright : bool
        Bright lines on dark ground; False for dark lines.

    Returns
    -------
    Ridges

    Notes
    -----
    Second differences of the blurred picture stand in for Gaussian derivatives; scales from
    `HALVE_FROM` px on are computed at half size.
    """
    height, width = plane.shape
    out = Ridges(np.zeros_like(plane), np.zeros_like(plane), np.zeros_like(plane))
    sign = np.float32(-1.0 if bright else 1.0)
    for sigma in sigmas:
        coarse = sigma >= HALVE_FROM
        margin = math.ceil(4 * sigma) + 4
        for top in range(0, height, BAND):
            bottom = min(top + BAND, height)
            first, last = max(0, top - margin) // 2 * 2, min(height, bottom + margin)
            band = plane[first:last]
            if not coarse:
                blurred = cv2.GaussianBlur(band, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
                _hessian_maximum(
                    blurred, top - first, sign, np.float32(sigma), np.float32(sigma**2),
                    out.response[top:bottom], out.angle[top:bottom], out.sigma[top:bottom],
                )  # fmt: skip
                continue
            half = cv2.resize(
                band, (math.ceil(width / 2), math.ceil(band.shape[0] / 2)), interpolation=cv2.INTER_AREA
            )
            # The mean over 2 x 2 pixels has blurred already, by (2^2 - 1) / 12 px^2.
            left = math.sqrt(sigma**2 - 0.25) / 2
            blurred = cv2.GaussianBlur(half, (0, 0), left, borderType=cv2.BORDER_REFLECT)
            small = Ridges(np.zeros_like(half), np.zeros_like(half), np.zeros_like(half))
            _hessian_maximum(
                blurred,
                0,
                sign,
                np.float32(sigma),
                np.float32(sigma**2 / 4),
                small.response,
                small.angle,
                small.sigma,
            )
            enlarged = cv2.resize(small.response, (width, band.shape[0]), interpolation=cv2.INTER_LINEAR)
            _keep_larger(
                enlarged, small.angle, np.float32(sigma), top - first,
                out.response[top:bottom], out.angle[top:bottom], out.sigma[top:bottom],
            )  # fmt: skip
    return out


def oriented_response(plane: Plane, sigmas: Sequence[float], *, bright: bool = True) -> Ridges:
    """How far a line stands above *both* flanks, averaged along its direction.

    At each pixel and for each of `DIRECTIONS` directions the picture, blurred by sigma, is averaged along
    the direction with Gaussian weights over +-`ELONGATION` sigma; the response is the lesser of the two
    differences to the same average 2 sigma + 1 px to either side, and the best direction and scale win.
    The half before and the half after the pixel must both carry their share (`HALF_GAIN`).

    Parameters
    ----------
    plane : (H, W) float32 array
    sigmas : sequence of float
        Scales in pixels, ascending.
    bright : bool
        Bright lines on dark ground; False for dark lines.

    Returns
    -------
    Ridges
    """
    height, width = plane.shape
    out = Ridges(np.zeros_like(plane), np.zeros_like(plane), np.zeros_like(plane))
    sign = 1.0 if bright else -1.0
    for sigma in sigmas:
        along, weights, across = _stencil(sigma)
        # How far taps reach, plus the blur that is already in the rows beyond.
        reach = int(np.abs(along).max() + np.abs(across).max())
        margin = reach + math.ceil(4 * sigma)
        padded_width = width + 2 * reach
        for top in range(0, height, BAND):
            bottom = min(top + BAND, height)
            first, last = max(0, top - margin), min(height, bottom + margin)
            blurred = cv2.GaussianBlur(plane[first:last], (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
            if not bright:
                blurred *= sign
            above, below = max(0, reach - (top - first)), max(0, reach - (last - bottom))
            blurred = cv2.copyMakeBorder(blurred, above, below, reach, reach, cv2.BORDER_REFLECT)
            start = top - first + above - reach
            rows = np.ascontiguousarray(blurred[start : start + bottom - top + 2 * reach])
            halves = np.empty((2, bottom - top + 2 * reach, padded_width), np.float32)
            _oriented_maximum(
                rows, halves, reach, along, weights, across, np.float32(sigma),
                out.response[top:bottom], out.angle[top:bottom], out.sigma[top:bottom],
            )  # fmt: skip
    return out


def _stencil(sigma: float) -> tuple[NDArray[np.int64], NDArray[np.float32], NDArray[np.int64]]:
    """Whole-pixel offsets (dy, dx) along each direction, their weights, and the offset to a flank."""
    theta = np.arange(DIRECTIONS) * math.pi / DIRECTIONS
    unit = np.stack([np.sin(theta), np.cos(theta)], axis=-1)
    steps = np.arange(
        -math.ceil(ELONGATION * sigma / _step(sigma)), math.ceil(ELONGATION * sigma / _step(sigma)) + 1
    )
    distance = steps * _step(sigma)
    weights = np.exp(-0.5 * (distance / (ELONGATION * sigma / 2)) ** 2)
    weights[len(steps) // 2] /= 2  # the pixel itself counts half in either half
    along = np.rint(unit[:, None, :] * distance[None, :, None]).astype(np.int64)
    normal = np.stack([np.cos(theta), -np.sin(theta)], axis=-1)
    across = np.rint(normal * (2 * sigma + 1)).astype(np.int64)
    return along, (weights / (weights.sum() + weights[len(steps) // 2])).astype(np.float32), across


def _step(sigma: float) -> float:
    """Distance of taps: the blurred picture holds nothing finer than its sigma."""
    return max(1.0, 0.8 * sigma)


@njit(cache=True, nogil=True)
def _hessian_maximum(blurred, offset, sign, sigma, gain, response, angle, scale):  # type: ignore[no-untyped-def] # pragma: no cover
    """Update the running maximum of -l1 (bright) with one scale; borders repeat the last pixel."""
    last_row, last_col = blurred.shape[0] - 1, blurred.shape[1] - 1
    for y in range(response.shape[0]):
        r = y + offset
        above, here, below = blurred[max(r - 1, 0)], blurred[r], blurred[min(r + 1, last_row)]
        for x in range(response.shape[1]):
            w, e = max(x - 1, 0), min(x + 1, last_col)
            xx = sign * (here[w] + here[e] - 2 * here[x])
            yy = sign * (above[x] + below[x] - 2 * here[x])
            xy = sign * np.float32(0.25) * (above[w] + below[e] - above[e] - below[w])
            half = np.float32(0.5) * (xx - yy)
            value = gain * (np.float32(0.5) * (xx + yy) + np.sqrt(half * half + xy * xy))
            if value > response[y, x]:
                response[y, x] = value
                scale[y, x] = sigma
                across = np.float32(0.5) * np.arctan2(xy, half)
                along = across + np.float32(math.pi / 2)
                angle[y, x] = along if along < np.float32(math.pi) else along - np.float32(math.pi)


@njit(cache=True, nogil=True)
def _keep_larger(enlarged, small_angle, sigma, offset, response, angle, scale):  # type: ignore[no-untyped-def] # pragma: no cover
    for y in range(response.shape[0]):
        for x in range(response.shape[1]):
            if enlarged[y + offset, x] > response[y, x]:
                response[y, x] = enlarged[y + offset, x]
                angle[y, x] = small_angle[(y + offset) // 2, x // 2]
                scale[y, x] = sigma


@njit(cache=True, nogil=True)
def _oriented_maximum(rows, halves, reach, along, weights, across, sigma, response, angle, scale):  # type: ignore[no-untyped-def] # pragma: no cover
    """Update the running maximum with one scale; `rows` has `reach` pixels more on every side.

    `halves` is work space for the averages over the half before and the half after each pixel.
    """
    height, width = response.shape
    pi = np.float32(math.pi)
    taps = along.shape[1]
    for t in range(along.shape[0]):
        dy, dx = across[t, 0], across[t, 1]
        qy, qx = abs(dy), abs(dx)
        theta = pi * np.float32(t) / np.float32(along.shape[0])
        left, right = reach - qx, reach + width + qx
        for y in range(reach - qy, reach + height + qy):
            for half in range(2):
                target = halves[half, y, left:right]
                target[:] = np.float32(0)
                for k in range(half * (taps // 2), half * (taps // 2) + taps // 2 + 1):
                    shift = along[t, k, 1]
                    source = rows[y + along[t, k, 0], left + shift : right + shift]
                    weight = weights[k]
                    for x in range(right - left):
                        target[x] += weight * source[x]
        for y in range(height):
            best, best_angle, best_scale = response[y], angle[y], scale[y]
            back = halves[0, y + reach, reach : reach + width]
            back_one = halves[0, y + reach + dy, reach + dx : reach + dx + width]
            back_other = halves[0, y + reach - dy, reach - dx : reach - dx + width]
            ahead = halves[1, y + reach, reach : reach + width]
            ahead_one = halves[1, y + reach + dy, reach + dx : reach + dx + width]
            ahead_other = halves[1, y + reach - dy, reach - dx : reach - dx + width]
            for x in range(width):
                one_back, other_back = back[x] - back_one[x], back[x] - back_other[x]
                one_ahead, other_ahead = ahead[x] - ahead_one[x], ahead[x] - ahead_other[x]
                both = min(one_back + one_ahead, other_back + other_ahead)
                least = min(min(one_back, other_back), min(one_ahead, other_ahead))
                value = min(both, np.float32(HALF_GAIN) * least)
                if value > best[x]:
                    best[x] = value
                    best_angle[x] = theta
                    best_scale[x] = sigma
