"""The kinds of readings, and what a typed reading says once it is understood."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import Any

from setstone.measure.quantity import Quantity
from setstone.record.text import key


class ReadingKind(StrEnum):
    """Which test a reading is of."""

    REFRACTOMETER = "refractometer"
    DISTANT_VISION = "distant vision"
    THERMAL = "thermal tester"
    POLARISCOPE = "polariscope"
    DOUBLING = "doubling"
    OPTIC_CHARACTER = "optic character"
    DENSITY = "density"
    UV_LONG = "fluorescence long wave"
    UV_SHORT = "fluorescence short wave"
    PLEOCHROISM = "pleochroism"
    COLOUR = "body colour"
    OBSERVATION = "observation"
    SPECTRUM = "spectrum"


#: Name under which an estimated weight stands among the readings: kept there, and no reading.
ESTIMATED_WEIGHT = "estimated weight"

#: Other names people type.
_NAMES = {
    "refractive index": ReadingKind.REFRACTOMETER,
    "ri": ReadingKind.REFRACTOMETER,
    "distant-vision": ReadingKind.DISTANT_VISION,
    "distant": ReadingKind.DISTANT_VISION,
    "spot": ReadingKind.DISTANT_VISION,
    "spot reading": ReadingKind.DISTANT_VISION,
    "thermal": ReadingKind.THERMAL,
    "thermal conductivity": ReadingKind.THERMAL,
    "thermal conductivity tester": ReadingKind.THERMAL,
    "single or double refraction": ReadingKind.POLARISCOPE,
    "double refraction": ReadingKind.POLARISCOPE,
    "optic sign": ReadingKind.OPTIC_CHARACTER,
    "hydrostatic": ReadingKind.DENSITY,
    "hydrostatic weighing": ReadingKind.DENSITY,
    "hydrostatic density": ReadingKind.DENSITY,
    "specific gravity": ReadingKind.DENSITY,
    "sg": ReadingKind.DENSITY,
    "fluorescence": ReadingKind.UV_LONG,
    "uv": ReadingKind.UV_LONG,
    "uv long wave": ReadingKind.UV_LONG,
    "uv long": ReadingKind.UV_LONG,
    "uv short wave": ReadingKind.UV_SHORT,
    "uv short": ReadingKind.UV_SHORT,
    "long wave": ReadingKind.UV_LONG,
    "lw": ReadingKind.UV_LONG,
    "short wave": ReadingKind.UV_SHORT,
    "sw": ReadingKind.UV_SHORT,
    "seen": ReadingKind.OBSERVATION,
    "long-wave fluorescence": ReadingKind.UV_LONG,
    "short-wave fluorescence": ReadingKind.UV_SHORT,
    "fluorescence long-wave": ReadingKind.UV_LONG,
    "fluorescence short-wave": ReadingKind.UV_SHORT,
    "pol": ReadingKind.POLARISCOPE,
    "pleo": ReadingKind.PLEOCHROISM,
    "dichroscope": ReadingKind.PLEOCHROISM,
    "colour": ReadingKind.COLOUR,
    "color": ReadingKind.COLOUR,
    "loupe": ReadingKind.OBSERVATION,
    "microscope": ReadingKind.OBSERVATION,
    "magnification": ReadingKind.OBSERVATION,
    "spectroscope": ReadingKind.SPECTRUM,
    "visible spectrum": ReadingKind.SPECTRUM,
}


def reading_kind(test: str) -> ReadingKind | None:
    """Return which kind of reading a test's name means, or None for one that is kept and not weighed.

    >>> reading_kind("RI"), reading_kind("bite test")
    (<ReadingKind.REFRACTOMETER: 'refractometer'>, None)
    """
    name = key(test)
    return _NAMES.get(name) or next((k for k in ReadingKind if k.value == name), None)


@dataclass(frozen=True)
class Typed:
    """A reading as a person typed it.

    Parameters
    ----------
    test, value, unit, uncertainty : str
    is_set : bool
        Whether the stone was in its setting.
    details : mapping
        Circumstances, by these names, each of which may be missing: ``part`` ("table" or "pavilion"), ``liquid``
        (index of the contact liquid), ``directions`` (number of directions looked through), ``water_c``
        (temperature of the water, °C), ``check`` (of the instrument, as `checks.typed_check` gives it).
    day : date, optional
        When it was read; a check holds for some days only.
    """

    test: str
    value: str
    unit: str = ""
    uncertainty: str = ""
    is_set: bool = True
    details: Mapping[str, Any] = field(default_factory=dict)
    day: date | None = None


@dataclass(frozen=True)
class Edges:
    """Shadow edges of a refractometer on one facet.

    Parameters
    ----------
    low, high : float
        Least and greatest index read; equal where one edge was seen.
    u : float
        Standard uncertainty of each edge.
    spot : bool
        Whether they were read by the distant-vision method.
    part : str
        ``"table"``, ``"pavilion"`` or empty.
    """

    low: float
    high: float
    u: float
    spot: bool = False
    part: str = ""

    @property
    def two(self) -> bool:
        """Whether two edges were read."""
        return self.high > self.low

    @property
    def birefringence(self) -> Quantity:
        """Greatest less least, with √2 times the uncertainty of an edge (JCGM 100:2008, 5.1.2)."""
        return Quantity(self.high - self.low, self.u * 2**0.5, "")


@dataclass(frozen=True)
class OverLimit:
    """No edge below the index of the contact liquid."""

    limit: float
    part: str = ""


@dataclass(frozen=True)
class Word:
    """A result out of a short list of words.

    Parameters
    ----------
    word : str
    thorough : bool
        Whether it was looked at in three or more directions.
    extra : str
        What was written besides, for example the colours seen.
    """

    word: str
    thorough: bool = False
    extra: str = ""


Value = Edges | OverLimit | Quantity | Word


@dataclass(frozen=True)
class Understood:
    """What the program understood of a typed reading.

    Parameters
    ----------
    kind : ReadingKind or None
        None for a test that is kept but not weighed.
    value : Edges, OverLimit, Quantity, Word or None
    says : str
        The same in words, to be shown to who typed it.
    unused : str
        Why it is not weighed; empty when it is.
    unchecked : str
        Why it is weighed and yet marked: no check of the instrument stands beside it, or one too old.
    """

    kind: ReadingKind | None
    value: Value | None
    says: str
    unused: str = ""
    unchecked: str = ""
