"""A reading as a person types it into a form: its test, and the rest as on one line."""

from dataclasses import dataclass
from typing import Any

from setstone.record.entries import ReadingEntry
from setstone.record.errors import BookError
from setstone.record.evidence.checks import CHECKED_ON, as_typed
from setstone.record.evidence.line import Line, read_line
from setstone.record.evidence.next_test import CAUTIONS
from setstone.record.evidence.readings import ReadingKind, reading_kind

#: How each reading may be typed.
_EXAMPLES = {
    ReadingKind.REFRACTOMETER: "1.762-1.770, or >1.81",
    ReadingKind.DISTANT_VISION: "1.54",
    ReadingKind.THERMAL: "high, or 7.5",
    ReadingKind.POLARISCOPE: "double 3 directions",
    ReadingKind.DOUBLING: "none 3 directions",
    ReadingKind.OPTIC_CHARACTER: "uniaxial negative",
    ReadingKind.DENSITY: "4.00 unset, or 0.5302 g / 0.3975 g",
    ReadingKind.UV_LONG: "strong red",
    ReadingKind.UV_SHORT: "inert",
    ReadingKind.PLEOCHROISM: "distinct: orange / red",
    ReadingKind.COLOUR: "red",
    ReadingKind.OBSERVATION: "curved striae",
}

#: How each check may be typed.
_CHECKS = {
    ReadingKind.THERMAL: "2/8: simulant and diamond as read; again 2/8",
    ReadingKind.REFRACTOMETER: "1.517/1.516: index of a glass, and as read",
    ReadingKind.DISTANT_VISION: "1.52/1.51: index of a glass, and as read",
    ReadingKind.DENSITY: "1.0000g/0.9999g: a weight, and as read",
}


@dataclass(frozen=True)
class TypedReading:
    """What stands in the form.

    Parameters
    ----------
    test : str
        Name of the test; may be empty where the value tells it.
    value : str
        As read; for a test that is known with all that may stand on one line, as ``1.762-1.770 table # worn facet``.
    unit, uncertainty, instrument, remark : str
    is_set : bool
        Whether the stone is set, where the value does not say.
    check : str
        Of the instrument, without the word; left alone where the test has none.
    """

    test: str
    value: str
    unit: str = ""
    uncertainty: str = ""
    instrument: str = ""
    remark: str = ""
    is_set: bool = True
    check: str = ""

    @property
    def kind(self) -> ReadingKind | None:
        """Which test it is of, by its name or told by the value; None where that is not known.

        >>> TypedReading("", "1.762-1.770").kind
        <ReadingKind.REFRACTOMETER: 'refractometer'>
        """
        if self.test.strip():
            return reading_kind(self.test)
        try:
            return reading_kind(read_line(self.value, is_set=self.is_set).typed.test)
        except BookError:
            return None

    def _line(self, uncertainty: str = "") -> Line:
        check = f"check {self.check.strip()}" if self.check.strip() and self.kind in CHECKED_ON else ""
        # Before the value, for a remark may end it.
        return read_line(" ".join((self.test, check, uncertainty, self.value)), is_set=self.is_set)

    def values(self) -> dict[str, Any]:
        """What goes into the book, by the names of `add_reading`.

        Raises
        ------
        BookError
            When it is not understood, with how to write it.

        Examples
        --------
        >>> values = TypedReading("refractometer", "1,762/1.770 table unset # worn facet").values()
        >>> values["value"], values["details"], values["stone_is_set"], values["remark"]
        ('1,762/1.770', {'part': 'table'}, False, 'worn facet')
        """
        besides = {"unit": self.unit, "instrument": self.instrument}
        if self.test.strip() and reading_kind(self.test) is None:  # kept as it is, no rule weighs it
            return {
                **besides,
                "test": self.test,
                "value": self.value,
                "uncertainty": self.uncertainty,
                "remark": self.remark,
                "stone_is_set": self.is_set,
            }
        if not self.value.strip():
            raise BookError("The reading is empty; write what was read, for example 1.762-1.770.")
        line = self._line()
        return {
            **besides,
            "test": self.test.strip() or line.typed.test,
            "value": line.typed.value,
            "uncertainty": self.uncertainty or line.typed.uncertainty,
            "remark": "; ".join(x for x in (self.remark.strip(), line.remark) if x),
            "stone_is_set": line.typed.is_set,
            "details": line.typed.details,
            "findings": line.findings,
        }

    @property
    def says(self) -> str:
        """What is understood so far, or how to write it; empty as long as nothing is typed.

        >>> TypedReading("polariscope", "double").says
        'Understood: polariscope reaction: double, looked at in 1 direction (set).'
        """
        if not self.value.strip():
            return ""
        if self.test.strip() and reading_kind(self.test) is None:
            return f"'{self.test}' is kept as written; no rule weighs it."
        uncertainty = f"± {self.uncertainty.strip().lstrip('±')}" if self.uncertainty.strip() else ""
        try:
            line = self._line(uncertainty)
        except BookError as error:
            return str(error)
        return f"Understood: {line.says}."


def typed_again(entry: ReadingEntry) -> TypedReading:
    """Bring a reading back into the form, to be corrected."""
    details = dict(entry.details)
    parts = [entry.value, str(details.get("part", ""))]
    if "directions" in details:
        parts.append(f"{details['directions']} directions")
    if "water_c" in details:
        parts.append(f"water {details['water_c']:g} °C")
    if "liquid" in details:
        parts.append(f"liquid {details['liquid']:g}")
    parts += [f"finding {number} ({occasion})" for occasion, number in entry.findings]
    value = entry.value if reading_kind(entry.test) is None else " ".join(p for p in parts if p)
    return TypedReading(
        entry.test,
        value,
        entry.unit,
        entry.uncertainty,
        entry.instrument,
        entry.remark,
        entry.stone_is_set,
        as_typed(details["check"]) if "check" in details else "",
    )


def example_of(test: str) -> str:
    """How a reading of this test may be typed."""
    kind = reading_kind(test)
    return "" if kind is None else _EXAMPLES.get(kind, "")


def check_example(kind: ReadingKind | None) -> str:
    """How a check of this test's instrument may be typed; empty where it has none."""
    return "" if kind is None else _CHECKS.get(kind, "")


def caution_about(test: str) -> str:
    """What to be careful about in this test; may be empty."""
    kind = reading_kind(test)
    return "\n".join(f"{text[0].upper()}{text[1:]}." for text in CAUTIONS.get(kind, ())) if kind else ""
