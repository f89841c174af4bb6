"""Comparing two days of the chosen stone: what changed, what became of the glue, and whether it is the same."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from setstone.annotate.two_days import TwoDays, shown_together
from setstone.measure.errors import MeasurementError
from setstone.measure.same_stone import SameStone, same_stone
from setstone.record.book import Book
from setstone.record.changing import changes_between
from setstone.record.entries import ComparisonEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.gluing import WorkShown, glue_between
from setstone.record.identity import fingerprint_of
from setstone.record.two_occasions import two_occasions

View = Literal["swipe", "blink", "side by side", "difference"]
#: How both days are shown.
VIEWS: tuple[View, ...] = ("swipe", "blink", "side by side", "difference")

#: Steps of `compare`, as they are told.
STEPS = ("comparing the insides", "laying the photographs on one another", "looking for changes", "drawing")


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
    shown : TwoDays or None
        None where the photographs do not lie on one another; `refused` says why.
    glue : WorkShown or None
        None where the rim could not be compared; `no_glue` says why.
    kept : ComparisonEntry or None
        The comparison of these examinations that the book holds.
    """

    stone: StoneEntry
    before: str
    after: str
    same: SameStone | None = None
    no_same: str = ""
    shown: TwoDays | None = None
    refused: str = ""
    glue: WorkShown | None = None
    no_glue: str = ""
    kept: ComparisonEntry | None = None


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
    return Compared(
        stone,
        before,
        after,
        same,
        no_same,
        shown_together(comparison),
        glue=glue,
        no_glue=no_glue,
        kept=book.comparison_kept(both.before, both.after),
    )
