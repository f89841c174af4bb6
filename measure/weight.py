"""Estimated weight of a set stone from its measures, by published formulas.

A set stone cannot be weighed. The trade's formulas multiply its measures with a factor for the cut; diamonds
have factors of their own, coloured stones a factor times the specific gravity. The two sets of round factors differ
by 4 % (typical coloured cuts are fuller) and are never mixed. For rose, table, old mine and old European cuts
no two publications agree on a factor, so there is none here.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np

from setstone.measure.errors import MeasurementError
from setstone.measure.outline import Diameters, Outline
from setstone.measure.quantity import Quantity, combine
from setstone.measure.scale import Scale
from setstone.measure.units import converted

#: Factors as published, carat per mm³: "d" means the squared mean of length and width, "lw" their product. A
#: second number is what another publication has.
_DIAMOND: dict[str, tuple[str, tuple[float, ...]]] = {
    "round brilliant": ("d", (0.0061,)),
    "oval brilliant": ("d", (0.0062,)),
    "heart brilliant": ("lw", (0.0059,)),
    "triangular brilliant": ("lw", (0.0057,)),
    "baguette": ("lw", (0.00915,)),
}
#: Step-cut diamonds: length by width, factor. Published for these ratios; between them interpolated.
_DIAMOND_STEP = ((1.25, 0.0080), (1.50, 0.0092), (2.00, 0.0100), (2.50, 0.0106))
#: Carat per mm³ and unit of specific gravity.
_COLOURED: dict[str, tuple[str, tuple[float, ...]]] = {
    "round": ("d", (0.0018,)),
    "oval": ("lw", (0.0020,)),
    "emerald cut": ("lw", (0.0025,)),
    "rectangular step": ("lw", (0.0026, 0.0025)),
    "square step": ("lw", (0.0023, 0.0025)),
    "marquise": ("lw", (0.0016, 0.0017)),
    "pear": ("lw", (0.0018,)),
    "heart": ("lw", (0.0018,)),
    "square cushion": ("d", (0.0018,)),
    "rectangular cushion": ("d", (0.0022,)),
    "cabochon": ("lw", (0.0027,)),
}
#: Relative standard uncertainty of a factor, with all measures taken: published accuracy within 5 %, taken as
#: limits of a rectangular distribution (JCGM 100:2008, 4.3.7), 5 % / √3 = 2.9 %, rounded up.
_FACTOR_U = 0.03
#: Where the stone cannot be reached, up to 15 % by the same publication: the depth is then a guess.
_UNREACHED_U = 0.15 / math.sqrt(3)
#: Factor of the round formula for a girdle that is not medium, by the least diameter in mm (one trade table; bands of
#: the girdle itself: thin below 0.15 mm, medium to 0.20, slightly thick to 0.23, thick to 0.33, very thick above).
_GIRDLE: dict[str, tuple[float, float, float]] = {
    "extremely thin": (0.97, 0.96, 0.95),
    "thin": (0.985, 0.98, 0.975),
    "medium": (1.0, 1.0, 1.0),
    "slightly thick": (1.03, 1.02, 1.01),
    "thick": (1.04, 1.03, 1.02),
    "very thick": (1.07, 1.05, 1.035),
}
#: Where the columns of that table begin; it prints 3.1 to 4.1, 4.15 to 6.90, and 7.00 mm and up.
_GIRDLE_FROM = (3.05, 4.125, 6.95)
#: What a measure of a stone in mm and a specific gravity can be: beyond, something was mistyped.
_SIZES, _GRAVITIES = (0.1, 150.0), (0.9, 25.0)
#: Usual total depth of a round brilliant as a share of its diameter: middle of 58 to 63 % (from memory).
_USUAL_DEPTH = 0.605


#: The cuts there are factors for.
DIAMOND_CUTS = (*_DIAMOND, "step")
COLOURED_CUTS = tuple(_COLOURED)
GIRDLES = tuple(_GIRDLE)


@dataclass(frozen=True)
class WeightEstimate:
    """A weight that was not weighed.

    Parameters
    ----------
    weight : Quantity
        In metric carats (``"ct"``).
    formula : str
        The formula, its factor and what was assumed.
    """

    weight: Quantity
    formula: str

    @property
    def range_ct(self) -> tuple[float, float]:
        """Least and greatest weight within the expanded uncertainty (k = 2), in carats."""
        return max(0.0, self.weight.value - self.weight.expanded), self.weight.value + self.weight.expanded

    def __str__(self) -> str:
        return f"est. {self.weight} ({self.formula})"


def length_and_width(outline: Outline, diameters: Diameters, scale: Scale) -> tuple[Quantity, Quantity]:
    """Measure length and width as the formulas mean them.

    The sides of the least rectangle around the outline, which has a side on the convex hull (Freeman & Shapira 1975):
    of a stone with corners the greatest calliper width is its diagonal and not its length.

    Parameters
    ----------
    outline : Outline
    diameters : Diameters
        Of the same outline; gives the relative uncertainty.
    scale : Scale

    Returns
    -------
    length, width : Quantity
        In mm, the longer first.
    """
    _, sides, _ = cv2.minAreaRect(outline.points.astype(np.float32))
    width, length = sorted(float(side) * scale.um_per_px / 1000 for side in sides)
    relative = diameters.mean.u / diameters.mean.value
    return Quantity(length, length * relative, "mm"), Quantity(width, width * relative, "mm")


def diamond_weight(
    cut: str,
    length: Quantity,
    width: Quantity | None = None,
    *,
    depth: Quantity | None = None,
    girdle: str = "medium",
) -> WeightEstimate:
    """Estimate the weight of a set diamond.

    Parameters
    ----------
    cut : str
        round brilliant, oval brilliant, heart brilliant, triangular brilliant, baguette, or step
        (emerald cut and other rectangular step cuts of 1.25 to 2.5 times their width).
    length, width : Quantity
        Of the girdle, lengths; `width` is the same as `length` where not given. Taken to share one scale,
        so that their errors go together.
    depth : Quantity, optional
        From table to culet. Only for a round brilliant may it be left out: the usual depth is
        assumed then and the uncertainty grows.
    girdle : str, optional
        How thick the girdle is, of a round brilliant: extremely thin, thin, medium, slightly thick, thick or very thick.

    Returns
    -------
    WeightEstimate

    Raises
    ------
    MeasurementError
        When there is no published factor for the cut or the girdle, the depth is needed, or a measure can be none of
        a stone.

    Examples
    --------
    >>> print(diamond_weight("round brilliant", Quantity(6.50, 0.01, "mm"), depth=Quantity(3.95, 0.03, "mm")))
    est. 1.02 ct ± 0.06 ct (d² h × 0.0061)
    """
    width = width or length
    _require_sizes(length, width, depth)
    if cut == "step":
        _girdle_factor(cut, girdle, length, width)
        return _estimate(cut, "lw", (_step_factor(length, width),), 1.0, length, width, depth)
    shape, factors = _published(cut, _DIAMOND, "diamonds", "step")
    correction = _girdle_factor(cut, girdle, length, width)
    estimate = _estimate(cut, shape, factors, 1.0, length, width, depth)
    if correction == 1.0:
        return estimate
    weight = Quantity(estimate.weight.value * correction, estimate.weight.u * correction, "ct")
    return WeightEstimate(weight, f"{estimate.formula} × {correction:g} for a {girdle} girdle")


def coloured_stone_weight(
    cut: str, length: Quantity, width: Quantity | None = None, *, depth: Quantity, specific_gravity: float
) -> WeightEstimate:
    """Estimate the weight of a set coloured stone.

    Parameters
    ----------
    cut : str
        round, oval, emerald cut, rectangular step, square step, marquise, pear, heart, square cushion,
        rectangular cushion or cabochon.
    length, width : Quantity
        Of the girdle, as in `diamond_weight`.
    depth : Quantity
        From table to culet.
    specific_gravity : float
        Of the material, for example 4.00 for corundum.

    Returns
    -------
    WeightEstimate

    Raises
    ------
    MeasurementError
        When there is no published factor for the cut, or a measure or the specific gravity can be none of a stone.
    """
    width = width or length
    _require_sizes(length, width, depth)
    if not _GRAVITIES[0] <= specific_gravity <= _GRAVITIES[1]:
        raise MeasurementError(
            f"A specific gravity of {specific_gravity:g} is none of a stone; it lies between {_GRAVITIES[0]:g} and "
            f"{_GRAVITIES[1]:g}. Check what was typed."
        )
    shape, factors = _published(cut, _COLOURED, "coloured stones")
    return _estimate(cut, shape, factors, specific_gravity, length, width, depth)


def _require_sizes(*measures: Quantity | None) -> None:
    for measure in measures:
        if measure is None:
            continue
        size = converted(measure, "mm")
        if not (_SIZES[0] <= size.value <= _SIZES[1] and 0 <= size.u <= size.value):
            raise MeasurementError(
                f"A stone does not measure {size.value:g} mm ± {size.u:g} mm; each measure lies between {_SIZES[0]:g} "
                f"and {_SIZES[1]:g} mm. Check what was typed."
            )


def _published(
    cut: str, table: dict[str, tuple[str, tuple[float, ...]]], stones: str, *others: str
) -> tuple[str, tuple[float, ...]]:
    if cut not in table:
        raise MeasurementError(
            f"No published factor gives the weight of {stones} of the cut '{cut}'; "
            f"weigh the stone when it is out of its setting, or take one of {', '.join((*table, *others))}."
        )
    return table[cut]


def _girdle_factor(cut: str, girdle: str, length: Quantity, width: Quantity) -> float:
    if girdle not in _GIRDLE:
        raise MeasurementError(f"'{girdle}' is no thickness of a girdle; take one of {', '.join(_GIRDLE)}.")
    if girdle == "medium":
        return 1.0
    mean = (converted(length, "mm").value + converted(width, "mm").value) / 2
    if cut != "round brilliant" or mean < _GIRDLE_FROM[0]:
        raise MeasurementError(
            "A factor for the girdle is published for round brilliants of 3.1 mm and more only; leave the girdle out."
        )
    column = sum(mean >= start for start in _GIRDLE_FROM) - 1
    return _GIRDLE[girdle][column]


def _step_factor(length: Quantity, width: Quantity) -> float:
    ratios, factors = zip(*_DIAMOND_STEP, strict=True)
    sides = sorted((converted(length, "mm").value, converted(width, "mm").value))
    ratio = sides[1] / sides[0]
    if not ratios[0] <= ratio <= ratios[-1]:
        raise MeasurementError(
            f"No published factor gives the weight of a step-cut diamond {ratio:.2f} times as long as wide; "
            f"they end at {ratios[0]:g} and {ratios[-1]:g}. Weigh the stone when it is out of its setting."
        )
    return float(np.interp(ratio, ratios, factors))


def _estimate(
    cut: str,
    shape: str,
    factors: tuple[float, ...],
    specific_gravity: float,
    length: Quantity,
    width: Quantity,
    depth: Quantity | None,
) -> WeightEstimate:
    """W = area × depth × factor, relative uncertainties added in squares (JCGM 100:2008, 5.1.6)."""
    length, width = converted(length, "mm"), converted(width, "mm")
    mean = Quantity((length.value + width.value) / 2, (length.u + width.u) / 2, "mm")
    if shape == "d":
        area, u_area = mean.value**2, 2 * mean.u / mean.value
        formula = "d² h"
    else:
        area, u_area = length.value * width.value, length.u / length.value + width.u / width.value
        formula = "L W h"
    formula += f" × {factors[0]:.3g}" + (f" × SG {specific_gravity:g}" if specific_gravity != 1 else "")
    if depth is not None:
        depth = converted(depth, "mm")
        height, u_height, u_factor = depth.value, depth.u / depth.value, _FACTOR_U
    elif cut == "round brilliant":
        # The depth follows the diameter, so the error of the diameter counts once more.
        height, u_height, u_factor = _USUAL_DEPTH * mean.value, 0.0, _UNREACHED_U
        u_area *= 1.5
        formula += f", depth taken as {_USUAL_DEPTH:.1%} of the diameter"
    else:
        raise MeasurementError(
            f"The depth of a stone of the cut '{cut}' has no usual share of its width; measure it for a weight."
        )
    lists = (max(factors) - min(factors)) / factors[0] / math.sqrt(3)
    weight = area * height * factors[0] * specific_gravity
    return WeightEstimate(
        Quantity(weight, weight * combine(u_area, u_height, u_factor, lists), "ct"), formula
    )
