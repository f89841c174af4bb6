"""Numbers and their uncertainties as people type them, with a point or a comma."""

import math
import re

from setstone.record.errors import BookError

#: One number, as part of a pattern.
NUMBER = r"\d+(?:[.,]\d+)?"
#: Limits of error that can be meant, in the unit of whatever was read, and the least factor that covers more than u.
_UNCERTAINTY, _LEAST_K = (1e-7, 10.0), 1.0

_NUMBERS = re.compile(rf"{NUMBER}(?:\s*(?:-|–|—|/|;|\bto\b|\s)\s*{NUMBER})*")
_RESOLUTION = re.compile(r"\b(?:resolution|res\.?)\s*", re.IGNORECASE)
_K = re.compile(r"\(?\s*k\s*=\s*(\d(?:[.,]\d+)?)\s*\)?")


def parse_numbers(text: str) -> tuple[float, ...] | None:
    """Read one or more numbers as people type them, with a point or a comma.

    >>> parse_numbers("1.762-1.770"), parse_numbers("4,00"), parse_numbers("about 4")
    ((1.762, 1.77), (4.0,), None)
    """
    text = text.strip()
    if not _NUMBERS.fullmatch(text):
        return None
    numbers = tuple(number(n) for n in re.findall(NUMBER, text))
    return numbers if all(map(math.isfinite, numbers)) else None


def parse_uncertainty(text: str, usual: float) -> tuple[float, float, bool]:
    """Read an uncertainty.

    Parameters
    ----------
    text : str
        ``"0.002"`` or ``"± 0.002"``: limits of error; ``"0.002 (k = 2)"``: expanded uncertainty;
        ``"resolution 0.001"``: of the display, whose limits are half of it (JCGM 100:2008, F.2.2.1).
    usual : float
        The limits where nothing was typed.

    Returns
    -------
    standard, shown : float
        Standard uncertainty; limits are taken as a rectangular distribution, a/√3 (JCGM 100:2008, 4.3.7).
    stated : bool
        Whether it was typed.

    Raises
    ------
    BookError
        When it is no number between 1e-7 and 10, or its coverage factor is below one.
    """
    if not text.strip():
        return usual / math.sqrt(3), usual, False
    if _RESOLUTION.search(text):
        standard, limits, stated = parse_uncertainty(_RESOLUTION.sub("", text), usual)
        if not stated:
            raise BookError(f"'{text}' is no resolution; write it as 'resolution 0.001'.")
        return standard / 2, limits / 2, True
    factor = _K.search(text)
    bare = _K.sub("", text).strip().removeprefix("±").removeprefix("+/-").strip()
    numbers = parse_numbers(re.sub(r"\s*(g/cm³|g/cm3|g|ct)$", "", bare))
    if numbers is None or len(numbers) != 1 or not _UNCERTAINTY[0] <= numbers[0] <= _UNCERTAINTY[1]:
        raise BookError(f"'{text}' is no uncertainty; write it as '0.002', or as '0.002 (k = 2)'.")
    divisor = number(factor.group(1)) if factor else math.sqrt(3)
    if factor and divisor < _LEAST_K:
        raise BookError(
            f"'{text}': the k of an uncertainty is 1 or more, mostly 2; write it as '0.002 (k = 2)'."
        )
    return numbers[0] / divisor, numbers[0], True


def if_k(uncertainty: str) -> str:
    """Give back the coverage factor that was typed, to be said again; may be empty."""
    found = _K.search(uncertainty)
    return f" (k = {found.group(1)})" if found else ""


def number(text: str) -> float:
    """Read one number that matches `NUMBER`."""
    return float(text.replace(",", "."))


def decimals(text: str) -> int:
    """Count the decimals of a number as typed."""
    return len(re.split("[.,]", text)[1]) if re.search("[.,]", text) else 0
