"""All that two occasions of a stone show beside each other: whether it is the same, what changed, what became of the glue."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from setstone.record.changing import Comparison, changes_between
from setstone.record.entries import StoneEntry
from setstone.record.errors import BookError
from setstone.record.gluing import WorkShown, glue_between
from setstone.record.identity import fingerprint_of
from setstone.record.store import Store
from setstone.record.two_occasions import two_examinations, two_occasions

if TYPE_CHECKING:
    from setstone.measure.same_stone import SameStone

#: Steps of `before_and_after`, as they are told.
STEPS = ("comparing the insides", "laying the photographs on one another", "looking for changes")


@dataclass(frozen=True, eq=False)
class BeforeAfter:
    """What two occasions show.

    Parameters
    ----------
    before, after : str
        The occasions.
    same : SameStone or None
        None where it could not be asked; `no_same` says why.
    comparison : Comparison or None
        None where the photographs do not lie on one another; `refused` says why.
    glue : WorkShown or None
        None where the rim could not be compared; `no_glue` says why, but for photographs that do not lie on one another.
    """

    before: str
    after: str
    same: "SameStone | None" = None
    no_same: str = ""
    comparison: Comparison | None = None
    refused: str = ""
    glue: WorkShown | None = None
    no_glue: str = ""

    @property
    def required(self) -> Comparison:
        """The comparison; raises `BookError` with the reason where there is none."""
        if self.comparison is None:
            raise BookError(self.refused)
        return self.comparison


def before_and_after(
    book: Store,
    stone: StoneEntry,
    before: str | None = None,
    after: str | None = None,
    tell: Callable[[str], None] = lambda _step: None,
) -> BeforeAfter:
    """Compare a stone on two occasions in every respect.

    Parameters
    ----------
    stone : StoneEntry
    before, after : str, optional
        Occasions; of those examined, the first and the last photographed when not given.
    tell : callable, optional
        Told each of `STEPS` as it begins; whatever it raises ends the comparison.

    Returns
    -------
    BeforeAfter

    Raises
    ------
    BookError
        When there are not two, or one was not examined.
    """
    from setstone.measure.errors import MeasurementError
    from setstone.measure.same_stone import same_stone

    tell(STEPS[0])
    entries = two_examinations(book, stone, before, after)
    first, second = (entry.occasion for entry in entries)
    same, no_same = None, ""
    try:
        same = same_stone(*(fingerprint_of(book, entry) for entry in entries))
    except (BookError, MeasurementError) as error:
        no_same = str(error)
    tell(STEPS[1])
    try:
        both = two_occasions(book, stone, first, second)
    except (BookError, MeasurementError) as error:
        return BeforeAfter(first, second, same, no_same, refused=str(error))
    tell(STEPS[2])
    comparison = changes_between(both)
    glue, no_glue = None, ""
    try:
        glue = glue_between(both)
    except MeasurementError as error:
        no_glue = str(error)
    return BeforeAfter(first, second, same, no_same, comparison, "", glue, no_glue)
