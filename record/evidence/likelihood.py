"""Probability of a reading under a published range.

A published range tells limits; values near them are rarer than in the middle, how much rarer nobody publishes. The
true value of a stone of that material is therefore taken as trapezoidal between the limits (JCGM 100:2008, 4.3.9),
with a top half as wide as the base: halfway between rectangular and triangular. A reading scatters around the true
value normally with its standard uncertainty. The density of a reading under the material is the convolution of
both, in closed form; it serves to compare materials (likelihood: Edwards 1972).
Whether a reading *agrees* with a material at all is asked otherwise: of all true values allowed, take the one that
agrees best (p-value of a composite hypothesis, the supremum over it: Casella & Berger 2002, theorem 8.3.27),
so that a stone at the edge of the range agrees as well as one in the middle.
"""

import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from setstone.record.evidence.materials import Range

Many = NDArray[np.float64]

#: Standard uncertainties from which on a normal distribution holds less than 1e-30.
FAR = 12.0
#: Top of the trapezoid as a share of its base (JCGM 100:2008, 4.3.9, β): 1 would be rectangular, 0 triangular.
TOP = 0.5
#: Nodes and weights of Gauss and Legendre, enough for birefringences spread over 0.1 and edges read to 0.002.
_ROOT2 = math.sqrt(2)
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(64)


def density_under(reading: float, u: float, range_: Range) -> float:
    """Probability density of a reading, the true value being anywhere in a range.

    Parameters
    ----------
    reading : float
    u : float
        Standard uncertainty, above zero, in the unit of the reading.
    range_ : Range

    Returns
    -------
    float
        Per unit of the reading: the trapezoidal distribution folded with the normal one.

    Examples
    --------
    >>> round(density_under(0.5, 0.01, Range(0.0, 1.0)), 6)  # 1 / (half the width × (1 + ½))
    1.333333
    """
    off, half = reading - range_.middle, (range_.high - range_.low) / 2
    if abs(off) - half > FAR * u:
        return 0.0
    return float(_density(off, u, half))


def probability_above(limit: float, u: float, range_: Range) -> float:
    """Probability that a value anywhere in a range lies above a limit known to `u`.

    Examples
    --------
    >>> round(probability_above(0.25, 1e-3, Range(0.0, 1.0)), 3)
    0.833
    """
    above = _folded(_twice, range_.middle - limit, u, (range_.high - range_.low) / 2)
    return float(np.clip(above, 0.0, 1.0))


def agreement(reading: float, u: float, range_: Range) -> float:
    """Probability of a reading at least so far off, for the true value that agrees best.

    Parameters
    ----------
    reading, u : float
    range_ : Range

    Returns
    -------
    float
        1 within the range; outside, twice the normal tail beyond its distance from the range.

    Examples
    --------
    >>> agreement(1.80, 0.01, Range(1.70, 1.90)), round(agreement(1.9196, 0.01, Range(1.70, 1.90)), 3)
    (1.0, 0.05)
    """
    off = max(0.0, range_.low - reading, reading - range_.high)
    return math.erfc(off / u / math.sqrt(2))


def edges_density(
    low: float, high: float, u: float, index: Range, birefringence: Range, *, whole: float
) -> float:
    """Probability density of two shadow edges under a doubly refracting material.

    Both edges come from one stone: its lower index n lies anywhere that leaves room for the upper one,
    n + b, within the range of the index. With probability `whole` the rotation showed the whole birefringence,
    otherwise any part of it (two readings on one position give a lower bound only).

    Parameters
    ----------
    low, high : float
        Edges read.
    u : float
        Standard uncertainty of each.
    index, birefringence : Range
        Published.
    whole : float
        Between 0 and 1.

    Returns
    -------
    float
        Per unit of index squared.
    """

    def given(b: Many) -> Many:
        # Two readings of n, low and high − b: their difference tells of b alone, their mean of n.
        half = np.maximum(0.0, index.high - b - index.low) / 2
        mean = (low + high - b) / 2 - (index.low + half)
        return _normal((high - low - b) / (u * _ROOT2)) / (u * _ROOT2) * _density(mean, u / _ROOT2, half)

    def over(least: float, most: float) -> float:
        if most <= least:
            return float(given(np.array([least]))[0])
        return float(np.dot(_WEIGHTS, given(least + (most - least) * (_NODES + 1) / 2)) / 2)

    return whole * over(birefringence.low, birefringence.high) + (1 - whole) * over(0.0, birefringence.low)


def pooled(values: Sequence[float], uncertainties: Sequence[float]) -> tuple[float, float]:
    """Take several readings of one quantity together.

    They share instrument, scale and reference, so their errors go together: the weighted mean is no more certain than the
    best of them (JCGM 100:2008, 5.2.2, note 1, correlation 1).

    Returns
    -------
    value, u : float
    """
    weights = [1 / u**2 for u in uncertainties]
    mean = math.fsum(v * w for v, w in zip(values, weights, strict=True)) / math.fsum(weights)
    return mean, min(uncertainties)


def _density(off: Any, u: float, half: Any) -> Any:
    return np.maximum(0.0, _folded(_once, off, u, half) / u)


def _folded(integral: Callable[[Any], Any], off: Any, u: float, half: Any) -> Any:
    """Fold a trapezoid of half width `half` with a normal distribution; numbers or arrays.

    The trapezoid is one rectangle folded with another, of half widths a1 and a2, so that its base is 2 (a1 + a2) and
    its top 2 (a1 − a2) wide; folding with each takes the difference of one more integral of the normal distribution.
    """
    # A range far narrower than the uncertainty acts as a point; narrower still, the differences would cancel.
    half = np.maximum(half, u / 50)
    a1, a2 = half * (1 + TOP) / 2, half * (1 - TOP) / 2
    ends = ((a1 + a2, 1), (a1 - a2, -1), (a2 - a1, -1), (-a1 - a2, 1))
    return u * u / (4 * a1 * a2) * sum(sign * integral((off + a) / u) for a, sign in ends)


def _normal(z: Any) -> Any:
    return np.exp(-0.5 * z * z) / math.sqrt(2 * math.pi)


def _once(z: Any) -> Any:
    """Integral of the normal distribution function up to z."""
    return z * ndtr(z) + _normal(z)


def _twice(z: Any) -> Any:
    """Integral of `_once` up to z."""
    return ((z * z + 1) * ndtr(z) + z * _normal(z)) / 2
