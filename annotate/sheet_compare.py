"""What the hand-out tells about a stone before and after the work."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from setstone.annotate.photo_copies import small_copy
from setstone.annotate.shapes import Points
from setstone.annotate.two_days import Mark, Pictures, shown_together
from setstone.capture.photograph import Lamp
from setstone.measure.candidates import LampName
from setstone.measure.same_stone import SameStone
from setstone.record.before_after import before_and_after
from setstone.record.book import Book
from setstone.record.entries import StoneEntry
from setstone.record.gluing import WorkShown

#: Longest side of the pictures, in pixels: they are for comparing; each is above at full resolution.
_LONGEST = 1100
_QUALITY = 82


@dataclass(frozen=True)
class DayCopies:
    """Both days under one lamp, as JPEG of one size.

    Parameters
    ----------
    before, after, difference : bytes
    width, height : int
        In pixels.
    """

    before: bytes
    after: bytes
    difference: bytes
    width: int
    height: int


@dataclass(frozen=True, eq=False)
class ComparisonSheet:
    """A stone before and after the work.

    Parameters
    ----------
    before, after : str
        The occasions.
    refused : str
        Why they do not lie on one another, as a sentence; then there is nothing else.
    pictures : mapping of Lamp to DayCopies
    marks : tuple of Mark
        In a frame of `size` pixels (width, height).
    girdle : (N, 2) float64 array or None
        In that frame.
    um_per_px : float or None
        Of that frame.
    turned_deg : float
    residual_um : float or None
    same : SameStone or None
        How strongly the photographs speak for one stone; None where that cannot be told.
    glue : WorkShown or None
    no_glue, no_same : str
        Why there is none, as a sentence.
    notes : tuple of str
        What is odd about the two days, in sentences.
    comparable : mapping of LampName to float
        By lamp of both days, share of the stone that both show.
    """

    before: str
    after: str
    refused: str = ""
    pictures: Mapping[Lamp, DayCopies] = field(default_factory=dict)
    marks: tuple[Mark, ...] = ()
    girdle: Points | None = None
    size: tuple[int, int] = (1, 1)
    um_per_px: float | None = None
    turned_deg: float = 0.0
    residual_um: float | None = None
    same: SameStone | None = None
    glue: WorkShown | None = None
    no_glue: str = ""
    no_same: str = ""
    notes: tuple[str, ...] = ()
    comparable: Mapping[LampName, float] = field(default_factory=dict)


def comparison_sheet(book: Book, stone: StoneEntry, before: str, after: str) -> ComparisonSheet:
    """Compare two occasions for the hand-out."""
    found = before_and_after(book, stone, before, after)
    if found.comparison is None:
        return ComparisonSheet(before, after, refused=found.refused, same=found.same, no_same=found.no_same)
    shown = shown_together(found.comparison)
    height, width = next(iter(shown.pictures.values())).before.shape[:2]
    return ComparisonSheet(
        before,
        after,
        pictures={lamp: _copies(pictures) for lamp, pictures in shown.pictures.items()},
        marks=shown.marks,
        girdle=shown.girdle,
        size=(width, height),
        um_per_px=shown.um_per_px,
        turned_deg=found.comparison.both.registration.turned_deg,
        residual_um=found.comparison.residual_um,
        same=found.same,
        glue=found.glue,
        no_glue=found.no_glue,
        no_same=found.no_same,
        notes=found.comparison.both.notes,
        comparable=found.comparison.comparable,
    )


def _copies(pictures: Pictures) -> DayCopies:
    (before, width, height), (after, *_), (difference, *_) = (
        small_copy(picture, _LONGEST, _QUALITY)
        for picture in (pictures.before, pictures.after, pictures.difference)
    )
    return DayCopies(before, after, difference, width, height)
