"""Exact units of length and mass in the trade, and how measures are said.

The inch is 25.4 mm by definition (international yard and pound agreement of 1959). The metric carat is 0.2 g
(4th General Conference on Weights and Measures, 1907) and a point is a hundredth of it. Older papers may mean
the English carat, about 2.5 % more, and are not converted.
"""

from setstone.measure.errors import MeasurementError
from setstone.measure.quantity import Quantity

#: Size of each unit in the base unit of its kind.
_LENGTHS_UM = {"µm": 1.0, "mm": 1e3, "cm": 1e4, "in": 25.4e3}
_MASSES_MG = {"mg": 1.0, "g": 1e3, "ct": 200.0, "pt": 2.0}


def converted(quantity: Quantity, unit: str) -> Quantity:
    """Express a length or a mass in another unit.

    Parameters
    ----------
    quantity : Quantity
        In µm, mm, cm, in (inch) or in mg, g, ct (metric carat), pt (point).
    unit : str
        One of the same kind.

    Returns
    -------
    Quantity
        The same value and uncertainty in `unit`.

    Raises
    ------
    MeasurementError
        When a unit is not known or the two are of different kinds.

    Examples
    --------
    >>> converted(Quantity(1.0, 0.0, "in"), "mm").value, converted(Quantity(5.0, 0.0, "ct"), "g").value
    (25.4, 1.0)
    """
    for sizes in (_LENGTHS_UM, _MASSES_MG):
        if quantity.unit in sizes and unit in sizes:
            ratio = sizes[quantity.unit] / sizes[unit]
            return Quantity(quantity.value * ratio, quantity.u * ratio, unit)
    known = ", ".join((*_LENGTHS_UM, *_MASSES_MG))
    raise MeasurementError(
        f"'{quantity.unit}' cannot be expressed in '{unit}'; use two lengths or two masses out of {known}."
    )


def format_length(length: Quantity) -> str:
    """Length with its expanded uncertainty as people read it: µm below a millimetre, mm from there on.

    >>> format_length(Quantity(0.0413, 0.0041, "mm")), format_length(Quantity(3001.2, 6.1, "µm"))
    ('41 µm ± 8 µm', '3.001 mm ± 0.012 mm')
    """
    micrometres = converted(length, "µm")
    return str(micrometres if micrometres.value < 1000 else converted(length, "mm"))


def shorter_turn(turned_deg: float) -> tuple[float, str]:
    """Degrees of a clockwise turn of any size said the shorter way round, and which way that is.

    >>> shorter_turn(311.5), shorter_turn(180.0), shorter_turn(-361.0)
    ((48.5, 'anticlockwise'), (180.0, 'clockwise'), (1.0, 'anticlockwise'))
    """
    clockwise = turned_deg % 360
    return (clockwise, "clockwise") if clockwise <= 180 else (360 - clockwise, "anticlockwise")
