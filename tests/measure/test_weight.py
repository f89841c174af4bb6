"""Weights against trade formulas, published charts and the GUM; the figures are kept in a compilation."""

import math

import numpy as np
import pytest

from setstone.measure.errors import MeasurementError
from setstone.measure.outline import Outline, diameters
from setstone.measure.quantity import Quantity, combine
from setstone.measure.scale import Scale
from setstone.measure.weight import GIRDLES, coloured_stone_weight, diamond_weight, length_and_width


def mm(value: float, u: float = 0.0) -> Quantity:
    return Quantity(value, u, "mm")


@pytest.mark.parametrize(
    ("length", "width", "depth", "carat"),
    [(6.05, 6.11, 3.63, 0.8185), (7.02, 7.17, 4.47, 1.3726)],
)
def test_printed_round_brilliants(length: float, width: float, depth: float, carat: float) -> None:
    """Two printed trade examples (0.82 ct and 1.37 ct), with the mean diameter unrounded."""
    found = diamond_weight("round brilliant", mm(length), mm(width), depth=mm(depth))
    assert found.weight.value == pytest.approx(carat, abs=1e-4)
    assert found.weight.unit == "ct"


@pytest.mark.parametrize(
    ("cut", "measures", "gravity", "carat"),
    [
        ("round", (6.50, 6.50, 3.95), 4.00, 1.2016),
        ("oval", (8.0, 6.0, 4.0), 4.00, 1.536),
        ("emerald cut", (8.0, 6.0, 4.0), 2.72, 1.306),
        ("cabochon", (10.0, 8.0, 4.0), 2.76, 2.385),
        ("marquise", (10.0, 5.0, 3.0), 3.84, 0.922),
    ],
)
def test_coloured_stones(
    cut: str, measures: tuple[float, float, float], gravity: float, carat: float
) -> None:
    """Computed by hand from factors that two or three publications give."""
    length, width, depth = map(mm, measures)
    found = coloured_stone_weight(cut, length, width, depth=depth, specific_gravity=gravity)
    assert found.weight.value == pytest.approx(carat, abs=1e-3)


@pytest.mark.parametrize(
    ("diameter", "carat"),
    [
        *[(2.0, 0.03), (3.0, 0.10), (4.1, 0.25), (5.2, 0.50), (5.9, 0.75), (6.5, 1.00)],
        *[(7.4, 1.50), (8.2, 2.00), (9.3, 3.00), (10.2, 4.00), (11.0, 5.00)],
    ],
)
def test_published_charts_lie_within_the_stated_range(diameter: float, carat: float) -> None:
    """Retail chart of round brilliants by diameter; such charts differ among themselves by 0.03 ct or 3 %."""
    found = diamond_weight("round brilliant", mm(diameter, 0.03))
    least, greatest = found.range_ct
    assert least < carat < greatest
    assert found.weight.value == pytest.approx(carat, abs=max(0.03, 0.03 * carat))
    assert "depth taken as" in found.formula


def test_worked_example_of_uncertainty() -> None:
    """K = 0.0061 (3 %), d = 6.50 mm (u 0.01), h = 3.95 mm (u 0.03): 1.0180 ct, u 0.0317 ct."""
    found = diamond_weight("round brilliant", mm(6.50, 0.01), depth=mm(3.95, 0.03))
    assert found.weight.value == pytest.approx(1.0180, abs=1e-4)
    assert found.weight.u == pytest.approx(0.0317, abs=1e-4)
    assert str(found) == "est. 1.02 ct ± 0.06 ct (d² h × 0.0061)"


def test_closed_form_agrees_with_monte_carlo() -> None:
    """JCGM 101:2008: propagation of distributions; published there for this example 0.956 to 1.080 ct."""
    draws = np.random.default_rng(7)
    d, h, k = (draws.normal(m, u, 400_000) for m, u in ((6.50, 0.01), (3.95, 0.03), (0.0061, 0.0061 * 0.03)))
    weight = k * d**2 * h
    found = diamond_weight("round brilliant", mm(6.50, 0.01), depth=mm(3.95, 0.03))
    assert found.weight.u == pytest.approx(weight.std(), rel=0.02)
    np.testing.assert_allclose(found.range_ct, np.percentile(weight, (2.5, 97.5)), atol=0.003)


def test_diameter_counts_three_times_when_the_depth_follows_it() -> None:
    draws = np.random.default_rng(8)
    d, k = draws.normal(3.0, 0.1, 400_000), draws.uniform(0.85, 1.15, 400_000)
    found = diamond_weight("round brilliant", mm(3.0, 0.1))
    assert found.weight.u == pytest.approx((0.0061 * 0.605 * d**3 * k).std(), rel=0.03)


def test_gum_end_gauge_contributions() -> None:
    """JCGM 100:2008, H.1: 25, 9.7, 2.9 and 16.6 nm combine to 32 nm."""
    assert combine(25.0, 9.7, 2.9, 16.6) == pytest.approx(32, abs=0.5)


def test_same_volume_in_other_materials() -> None:
    """Published: a 1.00 ct diamond cut in opal (2.15) would be 0.61 ct, in sapphire (4.00) 1.14 ct."""

    def weight(gravity: float) -> float:
        found = coloured_stone_weight("round", mm(6.5), depth=mm(3.9), specific_gravity=gravity)
        return found.weight.value

    assert weight(2.15) / weight(3.52) == pytest.approx(0.61, abs=0.005)
    assert weight(4.00) / weight(3.52) == pytest.approx(1.14, abs=0.005)


def test_step_cut_factors_are_interpolated_and_not_carried_on() -> None:
    def factor(length: float) -> float:
        return diamond_weight("step", mm(length), mm(1.0), depth=mm(1.0)).weight.value / length

    assert factor(1.25) == pytest.approx(0.0080)
    assert factor(1.75) == pytest.approx(0.0096)
    assert factor(2.5) == pytest.approx(0.0106)
    for length in (1.0, 3.0):
        with pytest.raises(MeasurementError, match=r"they end at 1\.25 and 2\.5"):
            factor(length)


def test_two_published_factors_widen_the_range() -> None:
    one, two = (
        coloured_stone_weight(cut, mm(6), mm(6), depth=mm(4), specific_gravity=3.6).weight
        for cut in ("pear", "square step")
    )
    assert two.u / two.value > one.u / one.value


@pytest.mark.parametrize("cut", ["rose", "table", "old mine", "old european", ""])
def test_no_factor_is_borrowed_for_old_cuts(cut: str) -> None:
    """No two publications agree on a factor for these cuts."""
    with pytest.raises(MeasurementError, match="No published factor"):
        diamond_weight(cut, mm(5), depth=mm(3))
    with pytest.raises(MeasurementError, match="No published factor"):
        coloured_stone_weight(cut, mm(5), depth=mm(3), specific_gravity=4.0)


def test_depth_is_asked_for() -> None:
    with pytest.raises(MeasurementError, match="measure it"):
        diamond_weight("oval brilliant", mm(6), mm(5))


@pytest.mark.parametrize("cut", ["round brilliant", "step"])
@pytest.mark.parametrize(
    "measures",
    [
        (0.0, 5.0, 3.0),
        (5.0, 0.0, 3.0),
        (5.0, 5.0, -3.0),
        (math.nan, 5.0, 3.0),
        (5.0, 5.0, math.inf),
        (5e3, 5.0, 3.0),
    ],
)
def test_measures_must_be_possible(cut: str, measures: tuple[float, float, float]) -> None:
    length, width, depth = map(mm, measures)
    with pytest.raises(MeasurementError, match="does not measure"):
        diamond_weight(cut, length, width, depth=depth)
    with pytest.raises(MeasurementError, match="does not measure"):
        coloured_stone_weight("oval", length, width, depth=depth, specific_gravity=4.0)


@pytest.mark.parametrize("u", [math.nan, math.inf, -0.1, 7.0])
def test_an_uncertainty_must_be_possible(u: float) -> None:
    with pytest.raises(MeasurementError, match="does not measure"):
        diamond_weight("round brilliant", mm(6.5, u), depth=mm(4.0))


@pytest.mark.parametrize("gravity", [0.0, -4.0, math.nan, math.inf, 400.0])
def test_a_specific_gravity_must_be_possible(gravity: float) -> None:
    """The lightest gem, amber, has 1.05, gold 19.3: nothing of the trade lies outside 0.9 to 25."""
    with pytest.raises(MeasurementError, match="specific gravity"):
        coloured_stone_weight("round", mm(6.5), depth=mm(4.0), specific_gravity=gravity)


def test_units_are_converted() -> None:
    """6.5 mm is 6500 µm."""
    found = diamond_weight(
        "round brilliant", Quantity(6500.0, 10.0, "µm"), depth=Quantity(0.395, 0.003, "cm")
    )
    assert found.weight.value == pytest.approx(1.0180, abs=1e-4)


def test_a_slightly_thick_girdle_as_printed() -> None:
    """The first printed example again, slightly thick: 0.8349 ct, printed 0.83."""
    found = diamond_weight("round brilliant", mm(6.05), mm(6.11), depth=mm(3.63), girdle="slightly thick")
    assert found.weight.value == pytest.approx(0.8349, abs=1e-4)
    assert "1.02 for a slightly thick girdle" in found.formula


def test_girdle_factors_grow_with_the_girdle_and_less_so_the_larger_the_stone() -> None:
    """One printed cell, 1.05 for 1.005, breaks this order and is a misprint."""
    for size in (3.5, 5.0, 8.0):
        weights = [
            diamond_weight("round brilliant", mm(size), depth=mm(2.0), girdle=g).weight.value for g in GIRDLES
        ]
        assert weights == sorted(weights)


@pytest.mark.parametrize(
    ("cut", "size", "girdle"),
    [("round brilliant", 2.0, "thick"), ("oval brilliant", 6.0, "thick"), ("round brilliant", 6.0, "huge")],
)
def test_no_girdle_factor_is_invented(cut: str, size: float, girdle: str) -> None:
    with pytest.raises(MeasurementError, match="girdle"):
        diamond_weight(cut, mm(size), depth=mm(2.0), girdle=girdle)


@pytest.mark.parametrize(("length", "width"), [(8.0, 6.0), (10.0, 5.0)])
def test_length_of_a_stone_with_corners_is_not_its_diagonal(length: float, width: float) -> None:
    """Sides of a rectangle turned by 30 degrees; its greatest calliper width is the diagonal (Pythagoras)."""
    scale = Scale(10.0, 0.02, "scale bar", "1000 µm")
    x, y = length * 50, width * 50  # half sides in px at 10 µm/px
    corners = np.array([[-x, -y], [x, -y], [x, y], [-x, y]])
    turn = np.deg2rad(30)
    points = corners @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]) + 2000
    outline = Outline(points, np.ones(4, np.bool_), 0.5, "polygon")
    widths = diameters(outline, scale)
    found = length_and_width(outline, widths, scale)
    assert [q.value for q in found] == pytest.approx([length, width], rel=1e-4)
    assert widths.greatest.value == pytest.approx(np.hypot(length, width), rel=1e-3)
    assert all(q.u > 0 for q in found)
