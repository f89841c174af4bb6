"""Findings drawn by hand. The made-up picture is 800 × 800 px at 4 µm a pixel, so 3.2 mm wide."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_up import examination

from setstone.record.errors import BookError
from setstone.record.marking import drawn_by_hand, points_mm

inside = st.floats(0, 3.2)


@given(st.lists(st.tuples(inside, inside), min_size=2, max_size=6))
def test_a_line_keeps_its_length_and_place(points: list[tuple[float, float]]) -> None:
    drawn = drawn_by_hand(examination(), np.array(points))
    length = sum(math.dist(a, b) for a, b in pairwise(points))
    assert drawn.sizes["length"].value == pytest.approx(length, abs=1e-9)
    np.testing.assert_allclose((drawn.path + 0.5) * 0.004, points, atol=1e-9)


def test_the_uncertainty_holds_both_ends_the_scale_and_the_tilt() -> None:
    """JCGM 100:2008, 5.1.2: 2 px of 4 µm at each end, and of 2 mm 0.1 % from the scale and 1 - cos of up to 3° from the tilt."""
    tilts = np.radians(np.linspace(0, 3, 1000))
    tilt = 2 * math.sqrt(np.mean((1 - np.cos(tilts)) ** 2))
    drawn = drawn_by_hand(examination(), np.array([[0.5, 0.5], [2.5, 0.5]]))
    assert drawn.sizes["length"].u == pytest.approx(math.sqrt(2 * 0.008**2 + 0.002**2 + tilt**2), rel=1e-3)


def test_a_spot_is_a_circle_of_its_diameter() -> None:
    drawn = drawn_by_hand(examination(), np.array([[1.0, 2.0]]), diameter_um=80, lamp="blue")
    assert (drawn.kind, drawn.lamp) == ("spot", "blue")
    assert drawn.position == pytest.approx((249.5, 499.5))
    np.testing.assert_allclose(np.ptp(drawn.path, axis=0) * 4, 80, rtol=0.01)


@pytest.mark.parametrize("diameter_um", [None, 0.0, -5.0, math.nan, math.inf, 5000.0])
def test_a_spot_needs_a_possible_diameter(diameter_um: float | None) -> None:
    with pytest.raises(BookError, match="diameter"):
        drawn_by_hand(examination(), np.array([[1.0, 1.0]]), diameter_um=diameter_um)


@pytest.mark.parametrize("point", [[9.0, 1.0], [-0.1, 1.0], [math.nan, 1.0]])
def test_nothing_is_drawn_outside_the_picture(point: list[float]) -> None:
    with pytest.raises(BookError, match=r"3\.20 mm wide and 3\.20 mm high"):
        drawn_by_hand(examination(), np.array([[1.0, 1.0], point]))


def test_nothing_is_drawn_without_a_scale() -> None:
    with pytest.raises(BookError, match="scale"):
        drawn_by_hand(replace(examination(), scale=None), np.array([[1.0, 1.0]]), diameter_um=10)


@pytest.mark.parametrize("text", ["", "1.2", "1,2,3", "1;2", "a,b", "1.2, 3.4", "nan,1", "1e3,1"])
def test_what_is_no_list_of_points_is_said(text: str) -> None:
    with pytest.raises(BookError, match="write millimetres right and down"):
        points_mm(text)
