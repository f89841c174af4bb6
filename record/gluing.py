"""What the work did to the glue of a stone and to its brilliance: photographs of two occasions beside each other."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from setstone.record.entries import StoneEntry
from setstone.record.store import Store
from setstone.record.two_occasions import TwoOccasions, two_occasions

if TYPE_CHECKING:
    from setstone.measure.candidates import LampName
    from setstone.measure.glue import GlueChange
    from setstone.measure.light import Pixels
    from setstone.measure.rings import Curve

#: Blur from which on old glue shows less, as a share of the diameter, and by how many times it must be greater to be told from
#: the other day's (docs/methods.md).
BLURRED, TIMES = 0.0005, 1.25


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
    less_sharp : str
        Of which occasion the photographs are so much less sharp (`BLURRED`) that residue and crazing show less in them; empty
        where of neither.
    """

    before: str
    after: str
    glue: "GlueChange"
    haze_before: float | None
    haze_after: float | None
    less_sharp: str = ""


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
        When there are not two examined occasions with photographs under the same light, or it cannot be told how the stone was
        turned.
    MeasurementError
        When its rim is not in a photograph, or there are none under white light.
    """
    return glue_between(two_occasions(book, stone, before, after))


def glue_between(both: TwoOccasions) -> WorkShown:
    """Compare the rim of a stone on two occasions that lie on one another.

    Raises
    ------
    MeasurementError
        When its rim is not in a photograph, or there are none under white light.
    """
    from setstone.measure.errors import MeasurementError
    from setstone.measure.glue import Occasion, glue_change

    if any("white" not in look.pictures for look in both.looks):
        raise MeasurementError(
            "Glue is compared under white light; photograph the stone under it before and after."
        )
    before, after = (
        Occasion(look.pictures["white"], look.pictures.get("blue"), look.um_per_px, grey_card=look.grey_card)
        for look in both.looks
    )
    change = glue_change(before, after, both.outlines[0].points, both.registration.matrix)
    # Haze by both lamps and haze by one are not the same figure.
    alike = both.looks[0].pictures.keys() == both.looks[1].pictures.keys()
    hazes = [
        entry.result.colour.haze if alike and entry.result.colour is not None else None
        for entry in (both.before, both.after)
    ]
    return WorkShown(both.before.occasion, both.after.occasion, change, hazes[0], hazes[1], _less_sharp(both))


def _less_sharp(both: TwoOccasions) -> str:
    """Name the occasion whose photographs are less sharp, where it matters."""
    before, after = (
        blurs(look.pictures, o.points) for look, o in zip(both.looks, both.outlines, strict=True)
    )
    lamps = before.keys() & after.keys()
    if any(blurred(before[lamp], after[lamp]) for lamp in lamps):
        return both.after.occasion
    if any(blurred(after[lamp], before[lamp]) for lamp in lamps):
        return both.before.occasion
    return ""


def blurred(sharp: float, other: float) -> bool:
    """Whether old glue shows less with one blur than with another, both shares of the diameter; blurs add up by their squares."""
    return other**2 - sharp**2 >= BLURRED**2 and other >= TIMES * sharp


def blurs(pictures: "Mapping[LampName, Pixels]", outline: "Curve") -> "dict[LampName, float]":
    """Measure how blurred photographs of a stone are.

    Parameters
    ----------
    pictures : mapping of str to (H, W, 3) uint8 or uint16 array
        By lamp, lying on one another.
    outline : (N, 2) float64 array
        The girdle in pixels.

    Returns
    -------
    dict of str to float
        Sigma of the blur inside the stone (`setstone.capture.focus`) by lamp, as a share of its diameter; none where there are no
        edges to tell it by.
    """
    from skimage.draw import polygon2mask

    from setstone.capture.focus import focus
    from setstone.measure.rings import even_diameter

    inside = polygon2mask(next(iter(pictures.values())).shape[:2], outline[:, ::-1])
    diameter = even_diameter(outline)
    found = {lamp: focus(pixels, inside) for lamp, pixels in pictures.items()}
    return {lamp: one.best_px / diameter for lamp, one in found.items() if one.is_known}
