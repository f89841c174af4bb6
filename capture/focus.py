"""How sharp a photograph is, where in it, and whether it was shaken: from the width of its edges.

An edge is blurred once more by a known amount; how much less steep it becomes tells how blurred it was
before (Zhuo & Sim 2011, Pattern Recognition 44, 1852-1858). The figure is the sigma of a Gaussian blur in
pixels, whatever is in the picture, so that photographs of different stones can be compared.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.capture.photograph import Pixels

Plane = NDArray[np.float32]

#: Sigmas of the two blurs compared, px.
_FINE, _COARSE = 1.0, 2.0
#: An edge blurred by more than this, px, is measured in the picture of half the size.
_WIDE = 2.5
_LEVELS = 4
#: Pictures of more pixels are looked at from half their size on.
_LARGE_PX = 6_000_000
#: An edge is this many times steeper than noise makes it, and at least so steep, grey levels per px.
_ABOVE_NOISE, _STEEP = 6.0, 0.7
#: Fields across the longer side, and px of edge a field needs to be judged.
_FIELDS, _ENOUGH = 12, 40
#: Directions of edges told apart, for shake.
_DIRECTIONS = 8


@dataclass(frozen=True, eq=False)
class Focus:
    """Sharpness over the picture.

    Parameters
    ----------
    blur_px : (rows, columns) float32 array
        Sigma of the blur in each field, px; NaN where there are no edges to tell it by.
    best_px : float
        Blur of the sharpest quarter of the fields, px; NaN when no field can be judged.
    sharpest : (float, float) or None
        Middle of the sharpest part, x and y as shares of width and height.
    shake_px : float
        Standard deviation of a movement during the exposure along `shake_deg`, px; 0 when none is seen.
    shake_deg : float
        Its direction from the x axis, y down, 0 to 180.
    """

    blur_px: Plane
    best_px: float
    sharpest: tuple[float, float] | None
    shake_px: float
    shake_deg: float

    @property
    def is_known(self) -> bool:
        """Whether there were edges enough to judge it."""
        return bool(np.isfinite(self.best_px))


def focus(pixels: Pixels, inside: NDArray[np.bool_] | None = None) -> Focus:
    """Measure where a photograph is sharp.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        RGB, sRGB-encoded.
    inside : (H, W) bool array, optional
        The stone; else the whole picture is judged.

    Returns
    -------
    Focus
    """
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
    grey *= np.float32(255 / np.iinfo(pixels.dtype).max)
    places, blurs, directions, lengths = _edges(grey, inside)
    fields = _fields(places, blurs, lengths, grey.shape)
    known = fields[np.isfinite(fields)]
    best = float(np.quantile(known, 0.25)) if known.size else float("nan")
    shake, angle = _shake(blurs, directions)
    return Focus(fields, best, _sharpest(fields), shake, angle)


def tenengrad(grey: NDArray[np.uint8]) -> float:
    """Mean squared gradient: a figure to be made as large as possible while focusing on one scene.

    Source: Tenenbaum 1970, as compared by Pertuz, Puig & Garcia 2013, Pattern Recognition 46, 1415-1432.
    """
    across, down = cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1)
    return float(cv2.mean(across * across + down * down)[0])


def noise_of(grey: Plane) -> float:
    """Standard deviation of the noise (Immerkaer 1996, CVIU 64, 300-302), by the median to pass over edges."""
    kernel = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    response = np.abs(cv2.filter2D(grey, -1, kernel))[::2, ::2]
    return float(np.median(response)) / 0.6745 / 6.0


def _edges(grey: Plane, inside: NDArray[np.bool_] | None) -> tuple[Plane, Plane, Plane, Plane]:
    """Places (N, 2), blurs, directions and lengths of pieces of edges, wide ones from reduced pictures."""
    found = []
    noise = noise_of(grey)
    plane, first = grey, 0
    if grey.size > _LARGE_PX:  # finer pixels than objectives resolve, as a rule
        plane, first, noise = _halved(grey), 1, noise / 2
    for level in range(first, _LEVELS):
        factor = 2**level
        y, x, blur, direction = _at_one_size(plane, noise)
        keep = np.isfinite(blur) & ((blur <= _WIDE) | (level == _LEVELS - 1))
        if level > first:
            keep &= blur > _WIDE / 2
        x, y = (x[keep] + 0.5) * factor - 0.5, (y[keep] + 0.5) * factor - 0.5
        found.append(np.column_stack([x, y, blur[keep] * factor, direction[keep], np.full(len(x), factor)]))
        if min(plane.shape) < 64:
            break
        plane, noise = _halved(plane), noise / 2
    table = np.concatenate(found).astype(np.float32)
    if inside is not None and inside.any():
        x = np.clip(np.round(table[:, 0]).astype(int), 0, inside.shape[1] - 1)
        y = np.clip(np.round(table[:, 1]).astype(int), 0, inside.shape[0] - 1)
        table = table[inside[y, x]]
    return table[:, :2], table[:, 2], table[:, 3], table[:, 4]


def _halved(plane: Plane) -> Plane:
    return cv2.resize(plane, (plane.shape[1] // 2, plane.shape[0] // 2), interpolation=cv2.INTER_AREA)


def _at_one_size(
    plane: Plane, noise: float
) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.float32], NDArray[np.float32]]:
    fine = cv2.GaussianBlur(plane, (0, 0), _FINE)
    coarse = cv2.GaussianBlur(plane, (0, 0), _COARSE)
    gx, gy = (cv2.Scharr(fine, cv2.CV_32F, *d, scale=1 / 32) for d in ((1, 0), (0, 1)))
    steep = cv2.magnitude(gx, gy)
    gentle = cv2.magnitude(*(cv2.Scharr(coarse, cv2.CV_32F, *d, scale=1 / 32) for d in ((1, 0), (0, 1))))
    # Noise of a gradient after a Gaussian: sigma / (sqrt(8 pi) s²). What is too gentle here shows in a smaller size.
    least = max(_STEEP, _ABOVE_NOISE * noise / (np.sqrt(8 * np.pi) * _FINE**2))
    # On the crest of the gradient: not less than both neighbours across the edge.
    flat = np.abs(gx) >= np.abs(gy)
    crest = np.where(
        flat[1:-1, 1:-1],
        (steep[1:-1, 1:-1] >= steep[1:-1, :-2]) & (steep[1:-1, 1:-1] >= steep[1:-1, 2:]),
        (steep[1:-1, 1:-1] >= steep[:-2, 1:-1]) & (steep[1:-1, 1:-1] >= steep[2:, 1:-1]),
    )
    y, x = np.nonzero(crest & (steep[1:-1, 1:-1] > least))
    y, x = y + 1, x + 1
    ratio = (steep[y, x] / gentle[y, x]) ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = (_COARSE**2 - ratio * _FINE**2) / (ratio - 1)
        blur = np.sqrt(np.maximum(variance, 0))
    blur[ratio <= 1] = np.inf
    direction = np.mod(np.arctan2(gy[y, x], gx[y, x]), np.pi)
    return y, x, np.minimum(blur, 1e3).astype(np.float32), direction


def _fields(places: Plane, blurs: Plane, lengths: Plane, shape: tuple[int, ...]) -> Plane:
    side = max(shape) / _FIELDS
    rows, columns = (max(1, round(n / side)) for n in shape)
    row = np.minimum((places[:, 1] * rows / shape[0]).astype(int), rows - 1)
    column = np.minimum((places[:, 0] * columns / shape[1]).astype(int), columns - 1)
    fields = np.full((rows, columns), np.nan, np.float32)
    index = np.maximum(row, 0) * columns + np.maximum(column, 0)
    order = np.argsort(index, kind="stable")
    which, start, count = np.unique(index[order], return_index=True, return_counts=True)
    for i, first, n in zip(which, start, count, strict=True):
        here = order[first : first + n]
        if lengths[here].sum() >= _ENOUGH:
            fields.flat[i] = np.median(blurs[here])
    return fields


def _sharpest(fields: Plane) -> tuple[float, float] | None:
    if not np.isfinite(fields).any():
        return None
    weight = np.where(np.isfinite(fields), 1 / np.maximum(fields, 0.3) ** 2, 0)
    weight = cv2.blur(weight, (3, 3), borderType=cv2.BORDER_CONSTANT)
    row, column = np.unravel_index(int(np.argmax(weight)), fields.shape)
    return (float(column) + 0.5) / fields.shape[1], (float(row) + 0.5) / fields.shape[0]


def _shake(blurs: Plane, directions: Plane) -> tuple[float, float]:
    """Movement along one direction widens the edges across it and leaves those along it sharp.

    The variance of the blur in direction t is a + b cos 2(t - t0) with b > 0 along the movement.
    """
    which = np.minimum((directions / np.pi * _DIRECTIONS).astype(int), _DIRECTIONS - 1)
    groups = [blurs[which == k] for k in range(_DIRECTIONS)]
    if min(len(g) for g in groups) < _ENOUGH:
        return 0.0, 0.0
    variance = np.array([float(np.median(g)) ** 2 for g in groups])
    angle = (np.arange(_DIRECTIONS) + 0.5) * np.pi / _DIRECTIONS
    wave = 2 * np.mean(variance * np.exp(2j * angle))
    # A movement of variance m adds m cos²(t - t0): an amplitude of m / 2.
    moved = 2 * abs(wave)
    still = float(variance.mean()) - abs(wave)
    if moved < 1.5 or moved < 2 * max(still, 0.25):
        return 0.0, 0.0
    return float(np.sqrt(moved)), float(np.rad2deg(np.angle(wave) / 2) % 180)
