"""What the photographs of two days can show of the same places in a stone.

Both days are brought into one frame. A place can be compared where the other day's photograph could have shown it: it is in view, not in
glare, not out of focus and not covered. Whether a line is on the other day's photograph is asked of the picture itself, by the
response of a filter for lines, and not only of the list of lines found there.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.measure.align import warp
from setstone.measure.candidates import LampName
from setstone.measure.girdle import visible_stone
from setstone.measure.light import Pixels, Plane, encoded_plane
from setstone.measure.outline import Outline
from setstone.measure.ridges import oriented_response
from setstone.measure.tiles import Matrix

Points = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: Greatest diameter of the girdle in the common frame, px; and its room around, diameters.
_GIRDLE, _ROOM = 800.0, 0.1
#: Brightness, of 255, from which a place is glare, and how far around it nothing can be told, px.
_GLARE, _AROUND_PX = 250, 9
#: Fine and coarse structure compared, px of the frame; the width of the surroundings in which, diameters; how far from a
#: line it is left out, px.
_FINE, _COARSE, _SURROUNDINGS, _LEFT_OUT = 1.0, 4.0, 0.03, 12
#: A place is out of focus where fine structure, against coarse, is so much weaker than on the other day, and against what is usual on either;
#: covered where the coarse is; and a photograph as a whole out of focus (of 8 computed pairs the least is 0.50, beside old, crazed glue).
_BLURRED, _COVERED, _ALL_BLURRED = 0.7, 0.4, 0.35
#: Structure, as a share of what is usual in the stone, below which it is nothing, and above which more says no more.
_NOTHING, _PLENTY = 0.3, 1.5
#: Widths of lines, standard deviations in px of the frame.
_SIGMAS = (1.0, 1.6, 2.6)
#: Standard deviation of the blur that takes the grain, px of the frame; and grey levels below which nothing is told from black.
_GRAIN, _BLACK = 1.5, 4.0
#: A point of a line is seen where the picture answers at least this share of what it should.
_ANSWER = 0.4
#: A line drawn by a person is in a picture where that answers so many times more than is usual in the stone.
_CLEAR = 5.0


@dataclass(frozen=True, eq=False)
class Lines:
    """How much a picture answers to a bright line at each place, in which direction (on doubled angles), and how bright it is.

    Parameters
    ----------
    response, cosine, sine : (H, W) float32 arrays
    level, usual : float
        Median brightness of the stone, and median response.
    sharp, light : (H, W) float32 arrays
        Brightness against the median, as a natural logarithm; the second without grain.
    """

    response: Plane
    cosine: Plane
    sine: Plane
    level: float
    usual: float
    sharp: Plane
    light: Plane

    def along(self, path: Points, heading: NDArray[np.float64]) -> NDArray[np.float64]:
        """Answer to a line of a heading at places of any shape (..., 2)."""
        x, y = np.moveaxis(path.astype(np.float32), -1, 0)
        answer, cosine, sine = (
            cv2.remap(p, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
            for p in (self.response, self.cosine, self.sine)
        )
        return np.maximum(0.0, (answer + cosine * np.cos(2 * heading) + sine * np.sin(2 * heading)) / 2)


@dataclass(frozen=True, eq=False)
class Sights:
    """Both days in one frame; of every pair the first is before and the second after.

    Parameters
    ----------
    to_frame : pair of (3, 3) float64 arrays
        Map (x, y, 1) of each day's reference photograph to the frame.
    comparable : pair of mappings of lamp to (H, W) bool array
        Where each day's photograph under a lamp could show what is in the stone; of all lamps of the day.
    lines : pair of mappings of lamp to Lines
        Under the lamps of both days.
    diameter_px, girdle_px2 : float
        Diameter and area of the girdle in the frame.
    """

    to_frame: tuple[Matrix, Matrix]
    comparable: tuple[Mapping[LampName, Mask], Mapping[LampName, Mask]]
    lines: tuple[Mapping[LampName, Lines], Mapping[LampName, Lines]]
    diameter_px: float
    girdle_px2: float

    def comparable_shares(self) -> dict[LampName, float]:
        """By lamp of both days, share of the stone that both could show."""
        before, after = self.comparable
        return {
            lamp: min(1.0, float((before[lamp] & after[lamp]).sum()) / self.girdle_px2)
            for lamp in before
            if lamp in after
        }

    @property
    def shape(self) -> tuple[int, int]:
        """Height and width of the frame, px."""
        height, width = next(iter(self.comparable[0].values())).shape
        return height, width


def sights(
    before: Mapping[LampName, Pixels],
    after: Mapping[LampName, Pixels],
    *,
    outlines: tuple[Outline, Outline],
    after_to_before: Matrix,
    lines: tuple[Sequence[Points], Sequence[Points]] = ((), ()),
) -> Sights:
    """Lay the photographs of two days on one another.

    Parameters
    ----------
    before, after : mapping of lamp to (H, W, 3) uint8 or uint16 array
        sRGB-encoded; those of one day lie on one another, first the one by which it is told what claws cover.
    outlines : (Outline, Outline)
        Girdle before and after.
    after_to_before : (3, 3) float64 array
        Maps the photographs after to those before (`setstone.measure.register`).
    lines : pair of sequences of (N, 2) float64 array, optional
        Paths that may be on one day only: they say nothing of focus and dirt.

    Returns
    -------
    Sights
    """
    low, high = outlines[0].points.min(0), outlines[0].points.max(0)
    diameter = float((high - low).mean())
    scale = min(1.0, _GIRDLE / diameter)
    room = _ROOM * diameter
    frame = np.array([[scale, 0, scale * (room - low[0])], [0, scale, scale * (room - low[1])], [0, 0, 1]])
    width, height = (int(n) for n in np.ceil(scale * (high - low + 2 * room)))
    to_frame = (frame, np.asarray(frame @ after_to_before))
    there: list[dict[LampName, Pixels]] = []
    seen: list[dict[LampName, Mask]] = []
    for day, outline, motion in zip((before, after), outlines, to_frame, strict=True):
        there.append({lamp: warp(pixels, motion, (height, width)) for lamp, pixels in day.items()})
        visible = visible_stone(next(iter(day.values())), outline)
        shown = {lamp: visible & ~glare(pixels) for lamp, pixels in day.items()}
        seen.append(
            {
                lamp: cv2.warpPerspective(
                    mask.astype(np.uint8), motion, (width, height), flags=cv2.INTER_NEAREST
                )
                > 0
                for lamp, mask in shown.items()
            }
        )
    drawn = [path @ m[:2, :2].T + m[:2, 2] for m, day in zip(to_frame, lines, strict=True) for path in day]
    free = ~_near_paths(drawn, (height, width))
    answers: tuple[dict[LampName, Lines], dict[LampName, Lines]] = ({}, {})
    for lamp in (lamp for lamp in before if lamp in after):
        inside = seen[0][lamp] & seen[1][lamp]
        first, second = (_structure(day[lamp], inside & free, scale * diameter) for day in there)
        for day, found in zip(there, answers, strict=True):
            found[lamp] = _lines(day[lamp], inside)
        seen[0][lamp] &= _shows(first, second)
        seen[1][lamp] &= _shows(second, first)
    area = cv2.contourArea(outlines[0].points.astype(np.float32)) * scale**2
    return Sights(to_frame, (seen[0], seen[1]), answers, scale * diameter, area)


def glare(pixels: Pixels) -> Mask:
    """Where a photograph shows nothing but light, and close around.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        sRGB-encoded photograph.

    Returns
    -------
    (H, W) bool array
        Where all channels are at their limit. Under blue light the blue one often is by itself (on the test pairs over up to 31 % of a stone), and the
        others go on telling lines from their ground.
    """
    limit = (pixels.min(axis=2) >= _GLARE / 255 * np.iinfo(pixels.dtype).max).astype(np.uint8)
    side = 2 * _AROUND_PX + 1
    return cv2.dilate(limit, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))) > 0


def answers_along(path: Points, own: Lines) -> bool:
    """Whether a picture answers to a line along a path at all, and not as it does anywhere.

    Parameters
    ----------
    path : (N, 2) float64 array
        In the frame, at least two points.
    own : Lines

    Returns
    -------
    bool
    """
    heading = np.arctan2(*np.gradient(path, axis=0).T[::-1])
    return bool(np.median(own.along(path, heading)) > _CLEAR * own.usual)


def seen_again(path: Points, own: Lines, other: Lines, reach: float) -> float:
    """Share of a line that the other day's picture shows too, at the place within reach where it shows most.

    Parameters
    ----------
    path : (N, 2) float64 array
        In the frame, at least two points.
    own, other : Lines
        Of the same lamp on both days.
    reach : float
        How far the line may have moved as a whole, px.

    Returns
    -------
    float
        0 to 1. What is asked for is `_ANSWER` of the answer on the line's own day, as much fainter or stronger as the other
        picture is darker or brighter.
    """
    heading = np.arctan2(*np.gradient(path, axis=0).T[::-1])
    steps = np.arange(-np.floor(reach), reach + 1)
    shifts = np.stack(np.meshgrid(steps, steps), -1).reshape(-1, 2)
    length = np.hypot(*shifts.T)
    places = path + shifts[length <= reach, None]
    there = other.along(places, np.broadcast_to(heading, places.shape[:2]))
    best = there[there.mean(axis=1).argmax()]
    wanted = own.along(path[None], heading[None])[0] * (other.level / own.level)
    return float(np.mean(best > _ANSWER * wanted))


def _lines(pixels: Pixels, inside: Mask) -> Lines:
    plane = np.asarray(pixels.max(axis=2) * np.float32(255 / np.iinfo(pixels.dtype).max), np.float32)
    found = oriented_response(plane, _SIGMAS)
    twice = 2 * found.angle
    level = max(1.0, float(np.median(plane[inside]))) if inside.any() else 1.0
    usual = float(np.median(found.response[inside])) if inside.any() else 0.0
    return Lines(
        found.response,
        found.response * np.cos(twice),
        found.response * np.sin(twice),
        level,
        usual,
        brightness(plane, level),
        brightness(cv2.GaussianBlur(plane, (0, 0), _GRAIN), level),
    )


def brightness(plane: Plane, level: float) -> Plane:
    """Brightness against a level, both 0 to 255, as a natural logarithm in which the darkest differences say little."""
    return np.asarray(np.log((plane + np.float32(_BLACK)) / np.float32(level + _BLACK)), np.float32)


def _near_paths(paths: Sequence[Points], shape: tuple[int, ...]) -> Mask:
    mask = np.zeros(shape, np.uint8)
    for path in paths:
        cv2.polylines(mask, [np.round(path).astype(np.int32)], False, (1,), 2 * _LEFT_OUT)
    return mask > 0


class _Structure(NamedTuple):
    """Fine and coarse structure around each place, as shares of what is usual in the stone, and how much steeper the fine is than the coarse."""

    fine: Plane
    coarse: Plane
    sharpness: float


def _structure(pixels: Pixels, where: Mask, diameter: float) -> _Structure:
    """Look at the structure of a picture.

    The fourth power mean of the slopes, near the steepest: a blur leaves the plain mean across an edge as it is.
    """
    third = 1 / 3
    plane = encoded_plane(pixels, (third, third, third))
    width, weight = _SURROUNDINGS * diameter, where.astype(np.float32)
    heard = np.maximum(cv2.GaussianBlur(weight, (0, 0), width), 1e-3)
    found, usual = [], []
    for sigma in (_FINE, _COARSE):
        smooth = cv2.GaussianBlur(plane, (0, 0), sigma)
        slope = cv2.magnitude(cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1))
        mean = (np.maximum(cv2.GaussianBlur(slope**4 * weight, (0, 0), width), 0) / heard) ** 0.25
        usual.append(max(float(np.median(mean[where])) if where.any() else 1.0, 1e-6))
        found.append(np.asarray(mean / usual[-1], np.float32))
    # What is blurred far beyond both is as steep at either.
    return _Structure(found[0], found[1], usual[0] / usual[1] - 1)


def _shows(one: _Structure, other: _Structure) -> Mask:
    """Where one day is in focus and uncovered, judged by the other."""
    if one.sharpness < _ALL_BLURRED * other.sharpness:
        return np.zeros(one.fine.shape, np.bool_)
    sharp, sharp_other = ((s.fine + _NOTHING) / (s.coarse + _NOTHING) for s in (one, other))
    much, much_other = (np.minimum(s.coarse, _PLENTY) + _NOTHING for s in (one, other))
    return np.asarray((sharp > _BLURRED * sharp_other) & (much > _COVERED * much_other))
