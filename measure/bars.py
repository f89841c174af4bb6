"""Three-bar elements of a resolution target: their pitch below the pixel, and what the standard says it is.

An element of the USAF 1951 target is three equal bars with gaps as wide as the bars, five widths long. Group G,
element E has 2^(G + (E - 1)/6) line pairs per millimetre (MIL-STD-150A, 1959, 5.1.1.7). The pitch is read by a fit of
the blurred bars themselves to all pixels, so that neither the direction of the bars nor their exposure (wide
bars, narrow gaps) moves it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import OptimizeResult, least_squares
from scipy.special import erf

from setstone.measure.errors import MeasurementError
from setstone.measure.light import Plane
from setstone.measure.quantity import Quantity, combine

#: Bars and gaps of an element: 3 + 2 bar widths, and a bar is half a pitch.
PITCHES_ACROSS = 2.5
#: Share of the box, at either end along the bars, left out: their ends are no line.
ENDS = 0.15
#: What sampling by pixels may do to a fitted edge even without noise, px.
U_EDGE_PX = 0.01
#: Which parameter of the bars is their slope; the mean of rows cannot tell it.
SLOPE = 4
#: The bars must explain this share of the variance in the box.
EXPLAINED = 0.5


Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Bars:
    """Three equal bars.

    Parameters
    ----------
    pitch_px : Quantity
        From the middle of one bar to the middle of the next, square to the bars, in px.
    width_px : float
        Of one bar at half height; half the pitch when exposed rightly.
    blur_px : float
        Standard deviation of the blur of the edges, in px.
    angle_deg : float
        Direction in which the bars follow each other, -45 to 135, from the x axis, y down.
    """

    pitch_px: Quantity
    width_px: float
    blur_px: float
    angle_deg: float


def usaf_1951_pitch_um(group: int, element: int) -> float:
    """Pitch (one bar and one gap) of an element of the USAF 1951 target, µm (MIL-STD-150A).

    Raises
    ------
    MeasurementError
        When there is no such element: each group has six.

    Examples
    --------
    >>> usaf_1951_pitch_um(4, 1)
    62.5
    >>> round(usaf_1951_pitch_um(7, 6), 3)
    4.385
    """
    if not 1 <= element <= 6:
        raise MeasurementError(f"A group of the target has elements 1 to 6, not {element}; read it again.")
    return float(1000 / 2 ** (group + (element - 1) / 6))


def three_bars(plane: Plane, box: Box) -> Bars | None:
    """Fit three equal bars to what lies in a box drawn tightly around them.

    Parameters
    ----------
    plane : (H, W) float32 array
        Any units; bright bars on dark ground or dark ones on bright.
    box : (float, float, float, float)
        x0, y0, x1, y1 in px, good to about a tenth of its size. Bars may lie along either axis, or nearly.

    Returns
    -------
    Bars or None
        None where no three bars are seen in the box.
    """
    x0, y0, x1, y1 = box
    room = 0.1 * max(x1 - x0, y1 - y0)
    rows = slice(max(0, round(y0 - room)), min(plane.shape[0], round(y1 + room) + 1))
    columns = slice(max(0, round(x0 - room)), min(plane.shape[1], round(x1 + room) + 1))
    cut = np.asarray(plane[rows, columns], np.float64)
    if min(cut.shape) < 8:
        return None
    shifted = (x0 - columns.start, y0 - rows.start, x1 - columns.start, y1 - rows.start)
    turned_box = (shifted[1], shifted[0], shifted[3], shifted[2])
    tries = [
        (_started(cut, shifted), False, cut.shape[1]),
        (_started(cut.T, turned_box), True, cut.shape[0]),
    ]
    start, turned, _ = min(tries, key=lambda t: t[0].cost / t[2] if t[0] is not None else np.inf)
    if start is None:
        return None
    fit = _fitted(cut.T, turned_box, start.x) if turned else _fitted(cut, shifted, start.x)
    if fit is None:
        return None
    pitch, width, blur, slope = (float(v) for v in fit.x[1:5])
    # Residuals of neighbouring pixels hang together through the camera's own blur.
    variance = 2 * fit.cost / len(fit.fun) * _together(fit.fun.reshape(-1, cut.shape[0 if turned else 1]))
    covariance = np.linalg.pinv(fit.jac.T @ fit.jac) * variance
    angle = float(np.rad2deg(np.arctan(slope)))
    return Bars(
        pitch_px=Quantity(abs(pitch), combine(float(np.sqrt(covariance[1, 1])), U_EDGE_PX), "px"),
        width_px=abs(width),
        blur_px=abs(blur),
        angle_deg=90 - angle if turned else angle,
    )


def _lengthwise(cut: NDArray[np.float64], box: Box) -> NDArray[np.float64]:
    """The rows of the box without the ends of the bars."""
    first, last = round(box[1] + ENDS * (box[3] - box[1])), round(box[3] - ENDS * (box[3] - box[1])) + 1
    return cut[max(0, first) : last]


def _bars(p: NDArray[np.float64], x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Three blurred bars on sloping ground, with their parameters in the order of `_started`."""
    middle, pitch, width, blur, slope, height, ground, tilt = p
    across = (x - middle + slope * y) / np.hypot(1, slope)
    edge = np.sqrt(2) * np.hypot(blur, 0.2)
    bars = sum(
        erf((across - k * pitch + width / 2) / edge) - erf((across - k * pitch - width / 2) / edge)
        for k in (-1, 0, 1)
    )
    return np.asarray(ground + tilt * across + height / 2 * bars)


def _started(cut: NDArray[np.float64], box: Box) -> OptimizeResult | None:
    """Fit bars that follow each other along x to the mean of the rows."""
    values = _lengthwise(cut, box)
    profile = values.mean(axis=0) if len(values) >= 3 else np.zeros(0)
    spread = float(profile.std()) if len(profile) else 0.0
    if spread == 0:
        return None
    x, y = np.arange(len(profile), dtype=np.float64), np.zeros(len(profile))

    def off(p: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(_bars(np.insert(p, SLOPE, 0), x, y) - profile)

    fits = []
    for stretch in (0.92, 1.0, 1.08):
        pitch = stretch * (box[2] - box[0]) / PITCHES_ACROSS
        middle = (box[0] + box[2]) / 2
        at = np.clip(np.rint(middle + pitch * np.arange(-1, 1.5, 0.5)).astype(int), 0, len(profile) - 1)
        ground = float(profile[at[1::2]].mean())
        height = float(profile[at[::2]].mean()) - ground or spread
        start = [middle, pitch, pitch / 2, pitch / 8, height, ground, 0.0]
        scale = np.delete(_size(spread, len(x)), SLOPE)
        fits.append(least_squares(off, start, x_scale=scale))
    best = min(fits, key=lambda f: float(f.cost))
    # What the mean of the rows does not show is left over as well: along the bars that is their pattern.
    best.cost += len(x) / 2 * float(((values - profile) ** 2).mean())
    best.x = np.insert(best.x, SLOPE, 0)
    return best


def _fitted(cut: NDArray[np.float64], box: Box, start: NDArray[np.float64]) -> OptimizeResult | None:
    """Fit bars that follow each other along x to all pixels; None when they explain too little."""
    values = _lengthwise(cut, box)
    y, x = np.mgrid[: values.shape[0], : values.shape[1]].astype(np.float64)
    y -= y.mean()
    scale = _size(float(values.std()), values.shape[1])

    def off(p: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray((_bars(p, x, y) - values).ravel())

    fit = least_squares(off, start, x_scale=scale, xtol=1e-6)
    if 2 * fit.cost > (1 - EXPLAINED) * float(((values - values.mean()) ** 2).sum()):
        return None
    expected = (box[2] - box[0]) / PITCHES_ACROSS
    middle, pitch, width, blur = (float(v) for v in fit.x[:SLOPE])
    seen = (
        0.75 < pitch / expected < 1.25
        and 0.2 < width / pitch < 0.8
        and abs(blur) < 0.4 * pitch
        and abs(middle - (box[0] + box[2]) / 2) < pitch / 2
    )
    return fit if seen else None


def _size(spread: float, length: int) -> list[float]:
    """What counts as a small step of each parameter."""
    return [1, 1, 1, 1, 0.05, spread, spread, spread / length]


def _together(residuals: NDArray[np.float64]) -> float:
    """How many pixels of the residuals are as good as one: those of a first-order process along both axes."""
    variance = float((residuals * residuals).mean()) + 1e-30
    alike = (residuals[:, 1:] * residuals[:, :-1]).mean(), (residuals[1:] * residuals[:-1]).mean()
    along, down = (min(max(float(a) / variance, 0.0), 0.8) for a in alike)
    return (1 + along) / (1 - along) * (1 + down) / (1 - down)
