"""Lay photographs of a stone onto others of the same stone from another day, however it was set again.

The stone may be turned by any angle, another zoom may have been used, the light may differ, the rim and the glare
changed. What is compared is the inside of the stone. Both girdles are brought to one size; every angle is tried on
small orientation fields (`tiles`); the best few are refined until most tiles agree (`motion`). A cut stone looks
much the same after a turn by one of its facets, so that the best angle must leave the next one well behind, or what differs
between the two must speak for it (`turns`); else nothing is said.
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np
import scipy.fft
from numpy.typing import NDArray

from setstone.measure.align import warp
from setstone.measure.errors import MeasurementError
from setstone.measure.light import Pixels, Plane, encoded_plane
from setstone.measure.motion import Motion, moved_by, refined, resizing
from setstone.measure.tiles import (
    Field,
    Matrix,
    Votes,
    correlated,
    joined,
    orientation,
    tiles_of,
    votes_between,
)
from setstone.measure.turns import preference, preferred

#: Side of the pictures compared and diameter of the girdle in them, px; and of those all angles are tried on.
_SIDE, _GIRDLE, _SMALL_SIDE = 640, 512.0, 160
#: What is nearer than this to the girdle is left out, diameters: the rim is set anew.
_RIM = 0.03
#: Threads that share the photographs, the angles and the motions followed.
_THREADS = 2
#: Step of the angles tried, degrees, and how far apart those are that are followed.
_STEP_DEG, _APART_DEG, _FOLLOWED = 2.0, 5.0, 6
#: Shift looked for, as a share of the picture's side: as far as anything overlaps, for an outline may be wrong.
_REACH = 0.45
#: Places, and share of those heard, that must agree; and how well a motion by another angle may fit against the best before they
#: must be told apart. On 11 computed pairs, white and blue together, 41 to 87 % of 173 to 388 places agree, of different
#: stones at most 15 %; another angle fits 3 to 25 % as well, on a step cut 60 to 100 %.
_LEAST_AGREEING, _LEAST_SHARE, _RIVAL = 24, 0.25, 0.75


@dataclass(frozen=True, eq=False)
class Registration:
    """How one set of photographs lies on another.

    Parameters
    ----------
    matrix : (3, 3) float64 array
        Maps (x, y, 1) of the moving photographs to the fixed ones, in pixels; (0, 0) is the centre of the first pixel.
    turned_deg : float
        Clockwise as seen, 0 to 360.
    residual_px : float
        Root mean square distance of the places that agree, px of the fixed photographs; infinite when not reliable.
    agreeing, heard : int
        Places that support the motion, and those that say anything.
    rival : float
        What speaks for the best motion by another angle, as a share of what speaks for this one.
    reliable : bool
        False when the photographs could not be brought together; then the matrix is that of the girdles alone.
    reason : str
        What was found or what is missing, in words that follow a colon.
    """

    matrix: Matrix
    turned_deg: float
    residual_px: float
    agreeing: int
    heard: int
    rival: float
    reliable: bool
    reason: str


def register(
    moving: Sequence[Pixels],
    fixed: Sequence[Pixels],
    *,
    moving_outline: NDArray[np.float64],
    fixed_outline: NDArray[np.float64],
    zoom: float | None = None,
) -> Registration:
    """Find where photographs of a stone lie on others of the same stone.

    Parameters
    ----------
    moving, fixed : sequence of (H, W, 3) uint8 or uint16 arrays
        sRGB-encoded; as many of each, in the same order, for example white and blue. The pictures of one sequence lie
        on one another.
    moving_outline, fixed_outline : (N, 2) float64 arrays
        Girdle in each, px.
    zoom : float, optional
        Pixels of the fixed photographs that a pixel of the moving ones covers, where both scales are known; else the
        girdles are taken to be of one size.

    Returns
    -------
    Registration

    Raises
    ------
    MeasurementError
        When the sequences differ in number, or an outline has no area.
    """
    if len(moving) != len(fixed) or not fixed:
        raise MeasurementError("Give as many photographs of one day as of the other, at least one of each.")
    to_fixed = _to_common(fixed_outline)
    to_moving = _to_common(moving_outline, None if zoom is None else to_fixed[0, 0] * zoom)
    inside_moving, inside_fixed = _inside(moving_outline, to_moving), _inside(fixed_outline, to_fixed)
    with ThreadPoolExecutor(_THREADS) as pool:
        fine = list(
            pool.map(
                lambda m, f: _Fields(_grey(m, to_moving), _grey(f, to_fixed), inside_moving, inside_fixed),
                moving,
                fixed,
            )
        )
    starts = _best_angles([pair.reduced(_SMALL_SIDE) for pair in fine])
    enlarge = resizing((_SMALL_SIDE, _SMALL_SIDE), (_SIDE, _SIDE))

    def votes(matrix: Matrix) -> Votes:
        return joined([pair.votes(matrix) for pair in fine])

    with ThreadPoolExecutor(_THREADS) as pool:
        begun = list(pool.map(lambda s: _begun(votes, enlarge @ s @ np.linalg.inv(enlarge)), starts))
        best = refined(votes, max(begun, key=lambda motion: motion.support), similarity=True)
        others = [m for m in begun if _apart(m, best)]
        followed = list(pool.map(lambda m: refined(votes, m, similarity=True, steps=2), others))
    near = [m for m in followed if m.support > _RIVAL * best.support and _apart(m, best)]
    tried = [best, *followed]
    told = _told_apart(fine, [best, *(refined(votes, m, similarity=True) for m in near)])
    best = told or best
    # One that comes to the same turn in the end is no rival.
    rival = max((m.support for m in tried if _apart(m, best)), default=0.0) / max(best.support, 1e-9)
    agreeing, heard = _agreeing(best), len(best.votes.points)
    if agreeing < max(_LEAST_AGREEING, _LEAST_SHARE * heard):
        why = f"only {agreeing} of {heard} places in it agree on how it lies"
    elif told is None:
        why = f"another turn fits {rival:.0%} as well; its facets look alike"
    else:
        why = ""
    agree = f"{agreeing} of {heard} places agree"
    if rival > _RIVAL:
        agree += (
            f"; another turn fits {rival:.0%} as well, but what differs between the two speaks for this one"
        )
    matrix = np.linalg.inv(to_fixed) @ (np.eye(3) if why else best.matrix) @ to_moving
    return Registration(
        matrix,
        0.0 if why else _turn(best.matrix) % 360,
        float("inf") if why else best.residual / to_fixed[0, 0],
        agreeing,
        heard,
        rival,
        not why,
        why or agree,
    )


def _to_common(outline: NDArray[np.float64], scale: float | None = None) -> Matrix:
    """Bring a girdle to the middle of the common picture, and to its size there unless the scale is given."""
    points = np.asarray(outline, np.float32)
    area = cv2.contourArea(points) if len(points) > 2 else 0.0
    if area <= 0:
        raise MeasurementError("The outline of the stone has no area; examine it or draw its girdle first.")
    scale = _GIRDLE / float(np.sqrt(4 * area / np.pi)) if scale is None else scale
    moments = cv2.moments(points)
    x, y = moments["m10"] / moments["m00"], moments["m01"] / moments["m00"]
    middle = (_SIDE - 1) / 2
    return np.array([[scale, 0, middle - scale * x], [0, scale, middle - scale * y], [0, 0, 1]])


def _inside(outline: NDArray[np.float64], matrix: Matrix) -> Plane:
    """1 well within the girdle, 0 elsewhere, in the common picture."""
    points = np.round(outline @ matrix[:2, :2].T + matrix[:2, 2]).astype(np.int32)
    mask = np.zeros((_SIDE, _SIDE), np.uint8)
    cv2.fillPoly(mask, [points], 1)
    reach = 2 * round(_RIM * _GIRDLE) + 1
    return np.asarray(
        cv2.erode(mask, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))), np.float32
    )


def _grey(pixels: Pixels, matrix: Matrix) -> Plane:
    third = 1 / 3
    return encoded_plane(warp(pixels, matrix, (_SIDE, _SIDE)), (third, third, third))


class _Fields:
    """A moving and a fixed photograph in the common picture."""

    def __init__(self, moving: Plane, fixed: Plane, inside_moving: Plane, inside_fixed: Plane) -> None:
        self._moving, self._inside = moving, inside_moving
        self._fixed, self._inside_fixed = fixed, inside_fixed
        self.fixed_field = orientation(fixed, inside_fixed)
        self._fixed_tiles = tiles_of(self.fixed_field)

    def reduced(self, side: int) -> "_Fields":
        """The same in a smaller size."""
        planes = (self._moving, self._fixed, self._inside, self._inside_fixed)
        return _Fields(
            *(
                np.asarray(cv2.resize(p, (side, side), interpolation=cv2.INTER_AREA), np.float32)
                for p in planes
            )
        )

    def moving_field(self, matrix: Matrix) -> Field:
        """Orientation field of the moving photograph after a motion."""
        size = self._moving.shape[::-1]
        grey = cv2.warpPerspective(self._moving, matrix, size)
        inside = cv2.warpPerspective(self._inside, matrix, size)
        return orientation(np.asarray(grey, np.float32), np.asarray(inside, np.float32))

    def votes(self, matrix: Matrix) -> Votes:
        """Ask every tile how far it still is from its place after a motion."""
        return votes_between(self._fixed_tiles, self.moving_field(matrix))


def _best_angles(pairs: Sequence[_Fields]) -> list[Matrix]:
    """The best motions by different angles, each with its best shift, by correlation of all pairs together."""
    side = len(pairs[0].fixed_field)
    reach = round(side * _REACH)
    middle = (side - 1) / 2
    spectra = [scipy.fft.fft2(pair.fixed_field) for pair in pairs]
    still = [pair.moving_field(np.eye(3)) for pair in pairs]
    sizes = [
        np.linalg.norm(field) * np.linalg.norm(pair.fixed_field) + 1e-6
        for field, pair in zip(still, pairs, strict=True)
    ]

    def tried(turn: float) -> tuple[float, float, Matrix]:
        motion = np.eye(3)
        motion[:2] = cv2.getRotationMatrix2D((middle, middle), turn, 1.0)
        likeness = np.zeros((2 * reach + 1, 2 * reach + 1))
        for field, spectrum, size in zip(still, spectra, sizes, strict=True):
            likeness += correlated(spectrum, scipy.fft.fft2(_turned(field, motion)), reach) / size
        y, x = np.unravel_index(likeness.argmax(), likeness.shape)
        return float(likeness[y, x]), turn, moved_by(np.array([x, y]) - reach) @ motion

    with ThreadPoolExecutor(_THREADS) as pool:
        found = list(pool.map(tried, np.arange(0, 360, _STEP_DEG).tolist()))
    kept: list[tuple[float, float, Matrix]] = []
    for one in sorted(found, key=lambda f: -f[0]):
        if all(_between(one[1], other[1]) > _APART_DEG for other in kept):
            kept.append(one)
    return [motion for _, _, motion in kept[:_FOLLOWED]]


def _turned(field: Field, motion: Matrix) -> Field:
    """An orientation field after a turn: its places move, and its doubled angles turn twice as far."""
    size = field.shape[::-1]
    parts = (
        cv2.warpAffine(np.ascontiguousarray(part), motion[:2], size) for part in (field.real, field.imag)
    )
    real, imaginary = parts
    return np.asarray((real + 1j * imaginary) * np.exp(2j * np.radians(_turn(motion))), np.complex64)


def _told_apart(pairs: Sequence[_Fields], motions: Sequence[Motion]) -> Motion | None:
    """The motion that the photographs prefer to all by other angles, the only one if there are none; None where they cannot tell."""
    turns: list[Motion] = []
    for motion in sorted(motions, key=lambda m: -m.support):
        if all(_apart(motion, one) for one in turns):
            turns.append(motion)
    if len(turns) == 1:
        return turns[0]
    fields = [[pair.moving_field(motion.matrix) for pair in pairs] for motion in turns]

    def beats(one: int, other: int) -> bool:
        return preferred(
            [
                preference(pair.fixed_field, a, b)
                for pair, a, b in zip(pairs, fields[one], fields[other], strict=True)
            ]
        )

    every = range(len(turns))
    return next((turns[i] for i in every if all(beats(i, k) for k in every if k != i)), None)


def _begun(votes: Callable[[Matrix], Votes], start: Matrix) -> Motion:
    """Two steps from a start: enough to see whether anything agrees."""
    return refined(votes, Motion(start, votes(start)), similarity=True, steps=2)


def _apart(one: Motion, other: Motion) -> bool:
    return _between(_turn(one.matrix), _turn(other.matrix)) > _APART_DEG


def _agreeing(motion: Motion) -> int:
    return int(motion.agrees.sum())


def _turn(matrix: Matrix) -> float:
    return float(np.degrees(np.arctan2(matrix[1, 0], matrix[0, 0])))


def _between(one_deg: float, other_deg: float) -> float:
    """Angle between two directions, 0 to 180 degrees."""
    return abs((one_deg - other_deg + 180) % 360 - 180)
