"""A stone before and after the work: its photographs laid on one another, what changed, glue, and whether it is the same."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from setstone.annotate.png import eight_bit
from setstone.capture.photograph import Lamp
from setstone.measure.align import warp
from setstone.measure.changes import Where
from setstone.measure.claws import covered
from setstone.measure.difference import lightness_difference
from setstone.measure.errors import MeasurementError
from setstone.measure.motion import moved_by
from setstone.measure.same_stone import SameStone, same_stone
from setstone.record.book import Book
from setstone.record.changing import Changed, Comparison, changes_between
from setstone.record.entries import StoneEntry
from setstone.record.errors import BookError
from setstone.record.gluing import WorkShown, glue_between
from setstone.record.identity import fingerprint_of
from setstone.record.two_occasions import TwoOccasions, two_occasions

Image = NDArray[np.uint8]
Points = NDArray[np.float64]

View = Literal["swipe", "blink", "side by side", "difference"]
#: How both days are shown.
VIEWS: tuple[View, ...] = ("swipe", "blink", "side by side", "difference")

#: Room around the girdle, as a share of its size: the rim and some of the setting.
_AROUND = 0.15
#: Difference of CIE L* that is drawn in full colour.
_FULL = 40.0
#: Lighter after the work, darker after it: orange and blue of Okabe & Ito, "Color Universal Design" (2008).
LIGHTER, DARKER = (230, 159, 0), (0, 114, 178)

#: Steps of `compare`, as they are told.
STEPS = ("comparing the insides", "laying the photographs on one another", "looking for changes", "drawing")


@dataclass(frozen=True, eq=False)
class Mark:
    """Something seen on one of the days, in the frame of the pictures.

    Parameters
    ----------
    label : str
        Its number and the sign of where it is seen.
    path : (N, 2) float64 array
        x, y in pixels of the pictures.
    closed : bool
    changed : Changed
    """

    label: str
    path: Points
    closed: bool
    changed: Changed


#: Signs beside the numbers: seen only after, only before, not comparable, in both.
SIGNS = {Where.AFTER: "+", Where.BEFORE: "−", Where.UNKNOWN: "?", Where.BOTH: "="}


@dataclass(frozen=True, eq=False)
class Pictures:
    """Both days under one lamp, in one frame around the stone.

    Parameters
    ----------
    before, after, difference : (H, W, 3) uint8 arrays
        sRGB-encoded.
    """

    before: Image
    after: Image
    difference: Image


@dataclass(frozen=True, eq=False)
class Compared:
    """What was found out by comparing two days.

    Parameters
    ----------
    stone : StoneEntry
    before, after : str
        The occasions.
    same : SameStone or None
        None where it could not be asked; `no_same` says why.
    comparison : Comparison or None
        None where the photographs do not lie on one another; `refused` says why.
    glue : WorkShown or None
        None where the rim could not be compared; `no_glue` says why.
    pictures : mapping of Lamp to Pictures
    marks : tuple of Mark
    um_per_px : float or None
        Of the pictures.
    """

    stone: StoneEntry
    before: str
    after: str
    same: SameStone | None = None
    no_same: str = ""
    comparison: Comparison | None = None
    refused: str = ""
    glue: WorkShown | None = None
    no_glue: str = ""
    pictures: Mapping[Lamp, Pictures] = field(default_factory=dict)
    marks: tuple[Mark, ...] = ()
    um_per_px: float | None = None


def compare(
    book: Book,
    stone: StoneEntry,
    before: str,
    after: str,
    tell: Callable[[str], None] = lambda _step: None,
) -> Compared:
    """Compare a stone on two occasions.

    Parameters
    ----------
    book : Book
    stone : StoneEntry
    before, after : str
        Occasions that were examined.
    tell : callable, optional
        Told each of `STEPS` as it begins; whatever it raises ends the comparison.

    Raises
    ------
    BookError
        When an occasion was not examined, or a photograph is lost.
    """
    tell(STEPS[0])
    entries = [book.examination(stone, occasion) for occasion in (before, after)]
    same, no_same = None, ""
    try:
        same = same_stone(*(fingerprint_of(book, entry) for entry in entries))
    except MeasurementError as error:
        no_same = str(error)
    tell(STEPS[1])
    try:
        both = two_occasions(book, stone, before, after)
    except BookError as error:
        return Compared(stone, before, after, same, no_same, refused=str(error))
    tell(STEPS[2])
    comparison = changes_between(both)
    glue, no_glue = None, ""
    try:
        glue = glue_between(both)
    except MeasurementError as error:
        no_glue = str(error)
    tell(STEPS[3])
    corner, size = _frame(both)
    return Compared(
        stone,
        before,
        after,
        same,
        no_same,
        comparison,
        glue=glue,
        no_glue=no_glue,
        pictures=_pictures(both, corner, size),
        marks=tuple(_mark(changed, both, corner) for changed in comparison.changed),
        um_per_px=both.looks[0].um_per_px,
    )


def _frame(both: TwoOccasions) -> tuple[NDArray[np.int64], tuple[int, int]]:
    """Upper left corner x, y and size (height, width) of what is shown, in the white photograph before."""
    girdle = both.outlines[0].points
    height, width = both.looks[0].white.shape[:2]
    room = _AROUND * float((girdle.max(0) - girdle.min(0)).max())
    low = np.maximum(np.floor(girdle.min(0) - room), 0).astype(np.int64)
    high = np.minimum(np.ceil(girdle.max(0) + room) + 1, (width, height)).astype(np.int64)
    return low, (int(high[1] - low[1]), int(high[0] - low[0]))


def _pictures(both: TwoOccasions, corner: NDArray[np.int64], size: tuple[int, int]) -> dict[Lamp, Pictures]:
    (x, y), (height, width) = corner, size
    inside = covered(size, [both.outlines[0].points - corner])
    onto = moved_by(-corner.astype(np.float64)) @ both.registration.matrix
    first, second = both.looks
    shown = {}
    for lamp, one, other in (
        (Lamp.WHITE, first.white, second.white),
        (Lamp.BLUE, first.blue, second.blue),
    ):
        if one is None or other is None:
            continue
        before = np.ascontiguousarray(eight_bit(one[y : y + height, x : x + width]))
        after = np.ascontiguousarray(eight_bit(warp(other, onto, size)))
        seen = inside & after.any(axis=-1)  # where the photograph after reaches
        shown[lamp] = Pictures(
            before, after, _coloured(before, lightness_difference(before, after, seen), inside)
        )
    return shown


def _coloured(before: Image, difference: NDArray[np.float32], inside: NDArray[np.bool_]) -> Image:
    """Draw a difference: grey where nothing differs, orange where lighter after, blue where darker; the setting dim."""
    share = np.clip(np.abs(difference) / _FULL, 0, 1)[..., None]
    lighter, darker = (np.array(colour, np.float32) for colour in (LIGHTER, DARKER))
    ends = np.where(difference[..., None] > 0, lighter, darker)
    drawn = (1 - share) * np.float32(200) + share * ends
    dim = before.mean(axis=-1, keepdims=True) * np.float32(0.4)
    return np.ascontiguousarray(
        np.where(inside[..., None], drawn, np.broadcast_to(dim, drawn.shape)), np.uint8
    )


def _mark(changed: Changed, both: TwoOccasions, corner: NDArray[np.int64]) -> Mark:
    path = changed.entry.candidate.path
    if changed.change.of_after:
        ones = np.column_stack([path, np.ones(len(path))])
        path = (ones @ both.registration.matrix.T)[:, :2]
    return Mark(
        f"{changed.entry.number}{SIGNS[changed.change.where]}",
        np.asarray(path - corner, np.float64),
        changed.entry.candidate.kind == "spot",
        changed,
    )
