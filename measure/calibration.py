"""From the lines of a stage micrometer to micrometres per pixel, with an uncertainty by the GUM.

Source of the rules: JCGM 100:2008 (GUM), clauses 4.2 and 4.3, 5.1.2, G.4.1.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from setstone.measure.errors import MeasurementError
from setstone.measure.quantity import COVERAGE, Quantity, combine
from setstone.measure.scale import Scale

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from setstone.measure.micrometer import LocalPeriod, MicrometerLines

#: Limits of error taken for a micrometer without a certificate, as a share (common practice, no source).
UNCERTIFIED = 1e-3
#: Directions must differ by this for the shape of the pixels to be told, degrees.
_TURNED_DEG = 30.0
#: Changes of the scale below this share of it are of no importance for a stone.
_NOTABLE = 2e-4
#: Pixels that are less than this from square, and a scale that changes by less over the field, need no warning:
#: half of what the girdle is measured to (common practice, no source).
TOLERABLE = 2e-3
#: A departure counts from this many standard uncertainties.
_SIGNIFICANT = 3.0
#: Two photographs of one setup differ by less than this share.
_SAME_SETUP = 0.02


@dataclass(frozen=True)
class Certificate:
    """What is known of the micrometer's own scale.

    Parameters
    ----------
    limit : float
        Limits of error, or expanded uncertainty, as a share of the length.
    expanded : bool
        True for an expanded uncertainty with k = 2; False for limits, taken as rectangular (GUM 4.3.7).
    """

    limit: float
    expanded: bool = False

    @property
    def relative_u(self) -> float:
        """Relative standard uncertainty (a plain number)."""
        return self.limit / (COVERAGE if self.expanded else math.sqrt(3))


@dataclass(frozen=True)
class Contribution:
    """One line of the budget: relative standard uncertainty with its degrees of freedom."""

    name: str
    relative_u: float
    degrees: float = math.inf


@dataclass(frozen=True)
class LocalScale:
    """Scale in one part of the picture.

    Parameters
    ----------
    x, y : float
        Where, as shares of width and height from the upper left corner.
    change : float
        Against the scale of the whole, relative.
    u : float
        Its standard uncertainty.
    """

    x: float
    y: float
    change: float
    u: float


@dataclass(frozen=True)
class Calibration:
    """Scale of an optical setup.

    Parameters
    ----------
    um_per_px : float
        Micrometres per pixel: of the mean over all directions, where the pixels are not square.
    contributions : tuple of Contribution
        The budget.
    division_um : float
        Distance of the lines as engraved, µm.
    photographs : int
        How many it rests on.
    lines : int
        Lines found in them.
    pixel_aspect : Quantity or None
        Width over height of a pixel; None unless photographs lie in different directions.
    bend : float
        Largest change of the local scale between middle and end of the lines, relative.
    remarks : tuple of str
        What a person must know.
    field : tuple of LocalScale
        The scale in parts of the picture; empty where there are too few lines.
    covered : float
        Share of the picture's longer side over which lines were seen, of the photograph that shows most.
    """

    um_per_px: float
    contributions: tuple[Contribution, ...]
    division_um: float
    photographs: int
    lines: int
    pixel_aspect: Quantity | None
    bend: float
    remarks: tuple[str, ...]
    field: tuple[LocalScale, ...] = ()
    covered: float = 0.0

    @property
    def is_square(self) -> bool | None:
        """Whether pixels are as wide as high, within a tolerance a stone can bear; None where it was not checked."""
        aspect = self.pixel_aspect
        return None if aspect is None else abs(aspect.value - 1) <= max(_SIGNIFICANT * aspect.u, TOLERABLE)

    @property
    def is_even(self) -> bool:
        """Whether the scale is the same all over the lines, within a tolerance a stone can bear."""
        return self.bend <= TOLERABLE or all(c.name != "distortion" for c in self.contributions)

    @property
    def relative_u(self) -> float:
        """Combined relative standard uncertainty (GUM 5.1.2)."""
        return combine(*(c.relative_u for c in self.contributions))

    @property
    def degrees(self) -> float:
        """Effective degrees of freedom."""
        return effective_degrees(self.contributions)

    @property
    def coverage(self) -> float:
        """Coverage factor for 95 %."""
        return coverage_factor(self.degrees, 0.95)

    def scale(self, name: str) -> Scale:
        """Scale of photographs made with the setup of this name.

        Every interval shown to people is k = 2; the uncertainty is widened so that it is one of 95 % also
        where few repeats ask for a larger factor.
        """
        u = self.um_per_px * self.relative_u * max(COVERAGE, self.coverage) / COVERAGE
        return Scale(self.um_per_px, u, "calibration", name)


def effective_degrees(contributions: Sequence[Contribution]) -> float:
    """Effective degrees of freedom by Welch and Satterthwaite (GUM G.4.1, equation G.2b).

    >>> budget = [Contribution("repeats", 2.0, 3), Contribution("certificate", 1.0)]
    >>> round(effective_degrees(budget), 3)
    4.688
    """
    below = math.fsum(c.relative_u**4 / c.degrees for c in contributions)
    return combine(*(c.relative_u for c in contributions)) ** 4 / below if below > 0 else math.inf


def coverage_factor(degrees: float, level: float) -> float:
    """Coverage factor from Student's distribution, degrees of freedom cut to a whole number (GUM G.4.1).

    >>> round(coverage_factor(16.7, 0.99), 2), round(coverage_factor(math.inf, 0.9545), 2)
    (2.92, 2.0)
    """
    from scipy.special import stdtrit  # loaded only here: a record that is only read need not wait for it

    whole = 1e9 if math.isinf(degrees) else max(1, math.floor(degrees))
    return float(stdtrit(whole, (1 + level) / 2))


def calibrate(
    photographs: Sequence["MicrometerLines"], division_um: float, certificate: Certificate | None = None
) -> Calibration:
    """Calibrate a setup from one or more photographs of the same micrometer.

    Parameters
    ----------
    photographs : sequence of MicrometerLines
        Of one setup; several, each set up anew and some turned by about 90°, say more than one.
    division_um : float
        Distance from line to line as engraved, µm.
    certificate : Certificate, optional
        Without one, limits of error of 0.1 % are taken.

    Returns
    -------
    Calibration

    Raises
    ------
    MeasurementError
        When there is no photograph, the division is not positive, or the photographs contradict each other.
    """
    from setstone.measure.micrometer import local_periods

    if not photographs:
        raise MeasurementError("There is no photograph of a micrometer; photograph one first.")
    if not (math.isfinite(division_um) and division_um > 0):
        raise MeasurementError(f"A division of {division_um:g} µm is not possible; give what is engraved.")
    remarks: list[str] = []
    scales = np.array([division_um / p.period_px for p in photographs])
    if scales.max() / scales.min() > 1 + _SAME_SETUP:
        raise MeasurementError(
            f"The photographs give scales from {scales.min():.4g} to {scales.max():.4g} µm per pixel, so they are "
            "not of one setup and one micrometer; calibrate each setup by itself."
        )
    fit_u = np.array([p.u_period_px / p.period_px for p in photographs])
    n = len(photographs)
    degrees_of_lines = math.fsum(max(1.0, (len(p.numbers) - 2) / 4) for p in photographs)
    aspect, mean, spread = _pixel_shape(photographs, scales, fit_u)
    terms = [Contribution("fit of the lines", float(np.sqrt((fit_u**2).mean() / n)), degrees_of_lines)]
    free = n - (1 if aspect is None else 2)
    if free > 0:
        terms.append(Contribution("repeated photographs", spread / math.sqrt(n), free))
    else:
        remarks.append(
            "Photograph the micrometer again, taken off and put back, to learn how well the scale repeats."
        )
    if certificate is None:
        remarks.append("No certificate of the micrometer was given; limits of error of 0.1 % were taken.")
    terms.append(Contribution("micrometer", (certificate or Certificate(UNCERTIFIED)).relative_u))
    if aspect is None:
        remarks.append("Whether pixels are square was not checked: add a photograph turned by about 90°.")
    else:
        off = abs(aspect.value - 1)
        if off > max(_SIGNIFICANT * aspect.u, _NOTABLE):
            terms.append(Contribution("shape of the pixels", off / 2 / math.sqrt(3)))
            remarks.append(f"Pixels are {off:.2%} {'wider' if aspect.value > 1 else 'higher'} than square.")
    bend, bend_u = _bend(photographs)
    if bend > max(_SIGNIFICANT * bend_u, _NOTABLE):
        terms.append(Contribution("distortion", bend / math.sqrt(3)))
        remarks.append(f"The scale changes by {bend:.2%} from the middle of the lines to their ends.")
    remarks += _graduation(photographs)
    return Calibration(
        um_per_px=mean,
        contributions=tuple(terms),
        division_um=division_um,
        photographs=n,
        lines=sum(len(p.numbers) for p in photographs),
        pixel_aspect=aspect,
        bend=bend,
        remarks=tuple(remarks),
        field=tuple(_local_scale(part) for p in photographs for part in local_periods(p)),
        covered=max(_covered(p) for p in photographs),
    )


def _local_scale(part: "LocalPeriod") -> LocalScale:
    # Lines further apart mean fewer micrometres to the pixel.
    return LocalScale(part.x, part.y, 1 / (1 + part.change) - 1, part.u)


def _covered(lines: "MicrometerLines") -> float:
    """Share of the longer side that the lines go over, along their own direction."""
    return float(np.ptp(lines.numbers)) * lines.period_px / max(1, *lines.size) if max(lines.size) else 0.0


def _pixel_shape(
    photographs: Sequence["MicrometerLines"], scales: "NDArray[np.float64]", fit_u: "NDArray[np.float64]"
) -> tuple[Quantity | None, float, float]:
    """Width over height of a pixel, the mean scale, and the relative spread of single photographs.

    The lines' wave has k² = (kx / sx)² + (ky / sy)² = 1 / division², linear in 1 / sx² and 1 / sy².
    """
    angles = np.array([p.angle_deg for p in photographs])
    apart = np.abs(angles[:, None] - angles[None, :])
    if np.minimum(apart, 180 - apart).max() < _TURNED_DEG:
        spread = float(scales.std(ddof=1) / scales.mean()) if len(scales) > 1 else 0.0
        return None, float(scales.mean()), spread
    directions = np.array([p.wave_vector * p.period_px for p in photographs])
    basis = directions**2
    inverse, *_ = np.linalg.lstsq(basis, 1 / scales**2, rcond=None)
    sx, sy = 1 / np.sqrt(inverse)
    left = (basis @ inverse) * scales**2 - 1
    free = len(scales) - 2
    spread = float(np.sqrt(left @ left / free) / 2) if free > 0 else 0.0
    u = max(spread, float(np.sqrt((fit_u**2).mean())))
    # d(sx/sy) / (sx/sy) = -(dX/X - dY/Y) / 2, with X and Y fitted to 1/s² of relative uncertainty 2u.
    relative = np.linalg.inv(basis.T @ basis) * (2 * u) ** 2
    u_aspect = float(np.sqrt(relative[0, 0] + relative[1, 1] - 2 * relative[0, 1])) / 2
    return Quantity(float(sx / sy), u_aspect, ""), float(np.sqrt(sx * sy)), spread


def _bend(photographs: Sequence["MicrometerLines"]) -> tuple[float, float]:
    """Largest change of scale along the lines of any photograph, with its standard uncertainty."""
    terms = [
        pair
        for p in photographs
        for pair in ((abs(p.bend.linear), p.bend.u_linear), (abs(p.bend.quadratic), p.bend.u_quadratic))
    ]
    return max(terms, key=lambda t: t[0] - _SIGNIFICANT * t[1])


def _graduation(photographs: Sequence["MicrometerLines"]) -> list[str]:
    """Doubt that every line was seen: micrometers make every fifth and tenth line longer."""
    if any(p.longer_every == 2 for p in photographs):
        return [
            "Every second line found is longer, as if only every fifth line of the micrometer was seen; "
            "check the division, and focus better."
        ]
    return []
