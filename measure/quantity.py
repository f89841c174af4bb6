"""A measured value with its standard uncertainty and unit.

The uncertainty is a *standard* uncertainty as in the Guide to the Expression of Uncertainty in
Measurement (JCGM 100:2008); what people see is the expanded uncertainty with k = 2.
"""

import math
from dataclasses import dataclass

#: Coverage factor of every interval shown to people: about 95 % (JCGM 100:2008, 6.3.3).
COVERAGE = 2.0


@dataclass(frozen=True)
class Quantity:
    """A value with its standard uncertainty.

    Parameters
    ----------
    value : float
        Best estimate, in `unit`.
    u : float
        Standard uncertainty (one standard deviation), in `unit`.
    unit : str
        Unit symbol, for example ``"mm"``, ``"µm"``, ``"µm/px"``; ``""`` for a plain number.

    Examples
    --------
    >>> str(Quantity(3.0012, 0.0061, "mm"))
    '3.001 mm ± 0.012 mm'
    >>> str(Quantity(41.3, 4.1, "µm"))
    '41 µm ± 8 µm'
    """

    value: float
    u: float
    unit: str

    @property
    def expanded(self) -> float:
        """Expanded uncertainty with k = 2, in `unit`."""
        return COVERAGE * self.u

    def __str__(self) -> str:
        unit = f" {self.unit}" if self.unit else ""
        digits = _decimals(self.expanded)
        return f"{self.value:.{digits}f}{unit} ± {self.expanded:.{digits}f}{unit}"


def combine(*contributions: float) -> float:
    """Combine independent standard uncertainties (JCGM 100:2008, 5.1.2, equation 10).

    >>> combine(3.0, 4.0)
    5.0
    """
    return math.sqrt(math.fsum(c * c for c in contributions))


def _decimals(expanded: float) -> int:
    """Decimals that leave the uncertainty one or two significant digits (JCGM 100:2008, 7.2.6)."""
    if not math.isfinite(expanded) or expanded <= 0:
        return 3
    first = math.floor(math.log10(expanded))
    leading = expanded / 10.0**first
    return max(0, (1 if leading < 3 else 0) - first)
