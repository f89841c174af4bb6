"""Lay one photograph of a stone onto another of the same occasion, for example blue onto white.

The motion that most tiles of the photographs' orientation fields support (`tiles`, `motion`) is the answer.
"""

from dataclasses import dataclass
from itertools import product

import cv2
import numpy as np
import scipy.fft
from numpy.typing import NDArray

from setstone.measure.errors import MeasurementError
from setstone.measure.light import Pixels, Plane, encoded_plane
from setstone.measure.motion import LEAST_TILES, Motion, moved_by, refined, resizing
from setstone.measure.tiles import Field, Matrix, Votes, orientation, tiles_of, votes_between

Mask = NDArray[np.bool_]

#: Long side of the pictures compared, in px. More would cost time and bring no accuracy: another lamp moves
#: the bright side of a rounded edge by more than a pixel.
_FINE_SIDE, _COARSE_SIDE = 800, 192
#: What the coarse search tries: a knocked stand or a touched zoom, not a stone set anew.
_TURNS_DEG = (0.0, -1.5, 1.5, -3.0, 3.0, -4.5, 4.5, -6.0, 6.0)
_ZOOMS = (1.0, 0.97, 1.03, 0.94, 1.06)
#: Share of the tiles heard that must support a motion; and the share that needs no further search.
#: By chance a tile supports a given motion with a probability of pi 1.2^2 / 25^2 = 0.7 %. On 40 computed stones
#: under two lamps wrong motions that fit a repeated pattern reached 17 %, right ones 21 to 82 %.
_LEAST_SHARE, _BEYOND_DOUBT = 0.19, 0.3


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
    unmoved = Motion(np.eye(3), pair.votes(np.eye(3)))
    motions = [unmoved, refined(pair.votes, unmoved)]
    if max(motion.share for motion in motions) < _BEYOND_DOUBT:
        coarse = _Pair(moving, fixed, usable, _COARSE_SIDE)
        enlarge = resizing(coarse.shape, pair.shape)
        starts = [enlarge @ start @ np.linalg.inv(enlarge) for start in _coarse_motions(coarse)]
        motions += [refined(pair.votes, Motion(start, pair.votes(start))) for start in starts]
    best = max(motions, key=lambda motion: motion.merit)
    heard, agreeing = len(best.votes.points), int(best.agrees.sum())
    if agreeing < LEAST_TILES or best.share < _LEAST_SHARE:
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
        matrix = matrix @ resizing((height, width), pixels.shape)
        pixels = cv2.resize(pixels, (width, height), interpolation=cv2.INTER_AREA)
        shrink /= whole
    if shrink > 1:
        pixels = cv2.GaussianBlur(pixels, (0, 0), 0.5 * np.sqrt(shrink**2 - 0.99))
    return cv2.warpPerspective(pixels, matrix, shape[::-1], flags=cv2.INTER_CUBIC)


class _Pair:
    """Both photographs reduced to a common size, under the assumption of one field of view."""

    def __init__(self, moving: Pixels, fixed: Pixels, usable: Mask, side: int) -> None:
        height, width = fixed.shape[:2]
        self.px_per_px = max(1.0, max(height, width) / side)
        zoom = self.px_per_px * moving.shape[1] / width
        fixed_grey = _reduced(fixed, self.px_per_px)
        self._moving_grey = _reduced(moving, zoom)
        self.shape = fixed_grey.shape
        self._to_fixed = resizing(self.shape, (height, width))
        self._to_moving = resizing(self._moving_grey.shape, moving.shape[:2])
        mask = _no_larger_than_needed(usable.view(np.uint8) * np.uint8(255)).astype(np.float32) / 255
        small = cv2.resize(mask, self.shape[::-1], interpolation=cv2.INTER_AREA)
        kept = cv2.erode(small, np.ones((7, 7)))  # 7: the reach of the gradient
        self._moving_usable = cv2.resize(kept, self._moving_grey.shape[::-1])
        self.fixed_field = orientation(fixed_grey, np.asarray(kept, np.float32))
        self._fixed_tiles = tiles_of(self.fixed_field)

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
        return orientation(np.asarray(grey, np.float32), np.asarray(covered, np.float32))

    def votes(self, matrix: Matrix) -> Votes:
        """Ask every tile how far it still is from its place after the motion."""
        return votes_between(self._fixed_tiles, self.moving_field(matrix))


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
        shift = moved_by(np.array([x, y]) - reach)
        best.append((float(near[y, x] / (np.linalg.norm(field) + 1e-6)), shift @ motion))
    return [best[0][1], max(best, key=lambda found: found[0])[1]]
