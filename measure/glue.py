"""Old glue on the rim of a set stone, before and after: how yellow, how much is left, how crazed.

The rim is unrolled along the girdle, so that the cells of one photograph have their counterparts in the other. A camera
is no colorimeter: colours are compared only once both photographs agree on what did not change, a grey card or the metal
around the stone, and where they do not the comparison is declined. The stone itself is no such reference: glue under it
colours all of it.
"""

from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.morphology import skeletonize

from setstone.measure.colour import lab_of_light, xyz_of_light
from setstone.measure.errors import MeasurementError
from setstone.measure.light import Pixels, Plane, linear
from setstone.measure.quantity import Quantity, combine
from setstone.measure.ridges import ridge_response
from setstone.measure.rings import PER_CENT, Curve, even_diameter, resampled, unrolled

#: Rays around the rim, as far apart as the columns along them, and cells of so many rays, five degrees each.
CELLS = 72
RAYS = 26 * CELLS
#: The band in which glue shows under the crown's facets, inward from the girdle, and where the metal is looked at,
#: outward; as shares of the diameter. Common practice, no source.
BAND, METAL = (0.005, 0.06), (0.05, 0.13)
#: Coefficients of the yellowness index of ASTM E313 for D65 and the 2° observer.
CX, CZ = 1.2985, 1.1335
#: Inward of the rim, where no glue shows: the grain there is noise, or the stone's own.
INNER = (0.12, 0.2)
#: Grain from which on a cell counts as residue, under blue and under white light, and how many times that of the inner
#: stone it must be. Measured on eight computed pairs: under blue light the median cell has 0.010 to 0.025 with old glue and
#: 0.002 to 0.008 without (0.034 in one whose setting is frosted where it shows through).
GRAIN_BLUE, GRAIN_WHITE, ABOVE_INNER = 0.006, 0.008, 1.5
#: A line of crazing rises by this share above both flanks, in the logarithm of light.
RISE = 0.06
#: Neighbouring cells hang together: so many count as one. Common practice, no source.
TOGETHER = 3
#: Chroma (CIELAB) up to which a rim is near-white in the sense of the yellowness index. Common practice, no source.
NEUTRAL = 20.0
#: What is still compared: standard uncertainty of the ratio of two channels, factor between the exposures, factor
#: between two channels. Common practice, no source.
SURE, EXPOSURES, BALANCE = 0.04, 4.0, 1.6
#: Linear light up to which metal is too dark to be compared.
_BLACK = 0.002

_NO_METAL = "Too little metal around the stone is seen in both photographs, neither black nor clipped; photograph a grey card each time."
_NO_EXPOSURE = (
    "Too little metal around the stone is seen in both photographs, neither black nor clipped, to bring them to one exposure; "
    "take both alike, exposed for the metal."
)
_METAL = (
    "The metal around the stone has not changed alike everywhere (cleaned, other reflections), so the white balance of the two "
    "photographs cannot be brought together; photograph a grey card each time."
)
_EXPOSURE = "The exposures differ by more than two stops; take both photographs alike."
_BALANCE = "The white balance differs too much to be corrected; set it by a grey card each time."


def yellowness(xyz: NDArray[np.floating]) -> float:
    """Yellowness index by ASTM E313, for D65 and the 2° observer: 100 (1.2985 X - 1.1335 Z) / Y.

    The standard means it for near-white and colourless specimens of one material: it compares one glue line before and
    after, and is no grade of a stone's colour.

    Parameters
    ----------
    xyz : (3,) array
        CIE tristimulus values of any common scale.

    Returns
    -------
    float
        0 for a perfect white, growing with yellow.

    Examples
    --------
    >>> round(yellowness(np.array([95.0, 100.0, 105.0])), 2)
    4.34
    """
    x, y, z = (float(v) for v in xyz)
    return 100 * (CX * x - CZ * z) / max(y, 1e-9)


@dataclass(frozen=True, eq=False)
class Occasion:
    """The photographs of a stone on one occasion, before the work or after it.

    Parameters
    ----------
    white : (H, W, 3) uint8 or uint16 array
        sRGB-encoded photograph under white light.
    blue : (H, W, 3) uint8 or uint16 array or None
        The same under blue light, aligned; in it glue and its cracks are seen best.
    um_per_px : float or None
        None where the scale is not known; then no density of lines is given.
    grey_card : bool
        Whether the white photograph was made neutral with a grey card.
    """

    white: Pixels
    blue: Pixels | None
    um_per_px: float | None
    grey_card: bool = False


@dataclass(frozen=True)
class Rim:
    """What the rim of a stone shows on one occasion.

    Parameters
    ----------
    yellowness : Quantity or None
        Yellowness index by ASTM E313; None where the photographs are not comparable.
    residue : Quantity
        Share of the rim, 0 to 1, whose grain is that of a scattering film.
    crazing : Quantity or None
        Length of fine lines by area, mm/mm².
    """

    yellowness: Quantity | None
    residue: Quantity
    crazing: Quantity | None


@dataclass(frozen=True)
class GlueChange:
    """The rim before and after.

    Parameters
    ----------
    before, after : Rim
    difference : Quantity or None
        CIEDE2000 between corresponding places, median of the cells; None where declined.
    greatest_difference : float or None
        What nine tenths of the cells keep within, CIEDE2000.
    reference : {"grey card", "metal"} or None
        What both photographs were made to agree on.
    declined : str
        Why colours are not compared, one sentence; empty where they are.
    near_neutral : bool
        Whether the rim after is pale enough for a yellowness index to speak of glue; else the stone's own
        colour outweighs it and the difference says more.
    """

    before: Rim
    after: Rim
    difference: Quantity | None
    greatest_difference: float | None
    reference: Literal["grey card", "metal"] | None
    declined: str
    near_neutral: bool


def glue_change(
    before: Occasion, after: Occasion, outline: Curve, after_to_before: NDArray[np.float64]
) -> GlueChange:
    """Compare the rim of a stone before and after the work on it.

    Parameters
    ----------
    before, after : Occasion
        A blue photograph counts only where both have one.
    outline : (N, 2) float64 array
        The girdle in pixels of the white photograph before.
    after_to_before : (3, 3) float64 array
        Maps pixels (x, y, 1) of the white photograph after to those before.

    Returns
    -------
    GlueChange

    Raises
    ------
    MeasurementError
        When the matrix cannot be inverted.

    Notes
    -----
    Grain is the mean distance from the median of 5 x 5 places, in the logarithm of linear light: facets are
    even, a crazed film is not. A cell counts as residue from `GRAIN_BLUE` or `GRAIN_WHITE` on.
    """
    if abs(np.linalg.det(after_to_before)) < 1e-9:
        raise MeasurementError("The photographs after do not lie on those before; align them first.")
    if before.blue is None or after.blue is None:
        before, after = replace(before, blue=None), replace(after, blue=None)
    there = np.column_stack([outline, np.ones(len(outline))]) @ np.linalg.inv(after_to_before).T
    curves = outline, there[:, :2] / there[:, 2:]
    first, second = (_look(o, resampled(c, RAYS)) for o, c in zip((before, after), curves, strict=True))
    # What one day hides must not be told as come or gone on the other.
    shared = np.isfinite(first.residue) & np.isfinite(second.residue)
    light = _common_light(before, after, first, second)
    both = np.isfinite(first.rim).all(axis=1) & np.isfinite(second.rim).all(axis=1)
    if not light.declined and both.sum() < CELLS // 4:
        light = replace(light, declined="Less than a quarter of the rim can be seen in both photographs.")
    lab_after = lab_of_light(second.rim[both] * light.gain)
    near_neutral = bool(both.any()) and float(np.hypot(*np.median(lab_after, axis=0)[1:])) < NEUTRAL
    if light.declined:
        return GlueChange(
            first.rim_without_colour(shared),
            second.rim_without_colour(shared),
            None,
            None,
            None,
            light.declined,
            near_neutral,
        )
    from skimage.color import deltaE_ciede2000

    lab_before = lab_of_light(first.rim[both])
    apart = deltaE_ciede2000(lab_before, lab_after)
    difference = _median(apart)
    lighter = deltaE_ciede2000(
        lab_before, lab_of_light(second.rim[both] * light.gain * np.exp(light.u_exposure))
    )
    u_light = float(abs(np.median(lighter) - difference.value))
    difference = replace(difference, u=combine(difference.u, u_light))
    rims = [
        replace(look.rim_without_colour(shared), yellowness=_yellowness(cells, light.u_ratio))
        for look, cells in ((first, first.rim[both]), (second, second.rim[both] * light.gain))
    ]
    ninth = float(np.percentile(apart, 90))
    return GlueChange(rims[0], rims[1], difference, ninth, light.reference, "", near_neutral)


@dataclass(frozen=True, eq=False)
class _Look:
    """The rim of one occasion, cell by cell: mean light (NaN where not seen), grain, lines; and the metal around it."""

    rim: NDArray[np.float64]
    metal: NDArray[np.float64]
    residue: NDArray[np.float64]
    crazing: NDArray[np.float64] | None

    def rim_without_colour(self, cells: NDArray[np.bool_]) -> Rim:
        """Of some of the cells."""
        residue = _mean(self.residue[cells], "")
        return Rim(None, residue, None if self.crazing is None else _mean(self.crazing[cells], "mm/mm²"))


@dataclass(frozen=True, eq=False)
class _CommonLight:
    """Factors for red, green and blue of the photograph after, and how sure their ratios and the exposure are, as shares."""

    gain: NDArray[np.float64]
    u_ratio: float
    u_exposure: float
    reference: Literal["grey card", "metal"]
    declined: str


def _look(occasion: Occasion, curve: Curve) -> _Look:
    diameter = even_diameter(curve)
    rim, seen = _band(occasion.white, curve, -BAND[1], -BAND[0])
    metal, metal_seen = _band(occasion.white, curve, *METAL)
    shows = [_film(occasion.white, curve, GRAIN_WHITE)]
    if occasion.blue is not None:
        shows.append(_film(occasion.blue, curve, GRAIN_BLUE))
    level, level_seen, _ = shows[-1]
    residue = np.maximum.reduce([film for _, _, film in shows])
    crazing = None
    if occasion.um_per_px is not None:
        # Cracks scatter: bright under blue light, dark beside the bright film under white.
        lines = ridge_response(level, (1.0, 1.5), bright=occasion.blue is not None).response > RISE
        step_mm = diameter / (100 * PER_CENT) * occasion.um_per_px / 1000
        crazing = _cells(skeletonize(lines).astype(np.float32)[..., None], level_seen)[:, 0] / step_mm
    return _Look(_cells(rim, seen), _cells(metal, metal_seen), residue, crazing)


def _film(pixels: Pixels, curve: Curve, least: float) -> tuple[Plane, NDArray[np.bool_], NDArray[np.float64]]:
    """Logarithm of light on the rim, where it is seen, and which cells look like a film: 1, 0, or NaN where not seen."""
    rim, seen = _band(pixels, curve, -BAND[1], -BAND[0])
    inner, inner_seen = _band(pixels, curve, -INNER[1], -INNER[0])
    if not (seen.any() and inner_seen.any()):
        raise MeasurementError(
            "The rim of the stone lies outside the photograph or is clipped; show the whole girdle and expose it less."
        )
    brightness = float(np.percentile(rim.mean(axis=2)[seen], 75))
    level, grain = _grain(rim, brightness)
    least = max(least, ABOVE_INNER * float(np.median(_grain(inner, brightness)[1][inner_seen])))
    by_cell = _cells(grain[..., None], seen)[:, 0]
    return level, seen, np.where(np.isfinite(by_cell), (by_cell > least).astype(np.float64), np.nan)


def _grain(light: Plane, brightness: float) -> tuple[Plane, Plane]:
    """Logarithm of light, lifted so that dark noise does not count, and how uneven it is around each place."""
    grey = cv2.GaussianBlur(light.mean(axis=2), (0, 0), 1.2)
    level = np.log(grey + 0.3 * brightness + 1e-6).astype(np.float32)
    # Least mean around: an edge of a facet is narrow, a film is not.
    uneven = cv2.blur(np.abs(level - cv2.medianBlur(level, 5)), (5, 5))
    return level, cv2.erode(uneven, np.ones((7, 7), np.uint8))


def _band(pixels: Pixels, curve: Curve, inner: float, outer: float) -> tuple[Plane, NDArray[np.bool_]]:
    """Linear light along the girdle, and where the photograph reaches and is not clipped."""
    strip = unrolled(linear(pixels), curve, inner, outer, even_diameter(curve))
    return strip.colours, strip.inside & (strip.colours.max(axis=2) < 0.98)


def _cells(values: Plane, seen: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Mean of each cell, (CELLS, channels); NaN where less than half of it is seen."""
    held = np.where(seen[..., None], values, 0).reshape(CELLS, -1, values.shape[2]).sum(axis=1)
    count = seen.reshape(CELLS, -1).sum(axis=1)[:, None]
    few = count < seen.size / CELLS / 2
    return np.where(few, np.nan, held / np.maximum(count, 1))


def _common_light(before: Occasion, after: Occasion, first: _Look, second: _Look) -> _CommonLight:
    """Bring the photograph after to the light of that before, or say why not."""
    seen = (first.metal, second.metal)
    known = np.all([np.isfinite(metal).all(axis=1) & (metal > _BLACK).all(axis=1) for metal in seen], axis=0)
    by_card = before.grey_card and after.grey_card
    if known.sum() < CELLS // 4:
        return _CommonLight(np.ones(3), 0.0, 0.0, "metal", _NO_EXPOSURE if by_card else _NO_METAL)
    ratios = np.log(first.metal[known] / second.metal[known])
    gain = np.exp(np.median(ratios, axis=0))
    too_far = "" if 1 / EXPOSURES < gain[1] < EXPOSURES else _EXPOSURE
    independent = np.sqrt(known.sum() / TOGETHER)
    u_exposure = float(_spread(ratios[:, [1]])[0] / independent)
    if by_card:
        # Both are neutral: the metal is asked for the exposure only.
        return _CommonLight(np.full(3, gain[1]), 0.01, u_exposure, "grey card", too_far)
    u = float(_spread(ratios[:, [0, 2]] - ratios[:, [1]]).max() / independent)
    too_tinted = _BALANCE if gain.max() / gain.min() > BALANCE else ""
    return _CommonLight(gain, u, u_exposure, "metal", (_METAL if u > SURE else "") or too_far or too_tinted)


def _spread(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Robust standard deviation by column: 1.4826 times the median distance from the median."""
    spread: NDArray[np.float64] = 1.4826 * np.median(np.abs(values - np.median(values, axis=0)), axis=0)
    return spread


def _median(values: NDArray[np.float64]) -> Quantity:
    u = 1.2533 * float(_spread(values[:, None])[0]) / np.sqrt(len(values) / TOGETHER)
    return Quantity(float(np.median(values)), float(u), "")


def _mean(values: NDArray[np.float64], unit: str) -> Quantity:
    known = values[np.isfinite(values)]
    if not len(known):
        raise MeasurementError(
            "No part of the stone's rim is seen in both photographs, neither clipped nor hidden; expose it less, and show the whole girdle."
        )
    # A share of n cells is never surer than one cell more or less.
    u = max(float(known.std()), 1 / len(known) if unit == "" else 0.0) / np.sqrt(len(known) / TOGETHER)
    return Quantity(float(known.mean()), float(u), unit)


def _yellowness(cells: NDArray[np.float64], u_ratio: float) -> Quantity:
    """Median over the cells; a doubtful ratio of red and blue to green moves all of them."""
    xyz = xyz_of_light(cells)
    median = _median(np.array([yellowness(one) for one in xyz]))
    x, y, z = np.median(xyz, axis=0)
    u_light = 100 * u_ratio * float(np.hypot(CX * x, CZ * z) / max(y, 1e-9))
    return replace(median, u=combine(median.u, u_light))
