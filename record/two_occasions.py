"""A stone's photographs of two occasions, laid on one another."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from setstone.record.entries import ExaminationEntry, PhotographEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.examinations import examination, latest_examinations
from setstone.record.photographs import find_photograph, stored_pixels
from setstone.record.store import Store

if TYPE_CHECKING:
    from setstone.measure.candidates import LampName
    from setstone.measure.light import Pixels
    from setstone.measure.outline import Outline
    from setstone.measure.register import Registration


#: By how much the scales of two days may differ: each is good to a per cent, and a stone that leans looks a little shorter.
SCALES_AGREE = 0.02
SCALES_DISAGREE = (
    "Laid on one another, the photographs show that their scales disagree by {apart:.0%}: lengths of one of both days are wrong; "
    "check the scale bars."
)


@dataclass(frozen=True, eq=False)
class Look:
    """Photographs of a stone on one occasion.

    Parameters
    ----------
    pictures : mapping of str to (H, W, 3) uint8 or uint16 array
        By lamp, all lying on the one the stone was examined in, which comes first.
    um_per_px : float or None
    grey_card : bool
        Whether the white balance of the white one was set by a grey card.
    """

    pictures: "Mapping[LampName, Pixels]"
    um_per_px: float | None
    grey_card: bool = False


@dataclass(frozen=True, eq=False)
class TwoOccasions:
    """Two examinations of a stone, their photographs, and how the later lies on the earlier.

    Parameters
    ----------
    before, after : ExaminationEntry
    looks : (Look, Look)
        Photographs of both, with a lamp in common at least.
    outlines : (Outline, Outline)
    registration : Registration
        After onto before; reliable.
    notes : tuple of str
        What is odd about the two, in sentences.
    """

    before: ExaminationEntry
    after: ExaminationEntry
    looks: tuple[Look, Look]
    outlines: "tuple[Outline, Outline]"
    registration: "Registration"
    notes: tuple[str, ...] = ()


def two_occasions(
    book: Store, stone: StoneEntry, before: str | None = None, after: str | None = None
) -> TwoOccasions:
    """Lay the photographs of one occasion on those of another.

    Parameters
    ----------
    stone : StoneEntry
    before, after : str, optional
        Occasions; of those examined, the first and the last photographed when not given.

    Raises
    ------
    BookError
        When there are not two examined occasions with photographs under the same light, or it cannot be told how the stone was
        turned.
    """
    known = latest_examinations(book, stone)
    first, second = _named(book, stone, known, before, after)
    looks = (_look(book, stone, first), _look(book, stone, second))
    assert first.result.outline is not None  # noqa: S101 -- `_look` has made sure
    assert second.result.outline is not None  # noqa: S101
    outlines = (first.result.outline, second.result.outline)
    registration = _registered(stone, looks, outlines)
    notes = (*_other_way_round(known, first, second), *_of_other_size(looks, registration))
    return TwoOccasions(first, second, looks, outlines, registration, notes)


def two_examinations(
    book: Store, stone: StoneEntry, before: str | None = None, after: str | None = None
) -> tuple[ExaminationEntry, ExaminationEntry]:
    """Read the examinations of two occasions.

    Parameters
    ----------
    stone : StoneEntry
    before, after : str, optional
        Occasions; of those examined, the first and the last photographed when not given.

    Raises
    ------
    BookError
        When there are not two, or one was not examined.
    """
    return _named(book, stone, latest_examinations(book, stone), before, after)


def _named(
    book: Store, stone: StoneEntry, known: Sequence[ExaminationEntry], before: str | None, after: str | None
) -> tuple[ExaminationEntry, ExaminationEntry]:
    if (before is None or after is None) and len(known) < 2:
        raise BookError(
            f"{stone.full_name} has not been examined on two occasions; photograph and examine it before and after."
        )
    first = known[0] if before is None else examination(book, stone, before)
    second = known[-1] if after is None else examination(book, stone, after)
    if first.id == second.id:
        raise BookError(f"'{first.occasion}' was named twice; name two occasions.")
    return first, second


def _other_way_round(
    known: Sequence[ExaminationEntry], first: ExaminationEntry, second: ExaminationEntry
) -> tuple[str, ...]:
    """Say so where what is called after was photographed first."""
    order = [entry.occasion for entry in known]
    if order.index(second.occasion) > order.index(first.occasion):
        return ()
    return (
        f"By their times the photographs '{second.occasion}' were taken or added before those '{first.occasion}': if that is so, what is told as new is gone, and "
        "what is told as gone is new.",
    )


def _of_other_size(looks: Sequence[Look], registration: "Registration") -> tuple[str, ...]:
    """Say so where the stone would have grown or shrunk, by the scales of both days."""
    before_um, after_um = (look.um_per_px for look in looks)
    if before_um is None or after_um is None:
        return ()
    zoom = math.sqrt(abs(float(np.linalg.det(registration.matrix[:2, :2]))))
    apart = abs(zoom * before_um / after_um - 1)
    if apart <= SCALES_AGREE:
        return ()
    return (SCALES_DISAGREE.format(apart=apart),)


def _look(book: Store, stone: StoneEntry, entry: ExaminationEntry) -> Look:
    from setstone.measure.align import warp

    result = entry.result
    if result.outline is None:
        raise BookError(
            f"{stone.full_name} ({entry.occasion}) has no outline, by which occasions are laid on one another; draw its girdle, or photograph it again and examine it."
        )
    files = {"white": entry.white, "blue": entry.blue}
    kept = {lamp: find_photograph(book, sha) for lamp, sha in files.items() if sha is not None}
    first = kept[result.reference]
    pictures = {result.reference: stored_pixels(first)}
    if result.reference == "white" and "blue" in kept and result.blue_to_white is not None:
        shape = pictures["white"].shape[:2]
        pictures["blue"] = warp(stored_pixels(kept["blue"]), result.blue_to_white, shape)
    scale = result.scale
    by_card = "white" in pictures and _by_grey_card(kept["white"])
    return Look(pictures, None if scale is None else scale.um_per_px, grey_card=by_card)


def _by_grey_card(photograph: PhotographEntry) -> bool:
    """Whether the record says that its white was balanced on a grey card (`setstone.record.deriving.correct_light`)."""
    from setstone.capture.ome_writing import read_derivation

    made = (read_derivation(flag.text) for flag in photograph.flags)
    return any(one is not None and "grey card" in one.made_by for one in made)


def _registered(stone: StoneEntry, looks: Sequence[Look], outlines: "Sequence[Outline]") -> "Registration":
    """How the photographs after lie on those before."""
    from setstone.measure.register import register

    lamps = [lamp for lamp in looks[0].pictures if lamp in looks[1].pictures]
    if not lamps:
        raise BookError(
            f"{stone.full_name} has no photographs under the same light on both occasions that lie on the others of their day; photograph it under the same light on both, without moving it between white and blue."
        )
    first, second = ([look.pictures[lamp] for lamp in lamps] for look in looks)
    before_um, after_um = (look.um_per_px for look in looks)
    found = register(
        second,
        first,
        moving_outline=outlines[1].points,
        fixed_outline=outlines[0].points,
        zoom=None if before_um is None or after_um is None else after_um / before_um,
    )
    if not found.reliable:
        raise BookError(
            f"It cannot be told how {stone.full_name} was turned between the photographs before and after: {found.reason}. "
            "That does not tell whether they show the same stone; check that its outline and scale are right on both, and that neither is mirrored."
        )
    return found
