"""How line-like each pixel is: ridge response, its direction and its width.

Two answers. `ridge_response` is the classical one from the Hessian (Sato et al. 1998; Lindeberg 1998),
fast and equal to ``skimage.filters.sato``. `oriented_response` averages along each of sixteen directions
before it looks across, and asks that *both* flanks be darker: a step from facet to facet gives nothing
(two-sided test, Koller, Gerig & Székely 1995), and a faint or dotted line gains the whole length of the
average (oriented line detectors: Ricci & Perfetti 2007).
(A map of where lines are, wide ones over their whole width, is `line_map.line_map`.)

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
    `HALVE_FROM` px on are computed at half size, from twice that on at a quarter, and so on.
    """
    sign = np.float32(-1.0 if bright else 1.0)
    octaves = [max(0, math.floor(math.log2(sigma / HALVE_FROM)) + 1) for sigma in sigmas]
    levels = [np.ascontiguousarray(plane, np.float32)]
    while len(levels) <= max(octaves) and min(levels[-1].shape) > 1:
        levels.append(half(levels[-1]))
    coarsest = len(levels) - 1
    out: Ridges | None = None
    for octave in reversed(range(len(levels))):
        level = levels.pop()
        out = _blank(level.shape) if out is None else _enlarged(out, level.shape)
        for sigma, wanted in zip(sigmas, octaves, strict=True):
            if wanted == octave or (wanted > octave and coarsest == octave):
                _update(out, level, sigma, octave, sign)
    assert out is not None  # noqa: S101 -- the first level is the picture
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
    for sigma in sigmas:
        along, full = taps(sigma, ELONGATION)
        full[len(full) // 2] /= 2  # the pixel itself counts half in either half
        weights = (full / (full.sum() + full[len(full) // 2])).astype(np.float32)
        across = to_flank(2 * sigma + 1)
        # How far taps reach, plus the blur that is already in the rows beyond.
        reach = int(np.abs(along).max() + np.abs(across).max())
        margin = reach + math.ceil(4 * sigma)
        padded_width = width + 2 * reach
        for top in range(0, height, BAND):
            bottom = min(top + BAND, height)
            first, last = max(0, top - margin), min(height, bottom + margin)
            blurred = cv2.GaussianBlur(plane[first:last], (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
            if not bright:
                blurred = -blurred
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


def taps(sigma: float, elongation: float) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Where an average along each direction reads a picture blurred by sigma: a Gaussian out to two of its sigmas.

    Parameters
    ----------
    sigma : float
        In pixels.
    elongation : float
        Half length of the average, in sigmas.

    Returns
    -------
    along : (DIRECTIONS, K, 2) int64 array
        Whole-pixel offsets dy, dx.
    weights : (K,) float64 array
        1 in the middle.
    """
    step = max(1.0, 0.8 * sigma)  # the blurred picture holds nothing finer
    theta = np.arange(DIRECTIONS) * math.pi / DIRECTIONS
    unit = np.stack([np.sin(theta), np.cos(theta)], axis=-1)
    count = math.ceil(elongation * sigma / step)
    distance = np.arange(-count, count + 1) * step
    weights = np.exp(-0.5 * (distance / (elongation * sigma / 2)) ** 2)
    return np.rint(unit[:, None, :] * distance[None, :, None]).astype(np.int64), weights


def to_flank(distance: float) -> NDArray[np.int64]:
    """Whole-pixel offset dy, dx across each direction, so many pixels away: (DIRECTIONS, 2)."""
    theta = np.arange(DIRECTIONS) * math.pi / DIRECTIONS
    return np.rint(np.stack([np.cos(theta), -np.sin(theta)], axis=-1) * distance).astype(np.int64)


def half(plane: Plane) -> Plane:
    """Means of 2 x 2 pixels, (H, W) to (ceil(H / 2), ceil(W / 2)) float32; an odd last row or column is repeated."""
    height, width = plane.shape
    if height % 2 or width % 2:
        plane = cv2.copyMakeBorder(plane, 0, height % 2, 0, width % 2, cv2.BORDER_REPLICATE)
    size = plane.shape[1] // 2, plane.shape[0] // 2
    return np.asarray(cv2.resize(plane, size, interpolation=cv2.INTER_AREA), np.float32)


def _blank(shape: tuple[int, ...]) -> Ridges:
    return Ridges(*(np.zeros(shape, np.float32) for _ in range(3)))


def _enlarged(small: Ridges, shape: tuple[int, ...]) -> Ridges:
    """Twice the size, to be surpassed by finer scales."""
    size = 2 * small.response.shape[1], 2 * small.response.shape[0]
    ways = (cv2.INTER_LINEAR, cv2.INTER_NEAREST, cv2.INTER_NEAREST)
    planes = (small.response, small.angle, small.sigma)
    return Ridges(
        *(
            np.ascontiguousarray(cv2.resize(p, size, interpolation=way)[: shape[0], : shape[1]])
            for p, way in zip(planes, ways, strict=True)
        )
    )


def _update(out: Ridges, level: Plane, sigma: float, octave: int, sign: np.float32) -> None:
    """Let one scale surpass what was found at others; `level` is the picture halved `octave` times."""
    # Means over pixels have blurred already, by (4^octave - 1) / 12 px^2.
    left = math.sqrt(sigma**2 - (4**octave - 1) / 12) / 2**octave
    gain = np.float32((sigma / 2**octave) ** 2)
    margin = math.ceil(4 * left) + 4
    height = level.shape[0]
    for top in range(0, height, BAND):
        bottom = min(top + BAND, height)
        first, last = max(0, top - margin), min(height, bottom + margin)
        blurred = cv2.GaussianBlur(level[first:last], (0, 0), left, borderType=cv2.BORDER_REFLECT)
        rows = cv2.copyMakeBorder(blurred, 1, 1, 1, 1, cv2.BORDER_REPLICATE)
        _hessian_maximum(
            rows[top - first : bottom - first + 2], sign, gain, np.float32(sigma),
            out.response[top:bottom], out.angle[top:bottom], out.sigma[top:bottom],
        )  # fmt: skip


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract", "nsz"})
def _hessian_maximum(blurred, sign, gain, sigma, response, angle, scale):  # type: ignore[no-untyped-def] # pragma: no cover
    """Update the running maximum of -l1 (bright) with one scale; `blurred` has one pixel more on every side.

    Written without branches, so that eight or sixteen pixels are done at once. The arc tangent is a minimax
    polynomial of degree 11 (coefficients from memory; within 2e-6 of NumPy's).
    """
    for y in range(response.shape[0]):
        nw, n, ne = blurred[y, :-2], blurred[y, 1:-1], blurred[y, 2:]
        w, c, e = blurred[y + 1, :-2], blurred[y + 1, 1:-1], blurred[y + 1, 2:]
        sw, s, se = blurred[y + 2, :-2], blurred[y + 2, 1:-1], blurred[y + 2, 2:]
        best, best_angle, best_scale = response[y], angle[y], scale[y]
        for x in range(len(best)):
            xx = sign * (w[x] + e[x] - (c[x] + c[x]))
            yy = sign * (n[x] + s[x] - (c[x] + c[x]))
            xy = sign * np.float32(0.25) * (nw[x] + se[x] - ne[x] - sw[x])
            half = np.float32(0.5) * (xx - yy)
            value = gain * (np.float32(0.5) * (xx + yy) + np.sqrt(half * half + xy * xy))
            # Twice the direction across the line: the arc tangent of xy / half in all four quadrants.
            long, short = max(abs(half), abs(xy)), min(abs(half), abs(xy))
            t = short / max(long, np.float32(1e-30))
            q = t * t
            turn = np.float32(0.05265332) + q * np.float32(-0.01172120)
            turn = np.float32(0.19354346) + q * (np.float32(-0.11643287) + q * turn)
            turn = t * (np.float32(0.99997726) + q * (np.float32(-0.33262347) + q * turn))
            turn = np.float32(math.pi / 2) - turn if abs(xy) > abs(half) else turn
            turn = np.float32(math.pi) - turn if half < 0 else turn
            turn = -turn if xy < 0 else turn
            along = np.float32(0.5) * turn + np.float32(math.pi / 2)
            along = along if along < np.float32(math.pi) else along - np.float32(math.pi)
            larger = value > best[x]
            best[x] = value if larger else best[x]
            best_angle[x] = along if larger else best_angle[x]
            best_scale[x] = sigma if larger else best_scale[x]


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
