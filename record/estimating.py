"""The weight of a set stone, estimated from what its record holds: never weighed, always with range and formula."""

from dataclasses import dataclass

from setstone.measure.quantity import Quantity, combine
from setstone.measure.weight import (
    WeightEstimate,
    coloured_stone_weight,
    diamond_weight,
    length_and_width,
)
from setstone.record.entries import ReadingEntry, StoneEntry
from setstone.record.errors import BookError
from setstone.record.evidence.materials import Range, claimed
from setstone.record.evidence.readings import ESTIMATED_WEIGHT
from setstone.record.examinations import latest_examination
from setstone.record.notes import add_reading
from setstone.record.store import Store

#: A diamond has formulas of its own.
_DIAMOND = "diamond"


@dataclass(frozen=True)
class Estimate:
    """An estimated weight and what it rests on.

    Parameters
    ----------
    weight : WeightEstimate
    length, width : Quantity
        In mm.
    rests_on : str
        Where measures and specific gravity come from.
    """

    weight: WeightEstimate
    length: Quantity
    width: Quantity
    rests_on: str


def estimate_weight(
    book: Store,
    stone: StoneEntry,
    cut: str,
    *,
    depth: Quantity | None = None,
    girdle: str | None = None,
    specific_gravity: float | None = None,
    length: Quantity | None = None,
    width: Quantity | None = None,
) -> Estimate:
    """Estimate the weight of a stone from its measures.

    Parameters
    ----------
    stone : StoneEntry
    cut : str
        As in `setstone.measure.weight`.
    depth : Quantity, optional
        From table to culet, a length.
    girdle : str, optional
        Of a round brilliant diamond; medium when not given.
    specific_gravity : float, optional
        As of the material the stone is claimed to be when not given; the estimate then holds for that claim only.
    length, width : Quantity, optional
        Of the girdle; from the newest examination when not given.

    Returns
    -------
    Estimate

    Raises
    ------
    BookError
        When there are no measures, neither a specific gravity nor a claim that tells it, or something is given that
        the formula has no place for.
    MeasurementError
        When no published factor exists for the cut: none is invented.
    """
    if length is None and width is not None:
        raise BookError("A width was given without a length; give both, or neither to take them as examined.")
    meant = claimed(stone.claimed_as)
    groups = {m.group for m in meant}
    as_diamond = specific_gravity is None and groups == {_DIAMOND}
    if girdle is not None and not as_diamond:
        raise BookError(
            "A factor for the girdle is published for round brilliant diamonds only, and the weight is asked for as of "
            "another stone; leave the girdle out."
        )
    if length is None:
        length, width, where = _measured(book, stone)
    else:
        where = "measures typed in" if width is not None else "length typed in, width taken as the same"
    width = width or length
    if specific_gravity is not None:
        weight = _coloured(cut, length, width, depth, specific_gravity)
        other = ", not by the formulas of diamonds although claimed as one" if groups == {_DIAMOND} else ""
        return Estimate(weight, length, width, f"{where}; specific gravity as given{other}")
    if as_diamond:
        weight = diamond_weight(cut, length, width, depth=depth, girdle=girdle or "medium")
        return Estimate(weight, length, width, f"{where}; formula of diamonds, as claimed")
    ranges = [m.density for m in meant if m.density is not None]
    if len(groups) != 1 or not ranges:
        raise BookError(
            f"{stone.full_name} is not claimed as a material whose specific gravity the table holds; give it."
        )
    range_ = Range(min(r.low for r in ranges), max(r.high for r in ranges))
    weight = _coloured(cut, length, width, depth, range_.middle)
    # Limits of the table as a rectangular distribution (JCGM 100:2008, 4.3.7).
    spread = (range_.high - range_.low) / 12**0.5 / range_.middle
    value = weight.weight.value
    weight = WeightEstimate(Quantity(value, combine(weight.weight.u, value * spread), "ct"), weight.formula)
    return Estimate(
        weight,
        length,
        width,
        f"{where}; specific gravity {range_.low:g} to {range_.high:g}, as claimed ({stone.claimed_as})",
    )


def keep_estimate(book: Store, stone: StoneEntry, estimate: Estimate, *, by: str) -> ReadingEntry:
    """Enter an estimate among the readings, with its formula.

    Parameters
    ----------
    stone : StoneEntry
    estimate : Estimate
    by : str
        Who made it.

    Returns
    -------
    ReadingEntry
    """
    weight = estimate.weight.weight
    low, high = estimate.weight.range_ct
    value, _, uncertainty = str(weight).partition(" ± ")
    return add_reading(
        book,
        stone,
        test=ESTIMATED_WEIGHT,
        value=f"est. {value}",
        uncertainty=f"{uncertainty} (k = 2)",
        remark=f"{low:.2f} to {high:.2f} ct; {estimate.weight.formula}; {estimate.rests_on}",
        by=by,
    )


def _coloured(
    cut: str, length: Quantity, width: Quantity, depth: Quantity | None, specific_gravity: float
) -> WeightEstimate:
    if depth is None:
        raise BookError(
            "The weight of a coloured stone needs its depth from table to culet; measure it, or leave the weight open."
        )
    return coloured_stone_weight(cut, length, width, depth=depth, specific_gravity=specific_gravity)


def _measured(book: Store, stone: StoneEntry) -> tuple[Quantity, Quantity, str]:
    entry = latest_examination(book, stone)
    result = None if entry is None else entry.result
    if (
        entry is None
        or result is None
        or result.outline is None
        or result.diameters is None
        or result.scale is None
    ):
        raise BookError(
            f"No girdle of {stone.full_name} was measured in millimetres; examine it, or give its length and width."
        )
    length, width = length_and_width(result.outline, result.diameters, result.scale)
    return length, width, f"girdle as measured in the photographs ({entry.occasion})"
