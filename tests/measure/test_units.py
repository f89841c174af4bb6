"""Exact conversions against the definitions of the units."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from setstone.measure.errors import MeasurementError
from setstone.measure.quantity import Quantity
from setstone.measure.units import converted, format_length


@pytest.mark.parametrize(
    ("value", "unit", "other", "expected"),
    [
        (1.0, "in", "mm", 25.4),  # international yard and pound agreement, 1959
        (1.0, "ct", "g", 0.2),  # 4th General Conference on Weights and Measures, 1907
        (5.0, "ct", "g", 1.0),
        (1.0, "ct", "mg", 200.0),
        (1.0, "ct", "pt", 100.0),
        (1.0, "cm", "mm", 10.0),
        (1.0, "mm", "µm", 1000.0),
    ],
)
def test_definitions(value: float, unit: str, other: str, expected: float) -> None:
    found = converted(Quantity(value, value / 10, unit), other)
    assert (found.value, found.unit) == (expected, other)
    assert found.u == pytest.approx(expected / 10)


@given(
    st.floats(1e-3, 1e6), st.sampled_from(["µm", "mm", "cm", "in"]), st.sampled_from(["µm", "mm", "cm", "in"])
)
def test_there_and_back(value: float, unit: str, other: str) -> None:
    back = converted(converted(Quantity(value, value / 100, unit), other), unit)
    assert back.value == pytest.approx(value, rel=1e-12)
    assert back.u == pytest.approx(value / 100, rel=1e-12)


@pytest.mark.parametrize(("unit", "other"), [("mm", "ct"), ("furlong", "mm"), ("ct", "grain")])
def test_refuses_what_is_not_of_one_kind(unit: str, other: str) -> None:
    with pytest.raises(MeasurementError, match="use two lengths or two masses"):
        converted(Quantity(1.0, 0.0, unit), other)


def test_lengths_are_shown_in_the_unit_people_use() -> None:
    assert format_length(Quantity(0.9994, 0.0021, "mm")) == "999 µm ± 4 µm"
    assert format_length(Quantity(1000.0, 6.0, "µm")) == "1.000 mm ± 0.012 mm"
    assert format_length(Quantity(0.1, 0.001, "in")) == "2.54 mm ± 0.05 mm"
