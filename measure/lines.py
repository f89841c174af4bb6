"""Bright (or dark) thin lines in one picture: found, linked, and measured below the pixel."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.errors import MeasurementError
from setstone.measure.light import Plane
from setstone.measure.linking import Chain, chains, cut_at_corners, join, ridge_mask
from setstone.measure.ridges import Ridges, half, oriented_response
from setstone.measure.runs import (
    Starts,
    across,
    evenly,
    gradient_each,
    smooth_each,
    smooth_paths,
    starts_of,
    unit,
)

#: Width (FWHM) of the thinnest line looked for: an open fissure of a few µm, as a 60x microscope blurs it.
NARROWEST_UM = 6.0
#: No filter is narrower than the pixels allow.
LEAST_SIGMA_PX = 1.0
#: From this width of the narrowest filter on, in pixels, lines are looked for at half the size, a quarter of the work:
#: the picture holds nothing finer, and half of it still carries a centre line below the pixel.
HALVE_FROM = 2.8
#: Each scale is this much wider than the last; three span the widths of fissures.
SCALE_RATIO = 1.6
SCALES = 3
#: Thresholds of the hysteresis, in standard deviations of the local grain.
LOW, HIGH = 2.0, 3.5
#: Shorter lines than this many of the narrowest sigma cannot be told from grain.
LEAST_LENGTH_SIGMAS = 12.0
#: Width and height of the blocks in which the grain is measured, in pixels.
GRAIN_BLOCK = 16
#: A line ends where its contrast falls below this share of its median contrast.
END_SHARE = 0.5
#: Blur before profiles are read, px; it is taken off the widths again.
PROFILE_BLUR = 0.7
#: Grain is never taken to be finer than the rounding to whole grey levels, 1/sqrt(12).
LEAST_GRAIN = 0.29

FWHM_PER_SIGMA = 2 * math.sqrt(2 * math.log(2))


@dataclass(frozen=True, eq=False)
class Line:
    """One line, without branches.

    Parameters
    ----------
    path : (N, 2) float64 array
        Centre line x, y, about one vertex per pixel; (0, 0) is the centre of the first pixel.
    width_px : (N,) float64 array
        Full width at half maximum as seen, blur included.
    contrast : (N,) float64 array
        Height above the higher flank, in the units of the picture; negative for dark lines.
    """

    path: NDArray[np.float64]
    width_px: NDArray[np.float64]
    contrast: NDArray[np.float64]

    @property
    def length_px(self) -> float:
        """Length along the centre line."""
        return float(np.hypot(*np.diff(self.path, axis=0).T).sum())


def find_lines(
    plane: Plane,
    *,
    um_per_px: float,
    narrowest_um: float = NARROWEST_UM,
    bright: bool = True,
    mask: NDArray[np.bool_] | None = None,
) -> tuple[Line, ...]:
    """Find thin lines: weak ones too, for a later judgement to sort.

    Parameters
    ----------
    plane : (H, W) float32 array
        Any units; noise about equal everywhere is best (encoded grey levels).
    um_per_px : float
        Scale.
    narrowest_um : float
        Full width at half maximum of the thinnest line of interest.
    bright : bool
        Bright lines on darker ground, or dark ones on brighter.
    mask : (H, W) bool array, optional
        Where to look.

    Returns
    -------
    tuple of Line
        Longest first; empty when there is none.

    Raises
    ------
    MeasurementError
        When the picture is not a plane or the scale not positive.
    """
    if plane.ndim != 2:
        raise MeasurementError(f"Lines are looked for in a plane of shape (H, W), not {plane.shape}.")
    if not (um_per_px > 0 and narrowest_um > 0):
        raise MeasurementError("The scale and the narrowest width must be positive.")
    if min(plane.shape) < 16:
        return ()
    picture = np.ascontiguousarray(plane, np.float32)
    sigmas = filter_scales(um_per_px, narrowest_um)
    if sigmas[0] < HALVE_FROM:
        return _found(picture, sigmas, bright, mask)
    small_mask = None if mask is None else half(mask.astype(np.float32)) > 0.5
    found = _found(half(picture), [sigma / 2 for sigma in sigmas], bright, small_mask)
    return tuple(_doubled(line) for line in found)


def _found(
    picture: Plane, sigmas: Sequence[float], bright: bool, mask: NDArray[np.bool_] | None
) -> tuple[Line, ...]:
    """The lines of a picture, longest first."""
    ridges = oriented_response(picture, sigmas, bright=bright)
    grain = local_grain(picture, sigmas[0])
    if mask is not None:
        ridges.response[~mask] = 0
    thin = ridge_mask(ridges, LOW * grain, HIGH * grain)
    pieces = [part for chain in chains(thin) for part in cut_at_corners(chain)]
    joined = join(pieces, 6 * sigmas[0] + 6)
    least = LEAST_LENGTH_SIGMAS * sigmas[0]
    smooth = cv2.GaussianBlur(picture, (0, 0), PROFILE_BLUR)
    lines = _measured([chain for chain in joined if len(chain) >= least / 1.5], smooth, ridges, bright)
    return tuple(
        sorted((line for line in lines if line.length_px >= least), key=lambda line: -line.length_px)
    )


def filter_scales(um_per_px: float, narrowest_um: float = NARROWEST_UM) -> list[float]:
    """Standard deviations of the filters, in pixels, ascending."""
    first = max(LEAST_SIGMA_PX, narrowest_um / um_per_px / FWHM_PER_SIGMA)
    return [first * SCALE_RATIO**k for k in range(SCALES)]


def local_grain(plane: Plane, sigma: float) -> Plane:
    """Standard deviation of the texture at the scale of the lines, without lines and steps.

    Medians of the absolute band-passed picture in blocks of `GRAIN_BLOCK` px (scaled by 1 / 0.6745 to a
    standard deviation of normal noise; Hampel 1974), then the median of 3 x 3 blocks.

    Parameters
    ----------
    plane : (H, W) float32 array
    sigma : float
        Of the narrowest line, in pixels.

    Returns
    -------
    (H, W) float32 array
    """
    height, width = plane.shape
    band = cv2.absdiff(cv2.GaussianBlur(plane, (0, 0), sigma), cv2.GaussianBlur(plane, (0, 0), 2 * sigma))
    n = GRAIN_BLOCK
    rows, columns = math.ceil(height / n), math.ceil(width / n)
    padded = cv2.copyMakeBorder(band, 0, rows * n - height, 0, columns * n - width, cv2.BORDER_REFLECT)
    blocks = padded.reshape(rows, n, columns, n).swapaxes(1, 2).reshape(rows, columns, n * n)
    blocks = np.sort(blocks, axis=2)
    median = (blocks[..., n * n // 2 - 1] + blocks[..., n * n // 2]) / np.float32(2 * 0.6745)
    median = cv2.medianBlur(median, 3)
    enlarged = cv2.resize(median, (columns * n, rows * n), interpolation=cv2.INTER_LINEAR)[:height, :width]
    return np.asarray(np.maximum(enlarged, LEAST_GRAIN), np.float32)


def _doubled(line: Line) -> Line:
    """A line of a halved picture in the pixels of the original, a vertex per pixel again."""
    vertices = np.arange(len(line.path))
    at = np.arange(2 * len(vertices) - 1) / 2
    x, y, width, contrast = (
        np.interp(at, vertices, values) for values in (*line.path.T, line.width_px, line.contrast)
    )
    return Line(2 * np.stack([x, y], axis=1) + 0.5, 2 * width, contrast)


def _measured(pieces: list[Chain], plane: Plane, ridges: Ridges, bright: bool) -> list[Line]:
    """Refine chains of pixels to sub-pixel centre lines and measure them.

    Those of one width are measured together.
    """
    sigmas = np.array([_usual_sigma(chain, ridges) for chain in pieces])
    lines: list[Line] = []
    for sigma in np.unique(sigmas):
        alike = [chain for chain, own in zip(pieces, sigmas, strict=True) if own == sigma]
        lines += _measured_alike(alike, plane, float(sigma), bright)
    return lines


def _usual_sigma(chain: Chain, ridges: Ridges) -> float:
    xs, ys = np.rint(chain.T).astype(int)
    values = np.sort(ridges.sigma[ys, xs])
    return float(values[(len(values) - 1) // 2] + values[len(values) // 2]) / 2


def _measured_alike(pieces: list[Chain], plane: Plane, sigma: float, bright: bool) -> list[Line]:
    """Measure lines whose profile has the same sigma."""
    starts = starts_of(pieces)
    path, starts = evenly(smooth_paths(np.concatenate(pieces), starts, 2.0), starts)
    sign = 1.0 if bright else -1.0
    half = math.ceil(3 * sigma + 2)
    offsets = np.arange(-half, half + 0.25, 0.5)
    for _ in range(2):
        normals = _normals(path, starts)
        profiles = sign * _profiles(plane, path, normals, offsets, starts, sigma)
        shift = _crest_position(profiles, offsets, sigma)
        path = smooth_paths(path + shift[:, None] * normals, starts, 2.0)
    profiles = sign * _profiles(plane, path, _normals(path, starts), offsets, starts, sigma)
    centre = np.abs(offsets) <= 0.6
    flanks = (np.abs(offsets) >= 2 * sigma) & (np.abs(offsets) <= 2 * sigma + 2)
    left = profiles[:, flanks & (offsets < 0)].mean(axis=1)
    right = profiles[:, flanks & (offsets > 0)].mean(axis=1)
    peak = profiles[:, centre].mean(axis=1)
    base = np.maximum(left, right)
    contrast = peak - base
    width = _width(profiles, offsets, base)
    kept = (
        slice(first + inner.start, first + inner.stop)
        for first, last in itertools.pairwise(starts)
        for inner in [_within_ends(contrast[first:last])]
    )
    return [Line(path[k], width[k], sign * contrast[k]) for k in kept]


def _within_ends(contrast: NDArray[np.float64]) -> slice:
    """From the first to the last point that stands out at least half as far as the line does in all.

    The directional average sees a line some way beyond its ends.
    """
    lasting = np.flatnonzero(contrast >= END_SHARE * np.median(contrast))
    if len(lasting) < 2:
        return slice(0, len(contrast))
    return slice(int(lasting[0]), int(lasting[-1]) + 1)


def _profiles(
    plane: Plane,
    path: NDArray[np.float64],
    normals: NDArray[np.float64],
    offsets: NDArray[np.float64],
    starts: Starts,
    sigma: float,
) -> NDArray[np.float64]:
    """Grey values across the lines, averaged a little along them; shape (len(path), len(offsets))."""
    return smooth_each(across(plane, path, normals, offsets), starts, max(2.0, 1.5 * sigma))


def _crest_position(
    profiles: NDArray[np.float64], offsets: NDArray[np.float64], sigma: float
) -> NDArray[np.float64]:
    """Centre of gravity of what stands above the flanks, within sigma + 1 px of the middle."""
    near = np.abs(offsets) <= sigma + 1
    values = profiles[:, near]
    base = np.maximum(values[:, 0], values[:, -1])[:, None]
    weight = np.clip(values - base, 0, None)
    total = weight.sum(axis=1)
    return np.where(total > 1e-6, (weight * offsets[near]).sum(axis=1) / np.maximum(total, 1e-6), 0.0)


def _width(
    profiles: NDArray[np.float64], offsets: NDArray[np.float64], base: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Full width at half maximum above the higher flank, pixels."""
    middle = len(offsets) // 2
    peak = profiles[:, middle - 1 : middle + 2].max(axis=1)
    level = (peak + base) / 2
    above = profiles > level[:, None]
    rows = np.arange(len(profiles))
    total = np.zeros(len(profiles))
    for side in (1, -1):
        way = slice(middle, None) if side > 0 else slice(middle, None, -1)
        values, states = profiles[:, way], above[:, way]
        outside = ~states
        outside[:, 0] = False
        first = np.where(outside.any(axis=1), outside.argmax(axis=1), values.shape[1] - 1)
        inner, outer = values[rows, first - 1], values[rows, first]
        fraction = np.clip((inner - level) / np.maximum(inner - outer, 1e-9), 0, 1)
        total += (first - 1 + fraction) * 0.5
    return total


def _normals(path: NDArray[np.float64], starts: Starts) -> NDArray[np.float64]:
    tangent = unit(gradient_each(smooth_each(path, starts, 3.0), starts))
    return np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
