"""How far each tile of one picture moved against another, whatever the light.

Grey values cannot be compared where lamps differ: facets change their brightness completely. What stays is where
edges are and how they run. A picture is reduced to an *orientation field*, the gradient on doubled angles so that
the sign of the contrast drops out (Bigün & Granlund 1987). Cut into overlapping tiles, each tile says by
cross-correlation how far it moved (after Argyriou & Vlachos 2003).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import scipy.fft
from numpy.typing import NDArray

from setstone.measure.light import Plane
from setstone.measure.robust import biweight

Matrix = NDArray[np.float64]
Field = NDArray[np.complex64]

#: Tiles and the longest displacement looked for in one, in px.
_TILE, _HOP, _REACH = 64, 32, 12
#: Correlation above which a tile is heard, and distance within which it supports a motion, in px.
_LEAST_CORRELATION, TOLERANCE = 0.25, 1.2


@dataclass(frozen=True, eq=False)
class Votes:
    """Where tiles lie, how far each says it moved, and how sure it is.

    `sharpness` (tile, 2, 2) shortens a displacement in the directions the tile cannot judge: one that sees
    a single straight edge knows nothing of motion along it (the aperture problem).
    """

    points: Matrix
    shifts: Matrix
    weights: NDArray[np.float64]
    sharpness: NDArray[np.float64]

    def distances(self, matrix: Matrix) -> NDArray[np.float64]:
        """How far each tile's own motion is from the one given, as far as it can judge, in px."""
        moved = self.points @ matrix[:2, :2].T + matrix[:2, 2]
        return lengths(self.sharpness, self.points + self.shifts - moved)

    def support(self, matrix: Matrix) -> float:
        """How much speaks for a motion: the tiles near it, each by its weight."""
        return float((self.weights * biweight(self.distances(matrix), TOLERANCE)).sum())


def orientation(grey: Plane, usable: Plane) -> Field:
    """Gradient on doubled angles, its size relative to the surroundings and cut at twice their rms."""
    smooth = cv2.GaussianBlur(grey, (0, 0), 1.0)
    gx, gy = cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1)
    size = cv2.magnitude(gx, gy)
    # Running sums leave a little less than nothing behind a bright place.
    surroundings = cv2.sqrt(cv2.max(cv2.blur(size * size, (41, 41)), 0.0)) + 1.0  # 1/8 grey level per px
    length = np.minimum(size / surroundings, 2) * (usable > 0.99)
    unit = (gx + 1j * gy) / np.maximum(size, 1e-6)
    return np.asarray(length * unit * unit, np.complex64)


@dataclass(frozen=True, eq=False)
class Tiles:
    """Overlapping tiles of a field, row after row; those that show anything.

    Parameters
    ----------
    places : (tile,) int64 array
        Which of all tiles, ascending.
    columns : int
        Tiles in a row.
    spectrum : (tile, _TILE, _TILE) complex64 array
    energy : (tile,) float32 array
        Sum of squared lengths.
    """

    places: NDArray[np.int64]
    columns: int
    spectrum: NDArray[np.complex64]
    energy: Plane


def tiles_of(field: Field, among: NDArray[np.int64] | None = None) -> Tiles:
    """Cut a field into overlapping tiles, or only some places of it; none where it is smaller than one."""
    if min(field.shape) < _TILE:
        nowhere = np.empty(0, np.int64)
        return Tiles(nowhere, 0, np.empty((0, _TILE, _TILE), np.complex64), np.empty(0, np.float32))
    tiles = np.lib.stride_tricks.sliding_window_view(field, (_TILE, _TILE))[::_HOP, ::_HOP]
    columns = tiles.shape[1]
    places = np.arange(tiles.shape[0] * columns) if among is None else among
    shown = tiles[places // columns, places % columns]
    something = shown.any(axis=(1, 2))
    window = np.outer(np.hanning(_TILE), np.hanning(_TILE)).astype(np.float32)
    flat = shown[something] * window
    return Tiles(places[something], columns, scipy.fft.fft2(flat), (np.abs(flat) ** 2).sum((1, 2)))


def votes_between(fixed: Tiles, field: Field) -> Votes:
    """Displacement of each tile against a moving field, to a fraction of a pixel by a parabola through the correlation peak."""
    moving = tiles_of(field, fixed.places)
    if not len(moving.places):
        return Votes(np.empty((0, 2)), np.empty((0, 2)), np.empty(0), np.empty((0, 2, 2)))
    same = np.searchsorted(fixed.places, moving.places)
    near = correlated(fixed.spectrum[same], moving.spectrum, _REACH)
    near /= np.sqrt(fixed.energy[same] * moving.energy)[:, None, None] + 1e-6
    side = 2 * _REACH + 1
    n = np.arange(len(near))
    y, x = np.unravel_index(near.reshape(len(near), -1).argmax(1), (side, side))
    peak = near[n, y, x]
    heard = (peak > _LEAST_CORRELATION) & (x > 0) & (x < side - 1) & (y > 0) & (y < side - 1)
    n, x, y, peak = n[heard], x[heard], y[heard], peak[heard]
    around = np.array([[near[n, y + j, x + i] for i in (-1, 0, 1)] for j in (-1, 0, 1)], np.float64)
    offset, sharpness = _peak_shape(around)
    row, column = np.divmod(moving.places[n], fixed.columns)
    points = np.stack([column, row], 1) * _HOP + (_TILE - 1) / 2
    shifts = np.stack([x, y], 1) - _REACH + offset
    return Votes(points, shifts, peak.astype(np.float64) ** 2, sharpness)


def correlated(fixed: NDArray[np.complex64], moving: NDArray[np.complex64], reach: int) -> Plane:
    """Cross-correlation of fields whose spectra are given, for displacements up to a reach in y and x only."""
    near = np.arange(-reach, reach + 1)
    rows = scipy.fft.ifft(fixed * moving.conj(), axis=-1)[..., near]
    return np.asarray(scipy.fft.ifft(rows, axis=-2)[..., near, :].real, np.float32)


def _peak_shape(around: NDArray[np.float64]) -> tuple[Matrix, Matrix]:
    """Summit of the parabola through 3 by 3 correlations, and how sharp it is in each direction.

    Parameters
    ----------
    around : (3, 3, N) float64 array
        Rows y, columns x.

    Returns
    -------
    offset : (N, 2) array
        Summit x, y from the middle, in px.
    sharpness : (N, 2, 2) array
        Square root of the curvature, relative to that in the sharpest direction.
    """
    slope = np.stack([around[1, 2] - around[1, 0], around[2, 1] - around[0, 1]], 1) / 2
    xx = 2 * around[1, 1] - around[1, 0] - around[1, 2]
    yy = 2 * around[1, 1] - around[0, 1] - around[2, 1]
    xy = (around[0, 2] + around[2, 0] - around[0, 0] - around[2, 2]) / 4
    curvature, direction = np.linalg.eigh(np.stack([xx, xy, xy, yy], 1).reshape(-1, 2, 2))
    curvature = np.maximum(curvature, 1e-6)
    along = np.einsum("nij,ni->nj", direction, slope) / curvature
    offset = np.einsum("nij,nj->ni", direction, np.clip(along, -1, 1))
    relative = np.sqrt(curvature / curvature[:, 1:])
    return offset, np.einsum("nij,nj,nkj->nik", direction, relative, direction)


def lengths(sharpness: NDArray[np.float64], vectors: Matrix) -> NDArray[np.float64]:
    """Lengths of vectors, as far as each tile can judge them."""
    found: NDArray[np.float64] = np.linalg.norm(np.einsum("nij,...nj->...ni", sharpness, vectors), axis=-1)
    return found


def joined(votes: Sequence[Votes]) -> Votes:
    """Votes of several pairs of pictures that lie alike."""
    return Votes(
        np.concatenate([v.points for v in votes]),
        np.concatenate([v.shifts for v in votes]),
        np.concatenate([v.weights for v in votes]),
        np.concatenate([v.sharpness for v in votes]),
    )
