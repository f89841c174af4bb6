"""Lenses that are exactly known, with what hides and strays near their points."""

import numpy as np
import pytest
from drawn_stone import Radius, cushion, egg, ellipse, marquise, octagon, pear, true_outline
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import KDTree

from setstone.measure.lens import lens_through
from setstone.measure.rings import resampled
from setstone.measure.silhouette import fit_silhouette

Curve = NDArray[np.float64]
LONG = 400.0
ALL = np.ones(720, np.bool_)


def edges(radius: Radius, turn: float = 0.0) -> Curve:
    """As an outline is found: 720 points, smoothed so that its corners are lost."""
    points = resampled(true_outline(radius, (500.0, 450.0), turn).points, 720)
    return gaussian_filter1d(points, 2.0, axis=0, mode="wrap")


def off(points: Curve, outline: Curve) -> Curve:
    """Distances of points from an outline."""
    return np.asarray(KDTree(resampled(outline, 20_000)).query(points)[0])


@settings(max_examples=25, deadline=None)
@given(st.floats(0.35, 0.65), st.floats(0, 2 * np.pi), st.floats(0, 0.8))
def test_a_lens_is_found_with_its_points(slim: float, turn: float, noise: float) -> None:
    radius = marquise(LONG, slim * LONG)
    true = true_outline(radius, (500.0, 450.0), turn).points
    found = edges(radius, turn) + np.random.default_rng(1).normal(0, noise, (720, 2))
    lens = lens_through(found, ALL, 1.4)
    assert lens is not None
    assert off(lens, true).max() < 1.5
    assert off(true, lens).max() < 1.5


def test_points_that_are_cut_off_are_found_again() -> None:
    """An edge inside the stone cuts one tip off, and a claw hides the other."""
    found = edges(marquise(LONG, 0.5 * LONG))
    cut = found[:, 0] > 500 + 0.8 * LONG
    found[cut, 0] = 500 + 0.8 * LONG + 3 * np.sin(found[cut, 1])
    known = found[:, 0] > 500 - 0.9 * LONG
    silhouette = fit_silhouette(found, known)
    assert silhouette.points[:, 0].max() == pytest.approx(500 + LONG, abs=1.5)
    assert silhouette.points[:, 0].min() == pytest.approx(500 - LONG, abs=1.5)
    assert not silhouette.seen[silhouette.points[:, 0] > 500 + 0.95 * LONG].any()
    assert not silhouette.seen[silhouette.points[:, 0] < 500 - 0.95 * LONG].any()


def test_half_an_arc_gone_astray_has_no_say() -> None:
    found = edges(marquise(LONG, 0.5 * LONG))
    stray = (found[:, 1] > 460) & (found[:, 0] > 500)
    found[stray, 1] -= 25 + 10 * np.sin(found[stray, 0] / 9)
    lens = lens_through(found, ALL, 1.4)
    assert lens is not None
    assert off(lens, true_outline(marquise(LONG, 0.5 * LONG), (500.0, 450.0)).points).max() < 2


@pytest.mark.parametrize(
    "radius",
    [ellipse(400, 250), cushion(400, 300), egg(350), octagon(400, 300), pear(350)],
    ids=["oval", "cushion", "egg", "step", "pear"],
)
def test_no_other_outline_is_taken_for_a_lens(radius: Radius) -> None:
    found = edges(radius)
    lens = lens_through(found, ALL, 1.4)
    assert lens is None or off(fit_silhouette(found, ALL).points, lens).max() > 5


def test_too_few_edges_make_no_lens() -> None:
    known = np.arange(720) < 15
    assert lens_through(edges(marquise(LONG, 0.5 * LONG)), known, 1.4) is None


def test_a_blunt_point_is_drawn_sharp_and_marked_as_not_seen() -> None:
    found = edges(marquise(LONG, 0.5 * LONG))
    found[:, 0] = np.minimum(found[:, 0], 500 + 0.96 * LONG)
    silhouette = fit_silhouette(found, ALL)
    point = silhouette.points[:, 0] > 500 + 0.98 * LONG
    assert point.any()
    assert not silhouette.seen[point].any()
