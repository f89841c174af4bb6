"""Lay one photograph of a stone onto another of the same occasion, for example blue onto white.

The lamps differ, so facets change their brightness completely: grey values cannot be compared. What
stays is where edges are and how they run. Both photographs are reduced to an *orientation field*, the
gradient on doubled angles so that the sign of the contrast drops out (Bigün & Granlund 1987). Cut into
overlapping tiles, each tile says by cross-correlation how far it moved (after Argyriou & Vlachos 2003).
Under another lamp many tiles are wrong, each in its own way; those that see the same edge agree. The
motion that most tiles support, by Tukey's biweight, is the answer, and a simpler motion is preferred: none,
then a shift, then a similarity. More freedom would bend under glare.
"""

from dataclasses import dataclass
from itertools import product

import cv2
import numpy as np
import scipy.fft
from numpy.typing import NDArray

from setstone.measure.errors import MeasurementError
from setstone.measure.light import Pixels, Plane, encoded_plane

Matrix = NDArray[np.float64]
Mask = NDArray[np.bool_]
Field = NDArray[np.complex64]

#: Long side of the pictures compared, in px. More would cost time and bring no accuracy: another lamp moves
#: the bright side of a rounded edge by more than a pixel.
_FINE_SIDE, _COARSE_SIDE = 800, 192
#: What the coarse search tries: a knocked stand or a touched zoom, not a stone set anew.
_TURNS_DEG = (0.0, -1.5, 1.5, -3.0, 3.0, -4.5, 4.5, -6.0, 6.0)
_ZOOMS = (1.0, 0.97, 1.03, 0.94, 1.06)
#: Tiles and the longest displacement looked for in one, in px of the fine pictures.
_TILE, _HOP, _REACH = 64, 32, 12
#: Correlation above which a tile is heard, and distance within which it supports a motion, in px.
_LEAST_CORRELATION, _TOLERANCE = 0.25, 1.2
#: A less simple motion must have this many times the support of a simpler one.
_CLEARLY_BETTER = 1.2
#: Tiles, and share of those heard, that must support a motion; and the share that needs no further search.
#: By chance a tile supports a given motion with a probability of pi 1.2^2 / 25^2 = 0.7 %. On 40 computed stones
#: under two lamps wrong motions that fit a repeated pattern reached 17 %, right ones 21 to 82 %.
_LEAST_TILES, _LEAST_SHARE, _BEYOND_DOUBT = 12, 0.19, 0.3


@dataclass(frozen=True, eq=False)
class Alignment:
    """How one photograph lies on another.

    Parameters
    ----------
    matrix : (3, 3) float64 array
        Maps (x, y, 1) of the moving photograph to the fixed one, in pixels; (0, 0) is the centre of
        the first pixel.
    residual_px : float
        Root mean square distance, over the places that support the motion, between what they show
        themselves and the motion; in pixels of the fixed photograph, infinite when not reliable.
    reliable : bool
        False when the photographs could not be brought together.
    reason : str
        What was found or what is missing, in words that follow a colon.
    """

    matrix: Matrix
    residual_px: float
    reliable: bool
    reason: str


def align(moving: Pixels, fixed: Pixels, *, usable: Mask | None = None) -> Alignment:
    """Find where `moving` lies on `fixed`, two photographs of one stone on one occasion.

    The camera may have been nudged (up to a sixteenth of the picture, some degrees, some percent) and the
    sizes may differ (then the same field of view is the first guess). "Not moved" is what every other
    answer must clearly beat.

    Parameters
    ----------
    moving, fixed : (H, W, 3) uint8 or uint16 arrays
        sRGB-encoded pixels, each of any size; the light may differ.
    usable : (H, W) bool array, optional
        Of the shape of `fixed`; False where a scale bar or a label was burned in by the camera. The same
        places of `moving` are left out too.

    Returns
    -------
    Alignment
        When too few places agree, `reliable` is False and the matrix is that of "not moved".

    Raises
    ------
    MeasurementError
        When `usable` has not the shape of `fixed`.
    """
    if usable is None:
        usable = np.ones(fixed.shape[:2], np.bool_)
    if usable.shape != fixed.shape[:2]:
        raise MeasurementError(
            f"The mask of usable places is {usable.shape} in size and the photograph {fixed.shape[:2]}; "
            "give a mask of the photograph's height and width."
        )
    pair = _Pair(moving, fixed, usable, _FINE_SIDE)
    unmoved = _Motion(np.eye(3), pair.votes(np.eye(3)))
    motions = [unmoved, _refined(pair, unmoved)]
    if max(motion.share for motion in motions) < _BEYOND_DOUBT:
        coarse = _Pair(moving, fixed, usable, _COARSE_SIDE)
        enlarge = _resizing(coarse.shape, pair.shape)
        starts = [enlarge @ start @ np.linalg.inv(enlarge) for start in _coarse_motions(coarse)]
        motions += [_refined(pair, _Motion(start, pair.votes(start))) for start in starts]
    best = max(motions, key=lambda motion: motion.merit)
    heard, agreeing = len(best.votes.points), int(best.agrees.sum())
    if agreeing < _LEAST_TILES or best.share < _LEAST_SHARE:
        return Alignment(
            pair.full(np.eye(3)),
            float("inf"),
            False,
            f"only {agreeing} of {heard} places in it agree on how it lies",
        )
    moved = "moved against each other" if best.moved else "as they were taken"
    reason = f"{moved}; {agreeing} of {heard} places agree"
    return Alignment(pair.full(best.matrix), best.residual * pair.px_per_px, True, reason)


def warp(pixels: Pixels, matrix: Matrix, shape: tuple[int, int]) -> Pixels:
    """Resample a photograph onto another one's pixels.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
    matrix : (3, 3) float64 array
        Maps (x, y, 1) of `pixels` to the result, for example `Alignment.matrix`.
    shape : (int, int)
        Height and width of the result.

    Returns
    -------
    (height, width, 3) array of the dtype of `pixels`
        Bicubic; black where `pixels` has nothing. The very same pixels where nothing moves.
    """
    if pixels.shape[:2] == shape and np.array_equal(matrix, np.eye(3)):
        return pixels
    shrink = 1 / np.sqrt(abs(np.linalg.det(matrix[:2, :2])))
    # A pixel of the result covers several here: average them, or fine lines break up.
    if shrink >= 2:
        whole = int(shrink)
        height, width = (n // whole for n in pixels.shape[:2])
        pixels = pixels[: height * whole, : width * whole]
        matrix = matrix @ _resizing((height, width), pixels.shape)
        pixels = cv2.resize(pixels, (width, height), interpolation=cv2.INTER_AREA)
        shrink /= whole
    if shrink > 1:
        pixels = cv2.GaussianBlur(pixels, (0, 0), 0.5 * np.sqrt(shrink**2 - 0.99))
    return cv2.warpPerspective(pixels, matrix, shape[::-1], flags=cv2.INTER_CUBIC)


@dataclass(frozen=True, eq=False)
class _Votes:
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
        return _lengths(self.sharpness, self.points + self.shifts - moved)

    def support(self, matrix: Matrix) -> float:
        return float((self.weights * _biweight(self.distances(matrix), _TOLERANCE)).sum())


class _Motion:
    """A motion and what speaks for it."""

    def __init__(self, matrix: Matrix, votes: _Votes) -> None:
        self.matrix = matrix
        self.votes = votes
        distance = np.hypot(*votes.shifts.T)
        self.agrees = distance < _TOLERANCE
        self.support = votes.support(np.eye(3))
        self.residual = float(np.sqrt((distance[self.agrees] ** 2).mean())) if self.agrees.any() else np.inf

    @property
    def share(self) -> float:
        return float(self.agrees.mean()) if len(self.agrees) else 0.0

    @property
    def moved(self) -> bool:
        return not np.array_equal(self.matrix, np.eye(3))

    @property
    def turned(self) -> bool:
        return not np.allclose(self.matrix[:2, :2], np.eye(2))

    @property
    def merit(self) -> float:
        """Support, with the advantage of the simpler motion."""
        if not self.moved:
            return self.support * _CLEARLY_BETTER**2
        return self.support if self.turned else self.support * _CLEARLY_BETTER


class _Pair:
    """Both photographs reduced to a common size, under the assumption of one field of view."""

    def __init__(self, moving: Pixels, fixed: Pixels, usable: Mask, side: int) -> None:
        height, width = fixed.shape[:2]
        self.px_per_px = max(1.0, max(height, width) / side)
        zoom = self.px_per_px * moving.shape[1] / width
        fixed_grey = _reduced(fixed, self.px_per_px)
        self._moving_grey = _reduced(moving, zoom)
        self.shape = fixed_grey.shape
        self._to_fixed = _resizing(self.shape, (height, width))
        self._to_moving = _resizing(self._moving_grey.shape, moving.shape[:2])
        mask = _no_larger_than_needed(usable.view(np.uint8) * np.uint8(255)).astype(np.float32) / 255
        small = cv2.resize(mask, self.shape[::-1], interpolation=cv2.INTER_AREA)
        kept = cv2.erode(small, np.ones((7, 7)))  # 7: the reach of the gradient
        self._moving_usable = cv2.resize(kept, self._moving_grey.shape[::-1])
        self.fixed_field = _orientation(fixed_grey, np.asarray(kept, np.float32))
        self._fixed_tiles = _tiles(self.fixed_field)

    def full(self, matrix: Matrix) -> Matrix:
        """Return the motion in the pixels of the photographs themselves."""
        result: Matrix = self._to_fixed @ matrix @ np.linalg.inv(self._to_moving)
        return result

    def moving_field(self, matrix: Matrix) -> Field:
        """Orientation field of the moving photograph after the motion."""
        size = self.shape[::-1]
        grey = cv2.warpPerspective(self._moving_grey, matrix, size)
        covered = cv2.warpPerspective(self._moving_usable, matrix, size)
        covered = cv2.erode(covered, np.ones((5, 5)))
        return _orientation(np.asarray(grey, np.float32), np.asarray(covered, np.float32))

    def votes(self, matrix: Matrix) -> _Votes:
        """Ask every tile how far it still is from its place after the motion."""
        return _votes(self._fixed_tiles, _tiles(self.moving_field(matrix)))


def _reduced(pixels: Pixels, factor: float) -> Plane:
    height, width = (max(1, round(n / factor)) for n in pixels.shape[:2])
    grey = encoded_plane(_no_larger_than_needed(pixels), (1 / 3, 1 / 3, 1 / 3))
    return np.asarray(cv2.resize(grey, (width, height), interpolation=cv2.INTER_AREA), np.float32)


def _no_larger_than_needed(pixels: Pixels) -> Pixels:
    """Reduce a large photograph as it is: averages rounded to whole numbers do, and no float copy is made of it."""
    # Halves first: OpenCV averages 2 x 2 pixels ten times as fast as 2.8 x 2.8. Odd sizes would be stretched.
    while max(pixels.shape[:2]) >= 4 * _FINE_SIDE and not any(n % 2 for n in pixels.shape[:2]):
        size = pixels.shape[1] // 2, pixels.shape[0] // 2
        pixels = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
    if max(pixels.shape[:2]) < 4 * _FINE_SIDE:
        return pixels
    shrink = 2 * _FINE_SIDE / max(pixels.shape[:2])
    width, height = (max(1, round(n * shrink)) for n in pixels.shape[1::-1])
    return cv2.resize(pixels, (width, height), interpolation=cv2.INTER_AREA)


def _resizing(source: tuple[int, ...], target: tuple[int, ...]) -> Matrix:
    """Map pixel centres of a picture to those of the same picture in another size."""
    y, x = target[0] / source[0], target[1] / source[1]
    return np.array([[x, 0, (x - 1) / 2], [0, y, (y - 1) / 2], [0, 0, 1]])


def _orientation(grey: Plane, usable: Plane) -> Field:
    """Gradient on doubled angles, its size relative to the surroundings and cut at twice their rms."""
    smooth = cv2.GaussianBlur(grey, (0, 0), 1.0)
    gx, gy = cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1)
    size = cv2.magnitude(gx, gy)
    surroundings = cv2.sqrt(cv2.blur(size * size, (41, 41))) + 1.0  # 1/8 grey level per px
    length = np.minimum(size / surroundings, 2) * (usable > 0.99)
    unit = (gx + 1j * gy) / np.maximum(size, 1e-6)
    return np.asarray(length * unit * unit, np.complex64)


def _coarse_motions(pair: _Pair) -> list[Matrix]:
    """Best shift, and best shift with a turn and zoom about the middle, by global correlation."""
    height, width = pair.shape
    spectrum = scipy.fft.fft2(pair.fixed_field)
    reach = max(height, width) // 16
    best: list[tuple[float, Matrix]] = []
    for zoom, turn in product(_ZOOMS, _TURNS_DEG):
        motion = np.eye(3)
        motion[:2] = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), turn, zoom)
        field = pair.moving_field(motion)
        surface = scipy.fft.ifft2(spectrum * scipy.fft.fft2(field).conj()).real
        near = np.roll(surface, (reach, reach), (0, 1))[: 2 * reach + 1, : 2 * reach + 1]
        y, x = np.unravel_index(near.argmax(), near.shape)
        shift = _moved_by(np.array([x, y]) - reach)
        best.append((float(near[y, x] / (np.linalg.norm(field) + 1e-6)), shift @ motion))
    return [best[0][1], max(best, key=lambda found: found[0])[1]]


@dataclass(frozen=True, eq=False)
class _Tiles:
    """Overlapping tiles of a field, row after row.

    Parameters
    ----------
    columns : int
        Tiles in a row.
    spectrum : (tile, _TILE, _TILE) complex64 array
    energy : (tile,) float32 array
        Sum of squared lengths.
    """

    columns: int
    spectrum: NDArray[np.complex64]
    energy: Plane


def _tiles(field: Field) -> _Tiles:
    if min(field.shape) < _TILE:
        return _Tiles(0, np.empty((0, _TILE, _TILE), np.complex64), np.empty(0, np.float32))
    window = np.outer(np.hanning(_TILE), np.hanning(_TILE)).astype(np.float32)
    tiles = np.lib.stride_tricks.sliding_window_view(field, (_TILE, _TILE))[::_HOP, ::_HOP] * window
    flat = tiles.reshape(-1, _TILE, _TILE)
    return _Tiles(tiles.shape[1], scipy.fft.fft2(flat), (np.abs(flat) ** 2).sum((1, 2)))


def _votes(fixed: _Tiles, moving: _Tiles) -> _Votes:
    """Displacement of each tile, to a fraction of a pixel by a parabola through the correlation peak."""
    if not fixed.columns:
        return _Votes(np.empty((0, 2)), np.empty((0, 2)), np.empty(0), np.empty((0, 2, 2)))
    surface = scipy.fft.ifft2(fixed.spectrum * moving.spectrum.conj()).real
    energy = np.sqrt(fixed.energy * moving.energy)
    side = 2 * _REACH + 1
    near = np.roll(surface, (_REACH, _REACH), (1, 2))[:, :side, :side] / (energy[:, None, None] + 1e-6)
    n = np.arange(len(near))
    y, x = np.unravel_index(near.reshape(len(near), -1).argmax(1), (side, side))
    peak = near[n, y, x]
    heard = (peak > _LEAST_CORRELATION) & (x > 0) & (x < side - 1) & (y > 0) & (y < side - 1)
    n, x, y, peak = n[heard], x[heard], y[heard], peak[heard]
    around = np.array([[near[n, y + j, x + i] for i in (-1, 0, 1)] for j in (-1, 0, 1)], np.float64)
    offset, sharpness = _peak_shape(around)
    points = np.stack([n % fixed.columns, n // fixed.columns], 1) * _HOP + (_TILE - 1) / 2
    shifts = np.stack([x, y], 1) - _REACH + offset
    return _Votes(points, shifts, peak.astype(np.float64) ** 2, sharpness)


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


def _lengths(sharpness: NDArray[np.float64], vectors: Matrix) -> NDArray[np.float64]:
    lengths: NDArray[np.float64] = np.linalg.norm(np.einsum("nij,...nj->...ni", sharpness, vectors), axis=-1)
    return lengths


def _refined(pair: _Pair, motion: _Motion) -> _Motion:
    """Improve a motion until its tiles no longer ask for a change."""
    for _ in range(4):
        step = _step(motion.votes, motion.turned)
        if step is None:
            break
        better = _Motion(step @ motion.matrix, pair.votes(step @ motion.matrix))
        if better.support <= motion.support:
            break
        motion = better
    return motion


def _step(votes: _Votes, turned: bool) -> Matrix | None:
    """Motion that most tiles ask for: a shift, or a similarity if turned already or clearly better."""
    if len(votes.points) < _LEAST_TILES:
        return None
    # Start from the displacement that most others share, not from a mean that the wrong ones pull away.
    apart = _lengths(votes.sharpness, votes.shifts[:, None] - votes.shifts)
    shared = _biweight(apart, 4 * _TOLERANCE) @ votes.weights
    shift = _fitted(votes, _moved_by(votes.shifts[int(shared.argmax())]), similarity=False)
    sampled, _ = cv2.estimateAffinePartial2D(
        votes.points, votes.points + votes.shifts, method=cv2.RANSAC, ransacReprojThreshold=2 * _TOLERANCE
    )
    if np.shape(sampled) != (2, 3):  # no two tiles agree
        return shift
    similarity = _fitted(votes, np.vstack([sampled, [0, 0, 1]]), similarity=True)
    clearly = turned or votes.support(similarity) > _CLEARLY_BETTER * votes.support(shift)
    return similarity if clearly else shift


def _fitted(votes: _Votes, start: Matrix, *, similarity: bool) -> Matrix:
    """Reweighted least squares from a start, the tolerance closing in (Tukey's biweight)."""
    middle = votes.points.mean(0)
    x, y = (votes.points - middle).T
    zero, one = np.zeros_like(x), np.ones_like(x)
    parameters = [[one, zero], [zero, one]] + ([[x, y], [-y, x]] if similarity else [])
    design = votes.sharpness @ np.moveaxis(
        np.array(parameters), (0, 1, 2), (2, 1, 0)
    )  # tile, coordinate, parameter
    wanted = np.einsum("nij,nj->ni", votes.sharpness, votes.shifts)
    matrix = start
    for width in (4, 4, 2, 2, 1, 1, 1, 1):
        weight = votes.weights * _biweight(votes.distances(matrix), width * _TOLERANCE)
        if np.count_nonzero(weight) < 3:
            break
        root = np.sqrt(weight)[:, None]
        rows = (design * root[..., None]).reshape(-1, len(parameters))
        found = np.linalg.lstsq(rows, (wanted * root).ravel())[0]
        linear = np.eye(3)
        if similarity:
            linear[:2, :2] += [[found[2], -found[3]], [found[3], found[2]]]
        matrix = _moved_by(middle + found[:2]) @ linear @ _moved_by(-middle)
    return matrix


def _moved_by(shift: NDArray[np.float64]) -> Matrix:
    matrix = np.eye(3)
    matrix[:2, 2] = shift
    return matrix


def _biweight(distance: NDArray[np.float64], width: float) -> NDArray[np.float64]:
    weight: NDArray[np.float64] = np.square(np.maximum(0, 1 - np.square(distance / width)))
    return weight
