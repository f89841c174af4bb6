"""Tips of outlines that are exactly known: two arcs that meet, and corners that are round in truth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from setstone.measure.rings import resampled
from setstone.measure.tips import with_tips

Curve = NDArray[np.float64]
WIDE = 800.0


def lens(turn: float = 0.0, slim: float = 0.5) -> Curve:
    """Two arcs of a circle that meet in points `WIDE` apart, the lens `slim` times as high."""
    half, height = WIDE / 2, slim * WIDE / 2
    radius = (half**2 + height**2) / (2 * height)
    opening = np.arcsin(half / radius)
    angle = np.linspace(-opening, opening, 4000)
    arc = np.column_stack([radius * np.sin(angle), radius * np.cos(angle) - (radius - height)])
    c, s = np.cos(turn), np.sin(turn)
    return resampled(np.vstack([arc, -arc]) @ np.array([[c, s], [-s, c]]), 7200)


def seen(outline: Curve, rounding: float = 2.0) -> Curve:
    """As an outline is found: 720 points, smoothed so that tips are lost."""
    return gaussian_filter1d(resampled(outline, 720), rounding, axis=0, mode="wrap")


def longest(outline: Curve) -> float:
    return float(np.hypot(*(outline[:, None] - outline[None, ::3]).transpose(2, 0, 1)).max())


@settings(max_examples=20, deadline=None)
@given(st.floats(0, 2 * np.pi), st.floats(0.4, 0.65))
def test_arcs_are_carried_on_until_they_meet(turn: float, slim: float) -> None:
    found = seen(lens(turn, slim))
    drawn = with_tips(found, np.ones(720, np.bool_), WIDE * (1 + slim) / 2, 1.6)
    assert longest(found) < WIDE - 1
    assert longest(drawn) == pytest.approx(WIDE, abs=1.0)


def test_edges_that_stray_beside_a_tip_have_no_say() -> None:
    found, rng = seen(lens()), np.random.default_rng(1)
    tip = int(found[:, 0].argmax())
    for k in range(20, 60, 7):
        found[(tip + k) % 720] += rng.normal(0, 12, 2)
    drawn = with_tips(found, np.ones(720, np.bool_), 0.75 * WIDE, 1.6)
    assert drawn[:, 0].max() == pytest.approx(WIDE / 2, abs=1.0)


def test_a_tip_that_is_hidden_is_drawn_out_of_what_is_seen_beside_it() -> None:
    found = seen(lens())
    known = np.ones(720, np.bool_)
    tip = int(found[:, 0].argmax())
    known[(tip + np.arange(-5, 6)) % 720] = False
    drawn = with_tips(found, known, 0.75 * WIDE, 1.6)
    assert drawn[:, 0].max() == pytest.approx(WIDE / 2, abs=1.0)


@pytest.mark.parametrize("radius", [0.035, 0.06, 0.12])
def test_corners_that_are_round_in_truth_stay_round(radius: float) -> None:
    """A square whose corners are quarters of a circle."""
    r, half = radius * WIDE, WIDE / 2
    quarter = np.linspace(0, np.pi / 2, 500)
    corner = np.column_stack([np.cos(quarter), np.sin(quarter)]) * r + (half - r)
    turned = [corner @ np.array([[c, s], [-s, c]]) for c, s in ((1, 0), (0, 1), (-1, 0), (0, -1))]
    outline = resampled(np.vstack(turned), 720)
    drawn = with_tips(outline, np.ones(720, np.bool_), WIDE, 1.6)
    np.testing.assert_array_equal(drawn, outline)


@pytest.mark.parametrize("axes", [(1.0, 1.0), (1.4, 0.7)])
def test_an_outline_without_tips_stays_as_it_is(axes: tuple[float, float]) -> None:
    t = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    ellipse = WIDE / 2 * np.column_stack([axes[0] * np.cos(t), axes[1] * np.sin(t)])
    np.testing.assert_array_equal(with_tips(ellipse, np.ones(720, np.bool_), WIDE, 1.6), ellipse)


def test_too_little_seen_beside_a_tip_leaves_it_as_found() -> None:
    found = seen(lens())
    nothing = np.zeros(720, np.bool_)
    np.testing.assert_array_equal(with_tips(found, nothing, 0.75 * WIDE, 1.6), found)
