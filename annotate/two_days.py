"""Photographs of two occasions in one frame around the stone, and what is marked on them."""

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from setstone.annotate.overlay import mapped
from setstone.annotate.png import eight_bit
from setstone.capture.photograph import Lamp
from setstone.measure.align import warp
from setstone.measure.changes import Where
from setstone.measure.claws import covered
from setstone.measure.difference import lightness_difference
from setstone.measure.motion import moved_by
from setstone.record.changing import Changed, Comparison
from setstone.record.two_occasions import TwoOccasions

Image = NDArray[np.uint8]
Points = NDArray[np.float64]

#: Room around the girdle, as a share of its size: the rim and some of the setting.
_AROUND = 0.15
#: Difference of CIE L* that is drawn in full colour.
_FULL = 40.0
#: Lighter after the work, darker after it: orange and blue of Okabe & Ito, "Color Universal Design" (2008).
LIGHTER, DARKER = (230, 159, 0), (0, 114, 178)
#: Signs beside the numbers: seen only after, longer after, only before, not comparable, in both.
SIGNS = {Where.AFTER: "+", Where.LONGER: "*", Where.BEFORE: "−", Where.UNKNOWN: "?", Where.BOTH: "="}


@dataclass(frozen=True, eq=False)
class Mark:
    """Something seen on one of the days, in the frame of the pictures.

    Parameters
    ----------
    path : (N, 2) float64 array
        x, y in pixels of the pictures.
    closed : bool
    changed : Changed
    """

    path: Points
    closed: bool
    changed: Changed

    @property
    def label(self) -> str:
        """Its number and the sign of where it is seen."""
        return f"{self.changed.entry.number}{SIGNS[self.changed.change.where]}"


@dataclass(frozen=True, eq=False)
class Pictures:
    """Both days under one lamp.

    Parameters
    ----------
    before, after, difference : (H, W, 3) uint8 arrays
        sRGB-encoded.
    """

    before: Image
    after: Image
    difference: Image


@dataclass(frozen=True, eq=False)
class TwoDays:
    """Two occasions of a stone as they are shown.

    Parameters
    ----------
    comparison : Comparison
    pictures : mapping of Lamp to Pictures
        All of one size.
    marks : tuple of Mark
        Possible damage first.
    girdle : (N, 2) float64 array
        In pixels of the pictures.
    um_per_px : float or None
        Of the pictures.
    """

    comparison: Comparison
    pictures: Mapping[Lamp, Pictures]
    marks: tuple[Mark, ...]
    girdle: Points
    um_per_px: float | None


def shown_together(comparison: Comparison) -> TwoDays:
    """Lay the photographs of a comparison on one another, cut to the stone."""
    both = comparison.both
    corner, size = _frame(both)
    return TwoDays(
        comparison,
        _pictures(both, corner, size),
        tuple(_mark(changed, both, corner) for changed in comparison.changed),
        both.outlines[0].points - corner,
        both.looks[0].um_per_px,
    )


def _frame(both: TwoOccasions) -> tuple[NDArray[np.int64], tuple[int, int]]:
    """Upper left corner x, y and size (height, width) of what is shown, in the photograph before that was examined."""
    girdle = both.outlines[0].points
    height, width = next(iter(both.looks[0].pictures.values())).shape[:2]
    room = _AROUND * float((girdle.max(0) - girdle.min(0)).max())
    low = np.maximum(np.floor(girdle.min(0) - room), 0).astype(np.int64)
    high = np.minimum(np.ceil(girdle.max(0) + room) + 1, (width, height)).astype(np.int64)
    return low, (int(high[1] - low[1]), int(high[0] - low[0]))


def _pictures(both: TwoOccasions, corner: NDArray[np.int64], size: tuple[int, int]) -> dict[Lamp, Pictures]:
    (x, y), (height, width) = corner, size
    inside = covered(size, [both.outlines[0].points - corner])
    onto = moved_by(-corner.astype(np.float64)) @ both.registration.matrix
    first, second = (look.pictures for look in both.looks)
    shown = {}
    for lamp in (lamp for lamp in first if lamp in second):
        one, other = first[lamp], second[lamp]
        before = np.ascontiguousarray(eight_bit(one[y : y + height, x : x + width]))
        after = np.ascontiguousarray(eight_bit(warp(other, onto, size)))
        seen = inside & after.any(axis=-1)  # where the photograph after reaches
        shown[Lamp(lamp)] = Pictures(
            before, after, _coloured(before, lightness_difference(before, after, seen), inside)
        )
    return shown


def _coloured(before: Image, difference: NDArray[np.float32], inside: NDArray[np.bool_]) -> Image:
    """Draw a difference: grey where nothing differs, orange where lighter after, blue where darker; the setting dim."""
    step = np.linspace(-1, 1, 511)[:, None]
    colours = (200 * (1 - np.abs(step)) + np.abs(step) * np.where(step > 0, LIGHTER, DARKER)).astype(np.uint8)
    drawn = colours[np.rint(np.clip(difference / _FULL, -1, 1) * 255).astype(np.int16) + 255]
    dim = cv2.transform(before, np.full((3, 3), 0.4 / 3))  # the same grey in all channels
    return np.ascontiguousarray(np.where(inside[..., None], drawn, dim), np.uint8)


def _mark(changed: Changed, both: TwoOccasions, corner: NDArray[np.int64]) -> Mark:
    end = changed.change.grown if changed.change.where is Where.LONGER else None
    path = changed.entry.candidate.path if end is None else end
    if changed.change.of_after:
        path = mapped(path, both.registration.matrix)
    return Mark(np.asarray(path - corner, np.float64), changed.entry.candidate.kind == "spot", changed)
