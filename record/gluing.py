"""What the work did to the glue of a stone and to its brilliance: photographs of two occasions beside each other."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from setstone.record.entries import ExaminationEntry, PhotographEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.examinations import examination, latest_examinations
from setstone.record.identity import fingerprint_of
from setstone.record.photographs import find_photograph, stored_pixels
from setstone.record.store import Store

if TYPE_CHECKING:
    from setstone.measure.glue import GlueChange, Occasion
    from setstone.measure.outline import Outline

#: Likelihood ratio for the same stone from which on its turn is taken as told: fewer than one in 700 computed
#: pairings of two stones reach it.
_TURN_KNOWN = 10.0


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
    from setstone.measure.glue import glue_change

    known = latest_examinations(book, stone)
    if (before is None or after is None) and len(known) < 2:
        raise BookError(
            f"{stone.full_name} has not been examined on two occasions; photograph and examine it before and after."
        )
    first = known[0] if before is None else examination(book, stone, before)
    second = known[-1] if after is None else examination(book, stone, after)
    looks = [_occasion(book, stone, entry) for entry in (first, second)]
    outlines = [entry.result.outline for entry in (first, second)]
    assert outlines[0] is not None  # noqa: S101 -- `_occasion` has made sure
    matrix = _after_to_before(book, stone, first, second, looks)
    change = glue_change(looks[0], looks[1], outlines[0].points, matrix)
    hazes = [None if entry.result.colour is None else entry.result.colour.haze for entry in (first, second)]
    return WorkShown(first.occasion, second.occasion, change, *hazes)


def _occasion(book: Store, stone: StoneEntry, entry: ExaminationEntry) -> "Occasion":
    from setstone.measure.align import warp
    from setstone.measure.glue import Occasion

    if entry.white is None or entry.result.outline is None:
        raise BookError(
            f"{stone.full_name} ({entry.occasion}) has no white photograph with an outline; glue is compared under white light."
        )
    photograph = find_photograph(book, entry.white)
    white = stored_pixels(photograph)
    blue = None
    if entry.blue is not None and entry.result.blue_to_white is not None:
        blue = warp(
            stored_pixels(find_photograph(book, entry.blue)), entry.result.blue_to_white, white.shape[:2]
        )
    scale = entry.result.scale
    return Occasion(
        white, blue, None if scale is None else scale.um_per_px, grey_card=_by_grey_card(photograph)
    )


def _by_grey_card(photograph: PhotographEntry) -> bool:
    """Whether the record says that its white was balanced on a grey card (`setstone.record.deriving.correct_light`)."""
    from setstone.capture.ome_writing import read_derivation

    made = (read_derivation(flag.text) for flag in photograph.flags)
    return any(one is not None and "grey card" in one.made_by for one in made)


def _after_to_before(
    book: Store, stone: StoneEntry, first: ExaminationEntry, second: ExaminationEntry, looks: "list[Occasion]"
) -> NDArray[np.float64]:
    """How the photograph after lies on that before: as far as the fingerprints tell, then more exactly."""
    from setstone.measure.align import align, warp
    from setstone.measure.fingerprint import likeness
    from setstone.measure.same_stone import likelihood_ratio

    (found,) = likeness(fingerprint_of(book, first), [fingerprint_of(book, second)])
    if likelihood_ratio(found) < _TURN_KNOWN:
        raise BookError(
            f"The photographs of {stone.full_name} before and after are too little alike to tell how the stone was turned; "
            "check that they show the same stone and that its outline is right on both."
        )
    assert first.result.outline is not None  # noqa: S101 -- `_occasion` has made sure
    assert second.result.outline is not None  # noqa: S101
    coarse = _onto(second.result.outline, first.result.outline, np.radians(found.turn_deg))
    fine = align(warp(looks[1].white, coarse, looks[0].white.shape[:2]), looks[0].white)
    exact: NDArray[np.float64] = fine.matrix @ coarse if fine.reliable else coarse
    return exact


def _onto(outline: "Outline", other: "Outline", turn: float) -> NDArray[np.float64]:
    """Turn, zoom and shift that bring one outline onto another."""
    zoom = float(np.ptp(other.points, axis=0).mean() / np.ptp(outline.points, axis=0).mean())
    cosine, sine = zoom * np.cos(turn), zoom * np.sin(turn)
    matrix = np.array([[cosine, -sine, 0], [sine, cosine, 0], [0, 0, 1.0]])
    matrix[:2, 2] = np.array(other.centre) - matrix[:2, :2] @ np.array(outline.centre)
    return matrix
