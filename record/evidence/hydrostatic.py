"""Density by weighing in air and in water."""

import math

from setstone.measure.quantity import Quantity

#: Coefficients of Tanaka, Girard, Davis, Peuto & Bignell 2001, Metrologia 38, 301, "Recommended table for the
#: density of water between 0 °C and 40 °C", equation 1 (air-free water; coefficients from memory, checked by
#: the test against published values).
_A = (-3.983035, 301.797, 522528.9, 69.34881, 999.974950)


def water_density(celsius: float) -> float:
    """Density of pure water at normal pressure, in g/cm³, for 0 to 40 °C.

    >>> round(water_density(20.0), 5)
    0.99821
    """
    a1, a2, a3, a4, a5 = _A
    return a5 * (1 - (celsius + a1) ** 2 * (celsius + a2) / (a3 * (celsius + a4))) / 1000


def hydrostatic_density(
    in_air: float, in_water: float, *, u_weighing: float, celsius: float, u_celsius: float = 1.0
) -> Quantity:
    """Density of a stone weighed in air and hanging in water (Archimedes).

    Parameters
    ----------
    in_air, in_water : float
        In g (or both in ct).
    u_weighing : float
        Standard uncertainty of each weighing, in the same unit.
    celsius : float
        Temperature of the water.
    u_celsius : float
        Its standard uncertainty.

    Returns
    -------
    Quantity
        In g/cm³; the buoyancy of the air is neglected (below 0.1 %).

    Examples
    --------
    >>> print(hydrostatic_density(0.5302, 0.3975, u_weighing=0.0002 / 3**0.5, celsius=20))
    3.988 g/cm³ ± 0.009 g/cm³
    """
    lost = in_air - in_water
    rho = water_density(celsius)
    value = rho * in_air / lost
    # JCGM 100:2008, 5.1.2: derivatives by the two weighings and by the water.
    by_air, by_water = -rho * in_water / lost**2, rho * in_air / lost**2
    slope = (water_density(celsius + 0.5) - water_density(celsius - 0.5)) * in_air / lost
    return Quantity(value, math.hypot(by_air * u_weighing, by_water * u_weighing, slope * u_celsius), "g/cm³")
