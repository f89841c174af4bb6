"""A stone's photographs of two occasions, laid on one another."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from setstone.record.entries import ExaminationEntry, PhotographEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.examinations import examination, latest_examinations
from setstone.record.photographs import find_photograph, stored_pixels
from setstone.record.store import Store

if TYPE_CHECKING:
    from setstone.measure.glue import Occasion
    from setstone.measure.light import Pixels
    from setstone.measure.outline import Outline
    from setstone.measure.register import Registration


@dataclass(frozen=True, eq=False)
class TwoOccasions:
    """Two examinations of a stone, their photographs, and how the later lies on the earlier.

    Parameters
    ----------
    before, after : ExaminationEntry
    looks : (Occasion, Occasion)
        Photographs of both.
    outlines : (Outline, Outline)
    registration : Registration
        After onto before; reliable.
    """

    before: ExaminationEntry
    after: ExaminationEntry
    looks: "tuple[Occasion, Occasion]"
    outlines: "tuple[Outline, Outline]"
    registration: "Registration"


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
        When there are not two examined occasions with white photographs, or it cannot be told how the stone was turned.
    """
    known = latest_examinations(book, stone)
    if (before is None or after is None) and len(known) < 2:
        raise BookError(
            f"{stone.full_name} has not been examined on two occasions; photograph and examine it before and after."
        )
    first = known[0] if before is None else examination(book, stone, before)
    second = known[-1] if after is None else examination(book, stone, after)
    if first.id == second.id:
        raise BookError(f"'{first.occasion}' was named twice; name two occasions.")
    looks = (_occasion(book, stone, first), _occasion(book, stone, second))
    assert first.result.outline is not None  # noqa: S101 -- `_occasion` has made sure
    assert second.result.outline is not None  # noqa: S101
    outlines = (first.result.outline, second.result.outline)
    return TwoOccasions(first, second, looks, outlines, _registered(stone, looks, outlines))


def _occasion(book: Store, stone: StoneEntry, entry: ExaminationEntry) -> "Occasion":
    from setstone.measure.align import warp
    from setstone.measure.glue import Occasion

    if entry.white is None or entry.result.outline is None:
        raise BookError(
            f"{stone.full_name} ({entry.occasion}) has no white photograph with an outline; occasions are compared under white light, so add one and examine it."
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


def _registered(
    stone: StoneEntry, looks: "Sequence[Occasion]", outlines: "Sequence[Outline]"
) -> "Registration":
    """How the photographs after lie on those before."""
    from setstone.measure.register import register

    with_blue = all(look.blue is not None for look in looks)
    first, second = (_pictures(look, with_blue=with_blue) for look in looks)
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
            "That does not tell whether they show the same stone; check that its outline is right on both."
        )
    return found


def _pictures(look: "Occasion", *, with_blue: bool) -> "list[Pixels]":
    return [look.white, look.blue] if with_blue and look.blue is not None else [look.white]
