"""What the work did to the glue of a stone and to its brilliance: photographs of two occasions beside each other."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from setstone.record.entries import StoneEntry
from setstone.record.store import Store
from setstone.record.two_occasions import TwoOccasions, two_occasions

if TYPE_CHECKING:
    from setstone.measure.glue import GlueChange


@dataclass(frozen=True)
class WorkShown:
    """What two occasions show of the work.

    Parameters
    ----------
    before, after : str
        The occasions.
    glue : GlueChange
    haze_before, haze_after : float or None
        Haze index (`setstone.measure.colour.stone_haze`), a plain number that falls as the stone grows more brilliant.
    """

    before: str
    after: str
    glue: "GlueChange"
    haze_before: float | None
    haze_after: float | None


def compare_glue(
    book: Store, stone: StoneEntry, before: str | None = None, after: str | None = None
) -> WorkShown:
    """Compare the rim of a stone on two occasions.

    Parameters
    ----------
    stone : StoneEntry
    before, after : str, optional
        Occasions; the first and the last that were examined when not given.

    Returns
    -------
    WorkShown

    Raises
    ------
    BookError
        When there are not two examined occasions with white photographs, or it cannot be told how the stone was turned.
    MeasurementError
        When its rim is not in a photograph.
    """
    return glue_between(two_occasions(book, stone, before, after))


def glue_between(both: TwoOccasions) -> WorkShown:
    """Compare the rim of a stone on two occasions that lie on one another.

    Raises
    ------
    MeasurementError
        When its rim is not in a photograph.
    """
    from setstone.measure.glue import glue_change

    change = glue_change(*both.looks, both.outlines[0].points, both.registration.matrix)
    # Haze by both lamps and haze by one are not the same figure.
    alike = (both.looks[0].blue is None) == (both.looks[1].blue is None)
    hazes = [
        entry.result.colour.haze if alike and entry.result.colour is not None else None
        for entry in (both.before, both.after)
    ]
    return WorkShown(both.before.occasion, both.after.occasion, change, *hazes)
