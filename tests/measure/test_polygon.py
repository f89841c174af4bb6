"""Polygons through points of which some lie on something else, against exact corners."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from setstone.measure.polygon import Line, enclosed, polygon_through
from setstone.measure.rings import Curve, Mask, resampled


def step_cut(a: float, b: float, *cuts: float, turn: float = 0.3) -> Curve:
    """Corners of a rectangle 2a by 2b whose four corners are cut at 45 degrees, `cuts` along each side."""
    corners = []
    for (x, y), cut in zip([(a, b), (-a, b), (-a, -b), (a, -b)], cuts, strict=True):
        by_side = [(x, y - cut * np.sign(y)), (x - cut * np.sign(x), y)]
        corners += by_side if x * y > 0 else by_side[::-1]
    c, s = np.cos(turn), np.sin(turn)
    return np.array(corners) @ np.array([[c, s], [-s, c]])


def fitted(points: Curve, known: Mask | None = None) -> Curve:
    known = np.ones(len(points), np.bool_) if known is None else known
    corners = polygon_through(points, known, float(np.ptp(points, axis=0).mean()), 1.6)
    assert corners is not None
    return corners


def apart(some: Curve, others: Curve) -> float:
    """Greatest distance of a corner of one polygon from the nearest of the other, either way."""
    away = np.hypot(*np.moveaxis(some[:, None] - others, 2, 0))
    return float(max(away.min(axis=0).max(), away.min(axis=1).max()))


def near(points: Curve, place: NDArray[np.float64], within: float) -> Mask:
    return np.hypot(*(points - place).T) < within


@settings(max_examples=15, deadline=None)
@given(
    ratio=st.floats(0.6, 1.0),
    cut=st.floats(0.25, 0.45),
    turn=st.floats(0, 2 * np.pi),
    seed=st.integers(0, 999),
)
def test_the_width_is_right_under_noise_and_with_a_tenth_of_the_points_astray(
    ratio: float, cut: float, turn: float, seed: int
) -> None:
    exact = step_cut(400, 400 * ratio, *[cut * 400 * ratio] * 4, turn=turn)
    chance = np.random.default_rng(seed)
    points = resampled(exact, 720) + chance.normal(0, 0.4, (720, 2))
    astray = np.isin(np.arange(720) // 12, chance.choice(60, 6, replace=False))
    points[astray] *= 1 - 0.02 * chance.random((astray.sum(), 1))
    # By Cauchy the mean width is the perimeter by pi.
    assert ConvexHull(fitted(points)).area == pytest.approx(ConvexHull(exact).area, rel=0.004)


def test_a_small_cut_corner_is_not_drawn_out_to_a_point() -> None:
    exact = step_cut(400, 300, 30, 30, 30, 30)
    assert apart(fitted(resampled(exact, 720)), exact) < 4


def test_a_hidden_corner_is_taken_from_the_others() -> None:
    exact = step_cut(400, 300, 90, 90, 90, 90)
    points = resampled(exact, 720)
    middle = exact[:2].mean(axis=0)
    hidden = near(points, middle, 90)
    inward = points[hidden] - 0.06 * middle  # what was followed there lies deeper in the stone
    points[hidden] = inward
    assert apart(fitted(points, ~hidden), exact) < 4


def test_a_corner_that_is_seen_to_differ_is_kept() -> None:
    exact = step_cut(400, 300, 90, 90, 90, 150)
    assert apart(fitted(resampled(exact, 720)), exact) < 4


def test_a_polygon_without_parallel_sides_is_kept() -> None:
    exact = np.array([[-300.0, -200.0], [320.0, -180.0], [20.0, 330.0]])
    assert apart(fitted(resampled(exact, 720)), exact) < 4


def test_a_circle_is_no_polygon() -> None:
    turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    points = 300 * np.column_stack([np.cos(turn), np.sin(turn)])
    assert polygon_through(points, np.ones(720, np.bool_), 600, 1.2) is None


@given(st.integers(0, 2**32 - 1), st.integers(3, 30))
def test_what_lies_within_the_sides_of_a_hull_is_the_hull(seed: int, n: int) -> None:
    points = np.random.default_rng(seed).normal(0, 100, (n, 2))
    hull = ConvexHull(points)
    corners = points[hull.vertices]
    sides = zip(hull.simplices, hull.equations, strict=True)
    lines = [Line(points[side[0]], equation[:2]) for side, equation in sides]
    found = enclosed(lines, corners.mean(axis=0))
    assert found is not None
    assert apart(found, corners) < 1e-3
    assert ConvexHull(found).area == pytest.approx(hull.area)


def test_sides_that_do_not_enclose_anything_form_no_polygon() -> None:
    up, right = np.array([0.0, 1.0]), np.array([1.0, 0.0])
    assert enclosed([Line(up, up), Line(right, right), Line(-up, -up)], np.zeros(2)) is None
    assert enclosed([Line(up, -up), Line(right, right), Line(-up, up)], np.zeros(2)) is None
