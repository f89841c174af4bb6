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

import numpy as np

from setstone.record.evidence.materials import Range

#: Top of the trapezoid as a share of its base (JCGM 100:2008, 4.3.9, β): 1 would be rectangular, 0 triangular.
TOP = 0.5
#: Nodes and weights of Gauss and Legendre, enough for birefringences spread over 0.1 and edges read to 0.002.
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
    if range_.high <= range_.low:
        return _normal(reading - range_.low, u)
    return max(0.0, _folded(_once, reading - range_.middle, u, range_) / u)


def probability_above(limit: float, u: float, range_: Range) -> float:
    """Probability that a value anywhere in a range lies above a limit known to `u`.

    Examples
    --------
    >>> round(probability_above(0.25, 1e-3, Range(0.0, 1.0)), 3)
    0.833
    """
    if range_.high <= range_.low:
        return _below((range_.low - limit) / u)
    return min(1.0, max(0.0, _folded(_twice, range_.middle - limit, u, range_)))


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

    def given(b: float) -> float:
        # Two readings of n, low and high − b: their difference tells of b alone, their mean of n.
        top = max(index.low, index.high - b)
        mean = (low + high - b) / 2
        return _normal(high - low - b, u * math.sqrt(2)) * density_under(
            mean, u / math.sqrt(2), Range(index.low, top)
        )

    def over(least: float, most: float) -> float:
        if most <= least:
            return given(least)
        b = least + (most - least) * (_NODES + 1) / 2
        return float(np.dot(_WEIGHTS, [given(float(x)) for x in b]) / 2)

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


def _normal(off: float, u: float) -> float:
    return math.exp(-0.5 * (off / u) ** 2) / (u * math.sqrt(2 * math.pi))


def _below(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2))


def _folded(integral: Callable[[float], float], off: float, u: float, range_: Range) -> float:
    """Fold a trapezoid with a normal distribution.

    The trapezoid is one rectangle folded with another, of half widths a1 and a2, so that its base is 2 (a1 + a2) and
    its top 2 (a1 − a2) wide; folding with each takes the difference of one more integral of the normal distribution.
    """
    half = (range_.high - range_.low) / 2
    a1, a2 = half * (1 + TOP) / 2, half * (1 - TOP) / 2
    ends = ((a1 + a2, 1), (a1 - a2, -1), (a2 - a1, -1), (-a1 - a2, 1))
    return u * u / (4 * a1 * a2) * math.fsum(sign * integral((off + a) / u) for a, sign in ends)


def _once(z: float) -> float:
    """Integral of the normal distribution function up to z."""
    return z * _below(z) + _normal(z, 1.0)


def _twice(z: float) -> float:
    """Integral of `_once` up to z."""
    return ((z * z + 1) * _below(z) + z * _normal(z, 1.0)) / 2
