"""What the photographs of two days can show of the same places in a stone.

Both days are brought into one frame. A place can be compared where the other day's photograph could have shown it: it is in view, not in
glare, not out of focus and not covered. Whether a line is on the other day's photograph is asked of the picture itself, by the
response of a filter for lines, and not only of the list of lines found there.
"""

from collections.abc import Mapping
from dataclasses import dataclass

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
#: Fine and coarse structure compared, px of the frame; the width of the surroundings in which, diameters; grey levels a px that are nothing.
_FINE, _COARSE, _SURROUNDINGS, _NOTHING = 1.0, 4.0, 0.03, 1.5
#: A place is out of focus where fine structure, against coarse, is so much weaker than on the other day; and covered where the coarse is.
_BLURRED, _COVERED = 0.4, 0.25
#: Widths of lines, standard deviations in px of the frame.
_SIGMAS = (1.0, 1.6, 2.6)
#: A point of a line is seen where the picture answers at least this share of what it should.
_ANSWER = 0.4


@dataclass(frozen=True, eq=False)
class Lines:
    """How much a picture answers to a bright line at each place, in which direction (on doubled angles), and how bright it is.

    Parameters
    ----------
    response, cosine, sine : (H, W) float32 arrays
    level : float
        Median brightness of the stone.
    """

    response: Plane
    cosine: Plane
    sine: Plane
    level: float

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
    comparable : pair of (H, W) bool arrays
        Where each day's photograph could show what is in the stone.
    lines : pair of mappings of lamp to Lines
    diameter_px : float
        Girdle in the frame.
    """

    to_frame: tuple[Matrix, Matrix]
    comparable: tuple[Mask, Mask]
    lines: tuple[Mapping[LampName, Lines], Mapping[LampName, Lines]]
    diameter_px: float


def sights(
    before: Mapping[LampName, Pixels],
    after: Mapping[LampName, Pixels],
    *,
    outlines: tuple[Outline, Outline],
    after_to_before: Matrix,
) -> Sights:
    """Lay the photographs of two days on one another.

    Parameters
    ----------
    before, after : mapping of lamp to (H, W, 3) uint8 or uint16 array
        sRGB-encoded; those of one day lie on one another. Places are judged by the first of them.
    outlines : (Outline, Outline)
        Girdle before and after.
    after_to_before : (3, 3) float64 array
        Maps the photographs after to those before (`setstone.measure.register`).

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
    there, seen = [], []
    for day, outline, motion in zip((before, after), outlines, to_frame, strict=True):
        there.append({lamp: warp(pixels, motion, (height, width)) for lamp, pixels in day.items()})
        shown = comparable(next(iter(day.values())), outline).astype(np.uint8)
        seen.append(cv2.warpPerspective(shown, motion, (width, height), flags=cv2.INTER_NEAREST) > 0)
    first, second = (_structure(next(iter(day.values())), scale * diameter) for day in there)
    inside = seen[0] & seen[1]
    lamps = [lamp for lamp in before if lamp in after]
    lines = [{lamp: _lines(day[lamp], inside) for lamp in lamps} for day in there]
    return Sights(
        to_frame,
        (seen[0] & _shows(first, second, inside), seen[1] & _shows(second, first, inside)),
        (lines[0], lines[1]),
        scale * diameter,
    )


def comparable(pixels: Pixels, outline: Outline) -> Mask:
    """Where a photograph shows the inside of a stone: in view, and not in glare.

    Parameters
    ----------
    pixels : (H, W, 3) uint8 or uint16 array
        sRGB-encoded photograph.
    outline : Outline
        Girdle in it.

    Returns
    -------
    (H, W) bool array
    """
    least = pixels.min(axis=2)
    glare = (least >= _GLARE / 255 * np.iinfo(pixels.dtype).max).astype(np.uint8)
    side = 2 * _AROUND_PX + 1
    around = cv2.dilate(glare, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)))
    return visible_stone(pixels, outline) & (around == 0)


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
    return Lines(found.response, found.response * np.cos(twice), found.response * np.sin(twice), level)


def _structure(pixels: Pixels, diameter: float) -> tuple[Plane, Plane]:
    """Logarithms of fine and coarse structure around each place; as geometric means, so that one line says little."""
    third = 1 / 3
    plane = encoded_plane(pixels, (third, third, third))
    found = []
    for sigma in (_FINE, _COARSE):
        smooth = cv2.GaussianBlur(plane, (0, 0), sigma)
        slope = cv2.magnitude(
            cv2.Scharr(smooth, cv2.CV_32F, 1, 0, scale=1 / 32),
            cv2.Scharr(smooth, cv2.CV_32F, 0, 1, scale=1 / 32),
        )
        logarithm = np.log(slope + np.float32(_NOTHING / sigma))
        found.append(np.asarray(cv2.GaussianBlur(logarithm, (0, 0), _SURROUNDINGS * diameter), np.float32))
    return found[0], found[1]


def _shows(one: tuple[Plane, Plane], other: tuple[Plane, Plane], inside: Mask) -> Mask:
    """Where one day is in focus and uncovered, judged by the other."""
    fine, coarse = one[0] - other[0], one[1] - other[1]
    darker = float(np.median(coarse[inside])) if inside.any() else 0.0
    return np.asarray((fine - coarse > np.log(_BLURRED)) & (coarse - darker > np.log(_COVERED)))
