"""Diameters of outlines of exactly known size."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.typing import NDArray

from setstone.measure.outline import Outline, diameters, tilt_if_round
from setstone.measure.scale import Scale

SCALE = Scale(4.0, 0.004, "given")


def ellipse(
    a: float, b: float, angle: float = 0.0, centre: tuple[float, float] = (0, 0)
) -> NDArray[np.float64]:
    t = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    return np.column_stack([a * np.cos(t), b * np.sin(t)]) @ turn.T + centre


def outline(points: NDArray[np.float64], u_px: float = 0.5) -> Outline:
    return Outline(points, np.ones(len(points), np.bool_), u_px, "ellipse")


@given(st.floats(50, 900), st.floats(0.5, 1.0), st.floats(0, 3.1))
def test_diameters_of_an_ellipse_are_its_axes(a: float, ratio: float, angle: float) -> None:
    found = diameters(outline(ellipse(a, a * ratio, angle)), SCALE)
    mm = 2 * a * SCALE.um_per_px / 1000
    assert found.greatest.value == pytest.approx(mm, rel=1e-4)
    assert found.least.value == pytest.approx(ratio * mm, rel=1e-4)
    assert found.least.value <= found.mean.value + 1e-9 <= found.greatest.value + 2e-9


@given(st.floats(100, 900), st.floats(12, 27), st.floats(0, 3.1))
def test_a_circle_seen_aslant_tells_its_tilt(radius: float, degrees: float, angle: float) -> None:
    """A circle projects to an ellipse whose axes are as the cosine of the tilt (orthographic projection)."""
    seen = outline(ellipse(radius, radius * math.cos(math.radians(degrees)), angle), u_px=0.1)
    tilt = tilt_if_round(seen)
    assert tilt is not None
    assert tilt.value == pytest.approx(degrees, abs=0.1)
    assert abs(tilt.value - degrees) < 2 * tilt.u


@pytest.mark.parametrize("ratio", [1.0, 0.99, 0.8])
def test_round_and_oval_stones_are_not_called_tilted(ratio: float) -> None:
    assert tilt_if_round(outline(ellipse(400, 400 * ratio))) is None


def test_mean_width_of_a_convex_outline_is_its_perimeter_by_pi() -> None:
    """Cauchy's theorem (Cauchy 1832): the mean width of a convex figure is its perimeter divided by pi."""
    square = np.array([[0, 0], [300, 0], [300, 200], [0, 200]], np.float64)
    found = diameters(Outline(square, np.ones(4, np.bool_), 0.5, "polygon"), SCALE)
    assert found.mean.value == pytest.approx(1000 / math.pi * SCALE.um_per_px / 1000, rel=1e-3)


@given(st.floats(0, math.pi), st.floats(1, 3))
def test_callipers_on_a_rectangle_read_its_short_side_and_its_diagonal(turn: float, ratio: float) -> None:
    """The least width stands on a side (Houle & Toussaint 1988), the greatest joins two corners."""
    c, s = math.cos(turn), math.sin(turn)
    corners = np.array([[0, 0], [ratio, 0], [ratio, 1], [0, 1]]) * 200 @ np.array([[c, s], [-s, c]])
    found = diameters(Outline(corners, np.ones(4, np.bool_), 0.5, "polygon"), SCALE)
    mm = 200 * SCALE.um_per_px / 1000
    assert found.least.value == pytest.approx(mm, rel=1e-9)
    assert found.greatest.value == pytest.approx(mm * math.hypot(ratio, 1), rel=1e-9)
    assert found.least.value <= found.mean.value <= found.greatest.value


@given(
    st.lists(st.tuples(st.floats(0, 2 * math.pi), st.floats(50, 100)), min_size=5, max_size=40, unique=True)
)
def test_least_mean_and_greatest_are_in_order_and_agree_with_projections(
    polar: list[tuple[float, float]],
) -> None:
    """Against a plain definition: extents of the projections on many directions (Feret 1930)."""
    points = np.array([[r * math.cos(t), r * math.sin(t)] for t, r in polar])
    theta = np.linspace(0, math.pi, 1440, endpoint=False)
    projections = points @ np.array([np.cos(theta), np.sin(theta)])
    widths = (projections.max(axis=0) - projections.min(axis=0)) * SCALE.um_per_px / 1000
    assume(widths.min() > 0.02)
    found = diameters(outline(points), SCALE)
    assert found.mean.value == pytest.approx(widths.mean(), rel=1e-4)
    assert found.least.value == pytest.approx(widths.min(), abs=0.002)
    assert found.greatest.value == pytest.approx(widths.max(), rel=1e-4)
    assert found.least.value <= found.mean.value <= found.greatest.value


def test_uncertainty_combines_edge_scale_and_tilt() -> None:
    """JCGM 100:2008, 5.1.2, in quadrature.

    2 x 0.5 px at 4 µm; 0.1 % of 4 mm; and half of 1 - cos of a tilt evenly up to 3 degrees, the root of
    whose mean square is 3.06e-4.
    """
    found = diameters(outline(ellipse(500, 500)), SCALE)
    assert found.mean.u == pytest.approx(math.hypot(0.004, 0.004, 4 * 3.06e-4), rel=1e-3)
    assert found.least.u > found.mean.u


def test_few_vertices_on_a_curve_cost_certainty() -> None:
    """A circle through 24 clicks lies outside their chords by up to r (1 - cos 7.5 degrees)."""
    t = np.arange(24) * (2 * np.pi / 24)
    clicks = 500 * np.column_stack([np.cos(t), np.sin(t)])
    found = diameters(outline(clicks, u_px=0.01), Scale(4.0, 1e-9, "given"))
    missing = 1000 * 0.004 - found.mean.value
    assert missing > 0
    assert missing <= found.mean.expanded


def test_centre_and_shift() -> None:
    moved = outline(ellipse(80, 50, 0.3)).shifted(12.5, -7.0)
    assert moved.centre == pytest.approx((12.5, -7.0), abs=1e-9)
