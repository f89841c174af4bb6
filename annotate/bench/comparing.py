"""Comparing two days of the chosen stone: what changed, what became of the glue, and whether it is the same."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from setstone.annotate.two_days import TwoDays, shown_together
from setstone.record import before_after
from setstone.record.before_after import BeforeAfter, before_and_after
from setstone.record.book import Book
from setstone.record.entries import ComparisonEntry, StoneEntry

View = Literal["swipe", "blink", "side by side", "difference"]
#: How both days are shown.
VIEWS: tuple[View, ...] = ("swipe", "blink", "side by side", "difference")

#: Steps of `compare`, as they are told.
STEPS = (*before_after.STEPS, "drawing")


@dataclass(frozen=True, eq=False)
class Compared:
    """What was found out by comparing two days.

    Parameters
    ----------
    stone : StoneEntry
    found : BeforeAfter
    shown : TwoDays or None
        None where the photographs do not lie on one another.
    kept : ComparisonEntry or None
        The same as the book holds it.
    """

    stone: StoneEntry
    found: BeforeAfter
    shown: TwoDays | None = None
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
        When an occasion was not examined.
    """
    found = before_and_after(book, stone, before, after, tell)
    if found.comparison is None:
        return Compared(stone, found)
    tell(STEPS[-1])
    return Compared(stone, found, shown_together(found.comparison), book.comparison_kept(found))
